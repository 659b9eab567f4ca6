//! Shifting the clock of the stream in hand while every trace stays in view.

use super::super::action::Command;
use super::super::state::{Mode, State};
use super::edit::{edit, settle};
use super::{Effect, warn};
use crate::session::MatchedOn;

pub(super) fn perform(state: &mut State, command: Command, effects: &mut Vec<Effect>) {
    match command {
        Command::AdjustClock if state.session().streams.is_empty() => {
            warn(state, "there is no stream whose clock could be shifted");
        }
        Command::AdjustClock => state.mode = Mode::Clock,
        Command::Nudge(tenths) => nudge(state, tenths, effects),
        _ => {}
    }
}

fn nudge(state: &mut State, tenths: i32, effects: &mut Vec<Effect>) {
    let Some(stream) = state.session().streams.get(state.stream) else {
        return;
    };
    let name = format!("shift clock of {}", stream.label);
    let offset_s = (stream.offset_s * 10.0 + f64::from(tenths)).round() / 10.0;
    // Every stream of one recording shares its recorder's clock.
    let shared: Vec<usize> = (0..state.session().streams.len())
        .filter(|other| *other == state.stream || state.opened.share_a_clock(state.stream, *other))
        .collect();
    let continues = state.history.undo_name() == Some(name.as_str());
    let change = |session: &mut crate::session::Session| {
        for index in &shared {
            session.streams[*index].offset_s = offset_s;
            session.streams[*index].matched_on = Some(MatchedOn::Given);
        }
    };
    let done = format!("{name}: offset {offset_s:+.1} s");
    if continues && state.read_only.is_none() {
        // One undo takes back a whole run of shifts.
        let before = state.session().streams.clone();
        change(&mut state.opened.session);
        settle(state, &before);
        effects.push(Effect::Journal { name, done });
    } else if edit(state, &name, effects, change)
        && let Some(Effect::Journal { done: said, .. }) = effects.last_mut()
    {
        *said = done;
    }
}
