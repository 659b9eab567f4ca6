//! Counts, spans and moments as words, for messages.

/// `n` in groups of three digits: `148 021`.
pub(crate) fn grouped(n: u64) -> String {
    let digits = n.to_string();
    let mut text = String::with_capacity(digits.len() + digits.len() / 3);
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place).is_multiple_of(3) {
            text.push(' ');
        }
        text.push(digit);
    }
    text
}

/// A count with its noun: `1 record`, `4 812 records`.
pub(crate) fn plural(n: usize, noun: &str) -> String {
    let ending = if n == 1 { "" } else { "s" };
    format!("{} {noun}{ending}", grouped(n as u64))
}

/// Digits after the point that a machine gets at most: a microwatt is below every meter's
/// resolution.
const MACHINE_DECIMALS: usize = 6;

/// `value` for a machine: a plain decimal number rounded to at most six decimals, without
/// thousands separators or exponent.
pub(crate) fn machine_number(value: f64) -> String {
    let text = format!("{value:.MACHINE_DECIMALS$}");
    let short = text.trim_end_matches('0').trim_end_matches('.');
    if short == "-0" { "0" } else { short }.to_owned()
}

/// Whole seconds as `h:mm:ss`.
pub(crate) fn h_mm_ss(whole_s: u64) -> String {
    let (hours, minutes, seconds) = (whole_s / 3600, whole_s / 60 % 60, whole_s % 60);
    format!("{hours}:{minutes:02}:{seconds:02}")
}

/// Whether a number, as written, is zero: such a one has no sign, whatever it was rounded from.
pub(crate) fn reads_as_zero(number: &str) -> bool {
    !number.bytes().any(|byte| (b'1'..=b'9').contains(&byte))
}

/// Bytes as lower-case hexadecimal.
pub(crate) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// A span in the unit that reads best: `40 s`, `3 min`, `2.5 h`, `12 days`.
pub(crate) fn span(seconds: f64) -> String {
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
    fn a_machine_gets_plain_numbers() {
        for (value, text) in [
            (250.0, "250"),
            (1_234_567.5, "1234567.5"),
            (-0.123_456_789, "-0.123457"),
            (-1e-9, "0"),
            (1e-6, "0.000001"),
            (100.0, "100"),
            (1e15, "1000000000000000"),
        ] {
            assert_eq!(machine_number(value), text);
        }
    }
}
