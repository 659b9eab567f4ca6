//! Walking through the answers: to the place of one, and into the published words.

use super::super::event::Effect;
use super::super::state::{State, View};
use super::edit::{self, edit};
use super::motion;
use super::program;
use super::say::warn;
use crate::analysis::questions::{Answer, Finding};
use crate::timeline::Span;

/// Selects the answer before or after, as they are shown.
pub fn select(state: &mut State, after: bool) {
    let count = state.answers().map_or(0, |found| found.answers.len());
    let last = count.saturating_sub(1);
    let at = state.answer.min(last);
    state.answer = if after {
        (at + 1).min(last)
    } else {
        at.saturating_sub(1)
    };
}

/// The selected answer, or a message that there is none.
fn selected(state: &mut State) -> Option<Answer> {
    let found = state.answers().and_then(|found| {
        let ranked = found.ranked();
        let at = state.answer.min(ranked.len().saturating_sub(1));
        ranked.get(at).map(|answer| (*answer).clone())
    });
    if found.is_none() {
        warn(state, "the answers are still being computed");
    }
    found
}

/// Shows the selected answer's place in the ride: the segment that it is, else the stretch as window.
pub fn see(state: &mut State) {
    let Some(answer) = selected(state) else {
        return;
    };
    let (Some(from_s), Some(to_s)) = (answer.from_s, answer.to_s) else {
        warn(state, "this answer has no single place in the ride");
        return;
    };
    program::go(state, View::Ride);
    let segments = &state.session().segments;
    let is_it = |index: &usize| {
        segments
            .get(*index)
            .is_some_and(|s| (s.from_s, s.to_s) == (from_s, to_s))
    };
    let index = answer
        .segments
        .iter()
        .map(|id| id.saturating_sub(1))
        .find(is_it);
    match index {
        Some(index) => edit::choose(state, index),
        None => {
            state.selected = None;
            state.brush.window = Some(Span::new(from_s, to_s));
        }
    }
    motion::show_large(state, Span::new(from_s, to_s));
    motion::go_to(state, from_s);
}

/// Puts the selected answer among the words for or against the device, or takes it out.
pub fn publish(state: &mut State, effects: &mut Vec<Effect>) {
    let Some(answer) = selected(state) else {
        return;
    };
    let speaks_against = match answer.outcome {
        Finding::Fault => true,
        Finding::Fine => false,
        Finding::CannotTell | Finding::NotRidden => {
            warn(
                state,
                "an open answer speaks neither for nor against the device",
            );
            return;
        }
    };
    let sentence = answer.sentence;
    let name = if speaks_against {
        "words against"
    } else {
        "words for"
    };
    edit(state, name, effects, |session| {
        let words = if speaks_against {
            &mut session.words.against
        } else {
            &mut session.words.for_
        };
        match words.iter().position(|word| *word == sentence) {
            Some(at) => drop(words.remove(at)),
            None => words.push(sentence),
        }
    });
}
