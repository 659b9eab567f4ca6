//! Format detection and the entry point of reading.

use std::path::Path;

use super::{Recording, RecordingError};

/// How to read.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReadOptions {
    /// Refuse a damaged file instead of recovering what can be read.
    pub strict: bool,
    /// Which column carries what, where the usual names do not tell.
    pub columns: ColumnMap,
}

/// Column names told by the tester, for delimited text (from `session.toml`). Empty by default.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ColumnMap {
    /// Time column.
    pub time: Option<String>,
    /// Column or FIT field that carries power.
    pub power: Option<String>,
    /// Column that names the device, in files with one row a device and moment.
    pub device: Option<String>,
}

/// Reads the recording at `path`.
///
/// # Errors
/// [`RecordingError`] where the file cannot be read, holds no recording, or (with
/// [`ReadOptions::strict`]) is damaged.
pub fn read(path: &Path, _options: &ReadOptions) -> Result<Recording, RecordingError> {
    let bytes = std::fs::read(path);
    Err(RecordingError::Io {
        path: path.to_owned(),
        source: bytes
            .err()
            .unwrap_or_else(|| std::io::Error::other("no reader yet")),
    })
}

/// `text` without control characters, bidirectional overrides and zero-width characters, so that
/// it can be shown on a terminal, in a table or on a page.
pub fn clean_text(text: &str) -> String {
    text.chars()
        .filter(|c| !c.is_control() && !is_invisible(*c))
        .collect()
}

fn is_invisible(c: char) -> bool {
    matches!(
        c,
        '\u{00AD}'
            | '\u{061C}'
            | '\u{180E}'
            | '\u{200B}'..='\u{200F}'
            | '\u{2028}'..='\u{202E}'
            | '\u{2060}'..='\u{206F}'
            | '\u{FE00}'..='\u{FE0F}'
            | '\u{FEFF}'
            | '\u{FFF9}'..='\u{FFFB}'
            | '\u{E0000}'..='\u{E007F}'
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn control_and_invisible_characters_are_removed() {
        assert_eq!(
            clean_text("a\u{1b}[31mb\u{202e}c\u{200b}d\u{7}"),
            "a[31mbcd"
        );
        assert_eq!(clean_text("Café 3 °C"), "Café 3 °C");
    }
}
