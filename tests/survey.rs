//! `truing survey` from the command line: contrasts, questions by unit, the page; the same in any order,
//! whatever is broken.

use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;

fn survey(arguments: &[&str], folder: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_truing"))
        .arg("survey")
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap()
}

fn done(arguments: &[&str], folder: &Path) -> String {
    let output = survey(arguments, folder);
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{arguments:?}: {told}");
    String::from_utf8(output.stdout).unwrap()
}

fn refused(arguments: &[&str], folder: &Path, code: i32) -> String {
    let output = survey(arguments, folder);
    assert_eq!(output.status.code(), Some(code), "{arguments:?}");
    String::from_utf8(output.stderr).unwrap()
}

/// Three set points of two minutes.
const PLAN: &str = "title = \"Three blocks\"\npurpose = \"A test.\"\ncovers = [\"bias\"]\n\
    [[phase]]\nkind = \"steady-block\"\nduration_s = 120\nset_point_w = 150\n\
    cadence_rpm = 85\ngear = \"50/17\"\n\
    [[phase]]\nkind = \"steady-block\"\nduration_s = 120\nset_point_w = 200\n\
    [[phase]]\nkind = \"steady-block\"\nduration_s = 120\nset_point_w = 250\n";

/// Two rides of each of two units, the second of which reads 3 % more.
fn rides() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("plan.toml"), PLAN).unwrap();
    for (seed, (name, unit, gain)) in [
        ("a", "3", "0"),
        ("b", "3", "0.1"),
        ("c", "4", "3"),
        ("d", "4", "3.1"),
    ]
    .into_iter()
    .enumerate()
    {
        let fault = format!("gain={gain}");
        let status = Command::new(env!("CARGO_BIN_EXE_truing"))
            .args([
                "rehearse",
                "plan.toml",
                "-o",
                name,
                "--seed",
                &seed.to_string(),
            ])
            .args(["--tagged", "--clocks", "known", "--fault", &fault])
            .current_dir(folder.path())
            .output()
            .unwrap();
        assert!(
            status.status.success(),
            "{}",
            String::from_utf8_lossy(&status.stderr)
        );
        let session = folder.path().join(name).join("session.toml");
        let mut text = std::fs::read_to_string(&session).unwrap();
        text.push_str(&format!("\n[facts]\nunit = \"{unit}\"\nbike = \"one\"\n"));
        std::fs::write(&session, text).unwrap();
    }
    folder
}

#[test]
fn a_contrast_has_the_promised_fields_in_any_order_of_the_sessions() {
    let folder = rides();
    let ask = ["--contrast", "unit=4,3", "--format", "json"];
    let text = done(&[&["a", "b", "c", "d"], &ask[..]].concat(), folder.path());
    for order in [["d", "c", "b", "a"], ["b", "d", "a", "c"]] {
        assert_eq!(done(&[&order, &ask[..]].concat(), folder.path()), text);
    }
    let json: Value = serde_json::from_str(&text).unwrap();
    assert_eq!((&json["used"], &json["left_out"]), (&4.into(), &0.into()));
    let contrast = &json["contrasts"][0];
    for (field, expected) in [
        ("key", "unit"),
        ("a", "4"),
        ("b", "3"),
        ("outcome", "differ"),
    ] {
        assert_eq!(contrast[field], expected, "{contrast}");
    }
    assert_eq!(
        (&contrast["n"], &contrast["cancels"]),
        (&3.into(), &true.into())
    );
    assert_eq!(
        (&contrast["margin_percent"], &contrast["rides_needed"]),
        (&1.0.into(), &0.into())
    );
    let mean = contrast["mean_percent"].as_f64().unwrap();
    assert!((2.5..3.5).contains(&mean), "{mean}");
    for field in ["ci95_percent", "ci90_percent"] {
        let limits = contrast[field].as_array().unwrap();
        assert!(limits[0].as_f64().unwrap() < mean && mean < limits[1].as_f64().unwrap());
    }
    let unit = &json["matrix"]["units"];
    assert_eq!(unit, &serde_json::json!(["3", "4"]));
}

#[test]
fn the_answer_comes_first_and_a_broken_session_is_named() {
    let folder = rides();
    let broken = folder.path().join("c/session.toml");
    std::fs::write(&broken, "format = 1\n[[stream]]\nlabel = ").unwrap();
    std::fs::create_dir(folder.path().join("empty")).unwrap();
    let output = survey(
        &["a", "b", "c", "d", "empty", "a", "--contrast", "unit"],
        folder.path(),
    );
    assert!(output.status.success());
    let (text, told) = (
        String::from_utf8(output.stdout).unwrap(),
        String::from_utf8(output.stderr).unwrap(),
    );
    for name in ["left out: c: ", "left out: empty: ", "the same ride as a"] {
        assert!(told.contains(name), "{told}");
    }
    assert!(text.starts_with("Unit 3 reads 3."), "{text}");
    assert!(
        text.contains("3 sessions used, by unit; 3 left out."),
        "{text}"
    );
}

#[test]
fn a_page_three_tables_and_three_pictures_are_written() {
    let folder = rides();
    let all = ["a", "b", "c", "d", "--contrast", "unit"];
    let with = |more: &[&str]| done(&[&all[..], more].concat(), folder.path());
    with(&["-o", "page.html"]);
    let page = std::fs::read_to_string(folder.path().join("page.html")).unwrap();
    assert!(page.contains("<h1>Unit 3 reads") && page.contains("class=\"matrix\""));
    let told = refused(&[&all[..], &["-o", "page.html"]].concat(), folder.path(), 1);
    assert!(told.contains("--force"), "{told}");
    for (table, head) in [
        ("contrasts", "key,a,b,n,"),
        ("questions", "question,by,outcome,"),
        ("precision", "by,kind,set_point_w,"),
    ] {
        let csv = with(&["--format", "csv", "--table", table]);
        assert!(csv.starts_with(head), "{csv}");
    }
    assert!(with(&["--format", "csv"]).starts_with("key,a,b,n,"));
    for of in ["set-points", "questions", "contrasts"] {
        let file = format!("{of}.svg");
        with(&["--figure", &file, "--of", of]);
        assert!(folder.path().join(file).exists());
    }
}

#[test]
fn what_cannot_be_asked_is_said_with_the_way_out() {
    let folder = rides();
    for (ask, code, way_out) in [
        (["--contrast", "firmware"], 1, "under [facts]"),
        (["--contrast", "unit=3,9"], 1, "there is 3 and 4"),
        (["--contrast", "unit=3"], 2, "KEY=A,B"),
        (["--margin", "0"], 2, "how far two may differ"),
        (["--margin", "x"], 2, "as in 0.5"),
    ] {
        let told = refused(&[&["a", "c"], &ask[..]].concat(), folder.path(), code);
        assert!(told.contains(way_out), "{ask:?}: {told}");
    }
    let told = refused(&["a", "b", "--contrast", "unit"], folder.path(), 1);
    assert!(told.contains("a contrast takes two values"), "{told}");
}
