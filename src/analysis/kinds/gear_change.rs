//! Figures of gear changes: bias before and after each, its shift, the transient, the recovery.
//!
//! Changes come from the recorder's gear events; where it wrote none, from jumps of the ratio of
//! wheel speed to the references' cadence (the source's own may be what is wrong): places where its median over the 6 s after differs from that over the
//! 6 s before by 3 % or more (one tooth of a rear sprocket makes 4 % or more), each the largest
//! within 6 s.
//!
//! Between two changes lies a level. From each level 1 s before the next change is left out, and
//! after a change a transient: 10 s, or a third of the way to the next change where that is shorter.
//! The bias of a level is `100 · Σ(under test − reference) / Σ reference` over all its seconds, and the
//! shift is the difference of two of them. Their 95 % limits come from blocks, into which each level is
//! cut without a rest; all levels of the segment are fitted together, so that they share the scatter
//! and the correlation between blocks ([`crate::stats::contrast`]).
//!
//! In the transient (from 2 s before the change) the departure is what the source shows beyond the
//! bias of its level. Recovery is the time from the change until the departure stays for 3 s within
//! three robust standard deviations of the departures outside transients, or 5 W if that is more.

pub mod chain;
mod figures;

use super::spec::Spec;
use crate::analysis::ride;
use std::ops::Range;

use crate::analysis::trend::mean;
use crate::stats::contrast::{Block, Contrast};
use crate::stats::noise::{LinearFit, Noise};
use crate::stats::serial::block_counts;
use crate::stats::{Sample, median_of};
use crate::timeline::Grid;

pub use figures::{FIGURES, GearChange, GearShift};

/// Gear changes among the kinds.
pub(in crate::analysis) const SPEC: Spec<GearChange> = Spec {
    title: "Gear change",
    figures: FIGURES,
    panel: &[],
    compute: |inputs| {
        let (window, turning) = (inputs.window, inputs.turning());
        let columns = Inputs {
            under_test: &inputs.read,
            reference: &inputs.delivered,
            speed: inputs.wheel_speed(),
            cadence: turning.as_deref(),
            grid: inputs.grid(),
        };
        let events_s = ride::gear_changes_s(window.aligned);
        let noise = window.known_noise(inputs.under_test, inputs.basis);
        let known = chain::Known {
            noted: &ride::noted_gears(window.aligned),
            gears: window.session.gears.as_ref(),
            speed: columns.speed,
            cadence: columns.cadence,
            grid: columns.grid,
        };
        let loss_percent = window.loss_at_usual_gear(inputs.under_test);
        Some(figures(&columns, &events_s, noise).with_chain(&known, loss_percent))
    },
};

/// Half-width of the windows in which the ratio is compared, s.
const RATIO_WINDOW_S: f64 = 6.0;
/// Least change of the ratio.
const LEAST_RATIO_CHANGE: f64 = 0.03;
/// Longest transient left out, s.
const TRANSIENT_S: f64 = 10.0;
/// Left out before a change, s.
const LEAD_S: f64 = 1.0;
/// How long before a change its departure is looked for, s.
const PEAK_LEAD_S: f64 = 2.0;
/// How long a recovered difference has to stay, s.
const STAYS_S: f64 = 3.0;
/// Multiples of the usual robust spread.
const SPREADS: f64 = 3.0;
/// Least half-width of the usual band, W.
const BAND_FLOOR_W: f64 = 5.0;
/// Shortest block, s.
const BLOCK_S: f64 = 5.0;
/// Blocks that the shortest level is cut in: long ones, so that slow noise shows between them.
const BLOCKS_A_LEVEL: usize = 3;

/// What a gear-change segment is judged by. Columns cover the rows of `grid`.
#[derive(Clone, Copy, Debug)]
pub struct Inputs<'a> {
    /// Power under test, W.
    pub under_test: &'a [f64],
    /// Power of the consensus or the chosen reference, W.
    pub reference: &'a [f64],
    /// Wheel speed, m/s.
    pub speed: Option<&'a [f64]>,
    /// Cadence of the references, rpm.
    pub cadence: Option<&'a [f64]>,
    /// The rows.
    pub grid: Grid,
}

/// The figures of a gear-change segment; `events_s` are the session times of gear events, `noise` is
/// that of the two over the ride, W, where it is known.
pub fn figures(inputs: &Inputs<'_>, events_s: &[f64], noise: Option<&Noise>) -> GearChange {
    let grid = inputs.grid;
    let rows = inputs.under_test.len().min(inputs.reference.len());
    let from_events: Vec<usize> = rows_of(events_s, grid, rows);
    let at = if from_events.is_empty() {
        match (inputs.speed, inputs.cadence) {
            (Some(speed), Some(cadence)) => ratio_changes(speed, cadence, grid.step_s)
                .into_iter()
                .filter(|&row| row < rows)
                .collect(),
            _ => Vec::new(),
        }
    } else {
        from_events
    };
    let levels = levels(&at, rows, grid.step_s);
    let level_w = mean(inputs.reference.iter().copied().filter(|w| w.is_finite()));
    let noise = noise.zip(level_w.filter(|w| *w > 0.0));
    let noise = noise.map(|(noise, level_w)| noise.scaled(100.0 / level_w));
    let biases = Biases::fit(inputs, &levels, noise.as_ref());
    let departures = biases.departures(inputs, &at, rows);
    let band_w = usual_band_w(&departures, &levels);
    let changes = at
        .iter()
        .enumerate()
        .map(|(index, &row)| {
            let transient = row..levels[index + 1].start.max(row + 1).min(rows);
            let before = biases.of(index);
            let after = biases.of(index + 1);
            let shift = biases.shift(index);
            GearShift {
                at_s: grid.start_s + row as f64 * grid.step_s,
                bias_before_percent: before.map(|bias| bias.estimate),
                bias_before_ci95_percent: before.map(|bias| bias.ci95),
                bias_after_percent: after.map(|bias| bias.estimate),
                bias_after_ci95_percent: after.map(|bias| bias.ci95),
                shift_percent: shift.map(|shift| shift.estimate),
                shift_ci95_percent: shift.map(|shift| shift.ci95),
                peak_deviation_w: peak(&departures, &transient, grid.step_s),
                recovery_s: band_w
                    .and_then(|band_w| recovery_s(&departures, row, rows, band_w, grid.step_s)),
                speed_before_mps: inputs.speed.and_then(|s| median_over(s, &levels[index])),
                speed_after_mps: inputs
                    .speed
                    .and_then(|s| median_over(s, &levels[index + 1])),
                gear_before: None,
                gear_after: None,
                chain_shift_percent: None,
                net_shift_percent: None,
            }
        })
        .collect();
    GearChange { changes }
}

/// Rows of the moments that lie inside the window, in order, without repeats.
fn rows_of(events_s: &[f64], grid: Grid, rows: usize) -> Vec<usize> {
    let mut at: Vec<usize> = events_s
        .iter()
        .map(|at_s| ((at_s - grid.start_s) / grid.step_s).round())
        .filter(|row| *row >= 1.0 && *row < rows as f64)
        .map(|row| row as usize)
        .collect();
    at.sort_unstable();
    at.dedup();
    at
}

/// The rows at which the ratio of wheel speed to cadence jumps.
pub fn ratio_changes(speed: &[f64], cadence: &[f64], step_s: f64) -> Vec<usize> {
    let ratios: Vec<f64> = speed
        .iter()
        .zip(cadence)
        .map(|(speed, cadence)| {
            let pedalled = *cadence > 30.0 && *speed > 0.5;
            if pedalled {
                (speed / cadence).ln()
            } else {
                f64::NAN
            }
        })
        .collect();
    let window = (RATIO_WINDOW_S / step_s).round().max(1.0) as usize;
    let median = |rows: Range<usize>| {
        let values: Vec<f64> = ratios
            .get(rows)?
            .iter()
            .copied()
            .filter(|v| v.is_finite())
            .collect();
        (2 * values.len() > window)
            .then(|| median_of(values))
            .flatten()
    };
    let jumps: Vec<f64> = (0..ratios.len())
        .map(|row| {
            let before = median(row.saturating_sub(window)..row);
            let after = median(row..row + window);
            before.zip(after).map_or(0.0, |(a, b)| (b - a).abs())
        })
        .collect();
    let least = (1.0 + LEAST_RATIO_CHANGE).ln();
    let mut at: Vec<usize> = Vec::new();
    let mut row = 0;
    while row < jumps.len() {
        if jumps[row] < least {
            row += 1;
            continue;
        }
        // Near a change the jump of medians is flat: its middle is the change.
        let until = (row + window).min(jumps.len());
        let highest = jumps[row..until].iter().copied().fold(0.0, f64::max);
        let flat = |r: &usize| jumps[*r] > 0.9 * highest;
        let first = (row..until).find(flat).unwrap_or(row);
        let last = (row..until).rev().find(flat).unwrap_or(row);
        at.push((first + last).div_ceil(2));
        row = last + window;
    }
    at
}

/// The rows of each level, one more than there are changes; empty where two changes are too near.
fn levels(at: &[usize], rows: usize, step_s: f64) -> Vec<Range<usize>> {
    let lead = (LEAD_S / step_s).round() as usize;
    let longest = (TRANSIENT_S / step_s).round() as usize;
    let edges: Vec<usize> = std::iter::once(0)
        .chain(at.iter().copied())
        .chain([rows])
        .collect();
    edges
        .windows(2)
        .enumerate()
        .map(|(index, pair)| {
            let (start, end) = (pair[0], pair[1]);
            let transient = if index == 0 {
                0
            } else {
                longest.min((end - start) / 3)
            };
            let from = start + transient;
            let to = if end == rows {
                end
            } else {
                end.saturating_sub(lead)
            };
            from..to.max(from)
        })
        .collect()
}

/// The bias of each level, fitted together.
struct Biases<'a> {
    fitted: Option<LinearFit<'a>>,
    /// The bias of each level over all its seconds, %.
    whole: Vec<Option<f64>>,
    /// The term of each level in the fit; levels too short have none.
    terms: Vec<Option<usize>>,
    count: usize,
}

impl<'a> Biases<'a> {
    fn fit(inputs: &Inputs<'_>, levels: &[Range<usize>], noise: Option<&'a Noise>) -> Self {
        let step_s = inputs.grid.step_s;
        let shortest_block = (BLOCK_S / step_s).ceil().max(1.0) as usize;
        let long_enough = levels
            .iter()
            .map(Range::len)
            .filter(|rows| *rows >= 2 * shortest_block);
        let shortest_level = long_enough.min().unwrap_or(0);
        let alone = (shortest_level / BLOCKS_A_LEVEL).max(shortest_block);
        let length = noise.map_or(alone, Noise::block_rows);
        let per_level: Vec<Vec<(usize, f64)>> = levels
            .iter()
            .map(|level| level_blocks(inputs, level, length))
            .collect();
        let mut count = 0;
        let terms: Vec<Option<usize>> = per_level
            .iter()
            .map(|blocks| {
                (blocks.len() >= 2).then(|| {
                    count += 1;
                    count - 1
                })
            })
            .collect();
        let blocks: Vec<Block> = per_level
            .into_iter()
            .zip(&terms)
            .filter_map(|(blocks, term)| Some((blocks, (*term)?)))
            .flat_map(|(blocks, term)| {
                blocks.into_iter().map(move |(index, value)| Block {
                    index,
                    value,
                    design: unit(term, count),
                })
            })
            .collect();
        let whole = levels.iter().map(|level| bias_percent(inputs, level));
        Self {
            fitted: LinearFit::new(&blocks, count, noise),
            whole: whole.collect(),
            terms,
            count,
        }
    }

    fn of(&self, level: usize) -> Option<Contrast> {
        let term = (*self.terms.get(level)?)?;
        let fitted = self.fitted.as_ref()?;
        Some(about(
            self.whole[level]?,
            fitted.contrast(&unit(term, self.count))?,
        ))
    }

    fn shift(&self, level: usize) -> Option<Contrast> {
        let before = (*self.terms.get(level)?)?;
        let after = (*self.terms.get(level + 1)?)?;
        let mut contrast = unit(after, self.count);
        contrast[before] = -1.0;
        let estimate = self.whole[level + 1]? - self.whole[level]?;
        Some(about(estimate, self.fitted.as_ref()?.contrast(&contrast)?))
    }

    /// What the source shows beyond the bias of its level, W; NaN where that cannot be told.
    fn departures(&self, inputs: &Inputs<'_>, at: &[usize], rows: usize) -> Vec<f64> {
        let biases: Vec<Option<Contrast>> = (0..=at.len()).map(|level| self.of(level)).collect();
        (0..rows)
            .map(|row| {
                let level = at.partition_point(|&change| change <= row);
                biases[level].map_or(f64::NAN, |bias| {
                    let expected = inputs.reference[row] * (1.0 + bias.estimate / 100.0);
                    inputs.under_test[row] - expected
                })
            })
            .collect()
    }
}

fn unit(term: usize, count: usize) -> Vec<f64> {
    (0..count).map(|k| f64::from(u8::from(k == term))).collect()
}

/// The limits that blocks give, about the estimate of all seconds.
fn about(estimate: f64, of_blocks: Contrast) -> Contrast {
    let half = of_blocks.uncertainty.half_width95();
    Contrast {
        estimate,
        ci95: [estimate - half, estimate + half],
        ..of_blocks
    }
}

fn bias_percent(inputs: &Inputs<'_>, rows: &Range<usize>) -> Option<f64> {
    let source = inputs.under_test.get(rows.clone())?;
    super::heat_soak::bias_percent(source, inputs.reference.get(rows.clone())?)
}

/// Place and percent bias of each block of a level: as many of at least `length` rows as fit, none
/// left over.
fn level_blocks(inputs: &Inputs<'_>, level: &Range<usize>, length: usize) -> Vec<(usize, f64)> {
    let count = level.len() / length;
    let edge = |k: usize| level.start + k * level.len() / count;
    let shared =
        |row: &usize| inputs.under_test[*row].is_finite() && inputs.reference[*row].is_finite();
    (0..count)
        .map(|k| edge(k)..edge(k + 1))
        .filter(|rows| block_counts(rows.clone().filter(shared).count(), rows.len()))
        .filter_map(|rows| Some((rows.start / length, bias_percent(inputs, &rows)?)))
        .collect()
}

fn usual_band_w(departures: &[f64], levels: &[Range<usize>]) -> Option<f64> {
    let usual = levels
        .iter()
        .flat_map(|level| departures[level.clone()].iter().copied());
    let spread = Sample::present(usual)?.robust_sd();
    Some((SPREADS * spread).max(BAND_FLOOR_W))
}

fn peak(departures: &[f64], transient: &Range<usize>, step_s: f64) -> Option<f64> {
    let lead = (PEAK_LEAD_S / step_s).round() as usize;
    departures[transient.start.saturating_sub(lead)..transient.end]
        .iter()
        .copied()
        .filter(|departure| departure.is_finite())
        .max_by(|a, b| a.abs().total_cmp(&b.abs()))
}

fn recovery_s(
    departures: &[f64],
    from: usize,
    rows: usize,
    band_w: f64,
    step_s: f64,
) -> Option<f64> {
    let stays = (STAYS_S / step_s).round() as usize;
    let back = (from..(rows + 1).saturating_sub(stays)).find(|&row| {
        departures[row..row + stays]
            .iter()
            .all(|departure| departure.abs() <= band_w)
    })?;
    Some((back - from) as f64 * step_s)
}

fn median_over(column: &[f64], rows: &Range<usize>) -> Option<f64> {
    let values = column.get(rows.clone())?.iter().copied();
    median_of(values.filter(|v| v.is_finite()).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROWS: usize = 240;

    fn grid() -> Grid {
        Grid {
            start_s: 600.0,
            step_s: 1.0,
            len: ROWS,
        }
    }

    fn noise(i: usize) -> f64 {
        ((i * 7919 + 13) % 7) as f64 - 3.0
    }

    /// Four levels of 60 s at 200 W with biases of 0, 1, −2 and −2 %, and a dip of 60 W for 4 s
    /// after the first change.
    fn ride() -> (Vec<f64>, Vec<f64>) {
        let reference: Vec<f64> = (0..ROWS).map(|i| 200.0 + noise(i)).collect();
        let mut under_test: Vec<f64> = (0..ROWS)
            .map(|i| reference[i] * (1.0 + [0.0, 0.01, -0.02, -0.02][i / 60]) + noise(i + 3) / 3.0)
            .collect();
        for value in &mut under_test[60..64] {
            *value -= 60.0;
        }
        (under_test, reference)
    }

    fn gears() -> (Vec<f64>, Vec<f64>) {
        let cadence: Vec<f64> = (0..ROWS).map(|i| 90.0 + noise(i) / 3.0).collect();
        let speed = (0..ROWS)
            .map(|i| cadence[i] * [0.08, 0.09, 0.10, 0.09][i / 60])
            .collect();
        (speed, cadence)
    }

    fn inputs<'a>(source: &'a [f64], reference: &'a [f64]) -> Inputs<'a> {
        Inputs {
            under_test: source,
            reference,
            speed: None,
            cadence: None,
            grid: grid(),
        }
    }

    #[test]
    fn shifts_transient_and_recovery_by_events() {
        let (under_test, reference) = ride();
        let found = figures(
            &inputs(&under_test, &reference),
            &[660.0, 720.0, 780.0],
            None,
        )
        .changes;
        assert_eq!(found.len(), 3);
        for (change, (before, after)) in found.iter().zip([(0.0, 1.0), (1.0, -2.0), (-2.0, -2.0)]) {
            assert!(
                (change.bias_before_percent.unwrap() - before).abs() < 0.15,
                "{change:?}"
            );
            assert!((change.bias_after_percent.unwrap() - after).abs() < 0.15);
            let [low, high] = change.shift_ci95_percent.unwrap();
            assert!(low < after - before && after - before < high, "{change:?}");
            assert!(high - low < 1.0);
        }
        assert!((found[0].peak_deviation_w.unwrap() + 60.0).abs() < 5.0);
        assert_eq!(found[0].recovery_s, Some(4.0));
        assert_eq!(found[2].recovery_s, Some(0.0));
        assert_eq!(found[0].speed_before_mps, None);
    }

    /// Levels of 99 and 70 s: blocks of a third of the shorter one left 7 s of the longer out.
    #[test]
    fn every_second_of_a_level_counts() {
        let reference = vec![200.0; 180];
        let mut under_test: Vec<f64> = (0..180).map(|i| 200.0 + noise(i) / 3.0).collect();
        for value in &mut under_test[90..99] {
            *value += 20.0;
        }
        let change = figures(&inputs(&under_test, &reference), &[700.0], None).changes[0].clone();
        let bias = |rows: Range<usize>| {
            let n = rows.len() as f64;
            100.0 * under_test[rows].iter().map(|w| w - 200.0).sum::<f64>() / (200.0 * n)
        };
        let (before, after) = (bias(0..99), bias(110..180));
        assert!((change.bias_before_percent.unwrap() - before).abs() < 1e-9);
        assert!((change.bias_after_percent.unwrap() - after).abs() < 1e-9);
        assert!((change.shift_percent.unwrap() - (after - before)).abs() < 1e-9);
        let [low, high] = change.shift_ci95_percent.unwrap();
        assert!(((low + high) / 2.0 - (after - before)).abs() < 1e-9);
    }

    #[test]
    fn changes_are_found_from_speed_and_cadence() {
        let (under_test, reference) = ride();
        let (speed, cadence) = gears();
        let both = Inputs {
            speed: Some(&speed),
            cadence: Some(&cadence),
            ..inputs(&under_test, &reference)
        };
        let found = figures(&both, &[], None).changes;
        let at: Vec<f64> = found.iter().map(|change| change.at_s).collect();
        assert_eq!(at, vec![660.0, 720.0, 780.0]);
        assert!((found[0].speed_before_mps.unwrap() - 7.2).abs() < 0.05);
        assert!((found[0].speed_after_mps.unwrap() - 8.1).abs() < 0.05);
    }

    #[test]
    fn a_wandering_cadence_in_one_gear_is_no_change() {
        let cadence: Vec<f64> = (0..ROWS).map(|i| (70.0 + i as f64 / 8.0).round()).collect();
        let speed: Vec<f64> = (0..ROWS).map(|i| 0.09 * (70.0 + i as f64 / 8.0)).collect();
        assert_eq!(ratio_changes(&speed, &cadence, 1.0), Vec::<usize>::new());
        let mut coasting = cadence.clone();
        coasting[100..130].fill(0.0);
        assert_eq!(ratio_changes(&speed, &coasting, 1.0), Vec::<usize>::new());
    }

    #[test]
    fn changes_outside_the_window_are_not_its() {
        let (under_test, reference) = ride();
        let found = figures(
            &inputs(&under_test, &reference),
            &[10.0, 600.0, 5000.0, f64::NAN],
            None,
        );
        assert_eq!(found.changes, vec![]);
    }

    #[test]
    fn levels_too_short_or_missing_have_no_bias() {
        let (under_test, reference) = ride();
        let found = figures(&inputs(&under_test, &reference), &[660.0, 666.0], None).changes;
        assert_eq!(found.len(), 2);
        assert_eq!(
            (found[0].bias_after_percent, found[0].shift_percent),
            (None, None)
        );
        assert!(found[0].bias_before_percent.is_some());
        let gone = figures(&inputs(&[f64::NAN; ROWS], &reference), &[660.0], None).changes;
        assert_eq!(gone[0].shift_percent, None);
        assert_eq!((gone[0].peak_deviation_w, gone[0].recovery_s), (None, None));
        assert_eq!(figures(&inputs(&[], &[]), &[660.0], None).changes, vec![]);
        assert_eq!(
            figures(&inputs(&[200.0], &[200.0]), &[600.0], None).changes,
            vec![]
        );
        let flat = figures(&inputs(&[200.0; ROWS], &[200.0; ROWS]), &[720.0], None).changes;
        assert_eq!(flat[0].shift_percent, Some(0.0));
    }
}
