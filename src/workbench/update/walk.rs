//! The walk through suggested segments: each is shown as the window with its reason, and taken,
//! passed or adjusted with one key.

use super::super::action::names;
use super::super::event::Effect;
use super::super::state::{Held, Mode, State, View, Walk};
use super::super::text;
use super::motion::bring_span_into_view;
use super::say::{say, warn};
use super::{edit, program};
use crate::session::Segment;
use crate::suggest::{Evidence, Suggestion, covers, suggestions};
use crate::timeline::Span;

/// The place of the suggestion shown, and the segment it suggests.
fn here(state: &State) -> Option<(usize, Segment)> {
    let Mode::Walk(walk) = &state.mode else {
        return None;
    };
    let suggestion = walk.suggestions.get(walk.at)?;
    Some((walk.at, suggestion.segment.clone()))
}

/// Tags it, and goes to the next one.
pub fn take(state: &mut State, effects: &mut Vec<Effect>) {
    if let Some((at, segment)) = here(state) {
        let taken = tag(state, segment, effects);
        show(state, at + usize::from(taken));
    }
}

/// Leaves it, and goes to the next one.
pub fn pass(state: &mut State) {
    if let Some((at, _)) = here(state) {
        show(state, at + 1);
    }
}

/// Back to the one before.
pub fn back(state: &mut State) {
    if let Some((at, _)) = here(state) {
        show(state, at.saturating_sub(1));
    }
}

/// Leaves the walk with the suggestion as the window.
pub fn adjust(state: &mut State) {
    let Some((_, segment)) = here(state) else {
        return;
    };
    state.mode = Mode::View;
    let (hold, tag) = (state.key(names::HOLD_EDGE), state.key(names::TAG));
    let kind = segment.kind;
    say(
        state,
        format!("{kind}: {hold} moves its edges, {tag} tags it"),
    );
}

/// Walks through the suggestions that are not tagged yet.
pub fn begin(state: &mut State) {
    let segments = &state.session().segments;
    let new: Vec<Suggestion> = suggestions(&Evidence::of(&state.aligned))
        .into_iter()
        .filter(|suggestion| {
            !segments
                .iter()
                .any(|tagged| covers(tagged, &suggestion.segment))
        })
        .collect();
    if new.is_empty() {
        warn(
            state,
            "there is nothing to suggest that is not tagged already",
        );
        return;
    }
    state.message = None;
    state.mode = Mode::Walk(Walk {
        suggestions: new,
        at: 0,
    });
    show(state, 0);
}

/// Shows a suggestion as the window; after the last one the walk is over.
fn show(state: &mut State, at: usize) {
    let Mode::Walk(walk) = &mut state.mode else {
        return;
    };
    let Some(suggestion) = walk.suggestions.get(at) else {
        state.mode = Mode::View;
        let key = state.key(names::SUGGEST);
        say(
            state,
            format!("no more suggestions; {key} walks through those you passed"),
        );
        return;
    };
    let span = Span::new(suggestion.segment.from_s, suggestion.segment.to_s);
    walk.at = at;
    state.selected = None;
    state.brush.held = Held::Nothing;
    state.brush.window = Some(span);
    bring_span_into_view(state, span);
}

fn tag(state: &mut State, segment: Segment, effects: &mut Vec<Effect>) -> bool {
    let long = state.long();
    let name = format!(
        "tag {} {}-{}",
        segment.kind,
        text::time(segment.from_s, long),
        text::time(segment.to_s, long)
    );
    edit::put(state, &name, effects, None, segment)
}

/// Tags it and all after it.
pub fn take_rest(state: &mut State, effects: &mut Vec<Effect>) {
    let Mode::Walk(walk) = &state.mode else {
        return;
    };
    let rest: Vec<Segment> = walk
        .suggestions
        .iter()
        .skip(walk.at)
        .map(|p| p.segment.clone())
        .collect();
    // What is tagged is answered first.
    state.mode = Mode::View;
    state.brush.window = None;
    program::go(state, View::Answers);
    let name = format!("tag {} suggested segments", rest.len());
    edit::edit(state, &name, effects, |session| {
        session.segments.extend(rest);
        session.sort_segments();
    });
}
