//! Plans as workouts by the FIT protocol: read back by our own reader and by an independent decoder,
//! and known again in a ride.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::Path;

use assert_cmd::Command;
use serde_json::Value;
use truing::plan::{Plan, workout};
use truing::recording::{ReadOptions, read_bytes, workout_in};
use truing::rehearse::{Scenario, SessionOptions, ride, write_session};
use truing::session::Kind;

fn truing(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_truing"));
    command.args(arguments);
    command
}

/// Made by `oracles/read_workouts.py`: what an independent decoder reads of every plan at 80 %.
#[test]
fn an_independent_decoder_reads_every_step() {
    let golden: Value = serde_json::from_str(include_str!("golden/workouts.json")).unwrap();
    for name in Plan::names() {
        let plan = Plan::built_in(name).unwrap().scaled(80.0).unwrap();
        let read = &golden["workouts"][name];
        assert_eq!(read["name"], plan.full_name());
        assert_eq!(read["type"], "workout");
        let steps = workout::steps(&plan);
        assert_eq!(
            read["num_valid_steps"].as_u64(),
            Some(steps.len() as u64),
            "{name}"
        );
        let read = read["steps"].as_array().unwrap();
        assert_eq!(read.len(), steps.len(), "{name}");
        for (step, read) in steps.iter().zip(read) {
            assert_eq!(read["name"], step.name, "{name}");
            assert_eq!(read["notes"].as_str().unwrap_or(""), step.note, "{name}");
            assert_eq!(read["seconds"].as_f64(), Some(step.duration_s), "{name}");
            for end in ["low_w", "high_w"] {
                assert_eq!(read[end].as_f64(), step.target_w, "{name}: {}", step.name);
            }
        }
    }
}

#[test]
fn our_own_reader_reads_the_same_and_takes_it_for_no_ride() {
    for name in Plan::names() {
        let plan = Plan::built_in(name).unwrap();
        let bytes = workout::fit(&plan, 1_795_590_000).unwrap();
        let mut at_s = 0.0;
        let mut expected = Vec::new();
        for step in workout::steps(&plan) {
            if let Some(watts) = step.target_w {
                expected.push((at_s, at_s + step.duration_s, watts));
            }
            at_s += step.duration_s;
        }
        assert_eq!(at_s, plan.duration_s());
        let found: Vec<_> = workout_in(&bytes)
            .iter()
            .map(|step| (step.from_s, step.to_s, step.watts))
            .collect();
        assert_eq!(found, expected, "{name}");
        let refused = read_bytes(Path::new("x.fit"), &bytes, &ReadOptions::default());
        assert!(refused.unwrap_err().to_string().contains("kind “workout”"));
    }
}

#[test]
fn what_no_workout_can_ask_for_is_open_with_its_note() {
    let plan = Plan::built_in("full-bench").unwrap();
    let steps = workout::steps(&plan);
    for (kind, words) in [
        (Kind::Sprint, "All out"),
        (Kind::Coast, "Do not pedal"),
        (Kind::GearChange, "shift every 60 s: "),
    ] {
        let mut open = steps
            .iter()
            .filter(|step| step.name == kind.word() && step.target_w.is_none());
        let step = open.next().unwrap_or_else(|| panic!("{kind}"));
        assert!(step.note.contains(words), "{step:?}");
    }
    for step in &steps {
        assert!(step.target_w.is_some() || !step.note.is_empty(), "{step:?}");
    }
    let slopes = workout::steps(&Plan::built_in("slopes").unwrap());
    assert!(
        slopes
            .iter()
            .any(|step| step.note.starts_with("Set the grade to 4 %"))
    );
    // A sprint on a slope holds no power before and after it: the rider does.
    let sprint = slopes.iter().filter(|step| step.name.starts_with("sprint"));
    let rolling = "Set the grade to 4 % and ride at 190 W";
    assert!(sprint.clone().all(|step| step.target_w.is_none()));
    assert_eq!(
        sprint.filter(|step| step.note.starts_with(rolling)).count(),
        2
    );
}

#[test]
fn a_workout_is_written_beside_its_sheet_and_never_over_another_file() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("easy.fit");
    let path = path.to_str().unwrap();
    let arguments = ["plan", "short-check", "--scale", "75", "-o", path];
    let done = truing(&arguments).assert().success().get_output().clone();
    let sheet = String::from_utf8(done.stdout).unwrap();
    for words in [
        "at 75 % of its powers",
        "Every power is 75 %",
        "Maximal and long efforts can hurt",
    ] {
        let flat = sheet.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(words), "{words}: {sheet}");
    }
    assert!(!workout_in(&std::fs::read(path).unwrap()).is_empty());
    truing(&arguments).assert().code(1);
    truing(&[&arguments[..], &["--force"]].concat())
        .assert()
        .success();
    let other = folder.path().join("easy.txt");
    let wrong = ["plan", "short-check", "-o", other.to_str().unwrap()];
    truing(&wrong).assert().code(2);
    truing(&["plan", "short-check", "--scale", "5"])
        .assert()
        .code(1);
}

/// The recorder keeps the workout that it rode, and with it the plan's name and share.
#[test]
fn a_ride_made_from_a_workout_is_known_again() {
    let folder = tempfile::tempdir().unwrap();
    let plan = Plan::built_in("short-check").unwrap().scaled(80.0).unwrap();
    let ridden = ride(&plan, &Scenario::default(), 2_100_002).unwrap();
    let mut session = ridden.session(SessionOptions {
        clocks_known: true,
        tagged: true,
    });
    session.facts.clear();
    write_session(&ridden, &session, folder.path()).unwrap();
    let check = [
        "plan",
        "--check",
        folder.path().to_str().unwrap(),
        "--format",
        "json",
    ];
    let done = truing(&check).assert().success().get_output().clone();
    let found: Value = serde_json::from_slice(&done.stdout).unwrap();
    assert_eq!(found["plan"], "short-check 80 %");
    for phase in found["phases"].as_array().unwrap() {
        assert_eq!(phase["ridden"], "as-planned", "{phase}");
    }
}
