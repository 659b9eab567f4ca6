//! A small invented table for tests: a steady block that is judged, a sprint that is not.

use crate::analysis::agreement::Agreement;
use crate::analysis::agreement::Ratio;
use crate::analysis::dropout::{Dropout, DropoutKind};
use crate::analysis::excursions::{Excursion, ExcursionKind};
use crate::analysis::figures::{SegmentFigures, StreamFigures};
use crate::analysis::kinds::ByKind;
use crate::analysis::kinds::cadence::CadenceAgreement;
use crate::analysis::kinds::sprint::{Explained, ResponseShape, Sprint, SprintPeak};
use crate::analysis::table::{SessionHead, StreamHead, Table};
use crate::analysis::verdict::conformity::Outcome;
use crate::analysis::verdict::figures::{BudgetLine, Verdict};
use crate::analysis::verdict::reason::Reason;
use crate::session::{Claim, Kind, Role, Site};

fn stream(label: &str, role: Role, site: Site, dropouts: Vec<Dropout>) -> StreamHead {
    StreamHead {
        label: label.into(),
        role,
        site: Some(site),
        offset_s: if role == Role::Reference { -1.25 } else { 0.0 },
        skew_ppm: 0.0,
        samples: 420,
        median_interval_s: Some(1.0),
        dropouts,
        mean_max: Vec::new(),
        weights: None,
        one_sided: None,
        zero: None,
    }
}

fn means(label: &str, mean_w: f64) -> StreamFigures {
    StreamFigures {
        label: label.into(),
        n: 300,
        mean_w: Some(mean_w),
        sd_w: Some(9.5),
        max_w: Some(281.0),
        best_5s_w: Some(268.4),
        cadence_mean_rpm: None,
    }
}

fn pair(reference: &str, bias_w: f64) -> Agreement {
    Agreement {
        under_test: "=trainer|1".into(),
        reference: reference.into(),
        n: 300,
        n_effective: Some(41.234_567_89),
        reference_mean_w: Some(250.0),
        bias_w: Some(bias_w),
        bias_percent: Some(bias_w / 2.5),
        bias_ci95_w: Some([bias_w - 1.0, bias_w + 1.0]),
        bias_ci95_percent: None,
        sd_diff_w: Some(4.0),
        loa95_w: Some([bias_w - 7.84, bias_w + 7.84]),
        loa95_lower_ci95_w: None,
        loa95_upper_ci95_w: None,
        rmse_w: Some(4.5),
        ccc: Some(0.91),
        ccc_ci95: None,
        pearson_r: Some(0.95),
        ratio: Some(Ratio {
            n: 299,
            mean: 1.012_34,
            loa95: Some([0.981, 1.044]),
            loa95_lower_ci95: Some([0.979, 0.983]),
            loa95_upper_ci95: None,
        }),
    }
}

fn verdict() -> Verdict {
    Verdict {
        under_test: "=trainer|1".into(),
        reference: "consensus".into(),
        outcome: Outcome::DoesNotConform,
        n: 300,
        bias_percent: Some(3.5),
        expanded_uncertainty_percent: Some(1.2),
        limit_percent: Some(2.0),
        conformance_probability: Some(0.004),
        bias_w: Some(8.75),
        expanded_uncertainty_w: Some(3.0),
        limit_w: Some(5.0),
        coverage_factor: Some(1.98),
        effective_degrees_of_freedom: None,
        budget: vec![BudgetLine {
            source: "scatter of the ride".into(),
            distribution: "Student t".into(),
            standard_uncertainty_percent: Some(0.6),
            standard_uncertainty_w: Some(1.5),
            degrees_of_freedom: Some(40.0),
        }],
        // Any sentence does.
        reasons: vec![Reason::Untested(
            "bias +3.5 % ± 1.2 % lies outside ±2 %".into(),
        )],
    }
}

/// The table.
pub(crate) fn table() -> Table {
    let steady = SegmentFigures {
        set_point_w: Some(250.0),
        note: "first, \"cold\"\nstill".into(),
        streams: vec![means("=trainer|1", 258.75), means("pedals", 250.0)],
        agreement: vec![pair("pedals", 8.75), pair("consensus", 8.8)],
        verdict: Some(verdict()),
        cadence: vec![CadenceAgreement {
            under_test: "=trainer|1".into(),
            reference: "pedals".into(),
            bias_rpm: Some(-0.2),
            sd_diff_rpm: Some(1.5),
            spike_percent: Some(0.0),
        }],
        ..SegmentFigures::bare(1, Kind::SteadyBlock, 60.0, 360.0)
    };
    let sprint = SegmentFigures {
        of_kind: ByKind {
            sprint: Some(Sprint {
                peaks: vec![
                    SprintPeak {
                        label: "=trainer|1".into(),
                        best_1s_w: Some(812.0),
                        best_3s_w: None,
                        best_5s_w: Some(760.5),
                    },
                    SprintPeak {
                        label: "pedals".into(),
                        best_1s_w: Some(900.0),
                        best_3s_w: Some(880.0),
                        best_5s_w: Some(850.0),
                    },
                ],
                expected_loss_percent: 2.0,
                peak_ratio: Some(0.902),
                delay_s: Some(0.5),
                delay_ci95_s: Some([0.25, 0.75]),
                sampled_later_s: Some(0.125),
                ceiling_ci95_w: None,
                time_constant_s: Some(1.5),
                gain: Some(1.0),
                ceiling_w: None,
                explained: Some(Explained::Lag),
                cause: None,
                sprints_together: None,
                unaccounted_kg: None,
                unaccounted_ci95_kg: None,
                time_constant_ci95_s: Some([1.25, 1.75]),
                response_shape: Some(ResponseShape::FirstOrderLag),
                lack_of_fit_f: Some(0.5),
                averaging_s: None,
                averaging_ci95_s: None,
                fit_rms_w: Some(8.0),
                shortfall_w: Some(88.0),
                lag_loss_w: Some(79.0),
                gain_loss_w: Some(4.0),
                ceiling_loss_w: None,
                unexplained_loss_w: Some(5.0),
                lag_share_percent: Some(90.0),
                gain_share_percent: Some(4.0),
                ceiling_share_percent: None,
                unexplained_share_percent: Some(6.0),
                note: String::new(),
            }),
            ..ByKind::default()
        },
        ..SegmentFigures::bare(2, Kind::Sprint, 380.0, 400.5)
    };
    Table {
        session: SessionHead {
            title: "Bench <one>".into(),
            duration_s: 420.0,
            claim: Claim {
                percent: 2.0,
                watts: 0.0,
            },
            allowance: Default::default(),
            clocks: Vec::new(),
        },
        streams: vec![
            stream(
                "=trainer|1",
                Role::UnderTest,
                Site::Trainer,
                vec![Dropout {
                    from_s: 100.0,
                    to_s: 104.0,
                    kind: DropoutKind::Gap,
                }],
            ),
            stream("pedals", Role::Reference, Site::Pedal, Vec::new()),
        ],
        excursions: vec![Excursion {
            label: "=trainer|1".into(),
            from_s: 200.0,
            to_s: 206.0,
            peak_w: 95.0,
            kind: ExcursionKind::Uncorroborated,
        }],
        segments: vec![steady, sprint],
        ..Table::default()
    }
}
