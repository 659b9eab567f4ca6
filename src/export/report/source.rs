//! What was tested and how: facts, streams, clocks; and whether the references agree.

use super::parts::{Material, Size, drawn, interval, number, optional};
use crate::analysis::figures::SegmentFigures;
use crate::analysis::verdict::overall::claim_in_words;
use crate::export::ExportError;
use crate::export::figure::{PictureKind, Subject};
use crate::export::page::html::{folded, list, paragraph, table};
use crate::export::table::{Listing, Room};
use crate::session::Stream;
use crate::text::{Grid, Head, NOTHING};
use crate::timeline::align::StreamClock;

/// Streams, repairs, clocks and references in full.
pub(super) fn body(material: &Material<'_>, ride: &Subject<'_>) -> Result<String, ExportError> {
    let mut out = streams(material);
    out.push_str(&clocks(material));
    out.push_str(&references(material, ride)?);
    Ok(out)
}

/// Each stream with its role, site, claim and clock.
pub(super) fn streams_in_short(material: &Material<'_>) -> String {
    let session = &material.opened.session;
    let streams = session.streams.iter().enumerate();
    let rows = streams.map(|(index, stream)| {
        let claim = session.claim_of(index);
        let matched = stream.matched_on;
        vec![
            stream.label.clone(),
            stream.role.word().to_owned(),
            stream.site.map_or(NOTHING, |site| site.word()).to_owned(),
            claim.map_or_else(|| "not stated".to_owned(), claim_in_words),
            number(stream.offset_s, 2, true),
            number(stream.skew_ppm, 0, true),
            matched.map_or_else(|| "not said".to_owned(), |on| on.word().to_owned()),
        ]
    });
    let heads = [
        Head::text("stream"),
        Head::text("role"),
        Head::text("at"),
        Head::text("claim"),
        Head::number("offset", "s"),
        Head::number("skew", "ppm"),
        Head::text("by"),
    ];
    table(
        "Streams, and their clocks against session time",
        &Grid::of(heads, rows.collect()),
    )
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

/// What the recordings hold besides, folded away.
pub(super) fn not_used(material: &Material<'_>) -> String {
    let of = |(file, names): (String, Vec<String>)| format!("{file}: {}", names.join(", "));
    let unused = material.opened.unused().into_iter().map(of);
    folded(
        "Columns and fields of the recordings that are not used",
        &list(unused),
    )
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

/// The scales by known masses, and what leaves them open.
fn known_masses(material: &Material<'_>) -> String {
    let streams = material.table.streams.iter();
    let heads: Vec<_> = streams.filter(|s| s.weights.is_some()).cloned().collect();
    let listing = Listing::of(&heads, Room::Wide).figures(
        "streams",
        &[
            "label",
            "weights.scale",
            "weights.scale_u_percent",
            "weights.zero_nm",
            "weights.hysteresis_percent",
            "weights.residual_sd_nm",
            "weights.en_number",
        ],
    );
    paragraph(
        "Masses hung from the pedal axle of the level crank give a reference its own scale. Its power is \
         divided by that scale everywhere in this report, and in the budgets the uncertainty of the \
         masses takes the place of the reference's claim.",
    ) + &table("References by known masses", &listing.grid())
}

/// Whether the references agree, segment by segment, and over the ride.
fn references(material: &Material<'_>, ride: &Subject<'_>) -> Result<String, ExportError> {
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
            "References agree where |E_n| is at most 1 (ISO 13528), each one's claim (or what known masses leave open) taken as its expanded uncertainty, beside the scatter of their difference, and they lie within their claims. Where |E_n| is larger, no verdict is given; where only scatter brings it to 1, whether they agree cannot be told.",
        )
    };
    let mut out = intro + &table("References against each other", &listing.grid());
    out.push_str(&drawn(
        PictureKind::References,
        ride,
        Size::Whole,
        "The references against each other.",
    )?);
    let checked = material
        .table
        .streams
        .iter()
        .filter(|s| s.weights.is_some());
    if checked.count() > 0 {
        out.push_str(&known_masses(material));
        out.push_str(&drawn(
            PictureKind::Weights,
            ride,
            Size::Whole,
            "What the line leaves of the readings with known masses.",
        )?);
    }
    Ok(out)
}
