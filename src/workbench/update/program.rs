//! What concerns the session as a whole, the views and the program.

use super::super::event::Effect;
use super::super::state::{Copied, Mode, Place, Purpose, Scope, State, View};
use super::prompt;
use super::say::{say, warn};

/// Opens a box of choices.
pub fn menu(state: &mut State, place: Place) {
    state.mode = Mode::Menu(place);
}

pub fn go(state: &mut State, view: View) {
    state.view = view;
    state.scrolled = None;
    state.mode = Mode::View;
}

/// Holds the ride against the next test plan.
pub fn next_plan(state: &mut State) {
    let count = crate::plan::Plan::names().count().max(1);
    state.plan = Some(state.plan.map_or(0, |index| (index + 1) % count));
}

/// The next scope that there is something for.
pub fn next_scope(state: &mut State) {
    let has_segment = state.selected.is_some();
    state.scope = match state.scope {
        Scope::Window if has_segment => Scope::Segment,
        Scope::Window | Scope::Segment => Scope::Ride,
        Scope::Ride => Scope::Window,
    };
}

/// Lays power against cadence or against wheel speed.
pub fn coverage_by(state: &mut State) {
    match state.coverage_channels().as_slice() {
        [_, _, ..] => state.coverage_by_speed = !state.coverage_by_speed,
        [only] => {
            let text = format!("the ride carries {} only", only.name());
            warn(state, text);
        }
        [] => warn(state, "the ride carries neither cadence nor wheel speed"),
    }
}

/// Saves the session; with `over`, whatever stands on the disk.
pub fn save(state: &mut State, over: bool, effects: &mut Vec<Effect>) {
    state.mode = Mode::View;
    if let Some(why) = state.read_only.clone() {
        state.quits_when_saved = false;
        warn(state, format!("not saved: {why}"));
    } else if state.has_folder {
        effects.push(Effect::Save { over });
    } else {
        prompt::open(state, Purpose::SaveAs, "new-session".to_owned());
    }
}

pub fn save_and_quit(state: &mut State, effects: &mut Vec<Effect>) {
    state.quits_when_saved = true;
    save(state, false, effects);
}

pub fn reload(state: &mut State, effects: &mut Vec<Effect>) {
    state.mode = Mode::View;
    effects.push(Effect::Reload);
}

/// Drops what an earlier run left unsaved.
pub fn decline_restore(state: &mut State, effects: &mut Vec<Effect>) {
    state.leftover = None;
    state.mode = Mode::View;
    effects.push(Effect::ForgetJournal);
    say(state, "the unsaved edits of the earlier run are dropped");
}

/// Writes over the file that is there.
pub fn replace(state: &mut State, effects: &mut Vec<Effect>) {
    state.mode = Mode::View;
    let over = true;
    let writing = state.replacing.take();
    effects.extend(writing.map(|writing| Effect::Write { writing, over }));
}

pub fn copy(state: &mut State, copied: Copied, effects: &mut Vec<Effect>) {
    state.mode = Mode::View;
    effects.push(Effect::Copy(copied));
}

/// Gives the mouse back to the terminal, or takes it.
pub fn toggle_mouse(state: &mut State, effects: &mut Vec<Effect>) {
    state.mouse = !state.mouse;
    effects.push(Effect::CaptureMouse(state.mouse));
    let text = if state.mouse {
        "the mouse brushes (drag) and zooms (wheel) here"
    } else {
        "the mouse is the terminal's: select text as usual"
    };
    say(state, text);
}

pub fn quit(state: &mut State, effects: &mut Vec<Effect>) {
    if state.unsaved() && state.read_only.is_none() {
        menu(state, Place::QuitQuestion);
    } else {
        effects.push(Effect::Quit);
    }
}

pub fn quit_anyway(effects: &mut Vec<Effect>) {
    effects.push(Effect::ForgetJournal);
    effects.push(Effect::Quit);
}
