//! The walk through proposed segments: each is shown as the window with its reason, and taken,
//! passed or adjusted with one key.

use super::super::action::Command;
use super::super::state::{Held, Mode, State, Walk};
use super::super::text;
use super::motion::bring_span_into_view;
use super::{Effect, edit, key_of, say, warn};
use crate::session::Segment;
use crate::suggest::{Evidence, Proposal, covers, proposals};
use crate::timeline::Span;

pub(super) fn perform(state: &mut State, command: Command, effects: &mut Vec<Effect>) {
    if command == Command::Suggest {
        begin(state);
        return;
    }
    let Mode::Walk(walk) = &state.mode else {
        return;
    };
    let at = walk.at;
    let here = walk
        .proposals
        .get(at)
        .map(|proposal| proposal.segment.clone());
    match (command, here) {
        (Command::TakeProposal, Some(segment)) => {
            let taken = take(state, segment, effects);
            show(state, at + usize::from(taken));
        }
        (Command::TakeProposals, _) => take_rest(state, at, effects),
        (Command::PassProposal, _) => show(state, at + 1),
        (Command::EarlierProposal, _) => show(state, at.saturating_sub(1)),
        (Command::AdjustProposal, Some(segment)) => {
            state.mode = Mode::View;
            let keys = (
                key_of(state, Command::HoldEdge),
                key_of(state, Command::AskTag),
            );
            let kind = segment.kind;
            say(
                state,
                format!("{kind}: {} moves its edges, {} tags it", keys.0, keys.1),
            );
        }
        _ => {}
    }
}

fn begin(state: &mut State) {
    let segments = &state.session().segments;
    let new: Vec<Proposal> = proposals(&Evidence::of(&state.aligned))
        .into_iter()
        .filter(|proposal| {
            !segments
                .iter()
                .any(|tagged| covers(tagged, &proposal.segment))
        })
        .collect();
    if new.is_empty() {
        warn(
            state,
            "there is nothing to propose that is not tagged already",
        );
        return;
    }
    state.message = None;
    state.mode = Mode::Walk(Walk {
        proposals: new,
        at: 0,
    });
    show(state, 0);
}

/// Shows a proposal as the window; after the last one the walk is over.
fn show(state: &mut State, at: usize) {
    let Mode::Walk(walk) = &mut state.mode else {
        return;
    };
    let Some(proposal) = walk.proposals.get(at) else {
        state.mode = Mode::View;
        let key = key_of(state, Command::Suggest);
        say(
            state,
            format!("no more ideas; {key} walks through those you passed"),
        );
        return;
    };
    let span = Span::new(proposal.segment.from_s, proposal.segment.to_s);
    walk.at = at;
    state.selected = None;
    state.brush.held = Held::Nothing;
    state.brush.window = Some(span);
    bring_span_into_view(state, span);
}

fn take(state: &mut State, segment: Segment, effects: &mut Vec<Effect>) -> bool {
    let long = state.long();
    let name = format!(
        "tag {} {}-{}",
        segment.kind,
        text::time(segment.from_s, long),
        text::time(segment.to_s, long)
    );
    edit::put(state, &name, effects, None, segment)
}

fn take_rest(state: &mut State, at: usize, effects: &mut Vec<Effect>) {
    let Mode::Walk(walk) = &state.mode else {
        return;
    };
    let rest: Vec<Segment> = walk
        .proposals
        .iter()
        .skip(at)
        .map(|p| p.segment.clone())
        .collect();
    state.mode = Mode::View;
    let name = format!("tag {} proposed segments", rest.len());
    edit::edit(state, &name, effects, |session| {
        session.segments.extend(rest);
        session.sort_segments();
    });
}
