//! Whole JSON and CSV outputs of the sample sessions, and of a rehearsed ride with every kind of
//! segment, against the files in `golden/outputs`: whoever moves code sees at once whether a figure
//! moved with it.
//!
//! `TRUING_WRITE_GOLDENS=1 cargo test outputs::` writes them anew; read the difference before
//! committing it.
#![allow(clippy::unwrap_used)]

use std::path::{Path, PathBuf};

use assert_cmd::Command;

/// Significant digits kept: more than any output is read to, few enough that the last bits of
/// another platform's logarithm do not show.
const DIGITS: i32 = 6;

/// Least and most decimals kept: times of day have ten digits before the point, and what rounding
/// left of a zero has none behind it.
const DECIMALS: (i32, i32) = (1, 9);

fn goldens() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden/outputs")
}

fn truing(folder: &Path, arguments: &[&str]) -> String {
    let output = Command::cargo_bin("truing")
        .unwrap()
        .current_dir(folder)
        .args(arguments)
        .output()
        .unwrap();
    let errors = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(0), "{arguments:?}: {errors}");
    String::from_utf8(output.stdout).unwrap()
}

/// A copy of a sample session in `folder`, so that no path in an output is this machine's.
fn copy_sample(name: &str, folder: &Path) {
    let from = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("sample-sessions")
        .join(name);
    let to = folder.join(name);
    std::fs::create_dir_all(to.join("recordings")).unwrap();
    std::fs::copy(from.join("session.toml"), to.join("session.toml")).unwrap();
    for entry in std::fs::read_dir(from.join("recordings")).unwrap() {
        let entry = entry.unwrap();
        let copy = to.join("recordings").join(entry.file_name());
        std::fs::copy(entry.path(), copy).unwrap();
    }
}

/// A tagged ride after `every-kind.toml` with faults for every figure to find.
fn rehearse_every_kind(folder: &Path) {
    let plan = goldens().join("every-kind.toml");
    let mut arguments = vec!["rehearse", plan.to_str().unwrap(), "--output", "every-kind"];
    arguments.extend(["--seed", "7", "--clocks", "known", "--tagged"]);
    for fault in [
        "gain=1",
        "gear=1.5",
        "heat=-1",
        "dead-time=0.6",
        "lag=1.6",
        "ceiling=620",
        "phantom=38",
        "surge=90",
        "gap=8",
        "freeze=12",
    ] {
        arguments.extend(["--fault", fault]);
    }
    truing(folder, &arguments);
}

/// The text with every decimal number rounded, wherever it stands on its own. Whole numbers, times
/// of day and fingerprints stay as they are.
fn rounded(text: &str) -> String {
    let is_word = |c: char| c.is_alphanumeric() || "_.+-".contains(c);
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(start) = rest.find(is_word) {
        let (before, from) = rest.split_at(start);
        let (word, after) = from.split_at(from.find(|c| !is_word(c)).unwrap_or(from.len()));
        out.push_str(before);
        out.push_str(&rounded_word(word).unwrap_or_else(|| word.to_owned()));
        rest = after;
    }
    out + rest
}

fn rounded_word(word: &str) -> Option<String> {
    let digits = word.trim_start_matches(['+', '-']);
    if !digits.starts_with(|c: char| c.is_ascii_digit()) || !digits.contains(['.', 'e']) {
        return None;
    }
    let value: f64 = word.parse().ok()?;
    let written = word.bytes().filter(u8::is_ascii_digit).count() as i32;
    if written <= DIGITS && value != 0.0 && !word.contains('e') {
        return None;
    }
    let leading = value.abs().log10().floor().max(-100.0) as i32;
    let decimals = (DIGITS - 1 - leading).clamp(DECIMALS.0, DECIMALS.1) as usize;
    let short: f64 = format!("{value:.decimals$}").parse().ok()?;
    // Without the sign of a zero.
    Some(format!("{:?}", short + 0.0))
}

/// Holds `text` against the golden file, or writes it.
fn hold(name: &str, text: &str) {
    let path = goldens().join(name);
    let now = rounded(text);
    if std::env::var_os("TRUING_WRITE_GOLDENS").is_some() {
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(&path, now).unwrap();
        return;
    }
    let known = std::fs::read_to_string(&path).unwrap_or_default();
    if now == known {
        return;
    }
    let (mut known_lines, mut lines) = (known.lines(), now.lines());
    for number in 1.. {
        let (known, now) = (known_lines.next(), lines.next());
        if known != now {
            let (known, now) = (known.unwrap_or("(the end)"), now.unwrap_or("(the end)"));
            panic!(
                "{name}, line {number}:\n  was {}\n  is  {}\nIf that is meant: \
                 TRUING_WRITE_GOLDENS=1 cargo test outputs::",
                from_first_difference(known, now),
                from_first_difference(now, known)
            );
        }
    }
}

/// The part of a line that differs from another, with what leads up to it: a row of CSV is long.
fn from_first_difference(line: &str, other: &str) -> String {
    let same = line
        .chars()
        .zip(other.chars())
        .take_while(|(a, b)| a == b)
        .count();
    line.chars()
        .skip(same.saturating_sub(30))
        .take(100)
        .collect()
}

/// Every output of one session; `plan` is what it is held against.
fn hold_outputs(folder: &Path, session: &str, plan: &str) {
    for command in ["table", "verdict", "align"] {
        for format in ["json", "csv"] {
            let mut arguments = vec![command, session, "--format", format];
            match command {
                "align" => arguments.push("--again"),
                "table" => arguments.push("--full"),
                _ => {}
            }
            hold(
                &format!("{session}/{command}.{format}"),
                &truing(folder, &arguments),
            );
        }
    }
    let short = ["table", session, "--format", "csv"];
    hold(
        &format!("{session}/table-short.csv"),
        &truing(folder, &short),
    );
    let mut probe = vec!["probe".to_owned(), "--format".to_owned(), "json".to_owned()];
    for recording in ["trainer.fit", "pedals.fit", "crank.csv"] {
        probe.push(format!("{session}/recordings/{recording}"));
    }
    let probe: Vec<&str> = probe.iter().map(String::as_str).collect();
    hold(&format!("{session}/probe.json"), &truing(folder, &probe));
    let check = ["plan", plan, "--check", session, "--format", "json"];
    hold(&format!("{session}/plan.json"), &truing(folder, &check));
}

#[test]
fn of_the_sample_sessions() {
    let folder = tempfile::tempdir().unwrap();
    for (sample, plan) in [
        ("bench-ride", "full-bench"),
        ("heat-soak", "heat-soak"),
        ("slopes", "slopes"),
    ] {
        copy_sample(sample, folder.path());
        hold_outputs(folder.path(), sample, plan);
    }
}

#[test]
fn of_a_ride_with_every_kind() {
    let folder = tempfile::tempdir().unwrap();
    rehearse_every_kind(folder.path());
    let plan = goldens().join("every-kind.toml");
    hold_outputs(folder.path(), "every-kind", plan.to_str().unwrap());
    let table = std::fs::read_to_string(goldens().join("every-kind/table.csv")).unwrap();
    for kind in truing::session::Kind::ALL {
        assert!(
            table.contains(&format!(",{kind},")),
            "no {kind} in the ride"
        );
    }
}

#[test]
fn of_a_survey() {
    let folder = tempfile::tempdir().unwrap();
    copy_sample("heat-soak", folder.path());
    rehearse_every_kind(folder.path());
    for format in ["json", "csv"] {
        let arguments = ["survey", "heat-soak", "every-kind", "--format", format];
        hold(
            &format!("survey.{format}"),
            &truing(folder.path(), &arguments),
        );
    }
}

#[test]
fn numbers_are_rounded_and_nothing_else() {
    for (written, kept) in [
        (
            "{\"bias_w\": -1.23456789, \"n\": 1234567}",
            "{\"bias_w\": -1.23457, \"n\": 1234567}",
        ),
        ("a,0.30000000000000004,-1e-17,", "a,0.3,0.0,"),
        ("1772960402.3499", "1772960402.3"),
        (
            "\"2026-03-08T09:00:02.35Z\" 12e4ab. 0x1.5 ±2.00",
            "\"2026-03-08T09:00:02.35Z\" 12e4ab. 0x1.5 ±2.00",
        ),
    ] {
        assert_eq!(rounded(written), kept);
    }
}
