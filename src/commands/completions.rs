//! `truing completions`: completion scripts for shells.

use clap::Command;
use clap_complete::Shell;

use super::{Exit, Failure, Output};

/// Print a completion script for a shell.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The shell.
    shell: Shell,
}

/// Prints the script.
///
/// # Errors
/// [`Failure`] where stdout cannot be written.
pub fn run(
    arguments: &Arguments,
    mut command: Command,
    output: &mut Output,
) -> Result<Exit, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(arguments.shell, &mut command, "truing", &mut script);
    output.result(&String::from_utf8_lossy(&script))?;
    Ok(Exit::Done)
}
