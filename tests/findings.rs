//! `truing findings` with the real binary: what a tester asks, answered on every surface in one voice.
#![allow(clippy::unwrap_used)]

use std::path::{Path, PathBuf};

use crate::program::truing;
use serde_json::Value;

/// A rehearsed, tagged ride that visits what every question needs.
fn all_round(folder: &Path, seed: &str, faults: &[&str]) -> PathBuf {
    let target = folder.join("ride");
    let named = target.to_str().unwrap().to_owned();
    let mut arguments = vec!["rehearse", "all-round", "-o", &named, "--seed", seed];
    arguments.extend(["--tagged", "--clocks", "known"]);
    for fault in faults {
        arguments.extend(["--fault", fault]);
    }
    let (_, said, code) = truing(&arguments);
    assert_eq!(code, 0, "{said}");
    target
}

/// The answers by key: outcome and sentence.
fn answers(session: &Path) -> (Value, impl Fn(&str) -> (String, String)) {
    let named = session.to_str().unwrap();
    let (json, said, code) = truing(&["findings", named, "--format", "json"]);
    assert_eq!(code, 0, "{said}");
    let json: Value = serde_json::from_str(&json).unwrap();
    let listed = json["answers"].as_array().unwrap().clone();
    let of = move |key: &str| {
        let answer = listed.iter().find(|a| a["question"] == key).unwrap();
        let text = |field: &str| answer[field].as_str().unwrap().to_owned();
        (text("outcome"), text("sentence"))
    };
    (json, of)
}

const SIX: [&str; 6] = [
    "phantom-switch=600",
    "cadence-jump=15",
    "hold=-3",
    "surging=5",
    "slow-step=5",
    "gradient-delay=6",
];

#[test]
fn six_faults_are_named_in_one_headline_on_every_surface() {
    let folder = tempfile::tempdir().unwrap();
    let session = all_round(folder.path(), "7", &SIX);
    let (json, of) = answers(&session);
    for key in [
        "phantom",
        "cadence",
        "hold",
        "steadiness",
        "follow",
        "gradient",
    ] {
        let (outcome, sentence) = of(key);
        assert_eq!(outcome, "fault", "{key}: {sentence}");
    }
    for key in ["references", "clocks", "accuracy", "dropouts", "work"] {
        let (outcome, sentence) = of(key);
        assert_eq!(outcome, "fine", "{key}: {sentence}");
    }
    let headline = json["headline"].as_str().unwrap();
    for words in [
        "Reads within its claim at held power, but",
        "W that nobody makes",
        "holds its set points 3 W low",
        "a gradient 6 s late",
        "to follow a new set point",
        " W every 12 s",
        "has its cadence wrong by 15 rpm",
    ] {
        assert!(headline.contains(words), "{words}: {headline}");
    }
    let named = session.to_str().unwrap();
    let one_line = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    for arguments in [
        vec!["findings", named],
        vec!["findings", named, "--format", "markdown"],
        vec!["verdict", named],
        vec!["verdict", named, "--format", "markdown"],
    ] {
        let (text, _, _) = truing(&arguments);
        assert!(
            one_line(&text).starts_with(headline),
            "{arguments:?}\n{text}"
        );
    }
    let (verdict, _, _) = truing(&["verdict", named, "--format", "json"]);
    let verdict: Value = serde_json::from_str(&verdict).unwrap();
    assert_eq!(verdict["headline"], json["headline"]);
    assert_eq!(verdict["questions"], json["answers"]);
    let page = folder.path().join("page.html");
    let (_, said, code) = truing(&["report", named, "-o", page.to_str().unwrap()]);
    assert_eq!(code, 0, "{said}");
    let page = std::fs::read_to_string(page).unwrap();
    // Set for reading: a number keeps its unit on the line, a minus is one.
    let page = page.replace('\u{a0}', " ").replace('\u{2212}', "-");
    assert!(page.contains(headline), "{headline}");
    let (survey, _, _) = truing(&["survey", named, "--format", "json"]);
    let survey: Value = serde_json::from_str(&survey).unwrap();
    assert_eq!(survey["sessions"][0]["headline"], json["headline"]);
    let (csv, _, _) = truing(&["findings", named, "--format", "csv"]);
    assert_eq!(csv.lines().count(), 16, "{csv}");
    let (_, _, code) = truing(&["findings", named, "--strict"]);
    assert_eq!(code, 3);
}

#[test]
fn a_ride_with_nothing_wrong_says_so_in_one_line() {
    let folder = tempfile::tempdir().unwrap();
    let session = all_round(folder.path(), "11", &[]);
    let (json, _) = answers(&session);
    assert_eq!(
        json["headline"],
        "Reads within its claim at held power; nothing found wrong"
    );
    let named = session.to_str().unwrap();
    let (text, _, code) = truing(&["findings", named, "--strict"]);
    assert_eq!(code, 0);
    assert!(!text.contains('✗'), "{text}");
}

/// Power by the second: 200 W with a little unrest, in a column of this name.
fn recording(file: &Path, seconds: usize, column: &str, gain: f64) {
    let mut text = format!("time,{column}\n");
    for t in 0..seconds {
        let unrest = 3.0 * ((t * 7919 % 13) as f64 - 6.0) / 6.0;
        let noise = 2.0 * ((t * 104_729 % 17) as f64 - 8.0) / 8.0 * gain;
        let watts = gain * (200.0 + unrest) + noise;
        text.push_str(&format!("{t},{watts:.1}\n"));
    }
    std::fs::write(file, text).unwrap();
}

fn started(folder: &Path, files: &[(&str, &str, f64)], seconds: usize, more: &[&str]) -> PathBuf {
    let target = folder.join("session");
    let mut arguments = vec!["new".to_owned(), target.to_str().unwrap().to_owned()];
    for (name, column, gain) in files {
        let file = folder.join(name);
        recording(&file, seconds, column, *gain);
        arguments.push(file.to_str().unwrap().to_owned());
    }
    arguments.extend(more.iter().map(|&one| one.to_owned()));
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let (_, said, code) = truing(&arguments);
    assert_eq!(code, 0, "{said}");
    target
}

#[test]
fn one_stream_ten_minutes_no_tags_no_cadence_say_what_would_tell() {
    let folder = tempfile::tempdir().unwrap();
    let session = started(folder.path(), &[("trainer.csv", "power", 1.0)], 600, &[]);
    let (json, of) = answers(&session);
    for answer in json["answers"].as_array().unwrap() {
        let outcome = answer["outcome"].as_str().unwrap();
        assert_ne!(outcome, "fault", "{answer}");
        let tells = answer["would_tell"].as_str().is_some_and(|t| !t.is_empty());
        assert!(outcome == "fine" || tells, "{answer}");
    }
    assert_eq!(of("references").0, "not-ridden");
    assert_eq!(of("cadence").0, "not-ridden");
    assert!(of("cadence").1.contains("records no cadence"));
    assert_eq!(of("dropouts").0, "fine");
}

#[test]
fn a_loss_that_is_not_stated_turns_no_answer_over() {
    let files = [
        ("trainer.csv", "power", 0.975),
        ("pedals.csv", "power", 1.0),
    ];
    let stated = ["--claim", "2", "--reference-claim", "pedals=0.5"];
    let outcome_with = |more: &[&str]| {
        let folder = tempfile::tempdir().unwrap();
        let arguments = [&stated[..], more].concat();
        let session = started(folder.path(), &files, 900, &arguments);
        let (_, of) = answers(&session);
        of("accuracy")
    };
    let (open, sentence) = outcome_with(&[]);
    assert_eq!(open, "cannot-tell", "{sentence}");
    assert!(sentence.contains("loss"), "{sentence}");
    assert_eq!(outcome_with(&["--loss", "2.2,0.3"]).0, "fine");
    // A stated 0 is a statement: nothing is taken off, and 2.5 % low is beyond ±2 %.
    let (stated_none, sentence) = outcome_with(&["--loss", "0,0"]);
    assert_eq!(stated_none, "cannot-tell", "{sentence}");
    assert!(!sentence.contains("loss"), "{sentence}");
}

#[test]
fn a_limit_of_the_session_decides_in_place_of_the_default() {
    let folder = tempfile::tempdir().unwrap();
    let session = all_round(folder.path(), "11", &[]);
    let file = session.join("session.toml");
    let text = std::fs::read_to_string(&file).unwrap();
    std::fs::write(&file, format!("{text}\n[limits]\nfollow_s = 1.0\n")).unwrap();
    let (json, of) = answers(&session);
    let (outcome, sentence) = of("follow");
    assert_eq!(outcome, "fault", "{sentence}");
    assert!(
        sentence.contains("limit 1 s (of this session)"),
        "{sentence}"
    );
    let follow = json["answers"].as_array().unwrap();
    let follow = follow.iter().find(|a| a["question"] == "follow").unwrap();
    assert_eq!(follow["limit_from"], "session");
    std::fs::write(&file, format!("{text}\n[limits]\nfollow_s = -1\n")).unwrap();
    let (_, said, code) = truing(&["findings", session.to_str().unwrap()]);
    assert_eq!(code, 1);
    assert!(
        said.contains("[limits]") && said.contains("follow_s"),
        "{said}"
    );
}
