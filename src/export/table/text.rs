//! The table for reading: 80 columns, the answer first, then a paragraph a segment.

use super::columns::{Group, View, view};
use super::rows::{Row, rows_of};
use super::session_notes;
use crate::analysis::agreement::Agreement;
use crate::analysis::figures::SegmentFigures;
use crate::analysis::table::Table;
use crate::analysis::verdict::conformity::Outcome;
use crate::analysis::verdict::figures::Verdict;
use crate::text::{
    Grid, Head, NOTHING, clock_time, hanging, interval, machine_number, number, one_line, optional,
    word_of,
};

/// Width of the page, columns.
const WIDTH: usize = 80;

/// The whole table.
pub fn text(table: &Table) -> String {
    let mut out = hanging("", &one_line(&table.session.title), WIDTH);
    out.push_str(&hanging("", &session_notes::claim(table), WIDTH));
    out.push_str(&heading("Streams"));
    out.push_str(&streams(table));
    out.push_str(&heading("Segments"));
    out.push_str(&overview(table));
    for (title, notes) in session_notes::sections(table) {
        out.push_str(&heading(title));
        for note in notes {
            out.push_str(&hanging("- ", &one_line(&note), WIDTH));
        }
    }
    let bands = session_notes::bands(table);
    if !bands.rows.is_empty() {
        out.push_str(&heading("Bias by band"));
        out.push_str(&bands.aligned("", WIDTH));
    }
    for segment in &table.segments {
        out.push_str(&details(table, segment));
    }
    out
}

fn heading(title: &str) -> String {
    format!("\n{}\n", title.to_uppercase())
}

fn streams(table: &Table) -> String {
    let mut out = Grid::new([
        Head::text("stream"),
        Head::text("role"),
        Head::text("site"),
        Head::number("offset", "s"),
        Head::number("skew", "ppm"),
        Head::number("samples", ""),
        Head::number("every", "s"),
        Head::number("dropouts", ""),
    ]);
    for stream in &table.streams {
        out.push(vec![
            one_line(&stream.label),
            stream.role.word().to_owned(),
            stream.site.map_or(NOTHING, |site| site.word()).to_owned(),
            number(stream.offset_s, 2, true),
            number(stream.skew_ppm, 1, true),
            stream.samples.to_string(),
            optional(stream.median_interval_s, 2, false),
            stream.dropouts.len().to_string(),
        ]);
    }
    out.aligned("", WIDTH)
}

fn has_allowance(table: &Table) -> bool {
    table.session.allowance.percent != 0.0
}

fn overview(table: &Table) -> String {
    if table.segments.is_empty() {
        return hanging(
            "",
            "None tagged yet: `truing suggest` proposes some, the workbench tags them by hand.",
            WIDTH,
        );
    }
    let mut out = Grid::new([
        Head::number("#", ""),
        Head::text("kind"),
        Head::number("from", ""),
        Head::number("length", "s"),
        Head::number("set", "W"),
        // The verdict is on what the allowance leaves.
        Head::number(if has_allowance(table) { "net" } else { "bias" }, "%"),
        Head::number("± U", "%"),
        Head::text("verdict"),
    ]);
    for segment in &table.segments {
        let verdict = segment.verdict.as_ref();
        out.push(vec![
            segment.id.to_string(),
            segment.kind.word().to_owned(),
            clock_time(segment.from_s),
            machine_number(((segment.to_s - segment.from_s) * 10.0).round() / 10.0),
            optional(segment.set_point_w, 0, false),
            optional(verdict.and_then(|v| v.bias_percent), 2, true),
            optional(
                verdict.and_then(|v| v.expanded_uncertainty_percent),
                2,
                false,
            ),
            verdict.map_or_else(|| NOTHING.to_owned(), |v| signed_outcome(v.outcome)),
        ]);
    }
    out.aligned("", WIDTH)
}

/// The outcome's sign and word.
pub(crate) fn signed_outcome(outcome: Outcome) -> String {
    let sign = match outcome {
        Outcome::Conforms => "✓",
        Outcome::DoesNotConform => "✗",
        Outcome::Inconclusive => "?",
        Outcome::ReferencesDisagree => "≠",
        Outcome::NotApplicable => "·",
    };
    format!("{sign} {}", word_of(&outcome))
}

fn details(table: &Table, segment: &SegmentFigures) -> String {
    let set_point = segment.set_point_w.map_or_else(String::new, |w| {
        format!(", set point {} W", machine_number(w))
    });
    let mut out = format!(
        "\n{} {} FROM {} TO {}{set_point}\n",
        segment.id,
        segment.kind.word().to_uppercase(),
        clock_time(segment.from_s),
        clock_time(segment.to_s)
    );
    if !segment.note.is_empty() {
        out.push_str(&hanging("  note: ", &one_line(&segment.note), WIDTH));
    }
    for verdict in segment.verdict.iter().chain(&segment.further_verdicts) {
        out.push_str(&verdict_lines(verdict));
    }
    out.push_str(&agreement(segment));
    out.push_str(&stream_means(segment));
    let rows = rows_of(table, segment);
    for group in Group::AFTER_ROW {
        if matches!(group, Group::Verdict | Group::Agreement | Group::Streams) {
            continue;
        }
        out.push_str(&group_lines(&rows, group));
    }
    out
}

fn verdict_lines(verdict: &Verdict) -> String {
    let against = if verdict.reference.is_empty() {
        String::new()
    } else {
        format!(" against {}", verdict.reference)
    };
    let probability = verdict
        .conformance_probability
        .map_or_else(String::new, |p| {
            format!(", probability inside the limit {}", number(p, 3, false))
        });
    let line = format!(
        "{} ({}{against}{probability})",
        signed_outcome(verdict.outcome),
        verdict.under_test
    );
    let mut out = hanging("  ", &one_line(&line), WIDTH);
    for reason in verdict.sentences() {
        out.push_str(&hanging("    - ", &one_line(&reason), WIDTH));
    }
    for line in &verdict.budget {
        let value = line
            .standard_uncertainty_percent
            .map(|u| format!("{} %", number(u, 3, false)))
            .or_else(|| {
                line.standard_uncertainty_w
                    .map(|u| format!("{} W", number(u, 3, false)))
            });
        if let Some(value) = value {
            let text = format!("u {value} from {} ({})", line.source, line.distribution);
            out.push_str(&hanging("    + ", &one_line(&text), WIDTH));
        }
    }
    out
}

fn agreement(segment: &SegmentFigures) -> String {
    if segment.agreement.is_empty() {
        return String::new();
    }
    let several = segment
        .agreement
        .iter()
        .any(|pair| pair.under_test != segment.agreement[0].under_test);
    let mut out = Grid::new([
        Head::text("against"),
        Head::number("n", "s"),
        Head::number("bias", "W"),
        Head::number("95 % CI", "W"),
        Head::number("bias", "%"),
        Head::number("SD", "W"),
        Head::number("95 % limits", "W"),
    ]);
    let mut more = Grid::new([
        Head::text("against"),
        Head::number("RMSE", "W"),
        Head::number("concordance", ""),
        Head::number("r", ""),
        Head::number("effective n", ""),
        Head::number("reference mean", "W"),
    ]);
    let mut by_ratio = Grid::new([
        Head::text("against"),
        Head::number("ratio", ""),
        Head::number("95 % of seconds", ""),
        Head::number("n", "s"),
    ]);
    let name = |pair: &Agreement| {
        one_line(&if several {
            format!("{} / {}", pair.under_test, pair.reference)
        } else {
            pair.reference.clone()
        })
    };
    for pair in &segment.agreement {
        let name = name(pair);
        out.push(vec![
            name.clone(),
            pair.n.to_string(),
            optional(pair.bias_w, 2, true),
            interval(pair.bias_ci95_w, 2, true),
            optional(pair.bias_percent, 2, true),
            optional(pair.sd_diff_w, 2, false),
            interval(pair.loa95_w, 1, true),
        ]);
        more.push(vec![
            name,
            optional(pair.rmse_w, 2, false),
            optional(pair.ccc, 4, false),
            optional(pair.pearson_r, 4, false),
            optional(pair.n_effective, 1, false),
            optional(pair.reference_mean_w, 1, false),
        ]);
    }
    for pair in &segment.agreement {
        let Some(ratio) = pair.ratio else { continue };
        by_ratio.push(vec![
            name(pair),
            number(ratio.mean, 3, false),
            interval(ratio.loa95, 3, false),
            ratio.n.to_string(),
        ]);
    }
    let ratios = segment.agreement.iter().any(|pair| pair.ratio.is_some());
    [Some(out), Some(more), ratios.then_some(by_ratio)]
        .iter()
        .flatten()
        .map(|table| table.aligned("  ", WIDTH))
        .collect()
}

fn stream_means(segment: &SegmentFigures) -> String {
    if segment.streams.is_empty() {
        return String::new();
    }
    let mut out = Grid::new([
        Head::text("stream"),
        Head::number("n", "s"),
        Head::number("mean", "W"),
        Head::number("SD", "W"),
        Head::number("max", "W"),
        Head::number("best 5 s", "W"),
        Head::number("cadence", "rpm"),
    ]);
    for stream in &segment.streams {
        out.push(vec![
            one_line(&stream.label),
            stream.n.to_string(),
            optional(stream.mean_w, 1, false),
            optional(stream.sd_w, 1, false),
            optional(stream.max_w, 0, false),
            optional(stream.best_5s_w, 0, false),
            optional(stream.cadence_mean_rpm, 1, false),
        ]);
    }
    out.aligned("  ", WIDTH)
}

/// The figures of a group as a paragraph and a table, one a row of the segment where they are a
/// pair's.
fn group_lines(rows: &[Row<'_>], group: Group) -> String {
    let rows = if group.of_pair() {
        rows
    } else {
        rows.get(..1).unwrap_or_default()
    };
    let mut out = String::new();
    for row in rows {
        let shown = view(row, group);
        let items: Vec<String> = shown
            .scalars
            .iter()
            .map(|(head, value)| format!("{head} {value}"))
            .collect();
        if items.is_empty() && shown.lists.is_empty() {
            continue;
        }
        let of = row
            .pair
            .filter(|_| group.of_pair())
            .map_or_else(String::new, |pair| {
                format!(", {} against {}", pair.under_test, pair.reference)
            });
        let end = if items.is_empty() { "" } else { ": " };
        let line = format!("{}{of}{end}{}.", group.title(), items.join(", "));
        out.push_str(&hanging("  ", &one_line(&line), WIDTH));
        for (heads, lists) in parts(&shown) {
            out.push_str(&listed(&heads, &lists, "    "));
        }
    }
    out
}

/// Heads and lines of a table.
type Part = (Vec<String>, Vec<Vec<String>>);

/// A wide table in pieces that fit the page, each with its first column and, where the second
/// names streams, that too.
fn parts(shown: &View) -> Vec<Part> {
    /// Figures beside the first column that a page has room for.
    const ROOM: usize = 56;
    let Some((first, rest)) = shown.heads.split_first() else {
        return Vec::new();
    };
    let mut parts: Vec<Part> = Vec::new();
    let mut used = usize::MAX;
    for (place, head) in rest.iter().enumerate() {
        let column = place + 1;
        let cells = shown.lists.iter().filter_map(|line| line.get(column));
        let widest = cells
            .map(|c| c.chars().count())
            .fold(head.chars().count(), usize::max);
        if used.saturating_add(widest + 2) > ROOM {
            let numbers = shown
                .lists
                .iter()
                .map(|line| line.iter().take(1).cloned().collect());
            parts.push((vec![first.clone()], numbers.collect()));
            used = 0;
        }
        used += widest + 2;
        if let Some((heads, lines)) = parts.last_mut() {
            heads.push(head.clone());
            for (line, from) in lines.iter_mut().zip(&shown.lists) {
                line.extend(from.get(column).cloned());
            }
        }
    }
    parts
}

fn listed(heads: &[String], lines: &[Vec<String>], indent: &str) -> String {
    let head = |(index, name): (usize, &String)| {
        let numeric = |cell: &String| cell.parse::<f64>().is_ok() || cell == NOTHING;
        let mut cells = lines.iter().filter_map(|line| line.get(index));
        match cells.all(numeric) {
            true => Head::number(name, ""),
            false => Head::text(name),
        }
    };
    let mut grid = Grid::new(heads.iter().enumerate().map(head));
    grid.rows.extend_from_slice(lines);
    grid.aligned(indent, WIDTH)
}
