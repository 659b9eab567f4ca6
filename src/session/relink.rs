//! Finding recordings again by their content.

use std::io::Read as _;
use std::path::{Path, PathBuf};

use sha2::{Digest as _, Sha256};

use super::Session;
use crate::recording::unpacked_sha256;
use crate::text::hex;

/// A stream whose recording was found under another name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// Index of the stream.
    pub stream: usize,
    /// The recording, relative to the session folder.
    pub file: String,
}

/// Deepest folder looked into below the session's own.
const DEPTH: usize = 4;

/// SHA-256 of the recording that a session in `folder` names `file`, lower-case hexadecimal.
///
/// # Errors
/// The system's, for anything that is not a regular file, and where a link leads out of the folder.
pub fn sha256_inside(folder: &Path, file: &str) -> std::io::Result<String> {
    sha256_of(&super::files::inside(folder, file)?)
}

/// SHA-256 of the regular file at `path`, lower-case hexadecimal; of a packed recording, that of
/// its content.
///
/// # Errors
/// The system's, for anything that is not a regular file, and where it cannot be unpacked.
pub fn sha256_of(path: &Path) -> std::io::Result<String> {
    super::files::regular_file(path)?;
    if let Some(hash) = unpacked_sha256(path).map_err(std::io::Error::other)? {
        return Ok(hash);
    }
    let mut hasher = Sha256::new();
    let mut file = std::fs::File::open(path)?;
    let mut block = vec![0; 64 * 1024];
    loop {
        match file.read(&mut block)? {
            0 => return Ok(hex(&hasher.finalize())),
            n => hasher.update(&block[..n]),
        }
    }
}

/// Looks in `folder` (four levels deep) for files with the content that streams whose file is
/// missing or changed once had.
pub fn find_by_content(folder: &Path, session: &Session) -> Vec<Found> {
    let lost: Vec<(usize, &str)> = session
        .streams
        .iter()
        .enumerate()
        .filter_map(|(index, stream)| {
            let known = stream.sha256.as_deref()?;
            let now = sha256_inside(folder, &stream.file).ok();
            (now.as_deref() != Some(known)).then_some((index, known))
        })
        .collect();
    let mut found = Vec::new();
    if lost.is_empty() {
        return found;
    }
    for path in files_below(folder, DEPTH) {
        let Ok(content) = sha256_of(&path) else {
            continue;
        };
        // A name that is no text cannot stand in session.toml.
        let relative = path.strip_prefix(folder).ok().and_then(Path::to_str);
        let Some(relative) = relative else {
            continue;
        };
        for (stream, _) in lost.iter().filter(|(_, known)| *known == content) {
            if !found.iter().any(|f: &Found| f.stream == *stream) {
                found.push(Found {
                    stream: *stream,
                    file: relative.to_owned(),
                });
            }
        }
    }
    found
}

/// Regular files below `folder` in a stable order; links to folders are not followed.
fn files_below(folder: &Path, depth: usize) -> Vec<PathBuf> {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return Vec::new();
    };
    let mut paths: Vec<PathBuf> = entries.flatten().map(|entry| entry.path()).collect();
    paths.sort();
    let mut files = Vec::new();
    for path in paths {
        let Ok(about) = std::fs::symlink_metadata(&path) else {
            continue;
        };
        if about.is_dir() && depth > 0 {
            files.extend(files_below(&path, depth - 1));
        } else if about.is_file() {
            files.push(path);
        }
    }
    files
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::Stream;

    #[test]
    fn a_renamed_recording_is_found_by_its_content() {
        let folder = tempfile::tempdir().unwrap();
        let moved = folder.path().join("old/rides");
        std::fs::create_dir_all(&moved).unwrap();
        std::fs::write(moved.join("renamed.csv"), "time,power\n0,1\n").unwrap();
        std::fs::write(folder.path().join("kept.csv"), "other").unwrap();
        let stream = |label: &str, file: &str, content: &str| {
            let mut stream = Stream::new(label, file);
            stream.sha256 = Some(hex(&Sha256::digest(content)));
            stream
        };
        let session = Session {
            streams: vec![
                stream("kept", "kept.csv", "other"),
                stream("lost", "recordings/lost.csv", "time,power\n0,1\n"),
                stream("gone", "recordings/gone.csv", "nowhere"),
            ],
            ..Session::default()
        };
        let found = find_by_content(folder.path(), &session);
        assert_eq!(
            found,
            [Found {
                stream: 1,
                file: "old/rides/renamed.csv".into()
            }]
        );
    }
}
