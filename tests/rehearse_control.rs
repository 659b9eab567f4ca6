//! A trainer that controls the rider, rehearsed: set points held, surged and followed, slopes
//! simulated, and what its reading makes of them, each in the size asked for.

use truing::plan::{Leg, Plan};
use truing::recording::{Channel, ReadOptions, read};
use truing::rehearse::{Fault, Rehearsal, Scenario, SessionOptions, ride, write_session};
use truing::session::Kind;

fn rehearse(plan: &str, faults: &[&str], seed: u64) -> Rehearsal {
    let plan = Plan::built_in(plan).unwrap();
    let mut scenario = Scenario::for_plan(&plan);
    for fault in faults {
        let fault: Fault = fault.parse().unwrap();
        fault.put_into(&mut scenario, &plan).unwrap();
    }
    ride(&plan, &scenario, seed).unwrap()
}

fn column(rehearsal: &Rehearsal, channel: Channel) -> &[f64] {
    rehearsal.streams[0].samples.column(channel).unwrap()
}

/// Row of the trainer (fault-free clock, first sample at 1 s) at a true second.
fn row(at_s: f64) -> usize {
    at_s as usize - 1
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn of(rehearsal: &Rehearsal, kind: Kind) -> Vec<Leg> {
    let legs = rehearsal.legs.iter().filter(|leg| leg.kind == kind);
    legs.cloned().collect()
}

/// Delivered power minus set point in the second half of each held block, W.
fn held(rehearsal: &Rehearsal) -> Vec<f64> {
    let blocks = of(rehearsal, Kind::SteadyBlock);
    let errors = blocks.iter().map(|leg| {
        let rows = row(leg.from_s + 20.0)..row(leg.to_s);
        mean(&rehearsal.streams[0].site_w[rows]) - leg.set_point_w().unwrap()
    });
    errors.collect()
}

#[test]
fn a_trainer_in_control_holds_the_set_point_at_its_own_site() {
    let sound = mean(&held(&rehearse("all-round", &[], 3)));
    assert!(sound.abs() < 1.0, "{sound} W");
    let low = mean(&held(&rehearse("all-round", &["hold=-3"], 3)));
    assert!((low - sound + 3.0).abs() < 0.1, "{low} W");
}

#[test]
fn surging_shows_in_what_is_delivered_with_its_size_and_period() {
    let leg = &of(&rehearse("all-round", &[], 3), Kind::HeatSoak)[0];
    let rows = row(leg.from_s + 60.0)..row(leg.from_s + 60.0 + 720.0);
    let delivered =
        |faults: &[&str]| rehearse("all-round", faults, 3).streams[0].site_w[rows.clone()].to_vec();
    // Both rides wander alike: what is left is the surge, averaged over the second of a sample.
    let both = delivered(&["surging=5"]).into_iter().zip(delivered(&[]));
    let surge: Vec<f64> = both.map(|(with, without)| with - without).collect();
    let sd_w = (surge.iter().map(|w| w * w).sum::<f64>() / surge.len() as f64).sqrt();
    let turn = std::f64::consts::PI / 12.0;
    let expected_w = 5.0 / f64::sqrt(2.0) * turn.sin() / turn;
    assert!((sd_w - expected_w).abs() < 0.05, "{sd_w} {expected_w}");
    let repeats = surge[..700]
        .iter()
        .zip(&surge[12..])
        .all(|(a, b)| (a - b).abs() < 0.1);
    assert!(repeats);
}

/// When the mean of all steps up of 100 W stays within 5 W, s after the set point changes.
fn followed_s(rehearsal: &Rehearsal) -> f64 {
    let legs = rehearsal.legs.windows(2);
    let steps = legs.filter(|pair| {
        pair[0].set_point_w() == Some(150.0) && pair[1].set_point_w() == Some(250.0)
    });
    let starts: Vec<usize> = steps.map(|pair| row(pair[1].from_s)).collect();
    assert_eq!(starts.len(), 4);
    let site_w = &rehearsal.streams[0].site_w;
    let after = |s: usize| {
        mean(
            &starts
                .iter()
                .map(|start| site_w[start + s])
                .collect::<Vec<_>>(),
        )
    };
    let last_out = (0..30).rev().find(|s| (after(*s) - 250.0).abs() > 5.0);
    last_out.unwrap() as f64 + 0.5
}

#[test]
fn a_step_is_followed_as_late_as_the_truth_tells() {
    for (faults, about_s) in [(&[][..], 3.1), (&["slow-step=5"][..], 8.1)] {
        let plan = Plan::built_in("all-round").unwrap();
        let mut scenario = Scenario::for_plan(&plan);
        scenario.rider.slow_noise_w = 0.0;
        for fault in faults {
            let fault: Fault = fault.parse().unwrap();
            fault.put_into(&mut scenario, &plan).unwrap();
        }
        let rehearsal = ride(&plan, &scenario, 3).unwrap();
        let truth_s = rehearsal.truth.control.unwrap().in_band_s;
        assert!((truth_s - about_s).abs() < 0.1, "{truth_s}");
        let seen_s = followed_s(&rehearsal);
        assert!((seen_s - truth_s).abs() <= 1.0, "{seen_s} {truth_s}");
    }
}

#[test]
fn an_echo_shows_the_set_point_and_not_what_is_delivered() {
    let both = ["hold=-10", "echo=1"];
    let echo = rehearse("all-round", &both, 3);
    let leg = &of(&echo, Kind::SteadyBlock)[0];
    let rows = row(leg.from_s + 20.0)..row(leg.to_s);
    assert!((mean(&column(&echo, Channel::Power)[rows.clone()]) - 150.0).abs() < 0.5);
    assert!((mean(&echo.streams[0].site_w[rows.clone()]) - 140.0).abs() < 2.0);
    let half = rehearse("all-round", &["hold=-10", "echo=0.5"], 3);
    let shown = mean(&column(&half, Channel::Power)[rows.clone()]);
    let delivered = mean(&half.streams[0].site_w[rows]);
    assert!((shown - 0.5 * (150.0 + delivered)).abs() < 0.5);
}

#[test]
fn cadence_jumps_in_more_than_a_tenth_of_the_seconds() {
    for seed in 0..5 {
        let jumping = rehearse("all-round", &["cadence-jump=15"], seed);
        let off = jumping.truth.streams[0].cadence_off_percent;
        assert!((10.0..35.0).contains(&off), "{off} %");
    }
    let sound = rehearse("all-round", &[], 3);
    assert!(sound.truth.streams[0].cadence_off_percent < 3.0);
}

#[test]
fn a_switch_of_modes_reports_power_while_nobody_pedals() {
    let phantom = rehearse("all-round", &["phantom-switch=600"], 3);
    let leg = &of(&phantom, Kind::Coast)[0];
    let coast = row(leg.from_s)..row(leg.to_s);
    let high = |values: &[f64]| values.iter().filter(|w| **w > 500.0).count();
    assert!((6..=9).contains(&high(&column(&phantom, Channel::Power)[coast])));
    assert_eq!(phantom.truth.streams[0].surges.len(), 1);
    let plan = Plan::built_in("heat-soak").unwrap();
    let fault: Fault = "phantom-switch".parse().unwrap();
    let refused = fault.put_into(&mut Scenario::default(), &plan).unwrap_err();
    assert!(refused.to_string().contains("all-round"), "{refused}");
}

/// Force at the wheel in the last 40 s of a plateau, N, from delivered power and wheel speed.
fn force_n(rehearsal: &Rehearsal, from_s: f64, to_s: f64) -> (f64, f64) {
    let rows = row(to_s - 40.0)..row(to_s);
    let speed = &column(rehearsal, Channel::Speed)[rows.clone()];
    let power = &rehearsal.streams[0].site_w[rows];
    assert!(from_s < to_s - 40.0);
    let forces: Vec<f64> = power.iter().zip(speed).map(|(w, v)| w / v).collect();
    (mean(&forces), mean(speed))
}

#[test]
fn slopes_arrive_with_their_share_and_delay() {
    for (faults, share, delay_s) in [
        (&[][..], 1.0, 0.5),
        (&["gradient-share=0.7", "gradient-delay=6"][..], 0.7, 6.0),
    ] {
        let rehearsal = rehearse("slopes", faults, 5);
        let grade = column(&rehearsal, Channel::Grade);
        let leg = &of(&rehearsal, Kind::Slope)[0];
        assert!(grade[row(leg.from_s) - 5].is_nan());
        let plateau = |k: f64| {
            let from_s = leg.from_s + 80.0 * k;
            (
                force_n(&rehearsal, from_s, from_s + 80.0),
                grade[row(from_s + 1.0)],
            )
        };
        for k in 0..6 {
            let ((force, speed), grade_percent) = plateau(f64::from(k));
            let expected = rehearsal.scenario.simulation.force_n(grade_percent, speed);
            assert!((force - expected).abs() < 1.5, "{k}: {force} {expected}");
        }
        let ((low, slow), (high, fast)) = (plateau(0.0).0, plateau(3.0).0);
        let drag = rehearsal.scenario.simulation.drag;
        let risen = (high - low) - drag * (fast * fast - slow * slow);
        let full = 85.0 * 9.80665 * 0.06;
        assert!(
            (risen / full - share).abs() < 0.03,
            "{} {share}",
            risen / full
        );
        // By area, from 0 to 2 % where the speed changes little.
        let at = leg.from_s + 80.0;
        let force = |s: f64| {
            let r = row(at + s);
            rehearsal.streams[0].site_w[r] / column(&rehearsal, Channel::Speed)[r]
        };
        let (before, after) = (plateau(0.0).0.0, plateau(1.0).0.0);
        let area: f64 = (1..=50).map(|s| after - force(f64::from(s))).sum();
        let late_s = area / (after - before) - 0.5;
        // The rider changes gear with the slope: the wheel has to slow down as well.
        assert!((late_s - delay_s).abs() < 2.5, "{late_s} {delay_s}");
    }
}

#[test]
fn a_flywheel_is_missing_in_sprints_and_in_nothing_held() {
    let (sound, missing) = (
        rehearse("all-round", &[], 3),
        rehearse("all-round", &["flywheel=12"], 3),
    );
    let power = |r: &Rehearsal, from_s: f64, to_s: f64| {
        column(r, Channel::Power)[row(from_s)..row(to_s)].to_vec()
    };
    let block = &of(&sound, Kind::SteadyBlock)[1];
    let held = |r| mean(&power(r, block.from_s + 20.0, block.to_s));
    assert!((held(&missing) - held(&sound)).abs() < 0.5);
    let sprint = &of(&sound, Kind::Sprint)[0];
    let up = |r| mean(&power(r, sprint.from_s + 21.0, sprint.from_s + 24.0));
    assert!(
        up(&missing) < up(&sound) - 60.0,
        "{} {}",
        up(&missing),
        up(&sound)
    );
}

#[test]
fn what_is_asked_for_survives_the_files() {
    let folder = tempfile::tempdir().unwrap();
    let rehearsal = rehearse("all-round", &[], 3);
    let session = rehearsal.session(SessionOptions::default());
    write_session(&rehearsal, &session, folder.path()).unwrap();
    let path = folder.path().join("recordings/trainer.fit");
    let trainer = read(&path, &ReadOptions::default()).unwrap();
    assert_eq!(trainer.set_points, rehearsal.streams[0].set_points);
    let steps = trainer.set_points.iter().filter(|s| s.watts == 250.0);
    assert_eq!(steps.count(), 4);
    let read = trainer.streams[0].samples.column(Channel::Grade).unwrap();
    let made = column(&rehearsal, Channel::Grade);
    assert_eq!(read.len(), made.len());
    assert!(
        read.iter()
            .zip(made)
            .all(|(a, b)| a == b || (a.is_nan() && b.is_nan()))
    );
    assert!(read.contains(&6.0) && read[0].is_nan());
}
