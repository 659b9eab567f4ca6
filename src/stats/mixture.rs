//! Student t's about one centre, each with a weight and a scale: what is known of an estimate when
//! how far neighbours resemble each other is not.

use super::NORMAL_95;
use super::student::{Student, falling_to};
use super::{finite, normal_cdf, t_quantile};

/// Both tails outside 95 %.
const OUTSIDE_95: f64 = 0.05;
/// Both tails outside one standard deviation of a normal.
const OUTSIDE_ONE_SIGMA: f64 = 0.317_310_507_862_914_1;
/// Fewest degrees of freedom: with fewer a standard uncertainty says nothing in a sum of squares.
const MIN_DOF: f64 = 3.0;
/// Parts that weigh less than this share of the heaviest change no digit that is kept.
pub(super) const LIGHTEST: f64 = 1e-12;

/// Uncertainty of an estimate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeanUncertainty {
    /// Standard uncertainty, in the unit of the values.
    pub standard: f64,
    /// Its effective degrees of freedom; fractional, at least 1.
    pub dof: f64,
}

impl MeanUncertainty {
    /// Half-width of the 95 % confidence limits.
    pub fn half_width95(self) -> f64 {
        t_quantile(0.975, self.dof) * self.standard
    }

    /// Of an estimate that is off by `shift`, known and not taken out: widened so that the limits
    /// about it hold the truth in 95 % (the scatter taken as normal). An estimate without scatter
    /// has the limits ±`shift`.
    pub fn off_by(self, shift: f64) -> Self {
        let widened = if self.standard > 0.0 {
            let off = (shift / self.standard).abs();
            let density = |z: f64| (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt();
            let half = falling_to(OUTSIDE_95, off + NORMAL_95, |half| {
                let outside = normal_cdf(off - half) + normal_cdf(-half - off);
                (outside, density(half - off) + density(half + off))
            });
            self.standard * half
        } else {
            shift.abs()
        };
        Self {
            standard: widened / NORMAL_95,
            ..self
        }
    }
}

/// The weighed Student t's.
pub(super) struct Mixture {
    student: Student,
    /// Weight, scale.
    parts: Vec<(f64, f64)>,
    dof: f64,
}

impl Mixture {
    /// From the logarithm of each part's weight (up to a constant) and its scale, for Student t's
    /// with `dof` degrees of freedom. Parts that cannot be told are passed over.
    pub fn of(dof: f64, kernels: impl Iterator<Item = (f64, f64)>) -> Option<Self> {
        let kernels: Vec<(f64, f64)> = kernels
            .filter(|(log_weight, scale)| {
                log_weight.is_finite() && scale.is_finite() && *scale > 0.0
            })
            .collect();
        let heaviest = kernels.iter().map(|(w, _)| *w).reduce(f64::max)?;
        let mut parts: Vec<(f64, f64)> = kernels
            .into_iter()
            .map(|(w, scale)| ((w - heaviest).exp(), scale))
            .filter(|(w, _)| *w > LIGHTEST)
            .collect();
        let total: f64 = parts.iter().map(|(w, _)| w).sum();
        for (weight, _) in &mut parts {
            *weight /= total;
        }
        Some(Self {
            student: Student::new(dof)?,
            parts,
            dof,
        })
    }

    /// The half-width of the 95 % limits, handed on as a standard uncertainty and degrees of
    /// freedom that reproduce it: those of a Student t whose 95 % and 68.3 % limits stand in the
    /// same ratio (at least 3, at most those of each part).
    pub fn uncertainty(&self) -> Option<MeanUncertainty> {
        let wide = self.half_width(OUTSIDE_95)?;
        let narrow = self.half_width(OUTSIDE_ONE_SIGMA)?;
        let dof = dof_of_ratio(wide / narrow).clamp(MIN_DOF, self.dof.max(MIN_DOF));
        Some(MeanUncertainty {
            standard: finite(wide / t_quantile(0.975, dof))?,
            dof,
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
    use crate::stats::vectors::assert_close;

    #[test]
    fn one_part_is_its_own_student_t() {
        let one = Mixture::of(11.0, [(-3.0, 2.0)].into_iter()).unwrap();
        let found = one.uncertainty().unwrap();
        // t(0.975, 11) = 2.200985 (scipy 1.17.1).
        assert_close(found.half_width95(), 2.0 * 2.200985160082949, 1e-8);
        assert!((found.dof - 11.0).abs() < 0.2, "{found:?}");
    }

    #[test]
    fn a_known_shift_widens_by_what_the_limits_need() {
        // Bisection on the normal distribution of Python 3.11 (statistics.NormalDist).
        let one = MeanUncertainty {
            standard: 2.0,
            dof: f64::INFINITY,
        };
        for (shift, half) in [
            (0.0, 1.959963985),
            (0.5, 2.181477442),
            (1.0, 2.646145548),
            (3.0, 4.644853627),
        ] {
            assert_close(
                one.off_by(2.0 * shift).standard,
                2.0 * half / 1.959963985,
                2e-6,
            );
        }
        let exact = MeanUncertainty {
            standard: 0.0,
            ..one
        };
        assert_close(exact.off_by(-0.7).half_width95(), 0.7, 1e-6);
    }

    #[test]
    fn unequal_parts_have_heavier_tails_and_lie_between() {
        let kernels = [(0.0, 1.0), (0.0, 3.0)];
        let found = Mixture::of(11.0, kernels.into_iter()).unwrap();
        let found = found.uncertainty().unwrap();
        assert!(found.dof < 11.0, "{found:?}");
        assert!((2.3..6.6).contains(&found.half_width95()), "{found:?}");
    }

    #[test]
    fn parts_that_cannot_be_told_are_passed_over() {
        let kernels = [(f64::NAN, 1.0), (0.0, 0.0), (0.0, f64::INFINITY)];
        assert!(Mixture::of(5.0, kernels.into_iter()).is_none());
    }

    #[test]
    fn the_table_of_ratios_is_met_and_interpolated() {
        assert_eq!(dof_of_ratio(9.0), 2.0);
        assert_close(dof_of_ratio(2.43201), 4.0, 1e-9);
        // Student t with 5 degrees of freedom: 2.570582/1.110501 = 2.31479 (scipy 1.17.1).
        assert_close(dof_of_ratio(2.31479), 5.0, 0.02);
        assert_eq!(dof_of_ratio(1.9), 40.0);
    }
}
