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

use super::figures::UncorroboratedStretch;
use super::stats::{Sample, finite};
use crate::timeline::{Grid, Span};

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

/// The excursions of `under_test` over the rows of `grid`, in time order. Seconds inside `except`
/// (dropouts, which are reported as such) are passed over.
///
/// Without references, or where fewer than two seconds are shared, there are none to tell.
pub fn find(
    under_test: &[f64],
    references: &[&[f64]],
    grid: Grid,
    except: &[Span],
) -> Vec<UncorroboratedStretch> {
    let time = |row: usize| grid.start_s + row as f64 * grid.step_s;
    let mut tested = under_test.to_vec();
    for (row, value) in tested.iter_mut().enumerate() {
        if except.iter().any(|span| span.contains(time(row))) {
            *value = f64::NAN;
        }
    }
    let Some(usual) = Usual::of(&tested, references) else {
        return Vec::new();
    };
    let band = Band::of(references, under_test.len(), grid.step_s);
    let departures: Vec<f64> = (0..tested.len())
        .map(|row| band.departure(row, tested[row] / usual.ratio))
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
            certain.then(|| UncorroboratedStretch {
                from_s: time(first),
                to_s: time(last) + grid.step_s,
                peak_w: departures[peak],
            })
        })
        .collect()
}

/// How the source usually stands to the references.
struct Usual {
    /// Source over references, median.
    ratio: f64,
    /// Robust spread of differences, W.
    spread_w: f64,
}

impl Usual {
    fn of(tested: &[f64], references: &[&[f64]]) -> Option<Self> {
        let level = |row: usize| {
            let values = references.iter().filter_map(|column| column.get(row));
            let (sum, count) = values
                .filter(|v| v.is_finite())
                .fold((0.0, 0.0), |(sum, count), v| (sum + v, count + 1.0));
            sum / count
        };
        let levels: Vec<f64> = (0..tested.len()).map(level).collect();
        let pairs = || tested.iter().zip(&levels);
        let ratios = pairs().filter(|(_, level)| **level > 0.0);
        let ratio = Sample::present(ratios.map(|(tested, level)| tested / level))?.median();
        let ratio = if ratio > 0.0 { ratio } else { 1.0 };
        let own = Sample::present(pairs().map(|(tested, level)| tested / ratio - level))?;
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

    /// References that wander by ±6 W about 200 W, ±1 W apart.
    fn references(rows: usize) -> (Vec<f64>, Vec<f64>) {
        let wander = |i: usize| 200.0 + [0.0, 3.0, 6.0, 2.0, -4.0, -6.0, -1.0][(i / 3) % 7];
        let a = (0..rows).map(wander).collect();
        let b = (0..rows)
            .map(|i| wander(i) + [1.0, -1.0, 0.0][i % 3])
            .collect();
        (a, b)
    }

    #[test]
    fn a_surge_that_no_reference_shows_is_found_with_its_ends() {
        let (a, b) = references(300);
        let mut tested: Vec<f64> = a.iter().map(|w| w * 1.03).collect();
        for power in &mut tested[100..112] {
            *power += 80.0;
        }
        let found = find(&tested, &[&a, &b], grid(300), &[]);
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!((found[0].from_s, found[0].to_s), (150.0, 162.0));
        assert!((60.0..=85.0).contains(&found[0].peak_w));
    }

    #[test]
    fn a_late_source_is_forgiven() {
        let mut a: Vec<f64> = vec![150.0; 100];
        a.extend(vec![320.0; 100]);
        let tested = [vec![150.0; 106], vec![320.0; 94]].concat();
        assert_eq!(find(&tested, &[&a, &a], grid(200), &[]), vec![]);
    }

    #[test]
    fn one_wild_second_counts_and_one_slightly_off_does_not() {
        let (a, b) = references(300);
        let mut tested = a.clone();
        tested[60] += 18.0;
        assert_eq!(find(&tested, &[&a, &b], grid(300), &[]), vec![]);
        tested[60] += 60.0;
        let found = find(&tested, &[&a, &b], grid(300), &[]);
        assert_eq!((found.len(), found[0].to_s - found[0].from_s), (1, 1.0));
    }

    #[test]
    fn dropouts_are_passed_over() {
        let (a, b) = references(300);
        let mut tested = a.clone();
        tested[60..70].fill(0.0);
        let found = find(&tested, &[&a, &b], grid(300), &[]);
        assert!(found.len() == 1 && found[0].peak_w < -100.0, "{found:?}");
        let except = [Span::new(110.0, 120.0)];
        assert_eq!(find(&tested, &[&a, &b], grid(300), &except), vec![]);
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
        let mut tested = a.clone();
        tested[100..110].fill(400.0);
        assert_eq!(find(&tested, &[&gap, &other], grid(300), &[]), vec![]);
        assert_eq!(find(&tested, &[&gap, &b], grid(300), &[]).len(), 1);
    }
}
