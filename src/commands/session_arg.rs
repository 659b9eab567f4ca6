//! Opening the session that a subcommand was given.

use std::path::Path;

use super::{Failure, Output};
use crate::session::files;
use crate::session::store::{self, Stored};
use crate::session::{OpenOptions, OpenedSession};
use crate::text::one_line;

/// Opens the session at `named` and tells on stderr each problem with its recordings, what reading
/// them met, and clocks that were never set.
///
/// # Errors
/// [`Failure`] where the session cannot be used, or none of its recordings could be read.
pub fn open_session(named: &Path, output: &mut Output) -> Result<OpenedSession, Failure> {
    let opened = open_to_align(named, output)?;
    for caution in opened.session.cautions() {
        reported(&caution, output);
    }
    Ok(opened)
}

/// [`open_session`] without a word on clocks, for what is there to set them.
///
/// # Errors
/// Those of [`open_session`].
pub fn open_to_align(named: &Path, output: &mut Output) -> Result<OpenedSession, Failure> {
    let opened = OpenedSession::open(&files::folder_of(named), OpenOptions::default())
        .map_err(Failure::because)?;
    for problem in &opened.problems {
        reported(&problem.to_string(), output);
    }
    for remark in opened.remarks() {
        reported(&remark, output);
    }
    if !opened.problems.is_empty() && opened.sources.iter().all(|s| s.samples().is_none()) {
        let message = format!("{}: none of its recordings can be used", named.display());
        return Err(Failure::CouldNot(message));
    }
    Ok(opened)
}

/// One message on one line, whatever names are in it.
fn reported(text: &str, output: &mut Output) {
    output.message(&format!("truing: {}", one_line(text)));
}

/// The session as it stands on the disk, to be changed and saved by its fingerprint.
///
/// # Errors
/// [`Failure`] where somebody changed it since it was `opened`.
pub(super) fn unchanged(opened: &OpenedSession) -> Result<Stored, Failure> {
    let stored = store::load(&opened.folder).map_err(Failure::because)?;
    if stored.session != opened.session {
        return Err(Failure::CouldNot(format!(
            "{}: somebody else changed the session meanwhile; nothing was written. Run it again",
            opened.folder.display()
        )));
    }
    Ok(stored)
}
