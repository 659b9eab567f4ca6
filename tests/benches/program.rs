//! `cargo bench --bench program`: the program as it is started: time to the first frame, peak
//! memory, bytes sent for a key, sessions surveyed a second.
//!
//! Everything is beside an empty program on ratatui (this bench, called anew), which draws one
//! frame and waits for a key.

#![allow(clippy::print_stdout, clippy::unwrap_used)]

mod parts;

use std::io::{Read as _, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use parts::is_wanted;
use portable_pty::{Child, CommandBuilder, PtySize, native_pty_system};
use truing::plan::Plan;
use truing::recording::{Format, ReadOptions, Sampling, read_all};
use truing::rehearse::{Scenario, SessionOptions, ride, write_session};
use truing::session::{OpenOptions, OpenedSession};
use truing::workbench::keymap::Keymap;
use truing::workbench::state::State;
use truing::workbench::theme::{Depth, Ground, Look};

const EMPTY: &str = "--empty-program";
const TRUING: &str = env!("CARGO_BIN_EXE_truing");
/// A word that the last row shows of either program; blanks between words are not sent.
const SIGN: &[u8] = b"keys";
const MIB: f64 = 1024.0 * 1024.0;

fn main() {
    if std::env::args().any(|argument| argument == EMPTY) {
        return empty_program();
    }
    let work = tempfile::tempdir().unwrap();
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-sessions/bench-ride");
    let long = long_session(&work.path().join("long"));
    if is_wanted("start") {
        start(&sample, &long, work.path());
    }
    if is_wanted("bytes") {
        bytes_of_keys(&sample, work.path());
    }
    if is_wanted("survey") {
        survey(work.path());
    }
}

fn empty_program() {
    let mut terminal = ratatui::init();
    terminal
        .draw(|frame| {
            let last = frame.area().rows().next_back().unwrap_or_default();
            frame.render_widget("keys", last);
        })
        .unwrap();
    let _ = crossterm::event::read();
    ratatui::restore();
}

/// Six hours on four FIT recorders.
fn long_session(folder: &Path) -> PathBuf {
    let mut text = "title = \"Long day\"\npurpose = \"Six hours.\"\ncovers = [\"length\"]\ncautions = [\"Long efforts can hurt.\"]\n".to_owned();
    for watts in [150, 180, 200, 220, 160, 190, 210, 170, 200, 180, 160, 140] {
        text.push_str(&format!(
            "\n[[phase]]\nkind = \"steady-block\"\nduration_s = 1800\nset_point_w = {watts}\ncadence_rpm = 88\ngear = \"50/17\"\nnote = \"Hold\"\n"
        ));
    }
    let plan = Plan::from_toml("long", &text).unwrap();
    let mut scenario = Scenario::default();
    let mut fourth = scenario.devices.last().unwrap().clone();
    fourth.label.push_str(" two");
    scenario.devices.push(fourth);
    for device in &mut scenario.devices {
        device.recorder.format = Format::Fit;
        device.recorder.phase_s = 0.0;
    }
    rehearsed(&plan, &scenario, 1, folder);
    folder.to_owned()
}

fn rehearsed(plan: &Plan, scenario: &Scenario, seed: u64, folder: &Path) {
    let ridden = ride(plan, scenario, seed).unwrap();
    let session = ridden.session(SessionOptions {
        clocks_known: true,
        tagged: true,
    });
    write_session(&ridden, &session, folder).unwrap();
}

/// A program on a terminal of 120×40, with what it sends.
struct Running {
    child: Box<dyn Child + Send + Sync>,
    sent: Receiver<Vec<u8>>,
    keys: Box<dyn Write + Send>,
    started: Instant,
}

fn run(program: &Path, arguments: &[&str], home: &Path) -> Running {
    let size = PtySize {
        rows: 40,
        cols: 120,
        pixel_width: 0,
        pixel_height: 0,
    };
    let pair = native_pty_system().openpty(size).unwrap();
    let mut command = CommandBuilder::new(program);
    command.args(arguments);
    command.env_clear();
    for (name, value) in [
        ("TERM", "xterm-256color"),
        ("COLORTERM", "truecolor"),
        ("LANG", "C.UTF-8"),
    ] {
        command.env(name, value);
    }
    command.env("HOME", home);
    let mut output = pair.master.try_clone_reader().unwrap();
    let keys = pair.master.take_writer().unwrap();
    let started = Instant::now();
    let child = pair.slave.spawn_command(command).unwrap();
    drop(pair.slave);
    let (sender, sent) = channel();
    std::thread::spawn(move || {
        // The terminal lives as long as it is read.
        let _terminal = pair.master;
        let mut bytes = [0; 65_536];
        while let Ok(count @ 1..) = output.read(&mut bytes) {
            if sender.send(bytes[..count].to_vec()).is_err() {
                return;
            }
        }
    });
    Running {
        child,
        sent,
        keys,
        started,
    }
}

impl Running {
    /// Waits for the first frame; ms since the start.
    fn first_frame(&self) -> f64 {
        let mut seen = Vec::new();
        while !seen.windows(SIGN.len()).any(|part| part == SIGN) {
            seen.extend(self.sent.recv_timeout(Duration::from_secs(60)).unwrap());
        }
        self.started.elapsed().as_secs_f64() * 1e3
    }

    /// Bytes that come until none has come for a while.
    fn bytes_until_quiet(&self) -> usize {
        let mut count = 0;
        while let Ok(bytes) = self.sent.recv_timeout(Duration::from_millis(250)) {
            count += bytes.len();
        }
        count
    }

    fn peak_mib(&self) -> f64 {
        peak_mib(self.child.process_id().unwrap()).unwrap_or(f64::NAN)
    }

    fn end(mut self) {
        let _ = self.keys.write_all(b"q");
        let _ = self.keys.flush();
        self.child.wait().unwrap();
    }
}

/// Largest memory of a process so far.
fn peak_mib(process: u32) -> Option<f64> {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM"))?;
    let kib: f64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kib / 1024.0)
}

/// Least time to the first frame and least peak memory of some starts in turn.
fn start(sample: &Path, long: &Path, home: &Path) {
    let own = std::env::current_exe().unwrap();
    let starts: [(&str, &Path, Vec<&str>); 3] = [
        ("empty", &own, vec![EMPTY]),
        ("sample", Path::new(TRUING), vec![sample.to_str().unwrap()]),
        (
            "6 h × 4 FIT",
            Path::new(TRUING),
            vec![long.to_str().unwrap()],
        ),
    ];
    let mut best = [(f64::INFINITY, f64::INFINITY); 3];
    for _ in 0..15 {
        for ((_, program, arguments), (ms, mib)) in starts.iter().zip(&mut best) {
            let running = run(program, arguments, home);
            *ms = ms.min(running.first_frame());
            *mib = mib.min(running.peak_mib());
            running.end();
        }
    }
    let [empty, ..] = best;
    println!("start (wanted: first frame of the sample at most 3 empty programs')");
    for ((name, ..), (ms, mib)) in starts.iter().zip(best) {
        println!(
            "  {name:<12} {ms:>6.1} ms, ratio {:.2}; peak {mib:.1} MiB",
            ms / empty.0
        );
    }
    println!(
        "memory (wanted: 4 MB + 4 times the columns + the largest file, beside an empty program)"
    );
    for (name, folder, (_, mib)) in [("sample", sample, best[1]), ("6 h × 4 FIT", long, best[2])] {
        let (columns, largest) = sizes(folder);
        println!(
            "  {name:<12} {:.1} MiB above the empty one; columns {columns:.1}, largest file {largest:.1}, allowed {:.1}",
            mib - empty.1,
            4.0 + 4.0 * columns + largest
        );
    }
    shares(long);
}

/// Size of the columns as read, and of the largest file, MiB.
fn sizes(folder: &Path) -> (f64, f64) {
    let opened = OpenedSession::open(folder, OpenOptions::default()).unwrap();
    let cells: usize = opened
        .sources
        .iter()
        .filter_map(|source| source.samples())
        .map(|samples| samples.len() * (1 + samples.channels().count()))
        .sum();
    let files = std::fs::read_dir(folder.join("recordings"))
        .unwrap()
        .flatten();
    let largest = files.map(|file| file.metadata().unwrap().len()).max();
    (8.0 * cells as f64 / MIB, largest.unwrap_or(0) as f64 / MIB)
}

/// What of the first frame of the long session is decoding.
fn shares(folder: &Path) {
    let files = std::fs::read_dir(folder.join("recordings"))
        .unwrap()
        .flatten();
    let requests: Vec<_> = files
        .map(|file| (file.path(), ReadOptions::default()))
        .collect();
    let look = Look {
        depth: Depth::True,
        ground: Ground::Dark,
        ascii: false,
    };
    let (mut decode, mut open, mut rest) = (f64::INFINITY, f64::INFINITY, f64::INFINITY);
    for _ in 0..10 {
        let now = Instant::now();
        let recordings = read_all(&requests);
        decode = decode.min(now.elapsed().as_secs_f64() * 1e3);
        assert!(
            recordings
                .iter()
                .flatten()
                .all(|r| r.streams[0].sampling == Sampling::Regular)
        );
        let now = Instant::now();
        let opened = OpenedSession::open(folder, OpenOptions::default()).unwrap();
        open = open.min(now.elapsed().as_secs_f64() * 1e3);
        let now = Instant::now();
        State::new(opened, look, Keymap::default(), (120, 40));
        rest = rest.min(now.elapsed().as_secs_f64() * 1e3);
    }
    println!(
        "  6 h × 4 FIT: decoding {decode:.1} ms, opening in all {open:.1} ms, everything after {rest:.1} ms"
    );
}

fn bytes_of_keys(sample: &Path, home: &Path) {
    let mut running = run(Path::new(TRUING), &[sample.to_str().unwrap()], home);
    running.first_frame();
    running.bytes_until_quiet();
    println!("bytes sent for a key, 120×40, true colour (a whole frame for comparison)");
    let mut last = 0;
    for (name, key) in [
        ("cursor 1 s", "\u{1b}[C"),
        ("cursor 10 s", ">"),
        ("window start", "s"),
        ("cursor 10 s", ">"),
        ("window end", "e"),
        ("hold an edge", "x"),
        ("brush 1 s", "\u{1b}[C"),
        ("brush 10 s", ">"),
        ("let go", "\r"),
        ("zoom in", "+"),
        ("next stream", "\t"),
        ("help", "?"),
        ("help closed", "\u{1b}"),
        ("whole frame", "\u{c}"),
    ] {
        running.keys.write_all(key.as_bytes()).unwrap();
        running.keys.flush().unwrap();
        last = running.bytes_until_quiet();
        println!("  {name:<13} {last:>6}");
    }
    assert!(last > 0, "a whole frame is something");
    running.end();
}

/// Many sessions, all different.
fn survey(work: &Path) {
    let folder = work.join("sessions");
    let plan = Plan::built_in("short-check").unwrap();
    let scenario = Scenario::default();
    let count: usize = 1000;
    let next = std::sync::atomic::AtomicUsize::new(0);
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(|| {
                loop {
                    let seed = next.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
                    if seed >= count {
                        return;
                    }
                    rehearsed(
                        &plan,
                        &scenario,
                        seed as u64,
                        &folder.join(seed.to_string()),
                    );
                }
            });
        }
    });
    println!("survey");
    // In turn, so that a busy machine is busy for both.
    let mut best = [(f64::INFINITY, f64::INFINITY); 2];
    for _ in 0..10 {
        for (best, cores) in best.iter_mut().zip(["0", "all"]) {
            let (seconds, mib) = surveyed(&folder, 100, cores);
            *best = (best.0.min(seconds), best.1.min(mib));
        }
    }
    let told = |sessions: usize, cores: &str, (seconds, mib): (f64, f64)| {
        println!(
            "  {sessions:>5} sessions, {cores}: {:.0} a second, peak {mib:.1} MiB",
            sessions as f64 / seconds
        );
    };
    told(100, "one core", best[0]);
    told(100, "all cores", best[1]);
    println!("    all cores are {:.2} times one", best[0].0 / best[1].0);
    told(count, "all cores", surveyed(&folder, count, "all"));
}

/// Seconds and peak memory of one survey.
fn surveyed(folder: &Path, sessions: usize, cores: &str) -> (f64, f64) {
    let mut command = Command::new(TRUING);
    if cores != "all" {
        command = Command::new("taskset");
        command.args(["-c", cores, TRUING]);
    }
    command
        .arg("survey")
        .args((0..sessions).map(|seed| folder.join(seed.to_string())));
    command
        .args(["--format", "json"])
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    let now = Instant::now();
    let mut child = command.spawn().unwrap();
    let mut peak = 0.0_f64;
    loop {
        if let Some(status) = child.try_wait().unwrap() {
            assert!(status.success());
            return (now.elapsed().as_secs_f64(), peak);
        }
        peak = peak_mib(child.id()).unwrap_or(0.0).max(peak);
        std::thread::sleep(Duration::from_millis(2));
    }
}
