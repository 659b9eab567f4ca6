//! Times and numbers as text, in widths that do not change while the values do.

use crate::recording::words::{h_mm_ss, reads_as_zero};

/// Time as `m:ss`, or `h:mm:ss` where `long`; a minus sign before zero.
pub fn time(t_s: f64, long: bool) -> String {
    if !t_s.is_finite() {
        return "-:--".to_owned();
    }
    let sign = if t_s.round() < 0.0 { "-" } else { "" };
    let whole = t_s.abs().round() as u64;
    if long {
        format!("{sign}{}", h_mm_ss(whole))
    } else {
        format!("{sign}{}:{:02}", whole / 60, whole % 60)
    }
}

/// A length of time: `m:ss` under an hour, `h:mm:ss` from there.
pub fn duration(length_s: f64) -> String {
    time(length_s, length_s >= 3600.0)
}

/// A number with its sign and one decimal, or a dash where there is none.
pub fn signed(value: Option<f64>, width: usize, decimals: usize) -> String {
    match value {
        Some(value) => without_signed_zero(value, |v| format!("{v:+width$.decimals$}")),
        None => format!("{:>width$}", "-"),
    }
}

/// A number as `write` writes it, but for a zero that would keep the sign of what was rounded.
fn without_signed_zero(value: f64, write: impl Fn(f64) -> String) -> String {
    let text = write(value);
    if value.is_sign_negative() && reads_as_zero(&text) {
        write(0.0)
    } else {
        text
    }
}

/// A number without a plus sign, or a dash where there is none.
pub fn plain(value: Option<f64>, width: usize, decimals: usize) -> String {
    match value {
        Some(value) => without_signed_zero(value, |v| format!("{v:>width$.decimals$}")),
        None => format!("{:>width$}", "-"),
    }
}

/// The time that `typed` means: `90`, `1:30`, `1:02:03`, with `+` or `-` before it relative to
/// `here_s`. `None` where it means none.
pub fn parse_time(typed: &str, here_s: f64) -> Option<f64> {
    let typed = typed.trim();
    let (base_s, sign, digits) = match typed.strip_prefix('+') {
        Some(rest) => (here_s, 1.0, rest),
        None => match typed.strip_prefix('-') {
            Some(rest) => (here_s, -1.0, rest),
            None => (0.0, 1.0, typed),
        },
    };
    let parts: Vec<&str> = digits.trim().split(':').collect();
    if parts.len() > 3 {
        return None;
    }
    let mut total_s = 0.0;
    for (place, part) in parts.iter().enumerate() {
        let last = place + 1 == parts.len();
        let allowed = |c: char| c.is_ascii_digit() || (last && c == '.');
        if part.is_empty() || !part.chars().all(allowed) {
            return None;
        }
        let value: f64 = part.parse().ok()?;
        if place > 0 && value >= 60.0 {
            return None;
        }
        total_s = total_s * 60.0 + value;
    }
    let t_s = base_s + sign * total_s;
    t_s.is_finite().then_some(t_s)
}

/// Whether each character of `text` is one column wide and stands by itself, whatever is next to
/// it: the printable ones of ASCII.
pub fn is_plain(text: &str) -> bool {
    text.bytes().all(|byte| matches!(byte, b' '..=b'~'))
}

/// Columns that `text` takes on the screen.
pub fn columns(text: &str) -> usize {
    use unicode_width::UnicodeWidthStr as _;
    if is_plain(text) {
        text.len()
    } else {
        text.width()
    }
}

/// `text` cut to `width` columns, the cut marked.
pub fn fit(text: &str, width: usize, cut_mark: char) -> String {
    use unicode_width::UnicodeWidthChar as _;
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

/// `text` broken into lines of at most `width` columns between its words; a word that is wider is
/// broken where it must be. None of an empty text.
pub fn wrapped(text: &str, width: usize) -> Vec<String> {
    use unicode_width::UnicodeWidthChar as _;
    let width = width.max(1);
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if columns(line) + 1 + columns(word) <= width => {
                line.push(' ');
                line.push_str(word);
                continue;
            }
            _ => lines.push(String::new()),
        }
        for c in word.chars() {
            let full = |line: &String| columns(line) + c.width().unwrap_or(0) > width;
            if lines
                .last()
                .is_some_and(|line| !line.is_empty() && full(line))
            {
                lines.push(String::new());
            }
            if let Some(line) = lines.last_mut() {
                line.push(c);
            }
        }
    }
    lines
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
    fn times_read_as_a_clock_does() {
        assert_eq!(time(0.0, false), "0:00");
        assert_eq!(time(61.4, false), "1:01");
        assert_eq!(time(3661.0, true), "1:01:01");
        assert_eq!(time(3661.0, false), "61:01");
        assert_eq!(time(-5.0, true), "-0:00:05");
        assert_eq!(duration(59.6), "1:00");
    }

    #[test]
    fn typed_times_are_understood_or_refused() {
        assert_eq!(parse_time("90", 0.0), Some(90.0));
        assert_eq!(parse_time("1:30", 0.0), Some(90.0));
        assert_eq!(parse_time(" 1:02:03.5 ", 0.0), Some(3723.5));
        assert_eq!(parse_time("+0:30", 100.0), Some(130.0));
        assert_eq!(parse_time("-30", 100.0), Some(70.0));
        for bad in [
            "", "1:", ":30", "1:75", "1:2:3:4", "ten", "1.5:00", "1e9", "--1",
        ] {
            assert_eq!(parse_time(bad, 0.0), None, "{bad}");
        }
    }

    #[test]
    fn numbers_keep_their_width() {
        assert_eq!(signed(Some(3.25), 7, 1), "   +3.2");
        assert_eq!(signed(Some(-0.01), 7, 1), "   +0.0");
        assert_eq!(signed(Some(-0.5), 4, 0), "  +0");
        assert_eq!(signed(Some(-0.05), 5, 1), " -0.1");
        assert_eq!(plain(Some(-0.5), 4, 0), "   0");
        assert_eq!(signed(None, 5, 1), "    -");
        assert_eq!(plain(Some(-0.2), 4, 0), "   0");
        assert_eq!(plain(Some(251.4), 5, 0), "  251");
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
