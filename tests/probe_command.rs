//! `truing probe` on the real binary.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::Path;

use crate::fit_bytes::*;
use assert_cmd::Command;

fn write(folder: &Path, name: &str, bytes: &[u8]) -> String {
    let path = folder.join(name);
    std::fs::write(&path, bytes).unwrap();
    path.to_str().unwrap().to_owned()
}

fn probe(arguments: &[&str]) -> (i32, String, String) {
    let output = Command::cargo_bin("truing")
        .unwrap()
        .arg("probe")
        .args(arguments)
        .output()
        .unwrap();
    (
        output.status.code().unwrap(),
        String::from_utf8(output.stdout).unwrap(),
        String::from_utf8(output.stderr).unwrap(),
    )
}

#[test]
fn text_fits_eighty_columns_and_tells_the_damage() {
    let folder = tempfile::tempdir().unwrap();
    let bytes = ride(600).file();
    write(folder.path(), "hub.fit", &bytes[..bytes.len() - 900]);
    let output = Command::cargo_bin("truing")
        .unwrap()
        .current_dir(folder.path())
        .args(["probe", "hub.fit"])
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    for line in text.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
    for wanted in [
        "hub.fit",
        "format     FIT, times absolute",
        "stream     hub",
        "time       2026-11-25T07:00:00Z to",
        "every 1 s",
        "power, W",
        "DAMAGE     500 records read",
    ] {
        assert!(text.contains(wanted), "no “{wanted}” in\n{text}");
    }
    assert!(output.stderr.is_empty());
}

#[test]
fn json_has_the_promised_fields() {
    let folder = tempfile::tempdir().unwrap();
    let path = write(folder.path(), "hub.fit", &ride(10).file());
    let (code, text, _) = probe(&[&path, "--format", "json"]);
    assert_eq!(code, 0);
    let json: serde_json::Value = serde_json::from_str(&text).unwrap();
    let recording = &json["recordings"][0];
    assert_eq!(recording["format"], "fit");
    assert_eq!(recording["time_base"], "absolute");
    let stream = &recording["streams"][0];
    assert_eq!(stream["samples"], 10);
    assert_eq!(stream["first"], "2026-11-25T07:00:00Z");
    assert_eq!(stream["median_interval_s"], 1.0);
    assert_eq!(stream["gaps"]["count"], 0);
    assert_eq!(stream["channels"][0]["channel"], "power");
    assert_eq!(stream["channels"][0]["mean"], 104.5);
    for list in ["laps", "events", "set_points", "damage", "remarks"] {
        assert!(recording[list].is_array(), "{list}");
    }
}

#[test]
fn one_bad_recording_does_not_hide_the_others() {
    let folder = tempfile::tempdir().unwrap();
    let good = write(folder.path(), "good.csv", b"time_s,power_w\n0,100\n1,101\n");
    let bad = write(folder.path(), "bad.csv", b"time_s,torque\n0,100\n");
    let (code, text, errors) = probe(&[&bad, &good]);
    assert_eq!(code, 1);
    assert!(text.contains("good.csv"));
    assert!(
        errors.contains("bad.csv") && errors.contains("no power column"),
        "{errors}"
    );
}

#[test]
fn strict_refuses_damage() {
    let folder = tempfile::tempdir().unwrap();
    let bytes = ride(100).file();
    let path = write(folder.path(), "cut.fit", &bytes[..500]);
    assert_eq!(probe(&[&path]).0, 0);
    let (code, _, errors) = probe(&[&path, "--strict"]);
    assert_eq!(code, 1);
    assert!(errors.contains("leave out --strict"), "{errors}");
}

/// Names in a recording cannot steer the terminal.
#[test]
fn control_characters_never_reach_the_terminal() {
    let folder = tempfile::tempdir().unwrap();
    let text = b"time_s,\x1b[31mhub power\x07 (W)\n0,100\n1,101\n";
    let path = write(folder.path(), "odd.csv", text);
    for format in ["text", "json"] {
        let (code, text, _) = probe(&[&path, "--format", format]);
        assert_eq!(code, 0);
        assert!(!text.contains(['\u{1b}', '\u{7}']), "{text:?}");
        assert!(!text.contains("\\u001b"), "{text}");
    }
}
