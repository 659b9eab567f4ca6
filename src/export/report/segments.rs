//! A section a segment: its picture, its verdict with the budget, its decisive figures.

use std::fmt::Write as _;

use super::html::{escaped, list, paragraph, table, terms};
use super::parts::{Material, drawn, interval, number, optional};
use crate::analysis::figures::SegmentFigures;
use crate::analysis::verdict::figures::{BudgetLine, Verdict};
use crate::analysis::verdict::judge::tells_bias;
use crate::export::ExportError;
use crate::export::figure::{PictureKind, Subject};
use crate::export::table::{Group, View, rows_of, signed_outcome, view};
use crate::session::Kind;
use crate::text::{Grid, Head, clock_time};

pub(super) fn sections(material: &Material<'_>) -> Result<String, ExportError> {
    let mut out = String::new();
    for segment in &material.table.segments {
        out.push_str(&one(material, segment)?);
    }
    Ok(out)
}

/// The picture that shows what the kind asks about.
const fn picture_of(kind: Kind) -> PictureKind {
    match kind {
        Kind::SteadyBlock | Kind::Open => PictureKind::Difference,
        Kind::Sprint | Kind::Ramp | Kind::GearChange => PictureKind::Response,
        Kind::HeatSoak => PictureKind::HeatSoak,
        Kind::Coast | Kind::Slope => PictureKind::Traces,
    }
}

fn one(material: &Material<'_>, segment: &SegmentFigures) -> Result<String, ExportError> {
    let mut out = format!(
        "<h3 id=\"segment-{}\">{}: {}, {} to {}{}</h3>\n",
        segment.id,
        segment.id,
        segment.kind,
        clock_time(segment.from_s),
        clock_time(segment.to_s),
        segment.set_point_w.map_or_else(String::new, |w| format!(
            ", set point {} W",
            number(w, 0, false)
        ))
    );
    if !segment.note.is_empty() {
        out.push_str(&paragraph(&segment.note));
    }
    for verdict in segment.verdict.iter().chain(&segment.further_verdicts) {
        out.push_str(&judged(verdict));
    }
    let subject = Subject {
        session: &material.opened.session,
        aligned: material.aligned,
        findings: material.findings,
        figures: segment.clone(),
    };
    let mut picture = drawn(picture_of(segment.kind), &subject)?;
    if picture.is_empty() {
        picture = drawn(PictureKind::Traces, &subject)?;
    }
    out.push_str(&picture);
    out.push_str(&agreement(segment));
    out.push_str(&means(segment));
    out.push_str(&cadence(segment));
    out.push_str(&figures_of_kind(material, segment));
    Ok(out)
}

fn judged(verdict: &Verdict) -> String {
    let mut out = format!(
        "<p><span class=\"outcome\">{}</span> {}</p>\n",
        escaped(&signed_outcome(verdict.outcome)),
        escaped(&format!(
            "({}{})",
            verdict.under_test,
            if verdict.reference.is_empty() {
                String::new()
            } else {
                format!(" against {}, {} s", verdict.reference, verdict.n)
            }
        ))
    );
    out.push_str(&list(verdict.sentences()));
    let heads = [
        "contribution",
        "distribution",
        "u, %",
        "u, W",
        "degrees of freedom",
    ];
    let rows: Vec<Vec<String>> = verdict.budget.iter().map(budget_row).collect();
    out.push_str(&table(
        "Uncertainty budget",
        &Grid::of(heads.map(Head::text), rows),
    ));
    if let (Some(k), false) = (verdict.coverage_factor, verdict.budget.is_empty()) {
        let dof = verdict
            .effective_degrees_of_freedom
            .map_or_else(|| "infinitely many".to_owned(), |d| number(d, 1, false));
        out.push_str(&paragraph(&format!(
            "Expanded with k = {} ({dof} effective degrees of freedom): U = {} W.",
            number(k, 2, false),
            optional(verdict.expanded_uncertainty_w, 2, false)
        )));
    }
    out
}

fn budget_row(line: &BudgetLine) -> Vec<String> {
    vec![
        line.source.clone(),
        line.distribution.clone(),
        optional(line.standard_uncertainty_percent, 3, false),
        optional(line.standard_uncertainty_w, 3, false),
        line.degrees_of_freedom
            .map_or_else(|| "∞".to_owned(), |d| number(d, 1, false)),
    ]
}

/// Cadence of each pair that carries it.
fn cadence(segment: &SegmentFigures) -> String {
    let rows: Vec<Vec<String>> = segment
        .cadence
        .iter()
        .map(|pair| {
            vec![
                format!("{} − {}", pair.under_test, pair.reference),
                optional(pair.bias_rpm, 2, true),
                optional(pair.sd_diff_rpm, 2, false),
                optional(pair.spike_percent, 1, false),
            ]
        })
        .collect();
    let heads = ["pair", "bias, rpm", "SD of differences, rpm", "spikes, %"];
    table("Cadence", &Grid::of(heads.map(Head::text), rows))
}

fn agreement(segment: &SegmentFigures) -> String {
    let rows: Vec<Vec<String>> = segment
        .agreement
        .iter()
        .map(|pair| {
            vec![
                format!("{} − {}", pair.under_test, pair.reference),
                pair.n.to_string(),
                optional(pair.n_effective, 0, false),
                optional(pair.reference_mean_w, 1, false),
                optional(pair.bias_w, 2, true),
                interval(pair.bias_ci95_w, 2, true),
                optional(pair.bias_percent, 2, true),
                optional(pair.sd_diff_w, 2, false),
                interval(pair.loa95_w, 1, true),
                optional(pair.rmse_w, 2, false),
                optional(pair.ccc, 4, false),
                optional(pair.pearson_r, 4, false),
            ]
        })
        .collect();
    let heads = [
        "pair",
        "n, s",
        "effective n",
        "reference mean, W",
        "bias, W",
        "95 % CI, W",
        "bias, %",
        "SD of differences, W",
        "95 % limits of agreement, W",
        "RMSE, W",
        "concordance",
        "Pearson r",
    ];
    table("Agreement", &Grid::of(heads.map(Head::text), rows))
}

fn means(segment: &SegmentFigures) -> String {
    let rows: Vec<Vec<String>> = segment
        .streams
        .iter()
        .map(|s| {
            vec![
                s.label.clone(),
                s.n.to_string(),
                optional(s.mean_w, 1, false),
                optional(s.sd_w, 1, false),
                optional(s.max_w, 0, false),
                optional(s.best_5s_w, 0, false),
                optional(s.cadence_mean_rpm, 1, false),
            ]
        })
        .collect();
    let heads = [
        "stream",
        "n, s",
        "mean, W",
        "SD, W",
        "max, W",
        "best 5 s, W",
        "cadence, rpm",
    ];
    table(
        "Power of each stream",
        &Grid::of(heads.map(Head::text), rows),
    )
}

/// What the tables above do not show: the figures of the kind, and the noise.
fn figures_of_kind(material: &Material<'_>, segment: &SegmentFigures) -> String {
    let rows = rows_of(material.table, segment);
    let Some(row) = rows.first() else {
        return String::new();
    };
    let own = Group::AFTER_ROW
        .into_iter()
        .filter(|group| !group.of_pair())
        .filter(|group| !matches!(group, Group::Verdict | Group::References))
        // Where power jumps, a lag passes for noise.
        .filter(|group| *group != Group::Noise || tells_bias(segment.kind));
    let mut out = String::new();
    for group in own {
        let View {
            mut scalars,
            heads,
            mut lists,
        } = view(row, group);
        if scalars.is_empty() && lists.is_empty() {
            continue;
        }
        let values = scalars.iter_mut().map(|(_, value)| value);
        for value in values.chain(lists.iter_mut().flatten()) {
            if let Some(size) = value.strip_prefix('-') {
                *value = format!("−{size}");
            }
        }
        let title = group.title();
        let _ = write!(
            out,
            "<h4>{}</h4>\n{}{}",
            escaped(title),
            terms(&scalars),
            table(
                title,
                &Grid::of(heads.iter().map(|head| Head::text(head)), lists)
            )
        );
    }
    out
}
