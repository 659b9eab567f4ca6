//! The table for a page: one Markdown table a group of columns.

use super::columns::{COLUMNS, Column, Group};
use super::rows::rows;
use super::session_notes;
use crate::analysis::table::Table;
use crate::text::{Grid, Head, clock_time, escaped, machine_number, number, word_of};

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
    if !bands.rows.is_empty() {
        out.push_str(&section("Bias by band", &bands));
    }
    out.truncate(out.trim_end().len());
    out.push('\n');
    out
}

fn streams(table: &Table) -> String {
    let mut grid = Grid::new([
        Head::text("stream"),
        Head::text("role"),
        Head::text("site"),
        Head::number("offset", "s"),
        Head::number("skew", "ppm"),
        Head::number("samples", ""),
        Head::number("interval", "s"),
    ]);
    for s in &table.streams {
        grid.push(vec![
            s.label.clone(),
            s.role.word().to_owned(),
            s.site.map_or("—", |site| site.word()).to_owned(),
            number(s.offset_s, 3, true),
            number(s.skew_ppm, 1, true),
            s.samples.to_string(),
            s.median_interval_s
                .map_or_else(|| "—".to_owned(), machine_number),
        ]);
    }
    section("Streams", &grid)
}

fn segments(table: &Table) -> String {
    let mut grid = Grid::new([
        Head::number("#", ""),
        Head::text("kind"),
        Head::number("from", ""),
        Head::number("to", ""),
        Head::number("length", "s"),
        Head::number("set point", "W"),
        Head::text("note"),
    ]);
    for s in &table.segments {
        grid.push(vec![
            s.id.to_string(),
            word_of(&s.kind),
            clock_time(s.from_s),
            clock_time(s.to_s),
            machine_number(s.to_s - s.from_s),
            s.set_point_w.map_or_else(|| "—".to_owned(), machine_number),
            s.note.clone(),
        ]);
    }
    section("Segments", &grid)
}

fn group_table(table: &Table, group: Group) -> String {
    let rows = rows(table);
    // A column that nothing ever stands in asks a question nobody put.
    let columns: Vec<&Column> = COLUMNS
        .iter()
        .filter(|c| c.group == group && rows.iter().any(|row| c.human(row).is_some()))
        .collect();
    let names = id_columns(group);
    let mut grid = Grid::new(names.iter().chain(&columns).map(|column| head(column)));
    for row in rows {
        let values: Vec<Option<String>> = columns.iter().map(|c| c.human(&row)).collect();
        if values.iter().all(Option::is_none) {
            continue;
        }
        let own = |column: &&Column| column.human(&row).unwrap_or_else(dash);
        let mut line: Vec<String> = names.iter().map(own).collect();
        line.extend(values.into_iter().map(|value| value.unwrap_or_else(dash)));
        // A segment's own figures are the same in each of its rows: once will do.
        if grid.rows.last() != Some(&line) {
            grid.push(line);
        }
    }
    if grid.rows.is_empty() {
        return String::new();
    }
    section(group.title(), &grid)
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

fn head(column: &Column) -> Head {
    match column.unit {
        "" => Head::text(column.head),
        unit => Head::number(column.head, unit),
    }
}

fn dash() -> String {
    "—".to_owned()
}

fn section(title: &str, grid: &Grid) -> String {
    format!("## {title}\n\n{}\n", grid.markdown())
}
