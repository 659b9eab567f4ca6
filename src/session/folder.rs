//! A session folder written for the first time: the recordings, then the session file; where that
//! fails, nothing of it stays.

use std::path::{Path, PathBuf};

use sha2::{Digest as _, Sha256};

use super::files::create_atomically;
use super::relink::sha256_of;
use super::store::{self, Fingerprint};
use super::{Session, SessionError};
use crate::recording::unpacked;
use crate::text::hex;

/// Why a session could not be started. Messages name the file and the way out.
#[derive(Debug, thiserror::Error)]
pub enum CreateError {
    /// A recording could not be copied.
    #[error("{to}: cannot copy {from} there ({source})")]
    Copy {
        /// The recording.
        from: PathBuf,
        /// Its place in the session folder.
        to: PathBuf,
        /// The system's reason, or ours.
        source: std::io::Error,
    },
    /// The session file could not be written.
    #[error(transparent)]
    Session(#[from] SessionError),
}

/// Copies `recordings` into `folder`, each under the name beside it and packed no more, and saves
/// `session` there.
/// A copy that is there already, byte for byte, is used as it is.
///
/// # Errors
/// [`CreateError`]; what was made until then is removed again.
pub fn create(
    folder: &Path,
    recordings: &[(PathBuf, String)],
    session: &Session,
) -> Result<Fingerprint, CreateError> {
    let mut made = Made::default();
    let created = made.fill(folder, recordings, session);
    if created.is_err() {
        made.remove();
    }
    created
}

/// What has been made so far, in order.
#[derive(Default)]
struct Made {
    folders: Vec<PathBuf>,
    files: Vec<PathBuf>,
}

impl Made {
    fn fill(
        &mut self,
        folder: &Path,
        recordings: &[(PathBuf, String)],
        session: &Session,
    ) -> Result<Fingerprint, CreateError> {
        for (from, file) in recordings {
            let to = folder.join(file);
            self.copy(from, &to).map_err(|source| CreateError::Copy {
                from: from.clone(),
                to,
                source,
            })?;
        }
        Ok(store::save(folder, session, None)?)
    }

    fn copy(&mut self, from: &Path, to: &Path) -> std::io::Result<()> {
        // A missing file is the copying's to report.
        let content = unpacked(from).ok().flatten();
        if to.symlink_metadata().is_ok() {
            let one = match &content {
                Some(content) => Ok(hex(&Sha256::digest(content))),
                None => sha256_of(from),
            };
            return match (one, sha256_of(to)) {
                (Ok(one), Ok(other)) if one == other => Ok(()),
                _ => Err(std::io::Error::other(
                    "another file has that name; move it away",
                )),
            };
        }
        if let Some(folder) = to.parent() {
            self.make_folder(folder)?;
        }
        match content {
            Some(content) => create_atomically(to, &mut content.as_slice())?,
            None => create_atomically(to, &mut std::fs::File::open(from)?)?,
        }
        self.files.push(to.to_owned());
        Ok(())
    }

    fn make_folder(&mut self, folder: &Path) -> std::io::Result<()> {
        let missing = folder.ancestors().take_while(|folder| !folder.is_dir());
        let missing: Vec<&Path> = missing.filter(|f| !f.as_os_str().is_empty()).collect();
        for folder in missing.into_iter().rev() {
            std::fs::create_dir(folder)?;
            self.folders.push(folder.to_owned());
        }
        Ok(())
    }

    /// Nothing is left to do where something cannot be removed; a folder with anything in it stays.
    fn remove(self) {
        for file in &self.files {
            let _ = std::fs::remove_file(file);
        }
        for folder in self.folders.iter().rev() {
            let _ = std::fs::remove_dir(folder);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::Stream;

    fn ride() -> (tempfile::TempDir, Vec<(PathBuf, String)>) {
        let home = tempfile::tempdir().unwrap();
        let names = ["one.csv", "two.csv"];
        let recordings = names.map(|name| {
            let path = home.path().join(name);
            std::fs::write(&path, name).unwrap();
            (path, format!("recordings/{name}"))
        });
        (home, recordings.to_vec())
    }

    #[test]
    fn what_fails_half_way_leaves_nothing() {
        let (home, mut recordings) = ride();
        let folder = home.path().join("rides/today");
        recordings[1].0 = home.path().join("gone.csv");
        let reported = create(&folder, &recordings, &Session::default()).unwrap_err();
        assert!(reported.to_string().contains("gone.csv"), "{reported}");
        assert!(!home.path().join("rides").exists());
        // The recordings are copied by then: a session that cannot be opened again is not saved.
        let (home, recordings) = ride();
        let folder = home.path().join("today");
        let session = Session {
            streams: vec![Stream::new("", "one.csv")],
            ..Session::default()
        };
        create(&folder, &recordings, &session).unwrap_err();
        assert!(!folder.exists());
    }

    #[test]
    fn what_is_there_is_used_where_it_is_the_same_and_never_touched() {
        let (home, recordings) = ride();
        let copies = home.path().join("recordings");
        std::fs::create_dir(&copies).unwrap();
        std::fs::copy(home.path().join("one.csv"), copies.join("one.csv")).unwrap();
        std::fs::write(copies.join("two.csv"), "another").unwrap();
        let reported = create(home.path(), &recordings, &Session::default()).unwrap_err();
        assert!(reported.to_string().contains("move it away"), "{reported}");
        let kept = std::fs::read_to_string(copies.join("two.csv")).unwrap();
        assert_eq!(kept, "another");
        assert!(copies.join("one.csv").exists());
        std::fs::remove_file(copies.join("two.csv")).unwrap();
        create(home.path(), &recordings, &Session::default()).unwrap();
        assert!(copies.join("two.csv").exists());
    }
}
