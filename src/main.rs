//! The binary: hands the arguments to the library and its exit code to the system.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(truing::commands::main(std::env::args_os()))
}
