//! The FIT files that the fitparser crate ships beside its source: real recordings to read.

use std::path::{Path, PathBuf};
use std::process::Command;

/// Paths of the files, in order.
pub fn files() -> Vec<PathBuf> {
    // Without the filter, cargo asks for the dependencies of every platform, and a fresh machine
    // has only its own.
    let version = cargo(&["-vV"]);
    let host = version.lines().find_map(|line| line.strip_prefix("host: "));
    let host = host.expect("cargo names its host");
    let metadata = cargo(&[
        "metadata",
        "--offline",
        "--locked",
        "--format-version",
        "1",
        "--filter-platform",
        host,
    ]);
    let metadata: serde_json::Value = serde_json::from_str(&metadata).expect("metadata is JSON");
    let packages = metadata["packages"].as_array().expect("a list of packages");
    let parser = packages.iter().find(|p| p["name"] == "fitparser");
    let manifest = parser.and_then(|parser| parser["manifest_path"].as_str());
    let manifest = Path::new(manifest.expect("fitparser is a dependency"));
    let folder = manifest.with_file_name("tests").join("fixtures");
    let entries = std::fs::read_dir(folder).expect("the crate ships fixtures");
    let paths = entries.flatten().map(|entry| entry.path());
    let mut files: Vec<PathBuf> = paths
        .filter(|path| path.extension().is_some_and(|end| end == "fit"))
        .collect();
    files.sort();
    assert!(!files.is_empty(), "the crate ships no FIT files");
    files
}

fn cargo(arguments: &[&str]) -> String {
    let output = Command::new(env!("CARGO"))
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo runs");
    assert!(output.status.success(), "{output:?}");
    String::from_utf8(output.stdout).expect("cargo writes UTF-8")
}
