//! The answers to the tester's questions, as text, Markdown and CSV.

use std::fmt::Write as _;

use crate::analysis::questions::{Answer, Finding, Findings};
use crate::text::{Grid, Head, escaped, hanging, inert, machine_number, one_line, word_of};

/// Width of the page, columns.
const WIDTH: usize = 80;

/// Width of the column of questions.
const KEY: usize = 12;

/// The sign of an outcome.
pub const fn sign(finding: Finding) -> char {
    match finding {
        Finding::Fault => '✗',
        Finding::CannotTell => '?',
        Finding::Fine => '✓',
        Finding::NotRidden => '·',
    }
}

/// Headline and remark, the opening of every surface, wrapped at 80 columns.
pub fn opening(findings: &Findings) -> String {
    let mut out = hanging("", &one_line(&format!("{}.", findings.headline)), WIDTH);
    if !findings.remark.is_empty() {
        out.push_str(&hanging("", &one_line(&findings.remark), WIDTH));
    }
    out
}

/// The answers for reading: the headline, then a line a question.
pub fn text(findings: &Findings) -> String {
    let mut out = opening(findings);
    out.push('\n');
    let several = findings.has_several_sources();
    for answer in findings.ranked() {
        let head = format!("{} {:<KEY$}", sign(answer.outcome), answer.question.key());
        let said = one_line(&said(answer, several));
        out.push_str(&hanging(&head, &said, WIDTH));
    }
    out
}

/// A table for a page under the headline.
pub fn markdown(findings: &Findings) -> String {
    let mut out = format!("{}.\n\n", escaped(&findings.headline));
    if !findings.remark.is_empty() {
        let _ = writeln!(out, "{}\n", escaped(&findings.remark));
    }
    out.push_str("| | question | answer |\n| --- | --- | --- |\n");
    let several = findings.has_several_sources();
    for answer in findings.ranked() {
        let _ = writeln!(
            out,
            "| {} {} | {} | {} |",
            sign(answer.outcome),
            word_of(&answer.outcome),
            answer.question.key(),
            escaped(&said(answer, several))
        );
    }
    out
}

/// Sign and word, question, answer: for a page.
pub fn grid(findings: &Findings) -> Grid {
    let several = findings.has_several_sources();
    let rows = findings.ranked().into_iter().map(|answer| {
        vec![
            answer.question.asks().to_owned(),
            format!(
                "{}\u{a0}{}",
                sign(answer.outcome),
                word_of(&answer.outcome).replace('-', " ")
            ),
            said(answer, several),
        ]
    });
    let heads = ["question", "", "answer"].map(Head::text);
    Grid::of(heads, rows.collect::<Vec<_>>())
}

/// The heads of the CSV.
pub const HEADS: [&str; 14] = [
    "question",
    "source",
    "outcome",
    "sentence",
    "value",
    "ci95_low",
    "ci95_high",
    "unit",
    "limit",
    "limit_from",
    "segments",
    "from_s",
    "to_s",
    "would_tell",
];

/// The rows of the CSV, one an answer, in the order of the list.
pub fn rows(findings: &Findings) -> impl Iterator<Item = [String; 14]> {
    let number = |value: Option<f64>| value.map_or_else(String::new, machine_number);
    findings.answers.iter().map(move |answer| {
        let ids: Vec<String> = answer.segments.iter().map(usize::to_string).collect();
        [
            answer.question.key().to_owned(),
            inert(&answer.source),
            word_of(&answer.outcome),
            inert(&answer.sentence),
            number(answer.value),
            number(answer.interval.map(|[low, _]| low)),
            number(answer.interval.map(|[_, high]| high)),
            answer.unit.to_owned(),
            number(answer.limit),
            answer
                .limit_from
                .map_or_else(String::new, |from| word_of(&from)),
            ids.join(" "),
            number(answer.from_s),
            number(answer.to_s),
            inert(answer.would_tell.as_deref().unwrap_or_default()),
        ]
    })
}

/// The sentence, with the source where there are several.
fn said(answer: &Answer, several: bool) -> String {
    if several && !answer.source.is_empty() {
        format!("{}: {}", answer.source, answer.sentence)
    } else {
        answer.sentence.clone()
    }
}
