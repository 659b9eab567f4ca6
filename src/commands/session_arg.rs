//! Opening the session that a subcommand was given.

use std::path::{Path, PathBuf};

use super::{Failure, Output};
use crate::session::{OpenOptions, OpenedSession, store};

/// The folder of a session named by its folder or by its `session.toml`.
pub fn session_folder(named: &Path) -> PathBuf {
    let file = store::file_of(named);
    match file.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder.to_owned(),
        _ => PathBuf::from("."),
    }
}

/// Opens the session at `named` and tells each problem with its recordings on stderr.
///
/// # Errors
/// [`Failure`] where the session cannot be used, or none of its recordings could be read.
pub fn open_session(named: &Path, output: &mut Output) -> Result<OpenedSession, Failure> {
    let opened = OpenedSession::open(&session_folder(named), OpenOptions::default())
        .map_err(Failure::because)?;
    for problem in &opened.problems {
        output.message(&format!("truing: {problem}"));
    }
    if !opened.problems.is_empty() && opened.sources.iter().all(|s| s.samples().is_none()) {
        let message = format!("{}: none of its recordings can be used", named.display());
        return Err(Failure::CouldNot(message));
    }
    Ok(opened)
}
