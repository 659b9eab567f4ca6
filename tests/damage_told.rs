//! A recording that could only be read in part says so wherever its figures are shown.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn truing(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_truing"))
        .args(arguments)
        .output()
        .unwrap()
}

/// A session whose trainer's recording ends in the middle of a record, as after an empty battery.
fn session(folder: &Path) -> PathBuf {
    let path = |name: &str| folder.join(name).to_string_lossy().into_owned();
    let rehearsed = path("rehearsed");
    let output = truing(&["rehearse", "short-check", "--seed", "5", "-o", &rehearsed]);
    assert!(output.status.success());
    let trainer = folder.join("rehearsed/recordings/trainer.fit");
    let bytes = std::fs::read(&trainer).unwrap();
    std::fs::write(&trainer, &bytes[..bytes.len() - 301]).unwrap();
    let session = path("session");
    let files = ["trainer.fit", "pedals.fit", "crank.csv"]
        .map(|name| path(&format!("rehearsed/recordings/{name}")));
    let output = truing(&["new", &session, &files[0], &files[1], &files[2]]);
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{told}");
    assert!(told.contains("trainer.fit: "), "{told}");
    PathBuf::from(session)
}

/// What the probe says of it, to be found again everywhere.
fn damage(session: &Path) -> String {
    let trainer = session.join("recordings/trainer.fit");
    let output = truing(&["probe", &trainer.to_string_lossy(), "--format", "json"]);
    let probed: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let probed = probed.get("recordings").unwrap_or(&probed);
    let message = &probed[0]["damage"][0]["message"];
    message
        .as_str()
        .unwrap_or_else(|| panic!("{probed}"))
        .to_owned()
}

#[test]
fn commands_tell_of_damage_beside_their_figures() {
    let folder = tempfile::tempdir().unwrap();
    let session = session(folder.path());
    let damage = damage(&session);
    let named = session.to_string_lossy();
    for command in [
        vec!["table", &named],
        vec!["verdict", &named],
        vec!["align", &named],
        vec!["suggest", &named],
    ] {
        let output = truing(&command);
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(told.contains(&damage), "{command:?}: {told}");
        let result = String::from_utf8_lossy(&output.stdout).into_owned();
        assert!(!result.contains(&damage), "{command:?}: {result}");
    }
    let page = folder.path().join("report.html");
    let output = truing(&["report", &named, "-o", &page.to_string_lossy()]);
    assert!(String::from_utf8_lossy(&output.stderr).contains(&damage));
    // Numbers keep their unit on the line.
    let page = std::fs::read_to_string(page).unwrap();
    let page = page.replace('\u{a0}', " ");
    let escaped = damage
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;");
    assert!(page.contains(&escaped), "not in the page: {damage}");
}

#[cfg(feature = "workbench")]
#[test]
fn the_workbench_tells_of_damage_on_opening_and_in_its_dialog() {
    let folder = tempfile::tempdir().unwrap();
    let session = session(folder.path());
    let mut desk = crate::pty::Desk::open(&[&session.to_string_lossy()], folder.path(), 120, 40);
    let screen = desk.wait_for(" messages (M)");
    // Beside a clock's doubt, which is longer than the line.
    assert!(
        screen.contains(" messages (M): damage in recordings/trainer.fit; "),
        "{screen}"
    );
    desk.send("E");
    let screen = desk.wait_for("met in reading the recordings");
    assert!(screen.contains("! recordings/trainer.fit: "), "{screen}");
    desk.send("\x1b");
    desk.wait_until("the ride", |screen| !screen.contains("met in reading"));
    desk.send("M");
    desk.wait_until("its message", |screen| {
        screen.contains("messages, the latest first")
            && screen.contains("! recordings/trainer.fit: ")
    });
    desk.send("\x1b");
    desk.wait_until("the ride", |screen| !screen.contains("the latest first"));
    desk.send("q");
    assert_eq!(desk.end(), (0, true));
}
