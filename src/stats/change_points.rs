//! Change points of a power column: the pieces, each a straight line, that a ride is made of.
//!
//! Optimal partitioning with pruning (Killick, Fearnhead & Eckley 2012, JASA 107:1590, from
//! memory): of all ways to cut the rows, the one with the least sum of squared residuals about a
//! line a piece, plus a price a piece. The price follows the noise: three parameters a piece times
//! the logarithm of the number of pieces that could be, times the long-run variance, so that the
//! slow wander of a rider buys no piece of its own. The long-run variance comes from the robust
//! spread of successive 10 s means, with a floor of 2 W (common practice, no source): smaller wander
//! than that is of no interest to a tester.

use super::Sample;

/// A straight piece of a column.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// The rows.
    pub rows: std::ops::Range<usize>,
    /// Level of the line at the first row, W.
    pub first_w: f64,
    /// Level of the line at the last row, W.
    pub last_w: f64,
}

impl Piece {
    /// Mean level, W.
    pub fn level_w(&self) -> f64 {
        0.5 * (self.first_w + self.last_w)
    }

    /// Change of level along the piece, W.
    pub fn rise_w(&self) -> f64 {
        self.last_w - self.first_w
    }
}

/// Length of the means that tell the long-run variance, s.
const NOISE_BLOCK_S: f64 = 10.0;
/// Their least spread, W.
const NOISE_FLOOR_W: f64 = 2.0;
/// No piece is shorter than this many present rows.
const SHORTEST: usize = 3;

/// Cuts a column (NaN: missing) into straight pieces, in order. `slow_noise_w` is the spread of its 10 s
/// means ([`slow_noise_w`]), best taken over the whole ride: steps in a short stretch blow it up. Missing rows belong to no fit and
/// are spanned by the piece around them. Fewer than six rows present make no piece.
pub fn pieces(column: &[f64], step_s: f64, slow_noise_w: f64) -> Vec<Piece> {
    let rows: Vec<usize> = (0..column.len())
        .filter(|&row| column[row].is_finite())
        .collect();
    if rows.len() < 2 * SHORTEST {
        return Vec::new();
    }
    let sums = LineSums::new(column, &rows);
    let price = price(column.len(), step_s, slow_noise_w);
    partition(&sums, price)
        .into_iter()
        .map(|(from, to)| {
            let (first_w, last_w) = sums.ends(from, to);
            Piece {
                rows: rows[from]..rows[to - 1] + 1,
                first_w,
                last_w,
            }
        })
        .collect()
}

/// Spread of successive 10 s means about each other, as the standard deviation of one, W.
pub fn slow_noise_w(column: &[f64], step_s: f64) -> f64 {
    let length = (NOISE_BLOCK_S / step_s).round().max(1.0) as usize;
    let means: Vec<f64> = column
        .chunks_exact(length)
        .map(|chunk| chunk.iter().sum::<f64>() / length as f64)
        .collect();
    let steps = means.windows(2).map(|pair| pair[1] - pair[0]);
    let spread = Sample::present(steps).map_or(0.0, |steps| steps.robust_sd());
    (spread / std::f64::consts::SQRT_2).max(NOISE_FLOOR_W)
}

fn price(rows: usize, step_s: f64, slow_noise_w: f64) -> f64 {
    let block = (NOISE_BLOCK_S / step_s).round().max(1.0);
    let places = (rows as f64 / block).max(3.0);
    3.0 * places.ln() * block * slow_noise_w.powi(2)
}

/// Cheapest cut, as ranges of places among the present rows.
fn partition(sums: &LineSums, price: f64) -> Vec<(usize, usize)> {
    let n = sums.len();
    let mut cost = vec![f64::INFINITY; n + 1];
    let mut back = vec![0; n + 1];
    cost[0] = 0.0;
    let mut candidates: Vec<usize> = vec![0];
    for to in SHORTEST..=n {
        let mut best = f64::INFINITY;
        for &from in &candidates {
            let here = cost[from] + sums.residual(from, to) + price;
            if here < best {
                best = here;
                back[to] = from;
            }
        }
        cost[to] = best;
        candidates.retain(|&from| cost[from] + sums.residual(from, to) <= best);
        // The next row may begin its piece here at the latest.
        let opens = to + 1 - SHORTEST;
        if opens >= SHORTEST {
            candidates.push(opens);
        }
    }
    let mut out = Vec::new();
    let mut to = n;
    while to > 0 {
        out.push((back[to], to));
        to = back[to];
    }
    out.reverse();
    out
}

/// Running sums that give the residual sum of squares about a line in constant time. Times and
/// values are counted from their middle, which keeps the digits.
struct LineSums {
    t: Vec<f64>,
    t0: f64,
    y0: f64,
    sums: Vec<[f64; 5]>,
}

impl LineSums {
    fn new(column: &[f64], rows: &[usize]) -> Self {
        let t: Vec<f64> = rows.iter().map(|&row| row as f64).collect();
        let n = rows.len() as f64;
        let t0 = t.iter().sum::<f64>() / n;
        let y0 = rows.iter().map(|&row| column[row]).sum::<f64>() / n;
        let mut sums = vec![[0.0; 5]];
        let mut total = [0.0; 5];
        for &row in rows {
            let (t, y) = (row as f64 - t0, column[row] - y0);
            for (sum, term) in total.iter_mut().zip([t, y, t * t, t * y, y * y]) {
                *sum += term;
            }
            sums.push(total);
        }
        Self { t, t0, y0, sums }
    }

    fn len(&self) -> usize {
        self.t.len()
    }

    /// Mean time, mean value, Σ(t−t̄)², Σ(t−t̄)(y−ȳ), Σ(y−ȳ)² over places `from..to`.
    fn moments(&self, from: usize, to: usize) -> [f64; 5] {
        let n = (to - from) as f64;
        let over = |k: usize| self.sums[to][k] - self.sums[from][k];
        let (t, y) = (over(0) / n, over(1) / n);
        [
            t,
            y,
            over(2) - n * t * t,
            over(3) - n * t * y,
            (over(4) - n * y * y).max(0.0),
        ]
    }

    fn residual(&self, from: usize, to: usize) -> f64 {
        let [_, _, tt, ty, yy] = self.moments(from, to);
        if tt > 0.0 {
            (yy - ty * ty / tt).max(0.0)
        } else {
            yy
        }
    }

    /// The line's level at the first and at the last place.
    fn ends(&self, from: usize, to: usize) -> (f64, f64) {
        let [t, y, tt, ty, _] = self.moments(from, to);
        let slope = if tt > 0.0 { ty / tt } else { 0.0 };
        let at = |index: usize| self.y0 + y + slope * (self.t[index] - self.t0 - t);
        (at(from), at(to - 1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pieces(column: &[f64], step_s: f64) -> Vec<Piece> {
        super::pieces(column, step_s, slow_noise_w(column, step_s))
    }

    fn noise(i: usize) -> f64 {
        ((i * 7919 + 13) % 17) as f64 - 8.0
    }

    #[test]
    fn steps_and_a_ramp_are_cut_where_they_are() {
        let mut column: Vec<f64> = (0..120).map(|i| 150.0 + noise(i)).collect();
        column.extend((120..240).map(|i| 250.0 + noise(i)));
        column.extend((240..360).map(|i| 250.0 + (i - 240) as f64 + noise(i)));
        column.extend((360..480).map(|i| 180.0 + noise(i)));
        let found = pieces(&column, 1.0);
        let cuts: Vec<usize> = found.iter().map(|piece| piece.rows.start).collect();
        assert_eq!(cuts.len(), 4, "{found:?}");
        for (cut, expected) in cuts.iter().zip([0, 120, 240, 360]) {
            assert!(cut.abs_diff(expected) <= 6, "{cuts:?}");
        }
        assert!((found[0].level_w() - 150.0).abs() < 2.0);
        assert!((found[2].rise_w() - 119.0).abs() < 8.0, "{found:?}");
    }

    #[test]
    fn a_sprint_is_its_own_short_piece() {
        let mut column: Vec<f64> = (0..300).map(|i| 200.0 + noise(i)).collect();
        for (i, value) in column[150..160].iter_mut().enumerate() {
            *value = 800.0 + 10.0 * i as f64;
        }
        let found = pieces(&column, 1.0);
        assert_eq!(found.len(), 3, "{found:?}");
        assert_eq!(found[1].rows, 150..160);
    }

    #[test]
    fn wander_of_a_rider_buys_no_piece() {
        let column: Vec<f64> = (0..1200)
            .map(|i| 220.0 + 4.0 * (i as f64 / 11.0).sin() + noise(i))
            .collect();
        assert_eq!(pieces(&column, 1.0).len(), 1);
    }

    #[test]
    fn missing_rows_are_spanned_and_too_few_make_nothing() {
        let mut column = vec![200.0; 100];
        column[40..60].fill(f64::NAN);
        let found = pieces(&column, 1.0);
        assert_eq!((found.len(), found[0].rows.clone()), (1, 0..100));
        assert_eq!(pieces(&[f64::NAN; 50], 1.0), vec![]);
        assert_eq!(pieces(&[], 1.0), vec![]);
        assert_eq!(pieces(&[200.0], 1.0), vec![]);
        assert_eq!(pieces(&[0.0; 50], 1.0).len(), 1);
    }
}
