//! Error against power over all blocks of held power.

use super::picture::{Axis, Ink, Layer, Marker, Picture, Style, Ticks, range_of};
use super::subject::Subject;
use crate::analysis::table::error_curves;
use crate::analysis::verdict::overall::claim_in_words;
use crate::picture::error_curve::{ErrorPicture, Mark};

/// Always of the whole ride, whatever its window is.
pub(super) fn error_curve(subject: &Subject<'_>) -> Result<Picture, String> {
    let source = subject.under_test()?;
    let claim = subject.session.claim_of(source).unwrap_or_default();
    let curves = error_curves(subject.session, subject.aligned, subject.findings);
    let label = subject.session.streams.get(source).map(|s| &s.label);
    let found = curves.iter().find(|c| Some(&c.under_test) == label);
    let shown = found.and_then(|found| Some((found, ErrorPicture::of(found, claim)?)));
    let (found, shown) = shown.ok_or_else(|| {
        "no block of held power may be judged; tag steady blocks of 60 s or more".to_owned()
    })?;
    let ride = Subject::ride(subject.session, subject.aligned, subject.findings);
    let facts = vec![
        ride.window_fact(found.blocks.iter().map(|b| b.n).sum()),
        format!(
            "{}: {}.",
            subject.label(source),
            found.statement(&format!(" to its claim of {}", claim_in_words(claim)))
        ),
        format!("{}: {}.", subject.label(source), found.level_sentence),
    ];
    Ok(Picture {
        title: format!("{}: error against power, all blocks", subject.label(source)),
        facts,
        x: Axis {
            label: "power of the reference at the source's site, W".to_owned(),
            range: shown.power_w,
            ticks: Ticks::Numbers,
        },
        y: Axis {
            label: "net bias, %".to_owned(),
            range: range_of(shown.errors().chain([0.0])),
            ticks: Ticks::Numbers,
        },
        layers: layers(shown, source),
    })
}

fn layers(shown: ErrorPicture, under_test: usize) -> Vec<Layer> {
    let line = |name: &str, points: Vec<[f64; 2]>, style: Style| Layer::Line {
        name: name.to_owned(),
        points,
        style,
    };
    let claim = Style {
        ink: Ink::Blue,
        ..Style::RULE
    };
    let band = Style {
        ink: Ink::Sky,
        dashed: false,
        ..Style::RULE
    };
    let bars = bars(&shown.blocks);
    let marks = shown.blocks.iter().map(|b| [b.power_w, b.error_percent]);
    let marks = marks.collect();
    let [low, high] = shown.claim;
    let [lower, upper] = shown.band;
    let mut out = vec![
        line("claim", high, claim),
        line("claim", low, claim),
        Layer::Rule {
            name: String::new(),
            at: 0.0,
            style: Style::ZERO,
        },
    ];
    if !shown.curve.is_empty() {
        out.extend([
            line("95 % band of the whole curve", upper, band),
            line("95 % band of the whole curve", lower, band),
            line("curve through the blocks", shown.curve, Style::MODEL),
        ]);
    }
    let stream = Style::of_stream(under_test);
    let bar = Style {
        marker: None,
        weight: 1.6,
        ..stream
    };
    out.extend([
        line("95 % CI of the block", bars, bar),
        Layer::Points {
            name: "error in a block".to_owned(),
            points: marks,
            style: Style {
                marker: Some(Marker::Disc),
                ..stream
            },
        },
    ]);
    out
}

/// An upright stroke a block, with a break behind each.
fn bars(blocks: &[Mark]) -> Vec<[f64; 2]> {
    let bar = |b: &Mark| {
        let [low, high] = b.limits_percent;
        [[b.power_w, low], [b.power_w, high], [b.power_w, f64::NAN]]
    };
    blocks.iter().flat_map(bar).collect()
}
