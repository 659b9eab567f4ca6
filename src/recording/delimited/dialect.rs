//! Which separator, which decimal mark, and where the head is.

use super::head::{Head, looks_like_head};
use super::number::is_missing;
use crate::recording::ReadOptions;

/// Separators tried.
const SEPARATORS: [u8; 4] = *b",;\t|";
/// Rows looked at.
const SAMPLED_ROWS: usize = 400;
/// Bytes looked at.
const SAMPLED_BYTES: usize = 64 * 1024;
/// Rows that may stand before the head.
const ROWS_BEFORE_HEAD: usize = 60;

/// How the text is laid out.
#[derive(Debug)]
pub(super) struct Dialect {
    pub(super) separator: u8,
    pub(super) decimal_mark: u8,
    /// Rows before the head.
    pub(super) head_row: usize,
    /// The column heads, cleaned.
    pub(super) heads: Vec<String>,
    /// Units from a row below the heads, where there is one.
    pub(super) units: Option<Vec<String>>,
    /// The first rows of data.
    pub(super) sample: Vec<Vec<Vec<u8>>>,
}

/// A reader over `text` as every pass uses it.
pub(super) fn reader(text: &[u8], separator: u8) -> csv::Reader<&[u8]> {
    csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(separator)
        .comment(Some(b'#'))
        .from_reader(text)
}

/// The dialect in which most heads make sense and most rows fit the head.
///
/// # Errors
/// The names of the most promising row, where no row names both a time and a power.
pub(super) fn recognise(text: &[u8], options: &ReadOptions) -> Result<Dialect, Head> {
    let mut best: Option<((usize, usize), Dialect)> = None;
    let mut nearest = Head::default();
    for separator in SEPARATORS {
        let rows = sample(text, separator);
        for (row, cells) in rows.iter().take(ROWS_BEFORE_HEAD).enumerate() {
            let head = looks_like_head(cells, options);
            if head.has_time && head.has_power {
                let fitting = rows
                    .iter()
                    .skip(row + 1)
                    .filter(|other| other.len() == cells.len())
                    .count();
                let score = (head.recognised, fitting);
                if best.as_ref().is_none_or(|(other, _)| score > *other) {
                    best = Some((score, dialect(separator, row, head.names, rows.clone())));
                }
                break;
            }
            if head.promise() > nearest.promise() {
                nearest = head;
            }
        }
    }
    best.map(|(_, dialect)| dialect).ok_or(nearest)
}

fn sample(text: &[u8], separator: u8) -> Vec<Vec<Vec<u8>>> {
    let cut = text.get(..SAMPLED_BYTES).unwrap_or(text);
    reader(cut, separator)
        .into_byte_records()
        .take(SAMPLED_ROWS)
        .map_while(Result::ok)
        .map(|record| record.iter().map(<[u8]>::to_vec).collect())
        .collect()
}

fn dialect(
    separator: u8,
    head_row: usize,
    heads: Vec<String>,
    mut rows: Vec<Vec<Vec<u8>>>,
) -> Dialect {
    rows.drain(..=head_row);
    let units = rows.first().and_then(|row| units(row));
    if units.is_some() {
        rows.remove(0);
    }
    Dialect {
        separator,
        decimal_mark: decimal_mark(separator, &rows),
        head_row,
        heads,
        units,
        sample: rows,
    }
}

/// The row below the heads, if it holds units: short texts, no digits.
fn units(row: &[Vec<u8>]) -> Option<Vec<String>> {
    const LONGEST: usize = 12;
    let texts: Vec<String> = row
        .iter()
        .map(|cell| {
            let text = String::from_utf8_lossy(cell);
            text.trim()
                .trim_matches(|c| matches!(c, '(' | ')' | '[' | ']'))
                .to_owned()
        })
        .collect();
    let plausible = texts
        .iter()
        .all(|text| text.chars().count() <= LONGEST && !text.chars().any(|c| c.is_ascii_digit()));
    let has_watts = texts
        .iter()
        .any(|text| text.eq_ignore_ascii_case("w") || text.eq_ignore_ascii_case("watts"));
    (plausible && has_watts).then_some(texts)
}

/// A comma, where numbers with commas occur and none with points.
fn decimal_mark(separator: u8, rows: &[Vec<Vec<u8>>]) -> u8 {
    let (mut commas, mut points) = (0_usize, 0_usize);
    for cell in rows.iter().flatten() {
        let cell = cell.trim_ascii();
        let numeric = !is_missing(cell)
            && cell
                .iter()
                .all(|b| b.is_ascii_digit() || matches!(b, b'-' | b'+' | b',' | b'.'));
        if numeric {
            commas += usize::from(cell.iter().filter(|b| **b == b',').count() == 1);
            points += usize::from(cell.contains(&b'.'));
        }
    }
    // Between commas as separators, a cell with a comma was quoted: it may be a decimal comma too,
    // or one that groups thousands. Three digits after each leave that open; then it is no number.
    let grouped = separator == b',' && rows.iter().flatten().all(|cell| could_be_grouped(cell));
    if commas > 0 && points == 0 && !grouped {
        b','
    } else {
        b'.'
    }
}

/// Whether a comma in `cell`, if there is one, has exactly three digits after it.
fn could_be_grouped(cell: &[u8]) -> bool {
    match cell.iter().position(|b| *b == b',') {
        Some(at) => cell.len() - at == 4,
        None => true,
    }
}
