//! `cargo bench --bench NAME -- PART` runs that part alone; without a name all of them.

/// Whether `part` is to run.
pub fn is_wanted(part: &str) -> bool {
    let mut words = std::env::args()
        .skip(1)
        .filter(|word| !word.starts_with('-'));
    let first = words.next();
    first.is_none_or(|first| first == part || words.any(|word| word == part))
}
