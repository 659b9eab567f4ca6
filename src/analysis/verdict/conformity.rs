//! The decision rule: from a bias and its uncertainty to a word.

use serde::Serialize;

use crate::stats::{Interval, finite, t_cdf, t_quantile};

/// What the decision rule says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// The bias, with its uncertainty, lies inside the claim.
    Conforms,
    /// The bias, with its uncertainty, lies outside the claim.
    DoesNotConform,
    /// The evidence cannot tell.
    Inconclusive,
    /// The references contradict each other.
    ReferencesDisagree,
    /// No claim can be tested with this kind of segment, or there is nothing to compare.
    NotApplicable,
}

/// Seconds below which a block is at most inconclusive: the coverage of the interval is known to
/// fall short there.
pub const MIN_SECONDS: usize = 60;

/// Seconds from which the interval keeps its promise on every process it was tried on.
pub const GOOD_SECONDS: usize = 120;

/// Guarded acceptance and guarded rejection with guard band U on both sides
/// (ILAC-G8:09/2019, w = U): `conforms` if |b| + U ≤ T, `does-not-conform` if |b| − U > T, else
/// `inconclusive`. All in the same unit.
pub fn decide(bias: f64, expanded: f64, limit: f64) -> Outcome {
    let size = bias.abs();
    if size + expanded <= limit {
        Outcome::Conforms
    } else if size - expanded > limit {
        Outcome::DoesNotConform
    } else {
        Outcome::Inconclusive
    }
}

/// The same from limits, which need not lie evenly about the estimate.
pub fn decide_by_limits([low, high]: Interval, limit: f64) -> Outcome {
    decide(0.5 * (low + high), 0.5 * (high - low), limit)
}

/// Probability that the true value lies within `interval`, for an estimate with standard
/// uncertainty `standard` and `dof` degrees of freedom (JCGM 106:2012, 7.4, whose normal
/// distribution is the case of infinite degrees of freedom). `None` for a negative or non-finite
/// uncertainty.
pub fn conformance_probability(
    estimate: f64,
    standard: f64,
    dof: f64,
    interval: Interval,
) -> Option<f64> {
    let [lower, upper] = interval;
    if standard == 0.0 {
        return Some(f64::from(u8::from(lower <= estimate && estimate <= upper)));
    }
    let below = |end: f64| t_cdf((end - estimate) / standard, dof);
    (standard > 0.0)
        .then(|| (below(upper) - below(lower)).clamp(0.0, 1.0))
        .and_then(finite)
}

/// Enough to tell a length to a thousandth.
const HALVINGS: usize = 14;

/// How long a block would do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LengthNeeded {
    /// About this many seconds, at the same scatter and bias.
    Seconds(f64),
    /// No length: what does not shrink with time is too uncertain already. Holds the expanded
    /// uncertainty that remains.
    NoLength(f64),
}

/// How many seconds would decide, when `seconds` gave the statistical standard uncertainty
/// `statistical` beside `other` (which time does not reduce): U must fall to the distance between
/// |b| and T, and the statistical part falls with the root of the length.
pub fn length_needed(seconds: f64, statistical: f64, other: f64, distance: f64) -> LengthNeeded {
    let rest = t_quantile(0.975, f64::INFINITY) * other;
    if rest >= distance {
        return LengthNeeded::NoLength(rest);
    }
    // With a longer block the degrees of freedom grow as well: they are those of a long one, and
    // the more of the variance does not come from the scatter, the more they are together.
    let dof = 10.0_f64.max(seconds / 12.0);
    let expanded = |scatter: f64| {
        let variance = scatter + other * other;
        t_quantile(0.975, dof * (variance / scatter).powi(2)) * variance.sqrt()
    };
    let z = t_quantile(0.975, f64::INFINITY);
    let (mut small, mut large) = (0.0, (distance / z).powi(2) - other * other);
    for _ in 0..HALVINGS {
        let middle = 0.5 * (small + large);
        if expanded(middle) > distance {
            large = middle;
        } else {
            small = middle;
        }
    }
    LengthNeeded::Seconds(seconds * statistical * statistical / small)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::vectors::assert_close;

    const INFINITE: f64 = f64::INFINITY;

    #[test]
    fn the_worked_decisions_with_the_reference_counted() {
        // methods §7, rule of ILAC-G8: claim ±2 %, u = 0.702377, k = 1.645 there
        // gives accept 0.84469 and reject 3.15531; k = 1.96 here is stricter on both sides.
        let u = 0.702377;
        let one_sided = 1.6448536269514722 * u;
        assert_close(2.0 - one_sided, 0.84469, 1e-5);
        assert_close(2.0 + one_sided, 3.15531, 1e-5);
        let outcomes = [0.5, 1.2, 3.4].map(|bias| decide(bias, one_sided, 2.0));
        let expected = [
            Outcome::Conforms,
            Outcome::Inconclusive,
            Outcome::DoesNotConform,
        ];
        assert_eq!(outcomes, expected);
        let p = conformance_probability(1.2, u, INFINITE, [-2.0, 2.0]).unwrap();
        assert_close(p, 0.8727, 1e-4);
    }

    #[test]
    fn ignoring_the_reference_would_wrongly_pass() {
        // methods §7: with u = 0.4 alone the acceptance limit is 1.34206 and 1.2 would pass.
        let one_sided = 1.6448536269514722 * 0.4;
        assert_close(2.0 - one_sided, 1.34206, 1e-5);
        assert_eq!(decide(1.2, one_sided, 2.0), Outcome::Conforms);
    }

    #[test]
    fn jcgm_106_example_of_a_one_sided_limit() {
        // JCGM 106:2012, 7.3.3 example 1 (clause published, inputs from memory): Φ(1.4) = 0.91924.
        let p = conformance_probability(-5.47, 0.05, INFINITE, [f64::NEG_INFINITY, -5.40]).unwrap();
        assert_close(p, 0.91924, 1e-5);
    }

    #[test]
    fn the_risk_at_the_acceptance_limit_is_that_of_the_guard_band() {
        // ILAC-G8: guard band 0 gives 50 %, 1.645 u 5 % (ISO 14253-1:2017, from memory), 2 u 2.275 %.
        for (guard, risk) in [
            (0.0, 0.5),
            (1.6448536269514722, 0.05),
            (2.0, 0.022750131948),
        ] {
            let inside =
                conformance_probability(2.0 - guard, 1.0, INFINITE, [f64::NEG_INFINITY, 2.0]);
            assert_close(1.0 - inside.unwrap(), risk, 1e-8);
        }
    }

    #[test]
    fn the_limits_themselves_belong_to_conforming_and_to_inconclusive() {
        assert_eq!(decide(-1.5, 0.5, 2.0), Outcome::Conforms);
        assert_eq!(decide(-2.5, 0.5, 2.0), Outcome::Inconclusive);
        assert_eq!(decide(2.6, 0.5, 2.0), Outcome::DoesNotConform);
    }

    #[test]
    fn the_length_needed_shrinks_only_the_statistical_part() {
        let LengthNeeded::Seconds(seconds) = length_needed(60.0, 1.0, 0.0, 1.0) else {
            panic!("a length exists");
        };
        // U(60 s) is about 2.2; to reach 1.0 takes about 2.2² times as long.
        assert!((280.0..320.0).contains(&seconds), "{seconds}");
        let LengthNeeded::NoLength(rest) = length_needed(60.0, 0.2, 0.6, 1.0) else {
            panic!("no length will do");
        };
        // What an endless block leaves: 1.96 × 0.6.
        assert_close(rest, 1.959963984540054 * 0.6, 1e-9);
    }

    #[test]
    fn the_length_needed_decides_and_little_less_does_not() {
        for (statistical, other, distance) in [
            (0.2, 0.5, 1.0),
            (0.2, 0.5, 1.05),
            (1.0, 0.1, 0.5),
            (0.3, 0.0, 0.4),
        ] {
            let LengthNeeded::Seconds(seconds) = length_needed(80.0, statistical, other, distance)
            else {
                panic!("a length exists for {other} of {distance}");
            };
            // The budget of a block `times` as long, made by hand (JCGM 100, G.4.1).
            let expanded = |times: f64| {
                let scatter = statistical * (80.0 / (times * seconds)).sqrt();
                let combined = scatter.hypot(other);
                let dof = 10.0 * (combined / scatter).powi(4);
                t_quantile(0.975, dof) * combined
            };
            assert!(expanded(1.01) <= distance, "{seconds}");
            assert!(expanded(0.98) > distance, "{seconds}");
        }
    }

    #[test]
    fn certainty_and_nonsense_are_told_apart() {
        assert_eq!(
            conformance_probability(1.0, 0.0, INFINITE, [-2.0, 2.0]),
            Some(1.0)
        );
        assert_eq!(
            conformance_probability(3.0, 0.0, INFINITE, [-2.0, 2.0]),
            Some(0.0)
        );
        assert_eq!(
            conformance_probability(1.0, f64::NAN, 5.0, [-2.0, 2.0]),
            None
        );
    }
}
