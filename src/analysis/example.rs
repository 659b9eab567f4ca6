//! A table with every field filled, for tests of what must cover them all.

use super::error_curve::*;
use super::verdict::reason::Reason;
use crate::analysis::agreement::Ratio;
use crate::analysis::agreement::{Agreement, LevelLine};
use crate::analysis::coverage::Band;
use crate::analysis::dropout::{Dropout, DropoutKind};
use crate::analysis::excursions::{Excursion, ExcursionKind, UncorroboratedStretch};
use crate::analysis::figures::{SegmentFigures, StreamFigures};
use crate::analysis::hat::{ErrorVariance, NoisyOne};
use crate::analysis::kinds::cadence::CadenceAgreement;
use crate::analysis::kinds::coast::Coast;
use crate::analysis::kinds::gear_change::{GearChange, GearShift};
use crate::analysis::kinds::heat_soak::HeatSoak;
use crate::analysis::kinds::ramp::{Ramp, Step};
use crate::analysis::kinds::sprint::{Explained, ResponseShape, Sprint, SprintPeak};
use crate::analysis::kinds::steady::Steady;
use crate::analysis::mean_max::MeanMax;
use crate::analysis::pooled::Pooled;
use crate::analysis::table::{SessionHead, StreamHead, Table};
use crate::analysis::verdict::conformity::Outcome;
use crate::analysis::verdict::figures::{BudgetLine, Verdict};
use crate::analysis::verdict::overall::Family;
use crate::analysis::verdict::references::References;
use crate::session::{Claim, Kind, Role, Site};

fn verdict() -> Verdict {
    Verdict {
        under_test: "trainer".into(),
        reference: "consensus".into(),
        outcome: Outcome::Conforms,
        n: 300,
        bias_percent: Some(0.4),
        expanded_uncertainty_percent: Some(0.9),
        limit_percent: Some(2.0),
        conformance_probability: Some(0.99),
        bias_w: Some(1.0),
        expanded_uncertainty_w: Some(2.2),
        limit_w: Some(5.0),
        coverage_factor: Some(2.05),
        effective_degrees_of_freedom: Some(30.0),
        budget: vec![BudgetLine {
            source: "claim of pedals".into(),
            distribution: "rectangular".into(),
            standard_uncertainty_percent: Some(0.3),
            standard_uncertainty_w: Some(0.7),
            degrees_of_freedom: Some(9.0),
        }],
        // Any sentence does.
        reasons: vec![Reason::Untested(
            "bias +0.4 % ± 0.9 % lies inside the limit".into(),
        )],
    }
}

fn agreement() -> Agreement {
    Agreement {
        under_test: "trainer".into(),
        reference: "pedals".into(),
        n: 300,
        n_effective: Some(80.0),
        reference_mean_w: Some(250.0),
        bias_w: Some(1.0),
        bias_percent: Some(0.4),
        bias_ci95_w: Some([0.5, 1.5]),
        bias_ci95_percent: Some([0.2, 0.6]),
        sd_diff_w: Some(4.0),
        loa95_w: Some([-6.8, 8.8]),
        loa95_lower_ci95_w: Some([-7.5, -6.1]),
        loa95_upper_ci95_w: Some([8.1, 9.5]),
        rmse_w: Some(4.1),
        ccc: Some(0.9),
        ccc_ci95: Some([0.85, 0.95]),
        pearson_r: Some(0.91),
        ratio: Some(Ratio {
            n: 300,
            mean: 1.004,
            loa95: Some([0.973, 1.036]),
            loa95_lower_ci95: Some([0.97, 0.976]),
            loa95_upper_ci95: Some([1.033, 1.039]),
        }),
    }
}

fn segment() -> SegmentFigures {
    SegmentFigures {
        id: 1,
        kind: Kind::SteadyBlock,
        from_s: 0.0,
        to_s: 300.0,
        set_point_w: Some(250.0),
        note: "windows open".into(),
        streams: vec![StreamFigures {
            label: "trainer".into(),
            n: 300,
            mean_w: Some(251.0),
            sd_w: Some(5.0),
            max_w: Some(270.0),
            best_5s_w: Some(262.0),
            cadence_mean_rpm: Some(90.0),
        }],
        agreement: vec![agreement()],
        references: Some(References {
            labels: vec!["pedals".into(), "hub".into()],
            pair: Some(["pedals".into(), "hub".into()]),
            difference_percent: Some(0.3),
            en_number: Some(0.2),
            agree: Some(true),
            note: "the references agree within their claims".into(),
        }),
        verdict: Some(verdict()),
        further_verdicts: vec![verdict()],
        noise: Some(NoisyOne {
            streams: vec![ErrorVariance {
                label: "trainer".into(),
                error_variance_w2: Some(4.0),
                error_variance_ci95_w2: Some([3.0, 5.0]),
                error_sd_w: Some(2.0),
            }],
            noisiest: Some("trainer".into()),
            note: "trainer is the noisiest".into(),
        }),
        steady: Some(steady()),
        sprint: Some(sprint()),
        ramp: Some(ramp()),
        gear_change: Some(gear_change()),
        coast: Some(coast()),
        heat_soak: Some(heat_soak()),
        cadence: vec![CadenceAgreement {
            under_test: "trainer".into(),
            reference: "pedals".into(),
            bias_rpm: Some(0.1),
            sd_diff_rpm: Some(1.0),
            spike_percent: Some(0.5),
        }],
    }
}

fn steady() -> Steady {
    Steady {
        set_point_error_w: Some(1.0),
        delivered_error_w: Some(2.0),
        within_5w_percent: Some(80.0),
        delivered_within_5w_percent: Some(60.0),
        drift_w_per_min: Some(0.1),
        drift_ci95_w_per_min: Some([-0.1, 0.3]),
        uncorroborated: vec![UncorroboratedStretch {
            from_s: 10.0,
            to_s: 15.0,
            peak_w: 60.0,
        }],
    }
}

fn sprint() -> Sprint {
    Sprint {
        peaks: vec![SprintPeak {
            label: "trainer".into(),
            best_1s_w: Some(800.0),
            best_3s_w: Some(780.0),
            best_5s_w: Some(760.0),
        }],
        expected_loss_percent: 2.0,
        peak_ratio: Some(0.9),
        delay_s: Some(0.8),
        delay_ci95_s: Some([0.25, 0.75]),
        sampled_later_s: Some(0.125),
        ceiling_ci95_w: Some([995.0, 1004.0]),
        time_constant_s: Some(1.5),
        gain: Some(1.0),
        ceiling_w: Some(1000.0),
        time_constant_ci95_s: Some([1.2, 1.8]),
        response_shape: Some(ResponseShape::FirstOrderLag),
        lack_of_fit_f: Some(0.4),
        averaging_s: Some(4.0),
        averaging_ci95_s: Some([3.6, 4.4]),
        fit_rms_w: Some(9.0),
        shortfall_w: Some(80.0),
        lag_loss_w: Some(79.0),
        gain_loss_w: Some(4.0),
        ceiling_loss_w: Some(0.0),
        unexplained_loss_w: Some(5.0),
        lag_share_percent: Some(90.0),
        gain_share_percent: Some(5.0),
        ceiling_share_percent: Some(0.0),
        unexplained_share_percent: Some(5.0),
        explained: Some(Explained::Lag),
        note: "cannot separate".into(),
    }
}

fn ramp() -> Ramp {
    Ramp {
        steps: vec![Step {
            at_s: 60.0,
            from_w: 150.0,
            to_w: 250.0,
            dead_time_s: Some(1.0),
            rise_10_90_s: Some(2.0),
            settling_s: Some(5.0),
            overshoot_percent: Some(4.0),
            final_error_w: Some(1.0),
            settling_band_w: 5.0,
            reference_rise_10_90_s: Some(1.0),
            reference_settling_s: Some(3.0),
            reference_overshoot_percent: Some(2.0),
        }],
        lag_s: Some(1.2),
    }
}

fn gear_change() -> GearChange {
    GearChange {
        changes: vec![GearShift {
            at_s: 90.0,
            bias_before_percent: Some(0.5),
            bias_after_percent: Some(1.5),
            shift_percent: Some(1.0),
            shift_ci95_percent: Some([0.4, 1.6]),
            peak_deviation_w: Some(-25.0),
            recovery_s: Some(4.0),
            bias_before_ci95_percent: Some([0.3, 0.7]),
            bias_after_ci95_percent: Some([1.2, 1.8]),
            speed_before_mps: Some(9.0),
            speed_after_mps: Some(10.0),
        }],
    }
}

fn coast() -> Coast {
    Coast {
        phantom_mean_w: Some(8.0),
        phantom_max_w: Some(40.0),
        time_to_zero_s: Some(3.0),
        coasted_s: 40.0,
    }
}

fn heat_soak() -> HeatSoak {
    HeatSoak {
        drift_percent_per_10min: Some(0.5),
        drift_ci95_percent_per_10min: Some([0.3, 0.7]),
        start_bias_percent: Some(0.2),
        end_bias_percent: Some(1.6),
        per_degree_percent: Some(0.05),
        per_degree_ci95_percent: Some([0.03, 0.07]),
    }
}

/// Every field filled, none null, no list empty.
pub fn example() -> Table {
    Table {
        session: SessionHead {
            title: "Bench ride".into(),
            duration_s: 1800.0,
            claim: Claim {
                percent: 2.0,
                watts: 3.0,
            },
            allowance: Default::default(),
            clocks: vec!["Never aligned: crank.".into()],
        },
        streams: vec![StreamHead {
            label: "trainer".into(),
            role: Role::UnderTest,
            site: Some(Site::Trainer),
            offset_s: 1.5,
            skew_ppm: 12.0,
            samples: 1800,
            median_interval_s: Some(1.0),
            dropouts: vec![Dropout {
                from_s: 100.0,
                to_s: 104.0,
                kind: DropoutKind::Gap,
            }],
            mean_max: vec![MeanMax {
                duration_s: 60.0,
                mean_w: 320.0,
                from_s: 500.0,
            }],
        }],
        excursions: vec![Excursion {
            label: "trainer".into(),
            from_s: 400.0,
            to_s: 410.0,
            peak_w: 90.0,
            kind: ExcursionKind::Uncorroborated,
        }],
        segments: vec![segment()],
        families: vec![Family {
            under_test: "trainer".into(),
            judged: vec![1, 2],
            conform: vec![1, 2],
            do_not_conform: vec![3],
            do_not_conform_jointly: vec![3],
            statement: "all 2 blocks conform".into(),
        }],
        error_curve: vec![error_curve()],
        levels: vec![LevelLine {
            under_test: "trainer".into(),
            reference: "pedals".into(),
            n: 1800,
            slope: Some(1.01),
            slope_ci95: Some([1.0, 1.02]),
            intercept_w: Some(-1.0),
            intercept_ci95_w: Some([-2.0, 0.0]),
        }],
        pooled: vec![Pooled {
            under_test: "trainer".into(),
            reference: "pedals".into(),
            segments: vec![1, 2],
            n: 600,
            bias_w: Some(1.0),
            sd_within_w: Some(4.0),
            sd_between_w: Some(3.0),
            sd_diff_w: Some(5.0),
            loa95_w: Some([-8.8, 10.8]),
            ratio: Some(1.004),
            ratio_loa95: Some([0.97, 1.04]),
        }],
        bands: vec![Band {
            under_test: "trainer".into(),
            reference: "pedals".into(),
            channel: crate::recording::Channel::Cadence,
            from: 80.0,
            to: 90.0,
            n: 120,
            bias_w: Some(1.0),
            bias_percent: Some(0.4),
            bias_ci95_w: Some([0.0, 2.0]),
        }],
    }
}

fn error_curve() -> ErrorCurve {
    let limits = [-0.4, 1.2];
    ErrorCurve {
        under_test: "trainer".into(),
        blocks: vec![Block {
            segment: 1,
            n: 300,
            power_w: 250.0,
            bias_percent: 0.4,
            scatter_percent: 0.3,
            standard_uncertainty_percent: 0.5,
            limit_percent: 2.0,
            error_percent: 0.4,
            ci95_percent: limits,
            simultaneous95_percent: Some(limits),
            departure: Some(0.2),
            alone: Outcome::Conforms,
        }],
        left_out: vec![LeftOut {
            segment: 2,
            outcome: Outcome::Inconclusive,
        }],
        curve: vec![CurvePoint {
            power_w: 250.0,
            error_percent: 0.4,
            ci95_percent: limits,
            simultaneous95_percent: limits,
            limit_percent: 2.0,
        }],
        accuracy: Accuracy {
            outcome: Finding::Fine,
            rule: Rule::Curve,
            critical_value: Some(2.4),
            mean_bias_percent: Some(0.4),
            mean_standard_uncertainty_percent: Some(0.4),
            mean_limit_percent: Some(2.0),
            beyond: Vec::new(),
            beyond_on_average: false,
            turns_on_loss: false,
            open: vec![Open {
                segment: Some(1),
                power_w: Some(250.0),
                why: Missing::Straddles,
                ci95_percent: Some(limits),
                better_references: true,
            }],
        },
        level: Level {
            outcome: Finding::Fine,
            basis: Basis::Curve,
            from_w: Some(120.0),
            to_w: Some(300.0),
            change_percent: Some(0.2),
            change_ci95_percent: Some(limits),
            limit_percent: Some(2.0),
            as_zero_offset_w: Some(-0.4),
            zero_offset_uncertainty_percent: Some(0.2),
            loss_uncertainty_percent: Some(0.1),
            drift_uncertainty_percent: Some(0.1),
            power_with_time: Some(0.1),
            q: Some(2.6),
            q_p_value: Some(0.45),
        },
        accuracy_sentence: "conforms".into(),
        level_sentence: "the error does not change".into(),
    }
}
