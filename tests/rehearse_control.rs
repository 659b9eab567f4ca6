//! A trainer that controls the rider, rehearsed: set points held, surged and followed, slopes
//! simulated, and what its reading makes of them, each in the size asked for.

use truing::analysis::table::table;
use truing::plan::{Leg, PhaseCheck, Plan, Ridden, check};
use truing::recording::{Channel, Format, ReadOptions, read};
use truing::rehearse::{Fault, Rehearsal, Scenario, SessionOptions, ride, write_session};
use truing::session::{Kind, OpenOptions, OpenedSession};
use truing::timeline::{Aligned, Span};

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

/// A plan of one phase in simulation mode, after a minute at a set power and a coast.
fn simulated(phase: &str) -> Plan {
    let text = format!(
        "title = \"t\"\npurpose = \"p\"\ncontrolled = true\n\
         [[phase]]\nkind = \"open\"\nduration_s = 60\nset_point_w = 150\n\
         [[phase]]\nkind = \"coast\"\nduration_s = 12\n\
         [[phase]]\n{phase}\n"
    );
    Plan::from_toml("own.toml", &text).unwrap()
}

/// Power at the wheel − force of the grade × speed, J over rows of the trainer; and the gain of kinetic
/// energy that it went into.
fn left_over_j(rehearsal: &Rehearsal, from_s: f64, to_s: f64, grade_percent: f64) -> (f64, f64) {
    let simulation = rehearsal.scenario.simulation;
    let speed = column(rehearsal, Channel::Speed);
    let mut free_j = 0.0;
    for r in row(from_s)..row(to_s) {
        // A row's power is the mean of the second that ends there.
        let (before, now) = (speed[r - 1], speed[r]);
        let middle = 0.5 * (before + now);
        let force = simulation.force_n(grade_percent, middle);
        free_j += rehearsal.streams[0].site_w[r] - force * middle;
    }
    let (first, last) = (speed[row(from_s) - 1], speed[row(to_s) - 1]);
    let gained_j = 0.5 * simulation.flywheel_kg * (last * last - first * first);
    (free_j, gained_j)
}

/// F = κ·m·g·sin α + c_r·m·g·cos α + ½C_w·v² + m_a·dv/dt holds second by second: what a sprint's power
/// leaves over goes into the flywheel and comes out again.
#[test]
fn a_sprint_on_a_slope_spins_up_the_flywheel() {
    let rehearsal = rehearse("slopes", &["gradient-share=0.8", "gradient-lag=1.5"], 8);
    for (leg, grade) in of(&rehearsal, Kind::Sprint).iter().zip([0.0, 4.0]) {
        assert_eq!(
            column(&rehearsal, Channel::Grade)[row(leg.from_s + 5.0)],
            grade
        );
        let start = leg.from_s + 29.0;
        // Power from the trainer's own site is of the past second, speed of the moment.
        let (up_j, gained_j) = left_over_j(&rehearsal, start, start + 10.0, grade);
        assert!(
            gained_j > 350.0 && (up_j - gained_j).abs() < 0.12 * gained_j,
            "{up_j} {gained_j}"
        );
        let (whole_j, gained_j) = left_over_j(&rehearsal, start - 8.0, leg.to_s - 2.0, grade);
        assert!((whole_j - gained_j).abs() < 60.0, "{whole_j} {gained_j}");
    }
    let speed = column(&rehearsal, Channel::Speed);
    let gained = |leg: &Leg| {
        let (before, after) = (speed[row(leg.from_s + 28.0)], speed[row(leg.from_s + 33.0)]);
        after * after - before * before
    };
    let sprints = of(&rehearsal, Kind::Sprint);
    assert!(gained(&sprints[0]) > 1.15 * gained(&sprints[1]));
    let delay_s = rehearsal.truth.slopes.as_ref().unwrap().gradient_delay_s;
    assert_eq!(delay_s, 0.5 + 1.5);
}

/// With one gear throughout, what a step of the grade costs arrives as late as the truth says, by area.
#[test]
fn a_delay_is_dead_time_and_time_constant_together() {
    let plan = simulated(
        "kind = \"slope\"\nduration_s = 360\ngrades_percent = [1, 4, 1]\ngear = \"50/25\"",
    );
    for (faults, delay_s) in [
        (&["gradient-delay=3"][..], 3.0),
        (&["gradient-delay=1", "gradient-lag=4"][..], 5.0),
    ] {
        let mut late = Vec::new();
        for seed in 0..6 {
            let mut scenario = Scenario::for_plan(&plan);
            for fault in faults {
                fault
                    .parse::<Fault>()
                    .unwrap()
                    .put_into(&mut scenario, &plan)
                    .unwrap();
            }
            let rehearsal = ride(&plan, &scenario, 700 + seed).unwrap();
            let speed = column(&rehearsal, Channel::Speed);
            let simulation = scenario.simulation;
            let slope = (72.0_f64, 1.0_f64, 4.0_f64);
            for (at_s, before, after) in [(slope.0 + 120.0, 1.0, 4.0), (slope.0 + 240.0, 4.0, 1.0)]
            {
                // Force of the grade alone: drag and flywheel taken off.
                let graded = |s: f64| {
                    let r = row(at_s + s);
                    let v = 0.5 * (speed[r - 1] + speed[r]);
                    let accelerating = simulation.flywheel_kg * (speed[r] - speed[r - 1]);
                    rehearsal.streams[0].site_w[r] / v - simulation.force_n(0.0, v) - accelerating
                };
                let arrived =
                    |grade: f64| simulation.force_n(grade, 5.0) - simulation.force_n(0.0, 5.0);
                let (low, high) = (arrived(before), arrived(after));
                let area: f64 = (1..=40).map(|s| high - graded(f64::from(s))).sum();
                late.push(area / (high - low));
            }
        }
        let seen = mean(&late);
        assert!((seen - delay_s).abs() < 0.3, "{seen} {delay_s}");
    }
}

/// Downhill the wheel runs ahead of legs that do not push; on the flat it does not.
#[test]
fn downhill_costs_no_power_and_never_a_racing_cadence() {
    let plan = simulated(
        "kind = \"slope\"\nduration_s = 240\ngrades_percent = [-5, 0, -1]\ngear = \"50/25\"",
    );
    let rehearsal = ride(&plan, &Scenario::for_plan(&plan), 4).unwrap();
    let power = column(&rehearsal, Channel::Power);
    let (cadence, speed) = (
        column(&rehearsal, Channel::Cadence),
        column(&rehearsal, Channel::Speed),
    );
    let steep = row(72.0 + 50.0)..row(72.0 + 79.0);
    assert!(
        mean(&power[steep.clone()]) < 5.0,
        "{:?}",
        &power[steep.clone()]
    );
    assert!(cadence[steep.clone()].iter().all(|rpm| *rpm < 100.0));
    // Where gravity, rolling and drag are in balance: v² = (sin − c_r cos)·m·g/½C_w.
    let simulation = rehearsal.scenario.simulation;
    let slope = (-0.05_f64).atan();
    let pull = -85.0 * 9.80665 * (slope.sin() + 0.004 * slope.cos());
    let balance = (pull / simulation.drag).sqrt();
    let reached = mean(&speed[row(72.0 + 75.0)..row(72.0 + 79.0)]);
    assert!((reached - balance).abs() < 0.3, "{reached} {balance}");
    let flat = row(72.0 + 140.0)..row(72.0 + 159.0);
    assert!(mean(&power[flat]) > 20.0);
}

/// The phantom begins where the recorded mode changes, while nobody pedals, in FIT and in CSV.
#[test]
fn a_phantom_stands_at_the_noted_switch_of_modes() {
    let plan = Plan::built_in("slopes").unwrap();
    for format in [Format::Fit, Format::Delimited] {
        let mut scenario = Scenario::for_plan(&plan);
        let fault: Fault = "phantom-switch=500".parse().unwrap();
        fault.put_into(&mut scenario, &plan).unwrap();
        scenario.devices[0].recorder.format = format;
        let rehearsal = ride(&plan, &scenario, 12).unwrap();
        let truth = &rehearsal.truth;
        let switch_s = truth.slopes.as_ref().unwrap().switches_s[0];
        assert_eq!(truth.streams[0].surges[0].from_s, switch_s);
        let folder = tempfile::tempdir().unwrap();
        let session = rehearsal.session(SessionOptions {
            clocks_known: true,
            tagged: false,
        });
        write_session(&rehearsal, &session, folder.path()).unwrap();
        let opened = OpenedSession::open(folder.path(), OpenOptions::default()).unwrap();
        let recording = opened.sources[0].recording().unwrap();
        assert_eq!(recording.modes, rehearsal.streams[0].modes);
        let aligned = Aligned::new(&opened);
        let modes = truing::analysis::ride::modes(&aligned);
        let words: Vec<&str> = modes.iter().map(|(_, word)| &**word).collect();
        assert_eq!(words, ["set power", "simulation", "set power"]);
        assert!((modes[1].0.from_s - switch_s).abs() <= 1.0, "{modes:?}");
        let cadence = aligned.tracks[1].column(Channel::Cadence).unwrap();
        let power = aligned.tracks[0].column(Channel::Power).unwrap();
        let rows = aligned.grid.rows(Span::new(switch_s + 4.0, switch_s + 8.0));
        assert!(
            cadence[rows.clone()]
                .iter()
                .all(|rpm| *rpm == 0.0 || rpm.is_nan())
        );
        assert!(power[rows].iter().all(|watts| *watts > 450.0));
    }
}

/// A ride whose sprints are all on one slope can be rehearsed too: nothing then tells a lag from a
/// flywheel.
#[test]
fn the_sprints_of_the_plan_can_be_put_on_one_slope() {
    let mut plan = Plan::built_in("slopes").unwrap();
    for phase in &mut plan.phases {
        if phase.kind == Kind::Sprint {
            phase.grades_percent = vec![0.0];
            phase.gear = Some("50/15".parse().unwrap());
        }
    }
    let rehearsal = ride(&plan, &Scenario::for_plan(&plan), 9).unwrap();
    let sprints = of(&rehearsal, Kind::Sprint);
    assert_eq!(sprints.len(), 2);
    assert!(
        sprints
            .iter()
            .all(|leg| leg.grade_percent(0.0) == Some(0.0))
    );
    let refused = "kind = \"sprint\"\nduration_s = 60\nset_point_w = 9\npeak_w = 90\neffort_s = 9\ngrades_percent = [0, 1]";
    let text = format!("title = \"t\"\npurpose = \"p\"\n[[phase]]\n{refused}\n");
    let error = Plan::from_toml("own.toml", &text).unwrap_err().to_string();
    assert!(error.contains("at most one of grades_percent"), "{error}");
}

/// The plan held against its own ride finds nothing missing; without its tags, everything.
#[test]
fn the_plan_of_slopes_checks_a_ride_after_it() {
    let rehearsal = rehearse("slopes", &[], 5);
    for tagged in [true, false] {
        let options = SessionOptions {
            clocks_known: true,
            tagged,
        };
        let opened = rehearsal.opened(options);
        let table = table(&opened.session, &Aligned::new(&opened));
        let check = check(&rehearsal.plan, &table);
        let is_there = |phase: &PhaseCheck| phase.ridden == Ridden::AsPlanned;
        assert!(
            check.phases.iter().all(|phase| is_there(phase) == tagged),
            "{:?}",
            check.phases
        );
        let kinds = |kind| {
            check
                .phases
                .iter()
                .filter(|phase| phase.kind == kind)
                .count()
        };
        assert_eq!(
            (kinds(Kind::Slope), kinds(Kind::Sprint), kinds(Kind::Coast)),
            (2, 2, 3)
        );
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
