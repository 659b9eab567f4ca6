//! Which figures stand in the flat tables: in groups, and in CSV by columns.

use std::sync::LazyLock;

use serde_json::Value;

use super::cell::{is_interval, machine};
use super::rows::Row;
use crate::analysis::catalogue;
use crate::analysis::figure::Figure;
use crate::analysis::kinds;

/// Figures that stand together.
#[derive(Debug, PartialEq, Eq)]
pub struct Group {
    /// Heading.
    pub title: &'static str,
    /// Whether its figures are those of a stream pair; else they are the segment's, the same in
    /// each of its rows.
    pub of_pair: bool,
    parts: Vec<Part>,
}

/// Figures that stand at one place of the JSON.
#[derive(Debug, PartialEq, Eq)]
struct Part {
    /// The place, by the path that the ids begin with.
    root: &'static str,
    /// Where a row has it, if not there.
    at: &'static str,
    /// The fields meant, where not all are.
    fields: &'static [&'static str],
    /// What the names of columns begin with.
    csv: &'static str,
    /// What the labels begin with.
    head: &'static str,
}

fn part(root: &'static str, csv: &'static str) -> Part {
    Part {
        root,
        at: root,
        fields: &[],
        csv,
        head: "",
    }
}

fn fields(root: &'static str, fields: &'static [&'static str]) -> Part {
    Part {
        fields,
        ..part(root, "")
    }
}

fn stream(at: &'static str, csv: &'static str, head: &'static str) -> Part {
    Part {
        at,
        head,
        ..part("segments.streams", csv)
    }
}

fn of_pair(title: &'static str, parts: Vec<Part>) -> Group {
    Group {
        title,
        of_pair: true,
        parts,
    }
}

fn of_segment(title: &'static str, root: &'static str, csv: &'static str) -> Group {
    Group {
        title,
        of_pair: false,
        parts: vec![part(root, csv)],
    }
}

/// Every group, in the order of the CSV, a promise. New figures go to the end of their slice.
pub static GROUPS: LazyLock<Vec<Group>> = LazyLock::new(|| {
    let row = vec![
        fields("session", &["title"]),
        fields(
            "segments",
            &["id", "kind", "from_s", "to_s", "set_point_w", "note"],
        ),
        fields("segments.agreement", &["under_test", "reference"]),
    ];
    let agreement = vec![
        part("segments.agreement", ""),
        part("segments.agreement.ratio", "ratio_"),
    ];
    let power = vec![
        stream("under_test", "under_test_", "under test "),
        stream("reference", "reference_", "reference "),
    ];
    let mut groups = vec![
        of_pair("Row", row),
        of_pair("Agreement", agreement),
        of_pair("Power of the pair", power),
        of_segment("References", "segments.references", "references_"),
        of_segment("Verdict", "segments.verdict", "verdict_"),
        of_segment("Noise of each stream", "segments.noise", "noise_"),
    ];
    let of_kinds = kinds::ALL.iter();
    groups.extend(of_kinds.map(|kind| of_segment(kind.title, kind.root, kind.csv)));
    groups.push(of_pair(
        "Cadence",
        vec![part("segments.cadence", "cadence_")],
    ));
    groups
});

/// Lists whose name is another, or none, in the names of columns.
const LISTS: [(&str, &str); 6] = [
    ("steps.", "step_"),
    ("plateaus.", "plateau_"),
    ("bands.", "band_"),
    ("changes.", ""),
    ("peaks.", ""),
    ("streams.", ""),
];

/// A figure in a group.
#[derive(Clone, Copy, Debug)]
pub struct Shown {
    /// The figure.
    pub figure: &'static Figure,
    part: &'static Part,
}

impl Shown {
    /// What people call it here.
    pub fn label(&self) -> String {
        format!("{}{}", self.part.head, self.figure.label)
    }

    /// Path below the place of its part.
    fn path(&self) -> &'static str {
        let rest = self.figure.id.strip_prefix(self.part.root);
        rest.map_or("", |rest| rest.trim_start_matches('.'))
    }

    /// Its value in a row; a list where it stands in one.
    pub fn value(&self, row: &Row) -> Value {
        row.at(&format!("{}.{}", self.part.at, self.path()))
    }

    /// Name in CSV of the figure as a whole; `None` where it has no column.
    fn name(&self) -> Option<String> {
        if let Some(name) = self.figure.csv {
            return Some(name.to_owned()).filter(|name| !name.is_empty());
        }
        let path = self.path();
        let named =
            |(list, word): &(&str, &str)| Some(format!("{word}{}", path.strip_prefix(list)?));
        let path = LISTS.iter().find_map(named);
        let path = path.unwrap_or_else(|| self.path().replace('.', "_"));
        Some(format!("{}{path}", self.part.csv))
    }
}

impl Group {
    /// The groups that people see beside a row's name, the verdict first.
    pub fn for_people() -> impl Iterator<Item = &'static Group> {
        let named = |group: &&Group| group.title == "Verdict";
        let verdict = GROUPS.iter().filter(named);
        let others = GROUPS.iter().skip(1).filter(move |group| !named(group));
        verdict.chain(others)
    }

    /// Its figures, in order.
    pub fn figures(&'static self) -> Vec<Shown> {
        let all = self.parts.iter().flat_map(|part| {
            let shown = |figure| Shown { figure, part };
            let is_own = |shown: &Shown| {
                let under = shown.figure.id.strip_prefix(part.root);
                let field = shown.path();
                let elsewhere = |other: &Part| {
                    other.root.len() > part.root.len() && shown.figure.id.starts_with(other.root)
                };
                under.is_some_and(|rest| rest.starts_with('.'))
                    && shown.name().is_some()
                    && match part.fields {
                        [] => !self.parts.iter().any(elsewhere) && !is_of_row(shown.figure),
                        wanted => wanted.contains(&field),
                    }
            };
            catalogue::figures()
                .map(shown)
                .filter(is_own)
                .collect::<Vec<_>>()
        });
        all.collect()
    }
}

/// Whether a figure tells which row it is: such stand once, before all others.
fn is_of_row(figure: &Figure) -> bool {
    let of_row = GROUPS[0].parts.iter();
    let mut ids = of_row.flat_map(|part| part.fields.iter().map(move |field| (part.root, *field)));
    ids.any(|(root, field)| figure.id.strip_prefix(root) == Some(&format!(".{field}")))
}

/// One column of the CSV.
#[derive(Clone, Debug)]
pub struct Column {
    /// Its name, which ends in the unit.
    pub name: String,
    /// The figure in it.
    pub shown: Shown,
    /// What it is about.
    pub group: &'static Group,
    /// Which end of the interval, where the figure is one.
    end: Option<usize>,
}

/// Every column of the CSV, in order; names are a promise.
pub static COLUMNS: LazyLock<Vec<Column>> = LazyLock::new(|| {
    let of = |group: &'static Group| {
        group
            .figures()
            .into_iter()
            .flat_map(move |shown| columns(group, shown))
    };
    GROUPS.iter().flat_map(of).collect()
});

/// The column of a figure, or the two of an interval.
fn columns(group: &'static Group, shown: Shown) -> Vec<Column> {
    let name = shown.name().unwrap_or_default();
    let column = |name, end| Column {
        name,
        shown,
        group,
        end,
    };
    let ends = ["ci95", "loa95"].into_iter().find_map(|word| {
        let at = name.rfind(word).filter(|_| shown.figure.is_interval())?;
        Some(name.split_at(at + word.len()))
    });
    let Some((before, after)) = ends else {
        return vec![column(name, None)];
    };
    let ends = ["lower", "upper"].into_iter().enumerate();
    ends.map(|(end, word)| column(format!("{before}_{word}{after}"), Some(end)))
        .collect()
}

impl Column {
    /// The value for a machine; empty where it does not apply. Lists are joined by `; `.
    pub(super) fn machine(&self, row: &Row) -> String {
        let value = self.shown.value(row);
        match self.end {
            Some(end) => machine(&self.end_of(&value, end)),
            None => machine(&value),
        }
    }

    /// What it holds, in a sentence.
    pub(super) fn meaning(&self) -> String {
        let end = self
            .end
            .map_or("", |end| ["Lower end: ", "Upper end: "][end.min(1)]);
        format!("{end}{}", self.shown.figure.definition)
    }

    /// One end of an interval, or of each in a list.
    fn end_of(&self, value: &Value, end: usize) -> Value {
        match value {
            Value::Array(items) if !is_interval(self.shown.figure, value) => {
                items.iter().map(|item| self.end_of(item, end)).collect()
            }
            _ => value.get(end).cloned().unwrap_or_default(),
        }
    }
}
