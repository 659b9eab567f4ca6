//! What every file has: a name, and perhaps a mark before its text.

use std::path::Path;

use super::archive::without_gz;
use crate::text::clean_text;

/// The file's name without folder and ending, cleaned: the last resort for a label.
pub(super) fn stem(path: &Path) -> String {
    let stem = without_gz(path)
        .file_stem()
        .map(|stem| clean_text(&stem.to_string_lossy()))
        .unwrap_or_default();
    let stem = stem.trim();
    if stem.is_empty() {
        "recording".to_owned()
    } else {
        stem.to_owned()
    }
}

/// The mark some programs put before UTF-8 text.
pub(super) const UTF8_MARK: &[u8] = &[0xEF, 0xBB, 0xBF];
