//! `truing relink`: finding recordings again that moved, or accepting changed ones.

use std::path::PathBuf;

use super::{Exit, Failure, Output};
use crate::session::{OpenOptions, OpenedSession, files, relink, store};

/// Find recordings of a session again that were moved or renamed, by their content.
///
/// The session folder is searched for files with the content that was there when the session was
/// first saved. To bring a recording back, copy it anywhere into the folder first.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The session folder.
    session: PathBuf,
    /// Take the files that are there now, though their content differs from what was first saved.
    #[arg(long)]
    accept_changed: bool,
}

/// Searches, says what it found, and saves the session.
///
/// # Errors
/// [`Failure`] where the session cannot be loaded or saved, or nothing was found for a recording.
pub fn run(arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    let folder = files::folder_of(&arguments.session);
    let stored = store::load(&folder).map_err(Failure::because)?;
    let mut session = stored.session.clone();
    for found in relink::find_by_content(&folder, &session) {
        let stream = &mut session.streams[found.stream];
        output.result(&format!(
            "{}: {} is now {}",
            stream.label, stream.file, found.file
        ))?;
        stream.file = found.file;
    }
    let mut lost = Vec::new();
    for stream in &mut session.streams {
        let now = relink::sha256_inside(&folder, &stream.file);
        match (now, stream.sha256.clone()) {
            (Err(error), _) if error.kind() == std::io::ErrorKind::NotFound => {
                lost.push(format!("{} ({}: not there)", stream.label, stream.file));
            }
            (Err(error), _) => lost.push(format!("{} ({}: {error})", stream.label, stream.file)),
            (Ok(now), Some(known)) if now == known => {}
            (Ok(_), Some(_)) if !arguments.accept_changed => {
                lost.push(format!("{} ({}: changed)", stream.label, stream.file));
            }
            (Ok(now), known) => {
                let word = if known.is_some() {
                    "changed content accepted"
                } else {
                    "content noted"
                };
                output.result(&format!("{}: {word} ({})", stream.label, stream.file))?;
                stream.sha256 = Some(now);
            }
        }
    }
    if session != stored.session {
        let opened = OpenedSession::bind(&folder, session.clone(), OpenOptions::default());
        opened.note_in(&mut session);
        store::save(&folder, &session, Some(&stored.fingerprint)).map_err(Failure::because)?;
    } else if lost.is_empty() {
        output.result("Every recording is where the session says, unchanged.")?;
    }
    if lost.is_empty() {
        return Ok(Exit::Done);
    }
    Err(Failure::CouldNot(format!(
        "{}: not found again: {}. Copy the old file into the folder, or accept what is there with --accept-changed",
        folder.display(),
        lost.join(", ")
    )))
}
