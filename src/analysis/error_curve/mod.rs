//! The error of a source against power over all blocks of held power: one decision on its claim, and
//! whether the error changes with power.
//!
//! Asked about is the error at every power ridden. A pooled mean would pass a source that is off at
//! one power, and what the references share does not average down however many blocks there are. So
//! a source conforms where each block does, or where the limits of a smooth curve through them and of
//! every block's own error lie within the claim; each block then has to bring evidence of its own, the
//! more so the further it departs from its neighbours. It does not conform where a block, or the mean
//! of all, lies beyond the claim by a critical value for all of them together (`accuracy`).

mod accuracy;
mod fit;
mod inputs;
mod level;
mod words;

#[cfg(test)]
mod tests;

use serde::Serialize;

use super::figures::{Interval, Outcome, SegmentFigures};
use super::verdict::overall::judged;
use crate::session::{Role, Session};

pub use accuracy::{Accuracy, Missing, Open, Rule};
pub use fit::CurvePoint;
pub use inputs::{Held, Inputs, SharedError};
pub use level::{Basis, Level};
pub use words::Statement;

/// Multiplier of a standard uncertainty for 95 % limits.
pub(crate) const NORMAL_95: f64 = 1.959_963_984_540_054;

/// The answer to a tester's question.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Finding {
    /// Within the limit.
    Fine,
    /// Beyond the limit.
    Fault,
    /// The ride does not tell.
    CannotTell,
    /// Nothing in the ride can answer.
    NotRidden,
}

/// What all blocks of held power say together of one source under test; in JSON an entry of
/// `error_curve`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ErrorCurve {
    /// Label of the source under test.
    pub under_test: String,
    /// The blocks that may be judged, in order of power.
    pub blocks: Vec<Block>,
    /// Blocks that ask for held power and may not be judged, or have no percentage.
    pub left_out: Vec<LeftOut>,
    /// The curve at equal ratios of power; empty for fewer than three blocks.
    pub curve: Vec<CurvePoint>,
    /// Whether it reads within its claim.
    pub accuracy: Accuracy,
    /// Whether the error changes with power.
    pub level: Level,
    /// The decision in a sentence, without the source's name.
    pub accuracy_sentence: String,
    /// The change with power in a sentence.
    pub level_sentence: String,
}

/// One block on the picture.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Block {
    /// The segment, by its `id`.
    pub segment: usize,
    /// Seconds with both values.
    pub n: usize,
    /// Mean power of the reference, carried to the source's site, W.
    pub power_w: f64,
    /// Bias after the allowance, %.
    pub bias_percent: f64,
    /// Standard uncertainty of the block's own scatter, %: half-width of its 95 % limits / 1.96.
    pub scatter_percent: f64,
    /// Standard uncertainty with what all blocks share, %.
    pub standard_uncertainty_percent: f64,
    /// What the claim allows, ± %.
    pub limit_percent: f64,
    /// Error in this block, given its neighbours, %; the bias where there are fewer than three.
    pub error_percent: f64,
    /// 95 % limits of the error in this block, given its neighbours, %; of the block alone where
    /// there are fewer than three.
    pub ci95_percent: Interval,
    /// The same for all blocks at once, %; `None` for fewer than three blocks.
    pub simultaneous95_percent: Option<Interval>,
    /// By how many standard deviations it departs from what the others lead one to expect; `None`
    /// for fewer than three blocks.
    pub departure: Option<f64>,
    /// What the block alone says of the claim.
    #[serde(skip)]
    pub alone: Outcome,
}

/// A block that is not on the curve.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct LeftOut {
    /// The segment, by its `id`.
    pub segment: usize,
    /// What is said of it alone.
    pub outcome: Outcome,
}

/// One entry a source under test, in session order.
pub fn error_curves(session: &Session, segments: &[SegmentFigures]) -> Vec<ErrorCurve> {
    session
        .with_role(Role::UnderTest)
        .filter_map(|index| {
            let label = &session.streams.get(index)?.label;
            let inputs = Inputs::of(session, index, judged(label, segments));
            Some(error_curve(label, &inputs))
        })
        .collect()
}

/// What the blocks say together.
pub fn error_curve(under_test: &str, inputs: &Inputs) -> ErrorCurve {
    let (blocks, curve) = drawn(inputs);
    let mut accuracy = accuracy::decide(inputs, &blocks, &curve);
    if inputs.loss.is_open() {
        let agreed = inputs.loss.agreed(|loss_percent| {
            let carried = inputs.carried(loss_percent);
            let (blocks, curve) = drawn(&carried);
            accuracy::decide(&carried, &blocks, &curve).outcome
        });
        if agreed.is_none() {
            accuracy = accuracy.turned_over();
        }
    }
    let mut found = ErrorCurve {
        under_test: under_test.to_owned(),
        accuracy,
        level: level::level(inputs),
        left_out: inputs.left_out.clone(),
        blocks,
        curve,
        accuracy_sentence: String::new(),
        level_sentence: String::new(),
    };
    found.accuracy_sentence = found.statement("").to_string();
    found.level_sentence = found.level.to_string();
    found
}

/// The blocks and the curve through them.
fn drawn(inputs: &Inputs) -> (Vec<Block>, Vec<CurvePoint>) {
    let fitted = fit::Fit::of(inputs);
    let blocks = fit::blocks(inputs, fitted.as_ref());
    (blocks, fitted.map_or_else(Vec::new, |fit| fit.curve))
}

impl ErrorCurve {
    /// The decision in a sentence that begins with its verb, which `what` follows.
    pub fn statement<'a>(&'a self, what: &'a str) -> Statement<'a> {
        Statement { curve: self, what }
    }
}
