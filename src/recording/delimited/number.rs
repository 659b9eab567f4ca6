//! Numbers in cells.

use crate::text::clean_text;

/// Powers of ten that `f64` holds exactly.
const TENS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

/// What a cell holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Cell {
    /// A finite number.
    Number(f64),
    /// Nothing, or one of the usual marks for it.
    Missing,
    /// Anything else.
    Text,
}

/// Reads `cell`, whose decimal mark is `mark`. The number is the one nearest to what is written.
pub(super) fn cell(cell: &[u8], mark: u8) -> Cell {
    match plain(cell, mark) {
        Some(number) => Cell::Number(number),
        None => unusual(cell.trim_ascii(), mark),
    }
}

/// Digits with at most one decimal mark, few enough to be exact: both the digits as an integer
/// below 2^53 and the power of ten are exact then, so their quotient is correctly rounded.
fn plain(cell: &[u8], mark: u8) -> Option<f64> {
    const DIGITS: usize = 15;
    let (negative, digits) = match cell.split_first()? {
        (b'-', rest) => (true, rest),
        _ => (false, cell),
    };
    if digits.is_empty() || digits.len() > DIGITS + 1 {
        return None;
    }
    let mut whole: u64 = 0;
    let mut decimals: Option<usize> = None;
    for byte in digits {
        match byte {
            b'0'..=b'9' => {
                whole = whole * 10 + u64::from(byte - b'0');
                if let Some(count) = &mut decimals {
                    *count += 1;
                }
            }
            _ if *byte == mark && decimals.is_none() => decimals = Some(0),
            _ => return None,
        }
    }
    if digits.len() > DIGITS && decimals.is_none() || digits.len() == 1 && decimals.is_some() {
        return None;
    }
    let number = whole as f64 / TENS.get(decimals.unwrap_or(0))?;
    Some(if negative { -number } else { number })
}

/// What `cell` holds, its thousands grouped or not.
pub(super) fn value_of(text: &[u8], mark: u8) -> Option<f64> {
    match cell(text, mark) {
        Cell::Number(number) => Some(number),
        Cell::Text => grouped(text, mark),
        Cell::Missing => None,
    }
}

/// What stands between thousands, besides the mark that is no decimal mark.
const BETWEEN_THOUSANDS: [&str; 6] = [" ", "\u{A0}", "\u{202F}", "\u{2009}", "'", "’"];

/// A number whose thousands are grouped: one to three digits, then groups of three with the same
/// mark before each, then perhaps decimals.
pub(super) fn grouped(cell: &[u8], mark: u8) -> Option<f64> {
    let text = std::str::from_utf8(cell.trim_ascii()).ok()?;
    let (whole, decimals) = match text.rsplit_once(char::from(mark)) {
        Some((whole, decimals)) => (whole, decimals),
        None => (text, ""),
    };
    let digits = whole.strip_prefix(['-', '+']).unwrap_or(whole);
    let other = if mark == b',' { "." } else { "," };
    let between = BETWEEN_THOUSANDS.into_iter().chain([other]);
    let by = between.into_iter().find(|by| digits.contains(by))?;
    let mut groups = digits.split(by);
    let all_digits = |group: &str| group.bytes().all(|byte| byte.is_ascii_digit());
    let first = groups.next()?;
    let is_first = (1..=3).contains(&first.len()) && all_digits(first);
    let are_groups = groups.all(|group| group.len() == 3 && all_digits(group));
    if !(is_first && are_groups && all_digits(decimals)) {
        return None;
    }
    let plain = format!("{}.{decimals}", whole.replace(by, ""));
    plain.trim_end_matches('.').parse().ok()
}

fn unusual(cell: &[u8], mark: u8) -> Cell {
    if is_missing(cell) {
        return Cell::Missing;
    }
    let Ok(text) = std::str::from_utf8(cell) else {
        return Cell::Text;
    };
    // `f64` would also read "inf" and "infinity".
    if text.contains(|c: char| c.is_alphabetic() && !matches!(c, 'e' | 'E')) {
        return Cell::Text;
    }
    let number = if mark == b'.' {
        text.parse::<f64>()
    } else if text.contains('.') {
        return Cell::Text;
    } else {
        text.replace(char::from(mark), ".").parse::<f64>()
    };
    match number {
        Ok(number) if number.is_finite() => Cell::Number(number),
        _ => Cell::Text,
    }
}

/// Whether `cell`, without blanks around it, stands for a missing value.
pub(super) fn is_missing(cell: &[u8]) -> bool {
    const MARKS: [&[u8]; 12] = [
        b"", b"-", b"--", b"---", b"NA", b"N/A", b"#N/A", b"n.a.", b"NaN", b"null", b"none",
        b"missing",
    ];
    MARKS.iter().any(|mark| mark.eq_ignore_ascii_case(cell))
}

/// A cell for a message: cleaned and not too long.
pub(super) fn shown(cell: &[u8]) -> String {
    const LONGEST: usize = 40;
    let text = clean_text(&String::from_utf8_lossy(cell));
    match text.char_indices().nth(LONGEST) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn usual_spellings() {
        for (text, mark, expected) in [
            ("250", b'.', Cell::Number(250.0)),
            ("-0.5", b'.', Cell::Number(-0.5)),
            (" 12.25 ", b'.', Cell::Number(12.25)),
            ("12,25", b',', Cell::Number(12.25)),
            ("+7", b'.', Cell::Number(7.0)),
            ("1e3", b'.', Cell::Number(1000.0)),
            ("1700000000123.5", b'.', Cell::Number(1_700_000_000_123.5)),
            (
                "123456789012345678",
                b'.',
                Cell::Number(123_456_789_012_345_680.0),
            ),
            ("", b'.', Cell::Missing),
            ("--", b'.', Cell::Missing),
            ("na", b'.', Cell::Missing),
            ("NaN", b'.', Cell::Missing),
            ("inf", b'.', Cell::Text),
            ("1e999", b'.', Cell::Text),
            ("1,234", b'.', Cell::Text),
            ("1.234,5", b',', Cell::Text),
            ("12W", b'.', Cell::Text),
            (".", b'.', Cell::Text),
            ("1.2.3", b'.', Cell::Text),
        ] {
            assert_eq!(cell(text.as_bytes(), mark), expected, "{text:?}");
        }
    }

    #[test]
    fn thousands_are_grouped_in_one_way_or_not_at_all() {
        for (text, mark, expected) in [
            ("1.234,5", b',', Some(1234.5)),
            ("-1,234.5", b'.', Some(-1234.5)),
            ("1,234", b'.', Some(1234.0)),
            ("1 234 567", b',', Some(1_234_567.0)),
            ("1\u{202F}234,25", b',', Some(1234.25)),
            ("1'234.5", b'.', Some(1234.5)),
            ("12,34", b'.', None),
            ("1,2345", b'.', None),
            ("1,234 567", b'.', None),
            (",234", b'.', None),
            ("1.234.5", b'.', None),
            ("abc", b'.', None),
            ("1,234.5e3", b'.', None),
        ] {
            assert_eq!(grouped(text.as_bytes(), mark), expected, "{text:?}");
        }
    }

    proptest! {
        /// Against the standard library's correctly rounded reading.
        #[test]
        fn numbers_are_read_as_written(text in "-?[0-9]{1,17}(\\.[0-9]{0,12})?") {
            let expected: f64 = text.parse().unwrap();
            prop_assert_eq!(cell(text.as_bytes(), b'.'), Cell::Number(expected));
            let comma = text.replace('.', ",");
            prop_assert_eq!(cell(comma.as_bytes(), b','), Cell::Number(expected));
        }
    }
}
