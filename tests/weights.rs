//! Known masses: `truing weights`, what a session says of them, and what is reported and not used.
#![allow(clippy::unwrap_used)]

use std::path::Path;
use std::process::Output;

use assert_cmd::Command;
use serde_json::Value;

fn truing(folder: &Path, arguments: &[&str]) -> Output {
    let mut command = Command::cargo_bin("truing").unwrap();
    command
        .current_dir(folder)
        .args(arguments)
        .output()
        .unwrap()
}

fn told(output: &Output) -> String {
    let (out, errors) = (&output.stdout, &output.stderr);
    String::from_utf8_lossy(out).into_owned() + &String::from_utf8_lossy(errors)
}

/// A short ride whose references both read 1.2 % high, with a file of readings beside it.
fn rehearsed() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let mut arguments = vec!["rehearse", "short-check", "-o", "ride", "--tagged"];
    arguments.extend(["--clocks", "known", "--fault", "common-error=1.2"]);
    let output = truing(folder.path(), &arguments);
    assert_eq!(output.status.code(), Some(0), "{}", told(&output));
    let readings = "# on the stand\nkg,nm\n0,0.15\n5,8.71\n10,17.27\n15,25.83\n20,34.39\n25,42.95\n\
                    20,34.45\n15,25.91\n10,17.35\n5,8.76\n0,0.17\n";
    std::fs::write(folder.path().join("readings.csv"), readings).unwrap();
    folder
}

fn stream_of(table: &Value, label: &str) -> Value {
    let streams = table["streams"].as_array().unwrap();
    streams
        .iter()
        .find(|s| s["label"] == label)
        .unwrap()
        .clone()
}

fn table(folder: &Path) -> Value {
    let output = truing(folder, &["table", "ride", "--format", "json"]);
    serde_json::from_slice(&output.stdout).unwrap()
}

fn mean_w(table: &Value, label: &str) -> f64 {
    let block = &table["segments"].as_array().unwrap()[1];
    let streams = block["streams"].as_array().unwrap();
    let stream = streams.iter().find(|s| s["label"] == label).unwrap();
    stream["mean_w"].as_f64().unwrap()
}

#[test]
fn readings_are_written_with_comments_kept_and_move_every_figure() {
    let folder = rehearsed();
    let folder = folder.path();
    let path = folder.join("ride/session.toml");
    let text = std::fs::read_to_string(&path).unwrap();
    std::fs::write(&path, format!("# mine\n{text}")).unwrap();
    let before = table(folder);
    assert_eq!(stream_of(&before, "pedals")["weights"], Value::Null);
    let no_crank = truing(folder, &["weights", "ride", "pedals", "readings.csv"]);
    assert_eq!(no_crank.status.code(), Some(1));
    assert!(
        told(&no_crank).contains("give crank_mm; nothing is written"),
        "{}",
        told(&no_crank)
    );
    for label in ["pedals", "crank"] {
        let mut arguments = vec!["weights", "ride", label, "readings.csv"];
        arguments.extend(["--crank-mm", "172.5", "--gravity", "9.80665"]);
        let output = truing(folder, &arguments);
        assert_eq!(output.status.code(), Some(0), "{}", told(&output));
        assert!(
            told(&output).contains("scale 1.0122 ± 0.64 %"),
            "{}",
            told(&output)
        );
    }
    let saved = std::fs::read_to_string(&path).unwrap();
    assert!(
        saved.starts_with("# mine\n") && saved.contains("[stream.weights]"),
        "{saved}"
    );
    let after = table(folder);
    let check = stream_of(&after, "pedals")["weights"].clone();
    assert!((check["scale"].as_f64().unwrap() - 1.012161).abs() < 1e-6);
    assert_eq!(check["used"], true);
    let ratio = mean_w(&before, "pedals") / mean_w(&after, "pedals");
    assert!((ratio - 1.012161).abs() < 1e-6, "{ratio}");
    let of = |table: &Value| {
        table["segments"][1]["verdict"]["bias_percent"]
            .as_f64()
            .unwrap()
    };
    assert!((of(&after) - of(&before) - 1.216).abs() < 0.03);
    let text = told(&truing(folder, &["table", "ride", "--full"]));
    for part in [
        "METERS BESIDE THE RIDE",
        "crank length 0.167 (shared)",
        "leave the scale in the",
    ] {
        let plain = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(plain.contains(part), "{part} in\n{text}");
    }
    let findings = told(&truing(folder, &["findings", "ride"]));
    let plain = findings.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        plain.contains("pedals reads 1.22 % high by known masses"),
        "{findings}"
    );
    let picture = ["figure", "ride", "--kind", "weights", "-o", "weights.svg"];
    let drawn = truing(folder, &picture);
    assert_eq!(drawn.status.code(), Some(0), "{}", told(&drawn));
    let page = truing(folder, &["report", "ride", "--full", "-o", "page.html"]);
    assert_eq!(page.status.code(), Some(0), "{}", told(&page));
    let html = std::fs::read_to_string(folder.join("page.html")).unwrap();
    for part in [
        "References by known masses",
        "known masses on pedals",
        "divided by that scale",
    ] {
        assert!(html.contains(part), "{part}");
    }
}

#[test]
fn readings_that_cannot_be_meant_are_reported_and_not_used() {
    let folder = rehearsed();
    let folder = folder.path();
    let path = folder.join("ride/session.toml");
    let clean = std::fs::read_to_string(&path).unwrap();
    let before = mean_w(&table(folder), "pedals");
    let series = |kg: &str, nm: &str, crank: &str| {
        format!(
            "\n[stream.weights]\ncrank_mm = {crank}\nkg = {kg}\nnm = {nm}\n\n[[stream]]\nlabel = \"crank\""
        )
    };
    let (kg, nm) = ("[0, 5, 10, 5, 0]", "[0.1, 8.6, 17.1, 8.6, 0.1]");
    for (readings, said) in [
        (
            series("[0, 10, 0]", "[0.1, 17.1, 0.1]", "172.5"),
            "3 readings",
        ),
        (
            series("[5, 10, 15, 10]", "[8.6, 17.1, 25.6, 17.1]", "172.5"),
            "without a mass",
        ),
        (series(kg, nm, "17.25"), "was 172.5 meant?"),
        (series(kg, "[10, 860, 1710, 860, 10]", "172.5"), "N·cm"),
        (
            series(kg, "[0.1, 17.1, 34.1, 17.1, 0.1]", "172.5"),
            "one side that doubles",
        ),
    ] {
        let text = clean.replacen("\n[[stream]]\nlabel = \"crank\"", &readings, 1);
        assert_ne!(text, clean);
        std::fs::write(&path, text).unwrap();
        let output = truing(folder, &["table", "ride", "--format", "json"]);
        assert_eq!(output.status.code(), Some(0), "{}", told(&output));
        let errors = String::from_utf8_lossy(&output.stderr);
        let wanted = "known masses of pedals are not used";
        assert!(
            errors.contains(wanted) && errors.contains(said),
            "{said}: {errors}"
        );
        let table: Value = serde_json::from_slice(&output.stdout).unwrap();
        let check = stream_of(&table, "pedals")["weights"].clone();
        assert_eq!(check["used"], false);
        assert!(check["note"].as_str().unwrap().contains(said), "{check}");
        assert_eq!(mean_w(&table, "pedals"), before);
        let claims = table["segments"][1]["verdict"]["budget"].to_string();
        assert!(claims.contains("claim of pedals"), "{claims}");
    }
}

#[test]
fn a_file_that_is_no_table_changes_nothing() {
    let folder = rehearsed();
    let folder = folder.path();
    let path = folder.join("ride/session.toml");
    let before = std::fs::read(&path).unwrap();
    std::fs::write(folder.join("cm.csv"), "kg,ncm\n0,15\n").unwrap();
    std::fs::write(folder.join("big.csv"), "0,0\n".repeat(20_000)).unwrap();
    for (label, file, said) in [
        (
            "nobody",
            "readings.csv",
            "“nobody” is no stream of this session; there are trainer, pedals",
        ),
        ("pedals", "cm.csv", "no column nm"),
        ("pedals", "big.csv", "64 KiB"),
        ("pedals", "gone.csv", "gone.csv"),
        ("pedals", "ride", "not a regular file"),
    ] {
        let arguments = ["weights", "ride", label, file, "--crank-mm", "172.5"];
        let output = truing(folder, &arguments);
        assert_eq!(output.status.code(), Some(1));
        assert!(told(&output).contains(said), "{said}: {}", told(&output));
    }
    assert_eq!(std::fs::read(&path).unwrap(), before);
}

#[test]
fn the_sheet_is_printed_and_a_rehearsal_can_hold_readings() {
    let folder = tempfile::tempdir().unwrap();
    let sheet = told(&truing(folder.path(), &["plan", "weights"]));
    assert!(
        sheet.contains("hurts feet") && sheet.contains("42.29"),
        "{sheet}"
    );
    let arguments = ["rehearse", "short-check", "-o", "ride", "--fault", "masses"];
    let output = truing(folder.path(), &arguments);
    assert_eq!(output.status.code(), Some(0), "{}", told(&output));
    let read = |name: &str| std::fs::read_to_string(folder.path().join("ride").join(name)).unwrap();
    assert_eq!(read("session.toml").matches("[stream.weights]").count(), 2);
    assert_eq!(read("truth.toml").matches("scale_at_rest").count(), 2);
    assert!(read("truth.toml").contains("crank_error_mm = 0.2"));
}
