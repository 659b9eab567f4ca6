//! Text of others without what steers a terminal or is not to be seen.

use std::path::Path;

/// `text` without control characters, bidirectional overrides and zero-width characters, so that
/// it can be shown on a terminal, in a table or on a page.
pub fn clean_text(text: &str) -> String {
    text.chars().filter(|c| !is_unseen(*c)).collect()
}

/// The same for text of several lines: line ends (also those of two characters) and tabs stay.
pub fn clean_lines(text: &str) -> String {
    let after = text.chars().skip(1).map(Some).chain([None]);
    text.chars()
        .zip(after)
        .filter(|(c, next)| match c {
            '\n' | '\t' => true,
            '\r' => *next == Some('\n'),
            c => !is_unseen(*c),
        })
        .map(|(c, _)| c)
        .collect()
}

/// Whether a character is none to be seen: it steers a terminal, turns the writing round or takes
/// no room.
pub fn is_unseen(c: char) -> bool {
    c.is_control() || is_invisible(c)
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

/// The file's name without folder and ending, cleaned: the last resort for a label.
pub(super) fn stem(path: &Path) -> String {
    let stem = path
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
        assert_eq!(clean_lines("a\t\u{9b}b\r\nc\rd\n"), "a\tb\r\ncd\n");
    }
}
