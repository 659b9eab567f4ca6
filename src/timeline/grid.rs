//! The common grid: which seconds there are, and which sample each second takes.

use std::ops::Range;

use super::Clock;
use crate::recording::{Samples, Sampling};

/// A half-open stretch of session time, `from_s ≤ t < to_s`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// Start, s.
    pub from_s: f64,
    /// End, s.
    pub to_s: f64,
}

impl Span {
    /// A span with its ends in order.
    pub fn new(a_s: f64, b_s: f64) -> Self {
        Self {
            from_s: a_s.min(b_s),
            to_s: a_s.max(b_s),
        }
    }

    /// Length, s.
    pub fn duration_s(self) -> f64 {
        self.to_s - self.from_s
    }

    /// Whether `t_s` lies inside.
    pub fn contains(self, t_s: f64) -> bool {
        self.from_s <= t_s && t_s < self.to_s
    }

    /// The part shared with `other`, if it is longer than nothing.
    pub fn overlap(self, other: Span) -> Option<Span> {
        let from_s = self.from_s.max(other.from_s);
        let to_s = self.to_s.min(other.to_s);
        (from_s < to_s).then_some(Span { from_s, to_s })
    }
}

/// Equally spaced session times `start_s + i · step_s`, `0 ≤ i < len`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grid {
    /// Session time of row 0, s.
    pub start_s: f64,
    /// Spacing, s.
    pub step_s: f64,
    /// Number of rows.
    pub len: usize,
}

/// A window edge within this fraction of a step of a row counts as on it, so that an edge typed
/// in decimal does not lose a row to binary rounding.
const EDGE_SLACK: f64 = 1e-6;

/// How long a value of an on-change recorder is held, s. Past it the recorder is taken to have
/// stopped (common practice, no source).
const HOLD_LIMIT_S: f64 = 60.0;

impl Grid {
    /// The grid at `step_s` that covers `spans`, on whole multiples of the step.
    ///
    /// `row_limit` bounds the length whatever the spans say: where they are too far apart (a
    /// clock years off), spans are taken in order while the grid stays within the limit.
    pub fn covering(spans: &[Span], step_s: f64, row_limit: usize) -> Self {
        let mut kept: Option<Span> = None;
        for span in spans {
            let joined = kept.map_or(*span, |k| Span {
                from_s: k.from_s.min(span.from_s),
                to_s: k.to_s.max(span.to_s),
            });
            if joined.duration_s() / step_s <= row_limit as f64 {
                kept = Some(joined);
            }
        }
        // A first span too long by itself is cut, so that its start can still be looked at.
        let cut = spans.first().map(|first| Span {
            from_s: first.from_s,
            to_s: first.to_s.min(first.from_s + row_limit as f64 * step_s),
        });
        let Some(span) = kept.or(cut) else {
            return Self {
                start_s: 0.0,
                step_s,
                len: 0,
            };
        };
        let first = (span.from_s / step_s).round();
        let last = (span.to_s / step_s).round();
        Self {
            start_s: first * step_s,
            step_s,
            len: (last - first) as usize + 1,
        }
    }

    /// Session time of a row, s.
    pub fn time_s(&self, row: usize) -> f64 {
        self.start_s + row as f64 * self.step_s
    }

    /// First and one-past-last session time, s.
    pub fn span(&self) -> Span {
        Span {
            from_s: self.start_s,
            to_s: self.start_s + self.len as f64 * self.step_s,
        }
    }

    /// The rows whose time lies in `span`.
    pub fn rows(&self, span: Span) -> Range<usize> {
        let row_at = |t_s: f64| -> usize {
            let row = ((t_s - self.start_s) / self.step_s - EDGE_SLACK).ceil();
            row.clamp(0.0, self.len as f64) as usize
        };
        let from = row_at(span.from_s);
        from..row_at(span.to_s).max(from)
    }

    /// The row nearest to `t_s`, inside the grid; 0 for an empty grid.
    pub fn nearest_row(&self, t_s: f64) -> usize {
        let row = ((t_s - self.start_s) / self.step_s).round();
        row.clamp(0.0, self.len.saturating_sub(1) as f64) as usize
    }

    /// For each row the index of the sample it takes, or `NO_SAMPLE`.
    ///
    /// A row takes the sample nearest in session time within half an interval: half the grid's
    /// step or, for a slower recorder, half its median interval. A recorder that writes on change
    /// lends each value until its next one, 60 s at most.
    pub fn pick(&self, samples: &Samples, sampling: Sampling, clock: Clock) -> Vec<u32> {
        let time_s = samples.time_s();
        let interval_s = samples.median_interval_s().unwrap_or(self.step_s);
        // A recorder a hair slower than the grid would otherwise lose a row now and then.
        let reach_s = 0.5 * interval_s.clamp(self.step_s, HOLD_LIMIT_S) * 1.02;
        let mut next = 0;
        (0..self.len)
            .map(|row| {
                let t_s = self.time_s(row);
                while next < time_s.len() && clock.to_session(time_s[next]) <= t_s {
                    next += 1;
                }
                let before = next
                    .checked_sub(1)
                    .map(|i| (i, t_s - clock.to_session(time_s[i])));
                if sampling == Sampling::OnChange {
                    return index_within(before, HOLD_LIMIT_S);
                }
                let after = time_s.get(next).map(|t| (next, clock.to_session(*t) - t_s));
                let nearest = match (before, after) {
                    (Some(b), Some(a)) => Some(if b.1 <= a.1 { b } else { a }),
                    (one, other) => one.or(other),
                };
                index_within(nearest, reach_s)
            })
            .collect()
    }
}

/// Marks a grid row that no sample is near enough to.
pub(super) const NO_SAMPLE: u32 = u32::MAX;

fn index_within(candidate: Option<(usize, f64)>, reach_s: f64) -> u32 {
    candidate
        .filter(|(_, distance_s)| *distance_s <= reach_s)
        .and_then(|(index, _)| u32::try_from(index).ok())
        .unwrap_or(NO_SAMPLE)
}

/// The values of the picked samples; `NaN` where a row takes none.
pub(super) fn gather(picked: &[u32], column: &[f64]) -> Vec<f64> {
    picked
        .iter()
        .map(|index| column.get(*index as usize).copied().unwrap_or(f64::NAN))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid(start_s: f64, len: usize) -> Grid {
        Grid {
            start_s,
            step_s: 1.0,
            len,
        }
    }

    const STILL: Clock = Clock {
        zero_s: 0.0,
        offset_s: 0.0,
        skew_ppm: 0.0,
    };

    fn samples(times: &[f64]) -> Samples {
        Samples::new(times.to_vec()).unwrap()
    }

    #[test]
    fn rows_of_a_window_are_half_open() {
        let grid = grid(0.0, 100);
        assert_eq!(grid.rows(Span::new(10.0, 20.0)), 10..20);
        assert_eq!(grid.rows(Span::new(9.5, 19.5)), 10..20);
        assert_eq!(grid.rows(Span::new(-50.0, -10.0)), 0..0);
        assert_eq!(grid.rows(Span::new(90.0, 1e12)), 90..100);
    }

    #[test]
    fn a_row_takes_the_nearest_sample_within_half_a_step() {
        let picked = grid(0.0, 6).pick(&samples(&[0.2, 0.9, 2.4, 5.0]), Sampling::Regular, STILL);
        // The median interval here is 1.5 s, so the reach is 0.765 s.
        assert_eq!(picked, [0, 1, 2, 2, NO_SAMPLE, 3]);
    }

    #[test]
    fn a_gap_stays_a_gap() {
        let times: Vec<f64> = (0..10).chain(20..30).map(f64::from).collect();
        let picked = grid(0.0, 30).pick(&samples(&times), Sampling::Regular, STILL);
        assert_eq!(picked.iter().filter(|i| **i == NO_SAMPLE).count(), 10);
    }

    #[test]
    fn an_on_change_recorder_lends_its_value_for_a_minute() {
        let picked = grid(0.0, 200).pick(&samples(&[0.0, 10.0, 150.0]), Sampling::OnChange, STILL);
        assert_eq!(picked[9], 0);
        assert_eq!(picked[70], 1);
        assert_eq!(picked[71], NO_SAMPLE);
        assert_eq!(picked[199], 2);
    }

    #[test]
    fn a_clock_years_off_does_not_stretch_the_grid() {
        let spans = [
            Span::new(0.0, 100.0),
            Span::new(3e9, 3e9 + 100.0),
            Span::new(5.0, 130.0),
        ];
        assert_eq!(Grid::covering(&spans, 1.0, 10_000).len, 131);
    }
}
