//! Journals that a session left under another name.

use std::fs::File;
use std::path::{Path, PathBuf};

use super::home::Home;
use super::line::last_line;
use crate::session::files::flush_folder;
use crate::session::store::Stored;

/// Gives the journal at `path` a name that no session looks for at once.
pub(super) fn move_aside(path: &Path) -> std::io::Result<()> {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let mut names = (1..).map(|n| path.with_file_name(format!("{stem}-{n}.jsonl")));
    let free = names.find(|name| name.symlink_metadata().is_err());
    std::fs::rename(path, free.unwrap_or_default())?;
    if let Some(folder) = path.parent() {
        flush_folder(folder);
    }
    Ok(())
}

/// Puts the journal that the session at `home` left, wherever it was then, at `path`; one that is
/// there and another session's is set aside.
pub(super) fn find_again(
    directory: &Path,
    path: &Path,
    home: &Home,
    stored: &Stored,
) -> std::io::Result<()> {
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
