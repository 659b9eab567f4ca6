//! The figures of each segment, computed anew only where something they rest on has changed.

use std::collections::HashMap;
use std::sync::Arc;

use rayon::prelude::*;

use crate::analysis::figures::SegmentFigures;
use crate::analysis::ride::RideFindings;
use crate::analysis::segment;
use crate::session::{Allowance, Claim, Kind, Segment, Session, Stream};
use crate::timeline::{Aligned, Span};

/// One entry a segment, in their order.
#[derive(Clone, Debug, Default)]
pub struct Lines {
    figures: Vec<SegmentFigures>,
    basis: Option<Basis>,
}

/// What the figures of every segment rest on beside its own stretch and kind.
#[derive(Clone, Debug)]
struct Basis {
    aligned: Arc<Aligned>,
    found: Arc<RideFindings>,
    claim: Claim,
    allowance: Option<Allowance>,
    streams: Vec<Stream>,
}

impl Basis {
    fn of(session: &Session, aligned: &Arc<Aligned>, found: &Arc<RideFindings>) -> Self {
        Self {
            aligned: Arc::clone(aligned),
            found: Arc::clone(found),
            claim: session.claim,
            allowance: session.allowance,
            streams: session.streams.clone(),
        }
    }

    fn is(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.aligned, &other.aligned)
            && Arc::ptr_eq(&self.found, &other.found)
            && (self.claim, self.allowance) == (other.claim, other.allowance)
            && self.streams == other.streams
    }
}

/// A stretch, bit by bit, and what it is.
fn key(from_s: f64, to_s: f64, kind: Kind) -> (u64, u64, Kind) {
    (from_s.to_bits(), to_s.to_bits(), kind)
}

impl Lines {
    /// How many there are.
    pub fn len(&self) -> usize {
        self.figures.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.figures.is_empty()
    }

    /// Those of every segment.
    pub fn all(&self) -> &[SegmentFigures] {
        &self.figures
    }

    /// The figures of the segment at this place.
    pub fn get(&self, index: usize) -> Option<&SegmentFigures> {
        self.figures.get(index)
    }

    /// Those of `session`'s segments; `known` are the ones before.
    pub(super) fn of(
        session: &Session,
        aligned: &Arc<Aligned>,
        found: &Arc<RideFindings>,
        known: Lines,
    ) -> Self {
        let basis = Basis::of(session, aligned, found);
        let holds = known.basis.as_ref().is_some_and(|b| b.is(&basis));
        let mut before: HashMap<_, SegmentFigures> = HashMap::new();
        if holds {
            let keyed = known.figures.into_iter();
            before.extend(keyed.map(|line| (key(line.from_s, line.to_s, line.kind), line)));
        }
        let kept: Vec<(&Segment, Span, Option<SegmentFigures>)> = session
            .segments
            .iter()
            .map(|segment| {
                let span = Span::new(segment.from_s, segment.to_s);
                let line = before.remove(&key(span.from_s, span.to_s, segment.kind));
                (segment, span, line)
            })
            .collect();
        let live = |span, kind| segment::live(session, aligned, found, span, kind);
        let figures = kept
            .into_par_iter()
            .map(|(segment, span, line)| line.unwrap_or_else(|| live(span, segment.kind)))
            .collect();
        Self {
            figures,
            basis: Some(basis),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::workbench::bench::{message, press, state, type_text};
    use crate::workbench::state::State;

    fn tag(state: &mut State, from: &str, to: &str) {
        for (time, edge) in [(from, "s"), (to, "e")] {
            press(state, "g");
            type_text(state, time);
            press(state, &format!("enter {edge}"));
        }
        press(state, "t s");
    }

    /// A line marked by hand shows whether it was computed anew.
    #[test]
    fn an_edit_computes_only_the_lines_it_changes() {
        let mut state = state();
        tag(&mut state, "1:00", "2:00");
        tag(&mut state, "3:00", "4:00");
        assert_eq!(state.lines.figures.len(), 2, "{}", message(&state));
        for line in &mut state.lines.figures {
            line.note = "as it was".to_owned();
        }
        let marked = |state: &State| -> Vec<bool> {
            let notes = state.lines.figures.iter().map(|line| &line.note);
            notes.map(|note| note == "as it was").collect()
        };
        tag(&mut state, "5:00", "6:00");
        assert_eq!(marked(&state), [true, true, false]);
        press(&mut state, "k c");
        press(&mut state, "u u");
        assert_eq!(marked(&state), [true, true]);
        press(&mut state, "up up down");
        press(&mut state, "k c");
        assert_eq!(marked(&state), [true, false]);
        assert_eq!(state.lines.figures[1].kind, Kind::Coast);
        state.opened.session.claim.percent = 1.0;
        state.refresh_lines();
        assert_eq!(marked(&state), [false, false]);
        for line in &mut state.lines.figures {
            line.note = "as it was".to_owned();
        }
        state.aligned = Arc::new(state.aligned.rebuilt(&state.opened));
        state.refresh_lines();
        assert_eq!(marked(&state), [false, false]);
    }
}
