//! What the program is built from: permissive licences only, each direct dependency with its
//! reason in DEVELOPERS.md, no second copy of a large crate in the program, no `unsafe` of ours.
//!
//! Works without a network: cargo reads what is locked. Advisories need a
//! database from the network; DEVELOPERS.md names the command.

use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

use serde_json::Value;

/// Licences that ask for no more than their notice.
const PERMISSIVE: &[&str] = &[
    "MIT",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "0BSD",
    "ISC",
    "Unicode-3.0",
    "Unicode-DFS-2016",
    "Unlicense",
    "WTFPL",
    "Zlib",
];

/// Crates under another licence, each with the reason why it is no trouble.
const EXCEPTIONS: &[(&str, &str)] = &[
    // Behind `directories`; used unchanged, which is all that file-level copyleft asks for.
    ("option-ext", "MPL-2.0"),
];

/// Crates that stand twice in the program, all of them small: the older copies come with
/// plotters' PNG encoder (`bitflags`, `miniz_oxide`) and with crossterm (`signal-hook`, `thiserror`).
const TWICE: &[&str] = &["bitflags", "miniz_oxide", "signal-hook", "thiserror"];

fn cargo(arguments: &[&str]) -> String {
    let output = Command::new(env!("CARGO"))
        .args(arguments)
        .args(["--offline", "--locked"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{errors}");
    String::from_utf8(output.stdout).unwrap()
}

/// Name, version and licence of every crate that `edges` lead to from the program.
fn crates(edges: &str) -> BTreeSet<(String, String, String)> {
    let tree = cargo(&[
        "tree", "--prefix", "none", "--format", "{p}|{l}", "-e", edges,
    ]);
    let mut all = BTreeSet::new();
    for line in tree.lines() {
        let (package, licence) = line.trim_end_matches(" (*)").split_once('|').unwrap();
        let mut words = package.split(' ').map(str::to_owned);
        let (name, version) = (words.next().unwrap(), words.next().unwrap());
        all.insert((name, version, licence.to_owned()));
    }
    all
}

/// Whether an SPDX expression leaves a choice of permissive licences.
fn is_permissive(expression: &str) -> bool {
    let spaced = expression
        .replace('/', " OR ")
        .replace('(', " ( ")
        .replace(')', " ) ");
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let mut at = 0;
    any_of(&words, &mut at) && at == words.len()
}

fn any_of(words: &[&str], at: &mut usize) -> bool {
    let mut allowed = all_of(words, at);
    while words.get(*at) == Some(&"OR") {
        *at += 1;
        allowed |= all_of(words, at);
    }
    allowed
}

fn all_of(words: &[&str], at: &mut usize) -> bool {
    let mut allowed = one(words, at);
    while words.get(*at) == Some(&"AND") {
        *at += 1;
        allowed &= one(words, at);
    }
    allowed
}

fn one(words: &[&str], at: &mut usize) -> bool {
    let Some(word) = words.get(*at) else {
        return false;
    };
    *at += 1;
    if *word == "(" {
        let allowed = any_of(words, at);
        *at += 1;
        return allowed;
    }
    let mut licence = (*word).to_owned();
    if words.get(*at) == Some(&"WITH") {
        licence = format!("{licence} WITH {}", words.get(*at + 1).unwrap_or(&""));
        *at += 2;
    }
    PERMISSIVE.contains(&licence.as_str())
}

#[test]
fn expressions_are_read_as_they_are_meant() {
    for yes in [
        "MIT",
        "MIT/Apache-2.0",
        "MIT OR GPL-3.0-only",
        "(MIT OR Apache-2.0) AND Unicode-3.0",
        "Apache-2.0 WITH LLVM-exception OR MIT",
        "MIT OR Apache-2.0 OR LGPL-2.1-or-later",
    ] {
        assert!(is_permissive(yes), "{yes}");
    }
    for no in [
        "",
        "GPL-3.0-only",
        "MIT AND GPL-3.0-only",
        "MPL-2.0",
        "(MIT OR",
    ] {
        assert!(!is_permissive(no), "{no}");
    }
}

#[test]
fn every_licence_is_permissive() {
    let all = crates("normal,build,dev");
    assert!(all.len() > 100, "{} crates", all.len());
    for (name, _, licence) in &all {
        assert!(
            is_permissive(licence) || EXCEPTIONS.contains(&(name, licence)),
            "{name}: “{licence}”"
        );
    }
}

#[test]
fn no_crate_is_in_the_program_twice_without_need() {
    let mut versions: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (name, version, _) in crates("normal,no-proc-macro") {
        versions.entry(name).or_default().push(version);
    }
    versions.retain(|_, versions| versions.len() > 1);
    let twice: Vec<&str> = versions.keys().map(String::as_str).collect();
    assert_eq!(twice, TWICE, "{versions:?}");
}

#[test]
fn every_direct_dependency_is_listed_with_its_reason() {
    let developers = include_str!("../DEVELOPERS.md");
    let rows = developers.split("## Dependencies and why").nth(1).unwrap();
    let listed: BTreeSet<&str> = rows
        .lines()
        .filter_map(|line| line.strip_prefix("| ")?.split(" | ").next())
        .flat_map(|crates| crates.split(", "))
        .filter(|name| *name != "crate" && !name.starts_with('-'))
        .collect();
    let metadata = cargo(&["metadata", "--no-deps", "--format-version", "1"]);
    let metadata: Value = serde_json::from_str(&metadata).unwrap();
    let dependencies = metadata["packages"][0]["dependencies"].as_array().unwrap();
    let direct: BTreeSet<&str> = dependencies
        .iter()
        .map(|dependency| dependency["name"].as_str().unwrap())
        .collect();
    assert_eq!(listed, direct);
}

#[test]
fn unsafe_code_is_forbidden() {
    let manifest = include_str!("../Cargo.toml");
    assert!(manifest.contains("unsafe_code = \"forbid\""));
}
