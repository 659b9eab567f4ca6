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

/// "high" or "low".
pub fn side(value: f64) -> &'static str {
    if value < 0.0 { "low" } else { "high" }
}
