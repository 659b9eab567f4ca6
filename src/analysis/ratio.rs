//! Limits of agreement as ratios: the form for a claim in percent.
//!
//! Where the error grows with the power, differences in W scatter more at high power than at low,
//! and limits in W say too little of one and too much of the other. The logarithms of both sides
//! turn a proportional error into a constant one: bias and limits of `ln x − ln y` are read back as
//! ratios (Bland & Altman 1999, Stat Methods Med Res 8:135, section on logarithms).
//!
//! Seconds in which either side reads under 10 W ([`PERCENT_FROM_W`]) have no ratio to speak of and
//! take no part.

use super::agreement::{LOA95_MULTIPLIER, PERCENT_FROM_W, Ratio, compare_slices};
use crate::analysis::figure::Figure;
use crate::stats::Interval;
use crate::stats::{finite, finite_interval};

/// Logarithms of a column; NaN below [`PERCENT_FROM_W`] and where it is missing.
pub(super) fn logarithms(column: &[f64]) -> Vec<f64> {
    let log = |watts: &f64| {
        if *watts >= PERCENT_FROM_W {
            watts.ln()
        } else {
            f64::NAN
        }
    };
    column.iter().map(log).collect()
}

/// An interval of logarithms as ratios.
pub(super) fn as_ratios(interval: Interval) -> Option<Interval> {
    finite_interval(interval.map(f64::exp))
}

/// Ratio of a source under test to a reference over one window, second by second; `None` where no
/// second has 10 W on both sides. The limits of the limits count the effective seconds, as those in W
/// do.
pub fn ratio(under_test: &[f64], reference: &[f64]) -> Option<Ratio> {
    let compared = compare_slices(&logarithms(under_test), &logarithms(reference));
    let mean = compared.moments.bias()?;
    let limits = compared.limits95().map(|limits| limits.ci95());
    let loa95 = compared.moments.sd_difference().map(|sd| {
        let half = LOA95_MULTIPLIER * sd;
        [mean - half, mean + half]
    });
    Some(Ratio {
        n: compared.moments.n,
        mean: finite(mean.exp())?,
        loa95: loa95.and_then(as_ratios),
        loa95_lower_ci95: limits.and_then(|[lower, _]| as_ratios(lower)),
        loa95_upper_ci95: limits.and_then(|[_, upper]| as_ratios(upper)),
    })
}

const BA99: &str = "Bland & Altman 1999, Stat Methods Med Res 8:135 (logarithms)";

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "segments.agreement.ratio.n",
        label: "n of the ratio",
        short: "n",
        unit: "s",
        definition: "Grid seconds in which both sides read 10 W or more.",
        source: "counted",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.agreement.ratio.mean",
        label: "mean ratio",
        short: "ratio",
        decimals: 4,
        definition: "What the source under test reads for one watt of the reference, second by second: 1.02 is 2 % above.",
        formula: "exp(mean of ln x − ln y)",
        source: BA99,
        caveat: "Weighs a weak second like a strong one; the bias in % weighs by power. The two differ where the error changes with the level.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.agreement.ratio.loa95",
        label: "limits of agreement as ratios",
        short: "LoA 95 %",
        decimals: 4,
        definition: "Between these, 95 % of single seconds are expected to stand to the reference, if the logarithms are normal: the form for a claim in percent.",
        formula: "exp(mean ± 1.96 · SD of ln x − ln y)",
        source: BA99,
        caveat: "Says nothing of the mean over a block; a lag at steps and sprints is in it.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.agreement.ratio.loa95_lower_ci95",
        label: "lower ratio limit, 95 % CI",
        decimals: 4,
        definition: "How well the lower ratio limit is known.",
        formula: "as for the limits of agreement in W, of the logarithms",
        source: BA99,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.agreement.ratio.loa95_upper_ci95",
        label: "upper ratio limit, 95 % CI",
        decimals: 4,
        definition: "How well the upper ratio limit is known.",
        formula: "as for the lower one",
        source: BA99,
        ..Figure::PLAIN
    },
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::vectors::{assert_close, lcg};

    /// Bland & Altman 1999: plasma volume by two methods, n = 99; logarithms with mean 0.0988998 and
    /// SD 0.0217008 (as published: 0.099, limits 0.056 and 0.141) are ratios of 1.1040 (1.0580 to
    /// 1.1519). The subjects are not at hand: 98 values at mean ± SD and one at the mean have these
    /// moments.
    #[test]
    fn bland_altman_1999_plasma_volume() {
        let (mean, sd) = (0.0988998, 0.0217008);
        let log = |i: usize| match i {
            98 => mean,
            i if i % 2 == 0 => mean - sd,
            _ => mean + sd,
        };
        let y: Vec<f64> = (0..99).map(|i| 60.0 + i as f64).collect();
        let x: Vec<f64> = (0..99).map(|i| y[i] * f64::exp(log(i))).collect();
        let found = ratio(&x, &y).unwrap();
        assert_eq!(found.n, 99);
        assert!((found.mean - 1.1040).abs() < 5e-5, "{found:?}");
        let [lower, upper] = found.loa95.unwrap();
        assert!((lower - 1.0580).abs() < 5e-5 && (upper - 1.1519).abs() < 5e-5);
        assert_close(lower.ln(), 0.0563662, 1e-5);
        assert_close(upper.ln(), 0.1414335, 1e-5);
    }

    #[test]
    fn a_proportional_error_has_the_same_limits_at_every_power() {
        let noise = lcg(600);
        let read = |y: &[f64]| -> Vec<f64> {
            let pairs = y.iter().zip(&noise);
            pairs.map(|(y, u)| y * (1.02 + 0.04 * (u - 0.5))).collect()
        };
        let (low, high) = (vec![100.0; 600], vec![400.0; 600]);
        let (a, b) = (ratio(&read(&low), &low), ratio(&read(&high), &high));
        let (a, b) = (a.unwrap(), b.unwrap());
        assert_close(a.loa95.unwrap()[0], b.loa95.unwrap()[0], 1e-12);
        let [inner, outer] = [a.loa95_upper_ci95.unwrap(), a.loa95.unwrap()];
        assert!(inner[0] < outer[1] && outer[1] < inner[1]);
    }

    #[test]
    fn coasting_seconds_one_second_and_constants() {
        let nan = f64::NAN;
        assert_eq!(ratio(&[0.0, 5.0, nan], &[0.0, 200.0, 200.0]), None);
        let one = ratio(&[210.0, 0.0], &[200.0, 150.0]).unwrap();
        assert_eq!((one.n, one.loa95, one.loa95_lower_ci95), (1, None, None));
        assert_close(one.mean, 1.05, 1e-12);
        let flat = ratio(&[206.0; 90], &[200.0; 90]).unwrap();
        assert_close(flat.loa95.unwrap()[1], 1.03, 1e-12);
        assert_eq!(flat.loa95_upper_ci95, None);
    }
}
