//! Does the error change with power?
//!
//! The curve at the highest power less that at the lowest, with one wide shape: averaging with "no
//! change" would shrink it. Errors of scale that the references have, and a loss that is a constant
//! share, cancel in it. Zero offsets do not: ±z W count (z/√3)·|100/P₁ − 100/P₂|. Nor does a loss that
//! is partly constant in W: a chain's is a share and a constant over the power (Spicer et al. 2001, J
//! Mech Des 123:598, from memory), and where the expected loss has ±a, (a/√3)·√(P₁P₂)·|1/P₁ − 1/P₂|
//! is counted (judgement). Where a heat soak told how the error drifts, the drift between the middles of the
//! blocks at both ends counts, at most as fast as its limits: (d/√3)·|t₂ − t₁|/600 s (judgement: a warm-up
//! levels off, so that it is not taken out). Powers ridden in order cannot be told from warming up.

use serde::Serialize;

use super::{Finding, Held, Inputs};
use crate::analysis::verdict::conformity::decide_by_limits;
use crate::analysis::verdict::uncertainty::rectangular;
use crate::stats::Interval;
use crate::stats::curve::{LEAST_RATIO, Mixed, Posterior, ends};
use crate::stats::{chi_squared_beyond, finite, rank_correlation};

/// Rank correlation of power with time beyond which the two cannot be told apart. Judgement.
const IN_ORDER: f64 = 0.8;

/// Blocks whose powers differ by less than this share were ridden at one power.
const ONE_POWER: f64 = 0.05;

/// Outside on either side of 95 % limits.
const TAIL: f64 = 0.025;

/// What the change is read from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// A curve through three blocks or more.
    Curve,
    /// Two blocks.
    TwoBlocks,
    /// Nothing: one power, or none, was ridden.
    OnePower,
}

/// The change of the error over the range of power ridden.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Level {
    /// The answer.
    pub outcome: Finding,
    /// What it rests on.
    pub basis: Basis,
    /// Lowest power ridden, W.
    pub from_w: Option<f64>,
    /// Highest power ridden, W.
    pub to_w: Option<f64>,
    /// Error at the highest less that at the lowest, percentage points.
    pub change_percent: Option<f64>,
    /// Its 95 % limits, percentage points.
    pub change_ci95_percent: Option<Interval>,
    /// What it is held against, ± percentage points: the claim.
    pub limit_percent: Option<f64>,
    /// The change as that of a pure zero offset, W.
    pub as_zero_offset_w: Option<f64>,
    /// Standard uncertainty for zero offsets of the references, percentage points.
    pub zero_offset_uncertainty_percent: Option<f64>,
    /// Standard uncertainty for a loss that changes with power, percentage points.
    pub loss_uncertainty_percent: Option<f64>,
    /// Standard uncertainty for a drift that a heat soak showed, percentage points.
    pub drift_uncertainty_percent: Option<f64>,
    /// Rank correlation of power with time; beyond ±0.8 warm-up and power cannot be told apart.
    pub power_with_time: Option<f64>,
    /// Q, the squared deviations of the blocks from their mean in units of their scatter.
    pub q: Option<f64>,
    /// Probability of at least this Q where all have one error.
    pub q_p_value: Option<f64>,
}

impl Level {
    /// Whether the limits leave out "no change".
    pub fn changes(&self) -> bool {
        self.change_ci95_percent
            .is_some_and(|[low, high]| low > 0.0 || high < 0.0)
    }

    /// Whether power rose, or fell, with time.
    pub fn is_in_order(&self) -> bool {
        self.power_with_time.is_some_and(|r| r.abs() > IN_ORDER)
    }

    /// Whether blocks differ in a pattern other than the order of power.
    pub fn differs_otherwise(&self) -> bool {
        !self.changes() && self.q_p_value.is_some_and(|p| p < 2.0 * TAIL)
    }
}

/// The answer.
pub fn level(inputs: &Inputs) -> Level {
    let powers: Vec<f64> = inputs.held.iter().map(|b| b.power_w).collect();
    let range = ends(&powers);
    let one_power = powers.len() < 2 || range[1] < LEAST_RATIO * range[0];
    let basis = match powers.len() {
        _ if one_power => Basis::OnePower,
        2 => Basis::TwoBlocks,
        _ => Basis::Curve,
    };
    let [from_w, to_w] = range.map(finite);
    let mut found = Level {
        outcome: Finding::NotRidden,
        basis,
        from_w,
        to_w,
        change_percent: None,
        change_ci95_percent: None,
        limit_percent: None,
        as_zero_offset_w: None,
        zero_offset_uncertainty_percent: None,
        loss_uncertainty_percent: None,
        drift_uncertainty_percent: None,
        power_with_time: None,
        q: None,
        q_p_value: None,
    };
    if let Some(change) = change(inputs, basis) {
        fill(&mut found, inputs, range, &change);
    }
    found
}

/// The change from scatter alone.
fn change(inputs: &Inputs, basis: Basis) -> Option<Mixed> {
    match (basis, inputs.held.as_slice()) {
        (Basis::TwoBlocks, [low, high]) => Some(Mixed::normal(
            high.bias_percent - low.bias_percent,
            low.scatter_percent.hypot(high.scatter_percent),
        )),
        (Basis::Curve, held) => {
            // An error that all share alike cancels; of others, only their difference would stay.
            let alike = held
                .windows(2)
                .all(|pair| rest_on_the_same(&pair[0], &pair[1]));
            let common = if alike {
                vec![0.0; held.len() * held.len()]
            } else {
                inputs.common()
            };
            Some(Posterior::change(&inputs.measured(common))?.difference_of_ends())
        }
        _ => None,
    }
}

fn rest_on_the_same(a: &Held, b: &Held) -> bool {
    let sources =
        |held: &Held| -> Vec<String> { held.shared.iter().map(|e| e.source.clone()).collect() };
    sources(a) == sources(b)
}

/// Middle of the blocks ridden near a power, s: one that is repeated at the end lies in the middle.
fn mean_time_s(inputs: &Inputs, power_w: f64) -> f64 {
    let near = |b: &&Held| (b.power_w / power_w - 1.0).abs() < ONE_POWER;
    let times = inputs.held.iter().filter(near).map(|b| b.at_s);
    let (sum, n) = times.fold((0.0, 0.0), |(sum, n), at_s| (sum + at_s, n + 1.0));
    sum / f64::max(n, 1.0)
}

fn fill(found: &mut Level, inputs: &Inputs, range: [f64; 2], change: &Mixed) {
    let [low, high] = range;
    let [by_low, by_high] = range.map(|w| 100.0 / w);
    let zero_offset = rectangular(inputs.zero_offset_w) * (by_low - by_high);
    let loss =
        rectangular(inputs.loss.plus_minus()) * (low * high).sqrt() * (1.0 / low - 1.0 / high);
    let apart_s = (mean_time_s(inputs, high) - mean_time_s(inputs, low)).abs();
    let drift = rectangular(inputs.drift_per_10min) * apart_s / 600.0;
    let change = change.blurred(zero_offset.hypot(loss).hypot(drift));
    let shares = inputs.shares();
    let held = || inputs.held.iter().zip(&shares);
    let limit: f64 = held()
        .map(|(b, share)| share * inputs.limit_percent(b.power_w))
        .sum();
    let mean: f64 = held().map(|(b, share)| share * b.bias_percent).sum();
    let q: f64 = held()
        .map(|(b, _)| ((b.bias_percent - mean) / b.scatter_percent).powi(2))
        .sum();
    let column = |of: fn(&Held) -> f64| -> Vec<f64> { inputs.held.iter().map(of).collect() };
    found.power_with_time = rank_correlation(&column(|b| b.power_w), &column(|b| b.at_s));
    found.change_percent = finite(change.mean());
    found.change_ci95_percent = Some(change.limits(TAIL));
    found.limit_percent = finite(limit);
    found.as_zero_offset_w = finite(change.mean() / (by_high - by_low));
    found.zero_offset_uncertainty_percent = finite(zero_offset);
    found.loss_uncertainty_percent = finite(loss);
    found.drift_uncertainty_percent = finite(drift);
    found.q = finite(q);
    found.q_p_value = finite(chi_squared_beyond(q, shares.len() as f64 - 1.0));
    found.outcome = match found.basis == Basis::TwoBlocks || found.is_in_order() {
        true => Finding::CannotTell,
        false => decide_by_limits(change.limits(TAIL), limit).into(),
    };
}
