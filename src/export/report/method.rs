//! How the figures are computed and where that comes from; and what it takes to compute them again.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use serde_json::Value;
use sha2::{Digest as _, Sha256};

use super::html::{escaped, paragraph, set, table};
use super::parts::Material;
use crate::analysis::catalogue;
use crate::analysis::figure::Figure;
use crate::analysis::table::Table;
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
    let _ = write!(out, " Formula: <code>{}</code>.", escaped(entry.formula));
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

/// What a source rests on that was checked; a citation that nobody looked up is none, and what is left
/// without one is common practice.
fn cited(source: &str) -> String {
    let checked = |part: &&str| !part.contains("from memory");
    let parts: Vec<&str> = source.split("; ").filter(checked).collect();
    match (source.is_empty(), parts.is_empty()) {
        (false, true) => "common practice".to_owned(),
        _ => parts.join("; "),
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
