//! Times and numbers as text, in widths that do not change while the values do.

use crate::text::{h_mm_ss, number};

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

/// A number with a plus or a minus, or a dash where there is none.
pub fn signed(value: Option<f64>, width: usize, decimals: usize) -> String {
    in_width(value, width, decimals, true)
}

/// A number without a plus sign, or a dash where there is none.
pub fn plain(value: Option<f64>, width: usize, decimals: usize) -> String {
    in_width(value, width, decimals, false)
}

fn in_width(value: Option<f64>, width: usize, decimals: usize, signed: bool) -> String {
    let text = value.map_or_else(|| "-".to_owned(), |value| number(value, decimals, signed));
    format!("{text:>width$}")
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
    for (index, part) in parts.iter().enumerate() {
        let last = index + 1 == parts.len();
        let allowed = |c: char| c.is_ascii_digit() || (last && c == '.');
        if part.is_empty() || !part.chars().all(allowed) {
            return None;
        }
        let value: f64 = part.parse().ok()?;
        if index > 0 && value >= 60.0 {
            return None;
        }
        total_s = total_s * 60.0 + value;
    }
    let t_s = base_s + sign * total_s;
    t_s.is_finite().then_some(t_s)
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
        assert_eq!(signed(Some(-0.01), 7, 1), "    0.0");
        assert_eq!(signed(Some(-0.5), 4, 0), "   0");
        assert_eq!(signed(Some(-0.05), 5, 1), " -0.1");
        assert_eq!(plain(Some(-0.5), 4, 0), "   0");
        assert_eq!(signed(None, 5, 1), "    -");
        assert_eq!(plain(Some(-0.2), 4, 0), "   0");
        assert_eq!(plain(Some(251.4), 5, 0), "  251");
    }
}
