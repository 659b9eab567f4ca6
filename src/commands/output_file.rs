//! Writing a result to a file of the user's choice, without ever losing an old one.

use std::io::{BufRead as _, IsTerminal as _};
use std::path::Path;

use super::{Failure, Output};
use crate::session::OpenedSession;
use crate::session::files::{takes_any_bytes, write_atomically};

/// Writes `bytes` to `path`. An existing file is replaced only with `force`, or where the person
/// at the terminal says so.
///
/// # Errors
/// [`Failure`]; an old file is then intact.
pub fn write_file(
    path: &Path,
    bytes: &[u8],
    force: bool,
    output: &mut Output,
) -> Result<(), Failure> {
    check(path)?;
    let is_there = path.symlink_metadata().is_ok() && !takes_any_bytes(path);
    if is_there && !force && !agreed(path, output)? {
        return Err(Failure::CouldNot(format!(
            "{}: exists already and is left as it is; replace it with --force, or choose another name",
            path.display()
        )));
    }
    write_atomically(path, bytes).map_err(|error| {
        Failure::CouldNot(format!(
            "{}: cannot write it ({error}); the old file, if there was one, is intact. Free space or choose a folder you may write to",
            path.display()
        ))
    })?;
    output.message(&format!("truing: wrote {}", path.display()));
    Ok(())
}

/// What can be said before the work is done: the place must be able to hold a file.
///
/// # Errors
/// [`Failure`] for a folder, or where the folder of the file is missing.
pub fn check(path: &Path) -> Result<(), Failure> {
    if path.is_dir() {
        return Err(Failure::CouldNot(format!(
            "{}: is a folder; name a file in it",
            path.display()
        )));
    }
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty());
    match folder {
        Some(folder) if !folder.is_dir() => Err(Failure::CouldNot(format!(
            "{}: there is no folder {}; create it first",
            path.display(),
            folder.display()
        ))),
        _ => Ok(()),
    }
}

/// That no file of the session itself would be replaced, whatever was forced.
///
/// # Errors
/// [`Failure`] where `path` is the session file or a recording.
pub fn check_beside(path: &Path, opened: &OpenedSession) -> Result<(), Failure> {
    if opened.is_own_file(path) {
        return Err(Failure::CouldNot(format!(
            "{}: is a file of the session itself and is never replaced; choose another name",
            path.display()
        )));
    }
    Ok(())
}

/// Asks, where there is somebody to ask.
fn agreed(path: &Path, output: &mut Output) -> Result<bool, Failure> {
    let stdin = std::io::stdin();
    if !stdin.is_terminal() || !output.shows_progress() {
        return Ok(false);
    }
    output.message(&format!(
        "{}: exists already. Replace it? [y/N]",
        path.display()
    ));
    let mut answer = String::new();
    stdin
        .lock()
        .read_line(&mut answer)
        .map_err(Failure::because)?;
    Ok(matches!(answer.trim(), "y" | "Y" | "yes"))
}
