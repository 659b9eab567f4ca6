//! The table for a page: one Markdown table a group of columns.

use serde_json::Value;

use super::cell::{or_dash, shown};
use super::columns::{GROUPS, Group, Shown};
use super::listing::{Listing, Room, STREAMS, head};
use super::rows::{Row, rows};
use super::session_notes;
use crate::analysis::table::Table;
use crate::text::{Grid, Head, clock_time, escaped, machine_number};

/// The session's head, its streams, its segments and every group of figures that has any.
pub fn markdown(table: &Table) -> String {
    let mut out = format!("# {}\n\n", escaped(&table.session.title));
    out.push_str(&format!("{}\n\n", session_notes::claim(table)));
    out.push_str(&streams(table));
    out.push_str(&segments(table));
    for group in Group::for_people() {
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
    let listing = Listing::of(&table.streams, Room::Wide).figures("streams", &STREAMS);
    section("Streams", &listing.grid())
}

fn segments(table: &Table) -> String {
    let segments = || table.segments.iter();
    let listing = Listing::of(&table.segments, Room::Wide)
        .figures("segments", &["id", "kind"])
        .own(
            Head::number("from", ""),
            segments().map(|s| clock_time(s.from_s)).collect(),
        )
        .own(
            Head::number("to", ""),
            segments().map(|s| clock_time(s.to_s)).collect(),
        )
        .own(
            Head::number("length", "s"),
            segments()
                .map(|s| machine_number(s.to_s - s.from_s))
                .collect(),
        )
        .figures("segments", &["set_point_w", "note"]);
    section("Segments", &listing.grid())
}

fn group_table(table: &Table, group: &'static Group) -> String {
    let rows = rows(table);
    let applies = |figure: &Shown, row: &Row| shown(figure.figure, &figure.value(row)).is_some();
    // A column that nothing ever stands in asks a question nobody put.
    let own = group.figures().into_iter();
    let own: Vec<Shown> = own
        .filter(|f| rows.iter().any(|row| applies(f, row)))
        .collect();
    let names = GROUPS[0].figures().into_iter();
    let names = names.filter(|f| id_fields(group).contains(&f.figure.field()));
    let figures: Vec<Shown> = names.chain(own.iter().copied()).collect();
    let heads = figures.iter().map(|f| {
        let values: Vec<Value> = rows.iter().map(|row| f.value(row)).collect();
        head(f.figure, &f.label(), &values)
    });
    let mut grid = Grid::new(heads);
    for row in rows
        .iter()
        .filter(|row| own.iter().any(|f| applies(f, row)))
    {
        let line = figures
            .iter()
            .map(|f| or_dash(f.figure, &f.value(row)))
            .collect();
        // A segment's own figures are the same in each of its rows: once will do.
        if grid.rows.last() != Some(&line) {
            grid.push(line);
        }
    }
    if grid.rows.is_empty() {
        return String::new();
    }
    section(group.title, &grid)
}

/// What tells the rows of a group apart.
fn id_fields(group: &Group) -> &'static [&'static str] {
    match group.title {
        "Verdict" => &["id", "kind", "under_test"],
        _ if group.of_pair => &["id", "kind", "under_test", "reference"],
        _ => &["id", "kind"],
    }
}

fn section(title: &str, grid: &Grid) -> String {
    format!("## {title}\n\n{}\n", grid.markdown())
}
