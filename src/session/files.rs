//! Files of a session: read only inside its folder, replaced whole or not at all.

use std::io::{Read, Write as _};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Name of the session file inside its folder.
pub const FILE_NAME: &str = "session.toml";

/// The session file of a session named by its folder or by the file itself.
pub fn file_of(session: &Path) -> PathBuf {
    if session.file_name().is_some_and(|name| name == FILE_NAME) && !session.is_dir() {
        session.to_owned()
    } else {
        session.join(FILE_NAME)
    }
}

/// The folder of a session named by its folder or by the file itself.
pub fn folder_of(session: &Path) -> PathBuf {
    match file_of(session).parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder.to_owned(),
        _ => PathBuf::from("."),
    }
}

/// Where `file`, named relative to the session folder, is read from. Everything read on behalf of a
/// session goes through here: a folder that came from somebody else may hold a link to a private
/// file, whose lines would then stand in messages and in a report made to be handed on.
///
/// # Errors
/// The system's, and where a link leads out of the folder.
pub(crate) fn inside(folder: &Path, file: &str) -> std::io::Result<PathBuf> {
    let path = folder.join(file);
    let leads_to = path.canonicalize()?;
    // A folder without a name is the one we are in.
    let folder = match folder.as_os_str().is_empty() {
        true => Path::new(".").canonicalize()?,
        false => folder.canonicalize()?,
    };
    if leads_to.starts_with(folder) {
        Ok(path)
    } else {
        Err(std::io::Error::other(
            "its path or a link leads out of the session folder and is not followed: put the file itself there",
        ))
    }
}

/// What the system knows of the file at `path`, before it is opened: a pipe would be waited for.
///
/// # Errors
/// The system's, and for anything that is not a regular file.
pub(crate) fn regular_file(path: &Path) -> std::io::Result<std::fs::Metadata> {
    let about = std::fs::metadata(path)?;
    if about.is_file() {
        Ok(about)
    } else {
        Err(std::io::Error::other("it is not a regular file"))
    }
}

/// Replaces the file at `path` by `bytes`, through a temporary file beside it that is flushed to
/// the disk before it takes the name. A device or a pipe is no file to be replaced: it is written
/// to.
///
/// # Errors
/// The system's; the old file is then intact.
pub fn write_atomically(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    if takes_any_bytes(path) {
        return std::fs::OpenOptions::new()
            .write(true)
            .open(path)?
            .write_all(bytes);
    }
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    remove_abandoned(folder);
    let mut file = temporary_for(path, folder)?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    file.persist(path).map_err(|error| error.error)?;
    flush_folder(folder);
    Ok(())
}

/// What the names of temporary files begin with.
const TEMPORARY: &str = ".truing-";

/// A temporary file in `folder` that may take the place of `path`: with the permissions of the file
/// there, else with those that the umask leaves to any new file.
fn temporary_for(path: &Path, folder: &Path) -> std::io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(TEMPORARY);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        let old = std::fs::metadata(path)
            .map(|about| about.permissions())
            .ok();
        let ordinary = std::fs::Permissions::from_mode(0o666);
        builder.permissions(old.clone().unwrap_or(ordinary));
        let file = builder.tempfile_in(folder)?;
        if let Some(old) = old {
            file.as_file().set_permissions(old)?;
        }
        Ok(file)
    }
    #[cfg(not(unix))]
    builder.tempfile_in(folder)
}

/// A new name is durable only once its folder is on the disk; some file systems cannot flush a
/// folder, and the rename has happened by then.
pub(super) fn flush_folder(folder: &Path) {
    if let Ok(handle) = std::fs::File::open(folder) {
        let _ = handle.sync_all();
    }
}

/// Older than this, a temporary file is nobody's: writing takes seconds.
const ABANDONED_AFTER: Duration = Duration::from_secs(3600);

/// Removes the temporary files that a kill has left in `folder`. What cannot be removed stays.
pub(super) fn remove_abandoned(folder: &Path) {
    let is_ours = |name: &std::ffi::OsStr| {
        let random = name.to_str().and_then(|name| name.strip_prefix(TEMPORARY));
        random.is_some_and(|r| r.len() == 6 && r.bytes().all(|b| b.is_ascii_alphanumeric()))
    };
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    for entry in entries.filter(|entry| is_ours(&entry.file_name())) {
        // Of a link itself, not of what it leads to.
        let about = entry.metadata().ok().filter(std::fs::Metadata::is_file);
        let age = about.and_then(|about| about.modified().ok()?.elapsed().ok());
        if age.is_some_and(|age| age > ABANDONED_AFTER) {
            let _ = std::fs::remove_file(entry.path());
        }
    }
}

/// Writes `content` to `to`, where nothing is yet: whole or not at all.
///
/// # Errors
/// The system's.
pub(super) fn create_atomically(to: &Path, content: &mut dyn Read) -> std::io::Result<()> {
    let folder = to.parent().unwrap_or(Path::new("."));
    remove_abandoned(folder);
    let mut file = temporary_for(to, folder)?;
    std::io::copy(content, &mut file)?;
    file.as_file().sync_all()?;
    file.persist_noclobber(to).map_err(|error| error.error)?;
    flush_folder(folder);
    Ok(())
}

/// Whether a device, a pipe or the like is at `path`.
pub fn takes_any_bytes(path: &Path) -> bool {
    std::fs::metadata(path).is_ok_and(|about| !about.is_file() && !about.is_dir())
}
