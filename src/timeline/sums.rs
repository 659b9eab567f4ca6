//! Sums over any window in constant time.
//!
//! A running total is kept at every 16th row only: a window's sum is the difference of two
//! totals and at most 30 rows at its edges, at a sixteenth of the memory of a full prefix
//! sum. Values are centred on the column's first value present before squares are taken, so that
//! the error against a two-pass sum stays below 1e-6 W for a day of samples.

use std::ops::Range;

/// Rows between kept totals.
const STRIDE: usize = 16;

/// A stretch of eight strides or more with its ends at every second kept total, the nearest; a
/// shorter one as it is.
pub(super) fn to_whole_strides(rows: Range<usize>) -> Range<usize> {
    if rows.len() < 8 * STRIDE {
        return rows;
    }
    let nearest = |row: usize| (row + STRIDE) / (2 * STRIDE) * (2 * STRIDE);
    nearest(rows.start)..nearest(rows.end)
}

/// Running totals of `K` sums.
#[derive(Clone, Debug, PartialEq)]
struct Checkpoints<const K: usize> {
    totals: Vec<[f64; K]>,
}

impl<const K: usize> Checkpoints<K> {
    /// `add` adds what some rows hold to totals.
    fn new(len: usize, add: impl Fn(Range<usize>, &mut [f64; K])) -> Self {
        let mut totals = Vec::with_capacity(len / STRIDE + 1);
        let mut running = [0.0; K];
        totals.push(running);
        for stride in 1..=len / STRIDE {
            add((stride - 1) * STRIDE..stride * STRIDE, &mut running);
            totals.push(running);
        }
        Self { totals }
    }

    fn over(&self, rows: Range<usize>, add: impl Fn(Range<usize>, &mut [f64; K])) -> [f64; K] {
        let (first, last) = (rows.start.div_ceil(STRIDE), rows.end / STRIDE);
        let mut sum = [0.0; K];
        if first >= last {
            add(rows, &mut sum);
            return sum;
        }
        if let (Some(from), Some(to)) = (self.totals.get(first), self.totals.get(last)) {
            for (sum, (from, to)) in sum.iter_mut().zip(from.iter().zip(to)) {
                *sum = to - from;
            }
        }
        add(rows.start..first * STRIDE, &mut sum);
        add(last * STRIDE..rows.end, &mut sum);
        sum
    }
}

fn centre_of(column: &[f64]) -> f64 {
    column
        .iter()
        .copied()
        .find(|v| v.is_finite())
        .unwrap_or(0.0)
}

/// Constant-time sums of one column.
#[derive(Clone, Debug, PartialEq)]
pub struct ColumnSums {
    centre: f64,
    checkpoints: Checkpoints<3>,
}

/// What a window of one column holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ColumnTotals {
    /// Rows with a value.
    pub n: usize,
    /// Mean; 0 where `n` is 0.
    pub mean: f64,
    /// Sum of squared deviations from the mean.
    pub squares: f64,
}

impl ColumnSums {
    /// Sums over `column`; `NaN` is missing.
    pub fn new(column: &[f64]) -> Self {
        let centre = centre_of(column);
        Self {
            centre,
            checkpoints: Checkpoints::new(column.len(), |rows, sums| {
                Self::add(centre, column, rows, sums);
            }),
        }
    }

    fn add(centre: f64, column: &[f64], rows: Range<usize>, sums: &mut [f64; 3]) {
        let [mut n, mut sum, mut squares] = *sums;
        for value in column.get(rows).unwrap_or_default() {
            if value.is_finite() {
                let value = value - centre;
                (n, sum, squares) = (n + 1.0, sum + value, squares + value * value);
            }
        }
        *sums = [n, sum, squares];
    }

    /// Totals of `column[rows]`; `column` must be the one the sums were built over.
    pub fn over(&self, column: &[f64], rows: Range<usize>) -> ColumnTotals {
        let rows = clip(rows, column.len());
        let [n, sum, squares] = self.checkpoints.over(rows, |rows, sums| {
            Self::add(self.centre, column, rows, sums)
        });
        if n < 0.5 {
            return ColumnTotals {
                n: 0,
                mean: 0.0,
                squares: 0.0,
            };
        }
        ColumnTotals {
            n: n.round() as usize,
            mean: self.centre + sum / n,
            squares: (squares - sum * sum / n).max(0.0),
        }
    }
}

/// Constant-time sums of two columns over the rows where both have a value.
#[derive(Clone, Debug, PartialEq)]
pub struct PairSums {
    centre_x: f64,
    centre_y: f64,
    checkpoints: Checkpoints<6>,
}

/// What a window of two columns holds, over the rows where both have a value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PairTotals {
    /// Rows with both values.
    pub n: usize,
    /// Mean of x; 0 where `n` is 0.
    pub mean_x: f64,
    /// Mean of y; 0 where `n` is 0.
    pub mean_y: f64,
    /// Σ(x − mean_x)².
    pub squares_x: f64,
    /// Σ(y − mean_y)².
    pub squares_y: f64,
    /// Σ(x − mean_x)(y − mean_y).
    pub products: f64,
}

impl PairTotals {
    /// Nothing.
    pub const EMPTY: PairTotals = PairTotals {
        n: 0,
        mean_x: 0.0,
        mean_y: 0.0,
        squares_x: 0.0,
        squares_y: 0.0,
        products: 0.0,
    };

    /// The totals of the pair the other way round.
    pub fn swapped(self) -> Self {
        Self {
            n: self.n,
            mean_x: self.mean_y,
            mean_y: self.mean_x,
            squares_x: self.squares_y,
            squares_y: self.squares_x,
            products: self.products,
        }
    }
}

impl PairSums {
    /// Sums over the rows that `x` and `y` share; `NaN` is missing.
    pub fn new(x: &[f64], y: &[f64]) -> Self {
        let (centre_x, centre_y) = (centre_of(x), centre_of(y));
        let add = |rows, sums: &mut _| Self::add((centre_x, centre_y), (x, y), rows, sums);
        Self {
            centre_x,
            centre_y,
            checkpoints: Checkpoints::new(x.len().min(y.len()), add),
        }
    }

    fn add(centre: (f64, f64), (x, y): (&[f64], &[f64]), rows: Range<usize>, sums: &mut [f64; 6]) {
        let (Some(x), Some(y)) = (x.get(rows.clone()), y.get(rows)) else {
            return;
        };
        let [mut n, mut a, mut b, mut aa, mut bb, mut ab] = *sums;
        for (x, y) in x.iter().zip(y) {
            if x.is_finite() && y.is_finite() {
                let (x, y) = (x - centre.0, y - centre.1);
                (n, a, b) = (n + 1.0, a + x, b + y);
                (aa, bb, ab) = (aa + x * x, bb + y * y, ab + x * y);
            }
        }
        *sums = [n, a, b, aa, bb, ab];
    }

    /// Totals over `rows`; `x` and `y` must be the columns the sums were built over.
    pub fn over(&self, x: &[f64], y: &[f64], rows: Range<usize>) -> PairTotals {
        let rows = clip(rows, x.len().min(y.len()));
        let centre = (self.centre_x, self.centre_y);
        let [n, a, b, aa, bb, ab] = self
            .checkpoints
            .over(rows, |rows, sums| Self::add(centre, (x, y), rows, sums));
        if n < 0.5 {
            return PairTotals::EMPTY;
        }
        PairTotals {
            n: n.round() as usize,
            mean_x: self.centre_x + a / n,
            mean_y: self.centre_y + b / n,
            squares_x: (aa - a * a / n).max(0.0),
            squares_y: (bb - b * b / n).max(0.0),
            products: ab - a * b / n,
        }
    }
}

fn clip(rows: Range<usize>, len: usize) -> Range<usize> {
    let end = rows.end.min(len);
    rows.start.min(end)..end
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Two passes over the rows with both values: the slow, safe way.
    fn two_pass(x: &[f64], y: &[f64], rows: Range<usize>) -> PairTotals {
        let both: Vec<(f64, f64)> = x[rows.clone()]
            .iter()
            .zip(&y[rows])
            .filter(|(a, b)| a.is_finite() && b.is_finite())
            .map(|(a, b)| (*a, *b))
            .collect();
        if both.is_empty() {
            return PairTotals::EMPTY;
        }
        let n = both.len() as f64;
        let mean_x = both.iter().map(|p| p.0).sum::<f64>() / n;
        let mean_y = both.iter().map(|p| p.1).sum::<f64>() / n;
        PairTotals {
            n: both.len(),
            mean_x,
            mean_y,
            squares_x: both.iter().map(|p| (p.0 - mean_x).powi(2)).sum(),
            squares_y: both.iter().map(|p| (p.1 - mean_y).powi(2)).sum(),
            products: both.iter().map(|p| (p.0 - mean_x) * (p.1 - mean_y)).sum(),
        }
    }

    fn watts() -> impl Strategy<Value = f64> {
        prop_oneof![6 => 0.0..2000.0_f64, 1 => Just(f64::NAN)]
    }

    /// Mean of x − y.
    fn mean_difference(t: &PairTotals) -> f64 {
        t.mean_x - t.mean_y
    }

    /// Σ(d − mean d)² for d = x − y.
    fn squares_difference(t: &PairTotals) -> f64 {
        (t.squares_x + t.squares_y - 2.0 * t.products).max(0.0)
    }

    proptest! {
        #[test]
        fn any_window_agrees_with_two_passes(
            pairs in prop::collection::vec((watts(), watts()), 1..400),
            a in 0usize..400,
            b in 0usize..400,
        ) {
            let (x, y): (Vec<f64>, Vec<f64>) = pairs.into_iter().unzip();
            let rows = clip(a.min(b)..a.max(b), x.len());
            let fast = PairSums::new(&x, &y).over(&x, &y, rows.clone());
            let slow = two_pass(&x, &y, rows.clone());
            prop_assert_eq!(fast.n, slow.n);
            prop_assert!((fast.mean_x - slow.mean_x).abs() < 1e-9);
            prop_assert!((mean_difference(&fast) - mean_difference(&slow)).abs() < 1e-9);
            let sd = |t: &PairTotals| (squares_difference(t) / t.n.max(2) as f64).sqrt();
            prop_assert!((sd(&fast) - sd(&slow)).abs() < 1e-6);
            let one = ColumnSums::new(&x).over(&x, rows.clone());
            prop_assert_eq!(one.n, x[rows].iter().filter(|v| v.is_finite()).count());
        }
    }

    #[test]
    fn a_day_of_watts_keeps_six_decimals() {
        // A slow wave with a small fast part: large sums whose window differences are small.
        let wave = |i: usize, shift: f64| {
            let t = i as f64;
            250.0 + 150.0 * (t / 900.0).sin() + 3.0 * (t * 1.7 + shift).sin()
        };
        let x: Vec<f64> = (0..86_400).map(|i| wave(i, 0.0)).collect();
        let y: Vec<f64> = (0..86_400).map(|i| wave(i, 0.4)).collect();
        let sums = PairSums::new(&x, &y);
        for rows in [0..86_400, 80_000..86_391, 86_100..86_400, 43_201..43_263] {
            let (fast, slow) = (sums.over(&x, &y, rows.clone()), two_pass(&x, &y, rows));
            let n = fast.n as f64;
            assert!((mean_difference(&fast) - mean_difference(&slow)).abs() < 1e-6);
            let sd = |t: PairTotals| (squares_difference(&t) / (n - 1.0)).sqrt();
            assert!((sd(fast) - sd(slow)).abs() < 1e-6);
        }
    }
}
