//! Counts, spans, moments and enumerated values as words.

use serde::Serialize;

/// `n` in groups of three digits: `148 021`.
pub fn grouped(n: u64) -> String {
    let digits = n.to_string();
    let mut text = String::with_capacity(digits.len() + digits.len() / 3);
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            text.push(' ');
        }
        text.push(digit);
    }
    text
}

/// With a capital letter in front.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string());
    first.unwrap_or_default() + letters.as_str()
}

/// A count with its noun: `1 record`, `4 812 records`.
pub fn plural(n: usize, noun: &str) -> String {
    let ending = if n == 1 { "" } else { "s" };
    format!("{} {noun}{ending}", grouped(n as u64))
}

/// Whole seconds as `h:mm:ss`.
pub fn h_mm_ss(whole_s: u64) -> String {
    let (hours, minutes, seconds) = (whole_s / 3600, whole_s / 60 % 60, whole_s % 60);
    format!("{hours}:{minutes:02}:{seconds:02}")
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

/// Bytes as lower-case hexadecimal.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// A span in the unit that reads best: `40 s`, `3 min`, `2.5 h`, `12 days`.
pub fn span(seconds: f64) -> String {
    let seconds = seconds.abs();
    if seconds < 10.0 && seconds.fract() > 0.05 {
        format!("{seconds:.1} s")
    } else if seconds < 90.0 {
        format!("{seconds:.0} s")
    } else if seconds < 5400.0 {
        format!("{:.0} min", seconds / 60.0)
    } else if seconds < 172_800.0 {
        format!("{:.1} h", seconds / 3600.0)
    } else {
        format!("{} days", grouped((seconds / 86_400.0).round() as u64))
    }
}

/// "a, b and c".
pub fn listed<S: AsRef<str>>(parts: &[S]) -> String {
    let before = |parts: &[S]| {
        parts
            .iter()
            .map(AsRef::as_ref)
            .collect::<Vec<_>>()
            .join(", ")
    };
    match parts {
        [] => String::new(),
        [one] => one.as_ref().to_owned(),
        [first @ .., last] => format!("{} and {}", before(first), last.as_ref()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_and_spans_read_well() {
        assert_eq!(grouped(7), "7");
        assert_eq!(grouped(148_021), "148 021");
        assert_eq!(plural(1, "record"), "1 record");
        assert_eq!(plural(4812, "record"), "4 812 records");
        assert_eq!(span(0.25), "0.2 s");
        assert_eq!(span(40.0), "40 s");
        assert_eq!(span(180.0), "3 min");
        assert_eq!(span(9000.0), "2.5 h");
        assert_eq!(span(31_536_000.0 * 4.0), "1 460 days");
    }

    #[test]
    fn times_of_the_ride() {
        assert_eq!(clock_time(0.0), "0:00:00");
        assert_eq!(clock_time(3725.0), "1:02:05");
        assert_eq!(clock_time(59.96), "0:01:00");
        assert_eq!(clock_time(-1.5), "-0:00:01.5");
    }
}
