//! The workbench as a person meets it: the real binary on a pseudo-terminal.

#![cfg(feature = "workbench")]

mod pty;

use std::collections::HashMap;
use std::path::Path;

use pty::{Desk, copy_of_sample};

const LEFT: &str = "\x1b[D";
const DOWN: &str = "\x1b[B";
const ESC: &str = "\x1b";

/// The workbench over a session, on the smallest screen that it promises to work on.
fn open(session: &Path, home: &Path) -> Desk {
    Desk::open(&[&session.to_string_lossy()], home, 80, 24)
}

fn go_to(desk: &mut Desk, time: &str) {
    desk.send(&format!("g{time}\r"));
    // The cursor's time leads the line of values under the strip.
    desk.wait_for(&format!("▲ {time} "));
}

/// Brushes and tags; the times are those of the plan that the sample session was made from.
fn tag(desk: &mut Desk, from: &str, to: &str, kind_key: &str, kind: &str) {
    go_to(desk, from);
    desk.send("s");
    desk.wait_for("the window's end follows the cursor");
    go_to(desk, to);
    desk.send("e");
    desk.wait_for(&format!("{from}-{to}"));
    desk.send("t");
    desk.wait_for("tag the window as");
    desk.send(kind_key);
    desk.wait_for(&format!("tag {kind} {from}-{to}"));
}

/// Rows of `truing table --format csv`, by column.
fn table(session: &Path) -> Vec<HashMap<String, String>> {
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_truing"))
        .arg("table")
        .arg(session)
        .args(["--format", "csv"])
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let mut reader = csv::Reader::from_reader(output.stdout.as_slice());
    reader.deserialize().map(|row| row.unwrap()).collect()
}

/// Bias in W and % of the segment in the list on the screen, as printed there.
fn listed(screen: &str, kind: &str) -> (String, String) {
    let line = screen.lines().find(|line| {
        let mut words = line.split_whitespace();
        words.next().is_some_and(|w| w.parse::<usize>().is_ok()) && words.next() == Some(kind)
    });
    let line = line.unwrap_or_else(|| panic!("{kind} is not listed on\n{screen}"));
    let signed: Vec<&str> = line
        .split_whitespace()
        .filter(|w| w.len() > 1 && w.starts_with(['+', '-']))
        .collect();
    let [.., watts, percent] = signed.as_slice() else {
        panic!("no figures in {line}");
    };
    ((*watts).to_owned(), (*percent).to_owned())
}

#[test]
fn tag_save_export_and_come_back() {
    let home = tempfile::tempdir().unwrap();
    let session = copy_of_sample("bench-ride", home.path());
    let mut desk = open(&session, home.path());
    desk.wait_for("press s, go to its end");
    tag(&mut desk, "3:09", "5:58", "s", "steady-block");
    tag(&mut desk, "17:19", "18:08", "p", "sprint");
    let screen = desk.wait_until("both segments", |s| {
        s.contains(" 1 steady-block") && s.contains(" 2 sprint")
    });
    let shown = [listed(&screen, "steady-block"), listed(&screen, "sprint")];
    assert!(screen.contains("not saved"));
    desk.send("S");
    desk.wait_for("saved ");
    desk.wait_until("nothing unsaved", |s| !s.contains("not saved"));
    desk.send("q");
    assert_eq!(desk.end(), (0, true));

    let rows = table(&session);
    for ((kind, from, to), (watts, percent)) in
        [("steady-block", 189.0, 358.0), ("sprint", 1039.0, 1088.0)]
            .into_iter()
            .zip(&shown)
    {
        let row = rows
            .iter()
            .find(|row| row["kind"] == kind && row["reference"] == "consensus");
        let row = row.unwrap_or_else(|| panic!("no {kind} against the consensus in the table"));
        let number = |column: &str| row[column].parse::<f64>().unwrap();
        assert_eq!((number("from_s"), number("to_s")), (from, to));
        assert_eq!(*watts, format!("{:+.1}", number("bias_w")), "{kind}");
        assert_eq!(
            *percent,
            format!("{:+.2}", number("bias_percent")),
            "{kind}"
        );
    }

    let mut desk = open(&session, home.path());
    let screen = desk.wait_for(" 2 sprint");
    assert_eq!(
        [listed(&screen, "steady-block"), listed(&screen, "sprint")],
        shown
    );
    desk.send(DOWN);
    desk.wait_for("3:09-5:58");
    desk.send("q");
    assert_eq!(desk.end(), (0, true));
}

#[test]
fn a_crash_loses_no_confirmed_edit() {
    let home = tempfile::tempdir().unwrap();
    let session = copy_of_sample("bench-ride", home.path());
    let mut desk = open(&session, home.path());
    desk.wait_for("press s, go to its end");
    tag(&mut desk, "3:09", "5:58", "s", "steady-block");
    desk.kill();

    let mut desk = open(&session, home.path());
    let screen = desk.wait_for("An earlier run ended without saving 1 edit");
    assert!(screen.contains("tag steady-block 3:09-5:58"));
    desk.send("r");
    desk.wait_for("restore 1 edit of an earlier run");
    let screen = desk.wait_for(" 1 steady-block");
    assert!(screen.contains("not saved"));
    // Another one at the same time only reads.
    let second = open(&session, home.path());
    second.wait_for("read-only");
    second.kill();
    desk.send("q");
    desk.wait_for("not everything is saved");
    desk.send("s");
    assert_eq!(desk.end(), (0, true));
    assert_eq!(
        table(&session)
            .iter()
            .filter(|row| row["reference"] == "consensus")
            .count(),
        1
    );
}

#[test]
fn signals_and_resizing_leave_a_usable_terminal() {
    let home = tempfile::tempdir().unwrap();
    let session = copy_of_sample("bench-ride", home.path());
    let mut desk = open(&session, home.path());
    desk.wait_for("press s, go to its end");
    for (columns, rows) in [
        (1, 1),
        (200, 60),
        (2, 40),
        (90, 3),
        (37, 11),
        (132, 43),
        (80, 24),
    ] {
        desk.resize(columns, rows);
        desk.send("+");
        desk.send("-");
    }
    desk.send("?");
    desk.wait_for("in every view");
    desk.send(ESC);
    desk.send(LEFT);
    desk.wait_until("the ride again", |s| {
        !s.contains("in every view") && s.contains("differ.")
    });
    let sent = std::process::Command::new("kill")
        .args(["-TERM", &desk.id().to_string()])
        .status()
        .unwrap();
    assert!(sent.success());
    assert_eq!(desk.end(), (0, true));
}

#[test]
fn pasted_garbage_and_the_mouse() {
    let home = tempfile::tempdir().unwrap();
    let session = copy_of_sample("bench-ride", home.path());
    let mut desk = open(&session, home.path());
    desk.wait_for("press s, go to its end");
    desk.send("\x1b[200~qqDDtp\x03\x1b[31m\x1b[201~");
    desk.wait_for("pasted text is ignored here");
    // Press in the lanes, drag, release: columns and rows are counted from 1.
    desk.send("\x1b[<0;20;9M\x1b[<32;25;9M\x1b[<32;30;9M\x1b[<0;30;9m");
    desk.wait_for("│window ");
    desk.send("to");
    desk.wait_for(" 1 open");
    desk.send("n");
    desk.wait_for("note to the segment");
    desk.send("\x1b[200~a\x1b]0;owned\x07b\nc\x1b[201~\r");
    desk.wait_for("note on open");
    desk.send("S");
    desk.wait_for("saved ");
    desk.send("q");
    assert_eq!(desk.end(), (0, true));
    let saved = std::fs::read_to_string(session.join("session.toml")).unwrap();
    assert!(saved.contains("note = \"a]0;ownedb c\""), "{saved}");
}

#[test]
fn keys_are_bound_anew_by_a_file_and_its_mistakes_are_told() {
    let home = tempfile::tempdir().unwrap();
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_truing"))
        .args(["keys", "--path"])
        .env_clear()
        .env("HOME", home.path())
        .output()
        .unwrap();
    assert!(output.status.success());
    let path = String::from_utf8(output.stdout).unwrap();
    let path = Path::new(path.trim_end());
    assert!(path.starts_with(home.path()), "{}", path.display());
    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
    std::fs::write(path, "go-to-time = \"G\"\nfly = \"f\"\n").unwrap();

    let session = copy_of_sample("bench-ride", home.path());
    let mut desk = open(&session, home.path());
    desk.wait_for("keys.toml: there is no action");
    desk.send("g");
    desk.wait_for("g does nothing here");
    desk.send("G5:00\r");
    desk.wait_for("▲ 5:00 ");
    desk.send("q");
    assert_eq!(desk.end(), (0, true));
}

#[test]
fn without_a_terminal_there_is_a_clear_refusal() {
    let home = tempfile::tempdir().unwrap();
    let session = copy_of_sample("bench-ride", home.path());
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_truing"))
        .arg(&session)
        .env("HOME", home.path())
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1));
    assert_eq!(output.stdout, b"");
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(told.contains("needs a terminal"), "{told}");
}
