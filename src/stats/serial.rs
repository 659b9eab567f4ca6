//! Blocks of seconds, and the confidence limits of a mean of seconds that resemble their neighbours.
//!
//! Seconds are averaged in blocks; how the blocks make an interval stands in [`super::contrast`], of
//! which a mean is the simplest case. A block is a twelfth of its window, so that its means are
//! nearly free of what ties single seconds together, at least 5 and at most 30 rows: in a long window
//! more blocks of 30 s say more about slow noise than twelve longer ones, and keep the interval from
//! being wider than the noise is.

use std::ops::Range;

use super::contrast::{Block, Fitted, Memory};
pub use super::mixture::MeanUncertainty;

/// Blocks are never shorter than this many rows …
const SHORTEST_BLOCK: usize = 5;
/// … nor longer than this many.
const LONGEST_BLOCK: usize = 60;
/// A window is cut into at least about this many blocks.
const BLOCKS: usize = 12;

/// Rows in a block of a window of `rows` rows.
pub fn block_rows(rows: usize) -> usize {
    (rows / BLOCKS).clamp(SHORTEST_BLOCK, LONGEST_BLOCK)
}

/// The blocks of a window of rows, in order; a remainder shorter than a block is left out.
pub fn blocks(window: Range<usize>) -> impl Iterator<Item = Range<usize>> {
    blocks_of(block_rows(window.len()), window)
}

/// Whole blocks of `length` rows of a window.
fn blocks_of(length: usize, window: Range<usize>) -> impl Iterator<Item = Range<usize>> {
    let count = window.len().checked_div(length).unwrap_or(0);
    (0..count).map(move |k| {
        let start = window.start + k * length;
        start..start + length
    })
}

/// Whether a block with `present` of its `rows` seconds counts: at least half of it is there.
pub fn block_counts(present: usize, rows: usize) -> bool {
    2 * present >= rows
}

/// The whole blocks of `length` rows among `rows` rows of which at least half satisfy `present`,
/// each with its place.
pub fn filled_blocks(
    rows: usize,
    length: usize,
    present: impl Fn(usize) -> bool,
) -> Vec<(usize, Range<usize>)> {
    blocks_of(length, 0..rows)
        .enumerate()
        .filter(|(_, range)| {
            let there = range.clone().filter(|&row| present(row)).count();
            block_counts(there, range.len())
        })
        .collect()
}

/// Uncertainty of the mean of block means, each with its place in time counted in blocks; `None`
/// for fewer than four (20 s). `block_rows` are the rows of a block.
pub fn mean_uncertainty(
    block_means: &[(usize, f64)],
    block_rows: usize,
) -> Option<MeanUncertainty> {
    let blocks: Vec<Block> = block_means
        .iter()
        .map(|&(index, value)| Block {
            index,
            value,
            design: vec![1.0],
        })
        .collect();
    let fitted = Fitted::new(&blocks, 1, Memory::AnyTime { block_rows })?;
    Some(fitted.contrast(&[1.0])?.uncertainty)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::Sample;
    use crate::stats::vectors::{assert_close, autoregressive_120, lcg};

    /// The means of the filled blocks of a series, with their places, and the rows of a block.
    fn block_means(values: &[f64]) -> (Vec<(usize, f64)>, usize) {
        let length = block_rows(values.len());
        let means = filled_blocks(values.len(), length, |row| values[row].is_finite())
            .into_iter()
            .map(|(index, rows)| {
                let there = values[rows].iter().copied().filter(|v| v.is_finite());
                let (sum, n) = there.fold((0.0, 0.0), |(sum, n), v| (sum + v, n + 1.0));
                (index, sum / n)
            })
            .collect();
        (means, length)
    }

    fn uncertainty_of(values: &[f64]) -> Option<MeanUncertainty> {
        let (means, length) = block_means(values);
        mean_uncertainty(&means, length)
    }

    #[test]
    fn the_limits_agree_with_an_independent_computation() {
        // tests/oracles/agreement.py (numpy 2.4.6, scipy 1.17.1; matrices instead of recursions):
        // 120 s with autocorrelation 0.7 in blocks of 10 s, and 60 s of white noise in blocks of 5.
        let x = autoregressive_120();
        let sample = Sample::present(x.iter().copied()).unwrap();
        assert_close(sample.mean(), -0.1350741459325, 1e-10);
        assert_close(sample.lag1().unwrap(), 0.6961269756, 1e-9);
        let (means, length) = block_means(&x);
        assert_eq!((length, means.len()), (10, 12));
        let uncertainty = mean_uncertainty(&means, length).unwrap();
        assert_close(uncertainty.half_width95(), 0.5513964451570794, 1e-8);
        let white: Vec<f64> = lcg(60).iter().map(|u| u - 0.5).collect();
        let uncertainty = uncertainty_of(&white).unwrap();
        assert_close(uncertainty.half_width95(), 0.23337889609763288, 1e-8);
    }

    #[test]
    fn slow_drift_beside_noise_is_covered_and_noise_alone_costs_little() {
        // 300 windows of 120 s: half the variance white, half autoregressive 0.95 (uniform
        // innovations), started long before the window.
        let u = lcg(300 * 800);
        let (mut covered, mut width) = (0, 0.0);
        for ride in u.chunks(800) {
            let mut slow = 0.0;
            let scale = 12.0_f64.sqrt();
            let mut x = Vec::new();
            for pair in ride.chunks(2) {
                slow = 0.95 * slow + (1.0 - 0.95_f64 * 0.95).sqrt() * scale * (pair[0] - 0.5);
                x.push(slow + scale * (pair[1] - 0.5));
            }
            let window = &x[280..];
            let mean = window.iter().sum::<f64>() / 120.0;
            let half = uncertainty_of(window).unwrap().half_width95();
            covered += usize::from(mean.abs() <= half);
            width += half / 300.0;
        }
        // 95 % of 300 is 285; three standard errors are 11.
        assert!(
            (274..=297).contains(&covered),
            "{covered} of 300, mean half-width {width}"
        );
    }

    #[test]
    fn blocks_are_whole_and_inside_the_window() {
        let window = 100..223;
        let blocks: Vec<_> = blocks(window).collect();
        assert_eq!(blocks.len(), 12);
        assert_eq!(
            (blocks[0].clone(), blocks[11].clone()),
            (100..110, 210..220)
        );
        assert_eq!(super::blocks(0..3).count(), 0);
        // An hour has sixty blocks of a minute.
        assert_eq!((block_rows(3600), super::blocks(0..3600).count()), (60, 60));
    }

    #[test]
    fn a_block_with_too_many_missing_seconds_is_left_out() {
        let mut x = vec![1.0; 120];
        x[20..26].fill(f64::NAN);
        x[40..45].fill(f64::NAN);
        let (means, _) = block_means(&x);
        assert_eq!(means.len(), 11);
        // Its place stays empty: time has passed.
        assert_eq!((means[1].0, means[2].0), (1, 3));
    }

    #[test]
    fn too_short_or_missing_gives_none_and_constant_gives_zero() {
        assert_eq!(uncertainty_of(&[1.0; 19]), None);
        assert_eq!(uncertainty_of(&[f64::NAN; 300]), None);
        let constant = uncertainty_of(&[4.0; 60]).unwrap();
        assert_eq!(constant.half_width95(), 0.0);
    }
}
