use super::*;
use crate::analysis::loss::Loss;
use crate::analysis::verdict::conformity::{self, Outcome};
use crate::session::{Allowance, Claim, Stream};
use crate::stats::NORMAL_95;

const POWERS: [f64; 4] = [120.0, 180.0, 240.0, 300.0];
const SCATTER: [f64; 4] = [0.40, 0.35, 0.33, 0.30];
/// Of a ±1 % claim with weight ½: 0.5/√3.
const EACH_REFERENCE: f64 = 0.288_675_134_594_813;

/// Blocks at these powers in the order 3, 1, 4, 2 of time, against two references of ±1 %.
fn inputs(powers: &[f64], scatter: &[f64], biases: &[f64]) -> Inputs {
    let times = [1800.0, 600.0, 2400.0, 1200.0, 3000.0, 3600.0];
    let held = powers.iter().zip(scatter).zip(biases).enumerate();
    let held = held.map(|(at, ((power_w, scatter), bias))| {
        let shared = ["claim of pedals", "claim of hub"].map(|source| SharedError {
            source: source.to_owned(),
            percent: EACH_REFERENCE,
        });
        let standard = scatter.hypot(EACH_REFERENCE * 2.0_f64.sqrt());
        Held {
            segment: at + 1,
            n: 180,
            at_s: times[at],
            power_w: *power_w,
            named_w: *power_w,
            bias_percent: *bias,
            scatter_percent: *scatter,
            shared: shared.to_vec(),
            expanded_percent: NORMAL_95 * standard,
            alone: conformity::decide(*bias, NORMAL_95 * standard, 2.0),
        }
    });
    Inputs {
        claim: Claim {
            percent: 2.0,
            watts: 0.0,
        },
        held: held.collect(),
        left_out: Vec::new(),
        zero_offset_w: 0.0,
        loss: Loss::Known(Allowance::default()),
        drift_per_10min: 0.0,
        stands_alone_at: STANDS_ALONE_AT,
    }
}

fn four(biases: [f64; 4]) -> ErrorCurve {
    error_curve("trainer", &inputs(&POWERS, &SCATTER, &biases))
}

fn near(actual: f64, expected: f64, tolerance: f64) {
    assert!(
        (actual - expected).abs() <= tolerance,
        "{actual} is not {expected}"
    );
}

/// Specification, section 8, example 2: fine together, though one block alone cannot tell.
#[test]
fn blocks_that_agree_pass_together_where_one_alone_does_not() {
    let biases = [0.95, 0.70, 0.80, 0.75];
    let (found, inputs) = (four(biases), inputs(&POWERS, &SCATTER, &biases));
    let reaches = [1.2314, 1.0055, 1.0558, 0.9315];
    let alone = [2.0702, 1.7540, 1.8289, 1.7430];
    for (block, (guarded, by_itself)) in found.blocks.iter().zip(reaches.iter().zip(alone)) {
        let standard = block.standard_uncertainty_percent;
        let reach = |k: f64| block.bias_percent.abs() + k * standard;
        near(reach(accuracy::guard(&inputs, block)), *guarded, 1e-4);
        near(reach(NORMAL_95), by_itself, 1e-4);
    }
    assert_eq!(found.blocks[0].alone, Outcome::Inconclusive);
    assert_eq!(found.accuracy.outcome, Finding::Fine);
    assert_eq!(found.accuracy.rule, Rule::Curve);
    assert_eq!(
        found.statement(" to its claim of ±2 %").to_string(),
        "conforms to its claim of ±2 % in all 4 blocks judged, 120 to 300 W, taken together along \
         one curve; each on its own: 3 conform, 1 cannot tell; between these powers nothing was \
         ridden"
    );
}

/// Example 3: an odd block keeps what it has to itself.
#[test]
fn one_odd_power_is_named_and_not_hidden_by_its_neighbours() {
    let found = four([0.4, 0.3, 1.6, 0.2]);
    assert_eq!(found.accuracy.outcome, Finding::CannotTell);
    let [open] = found.accuracy.open.as_slice() else {
        panic!("{:?}", found.accuracy.open);
    };
    assert_eq!((open.segment, open.why), (Some(3), Missing::Straddles));
    let [low, high] = open.ci95_percent.unwrap();
    near(low, 0.1884, 1e-4);
    near(high, 2.3371, 1e-4);
    assert!(
        found
            .accuracy_sentence
            .contains("at 240 W the error lies between +0.2 and +2.3 %")
    );
}

/// Example 5: together beyond, where Holm over the blocks was not.
#[test]
fn the_mean_and_a_block_are_beyond_by_one_critical_value() {
    let found = four([3.05, 3.15, 3.10, 3.25]);
    let accuracy = &found.accuracy;
    let critical = accuracy.critical_value.unwrap();
    near(critical, 2.4635, 1e-4);
    for (block, expected) in found.blocks.iter().zip([1.6421, 1.8254, 1.8069, 2.0021]) {
        let surely = block.bias_percent - critical * block.standard_uncertainty_percent;
        near(surely, expected, 3e-4);
    }
    let mean = accuracy.mean_bias_percent.unwrap();
    near(mean, 3.1508, 1e-4);
    near(
        mean - critical * accuracy.mean_standard_uncertainty_percent.unwrap(),
        2.0617,
        2e-4,
    );
    assert_eq!(accuracy.outcome, Finding::Fault);
    assert_eq!(
        (accuracy.beyond.as_slice(), accuracy.beyond_on_average),
        (&[4][..], true)
    );
    assert_eq!(
        found.accuracy_sentence,
        "does not conform: reads high by 3.2 % at 300 W and by 3.2 % on average over all powers \
         (joint risk 2.5 %); all 4 blocks judged, 120 to 300 W; each on its own: 3 do not conform, \
         1 cannot tell"
    );
}

/// Example 1's values with the references' error: section 8, example 7.
#[test]
fn limits_at_one_power_and_over_all() {
    let found = four([2.61, 1.30, 0.62, -0.21]);
    let first = found.blocks[0];
    near(first.ci95_percent[0], 1.39519, 1e-5);
    let [low, high] = first.simultaneous95_percent.unwrap();
    near(low, 1.12879, 1e-5);
    near(high, 3.87208, 1e-5);
    assert_eq!(found.curve.len(), 13);
    assert_eq!(
        (found.curve[0].power_w, found.curve[12].power_w),
        (120.0, 300.0)
    );
}

#[test]
fn one_marginal_block_among_many_may_be_chance_and_a_clear_one_is_not() {
    let marginal = four([3.2, 0.1, 0.2, 0.0]);
    assert_eq!(marginal.blocks[0].alone, Outcome::DoesNotConform);
    assert_eq!(marginal.accuracy.outcome, Finding::CannotTell);
    assert_eq!(marginal.accuracy.open[0].why, Missing::MayBeChance);
    assert!(marginal.accuracy_sentence.contains("may be chance among 4"));
    let clear = four([4.0, 0.1, 0.2, 0.0]);
    assert_eq!(clear.accuracy.beyond, [1]);
    assert_eq!(clear.accuracy.outcome, Finding::Fault);
}

#[test]
fn few_blocks_decide_each_for_itself() {
    let of = |biases: &[f64]| error_curve("t", &inputs(&POWERS, &SCATTER, biases));
    // Both conform; of these three together would pass, of two none may borrow.
    assert_eq!(of(&[0.1, 0.2]).accuracy.rule, Rule::EachBlock);
    let two = of(&[0.95, 0.7]);
    assert_eq!(two.accuracy.outcome, Finding::CannotTell);
    assert!(two.curve.is_empty() && two.blocks[0].simultaneous95_percent.is_none());
    for (bias, outcome) in [
        (0.1, Finding::Fine),
        (4.0, Finding::Fault),
        (1.9, Finding::CannotTell),
    ] {
        let one = of(&[bias]);
        assert_eq!(
            (one.accuracy.outcome, one.level.outcome),
            (outcome, Finding::NotRidden)
        );
    }
    let none = of(&[]);
    assert_eq!(none.accuracy.outcome, Finding::NotRidden);
    assert_eq!(none.level.from_w, None);
}

/// Departures cannot be seen among three, so each brings nearly all of its own evidence.
#[test]
fn among_three_the_guard_is_floored() {
    let three = inputs(&POWERS[..3], &SCATTER, &[0.5, 0.5, 0.5]);
    let four = inputs(&POWERS, &SCATTER, &[0.5; 4]);
    for block in &error_curve("t", &three).blocks {
        assert_eq!(accuracy::guard(&three, block), 1.85);
        assert!(accuracy::guard(&four, block) < 0.1);
    }
}

/// `curve_smooth`: a block that departs by less than stated needs less evidence of its own.
#[test]
fn a_tester_may_take_the_error_to_be_smooth() {
    let usual = inputs(&POWERS, &SCATTER, &[0.5, 0.5, 1.1, 0.5]);
    let smooth = Inputs {
        stands_alone_at: 2.0,
        ..usual.clone()
    };
    let [usual, smooth] = [usual, smooth].map(|inputs| error_curve("t", &inputs).accuracy);
    assert_eq!(usual.outcome, Finding::CannotTell);
    assert_eq!(usual.open[0].why, Missing::Departs);
    assert_eq!(
        (smooth.outcome, smooth.rule),
        (Finding::Fine, Rule::SmoothCurve)
    );
    let mut session = crate::session::Session::default();
    for (stated, expected) in [(None, 1.0), (Some(2.0), 2.0), (Some(0.5), 1.0)] {
        session.limits.curve_smooth = stated;
        let read = Inputs::of(&session, 0, std::iter::empty());
        assert_eq!(read.stands_alone_at, expected);
    }
}

/// A block that has no percentage and does not conform keeps the whole from passing.
#[test]
fn a_fault_below_ten_watts_is_not_passed_over() {
    let mut inputs = inputs(&POWERS, &SCATTER, &[0.1; 4]);
    inputs.left_out.push(LeftOut {
        segment: 9,
        outcome: Outcome::DoesNotConform,
    });
    let found = error_curve("t", &inputs);
    assert_eq!(found.accuracy.outcome, Finding::CannotTell);
    assert!(
        found.accuracy_sentence.contains("in segment 9"),
        "{}",
        found.accuracy_sentence
    );
}

/// Blocks against different references share less: the covariance follows the names.
#[test]
fn what_blocks_share_goes_by_name() {
    let mut inputs = inputs(&POWERS[..2], &SCATTER, &[0.0; 2]);
    let u2 = EACH_REFERENCE * EACH_REFERENCE;
    let near_all = |found: Vec<f64>, expected: [f64; 4]| {
        for (found, expected) in found.iter().zip(expected) {
            near(*found, expected, 1e-12);
        }
    };
    near_all(inputs.common(), [2.0 * u2; 4]);
    inputs.held[1].shared.remove(0);
    near_all(inputs.common(), [2.0 * u2, u2, u2, u2]);
}

/// Section 8, example 8.
#[test]
fn the_error_grows_with_power() {
    let found = four([-0.2, 0.9, 1.8, 2.7]).level;
    near(found.change_percent.unwrap(), 2.86173, 1e-5);
    let [low, high] = found.change_ci95_percent.unwrap();
    near(low, 1.55315, 1e-5);
    near(high, 4.13865, 1e-5);
    assert!(found.changes());
    assert_eq!(found.outcome, Finding::CannotTell);
    assert_eq!(
        found.to_string(),
        "the error changes with power by +2.9 points from 120 to 300 W (95 %: +1.6 to +4.1), a \
         change; whether it is beyond 2.0 cannot be told"
    );
    // As a pure zero offset: 2.86173/(100/300 − 100/120).
    near(found.as_zero_offset_w.unwrap(), -5.72346, 1e-5);
}

/// Example 9: Q 33.965578 (statsmodels combine_effects), and Q 2.620237.
#[test]
fn differences_in_any_pattern_are_tested_by_q() {
    near(
        four([2.61, 1.30, 0.62, -0.21]).level.q.unwrap(),
        33.965578,
        1e-6,
    );
    let found = four([0.61, 0.30, 0.12, 0.79]).level;
    near(found.q.unwrap(), 2.620237, 1e-6);
    // scipy, chi2.sf(2.620237, 3).
    near(found.q_p_value.unwrap(), 0.45395, 1e-4);
    let odd = four([-1.5, 1.5, -1.5, 1.5]).level;
    assert!(odd.differs_otherwise() && !odd.changes());
    assert!(
        odd.to_string().ends_with("not in the order of power"),
        "{odd}"
    );
}

#[test]
fn power_that_rose_with_time_is_not_told_from_warming_up() {
    let mut rising = inputs(&POWERS, &[0.1; 4], &[-3.0, -1.0, 1.0, 3.0]);
    assert_eq!(level::level(&rising).outcome, Finding::Fault);
    for (at, block) in rising.held.iter_mut().enumerate() {
        block.at_s = 600.0 * at as f64;
    }
    let found = level::level(&rising);
    assert_eq!(found.outcome, Finding::CannotTell);
    let words = found.to_string();
    assert!(words.contains("power and warm-up rose together"), "{words}");
    assert!(
        words.ends_with("repeat the first power at the end"),
        "{words}"
    );
    // The first power again at the end tells them apart.
    let mut again = rising.held[0].clone();
    again.at_s = 3600.0;
    again.segment = 5;
    rising.held.insert(1, again);
    assert_eq!(level::level(&rising).outcome, Finding::Fault);
}

#[test]
fn two_blocks_differ_and_one_power_says_nothing_of_others() {
    let two = level::level(&inputs(&[120.0, 300.0], &[0.3, 0.4], &[0.0, 3.0]));
    assert_eq!(
        (two.outcome, two.basis),
        (Finding::CannotTell, Basis::TwoBlocks)
    );
    let [low, high] = two.change_ci95_percent.unwrap();
    near(low, 3.0 - NORMAL_95 * 0.5, 1e-9);
    near(high, 3.0 + NORMAL_95 * 0.5, 1e-9);
    assert!(two.to_string().starts_with("between these two blocks"));
    let together = level::level(&inputs(&[250.0, 260.0, 270.0], &SCATTER, &[0.0; 3]));
    assert_eq!(
        (together.outcome, together.basis),
        (Finding::NotRidden, Basis::OnePower)
    );
}

/// ±1 W from 120 to 300 W: 0.289 points; a loss known to ±0.5: 0.274 (specification, section 6).
#[test]
fn zero_offsets_and_an_uneven_loss_widen_the_change() {
    let plain = level::level(&inputs(&POWERS, &SCATTER, &[0.0; 4]));
    let mut inputs = inputs(&POWERS, &SCATTER, &[0.0; 4]);
    let allowance = Allowance {
        percent: 0.0,
        plus_minus: 0.5,
    };
    (inputs.zero_offset_w, inputs.loss) = (1.0, Loss::Known(allowance));
    let found = level::level(&inputs);
    near(
        found.zero_offset_uncertainty_percent.unwrap(),
        0.288675,
        1e-6,
    );
    near(found.loss_uncertainty_percent.unwrap(), 0.273861, 1e-6);
    let width = |l: &Level| l.change_ci95_percent.map(|[low, high]| high - low).unwrap();
    assert!(width(&found) > width(&plain));
}

/// 0.6 points in 10 min between the middles of the first and the last power.
#[test]
fn a_drift_that_a_soak_showed_widens_the_change() {
    let plain = inputs(&POWERS, &SCATTER, &[0.0; 4]);
    let apart_s = (plain.held[3].at_s - plain.held[0].at_s).abs();
    let drifting = Inputs {
        drift_per_10min: 0.6,
        ..plain.clone()
    };
    let found = level::level(&drifting);
    let expected = 0.6 / 3.0_f64.sqrt() * apart_s / 600.0;
    assert!(expected > 0.0);
    near(found.drift_uncertainty_percent.unwrap(), expected, 1e-9);
    let width = |l: &Level| l.change_ci95_percent.map(|[low, high]| high - low).unwrap();
    assert!(width(&found) > width(&level::level(&plain)));
}

/// Two references with ±1 W each, of their claims or unnoted: 1/√2 W where they are independent, 1 W where
/// their errors are common.
#[test]
fn a_zero_offset_does_not_shrink_where_the_claims_are_correlated() {
    let blocks = inputs(&POWERS, &SCATTER, &[0.0; 4]).held;
    for watts in [None, Some(1.0)] {
        let of = |correlation: f64| {
            let mut session = Session::default();
            session.references.claims_correlation = correlation;
            session
                .streams
                .extend(["pedals", "hub"].map(|label| Stream {
                    role: Role::Reference,
                    claim_percent: Some(1.0),
                    claim_watts: watts,
                    ..Stream::new(label, label)
                }));
            inputs::zero_offset_w(&session, &blocks)
        };
        near(of(0.0), 0.5_f64.sqrt(), 1e-9);
        near(of(0.5), 0.75_f64.sqrt(), 1e-9);
        near(of(1.0), 1.0, 1e-9);
    }
}
