//! Two means compared: paired differences, Welch's difference of two groups, two one-sided tests for
//! being alike, and many comparisons at once.

use super::{Interval, Sample, finite, t_cdf, t_quantile};

/// Chance of either error that a decision accepts.
pub const LEVEL: f64 = 0.05;
/// Chance with which a planned number of rides is to decide.
const POWER: f64 = 0.8;
/// More rides than these are no plan.
const MOST: usize = 1000;

/// A difference with its standard uncertainty and how well that is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difference {
    /// The difference.
    pub estimate: f64,
    /// Its standard uncertainty, in the same unit.
    pub standard: f64,
    /// Degrees of freedom of that; infinite where it is taken as known.
    pub dof: f64,
}

impl Difference {
    /// Mean of paired differences from their own scatter; `None` for fewer than two.
    pub fn paired(differences: &[f64]) -> Option<Self> {
        let sample = Sample::present(differences.iter().copied())?;
        (sample.n() >= 2).then(|| Self {
            estimate: sample.mean(),
            standard: sample.sd() / (sample.n() as f64).sqrt(),
            dof: (sample.n() - 1) as f64,
        })
    }

    /// Mean of `a` less mean of `b`, each group with its own variance (Welch 1947, Biometrika 34:28;
    /// degrees of freedom by Satterthwaite 1946); `None` for fewer than two in either.
    pub fn welch(a: &[f64], b: &[f64]) -> Option<Self> {
        let (a, b) = (Self::paired(a)?, Self::paired(b)?);
        Some(Self {
            estimate: a.estimate - b.estimate,
            ..a.with(b.standard, b.dof)
        })
    }

    /// With a further independent standard uncertainty; degrees of freedom by Welch–Satterthwaite
    /// (JCGM 100:2008, G.4.1).
    pub fn with(self, standard: f64, dof: f64) -> Self {
        let variance = self.standard.powi(2) + standard.powi(2);
        let known = self.standard.powi(4) / self.dof + standard.powi(4) / dof;
        Self {
            estimate: self.estimate,
            standard: variance.sqrt(),
            dof: match known > 0.0 {
                true => variance.powi(2) / known,
                false => f64::INFINITY,
            },
        }
    }

    /// Limits that leave `outside` on both sides together.
    pub fn limits(&self, outside: f64) -> Option<Interval> {
        let half = t_quantile(1.0 - 0.5 * outside, self.dof) * self.standard;
        let limits = [self.estimate - half, self.estimate + half];
        limits.iter().all(|v| v.is_finite()).then_some(limits)
    }

    /// P of a difference this far from zero or further, were there none.
    pub fn p_differs(&self) -> Option<f64> {
        self.p_beyond(0.0)
    }

    /// P of a difference this far beyond ± `margin` or further, were it at the margin: below 0.05
    /// exactly where the 95 % limits lie beyond it.
    pub fn p_beyond(&self, margin: f64) -> Option<f64> {
        let over = self.estimate.abs() - margin;
        if self.standard == 0.0 {
            return finite(f64::from(u8::from(over <= 0.0)));
        }
        finite((2.0 * t_cdf(-over / self.standard, self.dof)).min(1.0))
    }

    /// P of the two one-sided tests, the larger of both: below 0.05 exactly where the 90 % limits lie
    /// within ± `margin` (Schuirmann 1987, J Pharmacokinet Biopharm 15:657).
    pub fn p_alike(&self, margin: f64) -> Option<f64> {
        let within = margin - self.estimate.abs();
        if self.standard == 0.0 {
            return finite(f64::from(u8::from(within <= 0.0)));
        }
        finite(t_cdf(-within / self.standard, self.dof))
    }
}

/// P values such that chance among all of them together is held at the level of one (Holm 1979, Scand
/// J Stat 6:65), in the order given.
pub fn holm(p: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p.len()).collect();
    order.sort_by(|a, b| p[*a].total_cmp(&p[*b]));
    let mut adjusted = vec![0.0; p.len()];
    let mut least = 0.0_f64;
    for (rank, index) in order.into_iter().enumerate() {
        least = least.max((p[index] * (p.len() - rank) as f64).min(1.0));
        adjusted[index] = least;
    }
    adjusted
}

/// What two results of one thing may differ by in 95 % of cases, where they are means of `n` values,
/// each of its own laboratory (here: ride): √((2.8 s_R)² − (2.8 s_r)²(1 − 1/(2n₁) − 1/(2n₂))) (ISO 5725-6:1994,
/// 4.2.2). `None` where the standard deviations contradict each other.
pub fn critical_difference(reproducibility: f64, repeatability: f64, n: [usize; 2]) -> Option<f64> {
    let [one, other] = n.map(|n| 0.5 / n as f64);
    let squares =
        (2.8 * reproducibility).powi(2) - (2.8 * repeatability).powi(2) * (1.0 - one - other);
    finite(squares.sqrt())
}

/// How many values a group decide whether a difference lies within or beyond ± `margin`, if it is
/// `estimate`, a single value scatters by `sd` and `open` does not shrink: with 80 % chance, by the 90 %
/// limits within and the 95 % limits beyond. `None` where no number up to 1000 does.
pub fn values_needed(estimate: f64, sd: f64, open: f64, margin: f64) -> Option<usize> {
    let distance = (margin - estimate.abs()).abs();
    let outside = match estimate.abs() < margin {
        true => 2.0 * LEVEL,
        false => LEVEL,
    };
    let decides = |n: &usize| {
        let dof = (2 * n - 2) as f64;
        let quantiles = t_quantile(1.0 - 0.5 * outside, dof) + t_quantile(POWER, dof);
        quantiles * open.hypot(sd * (2.0 / *n as f64).sqrt()) <= distance
    };
    (2..=MOST).find(decides)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::vectors::assert_close;

    const A: [f64; 6] = [0.82, 1.10, 0.55, 1.31, 0.74, 0.96];
    const B: [f64; 6] = [0.31, 0.70, 0.12, 0.52, 0.88, 0.41];

    /// Check values computed beforehand, outside of this program (0.4, 0.057735, 0.231415 … 0.568585,
    /// 0.0045663), to all digits by `tests/oracles/compare.py`
    /// (scipy 1.17.1, statsmodels 0.15.0).
    #[test]
    fn three_differences_are_alike_within_one() {
        let found = Difference::paired(&[0.5, 0.3, 0.4]).unwrap();
        assert_close(found.estimate, 0.4, 1e-12);
        assert_close(found.standard, 0.057735026918962574, 1e-12);
        let [low, high] = found.limits(0.10).unwrap();
        assert_close(low, 0.23141455391529525, 1e-9);
        assert_close(high, 0.5685854460847048, 1e-9);
        assert_close(found.p_alike(1.0).unwrap(), 0.004566305693137729, 1e-9);
    }

    #[test]
    fn welch_agrees_with_the_check_values() {
        let found = Difference::welch(&A, &B).unwrap();
        assert_close(found.estimate, 0.42333333333333323, 1e-12);
        assert_close(found.standard, 0.15683678706788717, 1e-12);
        assert_close(found.dof, 9.998920725214553, 1e-12);
        let [low, high] = found.limits(0.10).unwrap();
        assert_close(low, 0.13906964065700106, 1e-9);
        assert_close(high, 0.7075970260096653, 1e-9);
        assert_close(found.p_differs().unwrap(), 0.02234614919411672, 1e-9);
        assert_close(found.p_alike(1.0).unwrap(), 0.0021346207159079586, 1e-9);
        assert_eq!(Difference::welch(&A[..1], &B), None);
    }

    /// Dixon et al. 2018, Med Sci Sports Exerc 50:837: mean 0.18, 90 % −0.15 … 0.52, alike within ±0.65 and
    /// not within ±0.5. The degrees of freedom are not printed; either end of what they can be says
    /// the same.
    #[test]
    fn the_published_example_is_alike_within_the_wider_margin_only() {
        for dof in [10.0, 30.0, f64::INFINITY] {
            let half = 0.5 * (0.52 - -0.15);
            let published = Difference {
                estimate: 0.18,
                standard: half / t_quantile(0.95, dof),
                dof,
            };
            let [low, high] = published.limits(0.10).unwrap();
            // To the digits printed.
            assert!((low + 0.15).abs() <= 0.0051 && (high - 0.52).abs() <= 0.0051);
            assert!(published.p_alike(0.65).unwrap() < LEVEL);
            assert!(published.p_alike(0.5).unwrap() > LEVEL);
        }
    }

    #[test]
    fn the_critical_difference_agrees_with_the_check_values() {
        assert_close(
            critical_difference(0.6, 0.3, [3, 3]).unwrap(),
            1.53362,
            1e-5,
        );
        assert_close(
            critical_difference(0.6, 0.3, [1, 1]).unwrap(),
            2.8 * 0.6,
            1e-12,
        );
        assert_eq!(critical_difference(0.1, 0.6, [9, 9]), None);
    }

    /// `tests/oracles/compare.py`: statsmodels 0.15.0, multipletests(method="holm").
    #[test]
    fn holm_agrees_with_an_independent_implementation() {
        let found = holm(&[0.01, 0.04, 0.03, 0.005, 0.5]);
        let expected = [0.04, 0.09, 0.09, 0.025, 0.5];
        for (found, expected) in found.iter().zip(expected) {
            assert_close(*found, expected, 1e-12);
        }
        assert!(holm(&[]).is_empty());
    }

    #[test]
    fn p_values_and_limits_say_the_same() {
        for (estimate, standard, dof) in [(0.3, 0.2, 3.0), (1.2, 0.07, 5.5), (-1.4, 0.1, 4.0)] {
            let found = Difference {
                estimate,
                standard,
                dof,
            };
            for margin in [0.4, 0.9, 1.1] {
                let [low, high] = found.limits(0.10).unwrap();
                let is_inside = -margin < low && high < margin;
                assert_eq!(found.p_alike(margin).unwrap() < LEVEL, is_inside);
                let [low, high] = found.limits(0.05).unwrap();
                let is_beyond = low > margin || high < -margin;
                assert_eq!(found.p_beyond(margin).unwrap() < LEVEL, is_beyond);
            }
        }
    }

    #[test]
    fn a_further_uncertainty_widens_and_without_scatter_nothing_is_divided() {
        let exact = Difference {
            estimate: 0.5,
            standard: 0.0,
            dof: 2.0,
        };
        assert_eq!(exact.p_alike(1.0), Some(0.0));
        assert_eq!(exact.p_beyond(1.0), Some(1.0));
        let wide = exact.with(0.4, f64::INFINITY);
        assert_eq!((wide.standard, wide.dof), (0.4, f64::INFINITY));
        // By hand: 2·0.1⁴… of equal parts the degrees of freedom double.
        let two = Difference {
            estimate: 0.0,
            standard: 0.1,
            dof: 4.0,
        }
        .with(0.1, 4.0);
        assert_close(two.dof, 8.0, 1e-12);
    }

    #[test]
    fn rides_needed_grow_with_scatter_and_nearness_of_the_margin() {
        let near = values_needed(0.5, 0.3, 0.0, 1.0).unwrap();
        assert!(near > values_needed(0.0, 0.3, 0.0, 1.0).unwrap());
        assert!(near < values_needed(0.5, 0.6, 0.0, 1.0).unwrap());
        // By hand: n = 5 a group, 8 degrees of freedom: (1.8595 + 0.8889)·0.3·√(2/5) = 0.5214 > 0.5; n = 6:
        // (1.8125 + 0.8791)·0.3·√(2/6) = 0.4662.
        assert_eq!(near, 6);
        assert_eq!(values_needed(1.0, 0.3, 0.0, 1.0), None);
        assert_eq!(values_needed(0.5, 0.3, 0.5, 1.0), None);
    }
}
