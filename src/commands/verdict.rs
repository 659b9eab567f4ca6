//! `truing verdict`: the claim against the evidence.

use std::fmt::Write as _;
use std::path::PathBuf;

use serde::Serialize;
use serde_json::{Value, to_value};

use super::output::Printed;
use super::{Exit, Failure, Format, Output, open_session};
use crate::analysis::error_curve::ErrorCurve;
use crate::analysis::figures::SegmentFigures;
use crate::analysis::questions::{Answer, Findings};
use crate::analysis::table::Table;
use crate::analysis::verdict::conformity::Outcome;
use crate::analysis::verdict::figures::Verdict;
use crate::analysis::verdict::overall;
use crate::analysis::verdict::overall::Family;
use crate::analysis::{catalogue, ride, table};
use crate::export::findings;
use crate::session::{Claim, Role, Session};
use crate::suggest::answered;
use crate::text::{clock_time, escaped, inert, one_line, word_of};
use crate::timeline::Aligned;

/// Judge the claim of the source under test by the tagged segments.
///
/// Every question of `truing findings` is answered first, then comes each segment with its reasons and
/// its uncertainty budget. A claim is tested on steady blocks and heat soaks of 60 s or more.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The session folder.
    session: PathBuf,
    /// Exit with code 3 where any segment does not conform.
    #[arg(long)]
    strict: bool,
    /// How the result is printed.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// What this verdict is not (design: cautions shown to users).
const CAUTION: &str = "This is evidence from one ride on one unit. It is no calibration certificate, which takes an accredited laboratory.";

/// The JSON of this subcommand.
#[derive(Debug, Serialize)]
struct Judged<'a> {
    headline: &'a str,
    remark: &'a str,
    questions: &'a [Answer],
    answers: Vec<String>,
    segments: Vec<JudgedSegment<'a>>,
    families: &'a [Family],
    error_curve: &'a [ErrorCurve],
    caution: &'static str,
}

/// One segment of it.
#[derive(Debug, Serialize)]
struct JudgedSegment<'a> {
    id: usize,
    kind: crate::session::Kind,
    from_s: f64,
    to_s: f64,
    verdicts: Vec<&'a Verdict>,
}

/// What there is to print.
struct Printable<'s> {
    session: &'s Session,
    asked: Findings,
    figures: Table,
}

impl Printed for Printable<'_> {
    fn text(&self) -> String {
        text(&self.asked, &self.figures)
    }

    fn json(&self) -> impl Serialize {
        Judged {
            headline: &self.asked.headline,
            remark: &self.asked.remark,
            questions: &self.asked.answers,
            answers: answers(self.session, &self.figures),
            segments: self.figures.segments.iter().map(judged_segment).collect(),
            families: &self.figures.families,
            error_curve: &self.figures.error_curve,
            caution: CAUTION,
        }
    }

    fn rows(&self) -> Vec<Vec<String>> {
        rows(&self.figures)
    }

    fn markdown(&self) -> String {
        markdown(&self.asked, &self.figures)
    }
}

/// Computes, prints, and says by the exit code what `--strict` asks for.
///
/// # Errors
/// [`Failure`] where the session cannot be used or stdout cannot be written.
pub fn run(arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    let opened = open_session(&arguments.session, output)?;
    let aligned = Aligned::new(&opened);
    let found = ride::findings(&aligned);
    let figures = table::table_with(&opened.session, &aligned, &found);
    let asked = answered(&opened.session, &aligned, &found, &figures);
    if figures.segments.is_empty() {
        output.message(
            "truing: no segment is tagged yet: tag some in the workbench, or take what `truing suggest --write` adds",
        );
    }
    let judged = Printable {
        session: &opened.session,
        asked,
        figures,
    };
    output.print(&judged, arguments.format)?;
    let fails = |s: &SegmentFigures| verdicts(s).any(|v| v.outcome == Outcome::DoesNotConform);
    if arguments.strict && judged.figures.segments.iter().any(fails) {
        return Ok(Exit::DoesNotConform);
    }
    Ok(Exit::Done)
}

fn verdicts(segment: &SegmentFigures) -> impl Iterator<Item = &Verdict> {
    segment.verdict.iter().chain(&segment.further_verdicts)
}

fn judged_segment(segment: &SegmentFigures) -> JudgedSegment<'_> {
    JudgedSegment {
        id: segment.id,
        kind: segment.kind,
        from_s: segment.from_s,
        to_s: segment.to_s,
        verdicts: verdicts(segment).collect(),
    }
}

/// One sentence a source under test; one that says what is missing where there is none.
fn answers(session: &Session, figures: &Table) -> Vec<String> {
    let answer = |index: usize| {
        let stream = session.streams.get(index)?;
        let claim: Claim = session.claim_of(index).unwrap_or_default();
        Some(overall::answer(
            claim,
            figures.error_curve_of(&stream.label)?,
        ))
    };
    let answers: Vec<String> = session
        .with_role(Role::UnderTest)
        .filter_map(answer)
        .collect();
    if answers.is_empty() {
        return vec![
            "Nothing is under test: give one stream role = \"under-test\" in session.toml"
                .to_owned(),
        ];
    }
    answers
}

/// A figure as the catalogue prints it, with its unit; a dash where there is none.
fn printed(field: &str, value: Option<f64>) -> String {
    let entry = catalogue::figure(&format!("segments.verdict.{field}"));
    match (value, entry) {
        (Some(value), Some(entry)) if entry.unit.is_empty() => entry.print(value),
        (Some(value), Some(entry)) => format!("{} {}", entry.print(value), entry.unit),
        _ => "–".to_owned(),
    }
}

/// Bias, uncertainty and limit: in % where there is a percentage, else in W.
fn in_its_unit(verdict: &Verdict) -> [String; 3] {
    if verdict.bias_percent.is_some() {
        [
            printed("bias_percent", verdict.bias_percent),
            printed(
                "expanded_uncertainty_percent",
                verdict.expanded_uncertainty_percent,
            ),
            printed("limit_percent", verdict.limit_percent),
        ]
    } else {
        [
            printed("bias_w", verdict.bias_w),
            printed("expanded_uncertainty_w", verdict.expanded_uncertainty_w),
            printed("limit_w", verdict.limit_w),
        ]
    }
}

fn text(asked: &Findings, figures: &Table) -> String {
    let mut text = findings::text(asked);
    for segment in &figures.segments {
        for verdict in verdicts(segment) {
            text.push('\n');
            text.push_str(&segment_text(segment, verdict));
        }
    }
    let _ = writeln!(text, "\n{CAUTION}");
    text
}

fn segment_text(segment: &SegmentFigures, verdict: &Verdict) -> String {
    let mut text = format!(
        "{}  {}  {}–{}  {}: {}\n",
        segment.id,
        segment.kind,
        clock_time(segment.from_s),
        clock_time(segment.to_s),
        one_line(&verdict.under_test),
        word_of(&verdict.outcome),
    );
    for reason in verdict.sentences() {
        let _ = writeln!(text, "   {}", one_line(&reason));
    }
    if verdict.conformance_probability.is_some() {
        let probability = printed("conformance_probability", verdict.conformance_probability);
        let _ = writeln!(
            text,
            "   against {}, {} s; probability inside {probability}",
            one_line(&verdict.reference),
            verdict.n
        );
    }
    for line in &verdict.budget {
        let standard = match line.standard_uncertainty_percent {
            Some(_) => printed(
                "budget.standard_uncertainty_percent",
                line.standard_uncertainty_percent,
            ),
            None => printed("budget.standard_uncertainty_w", line.standard_uncertainty_w),
        };
        let dof = line.degrees_of_freedom.map_or(String::new(), |_| {
            let printed = printed("budget.degrees_of_freedom", line.degrees_of_freedom);
            format!(", {printed} degrees of freedom")
        });
        let _ = writeln!(
            text,
            "   u {standard:>9}  {} ({}{dof})",
            one_line(&line.source),
            line.distribution
        );
    }
    text
}

fn markdown(asked: &Findings, figures: &Table) -> String {
    let mut text = findings::markdown(asked);
    text.push('\n');
    text.push_str(
        "| segment | kind | from | to | source | verdict | bias | U | limit | probability inside | reasons |\n",
    );
    text.push_str("| ---: | --- | ---: | ---: | --- | --- | ---: | ---: | ---: | ---: | --- |\n");
    for segment in &figures.segments {
        for verdict in verdicts(segment) {
            let [bias, uncertainty, limit] = in_its_unit(verdict);
            let _ = writeln!(
                text,
                "| {} | {} | {} | {} | {} | {} | {bias} | {uncertainty} | {limit} | {} | {} |",
                segment.id,
                segment.kind,
                clock_time(segment.from_s),
                clock_time(segment.to_s),
                escaped(&verdict.under_test),
                word_of(&verdict.outcome),
                printed("conformance_probability", verdict.conformance_probability),
                escaped(&verdict.sentences().join("; ")),
            );
        }
    }
    let _ = writeln!(text, "\n{CAUTION}");
    text
}

/// One row a segment and source under test; the fields of both as the JSON names them.
fn rows(figures: &Table) -> Vec<Vec<String>> {
    const OF_SEGMENT: [&str; 4] = ["id", "kind", "from_s", "to_s"];
    const OF_VERDICT: [&str; 13] = [
        "under_test",
        "reference",
        "n",
        "outcome",
        "bias_percent",
        "expanded_uncertainty_percent",
        "limit_percent",
        "conformance_probability",
        "bias_w",
        "expanded_uncertainty_w",
        "limit_w",
        "coverage_factor",
        "reasons",
    ];
    let heads: Vec<String> = OF_SEGMENT
        .iter()
        .chain(&OF_VERDICT)
        .map(|h| (*h).to_owned())
        .collect();
    let rows = figures.segments.iter().flat_map(|segment| {
        verdicts(segment).map(move |verdict| {
            let [segment, verdict] =
                [to_value(segment), to_value(verdict)].map(Result::unwrap_or_default);
            let cells = OF_SEGMENT.iter().map(|field| cell(&segment[field]));
            cells
                .chain(OF_VERDICT.iter().map(|field| cell(&verdict[field])))
                .collect()
        })
    });
    std::iter::once(heads).chain(rows).collect()
}

fn cell(value: &Value) -> String {
    match value {
        Value::Number(number) => number.as_f64().map_or_else(String::new, |v| v.to_string()),
        Value::String(text) => inert(text),
        Value::Array(items) => {
            let texts: Vec<&str> = items.iter().filter_map(Value::as_str).collect();
            inert(&texts.join("; "))
        }
        _ => String::new(),
    }
}
