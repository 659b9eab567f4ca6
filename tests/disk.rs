//! A disk that is full, a folder that may not be written, two programs at one session: the session
//! file is always the old one or the new one, whole, and who edits is told.

#![cfg(unix)]

use std::os::unix::fs::{MetadataExt as _, PermissionsExt as _};
use std::os::unix::process::CommandExt as _;
use std::path::Path;
use std::process::{Command, Output};
use std::sync::atomic::{AtomicBool, Ordering};

use crate::pty::{Desk, copy_of_sample};
use truing::session::{Kind, Segment, Session, store};

/// Runs its arguments with no room for a file: every write to one fails, as on a full disk.
const NO_ROOM: &str = "trap '' XFSZ; ulimit -f 0; exec \"$0\" \"$@\"";

const TRUING: &str = env!("CARGO_BIN_EXE_truing");

/// Every file of a folder with its content.
fn contents(folder: &Path) -> Vec<(std::path::PathBuf, Vec<u8>)> {
    let entries = std::fs::read_dir(folder).unwrap().flatten();
    let files = entries
        .map(|entry| entry.path())
        .filter(|path| path.is_file());
    let mut all: Vec<_> = files
        .map(|path| (path.clone(), std::fs::read(&path).unwrap()))
        .collect();
    all.sort();
    all
}

fn refused(output: &Output, parts: &[&str]) {
    let errors = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{errors}");
    for part in parts {
        assert!(errors.contains(part), "{part:?} is not in: {errors}");
    }
}

#[test]
fn a_full_disk_leaves_the_old_session_and_is_told() {
    let home = tempfile::tempdir().unwrap();
    let session = copy_of_sample("bench-ride", home.path());
    let before = contents(&session);
    let run = |arguments: &[&str]| {
        Command::new("/bin/sh")
            .args(["-c", NO_ROOM, TRUING])
            .args(arguments)
            .env("HOME", home.path())
            .output()
            .unwrap()
    };
    let folder = session.to_str().unwrap();
    refused(&run(&["suggest", folder, "--write"]), &["session.toml"]);
    assert_eq!(contents(&session), before);
    let page = session.join("page.html");
    let report = run(&["report", folder, "-o", page.to_str().unwrap()]);
    refused(&report, &["page.html"]);
    assert_eq!(contents(&session), before);
}

#[test]
fn the_workbench_on_a_full_disk_says_that_an_edit_is_not_safe_and_keeps_it() {
    let home = tempfile::tempdir().unwrap();
    let session = copy_of_sample("bench-ride", home.path());
    let before = contents(&session);
    let arguments = ["-c", NO_ROOM, TRUING, session.to_str().unwrap()];
    let size = (120, 40);
    let mut desk = Desk::start(Path::new("/bin/sh"), &arguments, &[], home.path(), size);
    desk.wait_for("Bench ride");
    // Brush a minute and tag it.
    for keys in ["s", ">", ">", ">", ">", ">", ">", "e", "t", "o"] {
        desk.send(keys);
    }
    desk.wait_for("a crash would lose it");
    desk.send("S");
    desk.wait_until("why it is not saved", |screen| {
        screen.contains("session.toml") && screen.contains("not saved")
    });
    assert_eq!(contents(&session), before);
    desk.send("q");
    desk.wait_for("not saved");
    desk.send("d");
    assert_eq!(desk.end(), (0, true));
}

#[test]
fn a_folder_that_may_not_be_written_is_told_and_left_alone() {
    let home = tempfile::tempdir().unwrap();
    let session = copy_of_sample("bench-ride", home.path());
    let before = contents(&session);
    let allow = |mode: u32| {
        let mode = std::fs::Permissions::from_mode(mode);
        std::fs::set_permissions(&session, mode).unwrap();
    };
    std::fs::set_permissions(home.path(), std::fs::Permissions::from_mode(0o755)).unwrap();
    allow(0o555);
    // Nothing is forbidden to root: somebody else tries, who may not be able to reach the checkout.
    let is_root = std::fs::metadata("/proc/self").is_ok_and(|me| me.uid() == 0);
    let program = home.path().join("truing");
    std::fs::copy(TRUING, &program).unwrap();
    let run = |arguments: &[&str]| {
        let mut command = Command::new(&program);
        command.args(arguments);
        if is_root {
            command.uid(65_534).gid(65_534);
        }
        command.output()
    };
    if let Err(error) = run(&["--version"]) {
        allow(0o755);
        eprintln!("not tested: the other user cannot run {program:?}: {error}");
        return;
    }
    let output = run(&["suggest", session.to_str().unwrap(), "--write"]).unwrap();
    allow(0o755);
    refused(&output, &["session.toml", "ermission denied"]);
    assert_eq!(contents(&session), before);
}

/// Files that others may read, below `folder`.
fn readable_by_others(folder: &Path) -> Vec<std::path::PathBuf> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap().flatten() {
        let about = entry.metadata().unwrap();
        if about.is_dir() {
            found.extend(readable_by_others(&entry.path()));
        } else if about.mode() & 0o077 != 0 {
            found.push(entry.path());
        }
    }
    found
}

/// What a person keeps to themselves by the umask is not read by others because it was written here;
/// a file that is replaced keeps its own permissions.
#[test]
fn the_umask_is_heeded_by_every_file_that_is_written() {
    let home = tempfile::tempdir().unwrap();
    let sample = copy_of_sample("bench-ride", home.path());
    let (ride, page) = (home.path().join("ride"), home.path().join("page.html"));
    let run = |arguments: &[&Path]| {
        let output = Command::new("/bin/sh")
            .args(["-c", "umask 077; exec \"$0\" \"$@\"", TRUING])
            .args(arguments)
            .env("HOME", home.path())
            .output()
            .unwrap();
        let errors = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{errors}");
    };
    let recordings = ["trainer.fit", "pedals.fit"].map(|n| sample.join("recordings").join(n));
    run(&[Path::new("new"), &ride, &recordings[0], &recordings[1]]);
    run(&[Path::new("report"), &ride, Path::new("-o"), &page]);
    let open = readable_by_others(&ride);
    assert!(open.is_empty(), "{open:?}");
    assert_eq!(page.metadata().unwrap().mode() & 0o777, 0o600);
    // Shared once, it stays shared.
    let file = ride.join("session.toml");
    std::fs::set_permissions(&file, std::fs::Permissions::from_mode(0o640)).unwrap();
    run(&[Path::new("suggest"), &ride, Path::new("--write")]);
    assert_eq!(file.metadata().unwrap().mode() & 0o777, 0o640);
}

/// Out of room in the middle of a recording, whether that is an error or ends the process: what is
/// left keeps nobody from doing it again.
#[test]
fn a_new_session_without_room_is_none_and_can_be_started_again() {
    let home = tempfile::tempdir().unwrap();
    let sample = copy_of_sample("bench-ride", home.path());
    let ride = home.path().join("ride");
    let recordings = ["trainer.fit", "pedals.fit", "crank.csv"];
    let run = |before: &str| {
        Command::new("/bin/sh")
            .args(["-c", &format!("{before} exec \"$0\" \"$@\""), TRUING])
            .arg("new")
            .arg(&ride)
            .args(recordings.map(|name| sample.join("recordings").join(name)))
            .env("HOME", home.path())
            .output()
            .unwrap()
    };
    // 30 blocks of 512 bytes: not enough for any recording.
    refused(&run("trap '' XFSZ; ulimit -f 30;"), &["cannot copy"]);
    assert!(!ride.exists());
    assert!(!run("ulimit -f 30;").status.success());
    assert!(!ride.join("session.toml").exists());
    let again = run("");
    let errors = String::from_utf8_lossy(&again.stderr);
    assert!(again.status.success(), "{errors}");
}

/// The session as the program called `name` has it after its edit number `edit`.
fn version(name: &str, edit: usize) -> Session {
    let segment = |i: usize| Segment {
        kind: Kind::Open,
        from_s: i as f64,
        to_s: i as f64 + 1.0,
        set_point_w: None,
        note: format!("{name} {edit}"),
    };
    Session {
        title: name.to_owned(),
        segments: (0..40 + edit % 7).map(segment).collect(),
        ..Session::default()
    }
}

#[test]
fn two_programs_that_save_one_session_never_leave_a_mixture() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    store::save(folder, &version("one", 0), None).unwrap();
    let done = AtomicBool::new(false);
    std::thread::scope(|scope| {
        let writers = ["one", "other"].map(|name| {
            scope.spawn(move || {
                for edit in 0..40 {
                    store::save(folder, &version(name, edit), None).unwrap();
                }
            })
        });
        let reader = scope.spawn(|| {
            let mut read = 0;
            while !done.load(Ordering::SeqCst) || read == 0 {
                let session = store::load(folder).unwrap().session;
                let note = &session.segments[0].note;
                let (name, edit) = note.split_once(' ').unwrap();
                assert_eq!(session, version(name, edit.parse().unwrap()));
                read += 1;
            }
        });
        for writer in writers {
            writer.join().unwrap();
        }
        done.store(true, Ordering::SeqCst);
        reader.join().unwrap();
    });
    // Nothing but the session is left behind.
    assert_eq!(contents(folder).len(), 1);
}

#[test]
fn a_second_workbench_at_one_session_is_told_and_may_not_edit() {
    let home = tempfile::tempdir().unwrap();
    let session = copy_of_sample("bench-ride", home.path());
    let open = || Desk::open(&[session.to_str().unwrap()], home.path(), 120, 40);
    let first = open();
    first.wait_for("Bench ride");
    let mut second = open();
    second.wait_for("read-only");
    for keys in ["s", ">", ">", ">", ">", ">", ">", "e", "t", "o"] {
        second.send(keys);
    }
    second.wait_until("a refusal", |screen| screen.contains("another"));
    let before = contents(&session);
    second.send("S");
    second.wait_for("not saved");
    assert_eq!(contents(&session), before);
}
