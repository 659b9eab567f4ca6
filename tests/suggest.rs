//! `truing suggest` on a written session: what it suggests, and what --write adds.

use std::path::Path;

use assert_cmd::Command;
use truing::plan::Plan;
use truing::rehearse::{Scenario, SessionOptions, ride, write_session};
use truing::session::{Kind, store};

/// A full bench ride on disk, clocks known, nothing tagged.
fn bench() -> tempfile::TempDir {
    let plan = Plan::built_in("full-bench").unwrap();
    let rehearsal = ride(&plan, &Scenario::default(), 3).unwrap();
    let options = SessionOptions {
        clocks_known: true,
        tagged: false,
    };
    let folder = tempfile::tempdir().unwrap();
    write_session(&rehearsal, &rehearsal.session(options), folder.path()).unwrap();
    folder
}

fn suggest(folder: &Path, words: &[&str]) -> String {
    let output = Command::cargo_bin("truing")
        .unwrap()
        .arg("suggest")
        .arg(folder)
        .args(words)
        .assert()
        .success()
        .get_output()
        .clone();
    String::from_utf8(output.stdout).unwrap()
}

#[test]
fn every_phase_of_the_bench_is_proposed_and_written_once() {
    let folder = bench();
    let text = suggest(folder.path(), &["--format", "json"]);
    let document: serde_json::Value = serde_json::from_str(&text).unwrap();
    let suggestions = document["proposals"].as_array().unwrap();
    let of = |kind: &str| suggestions.iter().filter(|p| p["kind"] == kind).count();
    assert_eq!(
        (of("steady-block"), of("sprint"), of("coast")),
        (4, 2, 2),
        "{text}"
    );
    assert_eq!((of("ramp"), of("gear-change")), (1, 1), "{text}");
    for suggestion in suggestions {
        assert!(suggestion["from_s"].as_f64() < suggestion["to_s"].as_f64());
        assert!(!suggestion["reason"].as_str().unwrap().is_empty());
    }
    assert_eq!(store::load(folder.path()).unwrap().session.segments, vec![]);

    suggest(folder.path(), &["--write"]);
    let written = store::load(folder.path()).unwrap().session.segments;
    assert_eq!(written.len(), suggestions.len());
    let powers: Vec<Option<f64>> = written
        .iter()
        .filter(|segment| segment.kind == Kind::SteadyBlock)
        .map(|segment| segment.set_point_w)
        .collect();
    assert_eq!(powers, [120.0, 180.0, 240.0, 300.0].map(Some));

    suggest(folder.path(), &["--write"]);
    assert_eq!(
        store::load(folder.path()).unwrap().session.segments,
        written
    );
}

#[test]
fn tables_carry_one_line_a_proposal() {
    let folder = bench();
    let csv = suggest(folder.path(), &["--format", "csv"]);
    assert!(
        csv.starts_with("kind,from_s,to_s,set_point_w,basis,reason\n"),
        "{csv}"
    );
    let markdown = suggest(folder.path(), &["--format", "markdown"]);
    assert_eq!(markdown.lines().count(), csv.lines().count() + 1);
    let text = suggest(folder.path(), &[]);
    assert_eq!(text.lines().count() + 1, csv.lines().count());
    assert!(text.contains("nobody pedals for"), "{text}");
}

#[test]
fn a_folder_without_a_session_is_told() {
    let empty = tempfile::tempdir().unwrap();
    Command::cargo_bin("truing")
        .unwrap()
        .arg("suggest")
        .arg(empty.path())
        .assert()
        .code(1);
}
