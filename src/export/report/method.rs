//! How the figures are computed and where that comes from; and what it takes to compute them again.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use sha2::{Digest as _, Sha256};

use super::Material;
use super::html::{escaped, paragraph, table};
use crate::analysis::catalogue::{self, Entry};
use crate::analysis::figures::Table;
use crate::recording::words::hex;
use crate::session::store;

/// Parts of the catalogue that a ride may have no use for, by the field of a segment.
const KINDS: [&str; 6] = [
    "steady",
    "sprint",
    "ramp",
    "gear_change",
    "coast",
    "heat_soak",
];

/// Every computed figure that this ride has: what it is, its formula, source and trap.
pub(super) fn body(figures: &Table) -> String {
    let absent: Vec<String> = absent_kinds(figures);
    let mut out = paragraph(
        "Every stream is put on a common grid of 1 s; each second takes the sample nearest to it within half an interval. Missing samples stay missing: they are no zeros and are not bridged. Nothing is smoothed.",
    );
    out.push_str("<dl class=\"method\">\n");
    let mut told: BTreeSet<&str> = BTreeSet::new();
    let computed = catalogue::figures().filter(|entry| !entry.formula.is_empty());
    for entry in computed {
        let unused = absent.iter().any(|prefix| entry.id.starts_with(prefix));
        if !unused && told.insert(entry.definition) {
            out.push_str(&described(entry));
        }
    }
    out.push_str("</dl>\n");
    out
}

fn absent_kinds(figures: &Table) -> Vec<String> {
    let has = |kind: &str| {
        figures.segments.iter().any(|s| match kind {
            "steady" => s.steady.is_some(),
            "sprint" => s.sprint.is_some(),
            "ramp" => s.ramp.is_some(),
            "gear_change" => s.gear_change.is_some(),
            "coast" => s.coast.is_some(),
            _ => s.heat_soak.is_some(),
        })
    };
    let absent = KINDS.into_iter().filter(|kind| !has(kind));
    absent.map(|kind| format!("segments.{kind}.")).collect()
}

fn described(entry: &Entry) -> String {
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
    for (head, text) in [("Source", entry.source), ("Does not tell", entry.limits)] {
        if !text.is_empty() {
            let _ = write!(out, " {head}: {}", escaped(text));
            if !text.ends_with('.') {
                out.push('.');
            }
        }
    }
    out.push_str("</dd></div>\n");
    out
}

/// Version and hashes: with the same session and recordings, the same version writes this page
/// again, byte for byte.
pub(super) fn fingerprint(material: &Material<'_>) -> String {
    let opened = material.opened;
    let mut rows = vec![vec![
        "session.toml, as understood".to_owned(),
        "—".to_owned(),
        hex(&Sha256::digest(store::to_text(&opened.session).as_bytes())),
    ]];
    for (stream, source) in opened.session.streams.iter().zip(&opened.sources) {
        rows.push(vec![
            stream.file.clone(),
            stream.label.clone(),
            source
                .recording()
                .map_or_else(|| "not read".to_owned(), |r| r.sha256.clone()),
        ]);
    }
    paragraph(&format!(
        "Made by truing {}. With the session folder, the same version writes this page again, byte for byte: truing report FOLDER -o FILE.html",
        env!("CARGO_PKG_VERSION")
    )) + &table("SHA-256", &["file", "stream", "SHA-256"], &rows)
}
