//! Numbers as a person or a machine reads them.

use std::fmt::Write as _;

/// Stands where a figure does not apply.
pub const NOTHING: &str = "—";

/// `value` for a person, with a fixed number of decimals; `signed` puts a plus before what is
/// greater than zero. What reads as zero has no sign.
pub fn number(value: f64, decimals: usize, signed: bool) -> String {
    let text = format!("{value:.decimals$}");
    match (reads_as_zero(&text), signed && value > 0.0) {
        (true, _) => text.trim_start_matches('-').to_owned(),
        (false, true) => format!("+{text}"),
        (false, false) => text,
    }
}

/// [`number`], or a dash where there is none.
pub fn optional(value: Option<f64>, decimals: usize, signed: bool) -> String {
    value.map_or_else(|| NOTHING.to_owned(), |v| number(v, decimals, signed))
}

/// Both ends of an interval, `low to high`, or a dash where there is none.
pub fn interval(ends: Option<[f64; 2]>, decimals: usize, signed: bool) -> String {
    let text = |[low, high]: [f64; 2]| {
        let end = |value| number(value, decimals, signed);
        format!("{} to {}", end(low), end(high))
    };
    ends.map_or_else(|| NOTHING.to_owned(), text)
}

/// Digits after the point that a machine gets at most: a microwatt is below every meter's
/// resolution.
const MACHINE_DECIMALS: usize = 6;

/// `value` for a machine: a plain decimal number rounded to at most six decimals, without
/// thousands separators or exponent.
pub fn machine_number(value: f64) -> String {
    let text = format!("{value:.MACHINE_DECIMALS$}");
    let short = text.trim_end_matches('0').trim_end_matches('.');
    if short == "-0" { "0" } else { short }.to_owned()
}

/// Puts [`machine_number`] at the end of `out`: quicker for whole numbers, which most samples are.
pub fn push_machine_number(out: &mut String, value: f64) {
    const WHOLE_BELOW: f64 = 1e15;
    if value.fract() == 0.0 && value.abs() < WHOLE_BELOW {
        // Writing to a String cannot fail.
        let _ = write!(out, "{}", value as i64);
    } else {
        out.push_str(&machine_number(value));
    }
}

/// Whether a number, as written, is zero: such a one has no sign, whatever it was rounded from.
pub fn reads_as_zero(number: &str) -> bool {
    !number.bytes().any(|byte| (b'1'..=b'9').contains(&byte))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_person_gets_signs_but_none_on_zero() {
        assert_eq!(number(1.26, 1, true), "+1.3");
        assert_eq!(number(-1.24, 1, true), "-1.2");
        assert_eq!(number(-0.04, 1, true), "0.0");
        assert_eq!(number(0.04, 1, true), "0.0");
        assert_eq!(number(250.4, 0, false), "250");
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
