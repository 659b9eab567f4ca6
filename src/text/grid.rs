//! A table as aligned columns for a terminal, as Markdown, as CSV.

use super::clean::one_line;
use super::wrap::{columns, fit};

/// Cells are set apart by this.
const GUTTER: &str = "  ";

/// Which edge the cells of a column share.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Edge {
    /// For text.
    Left,
    /// For numbers.
    Right,
}

/// Head of a column.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Head {
    /// What stands in the column.
    pub name: String,
    /// Its unit; empty for text and plain numbers.
    pub unit: &'static str,
    /// Which edge its cells share.
    pub edge: Edge,
}

impl Head {
    /// Over text.
    pub fn text(name: &str) -> Self {
        Self {
            name: name.to_owned(),
            unit: "",
            edge: Edge::Left,
        }
    }

    /// Over numbers, in `unit`.
    pub fn number(name: &str, unit: &'static str) -> Self {
        Self {
            name: name.to_owned(),
            unit,
            edge: Edge::Right,
        }
    }

    /// Name and unit, the unit between `before` and `after`.
    pub fn with_unit(&self, before: &str, after: &str) -> String {
        match self.unit {
            "" => self.name.clone(),
            unit => format!("{}{before}{unit}{after}", self.name),
        }
    }
}

/// A table of text. Rows shorter than the head are filled with empty cells.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Grid {
    /// One a column.
    pub heads: Vec<Head>,
    /// One cell a column.
    pub rows: Vec<Vec<String>>,
}

impl Grid {
    /// Without rows.
    pub fn new(heads: impl IntoIterator<Item = Head>) -> Self {
        Self {
            heads: heads.into_iter().collect(),
            rows: Vec::new(),
        }
    }

    /// Of all rows.
    pub fn of(heads: impl IntoIterator<Item = Head>, rows: Vec<Vec<String>>) -> Self {
        Self {
            rows,
            ..Self::new(heads)
        }
    }

    /// Adds a row.
    pub fn push(&mut self, row: Vec<String>) {
        self.rows.push(row);
    }

    /// The lines, each indented by `indent` and at most `width` columns wide as long as the
    /// left-edged columns can give way: the widest of them is cut, with an ellipsis.
    pub fn aligned(&self, indent: &str, width: usize) -> String {
        let widths = self.widths(width.saturating_sub(columns(indent)));
        let mut out = String::new();
        for row in std::iter::once(&self.head_line()).chain(&self.rows) {
            let mut line = indent.to_owned();
            for (index, (width, head)) in widths.iter().zip(&self.heads).enumerate() {
                let cell = row.get(index).map_or("", String::as_str);
                line.push_str(if index > 0 { GUTTER } else { "" });
                line.push_str(&padded(&fit(cell, *width, '…'), *width, head.edge));
            }
            out.push_str(line.trim_end());
            out.push('\n');
        }
        out
    }

    fn head_line(&self) -> Vec<String> {
        let heads = self.heads.iter();
        heads.map(|head| head.with_unit(" ", "")).collect()
    }

    fn widths(&self, room: usize) -> Vec<usize> {
        /// A column is not cut below this.
        const LEAST: usize = 6;
        let heads = self.head_line();
        let cells = |index: usize| self.rows.iter().filter_map(move |row| row.get(index));
        let width = |(index, head): (usize, &String)| {
            let widest = cells(index).map(|cell| columns(cell)).max();
            columns(head).max(widest.unwrap_or(0))
        };
        let mut widths: Vec<usize> = heads.iter().enumerate().map(width).collect();
        loop {
            let gutters = GUTTER.len() * widths.len().saturating_sub(1);
            if widths.iter().sum::<usize>() + gutters <= room {
                return widths;
            }
            let widest = widths
                .iter_mut()
                .zip(&self.heads)
                .filter(|(width, head)| head.edge == Edge::Left && **width > LEAST)
                .map(|(width, _)| width)
                .max();
            let Some(width) = widest else { return widths };
            *width -= 1;
        }
    }

    /// The table for a page.
    pub fn markdown(&self) -> String {
        let joined = |cells: &mut dyn Iterator<Item = String>| {
            let escaped: Vec<String> = cells.map(|cell| escaped(&cell)).collect();
            format!("| {} |\n", escaped.join(" | "))
        };
        let mut out = joined(&mut self.heads.iter().map(|head| head.with_unit(" (", ")")));
        let rules = self.heads.iter().map(|head| match head.edge {
            Edge::Left => " --- |",
            Edge::Right => " ---: |",
        });
        out.push_str(&format!("|{}\n", rules.collect::<String>()));
        for row in &self.rows {
            out.push_str(&joined(&mut row.iter().cloned()));
        }
        out
    }
}

fn padded(text: &str, width: usize, edge: Edge) -> String {
    let blank = " ".repeat(width.saturating_sub(columns(text)));
    match edge {
        Edge::Left => format!("{text}{blank}"),
        Edge::Right => format!("{blank}{text}"),
    }
}

/// Text that neither ends a cell of a Markdown table nor turns into mark-up.
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in one_line(text).chars() {
        match c {
            '<' => out.push_str("&lt;"),
            '&' => out.push_str("&amp;"),
            '|' | '\\' | '`' | '*' | '_' | '[' | ']' | '#' => {
                out.push('\\');
                out.push(c);
            }
            _ => out.push(c),
        }
    }
    out
}

/// `lines`, the heads first, as RFC 4180.
pub fn csv<Line>(lines: impl IntoIterator<Item = Line>) -> String
where
    Line: IntoIterator<Item = String>,
{
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .flexible(true)
        .from_writer(Vec::new());
    for line in lines {
        // Memory refuses nothing.
        let _ = writer.write_record(line.into_iter().collect::<Vec<_>>());
    }
    String::from_utf8(writer.into_inner().unwrap_or_default()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid() -> Grid {
        let mut grid = Grid::new([Head::text("stream"), Head::number("mean", "W")]);
        grid.push(vec!["a long name of a stream".into(), "250.1".into()]);
        grid.push(vec!["日本".into(), "9.0".into()]);
        grid
    }

    #[test]
    fn columns_line_up_and_text_gives_way() {
        let expected = "  stream        mean W\n  a long name…   250.1\n  日本             9.0\n";
        assert_eq!(grid().aligned("  ", 22), expected);
    }

    #[test]
    fn a_page_has_units_in_brackets_and_no_mark_up_of_others() {
        let mut grid = grid();
        grid.rows.truncate(1);
        grid.push(vec!["a|b <i>".into()]);
        let expected = "| stream | mean (W) |\n| --- | ---: |\n| a long name of a stream | 250.1 |\n| a\\|b &lt;i> |\n";
        assert_eq!(grid.markdown(), expected);
    }

    #[test]
    fn lines_of_csv_are_quoted_where_they_must_be() {
        let lines = [["a", "b,c"], ["1", "say \"x\""]].map(|line| line.map(str::to_owned));
        assert_eq!(csv(lines), "a,\"b,c\"\r\n1,\"say \"\"x\"\"\"\r\n");
    }
}
