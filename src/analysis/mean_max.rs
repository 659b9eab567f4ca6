//! Mean-maximal power: for each duration the highest mean that a stream holds for so long or longer.
//!
//! `best(T) = max over T' ≥ T and t of mean(power, t ≤ s < t + T')`, `T'` among the durations asked
//! for; a definition, no source needed. What was held for longer was held for so long: without that,
//! a curve rises where a gap breaks the shorter stretches, and between durations of which one is not a
//! multiple of the other. Of the seconds averaged at least 95 % must be present (for less than 20 s
//! that is all of them); the mean is over those present, and nothing is put in for the others.

use crate::analysis::figure::{Figure, TRADE};
use crate::timeline::Grid;
use serde::Serialize;

/// Mean-maximal power of one stream over one duration.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct MeanMax {
    /// Duration, s.
    pub duration_s: f64,
    /// Highest mean over that duration or a longer one, W.
    pub mean_w: f64,
    /// Where it begins, session time, s.
    pub from_s: f64,
}

/// Durations asked for, s, besides the ride's own length.
const DURATIONS_S: [f64; 26] = [
    1.0, 2.0, 3.0, 5.0, 10.0, 15.0, 20.0, 30.0, 45.0, 60.0, 90.0, 120.0, 180.0, 300.0, 420.0,
    600.0, 900.0, 1200.0, 1800.0, 2700.0, 3600.0, 5400.0, 7200.0, 10800.0, 14400.0, 18000.0,
];

/// The highest mean over `rows` neighbouring rows, and the row at which it begins. Of equal
/// means the first is taken.
pub fn best_mean(values: &[f64], rows: usize) -> Option<(f64, usize)> {
    if rows == 0 || rows > values.len() {
        return None;
    }
    let needed = (0.95 * rows as f64).ceil() as usize;
    // Running totals up to the start and up to the end of the stretch.
    let (mut before, mut until) = (Running::default(), Running::default());
    values[..rows - 1].iter().for_each(|v| until.add(*v));
    let mut best: Option<(f64, usize)> = None;
    for (from, (first, last)) in values.iter().zip(&values[rows - 1..]).enumerate() {
        until.add(*last);
        let count = until.count - before.count;
        if count >= needed.max(1) {
            let mean = (until.sum - before.sum) / count as f64;
            if best.is_none_or(|(highest, _)| mean > highest) {
                best = Some((mean, from));
            }
        }
        before.add(*first);
    }
    best
}

/// The highest means over each of `rows` neighbouring rows (rising) or more, and the rows at which
/// they begin; they never rise. `None` where no stretch so long is complete enough.
pub fn best_means(values: &[f64], rows: &[usize]) -> Vec<Option<(f64, usize)>> {
    let mut longer: Option<(f64, usize)> = None;
    let mut found: Vec<_> = rows
        .iter()
        .rev()
        .map(|&rows| {
            let own = best_mean(values, rows);
            longer = match (own, longer) {
                (Some(own), Some(held)) if held.0 > own.0 => Some(held),
                (own, held) => own.or(held),
            };
            longer
        })
        .collect();
    found.reverse();
    found
}

/// The mean-maximal power of one column over `grid`, shortest duration first. Durations for
/// which no stretch so long or longer is complete enough are left out.
pub fn curve(values: &[f64], grid: Grid) -> Vec<MeanMax> {
    let length_s = values.len() as f64 * grid.step_s;
    let mut durations: Vec<f64> = DURATIONS_S
        .into_iter()
        .filter(|&duration_s| duration_s < length_s)
        .collect();
    durations.push(length_s);
    let rows: Vec<usize> = durations
        .iter()
        .map(|duration_s| (duration_s / grid.step_s).round() as usize)
        .collect();
    durations
        .into_iter()
        .zip(best_means(values, &rows))
        .filter_map(|(duration_s, best)| {
            let (mean_w, from) = best?;
            Some(MeanMax {
                duration_s,
                mean_w,
                from_s: grid.start_s + from as f64 * grid.step_s,
            })
        })
        .collect()
}

/// Sum and count of the values present so far.
#[derive(Default)]
struct Running {
    sum: f64,
    count: usize,
}

impl Running {
    fn add(&mut self, value: f64) {
        if value.is_finite() {
            self.sum += value;
            self.count += 1;
        }
    }
}

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "streams.mean_max.duration_s",
        label: "duration",
        unit: "s",
        definition: "How long the mean is taken over, at least.",
        source: TRADE,
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.mean_max.mean_w",
        label: "mean-maximal power",
        unit: "W",
        definition: "Highest mean over that duration or a longer one anywhere in the ride; it never rises with duration.",
        formula: "max over windows of that length and of the longer ones listed of the mean",
        source: TRADE,
        caveat: "A window counts where at least 95 % of its seconds have a value.",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.mean_max.from_s",
        label: "from",
        unit: "s",
        definition: "Where that window begins, session time.",
        source: TRADE,
        ..Figure::PLAIN
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    fn grid(len: usize) -> Grid {
        Grid {
            start_s: 100.0,
            step_s: 1.0,
            len,
        }
    }

    #[test]
    fn best_means_of_a_hand_made_effort() {
        let values = [100.0, 400.0, 700.0, 400.0, 100.0, 100.0];
        assert_eq!(best_mean(&values, 1), Some((700.0, 2)));
        assert_eq!(best_mean(&values, 3), Some((500.0, 1)));
        assert_eq!(best_mean(&values, 7), None);
        assert_eq!(best_mean(&values, 0), None);
    }

    /// The n-second mean of a half-sine of 10 s, peak 1: sin(x)/x with x = πn/20 (`methods` §12,
    /// recomputed): 0.995893, 0.963398, 0.900316 for 1, 3, 5 s. Sampled finely here.
    #[test]
    fn best_means_of_a_half_sine_are_the_sinc() {
        let per_second = 200;
        let values: Vec<f64> = (0..10 * per_second)
            .map(|i| (std::f64::consts::PI * (i as f64 + 0.5) / (10 * per_second) as f64).sin())
            .collect();
        for (seconds, expected) in [(1, 0.995893), (3, 0.963398), (5, 0.900316)] {
            let (mean, _) = best_mean(&values, seconds * per_second).unwrap();
            assert!((mean - expected).abs() < 2e-6, "{seconds} s: {mean}");
        }
    }

    #[test]
    fn a_missing_second_breaks_short_means_but_not_long_ones() {
        let mut values = vec![200.0; 60];
        values[30] = f64::NAN;
        values[31] = 900.0;
        assert_eq!(best_mean(&values, 1), Some((900.0, 31)));
        let (five, from) = best_mean(&values, 5).unwrap();
        assert!((five - 340.0).abs() < 1e-9 && from == 31);
        assert!(best_mean(&values, 60).is_some());
        assert_eq!(best_mean(&[f64::NAN; 5], 1), None);
    }

    /// A gap in every stretch of 15 s breaks it, not one of 20 s; and of 5 s the ends are the best.
    #[test]
    fn what_was_held_for_longer_was_held_for_so_long() {
        let mut gappy = vec![100.0; 60];
        gappy[20..40].fill(400.0);
        gappy[30] = f64::NAN;
        let found = curve(&gappy, grid(60));
        let held = |seconds: f64| found.iter().find(|m| m.duration_s == seconds).unwrap();
        assert_eq!((held(20.0).mean_w, held(20.0).from_s), (400.0, 120.0));
        assert_eq!((held(15.0).mean_w, held(10.0).mean_w), (400.0, 400.0));
        assert!(
            found
                .windows(2)
                .all(|pair| pair[0].mean_w >= pair[1].mean_w)
        );
        let ends = [9.0, 0.0, 0.0, 0.0, 9.0];
        let best = best_means(&ends, &[1, 3, 5]);
        assert_eq!(best, [Some((9.0, 0)), Some((3.6, 0)), Some((3.6, 0))]);
        assert_eq!(best_means(&[1.0], &[1, 2]), [Some((1.0, 0)), None]);
    }

    #[test]
    fn the_curve_ends_at_the_length_of_the_ride_and_never_rises() {
        let values: Vec<f64> = (0..100).map(|i| f64::from((i * 37) % 100)).collect();
        let curve = curve(&values, grid(100));
        assert_eq!(curve.last().unwrap().duration_s, 100.0);
        assert_eq!(curve.first().unwrap().mean_w, 99.0);
        assert!(
            curve
                .windows(2)
                .all(|pair| pair[0].mean_w >= pair[1].mean_w)
        );
        assert_eq!(super::curve(&[], grid(0)), vec![]);
        let single = super::curve(&[7.0], grid(1));
        assert_eq!((single.len(), single[0].from_s), (1, 100.0));
    }
}
