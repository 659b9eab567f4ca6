//! Does the source read within its claim at held power?

use serde::Serialize;

use super::{Block, CurvePoint, Finding, Inputs, STANDS_ALONE_AT};
use crate::analysis::verdict::conformity::Outcome;
use crate::stats::Interval;
use crate::stats::NORMAL_95;
use crate::stats::curve::{Combined, joint_critical};

/// Probability that no block, nor their mean, is accused wrongly.
const TOGETHER: f64 = 0.975;

/// Least multiplier of a block's own guard among three: departures cannot be seen there.
const AMONG_THREE: f64 = 1.85;

/// What the decision rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Rule {
    /// There is one block, and it decides.
    OneBlock,
    /// Each block conforms on its own.
    EachBlock,
    /// The curve, and each block as far as it departs from it.
    Curve,
    /// The same with the error taken to be smoother than usual: `curve_smooth` under `[limits]`.
    SmoothCurve,
    /// Blocks, or the mean of all, beyond the claim by a joint critical value.
    Joint,
    /// Nothing is decided.
    Undecided,
}

/// What keeps a power from being decided.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Missing {
    /// The limits of the error reach over the claim.
    Straddles,
    /// It departs from its neighbours, so it stands alone, and alone it does not tell.
    Departs,
    /// It is beyond the claim on its own, which may be chance among several.
    MayBeChance,
    /// No block lies there, and the curve's limits reach over the claim.
    BetweenBlocks,
}

/// A power that is not decided.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Open {
    /// The segment, by its `id`; `None` between blocks.
    pub segment: Option<usize>,
    /// Power, W; `None` where it is too low for a percentage.
    pub power_w: Option<f64>,
    /// Why.
    pub why: Missing,
    /// Where the error lies, 95 %, %; `None` without a percentage.
    pub ci95_percent: Option<Interval>,
    /// Whether only references of less uncertainty would tell; else longer blocks would, or a second
    /// one at this power.
    pub better_references: bool,
}

/// The decision.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Accuracy {
    /// The answer.
    pub outcome: Finding,
    /// What it rests on.
    pub rule: Rule,
    /// How many standard uncertainties beyond the claim a block, or the mean, has to lie; `None`
    /// for fewer than two blocks.
    pub critical_value: Option<f64>,
    /// Mean bias of all blocks, by the precision of their scatter, %.
    pub mean_bias_percent: Option<f64>,
    /// Its standard uncertainty, %.
    pub mean_standard_uncertainty_percent: Option<f64>,
    /// What the claim allows in the same mean, ± %.
    pub mean_limit_percent: Option<f64>,
    /// Blocks beyond the claim, by `id`.
    pub beyond: Vec<usize>,
    /// Whether the mean of all is.
    pub beyond_on_average: bool,
    /// Powers that are not decided, where the whole is not.
    pub open: Vec<Open>,
    /// Whether the answer depends on what the drivetrain takes, which is not stated.
    pub turns_on_loss: bool,
}

/// Mean of all blocks.
#[derive(Clone, Copy)]
struct Mean {
    bias: f64,
    limit: f64,
    standard: f64,
}

impl Accuracy {
    /// The same where another loss, none being stated, would say otherwise.
    pub(super) fn turned_over(self) -> Self {
        Self {
            outcome: Finding::CannotTell,
            rule: Rule::Undecided,
            beyond: Vec::new(),
            beyond_on_average: false,
            turns_on_loss: true,
            ..self
        }
    }
}

/// Decides. `blocks` and `curve` are those of `inputs`.
pub fn decide(inputs: &Inputs, blocks: &[Block], curve: &[CurvePoint]) -> Accuracy {
    match blocks {
        [] => undecided(inputs, blocks, curve),
        [block] => one(inputs, block, curve),
        _ => several(inputs, blocks, curve),
    }
}

fn answer(outcome: Finding, rule: Rule) -> Accuracy {
    Accuracy {
        outcome,
        rule,
        critical_value: None,
        mean_bias_percent: None,
        mean_standard_uncertainty_percent: None,
        mean_limit_percent: None,
        beyond: Vec::new(),
        beyond_on_average: false,
        open: Vec::new(),
        turns_on_loss: false,
    }
}

fn undecided(inputs: &Inputs, blocks: &[Block], curve: &[CurvePoint]) -> Accuracy {
    let outcome = if blocks.is_empty() && inputs.left_out.is_empty() {
        Finding::NotRidden
    } else {
        Finding::CannotTell
    };
    Accuracy {
        open: open(inputs, blocks, curve),
        ..answer(outcome, Rule::Undecided)
    }
}

fn one(inputs: &Inputs, block: &Block, curve: &[CurvePoint]) -> Accuracy {
    match block.alone {
        Outcome::Conforms if !beyond_elsewhere(inputs) => answer(Finding::Fine, Rule::OneBlock),
        Outcome::DoesNotConform => Accuracy {
            beyond: vec![block.segment],
            ..answer(Finding::Fault, Rule::OneBlock)
        },
        _ => undecided(inputs, std::slice::from_ref(block), curve),
    }
}

fn several(inputs: &Inputs, blocks: &[Block], curve: &[CurvePoint]) -> Accuracy {
    let common = inputs.common();
    let mean = mean(inputs, blocks, &common);
    let critical = critical_value(blocks, mean, &common);
    let beyond: Vec<usize> = blocks
        .iter()
        .filter(|b| {
            b.bias_percent.abs() - critical * b.standard_uncertainty_percent > b.limit_percent
        })
        .map(|b| b.segment)
        .collect();
    let beyond_on_average = mean.bias.abs() - critical * mean.standard > mean.limit;
    let decided = if !beyond.is_empty() || beyond_on_average {
        answer(Finding::Fault, Rule::Joint)
    } else if beyond_elsewhere(inputs) {
        undecided(inputs, blocks, curve)
    } else if blocks.iter().all(|b| b.alone == Outcome::Conforms) {
        answer(Finding::Fine, Rule::EachBlock)
    } else if within_along_the_curve(inputs, blocks, curve) {
        let rule = if inputs.stands_alone_at > STANDS_ALONE_AT {
            Rule::SmoothCurve
        } else {
            Rule::Curve
        };
        answer(Finding::Fine, rule)
    } else {
        undecided(inputs, blocks, curve)
    };
    Accuracy {
        critical_value: Some(critical),
        mean_bias_percent: Some(mean.bias),
        mean_standard_uncertainty_percent: Some(mean.standard),
        mean_limit_percent: Some(mean.limit),
        beyond,
        beyond_on_average,
        ..decided
    }
}

/// Whether a block that is not on the curve does not conform.
fn beyond_elsewhere(inputs: &Inputs) -> bool {
    let mut left_out = inputs.left_out.iter();
    left_out.any(|b| b.outcome == Outcome::DoesNotConform)
}

fn mean(inputs: &Inputs, blocks: &[Block], common: &[f64]) -> Mean {
    let shares = inputs.shares();
    let weighed = |of: fn(&Block) -> f64| -> f64 {
        let each = shares.iter().zip(blocks).map(|(share, b)| share * of(b));
        each.sum()
    };
    let scatter: f64 = blocks.iter().map(|b| b.scatter_percent.powi(-2)).sum();
    let rows = common.chunks_exact(blocks.len()).zip(&shares);
    let shared: f64 = rows
        .map(|(row, share)| {
            let across = row.iter().zip(&shares).map(|(cell, other)| cell * other);
            share * across.sum::<f64>()
        })
        .sum();
    Mean {
        bias: weighed(|b| b.bias_percent),
        limit: weighed(|b| b.limit_percent),
        standard: (scatter.recip() + shared).sqrt(),
    }
}

/// For blocks and their mean together. Of errors that not all share alike, the least is taken as
/// shared, and the rest as each one's own.
fn critical_value(blocks: &[Block], mean: Mean, common: &[f64]) -> f64 {
    let least = common
        .iter()
        .copied()
        .fold(f64::INFINITY, f64::min)
        .max(0.0);
    let combined = |all: f64| Combined {
        all,
        own: (all * all - least).max(0.0).sqrt(),
    };
    let standards = blocks.iter().map(|b| b.standard_uncertainty_percent);
    let estimates: Vec<Combined> = standards.chain([mean.standard]).map(combined).collect();
    joint_critical(&estimates, least.sqrt(), TOGETHER)
}

fn is_within([low, high]: Interval, limit: f64) -> bool {
    -limit <= low && high <= limit
}

/// Whether the curve and every block's own error lie within the claim, and every block passes its own
/// guard. No factor for the number of powers: the worst has to pass (intersection–union, Berger 1982,
/// Technometrics 24:295, from memory).
fn within_along_the_curve(inputs: &Inputs, blocks: &[Block], curve: &[CurvePoint]) -> bool {
    !curve.is_empty()
        && curve
            .iter()
            .all(|p| is_within(p.ci95_percent, p.limit_percent))
        && blocks
            .iter()
            .all(|b| is_within(b.ci95_percent, b.limit_percent) && passes_alone(inputs, b))
}

/// The guard that a block has to keep by itself: wider the further it departs from its neighbours.
pub(super) fn guard(inputs: &Inputs, block: &Block) -> f64 {
    let alone_at = inputs.stands_alone_at;
    let departs = block.departure.map_or(1.0, |z| z.abs() / alone_at);
    let least = if inputs.held.len() == 3 {
        AMONG_THREE
    } else {
        0.0
    };
    (NORMAL_95 * departs.min(1.0)).max(least)
}

fn passes_alone(inputs: &Inputs, block: &Block) -> bool {
    let reach = guard(inputs, block) * block.standard_uncertainty_percent;
    block.bias_percent.abs() + reach <= block.limit_percent
}

/// The powers that are not decided.
fn open(inputs: &Inputs, blocks: &[Block], curve: &[CurvePoint]) -> Vec<Open> {
    let elsewhere = inputs
        .left_out
        .iter()
        .filter(|b| b.outcome == Outcome::DoesNotConform);
    let elsewhere = elsewhere.map(|b| Open {
        segment: Some(b.segment),
        power_w: None,
        why: Missing::MayBeChance,
        ci95_percent: None,
        better_references: false,
    });
    let mut found: Vec<Open> = blocks
        .iter()
        .filter_map(|b| Some(open_block(b, missing(inputs, b)?)))
        .chain(elsewhere)
        .collect();
    if found.is_empty() {
        found.extend(open_between(curve));
    }
    found
}

fn missing(inputs: &Inputs, block: &Block) -> Option<Missing> {
    let is_curve = block.departure.is_some();
    if inputs.held.len() > 1 && block.alone == Outcome::DoesNotConform {
        Some(Missing::MayBeChance)
    } else if !is_curve {
        (block.alone != Outcome::Conforms).then_some(Missing::Straddles)
    } else if !is_within(block.ci95_percent, block.limit_percent) {
        Some(Missing::Straddles)
    } else {
        (!passes_alone(inputs, block)).then_some(Missing::Departs)
    }
}

fn open_block(block: &Block, why: Missing) -> Open {
    let standard = block.standard_uncertainty_percent;
    let shared = (standard * standard - block.scatter_percent * block.scatter_percent).max(0.0);
    let alone = [-1.0, 1.0].map(|side| block.bias_percent + side * NORMAL_95 * standard);
    let straddles = why == Missing::Straddles;
    let ci95 = if straddles { block.ci95_percent } else { alone };
    let estimate = if straddles {
        block.error_percent
    } else {
        block.bias_percent
    };
    let room = (block.limit_percent - estimate.abs()).abs();
    Open {
        segment: Some(block.segment),
        power_w: Some(block.power_w),
        why,
        ci95_percent: Some(ci95),
        better_references: NORMAL_95 * shared.sqrt() >= room,
    }
}

/// The power between blocks at which the curve's limits reach furthest over the claim.
fn open_between(curve: &[CurvePoint]) -> Option<Open> {
    let over = |p: &CurvePoint| {
        let [low, high] = p.ci95_percent;
        (-low).max(high) - p.limit_percent
    };
    let worst = curve.iter().max_by(|a, b| over(a).total_cmp(&over(b)))?;
    (over(worst) > 0.0).then_some(Open {
        segment: None,
        power_w: Some(worst.power_w),
        why: Missing::BetweenBlocks,
        ci95_percent: Some(worst.ci95_percent),
        better_references: false,
    })
}
