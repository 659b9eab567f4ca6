//! From four recordings to a published page and table: how many keys it takes.

#![cfg(feature = "workbench")]

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::pty::Desk;

const ENTER: &str = "\r";
const ESC: &str = "\x1b";
const DOWN: &str = "\x1b[B";

/// Most keys from the recordings to the page.
const MOST_KEYS_TO_PAGE: usize = 25;
/// Most keys that the whole evening may take.
const MOST_KEYS: usize = 40;

/// One ride on four recorders: a trainer, pedals, a crank; and a second pair of pedals, whose clock
/// and scale are their own.
fn four_recordings(home: &Path) -> Vec<PathBuf> {
    for (folder, faults) in [
        ("first", &["gain=-3"][..]),
        ("second", &["gain=0.5@pedals", "clock=4@pedals"][..]),
    ] {
        let mut command = Command::new(env!("CARGO_BIN_EXE_truing"));
        command.args(["rehearse", "full-bench", "--seed", "3", "-o"]);
        command.arg(home.join(folder));
        for fault in faults {
            command.args(["--fault", fault]);
        }
        let output = command.output().unwrap();
        let told = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{told}");
    }
    ["trainer.fit", "pedals.fit", "crank.csv"]
        .iter()
        .map(|name| home.join("first/recordings").join(name))
        .chain([home.join("second/recordings/pedals.fit")])
        .enumerate()
        .map(|(place, from)| {
            let to = home.join(format!(
                "{place}-{}",
                from.file_name().unwrap().to_str().unwrap()
            ));
            std::fs::copy(from, &to).unwrap();
            to
        })
        .collect()
}

#[test]
fn from_four_recordings_to_a_page_and_a_table_of_eight_segments_in_few_keys() {
    let home = tempfile::tempdir().unwrap();
    let recordings = four_recordings(home.path());
    let names: Vec<&str> = recordings
        .iter()
        .map(|path| path.to_str().unwrap())
        .collect();
    let mut desk = Desk::open(&names, home.path(), 80, 24);
    desk.wait_for("no folder yet");

    // What the maker states: 3 %.
    desk.press("E");
    desk.wait_for("streams: what they are");
    desk.press("C");
    desk.wait_for("the session's claim, ± % of reading");
    desk.press("3");
    desk.press(ENTER);
    desk.wait_for("claim of the session: 3 %");
    desk.press(ESC);
    desk.wait_until("the ride", |screen| {
        !screen.contains("streams: what they are")
    });

    // The suggestions, one by one, until eight are tagged.
    desk.press("i");
    for tagged in 1..=8 {
        desk.wait_for(&format!("Suggestion {tagged} of"));
        desk.press(ENTER);
    }
    desk.wait_for("Suggestion 9 of");
    desk.press(ESC);
    desk.wait_until("the ride", |screen| !screen.contains("Suggestion 9 of"));

    desk.press("S");
    desk.wait_for("save as a new session in the folder");
    desk.press(ENTER);
    desk.wait_for("saved ");
    desk.press("X");
    desk.press("r");
    desk.wait_for("new-session/report.html");
    desk.press(ENTER);
    desk.wait_for("wrote the report to");
    let keys = desk.pressed();
    println!("{keys} keys to the page");
    assert!(keys <= MOST_KEYS_TO_PAGE, "{keys} keys");
    let page = std::fs::read_to_string(home.path().join("new-session/report.html")).unwrap();
    assert!(page.contains("steady-block") && page.ends_with("</html>\n"));

    // A note to the last of them.
    desk.press(DOWN);
    desk.press("n");
    desk.wait_for("note to the segment");
    for letter in "seated".chars() {
        desk.press(&letter.to_string());
    }
    desk.press(ENTER);
    desk.wait_for("note on");

    desk.press("X");
    desk.press("t");
    desk.wait_for("new-session/segments.csv");
    desk.press(ENTER);
    desk.wait_for("wrote the segment table to");
    desk.press("S");
    desk.wait_until("nothing unsaved", |screen| !screen.contains("not saved"));
    desk.press("q");
    let keys = desk.pressed();
    assert_eq!(desk.end(), (0, true));
    println!("{keys} keys");
    assert!(keys <= MOST_KEYS, "{keys} keys");

    let file = home.path().join("new-session/segments.csv");
    let mut reader = csv::Reader::from_path(file).unwrap();
    let rows: Vec<std::collections::HashMap<String, String>> =
        reader.deserialize().map(|row| row.unwrap()).collect();
    let mut ids: Vec<&str> = rows.iter().map(|row| row["segment_id"].as_str()).collect();
    ids.dedup();
    assert_eq!(ids.len(), 8);
    assert!(
        rows.iter().all(|row| row["reference"] == "consensus"),
        "{rows:?}"
    );
    assert!(rows.iter().any(|row| row["note"] == "seated"));
    let decided = |row: &&std::collections::HashMap<String, String>| !row["finding"].is_empty();
    assert!(rows.iter().filter(decided).count() >= 3);
}
