//! Which folder a session is in: what of it stays when it is renamed or moved.

use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::session::files::FILE_NAME;

/// Which folder a session is in, by what stays when it is renamed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Home {
    /// In full; `None` where it is no text.
    path: Option<String>,
    /// Device and file number, where the system has such: they stay when a folder is renamed.
    pub(super) id: Option<(u64, u64)>,
}

impl Home {
    /// `None` where there is no such folder.
    pub(super) fn of(folder: &Path) -> Option<Self> {
        let full = folder.canonicalize().ok()?;
        let about = full.metadata().ok().filter(std::fs::Metadata::is_dir)?;
        Some(Self {
            path: full.to_str().map(str::to_owned),
            id: id_of(&about),
        })
    }

    /// Whether what was at home at `earlier` may be here now: it has been renamed, or it stands here
    /// and nowhere else.
    pub(super) fn may_have_been(&self, earlier: &Self) -> bool {
        let same_name = self.path.is_some() && self.path == earlier.path;
        same_name || self.is_the_same_as(earlier) || earlier.is_gone()
    }

    pub(super) fn is_the_same_as(&self, other: &Self) -> bool {
        self.id.is_some() && self.id == other.id
    }

    /// Whether no session is there any more. One on a medium that was taken out is not gone.
    fn is_gone(&self) -> bool {
        let path = self.path.as_deref().map(Path::new);
        path.is_some_and(|path| {
            path.parent().is_some_and(Path::is_dir)
                && matches!(path.join(FILE_NAME).try_exists(), Ok(false))
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
