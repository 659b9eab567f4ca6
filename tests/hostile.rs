//! Recordings made to cost much: each gets its answer in memory that its own size bounds, and
//! nothing is printed on the way.
//!
//! The work is done in a process of its own, whose peak the kernel keeps. `TRUING_ROWS=10000000
//! cargo test hostile::` does it with ten million rows; the default keeps the suite quick.

#![cfg(target_os = "linux")]

use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;

use crate::fit_bytes::{Section, T0, UINT8, UINT16, UINT32};
use crate::fit_fixtures;
use truing::recording::{ReadOptions, read};
use truing::session::start::{Part, sketch};
use truing::timeline::Aligned;

const FILE: &str = "TRUING_HOSTILE_FILE";

/// What reading may take beyond the program itself, as `recording::read` promises.
const PER_BYTE: u64 = 30;
const BESIDES: u64 = 16 << 20;

/// Not a test of its own: the process that is measured. It reads the file and puts it on a time
/// line, and says what its memory was at most after each.
#[test]
fn the_process_that_is_measured() {
    let Ok(file) = std::env::var(FILE) else {
        return;
    };
    let answer = read(Path::new(&file), &ReadOptions::default());
    println!("\npeak {}", peak());
    match answer {
        Err(error) => println!("refused {error}"),
        Ok(recording) => {
            let samples: usize = recording.streams.iter().map(|s| s.samples.len()).sum();
            let part = Part {
                file: "hostile".to_owned(),
                recording: Arc::new(recording),
            };
            let opened = sketch(Path::new("."), "", &[part], None);
            let rows = opened.map_or(0, |opened| Aligned::new(&opened).grid.len);
            assert!(
                rows <= 16 * samples + 3601,
                "{rows} rows of {samples} samples"
            );
            println!("read {samples}");
        }
    }
    println!("aligned {}", peak());
}

/// Largest memory of this process so far, bytes.
fn peak() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status
        .lines()
        .find(|line| line.starts_with("VmHWM"))
        .unwrap();
    let kib: u64 = line.split_whitespace().nth(1).unwrap().parse().unwrap();
    kib << 10
}

/// What the process said of a file.
struct Said {
    answer: String,
    peak: u64,
    aligned: u64,
}

fn of(name: &str, bytes: &[u8]) -> Said {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join(name);
    std::fs::write(&file, bytes).unwrap();
    let output = Command::new(std::env::current_exe().unwrap())
        .args([
            "--exact",
            "hostile::the_process_that_is_measured",
            "--nocapture",
        ])
        .args(["--test-threads", "1"])
        .env(FILE, &file)
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let errors = String::from_utf8_lossy(&output.stderr);
    let text = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{name}: {text}\n{errors}");
    assert_eq!(errors, "", "{name}: printed on the way");
    let after = |word: &str| {
        let mut lines = text.lines();
        lines
            .find_map(|line| line.strip_prefix(word))
            .map(str::trim)
    };
    let number = |word: &str| after(word).unwrap().parse::<u64>().unwrap();
    Said {
        answer: after("refused").or(after("read")).unwrap().to_owned(),
        peak: number("peak"),
        aligned: number("aligned"),
    }
}

/// Reads `bytes` within bounds and returns the answer.
fn bounded(name: &str, bytes: &[u8]) -> String {
    let nothing = of("empty.csv", b"time_s,power_w\n0,1\n1,1\n");
    let said = of(name, bytes);
    let allowed = PER_BYTE * bytes.len() as u64 + BESIDES;
    let took = said.peak.saturating_sub(nothing.peak);
    assert!(took <= allowed, "{name}: {took} bytes, {allowed} allowed");
    // On a grid of at most 16 rows a sample, each with its sums and envelopes.
    let took = said.aligned.saturating_sub(nothing.aligned);
    let allowed = 16 * PER_BYTE * bytes.len() as u64 + BESIDES;
    assert!(
        took <= allowed,
        "{name}, aligned: {took} bytes, {allowed} allowed"
    );
    said.answer
}

fn rows() -> usize {
    let wanted = std::env::var("TRUING_ROWS").ok();
    wanted.and_then(|text| text.parse().ok()).unwrap_or(300_000)
}

fn csv(row: impl Fn(usize) -> String) -> Vec<u8> {
    let mut text = "time,power_w\n".to_owned();
    (0..rows()).for_each(|i| text.push_str(&row(i)));
    text.into_bytes()
}

#[test]
fn millions_of_short_rows() {
    // Ten a second: ten million seconds would be no ride.
    let row = |i: usize| format!("{}.{},9\n", i / 10, i % 10);
    let answer = bounded("rows.csv", &csv(row));
    assert_eq!(answer, rows().to_string());
}

#[test]
fn a_clock_that_jumps_by_centuries() {
    let date = |i: usize| {
        let year = 1900 + 100 * (i % 3);
        let (minute, second) = (i / 60 % 60, i % 60);
        format!(
            "{year}-01-01T{:02}:{minute:02}:{second:02}Z,200\n",
            i / 3600 % 24
        )
    };
    let text = csv(date);
    let answer = bounded("centuries.csv", &text[..text.len() / 4]);
    assert!(!answer.is_empty());
}

#[test]
fn a_clock_that_runs_backward() {
    let last = rows();
    let answer = bounded("backward.csv", &csv(|i| format!("{},200\n", last - i)));
    assert_eq!(answer, rows().to_string());
}

#[test]
fn numbers_beyond_all_sense() {
    let awkward = [
        "1e308", "-1e308", "65535", "-65535", "1e-320", "NaN", "inf", "",
    ];
    let row = |i: usize| format!("{},{}\n", i * 7919 % 1000, awkward[i % awkward.len()]);
    bounded("numbers.csv", &csv(row));
    let far = |i: usize| format!("{},1\n", i as f64 * 1e13);
    bounded("far.csv", &csv(far)[..100_000]);
}

#[test]
fn a_device_in_every_row() {
    let mut text = "time_s,device,power_w\n".to_owned();
    (0..rows() / 10).for_each(|i| text.push_str(&format!("{i},d{i},9\n")));
    bounded("devices.csv", text.as_bytes());
}

#[test]
fn columns_without_end() {
    let mut text = "time_s".to_owned();
    (0..rows() / 3).for_each(|_| text.push_str(",power"));
    text.push('\n');
    text.push_str(&"1,2\n".repeat(1000));
    bounded("columns.csv", text.as_bytes());
    bounded("commas.csv", &vec![b','; rows()]);
    bounded(
        "quotes.csv",
        format!("time,power\n\"{}", "a\n".repeat(rows())).as_bytes(),
    );
}

#[test]
fn a_fit_file_whose_clock_jumps_and_whose_power_is_the_largest_number() {
    let mut section = Section::default();
    section.define(0, 20, &[(253, 4, UINT32), (7, 2, UINT16), (4, 1, UINT8)]);
    for i in 0..(rows() / 10) as u32 {
        let century = 3_155_760_000_u32;
        let time = T0.wrapping_add(i).wrapping_add(century.wrapping_mul(i % 3));
        let power = if i % 2 == 0 { 65_534_u16 } else { 65_535 };
        section.data(0, &[&time.to_le_bytes(), &power.to_le_bytes(), &[90]]);
    }
    let answer = bounded("jumps.fit", &section.file());
    assert!(!answer.is_empty());
}

/// fitparser warns on the standard error of some files; nothing may be written over the screen.
#[test]
fn the_fit_files_that_the_parser_ships_and_damaged_ones_print_nothing() {
    let mut section = Section::default();
    section.define(0, 20, &[(253, 4, UINT32), (7, 2, UINT16)]);
    for i in 0..50_u32 {
        section.data(0, &[&(T0 + i).to_le_bytes(), &200_u16.to_le_bytes()]);
    }
    let whole = section.file();
    // A field longer than its type, a checksum that is wrong, a file cut short.
    let mut odd = Section::default();
    odd.define(0, 20, &[(253, 4, UINT32), (7, 3, UINT16), (2, 5, UINT32)]);
    odd.data(0, &[&T0.to_le_bytes(), &[1; 8]]);
    let mut wrong = whole.clone();
    *wrong.last_mut().unwrap() ^= 0xFF;
    for (name, bytes) in [
        ("whole.fit", whole.as_slice()),
        ("odd.fit", &odd.file()),
        ("wrong.fit", &wrong),
        ("cut.fit", &whole[..whole.len() / 2]),
    ] {
        of(name, bytes);
    }
    for file in fit_fixtures::files() {
        let bytes = std::fs::read(&file).unwrap();
        of("fixture.fit", &bytes);
        // Twice the file in one: the second part is damage to some parsers.
        of(
            "fixture.fit",
            &[bytes.as_slice(), &bytes[..bytes.len() / 3]].concat(),
        );
    }
}

#[cfg(unix)]
#[test]
fn a_link_that_leads_to_itself_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let (one, other) = (
        folder.path().join("one.fit"),
        folder.path().join("other.fit"),
    );
    std::os::unix::fs::symlink(&one, &other).unwrap();
    std::os::unix::fs::symlink(&other, &one).unwrap();
    let error = read(&one, &ReadOptions::default()).unwrap_err().to_string();
    assert!(
        error.contains("one.fit") && error.contains("cannot read it"),
        "{error}"
    );
}
