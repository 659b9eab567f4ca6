//! What was tested and how: facts, streams, clocks; and whether the references agree.

use super::html::{list, paragraph, table, terms};
use super::parts::{Material, drawn, interval, number, optional};
use crate::analysis::figures::SegmentFigures;
use crate::analysis::verdict::overall::claim_in_words;
use crate::export::ExportError;
use crate::export::figure::{PictureKind, Subject};
use crate::export::table::{Listing, Room};
use crate::session::{Session, Stream};
use crate::text::{Grid, Head, NOTHING};
use crate::timeline::align::StreamClock;

pub(super) fn body(material: &Material<'_>) -> String {
    let session = &material.opened.session;
    let facts: Vec<(String, String)> = session
        .facts
        .iter()
        .map(|fact| (fact.key.clone(), fact.value.clone()))
        .collect();
    let mut out = terms(&facts);
    out.push_str(&streams(material));
    out.push_str(&met_in_reading(material));
    out.push_str(&not_used(material));
    out.push_str(&allowance(session));
    out.push_str(&clocks(material));
    out
}

fn streams(material: &Material<'_>) -> String {
    let session = &material.opened.session;
    let streams = || session.streams.iter().enumerate();
    let claim = |(index, _): (usize, &Stream)| {
        let claim = session.claim_of(index);
        claim.map_or_else(|| "not stated".to_owned(), claim_in_words)
    };
    let device = |(index, _): (usize, &Stream)| {
        let source = material.opened.sources.get(index);
        let recording = source.and_then(|source| source.recording());
        recording
            .and_then(|recording| recording.device.clone())
            .unwrap_or_else(|| NOTHING.to_owned())
    };
    let file = |(_, stream): (usize, &Stream)| stream.file.clone();
    let listing = Listing::of(&material.table.streams, Room::Wide)
        .figures("streams", &["label", "role", "site"])
        .own(Head::text("claim"), streams().map(claim).collect())
        .figures("streams", &["samples", "median_interval_s"])
        .own(
            Head::text("device, as the file says"),
            streams().map(device).collect(),
        )
        .own(Head::text("recording"), streams().map(file).collect());
    table("Streams", &listing.grid())
}

/// Damage, and what the reader repaired, dropped or assumed.
fn met_in_reading(material: &Material<'_>) -> String {
    let remarks = material.opened.remarks();
    if remarks.is_empty() {
        return paragraph("The recordings were read whole, without repairs.");
    }
    paragraph("Met in reading the recordings:") + &list(remarks)
}

/// What the recordings hold besides.
fn not_used(material: &Material<'_>) -> String {
    let unused = material.opened.unused();
    if unused.is_empty() {
        return paragraph("Every column and field of the recordings is used.");
    }
    let of = |(file, names): (String, Vec<String>)| format!("{file}: {}", names.join(", "));
    paragraph("Columns and fields of the recordings that are not used:")
        + &list(unused.into_iter().map(of))
}

fn allowance(session: &Session) -> String {
    let allowance = session.allowance();
    if allowance.percent == 0.0 && allowance.plus_minus == 0.0 {
        return paragraph(
            "No drivetrain loss is expected between the references' site and the site under test.",
        );
    }
    paragraph(&format!(
        "Between the references' site and the site under test a drivetrain loss of {} % ± {} percentage points is expected.",
        allowance.percent, allowance.plus_minus
    ))
}

/// The clocks in use beside what an estimate from the recordings says.
fn clocks(material: &Material<'_>) -> String {
    let streams = &material.opened.session.streams;
    let rows: Vec<Vec<String>> = streams
        .iter()
        .map(|stream| {
            let mut estimates = material.clocks.streams.iter();
            clock_row(stream, estimates.find(|clock| clock.label == stream.label))
        })
        .collect();
    let heads = [
        "stream",
        "offset in use, s",
        "skew in use, ppm",
        "rests on",
        "estimate",
        "matched on",
        "confident",
        "why",
    ];
    let mut out = table(
        "Clocks against session time",
        &Grid::of(heads.map(Head::text), rows),
    );
    out.push_str(&list(material.opened.session.clock_cautions()));
    out.push_str(&list(material.clocks.response_lags.iter().map(|lag| {
        format!(
            "{} against {}: power late by {} s ({} s). {}",
            lag.label,
            lag.reference,
            optional(lag.delay_s, 2, true),
            interval(lag.delay_ci95_s, 2, true),
            lag.note
        )
    })));
    out
}

fn clock_row(stream: &Stream, estimate: Option<&StreamClock>) -> Vec<String> {
    let dash = || "—".to_owned();
    vec![
        stream.label.clone(),
        number(stream.offset_s, 2, true),
        number(stream.skew_ppm, 1, true),
        stream
            .matched_on
            .map_or_else(|| "not said".to_owned(), |on| on.word().to_owned()),
        estimate.map_or_else(dash, |e| e.in_words(2).replace('-', "−")),
        estimate.map_or_else(dash, |e| e.matched_on.word().to_owned()),
        estimate.map_or_else(dash, |e| if e.confident { "yes" } else { "no" }.to_owned()),
        estimate.map_or_else(dash, |e| e.reason.clone()),
    ]
}

/// Whether the references agree, segment by segment, and over the ride.
pub(super) fn references(
    material: &Material<'_>,
    ride: &Subject<'_>,
) -> Result<String, ExportError> {
    let segments = material.table.segments.iter();
    let with: Vec<&SegmentFigures> = segments.filter(|s| s.references.is_some()).collect();
    let name = |s: &&SegmentFigures| format!("{} {}", s.id, s.kind);
    let agree = |s: &&SegmentFigures| {
        let word = match s.references.as_ref().and_then(|found| found.agree) {
            Some(true) => "✓ yes",
            Some(false) => "≠ no",
            None => "? cannot be told",
        };
        word.to_owned()
    };
    let listing = Listing::of(with.iter().copied(), Room::Wide)
        .own(Head::text("segment"), with.iter().map(name).collect())
        .figures(
            "segments",
            &[
                "references.pair",
                "references.difference_percent",
                "references.en_number",
            ],
        )
        .own(
            Head::text("references agree"),
            with.iter().map(agree).collect(),
        )
        .figures("segments", &["noise.noisiest", "references.note"]);
    let intro = if with.is_empty() {
        paragraph("There are no two references to compare: the verdicts rest on trust in the one.")
    } else {
        paragraph(
            "References agree where |E_n| is at most 1 (ISO 13528), each one's claim taken as its expanded uncertainty, beside the scatter of their difference, and they lie within their claims. Where |E_n| is larger, no verdict is given; where only scatter brings it to 1, whether they agree cannot be told.",
        )
    };
    let picture = drawn(PictureKind::References, ride)?;
    Ok(intro + &table("References against each other", &listing.grid()) + &picture)
}
