//! The table of a session in four shapes: JSON ([`Table`] serialised), CSV, Markdown, text.
//!
//! CSV and Markdown carry the same figures, one row a segment and pair of streams; which ones,
//! in which order and with what meaning stands in [`COLUMNS`] alone.

mod columns;
mod delimited;
mod markdown;
mod rows;
#[cfg(test)]
pub(crate) mod sample;
mod session_notes;
mod text;

pub use columns::{COLUMNS, Column, Group, View, view};
pub use delimited::{column_guide, csv};
pub use markdown::markdown;
pub use rows::{Row, rows_of};
pub(crate) use session_notes::{bands, claim as claim_sentence, sections};
pub(crate) use text::signed_outcome;
pub use text::text;

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
        for (place, column) in COLUMNS.iter().enumerate() {
            assert!(column.about.ends_with('.'), "{}", column.name);
            let twin = COLUMNS[..place]
                .iter()
                .find(|other| other.name == column.name);
            assert!(twin.is_none(), "{} twice", column.name);
            let ending = match column.unit {
                "W" => "_w",
                "W²" => "_w2",
                "%" => "_percent",
                "rpm" => "_rpm",
                "W/min" => "_w_per_min",
                "% in 10 min" => "_percent_per_10min",
                "%/°C" => "_percent",
                "m/s" => "_mps",
                "s" if column.name.ends_with('n') || column.name == "n_effective" => continue,
                "s" => "_s",
                "" => continue,
                other => panic!("a new unit: {other}"),
            };
            let of_list = column.name.ends_with("_budget_w") || column.name.ends_with(ending);
            let bound = ["_10_90_s", ending]
                .iter()
                .any(|end| column.name.ends_with(end));
            assert!(of_list || bound, "{} lacks {ending}", column.name);
        }
    }

    /// Where the figures of a segment stand in the JSON, and how their columns begin.
    const PLACES: [(&str, &str); 16] = [
        ("/agreement/0", ""),
        ("/agreement/0/ratio", "ratio_"),
        ("/verdict", "verdict_"),
        ("/verdict/budget/0", "verdict_budget_"),
        ("/references", "references_"),
        ("/noise", "noise_"),
        ("/noise/streams/0", "noise_"),
        ("/steady", "steady_"),
        ("/steady/uncorroborated/0", "steady_uncorroborated_"),
        ("/sprint", "sprint_"),
        ("/sprint/peaks/0", "sprint_"),
        ("/ramp/steps/0", "ramp_step_"),
        ("/gear_change/changes/0", "gear_change_"),
        ("/coast", "coast_"),
        ("/heat_soak", "heat_soak_"),
        ("/cadence/0", "cadence_"),
    ];

    #[test]
    fn every_figure_of_the_json_has_its_column() {
        let example = serde_json::to_value(crate::analysis::example::example()).unwrap();
        let has = |wanted: &str| COLUMNS.iter().any(|column| column.name == wanted);
        let mut checked = 0;
        for segment in example["segments"].as_array().unwrap() {
            for (place, prefix) in PLACES {
                let Some(fields) = segment.pointer(place).and_then(|found| found.as_object())
                else {
                    continue;
                };
                for (field, value) in fields {
                    let of_objects = value.pointer("/0").unwrap_or(value).is_object();
                    // Which pair it is stands in the row's own columns.
                    let of_row = ["under_test", "reference", "label"].contains(&field.as_str());
                    if of_objects || of_row {
                        continue;
                    }
                    let short = field.replace("standard_uncertainty_", "");
                    let interval = if short.contains("ci95") {
                        "ci95"
                    } else {
                        "loa95"
                    };
                    let (stem, unit) = short.split_once(interval).unwrap_or((&short, ""));
                    let found = has(&format!("{prefix}{short}"))
                        || has(&format!("{prefix}{short}s"))
                        || has(&format!("{prefix}{stem}{interval}_lower{unit}"));
                    assert!(found, "{place}: no column for {field}");
                    checked += 1;
                }
            }
        }
        assert!(checked > 80, "{checked}");
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
