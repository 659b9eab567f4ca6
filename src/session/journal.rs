//! The journal: every edit on the disk before it is shown as done, so that a crash loses nothing.
//!
//! One file a session in the data directory, one JSON line an edit, each line the whole state
//! after it. A session is small, and a line that stands by itself survives whatever happened to
//! the lines around it: a torn last line (the crash came while writing) is passed over.
//! The file is emptied when the session is saved. A lock beside it, and one on the session's folder,
//! tell a second instance that it may only read.
//!
//! The file is named after the folder's path, and each line tells which folder that was. A folder
//! that was renamed or moved is thus known again, while a copy has no part in the journal
//! of the original. What cannot be restored is set aside under another name, and found again once it
//! can.

mod find;
mod home;
mod line;

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Read as _, Seek as _, SeekFrom, Write as _};
use std::path::{Path, PathBuf};

use sha2::{Digest as _, Sha256};

use self::find::{find_again, move_aside};
use self::home::Home;
use self::line::Line;
use super::document::to_text;
use super::files::regular_file;
use super::model::Session;
use super::store::{Fingerprint, Stored};
use crate::text::hex;

pub use self::line::{Leftover, LeftoverEdit, leftover_in};

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
    home: Option<Home>,
    /// Held for as long as the journal is open; the system lets go of them however we end.
    _locks: Vec<File>,
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
    /// earlier run left in it. With the session as it is `stored` there, a journal that it left under
    /// another name is found again.
    ///
    /// # Errors
    /// [`JournalError`]; with [`JournalError::InUse`] another instance holds the session.
    pub fn open(
        directory: &Path,
        folder: &Path,
        stored: Option<&Stored>,
    ) -> Result<(Self, Option<Leftover>), JournalError> {
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
        let mut locks = vec![lock];
        // By another name it is the same session. Not every file system locks a folder.
        if let Some(folder) = File::open(folder).ok().filter(|_| folder.is_dir()) {
            if let Err(TryLockError::WouldBlock) = folder.try_lock() {
                return Err(JournalError::InUse);
            }
            locks.push(folder);
        }
        let home = Home::of(folder);
        if let (Some(home), Some(stored)) = (&home, stored) {
            find_again(directory, &path, home, stored).map_err(failed)?;
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
                home,
                _locks: locks,
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
            state: to_text(session),
            base: self.base.clone(),
            home: self.home.clone(),
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

    /// Keeps what an earlier run left under another name, so that it is neither emptied with the
    /// edits to come nor hidden by them.
    ///
    /// # Errors
    /// [`JournalError::Io`].
    pub fn set_aside(&mut self) -> Result<(), JournalError> {
        let moved = move_aside(&self.path).and_then(|()| open_file(&self.path));
        self.file = moved.map_err(|source| JournalError::Io {
            path: self.path.clone(),
            source,
        })?;
        Ok(())
    }
}

fn open_file(path: &Path) -> std::io::Result<File> {
    match regular_file(path) {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::files::FILE_NAME;
    use crate::session::store;

    fn titled(title: &str) -> Session {
        Session {
            title: title.to_owned(),
            ..Session::default()
        }
    }

    #[test]
    fn what_was_recorded_comes_back_after_a_crash() {
        let (data, ride) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let (mut journal, leftover) = Journal::open(data.path(), ride.path(), None).unwrap();
        assert_eq!(leftover, None);
        journal.record("tag sprint", &titled("one")).unwrap();
        journal.record("note", &titled("two")).unwrap();
        drop(journal);
        let (mut journal, leftover) = Journal::open(data.path(), ride.path(), None).unwrap();
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
        assert_eq!(
            Journal::open(data.path(), ride.path(), None).unwrap().1,
            None
        );
    }

    #[test]
    fn a_line_torn_anywhere_costs_at_most_itself() {
        let (data, ride) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let (mut journal, _) = Journal::open(data.path(), ride.path(), None).unwrap();
        journal.record("first", &titled("one")).unwrap();
        let kept = std::fs::metadata(&journal.path).unwrap().len();
        journal.record("second", &titled("two")).unwrap();
        let (path, whole) = (journal.path.clone(), std::fs::read(&journal.path).unwrap());
        drop(journal);
        for cut in kept..whole.len() as u64 {
            std::fs::write(&path, &whole[..cut as usize]).unwrap();
            let (mut journal, leftover) = Journal::open(data.path(), ride.path(), None).unwrap();
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
            let (_, leftover) = Journal::open(data.path(), ride.path(), None).unwrap();
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
        let (mut journal, _) = Journal::open(data.path(), ride.path(), None).unwrap();
        std::fs::remove_dir_all(data.path()).unwrap();
        let reported = journal.record("tag", &titled("one")).unwrap_err();
        assert!(matches!(reported, JournalError::Io { .. }), "{reported}");
    }

    #[test]
    fn a_second_instance_is_told() {
        let (data, ride) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        let first = Journal::open(data.path(), ride.path(), None).unwrap();
        let second = Journal::open(data.path(), &ride.path().join("."), None).unwrap_err();
        assert!(matches!(second, JournalError::InUse));
        drop(first);
        assert!(Journal::open(data.path(), ride.path(), None).is_ok());
    }

    /// A data directory and a place for session folders.
    struct Desk {
        data: tempfile::TempDir,
        rides: tempfile::TempDir,
    }

    impl Desk {
        fn new() -> Self {
            Self {
                data: tempfile::tempdir().unwrap(),
                rides: tempfile::tempdir().unwrap(),
            }
        }

        /// A session over a recording with this content, in the folder `name`.
        fn ride(&self, name: &str, content: &str) -> PathBuf {
            let folder = self.rides.path().join(name);
            std::fs::create_dir(&folder).unwrap();
            let mut stream = crate::session::Stream::new("trainer", "trainer.csv");
            stream.sha256 = Some(content.to_owned());
            let session = Session {
                streams: vec![stream],
                ..titled(content)
            };
            store::save(&folder, &session, None).unwrap();
            folder
        }

        fn try_open(&self, folder: &Path) -> Result<(Journal, Option<Leftover>), JournalError> {
            let stored = store::load(folder).unwrap();
            let (mut journal, leftover) = Journal::open(self.data.path(), folder, Some(&stored))?;
            journal.set_base(Some(&stored.fingerprint));
            Ok((journal, leftover))
        }

        /// Opens it and journals an edit of its title.
        fn edit(&self, folder: &Path, title: &str) -> Journal {
            let (mut journal, _) = self.try_open(folder).unwrap();
            let mut session = store::load(folder).unwrap().session;
            session.title = title.to_owned();
            journal.record("title", &session).unwrap();
            journal
        }

        /// The title that opening the session offers.
        fn offered(&self, folder: &Path) -> Option<String> {
            let (_, leftover) = self.try_open(folder).unwrap();
            leftover.map(|leftover| leftover.session.title)
        }
    }

    fn copy(from: &Path, to: &Path) {
        std::fs::create_dir(to).unwrap();
        std::fs::copy(from.join(FILE_NAME), to.join(FILE_NAME)).unwrap();
    }

    #[cfg(unix)]
    #[test]
    fn a_renamed_folder_is_offered_its_edits_also_after_the_session_file_was_changed() {
        let desk = Desk::new();
        let (old, new) = (desk.ride("old", "aa"), desk.rides.path().join("new"));
        drop(desk.edit(&old, "edited"));
        std::fs::rename(&old, &new).unwrap();
        let text = std::fs::read_to_string(new.join(FILE_NAME)).unwrap();
        std::fs::write(new.join(FILE_NAME), format!("{text}# mine\n")).unwrap();
        assert_eq!(desk.offered(&new).as_deref(), Some("edited"));
        assert_eq!(desk.offered(&new).as_deref(), Some("edited"));
        desk.try_open(&new).unwrap().0.clear().unwrap();
        assert_eq!(desk.offered(&new), None);
    }

    #[test]
    fn a_folder_moved_to_another_disk_is_offered_its_edits() {
        let desk = Desk::new();
        let (old, new) = (desk.ride("old", "aa"), desk.rides.path().join("new"));
        drop(desk.edit(&old, "edited"));
        copy(&old, &new);
        std::fs::remove_dir_all(&old).unwrap();
        assert_eq!(desk.offered(&new).as_deref(), Some("edited"));
    }

    #[test]
    fn a_copy_has_no_part_in_the_journal_of_the_original() {
        let desk = Desk::new();
        let (old, new) = (desk.ride("old", "aa"), desk.rides.path().join("new"));
        let journal = desk.edit(&old, "edited");
        copy(&old, &new);
        // Whether the original is open or not.
        assert_eq!(desk.offered(&new), None);
        drop(journal);
        assert_eq!(desk.offered(&new), None);
        desk.edit(&new, "other").clear().unwrap();
        assert_eq!(desk.offered(&old).as_deref(), Some("edited"));
    }

    #[cfg(unix)]
    #[test]
    fn another_session_in_the_old_place_is_offered_nothing_and_takes_nothing() {
        let desk = Desk::new();
        let (old, new) = (desk.ride("old", "aa"), desk.rides.path().join("new"));
        drop(desk.edit(&old, "edited"));
        std::fs::rename(&old, &new).unwrap();
        let old = desk.ride("old", "bb");
        assert_eq!(desk.offered(&old), None);
        desk.edit(&old, "other").clear().unwrap();
        assert_eq!(desk.offered(&new).as_deref(), Some("edited"));
    }

    #[cfg(unix)]
    #[test]
    fn a_second_instance_is_told_under_another_name_too() {
        let desk = Desk::new();
        let (old, new) = (desk.ride("old", "aa"), desk.rides.path().join("new"));
        let journal = desk.try_open(&old).unwrap();
        std::fs::rename(&old, &new).unwrap();
        let second = desk.try_open(&new).unwrap_err();
        assert!(matches!(second, JournalError::InUse), "{second}");
        drop(journal);
        desk.try_open(&new).unwrap();
    }

    #[test]
    fn what_was_set_aside_outlives_saving_and_is_offered_once_it_fits_again() {
        let desk = Desk::new();
        let ride = desk.ride("ride", "aa");
        drop(desk.edit(&ride, "edited"));
        let file = ride.join(FILE_NAME);
        let text = std::fs::read_to_string(&file).unwrap();
        std::fs::write(&file, text.replace("\"aa\"", "\"bb\"")).unwrap();
        let (mut journal, leftover) = desk.try_open(&ride).unwrap();
        assert_eq!(leftover.unwrap().session.title, "edited");
        journal.set_aside().unwrap();
        journal.record("title", &titled("later")).unwrap();
        journal.clear().unwrap();
        drop(journal);
        assert_eq!(desk.offered(&ride), None);
        std::fs::write(&file, text).unwrap();
        assert_eq!(desk.offered(&ride).as_deref(), Some("edited"));
    }
}
