//! `truing explain`: what a figure means.

use super::{Exit, Failure, Output};
use crate::analysis::catalogue::{self, Found, plain};
use crate::analysis::figure::Figure;
use crate::export::table::{COLUMNS, Column};

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
    let mut named = catalogue::named(term);
    // A name in CSV may be that of another figure in the JSON: both are told.
    for figure in in_columns_called(term) {
        if !named.contains(&figure) {
            named.push(figure);
        }
    }
    if !named.is_empty() {
        let texts: Vec<String> = merged(&named).iter().map(|g| explained(g)).collect();
        return Ok(texts.join("\n"));
    }
    let (Found::Near(near) | Found::Named(near)) = catalogue::find(term);
    Err(unknown(term, &near))
}

/// The figures in the columns of the flat tables with this name in CSV, or this head, with its unit
/// or without.
fn in_columns_called(term: &str) -> Vec<&'static Figure> {
    let wanted = plain(term);
    let is_called = |column: &&Column| {
        let label = column.shown.label();
        let with_unit = format!("{label} {}", column.shown.figure.unit);
        [&column.name, &label, &with_unit]
            .into_iter()
            .any(|name| plain(name) == wanted)
    };
    let called = COLUMNS.iter().filter(is_called);
    called.map(|column| column.shown.figure).collect()
}

/// Names of the columns that hold `figure`.
fn columns_of(figure: &'static Figure) -> Vec<&'static str> {
    let of_figure = COLUMNS.iter().filter(|c| c.shown.figure == figure);
    of_figure.map(|column| column.name.as_str()).collect()
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
    let fields: Vec<String> = group.iter().flat_map(|f| catalogue::paths(f)).collect();
    line("in the JSON", &fields.join(", "));
    let columns: Vec<&str> = group.iter().flat_map(|figure| columns_of(figure)).collect();
    line("in the CSV", &columns.join(", "));
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
    use crate::analysis::questions::Findings;
    use crate::export::table::{SHORT_COLUMNS, markdown, sample, short_markdown, text};

    #[test]
    fn every_column_of_the_csv_is_explained_by_its_figure() {
        for column in COLUMNS.iter() {
            let text = explanation(&column.name).unwrap();
            let figure = column.shown.figure;
            assert!(text.contains(figure.definition), "{}: {text}", column.name);
            assert!(text.contains(&column.name), "{}: {text}", column.name);
        }
    }

    /// With the unit as text, Markdown and the report write it, and without.
    #[test]
    fn every_head_of_a_table_is_explained() {
        let table = sample::table();
        let (text, markdown) = (text(&table), markdown(&table));
        let mut heads = heads_of_markdown(&markdown);
        heads.extend(heads_of_text(&text));
        for column in COLUMNS.iter() {
            heads.push(column.shown.label());
            heads.push(format!(
                "{} {}",
                column.shown.label(),
                column.shown.figure.unit
            ));
        }
        // The short table has names and heads of its own.
        heads.extend(SHORT_COLUMNS.map(|(name, ..)| name.to_owned()));
        let findings = Findings::default();
        heads.extend(heads_of_markdown(&short_markdown(&table, &findings)));
        assert!(heads.len() > 230, "{}", heads.len());
        heads.retain(|head| explanation(head.trim()).is_err());
        assert!(heads.is_empty(), "no term: {heads:#?}");
    }

    /// The cells of each line above a line of dashes, the unit without its brackets.
    fn heads_of_markdown(page: &str) -> Vec<String> {
        let lines: Vec<&str> = page.lines().collect();
        let heads = lines.windows(2).filter(|pair| pair[1].starts_with("| ---"));
        let cells = heads.flat_map(|pair| pair[0].trim_matches('|').split('|'));
        cells
            .map(|cell| cell.replace(['\\', '(', ')'], ""))
            .collect()
    }

    /// The cells of the first line of each table: lines in which blanks keep columns apart.
    fn heads_of_text(page: &str) -> Vec<String> {
        let is_head = |line: &&str| {
            let line = line.trim_start();
            ["stream ", "#", "against ", "band "]
                .iter()
                .any(|first| line.starts_with(first))
        };
        let cells = page
            .lines()
            .filter(is_head)
            .flat_map(|line| line.trim().split("  "));
        let cells = cells.map(str::trim).filter(|cell| !cell.is_empty());
        cells.map(str::to_owned).collect()
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
            assert_eq!(column.shown.figure.id, id, "{name}");
        }
    }

    /// A sentence broken over lines of the source keeps their indent where the mark is forgotten.
    #[test]
    fn no_text_has_two_blanks_in_a_row() {
        let entries = catalogue::figures().chain(catalogue::words());
        let of_entry = |e: &'static Figure| {
            [
                e.short,
                e.label,
                e.definition,
                e.formula,
                e.source,
                e.caveat,
            ]
        };
        for text in entries.flat_map(of_entry) {
            assert!(!text.contains("  ") && !text.contains('\n'), "{text:?}");
        }
    }
}
