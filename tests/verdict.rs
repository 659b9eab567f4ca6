//! `truing verdict` and `truing explain` with the real binary.
#![allow(clippy::unwrap_used)]

use std::path::{Path, PathBuf};

use crate::program::truing;
use serde_json::Value;
use truing::plan::Plan;
use truing::rehearse::{Fault, Scenario, SessionOptions, ride, write_session};

/// A rehearsed, tagged session in `folder` with these faults.
fn session(folder: &Path, faults: &[&str]) -> PathBuf {
    let plan = Plan::built_in("repeatability").unwrap();
    let mut scenario = Scenario::default();
    for fault in faults {
        let fault: Fault = fault.parse().unwrap();
        fault.put_into(&mut scenario, &plan).unwrap();
    }
    let rehearsal = ride(&plan, &scenario, 5).unwrap();
    let options = SessionOptions {
        clocks_known: true,
        tagged: true,
    };
    let target = folder.join("session");
    write_session(&rehearsal, &rehearsal.session(options), &target).unwrap();
    target
}

#[test]
fn a_source_far_off_does_not_conform_and_strict_says_so_by_its_exit_code() {
    let folder = tempfile::tempdir().unwrap();
    let session = session(folder.path(), &["gain=6"]);
    let named = session.to_str().unwrap();
    let (text, _, code) = truing(&["verdict", named]);
    assert_eq!(code, 0);
    assert!(
        text.starts_with("Reads 6.") && text.contains("✗ accuracy"),
        "{text}"
    );
    assert!(text.contains("claim of pedals (rectangular)"), "{text}");
    assert!(text.contains("no calibration certificate"), "{text}");
    let (strict, _, code) = truing(&["verdict", named, "--strict"]);
    assert_eq!((code, strict), (3, text));
}

#[test]
fn a_true_source_conforms_in_every_format() {
    let folder = tempfile::tempdir().unwrap();
    let session = session(folder.path(), &[]);
    let named = session.to_str().unwrap();
    let (json, _, code) = truing(&["verdict", named, "--strict", "--format", "json"]);
    assert_eq!(code, 0);
    let json: Value = serde_json::from_str(&json).unwrap();
    assert!(
        json["answers"][0].as_str().unwrap().contains("conforms"),
        "{json}"
    );
    let judged: Vec<&Value> = json["segments"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|s| s["kind"] == "steady-block")
        .map(|s| &s["verdicts"][0])
        .collect();
    assert_eq!(judged.len(), 3);
    for verdict in &judged {
        assert_eq!(verdict["outcome"], "conforms", "{verdict}");
        let number = |key: &str| verdict[key].as_f64().unwrap();
        let reach = number("bias_percent").abs() + number("expanded_uncertainty_percent");
        assert!(reach <= number("limit_percent"));
        assert_eq!(verdict["budget"].as_array().unwrap().len(), 4);
    }
    assert_eq!(json["families"][0]["conform"].as_array().unwrap().len(), 3);

    let (csv, _, _) = truing(&["verdict", named, "--format", "csv"]);
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let outcomes: Vec<String> = reader
        .records()
        .map(Result::unwrap)
        .filter(|row| &row[1] == "steady-block")
        .map(|row| row[7].to_owned())
        .collect();
    assert_eq!(outcomes, ["conforms"; 3]);

    let (markdown, _, _) = truing(&["verdict", named, "--format", "markdown"]);
    let rows = markdown
        .lines()
        .filter(|l| l.starts_with("| ") && l.contains("| conforms |"));
    assert!(rows.count() >= 3, "{markdown}");
}

#[test]
fn explain_tells_formula_source_and_trap_and_suggests_after_a_slip() {
    let (text, _, code) = truing(&["explain", "ccc"]);
    assert_eq!(code, 0);
    for part in [
        "concordance",
        "Lin 1989",
        "does not tell",
        "segments.agreement.ccc",
    ] {
        assert!(text.contains(part), "{part} is not in {text}");
    }
    let (_, message, code) = truing(&["explain", "concordence"]);
    assert_eq!(code, 1);
    assert!(
        message.contains("did you mean “agreement.ccc”"),
        "{message}"
    );
    let (all, _, code) = truing(&["explain"]);
    assert_eq!(code, 0);
    assert!(
        all.contains("segments.verdict.outcome") && all.contains("consensus"),
        "{all}"
    );
}

/// Two series that stand to each other in the same way every second are not the readings of two
/// meters: a copy, or sources that both read nought. Neither is evidence for or against a claim.
#[test]
fn without_any_scatter_nothing_is_decided() {
    let source = |t: usize| 200.0 + (t * 7 % 11) as f64;
    let copied: fn(f64) -> f64 = |watts| watts;
    let scaled: fn(f64) -> f64 = |watts| 1.5 * watts;
    let nought: fn(f64) -> f64 = |_| 0.0;
    for (own, other) in [(copied, copied), (scaled, copied), (nought, nought)] {
        let folder = tempfile::tempdir().unwrap();
        for (name, change, marker) in [("trainer", own, ""), ("pedals", other, "# export\n")] {
            let rows: String = (0..600)
                .map(|t| format!("{t},{}\n", change(source(t))))
                .collect();
            let text = format!("{marker}time_s,power_w\n{rows}");
            std::fs::write(folder.path().join(format!("{name}.csv")), text).unwrap();
        }
        let stream = |name: &str, role: &str| {
            format!(
                "[[stream]]\nlabel = \"{name}\"\nfile = \"{name}.csv\"\nrole = \"{role}\"\nclaim_percent = 1.0\nmatched_on = \"given\"\n\n"
            )
        };
        let session = format!(
            "format = 1\n\n{}{}[[segment]]\nkind = \"steady-block\"\nfrom_s = 60\nto_s = 500\n",
            stream("trainer", "under-test"),
            stream("pedals", "reference")
        );
        std::fs::write(folder.path().join("session.toml"), session).unwrap();
        let output = std::process::Command::new(env!("CARGO_BIN_EXE_truing"))
            .args(["verdict", "--strict"])
            .arg(folder.path())
            .output()
            .unwrap();
        let text = String::from_utf8(output.stdout).unwrap();
        assert_eq!(output.status.code(), Some(0), "{text}");
        assert!(text.contains("trainer: inconclusive"), "{text}");
        assert!(text.contains("no two meters do"), "{text}");
    }
}

/// A segment off whole seconds, and one that begins before the ride, stand at the same times in the
/// verdict as in the table.
#[test]
fn the_verdict_tells_times_as_the_table_does() {
    let folder = tempfile::tempdir().unwrap();
    let at = session(folder.path(), &[]);
    let file = at.join("session.toml");
    let mut text = std::fs::read_to_string(&file).unwrap();
    text += "\n[[segment]]\nkind = \"open\"\nfrom_s = -30.0\nto_s = 200.4\n";
    std::fs::write(&file, text).unwrap();
    let path = at.to_str().unwrap();
    let (verdict, _, _) = truing(&["verdict", path]);
    assert!(verdict.contains("-0:00:30–0:03:20.4"), "{verdict}");
    let (table, _, _) = truing(&["table", path, "--full"]);
    assert!(table.contains("FROM -0:00:30 TO 0:03:20.4"), "{table}");
}
