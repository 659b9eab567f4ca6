//! The program as a whole, run by several tests.
#![allow(clippy::unwrap_used)]

use assert_cmd::Command;

/// Runs it: what it wrote to stdout and to stderr, and its exit code.
pub fn truing(arguments: &[&str]) -> (String, String, i32) {
    let output = Command::cargo_bin("truing")
        .unwrap()
        .args(arguments)
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (
        text(output.stdout),
        text(output.stderr),
        output.status.code().unwrap(),
    )
}
