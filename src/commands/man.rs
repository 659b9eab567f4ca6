//! `truing man`: the manual page.

use clap::Command;

use super::{Exit, Failure, Output};

/// Print the manual page (roff), of truing or of one of its subcommands.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// A subcommand.
    subcommand: Option<String>,
}

/// Prints the page.
///
/// # Errors
/// [`Failure`] for an unknown subcommand or where stdout cannot be written.
pub fn run(
    arguments: &Arguments,
    mut command: Command,
    output: &mut Output,
) -> Result<Exit, Failure> {
    command.build();
    if let Some(name) = &arguments.subcommand {
        let found = command.find_subcommand(name).cloned();
        command = found.ok_or_else(|| {
            Failure::Usage(format!(
                "there is no subcommand “{name}”; `truing --help` lists them"
            ))
        })?;
    }
    let mut page = Vec::new();
    clap_mangen::Man::new(command)
        .render(&mut page)
        .map_err(Failure::because)?;
    output.result(&String::from_utf8_lossy(&page))?;
    Ok(Exit::Done)
}
