//! The curve through the blocks, its band, and each block's own limits.

use super::{Block, CurvePoint, Inputs};
use crate::stats::Interval;
use crate::stats::NORMAL_95;
use crate::stats::curve::{Path, Posterior, departures, ends, tube_critical};
use crate::stats::normal_cdf;

/// Fewest blocks that a curve is laid through, and the most: beyond them it takes seconds.
const FEWEST: usize = 3;
const MOST: usize = 60;

/// Powers at which the curve is held against the claim.
const POINTS: u32 = 13;

/// Outside on either side of 95 % limits.
const TAIL: f64 = 0.025;

/// What the curve tells.
pub struct Fit {
    /// At equal ratios of power.
    pub curve: Vec<CurvePoint>,
    /// Of each block.
    own: Vec<Own>,
}

/// Limits of the error in one block.
#[derive(Clone, Copy)]
struct Own {
    error: f64,
    ci95: Interval,
    simultaneous95: Interval,
    departure: f64,
}

impl Fit {
    /// `None` for too few blocks or too many.
    pub fn of(inputs: &Inputs) -> Option<Self> {
        if !(FEWEST..=MOST).contains(&inputs.len()) {
            return None;
        }
        let measured = inputs.measured(inputs.common());
        let posterior = Posterior::curve(&measured)?;
        let departures = departures(&measured)?;
        let powers = equal_ratios(ends(&measured.levels));
        let along = posterior.along(&powers);
        let in_order: Vec<usize> = (0..inputs.len()).collect();
        let blocks = posterior.at_measured(&in_order);
        let (curve_tail, block_tail) = (tail_along(&along), tail_along(&blocks));
        let curve = powers
            .iter()
            .zip(&along.targets)
            .map(|(power, found)| CurvePoint {
                power_w: *power,
                error_percent: found.mean(),
                ci95_percent: found.limits(TAIL),
                simultaneous95_percent: found.limits(curve_tail),
                limit_percent: inputs.limit_percent(*power),
            });
        let own = blocks.targets.iter().zip(departures).map(|(found, z)| Own {
            error: found.mean(),
            ci95: found.limits(TAIL),
            simultaneous95: found.limits(block_tail),
            departure: z,
        });
        Some(Self {
            curve: curve.collect(),
            own: own.collect(),
        })
    }
}

/// What lies outside on either side at one place when 95 % hold along the whole path.
fn tail_along(path: &Path) -> f64 {
    normal_cdf(-tube_critical(path.angle, 2.0 * TAIL))
}

fn equal_ratios([low, high]: [f64; 2]) -> Vec<f64> {
    let last = POINTS - 1;
    let at = |i| low * (high / low).powf(f64::from(i) / f64::from(last));
    // The ends are met exactly.
    (0..POINTS)
        .map(|i| if i == last { high } else { at(i) })
        .collect()
}

/// The blocks with their limits: from the curve where there is one, else each alone.
pub fn blocks(inputs: &Inputs, fit: Option<&Fit>) -> Vec<Block> {
    let block = |(at, held): (usize, &super::Held)| {
        let shared: f64 = held.shared.iter().map(|e| e.percent * e.percent).sum();
        let standard = held.scatter_percent.hypot(shared.sqrt());
        let own = fit.and_then(|fit| fit.own.get(at));
        let alone = [-1.0, 1.0].map(|side| held.bias_percent + side * NORMAL_95 * standard);
        Block {
            segment: held.segment,
            n: held.n,
            power_w: held.power_w,
            bias_percent: held.bias_percent,
            scatter_percent: held.scatter_percent,
            standard_uncertainty_percent: standard,
            limit_percent: inputs.limit_percent(held.power_w),
            error_percent: own.map_or(held.bias_percent, |own| own.error),
            ci95_percent: own.map_or(alone, |own| own.ci95),
            simultaneous95_percent: own.map(|own| own.simultaneous95),
            departure: own.map(|own| own.departure),
            named_w: held.named_w,
            expanded_percent: held.expanded_percent,
            alone: held.alone,
        }
    };
    inputs.held.iter().enumerate().map(block).collect()
}
