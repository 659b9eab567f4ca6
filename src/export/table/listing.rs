//! Tables of figures: a row an entry of a list of the JSON, a column a figure.

use serde::Serialize;
use serde_json::Value;

use super::cell::or_dash;
use super::rows::{as_json, at};
use crate::analysis::catalogue;
use crate::analysis::figure::Figure;
use crate::text::{Edge, Grid, Head};

/// What tables show of each stream's power.
pub(crate) const MEANS: [&str; 7] = [
    "label",
    "n",
    "mean_w",
    "sd_w",
    "max_w",
    "best_5s_w",
    "cadence_mean_rpm",
];

/// What tables show of each stream.
pub(super) const STREAMS: [&str; 7] = [
    "label",
    "role",
    "site",
    "offset_s",
    "skew_ppm",
    "samples",
    "median_interval_s",
];

/// How much room the heads have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Room {
    /// That of a terminal: short labels.
    Narrow,
    /// That of a page: labels in full.
    Wide,
}

/// A table that grows by columns.
pub(crate) struct Listing {
    entries: Vec<Value>,
    room: Room,
    grid: Grid,
}

impl Listing {
    /// A row an entry, no column yet.
    pub(crate) fn of<'a, T: Serialize + 'a>(
        entries: impl IntoIterator<Item = &'a T>,
        room: Room,
    ) -> Self {
        let entries: Vec<Value> = entries.into_iter().map(|entry| as_json(entry)).collect();
        let grid = Grid::of([], vec![Vec::new(); entries.len()]);
        Self {
            entries,
            room,
            grid,
        }
    }

    /// Columns for `fields`, by their path below `root`, where the entries stand in the JSON.
    pub(crate) fn figures(mut self, root: &str, fields: &[&str]) -> Self {
        for field in fields {
            let Some(figure) = catalogue::figure(&format!("{root}.{field}")) else {
                continue;
            };
            let path: Vec<&str> = field.split('.').collect();
            let values: Vec<Value> = self.entries.iter().map(|entry| at(entry, &path)).collect();
            let label = match self.room {
                Room::Narrow => figure.short(),
                Room::Wide => figure.label,
            };
            let cells = values.iter().map(|value| or_dash(figure, value)).collect();
            self = self.own(head(figure, label, &values), cells);
        }
        self
    }

    /// A column that is no figure.
    pub(crate) fn own(mut self, head: Head, cells: Vec<String>) -> Self {
        self.grid.heads.push(head);
        for (row, cell) in self.grid.rows.iter_mut().zip(cells) {
            row.push(cell);
        }
        self
    }

    /// The table.
    pub(crate) fn grid(self) -> Grid {
        self.grid
    }
}

/// The head of a column of `values` of `figure`, called `label`.
pub(super) fn head<'a>(
    figure: &Figure,
    label: &str,
    values: impl IntoIterator<Item = &'a Value>,
) -> Head {
    fn is_text(value: &Value) -> bool {
        let items = value.as_array().map_or(&[][..], Vec::as_slice);
        value.is_string() || value.is_boolean() || items.iter().any(is_text)
    }
    let is_text = values.into_iter().any(is_text);
    Head {
        name: label.to_owned(),
        unit: figure.unit,
        edge: if is_text { Edge::Left } else { Edge::Right },
    }
}
