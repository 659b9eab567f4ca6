//! Cadence of a source under test against a reference.
//!
//! Equal mean cadence proves little: a source that invents or smooths its cadence can hit the mean
//! and be wrong every second. So besides the mean difference stand its standard deviation (n − 1)
//! and the share of spikes.
//!
//! A spike is a second whose cadence, after the median difference is taken off, lies more than
//! 5 rpm outside everything that the reference showed within 3 s before and after it: lag of a
//! revolution or two is forgiven, an invented value is not. The two constants are ours: a
//! revolution takes 0.5 to 1.5 s, and cadence is commonly reported to 1 rpm.

use crate::analysis::figure::{Figure, OURS};
use crate::analysis::window::Window;
use crate::recording::Channel;
use crate::session::Role;
use crate::stats::{Sample, both_present, finite};
use crate::timeline::Member;
use serde::Serialize;

/// Cadence of a source under test against a reference.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CadenceAgreement {
    /// Label of the source under test.
    pub under_test: String,
    /// Label of the reference, or `consensus`.
    pub reference: String,
    /// Mean difference, rpm.
    pub bias_rpm: Option<f64>,
    /// Standard deviation of the differences, rpm.
    pub sd_diff_rpm: Option<f64>,
    /// Share of spikes, %.
    pub spike_percent: Option<f64>,
}

/// How far a spike lies outside the reference's own range, rpm.
const SPIKE_RPM: f64 = 5.0;
/// How far in time that range is looked up, s.
const REACH_S: f64 = 3.0;

/// Compares two cadence columns over the same rows, spaced `step_s`; NaN is missing.
///
/// `None` where the two share no row. One shared row gives a bias without a spread.
pub fn compare(
    under_test: (&str, &[f64]),
    reference: (&str, &[f64]),
    step_s: f64,
) -> Option<CadenceAgreement> {
    let (source, against) = both_present(under_test.1, reference.1);
    let differences: Vec<f64> = source.iter().zip(&against).map(|(a, b)| a - b).collect();
    let n = differences.len();
    if n == 0 {
        return None;
    }
    let sample = Sample::present(differences.iter().copied());
    let median = sample.as_ref().map_or(differences[0], Sample::median);
    Some(CadenceAgreement {
        under_test: under_test.0.to_owned(),
        reference: reference.0.to_owned(),
        bias_rpm: finite(differences.iter().sum::<f64>() / n as f64),
        sd_diff_rpm: sample.as_ref().map(Sample::sd).and_then(finite),
        spike_percent: finite(
            100.0 * spikes(under_test.1, reference.1, median, step_s) as f64 / n as f64,
        ),
    })
}

/// How many shared seconds are spikes.
fn spikes(under_test: &[f64], reference: &[f64], median: f64, step_s: f64) -> usize {
    let reach = (REACH_S / step_s).round() as usize;
    under_test
        .iter()
        .zip(reference)
        .enumerate()
        .filter(|(_, (source, against))| source.is_finite() && against.is_finite())
        .filter(|(row, (source, _))| {
            let until = (row + reach + 1).min(reference.len());
            let near = reference[row.saturating_sub(reach)..until]
                .iter()
                .filter(|v| v.is_finite());
            let (low, high) = near.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &v| {
                (low.min(v), high.max(v))
            });
            let level = *source - median;
            level < low - SPIKE_RPM || level > high + SPIKE_RPM
        })
        .count()
}

/// Cadence of every source under test against every reference, where both carry it.
pub(in crate::analysis) fn of_window(window: &Window<'_>) -> Vec<CadenceAgreement> {
    let carrying = |role: Role| -> Vec<(&str, &[f64])> {
        let streams = window.session.with_role(role);
        streams
            .filter_map(|i| {
                Some((
                    window.name(Member::Stream(i)),
                    window.column(i, Channel::Cadence)?,
                ))
            })
            .collect()
    };
    let references = carrying(Role::Reference);
    let step_s = window.aligned.grid.step_s;
    carrying(Role::UnderTest)
        .into_iter()
        .flat_map(|under_test| {
            references
                .iter()
                .filter_map(move |reference| compare(under_test, *reference, step_s))
        })
        .collect()
}

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "segments.cadence.under_test",
        label: "source",
        definition: "The source under test.",
        csv: Some(""),
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.cadence.reference",
        label: "reference",
        definition: "What its cadence is compared with.",
        csv: Some(""),
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.cadence.bias_rpm",
        label: "cadence bias",
        short: "bias",
        unit: "rpm",
        decimals: 2,
        signed: true,
        definition: "Mean difference of cadence, under test − reference.",
        formula: "mean of d",
        source: "ISO 5725-1 (trueness)",
        caveat: "A mean can agree while every second is wrong.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.cadence.sd_diff_rpm",
        label: "SD of cadence differences",
        short: "SD of differences",
        unit: "rpm",
        decimals: 2,
        definition: "Scatter of the second-by-second differences of cadence.",
        formula: "√(Σ (d − d̄)²/(n − 1))",
        source: "textbook",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.cadence.spike_percent",
        label: "cadence spikes",
        short: "spikes",
        unit: "%",
        decimals: 1,
        definition: "Share of the seconds in which cadence leaves the reference by far more than usual.",
        source: OURS,
        ..Figure::PLAIN
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    fn compare_columns(under_test: &[f64], reference: &[f64]) -> Option<CadenceAgreement> {
        compare(("trainer", under_test), ("pedals", reference), 1.0)
    }

    #[test]
    fn the_mean_agrees_while_every_second_is_wrong() {
        let reference = vec![90.0; 100];
        let under_test: Vec<f64> = (0..100)
            .map(|i| if i % 2 == 0 { 80.0 } else { 100.0 })
            .collect();
        let found = compare_columns(&under_test, &reference).unwrap();
        assert_eq!(found.bias_rpm, Some(0.0));
        assert!((found.sd_diff_rpm.unwrap() - 10.0504).abs() < 1e-3);
        assert_eq!(found.spike_percent, Some(100.0));
    }

    #[test]
    fn spikes_are_counted_and_lag_is_forgiven() {
        let known: Vec<f64> = (0..200)
            .map(|i| if i < 100 { 70.0 } else { 95.0 })
            .collect();
        let mut late: Vec<f64> = (0..200)
            .map(|i| if i < 102 { 71.0 } else { 96.0 })
            .collect();
        assert_eq!(
            compare_columns(&late, &known).unwrap().spike_percent,
            Some(0.0)
        );
        late[50] = 140.0;
        late[150] = 0.0;
        assert_eq!(
            compare_columns(&late, &known).unwrap().spike_percent,
            Some(1.0)
        );
    }

    #[test]
    fn a_constant_difference_is_bias_alone() {
        let found = compare_columns(&[92.0; 5], &[90.0; 5]).unwrap();
        assert_eq!(found.bias_rpm, Some(2.0));
        assert_eq!(found.sd_diff_rpm, Some(0.0));
        assert_eq!(found.spike_percent, Some(0.0));
    }

    #[test]
    fn one_shared_second_has_no_spread_and_none_gives_nothing() {
        let nan = f64::NAN;
        let found = compare_columns(&[nan, 91.0, nan], &[90.0, 90.0, nan]).unwrap();
        assert_eq!((found.bias_rpm, found.sd_diff_rpm), (Some(1.0), None));
        assert_eq!(compare_columns(&[nan, nan], &[90.0, 90.0]), None);
        assert_eq!(compare_columns(&[], &[]), None);
    }
}
