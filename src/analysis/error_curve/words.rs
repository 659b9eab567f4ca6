//! The decision and the change with power in sentences.

use crate::text::{listed, number};
use std::fmt;

use super::accuracy::{Missing, Open, Rule};
use super::{Basis, Block, ErrorCurve, Finding, Level};
use crate::analysis::verdict::conformity::Outcome;

/// Most powers that a sentence names.
const NAMED: usize = 3;

/// The decision in a sentence that begins with its verb; `what` follows the verb, as in " to its claim
/// of ±2 %".
pub struct Statement<'a> {
    /// What is decided.
    pub curve: &'a ErrorCurve,
    /// What follows the verb; empty, or beginning with a space.
    pub what: &'a str,
}

impl fmt::Display for Statement<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (curve, what) = (self.curve, self.what);
        let blocks = judged(&curve.blocks);
        match curve.accuracy.outcome {
            Finding::Fine => {
                write!(f, "conforms{what} in {blocks}")?;
                f.write_str(match curve.accuracy.rule {
                    Rule::Curve => ", taken together along one curve",
                    Rule::SmoothCurve => ", taken together along one curve held to be smooth",
                    Rule::OneBlock | Rule::EachBlock | Rule::Joint | Rule::Undecided => "",
                })?;
            }
            Finding::Fault => {
                write!(f, "does not conform{what}: {}; {blocks}", faults(curve))?;
            }
            Finding::CannotTell if curve.blocks.is_empty() => {
                write!(f, "cannot tell{what}: {}", open(curve))?;
            }
            Finding::CannotTell => {
                write!(f, "cannot tell{what} from {blocks}: {}", open(curve))?;
            }
            Finding::NotRidden => write!(f, "no block of held power was ridden")?,
        }
        for part in rest(curve) {
            write!(f, "; {part}")?;
        }
        Ok(())
    }
}

/// "all 4 blocks judged, 120 to 300 W".
fn judged(blocks: &[Block]) -> String {
    let powers = match (blocks.first(), blocks.last()) {
        (Some(low), Some(high))
            if format!("{:.0}", low.named_w) != format!("{:.0}", high.named_w) =>
        {
            format!("{:.0} to {:.0} W", low.named_w, high.named_w)
        }
        (Some(low), _) => format!("{:.0} W", low.named_w),
        _ => String::new(),
    };
    match blocks.len() {
        1 => format!("the one block judged, {powers}"),
        n => format!("all {n} blocks judged, {powers}"),
    }
}

/// "reads high by 3.3 % at 300 W and by 3.1 % on average over all powers".
fn faults(curve: &ErrorCurve) -> String {
    let accuracy = &curve.accuracy;
    let beyond = curve
        .blocks
        .iter()
        .filter(|b| accuracy.beyond.contains(&b.segment));
    let at = beyond.map(|b| (b.bias_percent, format!("at {:.0} W", b.named_w)));
    let mean = accuracy
        .mean_bias_percent
        .filter(|_| accuracy.beyond_on_average);
    let mean = mean.map(|bias| (bias, "on average over all powers".to_owned()));
    let side = |bias: f64| if bias < 0.0 { "low" } else { "high" };
    let more = accuracy.beyond.len().saturating_sub(NAMED);
    let more = (more > 0).then(|| format!("so at {more} more powers"));
    let mut last = "";
    let mut parts: Vec<String> = at
        .take(NAMED)
        .chain(mean)
        .map(|(bias, index)| {
            let verb = match side(bias) == last {
                true => String::new(),
                false => format!("reads {} ", side(bias)),
            };
            last = side(bias);
            format!("{verb}by {:.1} % {index}", bias.abs())
        })
        .collect();
    parts.extend(more);
    let joint = match accuracy.rule {
        Rule::Joint => " (joint risk 2.5 %)",
        _ => "",
    };
    format!("{}{joint}", listed(&parts))
}

/// Why it cannot be told, and what would tell.
fn open(curve: &ErrorCurve) -> String {
    format!("{}; {}", curve.open_words(), curve.would_tell())
}

/// Why it cannot be told.
fn why_open(curve: &ErrorCurve) -> String {
    if curve.accuracy.turns_on_loss {
        return "the answer depends on the drivetrain's loss, which is not stated and may be 0 to 4 %"
            .to_owned();
    }
    if curve.blocks.is_empty() {
        return match disagreeing(curve) {
            0 => "no block of held power may be judged",
            n if n == curve.left_out.len() => {
                "the references disagree in every block of held power"
            }
            _ => "the references disagree, or no block of held power may be judged",
        }
        .to_owned();
    }
    let among = curve.blocks.len();
    let named = curve.accuracy.open.iter().take(NAMED);
    let mut parts: Vec<String> = named.map(|open| open_power(curve, open, among)).collect();
    let more = curve.accuracy.open.len().saturating_sub(NAMED);
    parts.extend((more > 0).then(|| format!("so at {more} more powers")));
    parts.join(", ")
}

/// How many blocks are withheld because the references disagree.
fn disagreeing(curve: &ErrorCurve) -> usize {
    let withheld = |b: &&super::LeftOut| b.outcome == Outcome::ReferencesDisagree;
    curve.left_out.iter().filter(withheld).count()
}

fn open_power(curve: &ErrorCurve, open: &Open, among: usize) -> String {
    let mut blocks = curve.blocks.iter();
    let block = blocks.find(|block| Some(block.segment) == open.segment);
    let at = match (block.map(|b| b.named_w).or(open.power_w), open.segment) {
        (Some(power_w), _) => format!("at {power_w:.0} W"),
        (None, Some(segment)) => format!("in segment {segment}"),
        (None, None) => String::new(),
    };
    let between = open.ci95_percent.map_or_else(String::new, |[low, high]| {
        format!(
            "the error lies between {} and {} %",
            number(low, 1, true),
            number(high, 1, true)
        )
    });
    match open.why {
        Missing::Straddles => format!("{at} {between}"),
        Missing::BetweenBlocks => format!("{at}, between blocks, {between}"),
        Missing::Departs => {
            format!("{at} it departs from its neighbours and stands alone, where {between}")
        }
        Missing::MayBeChance => format!(
            "{at} it is beyond the claim on its own, which may be chance among {}",
            among.max(2)
        ),
    }
}

/// What each block says on its own where that differs, those left out, and what was not ridden.
fn rest(curve: &ErrorCurve) -> Vec<String> {
    let mut parts = Vec::new();
    let (alone, fine) = (counts(curve), curve.accuracy.outcome == Finding::Fine);
    let all_conform = alone[0] == curve.blocks.len();
    if curve.blocks.len() > 1 && !(fine && all_conform) {
        let words = ["conforms", "does not conform", "cannot tell"];
        let plural = ["conform", "do not conform", "cannot tell"];
        let said = (0..3).filter(|at| alone[*at] > 0).map(|at| {
            let word = if alone[at] == 1 {
                words[at]
            } else {
                plural[at]
            };
            format!("{} {word}", alone[at])
        });
        let said: Vec<String> = said.collect();
        parts.push(format!("each on its own: {}", said.join(", ")));
    }
    let disagree = disagreeing(curve);
    let others = curve.left_out.len() - disagree;
    parts.extend(
        (disagree > 0).then(|| format!("{disagree} withheld because the references disagree")),
    );
    parts.extend((others > 0).then(|| format!("{others} may not be judged")));
    if fine && curve.level.basis != Basis::OnePower {
        parts.push("between these powers nothing was ridden".to_owned());
    }
    parts
}

/// Blocks that conform, do not conform, cannot tell, each on its own.
fn counts(curve: &ErrorCurve) -> [usize; 3] {
    let of = |outcome| curve.blocks.iter().filter(|b| b.alone == outcome).count();
    [
        Outcome::Conforms,
        Outcome::DoesNotConform,
        Outcome::Inconclusive,
    ]
    .map(of)
}

impl ErrorCurve {
    /// The decision in a sentence that begins with its verb, which `what` follows.
    pub fn statement<'a>(&'a self, what: &'a str) -> Statement<'a> {
        Statement { curve: self, what }
    }

    /// Why the claim cannot be judged.
    pub fn open_words(&self) -> String {
        why_open(self)
    }

    /// What would tell.
    pub fn would_tell(&self) -> &'static str {
        let open = &self.accuracy.open;
        let all = |of: fn(&Open) -> bool| open.iter().all(of);
        if self.accuracy.turns_on_loss {
            "stating the loss would tell"
        } else if self.blocks.is_empty() && disagreeing(self) > 0 {
            "references that agree would tell"
        } else if all(|o| o.better_references) {
            "only references of less uncertainty would tell"
        } else if all(|o| !o.better_references) {
            "a longer block there, or a second one, would tell"
        } else {
            "longer blocks there and references of less uncertainty would tell"
        }
    }
}

impl fmt::Display for Level {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let reported = (
            self.from_w,
            self.to_w,
            self.change_percent,
            self.change_ci95_percent,
        );
        let (Some(from_w), Some(to_w), Some(change), Some([low, high])) = reported else {
            return match self.basis {
                Basis::OnePower if self.from_w.is_some() => f.write_str(
                    "whether the error changes with power was not ridden: all blocks lie at one power",
                ),
                _ => f.write_str(
                    "whether the error changes with power was not ridden: it takes blocks at two powers or more",
                ),
            };
        };
        let change_in_words = format!(
            "by {} points from {from_w:.0} to {to_w:.0} W (95 %: {} to {})",
            number(change, 1, true),
            number(low, 1, true),
            number(high, 1, true)
        );
        if self.basis == Basis::TwoBlocks {
            return write!(
                f,
                "between these two blocks the error differs {change_in_words}; whether power makes it, or something else, cannot be told: ride more powers, and the first one again at the end"
            );
        }
        if self.is_in_order() {
            return write!(
                f,
                "over the ride the error changes {change_in_words}; {}: repeat the first power at the end",
                self.with_warm_up()
            );
        }
        write!(
            f,
            "the error changes with power {change_in_words}, {}",
            self.against_limit()
        )?;
        if self.differs_otherwise() {
            f.write_str("; blocks differ by more than their scatter, not in the order of power")?;
        }
        Ok(())
    }
}

impl Level {
    /// What a change cannot be told from, or what may hide one.
    fn with_warm_up(&self) -> String {
        let order = if self.power_with_time.unwrap_or(0.0) > 0.0 {
            "power and warm-up rose together"
        } else {
            "power fell while things warmed up"
        };
        let so = if self.changes() {
            "neither can be named as its cause"
        } else {
            "one may hide the other"
        };
        format!("{order}, so that {so}")
    }

    fn against_limit(&self) -> String {
        let limit = self
            .limit_percent
            .map_or_else(String::new, |l| format!("{l:.1}"));
        match (self.outcome, self.changes()) {
            (Finding::Fine, false) => format!("no change that can be told, and within {limit}"),
            (Finding::Fine, true) => format!("a change, within {limit}"),
            (Finding::Fault, _) => format!("beyond {limit}"),
            (_, true) => format!("a change; whether it is beyond {limit} cannot be told"),
            (_, false) => format!("no change that can be told, nor that it is within {limit}"),
        }
    }
}
