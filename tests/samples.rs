//! The aligned seconds as rows, in CSV and JSON, against what two data libraries read of them.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::Path;

use assert_cmd::Command;
use serde_json::Value;

fn samples(session: &Path, arguments: &[&str]) -> String {
    let mut command = Command::new(env!("CARGO_BIN_EXE_truing"));
    let done = command.arg("samples").arg(session).args(arguments).assert();
    let output = done.success().get_output().clone();
    String::from_utf8(output.stdout).unwrap()
}

fn bench_ride() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-sessions/bench-ride")
}

/// Cells of CSV without quotes.
fn rows(csv: &str) -> (Vec<String>, Vec<Vec<String>>) {
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let heads = reader
        .headers()
        .unwrap()
        .iter()
        .map(str::to_owned)
        .collect();
    let row = |row: Result<csv::StringRecord, csv::Error>| {
        row.unwrap().iter().map(str::to_owned).collect()
    };
    (heads, reader.records().map(row).collect())
}

/// Made by `oracles/read_samples.py` with pandas and polars, which agree.
#[test]
fn the_rows_read_as_two_data_libraries_read_them() {
    let golden: Value = serde_json::from_str(include_str!("golden/samples.json")).unwrap();
    let (heads, rows) = rows(&samples(&bench_ride(), &[]));
    assert_eq!(golden["rows"].as_u64(), Some(rows.len() as u64));
    let columns = golden["columns"].as_object().unwrap();
    assert_eq!(heads.len(), columns.len());
    for (index, head) in heads.iter().enumerate() {
        let cells: Vec<&str> = rows.iter().map(|row| row[index].as_str()).collect();
        let filled: Vec<&&str> = cells.iter().filter(|cell| !cell.is_empty()).collect();
        let expected = &columns[head];
        assert_eq!(
            expected["count"].as_u64(),
            Some(filled.len() as u64),
            "{head}"
        );
        if let Some(sum) = expected["sum"].as_f64() {
            let here: f64 = filled.iter().map(|cell| cell.parse::<f64>().unwrap()).sum();
            assert!(
                (here - sum).abs() <= 1e-9 * sum.abs().max(1.0),
                "{head}: {here}, {sum}"
            );
        }
        let first = expected["first"].as_str().unwrap();
        assert_eq!(filled.first().map_or("", |cell| **cell), first, "{head}");
    }
}

#[test]
fn json_holds_the_rows_of_the_csv() {
    let part = ["--from", "100", "--to", "130"];
    let (heads, rows) = rows(&samples(&bench_ride(), &part));
    assert_eq!(rows.len(), 30);
    assert_eq!(rows[0][0], "100");
    let json = [&part[..], &["--format", "json"]].concat();
    let parsed: Value = serde_json::from_str(&samples(&bench_ride(), &json)).unwrap();
    let objects = parsed.as_array().unwrap();
    assert_eq!(objects.len(), rows.len());
    for (object, row) in objects.iter().zip(&rows) {
        for (head, cell) in heads.iter().zip(row) {
            match &object[head] {
                Value::Null => assert_eq!(cell, "", "{head}"),
                Value::Number(number) => {
                    assert_eq!(number.as_f64(), cell.parse().ok(), "{head}");
                }
                Value::String(text) => assert_eq!(text, cell, "{head}"),
                other => panic!("{head}: {other}"),
            }
        }
    }
    let empty = samples(
        &bench_ride(),
        &["--from", "-20", "--to", "-10", "--format", "json"],
    );
    assert_eq!(
        serde_json::from_str::<Value>(&empty).unwrap(),
        Value::Array(Vec::new())
    );
}

const SESSION: &str = r#"format = 1
title = "x"
[[stream]]
label = "=trainer, \"A\""
file = "trainer.csv"
role = "under-test"
[[stream]]
label = "pedals"
file = "pedals.csv"
role = "reference"
[[stream]]
label = "hub"
file = "hub.csv"
role = "reference"
[[segment]]
kind = "open"
from_s = 10
to_s = 50
[[segment]]
kind = "steady-block"
from_s = 20
to_s = 30
set_point_w = 200
"#;

#[test]
fn marks_segments_and_differences_stand_where_they_belong() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, power: &dyn Fn(u32) -> String| {
        let rows: String = (0..120).map(|t| format!("{t},{}\n", power(t))).collect();
        let text = match name {
            "hub.csv" => format!("time_s,power_w,mode\n{rows}"),
            _ => format!("time_s,power_w\n{rows}"),
        };
        std::fs::write(folder.path().join(name), text).unwrap();
    };
    let level = |t: u32| 150 + (t * 37) % 61;
    write("trainer.csv", &|t| match t {
        5 => String::new(),
        60..=69 => "0".to_owned(),
        _ => format!("{}", level(t) + 4),
    });
    write("pedals.csv", &|t| format!("{}", level(t)));
    write("hub.csv", &|t| {
        let mode = if t < 40 { "=erg" } else { "\"sim, \"\"A\"\"\"" };
        format!("{}.25,{mode}", level(t) + 1)
    });
    std::fs::write(folder.path().join("session.toml"), SESSION).unwrap();
    let (heads, rows) = rows(&samples(folder.path(), &[]));
    let at = |row: usize, head: &str| {
        let column = heads.iter().position(|other| other == head);
        rows[row][column.unwrap_or_else(|| panic!("{head} in {heads:?}"))].as_str()
    };
    // A cell that a spreadsheet would run is made inert.
    let trainer = |end: &str| format!("'=trainer, \"A\".{end}");
    assert_eq!(at(5, &trainer("mark")), "missing");
    assert_eq!(at(5, &trainer("power_w")), "");
    assert_eq!(at(65, &trainer("mark")), "false-zero");
    assert_eq!(at(6, &trainer("mark")), "");
    assert_eq!(at(6, &trainer("difference_w")), "3.375");
    let consensus: f64 = at(6, "consensus.power_w").parse().unwrap();
    assert_eq!(consensus, f64::from(level(6)) + 0.625);
    assert_eq!(
        (at(6, "segment"), at(6, "kind"), at(6, "set_point_w")),
        ("", "", "")
    );
    assert_eq!((at(15, "segment"), at(15, "kind")), ("1", "open"));
    assert_eq!((at(25, "segment"), at(25, "set_point_w")), ("2", "200"));
    assert_eq!(at(6, "time_utc"), "");
    assert_eq!((at(39, "mode"), at(40, "mode")), ("'=erg", "sim, \"A\""));
    let json = samples(
        folder.path(),
        &["--from", "39", "--to", "41", "--format", "json"],
    );
    let json: Value = serde_json::from_str(&json).unwrap();
    assert_eq!(
        (&json[0]["mode"], &json[1]["mode"]),
        (&"=erg".into(), &"sim, \"A\"".into())
    );
    let (_, part) = self::rows(&samples(folder.path(), &["--segment", "2"]));
    assert_eq!(part.len(), 10);
    let mut truing = Command::new(env!("CARGO_BIN_EXE_truing"));
    let refused = truing
        .arg("samples")
        .arg(folder.path())
        .args(["--segment", "9"]);
    let refused = refused.assert().code(2).get_output().clone();
    let reason = String::from_utf8(refused.stderr).unwrap();
    assert!(reason.contains("no segment 9"), "{reason}");
}
