//! Aligned columns and wrapped paragraphs for a terminal or a plain file.

use unicode_width::{UnicodeWidthChar as _, UnicodeWidthStr as _};

/// Cells that fit are set apart by this.
const GUTTER: &str = "  ";

/// Which edge the cells of a column share.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Edge {
    /// For text.
    Left,
    /// For numbers.
    Right,
}

/// A table of text. Rows shorter than the head are filled with empty cells.
#[derive(Clone, Debug)]
pub(crate) struct TextTable {
    heads: Vec<(String, Edge)>,
    rows: Vec<Vec<String>>,
}

impl TextTable {
    pub(crate) fn new<'a>(heads: impl IntoIterator<Item = (&'a str, Edge)>) -> Self {
        Self {
            heads: heads
                .into_iter()
                .map(|(head, edge)| (head.to_owned(), edge))
                .collect(),
            rows: Vec::new(),
        }
    }

    pub(crate) fn push(&mut self, row: Vec<String>) {
        self.rows.push(row);
    }

    /// The lines, each indented by `indent` and at most `width` columns wide as long as the
    /// left-edged columns can give way: the widest of them is cut, with an ellipsis.
    pub(crate) fn render(&self, indent: &str, width: usize) -> String {
        let widths = self.widths(width.saturating_sub(indent.width()));
        let mut out = String::new();
        let heads: Vec<String> = self.heads.iter().map(|(head, _)| head.clone()).collect();
        for row in std::iter::once(&heads).chain(&self.rows) {
            let mut line = indent.to_owned();
            for (place, (width, (_, edge))) in widths.iter().zip(&self.heads).enumerate() {
                let cell = row.get(place).map_or("", String::as_str);
                line.push_str(if place > 0 { GUTTER } else { "" });
                line.push_str(&padded(&cut(cell, *width), *width, *edge));
            }
            out.push_str(line.trim_end());
            out.push('\n');
        }
        out
    }

    fn widths(&self, room: usize) -> Vec<usize> {
        /// A column is not cut below this.
        const LEAST: usize = 6;
        let mut widths: Vec<usize> = self
            .heads
            .iter()
            .enumerate()
            .map(|(place, (head, _))| {
                let cells = self.rows.iter().filter_map(|row| row.get(place));
                cells
                    .map(|cell| cell.width())
                    .fold(head.width(), usize::max)
            })
            .collect();
        loop {
            let gutters = GUTTER.len() * widths.len().saturating_sub(1);
            if widths.iter().sum::<usize>() + gutters <= room {
                return widths;
            }
            let widest = widths
                .iter_mut()
                .zip(&self.heads)
                .filter(|(width, (_, edge))| *edge == Edge::Left && **width > LEAST)
                .map(|(width, _)| width)
                .max();
            let Some(width) = widest else { return widths };
            *width -= 1;
        }
    }
}

fn padded(text: &str, width: usize, edge: Edge) -> String {
    let blank = " ".repeat(width.saturating_sub(text.width()));
    match edge {
        Edge::Left => format!("{text}{blank}"),
        Edge::Right => format!("{blank}{text}"),
    }
}

/// `text` in at most `width` columns.
fn cut(text: &str, width: usize) -> String {
    if text.width() <= width {
        return text.to_owned();
    }
    let mut out = String::new();
    let mut used = 0;
    for c in text.chars() {
        let step = c.width().unwrap_or(0);
        if used + step + 1 > width {
            break;
        }
        out.push(c);
        used += step;
    }
    out.push('…');
    out
}

/// `text` in lines of at most `width` columns: the first after `first`, the others after as many
/// blanks. Words longer than a line stand alone.
pub(crate) fn wrapped(first: &str, text: &str, width: usize) -> String {
    let hang = " ".repeat(first.width());
    let mut out = String::new();
    let mut line = first.to_owned();
    let mut empty = true;
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        if !empty && line.width() + 1 + word.width() > width {
            out.push_str(line.trim_end());
            out.push('\n');
            line.clone_from(&hang);
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    out.push_str(line.trim_end());
    out.push('\n');
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_line_up_and_text_gives_way() {
        let mut table = TextTable::new([("stream", Edge::Left), ("mean W", Edge::Right)]);
        table.push(vec!["a long name of a stream".into(), "250.1".into()]);
        table.push(vec!["日本".into(), "9.0".into()]);
        let expected = "  stream        mean W\n  a long name…   250.1\n  日本             9.0\n";
        assert_eq!(table.render("  ", 22), expected);
    }

    #[test]
    fn paragraphs_hang() {
        assert_eq!(wrapped("- ", "one two three", 9), "- one two\n  three\n");
        assert_eq!(
            wrapped("- ", "incomprehensible it is", 9),
            "- incomprehensible\n  it is\n"
        );
        assert_eq!(wrapped("x ", "", 9), "x\n");
    }
}
