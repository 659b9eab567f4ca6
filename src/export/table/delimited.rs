//! CSV as RFC 4180 describes it: a header line, CRLF, quotes where needed.

use super::columns::COLUMNS;
use super::rows::rows;
use crate::analysis::table::Table;

/// The flat table as CSV: the columns of [`COLUMNS`], one row a segment and pair of streams.
/// Figures of a segment stand in each of its rows.
pub fn csv(table: &Table) -> String {
    let mut lines: Vec<Vec<String>> = vec![COLUMNS.iter().map(|c| c.name.to_owned()).collect()];
    for row in rows(table) {
        lines.push(COLUMNS.iter().map(|column| column.machine(&row)).collect());
    }
    crate::text::csv(lines)
}

/// What each column of [`csv()`] holds, itself as CSV: name, unit, subject, meaning.
pub fn column_guide() -> String {
    let mut lines = vec![
        ["column", "unit", "subject", "meaning"]
            .map(str::to_owned)
            .to_vec(),
    ];
    for column in COLUMNS {
        let subject = column.group.title();
        let fields = [column.name, column.unit, subject, column.about];
        lines.push(fields.map(str::to_owned).to_vec());
    }
    crate::text::csv(lines)
}
