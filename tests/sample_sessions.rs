//! The sample sessions are what `rehearse` makes of these scenarios, byte for byte.
//!
//! With `TRUING_WRITE_SAMPLES` set, they are written anew instead.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use truing::analysis::dropout::DropoutKind;
use truing::plan::Plan;
use truing::recording::{Channel, ReadOptions};
use truing::rehearse::{
    Control, Device, LevelError, Pause, PlannedDropout, Rehearsal, Scenario, SessionOptions,
    Simulation, Surge, ride, write_session,
};
use truing::session::{Fact, Kind, OpenOptions, OpenedSession, Session, Words};

/// A sample session: its folder, its ride, and the session with facts and words.
struct Sample {
    folder: &'static str,
    rehearsal: Rehearsal,
    session: Session,
}

fn samples() -> Vec<Sample> {
    vec![bench_ride(), heat_soak(), slopes()]
}

fn bench_ride() -> Sample {
    let plan = Plan::built_in("full-bench").unwrap();
    let mut scenario = bench();
    let trainer = &mut scenario.devices[0];
    // A scale that reads more and more above the truth from the middle powers on.
    trainer.level = [(110.0, 0.3), (175.0, 1.3), (235.0, 4.4), (290.0, 3.9)]
        .map(|(at_w, percent)| LevelError { at_w, percent })
        .to_vec();
    trainer.gear_percent = 1.4;
    trainer.heat_percent = -0.6;
    trainer.dead_time_s = 0.6;
    trainer.time_constant_s = 1.6;
    trainer.ceiling_w = Some(620.0);
    trainer.phantom_w = 38.0;
    trainer.phantom_s = 9.0;
    trainer.cadence_spike_percent = 5.0;
    // In the 300 W block, and while spinning easily after the steps.
    trainer.dropouts = vec![PlannedDropout {
        at_s: 1621.0,
        duration_s: 7.0,
        kind: DropoutKind::Gap,
    }];
    trainer.surges = vec![Surge {
        at_s: 1003.0,
        duration_s: 6.0,
        watts: 95.0,
    }];
    let rehearsal = ride(&plan, &scenario, 20_260_308).unwrap();
    let mut session = rehearsal.session(SessionOptions {
        clocks_known: true,
        tagged: false,
    });
    session.title = "Bench ride, trainer 7".to_owned();
    session.facts = facts(&[
        ("plan", "full-bench"),
        ("room", "19 to 21 °C, fan on the rider"),
    ]);
    session.words = Words {
        summary: "Came in as a trade-in with the remark that it flatters hard riding. Bench ride \
                  before it goes on the lending shelf."
            .to_owned(),
        for_: vec!["Quiet, and quick to set up.".to_owned()],
        against: vec!["Felt slow to notice both sprints.".to_owned()],
    };
    Sample {
        folder: "bench-ride",
        rehearsal,
        session,
    }
}

fn heat_soak() -> Sample {
    let plan = Plan::built_in("heat-soak").unwrap();
    let mut scenario = bench();
    let trainer = &mut scenario.devices[0];
    trainer.gain_percent = 1.6;
    trainer.heat_percent = -3.4;
    trainer.dead_time_s = 0.4;
    trainer.time_constant_s = 1.1;
    scenario.devices[2].recorder.pauses = vec![Pause {
        at_s: 1510.0,
        duration_s: 42.0,
    }];
    scenario.start_unix_s += 7 * 86_400;
    let rehearsal = ride(&plan, &scenario, 20_260_315).unwrap();
    let mut session = rehearsal.session(SessionOptions {
        clocks_known: true,
        tagged: true,
    });
    session.title = "Heat soak, trainer 4".to_owned();
    session.facts = facts(&[
        ("plan", "heat-soak"),
        ("room", "20 °C, fan on the rider only"),
    ]);
    session.facts[0].value = "trainer 4 of the lending shelf".to_owned();
    session.words = Words {
        summary: "A borrower reported easy evenings after half an hour. An hour at one power to \
                  see whether the unit drifts."
            .to_owned(),
        for_: vec!["No dropout in an hour.".to_owned()],
        against: vec!["The crank's recorder was paused by mistake for 42 s.".to_owned()],
    };
    Sample {
        folder: "heat-soak",
        rehearsal,
        session,
    }
}

fn slopes() -> Sample {
    let plan = Plan::built_in("slopes").unwrap();
    let mut scenario = bench();
    scenario.control = Some(Control::default());
    scenario.simulation = Simulation {
        flywheel_kg: 20.0,
        gradient_share: 0.8,
        gradient_delay_s: 1.2,
        gradient_lag_s: 0.8,
        ..Simulation::default()
    };
    let trainer = &mut scenario.devices[0];
    // Its seconds begin just after those in which the app changes the grade.
    clock(trainer, 0.87, 12.0);
    trainer.gain_percent = 0.4;
    trainer.dead_time_s = 0.5;
    trainer.time_constant_s = 0.4;
    trainer.flywheel_kg = 12.0;
    // Where the mode changes, both ways.
    trainer.surges = [421.0, 1541.0]
        .map(|at_s| Surge {
            at_s,
            duration_s: 6.0,
            watts: 430.0,
        })
        .to_vec();
    scenario.start_unix_s += 14 * 86_400;
    let rehearsal = ride(&plan, &scenario, 20_260_322).unwrap();
    let mut session = rehearsal.session(SessionOptions {
        clocks_known: true,
        tagged: true,
    });
    session.title = "Slopes, trainer 9".to_owned();
    session.facts = facts(&[("plan", "slopes"), ("room", "20 °C, fan on the rider")]);
    session.facts[0].value = "trainer 9 of the trade-in shelf".to_owned();
    session.words = Words {
        summary: "Its last owner said that hills felt flat in it. Half an hour in simulation mode \
                  before it is sold to somebody else."
            .to_owned(),
        for_: vec!["Holds a set power without fuss.".to_owned()],
        against: vec!["Showed power on the screen while the legs stood still.".to_owned()],
    };
    Sample {
        folder: "slopes",
        rehearsal,
        session,
    }
}

/// The co-operative's bench: clocks seconds apart and drifting, references within their claims.
fn bench() -> Scenario {
    let mut scenario = Scenario::default();
    let [trainer, pedals, crank] = &mut scenario.devices[..] else {
        unreachable!("the default bench has three devices");
    };
    clock(trainer, 1.27, 12.0);
    clock(pedals, 5.43, -21.0);
    clock(crank, -7.06, 34.0);
    pedals.gain_percent = -0.2;
    crank.gain_percent = 0.3;
    scenario
}

fn clock(device: &mut Device, offset_s: f64, skew_ppm: f64) {
    device.recorder.clock_offset_s = offset_s;
    device.recorder.clock_skew_ppm = skew_ppm;
}

fn facts(own: &[(&str, &str)]) -> Vec<Fact> {
    let shared = [
        ("unit", "trainer 7 of the trade-in shelf"),
        ("tester", "the volunteer of the Saturday shift"),
        ("bench", "Quernby Repair Co-operative, back room"),
        ("bike", "the shop's steel frame, 50-tooth ring, fresh chain"),
        ("origin", "invented by truing rehearse, not measured"),
    ];
    shared
        .iter()
        .chain(own)
        .map(|(key, value)| Fact {
            key: (*key).to_owned(),
            value: (*value).to_owned(),
        })
        .collect()
}

fn shelf() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-sessions")
}

/// Every file below `folder`, by its path inside.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut out = BTreeMap::new();
    for place in ["", "recordings"] {
        for entry in std::fs::read_dir(folder.join(place)).unwrap() {
            let path = entry.unwrap().path();
            if path.is_file() {
                let name = path.strip_prefix(folder).unwrap().display().to_string();
                out.insert(name, std::fs::read(&path).unwrap());
            }
        }
    }
    out
}

#[test]
fn rebuilding_the_sample_sessions_gives_the_same_bytes() {
    for sample in samples() {
        let built = tempfile::tempdir().unwrap();
        write_session(&sample.rehearsal, &sample.session, built.path()).unwrap();
        let stored = shelf().join(sample.folder);
        if std::env::var_os("TRUING_WRITE_SAMPLES").is_some() {
            std::fs::create_dir_all(stored.join("recordings")).unwrap();
            for (name, bytes) in files(built.path()) {
                std::fs::write(stored.join(name), bytes).unwrap();
            }
        }
        let (built, stored) = (files(built.path()), files(&stored));
        let names = |files: &BTreeMap<String, Vec<u8>>| files.keys().cloned().collect::<Vec<_>>();
        assert_eq!(names(&built), names(&stored), "{}", sample.folder);
        for (name, bytes) in &built {
            assert!(stored[name] == *bytes, "{}/{name} differs", sample.folder);
        }
    }
}

#[test]
fn the_sample_sessions_open_and_hold_what_was_rehearsed() {
    for sample in samples() {
        let folder = shelf().join(sample.folder);
        let opened = OpenedSession::open(&folder, OpenOptions::default()).unwrap();
        assert!(opened.problems.is_empty(), "{:?}", opened.problems);
        assert_eq!(opened.session.streams.len(), 3);
        assert_eq!(opened.session.facts, sample.session.facts);
        for (source, stream) in opened.sources.iter().zip(&sample.rehearsal.streams) {
            let samples = source.samples().unwrap();
            assert_eq!(samples.len(), stream.samples.len());
            for (read, made) in samples.time_s().iter().zip(stream.samples.time_s()) {
                assert!((read - made).abs() < 1e-6);
            }
            for channel in stream.samples.channels() {
                let (read, made) = (samples.column(channel), stream.samples.column(channel));
                assert!(same(read.unwrap(), made.unwrap()), "{channel:?}");
            }
        }
    }
}

/// What the ride in the hills is there to show is in its recordings: power where nobody makes any,
/// at both changes of mode and at the third coast none; and what its session says of the simulation.
#[test]
fn the_slopes_hold_their_faults() {
    let Sample {
        rehearsal, session, ..
    } = slopes();
    let truth = &rehearsal.truth;
    let slopes = truth.slopes.as_ref().unwrap();
    assert_eq!((slopes.gradient_share, slopes.gradient_delay_s), (0.8, 2.0));
    let surges: Vec<f64> = truth.streams[0].surges.iter().map(|s| s.from_s).collect();
    assert_eq!(surges, slopes.switches_s);
    let told = session.simulation.unwrap();
    assert_eq!(
        (told.mass_kg, told.rolling, told.drag_kg_m),
        (85.0, 0.004, 0.192)
    );
    assert!(session.allowance.is_some() && session.claim.percent > 0.0);
    let coasts = truth
        .segments
        .iter()
        .filter(|segment| segment.kind == Kind::Coast);
    let highest = coasts.map(|coast| {
        let power = rehearsal.streams[0].samples.column(Channel::Power).unwrap();
        let rows = coast.from_s as usize + 3..coast.to_s as usize;
        power[rows].iter().copied().fold(0.0, f64::max)
    });
    let highest: Vec<f64> = highest.collect();
    assert!(
        matches!(highest[..], [one, two, three] if one > 400.0 && two > 400.0 && three < 20.0),
        "{highest:?}"
    );
}

/// Equal to a thousandth, missing where the other is missing.
fn same(a: &[f64], b: &[f64]) -> bool {
    let close = |(x, y): (&f64, &f64)| (x.is_nan() && y.is_nan()) || (x - y).abs() < 1e-3;
    a.len() == b.len() && a.iter().zip(b).all(close)
}

#[test]
fn laps_set_points_and_gear_changes_survive_the_files() {
    for sample in samples() {
        let recordings = shelf().join(sample.folder).join("recordings");
        let read = |name: &str| {
            truing::recording::read(&recordings.join(name), &ReadOptions::default()).unwrap()
        };
        let (trainer, pedals) = (read("trainer.fit"), read("pedals.fit"));
        assert_eq!(trainer.laps, sample.rehearsal.streams[0].laps);
        assert_eq!(trainer.set_points, sample.rehearsal.streams[0].set_points);
        assert_eq!(trainer.modes, sample.rehearsal.streams[0].modes);
        assert_eq!(pedals.events, sample.rehearsal.streams[1].events);
        assert!(
            pedals.streams[0]
                .samples
                .column(Channel::HeartRate)
                .is_some()
        );
    }
}
