//! The table for reading: 80 columns, the answer first, then a paragraph a segment.

use super::columns::Group;
use super::listing::{Listing, MEANS, Room, STREAMS};
use super::rows::{Row, rows_of};
use super::session_notes;
use super::short::NONE_TAGGED;
use super::view::{View, view};
use crate::analysis::agreement::Agreement;
use crate::analysis::figures::SegmentFigures;
use crate::analysis::table::Table;
use crate::analysis::verdict::conformity::Outcome;
use crate::analysis::verdict::figures::Verdict;
use crate::text::{
    Grid, Head, NOTHING, clock_time, columns, hanging, machine_number, number, one_line, word_of,
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
    let dropouts = table.streams.iter().map(|s| s.dropouts.len().to_string());
    let listing = Listing::of(&table.streams, Room::Narrow)
        .figures("streams", &STREAMS)
        .own(Head::number("dropouts", ""), dropouts.collect());
    listing.grid().aligned("", WIDTH)
}

fn overview(table: &Table) -> String {
    if table.segments.is_empty() {
        return hanging("", NONE_TAGGED, WIDTH);
    }
    let segments = || table.segments.iter();
    let length = |s: &SegmentFigures| machine_number(((s.to_s - s.from_s) * 10.0).round() / 10.0);
    let outcome = |s: &SegmentFigures| {
        let verdict = s.verdict.as_ref();
        verdict.map_or_else(|| NOTHING.to_owned(), |v| signed_outcome(v.outcome))
    };
    let listing = Listing::of(&table.segments, Room::Narrow)
        .figures("segments", &["id", "kind"])
        .own(
            Head::number("from", ""),
            segments().map(|s| clock_time(s.from_s)).collect(),
        )
        .own(
            Head::number("length", "s"),
            segments().map(length).collect(),
        )
        .figures(
            "segments",
            &[
                "set_point_w",
                "verdict.bias_percent",
                "verdict.expanded_uncertainty_percent",
            ],
        )
        .own(Head::text("verdict"), segments().map(outcome).collect());
    listing.grid().aligned("", WIDTH)
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
    // What of them stands above is not told again.
    const ABOVE: [&str; 3] = ["Verdict", "Agreement", "Power of the pair"];
    for group in Group::for_people().filter(|group| !ABOVE.contains(&group.title)) {
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
    let pairs = &segment.agreement;
    let Some(first) = pairs.first() else {
        return String::new();
    };
    let several = pairs.iter().any(|pair| pair.under_test != first.under_test);
    let name = |pair: &&Agreement| {
        one_line(&if several {
            format!("{} / {}", pair.under_test, pair.reference)
        } else {
            pair.reference.clone()
        })
    };
    let of = |pairs: Vec<&Agreement>, fields: &[&str]| {
        let names = pairs.iter().map(name).collect();
        let listing = Listing::of(pairs, Room::Narrow).own(Head::text("against"), names);
        listing
            .figures("segments.agreement", fields)
            .grid()
            .aligned("  ", WIDTH)
    };
    let all = || pairs.iter().collect();
    let mut out = of(
        all(),
        &[
            "n",
            "bias_w",
            "bias_ci95_w",
            "bias_percent",
            "sd_diff_w",
            "loa95_w",
        ],
    );
    out += &of(
        all(),
        &[
            "rmse_w",
            "ccc",
            "pearson_r",
            "n_effective",
            "reference_mean_w",
        ],
    );
    let ratios: Vec<&Agreement> = pairs.iter().filter(|pair| pair.ratio.is_some()).collect();
    if !ratios.is_empty() {
        out += &of(ratios, &["ratio.mean", "ratio.loa95", "ratio.n"]);
    }
    out
}

fn stream_means(segment: &SegmentFigures) -> String {
    if segment.streams.is_empty() {
        return String::new();
    }
    let listing = Listing::of(&segment.streams, Room::Narrow).figures("segments.streams", &MEANS);
    listing.grid().aligned("  ", WIDTH)
}

/// The figures of a group as a paragraph and a table, one a row of the segment where they are a
/// pair's.
fn group_lines(rows: &[Row], group: &'static Group) -> String {
    let rows = if group.of_pair {
        rows
    } else {
        rows.get(..1).unwrap_or_default()
    };
    let mut out = String::new();
    for row in rows {
        let View { scalars, lists } = view(row, group);
        if scalars.is_empty() && lists.rows.is_empty() {
            continue;
        }
        let items = scalars
            .iter()
            .map(|(label, value)| format!("{label} {value}"));
        let items = items.collect::<Vec<_>>().join(", ");
        let of = row.pair.as_ref().filter(|_| group.of_pair);
        let of = of.map_or_else(String::new, |[under_test, reference]| {
            format!(", {under_test} against {reference}")
        });
        let end = if items.is_empty() { "" } else { ": " };
        let line = format!("{}{of}{end}{items}.", group.title);
        out.push_str(&hanging("  ", &one_line(&line), WIDTH));
        for part in parts(&lists) {
            out.push_str(&part.aligned("    ", WIDTH));
        }
    }
    out
}

/// A wide table in pieces that fit the page, each with the first column.
fn parts(lists: &Grid) -> Vec<Grid> {
    /// Figures beside the first column that a page has room for.
    const ROOM: usize = 56;
    let column = |index: usize| lists.rows.iter().filter_map(move |row| row.get(index));
    let mut parts: Vec<Grid> = Vec::new();
    let mut used = usize::MAX;
    for (index, head) in lists.heads.iter().enumerate().skip(1) {
        let name = columns(&head.with_unit(" ", ""));
        let widest = column(index)
            .map(|cell| columns(cell))
            .fold(name, usize::max);
        if used.saturating_add(widest + 2) > ROOM {
            let first = column(0).map(|cell| vec![cell.clone()]);
            parts.push(Grid::of(lists.heads.first().cloned(), first.collect()));
            used = 0;
        }
        used += widest + 2;
        if let Some(part) = parts.last_mut() {
            part.heads.push(head.clone());
            for (row, cell) in part.rows.iter_mut().zip(column(index)) {
                row.push(cell.clone());
            }
        }
    }
    parts
}
