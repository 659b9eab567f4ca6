//! The binary: parse the arguments, call the library, map errors to exit codes.
fn main() {}
