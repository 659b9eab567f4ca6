//! What proves an answer: its pieces against the limit, else its place in the ride.

use super::along;
use super::forest;
use super::gradient;
use super::parts::{Axis, Layer, Picture, Ticks, power_range};
use super::subject::Subject;
use super::tone::Tone;
use crate::analysis::questions::{Answer, Question};
use crate::recording::Channel;
use crate::session::{Role, Session};
use crate::text::one_line;
use crate::timeline::{Aligned, Span};

/// Share of a stretch shown on either side of it, and the least of it, s.
const MARGIN: f64 = 0.3;
const LEAST_S: f64 = 5.0;

/// The picture.
///
/// # Errors
/// Where the answer has neither pieces nor a place.
pub fn of(subject: &Subject<'_>, answer: &Answer) -> Result<Picture, String> {
    if answer.question == Question::Gradient
        && let Ok(picture) = gradient::of(subject)
    {
        return Ok(picture);
    }
    if !answer.parts.is_empty() {
        return forest::of(answer);
    }
    place(subject.session, subject.aligned, answer)
        .ok_or_else(|| format!("{} has no place in the ride", answer.question.key()))
}

/// The source over the references around the place of an answer, which is marked.
pub fn place(session: &Session, aligned: &Aligned, answer: &Answer) -> Option<Picture> {
    let span = Span::new(answer.from_s?, answer.to_s?);
    let channel = match answer.question {
        Question::Cadence => Channel::Cadence,
        _ => Channel::Power,
    };
    let margin_s = (MARGIN * span.duration_s()).max(LEAST_S);
    let ride = aligned.grid.span();
    let shown = Span::new(
        (span.from_s - margin_s).max(ride.from_s),
        (span.to_s + margin_s).min(ride.to_s),
    );
    let rows = aligned.grid.rows(shown);
    let mut layers = vec![Layer::Ground {
        name: String::new(),
        x: [span.from_s, span.to_s],
        y: [f64::NEG_INFINITY, f64::INFINITY],
        tone: Tone::QuietGround,
    }];
    let label = |index: usize| session.streams.get(index).map_or("", |s| s.label.as_str());
    for role in [Role::Reference, Role::UnderTest] {
        let own = aligned.tracks.iter().enumerate();
        let own = own.filter(|(_, track)| track.role == role);
        for (number, (index, track)) in own.enumerate() {
            let asked = role == Role::Reference
                || answer.source.is_empty()
                || answer.source == label(index);
            let values = track.column(channel).and_then(|c| c.get(rows.clone()));
            if let (true, Some(values)) = (asked, values) {
                let tone = match role {
                    Role::UnderTest => Tone::Source(number),
                    _ => Tone::Reference(number),
                };
                let at = (aligned.grid, rows.start);
                layers.extend(along::series(
                    &one_line(label(index)),
                    at,
                    values,
                    along::CALM,
                    tone,
                ));
            }
        }
    }
    let is_there = layers.iter().any(|layer| !layer.points().is_empty());
    is_there.then(|| Picture {
        title: answer.question.asks().to_owned(),
        facts: vec![one_line(&answer.sentence)],
        x: Axis {
            label: "session time".to_owned(),
            unit: "",
            range: [shown.from_s, shown.to_s],
            ticks: Ticks::Clock,
        },
        y: Axis::numbers(channel.name(), channel.unit(), power_range(&layers)),
        layers,
    })
}
