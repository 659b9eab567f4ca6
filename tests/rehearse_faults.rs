//! Every fault that can be asked for by name shows in the recordings, in its size, and leaves the
//! other devices' samples as they were.

use proptest::prelude::*;
use truing::analysis::dropout::DropoutKind;
use truing::analysis::table::table;
use truing::plan::Plan;
use truing::recording::{Channel, EventKind};
use truing::rehearse::{FAULTS, Fault, Rehearsal, Scenario, SessionOptions, random_scenario, ride};
use truing::session::Kind;
use truing::timeline::Aligned;

const SEED: u64 = 21;

fn rehearse(fault: Option<&str>) -> Rehearsal {
    rehearse_plan("full-bench", fault)
}

fn rehearse_plan(plan: &str, fault: Option<&str>) -> Rehearsal {
    let plan = Plan::built_in(plan).unwrap();
    let mut scenario = Scenario::for_plan(&plan);
    if let Some(fault) = fault {
        let fault: Fault = fault.parse().unwrap();
        fault.put_into(&mut scenario, &plan).unwrap();
    }
    ride(&plan, &scenario, SEED).unwrap()
}

fn column(rehearsal: &Rehearsal, channel: Channel) -> &[f64] {
    rehearsal.streams[0].samples.column(channel).unwrap()
}

/// Rows of the trainer (fault-free clock, first sample at 1 s) in true seconds.
fn rows(from_s: usize, to_s: usize) -> std::ops::Range<usize> {
    from_s - 1..to_s - 1
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn best(values: &[f64]) -> f64 {
    values.iter().copied().fold(0.0, f64::max)
}

#[test]
fn every_fault_changes_its_device_and_no_other() {
    let sound = rehearse_plan("all-round", None);
    for fault in FAULTS {
        let faulty = rehearse_plan("all-round", Some(fault.name));
        // NaN differs from NaN, so compare what is printed.
        let told = |r: &Rehearsal, index: usize| format!("{:?}", r.streams[index].samples);
        // One is of the references alone; the other hangs masses on them and leaves the ride as it is.
        if let Some(references_differ) = match fault.name {
            "common-error" => Some(true),
            "masses" => Some(false),
            _ => None,
        } {
            assert!(told(&faulty, 0) == told(&sound, 0), "{}", fault.name);
            for index in [1, 2] {
                let differs = told(&faulty, index) != told(&sound, index);
                assert_eq!(differs, references_differ, "{} {index}", fault.name);
            }
            continue;
        }
        assert_ne!(told(&faulty, 0), told(&sound, 0), "{}", fault.name);
        // What belongs to the bench changes every device.
        let of_the_bench = [
            "hold",
            "strap-beats",
            "strap-timer",
            "surging",
            "slow-step",
            "gradient-share",
            "gradient-delay",
            "gradient-lag",
        ];
        if !of_the_bench.contains(&fault.name) {
            assert_eq!(told(&faulty, 1), told(&sound, 1), "{}", fault.name);
            assert_eq!(told(&faulty, 2), told(&sound, 2), "{}", fault.name);
        }
    }
}

#[test]
fn faults_of_the_scale_have_their_size() {
    let sound = rehearse(None);
    let block = rows(560, 715);
    let level = |r: &Rehearsal| mean(&column(r, Channel::Power)[block.clone()]);
    let ratio = |fault| level(&rehearse(Some(fault))) / level(&sound);
    assert!((ratio("gain=5") - 1.05).abs() < 0.002);
    assert!((level(&rehearse(Some("zero=-4"))) - level(&sound) + 4.0).abs() < 0.1);
    assert!((level(&rehearse(Some("hold=10"))) - level(&sound) - 9.77).abs() < 0.3);
    // 50/14 lies 0.630 above the reference ratio of 50/17.
    let geared = rehearse(Some("gear=2"));
    let high = rows(1425, 1455);
    let high_ratio = mean(&column(&geared, Channel::Power)[high.clone()])
        / mean(&column(&sound, Channel::Power)[high]);
    assert!((high_ratio - 1.0126).abs() < 0.002, "{high_ratio}");
    let hot = rehearse(Some("heat=-6"));
    let warmth = column(&hot, Channel::Temperature)[1600] - 20.0;
    let at_end = rows(1540, 1690);
    let heat_ratio = mean(&column(&hot, Channel::Power)[at_end.clone()])
        / mean(&column(&sound, Channel::Power)[at_end]);
    assert!(
        (heat_ratio - (1.0 - 0.06 * warmth / 30.0)).abs() < 0.004,
        "{heat_ratio} {warmth}"
    );
}

#[test]
fn faults_of_the_response_delay_and_blunt_the_sprint() {
    let sound = rehearse(None);
    let sprint = rows(1040, 1090);
    let when = |r: &Rehearsal| {
        let power = &column(r, Channel::Power)[sprint.clone()];
        power
            .iter()
            .position(|watts| *watts > 0.6 * best(power))
            .unwrap()
    };
    let peak = |r: &Rehearsal| best(&column(r, Channel::Power)[sprint.clone()]);
    let late = rehearse(Some("dead-time=3.3"));
    assert_eq!(when(&late), when(&sound) + 3);
    assert!((peak(&late) - peak(&sound)).abs() < 12.0);
    let blunt = rehearse(Some("lag=4"));
    assert!(
        peak(&blunt) < 0.9 * peak(&sound),
        "{} {}",
        peak(&blunt),
        peak(&sound)
    );
    assert_eq!(
        best(column(&rehearse(Some("ceiling=555")), Channel::Power)),
        555.0
    );
    let averaged = rehearse(Some("average=5"));
    assert!(peak(&averaged) < peak(&sound) - 15.0);
}

#[test]
fn noise_has_its_size() {
    let noisy = rehearse(Some("noise=8"));
    let slow = rehearse(Some("slow-noise=5"));
    let spread = |r: &Rehearsal, block: std::ops::Range<usize>| {
        let ideal = &r.streams[0].ideal_w[block.clone()];
        let pairs = column(r, Channel::Power)[block].iter().zip(ideal);
        let off: Vec<f64> = pairs.map(|(x, y)| x - y).collect();
        let centre = mean(&off);
        (off.iter().map(|d| (d - centre).powi(2)).sum::<f64>() / off.len() as f64).sqrt()
    };
    let sd_w = spread(&noisy, rows(190, 715));
    assert!((sd_w - 8.0).abs() < 0.8, "{sd_w}");
    let sd_w = spread(&slow, rows(190, 715));
    assert!(sd_w > 2.5, "{sd_w}");
}

#[test]
fn dropouts_surges_and_phantom_power_are_where_the_truth_says() {
    for (fault, kind) in [
        ("gap=9", DropoutKind::Gap),
        ("freeze=9", DropoutKind::Freeze),
        ("zeros=9", DropoutKind::Zero),
    ] {
        let faulty = rehearse(Some(fault));
        let told = &faulty.truth.streams[0].dropouts;
        assert_eq!(told.len(), 1);
        assert_eq!(told[0].kind, kind);
        assert_eq!(told[0].to_s - told[0].from_s, 9.0);
        let from = told[0].from_s as usize;
        let stretch = &column(&faulty, Channel::Power)[from..from + 9];
        let before = column(&faulty, Channel::Power)[from - 1];
        assert!(stretch.iter().all(|watts| match kind {
            DropoutKind::Gap => watts.is_nan(),
            DropoutKind::Freeze => *watts == before,
            DropoutKind::Zero => *watts == 0.0,
        }));
        // The strap goes on while the device is silent.
        assert!(
            column(&faulty, Channel::HeartRate)
                .iter()
                .all(|bpm| bpm.is_finite())
        );
    }
    let (sound, surging) = (rehearse(None), rehearse(Some("surge=120")));
    let told = &surging.truth.streams[0].surges[0];
    let inside = told.from_s as usize + 3..told.to_s as usize;
    let lift = mean(&column(&surging, Channel::Power)[inside.clone()])
        - mean(&column(&sound, Channel::Power)[inside]);
    assert!((lift - 120.0).abs() < 12.0, "{lift}");
    let phantom = rehearse(Some("phantom=50"));
    let coast = rows(725, 728);
    assert!(mean(&column(&phantom, Channel::Power)[coast.clone()]) > 15.0);
    assert!(mean(&column(&sound, Channel::Power)[coast]) < 5.0);
    assert_eq!(column(&phantom, Channel::Power)[rows(738, 739)], [0.0]);
}

/// While nobody pedals a reported power is measured from what the lag leaves of the last stroke, so
/// that a phantom below the power just ridden is found, and with the size that the samples show.
#[test]
fn a_phantom_has_the_size_of_its_samples() {
    let told = |fault: &[&str]| {
        let plan = Plan::built_in("full-bench").unwrap();
        let mut scenario = Scenario::default();
        for fault in fault {
            let fault: Fault = fault.parse().unwrap();
            fault.put_into(&mut scenario, &plan).unwrap();
        }
        let rehearsal = ride(&plan, &scenario, SEED).unwrap();
        let options = SessionOptions {
            clocks_known: true,
            tagged: false,
        };
        let opened = rehearsal.opened(options);
        let excursions = table(&opened.session, &Aligned::new(&opened)).excursions;
        let power = column(&rehearsal, Channel::Power).to_vec();
        (power, excursions)
    };
    for lag in [None, Some("lag=2")] {
        let of = |phantom: &[&'static str]| {
            told(
                &lag.into_iter()
                    .chain(phantom.iter().copied())
                    .collect::<Vec<_>>(),
            )
        };
        let (sound, none) = of(&[]);
        assert_eq!(none, vec![], "{lag:?}");
        let (phantom, found) = of(&["phantom=160"]);
        // Two coasts, the first from 240 W.
        assert_eq!(found.len(), 2, "{lag:?} {found:?}");
        for (coast, excursion) in [rows(719, 745), rows(1699, 1725)].iter().zip(&found) {
            let more = phantom[coast.clone()]
                .iter()
                .zip(&sound[coast.clone()])
                .map(|(a, b)| a - b);
            let shown = more.fold(0.0, f64::max);
            assert!(
                (excursion.peak_w / shown - 1.0).abs() < 0.15,
                "{lag:?} {shown} {excursion:?}"
            );
        }
    }
}

#[test]
fn cadence_spikes_leave_the_mean_alone() {
    let (sound, spiky) = (rehearse(None), rehearse(Some("spiky-cadence=10")));
    let block = rows(190, 715);
    let off: Vec<f64> = column(&spiky, Channel::Cadence)[block.clone()]
        .iter()
        .zip(&column(&sound, Channel::Cadence)[block])
        .map(|(a, b)| a - b)
        .collect();
    let share = off.iter().filter(|d| d.abs() >= 10.0).count() as f64 / off.len() as f64;
    assert!((share - 0.1).abs() < 0.03, "{share}");
    assert!(mean(&off).abs() < 1.5);
    assert!(
        rehearse(Some("no-cadence")).streams[0]
            .samples
            .column(Channel::Cadence)
            .is_none()
    );
}

#[test]
fn recorders_start_late_stop_early_pause_and_hear_what_they_are_told() {
    let sound = rehearse(None);
    let times = |r: &Rehearsal| r.streams[0].samples.time_s().to_vec();
    let start = |r: &Rehearsal| times(r)[0];
    let end = |r: &Rehearsal| *times(r).last().unwrap();
    assert_eq!(
        start(&rehearse(Some("late-start=60"))),
        start(&sound) + 59.0
    );
    assert_eq!(end(&rehearse(Some("early-stop=60"))), end(&sound) - 60.0);
    assert_eq!(
        start(&rehearse(Some("clock=-3600"))),
        start(&sound) - 3600.0
    );
    let fast = rehearse(Some("skew=1000"));
    // 1000 ppm of half an hour are 1.8 s.
    assert_eq!(end(&fast), end(&sound) + 1.0);
    let paused = rehearse(Some("pause=40"));
    let widest = times(&paused)
        .windows(2)
        .map(|w| w[1] - w[0])
        .fold(0.0, f64::max);
    assert_eq!(widest, 41.0);
    let stops = |r: &Rehearsal| {
        let events = r.streams[0].events.iter();
        events
            .filter(|event| event.kind == EventKind::TimerStop)
            .count()
    };
    assert_eq!((stops(&sound), stops(&paused)), (1, 2));
    assert!(sound.shares_heart_rate());
    let own = rehearse(Some("own-strap"));
    assert!(!own.shares_heart_rate());
    assert_ne!(
        column(&own, Channel::HeartRate),
        column(&sound, Channel::HeartRate)
    );
    let none = rehearse(Some("no-strap"));
    assert!(none.streams[0].samples.column(Channel::HeartRate).is_none());
}

/// One strap, two recorders: the same whole numbers, but for the fraction of a second between
/// their stamps.
#[test]
fn a_shared_strap_gives_near_identical_series() {
    let sound = rehearse(None);
    let [trainer, pedals] = [0, 1].map(|index| &sound.streams[index]);
    let heard = pedals.samples.column(Channel::HeartRate).unwrap();
    let mut equal = 0;
    for (row, time_s) in pedals.samples.time_s().iter().enumerate() {
        let session_s = pedals.clock.to_session(*time_s);
        let other = trainer.clock.to_recorder(session_s).round() - trainer.samples.time_s()[0];
        let close = column(&sound, Channel::HeartRate).get(other as usize);
        equal += usize::from(close.is_some_and(|bpm| (bpm - heard[row]).abs() <= 1.0));
    }
    assert!(
        equal as f64 > 0.97 * heard.len() as f64,
        "{equal} of {}",
        heard.len()
    );
}

#[test]
fn what_is_no_fault_is_refused_with_what_there_is() {
    let refused = |text: &str| match text.parse::<Fault>() {
        Err(error) => error.to_string(),
        Ok(fault) => {
            let plan = Plan::built_in("short-check").unwrap();
            let put = fault.put_into(&mut Scenario::default(), &plan);
            put.unwrap_err().to_string()
        }
    };
    assert!(refused("wobble").contains("there are gain, zero"));
    assert!(refused("gain=much").contains("not a number"));
    assert!(refused("gain=inf").contains("not a number"));
    assert!(refused("gain=2@hub").contains("there are trainer, pedals, crank"));
    assert!(refused("hold=2@pedals").contains("leave the @ out"));
    let plan = Plan::built_in("short-check").unwrap();
    let mut scenario = Scenario::default();
    let late: Fault = "late-start=5000@crank".parse().unwrap();
    late.put_into(&mut scenario, &plan).unwrap();
    let error = ride(&plan, &scenario, 1).unwrap_err().to_string();
    assert!(error.contains("\"crank\" recorded nothing"), "{error}");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..Default::default() })]

    /// Whatever is drawn can be ridden, and what comes out is sound: times rise, power is whole
    /// watts or missing, clocks invert, truth is finite and names real windows.
    #[test]
    fn any_random_scenario_gives_a_sound_recording(seed in any::<u64>()) {
        let plan = Plan::built_in("short-check").unwrap();
        let rehearsal = ride(&plan, &random_scenario(&plan, seed), seed).unwrap();
        for stream in &rehearsal.streams {
            let times = stream.samples.time_s();
            prop_assert!(times.is_sorted_by(|a, b| a < b));
            prop_assert_eq!(times.len(), stream.ideal_w.len());
            for watts in stream.samples.column(Channel::Power).unwrap() {
                prop_assert!(watts.is_nan() || (watts.fract() == 0.0 && (0.0..65535.0).contains(watts)));
            }
            for time_s in [times[0], *times.last().unwrap()] {
                let back = stream.clock.to_recorder(stream.clock.to_session(time_s));
                prop_assert!((back - time_s).abs() < 1e-5);
            }
        }
        for segment in &rehearsal.truth.segments {
            prop_assert!(segment.to_s > segment.from_s);
            for pair in &segment.pairs {
                prop_assert!(pair.bias_w.is_finite() && pair.n > 0);
                if segment.kind == Kind::SteadyBlock {
                    prop_assert!(pair.scale_bias_percent.unwrap().abs() < 12.0);
                }
            }
        }
    }
}
