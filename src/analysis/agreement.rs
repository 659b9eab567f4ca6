//! How a source under test agrees with a reference: trueness and scatter of their differences.
//!
//! Everything here follows from the [`Moments`] of a window and of its blocks, so that the figures
//! of a window of any length cost a dozen look-ups in prefix sums while the brush moves.

mod figures;

use std::ops::Range;

use crate::stats::Interval;
use crate::stats::serial::{self, MeanUncertainty};
use crate::stats::{both_present, finite, finite_interval, t_quantile};
pub use crate::timeline::PERCENT_FROM_W;
use crate::timeline::PairTotals;

pub use figures::{Agreement, FIGURES, LevelLine, Ratio};

/// Standard deviations between bias and limit of agreement for 95 %.
pub const LOA95_MULTIPLIER: f64 = 1.96;

/// Share of the spread below which a variance is rounding error.
const ROUNDING: f64 = 1e-12;

/// Count, means and centred sums of products of pairs (x, y); x is the source under test, y the
/// reference.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Moments {
    /// Pairs with both values present.
    pub n: usize,
    /// Mean of x.
    pub mean_x: f64,
    /// Mean of y.
    pub mean_y: f64,
    /// Σ (x − x̄)².
    pub sxx: f64,
    /// Σ (y − ȳ)².
    pub syy: f64,
    /// Σ (x − x̄)(y − ȳ).
    pub sxy: f64,
}

impl Moments {
    /// Moments of the pairs in which both values are present (two passes).
    pub fn of(x: &[f64], y: &[f64]) -> Self {
        let (x, y) = both_present(x, y);
        let n = x.len();
        if n == 0 {
            return Self::default();
        }
        let mean_x = x.iter().sum::<f64>() / n as f64;
        let mean_y = y.iter().sum::<f64>() / n as f64;
        let mut moments = Self {
            n,
            mean_x,
            mean_y,
            ..Self::default()
        };
        for (x, y) in x.iter().zip(&y) {
            let (dx, dy) = (x - mean_x, y - mean_y);
            moments.sxx += dx * dx;
            moments.syy += dy * dy;
            moments.sxy += dx * dy;
        }
        moments
    }

    /// These pairs without those of `part` (which must be among them).
    pub fn without(&self, part: &Self) -> Self {
        if part.n >= self.n {
            return Self::default();
        }
        let (n, m) = (self.n as f64, part.n as f64);
        let rest = n - m;
        let mean_x = (n * self.mean_x - m * part.mean_x) / rest;
        let mean_y = (n * self.mean_y - m * part.mean_y) / rest;
        let weight = m * rest / n;
        let (dx, dy) = (part.mean_x - mean_x, part.mean_y - mean_y);
        Self {
            n: self.n - part.n,
            mean_x,
            mean_y,
            sxx: (self.sxx - part.sxx - weight * dx * dx).max(0.0),
            syy: (self.syy - part.syy - weight * dy * dy).max(0.0),
            sxy: self.sxy - part.sxy - weight * dx * dy,
        }
    }

    /// Mean of x − y; `None` without pairs.
    pub fn bias(&self) -> Option<f64> {
        (self.n > 0).then_some(self.mean_x - self.mean_y)
    }

    /// Mean of x − y in % of the mean of y; `None` where that mean is below [`PERCENT_FROM_W`].
    pub fn bias_percent(&self) -> Option<f64> {
        (self.mean_y >= PERCENT_FROM_W)
            .then(|| 100.0 * self.bias().map_or(f64::NAN, |bias| bias / self.mean_y))
            .and_then(finite)
    }

    /// Σ of squared deviations of x − y from their mean.
    fn sdd(&self) -> f64 {
        let squares = self.sxx + self.syy - 2.0 * self.sxy;
        if squares <= ROUNDING * (self.sxx + self.syy) {
            0.0
        } else {
            squares
        }
    }

    /// Standard deviation of x − y, divisor n − 1; `None` for fewer than two pairs.
    pub fn sd_difference(&self) -> Option<f64> {
        (self.n > 1).then(|| (self.sdd() / (self.n - 1) as f64).sqrt())
    }

    /// √ of the mean of (x − y)²; `None` without pairs.
    pub fn rmse(&self) -> Option<f64> {
        let bias = self.bias()?;
        finite((self.sdd() / self.n as f64 + bias * bias).sqrt())
    }

    /// Pearson's correlation; `None` for fewer than two pairs or where either side is constant.
    pub fn pearson_r(&self) -> Option<f64> {
        if !(self.n > 1 && self.varies()) {
            return None;
        }
        finite(self.sxy / (self.sxx * self.syy).sqrt()).map(|r| r.clamp(-1.0, 1.0))
    }

    /// Lin's concordance correlation, 2 Sxy/(Sxx + Syy + n (x̄ − ȳ)²) (Lin 1989, Biometrics
    /// 45:255, with 1/n moments); `None` for fewer than two pairs or where either side is
    /// constant.
    pub fn ccc(&self) -> Option<f64> {
        if !(self.n > 1 && self.varies()) {
            return None;
        }
        let bias = self.bias()?;
        finite(2.0 * self.sxy / (self.sxx + self.syy + self.n as f64 * bias * bias))
    }

    /// Whether both sides move by more than rounding.
    fn varies(&self) -> bool {
        let n = self.n as f64;
        self.sxx > ROUNDING * n * self.mean_x * self.mean_x
            && self.syy > ROUNDING * n * self.mean_y * self.mean_y
    }

    /// The errors-in-variables line x = intercept + slope · y (Deming 1943; `error_ratio` is the
    /// variance of the errors of x over that of y). `None` where either side is constant or the
    /// two are uncorrelated.
    fn deming(&self, error_ratio: f64) -> Option<DemingLine> {
        if !(self.n > 1 && self.varies()) || self.sxy == 0.0 {
            return None;
        }
        let difference = self.sxx - error_ratio * self.syy;
        let root = (difference * difference + 4.0 * error_ratio * self.sxy * self.sxy).sqrt();
        let slope = finite((difference + root) / (2.0 * self.sxy))?;
        Some(DemingLine {
            slope,
            intercept: finite(self.mean_x - slope * self.mean_y)?,
        })
    }
}

impl From<PairTotals> for Moments {
    fn from(totals: PairTotals) -> Self {
        Self {
            n: totals.n,
            mean_x: totals.mean_x,
            mean_y: totals.mean_y,
            sxx: totals.squares_x,
            syy: totals.squares_y,
            sxy: totals.products,
        }
    }
}

/// A line that admits errors on both sides.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DemingLine {
    /// Rise of x per unit of y.
    pub slope: f64,
    /// x where y is 0.
    pub intercept: f64,
}

/// Limits of agreement with the standard error by which each is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Bias − multiplier · SD.
    pub lower: f64,
    /// Bias + multiplier · SD.
    pub upper: f64,
    /// Standard error of either limit.
    pub standard_error: f64,
    /// Degrees of freedom of that error.
    pub dof: f64,
}

impl Limits {
    /// Limits of agreement (Bland & Altman 1986, Lancet 327:307) of differences with this bias and
    /// SD; the standard error is that of 1999 (Stat Methods Med Res 8:135),
    /// s √(1/n + m²/(2 (n − 1))), with `n` the number of independent differences (> 1; fractional
    /// for an effective number) and m the multiplier. `None` for n ≤ 1.
    pub fn new(bias: f64, sd: f64, n: f64, multiplier: f64) -> Option<Self> {
        Self::known_by(bias, sd / n.sqrt(), sd, n, multiplier)
    }

    /// As [`Self::new`], where the bias is known by its own standard uncertainty and the SD as well
    /// as from `n` independent differences: serial correlation costs a mean more than a variance.
    fn known_by(bias: f64, bias_standard: f64, sd: f64, n: f64, multiplier: f64) -> Option<Self> {
        (n > 1.0).then(|| Self {
            lower: bias - multiplier * sd,
            upper: bias + multiplier * sd,
            standard_error: bias_standard.hypot(multiplier * sd / (2.0 * (n - 1.0)).sqrt()),
            dof: n - 1.0,
        })
    }

    /// 95 % confidence limits of the lower and of the upper limit.
    pub fn ci95(&self) -> [Interval; 2] {
        let half = t_quantile(0.975, self.dof) * self.standard_error;
        [self.lower, self.upper].map(|limit| [limit - half, limit + half])
    }
}

/// A source under test against a reference over one window.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// Moments of the window.
    pub moments: Moments,
    /// What the noise of the pair over the ride says of this window's mean.
    learnt: Option<Learnt>,
    /// Moments of the blocks behind both, each with its place in time.
    blocks: Vec<(usize, Moments)>,
    /// Rows of a block.
    block_rows: usize,
}

/// Uncertainty of a window's mean difference from the noise learnt over the ride.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Learnt {
    /// Uncertainty of the mean difference, W.
    pub uncertainty_w: MeanUncertainty,
    /// Share of the seconds that a variance of the difference is worth, 0 to 1.
    pub share_for_a_variance: f64,
    /// Whether the ride was long enough to learn from.
    pub is_known: bool,
}

/// Compares over a window of rows; `totals` gives the moments of any range of rows inside it.
pub fn compare(window: Range<usize>, totals: impl Fn(Range<usize>) -> Moments) -> Comparison {
    let moments = totals(window.clone());
    let block_rows = serial::block_rows(window.len());
    let blocks: Vec<(usize, Moments)> = serial::blocks(window)
        .enumerate()
        .filter_map(|(index, rows)| {
            let length = rows.len();
            let block = totals(rows);
            serial::block_counts(block.n, length).then_some((index, block))
        })
        .collect();
    Comparison::of(moments, blocks, block_rows)
}

/// A figure of every block, with the block's place.
fn each(blocks: &[(usize, Moments)], figure: impl Fn(&Moments) -> f64) -> Vec<(usize, f64)> {
    let blocks = blocks.iter();
    blocks
        .map(|(index, block)| (*index, figure(block)))
        .collect()
}

/// Compares two columns (`NaN` = missing) of one window.
pub fn compare_slices(x: &[f64], y: &[f64]) -> Comparison {
    let length = x.len().min(y.len());
    compare(0..length, |rows| match (x.get(rows.clone()), y.get(rows)) {
        (Some(x), Some(y)) => Moments::of(x, y),
        _ => Moments::default(),
    })
}

/// Compares two columns over `rows` of them, in order of time. Blocks hold equally many of these rows
/// and keep their place in time: what lies between visits counts as time passed, not as neighbours.
pub fn compare_rows(x: &[f64], y: &[f64], rows: &[usize]) -> Comparison {
    let moments = |rows: &[usize]| {
        let of = |column: &[f64]| -> Vec<f64> {
            let values = rows.iter().map(|row| column.get(*row).copied());
            values.map(|value| value.unwrap_or(f64::NAN)).collect()
        };
        Moments::of(&of(x), &of(y))
    };
    let block_rows = serial::block_rows(rows.len());
    let blocks: Vec<(usize, Moments)> = rows
        .chunks_exact(block_rows)
        .map(|chunk| {
            let middle = chunk.iter().sum::<usize>() / chunk.len();
            (middle / block_rows, moments(chunk))
        })
        .filter(|(_, block)| serial::block_counts(block.n, block_rows))
        .collect();
    Comparison::of(moments(rows), blocks, block_rows)
}

impl Comparison {
    fn of(moments: Moments, blocks: Vec<(usize, Moments)>, block_rows: usize) -> Self {
        Self {
            moments,
            learnt: None,
            blocks,
            block_rows,
        }
    }

    /// With what the ride says of the noise.
    pub fn with_noise(self, learnt: Option<Learnt>) -> Self {
        Self { learnt, ..self }
    }

    /// Whether the noise behind the intervals was learnt from enough of a ride.
    pub fn noise_is_known(&self) -> bool {
        self.learnt.is_some_and(|learnt| learnt.is_known)
    }

    /// Uncertainty of the bias in W, from the noise over the ride; from the window alone where none
    /// was learnt, and the wider of both where the ride was too short to learn from. `None` under
    /// four blocks (20 s).
    pub fn uncertainty_w(&self) -> Option<MeanUncertainty> {
        self.wider(|block| block.mean_x - block.mean_y)
    }

    /// The learnt uncertainty, or that of the blocks' residuals.
    fn wider(&self, residual: impl Fn(&Moments) -> f64) -> Option<MeanUncertainty> {
        let learnt = self.learnt.map(|learnt| learnt.uncertainty_w);
        if self.learnt.is_some_and(|learnt| learnt.is_known) {
            return learnt;
        }
        let own = serial::mean_uncertainty(&each(&self.blocks, residual), self.block_rows);
        match (learnt, own) {
            (Some(a), Some(b)) if a.half_width95() > b.half_width95() => Some(a),
            (learnt, own) => own.or(learnt),
        }
    }

    /// Whether every block of x stands to y in the same ratio but for rounding: one is a copy.
    pub fn is_copied(&self) -> bool {
        let m = &self.moments;
        let ratio = m.mean_x / m.mean_y;
        let off = |block: &Moments| {
            if ratio.is_finite() {
                block.mean_x - ratio * block.mean_y
            } else {
                block.mean_x - block.mean_y
            }
        };
        const ROUNDING: f64 = 1e-9;
        !self.blocks.is_empty() && self.blocks.iter().all(|(_, b)| off(b).abs() <= ROUNDING)
    }

    /// Uncertainty of the bias in % of the reference mean; `None` where there is no such
    /// percentage or the window is too short. Found when asked for: references are compared
    /// with each other for every window, and need no percentage.
    ///
    /// The ratio of two means: its linear residuals d − R y carry its scatter (Cochran 1977,
    /// Sampling Techniques, ch. 6), so that a rider who wanders is not taken for noise.
    pub fn uncertainty_percent(&self) -> Option<MeanUncertainty> {
        let ratio = self.moments.bias_percent()? / 100.0;
        let residual = |block: &Moments| block.mean_x - block.mean_y - ratio * block.mean_y;
        let residuals = self.wider(residual)?;
        Some(MeanUncertainty {
            standard: 100.0 * residuals.standard / self.moments.mean_y,
            dof: residuals.dof,
        })
    }

    /// Number of independent seconds whose mean would be as uncertain as the bias is: variance of
    /// the differences over the squared standard uncertainty of their mean, at most n. `None`
    /// where the interval cannot be told or the difference is constant.
    pub fn n_effective(&self) -> Option<f64> {
        let standard = self.uncertainty_w()?.standard;
        let sd = self.moments.sd_difference()?;
        (standard > 0.0 && sd > 0.0)
            .then(|| (sd / standard).powi(2).min(self.moments.n as f64))
            .and_then(finite)
    }

    /// Half-width of the 95 % confidence limits of any smooth figure of the moments by the
    /// delete-one-block jackknife (Tukey 1958; Künsch 1989, Ann Stat 17:1217), the pseudo-values
    /// taken like block means. It needs neither normal nor independent seconds.
    fn jackknife_half95(&self, figure: impl Fn(&Moments) -> Option<f64>) -> Option<f64> {
        let whole = figure(&self.moments)?;
        let k = self.blocks.len() as f64;
        let pseudo: Option<Vec<(usize, f64)>> = self
            .blocks
            .iter()
            .map(|(index, block)| {
                let rest = figure(&self.moments.without(block))?;
                Some((*index, k * whole - (k - 1.0) * rest))
            })
            .collect();
        finite(serial::mean_uncertainty(&pseudo?, self.block_rows)?.half_width95())
    }

    /// 95 % confidence limits of the concordance by the jackknife on Fisher's z.
    pub fn ccc_ci95(&self) -> Option<Interval> {
        let z = |moments: &Moments| moments.ccc().map(f64::atanh).and_then(finite);
        let (centre, half) = (z(&self.moments)?, self.jackknife_half95(z)?);
        finite_interval([(centre - half).tanh(), (centre + half).tanh()])
    }

    /// How the reading follows the level, with equal errors on both sides and limits by the
    /// jackknife. Meant for a whole ride: a block at one power has no slope to tell.
    pub fn level_line(&self, under_test: &str, reference: &str) -> LevelLine {
        let slope = |m: &Moments| m.deming(1.0).map(|line| line.slope);
        let intercept = |m: &Moments| m.deming(1.0).map(|line| line.intercept);
        let limits = |figure: &dyn Fn(&Moments) -> Option<f64>| {
            let (centre, half) = (figure(&self.moments)?, self.jackknife_half95(figure)?);
            finite_interval([centre - half, centre + half])
        };
        LevelLine {
            under_test: under_test.to_owned(),
            reference: reference.to_owned(),
            n: self.moments.n,
            slope: slope(&self.moments),
            slope_ci95: limits(&slope),
            intercept_w: intercept(&self.moments),
            intercept_ci95_w: limits(&intercept),
        }
    }

    /// Limits of agreement with their confidence limits. How well the standard deviation behind them
    /// is known follows from n/Σρ² seconds, with the shape learnt over the ride; where none was
    /// learnt, from [`Self::n_effective`], which errs on the wide side.
    pub fn limits95(&self) -> Option<Limits> {
        let (bias, sd) = (self.moments.bias()?, self.moments.sd_difference()?);
        let learnt = self.learnt.map(|learnt| learnt.share_for_a_variance);
        let seconds = match learnt {
            Some(share) => share * self.moments.n as f64,
            None => self.n_effective()?,
        };
        let standard = self.uncertainty_w()?.standard;
        Limits::known_by(bias, standard, sd, seconds, LOA95_MULTIPLIER)
    }

    /// The figures, between the streams of these labels; those of the ratio are left out
    /// ([`super::ratio`]).
    pub fn figures(&self, under_test: &str, reference: &str) -> Agreement {
        let moments = &self.moments;
        let around = |centre: Option<f64>, uncertainty: Option<MeanUncertainty>| {
            let (centre, half) = (centre?, uncertainty?.half_width95());
            finite_interval([centre - half, centre + half])
        };
        let bias_w = moments.bias().and_then(finite);
        let bias_percent = moments.bias_percent();
        let loa95_w = bias_w.zip(moments.sd_difference()).and_then(|(bias, sd)| {
            let half = LOA95_MULTIPLIER * sd;
            finite_interval([bias - half, bias + half])
        });
        let loa_ci = self.limits95().map(|limits| limits.ci95());
        Agreement {
            under_test: under_test.to_owned(),
            reference: reference.to_owned(),
            n: moments.n,
            n_effective: self.n_effective(),
            reference_mean_w: (moments.n > 0).then_some(moments.mean_y).and_then(finite),
            bias_w,
            bias_percent,
            bias_ci95_w: around(bias_w, self.uncertainty_w()),
            bias_ci95_percent: around(bias_percent, self.uncertainty_percent()),
            sd_diff_w: moments.sd_difference().and_then(finite),
            loa95_w,
            loa95_lower_ci95_w: loa_ci.and_then(|[lower, _]| finite_interval(lower)),
            loa95_upper_ci95_w: loa_ci.and_then(|[_, upper]| finite_interval(upper)),
            rmse_w: moments.rmse(),
            ccc: moments.ccc(),
            ccc_ci95: self.ccc_ci95(),
            pearson_r: moments.pearson_r(),
            ratio: None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::normal_quantile;
    use crate::stats::vectors::{self, assert_close};
    use crate::timeline::PairSums;

    fn peak_flow() -> Moments {
        Moments::of(vectors::WRIGHT1, vectors::MINI1)
    }

    /// The standard error in the rounded form of 1986, s √(3/n).
    fn standard_error_1986(sd: f64, n: f64) -> f64 {
        sd * (3.0 / n).sqrt()
    }

    /// Asymptotic variance of Lin's concordance for independent pairs.
    fn lin_variance(moments: &Moments, ccc: f64, r: f64) -> Option<f64> {
        let n = moments.n as f64;
        let bias = moments.bias()?;
        let u2 = n * bias * bias / (moments.sxx * moments.syy).sqrt();
        let (c2, r2) = (ccc * ccc, r * r);
        let variance = ((1.0 - r2) * c2 * (1.0 - c2) / r2 + 2.0 * ccc * c2 * (1.0 - ccc) * u2 / r
            - 0.5 * c2 * c2 * u2 * u2 / r2)
            / (n - 2.0);
        finite(variance).filter(|v| *v > 0.0)
    }

    /// 95 % confidence limits of Lin's concordance for `n` independent pairs, by Fisher's z (Lin 1989,
    /// variance as corrected in Biometrics 2000;56:324, with n − 2). `None` for fewer than three
    /// pairs, a constant side or perfect concordance.
    fn lin_ci95(moments: &Moments) -> Option<Interval> {
        let (ccc, r) = (moments.ccc()?, moments.pearson_r()?);
        let n = moments.n as f64;
        let variance = lin_variance(moments, ccc, r)?;
        let se_z = variance.sqrt() / (1.0 - ccc * ccc);
        let half = normal_quantile(0.975) * se_z;
        (n > 2.0)
            .then(|| [(ccc.atanh() - half).tanh(), (ccc.atanh() + half).tanh()])
            .and_then(finite_interval)
    }

    #[test]
    fn bland_altman_1986_to_the_printed_digits() {
        // Bland & Altman, Lancet 1986;327:307: bias -2.1, SD 38.8 (from memory), limits -79.7 and
        // 75.5 with rounded inputs; unrounded values recomputed beforehand with numpy.
        let m = peak_flow();
        let (bias, sd, n) = (m.bias().unwrap(), m.sd_difference().unwrap(), 17.0);
        assert_close(bias, -2.1176470588, 1e-10);
        assert_close(sd, 38.7651298736, 1e-10);
        let two = Limits::new(bias, sd, n, 2.0).unwrap();
        assert_close(two.lower, -79.6479068, 1e-8);
        assert_close(two.upper, 75.4126127, 1e-8);
        let usual = Limits::new(bias, sd, n, LOA95_MULTIPLIER).unwrap();
        assert_close(usual.lower, -78.0973016, 1e-8);
        assert_close(usual.upper, 73.8620075, 1e-8);
        assert_close(usual.standard_error, 16.3951080, 1e-8);
        assert_close(standard_error_1986(sd, n), 16.2846118, 1e-8);
        let exact = Limits::new(bias, sd, n, normal_quantile(0.975)).unwrap();
        assert_close(exact.lower, -78.0959055, 1e-8);
        assert_close(exact.upper, 73.8606114, 1e-8);
    }

    #[test]
    fn confidence_limits_of_a_limit_of_agreement_in_the_form_of_1986() {
        // As above: lower limit -114.3..-45.1 as printed from rounded inputs; unrounded recomputed.
        let half = t_quantile(0.975, 16.0) * standard_error_1986(38.7651298736, 17.0);
        assert_close(-79.6479068 - half, -114.1697, 1e-6);
        assert_close(-79.6479068 + half, -45.1261, 1e-6);
        assert_close(75.4126127 - half, 40.8908, 1e-6);
        assert_close(75.4126127 + half, 109.9344, 1e-6);
    }

    #[test]
    fn bland_altman_1986_means_of_two_blows() {
        // As above: SD 33.2 (from memory); unrounded recomputed beforehand.
        let mean = |a: &[f64], b: &[f64]| -> Vec<f64> {
            a.iter().zip(b).map(|(a, b)| 0.5 * (a + b)).collect()
        };
        let x = mean(vectors::WRIGHT1, vectors::WRIGHT2);
        let y = mean(vectors::MINI1, vectors::MINI2);
        let m = Moments::of(&x, &y);
        assert_close(m.bias().unwrap(), -6.0294118, 1e-7);
        assert_close(m.sd_difference().unwrap(), 33.2041, 1e-5);
    }

    #[test]
    fn lin_1989_concordance_with_the_corrected_variance() {
        // Lin, Biometrics 1989;45:255 and 2000;56:324 on the peak flows: recomputed beforehand with
        // numpy from the formula; no published output confirms the interval.
        let m = peak_flow();
        assert_close(m.ccc().unwrap(), 0.9427424314, 1e-10);
        assert_close(m.pearson_r().unwrap(), 0.9432794469, 1e-10);
        let variance = lin_variance(&m, m.ccc().unwrap(), m.pearson_r().unwrap()).unwrap();
        assert_close(variance.sqrt(), 0.0286167375, 1e-8);
        let [lower, upper] = lin_ci95(&m).unwrap();
        assert_close(lower, 0.8504918721, 1e-8);
        assert_close(upper, 0.9787262793, 1e-8);
    }

    #[test]
    fn the_errors_in_variables_line_agrees_with_an_orthogonal_distance_fit() {
        // scipy 1.17.1, scipy.odr on the arsenate values with constant errors, ratios 1 and 2.
        let m = Moments::of(vectors::ARSENATE_AES, vectors::ARSENATE_AAS);
        for (ratio, slope, intercept) in
            [(1.0, 0.87594814, 0.42939942), (2.0, 0.86432927, 0.47199039)]
        {
            let line = m.deming(ratio).unwrap();
            assert_close(line.slope, slope, 1e-7);
            assert_close(line.intercept, intercept, 1e-6);
        }
        assert_eq!(Moments::of(&[5.0; 9], &[4.0; 9]).deming(1.0), None);
    }

    #[test]
    fn totals_and_slices_give_the_same_moments() {
        let (x, y) = (vectors::WRIGHT1, vectors::MINI1);
        let m = Moments::from(PairSums::new(x, y).over(x, y, 0..17));
        let direct = peak_flow();
        assert_close(m.sxx, direct.sxx, 1e-12);
        assert_close(m.sxy, direct.sxy, 1e-12);
        assert_close(m.rmse().unwrap(), direct.rmse().unwrap(), 1e-12);
    }

    #[test]
    fn taking_a_part_away_leaves_the_moments_of_the_rest() {
        let (x, y) = (vectors::WRIGHT1, vectors::MINI1);
        let rest = peak_flow().without(&Moments::of(&x[..5], &y[..5]));
        let direct = Moments::of(&x[5..], &y[5..]);
        assert_eq!(rest.n, direct.n);
        assert_close(rest.mean_x, direct.mean_x, 1e-12);
        assert_close(rest.sxx, direct.sxx, 1e-12);
        assert_close(rest.sxy, direct.sxy, 1e-12);
        assert_eq!(direct.without(&direct), Moments::default());
    }

    #[test]
    fn the_golden_vector_keeps_its_interval_through_the_comparison() {
        // As in the serial module: x as difference against a constant reference of 200 W.
        let d = vectors::autoregressive_120();
        let x: Vec<f64> = d.iter().map(|d| 200.0 + d).collect();
        let figures = compare_slices(&x, &[200.0; 120]).figures("trainer", "pedals");
        let [lower, upper] = figures.bias_ci95_w.unwrap();
        assert_close(0.5 * (upper - lower), 0.5513964451570794, 1e-8);
        assert_close(figures.bias_w.unwrap(), -0.1350741459325, 1e-9);
        let [lower, upper] = figures.bias_ci95_percent.unwrap();
        assert_close(0.5 * (upper - lower), 0.5 * 0.5513964451570794, 1e-8);
    }

    #[test]
    fn a_scale_error_on_a_wandering_rider_is_certain_in_percent() {
        let y: Vec<f64> = (0..240)
            .map(|t| 200.0 + 80.0 * (t as f64 / 40.0).sin())
            .collect();
        let x: Vec<f64> = y.iter().map(|y| 1.03 * y).collect();
        let figures = compare_slices(&x, &y).figures("trainer", "pedals");
        let [lower, upper] = figures.bias_ci95_percent.unwrap();
        assert_close(figures.bias_percent.unwrap(), 3.0, 1e-9);
        assert!(upper - lower < 1e-9);
        assert!(figures.bias_ci95_w.unwrap()[1] - figures.bias_w.unwrap() > 0.1);
    }

    #[test]
    fn a_tiny_reference_mean_has_watts_but_no_percent() {
        let x = [7.0, 8.0, 6.0, 7.5].repeat(20);
        let figures = compare_slices(&x, &[0.0; 80]).figures("trainer", "pedals");
        assert_eq!(
            (figures.bias_percent, figures.bias_ci95_percent),
            (None, None)
        );
        assert_eq!((figures.ccc, figures.pearson_r), (None, None));
        assert_close(figures.bias_w.unwrap(), 7.125, 1e-12);
    }

    #[test]
    fn one_pair_none_and_constants_never_give_a_number_that_is_none() {
        let nan = f64::NAN;
        let one = compare_slices(&[nan, 250.0, nan], &[240.0, 245.0, nan]).figures("a", "b");
        assert_eq!(
            (one.n, one.bias_w, one.sd_diff_w, one.loa95_w),
            (1, Some(5.0), None, None)
        );
        let none = compare_slices(&[nan; 90], &[200.0; 90]).figures("a", "b");
        assert_eq!(
            (none.n, none.bias_w, none.rmse_w, none.bias_ci95_w),
            (0, None, None, None)
        );
        let constant = compare_slices(&[253.0; 90], &[250.0; 90]).figures("a", "b");
        assert_eq!(constant.bias_ci95_w, Some([3.0, 3.0]));
        assert_eq!(
            (constant.sd_diff_w, constant.n_effective),
            (Some(0.0), None)
        );
        assert_eq!((constant.ccc, constant.rmse_w), (None, Some(3.0)));
    }

    #[test]
    fn the_effective_number_is_near_n_for_white_noise_and_below_for_slow_change() {
        let noise: Vec<f64> = vectors::lcg(600).iter().map(|u| 250.0 + 10.0 * u).collect();
        let white = compare_slices(&noise, &[250.0; 600]).n_effective().unwrap();
        assert!(white > 60.0, "{white}");
        let slow: Vec<f64> = (0..600).map(|t| 250.0 + (t as f64 / 90.0).sin()).collect();
        let slow = compare_slices(&slow, &[250.0; 600]).n_effective().unwrap();
        assert!(slow < 10.0, "{slow}");
    }

    #[test]
    fn concordance_of_a_long_ride_has_limits_around_it() {
        let y: Vec<f64> = vectors::lcg(900)
            .iter()
            .map(|u| 150.0 + 200.0 * u)
            .collect();
        let noise = vectors::lcg(1800);
        let x: Vec<f64> = y
            .iter()
            .zip(&noise[900..])
            .map(|(y, u)| y + 40.0 * (u - 0.5))
            .collect();
        let figures = compare_slices(&x, &y).figures("a", "b");
        let [lower, upper] = figures.ccc_ci95.unwrap();
        let ccc = figures.ccc.unwrap();
        assert!(lower < ccc && ccc < upper && upper < 1.0);
        // Independent pairs: the published interval is a yardstick for the jackknife's width.
        let [a, b] = lin_ci95(&Moments::of(&x, &y)).unwrap();
        assert!((upper - lower) / (b - a) > 0.5 && (upper - lower) / (b - a) < 4.0);
    }
}
