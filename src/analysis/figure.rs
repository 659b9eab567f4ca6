//! What is to be known of one figure, told once: beside the function that computes it.

use crate::text::number;

/// Source of what is this program's own rule.
pub const OURS: &str = "this program's convention";

/// Source of what the trade does without one to cite.
pub const TRADE: &str = "common practice, no source";

/// One figure: where it stands in the JSON, how it is printed, what it means. Heads of tables, the
/// columns of the CSV, the panel, the method section of the report and `truing explain` read it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Figure {
    /// Path of the field in the JSON of `truing table`, lists left out; for a word of the
    /// vocabulary, the word.
    pub id: &'static str,
    /// What people call it.
    pub label: &'static str,
    /// The same where room is scarce; empty where the label is short enough.
    pub short: &'static str,
    /// Unit; empty for a number without one.
    pub unit: &'static str,
    /// Digits after the point when printed.
    pub decimals: usize,
    /// Whether a plus belongs before a value greater than zero.
    pub signed: bool,
    /// What it is.
    pub definition: &'static str,
    /// How it is computed; empty where nothing is.
    pub formula: &'static str,
    /// Where the formula comes from.
    pub source: &'static str,
    /// What it does not tell; empty where there is no trap.
    pub caveat: &'static str,
    /// Name of its column in CSV where the path does not give it; empty where it has no column.
    pub csv: Option<&'static str>,
}

impl Figure {
    /// What is stated, not computed, to begin with: text without unit, formula and trap.
    pub const PLAIN: Self = Self {
        id: "",
        label: "",
        short: "",
        unit: "",
        decimals: 0,
        signed: false,
        definition: "",
        formula: "",
        source: "as recorded or stated",
        caveat: "",
        csv: None,
    };

    /// The label, or the short one where there is one.
    pub const fn short(&self) -> &'static str {
        if self.short.is_empty() {
            self.label
        } else {
            self.short
        }
    }

    /// Name of the field: the last part of its path.
    pub fn field(&self) -> &'static str {
        self.id.rsplit('.').next().unwrap_or(self.id)
    }

    /// Whether its value is the two ends of an interval.
    pub fn is_interval(&self) -> bool {
        let field = self.field();
        field.contains("ci95") || field.contains("loa95")
    }

    /// `value` with its decimals and sign, without the unit.
    pub fn print(&self, value: f64) -> String {
        number(value, self.decimals, self.signed)
    }
}
