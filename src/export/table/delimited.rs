//! CSV as RFC 4180 describes it: a header line, CRLF, quotes where needed.

use super::columns::COLUMNS;
use super::rows::rows;
use crate::analysis::table::Table;

/// The flat table: the names of [`COLUMNS`], then one row a segment and pair of streams. Figures of a
/// segment stand in each of its rows.
pub fn lines(table: &Table) -> Vec<Vec<String>> {
    let heads = COLUMNS.iter().map(|column| column.name.clone()).collect();
    let rows = rows(table).into_iter();
    let cells = |row| COLUMNS.iter().map(|column| column.machine(&row)).collect();
    std::iter::once(heads).chain(rows.map(cells)).collect()
}

/// The flat table as CSV.
pub fn csv(table: &Table) -> String {
    crate::text::csv(lines(table))
}

/// What each column of [`csv()`] holds, itself as CSV: name, unit, subject, meaning.
pub fn column_guide() -> String {
    let head = ["column", "unit", "subject", "meaning"].map(str::to_owned);
    let lines = COLUMNS.iter().map(|column| {
        let unit = column.shown.figure.unit.to_owned();
        let subject = column.group.title.to_owned();
        [column.name.clone(), unit, subject, column.meaning()]
    });
    crate::text::csv(std::iter::once(head).chain(lines))
}
