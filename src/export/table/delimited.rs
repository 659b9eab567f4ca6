//! CSV as RFC 4180 describes it: a header line, CRLF, quotes where needed.

use super::columns::COLUMNS;
use super::rows::rows;
use crate::analysis::table::Table;

/// The flat table as CSV: the columns of [`COLUMNS`], one row a segment and pair of streams.
/// Figures of a segment stand in each of its rows.
pub fn csv(table: &Table) -> String {
    let mut lines: Vec<Vec<String>> = vec![COLUMNS.iter().map(|c| c.name.clone()).collect()];
    for row in rows(table) {
        lines.push(COLUMNS.iter().map(|column| column.machine(&row)).collect());
    }
    crate::text::csv(lines)
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
