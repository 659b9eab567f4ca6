//! Stretches of one grade at one speed.
//!
//! A change of gear at one grade makes two plateaus of it: mean speeds over 15 s on either side that
//! differ by a tenth. It takes two speeds at a grade to tell rolling from drag.

use std::ops::Range;

use super::inputs::Inputs;
use crate::stats::Interval;
use crate::stats::serial::mean_uncertainty;

/// Left out at the start of a plateau, s.
const SETTLE_S: f64 = 15.0;
/// Shortest plateau, s.
const PLATEAU_S: f64 = 40.0;
/// Grades nearer than this are one, %.
pub(super) const ONE_GRADE_PERCENT: f64 = 0.25;
/// Means whose scatter tells that of a force, s.
const MEAN_S: f64 = 5.0;
/// Speeds on either side of a change of gear differ by this ratio.
const OTHER_SPEED: f64 = 1.1;
/// They are told over this, s, and the change itself takes so long.
const SPEED_S: f64 = 15.0;
const CHANGING_S: f64 = 8.0;

/// A stretch of one grade.
#[derive(Clone, Debug, PartialEq)]
pub struct Plateau {
    /// Start, session time, s.
    pub from_s: f64,
    /// End, session time, s.
    pub to_s: f64,
    /// The grade, %.
    pub grade_percent: f64,
    /// Mean speed once settled, m/s.
    pub speed_m_s: f64,
    /// Mean force at the wheel once settled, N.
    pub force_n: f64,
    /// Its 95 % limits by the scatter, N.
    pub force_ci95_n: Option<Interval>,
    pub(super) rows: Range<usize>,
}

impl Plateau {
    /// Its rows without those in which it settles.
    pub(super) fn settled(&self, inputs: &Inputs<'_>) -> Range<usize> {
        settled(&self.rows, inputs)
    }

    /// Whether another follows without a gap.
    pub(super) fn is_followed_by(&self, other: &Self) -> bool {
        other.rows.start.saturating_sub(self.rows.end) <= 1
    }
}

fn settled(rows: &Range<usize>, inputs: &Inputs<'_>) -> Range<usize> {
    (rows.start + inputs.rows(SETTLE_S)).min(rows.end)..rows.end
}

/// The plateaus that are long enough, with what was measured on them.
pub(super) fn find(inputs: &Inputs<'_>) -> Vec<Plateau> {
    let one = |a: &f64, b: &f64| (a - b).abs() < ONE_GRADE_PERCENT || (a.is_nan() && b.is_nan());
    let mut start = 0;
    let mut found = Vec::new();
    for run in inputs.grade_percent.chunk_by(one) {
        let rows = start..start + run.len();
        start = rows.end;
        if !run[0].is_finite() {
            continue;
        }
        let grade_percent = run.iter().sum::<f64>() / run.len() as f64;
        for rows in at_one_speed(inputs, rows) {
            found.extend(measured(inputs, rows, grade_percent));
        }
    }
    found
}

fn measured(inputs: &Inputs<'_>, rows: Range<usize>, grade_percent: f64) -> Option<Plateau> {
    if rows.len() < inputs.rows(PLATEAU_S) {
        return None;
    }
    let settled = settled(&rows, inputs);
    let length = inputs.rows(MEAN_S);
    let starts = (0..settled.len() / length).map(|n| (n, settled.start + n * length));
    let means: Vec<(usize, f64)> = starts
        .filter_map(|(n, start)| {
            let force_n = inputs.mean_over(&(start..start + length), |row| inputs.force_n(row));
            Some((n, force_n?))
        })
        .collect();
    let force_n = inputs.mean_over(&settled, |row| inputs.force_n(row))?;
    let half = mean_uncertainty(&means, length).map(|u| u.half_width95());
    Some(Plateau {
        force_ci95_n: half.map(|half| [force_n - half, force_n + half]),
        from_s: inputs.grid.time_s(rows.start),
        to_s: inputs.grid.time_s(rows.end),
        grade_percent,
        speed_m_s: inputs.mean_over(&settled, |row| inputs.mean_speed(row))?,
        force_n,
        rows,
    })
}

/// A run of one grade, cut where the gear changes, as long as both parts are plateaus.
fn at_one_speed(inputs: &Inputs<'_>, rows: Range<usize>) -> Vec<Range<usize>> {
    let (least, over) = (inputs.rows(PLATEAU_S), inputs.rows(SPEED_S));
    let changing = inputs.rows(CHANGING_S);
    let ratio = |at: usize| {
        let speed = |rows: Range<usize>| inputs.mean_over(&rows, |row| inputs.mean_speed(row));
        let before = speed(at.saturating_sub(over)..at)?;
        Some(
            (speed(at + changing..at + changing + over)? / before)
                .ln()
                .abs(),
        )
    };
    let cuts = (rows.start + least..(rows.end + 1).saturating_sub(least)).filter_map(|at| {
        let ratio = ratio(at)?;
        (ratio > OTHER_SPEED.ln()).then_some((at, ratio))
    });
    match cuts.max_by(|a, b| a.1.total_cmp(&b.1)) {
        None => vec![rows],
        Some((at, _)) => {
            let mut parts = at_one_speed(inputs, rows.start..at);
            parts.extend(at_one_speed(inputs, at..rows.end));
            parts
        }
    }
}
