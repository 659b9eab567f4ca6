//! The table for a page: one Markdown table a group of columns.

use super::columns::{COLUMNS, Column, Group};
use super::rows::rows;
use super::session_notes;
use crate::analysis::figures::Table;
use crate::export::cell::{clock_time, human_number, one_line, word_of};
use crate::recording::words::machine_number;

/// The session's head, its streams, its segments and every group of figures that has any.
pub fn markdown(table: &Table) -> String {
    let mut out = format!("# {}\n\n", escaped(&table.session.title));
    out.push_str(&format!("{}\n\n", session_notes::claim(table)));
    out.push_str(&streams(table));
    out.push_str(&segments(table));
    for group in Group::AFTER_ROW {
        out.push_str(&group_table(table, group));
    }
    for (title, notes) in session_notes::sections(table) {
        out.push_str(&format!("## {title}\n\n"));
        for note in notes {
            out.push_str(&format!("- {}\n", escaped(&note)));
        }
        out.push('\n');
    }
    let bands = session_notes::bands(table);
    if !bands.is_empty() {
        let heads = session_notes::BAND_HEADS.map(str::to_owned);
        out.push_str(&section("Bias by band", &heads, bands));
    }
    out.truncate(out.trim_end().len());
    out.push('\n');
    out
}

fn streams(table: &Table) -> String {
    let heads = [
        "stream",
        "role",
        "site",
        "offset (s)",
        "skew (ppm)",
        "samples",
        "interval (s)",
    ];
    let lines = table.streams.iter().map(|s| {
        vec![
            s.label.clone(),
            s.role.word().to_owned(),
            s.site.map_or("—", |site| site.word()).to_owned(),
            human_number(s.offset_s, 3, true),
            human_number(s.skew_ppm, 1, true),
            s.samples.to_string(),
            s.median_interval_s
                .map_or_else(|| "—".to_owned(), machine_number),
        ]
    });
    section("Streams", &heads.map(str::to_owned), lines.collect())
}

fn segments(table: &Table) -> String {
    let heads = [
        "#",
        "kind",
        "from",
        "to",
        "length (s)",
        "set point (W)",
        "note",
    ];
    let lines = table.segments.iter().map(|s| {
        vec![
            s.id.to_string(),
            word_of(&s.kind),
            clock_time(s.from_s),
            clock_time(s.to_s),
            machine_number(s.to_s - s.from_s),
            s.set_point_w.map_or_else(|| "—".to_owned(), machine_number),
            s.note.clone(),
        ]
    });
    section("Segments", &heads.map(str::to_owned), lines.collect())
}

fn group_table(table: &Table, group: Group) -> String {
    let rows = rows(table);
    // A column that nothing ever stands in asks a question nobody put.
    let columns: Vec<&Column> = COLUMNS
        .iter()
        .filter(|c| c.group == group && rows.iter().any(|row| c.human(row).is_some()))
        .collect();
    let names = id_columns(group);
    let mut heads: Vec<String> = names.iter().map(|c| c.head.to_owned()).collect();
    heads.extend(columns.iter().map(|c| head(c)));
    let mut lines: Vec<Vec<String>> = Vec::new();
    for row in rows {
        let values: Vec<Option<String>> = columns.iter().map(|c| c.human(&row)).collect();
        if values.iter().all(Option::is_none) {
            continue;
        }
        let own = |column: &&Column| column.human(&row).unwrap_or_else(dash);
        let mut line: Vec<String> = names.iter().map(own).collect();
        line.extend(values.into_iter().map(|value| value.unwrap_or_else(dash)));
        // A segment's own figures are the same in each of its rows: once will do.
        if lines.last() != Some(&line) {
            lines.push(line);
        }
    }
    if lines.is_empty() {
        return String::new();
    }
    section(group.title(), &heads, lines)
}

/// What tells the rows of a group apart.
fn id_columns(group: Group) -> Vec<&'static Column> {
    let wanted: &[&str] = match group {
        Group::Verdict => &["segment_id", "kind", "under_test"],
        _ if group.of_pair() => &["segment_id", "kind", "under_test", "reference"],
        _ => &["segment_id", "kind"],
    };
    COLUMNS
        .iter()
        .filter(|c| wanted.contains(&c.name))
        .collect()
}

fn head(column: &Column) -> String {
    if column.unit.is_empty() {
        column.head.to_owned()
    } else {
        format!("{} ({})", column.head, column.unit)
    }
}

fn dash() -> String {
    "—".to_owned()
}

fn section(title: &str, heads: &[String], lines: Vec<Vec<String>>) -> String {
    format!("## {title}\n\n{}\n", grid(heads, &lines))
}

/// A Markdown table.
pub(crate) fn grid(heads: &[String], lines: &[Vec<String>]) -> String {
    let joined = |cells: &[String]| {
        let escaped: Vec<String> = cells.iter().map(|cell| escaped(cell)).collect();
        format!("| {} |\n", escaped.join(" | "))
    };
    let mut out = joined(heads);
    out.push_str(&format!("|{}\n", " --- |".repeat(heads.len())));
    for line in lines {
        out.push_str(&joined(line));
    }
    out
}

/// Text that neither ends a cell nor turns into mark-up.
pub(crate) fn escaped(text: &str) -> String {
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
