//! The terminal is as it was after every way of leaving the workbench: by a key, a signal, a panic;
//! and while it is stopped.

#![cfg(feature = "workbench")]

use std::path::Path;
use std::time::{Duration, Instant};

use crate::pty::{Desk, copy_of_sample};
use truing::workbench::terminal::Screen;

const CHILD: &str = "TRUING_PANIC_TEST_CHILD";

fn workbench(home: &Path) -> Desk {
    let session = copy_of_sample("bench-ride", home);
    let desk = Desk::open(&[&session.to_string_lossy()], home, 80, 24);
    desk.wait_for("by hand: s at the start");
    assert!(!desk.is_given_back());
    desk
}

/// Not a test of its own: the process that panics while it has the terminal, as the workbench takes
/// it.
#[test]
fn the_process_that_panics() {
    if std::env::var(CHILD).is_err() {
        return;
    }
    let mut screen = Screen::take().unwrap();
    screen
        .draw((80, 24), |_, buffer| {
            buffer.set_string(0, 0, "taken", ratatui::style::Style::new());
        })
        .unwrap();
    // Until a key is pressed: what is tested is the terminal as it is left, not a race.
    let mut byte = [0];
    std::io::Read::read_exact(&mut std::io::stdin(), &mut byte).unwrap();
    panic!("as a bug would");
}

#[test]
fn after_a_panic_the_terminal_is_as_it_was_and_shows_the_message() {
    let home = tempfile::tempdir().unwrap();
    let mut desk = Desk::start(
        &std::env::current_exe().unwrap(),
        &[
            "--exact",
            "terminal_given_back::the_process_that_panics",
            "--nocapture",
        ],
        &[(CHILD, "1")],
        home.path(),
        (80, 24),
    );
    desk.wait_for("taken");
    assert!(!desk.is_given_back());
    desk.send("x");
    desk.wait_for("as a bug would");
    let screen = desk.screen();
    // Raw mode is off again: a line feed returns to the first column.
    let line = screen.lines().find(|line| line.contains("as a bug would"));
    assert!(line.is_some_and(|line| !line.starts_with(' ')), "{screen}");
    assert!(!screen.contains("taken"), "{screen}");
    assert_eq!(desk.end(), (101, true));
}

#[test]
fn signals_that_end_it_give_the_terminal_back() {
    for signal in ["TERM", "HUP", "INT", "QUIT"] {
        let home = tempfile::tempdir().unwrap();
        let desk = workbench(home.path());
        desk.signal(signal);
        assert_eq!(desk.end(), (0, true), "SIG{signal}");
    }
}

/// The terminal was cut off in the middle of a key: the rest never comes, and is not waited for.
#[test]
fn half_a_key_keeps_no_signal_from_ending_it() {
    for signal in ["TERM", "HUP"] {
        let home = tempfile::tempdir().unwrap();
        let mut desk = workbench(home.path());
        desk.send("\x1b[");
        // Nothing shows that it has been read: that it has is likely by then.
        std::thread::sleep(Duration::from_millis(300));
        desk.signal(signal);
        assert_eq!(desk.end(), (0, true), "SIG{signal}");
    }
}

#[test]
fn control_c_asks_only_where_something_would_be_lost() {
    let home = tempfile::tempdir().unwrap();
    let mut desk = workbench(home.path());
    desk.send("s>eto");
    desk.wait_for("tag open 0:00-0:10");
    desk.send("\x03");
    desk.wait_for("not everything is saved");
    desk.send("\x1b");
    desk.wait_until("the ride again", |screen| {
        !screen.contains("not everything is saved")
    });
    desk.send("u");
    desk.wait_for("undone: tag open");
    desk.send("\x03");
    assert_eq!(desk.end(), (0, true));
}

/// The state of a process, as the system names it: `T` is stopped.
#[cfg(target_os = "linux")]
fn is_stopped(id: u32) -> bool {
    let status = std::fs::read_to_string(format!("/proc/{id}/stat")).unwrap();
    let after_name = status.rsplit(')').next().unwrap();
    after_name.trim_start().starts_with('T')
}

#[cfg(target_os = "linux")]
fn wait_until(what: &str, wanted: impl Fn() -> bool) {
    let begun = Instant::now();
    while !wanted() {
        assert!(begun.elapsed() < Duration::from_secs(60), "never: {what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

#[cfg(target_os = "linux")]
#[test]
fn stopped_it_gives_the_terminal_back_and_continued_it_takes_it_again() {
    let home = tempfile::tempdir().unwrap();
    let mut desk = workbench(home.path());
    desk.send("s>eto");
    desk.wait_for("tag open 0:00-0:10");
    // The key, then the signal that a shell's own job control would send.
    for by_key in [true, false] {
        if by_key {
            desk.send("\x1a");
        } else {
            desk.signal("TSTP");
        }
        wait_until("stopped", || is_stopped(desk.id()));
        wait_until("given back", || desk.is_given_back());
        // Meanwhile the terminal has become smaller or larger.
        let (columns, rows) = if by_key { (100, 30) } else { (80, 24) };
        desk.resize(columns, rows);
        desk.signal("CONT");
        desk.wait_until("the session again", |screen| {
            screen.contains("1 open") && screen.lines().count() == usize::from(rows)
        });
        assert!(!desk.is_given_back());
    }
    desk.send("u");
    desk.wait_for("undone: tag open");
    desk.send("q");
    assert_eq!(desk.end(), (0, true));
}
