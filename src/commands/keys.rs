//! `truing keys`: every key of the workbench.

use super::{Exit, Failure, Output};
use crate::workbench::config::keys_file;
use crate::workbench::keymap::Keymap;

/// Print every key that the workbench starts with, as Markdown.
///
/// The last column names each action for keys.toml, where a line such as undo = ["u", "ctrl-u"]
/// gives it other keys. The workbench tells in its messages what it cannot use of that file.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// Print where keys.toml is looked for instead.
    #[arg(long)]
    path: bool,
}

/// Prints the table, or the path.
///
/// # Errors
/// [`Failure`] where stdout cannot be written, or the system names no home for the user.
pub fn run(arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    if arguments.path {
        let file = keys_file().ok_or_else(|| {
            Failure::because("there is no configuration directory; set HOME to have one")
        })?;
        output.result(&format!("{}\n", file.display()))?;
        return Ok(Exit::Done);
    }
    output.result(&Keymap::default().to_markdown())?;
    Ok(Exit::Done)
}
