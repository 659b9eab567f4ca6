//! Where the ride itself is at fault: dropouts of a stream, and power that no reference shows.

use super::parts::{Layer, Mark};
use super::subject::{Subject, signed};
use super::tone::Tone;
use crate::timeline::{Member, Span};

/// Grounds and marks of the faults of the source `under_test` in the window; `foot` is the value of
/// the vertical axis at which dropouts are marked.
pub fn marked(subject: &Subject<'_>, under_test: usize, foot: f64) -> Vec<Layer> {
    let window = subject.span();
    let inside = |from_s: f64, to_s: f64| window.overlap(Span::new(from_s, to_s));
    let mut layers = Vec::new();
    let stretches = subject.findings.excursions.get(under_test);
    for found in stretches.into_iter().flatten() {
        if let Some(seen) = inside(found.from_s, found.to_s) {
            layers.push(ground("power that no reference shows", seen));
            layers.push(Layer::Label {
                at: [
                    0.5 * (seen.from_s + seen.to_s),
                    summit(subject, under_test, seen).unwrap_or(foot),
                ],
                text: format!("{}\u{a0}W, no reference shows it", signed(found.peak_w, 0)),
                tone: Tone::Fault,
            });
        }
    }
    let dropouts = subject.findings.dropouts.get(under_test);
    let mut marks = Vec::new();
    for found in dropouts.into_iter().flatten() {
        if let Some(seen) = inside(found.from_s, found.to_s) {
            layers.push(ground("dropout", seen));
            marks.push([0.5 * (seen.from_s + seen.to_s), foot]);
        }
    }
    if !marks.is_empty() {
        layers.push(Layer::Points {
            name: "dropout".to_owned(),
            points: marks,
            tone: Tone::Fault,
            mark: Mark::Drop,
        });
    }
    layers
}

fn ground(name: &str, span: Span) -> Layer {
    Layer::Ground {
        name: name.to_owned(),
        x: [span.from_s, span.to_s],
        y: [f64::NEG_INFINITY, f64::INFINITY],
        tone: Tone::Fault,
    }
}

/// The highest second of a stream's power in a stretch.
fn summit(subject: &Subject<'_>, stream: usize, span: Span) -> Option<f64> {
    let power = subject.aligned.power(Member::Stream(stream))?;
    let rows = power.get(subject.aligned.grid.rows(span))?;
    rows.iter()
        .copied()
        .filter(|w| w.is_finite())
        .reduce(f64::max)
}
