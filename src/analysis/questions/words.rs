//! Pieces of the sentences.

/// With sign, one decimal; what rounds to nought has a plus.
pub fn signed(value: f64) -> String {
    let rounded = (10.0 * value).round() / 10.0;
    format!("{:+.1}", if rounded == 0.0 { 0.0 } else { value })
}

/// A limit without needless decimals.
pub fn plain(value: f64) -> String {
    format!("{}", (100.0 * value).round() / 100.0)
}

/// "a, b and c".
pub fn listed(parts: &[String]) -> String {
    match parts {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// Minutes and seconds, with hours where there are any.
pub fn clock(seconds: f64) -> String {
    let whole = seconds.max(0.0) as u64;
    let (hours, minutes, seconds) = (whole / 3600, whole / 60 % 60, whole % 60);
    if hours > 0 {
        format!("{hours}:{minutes:02}:{seconds:02}")
    } else {
        format!("{minutes}:{seconds:02}")
    }
}

/// "high" or "low".
pub fn side(value: f64) -> &'static str {
    if value < 0.0 { "low" } else { "high" }
}
