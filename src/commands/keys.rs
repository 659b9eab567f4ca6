//! `truing keys`: every key of the workbench.

use super::{Exit, Failure, Output};
use crate::workbench::keymap::Keymap;

/// Print every key of the workbench, as Markdown.
#[derive(Debug, clap::Args)]
pub struct Arguments {}

/// Prints the table.
///
/// # Errors
/// [`Failure`] where stdout cannot be written.
pub fn run(_arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    output.result(&Keymap::default().to_markdown())?;
    Ok(Exit::Done)
}
