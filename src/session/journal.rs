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

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Read as _, Seek as _, SeekFrom, Write as _};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::store::{self, Fingerprint, Stored};
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
    home: Option<Home>,
    /// Held for as long as the journal is open; the system lets go of them however we end.
    _locks: Vec<File>,
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
    #[serde(default)]
    home: Option<Home>,
}

/// Which folder a session is in, by what stays when it is renamed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Home {
    /// In full; `None` where it is no text.
    path: Option<String>,
    /// Device and file number, where the system has such: they stay when a folder is renamed.
    id: Option<(u64, u64)>,
}

impl Home {
    /// `None` where there is no such folder.
    fn of(folder: &Path) -> Option<Self> {
        let full = folder.canonicalize().ok()?;
        let about = full.metadata().ok().filter(std::fs::Metadata::is_dir)?;
        Some(Self {
            path: full.to_str().map(str::to_owned),
            id: id_of(&about),
        })
    }

    /// Whether what was at home at `earlier` may be here now: it has been renamed, or it stands here
    /// and nowhere else.
    fn may_have_been(&self, earlier: &Self) -> bool {
        let same_name = self.path.is_some() && self.path == earlier.path;
        same_name || self.is_the_same_as(earlier) || earlier.is_gone()
    }

    fn is_the_same_as(&self, other: &Self) -> bool {
        self.id.is_some() && self.id == other.id
    }

    /// Whether no session is there any more. One on a medium that was taken out is not gone.
    fn is_gone(&self) -> bool {
        let path = self.path.as_deref().map(Path::new);
        path.is_some_and(|path| {
            path.parent().is_some_and(Path::is_dir)
                && matches!(path.join(store::FILE_NAME).try_exists(), Ok(false))
        })
    }
}

#[cfg(unix)]
fn id_of(about: &std::fs::Metadata) -> Option<(u64, u64)> {
    use std::os::unix::fs::MetadataExt as _;
    Some((about.dev(), about.ino()))
}

#[cfg(not(unix))]
fn id_of(_: &std::fs::Metadata) -> Option<(u64, u64)> {
    None
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
            state: store::to_text(session),
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

fn move_aside(path: &Path) -> std::io::Result<()> {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let mut names = (1..).map(|n| path.with_file_name(format!("{stem}-{n}.jsonl")));
    let free = names.find(|name| name.symlink_metadata().is_err());
    std::fs::rename(path, free.unwrap_or_default())?;
    if let Some(folder) = path.parent() {
        store::flush_folder(folder);
    }
    Ok(())
}

/// Puts the journal that the session at `home` left, wherever it was then, at `path`; one that is
/// there and another session's is set aside.
fn find_again(directory: &Path, path: &Path, home: &Home, stored: &Stored) -> std::io::Result<()> {
    if let Some(last) = last_line(path) {
        let known = last.home.as_ref();
        let moved_away = known.is_some_and(|h| h.id.is_some() && !home.is_the_same_as(h));
        if !moved_away || last.fits(stored) {
            return Ok(());
        }
        move_aside(path)?;
    }
    let mut found: Option<(u64, PathBuf)> = None;
    for entry in std::fs::read_dir(directory)?.flatten() {
        let other = entry.path();
        if other.extension().is_none_or(|e| e != "jsonl") || other == path {
            continue;
        }
        let Some(last) = last_line(&other) else {
            continue;
        };
        let was_ours = last.home.as_ref().is_some_and(|h| home.may_have_been(h));
        let later = found.as_ref().is_none_or(|(at, _)| *at <= last.at_unix_s);
        if was_ours && later && last.fits(stored) && !is_held(&other) {
            found = Some((last.at_unix_s, other));
        }
    }
    let Some((_, other)) = found else {
        return Ok(());
    };
    match std::fs::rename(other, path) {
        // Somebody was faster.
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(()),
        other => other,
    }
}

/// Whether a running instance writes this journal.
fn is_held(journal: &Path) -> bool {
    let lock = File::open(journal.with_extension("lock"));
    lock.is_ok_and(|lock| lock.try_lock().is_err())
}

/// The last line of a journal that is whole.
fn last_line(journal: &Path) -> Option<Line<'static>> {
    store::regular_file(journal).ok()?;
    let text = std::fs::read(journal).ok()?;
    let mut lines = text.rsplit(|byte| *byte == b'\n');
    lines.find_map(|line| serde_json::from_slice(line).ok())
}

impl Line<'_> {
    /// Whether the edit was made over the session that is `stored`: over this very file, or over the
    /// same recordings.
    fn fits(&self, stored: &Stored) -> bool {
        let Some(base) = &self.base else {
            return false;
        };
        let reads_the_same = |session: Session| session.reads_the_same(&stored.session);
        *base == stored.fingerprint || parse_state(&self.state).is_ok_and(reads_the_same)
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
        let told = journal.record("tag", &titled("one")).unwrap_err();
        assert!(matches!(told, JournalError::Io { .. }), "{told}");
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
        std::fs::copy(from.join(store::FILE_NAME), to.join(store::FILE_NAME)).unwrap();
    }

    #[cfg(unix)]
    #[test]
    fn a_renamed_folder_is_offered_its_edits_also_after_the_session_file_was_changed() {
        let desk = Desk::new();
        let (old, new) = (desk.ride("old", "aa"), desk.rides.path().join("new"));
        drop(desk.edit(&old, "edited"));
        std::fs::rename(&old, &new).unwrap();
        let text = std::fs::read_to_string(new.join(store::FILE_NAME)).unwrap();
        std::fs::write(new.join(store::FILE_NAME), format!("{text}# mine\n")).unwrap();
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
        let file = ride.join(store::FILE_NAME);
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
