//! The figures of one group in one row, for people.

use serde_json::Value;

use super::cell::{is_interval, or_dash, shown};
use super::columns::Group;
use super::listing::head;
use super::rows::Row;
use crate::text::{Grid, Head};

/// The figures of one group in one row.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct View {
    /// Name and value (with its unit) of each figure that applies.
    pub scalars: Vec<(String, String)>,
    /// The repeated figures: a line a repetition (a step, a gear change, a stream).
    pub lists: Grid,
}

impl View {
    /// Adds a figure; an interval goes with the figure before it, which it is of.
    fn push(&mut self, label: String, value: String) {
        match self.scalars.last_mut() {
            Some((of, text)) if label == format!("{of}, 95 % CI") => {
                text.push_str(&format!(" (95 % CI {value})"));
            }
            _ => self.scalars.push((label, value)),
        }
    }
}

fn with_unit(value: &str, unit: &str) -> String {
    match unit {
        "" => value.to_owned(),
        unit => format!("{value} {unit}"),
    }
}

/// The figures of `group` in `row`.
pub fn view(row: &Row, group: &'static Group) -> View {
    let values = group.figures().into_iter();
    let values: Vec<_> = values.map(|figure| (figure, figure.value(row))).collect();
    let listed = values.iter().any(|(shown_as, value)| {
        let items = value
            .as_array()
            .filter(|_| !is_interval(shown_as.figure, value));
        items.is_some_and(|items| items.iter().any(|item| !item.is_string()))
    });
    let mut out = View::default();
    let mut columns: Vec<Vec<String>> = Vec::new();
    for (shown_as, value) in values {
        let figure = shown_as.figure;
        match &value {
            Value::Array(items) if listed && !is_interval(figure, &value) => {
                out.lists.heads.push(head(figure, &shown_as.label(), items));
                columns.push(items.iter().map(|item| or_dash(figure, item)).collect());
            }
            _ => {
                if let Some(text) = shown(figure, &value) {
                    out.push(shown_as.label(), with_unit(&text, figure.unit));
                }
            }
        }
    }
    let lines = columns.iter().map(Vec::len).max().unwrap_or(0);
    if lines > 0 {
        out.lists.heads.insert(0, Head::number("#", ""));
        columns.insert(0, (1..=lines).map(|line| line.to_string()).collect());
    } else {
        out.lists.heads.clear();
    }
    let cell = |column: &Vec<String>, line: usize| column.get(line).cloned().unwrap_or_default();
    let line = |line| columns.iter().map(|column| cell(column, line)).collect();
    out.lists.rows = (0..lines).map(line).collect();
    out
}
