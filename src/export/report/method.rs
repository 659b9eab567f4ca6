//! How the figures are computed and where that comes from; and what it takes to compute them again.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use serde_json::Value;
use sha2::{Digest as _, Sha256};

use super::parts::Material;
use crate::analysis::catalogue;
use crate::analysis::figure::Figure;
use crate::analysis::table::Table;
use crate::export::page::html::{escaped, paragraph, set, table};
use crate::session::to_text;
use crate::text::{Grid, Head, hex};

/// Every computed figure that this ride has: what it is, its formula, source and trap.
pub(super) fn body(figures: &Table) -> String {
    let all = serde_json::to_value(figures).unwrap_or_default();
    let has = |id: &str| {
        let path: Vec<&str> = id.split('.').collect();
        path.first() != Some(&"segments") || is_told(&all, &path)
    };
    let mut out = paragraph(
        "Every stream is put on a common grid of 1 s; each second takes the sample nearest to it within half an interval.",
    );
    out.push_str("<dl class=\"method\">\n");
    let mut reported: BTreeSet<&str> = BTreeSet::new();
    let computed = catalogue::figures().filter(|entry| !entry.formula.is_empty());
    for entry in computed {
        if has(entry.id) && reported.insert(entry.definition) {
            out.push_str(&described(entry));
        }
    }
    out.push_str("</dl>\n");
    out
}

/// Whether anything stands at `path` of `value`, in any item of its lists.
fn is_told(value: &Value, path: &[&str]) -> bool {
    match (value, path) {
        (Value::Array(items), _) => items.iter().any(|item| is_told(item, path)),
        (Value::Null, _) => false,
        (value, [first, rest @ ..]) => value.get(first).is_some_and(|v| is_told(v, rest)),
        (_, []) => true,
    }
}

fn described(entry: &Figure) -> String {
    let unit = if entry.unit.is_empty() {
        String::new()
    } else {
        format!(", {}", entry.unit)
    };
    let mut out = format!(
        "<div><dt>{}</dt><dd>{}",
        escaped(&format!("{}{unit}", entry.label)),
        escaped(entry.definition)
    );
    let _ = write!(
        out,
        " Formula: <code>{}</code>.",
        escaped(&checked(entry.formula))
    );
    let source = cited(entry.source);
    for (head, text) in [("Source", source.as_str()), ("Does not tell", entry.caveat)] {
        if !text.is_empty() {
            let _ = write!(out, " {head}: {}", set(text));
            if !text.ends_with('.') {
                out.push('.');
            }
        }
    }
    out.push_str("</dd></div>\n");
    out
}

/// What stands there as far as it was checked: a citation that nobody looked up is none.
fn checked(text: &str) -> String {
    const UNCHECKED: &str = "from memory";
    let has_year = |part: &str| {
        let bytes = part.as_bytes();
        bytes.windows(4).any(|w| w.iter().all(u8::is_ascii_digit))
    };
    let mut out = text.to_owned();
    while let Some(at) = out.find(UNCHECKED) {
        let (before, after) = out.split_at(at);
        let opening = before.rfind('(').unwrap_or(0);
        let end = after.find(')').map_or(out.len(), |end| at + end + 1);
        let bracket = out.get(opening..end).unwrap_or_default();
        let clause = out.get(..opening).unwrap_or_default();
        let clause = clause.rfind("; ").map_or(0, |from| from + 2);
        let cited = out.get(clause..opening).unwrap_or_default();
        // In the bracket stands the citation, or that the one before it was not looked up.
        let from = match !has_year(bracket) && has_year(cited) {
            true => clause,
            false => opening,
        };
        out.replace_range(from..end, "");
    }
    let parts = out.split("; ").map(str::trim);
    let parts: Vec<&str> = parts.filter(|part| !part.is_empty()).collect();
    parts.join("; ").replace(" ;", ";")
}

/// The source of a figure; where none was checked, common practice.
fn cited(source: &str) -> String {
    match (source.is_empty(), checked(source)) {
        (false, left) if left.is_empty() => "common practice".to_owned(),
        (_, left) => left,
    }
}

/// Version and hashes: with the same session and recordings, the same version writes this page
/// again, byte for byte.
pub(super) fn fingerprint(material: &Material<'_>) -> String {
    let opened = material.opened;
    let mut rows = vec![vec![
        "session.toml, as understood".to_owned(),
        hex(&Sha256::digest(to_text(&opened.session).as_bytes())),
    ]];
    for (stream, source) in opened.session.streams.iter().zip(&opened.sources) {
        rows.push(vec![
            stream.file.clone(),
            source
                .recording()
                .map_or_else(|| "not read".to_owned(), |r| r.sha256.clone()),
        ]);
    }
    let made = format!(
        "<p class=\"mute\">Made by truing {}. The same version writes this page again from the session folder, byte for byte: <code>truing report FOLDER -o FILE.html</code>. Every figure and picture: <code>--full</code>. What a figure means: <code>truing explain TERM</code>.</p>\n",
        env!("CARGO_PKG_VERSION")
    );
    made + &table("", &Grid::of(["file", "SHA-256"].map(Head::text), rows))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::export::table::sample;

    #[test]
    fn a_citation_that_nobody_looked_up_is_left_out() {
        assert_eq!(cited("IEEE 181 (from memory)"), "IEEE 181");
        assert_eq!(cited("A 1983, B 15:687 (from memory)"), "common practice");
        assert_eq!(
            cited("A 1936, B 28:437 (from memory); the limit is judgement"),
            "the limit is judgement"
        );
        assert_eq!(
            cited("A 1982, B 24:295 (the worst has to pass; from memory)"),
            "common practice"
        );
        assert_eq!(
            cited("least squares (on a short ride: A 1994, ch. 9, from memory); simulated"),
            "least squares; simulated"
        );
        assert_eq!(cited(""), "");
    }

    #[test]
    fn only_figures_that_stand_somewhere_are_explained() {
        let mut table = sample::table();
        let term = "<dt>peak ratio";
        assert!(body(&table).contains(term));
        for segment in &mut table.segments {
            if let Some(sprint) = &mut segment.of_kind.sprint {
                sprint.peak_ratio = None;
            }
        }
        assert!(!body(&table).contains(term));
        assert!(body(&table).contains("<dt>dead time"));
    }
}
