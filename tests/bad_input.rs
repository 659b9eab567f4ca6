//! Bad input, as a newcomer meets it: one clear message that names the file and the way out, exit
//! code 1, and nothing overwritten.

use std::path::Path;

use assert_cmd::Command;
use tempfile::TempDir;

/// A minimal session over two CSV recordings.
const SESSION: &str = r#"format = 1
title = "Two minutes"

[claim]
percent = 2.0
watts = 0.0

[[stream]]
label = "trainer"
file = "recordings/trainer.csv"
role = "under-test"
site = "trainer"

[[stream]]
label = "pedals"
file = "recordings/pedals.csv"
role = "reference"
site = "pedal"

[[segment]]
kind = "open"
from_s = 0.0
to_s = 60.0
"#;

fn ride() -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("recordings")).unwrap();
    for (name, shift) in [("trainer", 0), ("pedals", 3)] {
        let rows: String = (0..120)
            .map(|t| format!("{t},{}\n", 200 + shift + t * 7 % 11))
            .collect();
        let text = format!("time_s,power_w\n{rows}");
        std::fs::write(folder.path().join(format!("recordings/{name}.csv")), text).unwrap();
    }
    std::fs::write(folder.path().join("session.toml"), SESSION).unwrap();
    folder
}

fn truing(arguments: &[&Path]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_truing"));
    command.args(arguments);
    command
}

fn messages(arguments: &[&Path], code: i32) -> String {
    let output = truing(arguments).assert().code(code).get_output().clone();
    let message = String::from_utf8(output.stderr).unwrap();
    assert!(!message.contains("panicked"), "{message}");
    message
}

/// Runs a command that must fail with exit code 1 and say nothing on stdout; returns its message.
fn refused(arguments: &[&Path]) -> String {
    let output = truing(arguments)
        .assert()
        .code(1)
        .stdout("")
        .get_output()
        .clone();
    String::from_utf8(output.stderr).unwrap()
}

fn assert_says(message: &str, parts: &[&str]) {
    for part in parts {
        assert!(message.contains(part), "{part:?} is not in: {message}");
    }
}

#[test]
fn a_recording_that_cannot_be_read_is_named_with_the_reason() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str, content: &[u8]| {
        let path = folder.path().join(name);
        std::fs::write(&path, content).unwrap();
        path
    };
    let probe = Path::new("probe");
    let absent = folder.path().join("absent.fit");
    assert_says(
        &refused(&[probe, &absent]),
        &["absent.fit", "check the name"],
    );
    assert_says(&refused(&[probe, folder.path()]), &["folder"]);
    assert_says(
        &refused(&[probe, &file("empty.fit", b"")]),
        &["empty.fit", "empty"],
    );
    let noise: Vec<u8> = (0..4000u32)
        .map(|i| (i.wrapping_mul(2_654_435_761) >> 13) as u8)
        .collect();
    assert_says(
        &refused(&[probe, &file("noise.fit", &noise)]),
        &["noise.fit"],
    );
    let timeless = file("timeless.csv", b"power_w,cadence_rpm\n200,90\n201,91\n");
    assert_says(&refused(&[probe, &timeless]), &["timeless.csv", "time"]);
    let powerless = file("powerless.csv", b"time_s,colour\n0,red\n1,blue\n");
    assert_says(&refused(&[probe, &powerless]), &["powerless.csv"]);
    let worded = file("worded.csv", b"time_s,power_w\n0,200\n1,many\n2,201\n");
    assert_says(
        &refused(&[probe, &worded]),
        &["worded.csv", "3", "power_w", "many"],
    );
}

#[test]
fn a_session_with_a_slip_of_the_pen_is_refused_and_left_alone() {
    let folder = ride();
    let file = folder.path().join("session.toml");
    let slip = SESSION.replace("\"open\"", "\"opne\"");
    std::fs::write(&file, &slip).unwrap();
    let message = refused(&[Path::new("table"), folder.path()]);
    assert_says(&message, &["session.toml", "line 21", "opne", "`open`"]);
    assert_eq!(std::fs::read_to_string(&file).unwrap(), slip);
}

#[test]
fn a_folder_without_a_session_says_how_to_start_one() {
    let folder = tempfile::tempdir().unwrap();
    let message = refused(&[Path::new("table"), folder.path()]);
    assert_says(&message, &["session.toml", "truing new"]);
}

#[test]
fn a_vanished_recording_is_told_and_the_rest_still_works() {
    let folder = ride();
    std::fs::remove_file(folder.path().join("recordings/pedals.csv")).unwrap();
    let message = messages(&[Path::new("table"), folder.path()], 0);
    assert_says(&message, &["recordings/pedals.csv", "pedals", "gone"]);
    std::fs::remove_file(folder.path().join("recordings/trainer.csv")).unwrap();
    let message = refused(&[Path::new("table"), folder.path()]);
    assert_says(&message, &["trainer.csv", "none of its recordings"]);
}

#[test]
fn a_changed_recording_is_left_out_until_it_is_accepted() {
    let folder = ride();
    let relink = [Path::new("relink"), folder.path()];
    let table = [Path::new("table"), folder.path()];
    truing(&relink).assert().code(0);
    let trainer = folder.path().join("recordings/trainer.csv");
    let text = std::fs::read_to_string(&trainer)
        .unwrap()
        .replace("5,20", "5,90");
    std::fs::write(&trainer, text).unwrap();
    assert_says(&messages(&table, 0), &["trainer.csv", "changed"]);
    assert_says(&refused(&relink), &["changed", "--accept-changed"]);
    truing(&relink).arg("--accept-changed").assert().code(0);
    let message = messages(&table, 0);
    assert!(!message.contains("trainer.csv"), "{message}");
}

#[test]
fn a_new_session_never_overwrites_an_old_one() {
    let folder = ride();
    let recording = folder.path().join("recordings/trainer.csv");
    let message = refused(&[Path::new("new"), folder.path(), &recording]);
    assert_says(&message, &["there is a session already"]);
    assert_eq!(
        std::fs::read_to_string(folder.path().join("session.toml")).unwrap(),
        SESSION
    );
    let fresh = folder.path().join("fresh");
    truing(&[Path::new("new"), &fresh, &recording])
        .assert()
        .code(0);
    let copied = std::fs::read(fresh.join("recordings/trainer.csv")).unwrap();
    assert_eq!(copied, std::fs::read(&recording).unwrap());
    assert!(fresh.join("session.toml").exists());
}

#[test]
fn wrong_usage_exits_2() {
    truing(&[Path::new("new")]).assert().code(2);
    truing(&[Path::new("--no-such-flag")]).assert().code(2);
}

#[test]
fn a_mistyped_subcommand_is_told_where_they_are_listed() {
    let folder = tempfile::tempdir().unwrap();
    let output = assert_cmd::Command::cargo_bin("truing")
        .unwrap()
        .arg("verdikt")
        .current_dir(folder.path())
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1));
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(
        told.contains("verdikt") && told.contains("truing --help"),
        "{told}"
    );
}

#[test]
fn a_claim_of_its_own_that_differs_from_the_sessions_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let truing = |arguments: &[&str]| {
        let mut command = assert_cmd::Command::cargo_bin("truing").unwrap();
        let output = command
            .args(arguments)
            .current_dir(folder.path())
            .output()
            .unwrap();
        String::from_utf8_lossy(&output.stderr).into_owned()
    };
    truing(&["rehearse", "short-check", "-o", "ride", "--seed", "8"]);
    let told = "trainer is judged by the claim of its own";
    assert!(!truing(&["table", "ride"]).contains(told));
    let file = folder.path().join("ride/session.toml");
    let session = std::fs::read_to_string(&file).unwrap();
    std::fs::write(&file, session.replacen("percent = 2.0", "percent = 5.0", 1)).unwrap();
    let err = truing(&["table", "ride"]);
    assert!(err.contains(told), "{err}");
}

/// A second export of one recorder under another name would agree perfectly with the first.
#[test]
fn a_recording_is_never_compared_with_itself() {
    let ride = ride();
    let folder = ride.path();
    std::fs::copy(
        folder.join("recordings/trainer.csv"),
        folder.join("copy.csv"),
    )
    .unwrap();
    let [one, copy] = ["recordings/trainer.csv", "copy.csv"].map(|name| folder.join(name));
    let message = refused(&[Path::new("new"), &folder.join("session"), &one, &copy]);
    assert_says(&message, &["copy.csv: the same content as", "trainer.csv"]);
    assert!(!folder.join("session").exists());

    let text = std::fs::read_to_string(folder.join("session.toml")).unwrap();
    let copied = text.replace("recordings/pedals.csv", "copy.csv");
    assert_ne!(text, copied);
    std::fs::write(folder.join("session.toml"), copied).unwrap();
    let message = messages(&[Path::new("table"), folder], 0);
    assert_says(
        &message,
        &["copy.csv", "holds the very samples of", "left out"],
    );
}

#[test]
fn recordings_that_share_a_name_get_names_of_their_own() {
    let ride = ride();
    let folder = ride.path();
    for (name, from) in [("a/x.csv", "trainer.csv"), ("b/x.csv", "pedals.csv")] {
        let path = folder.join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::copy(folder.join("recordings").join(from), path).unwrap();
    }
    // The name that the second x.csv would have got is taken.
    let taken = folder.join("3-x.csv");
    let rows: String = (0..120)
        .map(|i| format!("{i},{}\n", 150 + i % 11))
        .collect();
    std::fs::write(&taken, format!("time,power\n{rows}")).unwrap();
    let session = folder.join("session");
    let [x, y] = ["a/x.csv", "b/x.csv"].map(|name| folder.join(name));
    messages(&[Path::new("new"), &session, &taken, &x, &y], 0);
    let copies = session.join("recordings").read_dir().unwrap().count();
    assert_eq!(copies, 3);
}

/// A session over three recordings with absolute times, the streams in this order; the pedals were
/// started 40 s after the others.
fn on_three_clocks(folder: &Path, order: [&str; 3], zero: &str) {
    for (name, start) in [("trainer", 0), ("pedals", 40), ("crank", 0)] {
        let rows: String = (0..300)
            .map(|t| (t, t + start))
            .map(|(t, s)| {
                format!(
                    "2026-11-25T07:{:02}:{:02}Z,{}\n",
                    s / 60,
                    s % 60,
                    200 + t * 7 % 11 + t / 10
                )
            })
            .collect();
        let text = format!("time,power_w\n{rows}");
        std::fs::write(folder.join(format!("{name}.csv")), text).unwrap();
    }
    let stream = |name: &str| {
        let role = if name == "trainer" {
            "under-test"
        } else {
            "reference"
        };
        format!(
            "[[stream]]\nlabel = \"{name}\"\nfile = \"{name}.csv\"\nrole = \"{role}\"\nmatched_on = \"given\"\n\n"
        )
    };
    let streams = order.map(stream).concat();
    let segment = "[[segment]]\nkind = \"open\"\nfrom_s = 60\nto_s = 240\n";
    let text = format!("format = 1\n{zero}\n{streams}{segment}");
    std::fs::write(folder.join("session.toml"), text).unwrap();
}

/// Without the key for it session time counts from the first recording. Without that one the
/// segments would silently lie elsewhere in those that are left.
#[test]
fn without_the_recording_that_time_counts_from_nothing_is_computed() {
    let folder = tempfile::tempdir().unwrap();
    on_three_clocks(folder.path(), ["crank", "pedals", "trainer"], "");
    std::fs::remove_file(folder.path().join("crank.csv")).unwrap();
    let message = refused(&[Path::new("table"), folder.path()]);
    assert_says(
        &message,
        &["“crank” stands first", "nothing is computed", "relink"],
    );
    // Any other may be missing.
    on_three_clocks(folder.path(), ["trainer", "pedals", "crank"], "");
    std::fs::remove_file(folder.path().join("crank.csv")).unwrap();
    messages(&[Path::new("table"), folder.path()], 0);
}

/// The means of each stream in the segment, by label.
fn means(folder: &Path) -> std::collections::BTreeMap<String, f64> {
    let output = truing(&[Path::new("table"), folder])
        .args(["--format", "json"])
        .assert()
        .code(0)
        .get_output()
        .clone();
    let table: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let streams = table["segments"][0]["streams"].as_array().unwrap();
    let mean = |s: &serde_json::Value| {
        let label = s["label"].as_str().unwrap().to_owned();
        Some((label, s["mean_w"].as_f64()?))
    };
    streams.iter().filter_map(mean).collect()
}

/// With the key, which the next save writes, neither the order of the streams nor a missing
/// recording moves a segment.
#[test]
fn where_session_time_starts_is_kept_in_the_session_file() {
    let folder = tempfile::tempdir().unwrap();
    let ride = folder.path();
    on_three_clocks(ride, ["trainer", "pedals", "crank"], "");
    let before = means(ride);
    let saved = truing(&[Path::new("relink"), ride]).assert().code(0);
    drop(saved);
    let text = std::fs::read_to_string(ride.join("session.toml")).unwrap();
    // 2026-11-25T07:00:00Z, by `date -u -d ... +%s`.
    let zero = "zero_unix_s = 1795590000.0";
    assert!(text.contains(zero), "{text}");
    on_three_clocks(ride, ["pedals", "trainer", "crank"], zero);
    assert_eq!(means(ride), before);
    on_three_clocks(ride, ["pedals", "trainer", "crank"], "");
    assert_ne!(means(ride), before, "old files keep their meaning");

    on_three_clocks(ride, ["crank", "pedals", "trainer"], zero);
    std::fs::remove_file(ride.join("crank.csv")).unwrap();
    let message = messages(&[Path::new("table"), ride], 0);
    assert_says(&message, &["crank.csv: the recording of “crank” is gone"]);
    let mut left = before;
    left.remove("crank");
    assert_eq!(means(ride), left);
}

/// A folder that came from somebody else: a link in it to a file of the receiver's is not followed,
/// not by what reads recordings nor by what only notes their content.
#[cfg(unix)]
#[test]
fn a_link_out_of_the_session_folder_is_not_followed() {
    let home = tempfile::tempdir().unwrap();
    let private = home.path().join("private.txt");
    std::fs::write(&private, "SECRETUSER,SECRETPASSWORD\nx,y\n").unwrap();
    let ride = ride();
    let pedals = ride.path().join("recordings/pedals.csv");
    std::fs::remove_file(&pedals).unwrap();
    std::os::unix::fs::symlink(&private, &pedals).unwrap();
    let message = messages(&[Path::new("table"), ride.path()], 0);
    assert_says(&message, &["pedals.csv", "leads out of the session folder"]);
    assert!(!message.contains("SECRET"), "{message}");
    let accept = Path::new("--accept-changed");
    let message = messages(&[Path::new("relink"), ride.path(), accept], 1);
    assert_says(&message, &["pedals.csv", "leads out of the session folder"]);
    let text = std::fs::read_to_string(ride.path().join("session.toml")).unwrap();
    assert_eq!(text.matches("sha256").count(), 1, "{text}");

    // Nor is a test plan that the session names.
    for plan in [private.to_str().unwrap(), "recordings/pedals.csv"] {
        let text = format!("{SESSION}\n[facts]\nplan = \"{plan}\"\n");
        std::fs::write(ride.path().join("session.toml"), text).unwrap();
        let message = messages(&[Path::new("plan"), Path::new("--check"), ride.path()], 1);
        assert_says(&message, &["leads out of the session folder"]);
        assert!(!message.contains("SECRET"), "{message}");
    }

    // A folder of recordings that is a link out, too; within the session a link is followed.
    let moved = home.path().join("recordings");
    std::fs::rename(ride.path().join("recordings"), &moved).unwrap();
    std::os::unix::fs::symlink(&moved, ride.path().join("recordings")).unwrap();
    let message = messages(&[Path::new("table"), ride.path()], 1);
    assert_says(
        &message,
        &["trainer.csv", "leads out of the session folder"],
    );
    std::fs::remove_file(ride.path().join("recordings")).unwrap();
    std::fs::rename(&moved, ride.path().join("elsewhere")).unwrap();
    std::os::unix::fs::symlink("elsewhere", ride.path().join("recordings")).unwrap();
    let message = messages(&[Path::new("table"), ride.path()], 0);
    assert!(!message.contains("trainer.csv"), "{message}");
}

#[test]
fn labels_that_look_alike_are_told_apart_by_nobody() {
    let ride = ride();
    let file = ride.path().join("session.toml");
    for label in ["trainer\\u200b", "\\u2060 \\u200b"] {
        std::fs::write(
            &file,
            SESSION.replace("\"pedals\"", &format!("\"{label}\"")),
        )
        .unwrap();
        let message = refused(&[Path::new("table"), ride.path()]);
        assert_says(&message, &["session.toml", "label"]);
    }
}

#[test]
fn a_recording_in_the_place_of_a_session_is_told_as_such() {
    let ride = ride();
    let message = refused(&[
        Path::new("table"),
        &ride.path().join("recordings/trainer.csv"),
    ]);
    assert_says(
        &message,
        &["trainer.csv: a file, and no session folder", "truing probe"],
    );
}

#[test]
fn a_plan_or_a_session_beyond_all_size_is_refused_before_it_is_read() {
    let ride = ride();
    let plan = ride.path().join("plan.toml");
    std::fs::write(&plan, "#".repeat(2 << 20)).unwrap();
    let message = refused(&[Path::new("plan"), &plan]);
    assert_says(&message, &["plan.toml", "over 1 MiB"]);
    let text = SESSION.to_owned() + &"#".repeat(5 << 20);
    std::fs::write(ride.path().join("session.toml"), text).unwrap();
    let message = refused(&[Path::new("table"), ride.path()]);
    assert_says(&message, &["session.toml", "over 4 MiB"]);
}

/// What the system forbids or cannot follow is there, and told with the system's reason.
#[cfg(unix)]
#[test]
fn a_recording_that_cannot_be_reached_is_not_said_to_be_gone() {
    let ride = ride();
    let pedals = ride.path().join("recordings/pedals.csv");
    std::fs::remove_file(&pedals).unwrap();
    std::os::unix::fs::symlink("pedals.csv", &pedals).unwrap();
    let message = messages(&[Path::new("table"), ride.path()], 0);
    assert_says(&message, &["pedals.csv", "symbolic links"]);
    assert!(!message.contains("is gone"), "{message}");
}

/// A shape that is offered and then refused costs a try.
#[test]
fn a_plan_check_answers_every_shape_it_offers() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let session = root.join("sample-sessions/bench-ride");
    let [plan, name, check, format] = ["plan", "short-check", "--check", "--format"].map(Path::new);
    let help = truing(&[plan, Path::new("--help")]).output().unwrap();
    let help = String::from_utf8(help.stdout).unwrap();
    for shape in ["text", "json", "csv", "markdown"] {
        let offered = help.contains(&format!("- {shape}:"));
        let shape = Path::new(shape);
        let output = truing(&[plan, name, check, &session, format, shape])
            .output()
            .unwrap();
        assert_eq!(output.status.success(), offered, "{shape:?}: {help}");
    }
    assert!(help.contains("- json:"), "{help}");
}
