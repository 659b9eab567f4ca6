//! The terminal goes away under the workbench (a window closed, a line dropped): the process ends.

#![cfg(feature = "workbench")]

use std::io::Read as _;
use std::path::Path;
use std::time::{Duration, Instant};

use portable_pty::{CommandBuilder, PtySize, native_pty_system};

#[test]
fn the_process_ends_when_its_terminal_goes_away() {
    let home = tempfile::tempdir().unwrap();
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
    command.env("HOME", home.path());
    let mut child = pair.slave.spawn_command(command).unwrap();
    drop(pair.slave);
    let mut reader = pair.master.try_clone_reader().unwrap();
    let (mut seen, mut bytes) = (Vec::new(), [0; 8192]);
    while !String::from_utf8_lossy(&seen).contains("press s, go to its end") {
        let count = reader.read(&mut bytes).unwrap();
        assert!(
            count > 0,
            "it ended by itself: {}",
            String::from_utf8_lossy(&seen)
        );
        seen.extend_from_slice(&bytes[..count]);
    }
    drop(reader);
    drop(pair.master);
    let begun = Instant::now();
    while child.try_wait().unwrap().is_none() {
        if begun.elapsed() > Duration::from_secs(30) {
            child.kill().unwrap();
            panic!("it runs on without a terminal");
        }
        std::thread::sleep(Duration::from_millis(50));
    }
}
