//! CSV as RFC 4180 describes it: a header line, CRLF, quotes where needed.

use super::columns::COLUMNS;
use super::rows::rows;
use crate::analysis::figures::Table;
use crate::export::ExportError;

/// The flat table as CSV: the columns of [`COLUMNS`], one row a segment and pair of streams.
/// Figures of a segment stand in each of its rows.
///
/// # Errors
/// [`ExportError::Csv`]; none is known.
pub fn csv(table: &Table) -> Result<String, ExportError> {
    let mut lines: Vec<Vec<String>> = vec![COLUMNS.iter().map(|c| c.name.to_owned()).collect()];
    for row in rows(table) {
        lines.push(COLUMNS.iter().map(|column| column.machine(&row)).collect());
    }
    records(&lines)
}

/// What each column of [`csv()`] holds, itself as CSV: name, unit, subject, meaning.
///
/// # Errors
/// [`ExportError::Csv`]; none is known.
pub fn column_guide() -> Result<String, ExportError> {
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
    records(&lines)
}

/// `lines` as RFC 4180.
pub(crate) fn records(lines: &[Vec<String>]) -> Result<String, ExportError> {
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    for line in lines {
        writer
            .write_record(line)
            .map_err(|error| ExportError::Csv(error.to_string()))?;
    }
    let bytes = writer
        .into_inner()
        .map_err(|error| ExportError::Csv(error.to_string()))?;
    String::from_utf8(bytes).map_err(|error| ExportError::Csv(error.to_string()))
}
