//! The noise between two members of a ride: what is left of their difference once scale and lag are
//! taken out of it, and how it resembles itself.
//!
//! With d = x − y, the noise is `e(t) = d(t) − s y(t) − Σ b_k (y_k(t) − y(t))`, where y_k is y at 2 and 1 s
//! after and 1, 2, 3 s before t, and its means over 4–5, 6–8, 9–13, 14–20 s before: fine where a
//! response is steep, coarse where it dies away.
//!
//! - The second term is the scale of x against y: a rider who wanders is not taken for noise of a
//!   source that reads a constant share too high. s is the ratio of the ride's totals, moved towards
//!   the slope of d on y, which is found with y of 3 s before as instrument (so that the noise of y
//!   does not pass for a slope) and held within ±5 points of the ratio.
//! - The third is the lag of x on y, by least squares with a mean for each piece of the ride. Its
//!   terms are differences of y with itself and have no density at frequency zero: whatever b is, the
//!   long-run variance of e, on which the uncertainty of a mean rests, is that of the difference. What
//!   they leave in the mean of one window comes from its edges; it is known and counts as uncertainty.
//!
//! The pieces are the levels of the ride ([`crate::stats::change_points`]), 10 s after and 2 s before a
//! change left out, cut into equal parts of at most 300 s; seconds in which nobody pedals, a stream
//! drops out or leaves the others are left out. Levels under 60 s in a row are one piece: riding that is
//! held nowhere would fall into fragments that hardly tell slow noise, and leave its intervals wide. The
//! shape of the noise is learnt from the pieces ([`crate::stats::noise`]), whatever is tagged.

use std::ops::Range;

use crate::stats::MeanUncertainty;
use crate::stats::Sample;
use crate::stats::change_points::{pieces, slow_noise_w};
use crate::stats::contrast::{dot, inverse, times};
use crate::stats::noise::{Noise, Stretch};
use crate::stats::{LANES, long_dot};
use crate::timeline::Grid;

/// Length of a block, s.
const BLOCK_S: f64 = 5.0;
/// Share of a block that has to be present.
const PRESENT: f64 = 0.6;
/// Lags of the response, s, from and to; 0 is what they are differences from.
const LAGS_S: [[i32; 2]; LAGS] = [
    [-2, -2],
    [-1, -1],
    [1, 1],
    [2, 2],
    [3, 3],
    [4, 5],
    [6, 8],
    [9, 13],
    [14, 20],
];
const LAGS: usize = 9;
/// Lags at which the squared correlation is looked at, rows.
const SQUARED_LAGS: [usize; 13] = [1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96];
/// How far the slope of the difference may lie from the ratio: a source's error does not change
/// faster with power (common practice, no source).
const SLOPE_SPREAD: f64 = 0.03;
const SLOPE_MOST: f64 = 0.05;
/// Nobody pedals up to this, W.
const IDLE_W: f64 = 10.0;
/// Left out after and before a change of level, s.
const AFTER_CHANGE_S: f64 = 10.0;
const BEFORE_CHANGE_S: f64 = 2.0;
/// Shorter levels are not held; in a row they are one piece, s.
const HELD_S: f64 = 60.0;
/// What is searched for levels at once, s.
const SEARCHED_S: f64 = 1800.0;
/// Longest piece, s.
const LONGEST_PIECE_S: f64 = 300.0;
/// Residuals beyond so many robust standard deviations are no noise …
const OUTLYING: f64 = 6.0;
/// … of so many the response is not fitted to them, nor the shape learnt from them.
const MIN_ROWS: f64 = 60.0;
/// What the pieces have to hold in all, and the longest of them, s, for the shape to be known.
pub(super) const ENOUGH_S: f64 = 600.0;
pub(super) const LONG_ENOUGH_S: f64 = 180.0;

/// The noise of one pair over a ride.
#[derive(Clone, Debug, PartialEq)]
pub struct PairNoise {
    noise: Noise,
    /// e by row, W; NaN where either misses. Single precision: it only tells scatter.
    residuals: Vec<f32>,
    /// What the lag makes of the edges: Σ b_k (y_k(t) − y(t)) by row, W.
    lagging: Vec<f32>,
    share_for_a_variance: f64,
}

/// The pieces of a ride that the noise of its pairs is learnt from: levels of `power`, W.
pub fn level_pieces(power: &[f64], grid: Grid) -> Vec<Range<usize>> {
    let rows_of = |seconds: f64| (seconds / grid.step_s).round() as usize;
    let (after, before) = (rows_of(AFTER_CHANGE_S), rows_of(BEFORE_CHANGE_S));
    let longest = rows_of(LONGEST_PIECE_S).max(1);
    // Of means and half hour by half hour: the search is quadratic in the length of a level.
    let length = block_rows(grid.step_s);
    let means: Vec<f64> = power
        .chunks(length)
        .map(|rows| {
            let present = rows.iter().filter(|w| w.is_finite());
            let (sum, n) = present.fold((0.0, 0.0), |(sum, n), w| (sum + w, n + 1.0));
            sum / n
        })
        .collect();
    let step_s = length as f64 * grid.step_s;
    let slow_noise = slow_noise_w(&means, step_s);
    let at_once = ((SEARCHED_S / step_s) as usize).max(1);
    means
        .chunks(at_once)
        .enumerate()
        .flat_map(|(chunk, means)| {
            let start = chunk * at_once;
            let found = pieces(means, step_s, slow_noise).into_iter();
            let found = found.map(|piece| start + piece.rows.start..start + piece.rows.end);
            restless_joined(found, (HELD_S / step_s) as usize)
        })
        .flat_map(|blocks| {
            let from = blocks.start * length + after;
            let end = (blocks.end * length).min(power.len());
            let to = end.saturating_sub(before).max(from);
            let parts = (to - from).div_ceil(longest);
            (0..parts).map(move |part| {
                let edge = |part: usize| from + (to - from) * part / parts;
                edge(part)..edge(part + 1)
            })
        })
        .collect()
}

/// `levels` in order, those in a row that are shorter than `held` as one.
fn restless_joined(levels: impl Iterator<Item = Range<usize>>, held: usize) -> Vec<Range<usize>> {
    let mut out: Vec<Range<usize>> = Vec::new();
    let mut is_restless = false;
    for level in levels {
        let is_short = level.len() < held;
        match out.last_mut() {
            Some(last) if is_restless && is_short => last.end = level.end,
            _ => out.push(level),
        }
        is_restless = is_short;
    }
    out
}

impl PairNoise {
    /// Learns from two columns of power (NaN: missing or not to be trusted); `calm` tells rows that
    /// belong to no excursion.
    pub fn learn(
        x: &[f64],
        y: &[f64],
        calm: impl Fn(usize) -> bool,
        pieces: &[Range<usize>],
        grid: Grid,
    ) -> Option<Self> {
        let response = Response::new(x, y, grid.step_s);
        let usable = |row: usize| response.terms(row).is_some_and(|t| t.pedalled) && calm(row);
        let mut rows: Vec<Vec<usize>> = pieces
            .iter()
            .map(|piece| piece.clone().filter(|&row| usable(row)).collect())
            .collect();
        let mut sums: Vec<Sums> = rows.iter().map(|piece| response.sums(piece)).collect();
        // The lag is fitted first: to the instrument, what comes late looks like a slope.
        let within = Within::of(&sums);
        let ratio = within.ratio();
        let slope = within.slope(ratio, &within.weights(ratio));
        let weights = within.weights(slope);
        let about_median = |piece: &Vec<usize>| -> Vec<f64> {
            let left = piece
                .iter()
                .map(|&row| response.residual(row, slope, &weights));
            let left: Vec<f64> = left.collect();
            let middle = crate::stats::median_of(left.clone()).unwrap_or(0.0);
            left.into_iter().map(|value| value - middle).collect()
        };
        let left: Vec<Vec<f64>> = rows.iter().map(about_median).collect();
        let spread = Sample::present(left.iter().flatten().copied())?.robust_sd();
        for ((piece, sums), left) in rows.iter_mut().zip(&mut sums).zip(left) {
            let all = piece.len();
            let mut left = left.into_iter();
            piece.retain(|_| left.next().is_some_and(|v| v.abs() <= OUTLYING * spread));
            if piece.len() < all {
                *sums = response.sums(piece);
            }
        }
        let weights = Within::of(&sums).weights(slope);
        let length = x.len().min(y.len());
        let lagging: Vec<f64> = (0..length)
            .map(|row| response.lagging(row, &weights))
            .collect();
        let residuals: Vec<f32> = (0..length)
            .map(|row| (response.beside(row, slope) - lagging[row]) as f32)
            .collect();
        let block_rows = block_rows(grid.step_s);
        let stretches: Vec<Stretch> = rows
            .iter()
            .map(|piece| stretch(piece, &residuals, block_rows))
            .collect();
        let noise = Noise::learn(&stretches, block_rows, grid.step_s)?;
        Some(Self {
            noise,
            share_for_a_variance: 1.0 / squared_correlations(&rows, &residuals),
            residuals,
            lagging: lagging.into_iter().map(|watts| watts as f32).collect(),
        })
    }

    /// What x would have read over the rows of a window beside `y` there, its usual ratio to y and its
    /// lag taken off, W: y and what is left of their difference.
    pub fn without_lag(&self, window: Range<usize>, y: &[f64]) -> Vec<f64> {
        let left = self.residuals.get(window).unwrap_or_default();
        let both = y.iter().zip(left);
        both.map(|(y, left)| y + f64::from(*left)).collect()
    }

    /// Whether the ride held enough to learn the shape from.
    pub fn is_known(&self) -> bool {
        self.noise.pooled_s >= ENOUGH_S && self.noise.longest_s >= LONG_ENOUGH_S
    }

    /// The noise, W, where the ride held enough to learn it from.
    pub fn known(&self) -> Option<&Noise> {
        self.is_known().then_some(&self.noise)
    }

    /// How many independent seconds tell a variance of the difference as well as one of its seconds
    /// does: 1/Σρ² over all lags (Bartlett 1946, from memory).
    pub fn share_for_a_variance(&self) -> f64 {
        self.share_for_a_variance
    }

    /// Uncertainty of the mean difference over the rows of a window, W. `None` for fewer than four
    /// blocks (20 s).
    pub fn mean_w(&self, window: Range<usize>) -> Option<MeanUncertainty> {
        let blocks = self.blocks(window.clone());
        let uncertainty = self.noise.mean(&blocks)?;
        Some(uncertainty.off_by(self.edge_w(window)))
    }

    /// Means of blocks of a window, each with its place.
    fn blocks(&self, window: Range<usize>) -> Stretch {
        let length = self.noise.block_rows();
        let least = (PRESENT * length as f64).ceil();
        let window = window.start..window.end.min(self.residuals.len());
        let count = window.len() / length;
        (0..count)
            .filter_map(|index| {
                let start = window.start + index * length;
                let (mut sum, mut n) = (0.0, 0.0);
                for row in start..start + length {
                    let value = f64::from(self.residuals[row]);
                    if value.is_finite() {
                        sum += value;
                        n += 1.0;
                    }
                }
                (n >= least).then(|| (index, sum / n))
            })
            .collect()
    }

    /// What the lag leaves in the mean of a window, W.
    fn edge_w(&self, window: Range<usize>) -> f64 {
        let window = window.start..window.end.min(self.lagging.len());
        let Some(rows) = self.lagging.get(window) else {
            return 0.0;
        };
        let mut lanes = [[0.0; 2]; LANES];
        for rows in rows.chunks(LANES) {
            for ([sum, n], value) in lanes.iter_mut().zip(rows) {
                let is_there = value.is_finite();
                *sum += if is_there { f64::from(*value) } else { 0.0 };
                *n += f64::from(u8::from(is_there));
            }
        }
        let [sum, n] = [0, 1].map(|of| lanes.iter().map(|lane| lane[of]).sum::<f64>());
        if n > 0.0 { sum / n } else { 0.0 }
    }
}

/// Σρ² over all lags of the residuals of pieces, about a mean of their own each: by trapezoids
/// between the lags that are looked at, what chance makes of a square (1/n) taken off.
fn squared_correlations(pieces: &[Vec<usize>], residuals: &[f32]) -> f64 {
    // Nought where there is nothing: such rows add to no product, and are counted apart.
    let (mut rest, mut there) = (vec![0.0; residuals.len()], vec![0.0; residuals.len()]);
    for piece in pieces {
        let sum: f64 = piece.iter().map(|&row| f64::from(residuals[row])).sum();
        for &row in piece {
            rest[row] = f64::from(residuals[row]) - sum / piece.len() as f64;
            there[row] = 1.0;
        }
    }
    let product = |lag: usize| {
        let with_itself = |column: &[f64]| long_dot(column, column.get(lag..).unwrap_or_default());
        (with_itself(&rest), with_itself(&there))
    };
    let (all, count) = product(0);
    let (mut sum, mut before) = (1.0, (0, 1.0));
    for lag in SQUARED_LAGS {
        let (found, n) = product(lag);
        let correlation = found / n / (all / count);
        let square = (correlation * correlation - 1.0 / n).max(0.0);
        if !square.is_finite() {
            break;
        }
        let (last, height) = before;
        // Both sides; the first lag stands for itself.
        sum += if last == 0 {
            2.0 * square
        } else {
            let width = (lag - last) as f64;
            width * (height + square) - (height - square)
        };
        before = (lag, square);
    }
    sum
}

fn block_rows(step_s: f64) -> usize {
    (BLOCK_S / step_s).round().max(1.0) as usize
}

/// Block means of the rows of a piece.
fn stretch(piece: &[usize], residuals: &[f32], block_rows: usize) -> Stretch {
    let least = (PRESENT * block_rows as f64).ceil() as usize;
    let Some(first) = piece.first() else {
        return Stretch::new();
    };
    piece
        .chunk_by(|a, b| (a - first) / block_rows == (b - first) / block_rows)
        .filter(|rows| rows.len() >= least)
        .map(|rows| {
            let sum: f64 = rows.iter().map(|&row| f64::from(residuals[row])).sum();
            ((rows[0] - first) / block_rows, sum / rows.len() as f64)
        })
        .collect()
}

/// How x follows y.
struct Response<'a> {
    x: &'a [f64],
    y: &'a [f64],
    /// y around each row less y at it, by lag, W; NaN where one misses.
    around: Vec<[f64; LAGS]>,
}

/// One row of the regression.
struct Terms {
    lags: [f64; LAGS],
    pedalled: bool,
}

/// What is summed of a row: the terms of the lags, x − y and y.
const COLUMNS: usize = LAGS + 2;
const DIFFERENCE: usize = LAGS;
const LEVEL: usize = LAGS + 1;
/// The term of the lags that tells y at the age of the instrument.
const INSTRUMENT: usize = 4;

/// Sums over the rows of a piece.
#[derive(Clone, Copy, Default)]
struct Sums {
    n: f64,
    sums: [f64; COLUMNS],
    products: [[f64; COLUMNS]; COLUMNS],
}

/// Sums over all pieces, the products about each piece's own means: scale and lag follow from them
/// without another walk over the ride.
struct Within {
    rows: f64,
    sums: [f64; COLUMNS],
    /// Rows less the means taken off.
    freedom: f64,
    products: [[f64; COLUMNS]; COLUMNS],
}

impl Within {
    fn of(pieces: &[Sums]) -> Self {
        let mut all = Self {
            rows: 0.0,
            sums: [0.0; COLUMNS],
            freedom: 0.0,
            products: [[0.0; COLUMNS]; COLUMNS],
        };
        for piece in pieces.iter().filter(|piece| piece.n > 0.0) {
            all.rows += piece.n;
            all.freedom += piece.n - 1.0;
            for i in 0..COLUMNS {
                all.sums[i] += piece.sums[i];
                for j in 0..COLUMNS {
                    let about_means = piece.sums[i] * piece.sums[j] / piece.n;
                    all.products[i][j] += piece.products[i][j] - about_means;
                }
            }
        }
        all
    }

    /// Sum of the products of two combinations of the columns.
    fn product(&self, a: &[f64; COLUMNS], b: &[f64; COLUMNS]) -> f64 {
        let rows = self.products.iter().map(|row| dot(row, b));
        rows.zip(a).map(|(row, a)| a * row).sum()
    }

    /// Total of the differences over that of y.
    fn ratio(&self) -> f64 {
        let ratio = self.sums[DIFFERENCE] / self.sums[LEVEL];
        if ratio.is_finite() { ratio } else { 0.0 }
    }

    /// s, given the ratio of the totals and the weights of the lags.
    fn slope(&self, ratio: f64, weights: &[f64; LAGS]) -> f64 {
        let mut rest = [0.0; COLUMNS];
        for (rest, weight) in rest.iter_mut().zip(weights) {
            *rest = -weight;
        }
        (rest[DIFFERENCE], rest[LEVEL]) = (1.0, -ratio);
        let (mut level, mut instrument) = ([0.0; COLUMNS], [0.0; COLUMNS]);
        (level[LEVEL], instrument[LEVEL], instrument[INSTRUMENT]) = (1.0, 1.0, 1.0);
        let products = self.product(&rest, &instrument);
        let levels = self.product(&level, &instrument);
        let squares = self.product(&instrument, &instrument);
        let left = self.product(&rest, &rest) / self.freedom;
        // What the slope is beyond the ratio, drawn towards nought as far as it is not known.
        let found = products / levels;
        let variance = left * squares / (levels * levels);
        let kept = SLOPE_SPREAD.powi(2) / (SLOPE_SPREAD.powi(2) + variance);
        let beyond = found * kept;
        ratio
            + if beyond.is_finite() {
                beyond.clamp(-SLOPE_MOST, SLOPE_MOST)
            } else {
                0.0
            }
    }

    /// b, by least squares with a mean for each piece; nought where it cannot be told.
    fn weights(&self, slope: f64) -> [f64; LAGS] {
        let mut out = [0.0; LAGS];
        if self.rows < MIN_ROWS {
            return out;
        }
        let lags = self.products.iter().take(LAGS);
        let gram: Vec<f64> = lags.clone().flat_map(|row| row[..LAGS].to_vec()).collect();
        let products: Vec<f64> = lags
            .map(|row| row[DIFFERENCE] - slope * row[LEVEL])
            .collect();
        if let Some(inverse) = inverse(&gram, LAGS) {
            out.iter_mut()
                .zip(times(&inverse, &products))
                .for_each(|(out, weight)| *out = weight);
        }
        out
    }
}

/// Means of `y` over the rows that lie so many before each, first to last, less y there; NaN where one
/// misses.
fn around(y: &[f64], lags: [[isize; 2]; LAGS]) -> Vec<[f64; LAGS]> {
    let (mut sums, mut missing) = (vec![0.0], vec![0_u32]);
    let (mut sum, mut gone) = (0.0, 0);
    for value in y {
        sum += if value.is_finite() { *value } else { 0.0 };
        gone += u32::from(!value.is_finite());
        sums.push(sum);
        missing.push(gone);
    }
    let mean = |row: usize, [first, last]: [isize; 2]| {
        let from = row.checked_add_signed(-last)?;
        let to = row.checked_add_signed(1 - first)?;
        let whole = missing.get(to)? == missing.get(from)?;
        whole.then(|| (sums[to] - sums[from]) / (to - from) as f64)
    };
    let slowly = |row: usize, here: f64| {
        lags.map(|ends| mean(row, ends).map_or(f64::NAN, |level| level - here))
    };
    let (ahead, behind) = lags.iter().fold((0, 0), |(ahead, behind), [first, last]| {
        (ahead.max(-first), behind.max(*last))
    });
    let (ahead, behind) = (ahead.unsigned_abs(), behind.unsigned_abs());
    let rows = y.iter().enumerate();
    rows.map(|(row, here)| {
        let (Some(before), Some(after)) = (row.checked_sub(behind), missing.get(row + ahead + 1))
        else {
            return slowly(row, *here);
        };
        if *after != missing[before] {
            return slowly(row, *here);
        }
        // All neighbours are there.
        lags.map(|[first, last]| {
            let (from, to) = (
                row.wrapping_add_signed(-last),
                row.wrapping_add_signed(1 - first),
            );
            (sums[to] - sums[from]) / (1 + last - first) as f64 - here
        })
    })
    .collect()
}

impl<'a> Response<'a> {
    fn new(x: &'a [f64], y: &'a [f64], step_s: f64) -> Self {
        let lags = LAGS_S.map(|ends| ends.map(|lag| (f64::from(lag) / step_s).round() as isize));
        Self {
            x,
            y,
            around: around(y, lags),
        }
    }

    fn at(&self, row: usize, lag: isize) -> f64 {
        let there = row.checked_add_signed(-lag).and_then(|row| self.y.get(row));
        there.copied().unwrap_or(f64::NAN)
    }

    fn difference(&self, row: usize) -> f64 {
        let value = |column: &[f64]| column.get(row).copied().unwrap_or(f64::NAN);
        value(self.x) - value(self.y)
    }

    /// The terms of a row whose neighbours are all there.
    fn terms(&self, row: usize) -> Option<Terms> {
        let lags = *self.around.get(row)?;
        let least = lags.iter().fold(0.0_f64, |least, lag| least.min(*lag)) + self.at(row, 0);
        if lags.iter().any(|lag| lag.is_nan()) {
            return None;
        }
        self.difference(row).is_finite().then_some(Terms {
            lags,
            pedalled: least > IDLE_W,
        })
    }

    /// Sums of a piece whose rows all have terms.
    fn sums(&self, piece: &[usize]) -> Sums {
        let mut out = Sums::default();
        for &row in piece {
            let Some(terms) = self.terms(row) else {
                continue;
            };
            let mut values = [0.0; COLUMNS];
            values[..LAGS].copy_from_slice(&terms.lags);
            (values[DIFFERENCE], values[LEVEL]) = (self.difference(row), self.at(row, 0));
            out.n += 1.0;
            for i in 0..COLUMNS {
                out.sums[i] += values[i];
                for j in 0..COLUMNS {
                    out.products[i][j] += values[i] * values[j];
                }
            }
        }
        out
    }

    /// Σ b_k (y_k(t) − y(t)); a neighbour that misses counts as y(t).
    fn lagging(&self, row: usize, weights: &[f64; LAGS]) -> f64 {
        let here = self.around.get(row).into_iter().flatten();
        let terms = here.zip(weights).filter(|(lag, _)| lag.is_finite());
        terms.map(|(lag, weight)| weight * lag).sum()
    }

    /// The difference without what the scale makes of it.
    fn beside(&self, row: usize, slope: f64) -> f64 {
        self.difference(row) - slope * self.at(row, 0)
    }

    fn residual(&self, row: usize, slope: f64, weights: &[f64; LAGS]) -> f64 {
        self.beside(row, slope) - self.lagging(row, weights)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::vectors::lcg;

    const GRID_ROWS: usize = 3000;

    fn grid() -> Grid {
        Grid {
            start_s: 0.0,
            step_s: 1.0,
            len: GRID_ROWS,
        }
    }

    /// First-order noise of innovations ±½.
    fn noise(keep: f64, from: usize) -> Vec<f64> {
        let mut state = 0.0;
        let u = lcg(from + GRID_ROWS);
        let innovations = u[from..].iter();
        innovations
            .map(|u| {
                state = keep * state + u - 0.5;
                state
            })
            .collect()
    }

    /// Held levels of five minutes.
    fn levels() -> Vec<f64> {
        (0..GRID_ROWS)
            .map(|t| [180.0, 240.0, 150.0, 300.0][t / 300 % 4])
            .collect()
    }

    fn learnt(x: &[f64], y: &[f64]) -> PairNoise {
        let pieces = level_pieces(y, grid());
        PairNoise::learn(x, y, |_| true, &pieces, grid()).unwrap()
    }

    #[test]
    fn riding_that_is_held_nowhere_is_one_piece_between_levels() {
        let power: Vec<f64> = (0..1200)
            .map(|t| match t {
                400..800 => [150.0, 260.0, 190.0, 310.0][t / 25 % 4],
                _ => 200.0,
            })
            .collect();
        let grid = Grid {
            len: 1200,
            ..grid()
        };
        let found = level_pieces(&power, grid);
        assert_eq!(found[2..4], [410..604, 604..798], "{found:?}");
        assert_eq!(
            restless_joined([0..9, 9..20, 20..40, 40..45].into_iter(), 12),
            [0..20, 20..40, 40..45]
        );
    }

    #[test]
    fn scale_and_lag_are_no_noise() {
        let (ridden, e) = (levels(), noise(0.0, 0));
        let slow_noise: Vec<f64> = noise(0.9, 7000).iter().map(|w| 12.0 * w).collect();
        let y: Vec<f64> = ridden.iter().zip(&slow_noise).map(|(p, w)| p + w).collect();
        let mut state = y[0];
        let lagged: Vec<f64> = y
            .iter()
            .map(|y| {
                state += (y - state) / 2.5;
                state
            })
            .collect();
        let x: Vec<f64> = lagged.iter().zip(&e).map(|(p, e)| 1.03 * p + e).collect();
        let with = learnt(&x, &y);
        let alone: Vec<f64> = y.iter().zip(&e).map(|(y, e)| y + e).collect();
        let without = learnt(&alone, &y);
        assert!(with.is_known());
        // Both know a block as well as ± 1.96 √(1/12/240).
        for pair in [with, without] {
            let blocks = pair.blocks(320..560);
            let half = pair.noise.mean(&blocks).unwrap().half_width95();
            let textbook = 1.96 * (1.0 / 12.0 / 240.0_f64).sqrt();
            assert!(
                (0.8..1.6).contains(&(half / textbook)),
                "{}",
                half / textbook
            );
        }
    }

    #[test]
    fn what_the_lag_leaves_at_the_edges_of_a_window_counts() {
        let slow_noise = noise(0.9, 7000);
        let ridden = levels().into_iter().zip(slow_noise);
        let y: Vec<f64> = ridden.map(|(p, w)| p + 3.0 * w).collect();
        let e = noise(0.0, 0);
        let x: Vec<f64> = (0..GRID_ROWS)
            .map(|t| y[t.saturating_sub(2)] + e[t])
            .collect();
        let wide = |rows: Range<usize>| learnt(&x, &y).mean_w(rows).unwrap().half_width95();
        // 60 W more, shown 2 s late: 120 W s in 120 s.
        assert!(wide(270..390) > 0.9);
        assert!(wide(320..440) < 0.2);
    }

    #[test]
    fn a_variance_costs_less_than_a_mean() {
        // First order at 0.7: Σρ² = (1 + 0.49)/(1 − 0.49) = 2.92.
        let y = levels();
        let x: Vec<f64> = y.iter().zip(noise(0.7, 0)).map(|(y, e)| y + e).collect();
        let share = learnt(&x, &y).share_for_a_variance();
        assert!((share * 1.49 / 0.51 - 1.0).abs() < 0.15, "{share}");
        let x: Vec<f64> = y.iter().zip(noise(0.0, 0)).map(|(y, e)| y + e).collect();
        assert!(learnt(&x, &y).share_for_a_variance() > 0.9);
    }

    #[test]
    fn a_short_ride_does_not_pretend_to_know() {
        let y = vec![200.0; 200];
        let x: Vec<f64> = y.iter().zip(noise(0.0, 0)).map(|(y, e)| y + e).collect();
        let grid = Grid { len: 200, ..grid() };
        let pieces = level_pieces(&y, grid);
        let short = PairNoise::learn(&x, &y, |_| true, &pieces, grid).unwrap();
        assert!(!short.is_known());
        assert!(PairNoise::learn(&y, &y, |_| true, &pieces, grid).is_none());
        assert!(PairNoise::learn(&[], &[], |_| true, &[], grid).is_none());
    }
}
