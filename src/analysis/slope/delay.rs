//! How late each step of the gradient arrives: an area.
//!
//! With G what is left of the force once rolling, drag and flywheel are taken off, and G₁, G₂ its
//! levels on the plateaus before and after, the delay is `∫(G₂ − G)/(G₂ − G₁) dt` from the instant the
//! grade changes. Each step is held against its own levels, so that an error of the fit elsewhere does not add up.
//! It is integrated for as long as all steps together say that a gradient keeps arriving: the noise of an area
//! grows with its length.
//!
//! The instant is the first second that is recorded with the new grade. It came up to a second before, so
//! that every delay may be that much longer: the upper limits hold it.

use std::ops::Range;

use super::flywheel::Flywheel;
use super::inputs::{Inputs, present, slope_of};
use super::plateaus::Plateau;
use crate::stats::{Interval, NORMAL_95, Sample, finite, t_quantile};

/// Least step whose delay is told, %.
const LEAST_STEP_PERCENT: f64 = 1.0;
/// What is integrated after a step, s: at least and at most, and twice the delay of all steps on top of
/// the room below.
const SHORTEST_S: f64 = 15.0;
const LONGEST_S: f64 = 30.0;
const ROOM_S: f64 = 10.0;
/// How long before it is recorded a grade may have changed, s.
const RECORDED_S: f64 = 1.0;
/// Means whose scatter tells that of a longer sum, s.
const MEAN_S: f64 = 5.0;

/// The delay of one step of grade.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Step {
    /// When the grade changes, session time, s.
    pub at_s: f64,
    /// Grade before, %.
    pub from_percent: f64,
    /// Grade after, %.
    pub to_percent: f64,
    /// Mean delay by area, s.
    pub delay_s: f64,
    /// Its 95 % limits, s.
    pub delay_ci95_s: Interval,
    /// What a kilogram more of the flywheel would take off, s.
    per_kg_s: f64,
    /// Size of the step, N.
    step_n: f64,
}

/// What is taken off the force: rolling, N, drag, N s²/m², and the flywheel.
pub(super) struct Other {
    pub rolling_n: f64,
    pub drag_kg_m: f64,
    pub flywheel: Option<Flywheel>,
}

impl Other {
    fn mass_kg(&self) -> f64 {
        self.flywheel.map_or(0.0, |f| f.mass_kg)
    }

    /// What is left of the force at a row, N.
    fn gradient_n(&self, inputs: &Inputs<'_>, row: usize) -> Option<f64> {
        let speed = inputs.mean_speed(row)?;
        let (_, cos) = slope_of(present(inputs.grade_percent, row)?);
        let steady_n = self.rolling_n * cos + self.drag_kg_m * speed * speed;
        Some(inputs.free_n(row, self.mass_kg())? - steady_n)
    }
}

/// The delays of all steps from one plateau to the next.
pub(super) fn steps(inputs: &Inputs<'_>, plateaus: &[Plateau], other: &Other) -> Vec<Step> {
    let late_s = other.flywheel.map_or(LONGEST_S, |f| f.late_s);
    let length = inputs.rows((2.0 * late_s + ROOM_S).clamp(SHORTEST_S, LONGEST_S));
    let pairs = plateaus.windows(2);
    pairs
        .filter_map(|pair| step(inputs, &pair[0], &pair[1], other, length))
        .collect()
}

/// A settled level, N, and the variance of a second's G about it as it counts in a long sum, N².
fn level(inputs: &Inputs<'_>, rows: &Range<usize>, other: &Other) -> Option<(f64, f64)> {
    let length = inputs.rows(MEAN_S);
    let of = |row| other.gradient_n(inputs, row);
    let parts = (0..rows.len() / length).map(|n| rows.start + n * length);
    let means = parts.filter_map(|start| inputs.mean_over(&(start..start + length), of));
    let sample = Sample::present(means)?;
    let variance = sample.variance() * length as f64;
    Some((inputs.mean_over(rows, of)?, finite(variance).unwrap_or(0.0)))
}

fn step(
    inputs: &Inputs<'_>,
    before: &Plateau,
    after: &Plateau,
    other: &Other,
    length: usize,
) -> Option<Step> {
    let change = after.grade_percent - before.grade_percent;
    if !before.is_followed_by(after) || change.abs() < LEAST_STEP_PERCENT {
        return None;
    }
    let settled = after.settled(inputs);
    let (from_n, from_variance) = level(inputs, &before.settled(inputs), other)?;
    let (to_n, to_variance) = level(inputs, &settled, other)?;
    let step_n = to_n - from_n;
    // A reading tells of the second before it: that of the change itself is not counted.
    let first = after.rows.start + 1;
    let rows = first..(first + length).min(after.rows.end);
    let shares: Vec<f64> = rows
        .clone()
        .filter_map(|row| Some((to_n - other.gradient_n(inputs, row)?) / step_n))
        .collect();
    if 10 * shares.len() < 9 * rows.len() || step_n * change <= 0.0 {
        return None;
    }
    let step_s = inputs.grid.step_s;
    let seconds = rows.len() as f64 * step_s;
    let mean = shares.iter().sum::<f64>() / shares.len() as f64;
    let delay_s = finite(mean * seconds + inputs.power_later_s)?;
    let variance = 0.5 * (from_variance + to_variance) * step_s;
    let sums = seconds + seconds * seconds / (settled.len() as f64 * step_s);
    let gain = |at: usize| inputs.speed(at);
    let per_kg_s = (gain(rows.end - 1)? - gain(first - 1)?) / step_n;
    let common_s = other.flywheel.map_or(0.0, |f| f.standard_kg * per_kg_s);
    let half = NORMAL_95 * ((variance * sums).sqrt() / step_n.abs()).hypot(common_s);
    Some(Step {
        at_s: after.from_s,
        from_percent: before.grade_percent,
        to_percent: after.grade_percent,
        delay_s,
        delay_ci95_s: [delay_s - half, delay_s + half + RECORDED_S],
        per_kg_s,
        step_n,
    })
}

/// Mean delay with its 95 % limits, larger steps weighing more: the noise of an area goes with one over
/// the step. What the flywheel leaves open is common to all of them.
pub(super) fn mean(steps: &[Step], flywheel: Option<Flywheel>) -> Option<(f64, Interval)> {
    if steps.len() < 2 {
        return None;
    }
    let weight = |s: &Step| s.step_n.powi(2);
    let total: f64 = steps.iter().map(weight).sum();
    let weighted =
        |of: &dyn Fn(&Step) -> f64| steps.iter().map(|s| weight(s) * of(s)).sum::<f64>() / total;
    let mean = weighted(&|s| s.delay_s);
    let n = steps.len() as f64;
    let scatter = (weighted(&|s| (s.delay_s - mean).powi(2)) / (n - 1.0)).sqrt();
    let common = flywheel.map_or(0.0, |f| f.standard_kg * weighted(&|s| s.per_kg_s));
    let half = (t_quantile(0.975, n - 1.0) * scatter).hypot(NORMAL_95 * common);
    finite(half).map(|half| (mean, [mean - half, mean + half + RECORDED_S]))
}
