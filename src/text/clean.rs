//! Text of others without what steers a terminal or is not to be seen.

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

/// Text of others on one line, without characters that steer a terminal or a page.
pub fn one_line(text: &str) -> String {
    let spaced: String = text
        .chars()
        .map(|c| if c.is_whitespace() { ' ' } else { c })
        .collect();
    clean_text(&spaced).trim().to_owned()
}

/// Text of others that a spreadsheet will not run as a formula: a leading `=`, `+`, `-` or `@`
/// (also as full-width characters) gets an apostrophe before it, which spreadsheets take as
/// "this is text".
pub fn inert(text: &str) -> String {
    let line = one_line(text);
    let first = line.chars().next();
    if first.is_some_and(|c| "=+-@＝＋－＠".contains(c)) {
        format!("'{line}")
    } else {
        line
    }
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
        assert_eq!(clean_lines("a\t\u{9b}b\r\nc\rd\n"), "a\tb\r\ncd\n");
    }

    #[test]
    fn text_of_others_is_inert() {
        assert_eq!(inert("=HYPERLINK(\"x\")"), "'=HYPERLINK(\"x\")");
        assert_eq!(inert("\t\r=1+1"), "'=1+1");
        assert_eq!(inert("\u{200b}@x"), "'@x");
        assert_eq!(inert("＋1"), "'＋1");
        assert_eq!(inert("two\nlines\u{1b}[31m"), "two lines[31m");
        assert_eq!(inert("trainer"), "trainer");
    }
}
