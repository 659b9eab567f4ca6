//! Table, figure, report, survey and plan check from the command line: what they print, what they
//! write, and that an old file survives whatever goes wrong.

use std::path::Path;
use std::process::{Command, Output};

fn truing(arguments: &[&str], folder: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_truing"))
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap()
}

fn done(arguments: &[&str], folder: &Path) -> String {
    let output = truing(arguments, folder);
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{arguments:?}: {told}");
    String::from_utf8(output.stdout).unwrap()
}

/// The message of a command that could not do its work.
fn refused(arguments: &[&str], folder: &Path, code: i32) -> String {
    let output = truing(arguments, folder);
    assert_eq!(output.status.code(), Some(code), "{arguments:?}");
    String::from_utf8(output.stderr).unwrap()
}

/// A folder with two short rehearsed rides, tagged, clocks known.
fn bench() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for seed in ["1", "2"] {
        let name = format!("ride-{seed}");
        let arguments = ["rehearse", "short-check", "-o", &name, "--seed", seed];
        let known = ["--tagged", "--clocks", "known"];
        done(&[&arguments[..], &known].concat(), folder.path());
    }
    folder
}

#[test]
fn the_table_says_the_same_in_json_and_csv() {
    let bench = bench();
    let json = done(&["table", "ride-1", "--format", "json"], bench.path());
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    let text = done(
        &["table", "ride-1", "--full", "--format", "csv"],
        bench.path(),
    );
    let mut csv = csv::Reader::from_reader(text.as_bytes());
    let heads = csv.headers().unwrap().clone();
    let place = |name: &str| heads.iter().position(|head| head == name).unwrap();
    let rows: Vec<csv::StringRecord> = csv.records().map(Result::unwrap).collect();
    let mut compared = 0;
    let mut rows_left = rows.iter();
    for segment in json["segments"].as_array().unwrap() {
        for pair in segment["agreement"].as_array().unwrap() {
            let row = rows_left.next().unwrap();
            assert_eq!(
                &row[place("reference")],
                pair["reference"].as_str().unwrap()
            );
            for name in [
                "bias_w",
                "bias_percent",
                "sd_diff_w",
                "rmse_w",
                "ccc",
                "n_effective",
            ] {
                match (pair[name].as_f64(), row[place(name)].parse::<f64>()) {
                    (Some(full), Ok(rounded)) => {
                        assert!((full - rounded).abs() <= 5e-7, "{name}: {full} {rounded}");
                        compared += 1;
                    }
                    (None, Err(_)) => assert_eq!(&row[place(name)], ""),
                    other => panic!("{name}: {other:?}"),
                }
            }
        }
    }
    assert!(compared > 50, "{compared}");
    assert!(!text.contains("NaN") && !text.contains("inf"));
    let guide = done(&["table", "--columns", "--full"], bench.path());
    assert_eq!(
        guide.lines().count(),
        heads.len() + 1,
        "every column is described"
    );
}

/// Same names, same figures: the short table is a choice of columns and rows of the full one, with
/// what the answers say.
#[test]
fn the_short_table_says_the_same_as_the_full_one() {
    let bench = bench();
    let of = |more: &[&str]| {
        let arguments = [&["table", "ride-1", "--format", "csv"], more].concat();
        let text = done(&arguments, bench.path());
        let mut csv = csv::Reader::from_reader(text.as_bytes());
        let rows = csv.deserialize::<std::collections::HashMap<String, String>>();
        rows.map(Result::unwrap).collect::<Vec<_>>()
    };
    let (short, full) = (of(&[]), of(&["--full"]));
    let mut judged = 0;
    for row in &short {
        let same = |other: &&std::collections::HashMap<String, String>| {
            ["segment_id", "under_test", "reference"]
                .iter()
                .all(|name| other[*name] == row[*name])
        };
        let whole = full.iter().find(same).unwrap();
        for (name, cell) in row.iter().filter(|(name, _)| whole.contains_key(*name)) {
            assert_eq!(
                cell, &whole[name],
                "{name} of segment {}",
                row["segment_id"]
            );
        }
        let number = |name: &str| row[name].parse::<f64>().ok();
        if let Some(error) = number("verdict_bias_percent") {
            let (source, delivered) = (number("source_mean_w"), number("delivered_mean_w"));
            let means = 100.0 * (source.unwrap() / delivered.unwrap() - 1.0);
            assert!((means - error).abs() < 1e-4, "{means} {error}");
            judged += 1;
        }
    }
    assert!(judged > 1, "{judged}");
    let guide = done(&["table", "--columns"], bench.path());
    assert_eq!(guide.lines().count(), short[0].len() + 1);
}

#[test]
fn an_old_file_is_left_alone() {
    let bench = bench();
    let page = bench.path().join("page.html");
    std::fs::write(&page, "old").unwrap();
    for arguments in [
        vec!["report", "ride-1", "-o", "page.html"],
        vec!["report", "no-such-ride", "-o", "page.html", "--force"],
    ] {
        let told = refused(&arguments, bench.path(), 1);
        assert!(
            told.contains("--force") || told.contains("truing new"),
            "{told}"
        );
        assert_eq!(std::fs::read_to_string(&page).unwrap(), "old");
    }
    done(
        &["report", "ride-1", "-o", "page.html", "--force"],
        bench.path(),
    );
    let written = std::fs::read_to_string(&page).unwrap();
    assert!(written.starts_with("<!DOCTYPE html>") && written.ends_with("</html>\n"));
    let again = done(&["report", "ride-1", "-o", "again.html"], bench.path());
    assert_eq!(again, "");
    assert_eq!(
        std::fs::read_to_string(bench.path().join("again.html")).unwrap(),
        written
    );
    let leftovers = std::fs::read_dir(bench.path()).unwrap().count();
    assert_eq!(leftovers, 4, "two rides, two pages, no temporary file");
}

#[test]
fn places_that_cannot_hold_a_file_are_told() {
    let bench = bench();
    let told = refused(
        &["report", "ride-1", "-o", "nowhere/page.html"],
        bench.path(),
        1,
    );
    assert!(told.contains("create it first"), "{told}");
    let told = refused(&["report", "ride-1", "-o", "ride-2"], bench.path(), 1);
    assert!(told.contains("is a folder"), "{told}");
    let figure = ["figure", "ride-1", "--kind", "traces", "-o"];
    let told = refused(&[&figure[..], &["trace.jpeg"]].concat(), bench.path(), 2);
    assert!(told.contains(".svg or .png"), "{told}");
    let told = refused(
        &[
            "figure",
            "ride-1",
            "--segment",
            "99",
            "--kind",
            "traces",
            "-o",
            "x.svg",
        ],
        bench.path(),
        1,
    );
    assert!(told.contains("`truing table` lists 1 to"), "{told}");
}

#[test]
fn every_picture_comes_as_svg_and_png() {
    let bench = bench();
    let kinds = [
        "traces",
        "difference",
        "agreement",
        "response",
        "heat-soak",
        "coverage",
        "mean-max",
        "references",
        "error-curve",
    ];
    for kind in kinds {
        for ending in ["svg", "png"] {
            let file = format!("{kind}.{ending}");
            let arguments = ["figure", "ride-1", "--segment", "2", "--kind", kind];
            let size = ["-o", &file, "--width", "400"];
            done(&[&arguments[..], &size].concat(), bench.path());
            let bytes = std::fs::read(bench.path().join(&file)).unwrap();
            let start: &[u8] = if ending == "svg" { b"<svg" } else { b"\x89PNG" };
            assert!(bytes.starts_with(start), "{file}");
        }
    }
}

#[test]
fn a_survey_leaves_out_what_it_cannot_use_and_says_so() {
    let bench = bench();
    let output = truing(
        &[
            "survey", "ride-1", "ride-2", "gone", "ride-1", "--format", "json",
        ],
        bench.path(),
    );
    assert!(output.status.success());
    let told = String::from_utf8(output.stderr).unwrap();
    assert!(
        told.contains("gone") && told.contains("the same ride as ride-1"),
        "{told}"
    );
    let found: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(found["sessions"].as_array().unwrap().len(), 2);
    assert_eq!(found["skipped"].as_array().unwrap().len(), 2);
    let groups = found["groups"].as_array().unwrap();
    assert_eq!(groups.last().unwrap()["precision"]["sessions"], 2);
    let told = refused(&["survey", "gone"], bench.path(), 1);
    assert!(told.contains("none of the sessions"), "{told}");
    let picture = ["survey", "ride-1", "ride-2", "--figure", "s.svg"];
    assert!(done(&picture, bench.path()).contains("PRECISION"));
    assert!(bench.path().join("s.svg").exists());
}

#[test]
fn a_ride_is_held_against_a_plan() {
    let bench = bench();
    let own = done(&["plan", "short-check", "--check", "ride-1"], bench.path());
    assert!(
        own.contains("✓ as planned") && !own.contains("✗ missing"),
        "{own}"
    );
    let other = done(&["plan", "full-bench", "--check", "ride-1"], bench.path());
    assert!(other.contains("✗ missing"), "{other}");
    assert!(
        other.contains("whether the bias moves with the gear"),
        "{other}"
    );
    let told = refused(
        &["plan", "no-such-plan", "--check", "ride-1"],
        bench.path(),
        1,
    );
    assert!(told.contains("no-such-plan"), "{told}");
}

#[test]
fn one_session_is_counted_as_one() {
    let bench = bench();
    let text = done(&["survey", "ride-1"], bench.path());
    assert!(text.contains("\n1 session used.\n"), "{text}");
    let page = done(&["survey", "ride-1", "--format", "markdown"], bench.path());
    assert!(page.starts_with("# Survey of 1 session\n"), "{page}");
}

/// Neither the session nor what it rests on is ever the price of a picture.
#[test]
fn no_file_of_the_session_is_replaced_whatever_is_forced() {
    let bench = bench();
    let ride = bench.path().join("ride-1");
    let recordings = ride.join("recordings");
    let all = || -> Vec<Vec<u8>> {
        let files = recordings
            .read_dir()
            .unwrap()
            .map(|file| file.unwrap().path());
        let mut files: Vec<_> = files.chain([ride.join("session.toml")]).collect();
        files.sort();
        files
            .iter()
            .map(|file| std::fs::read(file).unwrap())
            .collect()
    };
    let before = all();
    for (session, name) in [
        ("ride-1", "ride-1/session.toml"),
        ("ride-1", "./ride-2/../ride-1/session.toml"),
        ("ride-1/session.toml", "ride-1/recordings/trainer.fit"),
        ("ride-1", "ride-1/recordings/crank.csv"),
    ] {
        let told = refused(&["report", session, "-o", name, "--force"], bench.path(), 1);
        assert!(
            told.contains(name) && told.contains("never replaced"),
            "{told}"
        );
        assert_eq!(all(), before, "{name}");
    }
    // A recording that is called a picture.
    let text = std::fs::read_to_string(ride.join("session.toml")).unwrap();
    std::fs::write(
        ride.join("session.toml"),
        text.replace("crank.csv", "crank.svg"),
    )
    .unwrap();
    std::fs::rename(recordings.join("crank.csv"), recordings.join("crank.svg")).unwrap();
    let before = all();
    let picture = [
        "figure",
        "ride-1",
        "--kind",
        "traces",
        "-o",
        "ride-1/recordings/crank.svg",
    ];
    let told = refused(&[&picture[..], &["--force"]].concat(), bench.path(), 1);
    assert!(told.contains("never replaced"), "{told}");
    assert_eq!(all(), before);
}

/// A device or a pipe is written to: in its place no file may stand afterwards.
#[cfg(unix)]
#[test]
fn a_pipe_is_written_to_and_not_replaced() {
    use std::os::unix::fs::FileTypeExt as _;
    let bench = bench();
    let pipe = bench.path().join("page.html");
    let made = Command::new("mkfifo").arg(&pipe).status().unwrap();
    assert!(made.success());
    let reader = std::thread::spawn({
        let pipe = pipe.clone();
        move || std::fs::read_to_string(pipe).unwrap()
    });
    done(
        &["report", "ride-1", "-o", "page.html", "--force"],
        bench.path(),
    );
    assert!(pipe.metadata().unwrap().file_type().is_fifo());
    assert!(reader.join().unwrap().starts_with("<!DOCTYPE html>"));
}
