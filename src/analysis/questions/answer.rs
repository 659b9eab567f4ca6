//! One question of a tester and its answer.

use serde::Serialize;

pub use super::super::error_curve::Finding;
use crate::analysis::verdict::conformity::{decide, decide_by_limits};
use crate::stats::Interval;

macro_rules! questions {
    ($($variant:ident $key:literal $asks:literal $rides:literal;)+) => {
        /// A question that a tester asks, in the order of the list.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
        #[serde(rename_all = "kebab-case")]
        pub enum Question {
            $(#[doc = $asks] $variant),+
        }

        impl Question {
            /// Every question, in order.
            pub const ALL: &'static [Question] = &[$(Question::$variant),+];

            /// The key, as in JSON.
            pub const fn key(self) -> &'static str {
                match self { $(Question::$variant => $key),+ }
            }

            /// The question in the tester's words.
            pub const fn asks(self) -> &'static str {
                match self { $(Question::$variant => $asks),+ }
            }

            /// What has to be ridden for an answer.
            pub const fn rides(self) -> &'static str {
                match self { $(Question::$variant => $rides),+ }
            }
        }
    };
}

questions! {
    References "references" "Can the references judge at all?"
        "two references with their claims, beside the source";
    Clocks "clocks" "Do all recordings share one time line?"
        "recordings with a common heart rate or cadence";
    Accuracy "accuracy" "Does it read within its claim at held power?"
        "blocks of held power, 3 min or more each";
    Level "level" "Does the error change with power?"
        "blocks at two powers or more, the first one again at the end";
    Hold "hold" "Is the held power the one asked for?"
        "blocks at a set point that a recording or the tester states";
    Steadiness "steadiness" "Is it held without surging, and does the reading show what is delivered?"
        "blocks at a set point, 3 min or more each";
    Follow "follow" "How soon does it follow a new set point?"
        "changes of a set point that a recording states, by 30 W or more";
    Sprint "sprint" "Does it show a sprint?"
        "a sprint of some ten seconds";
    Gear "gear" "Is it as accurate in every gear and at every wheel speed?"
        "changes of gear at one set point, two minutes a gear";
    Phantom "phantom" "Does it report power nobody makes?"
        "a coast of half a minute, and a switch of modes";
    Cadence "cadence" "Is its cadence honest?"
        "a source and a reference that both record cadence";
    Dropouts "dropouts" "Is the recording complete?"
        "a recording of the source";
    Heat "heat" "Does the scale move as it warms?"
        "one power held from cold for 20 min or more";
    Gradient "gradient" "Does the gradient asked for arrive, and when?"
        "three gradients, one of them at two speeds, with the gradient recorded";
    Work "work" "Is the work of the whole ride right?"
        "a ride with a reference";
}

/// Where a limit comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum LimitFrom {
    /// The claim under test.
    Claim,
    /// What this program takes where nobody says otherwise.
    Default,
    /// `[limits]` of the session.
    Session,
}

/// What an answer is held against.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit {
    /// The limit, in the unit of the answer.
    pub value: f64,
    /// Where it comes from.
    pub from: LimitFrom,
    /// Who says so, of a default: a standard, or "common practice".
    pub source: &'static str,
}

impl Limit {
    /// Practice without a source.
    pub const PRACTICE: &'static str = "common practice";

    /// What the session states, else the default.
    pub fn stated_or(stated: Option<f64>, default: f64, source: &'static str) -> Self {
        match stated {
            Some(value) => Self::session(value),
            None => Self {
                value: default,
                from: LimitFrom::Default,
                source,
            },
        }
    }

    /// What the session states, else the claim.
    pub fn stated_or_claim(stated: Option<f64>, claim: f64) -> Self {
        match stated {
            Some(value) => Self::session(value),
            None => Self {
                value: claim,
                from: LimitFrom::Claim,
                source: "",
            },
        }
    }

    const fn session(value: f64) -> Self {
        Self {
            value,
            from: LimitFrom::Session,
            source: "",
        }
    }

    /// "claim ±2 %", "limit 5 s (common practice)"; `what` is the limit with its unit.
    pub fn said(&self, what: &str) -> String {
        match self.from {
            LimitFrom::Claim => format!("claim {what}"),
            LimitFrom::Session => format!("limit {what} (of this session)"),
            LimitFrom::Default if self.source.is_empty() => format!("limit {what}"),
            LimitFrom::Default => format!("limit {what} ({})", self.source),
        }
    }
}

/// What the segments of a ride are.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tagging {
    /// They are suggestions: the tester has tagged none.
    pub suggested: bool,
    /// Suggestions beside the tagged ones.
    pub untagged: usize,
}

impl Tagging {
    /// What is not tagged, in a sentence; `None` where all is.
    pub fn in_words(self) -> Option<String> {
        if self.suggested {
            let said = "Nothing is tagged: these answers rest on suggested segments.";
            return Some(said.to_owned());
        }
        let stretches = match self.untagged {
            0 => return None,
            1 => "stretch is",
            _ => "stretches are",
        };
        Some(format!(
            "{} suggested {stretches} not tagged.",
            self.untagged
        ))
    }
}

/// A stretch of the ride, session time, s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Start.
    pub from_s: f64,
    /// End.
    pub to_s: f64,
}

/// One piece of the evidence: a block, a sprint, a change of gear.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Part {
    /// The segment, by its `id`.
    pub segment: usize,
    /// What it is, as "240 W".
    pub what: String,
    /// Its number, in the unit of the answer.
    pub value: f64,
    /// Its 95 % limits.
    pub interval: Interval,
    /// What its size is held against.
    pub limit: f64,
    /// What it says on its own.
    pub outcome: Finding,
}

/// The answer to one question about one source.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Answer {
    /// The question.
    pub question: Question,
    /// Label of the source under test; empty for a question about the whole ride.
    pub source: String,
    /// The answer.
    pub outcome: Finding,
    /// The answer in plain words, with the number, its limits and what it is held against.
    pub sentence: String,
    /// The same in some forty characters.
    pub brief: String,
    /// The number that decides, in `unit`.
    pub value: Option<f64>,
    /// Its 95 % limits.
    pub interval: Option<Interval>,
    /// Its unit.
    pub unit: &'static str,
    /// What its size is held against.
    pub limit: Option<f64>,
    /// Where that comes from.
    pub limit_from: Option<LimitFrom>,
    /// The segments that carry the evidence, by `id`.
    pub segments: Vec<usize>,
    /// Where it is seen best: start, session time, s.
    pub from_s: Option<f64>,
    /// End.
    pub to_s: Option<f64>,
    /// The evidence piece by piece, where it has several.
    pub parts: Vec<Part>,
    /// What would tell, where the ride does not.
    pub would_tell: Option<String>,
    /// What the headline says of it, from the verb on.
    pub headline: Option<String>,
}

impl Answer {
    /// An answer without a number.
    pub fn new(question: Question, source: &str, outcome: Finding, sentence: String) -> Self {
        Self {
            question,
            source: source.to_owned(),
            outcome,
            brief: sentence.clone(),
            sentence,
            value: None,
            interval: None,
            unit: "",
            limit: None,
            limit_from: None,
            segments: Vec::new(),
            from_s: None,
            to_s: None,
            parts: Vec::new(),
            would_tell: None,
            headline: None,
        }
    }

    /// That nothing in the ride answers, why, and what would.
    pub fn not_ridden(question: Question, source: &str, why: &str) -> Self {
        let rides = question.rides();
        Self {
            would_tell: Some(rides.to_owned()),
            brief: why.to_owned(),
            ..Self::new(
                question,
                source,
                Finding::NotRidden,
                format!("{why}; it takes {rides}"),
            )
        }
    }

    /// That the ride does not decide, why, and what would.
    pub fn cannot_tell(question: Question, source: &str, why: &str, would: &str) -> Self {
        Self {
            would_tell: Some(would.to_owned()),
            brief: why.to_owned(),
            ..Self::new(
                question,
                source,
                Finding::CannotTell,
                format!("{why}; {would} would tell"),
            )
        }
    }

    /// With remarks behind the sentence.
    pub fn also(mut self, remarks: impl IntoIterator<Item = String>) -> Self {
        for remark in remarks {
            self.sentence.push_str("; ");
            self.sentence.push_str(&remark);
        }
        self
    }

    /// With the answer in some forty characters.
    pub fn in_brief(mut self, brief: String) -> Self {
        self.brief = brief;
        self
    }

    /// With the evidence piece by piece.
    pub fn from_parts(mut self, parts: Vec<Part>) -> Self {
        self.parts = parts;
        self
    }

    /// With the number that decides.
    pub fn with_value(
        mut self,
        value: f64,
        interval: Option<Interval>,
        unit: &'static str,
    ) -> Self {
        (self.value, self.interval, self.unit) = (Some(value), interval, unit);
        self
    }

    /// With what it is held against.
    pub fn against(mut self, limit: Limit) -> Self {
        (self.limit, self.limit_from) = (Some(limit.value), Some(limit.from));
        self
    }

    /// With the segments that carry it.
    pub fn in_segments(mut self, ids: impl IntoIterator<Item = usize>) -> Self {
        self.segments = ids.into_iter().collect();
        self
    }

    /// With the place where it is seen best.
    pub fn at(mut self, place: Option<Place>) -> Self {
        self.from_s = place.map(|p| p.from_s);
        self.to_s = place.map(|p| p.to_s);
        self
    }

    /// With what the headline says of a fault.
    pub fn headed(mut self, words: String) -> Self {
        self.headline = (self.outcome == Finding::Fault).then_some(words);
        self
    }

    /// With what would tell, where the ride does not decide.
    pub fn unless_told(mut self, would: &str) -> Self {
        if self.outcome == Finding::CannotTell {
            self.sentence = format!("{}; {would} would tell", self.sentence);
            self.would_tell = Some(would.to_owned());
        }
        self
    }
}

/// The three-way rule of a verdict: within the limit by more than the expanded uncertainty is fine,
/// beyond it by more is a fault (ILAC-G8:09/2019, guard band w = U).
pub fn within(value: f64, expanded: f64, limit: f64) -> Finding {
    decide(value, expanded, limit).into()
}

/// The same from the 95 % limits of a value.
pub fn by_limits(limits: Interval, limit: f64) -> Finding {
    decide_by_limits(limits, limit).into()
}

/// The same of one among several: a fault takes the expanded uncertainty for all of them together, and
/// what is fine is so by its own.
pub fn within_among(value: f64, [alone, jointly]: [f64; 2], limit: f64) -> Finding {
    match within(value, jointly, limit) {
        Finding::Fault => Finding::Fault,
        _ if within(value, alone, limit) == Finding::Fine => Finding::Fine,
        _ => Finding::CannotTell,
    }
}

/// The same of what must not exceed a limit, from its 95 % limits.
pub fn at_most([low, high]: Interval, limit: f64) -> Finding {
    if high <= limit {
        Finding::Fine
    } else if low > limit {
        Finding::Fault
    } else {
        Finding::CannotTell
    }
}

/// Several findings that must all be fine: a fault counts before an open one.
pub fn worst(findings: impl IntoIterator<Item = Finding>) -> Option<Finding> {
    let harm = |finding: &Finding| match finding {
        Finding::Fault => 3,
        Finding::CannotTell => 2,
        Finding::Fine => 1,
        Finding::NotRidden => 0,
    };
    findings.into_iter().max_by_key(harm)
}
