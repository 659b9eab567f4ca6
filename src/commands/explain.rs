//! `truing explain`: what a figure means.

use super::{Exit, Failure, Output};
use crate::analysis::catalogue::{self, Entry, Found};

/// Explain a figure or a word: what it is, how it is computed, where that comes from, and what it
/// does not tell. Without a term, list all.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// A figure as it is called on screen or in the JSON (`bias_w`, `agreement.ccc`, `E_n`), or a
    /// word (`consensus`, `inconclusive`).
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
    match catalogue::find(&term) {
        Found::Named(entries) => {
            let texts: Vec<String> = merged(&entries)
                .iter()
                .map(|group| explained(group))
                .collect();
            output.result(&texts.join("\n"))?;
            Ok(Exit::Done)
        }
        Found::Near(near) => Err(Failure::CouldNot(unknown(&term, &near))),
    }
}

/// Entries that say the same (one figure at two places of the JSON) together.
fn merged(entries: &[&'static Entry]) -> Vec<Vec<&'static Entry>> {
    let mut groups: Vec<Vec<&'static Entry>> = Vec::new();
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

fn explained(group: &[&'static Entry]) -> String {
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
    line("does not tell", entry.limits);
    let fields: Vec<&str> = group
        .iter()
        .map(|e| e.id)
        .filter(|id| id.contains('.'))
        .collect();
    line("in the JSON", &fields.join(", "));
    text
}

fn unknown(term: &str, near: &[&'static Entry]) -> String {
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
    let line = |entry: &Entry| {
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
