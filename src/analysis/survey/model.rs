//! What is kept of a session once its recordings are closed: its answers and its judged blocks.

use std::sync::Arc;

use serde::Serialize;

use crate::analysis::loss::Loss;
use crate::analysis::questions::{Answer, Finding, Findings, Question};
use crate::analysis::ride;
use crate::analysis::table::Table;
use crate::analysis::verdict::conformity::{MIN_SECONDS, Outcome};
use crate::analysis::verdict::figures::Verdict;
use crate::analysis::verdict::uncertainty::{ALLOWANCE, rectangular};
use crate::recording::Channel;
use crate::session::{Fact, Kind, Role, Session};
use crate::stats::{Interval, median_of};
use crate::text::{machine_number, one_line};
use crate::timeline::{Aligned, Span};

/// What is kept of a session once its recordings are closed.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Surveyed {
    /// How the session was named.
    pub session: String,
    /// Its title.
    pub title: String,
    /// Its facts.
    #[serde(skip)]
    pub facts: Vec<Fact>,
    /// The value of the fact that the survey groups by.
    pub by: Option<String>,
    /// Every fault of it in one sentence.
    pub headline: String,
    /// Its answers to a tester's questions.
    pub questions: Vec<Asked>,
    /// Its judged blocks.
    pub blocks: Vec<Block>,
    /// What it was ridden on.
    #[serde(skip)]
    pub bench: Bench,
}

/// One answer, in short.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Asked {
    /// The question.
    pub question: Question,
    /// Label of the source; empty for a question about the whole ride.
    pub source: String,
    /// The answer.
    pub outcome: Finding,
    /// The number that decides, in `unit`.
    pub value: Option<f64>,
    /// Its unit.
    pub unit: &'static str,
    /// Its 95 % limits.
    #[serde(skip)]
    pub interval: Option<Interval>,
    /// What its size is held against.
    #[serde(skip)]
    pub limit: Option<f64>,
}

/// One judged block.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Block {
    /// The segment, by its number.
    pub segment: usize,
    /// Its kind.
    pub kind: Kind,
    /// Its set point, W.
    pub set_point_w: Option<f64>,
    /// Label of the source under test.
    pub under_test: String,
    /// Label of what it was compared with.
    pub reference: String,
    /// Seconds with both values.
    pub n: usize,
    /// Net bias, %.
    pub bias_percent: f64,
    /// Its expanded uncertainty, %.
    #[serde(skip)]
    pub expanded_percent: Option<f64>,
    /// What the claim allows, ± %.
    #[serde(skip)]
    pub limit_percent: Option<f64>,
    /// Its verdict.
    pub outcome: Outcome,
    /// Whether it is of the first source under test.
    #[serde(skip)]
    pub is_first: bool,
    /// Mean power of the references, carried to the source's site, W.
    #[serde(skip)]
    pub power_w: f64,
    /// Metres a turn of the crank, where speed and cadence were recorded and one gear was ridden.
    #[serde(skip)]
    pub gear_m: Option<f64>,
    /// The mode the trainer was in, as its recorder called it; empty where that noted none or changed it.
    #[serde(skip)]
    pub mode: String,
    /// Its uncertainty in parts.
    #[serde(skip)]
    pub parts: Parts,
    /// Largest size that its error may have, bias and uncertainty together, %, whatever loss nobody
    /// stated.
    #[serde(skip)]
    pub reach_percent: Option<f64>,
}

/// Standard uncertainties of a block, %.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Parts {
    /// Of the scatter of its seconds, as if it were known exactly.
    pub seconds: f64,
    /// Of the scale of the references.
    pub references: f64,
    /// Of the loss between the sites.
    pub loss: f64,
}

/// What a ride was ridden on, as far as it makes errors that rides share.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Bench {
    /// The references: label, site and scale, in order of the labels.
    pub references: Vec<String>,
    /// What `references` under `[facts]` says.
    pub references_fact: Option<String>,
    /// What `bike` under `[facts]` says.
    pub bike: Option<String>,
    /// The stated loss, in words; empty where nothing is stated.
    pub stated_loss: String,
}

/// A session that could not be used.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Skipped {
    /// How it was named.
    pub session: String,
    /// Why.
    pub reason: String,
}

impl Surveyed {
    /// What a survey needs of a session: its judged blocks. An open stretch is none (a warm-up asks
    /// nothing that another day repeats).
    pub fn new(
        named: &str,
        (session, aligned): (&Session, &Aligned),
        (table, findings): (&Table, &Findings),
    ) -> Self {
        let modes = ride::modes(aligned);
        let mut blocks = Vec::new();
        for segment in &table.segments {
            let span = Span::new(segment.from_s, segment.to_s);
            for verdict in segment.verdict.iter().chain(&segment.further_verdicts) {
                let unfit = matches!(
                    verdict.outcome,
                    Outcome::NotApplicable | Outcome::ReferencesDisagree
                );
                if let (Some(bias_percent), false) = (verdict.bias_percent, unfit) {
                    let source = session.stream_index(&verdict.under_test);
                    let loss = Loss::before(session, source);
                    blocks.push(Block {
                        segment: segment.id,
                        kind: segment.kind,
                        set_point_w: segment.set_point_w,
                        under_test: verdict.under_test.clone(),
                        reference: verdict.reference.clone(),
                        n: verdict.n,
                        bias_percent,
                        expanded_percent: verdict.expanded_uncertainty_percent,
                        limit_percent: verdict.limit_percent,
                        outcome: verdict.outcome,
                        is_first: is_of_first(session, verdict),
                        power_w: verdict.level_w().unwrap_or(f64::NAN),
                        gear_m: gear_m(aligned, span),
                        mode: mode(&modes, span),
                        parts: Parts::of(verdict, loss),
                        reach_percent: reach_percent(verdict, loss),
                    });
                }
            }
        }
        Self {
            session: named.to_owned(),
            title: session.title.clone(),
            facts: session.facts.clone(),
            by: None,
            headline: findings.headline.clone(),
            questions: findings.answers.iter().map(Asked::of).collect(),
            blocks,
            bench: Bench::of(session),
        }
    }

    /// The value of a fact, on one line.
    pub fn fact(&self, key: &str) -> Option<String> {
        let fact = self.facts.iter().find(|fact| fact.key == key);
        fact.map(|fact| one_line(&fact.value))
    }
}

impl Asked {
    fn of(answer: &Answer) -> Self {
        Self {
            question: answer.question,
            source: answer.source.clone(),
            outcome: answer.outcome,
            value: answer.value,
            unit: answer.unit,
            interval: answer.interval,
            limit: answer.limit,
        }
    }
}

impl Parts {
    fn of(verdict: &Verdict, loss: Loss) -> Self {
        let (mut seconds, mut references, mut allowance) = (0.0, 0.0_f64, 0.0);
        for line in &verdict.budget {
            let percent = line.standard_uncertainty_percent.unwrap_or(f64::NAN);
            if line.is_scatter() {
                seconds = line.as_known_percent().unwrap_or(f64::NAN);
            } else if line.source == ALLOWANCE {
                allowance = percent;
            } else {
                references = references.hypot(percent);
            }
        }
        if loss.is_open() {
            allowance = rectangular(loss.plus_minus());
        }
        Self {
            seconds,
            references,
            loss: allowance,
        }
    }
}

impl Bench {
    fn of(session: &Session) -> Self {
        let fact = |key: &str| {
            let fact = session.facts.iter().find(|fact| fact.key == key);
            fact.map(|fact| one_line(&fact.value))
        };
        let reference = |index: usize| {
            let stream = session.streams.get(index)?;
            let site = stream.site.map_or("", |site| site.word());
            let scale = match stream.known_scale() {
                Some(known) => format!(", scale {}", machine_number(known.scale)),
                None => String::new(),
            };
            Some(format!("{} ({site}{scale})", one_line(&stream.label)))
        };
        let mut references: Vec<String> = session
            .with_role(Role::Reference)
            .filter_map(reference)
            .collect();
        references.sort_unstable();
        let stated_loss = session.allowance.map_or_else(String::new, |loss| {
            format!(
                "{} ± {} %",
                machine_number(loss.percent),
                machine_number(loss.plus_minus)
            )
        });
        Self {
            references,
            references_fact: fact("references"),
            bike: fact("bike"),
            stated_loss,
        }
    }
}

fn is_of_first(session: &Session, verdict: &Verdict) -> bool {
    let first = session.with_role(Role::UnderTest).next();
    first.is_some() && session.stream_index(&verdict.under_test) == first
}

/// |b| + U, the largest over every loss that may be; `None` for a block that is too short to be judged.
fn reach_percent(verdict: &Verdict, loss: Loss) -> Option<f64> {
    let bias = verdict.bias_percent?;
    let expanded = verdict.expanded_uncertainty_percent?;
    let tried = loss.tried_percent().into_iter();
    let sizes = tried.map(|percent| loss.difference_anew(bias, percent).abs() + expanded);
    (verdict.n >= MIN_SECONDS).then(|| sizes.fold(0.0, f64::max))
}

/// The mode that held over the whole stretch, but for its edges.
fn mode(modes: &[(Span, Arc<str>)], span: Span) -> String {
    const EDGE: f64 = 0.1;
    let edge_s = EDGE * span.duration_s();
    let holds = |of: &&(Span, Arc<str>)| {
        of.0.from_s <= span.from_s + edge_s && of.0.to_s >= span.to_s - edge_s
    };
    let held = modes.iter().find(holds);
    held.map_or_else(String::new, |(_, mode)| one_line(mode))
}

/// Seconds that must tell a gear, and how far they may scatter about one, share of it.
const LEAST_SECONDS: usize = 20;
const ONE_GEAR: f64 = 0.02;

/// Metres a turn of the crank: wheel speed over the cadence of the references, the median.
fn gear_m(aligned: &Aligned, span: Span) -> Option<f64> {
    let rows = aligned.grid.rows(span);
    let tracks = || aligned.tracks.iter();
    let column = |role: Role, channel: Channel| {
        let mut own = tracks().filter(move |track| track.role == role);
        own.find_map(|track| track.column(channel)?.get(rows.clone()))
    };
    let cadence = column(Role::Reference, Channel::Cadence)?;
    let speed = [Role::UnderTest, Role::Reference, Role::Context];
    let speed = speed
        .into_iter()
        .find_map(|role| column(role, Channel::Speed))?;
    let turns = cadence.iter().zip(speed);
    let turns: Vec<f64> = turns
        .filter(|(rpm, _)| **rpm > 20.0)
        .map(|(rpm, m_s)| 60.0 * m_s / rpm)
        .filter(|metres| metres.is_finite() && *metres > 0.0)
        .collect();
    if turns.len() < LEAST_SECONDS {
        return None;
    }
    let middle = median_of(turns.clone())?;
    let apart = median_of(turns.iter().map(|m| (m / middle - 1.0).abs()).collect())?;
    (apart < ONE_GEAR).then_some(middle)
}
