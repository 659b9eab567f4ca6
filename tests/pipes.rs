//! Opened, a pipe in the place of a file would be waited for, and the workbench with it.

#![cfg(unix)]
#![allow(clippy::unwrap_used)]

use std::path::Path;
use std::process::Command;

use truing::session::journal::Journal;
use truing::workbench::config::keymap_from;
use truing::workbench::keymap::Keymap;

fn make_pipe(path: &Path) {
    assert!(Command::new("mkfifo").arg(path).status().unwrap().success());
}

/// One test: a program started by another at the same moment holds this one's locks for an instant.
#[test]
fn a_pipe_is_told_and_not_waited_for() {
    let (data, ride) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    drop(Journal::open(data.path(), ride.path(), None).unwrap());
    let files = std::fs::read_dir(data.path()).unwrap();
    let mut files = files.map(|file| file.unwrap().path());
    let journal = files.find(|path| path.extension().is_some_and(|end| end == "jsonl"));
    let journal = journal.unwrap();
    std::fs::remove_file(&journal).unwrap();
    make_pipe(&journal);
    let told = Journal::open(data.path(), ride.path(), None).unwrap_err();
    assert!(told.to_string().contains("not a regular file"), "{told}");

    let keys = ride.path().join("keys.toml");
    make_pipe(&keys);
    let (keymap, errors) = keymap_from(&keys);
    assert_eq!(keymap, Keymap::default());
    let told = errors[0].to_string();
    assert!(told.contains("not a regular file"), "{told}");
}
