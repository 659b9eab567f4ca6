//! The terminal goes away under the workbench (a window closed, a line dropped): the process ends.

#![cfg(feature = "workbench")]

use std::io::{Read, Write as _};
use std::path::Path;
use std::time::{Duration, Instant};

use portable_pty::{Child, CommandBuilder, PtyPair, PtySize, native_pty_system};

/// The workbench on a terminal, once it shows the sample.
fn open(home: &Path) -> (Box<dyn Child + Send + Sync>, PtyPair, Box<dyn Read + Send>) {
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-sessions/bench-ride");
    let size = PtySize {
        rows: 24,
        cols: 80,
        pixel_width: 0,
        pixel_height: 0,
    };
    let pair = native_pty_system().openpty(size).unwrap();
    let mut command = CommandBuilder::new(env!("CARGO_BIN_EXE_truing"));
    command.arg(&sample);
    command.env("TERM", "xterm-256color");
    command.env("HOME", home);
    let child = pair.slave.spawn_command(command).unwrap();
    let mut reader = pair.master.try_clone_reader().unwrap();
    let (mut seen, mut bytes) = (Vec::new(), [0; 8192]);
    while !String::from_utf8_lossy(&seen).contains("by hand: s at the start") {
        let count = reader.read(&mut bytes).unwrap();
        assert!(
            count > 0,
            "it ended by itself: {}",
            String::from_utf8_lossy(&seen)
        );
        seen.extend_from_slice(&bytes[..count]);
    }
    (child, pair, reader)
}

/// The time is only there so that a program that hangs fails the test instead of stopping it.
fn ends(mut child: Box<dyn Child + Send + Sync>, otherwise: &str) {
    let begun = Instant::now();
    while child.try_wait().unwrap().is_none() {
        if begun.elapsed() > Duration::from_secs(30) {
            child.kill().unwrap();
            panic!("{otherwise}");
        }
        std::thread::sleep(Duration::from_millis(50));
    }
}

#[test]
fn the_process_ends_when_its_terminal_goes_away() {
    let home = tempfile::tempdir().unwrap();
    let (child, pair, reader) = open(home.path());
    drop(reader);
    drop(pair);
    ends(child, "it runs on without a terminal");
}

/// Whoever read the terminal is gone, though the terminal is not: nothing more can be written to it.
#[test]
fn the_process_ends_when_nobody_reads_its_terminal() {
    let home = tempfile::tempdir().unwrap();
    let (child, pair, _reader) = open(home.path());
    let mut keys = pair.master.take_writer().unwrap();
    // Each draws the whole screen: more than the terminal holds back.
    for _ in 0..60 {
        keys.write_all(b"\x0c").unwrap();
        std::thread::sleep(Duration::from_millis(10));
    }
    let id = child.process_id().unwrap().to_string();
    let sent = std::process::Command::new("kill")
        .args(["-TERM", &id])
        .status();
    assert!(sent.unwrap().success());
    ends(child, "it waits for ever to write to its terminal");
}
