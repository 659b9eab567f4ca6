//! What is on the curve and what an answer can be.

use serde::Serialize;

use crate::analysis::verdict::conformity::Outcome;
use crate::stats::Interval;

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

impl From<Outcome> for Finding {
    fn from(outcome: Outcome) -> Self {
        match outcome {
            Outcome::Conforms => Finding::Fine,
            Outcome::DoesNotConform => Finding::Fault,
            Outcome::Inconclusive | Outcome::ReferencesDisagree => Finding::CannotTell,
            Outcome::NotApplicable => Finding::NotRidden,
        }
    }
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
    /// Net bias, %.
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
    /// The power that it is called by, W: what was asked for, where that is near what was ridden.
    #[serde(skip)]
    pub named_w: f64,
    /// Expanded uncertainty of the block alone, %: what is told beside its bias, and what `alone` is
    /// decided by.
    #[serde(skip)]
    pub expanded_percent: f64,
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

/// The curve at one power.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct CurvePoint {
    /// Power, W.
    pub power_w: f64,
    /// Error of the curve, %.
    pub error_percent: f64,
    /// 95 % limits at this power, %.
    pub ci95_percent: Interval,
    /// 95 % limits that hold along the whole curve, %.
    pub simultaneous95_percent: Interval,
    /// What the claim allows, ± %.
    pub limit_percent: f64,
}
