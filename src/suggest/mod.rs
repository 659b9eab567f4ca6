//! Proposed segments, each with a reason.
//!
//! [`Evidence`] is what a ride says without the tester: the references' power, cadence and speed,
//! laps, workout steps and gear changes. [`proposals`] reads it in three steps:
//!
//! 1. Coasts and short efforts are found row by row, since they are too short for anything else.
//! 2. What lies between them is cut in straight pieces at its change points
//!    ([`crate::analysis::change_points`]); flat neighbours at the same level are joined to plateaus.
//! 3. A plateau of 90 s or more is a steady block, from 15 min on a heat soak, and with gear changes
//!    inside a gear-change segment; three plateaus or more of like length in a row (one may be missing) are a ramp of steps,
//!    and a long straight rise or fall is a ramp too. Workout steps name the set point, and stand in
//!    where the rider did not hold it.
//!
//! The source under test has no say where references exist: its faults must not move the segments.
//! The lengths and levels are ours, common practice without a source; a proposal decides nothing.

mod evidence;
mod find;

use serde::Serialize;

use crate::analysis::change_points::{pieces, wander_w};
use crate::session::Segment;
use crate::timeline::{Aligned, Span};

pub use evidence::Evidence;

/// A proposed segment.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// The segment, without a note.
    pub segment: Segment,
    /// What speaks for it, as a sentence.
    pub reason: String,
    /// What it rests on.
    pub basis: Basis,
}

/// What a proposal rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// A workout step.
    Workout,
    /// Gear events of a recorder.
    GearEvents,
    /// A lap, together with the shape of the power inside it.
    Lap,
    /// The shape of the power alone.
    ChangePoints,
}

impl Basis {
    /// The word used in files and commands.
    pub const fn word(self) -> &'static str {
        match self {
            Basis::Workout => "workout",
            Basis::GearEvents => "gear-events",
            Basis::Lap => "lap",
            Basis::ChangePoints => "change-points",
        }
    }
}

/// Where the power that [`Evidence`] gathers changes its course, session time, s: the places between
/// its straight pieces ([`crate::analysis::change_points`]).
pub fn change_points_s(aligned: &Aligned) -> Vec<f64> {
    let evidence = Evidence::of(aligned);
    let step_s = evidence.grid.step_s;
    let found = pieces(&evidence.power, step_s, wander_w(&evidence.power, step_s));
    let starts = found.iter().skip(1).map(|piece| piece.rows.start);
    starts.map(|row| evidence.grid.time_s(row)).collect()
}

/// The proposals that `evidence` supports, in time order. They do not overlap by more than a few
/// seconds; an empty ride proposes nothing.
pub fn proposals(evidence: &Evidence) -> Vec<Proposal> {
    find::all(evidence)
}

/// A segment covers a proposal from this share of shared time on.
const COVERED: f64 = 0.5;

/// Whether a tagged segment is what `proposed` proposes, or nearly so.
pub fn covers(tagged: &Segment, proposed: &Segment) -> bool {
    let span = |segment: &Segment| Span::new(segment.from_s, segment.to_s);
    tagged.kind == proposed.kind && overlap_share(span(tagged), span(proposed)) >= COVERED
}

/// Shared time over covered time of two stretches: 1 for the same, 0 for strangers.
pub fn overlap_share(a: Span, b: Span) -> f64 {
    let shared = a.overlap(b).map_or(0.0, Span::duration_s);
    let covered = a.duration_s() + b.duration_s() - shared;
    if covered > 0.0 { shared / covered } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_share_of_two_stretches() {
        let whole = Span::new(0.0, 10.0);
        assert_eq!(overlap_share(whole, whole), 1.0);
        assert_eq!(overlap_share(whole, Span::new(5.0, 10.0)), 0.5);
        assert_eq!(overlap_share(whole, Span::new(20.0, 30.0)), 0.0);
        assert_eq!(overlap_share(Span::new(1.0, 1.0), Span::new(1.0, 1.0)), 0.0);
    }
}
