//! A suggested segment.

use serde::Serialize;

use crate::session::Segment;
use crate::timeline::Span;

/// A suggested segment.
#[derive(Clone, Debug, PartialEq)]
pub struct Suggestion {
    /// The segment, without a note.
    pub segment: Segment,
    /// What speaks for it, as a sentence.
    pub reason: String,
    /// What it rests on.
    pub basis: Basis,
}

/// What a suggestion rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// A workout step.
    Workout,
    /// Gear events of a recorder.
    GearEvents,
    /// A lap, together with the shape of the power inside it.
    Lap,
    /// The grade asked for.
    Grade,
    /// The shape of the power alone.
    ChangePoints,
}

/// Shared time over covered time of two stretches: 1 for the same, 0 for strangers.
pub fn overlap_share(a: Span, b: Span) -> f64 {
    let shared = a.overlap(b).map_or(0.0, Span::duration_s);
    let covered = a.duration_s() + b.duration_s() - shared;
    if covered > 0.0 { shared / covered } else { 0.0 }
}

/// A segment covers a suggestion from this share of shared time on.
const COVERED: f64 = 0.5;

/// Whether a tagged segment is `suggested`, or nearly so.
pub fn covers(tagged: &Segment, suggested: &Segment) -> bool {
    let span = |segment: &Segment| Span::new(segment.from_s, segment.to_s);
    tagged.kind == suggested.kind && overlap_share(span(tagged), span(suggested)) >= COVERED
}
