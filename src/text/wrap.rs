//! Text by the columns that it takes: cut, padded, wrapped.

use unicode_width::{UnicodeWidthChar as _, UnicodeWidthStr as _};

/// Whether each character of `text` is one column wide and stands by itself, whatever is next to
/// it: the printable ones of ASCII.
pub fn is_plain(text: &str) -> bool {
    text.bytes().all(|byte| matches!(byte, b' '..=b'~'))
}

/// Columns that `text` takes on the screen.
pub fn columns(text: &str) -> usize {
    if is_plain(text) {
        text.len()
    } else {
        text.width()
    }
}

/// `text` cut to `width` columns, the cut marked.
pub fn fit(text: &str, width: usize, cut_mark: char) -> String {
    if columns(text) <= width {
        return text.to_owned();
    }
    let mut out = String::new();
    let mut used = 1;
    for c in text.chars() {
        used += c.width().unwrap_or(0);
        if used > width {
            break;
        }
        out.push(c);
    }
    if width > 0 {
        out.push(cut_mark);
    }
    out
}

/// `text` broken between its words into lines that `fits` allows; a word that is too long for any
/// stands alone. None of an empty text.
pub fn lines_that_fit(text: &str, fits: impl Fn(&str) -> bool) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let longer = lines.last().map(|line| format!("{line} {word}"));
        match (lines.last_mut(), longer.filter(|line| fits(line))) {
            (Some(line), Some(longer)) => *line = longer,
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// `text` in lines of at most `width` columns; a word that is wider is broken where it must be.
pub fn wrapped(text: &str, width: usize) -> Vec<String> {
    let lines = lines_that_fit(text, |line| columns(line) <= width);
    lines.iter().flat_map(|line| broken(line, width)).collect()
}

fn broken(line: &str, width: usize) -> Vec<String> {
    let mut parts = vec![String::new()];
    for c in line.chars() {
        if let Some(part) = parts.last_mut() {
            if part.is_empty() || columns(part) + c.width().unwrap_or(0) <= width {
                part.push(c);
            } else {
                parts.push(c.to_string());
            }
        }
    }
    parts
}

/// A paragraph of lines of at most `width` columns: the first after `first`, the others after as
/// many blanks. A word longer than a line stands alone.
pub fn hanging(first: &str, text: &str, width: usize) -> String {
    let hang = " ".repeat(columns(first));
    let lines = lines_that_fit(text, |line| hang.len() + columns(line) <= width);
    format!("{first}{}", lines.join(&format!("\n{hang}")))
        .trim_end()
        .to_owned()
        + "\n"
}

/// `text` in `width` columns with both its ends, which tell labels apart more often than their
/// middle; the cut marked.
pub fn both_ends(text: &str, width: usize, cut_mark: char) -> String {
    let room = width.saturating_sub(1);
    let last = room / 2;
    if columns(text) <= width || columns(text) != text.chars().count() || last == 0 {
        return field(text, width, cut_mark);
    }
    let first: String = text.chars().take(room - last).collect();
    let skipped = text.chars().count() - last;
    let end: String = text.chars().skip(skipped).collect();
    format!("{first}{cut_mark}{end}")
}

/// `text` in exactly `width` columns: cut or padded.
pub fn field(text: &str, width: usize, cut_mark: char) -> String {
    let mut out = fit(text, width, cut_mark);
    let used = columns(&out);
    out.extend(std::iter::repeat_n(' ', width.saturating_sub(used)));
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paragraphs_hang() {
        assert_eq!(hanging("- ", "one two three", 9), "- one two\n  three\n");
        assert_eq!(
            hanging("- ", "incomprehensible it is", 9),
            "- incomprehensible\n  it is\n"
        );
        assert_eq!(hanging("x ", "", 9), "x\n");
    }

    #[test]
    fn sentences_are_broken_between_words_where_they_can_be() {
        assert_eq!(wrapped("one two  three", 7), ["one two", "three"]);
        assert_eq!(wrapped("abcdefgh ij", 3), ["abc", "def", "gh", "ij"]);
        assert_eq!(wrapped("日本語", 4), ["日本", "語"]);
        assert!(wrapped(" ", 7).is_empty());
    }

    #[test]
    fn labels_with_one_beginning_stay_apart() {
        assert_eq!(both_ends("workshop pedals", 9, '~'), "work~dals");
        assert_eq!(both_ends("workshop trainer", 9, '~'), "work~iner");
        assert_eq!(both_ends("crank", 9, '~'), "crank    ");
    }

    #[test]
    fn a_cut_is_marked_and_wide_characters_count_twice() {
        assert_eq!(fit("pedals", 6, '~'), "pedals");
        assert_eq!(fit("pedals left", 6, '~'), "pedal~");
        assert_eq!(field("日本語", 5, '~'), "日本~");
        assert_eq!(fit("x", 0, '~'), "");
    }
}
