//! The short table: a row a segment and source, with what a tester reads; every figure stands in the
//! full one.

use super::session_notes;
use crate::analysis::agreement::Agreement;
use crate::analysis::catalogue::words::ROW;
use crate::analysis::figures::SegmentFigures;
use crate::analysis::kinds::result;
use crate::analysis::questions::{Finding, Findings};
use crate::analysis::table::Table;
use crate::analysis::verdict::figures::Verdict;
use crate::export::findings::{opening, sign};
use crate::session::{Kind, Role};
use crate::text::{
    Grid, Head, NOTHING, clock_time, hanging, inert, machine_number, number, one_line, optional,
    word_of,
};

/// Width of the page, columns.
const WIDTH: usize = 80;
/// Columns of the number of a segment, with its sign.
const NUMBER: usize = 6;

/// Where every figure is.
const MORE: &str = "Every figure: truing table SESSION --full";

/// One row.
#[derive(Clone, Debug, PartialEq)]
pub struct ShortRow {
    /// Number of the segment.
    pub id: usize,
    /// Kind.
    pub kind: Kind,
    /// Start, session time, s.
    pub from_s: f64,
    /// Length, s.
    pub length_s: f64,
    /// Set point, W.
    pub set_point_w: Option<f64>,
    /// The source under test; empty where there is none.
    pub under_test: String,
    /// What it is compared with; empty where there is nothing.
    pub reference: String,
    /// Mean of the source over the seconds of both, W.
    pub source_mean_w: Option<f64>,
    /// Mean of the reference over the same seconds, less the loss expected to the source's site, W.
    pub delivered_mean_w: Option<f64>,
    /// Net bias, %.
    pub error_percent: Option<f64>,
    /// Its expanded uncertainty, %.
    pub expanded_percent: Option<f64>,
    /// The limit, %.
    pub limit_percent: Option<f64>,
    /// What it says by the question of its kind.
    pub finding: Option<Finding>,
    /// The result of its kind, in words.
    pub result: String,
    /// The tester's note.
    pub note: String,
}

/// Columns of the CSV with their unit and what they hold.
pub const SHORT_COLUMNS: [(&str, &str, &str); 15] = [
    (ROW[0].id, "", ROW[0].definition),
    ("kind", "", "What the segment is."),
    ("from_s", "s", "Start, session time."),
    ("length_s", "s", "Length."),
    (
        "set_point_w",
        "W",
        "The power that a controlled trainer was told to hold.",
    ),
    ("under_test", "", "The source under test."),
    (
        "reference",
        "",
        "What it is compared with: a reference or the consensus.",
    ),
    (ROW[1].id, ROW[1].unit, ROW[1].definition),
    (ROW[2].id, ROW[2].unit, ROW[2].definition),
    (
        "verdict_bias_percent",
        "%",
        "Net bias: the source against what is delivered, where power is held.",
    ),
    (
        "verdict_expanded_uncertainty_percent",
        "%",
        "Its expanded uncertainty, 95 %.",
    ),
    (
        "verdict_limit_percent",
        "%",
        "What the claim allows at this power.",
    ),
    (ROW[3].id, "", ROW[3].definition),
    (ROW[4].id, "", ROW[4].definition),
    ("note", "", "The tester's note."),
];

/// Every row, by segment and source.
pub fn short_rows(table: &Table, findings: &Findings) -> Vec<ShortRow> {
    let sources = table.streams.iter().filter(|s| s.role == Role::UnderTest);
    let mut sources: Vec<&str> = sources.map(|s| s.label.as_str()).collect();
    if sources.is_empty() {
        sources.push("");
    }
    let row = |segment, (index, source): (usize, &&str)| {
        row(table, findings, segment, source, index == 0)
    };
    let of_segment = |segment| {
        sources
            .iter()
            .enumerate()
            .map(move |source| row(segment, source))
    };
    table.segments.iter().flat_map(of_segment).collect()
}

fn row(
    table: &Table,
    findings: &Findings,
    segment: &SegmentFigures,
    source: &str,
    is_first: bool,
) -> ShortRow {
    let mut verdicts = segment.verdict.iter().chain(&segment.further_verdicts);
    let verdict = verdicts.find(|v| v.under_test == source);
    let pair = compared(segment, source, verdict);
    let mean_w = pair.and_then(|pair| Some(pair.reference_mean_w? + pair.bias_w?));
    let own = segment.streams.iter().find(|stream| stream.label == source);
    let result = match verdict {
        _ if is_first => result::in_words(segment),
        Some(verdict) => result::of_further(segment, verdict),
        None => String::new(),
    };
    ShortRow {
        id: segment.id,
        kind: segment.kind,
        from_s: segment.from_s,
        length_s: segment.to_s - segment.from_s,
        set_point_w: segment.set_point_w,
        under_test: source.to_owned(),
        reference: pair.map_or_else(String::new, |pair| pair.reference.clone()),
        source_mean_w: mean_w.or_else(|| own?.mean_w),
        delivered_mean_w: pair.and_then(|pair| delivered_w(table, pair, verdict)),
        error_percent: verdict.and_then(|v| v.bias_percent),
        expanded_percent: verdict.and_then(|v| v.expanded_uncertainty_percent),
        limit_percent: verdict.and_then(|v| v.limit_percent),
        finding: findings.of_segment(segment, source),
        result,
        note: segment.note.clone(),
    }
}

/// The pair that the verdict rests on, else the last one of the source: the consensus where there is
/// one.
fn compared<'a>(
    segment: &'a SegmentFigures,
    source: &str,
    verdict: Option<&Verdict>,
) -> Option<&'a Agreement> {
    let own = || segment.agreement.iter().filter(|p| p.under_test == source);
    let judged = verdict.and_then(|v| own().find(|pair| pair.reference == v.reference));
    judged.or_else(|| own().next_back())
}

/// Mean of the reference at the source's site, W.
fn delivered_w(table: &Table, pair: &Agreement, verdict: Option<&Verdict>) -> Option<f64> {
    let reference_w = pair.reference_mean_w?;
    let net_w = verdict.and_then(|verdict| verdict.bias_w).zip(pair.bias_w);
    Some(match net_w {
        Some((net_w, bias_w)) => reference_w + bias_w - net_w,
        None => reference_w * (1.0 - table.session.allowance.percent / 100.0),
    })
}

impl ShortRow {
    /// "+4.3 ± 1.1", %; a dash where there is none.
    pub fn error(&self) -> String {
        let Some(error) = self.error_percent else {
            return NOTHING.to_owned();
        };
        let error = number(error, 1, true);
        match self.expanded_percent {
            Some(expanded) => format!("{error} ± {}", number(expanded, 1, false)),
            None => error,
        }
    }

    /// Sign and word of what it says; a dash where it says nothing.
    pub fn found(&self) -> String {
        self.finding.map_or_else(
            || NOTHING.to_owned(),
            |found| format!("{} {}", sign(found), words(found)),
        )
    }

    fn machine(&self) -> [String; 15] {
        let of = |value: Option<f64>| value.map_or_else(String::new, machine_number);
        [
            self.id.to_string(),
            self.kind.to_string(),
            machine_number(self.from_s),
            machine_number(self.length_s),
            of(self.set_point_w),
            inert(&self.under_test),
            inert(&self.reference),
            of(self.source_mean_w),
            of(self.delivered_mean_w),
            of(self.error_percent),
            of(self.expanded_percent),
            of(self.limit_percent),
            self.finding
                .map_or_else(String::new, |found| word_of(&found)),
            inert(&self.result),
            inert(&self.note),
        ]
    }
}

fn words(finding: Finding) -> String {
    word_of(&finding).replace('-', " ")
}

fn has_several_sources(rows: &[ShortRow]) -> bool {
    let first = rows.first().map(|row| &row.under_test);
    rows.iter().any(|row| Some(&row.under_test) != first)
}

/// The short table as CSV.
pub fn short_csv(table: &Table, findings: &Findings) -> String {
    let heads = SHORT_COLUMNS.map(|(name, ..)| name.to_owned());
    let rows = short_rows(table, findings)
        .into_iter()
        .map(|row| row.machine());
    crate::text::csv(std::iter::once(heads).chain(rows))
}

/// What each column of [`short_csv`] holds, itself as CSV: name, unit, meaning.
pub fn short_column_guide() -> String {
    let head = ["column", "unit", "meaning"];
    let lines = SHORT_COLUMNS.map(|(name, unit, meaning)| [name, unit, meaning]);
    let lines = std::iter::once(head).chain(lines);
    crate::text::csv(lines.map(|line| line.map(str::to_owned)))
}

/// The rows as a table for a page. The source stands in it where there are several, the set point and
/// the note where any segment has one.
pub fn short_grid(table: &Table, findings: &Findings) -> Grid {
    let rows = short_rows(table, findings);
    let several = has_several_sources(&rows);
    let is_set = rows.iter().any(|row| row.set_point_w.is_some());
    let is_noted = rows.iter().any(|row| !row.note.is_empty());
    let of = |value: Option<f64>| optional(value, 1, false);
    type Cell<'a> = Box<dyn Fn(&ShortRow) -> String + 'a>;
    let mut columns: Vec<(Head, Cell<'_>)> = vec![
        (
            Head::number(ROW[0].label, ""),
            Box::new(|r| r.id.to_string()),
        ),
        (Head::text("kind"), Box::new(|r| r.kind.to_string())),
        (Head::number("from", ""), Box::new(|r| clock_time(r.from_s))),
        (
            Head::number("length", "s"),
            Box::new(|r| number(r.length_s, 0, false)),
        ),
    ];
    if is_set {
        columns.push((
            Head::number("set point", "W"),
            Box::new(|r| optional(r.set_point_w, 0, false)),
        ));
    }
    if several {
        columns.push((
            Head::text("under test"),
            Box::new(|r| one_line(&r.under_test)),
        ));
    }
    columns.extend([
        (
            Head::number(ROW[1].label, ROW[1].unit),
            Box::new(move |r: &ShortRow| of(r.source_mean_w)) as Cell<'_>,
        ),
        (
            Head::number(ROW[2].label, ROW[2].unit),
            Box::new(move |r: &ShortRow| of(r.delivered_mean_w)),
        ),
        (Head::number("error", "%"), Box::new(ShortRow::error)),
        (Head::text(ROW[3].label), Box::new(ShortRow::found)),
        (Head::text(ROW[4].label), Box::new(|r| one_line(&r.result))),
    ]);
    if is_noted {
        columns.push((Head::text("note"), Box::new(|r| one_line(&r.note))));
    }
    let cells = |row: &ShortRow| columns.iter().map(|(_, cell)| cell(row)).collect();
    let lines: Vec<Vec<String>> = rows.iter().map(cells).collect();
    Grid::of(columns.iter().map(|(head, _)| head.clone()), lines)
}

/// Under the table: what "delivered" means where a loss is expected, and where the rest is.
fn below(table: &Table) -> String {
    if table.session.allowance.percent == 0.0 {
        return MORE.to_owned();
    }
    format!("Delivered: the references less that loss. {MORE}")
}

/// The short table for a page.
pub fn short_markdown(table: &Table, findings: &Findings) -> String {
    let mut out = format!("# {}\n\n", crate::text::escaped(&table.session.title));
    out.push_str(&format!("{}\n\n", session_notes::claim(table)));
    let opening = [format!("{}.", findings.headline), findings.remark.clone()];
    for line in opening.iter().filter(|line| !line.is_empty()) {
        out.push_str(&format!("{}\n\n", crate::text::escaped(line)));
    }
    let grid = short_grid(table, findings);
    if grid.rows.is_empty() {
        out.push_str(&format!("{NONE_TAGGED}\n\n"));
    } else {
        out.push_str(&format!("{}\n", grid.markdown()));
    }
    for caution in &table.session.clocks {
        out.push_str(&format!("{}.\n\n", crate::text::escaped(caution)));
    }
    out.push_str(&format!("{}\n", below(table)));
    out
}

/// Said in place of a table without rows.
pub(super) const NONE_TAGGED: &str =
    "None tagged yet: `truing suggest` lists some, the workbench tags them by hand.";

/// The short table for reading: 80 columns, two lines a segment, the second one its result.
pub fn short_text(table: &Table, findings: &Findings) -> String {
    let mut out = hanging("", &one_line(&table.session.title), WIDTH);
    out.push_str(&hanging("", &session_notes::claim(table), WIDTH));
    out.push('\n');
    out.push_str(&opening(findings));
    for caution in &table.session.clocks {
        out.push_str(&hanging("! ", &one_line(&format!("{caution}.")), WIDTH));
    }
    out.push('\n');
    let rows = short_rows(table, findings);
    if rows.is_empty() {
        out.push_str(&hanging("", NONE_TAGGED, WIDTH));
    } else {
        out.push_str(&lines(&rows));
    }
    out.push('\n');
    out.push_str(&hanging("", &below(table), WIDTH));
    out
}

/// Each row's numbers, and under them its result and note.
fn lines(rows: &[ShortRow]) -> String {
    let several = has_several_sources(rows);
    let of = |value: Option<f64>| optional(value, 1, false);
    let cells = |row: &ShortRow| {
        let sign = row.finding.map_or(' ', sign);
        vec![
            format!("{sign} {:>3}", row.id),
            row.kind.to_string(),
            clock_time(row.from_s),
            number(row.length_s, 0, false),
            optional(row.set_point_w, 0, false),
            of(row.source_mean_w),
            of(row.delivered_mean_w),
            row.error(),
        ]
    };
    let heads = [
        Head::text("  no."),
        Head::text("kind"),
        Head::number("from", ""),
        Head::number("length", "s"),
        Head::number("set", "W"),
        Head::number("source", "W"),
        Head::number("delivered", "W"),
        Head::number("error", "%"),
    ];
    let grid = Grid::of(heads, rows.iter().map(cells).collect()).aligned("", WIDTH);
    let mut numbers = grid.lines();
    let mut out = String::new();
    let mut push = |line: &str| {
        out.push_str(line);
        out.push('\n');
    };
    push(numbers.next().unwrap_or_default());
    for (row, line) in rows.iter().zip(numbers) {
        push(line);
        let source = Some(one_line(&row.under_test)).filter(|_| several);
        // The sign of a held block speaks of its error, which stands above.
        let found = row
            .finding
            .filter(|_| row.error_percent.is_none())
            .map(words);
        let result = Some(one_line(&row.result)).filter(|text| !text.is_empty());
        let said = [source, found, result];
        let said: Vec<String> = said.into_iter().flatten().collect();
        let note = Some(&row.note).filter(|note| !note.is_empty());
        let note = note.map(|note| format!("note: {}", one_line(note)));
        let said = Some(said.join(": ")).filter(|text| !text.is_empty());
        let indent = " ".repeat(NUMBER + 1);
        for text in [said, note].into_iter().flatten() {
            for line in hanging(&indent, &text, WIDTH).lines() {
                push(line);
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::questions::{Answer, Question};
    use crate::export::table::sample;

    fn judged() -> Findings {
        let answer = |question, finding, id| {
            Answer::new(question, "=trainer|1", finding, String::new()).in_segments([id])
        };
        Findings {
            headline: "Reads 3.5 % high at 250 W".into(),
            remark: "Not ridden: heat.".into(),
            tagging: Default::default(),
            answers: vec![
                answer(Question::Accuracy, Finding::Fault, 1),
                answer(Question::Sprint, Finding::CannotTell, 2),
            ],
        }
    }

    #[test]
    fn text_is_compared_whole() {
        insta::assert_snapshot!(short_text(&sample::table(), &judged()));
    }

    #[test]
    fn markdown_is_compared_whole() {
        insta::assert_snapshot!(short_markdown(&sample::table(), &judged()));
    }

    #[test]
    fn csv_is_compared_whole() {
        insta::assert_snapshot!(short_csv(&sample::table(), &judged()));
    }

    #[test]
    fn text_fits_eighty_columns_with_several_sources() {
        use crate::text::columns;
        let mut table = sample::table();
        let mut second = table.streams[0].clone();
        second.label = "a hub with a rather long name".into();
        table.streams.push(second);
        let text = short_text(&table, &judged());
        assert!(text.contains("long name"), "{text}");
        for line in text.lines() {
            assert!(columns(line) <= 80, "{} columns: {line}", columns(line));
        }
    }

    #[test]
    fn without_a_segment_it_says_what_to_do() {
        let table = Table::default();
        assert!(short_text(&table, &judged()).contains("None tagged yet"));
        assert!(short_markdown(&table, &judged()).contains("None tagged yet"));
        assert_eq!(short_csv(&table, &judged()).lines().count(), 1);
    }
}
