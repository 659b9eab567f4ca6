//! The workbench as a person meets it: the real binary on a pseudo-terminal.

#![cfg(feature = "workbench")]

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use crate::pty::{Desk, copy_of_sample};
use tempfile::TempDir;

const DOWN: &str = "\x1b[B";

/// The workbench over a session, on the smallest screen that it promises to work on.
fn open(session: &Path, home: &Path) -> Desk {
    Desk::open(&[&session.to_string_lossy()], home, 80, 24)
}

/// The workbench over a copy of the sample session, its first screen seen.
fn at_the_sample() -> (TempDir, PathBuf, Desk) {
    let home = tempfile::tempdir().unwrap();
    let session = copy_of_sample("bench-ride", home.path());
    let desk = open(&session, home.path());
    desk.wait_for("by hand: s at the start");
    (home, session, desk)
}

/// The same after a steady block was tagged and the program killed.
fn after_a_crash() -> (TempDir, PathBuf) {
    let (home, session, mut desk) = at_the_sample();
    tag(&mut desk, "3:09", "5:58", "s", "steady-block");
    desk.kill();
    (home, session)
}

fn go_to(desk: &mut Desk, time: &str) {
    desk.send(&format!("g{time}\r"));
    // The cursor's time leads the line of values under the strip.
    desk.wait_for(&format!("▴{time}"));
}

/// Brushes and tags; the times are those of the plan that the sample session was made from.
fn tag(desk: &mut Desk, from: &str, to: &str, kind_key: &str, kind: &str) {
    go_to(desk, from);
    desk.send("s");
    desk.wait_for("the window's end follows the cursor");
    go_to(desk, to);
    desk.send("e");
    desk.wait_for("window of ");
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

/// The row of a segment in the list on the screen.
fn listed(screen: &str, segment: &str) -> String {
    let mut rows = screen.lines().rev();
    let row = rows.find(|line| line.contains(&format!(" {segment} ")));
    row.unwrap_or_else(|| panic!("{segment} is not listed on\n{screen}"))
        .to_owned()
}

#[test]
fn tag_save_export_and_come_back() {
    let (home, session, mut desk) = at_the_sample();
    tag(&mut desk, "3:09", "5:58", "s", "steady-block");
    tag(&mut desk, "17:19", "18:08", "p", "sprint");
    let screen = desk.wait_until("both segments", |s| {
        s.contains(" 1 steady") && s.contains(" 2 sprint") && !s.contains("pending")
    });
    let shown = [listed(&screen, "1 steady"), listed(&screen, "2 sprint")];
    assert!(screen.contains("not saved"));
    desk.send("S");
    desk.wait_for("saved ");
    desk.wait_until("nothing unsaved", |s| !s.contains("not saved"));
    desk.send("q");
    assert_eq!(desk.end(), (0, true));

    // The list says what the table says.
    let rows = table(&session);
    let [block, sprint] = rows.as_slice() else {
        panic!("{rows:?}");
    };
    let of = |row: &HashMap<String, String>, column: &str| row[column].parse::<f64>().unwrap();
    assert_eq!((of(block, "from_s"), of(block, "length_s")), (189.0, 169.0));
    assert_eq!(
        (of(sprint, "from_s"), of(sprint, "length_s")),
        (1039.0, 49.0)
    );
    let error = format!("{:+.1} ± ", of(block, "verdict_bias_percent"));
    assert!(shown[0].contains(&error), "{error}: {}", shown[0]);
    let result: String = sprint["result"].chars().take(20).collect();
    assert!(shown[1].contains(&result), "{result}: {}", shown[1]);

    // What is tagged is answered first.
    let mut desk = open(&session, home.path());
    desk.wait_for("✗ sprint");
    desk.send("\x1b");
    let screen = desk.wait_for(" 2 sprint");
    assert!(listed(&screen, "1 steady").contains(&error), "{screen}");
    desk.send(DOWN);
    desk.wait_for("ride view · 1");
    desk.send("q");
    assert_eq!(desk.end(), (0, true));
}

#[test]
fn a_crash_loses_no_confirmed_edit() {
    let (home, session) = after_a_crash();

    let mut desk = open(&session, home.path());
    let screen = desk.wait_for("An earlier run ended without saving 1 edit");
    assert!(screen.contains("tag steady-block 3:09-5:58"));
    desk.send("r");
    desk.wait_for("restore 1 edit of an earlier run");
    let screen = desk.wait_for(" 1 steady");
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
fn a_storm_of_sizes_loses_neither_keys_nor_the_screen() {
    let (_home, _, mut desk) = at_the_sample();
    let sizes = [
        (1, 1),
        (200, 60),
        (2, 40),
        (90, 3),
        (37, 11),
        (132, 43),
        (300, 90),
        (79, 23),
    ];
    // Twenty sizes a key, over every view and a list.
    for (turn, keys) in ["+", "-", "oa", "of", "oc", "ov", "op", "or", "?", "q"]
        .iter()
        .enumerate()
    {
        for place in 0..20 {
            let (columns, rows) = sizes[(turn + place) % sizes.len()];
            desk.resize(columns, rows);
        }
        desk.send(keys);
    }
    desk.resize(80, 24);
    desk.send("g5:00\r");
    let screen = desk.wait_until("the whole ride view at 80 columns", |screen| {
        screen.contains("▴5:00") && screen.contains("difference") && screen.contains("? all keys")
    });
    assert!(screen.starts_with(" Bench ride"), "{screen}");
    assert!(screen.lines().all(|line| line.chars().count() <= 80));
    desk.send("q");
    assert_eq!(desk.end(), (0, true));
}

#[test]
fn streams_are_named_and_claims_stated_in_their_dialog() {
    let (_home, session, mut desk) = at_the_sample();
    desk.send("E");
    desk.wait_for("streams: what they are");
    desk.send("l");
    desk.wait_for("label of the stream");
    desk.send("\x15unit seven\r");
    desk.wait_for("as unit seven");
    desk.send("c");
    desk.wait_for("the stream's own claim");
    desk.send("\x15many\r");
    desk.wait_for("type a number such as 1.5");
    desk.send("\x151.5\r");
    desk.wait_for("claim of unit seven: 1.5 %");
    desk.send("s");
    desk.wait_for("site of unit seven:");
    desk.send("u");
    desk.wait_for("undone: site of unit seven");
    desk.send("qS");
    desk.wait_for("saved ");
    desk.send("q");
    assert_eq!(desk.end(), (0, true));
    let saved = std::fs::read_to_string(session.join("session.toml")).unwrap();
    assert!(saved.contains("label = \"unit seven\""), "{saved}");
    assert!(saved.contains("claim_percent = 1.5"), "{saved}");
}

#[test]
fn the_table_is_exported_where_the_dialog_says_and_no_file_is_replaced_unasked() {
    let home = tempfile::tempdir().unwrap();
    let session = copy_of_sample("bench-ride", home.path());
    let other = home.path().join("others.md");
    std::fs::write(&other, "not ours").unwrap();
    let mut desk = open(&session, home.path());
    desk.wait_for("by hand: s at the start");
    tag(&mut desk, "3:09", "5:58", "s", "steady-block");
    desk.send("Xt");
    desk.wait_for("writes ");
    desk.send("\x15others.md\r");
    desk.wait_for("there is a file of that name");
    desk.send("\x1b");
    desk.wait_until("the ride", |s| !s.contains("there is a file of that name"));
    assert_eq!(std::fs::read_to_string(&other).unwrap(), "not ours");
    desk.send("Xt\x15others.md\ro");
    desk.wait_for("wrote the segment table to");
    // What it wrote itself it writes again.
    desk.send("Xt\r");
    desk.wait_until("no question", |s| {
        !s.contains("write the segment table to (") && !s.contains("there is a file")
    });
    desk.send("Xt\x15table.odt\r");
    desk.wait_for("name the file .csv or .json or .md or .txt");
    desk.send("\x1b");
    desk.wait_until("the ride", |s| !s.contains("table.odt"));
    desk.send("u");
    desk.wait_for("undone");
    desk.send("q");
    assert_eq!(desk.end(), (0, true));
    let table = std::fs::read_to_string(&other).unwrap();
    assert!(table.contains("steady-block"), "{table}");
}

/// Page, pictures and samples written from inside are those of the commands.
#[test]
fn what_is_written_from_inside_is_what_the_commands_write() {
    let (home, session, mut desk) = at_the_sample();
    tag(&mut desk, "17:19", "18:08", "p", "sprint");
    desk.send("S");
    desk.wait_for("saved ");
    let name = |name: &str| home.path().join(name);
    for (keys, named, what) in [
        ("Xr", "page.html", "the report"),
        ("Xs", "seconds.csv", "the samples"),
        ("Xp", "sprint.svg", "the picture"),
        ("ooXp", "proof.png", "the picture"),
        ("oaXp", "agreement.png", "the picture"),
    ] {
        desk.send(keys);
        desk.wait_for("writes ");
        desk.send(&format!("\x15{named}\r"));
        desk.wait_for(&format!("wrote {what} to {}", name(named).display()));
    }
    desk.send("ocXp\x15clocks.svg\r");
    desk.wait_for("this view has no picture of its own");
    desk.send("q");
    assert_eq!(desk.end(), (0, true));

    let folder = session.to_str().unwrap();
    for (mine, command) in [
        ("page.html", vec!["report", folder, "-o"]),
        (
            "sprint.svg",
            vec![
                "figure",
                folder,
                "--kind",
                "response",
                "--segment",
                "1",
                "-o",
            ],
        ),
        (
            "agreement.png",
            vec![
                "figure",
                folder,
                "--kind",
                "agreement",
                "--segment",
                "1",
                "-o",
            ],
        ),
    ] {
        let theirs = name(&format!("theirs-{mine}"));
        let mut truing = std::process::Command::new(env!("CARGO_BIN_EXE_truing"));
        let output = truing.args(command).arg(&theirs).output().unwrap();
        assert!(output.status.success(), "{output:?}");
        let same = std::fs::read(&theirs).unwrap() == std::fs::read(name(mine)).unwrap();
        assert!(same, "{mine}");
    }
    let mut truing = std::process::Command::new(env!("CARGO_BIN_EXE_truing"));
    let samples = truing.args(["samples", folder]).output().unwrap();
    assert!(samples.stdout == std::fs::read(name("seconds.csv")).unwrap());
}

#[test]
fn the_figures_go_to_the_clipboard_of_the_terminal() {
    let (_home, _, mut desk) = at_the_sample();
    desk.send("C");
    desk.wait_for("copy to the clipboard");
    desk.send("f");
    desk.wait_for("the figures are on the clipboard");
    let text = clipboard(&desk);
    for part in [
        "in view",
        "trainer - consensus",
        "bias ",
        " W ",
        " %",
        "LoA 95 %",
    ] {
        assert!(text.contains(part), "{part} is not in\n{text}");
    }
    tag(&mut desk, "3:09", "5:58", "s", "steady-block");
    desk.send("C");
    desk.wait_for("copy to the clipboard");
    desk.send("m");
    desk.wait_for("the segment table is on the clipboard");
    let text = clipboard(&desk);
    assert!(text.contains("| steady-block |"), "{text}");
    desk.send("uq");
    assert_eq!(desk.end(), (0, true));
}

/// What was last put on the clipboard.
fn clipboard(desk: &Desk) -> String {
    const BEFORE: &str = "\x1b]52;c;";
    let bytes = desk.bytes();
    let sent = String::from_utf8_lossy(&bytes).into_owned();
    let start = sent.rfind(BEFORE).expect("no clipboard sequence") + BEFORE.len();
    let end = sent[start..].find(['\x1b', '\x07']);
    decoded(&sent[start..start + end.expect("the sequence has no end")])
}

/// Base64 as text (RFC 4648).
fn decoded(text: &str) -> String {
    const DIGITS: &[u8] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let digits = text.trim_end_matches('=').bytes();
    let values = digits.map(|c| DIGITS.iter().position(|d| *d == c).expect("no base64") as u32);
    let values: Vec<u32> = values.collect();
    let mut bytes = Vec::new();
    for four in values.chunks(4) {
        let word = four
            .iter()
            .enumerate()
            .fold(0, |word, (place, value)| word | (value << (18 - 6 * place)));
        bytes.extend(word.to_be_bytes().iter().skip(1).take(four.len() - 1));
    }
    String::from_utf8(bytes).unwrap()
}

#[test]
fn a_session_file_changed_by_somebody_else_is_noticed_and_never_overwritten_unasked() {
    let (_home, session, mut desk) = at_the_sample();
    tag(&mut desk, "3:09", "5:58", "s", "steady-block");
    let file = session.join("session.toml");
    let text = std::fs::read_to_string(&file).unwrap();
    std::fs::write(&file, format!("# theirs\n{text}")).unwrap();
    desk.wait_for("session.toml was changed by somebody else");
    desk.send("S");
    desk.wait_for("overwrite it with what is here");
    desk.send("\x1b");
    desk.wait_for("not saved");
    assert!(
        !std::fs::read_to_string(&file)
            .unwrap()
            .contains("steady-block")
    );
    desk.send("So");
    desk.wait_for("saved ");
    desk.send("q");
    assert_eq!(desk.end(), (0, true));
    assert!(
        std::fs::read_to_string(&file)
            .unwrap()
            .contains("steady-block")
    );
}

/// What was edited before a crash was edited over the old file: taking it up again may not drop
/// what somebody else wrote since.
#[test]
fn edits_of_an_earlier_run_never_overwrite_a_later_change_unasked() {
    let (home, session) = after_a_crash();

    let file = session.join("session.toml");
    let text = std::fs::read_to_string(&file).unwrap();
    let theirs = text.replace("trainer 7\"", "trainer 7, second look\"");
    assert_ne!(text, theirs);
    std::fs::write(&file, &theirs).unwrap();
    let mut desk = open(&session, home.path());
    desk.wait_for("session.toml was changed since");
    desk.send("r");
    desk.wait_for("restore 1 edit of an earlier run");
    desk.send("S");
    desk.wait_for("overwrite it with what is here");
    assert_eq!(std::fs::read_to_string(&file).unwrap(), theirs);
    desk.send("o");
    desk.wait_for("saved ");
    desk.send("q");
    assert_eq!(desk.end(), (0, true));
}

#[test]
fn confirmed_edits_follow_a_folder_that_was_renamed() {
    let (home, session) = after_a_crash();
    let renamed = home.path().join("renamed");
    std::fs::rename(&session, &renamed).unwrap();
    let desk = open(&renamed, home.path());
    desk.wait_for("An earlier run ended without saving 1 edit");
    desk.kill();
}

/// A session file that names other streams meanwhile: what cannot be restored is neither dropped by
/// the next save nor by quitting.
#[test]
fn edits_that_cannot_be_restored_are_kept_until_they_can() {
    let (home, session) = after_a_crash();
    let file = session.join("session.toml");
    let text = std::fs::read_to_string(&file).unwrap();
    let others = text.replace("recordings/crank.csv", "recordings/pedals.fit");
    assert_ne!(text, others);
    std::fs::write(&file, &others).unwrap();
    let mut desk = open(&session, home.path());
    desk.wait_for("An earlier run ended without saving 1 edit");
    desk.send("r");
    desk.wait_for("not done");
    tag(&mut desk, "3:09", "5:58", "s", "steady-block");
    desk.send("S");
    desk.wait_for("saved ");
    desk.send("q");
    assert_eq!(desk.end(), (0, true));
    std::fs::write(&file, &text).unwrap();
    let desk = open(&session, home.path());
    desk.wait_for("An earlier run ended without saving 1 edit");
    desk.kill();
}

/// Who does not know yet may leave: nothing is decided by that.
#[test]
fn the_question_about_edits_of_an_earlier_run_can_be_left_open() {
    let (home, session) = after_a_crash();
    for _ in 0..2 {
        let mut desk = open(&session, home.path());
        desk.wait_for("An earlier run ended without saving 1 edit");
        desk.send("\x03");
        assert_eq!(desk.end(), (0, true));
    }
}

#[test]
fn a_session_file_that_becomes_unreadable_or_vanishes_is_noticed() {
    let (home, session, desk) = at_the_sample();
    std::fs::write(session.join("session.toml"), "garbage = = =").unwrap();
    desk.wait_for("session.toml was changed by somebody else");
    desk.kill();
    std::fs::copy(
        Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-sessions/bench-ride/session.toml"),
        session.join("session.toml"),
    )
    .unwrap();
    let desk = open(&session, home.path());
    desk.wait_for("by hand: s at the start");
    std::fs::remove_file(session.join("session.toml")).unwrap();
    desk.wait_for("session.toml is gone or cannot be read");
    desk.kill();
}

/// Read again with other streams, the file would be overwritten by the next save.
#[test]
fn a_session_file_with_other_streams_is_neither_taken_over_nor_overwritten_unasked() {
    let (_home, session, mut desk) = at_the_sample();
    tag(&mut desk, "3:09", "5:58", "s", "steady-block");
    let file = session.join("session.toml");
    let text = std::fs::read_to_string(&file).unwrap();
    let theirs = text.replace("recordings/crank.csv", "recordings/other.csv");
    std::fs::write(&file, &theirs).unwrap();
    desk.send("\x12");
    desk.wait_for("has other streams or recordings now");
    desk.wait_for("not saved");
    desk.send("S");
    desk.wait_for("overwrite it with what is here");
    assert_eq!(std::fs::read_to_string(&file).unwrap(), theirs);
    desk.kill();
}

/// A folder's own files cannot be the place of an export; other recordings beside the first make
/// another session, with a journal of its own.
#[test]
fn recordings_in_memory_have_a_journal_for_each_company() {
    let home = tempfile::tempdir().unwrap();
    let session = copy_of_sample("bench-ride", home.path());
    let file = |name: &str| {
        let path = session.join("recordings").join(name);
        path.to_str().unwrap().to_owned()
    };
    let [trainer, pedals, crank] = ["trainer.fit", "pedals.fit", "crank.csv"].map(file);
    let mut desk = Desk::open(&[&trainer, &pedals], home.path(), 120, 40);
    desk.wait_for("no folder yet");
    tag(&mut desk, "3:09", "5:58", "s", "steady-block");
    desk.kill();

    let mut desk = Desk::open(&[&trainer, &crank], home.path(), 120, 40);
    let screen = desk.wait_for("no folder yet");
    assert!(!screen.contains("An earlier run"), "{screen}");
    let before = std::fs::read(&crank).unwrap();
    desk.send("Xt\x15");
    desk.send(&crank);
    desk.send("\r");
    desk.wait_for("is never replaced");
    assert_eq!(std::fs::read(&crank).unwrap(), before);
    desk.send("q");
    assert_eq!(desk.end(), (0, true));

    let desk = Desk::open(&[&trainer, &pedals], home.path(), 120, 40);
    desk.wait_for("An earlier run ended without saving 1 edit");
    desk.kill();
}

#[test]
fn pasted_garbage_and_the_mouse() {
    let (_home, session, mut desk) = at_the_sample();
    desk.send("\x1b[200~qqDDtp\x03\x1b[31m\x1b[201~");
    desk.wait_for("pasted text is ignored here");
    // A table of another program, with every character there is, as one paste.
    let garbage: String = (1..0x300u32)
        .filter(|c| *c != 0x1b)
        .filter_map(char::from_u32)
        .chain("q,1;2\t3\r\n".chars().cycle().take(20_000))
        .collect();
    desk.send(&format!("M\x1b[200~{garbage}\x1b[201~"));
    desk.wait_for("messages, the latest first");
    desk.send("q");
    desk.wait_for("pasted text is ignored here");
    // Press in the lanes, drag, release: columns and rows are counted from 1.
    desk.send("\x1b[<0;20;9M\x1b[<32;25;9M\x1b[<32;30;9M\x1b[<0;30;9m");
    desk.wait_for("window of ");
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
    desk.wait_for("▴5:00");
    desk.send("q");
    assert_eq!(desk.end(), (0, true));
}

#[test]
fn clocks_that_nobody_set_are_told_on_opening() {
    let home = tempfile::tempdir().unwrap();
    let session = home.path().join("rehearsed");
    let output = std::process::Command::new(env!("CARGO_BIN_EXE_truing"))
        .args(["rehearse", "short-check", "-o"])
        .arg(&session)
        .output()
        .unwrap();
    assert!(output.status.success());
    let mut desk = open(&session, home.path());
    desk.wait_for("Never aligned: pedals, crank");
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
