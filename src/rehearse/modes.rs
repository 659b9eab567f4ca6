//! Which mode the trainer of a plan with slopes is in, and when that changes.

use crate::plan::{Leg, Plan, Shape};
use crate::recording::ModeSpan;

/// A coast this long, s, is one in which a mode can change unhurried.
const LONG_COAST_S: f64 = 10.0;
/// So long into the coast before it, a new mode is in force, s.
const INTO_COAST_S: f64 = 1.0;

/// A mode that is in force from a moment on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Mode {
    /// From when on, s from the start of the ride.
    pub(super) from_s: f64,
    /// The word that a recorder notes.
    pub(super) word: &'static str,
}

/// The modes of a ride, in order; none where nothing is simulated, since then nothing changes.
pub(super) fn modes(legs: &[Leg], controlled: bool) -> Vec<Mode> {
    let mut modes: Vec<Mode> = Vec::new();
    let mut coast: Option<&Leg> = None;
    for leg in legs {
        let word = match leg.shape {
            _ if leg.is_simulated() => "simulation",
            Shape::Coast => {
                coast = Some(leg);
                continue;
            }
            Shape::Sprint { .. } => continue,
            _ if controlled => "set power",
            _ => "free",
        };
        if modes.last().is_none_or(|mode| mode.word != word) {
            let from_s = coast.map_or(leg.from_s, |coast| coast.from_s + INTO_COAST_S);
            modes.push(Mode { from_s, word });
        }
        coast = None;
    }
    if legs.iter().any(Leg::is_simulated) {
        modes
    } else {
        Vec::new()
    }
}

/// When the mode changes within a long coast for the first time, s from the start of the ride.
pub(super) fn switch_while_coasting(plan: &Plan) -> Option<f64> {
    let legs = plan.legs();
    let changes = modes(&legs, plan.controlled);
    let in_coast = |mode: &Mode| {
        legs.iter().any(|leg| {
            leg.shape == Shape::Coast
                && leg.duration_s() >= LONG_COAST_S
                && (leg.from_s..leg.to_s).contains(&mode.from_s)
        })
    };
    let mut changes = changes.iter().skip(1);
    Some(changes.find(|mode| in_coast(mode))?.from_s)
}

/// The stretches that a recorder notes: at `stamps`, which lie at `true_s`.
pub(super) fn spans(modes: &[Mode], stamps: &[f64], true_s: &[f64]) -> Vec<ModeSpan> {
    let mut spans: Vec<ModeSpan> = Vec::new();
    for (stamp, at_s) in stamps.iter().zip(true_s) {
        let Some(mode) = modes.iter().rev().find(|mode| mode.from_s <= *at_s) else {
            continue;
        };
        if let Some(last) = spans.last_mut() {
            last.to_s = *stamp;
            if *last.mode == *mode.word {
                continue;
            }
        }
        spans.push(ModeSpan {
            from_s: *stamp,
            to_s: *stamp,
            mode: mode.word.into(),
        });
    }
    spans
}
