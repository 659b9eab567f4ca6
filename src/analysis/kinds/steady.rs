//! Figures of a steady block.
//!
//! - Set-point error: mean power under test − set point, which tells how the device reports; and
//!   mean power of the references − set point, which tells what was delivered. A trainer that reads
//!   wrong holds the first at zero and the second at its own error.
//! - Share within ±5 W of the set point, of the seconds reported (by the device and by the
//!   references).
//! - Drift: slope of the difference under test − references, W/min, over block means, with 95 %
//!   limits that allow for serial correlation ([`crate::stats::contrast`]).

use super::spec::{Spec, always, where_known};
use crate::analysis::excursions::UncorroboratedStretch;
use crate::analysis::figure::{Figure, OURS, TRADE};
use crate::analysis::trend::{BiasBlocks, BiasUnit, mean};
use crate::stats::Interval;
use crate::stats::noise::Noise;
use serde::Serialize;

/// Figures of a steady block.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Steady {
    /// Mean power under test − set point, W: how the device reports.
    pub set_point_error_w: Option<f64>,
    /// Mean power of the references − set point, W: what was delivered.
    pub delivered_error_w: Option<f64>,
    /// Share of seconds under test within ±5 W of the set point, %.
    pub within_5w_percent: Option<f64>,
    /// The same of the references, %.
    pub delivered_within_5w_percent: Option<f64>,
    /// Slope of the difference to the references, W/min.
    pub drift_w_per_min: Option<f64>,
    /// Its 95 % confidence limits, W/min.
    pub drift_ci95_w_per_min: Option<Interval>,
    /// Excursions that no reference shows.
    pub uncorroborated: Vec<UncorroboratedStretch>,
}

/// Steady blocks among the kinds.
pub(in crate::analysis) const SPEC: Spec<Steady> = Spec {
    title: "Steady block",
    figures: FIGURES,
    // Without a set point there is nothing to be off.
    panel: &[
        where_known("set_point_error_w"),
        where_known("within_5w_percent"),
        always("drift_w_per_min"),
        always("drift_ci95_w_per_min"),
        where_known("delivered_error_w"),
        where_known("delivered_within_5w_percent"),
    ],
    compute: |inputs| {
        let (window, under_test) = (inputs.window, inputs.under_test);
        Some(figures(
            &inputs.read,
            &inputs.delivered,
            inputs.set_point_w,
            inputs.step_s(),
            window.findings.excursions_in(under_test, inputs.span),
            window.known_noise(under_test, inputs.basis),
        ))
    },
};

/// Half-width of the band about the set point, W.
const BAND_W: f64 = 5.0;

/// The figures of a steady block. Columns cover the same rows, spaced `step_s`; `uncorroborated`
/// are the excursions found in it ([`crate::analysis::excursions::find`]), `noise` that of the two over the ride,
/// W, where it is known.
pub fn figures(
    under_test: &[f64],
    consensus: &[f64],
    set_point_w: Option<f64>,
    step_s: f64,
    uncorroborated: Vec<UncorroboratedStretch>,
    noise: Option<&Noise>,
) -> Steady {
    let drift = BiasBlocks::new(under_test, consensus, BiasUnit::Watts, noise)
        .slope_against(|row| row as f64 * step_s / 60.0);
    let error = |column: &[f64]| Some(mean(present(column))? - set_point_w?);
    Steady {
        set_point_error_w: error(under_test),
        delivered_error_w: error(consensus),
        within_5w_percent: within_percent(under_test, set_point_w),
        delivered_within_5w_percent: within_percent(consensus, set_point_w),
        drift_w_per_min: drift.map(|slope| slope.estimate),
        drift_ci95_w_per_min: drift.map(|slope| slope.ci95),
        uncorroborated,
    }
}

fn present(column: &[f64]) -> impl Iterator<Item = f64> {
    column.iter().copied().filter(|v| v.is_finite())
}

fn within_percent(column: &[f64], set_point_w: Option<f64>) -> Option<f64> {
    let set_point_w = set_point_w?;
    let inside = |power: f64| f64::from(u8::from((power - set_point_w).abs() <= BAND_W));
    Some(100.0 * mean(present(column).map(inside))?)
}

const SERIAL: &str = "least squares over means of 5 s; limits with the correlation of the noise learnt over the ride, as for the bias (on a short ride: averaged over every correlation of neighbouring blocks, O'Hagan 1994, Bayesian Inference, ch. 9, from memory); coverage measured by simulation";

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "segments.steady.set_point_error_w",
        label: "set-point error",
        short: "off set point",
        unit: "W",
        decimals: 1,
        signed: true,
        definition: "How far the power that the source under test reports lies from the set point on average.",
        formula: "x̄ − set point",
        source: TRADE,
        caveat: "A controlled trainer that holds its own reading on the set point looks perfect here however wrong the reading is: see what was delivered.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.steady.delivered_error_w",
        label: "delivered error",
        short: "delivered off",
        unit: "W",
        decimals: 1,
        signed: true,
        definition: "How far the power that the references say was delivered lies from the set point on average.",
        formula: "ȳ − set point",
        source: TRADE,
        caveat: "Holds the drivetrain's loss where the references measure upstream.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.steady.within_5w_percent",
        label: "within ±5 W",
        short: "within 5 W",
        unit: "%",
        decimals: 1,
        definition: "Share of the seconds in which the source under test reads within ±5 W of the set point.",
        formula: "100 · n(|x − set point| ≤ 5 W)/n",
        source: TRADE,
        caveat: "A smoothed reading scores high whatever was ridden.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.steady.delivered_within_5w_percent",
        label: "delivered within ±5 W",
        short: "5 W delivered",
        unit: "%",
        decimals: 1,
        definition: "The same of the references.",
        formula: "100 · n(|y − set point| ≤ 5 W)/n",
        source: TRADE,
        caveat: "A rider's own unevenness is in it.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.steady.drift_w_per_min",
        label: "drift",
        unit: "W/min",
        decimals: 2,
        signed: true,
        definition: "Slope of the difference to the references over the block; frozen and false zero seconds are left out.",
        formula: "least-squares slope of d against time",
        source: SERIAL,
        caveat: "A reference that warms up drifts too.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.steady.drift_ci95_w_per_min",
        label: "drift, 95 % CI",
        unit: "W/min",
        decimals: 2,
        signed: true,
        definition: "95 % confidence interval of the drift.",
        formula: "slope ± t · its standard uncertainty",
        source: SERIAL,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.steady.uncorroborated.from_s",
        label: "excursion from",
        unit: "s",
        decimals: 1,
        definition: "Start of an excursion inside the block that no reference shows.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.steady.uncorroborated.to_s",
        label: "excursion to",
        unit: "s",
        decimals: 1,
        definition: "Its end.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.steady.uncorroborated.peak_w",
        label: "excursion peak",
        unit: "W",
        signed: true,
        definition: "Its largest difference to the references, as the samples show it.",
        formula: "see excursion peak of the ride",
        source: OURS,
        ..Figure::PLAIN
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_trainer_that_reads_high_holds_its_own_wrong_number() {
        let under_test: Vec<f64> = (0..300).map(|i| 250.0 + f64::from(i % 3) - 1.0).collect();
        let delivered: Vec<f64> = under_test.iter().map(|w| w - 8.0).collect();
        let found = figures(&under_test, &delivered, Some(250.0), 1.0, Vec::new(), None);
        assert!(found.set_point_error_w.unwrap().abs() < 1e-9);
        assert!((found.delivered_error_w.unwrap() + 8.0).abs() < 1e-9);
        assert_eq!(found.within_5w_percent, Some(100.0));
        assert_eq!(found.delivered_within_5w_percent, Some(0.0));
        assert!(found.drift_w_per_min.unwrap().abs() < 1e-9);
    }

    #[test]
    fn drift_is_told_in_watts_a_minute() {
        let reference: Vec<f64> = (0..300).map(|i| 200.0 + f64::from((i * 7) % 11)).collect();
        let under_test: Vec<f64> = (0..300)
            .map(|i| reference[i] + 0.5 * i as f64 / 60.0 + ((i * 5) % 7) as f64 - 3.0)
            .collect();
        let found = figures(&under_test, &reference, None, 1.0, Vec::new(), None);
        assert!((found.drift_w_per_min.unwrap() - 0.5).abs() < 0.05);
        let [low, high] = found.drift_ci95_w_per_min.unwrap();
        assert!(low < 0.5 && 0.5 < high);
        assert_eq!(
            (found.set_point_error_w, found.within_5w_percent),
            (None, None)
        );
    }

    #[test]
    fn short_missing_and_constant_blocks() {
        let one = figures(&[252.0], &[250.0], Some(250.0), 1.0, Vec::new(), None);
        assert_eq!(
            (one.set_point_error_w, one.drift_w_per_min),
            (Some(2.0), None)
        );
        let gone = figures(
            &[f64::NAN; 90],
            &[250.0; 90],
            Some(250.0),
            1.0,
            Vec::new(),
            None,
        );
        assert_eq!(
            (gone.set_point_error_w, gone.within_5w_percent),
            (None, None)
        );
        assert_eq!(
            (gone.delivered_error_w, gone.drift_w_per_min),
            (Some(0.0), None)
        );
        let empty = figures(&[], &[], Some(250.0), 1.0, Vec::new(), None);
        assert_eq!(empty.set_point_error_w, None);
        let flat = figures(
            &[250.0; 90],
            &[250.0; 90],
            Some(250.0),
            1.0,
            Vec::new(),
            None,
        );
        assert_eq!(flat.drift_ci95_w_per_min, Some([0.0, 0.0]));
    }

    #[test]
    fn references_missing_for_half_the_block_still_allow_a_drift() {
        let mut reference = vec![200.0; 300];
        reference[150..].fill(f64::NAN);
        let under_test: Vec<f64> = (0..300).map(|i| 200.0 + f64::from(i % 4)).collect();
        let found = figures(&under_test, &reference, Some(200.0), 1.0, Vec::new(), None);
        assert!(found.drift_w_per_min.is_some());
        assert_eq!(found.delivered_error_w, Some(0.0));
    }
}
