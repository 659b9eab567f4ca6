//! Student's t, quickly: the figures that follow a brush ask for it some hundred times.
//!
//! Where the degrees of freedom are whole and few, probabilities are finite sums (Abramowitz & Stegun
//! 1964, 26.7.3 and 26.7.4); where they are many, those of a normal deviate (Hill 1970, Algorithm
//! 395, Commun ACM 13:617, from memory; against scipy 1.17.1 wrong by 4e-14 at most from 60 on);
//! elsewhere those of statrs. Quantiles start from the
//! expansion about the normal (26.7.5) and are refined by Newton's method on the probability
//! outside ±t, which is convex and falling: a step from above lands below the solution, and no
//! step from below passes it.

use statrs::distribution::{ContinuousCDF, StudentsT};
use statrs::function::gamma::ln_gamma;

use super::{normal_cdf, normal_quantile};

/// Degrees of freedom from which on the normal deviate is used, and below which, where they are
/// whole, sums are.
const MANY: f64 = 60.0;

/// Smallest probability outside for which a difference from 1 keeps its digits.
const LEAST_OUTSIDE: f64 = 1e-4;

/// Student's t distribution.
#[derive(Clone, Copy, Debug)]
pub struct Student {
    dof: f64,
    /// Density at 0.
    peak: f64,
    any: StudentsT,
    whole: bool,
}

impl Student {
    /// With `dof` degrees of freedom, fractional ones too; `None` unless they are positive.
    pub fn new(dof: f64) -> Option<Self> {
        let half = 0.5 * dof;
        Some(Self {
            any: StudentsT::new(0.0, 1.0, dof).ok()?,
            peak: (ln_gamma(half + 0.5) - ln_gamma(half)).exp()
                / (std::f64::consts::PI * dof).sqrt(),
            whole: dof.fract() == 0.0,
            dof,
        })
    }

    /// Density at `t`.
    pub fn density(&self, t: f64) -> f64 {
        let base = 1.0 + t * t / self.dof;
        let falling = if self.whole {
            base.powi(self.dof as i32 + 1).sqrt()
        } else {
            base.powf(0.5 * (self.dof + 1.0))
        };
        self.peak / falling
    }

    /// P(|T| > t) for t ≥ 0.
    pub fn outside(&self, t: f64) -> f64 {
        let quickly = if self.dof >= MANY {
            2.0 * normal_cdf(-self.normal_deviate(t))
        } else if self.whole {
            1.0 - self.inside_by_sum(t)
        } else {
            0.0
        };
        if quickly > LEAST_OUTSIDE {
            quickly
        } else {
            2.0 * self.any.cdf(-t)
        }
    }

    /// The normal deviate that is as far out as `t`.
    fn normal_deviate(&self, t: f64) -> f64 {
        let a = self.dof - 0.5;
        let b = 48.0 * a * a;
        let y = a * (t * t / self.dof).ln_1p();
        let late = (((-0.4 * y - 3.3) * y - 24.0) * y - 85.5) / (0.8 * y * y + 100.0 + b);
        ((late + y + 3.0) / b + 1.0) * y.sqrt()
    }

    /// P(|T| ≤ t) for whole degrees of freedom.
    fn inside_by_sum(&self, t: f64) -> f64 {
        let hypotenuse = self.dof + t * t;
        let (sine, cosine) = (t / hypotenuse.sqrt(), (self.dof / hypotenuse).sqrt());
        let odd = self.dof % 2.0 == 1.0;
        let (mut term, mut sum, mut step) = if odd {
            (cosine, cosine, 2.0)
        } else {
            (1.0, 1.0, 1.0)
        };
        while step < self.dof - 2.0 {
            term *= cosine * cosine * step / (step + 1.0);
            sum += term;
            step += 2.0;
        }
        if !odd {
            return sine * sum;
        }
        let angle = (t / self.dof.sqrt()).atan();
        let rest = if self.dof > 1.0 { sine * sum } else { 0.0 };
        std::f64::consts::FRAC_2_PI * (angle + rest)
    }

    /// The t ≥ 0 outside ±which T falls with probability `outside`, 0 < `outside` ≤ 1.
    pub fn half_width(&self, outside: f64) -> f64 {
        let start = self.about_normal(-normal_quantile(0.5 * outside));
        falling_to(outside, start, |t| (self.outside(t), 2.0 * self.density(t)))
    }

    /// The expansion about the normal deviate `x`, to 1/ν⁴ (26.7.5).
    fn about_normal(&self, x: f64) -> f64 {
        let (s, v) = (x * x, 1.0 / self.dof);
        let first = (s + 1.0) / 4.0;
        let second = ((5.0 * s + 16.0) * s + 3.0) / 96.0;
        let third = (((3.0 * s + 19.0) * s + 17.0) * s - 15.0) / 384.0;
        let fourth = ((((79.0 * s + 776.0) * s + 1482.0) * s - 1920.0) * s - 945.0) / 92_160.0;
        x * (1.0 + v * (first + v * (second + v * (third + v * fourth))))
    }
}

/// Where a convex, falling probability comes down to `wanted`; `of` gives it and minus its slope.
pub fn falling_to(wanted: f64, start: f64, of: impl Fn(f64) -> (f64, f64)) -> f64 {
    let mut at = start;
    for _ in 0..200 {
        let (probability, falls) = of(at);
        // From far above a step may pass zero: half of the way is below the solution or nearer.
        let next = (at + (probability - wanted) / falls).max(0.5 * at);
        let step = next - at;
        at = next;
        if step.abs() <= 1e-13 * at || at.is_nan() {
            break;
        }
    }
    at
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::vectors::assert_close;

    #[test]
    fn probabilities_agree_with_the_incomplete_beta_function() {
        for dof in 1..=400 {
            let student = Student::new(f64::from(dof)).unwrap();
            for t in [0.0, 0.1, 0.7, 1.3, 2.0, 3.5, 8.0, 60.0] {
                let by_beta = 2.0 * student.any.cdf(-t);
                // The latter is good to 1e-12: at 28 and 1.3 scipy takes the side of the sums.
                assert!(
                    (student.outside(t) - by_beta).abs() < 1e-11,
                    "{dof} {t}: {} {by_beta}",
                    student.outside(t)
                );
            }
        }
    }

    #[test]
    fn half_widths_agree_with_an_independent_implementation() {
        // scipy 1.17.1, stats.t.isf(outside / 2, dof).
        for (outside, dof, expected) in [
            (0.05, 11.0, 2.2009851600916392),
            (0.05, 12.0, 2.1788128296672293),
            (0.05, 1.0, 12.706204736174705),
            (0.05, 2.0, 4.302652729749464),
            (0.05, 3.0, 3.1824463052837086),
            (0.05, 3.217, 3.06438377001397),
            (0.05, 7.77, 2.3179399298915517),
            (0.31731050786291415, 11.0, 1.0475675290452806),
            (0.31731050786291415, 4.5, 1.124155232660354),
            (0.1, 16.0, 1.7458836762762502),
            (0.001, 2.5, 18.277893528130647),
            (0.05, 150.0, 1.9759053308966206),
            (0.05, 1234.5, 1.9618874833313455),
            (0.9, 3.3, 0.13559091888878483),
            (0.05, 0.8, 23.32793579600433),
        ] {
            let found = Student::new(dof).unwrap().half_width(outside);
            assert_close(found, expected, 1e-11 * expected);
        }
    }

    #[test]
    fn a_half_width_leaves_outside_what_it_should() {
        for tenths in 5..400 {
            let dof = f64::from(tenths) / 10.0;
            let student = Student::new(dof).unwrap();
            for outside in [1e-6, 0.001, 0.05, 0.1, 0.317, 0.9] {
                let back = 2.0 * student.any.cdf(-student.half_width(outside));
                assert!(
                    (back / outside - 1.0).abs() < 1e-10,
                    "{dof} {outside}: {back}"
                );
            }
        }
    }

    #[test]
    fn without_freedom_there_is_none() {
        assert!(Student::new(0.0).is_none() && Student::new(f64::NAN).is_none());
    }
}
