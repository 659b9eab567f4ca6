//! Pieces of the sentences.

/// A limit without needless decimals.
pub fn plain(value: f64) -> String {
    format!("{}", (100.0 * value).round() / 100.0)
}

/// "high" or "low".
pub fn side(value: f64) -> &'static str {
    if value < 0.0 { "low" } else { "high" }
}
