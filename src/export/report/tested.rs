//! What was tested and how: facts, streams, clocks; and whether the references agree.

use super::html::{list, paragraph, table, terms};
use super::parts::{Material, drawn, interval, number, optional};
use crate::analysis::verdict::overall::claim_in_words;
use crate::export::ExportError;
use crate::export::figure::{PictureKind, Subject};
use crate::session::{Session, Stream};
use crate::text::{Grid, Head};
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
    out.push_str(&allowance(session));
    out.push_str(&clocks(material));
    out
}

fn streams(material: &Material<'_>) -> String {
    let session = &material.opened.session;
    let mut rows = Vec::new();
    for (index, stream) in session.streams.iter().enumerate() {
        let source = material.opened.sources.get(index);
        let head = material.table.streams.get(index);
        let device = source
            .and_then(|s| s.recording())
            .and_then(|r| r.device.clone());
        rows.push(vec![
            stream.label.clone(),
            stream.role.word().to_owned(),
            stream.site.map_or("—", |site| site.word()).to_owned(),
            session
                .claim_of(index)
                .map_or_else(|| "not stated".to_owned(), claim_in_words),
            head.map_or_else(|| "—".to_owned(), |h| h.samples.to_string()),
            optional(head.and_then(|h| h.median_interval_s), 2, false),
            device.unwrap_or_else(|| "—".to_owned()),
            stream.file.clone(),
        ]);
    }
    let heads = [
        "stream",
        "role",
        "measures at",
        "claim",
        "samples",
        "every, s",
        "device, as the file says",
        "recording",
    ];
    table("Streams", &Grid::of(heads.map(Head::text), rows))
}

/// Damage, and what the reader repaired, dropped or assumed.
fn met_in_reading(material: &Material<'_>) -> String {
    let remarks = material.opened.remarks();
    if remarks.is_empty() {
        return paragraph("The recordings were read whole, without repairs.");
    }
    paragraph("Met in reading the recordings:") + &list(remarks)
}

fn allowance(session: &Session) -> String {
    let allowance = session.allowance();
    if allowance.percent == 0.0 && allowance.plus_minus == 0.0 {
        return paragraph(
            "No loss is allowed for between the references' site and the site under test.",
        );
    }
    paragraph(&format!(
        "Between the references' site and the site under test a loss of {} % ± {} percentage points is allowed for.",
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
        estimate.map_or_else(dash, |e| e.told(2).replace('-', "−")),
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
    let mut rows = Vec::new();
    for segment in &material.table.segments {
        let Some(found) = &segment.references else {
            continue;
        };
        let noisiest = segment.noise.as_ref().and_then(|n| n.noisiest.clone());
        rows.push(vec![
            format!("{} {}", segment.id, segment.kind),
            found
                .pair
                .as_ref()
                .map_or_else(|| found.labels.join(", "), |pair| pair.join(" − ")),
            optional(found.difference_percent, 2, true),
            optional(found.en_number, 2, true),
            match found.agree {
                Some(true) => "✓ yes",
                Some(false) => "≠ no",
                None => "? cannot be told",
            }
            .to_owned(),
            noisiest.unwrap_or_else(|| "—".to_owned()),
            found.note.clone(),
        ]);
    }
    let heads = [
        "segment",
        "widest pair",
        "difference, %",
        "E_n",
        "agree",
        "noisiest stream",
        "remark",
    ];
    let intro = if rows.is_empty() {
        paragraph("There are no two references to compare: the verdicts rest on trust in the one.")
    } else {
        paragraph(
            "References agree where |E_n| is at most 1 (ISO 13528), each one's claim taken as its expanded uncertainty, beside the scatter of their difference, and they lie within their claims. Where |E_n| is larger, no verdict is given; where only scatter brings it to 1, whether they agree cannot be told.",
        )
    };
    let picture = drawn(PictureKind::References, ride)?;
    Ok(intro
        + &table(
            "References against each other",
            &Grid::of(heads.map(Head::text), rows),
        )
        + &picture)
}
