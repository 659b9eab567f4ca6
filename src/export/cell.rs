//! Single values as text: numbers as a machine or a person reads them, and text from recordings
//! made harmless.

use serde::Serialize;

use crate::recording::clean_text;
use crate::recording::words::{h_mm_ss, reads_as_zero};

/// `value` for a person, with a fixed number of decimals; `signed` puts a plus before what is
/// greater than zero.
pub fn human_number(value: f64, decimals: u8, signed: bool) -> String {
    let text = format!("{value:.*}", usize::from(decimals));
    match (reads_as_zero(&text), signed && value > 0.0) {
        (true, _) => text.trim_start_matches('-').to_owned(),
        (false, true) => format!("+{text}"),
        (false, false) => text,
    }
}

/// A moment of the ride as `h:mm:ss`, with tenths where it is between seconds.
pub fn clock_time(seconds: f64) -> String {
    let tenths = (seconds.abs() * 10.0).round() as u64;
    let sign = if seconds < 0.0 && tenths > 0 { "-" } else { "" };
    let (whole, tenth) = (tenths / 10, tenths % 10);
    let fraction = if tenth == 0 {
        String::new()
    } else {
        format!(".{tenth}")
    };
    format!("{sign}{}{fraction}", h_mm_ss(whole))
}

/// The word that stands for an enumerated value in JSON.
pub fn word_of(value: &impl Serialize) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => word,
        _ => String::new(),
    }
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
    fn a_person_gets_signs_but_none_on_zero() {
        assert_eq!(human_number(1.26, 1, true), "+1.3");
        assert_eq!(human_number(-1.24, 1, true), "-1.2");
        assert_eq!(human_number(-0.04, 1, true), "0.0");
        assert_eq!(human_number(0.04, 1, true), "0.0");
        assert_eq!(human_number(250.4, 0, false), "250");
    }

    #[test]
    fn times_of_the_ride() {
        assert_eq!(clock_time(0.0), "0:00:00");
        assert_eq!(clock_time(3725.0), "1:02:05");
        assert_eq!(clock_time(59.96), "0:01:00");
        assert_eq!(clock_time(-1.5), "-0:00:01.5");
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
