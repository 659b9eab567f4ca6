//! Drift of the bias while a source warms up.
//!
//! The drift is the mean rate of the bias over the window: the least-squares slope of
//! `100 · Σ(under test − reference) / Σ reference` over blocks of time, percentage points in 10 min,
//! with 95 % limits that allow for serial correlation ([`crate::stats::contrast`]). A warm-up levels off
//! and is no straight line: a bend is fitted beside the slope, at right angles to it, so that it
//! neither moves the slope nor counts as scatter; and the bias over the first and over the last
//! stretch (a sixth of the window, at most 2 min) stands beside it. Where the source reports its
//! temperature, the bias is fitted against that as well (percentage points a degree). Time and
//! temperature rise together, so the data cannot say which of the two the bias follows.

use super::spec::{Spec, always};
use crate::analysis::figure::{Figure, OURS};
use crate::analysis::trend::{BiasBlocks, BiasUnit};
use crate::recording::Channel;
use crate::stats::noise::Noise;
use crate::stats::{Interval, finite};
use serde::Serialize;

/// Figures of a heat soak.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HeatSoak {
    /// Slope of the bias, percentage points in 10 min.
    pub drift_percent_per_10min: Option<f64>,
    /// Its 95 % confidence limits.
    pub drift_ci95_percent_per_10min: Option<Interval>,
    /// Change of the bias from start to end, percentage points.
    pub change_percent: Option<f64>,
    /// Its 95 % confidence limits.
    pub change_ci95_percent: Option<Interval>,
    /// Bias at the start, %.
    pub start_bias_percent: Option<f64>,
    /// Bias at the end, %.
    pub end_bias_percent: Option<f64>,
    /// Slope of the bias against temperature, percentage points a degree.
    pub per_degree_percent: Option<f64>,
    /// Its 95 % confidence limits.
    pub per_degree_ci95_percent: Option<Interval>,
}

/// Heat soaks among the kinds.
pub(in crate::analysis) const SPEC: Spec<HeatSoak> = Spec {
    title: "Heat soak",
    figures: FIGURES,
    panel: &[
        always("drift_percent_per_10min"),
        always("drift_ci95_percent_per_10min"),
        always("start_bias_percent"),
        always("end_bias_percent"),
    ],
    compute: |inputs| {
        let (window, under_test) = (inputs.window, inputs.under_test);
        let pair = window.known_pair(under_test, inputs.basis);
        let pair = pair.and_then(|pair| {
            let without_lag = pair.without_lag(window.rows.clone(), &inputs.delivered);
            Some((pair.known()?, without_lag))
        });
        Some(figures(
            &inputs.read,
            &inputs.delivered,
            window.column(under_test, Channel::Temperature),
            inputs.step_s(),
            pair.as_ref().map(|(noise, read)| (*noise, read.as_slice())),
        ))
    },
};

/// Longest stretch over which the bias at either end is averaged, s.
const END_S: f64 = 120.0;

/// The figures of a heat soak. Columns cover the same rows, spaced `step_s`. Where the noise of the two
/// over the ride is known, `noise` is that and the source without its lag, W: while power surges, a lag
/// makes a difference that is neither drift nor noise.
pub fn figures(
    under_test: &[f64],
    reference: &[f64],
    temperature_c: Option<&[f64]>,
    step_s: f64,
    noise: Option<(&Noise, &[f64])>,
) -> HeatSoak {
    let rows = under_test.len().min(reference.len());
    let (noise, at_once) = noise.unzip();
    let of = |source: &[f64]| BiasBlocks::new(source, reference, BiasUnit::Percent, noise);
    let blocks = of(under_test);
    let per_10min = blocks.rate_with_bend(600.0 / step_s);
    let change = at_once.map_or_else(|| blocks.change_over(), |source| of(source).change_over());
    let per_degree = temperature_c.and_then(|column| {
        blocks.slope_against(|row| column.get(row).copied().unwrap_or(f64::NAN))
    });
    let end = ((END_S / step_s) as usize).min(rows / 6).max(1).min(rows);
    let bias = |from: usize, to: usize| bias_percent(&under_test[from..to], &reference[from..to]);
    HeatSoak {
        drift_percent_per_10min: per_10min.map(|slope| slope.estimate),
        drift_ci95_percent_per_10min: per_10min.map(|slope| slope.ci95),
        change_percent: change.map(|change| change.estimate),
        change_ci95_percent: change.map(|change| change.ci95),
        start_bias_percent: bias(0, end),
        end_bias_percent: bias(rows - end, rows),
        per_degree_percent: per_degree.map(|slope| slope.estimate),
        per_degree_ci95_percent: per_degree.map(|slope| slope.ci95),
    }
}

/// Bias over the rows that both columns have, % of the reference's mean; `None` where that is not
/// above zero.
pub(super) fn bias_percent(under_test: &[f64], reference: &[f64]) -> Option<f64> {
    let (source, against) = under_test
        .iter()
        .zip(reference)
        .filter(|(a, b)| a.is_finite() && b.is_finite())
        .fold((0.0, 0.0), |(source, against), (a, b)| {
            (source + a, against + b)
        });
    (against > 0.0)
        .then(|| 100.0 * (source - against) / against)
        .and_then(finite)
}

const SERIAL: &str = "least squares over means of 5 s; limits with the correlation of the noise learnt over the ride, as for the bias (on a short ride: averaged over every correlation of neighbouring blocks, O'Hagan 1994, Bayesian Inference, ch. 9, from memory); coverage measured by simulation";

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "segments.heat_soak.drift_percent_per_10min",
        label: "heat drift",
        short: "drift",
        unit: "%/10 min",
        decimals: 2,
        signed: true,
        definition: "Mean rate at which the bias moves over the block: the least-squares slope, percentage points in 10 min.",
        formula: "slope of the bias in % against time, with a bend at right angles to it fitted beside it, so that a drift that levels off is not taken for scatter",
        source: SERIAL,
        caveat: "A warm-up that levels off is faster at first: see the bias at the start and at the end. Time is not temperature: it holds whatever else changed over the block, in the references too.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.heat_soak.drift_ci95_percent_per_10min",
        label: "heat drift, 95 % CI",
        unit: "%/10 min",
        decimals: 2,
        signed: true,
        definition: "95 % confidence interval of that slope.",
        formula: "slope ± t · its standard uncertainty",
        source: SERIAL,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.heat_soak.change_percent",
        label: "heat change",
        short: "change",
        unit: "%",
        decimals: 2,
        signed: true,
        definition: "How far the bias moves from the start of the block to its end, percentage points.",
        formula: "p(1) − p(−1) of a cubic p fitted to the bias over the block",
        source: SERIAL,
        caveat: "A warm-up much shorter than the block comes out too small.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.heat_soak.change_ci95_percent",
        label: "heat change, 95 % CI",
        unit: "%",
        decimals: 2,
        signed: true,
        definition: "95 % confidence interval of that change.",
        formula: "change ± t · its standard uncertainty",
        source: SERIAL,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.heat_soak.start_bias_percent",
        label: "bias at the start",
        short: "bias at start",
        unit: "%",
        decimals: 2,
        signed: true,
        definition: "Bias over the first sixth of the block, at most 2 min, % of the reference mean.",
        formula: "100 · Σ(x − y)/Σy",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.heat_soak.end_bias_percent",
        label: "bias at the end",
        short: "bias at end",
        unit: "%",
        decimals: 2,
        signed: true,
        definition: "Bias over the last sixth of the block, at most 2 min, % of the reference mean.",
        formula: "100 · Σ(x − y)/Σy",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.heat_soak.per_degree_percent",
        label: "drift per degree",
        unit: "%/°C",
        decimals: 3,
        signed: true,
        definition: "Slope of the bias against the recorded temperature, percentage points a degree.",
        formula: "slope of the bias in % against temperature",
        source: SERIAL,
        caveat: "The temperature recorded is often that of a head unit, not of the device.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.heat_soak.per_degree_ci95_percent",
        label: "drift per degree, 95 % CI",
        unit: "%/°C",
        decimals: 3,
        signed: true,
        definition: "95 % confidence interval of that slope.",
        formula: "slope ± t · its standard uncertainty",
        source: SERIAL,
        ..Figure::PLAIN
    },
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::vectors::lcg;

    /// 20 min at 250 W during which the bias rises from 0 to 2 % while the source warms by 10 °C.
    fn soak() -> (Vec<f64>, Vec<f64>, Vec<f64>) {
        let rows = 1200;
        let share = |i: usize| i as f64 / rows as f64;
        let noise = lcg(2 * rows);
        let reference: Vec<f64> = (0..rows).map(|i| 242.0 + 16.0 * noise[i]).collect();
        let under_test = (0..rows)
            .map(|i| reference[i] * (1.0 + 0.02 * share(i)) + 5.0 * (noise[rows + i] - 0.5))
            .collect();
        let temperature = (0..rows).map(|i| 20.0 + 10.0 * share(i)).collect();
        (under_test, reference, temperature)
    }

    #[test]
    fn drift_against_time_and_temperature() {
        let (under_test, reference, temperature) = soak();
        let found = figures(&under_test, &reference, Some(&temperature), 1.0, None);
        assert!((found.drift_percent_per_10min.unwrap() - 1.0).abs() < 0.05);
        assert!((found.per_degree_percent.unwrap() - 0.2).abs() < 0.01);
        assert!((found.start_bias_percent.unwrap() - 0.1).abs() < 0.05);
        assert!((found.end_bias_percent.unwrap() - 1.9).abs() < 0.05);
        let [low, high] = found.drift_ci95_percent_per_10min.unwrap();
        assert!(low < 1.0 && 1.0 < high && high - low < 0.2);
    }

    #[test]
    fn missing_minutes_do_not_move_the_slope() {
        let (mut under_test, reference, _) = soak();
        under_test[300..600].fill(f64::NAN);
        let found = figures(&under_test, &reference, None, 1.0, None);
        assert!((found.drift_percent_per_10min.unwrap() - 1.0).abs() < 0.06);
        assert_eq!(found.per_degree_percent, None);
    }

    #[test]
    fn what_cannot_be_told_is_none() {
        let nothing = figures(&[f64::NAN; 600], &[200.0; 600], None, 1.0, None);
        assert_eq!(nothing.drift_percent_per_10min, None);
        assert_eq!(nothing.start_bias_percent, None);
        let one = figures(&[202.0], &[200.0], Some(&[20.0]), 1.0, None);
        assert_eq!(one.drift_percent_per_10min, None);
        assert!((one.start_bias_percent.unwrap() - 1.0).abs() < 1e-12);
        let empty = figures(&[], &[], None, 1.0, None);
        assert_eq!(empty.end_bias_percent, None);
        let idle = figures(&[3.0; 600], &[0.0; 600], None, 1.0, None);
        assert_eq!(idle.end_bias_percent, None);
        let constant = figures(&[202.0; 600], &[200.0; 600], Some(&[20.0; 600]), 1.0, None);
        assert!(constant.drift_percent_per_10min.unwrap().abs() < 1e-9);
        assert_eq!(constant.per_degree_percent, None);
    }
}
