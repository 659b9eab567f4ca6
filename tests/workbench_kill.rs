//! The workbench itself, on a terminal, is killed outright at random moments while it is edited:
//! every edit that its screen has confirmed is there after the next start.
//!
//! `TRUING_KILLS=200 cargo test workbench_kill::` kills 200 times; the default keeps the suite
//! quick. The seed is printed; `TRUING_SEED` sets it.

#![cfg(feature = "workbench")]

use std::path::Path;
use std::time::{Duration, Instant};

use crate::pty::{Desk, copy_of_sample};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use truing::session::store;

/// Edits of a run: more than it lives for.
const EDITS: usize = 400;

/// Longest life after the first edit.
const LIFE: Duration = Duration::from_millis(900);

/// One edit of the script: its keys, the message that confirms it, and the starts of the segments
/// that there are after it, s.
struct Edit {
    keys: String,
    confirmed: String,
    after: Vec<u32>,
}

/// Ten-second windows tagged one after the other; each sixth tag is undone, and now and then all is
/// saved, so that kills fall into saving and into emptying the journal as well.
fn script(random: &mut ChaCha8Rng) -> Vec<Edit> {
    let mut segments: Vec<u32> = Vec::new();
    let mut edits = Vec::new();
    for place in 0..EDITS as u32 {
        let from = 1 + place;
        let time = |t: u32| format!("{}:{:02}", t / 60, t % 60);
        let name = format!("tag open {}-{}", time(from), time(from + 10));
        // The window is carried one second on, and tagged as open.
        let mut keys = "w.to".to_owned();
        if random.random_range(0..25) == 0 {
            keys.push('S');
        }
        segments.push(from);
        edits.push(Edit {
            keys,
            confirmed: format!("done: {name}"),
            after: segments.clone(),
        });
        if place % 6 == 5 {
            segments.pop();
            edits.push(Edit {
                keys: "u".to_owned(),
                confirmed: format!("undone: {name}"),
                after: segments.clone(),
            });
        }
    }
    edits
}

/// The starts of the segments in the session file.
fn saved(session: &Path) -> Vec<u32> {
    let stored = store::load(session).unwrap();
    let segments = stored.session.segments.iter();
    segments.map(|segment| segment.from_s as u32).collect()
}

/// Edits a fresh session until the process is killed; which edit of the script was the last one that
/// the screen confirmed.
fn edit_and_kill(session: &Path, home: &Path, script: &[Edit], life: Duration) -> Option<usize> {
    let mut desk = Desk::open(&[&session.to_string_lossy()], home, 80, 24);
    desk.wait_for("by hand: s at the start");
    desk.send("g0:00\rsg0:10\re");
    desk.wait_for("window of 0:10");
    // However slow the machine, it gets as far as one edit.
    if let Some(first) = script.first() {
        desk.send(&first.keys);
        desk.wait_until("the first edit", |screen| {
            screen.contains(&first.confirmed) || screen.contains("saved ")
        });
    }
    let begun = Instant::now();
    for edit in script.iter().skip(1) {
        if begun.elapsed() >= life || !desk.try_send(&edit.keys) {
            break;
        }
        std::thread::sleep(Duration::from_millis(3));
    }
    std::thread::sleep(life.saturating_sub(begun.elapsed()));
    let messages = desk.kill();
    let place = |message: &String| {
        script
            .iter()
            .position(|edit| edit.confirmed == message.trim())
    };
    messages.iter().filter_map(place).max()
}

/// Starts again, takes what is offered, saves and quits. Whether something was offered.
fn restore(session: &Path, home: &Path) -> bool {
    let mut desk = Desk::open(&[&session.to_string_lossy()], home, 80, 24);
    let screen = desk.wait_until("the session or the question", |screen| {
        screen.contains("r restore  d drop") || screen.contains("? all keys")
    });
    let offered = screen.contains("An earlier run ended without saving");
    if offered {
        desk.send("r");
        desk.wait_for("of an earlier run");
        desk.send("S");
        desk.wait_for("saved ");
    }
    desk.send("q");
    assert_eq!(desk.end(), (0, true));
    offered
}

#[test]
fn killed_at_any_moment_no_confirmed_edit_is_lost() {
    let number = |name: &str| std::env::var(name).ok().and_then(|n| n.parse::<u64>().ok());
    let kills = number("TRUING_KILLS").unwrap_or(4);
    let seed = number("TRUING_SEED").unwrap_or_else(|| rand::rng().random());
    println!("seed {seed}");
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let (mut confirmed_ever, mut offered_ever, mut ahead) = (0, 0, 0);
    for kill in 0..kills {
        let home = tempfile::tempdir().unwrap();
        let session = copy_of_sample("bench-ride", home.path());
        let script = script(&mut random);
        let life = LIFE.mul_f64(random.random());
        let last = edit_and_kill(&session, home.path(), &script, life);
        offered_ever += u64::from(restore(&session, home.path()));
        let kept = saved(&session);
        let confirmed = last.map_or(0, |last| last + 1);
        // At least what was confirmed, and exactly what the script makes of its first edits.
        let none = Vec::new();
        let mut states = std::iter::once(&none)
            .chain(script.iter().map(|edit| &edit.after))
            .enumerate()
            .skip(confirmed);
        let fits = states.find(|(_, after)| **after == kept);
        let (edits, _) = fits.unwrap_or_else(|| {
            panic!("kill {kill} of seed {seed}: {confirmed} edits confirmed, but kept {kept:?}")
        });
        confirmed_ever += confirmed;
        ahead += edits - confirmed;
    }
    println!(
        "{kills} kills, {confirmed_ever} edits confirmed by the screen, all kept; {ahead} more were \
         journalled but not yet shown; restore was offered {offered_ever} times"
    );
    assert!(
        confirmed_ever > 0,
        "the process never got as far as an edit"
    );
    assert!(offered_ever > 0, "nothing was ever left to restore");
}
