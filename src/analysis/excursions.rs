//! Stretches in which a source under test leaves the references by more than their own spread and
//! its lag explain: a surge out of nothing, a mode change that reports watts nobody produced.
//!
//! Each second the source, after its usual ratio to the references is taken off (the median over
//! the ride), is held against the band of everything that any reference showed from 8 s before to
//! 2 s after: whatever a late or blunted source can show lies inside that band. What sticks out of
//! it by more than the threshold is a departure. The threshold is four times the robust spread
//! (1.4826 × median absolute deviation) of the differences, the references' among themselves or the
//! source's own, whichever is larger, and at least 10 W and 5 % of the references' level. Departures
//! less than 4 s apart belong together; one that lasts a single second counts only at twice the
//! threshold. The reach, the multiple and the floors are ours, common practice without a source.
//!
//! While the references' cadence is 0 nobody delivers power, whatever was ridden just before. The
//! band then ends at what is left of that: the source's own answer ([`super::kinds::sprint_fit`], fitted to
//! the liveliest minute in which somebody pedals) to a power that falls to 0 with the cadence, a
//! second to either side allowed. Without a fit the references' band stands.
//!
//! The peak of an excursion is the largest difference, source − mean of the references, as the samples
//! show it; while nobody pedals, source − what is left of its answer.

use crate::analysis::figure::{Figure, OURS};
use serde::Serialize;
use std::ops::Range;

use super::kinds::sprint_fit::{self, Fit};
use crate::stats::first_order::{PARTS, answer, refined};
use crate::stats::{Sample, finite};
use crate::timeline::{Grid, Span};

/// A stretch in which a stream under test left the references by more than their own spread and
/// its lag explain.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Excursion {
    /// Stream under test.
    pub label: String,
    /// Start, session time, s.
    pub from_s: f64,
    /// End, session time, s.
    pub to_s: f64,
    /// Largest difference, source − mean of the references, W; while nobody pedals, source − what its
    /// lag leaves of what was ridden before.
    pub peak_w: f64,
    /// Always `uncorroborated`: no reference shows it.
    pub kind: ExcursionKind,
}

/// Kinds of excursion.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ExcursionKind {
    /// No reference shows it.
    Uncorroborated,
}

/// An excursion inside a steady block.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct UncorroboratedStretch {
    /// Start, session time, s.
    pub from_s: f64,
    /// End, session time, s.
    pub to_s: f64,
    /// Largest difference, as that of an [`Excursion`], W.
    pub peak_w: f64,
}

/// How far before a second the references may explain it, s.
const LATE_S: f64 = 8.0;
/// How far after, s.
const EARLY_S: f64 = 2.0;
/// Multiple of the robust spread.
const SPREADS: f64 = 4.0;
/// Least departure, W.
const FLOOR_W: f64 = 10.0;
/// Least departure, share of the references' level.
const FLOOR_SHARE: f64 = 0.05;
/// Departures nearer than this are one, s.
const JOIN_S: f64 = 4.0;
/// Length of the stretch that the source's answer is fitted to, s.
const FITTED_S: f64 = 60.0;
/// Every so many seconds such a stretch is looked at.
const FITTED_EVERY_S: f64 = 20.0;
/// Seconds before a stretch that settle the answer.
const SETTLE_S: f64 = 20.0;
/// How far the answer may be off in time, s.
const SLACK_S: f64 = 1.0;

/// What the references tell.
#[derive(Clone, Copy, Debug)]
pub struct References<'a> {
    /// Power of each, W.
    pub power: &'a [&'a [f64]],
    /// Their cadence, rpm ([`super::ride::reference_cadence`]).
    pub cadence: Option<&'a [f64]>,
}

/// The excursions of `under_test` over the rows of `grid`, in time order. Seconds inside `except`
/// (dropouts, which are reported as such) are passed over.
///
/// Without references, or where fewer than two seconds are shared, there are none to tell.
pub fn find(
    under_test: &[f64],
    references: References<'_>,
    grid: Grid,
    except: &[Span],
) -> Vec<UncorroboratedStretch> {
    let time = |row: usize| grid.start_s + row as f64 * grid.step_s;
    let mut source = under_test.to_vec();
    for (row, value) in source.iter_mut().enumerate() {
        if except.iter().any(|span| span.contains(time(row))) {
            *value = f64::NAN;
        }
    }
    let levels = levels(references.power, source.len());
    let Some(usual) = Usual::of(&source, references.power, &levels) else {
        return Vec::new();
    };
    let mut band = Band::of(references.power, under_test.len(), grid.step_s);
    let mut expected_w = levels.clone();
    if let Some(cadence) = references.cadence {
        let coasting = Coasting::of(&source, &levels, cadence, grid.step_s);
        coasting.lower(&mut band, &mut expected_w, usual.ratio);
    }
    let departures: Vec<f64> = (0..source.len())
        .map(|row| band.departure(row, source[row] / usual.ratio))
        .collect();
    let threshold = |row: usize| {
        (SPREADS * usual.spread_w)
            .max(FLOOR_W)
            .max(FLOOR_SHARE * band.high[row].abs())
    };
    let join = (JOIN_S / grid.step_s).round() as usize;
    let outside: Vec<usize> = (0..departures.len())
        .filter(|&row| departures[row].abs() > threshold(row))
        .collect();
    outside
        .chunk_by(|a, b| b - a <= join)
        .filter_map(|rows| {
            let (first, last) = (*rows.first()?, *rows.last()?);
            let peak = rows
                .iter()
                .copied()
                .max_by(|&a, &b| departures[a].abs().total_cmp(&departures[b].abs()))?;
            let certain = rows.len() > 1 || departures[peak].abs() > 2.0 * threshold(peak);
            let shown = rows.iter().map(|&row| source[row] - expected_w[row]);
            let shown = shown.filter(|d| d.is_finite() && d * departures[peak] > 0.0);
            certain.then(|| UncorroboratedStretch {
                from_s: time(first),
                to_s: time(last) + grid.step_s,
                peak_w: shown
                    .max_by(|a, b| a.abs().total_cmp(&b.abs()))
                    .unwrap_or(departures[peak]),
            })
        })
        .collect()
}

/// Mean of the references that report, row by row.
fn levels(references: &[&[f64]], rows: usize) -> Vec<f64> {
    let level = |row: usize| {
        let values = references.iter().filter_map(|column| column.get(row));
        let (sum, count) = values
            .filter(|v| v.is_finite())
            .fold((0.0, 0.0), |(sum, count), v| (sum + v, count + 1.0));
        sum / count
    };
    (0..rows).map(level).collect()
}

/// The stretches in which nobody pedals, and what the source may still show there.
struct Coasting<'a> {
    /// Power delivered, W: the references' level, and 0 while nobody pedals.
    delivered: Vec<f64>,
    idle: Vec<Range<usize>>,
    under_test: &'a [f64],
    step_s: f64,
}

impl<'a> Coasting<'a> {
    fn of(under_test: &'a [f64], levels: &[f64], cadence: &[f64], step_s: f64) -> Self {
        let stands = |row: &usize| cadence.get(*row) == Some(&0.0);
        let rows: Vec<usize> = (0..levels.len()).filter(stands).collect();
        let idle: Vec<Range<usize>> = rows
            .chunk_by(|a, b| b - a == 1)
            .filter_map(|run| Some(*run.first()?..run.last()? + 1))
            .collect();
        let mut delivered = levels.to_vec();
        // The first second of it may hold the end of the last stroke.
        for rows in &idle {
            delivered[rows.start + 1..rows.end].fill(0.0);
        }
        Self {
            delivered,
            idle,
            under_test,
            step_s,
        }
    }

    fn rows(&self, seconds: f64) -> usize {
        (seconds / self.step_s).round() as usize
    }

    /// Lowers band and expectation to what the source's answer leaves of the last stroke.
    fn lower(&self, band: &mut Band, expected_w: &mut [f64], ratio: f64) {
        let speaks = |row: usize| self.under_test[row] > FLOOR_W;
        let loud = self.idle.iter().filter(|rows| (*rows).clone().any(speaks));
        let mut loud = loud.peekable();
        let Some(fit) = loud.peek().and_then(|_| self.fit()) else {
            return;
        };
        let slack = self.rows(SLACK_S);
        for rows in loud {
            let left = self.left(&fit, rows);
            for (at, row) in rows.clone().enumerate() {
                let near = at.saturating_sub(slack)..(at + slack + 1).min(left.len());
                let highest = left[near].iter().copied().fold(f64::NAN, f64::max);
                if left[at].is_finite() {
                    expected_w[row] = left[at];
                    band.high[row] = (highest / ratio).max(0.0);
                    band.low[row] = band.low[row].min(0.0);
                }
            }
        }
    }

    /// What the source shows of the last stroke, row by row of a stretch without pedalling, W.
    fn left(&self, fit: &Fit, idle: &Range<usize>) -> Vec<f64> {
        let earliest = idle.start.saturating_sub(self.rows(2.0 * SETTLE_S));
        let before = (earliest..idle.start).rev();
        let from = before
            .take_while(|&row| self.delivered[row].is_finite())
            .last()
            .unwrap_or(idle.start);
        let mut input = self.delivered[from..idle.end].to_vec();
        for value in input.iter_mut().filter(|v| !v.is_finite()) {
            *value = 0.0;
        }
        // A source that comes first is asked for what follows.
        input.resize(input.len() + self.rows(EARLY_S), 0.0);
        let ceiling_w = fit.ceiling_w.unwrap_or(f64::INFINITY);
        let answered = answer(&refined(&input, PARTS), self.step_s, fit.answer);
        answered
            .into_iter()
            .map(|w| (fit.gain * w).min(ceiling_w))
            .skip(idle.start - from)
            .take(idle.len())
            .collect()
    }

    /// The source's answer, from the stretch in which the power that is pedalled varies most; `None`
    /// where it nowhere rises by half.
    fn fit(&self) -> Option<Fit> {
        let (length, settle) = (self.rows(FITTED_S), self.rows(SETTLE_S));
        let mut under_test = self.under_test.to_vec();
        for rows in &self.idle {
            under_test[rows.clone()].fill(f64::NAN);
        }
        let starts = (0..self.delivered.len().saturating_sub(settle + length))
            .step_by(self.rows(FITTED_EVERY_S).max(1));
        let liveliest = starts
            .filter_map(|start| {
                let fitted = start + settle..start + settle + length;
                let input = &self.delivered[start..fitted.end];
                let pedalled = fitted
                    .filter(|&row| under_test[row].is_finite())
                    .map(|row| self.delivered[row]);
                let pedalled = Sample::present(pedalled)?;
                let values = pedalled.values().iter().copied();
                let low = values.clone().fold(f64::INFINITY, f64::min);
                let high = values.fold(0.0, f64::max);
                let lively = input.iter().all(|v| v.is_finite()) && high >= 1.5 * low.max(1.0);
                lively.then_some((start, pedalled.sd()))
            })
            .max_by(|a, b| a.1.total_cmp(&b.1))?
            .0;
        let end = liveliest + settle + length;
        sprint_fit::fit(
            &self.delivered[liveliest..end],
            &under_test[liveliest..end],
            settle..settle + length,
            self.step_s,
        )
    }
}

/// How the source usually stands to the references.
struct Usual {
    /// Source over references, median.
    ratio: f64,
    /// Robust spread of differences, W.
    spread_w: f64,
}

impl Usual {
    fn of(under_test: &[f64], references: &[&[f64]], levels: &[f64]) -> Option<Self> {
        let pairs = || under_test.iter().zip(levels);
        let ratios = pairs().filter(|(_, level)| **level > 0.0);
        let ratio = Sample::present(ratios.map(|(under_test, level)| under_test / level))?.median();
        let ratio = if ratio > 0.0 { ratio } else { 1.0 };
        let own = Sample::present(pairs().map(|(under_test, level)| under_test / ratio - level))?;
        let among = references.first().and_then(|first| {
            let spreads = references[1..].iter().filter_map(|other| {
                let differences = first.iter().zip(*other).map(|(a, b)| a - b);
                Some(Sample::present(differences)?.robust_sd())
            });
            spreads.reduce(f64::max)
        });
        Some(Self {
            ratio,
            spread_w: own.robust_sd().max(among.unwrap_or(0.0)),
        })
    }
}

/// The band of what the references showed around each row.
struct Band {
    low: Vec<f64>,
    high: Vec<f64>,
}

impl Band {
    fn of(references: &[&[f64]], rows: usize, step_s: f64) -> Self {
        let late = (LATE_S / step_s).round() as usize;
        let early = (EARLY_S / step_s).round() as usize;
        let mut band = Self {
            low: vec![f64::NAN; rows],
            high: vec![f64::NAN; rows],
        };
        for row in 0..rows {
            let from = row.saturating_sub(late);
            for column in references {
                let until = (row + early + 1).min(column.len());
                for &value in column.get(from..until).unwrap_or(&[]) {
                    // `min` and `max` pass over a missing operand.
                    band.low[row] = band.low[row].min(value);
                    band.high[row] = band.high[row].max(value);
                }
            }
        }
        band
    }

    /// How far `value` sticks out at `row`, W, with its sign; zero where either is missing.
    fn departure(&self, row: usize, value: f64) -> f64 {
        let beyond = if value > self.high[row] {
            value - self.high[row]
        } else if value < self.low[row] {
            value - self.low[row]
        } else {
            0.0
        };
        // Infinite is not a reading.
        finite(beyond).unwrap_or(0.0)
    }
}

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "excursions.label",
        label: "excursion of",
        definition: "The stream that left the references.",
        ..Figure::PLAIN
    },
    Figure {
        id: "excursions.from_s",
        label: "excursion from",
        unit: "s",
        definition: "Start of the excursion.",
        ..Figure::PLAIN
    },
    Figure {
        id: "excursions.to_s",
        label: "excursion to",
        unit: "s",
        definition: "End of the excursion.",
        ..Figure::PLAIN
    },
    Figure {
        id: "excursions.peak_w",
        label: "excursion peak",
        unit: "W",
        signed: true,
        definition: "Largest difference of the source under test to the references during the excursion, as the samples show it. While nobody pedals, to what the source's lag leaves of the power ridden before.",
        formula: "x − ȳ, ȳ the mean of the references; while their cadence is 0, x − the fitted answer to a power that falls to 0",
        source: OURS,
        caveat: "The time stamp of a peak can be off by the device's own lag.",
        ..Figure::PLAIN
    },
    Figure {
        id: "excursions.kind",
        label: "excursion",
        definition: "Uncorroborated: the source under test reports power that no reference shows, by more than their own spread and its lag explain.",
        source: OURS,
        caveat: "It does not say who is right: references at one site share what happens between that site and the source.",
        ..Figure::PLAIN
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    fn grid(len: usize) -> Grid {
        Grid {
            start_s: 50.0,
            step_s: 1.0,
            len,
        }
    }

    fn find(
        under_test: &[f64],
        power: &[&[f64]],
        grid: Grid,
        except: &[Span],
    ) -> Vec<UncorroboratedStretch> {
        let references = References {
            power,
            cadence: None,
        };
        super::find(under_test, references, grid, except)
    }

    /// References that wander by ±6 W about 200 W, ±1 W apart.
    fn references(rows: usize) -> (Vec<f64>, Vec<f64>) {
        let slow_noise = |i: usize| 200.0 + [0.0, 3.0, 6.0, 2.0, -4.0, -6.0, -1.0][(i / 3) % 7];
        let a = (0..rows).map(slow_noise).collect();
        let b = (0..rows)
            .map(|i| slow_noise(i) + [1.0, -1.0, 0.0][i % 3])
            .collect();
        (a, b)
    }

    #[test]
    fn a_surge_that_no_reference_shows_is_found_with_its_ends() {
        let (a, b) = references(300);
        let mut under_test: Vec<f64> = a.iter().map(|w| w * 1.03).collect();
        for power in &mut under_test[100..112] {
            *power += 80.0;
        }
        let found = find(&under_test, &[&a, &b], grid(300), &[]);
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!((found[0].from_s, found[0].to_s), (150.0, 162.0));
        // What the samples show: 80 W and the usual 3 % of some 200 W.
        assert!((85.0..=87.0).contains(&found[0].peak_w), "{found:?}");
    }

    /// Rides at 150 and 320 W with a stop from 200 to 230 s, at 150 W; the source answers with a lag
    /// of 1.5 s. What nobody pedals is added to its reading before the lag.
    fn stop(phantom: impl Fn(usize) -> f64) -> (Vec<f64>, Vec<f64>, Vec<f64>) {
        use crate::stats::first_order::{Lag, response};
        let (slow_noise, _) = references(400);
        let pedals = |t: usize| !(200..230).contains(&t);
        let level = |t: usize| match t {
            60..120 => 1.6,
            200..230 => 0.0,
            _ => 0.75,
        };
        let reference: Vec<f64> = (0..400).map(|t| level(t) * slow_noise[t]).collect();
        let cadence = (0..400).map(|t| if pedals(t) { 90.0 } else { 0.0 });
        let read: Vec<f64> = (0..400).map(|t| reference[t] + phantom(t)).collect();
        let lag = Lag {
            delay_s: 0.0,
            time_constant_s: 1.5,
        };
        (response(&read, 1.0, lag), reference, cadence.collect())
    }

    fn while_coasting(phantom: impl Fn(usize) -> f64) -> Vec<UncorroboratedStretch> {
        let (under_test, reference, cadence) = stop(phantom);
        let references = References {
            power: &[&reference],
            cadence: Some(&cadence),
        };
        super::find(&under_test, references, grid(400), &[])
    }

    #[test]
    fn what_nobody_pedals_is_measured_from_zero() {
        let held = |watts: f64| move |t: usize| if (203..214).contains(&t) { watts } else { 0.0 };
        // Both lie within 8 s of 150 W; one is below it.
        for watts in [300.0, 100.0] {
            let found = while_coasting(held(watts));
            assert_eq!(found.len(), 1, "{found:?}");
            assert!((found[0].from_s - 253.0).abs() <= 1.0, "{found:?}");
            assert!((found[0].peak_w / watts - 1.0).abs() < 0.03, "{found:?}");
        }
    }

    #[test]
    fn the_decay_of_a_lag_is_no_power_that_nobody_pedals() {
        assert_eq!(while_coasting(|_| 0.0), vec![]);
    }

    #[test]
    fn a_late_source_is_forgiven() {
        let mut a: Vec<f64> = vec![150.0; 100];
        a.extend(vec![320.0; 100]);
        let under_test = [vec![150.0; 106], vec![320.0; 94]].concat();
        assert_eq!(find(&under_test, &[&a, &a], grid(200), &[]), vec![]);
    }

    #[test]
    fn one_wild_second_counts_and_one_slightly_off_does_not() {
        let (a, b) = references(300);
        let mut under_test = a.clone();
        under_test[60] += 18.0;
        assert_eq!(find(&under_test, &[&a, &b], grid(300), &[]), vec![]);
        under_test[60] += 60.0;
        let found = find(&under_test, &[&a, &b], grid(300), &[]);
        assert_eq!((found.len(), found[0].to_s - found[0].from_s), (1, 1.0));
        assert!((found[0].peak_w - 78.0).abs() <= 0.5, "{found:?}");
    }

    #[test]
    fn dropouts_are_passed_over() {
        let (a, b) = references(300);
        let mut under_test = a.clone();
        under_test[60..70].fill(0.0);
        let found = find(&under_test, &[&a, &b], grid(300), &[]);
        assert!(found.len() == 1 && found[0].peak_w < -100.0, "{found:?}");
        let except = [Span::new(110.0, 120.0)];
        assert_eq!(find(&under_test, &[&a, &b], grid(300), &except), vec![]);
    }

    #[test]
    fn nothing_to_compare_gives_no_excursion() {
        let nan = [f64::NAN; 20];
        assert_eq!(find(&[], &[], grid(0), &[]), vec![]);
        assert_eq!(find(&[200.0; 20], &[], grid(20), &[]), vec![]);
        assert_eq!(find(&[200.0; 20], &[&nan], grid(20), &[]), vec![]);
        assert_eq!(find(&nan, &[&[200.0; 20]], grid(20), &[]), vec![]);
        assert_eq!(find(&[500.0], &[&[200.0]], grid(1), &[]), vec![]);
        assert_eq!(find(&[200.0; 20], &[&[200.0; 20]], grid(20), &[]), vec![]);
    }

    #[test]
    fn references_missing_for_a_while_accuse_nobody() {
        let (a, b) = references(300);
        let mut gap = a.clone();
        gap[80..140].fill(f64::NAN);
        let mut other = b.clone();
        other[80..140].fill(f64::NAN);
        let mut under_test = a.clone();
        under_test[100..110].fill(400.0);
        assert_eq!(find(&under_test, &[&gap, &other], grid(300), &[]), vec![]);
        assert_eq!(find(&under_test, &[&gap, &b], grid(300), &[]).len(), 1);
    }
}
