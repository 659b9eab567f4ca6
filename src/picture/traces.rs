//! Power of every stream, with the set point, the segments and the faults of the ride.

use super::along;
use super::faults;
use super::parts::{Axis, Layer, Picture, Stroke, power_range};
use super::subject::{Subject, plain};
use super::tone::Tone;
use crate::recording::Channel;
use crate::text::one_line;

/// The set point of the window.
pub fn set_point(subject: &Subject<'_>) -> Option<Layer> {
    subject.figures.set_point_w.map(|watts| Layer::Rule {
        name: format!("set point {}\u{a0}W", plain(watts, 0)),
        at: watts,
        tone: Tone::Mute,
        stroke: Stroke::Dashed,
    })
}

/// One line a stream with power in the window: references over context, the source under test over
/// all.
fn lines(subject: &Subject<'_>) -> Vec<Layer> {
    let rank = |stream: &usize| match subject.tone(*stream) {
        Tone::Source(n) => (2, usize::MAX - n),
        Tone::Reference(n) => (1, usize::MAX - n),
        _ => (0, 0),
    };
    let mut streams: Vec<usize> = (0..subject.aligned.tracks.len()).collect();
    streams.sort_by_key(rank);
    let at = (subject.aligned.grid, subject.rows().start);
    let drawn = streams.into_iter().filter_map(|stream| {
        let power = subject.column(stream, Channel::Power)?;
        power.iter().any(|w| w.is_finite()).then(|| {
            along::series(
                &subject.label(stream),
                at,
                power,
                along::CALM,
                subject.tone(stream),
            )
        })
    });
    // Every spread lies behind every line.
    let (spreads, lines): (Vec<Layer>, Vec<Layer>) = drawn
        .flatten()
        .partition(|layer| matches!(layer, Layer::Spread { .. }));
    spreads.into_iter().chain(lines).collect()
}

/// Power of every stream.
///
/// # Errors
/// Why there is nothing to draw.
pub fn of(subject: &Subject<'_>) -> Result<Picture, String> {
    let lines = lines(subject);
    if lines.is_empty() {
        return Err("no stream has power in this window".to_owned());
    }
    let means: Vec<String> = subject
        .figures
        .streams
        .iter()
        .filter_map(|s| Some(format!("{} {} W", one_line(&s.label), plain(s.mean_w?, 1))))
        .collect();
    let most = subject.figures.streams.iter().map(|s| s.n).max();
    let mut layers: Vec<Layer> = set_point(subject).into_iter().collect();
    layers.extend(lines);
    let range = power_range(&layers);
    if let Ok(under_test) = subject.under_test() {
        // Grounds lie behind, marks and words in front.
        for layer in faults::marked(subject, under_test, range[0]) {
            match layer {
                Layer::Ground { .. } => layers.insert(0, layer),
                other => layers.push(other),
            }
        }
    }
    Ok(Picture {
        title: subject.title("power"),
        facts: vec![
            subject.window_fact(most.unwrap_or(0)),
            format!("Means: {}.", means.join(", ")),
        ],
        x: subject.time_axis(),
        y: Axis::numbers("power", "W", range),
        layers,
    })
}
