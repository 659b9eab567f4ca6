//! Elementary statistics that the figures are made of.
//!
//! A [`Sample`] is checked once (finite, at least two values), so that everything computed from it
//! is total: no statistic of a sample has to ask again whether it can be told.

use statrs::distribution::{ChiSquared, ContinuousCDF, FisherSnedecor, Normal, StudentsT};

use super::student::Student;

/// At least two finite values, in time order.
#[derive(Clone, Debug, PartialEq)]
pub struct Sample {
    values: Vec<f64>,
}

impl Sample {
    /// The values present, `NaN` meaning missing; `None` if fewer than two remain. An infinite
    /// value counts as missing too.
    pub fn present(values: impl IntoIterator<Item = f64>) -> Option<Self> {
        let values: Vec<f64> = values.into_iter().filter(|v| v.is_finite()).collect();
        (values.len() >= 2).then_some(Self { values })
    }

    /// The values.
    pub fn values(&self) -> &[f64] {
        &self.values
    }

    /// How many values; at least 2.
    pub fn n(&self) -> usize {
        self.values.len()
    }

    /// Arithmetic mean, summed about the first value so that a large common level costs no digits.
    pub fn mean(&self) -> f64 {
        let first = self.values[0];
        let n = self.n() as f64;
        let rough = first + self.values.iter().map(|v| v - first).sum::<f64>() / n;
        rough + self.values.iter().map(|v| v - rough).sum::<f64>() / n
    }

    /// Sum of squared deviations from the mean, with the correction term of the two-pass method
    /// (Chan, Golub & LeVeque 1983, American Statistician 37:242).
    fn sum_of_squares(&self) -> f64 {
        let mean = self.mean();
        let (squares, rest) = self.values.iter().fold((0.0, 0.0), |(squares, rest), v| {
            let d = v - mean;
            (squares + d * d, rest + d)
        });
        (squares - rest * rest / self.n() as f64).max(0.0)
    }

    /// Variance with divisor n − 1.
    pub fn variance(&self) -> f64 {
        self.sum_of_squares() / (self.n() - 1) as f64
    }

    /// Standard deviation with divisor n − 1.
    pub fn sd(&self) -> f64 {
        self.variance().sqrt()
    }

    /// Lag-1 autocorrelation, Σ (vᵢ − v̄)(vᵢ₊₁ − v̄) / Σ (vᵢ − v̄)²; `None` for a constant sample.
    pub fn lag1(&self) -> Option<f64> {
        let mean = self.mean();
        let squares = self.sum_of_squares();
        let products: f64 = self
            .values
            .windows(2)
            .map(|pair| (pair[0] - mean) * (pair[1] - mean))
            .sum();
        (squares > 0.0).then(|| products / squares)
    }

    /// Median.
    pub fn median(&self) -> f64 {
        median_of(self.values.clone()).unwrap_or_else(|| self.mean())
    }

    /// Spread that outliers cannot move: 1.4826 × median absolute deviation from the median, which
    /// equals the standard deviation for normal values (Hampel 1974, JASA 69:383).
    pub fn robust_sd(&self) -> f64 {
        let centre = self.median();
        let deviations = self.values.iter().map(|v| (v - centre).abs()).collect();
        median_of(deviations).map_or(0.0, |deviation| 1.482_602_218_505_602 * deviation)
    }
}

/// Values summed side by side: additions that wait for one another are what a long sum costs.
pub(crate) const LANES: usize = 8;

/// Sum of the products of two columns, as far as both reach.
pub(crate) fn long_dot(a: &[f64], b: &[f64]) -> f64 {
    let length = a.len().min(b.len());
    let (a, rest_a) = a[..length].as_chunks::<LANES>();
    let (b, rest_b) = b[..length].as_chunks::<LANES>();
    let mut lanes = [0.0; LANES];
    for (a, b) in a.iter().zip(b) {
        for lane in 0..LANES {
            lanes[lane] += a[lane] * b[lane];
        }
    }
    let rest = rest_a.iter().zip(rest_b).map(|(a, b)| a * b);
    rest.sum::<f64>() + lanes.iter().sum::<f64>()
}

/// Number, mean, spread and maximum of a column in two passes and without a copy of it; the same
/// as of a [`Sample`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Summary {
    /// How many values there are.
    pub n: usize,
    mean: f64,
    squares: f64,
    max: f64,
}

impl Summary {
    /// Of the finite ones of `values`.
    pub fn of(values: &[f64]) -> Self {
        let first = values.iter().copied().find(|v| v.is_finite());
        let first = first.unwrap_or(0.0);
        let (n, sum, _, max) = Self::about(first, values);
        let rough = first + sum / n;
        // The correction term of the two-pass method, as in `Sample::sum_of_squares`.
        let (_, rest, squares, _) = Self::about(rough, values);
        Self {
            n: n as usize,
            mean: rough + rest / n,
            squares: (squares - rest * rest / n).max(0.0),
            max,
        }
    }

    /// Number, sum and sum of squares about a centre, and maximum.
    fn about(centre: f64, values: &[f64]) -> (f64, f64, f64, f64) {
        let mut n = [0.0; LANES];
        let mut sum = [0.0; LANES];
        let mut squares = [0.0; LANES];
        let mut max = [f64::NEG_INFINITY; LANES];
        let (eights, rest) = values.as_chunks::<LANES>();
        let mut last = [f64::NAN; LANES];
        last[..rest.len()].copy_from_slice(rest);
        for eight in eights.iter().chain(std::iter::once(&last)) {
            for lane in 0..LANES {
                let value = eight[lane];
                let is_there = value.is_finite();
                let d = if is_there { value - centre } else { 0.0 };
                n[lane] += if is_there { 1.0 } else { 0.0 };
                sum[lane] += d;
                squares[lane] += d * d;
                let higher = is_there && value > max[lane];
                max[lane] = if higher { value } else { max[lane] };
            }
        }
        let all = |lanes: [f64; LANES]| lanes.iter().sum::<f64>();
        let max = max.into_iter().fold(f64::NEG_INFINITY, f64::max);
        (all(n), all(sum), all(squares), max)
    }

    /// Mean; `None` without values.
    pub fn mean(&self) -> Option<f64> {
        finite(self.mean)
    }

    /// Largest value; `None` without values.
    pub fn max(&self) -> Option<f64> {
        finite(self.max)
    }

    /// Standard deviation with divisor n − 1; `None` for fewer than two values.
    pub fn sd(&self) -> Option<f64> {
        (self.n >= 2)
            .then(|| (self.squares / (self.n - 1) as f64).sqrt())
            .and_then(finite)
    }
}

/// Median of finite values; `None` where there are none.
pub fn median_of(mut values: Vec<f64>) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let middle = values.len() / 2;
    let even = values.len().is_multiple_of(2);
    let (below, upper, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    let upper = *upper;
    if !even {
        return Some(upper);
    }
    let lower = below.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    Some(0.5 * (lower + upper))
}

/// A straight line fitted by ordinary least squares, y = intercept + slope · x.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Value at x = 0.
    pub intercept: f64,
    /// Rise per unit of x.
    pub slope: f64,
    /// Standard error of the intercept for independent residuals; `None` for two points.
    pub intercept_se: Option<f64>,
    /// Standard error of the slope for independent residuals; `None` for two points.
    pub slope_se: Option<f64>,
    /// Standard deviation of the residuals, divisor n − 2; `None` for two points.
    pub residual_sd: Option<f64>,
    /// Share of the variance explained; `None` for constant y.
    pub r_squared: Option<f64>,
}

impl Line {
    /// The line through the pairs in which both values are present; `None` for fewer than two
    /// pairs or constant x.
    pub fn fit(x: &[f64], y: &[f64]) -> Option<Self> {
        let (x, y) = both_present(x, y);
        let sample_x = Sample::present(x.iter().copied())?;
        let sample_y = Sample::present(y.iter().copied())?;
        let (mean_x, mean_y) = (sample_x.mean(), sample_y.mean());
        let (sxx, syy) = (sample_x.sum_of_squares(), sample_y.sum_of_squares());
        if sxx <= 0.0 {
            return None;
        }
        let sxy: f64 = x
            .iter()
            .zip(&y)
            .map(|(x, y)| (x - mean_x) * (y - mean_y))
            .sum();
        let slope = sxy / sxx;
        let intercept = mean_y - slope * mean_x;
        let residuals: f64 = x
            .iter()
            .zip(&y)
            .map(|(x, y)| (y - mean_y - slope * (x - mean_x)).powi(2))
            .sum();
        let n = x.len() as f64;
        let residual_sd = (x.len() > 2).then(|| (residuals / (n - 2.0)).sqrt());
        Some(Self {
            intercept,
            slope,
            slope_se: residual_sd.map(|sd| sd / sxx.sqrt()),
            intercept_se: residual_sd.map(|sd| sd * (1.0 / n + mean_x * mean_x / sxx).sqrt()),
            residual_sd,
            r_squared: (syy > 0.0).then(|| 1.0 - residuals / syy),
        })
    }

    /// The line's value at `x`.
    pub fn at(&self, x: f64) -> f64 {
        self.intercept + self.slope * x
    }
}

/// The pairs in which both values are finite. Slices of different length are paired up to the
/// shorter one.
pub fn both_present(x: &[f64], y: &[f64]) -> (Vec<f64>, Vec<f64>) {
    x.iter()
        .zip(y)
        .filter(|(x, y)| x.is_finite() && y.is_finite())
        .map(|(x, y)| (*x, *y))
        .unzip()
}

/// `value` if it is finite: the gate through which every result passes.
pub fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

/// An interval, if both ends are finite.
pub fn finite_interval(interval: [f64; 2]) -> Option<[f64; 2]> {
    interval
        .iter()
        .all(|end| end.is_finite())
        .then_some(interval)
}

/// Degrees of freedom from which on Student's t is taken as normal.
const NORMAL_FROM_DOF: f64 = 1e6;

/// P(T ≤ t) for Student's t with `dof` degrees of freedom (fractional ones too; infinite means
/// normal). `NaN` for dof ≤ 0.
pub fn t_cdf(t: f64, dof: f64) -> f64 {
    if dof >= NORMAL_FROM_DOF {
        return normal_cdf(t);
    }
    StudentsT::new(0.0, 1.0, dof).map_or(f64::NAN, |d| d.cdf(t))
}

/// The value below which Student's t with `dof` degrees of freedom falls with probability `p`.
/// `NaN` for dof ≤ 0 or p outside (0, 1).
pub fn t_quantile(p: f64, dof: f64) -> f64 {
    if !(p > 0.0 && p < 1.0) {
        return f64::NAN;
    }
    if dof >= NORMAL_FROM_DOF {
        return normal_quantile(p);
    }
    let (outside, sign) = if p < 0.5 {
        (2.0 * p, -1.0)
    } else {
        (2.0 * (1.0 - p), 1.0)
    };
    Student::new(dof).map_or(f64::NAN, |student| sign * student.half_width(outside))
}

/// Φ(z), the standard normal distribution function.
pub fn normal_cdf(z: f64) -> f64 {
    Normal::standard().cdf(z)
}

/// Φ⁻¹(p). `NaN` for p outside (0, 1).
pub fn normal_quantile(p: f64) -> f64 {
    if p > 0.0 && p < 1.0 {
        Normal::standard().inverse_cdf(p)
    } else {
        f64::NAN
    }
}

/// Quantile of χ² with `dof` degrees of freedom. `NaN` for dof ≤ 0 or p outside (0, 1).
pub fn chi_squared_quantile(p: f64, dof: f64) -> f64 {
    match ChiSquared::new(dof) {
        Ok(d) if p > 0.0 && p < 1.0 => d.inverse_cdf(p),
        _ => f64::NAN,
    }
}

/// Probability that χ² with `dof` degrees of freedom exceeds `value`. `NaN` for dof ≤ 0.
pub fn chi_squared_beyond(value: f64, dof: f64) -> f64 {
    ChiSquared::new(dof).map_or(f64::NAN, |d| d.sf(value))
}

/// Quantile of F with `dof1` and `dof2` degrees of freedom. `NaN` outside the domain.
pub fn f_quantile(p: f64, dof1: f64, dof2: f64) -> f64 {
    match FisherSnedecor::new(dof1, dof2) {
        Ok(d) if p > 0.0 && p < 1.0 => d.inverse_cdf(p),
        _ => f64::NAN,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_summary_is_that_of_the_sample(
            values in prop::collection::vec(
                prop_oneof![6 => 0.0..2000.0_f64, 1 => Just(f64::NAN)], 0..400),
        ) {
            let summary = Summary::of(&values);
            let present: Vec<f64> = values.iter().copied().filter(|v| v.is_finite()).collect();
            prop_assert_eq!(summary.n, present.len());
            prop_assert_eq!(summary.max(), present.iter().copied().reduce(f64::max));
            match Sample::present(values) {
                Some(sample) => {
                    prop_assert!((summary.mean().unwrap() - sample.mean()).abs() < 1e-9);
                    prop_assert!((summary.sd().unwrap() - sample.sd()).abs() < 1e-9);
                }
                None => {
                    prop_assert_eq!(summary.mean(), present.first().copied());
                    prop_assert_eq!(summary.sd(), None);
                }
            }
        }
    }
    use crate::stats::vectors::{self, assert_close};

    #[test]
    fn nist_univariate_sets_to_their_certified_digits() {
        // NIST StRD, univariate summary statistics: mean, SD, lag-1 (published certified values).
        type Set = (&'static [f64], f64, f64, f64, f64);
        let sets: [Set; 3] = [
            (
                vectors::LEW,
                -177.435,
                277.332168044316,
                -0.307304800605679,
                1e-13,
            ),
            (
                vectors::MAVRO,
                2.001856,
                0.000429123454003053,
                0.937989183438248,
                1e-12,
            ),
            (
                vectors::MICHELSON,
                299.8524,
                0.0790105478190518,
                0.535199668621283,
                1e-12,
            ),
        ];
        for (values, mean, sd, lag1, tolerance) in sets {
            let sample = Sample::present(values.iter().copied()).unwrap();
            assert_close(sample.mean(), mean, tolerance);
            assert_close(sample.sd(), sd, tolerance);
            assert_close(sample.lag1().unwrap(), lag1, tolerance);
        }
    }

    #[test]
    fn nist_accuracy_sets_keep_their_digits_on_a_high_level() {
        // NIST StRD NumAcc1, 3, 4: generated as described there.
        let one = Sample::present([10000001.0, 10000003.0, 10000002.0]).unwrap();
        assert_eq!(
            (one.mean(), one.sd(), one.lag1()),
            (10000002.0, 1.0, Some(-0.5))
        );
        // NumAcc2 (from memory): the same about 1.2.
        for (base, tolerance) in [(1.2, 1e-14), (1000000.2, 1e-9), (10000000.2, 1e-8)] {
            let values = (0..1001).map(|i| match i {
                0 => base,
                i if i % 2 == 1 => base - 0.1,
                _ => base + 0.1,
            });
            let sample = Sample::present(values).unwrap();
            assert_close(sample.mean(), base, 1e-15);
            assert_close(sample.sd(), 0.1, tolerance);
            assert_close(sample.lag1().unwrap(), -0.999, tolerance);
        }
    }

    #[test]
    fn norris_line_to_its_certified_digits() {
        // NIST StRD linear regression, Norris.
        let line = Line::fit(vectors::NORRIS_X, vectors::NORRIS_Y).unwrap();
        assert_close(line.intercept, -0.262323073774029, 1e-10);
        assert_close(line.slope, 1.00211681802045, 1e-10);
        assert_close(line.intercept_se.unwrap(), 0.232818234301152, 1e-10);
        assert_close(line.slope_se.unwrap(), 4.29796848199937e-4, 1e-10);
        assert_close(line.residual_sd.unwrap(), 0.884796396144373, 1e-10);
        assert_close(line.r_squared.unwrap(), 0.999993745883712, 1e-10);
    }

    #[test]
    fn quantiles_agree_with_scipy() {
        // scipy 1.17.1: stats.t.ppf, stats.t.cdf, norm.ppf, chi2.ppf, f.ppf.
        assert_close(t_quantile(0.975, 16.0), 2.119905299221011, 1e-9);
        assert_close(t_quantile(0.975, 3.943662653), 2.7921575814164736, 1e-9);
        assert_close(t_quantile(0.975, 1.0), 12.706204736432095, 1e-9);
        assert_close(t_quantile(0.025, 2.5), -3.5746548420036834, 1e-9);
        assert_close(t_quantile(0.975, f64::INFINITY), 1.959963984540054, 1e-12);
        assert_close(t_cdf(1.0, 1.0), 0.75, 1e-12);
        assert_close(normal_cdf(1.4), 0.9192433407662289, 1e-11);
        assert_close(chi_squared_quantile(0.975, 10.0), 20.483177350807546, 1e-9);
        assert_close(f_quantile(0.975, 3.0, 20.0), 3.858698666273213, 1e-8);
    }

    #[test]
    fn missing_values_are_dropped_and_too_few_make_no_sample() {
        let sample = Sample::present([1.0, f64::NAN, 3.0, f64::INFINITY]).unwrap();
        assert_eq!(sample.values(), [1.0, 3.0]);
        assert_eq!(Sample::present([f64::NAN, 2.0]), None);
        assert_eq!(Sample::present([]), None);
    }

    #[test]
    fn a_constant_sample_has_no_spread_and_no_autocorrelation() {
        let sample = Sample::present([250.1; 40]).unwrap();
        assert_eq!(
            (sample.sd(), sample.robust_sd(), sample.lag1()),
            (0.0, 0.0, None)
        );
        assert_eq!(Line::fit(&[2.0; 5], &[1.0, 2.0, 3.0, 4.0, 5.0]), None);
    }

    #[test]
    fn the_median_of_an_even_count_lies_between() {
        assert_eq!(median_of(vec![4.0, 1.0, 3.0, 2.0]), Some(2.5));
        assert_eq!(median_of(vec![3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median_of(Vec::new()), None);
    }
}
