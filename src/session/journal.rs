//! The journal: every edit on the disk before it is shown as done, so that a crash loses nothing.
//!
//! One file a session in the data directory, one JSON line an edit, each line the whole state
//! after it. A session is small, and a line that stands by itself survives whatever happened to
//! the lines around it: a torn last line (the crash came while writing) is passed over.
//! The file is emptied when the session is saved. A lock beside it tells a second instance that
//! it may only read.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Read as _, Seek as _, SeekFrom, Write as _};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::store::{self, Fingerprint};
use super::{Session, SessionError};
use crate::recording::words::hex;

/// Why there is no journal. Messages name the file and the way out.
#[derive(Debug, thiserror::Error)]
pub enum JournalError {
    /// The system names no data directory.
    #[error(
        "no data directory is known for this user (HOME is not set?): edits cannot be journalled, so save often"
    )]
    NoDataDirectory,
    /// The system refused.
    #[error("{path}: cannot keep the journal ({source}): free space, or save at once")]
    Io {
        /// The journal.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// Another instance has the session open.
    #[error("the session is open in another truing: this one only reads")]
    InUse,
}

/// An open, locked journal.
#[derive(Debug)]
pub struct Journal {
    path: PathBuf,
    file: File,
    base: Option<Fingerprint>,
    /// Held for as long as the journal is open; the system lets go of it however we end.
    _lock: File,
}

/// Edits that an earlier run journalled and never saved.
#[derive(Clone, Debug, PartialEq)]
pub struct Leftover {
    /// The edits in order.
    pub edits: Vec<LeftoverEdit>,
    /// The session after the last of them.
    pub session: Session,
    /// The session file that the last of them was made over; `None` where there was none.
    pub base: Option<Fingerprint>,
}

/// One journalled edit.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftoverEdit {
    /// When, seconds since the Unix epoch.
    pub at_unix_s: u64,
    /// Its name, as undo shows it.
    pub name: String,
}

#[derive(Serialize, Deserialize)]
struct Line<'a> {
    at_unix_s: u64,
    name: std::borrow::Cow<'a, str>,
    state: String,
    #[serde(default)]
    base: Option<Fingerprint>,
}

/// Where journals live by default: the user's data directory.
///
/// # Errors
/// [`JournalError::NoDataDirectory`].
pub fn data_directory() -> Result<PathBuf, JournalError> {
    directories::ProjectDirs::from("", "", "truing")
        .map(|dirs| dirs.data_local_dir().join("journals"))
        .ok_or(JournalError::NoDataDirectory)
}

impl Journal {
    /// Opens the journal of the session in `folder`, kept in `directory`, and returns what an
    /// earlier run left in it.
    ///
    /// # Errors
    /// [`JournalError`]; with [`JournalError::InUse`] another instance holds the session.
    pub fn open(directory: &Path, folder: &Path) -> Result<(Self, Option<Leftover>), JournalError> {
        let path = directory.join(format!("{}.jsonl", name_of(folder)));
        let failed = |source| JournalError::Io {
            path: path.clone(),
            source,
        };
        std::fs::create_dir_all(directory).map_err(failed)?;
        let lock = open_file(&path.with_extension("lock")).map_err(failed)?;
        match lock.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Err(JournalError::InUse),
            Err(TryLockError::Error(source)) => return Err(failed(source)),
        }
        let mut file = open_file(&path).map_err(failed)?;
        let mut text = Vec::new();
        file.read_to_end(&mut text).map_err(failed)?;
        let leftover = leftover_in(&text);
        Ok((
            Self {
                path,
                file,
                base: None,
                _lock: lock,
            },
            leftover,
        ))
    }

    /// From now on edits are made over the session file with this fingerprint.
    pub fn set_base(&mut self, base: Option<&Fingerprint>) {
        self.base = base.cloned();
    }

    /// Writes down that the edit called `name` led to `session`, and returns once it is on the
    /// disk.
    ///
    /// # Errors
    /// [`JournalError::Io`].
    pub fn record(&mut self, name: &str, session: &Session) -> Result<(), JournalError> {
        let at_unix_s = std::time::SystemTime::now()
            .duration_since(std::time::UNIX_EPOCH)
            .map_or(0, |since| since.as_secs());
        let line = Line {
            at_unix_s,
            name: name.into(),
            state: store::to_text(session),
            base: self.base.clone(),
        };
        let written = serde_json::to_vec(&line)
            .map_err(std::io::Error::from)
            .and_then(|mut bytes| {
                // A newline first: a torn line before this one then ends where this one begins.
                bytes.insert(0, b'\n');
                bytes.push(b'\n');
                self.file.seek(SeekFrom::End(0))?;
                self.file.write_all(&bytes)?;
                self.file.sync_data()?;
                // A file without a name is lost with the process, however well it is written.
                std::fs::metadata(&self.path).map(|_| ())
            });
        written.map_err(|source| JournalError::Io {
            path: self.path.clone(),
            source,
        })
    }

    /// Empties the journal: everything in it is saved, or was declined.
    ///
    /// # Errors
    /// [`JournalError::Io`].
    pub fn clear(&mut self) -> Result<(), JournalError> {
        let cleared = self.file.set_len(0).and_then(|()| self.file.sync_data());
        cleared.map_err(|source| JournalError::Io {
            path: self.path.clone(),
            source,
        })
    }
}

fn open_file(path: &Path) -> std::io::Result<File> {
    match store::regular_file(path) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => return Err(error),
        _ => {}
    }
    OpenOptions::new()
        .read(true)
        .write(true)
        .create(true)
        .truncate(false)
        .open(path)
}

/// A file name for the journal of `folder`, the same however the folder is named.
fn name_of(folder: &Path) -> String {
    let full = std::fs::canonicalize(folder)
        .or_else(|_| std::path::absolute(folder))
        .unwrap_or_else(|_| folder.to_owned());
    hex(&Sha256::digest(full.as_os_str().as_encoded_bytes()))
        .chars()
        .take(32)
        .collect()
}

/// What a journal's bytes still hold: every line that is whole counts, any other is passed over.
pub fn leftover_in(text: &[u8]) -> Option<Leftover> {
    let mut edits = Vec::new();
    let mut last: Option<(Session, Option<Fingerprint>)> = None;
    for line in text.split(|byte| *byte == b'\n') {
        let Ok(line) = serde_json::from_slice::<Line>(line) else {
            continue;
        };
        let Ok(session) = parse_state(&line.state) else {
            continue;
        };
        edits.push(LeftoverEdit {
            at_unix_s: line.at_unix_s,
            name: line.name.into_owned(),
        });
        last = Some((session, line.base));
    }
    last.map(|(session, base)| Leftover {
        edits,
        session,
        base,
    })
}

fn parse_state(state: &str) -> Result<Session, SessionError> {
    store::parse(Path::new("journal"), state)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn titled(title: &str) -> Session {
        Session {
            title: title.to_owned(),
            ..Session::default()
        }
    }

    #[test]
    fn what_was_recorded_comes_back_after_a_crash() {
        let (data, ride) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let (mut journal, leftover) = Journal::open(data.path(), ride.path()).unwrap();
        assert_eq!(leftover, None);
        journal.record("tag sprint", &titled("one")).unwrap();
        journal.record("note", &titled("two")).unwrap();
        drop(journal);
        let (mut journal, leftover) = Journal::open(data.path(), ride.path()).unwrap();
        let leftover = leftover.unwrap();
        assert_eq!(leftover.session, titled("two"));
        let names: Vec<&str> = leftover
            .edits
            .iter()
            .map(|edit| edit.name.as_str())
            .collect();
        assert_eq!(names, ["tag sprint", "note"]);
        journal.clear().unwrap();
        drop(journal);
        assert_eq!(Journal::open(data.path(), ride.path()).unwrap().1, None);
    }

    #[test]
    fn a_line_torn_anywhere_costs_at_most_itself() {
        let (data, ride) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let (mut journal, _) = Journal::open(data.path(), ride.path()).unwrap();
        journal.record("first", &titled("one")).unwrap();
        let kept = std::fs::metadata(&journal.path).unwrap().len();
        journal.record("second", &titled("two")).unwrap();
        let (path, whole) = (journal.path.clone(), std::fs::read(&journal.path).unwrap());
        drop(journal);
        for cut in kept..whole.len() as u64 {
            std::fs::write(&path, &whole[..cut as usize]).unwrap();
            let (mut journal, leftover) = Journal::open(data.path(), ride.path()).unwrap();
            // Only the closing newline may be missing for the second edit to be whole.
            let wanted = if cut == whole.len() as u64 - 1 {
                "two"
            } else {
                "one"
            };
            assert_eq!(
                leftover.unwrap().session,
                titled(wanted),
                "cut at byte {cut}"
            );
            journal.record("third", &titled("three")).unwrap();
            drop(journal);
            let (_, leftover) = Journal::open(data.path(), ride.path()).unwrap();
            assert_eq!(
                leftover.unwrap().session,
                titled("three"),
                "after a cut at byte {cut}"
            );
        }
    }

    #[cfg(unix)]
    #[test]
    fn a_journal_that_was_deleted_keeps_nothing_and_says_so() {
        let (data, ride) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let (mut journal, _) = Journal::open(data.path(), ride.path()).unwrap();
        std::fs::remove_dir_all(data.path()).unwrap();
        let told = journal.record("tag", &titled("one")).unwrap_err();
        assert!(matches!(told, JournalError::Io { .. }), "{told}");
    }

    #[test]
    fn a_second_instance_is_told() {
        let (data, ride) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let first = Journal::open(data.path(), ride.path()).unwrap();
        let second = Journal::open(data.path(), &ride.path().join(".")).unwrap_err();
        assert!(matches!(second, JournalError::InUse));
        drop(first);
        assert!(Journal::open(data.path(), ride.path()).is_ok());
    }
}
