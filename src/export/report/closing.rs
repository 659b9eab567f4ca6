//! The last page: references, clocks, what was tested, how it was judged, the words used, and what it
//! takes to write the page again.

use std::fmt::Write as _;

use super::evidence::{answers_of, framed};
use super::parts::{Material, optional};
use super::source;
use crate::analysis::catalogue;
use crate::analysis::questions::Question;
use crate::export::page::html::{list, paragraph, set, table, terms};
use crate::plan::CAUTIONS;
use crate::text::{Grid, Head};

/// Whether the references can judge, whether all recordings share one time line, and what was tested.
pub(super) fn references(material: &Material<'_>) -> String {
    let answers = answers_of(material, &[Question::References, Question::Clocks]);
    let is_evidence = |id: usize| answers.iter().any(|a| a.segments.contains(&id));
    let found = material.table.segments.iter();
    let found = found.filter(|segment| is_evidence(segment.id));
    let found = found.filter_map(|segment| {
        let references = segment.references.as_ref()?;
        Some((segment, references.pair.as_ref()?, references))
    });
    let found: Vec<_> = found
        .filter(|(.., references)| references.en_number.is_some())
        .collect();
    let mut pairs: Vec<&[String; 2]> = found.iter().map(|(_, pair, _)| *pair).collect();
    pairs.dedup();
    let several = pairs.len() > 1;
    let rows = found.iter().map(|(segment, pair, references)| {
        let name = match several {
            true => format!(
                "{} {}, {} and {}",
                segment.id, segment.kind, pair[0], pair[1]
            ),
            false => format!("{} {}", segment.id, segment.kind),
        };
        vec![
            name,
            optional(references.difference_percent, 2, true),
            optional(references.en_number.map(f64::abs), 2, false),
        ]
    });
    let heads = [
        Head::text("segment"),
        Head::number("differ by", "%"),
        Head::number("E_n", ""),
    ];
    let caption = match pairs.as_slice() {
        [[one, other]] => format!("{one} and {other}: up to 1 they agree"),
        _ => "References against each other: up to 1 they agree".to_owned(),
    };
    let agree = table(&caption, &Grid::of(heads, rows.collect()));
    let body = format!(
        "<div class=\"pair\">\n<div class=\"half\">\n{agree}</div>\n<div class=\"half\">\n{}{}</div>\n</div>\n",
        source::streams_in_short(material),
        tested(material)
    );
    framed("references", "References and clocks", &answers, &body)
}

/// Facts of the test, and what was met in reading.
fn tested(material: &Material<'_>) -> String {
    let facts = material.opened.session.facts.iter();
    let facts: Vec<(String, String)> = facts
        .filter(|fact| fact.key != "origin")
        .map(|fact| (fact.key.clone(), fact.value.clone()))
        .collect();
    let mut out = list(material.opened.session.clock_cautions());
    out.push_str(&terms(&facts));
    let remarks = material.opened.remarks();
    if !remarks.is_empty() {
        out.push_str(&paragraph("Met in reading the recordings:"));
        out.push_str(&list(remarks));
    }
    out.push_str(&source::not_used(material));
    out
}

/// How it was judged, and what to beware of.
pub(super) fn method() -> String {
    let method = paragraph(
        "Every second counts as recorded: nothing is smoothed, filled or set to zero. Limits of a mean allow for neighbouring seconds being alike.",
    ) + &paragraph(
        "With b the error, U its uncertainty and T the limit: a fault if |b| − U > T, fine if |b| + U ≤ T, else it cannot be told (ILAC-G8:09/2019, guard band U). Several blocks are judged together, so that chance among many accuses nobody. A limit without a claim or a standard behind it is called common practice.",
    );
    format!(
        "<div class=\"pair\">\n<div class=\"half\">\n{method}</div>\n<div class=\"half\">\n<h3 class=\"first\">Cautions</h3>\n{}</div>\n</div>\n",
        list(CAUTIONS)
    )
}

/// Words that the page explains where it uses them: the figure or word, and how it stands in the page.
const TERMS: [(&str, &str); 14] = [
    ("allowance", "allowance"),
    ("segments.sprint.ceiling_w", "ceiling"),
    ("claim", "claim"),
    ("segments.sprint.delay_s", "dead time"),
    ("segments.steady.drift_w_per_min", "drift"),
    ("segments.references.en_number", "e_n"),
    ("segments.sprint.gain", "gain"),
    ("segments.heat_soak.change_percent", "heat change"),
    ("consensus", "consensus"),
    ("session time", "session time"),
    ("segments.ramp.steps.settling_s", "settling"),
    ("streams.skew_ppm", "skew"),
    ("segments.sprint.time_constant_s", "time constant"),
    ("segments.verdict.expanded_uncertainty_percent", "u"),
];

/// What the terms mean that stand in `page`.
pub(super) fn glossary(page: &str) -> String {
    let visible = visible(page);
    let mut out = String::new();
    let used = TERMS.iter().filter(|(_, word)| is_used(word, &visible));
    let entries = used.filter_map(|(id, _)| catalogue::figure(id));
    for entry in entries {
        let _ = writeln!(
            out,
            "<div><dt>{}</dt><dd>{}</dd></div>",
            set(entry.label),
            set(first_sentence(entry.definition))
        );
    }
    if out.is_empty() {
        return out;
    }
    format!("<dl class=\"glossary\">\n{out}</dl>\n")
}

/// What a term is, without what else there is to know of it.
fn first_sentence(text: &str) -> &str {
    let end = text.find(". ").map_or(text.len(), |at| at + 1);
    text.get(..end).unwrap_or(text)
}

fn is_used(word: &str, visible: &str) -> bool {
    let mut places = visible.match_indices(word);
    places.any(|(at, _)| {
        let before = visible[..at].chars().next_back();
        let after = visible[at + word.len()..].chars().next();
        !before.is_some_and(char::is_alphanumeric) && !after.is_some_and(char::is_alphanumeric)
    })
}

/// The words of a page without its mark-up, in lower case.
fn visible(page: &str) -> String {
    let mut out = String::with_capacity(page.len() / 2);
    let mut inside = false;
    for c in page.replace("E<sub>n</sub>", "e_n").chars() {
        match c {
            '<' => inside = true,
            '>' => {
                inside = false;
                out.push(' ');
            }
            c if !inside => out.extend(c.to_lowercase()),
            _ => {}
        }
    }
    out
}
