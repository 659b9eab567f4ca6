//! A section a segment: its picture, its verdict with the budget, its decisive figures.

use std::fmt::Write as _;

use super::parts::{Material, Size, drawn, number, optional};
use crate::analysis::figures::SegmentFigures;
use crate::analysis::kinds::cadence::CadenceAgreement;
use crate::analysis::table::Table;
use crate::analysis::verdict::conformity::Outcome;
use crate::analysis::verdict::figures::Verdict;
use crate::export::ExportError;
use crate::export::figure::PictureKind;
use crate::export::page::html::{escaped, list, paragraph, table, terms};
use crate::export::table::{Group, Listing, MEANS, Room, View, rows_of, signed_outcome, view};
use crate::session::Kind;
use crate::text::{Head, clock_time};

pub(super) fn sections(material: &Material<'_>) -> Result<String, ExportError> {
    let mut out = String::new();
    for segment in &material.table.segments {
        out.push_str(&one(material, segment)?);
    }
    Ok(out)
}

/// The picture that shows what the kind asks about.
pub(super) fn picture_of(kind: Kind) -> PictureKind {
    PictureKind::named(kind.spec().picture).unwrap_or(PictureKind::Traces)
}

fn one(material: &Material<'_>, segment: &SegmentFigures) -> Result<String, ExportError> {
    let mut out = format!(
        "<h3 id=\"every-{}\">{}: {}, {} to {}{}</h3>\n",
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
    let verdicts = segment.verdict.iter().chain(&segment.further_verdicts);
    for verdict in verdicts.filter(|v| v.outcome != Outcome::NotApplicable) {
        out.push_str(&judged(verdict));
    }
    let subject = material.subject(segment.clone());
    let caption = format!("Segment {}.", segment.id);
    let mut picture = drawn(picture_of(segment.kind), &subject, Size::Whole, &caption)?;
    if picture.is_empty() {
        picture = drawn(PictureKind::Traces, &subject, Size::Whole, &caption)?;
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
    let fields = [
        "source",
        "distribution",
        "standard_uncertainty_percent",
        "standard_uncertainty_w",
        "degrees_of_freedom",
    ];
    let budget =
        Listing::of(&verdict.budget, Room::Wide).figures("segments.verdict.budget", &fields);
    out.push_str(&table("Uncertainty budget", &budget.grid()));
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

/// Cadence of each pair, over all segments.
pub(super) fn cadences(figures: &Table) -> String {
    let segments = figures.segments.iter();
    let all = segments.flat_map(|s| s.cadence.iter().map(move |pair| (s, pair)));
    let (segments, pairs): (Vec<&SegmentFigures>, Vec<&CadenceAgreement>) = all.unzip();
    let name = |segment: &&SegmentFigures| format!("{} {}", segment.id, segment.kind);
    let pair = |pair: &&CadenceAgreement| format!("{} − {}", pair.under_test, pair.reference);
    let listing = Listing::of(pairs.iter().copied(), Room::Wide)
        .own(Head::text("segment"), segments.iter().map(name).collect())
        .own(Head::text("pair"), pairs.iter().map(pair).collect())
        .figures(
            "segments.cadence",
            &["bias_rpm", "sd_diff_rpm", "spike_percent"],
        );
    table("", &listing.grid())
}

/// Cadence of each pair that carries it.
fn cadence(segment: &SegmentFigures) -> String {
    let pairs = segment.cadence.iter();
    let names = pairs.map(|pair| format!("{} − {}", pair.under_test, pair.reference));
    let listing = Listing::of(&segment.cadence, Room::Wide)
        .own(Head::text("pair"), names.collect())
        .figures(
            "segments.cadence",
            &["bias_rpm", "sd_diff_rpm", "spike_percent"],
        );
    table("Cadence", &listing.grid())
}

fn agreement(segment: &SegmentFigures) -> String {
    let pairs = segment.agreement.iter();
    let names = pairs.map(|pair| format!("{} − {}", pair.under_test, pair.reference));
    let fields = [
        "n",
        "n_effective",
        "reference_mean_w",
        "bias_w",
        "bias_ci95_w",
        "bias_percent",
        "sd_diff_w",
        "loa95_w",
        "rmse_w",
        "ccc",
        "pearson_r",
    ];
    let listing = Listing::of(&segment.agreement, Room::Wide)
        .own(Head::text("pair"), names.collect())
        .figures("segments.agreement", &fields);
    table("Agreement", &listing.grid())
}

fn means(segment: &SegmentFigures) -> String {
    let listing = Listing::of(&segment.streams, Room::Wide).figures("segments.streams", &MEANS);
    table("Power of each stream", &listing.grid())
}

/// What the tables above do not show: the figures of the kind, and the noise.
fn figures_of_kind(material: &Material<'_>, segment: &SegmentFigures) -> String {
    let rows = rows_of(material.table, segment);
    let Some(row) = rows.first() else {
        return String::new();
    };
    let own = Group::for_people()
        .filter(|group| !group.of_pair && !["Verdict", "References"].contains(&group.title))
        // Where power jumps, a lag passes for noise.
        .filter(|group| group.title != "Noise of each stream" || segment.kind.tells_bias());
    let mut out = String::new();
    for group in own {
        let View { mut scalars, lists } = view(row, group);
        if scalars.is_empty() && lists.rows.is_empty() {
            continue;
        }
        for (_, value) in &mut scalars {
            *value = value.replace('-', "−");
        }
        let _ = write!(
            out,
            "<h4>{}</h4>\n{}{}",
            escaped(group.title),
            terms(&scalars),
            table("", &lists)
        );
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_has_a_picture() {
        for kind in Kind::ALL {
            assert_eq!(picture_of(*kind).word(), kind.spec().picture);
        }
    }
}
