//! Dropouts of a stream: gap, freeze, zero.
//!
//! - **Gap**: samples are missing for at least two of the stream's own intervals (and two rows),
//!   between its first and its last sample, while another stream reports. A pause that silences
//!   everybody, or one that the recorder itself tells of, is no dropout.
//! - **Freeze**: the stream repeats one value so long that chance does not explain it, while the
//!   others' mean ranges over 3 W or more. How often a stream repeats itself is its own habit
//!   (rounding, smoothing, a slow radio) and depends on how far the others move in that second, so
//!   both come from its own ride: the chance of a repeat, after a change and after a repeat, for
//!   moves under 2 W, from 2 to 5 W and beyond, with the four longest runs set aside, since they may
//!   be the freezes sought. A run counts when the product of its chances is below 0.02 over the
//!   number of changes in the ride. A run at the stream's highest value is a ceiling, not a freeze.
//! - **Zero**: the stream reports 0 W for at least 2 s while every other stream present has been
//!   well above (more than 30 W and a quarter of the median pedalling power) for 3 s or more, so
//!   that a late start is not taken for a dropout.
//!
//! The constants are ours; common practice without a source.

use crate::analysis::figure::{Figure, OURS};
use crate::stats::median_of;
use crate::timeline::{Grid, Span};
use serde::Serialize;

/// A stretch without trustworthy power.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Dropout {
    /// Start, session time, s.
    pub from_s: f64,
    /// End, session time, s.
    pub to_s: f64,
    /// What kind.
    pub kind: DropoutKind,
}

/// Kinds of dropout.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum DropoutKind {
    /// Samples are missing.
    Gap,
    /// The value repeats while references move.
    Freeze,
    /// Zero while references are well above.
    Zero,
}

/// Ends of the classes of the others' move from row to row, W.
const MOVES_W: [f64; 2] = [2.0, 5.0];
/// How far the others range while a value is frozen, W.
const LEAST_RANGE_W: f64 = 3.0;
/// Chance of a false freeze accepted over a ride.
const FALSE_FREEZES: f64 = 0.02;
/// Longest runs left out of a stream's habit.
const SET_ASIDE: usize = 4;
/// The others are well above zero from here, W.
const WELL_ABOVE_W: f64 = 30.0;
/// For so long they have to be, s.
const ABOVE_FOR_S: f64 = 3.0;
/// Shortest zero, s.
const SHORTEST_ZERO_S: f64 = 2.0;

/// The dropouts of `power` over the rows of `grid`, in time order. `others` are the power columns
/// of the other streams; `interval_s` is the stream's own median interval; `pauses` are the
/// stretches in which its recorder says that it was stopped.
///
/// Without other streams only gaps can be told.
pub fn find(
    power: &[f64],
    others: &[&[f64]],
    grid: Grid,
    interval_s: Option<f64>,
    pauses: &[Span],
) -> Vec<Dropout> {
    let others = Others::of(others, power.len());
    let paused = |gap: &Rows| {
        let span = Span::new(grid.time_s(gap.start), grid.time_s(gap.end));
        let silent = pauses.iter().filter_map(|pause| pause.overlap(span));
        2.0 * silent.map(Span::duration_s).sum::<f64>() >= span.duration_s()
    };
    let rows = |range: std::ops::Range<usize>, kind| Dropout {
        from_s: grid.time_s(range.start),
        to_s: grid.time_s(range.end),
        kind,
    };
    let interval_rows = (interval_s.unwrap_or(0.0) / grid.step_s).max(1.0);
    let mut found: Vec<Dropout> = gaps(power, &others, 2.0 * interval_rows)
        .into_iter()
        .filter(|gap| !paused(gap))
        .map(|range| rows(range, DropoutKind::Gap))
        .collect();
    found.extend(
        freezes(power, &others, interval_rows)
            .into_iter()
            .map(|range| rows(range, DropoutKind::Freeze)),
    );
    found.extend(
        zeros(power, &others, grid.step_s)
            .into_iter()
            .map(|range| rows(range, DropoutKind::Zero)),
    );
    found.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    found
}

type Rows = std::ops::Range<usize>;

/// What the other streams report, row by row; NaN where none does.
struct Others {
    any: bool,
    mean: Vec<f64>,
    least: Vec<f64>,
}

impl Others {
    fn of(columns: &[&[f64]], rows: usize) -> Self {
        let mut others = Self {
            any: !columns.is_empty(),
            mean: vec![f64::NAN; rows],
            least: vec![f64::NAN; rows],
        };
        for row in 0..rows {
            let present = columns
                .iter()
                .filter_map(|column| column.get(row).copied())
                .filter(|v| v.is_finite());
            let (mut sum, mut count) = (0.0, 0.0);
            for value in present {
                sum += value;
                count += 1.0;
                others.least[row] = others.least[row].min(value);
            }
            others.mean[row] = sum / count;
        }
        others
    }

    /// The class of the move up to `row`; `None` where it is unknown.
    fn move_class(&self, row: usize) -> Option<usize> {
        let moved = (self.mean[row] - self.mean[row.checked_sub(1)?]).abs();
        let class = MOVES_W.iter().filter(|end| moved >= **end).count();
        moved.is_finite().then_some(class)
    }

    fn range_w(&self, rows: Rows) -> f64 {
        let values = self.mean[rows].iter().filter(|v| v.is_finite());
        let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &v| {
            (low.min(v), high.max(v))
        });
        high - low
    }
}

/// Maximal runs of rows that satisfy `belongs`.
fn runs(rows: usize, belongs: impl Fn(usize) -> bool) -> Vec<Rows> {
    let mut out: Vec<Rows> = Vec::new();
    for row in (0..rows).filter(|&row| belongs(row)) {
        match out.last_mut() {
            Some(last) if last.end == row => last.end = row + 1,
            _ => out.push(row..row + 1),
        }
    }
    out
}

fn gaps(power: &[f64], others: &Others, least_rows: f64) -> Vec<Rows> {
    runs(power.len(), |row| !power[row].is_finite())
        .into_iter()
        .filter(|gap| gap.start > 0 && gap.end < power.len())
        .filter(|gap| gap.len() as f64 >= least_rows.max(2.0))
        .filter(|gap| {
            let heard = gap.clone().filter(|&row| others.mean[row].is_finite());
            !others.any || 2 * heard.count() >= gap.len()
        })
        .collect()
}

fn freezes(power: &[f64], others: &Others, interval_rows: f64) -> Vec<Rows> {
    let highest = power.iter().copied().fold(0.0, f64::max);
    let repeats = runs(power.len(), |row| {
        row > 0 && power[row] == power[row - 1] && power[row] > 0.0
    });
    let habit = Habit::of(power, others, &repeats);
    repeats
        .into_iter()
        .filter(|run| power[run.start] < highest && habit.excludes(run, others, interval_rows))
        .filter(|run| others.range_w(run.start - 1..run.end) >= LEAST_RANGE_W)
        .collect()
}

/// How often a stream repeats its value.
struct Habit {
    /// Seconds seen, and repeats among them: after a change and after a repeat, by class of move.
    seen: [[f64; MOVES_W.len() + 1]; 2],
    repeated: [[f64; MOVES_W.len() + 1]; 2],
    changes: f64,
}

impl Habit {
    fn of(power: &[f64], others: &Others, repeats: &[Rows]) -> Self {
        let mut longest: Vec<&Rows> = repeats.iter().collect();
        longest.sort_by_key(|run| std::cmp::Reverse(run.len()));
        longest.truncate(SET_ASIDE);
        let mut habit = Self {
            seen: Default::default(),
            repeated: Default::default(),
            changes: 0.0,
        };
        let mut aside = vec![false; power.len() + 1];
        for run in longest {
            aside[run.start..run.end + 1].fill(true);
        }
        for row in 2..power.len() {
            let (before, last, here) = (power[row - 2], power[row - 1], power[row]);
            let known = before.is_finite() && last > 0.0 && here.is_finite();
            let Some(class) = others.move_class(row).filter(|_| known && !aside[row]) else {
                continue;
            };
            let state = usize::from(before == last);
            habit.seen[state][class] += 1.0;
            if here == last {
                habit.repeated[state][class] += 1.0;
            } else {
                habit.changes += 1.0;
            }
        }
        habit
    }

    /// Chance of a repeat, with Laplace's rule of succession for what was rarely seen.
    fn chance(&self, after_repeat: bool, class: usize) -> f64 {
        let state = usize::from(after_repeat);
        (self.repeated[state][class] + 1.0) / (self.seen[state][class] + 2.0)
    }

    /// Whether chance alone would hardly make `run`. A sample that stands for several rows is one
    /// coincidence, not several.
    fn excludes(&self, run: &Rows, others: &Others, interval_rows: f64) -> bool {
        let log_chance: f64 = run
            .clone()
            .filter_map(|row| Some(self.chance(row > run.start, others.move_class(row)?).ln()))
            .sum();
        log_chance / interval_rows < (FALSE_FREEZES / self.changes.max(1.0)).ln()
    }
}

fn zeros(power: &[f64], others: &Others, step_s: f64) -> Vec<Rows> {
    let pedalling = others.mean.iter().copied().filter(|w| *w > WELL_ABOVE_W);
    let Some(usual) = median_of(pedalling.collect()) else {
        return Vec::new();
    };
    let limit = WELL_ABOVE_W.max(0.25 * usual);
    let lead = (ABOVE_FOR_S / step_s).round() as usize;
    let above_for_long = |row: usize| {
        others.least[row.saturating_sub(lead)..=row]
            .iter()
            .all(|w| *w > limit)
    };
    runs(power.len(), |row| power[row] == 0.0 && above_for_long(row))
        .into_iter()
        .filter(|run| run.len() as f64 * step_s >= SHORTEST_ZERO_S)
        .collect()
}

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "streams.dropouts.from_s",
        label: "dropout from",
        unit: "s",
        definition: "Start of a stretch without trustworthy power.",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.dropouts.to_s",
        label: "dropout to",
        unit: "s",
        definition: "End of a stretch without trustworthy power.",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.dropouts.kind",
        label: "dropout",
        short: "dropouts",
        definition: "How power failed: gap (samples are missing), freeze (the value repeats while other streams move) or zero (it reads zero while others are well above).",
        source: OURS,
        caveat: "A rider who really holds one whole watt for long looks like a freeze; the other streams must move for it to count.",
        ..Figure::PLAIN
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    fn grid(len: usize) -> Grid {
        Grid {
            start_s: 10.0,
            step_s: 1.0,
            len,
        }
    }

    /// A reference that moves by some 10 W each second about 220 W, and a source 2 % above it.
    fn ride(rows: usize) -> (Vec<f64>, Vec<f64>) {
        let reference: Vec<f64> = (0..rows)
            .map(|i| 220.0 + ((i * 37) % 41) as f64 - 20.0)
            .collect();
        let tested = reference.iter().map(|w| (w * 1.02).round()).collect();
        (tested, reference)
    }

    fn kinds(found: &[Dropout]) -> Vec<(f64, f64, DropoutKind)> {
        found.iter().map(|d| (d.from_s, d.to_s, d.kind)).collect()
    }

    #[test]
    fn each_kind_is_found_where_it_is() {
        let (mut tested, reference) = ride(600);
        tested[100..106].fill(f64::NAN);
        let held = tested[199];
        tested[200..208].fill(held);
        tested[300..305].fill(0.0);
        let found = find(&tested, &[&reference], grid(600), Some(1.0), &[]);
        assert_eq!(
            kinds(&found),
            vec![
                (110.0, 116.0, DropoutKind::Gap),
                (210.0, 218.0, DropoutKind::Freeze),
                (310.0, 315.0, DropoutKind::Zero),
            ]
        );
    }

    #[test]
    fn a_single_missing_second_and_the_ends_are_no_gap() {
        let (mut tested, reference) = ride(100);
        tested[..5].fill(f64::NAN);
        tested[95..].fill(f64::NAN);
        tested[50] = f64::NAN;
        assert_eq!(
            find(&tested, &[&reference], grid(100), Some(1.0), &[]),
            vec![]
        );
    }

    #[test]
    fn a_slow_recorder_has_no_gaps_at_its_own_interval() {
        let tested: Vec<f64> = (0..100)
            .map(|i| {
                if i % 4 == 0 {
                    200.0 + f64::from(i)
                } else {
                    f64::NAN
                }
            })
            .collect();
        let (_, reference) = ride(100);
        assert_eq!(
            find(&tested, &[&reference], grid(100), Some(4.0), &[]),
            vec![]
        );
    }

    #[test]
    fn a_pause_that_silences_everybody_is_no_dropout() {
        let (mut tested, mut reference) = ride(100);
        tested[40..60].fill(f64::NAN);
        reference[40..60].fill(f64::NAN);
        assert_eq!(
            find(&tested, &[&reference], grid(100), Some(1.0), &[]),
            vec![]
        );
        assert_eq!(find(&tested, &[], grid(100), Some(1.0), &[]).len(), 1);
    }

    #[test]
    fn a_pause_that_the_recorder_tells_of_is_no_dropout() {
        let (mut tested, reference) = ride(100);
        tested[40..60].fill(f64::NAN);
        let pause = [Span::new(49.0, 71.0)];
        let paused = find(&tested, &[&reference], grid(100), Some(1.0), &pause);
        assert_eq!(paused, vec![]);
        tested[20..26].fill(f64::NAN);
        assert_eq!(
            find(&tested, &[&reference], grid(100), Some(1.0), &pause).len(),
            1
        );
    }

    #[test]
    fn a_ceiling_is_no_freeze() {
        let (mut tested, mut reference) = ride(600);
        for row in 300..308 {
            reference[row] += 500.0;
            tested[row] = 600.0;
        }
        assert_eq!(
            find(&tested, &[&reference], grid(600), Some(1.0), &[]),
            vec![]
        );
    }

    #[test]
    fn repeating_at_a_steady_power_is_honest() {
        let tested = vec![200.0; 300];
        let reference: Vec<f64> = (0..300).map(|i| 199.0 + f64::from(i % 3)).collect();
        assert_eq!(
            find(&tested, &[&reference], grid(300), Some(1.0), &[]),
            vec![]
        );
    }

    #[test]
    fn a_source_that_always_holds_its_value_for_two_seconds_is_not_frozen() {
        let (tested, reference) = ride(600);
        let mut held: Vec<f64> = (0..600).map(|i| tested[i - i % 2]).collect();
        assert_eq!(
            find(&held, &[&reference], grid(600), Some(1.0), &[]),
            vec![]
        );
        let value = held[299];
        held[300..312].fill(value);
        let found = find(&held, &[&reference], grid(600), Some(1.0), &[]);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].kind, DropoutKind::Freeze);
    }

    #[test]
    fn a_slow_recorder_that_happens_to_repeat_itself_is_not_frozen() {
        use rand::SeedableRng;
        use rand_distr::{Distribution, StandardNormal};
        let (mut false_ones, mut true_ones) = (0, 0);
        for seed in 0..200 {
            let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
            let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
            let reference: Vec<f64> = (0..1800).map(|_| 220.0 + 2.0 * normal()).collect();
            let mut tested: Vec<f64> = (0..900)
                .map(|_| (220.0 + 2.0 * normal()).round())
                .flat_map(|w| [w, w])
                .collect();
            let grid = grid(tested.len());
            false_ones += find(&tested, &[&reference], grid, Some(2.0), &[]).len();
            let held = tested[899];
            tested[900..930].fill(held);
            let found = find(&tested, &[&reference], grid, Some(2.0), &[]);
            true_ones += usize::from(found.iter().any(|d| d.from_s <= 910.0 && d.to_s >= 940.0));
        }
        assert!(false_ones <= 20, "{false_ones} in 200 rides");
        assert!(true_ones >= 195, "{true_ones} of 200");
    }

    #[test]
    fn a_late_start_and_a_coast_are_no_zero() {
        let (mut tested, mut reference) = ride(200);
        reference[50..80].fill(0.0);
        tested[50..83].fill(0.0);
        assert_eq!(
            find(&tested, &[&reference], grid(200), Some(1.0), &[]),
            vec![]
        );
    }

    #[test]
    fn nothing_to_look_at_gives_nothing() {
        assert_eq!(find(&[], &[], grid(0), None, &[]), vec![]);
        assert_eq!(find(&[0.0], &[&[200.0]], grid(1), None, &[]), vec![]);
        assert_eq!(
            find(&[f64::NAN; 9], &[&[200.0; 9]], grid(9), None, &[]),
            vec![]
        );
        let silent = [f64::NAN; 9];
        assert_eq!(find(&[0.0; 9], &[&silent], grid(9), Some(1.0), &[]), vec![]);
    }
}
