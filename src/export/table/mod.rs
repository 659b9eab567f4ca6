//! The table of a session in four shapes: JSON ([`Table`] serialised), CSV, Markdown, text.
//!
//! CSV and Markdown carry the same figures, one row a segment and pair of streams; which ones,
//! in which order and with what meaning stands in [`COLUMNS`] alone. What is printed unless all of it
//! is asked for is the short table, one row a segment and source ([`SHORT_COLUMNS`]).

mod cell;
mod columns;
mod delimited;
mod listing;
mod markdown;
mod rows;
#[cfg(test)]
pub(crate) mod sample;
mod session_notes;
mod short;
mod text;
mod view;

pub(crate) use cell::shown;
pub use columns::{COLUMNS, Column, GROUPS, Group, Shown};
pub use delimited::{column_guide, csv, lines};
pub(crate) use listing::{Listing, MEANS, Room};
pub use markdown::markdown;
pub use rows::{Row, rows_of};
pub(crate) use rows::{as_json, at};
pub(crate) use session_notes::{bands, sections};
pub use short::{
    SHORT_COLUMNS, ShortRow, short_column_guide, short_csv, short_grid, short_markdown, short_rows,
    short_text,
};
pub(crate) use text::signed_outcome;
pub use text::text;
pub use view::{View, view};

use super::ExportError;
use crate::analysis::table::Table;

/// The table as an indented JSON document.
///
/// # Errors
/// [`ExportError::Json`]; none is known.
pub fn json(table: &Table) -> Result<String, ExportError> {
    serde_json::to_string_pretty(table).map_err(|error| ExportError::Json(error.to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::catalogue;

    #[test]
    fn text_is_compared_whole() {
        insta::assert_snapshot!(text(&sample::table()));
    }

    #[test]
    fn markdown_is_compared_whole() {
        insta::assert_snapshot!(markdown(&sample::table()));
    }

    #[test]
    fn csv_is_compared_whole() {
        insta::assert_snapshot!(csv(&sample::table()));
    }

    #[test]
    fn text_fits_eighty_columns() {
        use unicode_width::UnicodeWidthStr as _;
        let long = text(&sample::table());
        for line in long.lines() {
            assert!(line.width() <= 80, "{} columns: {line}", line.width());
        }
    }

    #[test]
    fn csv_read_back_has_the_figures_of_the_table() {
        let table = sample::table();
        let bytes = csv(&table);
        let mut reader = csv::Reader::from_reader(bytes.as_bytes());
        let heads = reader.headers().unwrap().clone();
        let at = |name: &str| heads.iter().position(|head| head == name).unwrap();
        let records: Vec<_> = reader.records().map(Result::unwrap).collect();
        assert_eq!(
            records.len(),
            3,
            "two pairs of the first segment, one row of the second"
        );
        let number = |row: usize, name: &str| records[row][at(name)].parse::<f64>().ok();
        for (row, pair) in table.segments[0].agreement.iter().enumerate() {
            let rounded = |value: Option<f64>| value.map(|v| (v * 1e6).round() / 1e6);
            assert_eq!(number(row, "bias_w"), rounded(pair.bias_w));
            assert_eq!(
                number(row, "bias_ci95_lower_w"),
                rounded(pair.bias_ci95_w.map(|i| i[0]))
            );
            assert_eq!(number(row, "n_effective"), Some(41.234_568), "six decimals");
            assert_eq!(&records[row][at("verdict_outcome")], "does-not-conform");
        }
        assert_eq!(number(0, "reference_mean_w"), Some(250.0));
        assert_eq!(
            number(1, "reference_mean_w"),
            None,
            "the consensus is no stream"
        );
        assert_eq!(&records[0][at("note")], "first, \"cold\" still");
        assert_eq!(&records[0][at("under_test")], "'=trainer|1", "no formula");
        assert_eq!(&records[2][at("sprint_best_3s_w")], "; 880");
        assert_eq!(&records[2][at("sprint_labels")], "'=trainer|1; pedals");
    }

    #[test]
    fn every_column_has_its_own_name_with_its_unit() {
        for (index, column) in COLUMNS.iter().enumerate() {
            let (name, figure) = (&column.name, column.shown.figure);
            let same = COLUMNS[..index].iter().find(|other| other.name == *name);
            assert!(same.is_none(), "{name} twice");
            let ending = match figure.unit {
                "W" => "_w",
                "W²" => "_w2",
                "%" => "_percent",
                "rpm" => "_rpm",
                "W/min" => "_w_per_min",
                "%/10 min" => "_percent_per_10min",
                "%/°C" => "_percent",
                "m/s" => "_mps",
                "kg" => "_kg",
                "kg/m" => "_kg_m",
                "N" => "_n",
                "s" if name.ends_with('n') || name == "n_effective" => continue,
                "s" => "_s",
                "" => continue,
                other => panic!("a new unit: {other}"),
            };
            assert!(name.ends_with(ending), "{name} lacks {ending}");
        }
    }

    #[test]
    fn every_figure_of_a_segment_has_its_column_or_says_that_it_has_none() {
        for figure in catalogue::figures().filter(|figure| figure.id.starts_with("segments.")) {
            let has = COLUMNS.iter().any(|column| column.shown.figure == figure);
            assert_eq!(has, figure.csv != Some(""), "{}", figure.id);
        }
    }

    #[test]
    fn a_table_without_anything_is_still_a_table() {
        let empty = Table::default();
        assert_eq!(csv(&empty).lines().count(), 1);
        assert!(text(&empty).contains("None tagged yet"));
        assert!(json(&empty).unwrap().contains("\"segments\": []"));
        assert!(!markdown(&empty).contains("NaN"));
    }
}
