//! Confidence limits of a mean of seconds that resemble their neighbours.
//!
//! Successive seconds of a difference between two power meters are not independent: riding,
//! smoothing and drift tie them together, and the textbook limits are then far too narrow (at an
//! autocorrelation of 0.7 they cover 59 % instead of 95 %). The way out taken here: average over
//! blocks, so that short memory vanishes inside them; take what remains between blocks as
//! first-order autoregressive; correct its estimate for the bias that short series have; and
//! widen Student's t by the effective number of blocks (after Bayley & Hammersley 1946, J R Stat
//! Soc Suppl 8:184). The coverage was measured by simulation, not derived: close to 95 % from
//! 120 s on; between 60 and 120 s of slow drift plus noise it falls short.

use std::ops::Range;

use super::stats::{Sample, t_quantile};

/// Blocks are never shorter than this many rows.
const MIN_BLOCK_ROWS: usize = 5;
/// A window is cut into about this many blocks.
const BLOCKS: usize = 12;
/// Fewest block means from which the correction can be computed.
const MIN_BLOCKS: usize = 4;
/// Largest autocorrelation between block means that is believed.
const MAX_CORRELATION: f64 = 0.99;

/// Uncertainty of a mean.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeanUncertainty {
    /// Standard uncertainty of the mean, in the unit of the values.
    pub standard: f64,
    /// Its effective degrees of freedom; fractional, at least 1.
    pub dof: f64,
}

impl MeanUncertainty {
    /// Half-width of the 95 % confidence limits.
    pub fn half_width95(self) -> f64 {
        t_quantile(0.975, self.dof) * self.standard
    }
}

/// Rows in a block of a window of `rows` rows.
pub fn block_rows(rows: usize) -> usize {
    (rows / BLOCKS).max(MIN_BLOCK_ROWS)
}

/// The blocks of a window of rows, in order; a remainder shorter than a block is left out.
pub fn blocks(window: Range<usize>) -> impl Iterator<Item = Range<usize>> {
    let length = block_rows(window.len());
    let count = window.len() / length;
    (0..count).map(move |k| {
        let start = window.start + k * length;
        start..start + length
    })
}

/// Whether a block with `present` of its `rows` seconds counts: at least half of it is there.
pub fn block_counts(present: usize, rows: usize) -> bool {
    2 * present >= rows
}

/// The means of those blocks of `values` (`NaN` = missing) of which at least half is present.
pub fn block_means(values: &[f64]) -> Vec<f64> {
    blocks(0..values.len())
        .filter_map(|rows| {
            let block = values.get(rows)?;
            let (n, sum) = block
                .iter()
                .filter(|v| v.is_finite())
                .fold((0, 0.0), |(n, sum), v| (n + 1, sum + v));
            (n > 0 && block_counts(n, block.len())).then(|| sum / n as f64)
        })
        .collect()
}

/// Uncertainty of the mean behind block means in time order; `None` for fewer than four blocks
/// (20 s). Blocks left out for missing seconds are passed over.
///
/// With K means of standard deviation s and lag-1 autocorrelation r: the corrected correlation is
/// r' = (K r + 1)/(K − 3) within [0, 0.99]; τ = (1 + r')/(1 − r') − 2 r'(1 − r'^K)/(K (1 − r')²);
/// the effective number is nₑ = max(K/τ, 2); the standard uncertainty
/// s √((K − 1)/(K (nₑ − 1))) with nₑ − 1 degrees of freedom.
pub fn mean_uncertainty(block_means: &[f64]) -> Option<MeanUncertainty> {
    if block_means.len() < MIN_BLOCKS {
        return None;
    }
    let sample = Sample::present(block_means.iter().copied())?;
    if sample.n() < MIN_BLOCKS {
        return None;
    }
    let k = sample.n() as f64;
    let correlation = sample.lag1().map_or(0.0, |r| (k * r + 1.0) / (k - 3.0));
    let correlation = correlation.clamp(0.0, MAX_CORRELATION);
    let rest = 1.0 - correlation;
    let tau = (1.0 + correlation) / rest
        - 2.0 * correlation * (1.0 - correlation.powf(k)) / (k * rest * rest);
    let effective = (k / tau).max(2.0);
    Some(MeanUncertainty {
        standard: sample.sd() * ((k - 1.0) / (k * (effective - 1.0))).sqrt(),
        dof: effective - 1.0,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::vectors::{assert_close, autoregressive_120};

    #[test]
    fn the_golden_vector_gives_the_published_half_width() {
        // Recomputed beforehand with numpy and scipy: 120 s, autocorrelation 0.7, B = 10, K = 12.
        let x = autoregressive_120();
        let sample = Sample::present(x.iter().copied()).unwrap();
        assert_close(sample.mean(), -0.1350741459325, 1e-10);
        assert_close(sample.sd(), 0.3985226426740, 1e-10);
        assert_close(sample.lag1().unwrap(), 0.6961269756, 1e-9);
        let means = block_means(&x);
        assert_eq!((block_rows(x.len()), means.len()), (10, 12));
        let uncertainty = mean_uncertainty(&means).unwrap();
        assert_close(uncertainty.dof, 3.9436626532, 1e-9);
        assert_close(uncertainty.half_width95(), 0.3586061423, 1e-8);
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
    }

    #[test]
    fn a_block_with_too_many_missing_seconds_is_left_out() {
        let mut x = vec![1.0; 120];
        x[20..26].fill(f64::NAN);
        x[40..45].fill(f64::NAN);
        assert_eq!(block_means(&x).len(), 11);
    }

    #[test]
    fn too_short_or_missing_gives_none_and_constant_gives_zero() {
        assert_eq!(mean_uncertainty(&block_means(&[1.0; 19])), None);
        assert_eq!(mean_uncertainty(&block_means(&[f64::NAN; 300])), None);
        let constant = mean_uncertainty(&block_means(&[4.0; 60])).unwrap();
        assert_eq!(constant.half_width95(), 0.0);
    }
}
