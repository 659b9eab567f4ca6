//! `truing explain`: what a figure means.

use super::{Exit, Failure, Output};
use crate::analysis::catalogue::{self, Found, plain};
use crate::analysis::figure::Figure;
use crate::export::table::{COLUMNS, Column, Group};

/// Explain a figure or a word: what it is, how it is computed, where that comes from, and what it
/// does not tell. Without a term, list all.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// A figure as it is called on screen, in the JSON or in the CSV (`E_n`, `agreement.ccc`,
    /// `bias_ci95_lower_w`), or a word (`consensus`, `inconclusive`).
    #[arg(value_name = "TERM")]
    term: Vec<String>,
}

/// Prints the explanation, or the list of terms.
///
/// # Errors
/// [`Failure`] for an unknown term, with near ones, or where stdout cannot be written.
pub fn run(arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    let term = arguments.term.join(" ");
    if term.trim().is_empty() {
        output.result(&listing())?;
        return Ok(Exit::Done);
    }
    output.result(&explanation(&term).map_err(Failure::CouldNot)?)?;
    Ok(Exit::Done)
}

/// What `term` means.
///
/// # Errors
/// A sentence with near terms, where nothing is called so.
fn explanation(term: &str) -> Result<String, String> {
    let named = catalogue::named(term);
    // A name in CSV may be that of another figure in the JSON: both are told.
    let is_new = |column: &&Column| {
        let entry = entry_of(column);
        entry.is_none_or(|entry| !named.contains(&entry))
    };
    let columns = columns_called(term);
    let columns = columns.into_iter().filter(is_new).map(of_column);
    let figures = (!named.is_empty()).then(|| told(&named));
    let texts: Vec<String> = figures.into_iter().chain(columns).collect();
    if !texts.is_empty() {
        return Ok(texts.join("\n"));
    }
    let (Found::Near(near) | Found::Named(near)) = catalogue::find(term);
    Err(unknown(term, &near))
}

fn told(entries: &[&'static Figure]) -> String {
    let groups = merged(entries);
    let texts: Vec<String> = groups.iter().map(|group| explained(group)).collect();
    texts.join("\n")
}

/// The columns of the flat tables with this name in CSV, or this head, with its unit or without.
fn columns_called(term: &str) -> Vec<&'static Column> {
    let wanted = plain(term);
    let is_called = |column: &&Column| {
        let names = [
            column.name.to_owned(),
            column.head.to_owned(),
            format!("{} {}", column.head, column.unit),
        ];
        names.iter().any(|name| plain(name) == wanted)
    };
    COLUMNS.iter().filter(is_called).collect()
}

/// A column, and the figure that it shows.
fn of_column(column: &Column) -> String {
    let unit = if column.unit.is_empty() { "" } else { ", " };
    let mut text = format!(
        "{}{unit}{} ({})\n  {}\n  in the CSV: {}\n",
        column.head,
        column.unit,
        column.group.title(),
        column.about,
        column.name
    );
    if let Some(entry) = entry_of(column) {
        text.push_str(&told(&[entry]));
    }
    text
}

/// The catalogue's entry for a column. Its name in CSV is made of the path in the JSON: without the
/// lists in between, and with `lower` and `upper` for the two ends of an interval.
fn entry_of(column: &Column) -> Option<&'static Figure> {
    let name = without_ends(column.name);
    roots(column.group).iter().find_map(|(root, prefix)| {
        let name = name.strip_prefix(prefix)?;
        let below = |entry: &'static Figure| Some((entry.id.strip_prefix(root)?, entry));
        let mut entries = catalogue::figures().filter_map(below);
        let found = entries.find(|(path, _)| names_of(path).iter().any(|own| own == name));
        found.map(|(_, entry)| entry)
    })
}

/// Where the figures of a group stand in the JSON, and what their names in CSV begin with.
const fn roots(group: Group) -> &'static [(&'static str, &'static str)] {
    match group {
        Group::Row => &[
            ("session.", "session_"),
            ("segments.", "segment_"),
            ("segments.", ""),
            ("segments.agreement.", ""),
        ],
        Group::Streams => &[
            ("segments.streams.", "under_test_"),
            ("segments.streams.", "reference_"),
        ],
        Group::Agreement => &[
            ("segments.agreement.", ""),
            ("segments.agreement.", "paired_"),
        ],
        Group::References => &[("segments.references.", "references_")],
        Group::Verdict => &[("segments.verdict.", "verdict_")],
        Group::Noise => &[("segments.noise.", "noise_")],
        Group::Steady => &[("segments.steady.", "steady_")],
        Group::Sprint => &[("segments.sprint.", "sprint_")],
        Group::Ramp => &[("segments.ramp.", "ramp_")],
        Group::GearChange => &[("segments.gear_change.", "gear_change_")],
        Group::Coast => &[("segments.coast.", "coast_")],
        Group::HeatSoak => &[("segments.heat_soak.", "heat_soak_")],
        Group::Cadence => &[("segments.cadence.", "cadence_")],
    }
}

/// A name in CSV without the end of the interval that it is.
fn without_ends(name: &str) -> String {
    let name = name
        .replace("ci95_lower", "ci95")
        .replace("ci95_upper", "ci95");
    if name.contains("ci95") {
        name
    } else {
        name.replace("loa95_lower", "loa95")
            .replace("loa95_upper", "loa95")
    }
}

/// What a field below its root may be called in CSV: by its last name alone or after the list that
/// it stands in, the list as one or as many; and what is an entry's of a list, as many.
fn names_of(path: &str) -> Vec<String> {
    let Some((list, last)) = path.split_once('.') else {
        return vec![path.to_owned()];
    };
    let one = list.trim_end_matches('s');
    // The uncertainty of a source is called by its unit alone.
    let short = last.strip_prefix("standard_uncertainty_").unwrap_or(last);
    [
        last.to_owned(),
        format!("{last}s"),
        format!("{list}_{short}"),
        format!("{list}_{short}s"),
        format!("{one}_{short}"),
    ]
    .to_vec()
}

/// Entries that say the same (one figure at two places of the JSON) together.
fn merged(entries: &[&'static Figure]) -> Vec<Vec<&'static Figure>> {
    let mut groups: Vec<Vec<&'static Figure>> = Vec::new();
    for entry in entries {
        let same = groups.iter_mut().find(|group| {
            group.first().is_some_and(|first| {
                first.definition == entry.definition && first.formula == entry.formula
            })
        });
        match same {
            Some(group) => group.push(entry),
            None => groups.push(vec![entry]),
        }
    }
    groups
}

fn explained(group: &[&'static Figure]) -> String {
    let Some(entry) = group.first() else {
        return String::new();
    };
    let unit = if entry.unit.is_empty() {
        String::new()
    } else {
        format!(", {}", entry.unit)
    };
    let mut text = format!("{}{unit}\n  {}\n", entry.label, entry.definition);
    let mut line = |head: &str, body: &str| {
        if !body.is_empty() {
            text.push_str(&format!("  {head}: {body}\n"));
        }
    };
    line("formula", entry.formula);
    line("source", entry.source);
    line("does not tell", entry.caveat);
    let fields: Vec<&str> = group
        .iter()
        .map(|e| e.id)
        .filter(|id| id.contains('.'))
        .collect();
    line("in the JSON", &fields.join(", "));
    text
}

fn unknown(term: &str, near: &[&'static Figure]) -> String {
    if near.is_empty() {
        return format!("no figure or word is called “{term}”; `truing explain` lists all");
    }
    let names: Vec<String> = near
        .iter()
        .map(|entry| {
            format!(
                "“{}”",
                entry.id.strip_prefix("segments.").unwrap_or(entry.id)
            )
        })
        .collect();
    format!(
        "no figure or word is called “{term}”; did you mean {}? `truing explain` lists all",
        names.join(", ")
    )
}

/// Every word and figure, one line each.
fn listing() -> String {
    let line = |entry: &Figure| {
        let unit = if entry.unit.is_empty() {
            String::new()
        } else {
            format!(" ({})", entry.unit)
        };
        let head = format!("{}{unit}", entry.label);
        if entry.id == entry.label {
            format!("  {head}\n")
        } else {
            format!("  {:<44} {head}\n", entry.id)
        }
    };
    let words: String = catalogue::words().map(line).collect();
    let figures: String = catalogue::figures().map(line).collect();
    format!("Words\n{words}\nFigures, by their place in the JSON of `truing table`\n{figures}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_column_of_the_csv_is_explained_by_its_figure() {
        let mut lost = Vec::new();
        for column in COLUMNS {
            match entry_of(column) {
                Some(entry) => {
                    let text = explanation(column.name).unwrap();
                    assert!(text.contains(entry.definition), "{}: {text}", column.name);
                }
                None => lost.push(column.name),
            }
        }
        assert!(lost.is_empty(), "columns without a figure: {lost:?}");
    }

    #[test]
    fn every_head_of_a_table_is_explained() {
        for column in COLUMNS {
            for head in [
                column.head.to_owned(),
                format!("{} {}", column.head, column.unit),
            ] {
                let told = explanation(head.trim());
                assert!(told.is_ok(), "{told:?}");
            }
        }
    }

    /// By hand: a name and the field whose interval, list or owner it leaves out.
    #[test]
    fn a_columns_figure_is_the_one_meant() {
        for (name, id) in [
            ("session_title", "session.title"),
            ("under_test", "segments.agreement.under_test"),
            (
                "bias_ci95_upper_percent",
                "segments.agreement.bias_ci95_percent",
            ),
            ("loa95_lower_w", "segments.agreement.loa95_w"),
            (
                "loa95_lower_ci95_upper_w",
                "segments.agreement.loa95_lower_ci95_w",
            ),
            ("ratio_loa95_upper", "segments.agreement.ratio.loa95"),
            ("reference_mean_w", "segments.streams.mean_w"),
            (
                "paired_reference_mean_w",
                "segments.agreement.reference_mean_w",
            ),
            (
                "verdict_budget_percent",
                "segments.verdict.budget.standard_uncertainty_percent",
            ),
            ("noise_labels", "segments.noise.streams.label"),
            (
                "steady_uncorroborated_from_s",
                "segments.steady.uncorroborated.from_s",
            ),
            ("ramp_step_at_s", "segments.ramp.steps.at_s"),
            ("gear_change_at_s", "segments.gear_change.changes.at_s"),
            ("cadence_bias_rpm", "segments.cadence.bias_rpm"),
        ] {
            let column = COLUMNS.iter().find(|column| column.name == name).unwrap();
            assert_eq!(entry_of(column).map(|entry| entry.id), Some(id), "{name}");
        }
    }

    /// A sentence broken over lines of the source keeps their indent where the mark is forgotten.
    #[test]
    fn no_text_has_two_blanks_in_a_row() {
        let entries = catalogue::figures().chain(catalogue::words());
        let of_entry = |e: &'static Figure| [e.label, e.definition, e.formula, e.source, e.caveat];
        let of_columns = COLUMNS
            .iter()
            .flat_map(|column| [column.head, column.about]);
        for text in entries.flat_map(of_entry).chain(of_columns) {
            assert!(!text.contains("  ") && !text.contains('\n'), "{text:?}");
        }
    }
}
