//! `session.toml` on the disk: loading it, and saving it so that a crash leaves the old file or the
//! new one.

use std::collections::BTreeSet;
use std::path::Path;

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::document::{MOST_BYTES, merged};
use super::error::SessionError;
use super::files::{FILE_NAME, inside, regular_file, remove_abandoned, write_atomically};
use super::model::Session;
use super::parse::{parse, plain_words};
use crate::text::hex;

/// Fingerprint of a session file's bytes, to notice that somebody else changed it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fingerprint(String);

impl Fingerprint {
    fn of(bytes: &[u8]) -> Self {
        Self(hex(&Sha256::digest(bytes)))
    }
}

/// A session file as it stands on disk.
#[derive(Clone, Debug, PartialEq)]
pub struct Stored {
    /// Its content.
    pub session: Session,
    /// Of the bytes it was read from.
    pub fingerprint: Fingerprint,
}

/// Loads the session in `folder`.
///
/// # Errors
/// [`SessionError`] where there is none, it cannot be read, or it says something impossible.
pub fn load(folder: &Path) -> Result<Stored, SessionError> {
    let text = read_text(folder)?;
    let session = parse(&folder.join(FILE_NAME), &text)?;
    Ok(Stored {
        session,
        fingerprint: Fingerprint::of(text.as_bytes()),
    })
}

/// Fingerprint of the session file in `folder` as it stands, readable as a session or not.
///
/// # Errors
/// [`SessionError`] where there is none or it cannot be read.
pub fn fingerprint(folder: &Path) -> Result<Fingerprint, SessionError> {
    let text = read_text(folder)?;
    Ok(Fingerprint::of(text.as_bytes()))
}

fn read_text(folder: &Path) -> Result<String, SessionError> {
    let path = folder.join(FILE_NAME);
    let refused = |source| SessionError::Read {
        path: path.clone(),
        source,
    };
    let checked = inside(folder, FILE_NAME).and_then(|path| regular_file(&path));
    let about = checked.map_err(|source| match source.kind() {
        std::io::ErrorKind::NotADirectory => SessionError::NoFolder {
            path: folder.to_owned(),
        },
        std::io::ErrorKind::NotFound => SessionError::NoSession {
            path: path.clone(),
            folder: folder.to_owned(),
        },
        _ => refused(source),
    })?;
    if about.len() > MOST_BYTES {
        return Err(refused(too_long()));
    }
    std::fs::read_to_string(&path).map_err(refused)
}

fn too_long() -> std::io::Error {
    std::io::Error::other("it is over 4 MiB: no session file is")
}

/// Saves `session` in `folder`: comments and unknown keys of the file there are kept, and at every
/// moment the file is either the old one or the new one, whole.
///
/// With `expected`, refuses when the file on disk has another fingerprint.
///
/// # Errors
/// [`SessionError`]; the old file is then intact.
pub fn save(
    folder: &Path,
    session: &Session,
    expected: Option<&Fingerprint>,
) -> Result<Fingerprint, SessionError> {
    let path = folder.join(FILE_NAME);
    let old = match read_text(folder) {
        Ok(text) => text,
        Err(SessionError::NoSession { .. }) => String::new(),
        Err(other) => return Err(other),
    };
    if expected.is_some_and(|wanted| *wanted != Fingerprint::of(old.as_bytes())) {
        return Err(SessionError::ChangedOutside { path });
    }
    let text = merged(&old, session).map_err(|message| SessionError::Syntax {
        path: path.clone(),
        message: plain_words(&message),
    })?;
    // Whatever led here: a file that could not be opened again takes no good one's place.
    parse(&path, &text)?;
    if text.len() as u64 > MOST_BYTES {
        let source = too_long();
        return Err(SessionError::Write { path, source });
    }
    // Where a link stands for the file, what it leads to is the file.
    let file = path.canonicalize().unwrap_or_else(|_| path.clone());
    write_atomically(&file, text.as_bytes())
        .map_err(|source| SessionError::Write { path, source })?;
    let files = session.streams.iter().map(|stream| Path::new(&stream.file));
    let folders: BTreeSet<&Path> = files.filter_map(Path::parent).collect();
    for recordings in folders {
        remove_abandoned(&folder.join(recordings));
    }
    Ok(Fingerprint::of(text.as_bytes()))
}

#[cfg(test)]
mod tests {
    use std::path::PathBuf;
    use std::time::Duration;

    use super::*;
    use crate::session::by_hand::{BY_HAND, parsed};
    use crate::session::validation::check_savable;

    #[test]
    fn what_could_not_be_opened_again_takes_no_good_files_place() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join(FILE_NAME);
        std::fs::write(&file, BY_HAND).unwrap();
        let mut session = parsed(BY_HAND);
        session.segments[0].set_point_w = Some(f64::NAN);
        let refused = save(folder.path(), &session, None).unwrap_err().to_string();
        assert!(refused.contains("set_point_w is NaN"), "{refused}");
        assert_eq!(std::fs::read_to_string(&file).unwrap(), BY_HAND);
    }

    #[cfg(unix)]
    #[test]
    fn a_session_file_behind_a_link_is_saved_where_it_is() {
        let folder = tempfile::tempdir().unwrap();
        let kept = folder.path().join("kept.toml");
        std::fs::write(&kept, BY_HAND).unwrap();
        let link = folder.path().join(FILE_NAME);
        std::os::unix::fs::symlink("kept.toml", &link).unwrap();
        let mut stored = load(folder.path()).unwrap();
        stored.session.title = "Second".into();
        save(folder.path(), &stored.session, Some(&stored.fingerprint)).unwrap();
        assert!(link.symlink_metadata().unwrap().is_symlink());
        let text = std::fs::read_to_string(&kept).unwrap();
        assert!(
            text.contains("title = \"Second\" # working title"),
            "{text}"
        );
    }

    #[cfg(unix)]
    #[test]
    fn a_session_file_behind_a_link_out_of_the_folder_is_neither_read_nor_written() {
        let home = tempfile::tempdir().unwrap();
        let (private, folder) = (home.path().join("private"), home.path().join("received"));
        std::fs::write(&private, "a secret\n").unwrap();
        std::fs::create_dir(&folder).unwrap();
        std::os::unix::fs::symlink(&private, folder.join(FILE_NAME)).unwrap();
        for reported in [
            load(&folder).unwrap_err(),
            save(&folder, &parsed(BY_HAND), None).unwrap_err(),
        ] {
            let reported = reported.to_string();
            assert!(
                reported.contains("leads out of the session folder"),
                "{reported}"
            );
            assert!(!reported.contains("secret"), "{reported}");
        }
        assert_eq!(std::fs::read_to_string(&private).unwrap(), "a secret\n");
    }

    #[test]
    fn saving_removes_what_a_kill_has_left_and_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let recordings = folder.path().join("recordings");
        std::fs::create_dir(&recordings).unwrap();
        let old = std::time::SystemTime::now() - Duration::from_secs(90_000);
        let write = |path: PathBuf, is_old: bool| {
            let file = std::fs::File::create(&path).unwrap();
            if is_old {
                file.set_modified(old).unwrap();
            }
            path
        };
        let left = [
            write(folder.path().join(".truing-AbC123"), true),
            write(recordings.join(".truing-x9Yz00"), true),
        ];
        let kept = [
            // Somebody may be writing it now.
            write(folder.path().join(".truing-AbC124"), false),
            write(folder.path().join(".truing-notes"), true),
            write(recordings.join("trainer.fit"), true),
        ];
        save(folder.path(), &parsed(BY_HAND), None).unwrap();
        assert!(left.iter().all(|path| !path.exists()), "{left:?}");
        assert!(kept.iter().all(|path| path.exists()), "{kept:?}");
    }

    #[test]
    fn what_is_too_long_to_be_read_again_is_not_saved() {
        let folder = tempfile::tempdir().unwrap();
        let mut session = parsed(BY_HAND);
        save(folder.path(), &session, None).unwrap();
        let kept = std::fs::read(folder.path().join(FILE_NAME)).unwrap();
        check_savable(&session).unwrap();
        session.segments[0].note = "x".repeat(MOST_BYTES as usize);
        let (place, problem) = check_savable(&session).unwrap_err();
        assert_eq!(place, FILE_NAME);
        assert!(problem.contains("over 4 MiB"), "{problem}");
        let reported = save(folder.path(), &session, None).unwrap_err().to_string();
        assert!(reported.contains("over 4 MiB"), "{reported}");
        let now = std::fs::read(folder.path().join(FILE_NAME)).unwrap();
        assert_eq!(now, kept);
    }

    #[test]
    fn a_save_is_whole_and_notices_other_hands() {
        let folder = tempfile::tempdir().unwrap();
        let missing = load(folder.path()).unwrap_err().to_string();
        assert!(missing.contains("truing new"), "{missing}");
        std::fs::write(folder.path().join(FILE_NAME), BY_HAND).unwrap();
        let mut stored = load(folder.path()).unwrap();
        stored.session.title = "Second".into();
        let saved = save(folder.path(), &stored.session, Some(&stored.fingerprint)).unwrap();
        assert_eq!(
            load(folder.path()).unwrap(),
            Stored {
                session: stored.session.clone(),
                fingerprint: saved
            }
        );
        let late = save(folder.path(), &stored.session, Some(&stored.fingerprint)).unwrap_err();
        assert!(matches!(late, SessionError::ChangedOutside { .. }));
        assert_eq!(
            std::fs::read_dir(folder.path()).unwrap().count(),
            1,
            "no temporary file is left"
        );
    }
}
