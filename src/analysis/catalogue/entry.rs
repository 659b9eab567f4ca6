//! What the catalogue says of one figure.

/// One figure, or one word of the vocabulary.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Entry {
    /// Path of the field in the JSON of `truing table`; for a word, the word.
    pub id: &'static str,
    /// What people call it; short enough for the head of a column.
    pub label: &'static str,
    /// Unit; empty for a number without one.
    pub unit: &'static str,
    /// Digits after the point when printed.
    pub decimals: usize,
    /// What it is.
    pub definition: &'static str,
    /// How it is computed; empty where nothing is.
    pub formula: &'static str,
    /// Where the formula comes from.
    pub source: &'static str,
    /// What it does not tell; empty where there is no trap.
    pub limits: &'static str,
}

/// A figure's entry in the order: id, label, unit, decimals, then definition, formula, source and
/// what it does not tell.
pub(super) const fn figure(
    id: &'static str,
    label: &'static str,
    unit: &'static str,
    decimals: usize,
    texts: [&'static str; 4],
) -> Entry {
    let [definition, formula, source, limits] = texts;
    Entry {
        id,
        label,
        unit,
        decimals,
        definition,
        formula,
        source,
        limits,
    }
}

/// A field that is stated, not computed: a label, a time, a sentence.
pub(super) const fn fact(
    id: &'static str,
    label: &'static str,
    unit: &'static str,
    text: &'static str,
) -> Entry {
    figure(id, label, unit, 0, [text, "", "as recorded or stated", ""])
}
