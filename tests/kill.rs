//! The process is killed at random moments while it journals and saves: the session file is always
//! an old or a new one, whole, and no confirmed edit is lost.
//!
//! `TRUING_KILLS=500 cargo test kill::` kills 500 times; the default keeps the suite quick.

use std::io::{BufRead as _, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use rand::{RngExt as _, SeedableRng as _};
use truing::session::journal::Journal;
use truing::session::{Kind, Segment, Session, store};

const WORKPLACE: &str = "TRUING_KILL_TEST_FOLDER";

/// The session after `edits` edits: large enough that writing it takes more than one block.
fn after(edits: usize) -> Session {
    let segment = |i: usize| Segment {
        kind: Kind::ALL[i % Kind::ALL.len()],
        from_s: i as f64,
        to_s: i as f64 + 0.5,
        set_point_w: None,
        note: format!("edit {i}"),
    };
    Session {
        segments: (0..edits).map(segment).collect(),
        ..Session::default()
    }
}

/// Not a test of its own: the process that gets killed. It confirms each edit on stdout once it is
/// journalled, and saves after every third.
#[test]
fn the_process_that_gets_killed() {
    let Ok(folder) = std::env::var(WORKPLACE) else {
        return;
    };
    let folder = Path::new(&folder);
    let (mut journal, leftover) = Journal::open(&folder.join("data"), folder, None).unwrap();
    let saved = store::load(folder).map_or(0, |stored| stored.session.segments.len());
    let start = leftover.map_or(0, |l| l.session.segments.len()).max(saved);
    for edits in start + 1.. {
        let session = after(edits);
        journal.record("edit", &session).unwrap();
        println!("confirmed {edits}");
        if edits % 3 == 0 {
            store::save(folder, &session, None).unwrap();
            journal.clear().unwrap();
        }
    }
}

fn run_and_kill(folder: &Path, delay: Duration) -> Option<usize> {
    let mut child = Command::new(std::env::current_exe().unwrap())
        .args([
            "--exact",
            "kill::the_process_that_gets_killed",
            "--nocapture",
        ])
        .env(WORKPLACE, folder)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let first = lines
        .by_ref()
        .map_while(Result::ok)
        .find(|line| line.starts_with("confirmed"));
    std::thread::sleep(delay);
    child.kill().unwrap();
    child.wait().unwrap();
    let number = |line: &str| line.strip_prefix("confirmed ").and_then(|n| n.parse().ok());
    let rest = lines
        .map_while(Result::ok)
        .filter_map(|line| number(&line))
        .last();
    rest.or(first.and_then(|line| number(&line)))
}

#[test]
fn killed_at_any_moment_nothing_confirmed_is_lost() {
    let kills: usize = std::env::var("TRUING_KILLS")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(25);
    let seed: u64 = rand::rng().random();
    println!("seed {seed}");
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
    let folder = tempfile::tempdir().unwrap();
    let mut confirmed = 0;
    for kill in 0..kills {
        let delay = Duration::from_micros(random.random_range(0..30_000));
        confirmed = run_and_kill(folder.path(), delay)
            .unwrap_or(confirmed)
            .max(confirmed);
        let saved = match store::load(folder.path()) {
            Ok(stored) => stored.session,
            Err(error) => {
                assert!(
                    !folder.path().join("session.toml").exists(),
                    "kill {kill}: {error}"
                );
                Session::default()
            }
        };
        assert_eq!(
            saved,
            after(saved.segments.len()),
            "kill {kill}: the file is whole"
        );
        let (journal, leftover) =
            Journal::open(&folder.path().join("data"), folder.path(), None).unwrap();
        drop(journal);
        let journalled = leftover.map_or(0, |left| left.session.segments.len());
        let kept = journalled.max(saved.segments.len());
        assert!(
            kept >= confirmed,
            "kill {kill}: {confirmed} confirmed, {kept} kept (seed {seed})"
        );
    }
    assert!(confirmed > 0, "the process never got as far as an edit");
}
