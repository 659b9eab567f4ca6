//! `truing rehearse` and `truing plan` as a user meets them.

use std::path::Path;
use std::process::Output;

use assert_cmd::Command;

fn truing(arguments: &[&str]) -> Output {
    Command::cargo_bin("truing")
        .unwrap()
        .args(arguments)
        .output()
        .unwrap()
}

fn told(output: &Output) -> (Option<i32>, String, String) {
    (
        output.status.code(),
        String::from_utf8(output.stdout.clone()).unwrap(),
        String::from_utf8(output.stderr.clone()).unwrap(),
    )
}

fn text(path: &Path) -> String {
    std::fs::read_to_string(path).unwrap()
}

#[test]
fn the_same_words_write_the_same_folder_and_never_over_another() {
    let place = tempfile::tempdir().unwrap();
    let folders = ["a", "b"].map(|name| place.path().join(name));
    for folder in &folders {
        let folder = folder.to_str().unwrap();
        let fault = ["--fault", "gain=3", "--fault", "gap@crank", "--tagged"];
        let arguments = ["rehearse", "short-check", "-o", folder, "--seed", "7"];
        let (code, out, err) = told(&truing(&[&arguments[..], &fault[..]].concat()));
        assert_eq!((code, err.as_str()), (Some(0), ""));
        assert!(out.contains("Invented, not measured"), "{out}");
    }
    for name in ["session.toml", "truth.toml", "recordings/crank.csv"] {
        assert_eq!(text(&folders[0].join(name)), text(&folders[1].join(name)));
    }
    let session = text(&folders[0].join("session.toml"));
    assert!(session.contains("[[segment]]") && session.contains("offset_s = 0.0"));
    assert!(text(&folders[0].join("truth.toml")).contains("gain_percent = 3.0"));
    assert!(text(&folders[0].join("recordings/crank.csv")).contains("Z,,\n"));

    let again = truing(&[
        "rehearse",
        "short-check",
        "-o",
        folders[0].to_str().unwrap(),
    ]);
    let (code, _, err) = told(&again);
    assert_eq!(code, Some(1));
    assert!(err.contains("not empty; name another folder"), "{err}");
    assert_eq!(text(&folders[0].join("session.toml")), session);
}

#[test]
fn bad_words_are_one_message_with_the_way_out_and_write_nothing() {
    let place = tempfile::tempdir().unwrap();
    let folder = place.path().join("new");
    let plan = place.path().join("mine.toml");
    std::fs::write(
        &plan,
        "title = \"t\"\npurpose = \"p\"\n[[phase]]\nkind = \"coast\"\n",
    )
    .unwrap();
    for (arguments, words) in [
        (vec!["sunday"], "there are short-check, full-bench"),
        (vec![plan.to_str().unwrap()], "duration_s"),
        (vec!["short-check", "--fault", "wobble"], "there are gain"),
        (
            vec!["short-check", "--fault", "lag=-2"],
            "time_constant_s is -2",
        ),
    ] {
        let all = [
            &["rehearse", "-o", folder.to_str().unwrap()][..],
            &arguments[..],
        ]
        .concat();
        let (code, out, err) = told(&truing(&all));
        assert_eq!((code, out.as_str()), (Some(1), ""), "{arguments:?}");
        assert!(err.starts_with("truing: ") && err.contains(words), "{err}");
        assert!(!folder.exists());
    }
    assert_eq!(truing(&["rehearse", "short-check"]).status.code(), Some(2));
}

#[test]
fn plans_are_listed_and_printed_with_cautions() {
    let (code, out, _) = told(&truing(&["plan"]));
    assert_eq!(code, Some(0));
    for name in [
        "short-check",
        "full-bench",
        "heat-soak",
        "repeatability",
        "powers",
        "intervals",
    ] {
        let (code, sheet, _) = told(&truing(&["plan", name]));
        assert!(out.contains(name) && code == Some(0));
        let flat = sheet.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            flat.contains("Cautions: - ") && flat.contains("ask a physician"),
            "{sheet}"
        );
    }
    let (code, _, err) = told(&truing(&["plan", "sunday"]));
    assert_eq!(code, Some(1));
    assert!(err.contains("no plan called \"sunday\""), "{err}");
}
