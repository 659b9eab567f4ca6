//! What the README promises stands: its key table is the program's own, its subcommands exist.

#![cfg(feature = "workbench")]

use std::path::Path;
use std::process::Command;

fn file(name: &str) -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(name)).unwrap()
}

fn truing(arguments: &[&str]) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_truing"))
        .args(arguments)
        .env("HOME", "/nonexistent")
        .env_remove("XDG_CONFIG_HOME")
        .output()
        .unwrap();
    assert!(output.status.success(), "{arguments:?}");
    String::from_utf8(output.stdout).unwrap()
}

/// `truing keys > assets/keys.md` brings the table up to date.
#[test]
fn the_key_table_is_the_programs_own() {
    assert_eq!(file("assets/keys.md"), truing(&["keys"]));
    assert!(file("README.md").contains("assets/keys.md"));
}

#[test]
fn every_subcommand_stands_in_the_readme() {
    let (help, readme) = (truing(&["--help"]), file("README.md"));
    let listed = help
        .split("Commands:")
        .nth(1)
        .unwrap()
        .split("Arguments:")
        .next()
        .unwrap();
    let names: Vec<&str> = listed
        .lines()
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|name| *name != "help")
        .collect();
    assert!(names.len() > 12, "{names:?}");
    for name in names {
        assert!(
            readme.contains(&format!("truing {name}")),
            "truing {name} is not in the README"
        );
    }
}
