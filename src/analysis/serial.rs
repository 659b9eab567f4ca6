//! Confidence limits of a mean of seconds that resemble their neighbours.
//!
//! Successive seconds of a difference between two power meters are not independent: riding,
//! smoothing and drift tie them together, and the textbook limits are then far too narrow (at an
//! autocorrelation of 0.7 they cover 59 % instead of 95 %). How long a device's memory is cannot be
//! read off one short block either, and an interval that pretends it can (one estimated
//! autocorrelation put into an effective number) misses slow drift beside noise in a fifth of the
//! cases at 60 to 120 s.
//!
//! So the memory is not estimated but averaged over. Seconds are averaged in blocks; the block
//! means are taken as first-order autoregressive about a constant, with a correlation time that
//! may be anything from 1 s to the length of the window, every octave as likely as the next. Each
//! such time gives its own Student t for the mean (level unknown: flat; scale: 1/σ), weighed by how
//! well it explains the block means; the limits are where the weighed sum leaves 2.5 % on either
//! side. That prior is the only assumption beyond first order; it is not tuned to any ride.
//!
//! Measured coverage of nominal 95 % limits at 60, 120, 300 s (400 Gaussian series a figure, so to
//! about 1 %), beside the half-width in standard deviations at 300 s: white 100, 100, 99 (0.21);
//! autoregressive 0.7: 99, 99, 99 (0.50); 0.9: 99, 99, 99 (1.1); 0.95: 94, 98, 99; mean over 5 s:
//! 100, 99, 99; half white, half autoregressive 0.95: 95, 97, 99; the same with 0.97: 91, 94, 98.
//! It errs on the wide side where memory is short. A memory longer than the window cannot be seen
//! from inside it.
//!
//! Sources: O'Hagan 1994, Bayesian Inference, ch. 9 (regression with an unknown correlation,
//! from memory); the need for it: Bayley & Hammersley 1946, J R Stat Soc Suppl 8:184.

use std::ops::Range;

use super::stats::{Sample, finite, t_quantile};
use super::student::{Student, falling_to};

/// Blocks are never shorter than this many rows.
const MIN_BLOCK_ROWS: usize = 5;
/// A window is cut into about this many blocks.
const BLOCKS: usize = 12;
/// Fewest block means from which limits are given.
const MIN_BLOCKS: usize = 4;
/// Shortest correlation time considered, rows.
const SHORTEST_MEMORY_ROWS: f64 = 1.0;
/// Correlation times considered, equally spaced in logarithm.
const MEMORIES: usize = 16;
/// Both tails outside 95 %.
const OUTSIDE_95: f64 = 0.05;
/// Both tails outside one standard deviation of a normal.
const OUTSIDE_ONE_SIGMA: f64 = 0.317_310_507_862_914_1;
/// Fewest degrees of freedom: with fewer a standard uncertainty says nothing in a sum of squares.
const MIN_DOF: f64 = 3.0;

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

/// Uncertainty of the mean behind means of blocks of `block_rows` rows in time order; `None` for
/// fewer than four blocks (20 s). Blocks left out for missing seconds are passed over.
///
/// The half-width of the 95 % limits is that of the weighed Student t's (see above). It is handed
/// on as a standard uncertainty and degrees of freedom that reproduce it, the degrees of freedom
/// being those of a Student t whose 95 % and 68.3 % limits stand in the same ratio (at least 3, at
/// most blocks − 1).
pub fn mean_uncertainty(block_means: &[f64], block_rows: usize) -> Option<MeanUncertainty> {
    let sample = Sample::present(block_means.iter().copied()).filter(|s| s.n() >= MIN_BLOCKS)?;
    let most_dof = (sample.n() - 1) as f64;
    // Equal to the last digit but one: rounding, not scatter.
    if sample.sd() <= 1e-12 * sample.mean().abs() {
        return Some(MeanUncertainty {
            standard: 0.0,
            dof: most_dof,
        });
    }
    let mixture = Mixture::of(&sample, block_rows)?;
    let wide = mixture.half_width(OUTSIDE_95)?;
    let narrow = mixture.half_width(OUTSIDE_ONE_SIGMA)?;
    let dof = dof_of_ratio(wide / narrow).clamp(MIN_DOF, most_dof.max(MIN_DOF));
    Some(MeanUncertainty {
        standard: finite(wide / t_quantile(0.975, dof))?,
        dof,
    })
}

/// Student t's about the mean, each with its weight and scale.
struct Mixture {
    student: Student,
    parts: Vec<(f64, f64)>,
}

impl Mixture {
    fn of(sample: &Sample, block_rows: usize) -> Option<Self> {
        let mean = sample.mean();
        let y: Vec<f64> = sample.values().iter().map(|v| v - mean).collect();
        let rows = block_rows.max(1) as f64;
        let window_rows = rows * y.len() as f64;
        let octaves = (window_rows / SHORTEST_MEMORY_ROWS).ln();
        let told: Vec<(f64, f64)> = (0..MEMORIES)
            .map(|i| octaves * i as f64 / (MEMORIES - 1) as f64)
            .map(|log| (-rows / (SHORTEST_MEMORY_ROWS * log.exp())).exp())
            .map(|correlation| explained(&y, correlation))
            .filter(|(log_weight, scale)| log_weight.is_finite() && *scale > 0.0)
            .collect();
        let best = told.iter().map(|(w, _)| *w).reduce(f64::max)?;
        let total: f64 = told.iter().map(|(w, _)| (w - best).exp()).sum();
        let parts = told
            .into_iter()
            .map(|(w, scale)| ((w - best).exp() / total, scale));
        Some(Self {
            student: Student::new((y.len() - 1) as f64)?,
            // A part of the weight 1e-18 cannot move a limit by a digit that is kept.
            parts: parts.filter(|(weight, _)| *weight > 1e-18).collect(),
        })
    }

    /// Half-width that leaves `outside` on both sides together.
    fn half_width(&self, outside: f64) -> Option<f64> {
        let squares = self
            .parts
            .iter()
            .map(|(weight, scale)| weight * scale * scale);
        let start = self.student.half_width(outside) * squares.sum::<f64>().sqrt();
        finite(falling_to(outside, start, |half| {
            let (mut beyond, mut slope) = (0.0, 0.0);
            for (weight, scale) in &self.parts {
                beyond += weight * self.student.outside(half / scale);
                slope += 2.0 * weight * self.student.density(half / scale) / scale;
            }
            (beyond, slope)
        }))
    }
}

/// How well a correlation between neighbouring blocks explains centred block means (the logarithm
/// of its weight, up to a constant), and the scale of the Student t of their plain mean.
///
/// With R(i, j) = ρ^|i − j|, a = 1'R⁻¹1, S the generalised sum of squares about the generalised
/// mean: weight ∝ |R|^(−1/2) a^(−1/2) S^(−(K − 1)/2), scale² = S/(K − 1) · 1'R1/K².
fn explained(y: &[f64], correlation: f64) -> (f64, f64) {
    let k = y.len() as f64;
    let rest = 1.0 - correlation * correlation;
    let innovations = y.windows(2).map(|pair| pair[1] - correlation * pair[0]);
    let (mut sum, mut squares) = (0.0, 0.0);
    for innovation in innovations {
        sum += innovation;
        squares += innovation * innovation;
    }
    let first = y.first().copied().unwrap_or(0.0);
    let information = 1.0 + (k - 1.0) * (1.0 - correlation) / (1.0 + correlation);
    let cross = first + sum / (1.0 + correlation);
    let generalised = first * first + squares / rest - cross * cross / information;
    let log_weight =
        -0.5 * ((k - 1.0) * rest.ln() + information.ln()) - 0.5 * (k - 1.0) * generalised.ln();
    let gap = 1.0 - correlation;
    let spread = (1.0 + correlation) / gap
        - 2.0 * correlation * (1.0 - correlation.powf(k)) / (k * gap * gap);
    (log_weight, (generalised / (k - 1.0) * spread / k).sqrt())
}

/// Ratio of the 95 % to the 68.3 % half-width of Student's t, by degrees of freedom (scipy 1.17.1).
const RATIOS: [(f64, f64); 8] = [
    (2.0, 3.256_43),
    (3.0, 2.658_95),
    (4.0, 2.432_01),
    (6.0, 2.243_70),
    (8.0, 2.162_16),
    (12.0, 2.088_11),
    (20.0, 2.033_83),
    (40.0, 1.995_81),
];

/// Degrees of freedom whose Student t has this ratio, straight between the tabled ones in 1/ν.
fn dof_of_ratio(ratio: f64) -> f64 {
    for pair in RATIOS.windows(2) {
        let [(low, above), (high, below)] = [pair[0], pair[1]];
        if ratio >= above {
            return low;
        }
        if ratio >= below {
            let share = (above - ratio) / (above - below);
            return 1.0 / (1.0 / low + share * (1.0 / high - 1.0 / low));
        }
    }
    RATIOS[RATIOS.len() - 1].0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::vectors::{assert_close, autoregressive_120, lcg};

    #[test]
    fn the_limits_agree_with_an_independent_computation() {
        // tests/oracles/agreement.py (numpy 2.4.6, scipy 1.17.1; matrices instead of recursions):
        // 120 s with autocorrelation 0.7 in blocks of 10 s, and 60 s of white noise in blocks of 5.
        let x = autoregressive_120();
        let sample = Sample::present(x.iter().copied()).unwrap();
        assert_close(sample.mean(), -0.1350741459325, 1e-10);
        assert_close(sample.lag1().unwrap(), 0.6961269756, 1e-9);
        let means = block_means(&x);
        assert_eq!((block_rows(x.len()), means.len()), (10, 12));
        let uncertainty = mean_uncertainty(&means, 10).unwrap();
        assert_close(uncertainty.half_width95(), 0.5513964451570794, 1e-8);
        let white: Vec<f64> = lcg(60).iter().map(|u| u - 0.5).collect();
        let uncertainty = mean_uncertainty(&block_means(&white), 5).unwrap();
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
            let half = mean_uncertainty(&block_means(window), 10)
                .unwrap()
                .half_width95();
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
    fn the_table_of_ratios_is_met_and_interpolated() {
        assert_eq!(dof_of_ratio(9.0), 2.0);
        assert_close(dof_of_ratio(2.43201), 4.0, 1e-9);
        // Student t with 5 degrees of freedom: 2.570582/1.110501 = 2.31479 (scipy 1.17.1).
        assert_close(dof_of_ratio(2.31479), 5.0, 0.02);
        assert_eq!(dof_of_ratio(1.9), 40.0);
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
        assert_eq!(mean_uncertainty(&block_means(&[1.0; 19]), 5), None);
        assert_eq!(mean_uncertainty(&block_means(&[f64::NAN; 300]), 25), None);
        let constant = mean_uncertainty(&block_means(&[4.0; 60]), 5).unwrap();
        assert_eq!(constant.half_width95(), 0.0);
    }
}
