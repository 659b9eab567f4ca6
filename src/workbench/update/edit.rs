//! Edits of the session: each has a name, can be undone, and is journalled before it is shown as
//! done.

use std::sync::Arc;

use super::super::action::names;
use super::super::event::Effect;
use super::super::state::{Held, Mode, Place, State};
use super::super::text;
use super::super::theme::letters;
use super::motion::{self, bring_span_into_view, no_window, show_large, whole_second};
use super::say::{say, warn};
use crate::session::validation::check_savable;
use crate::session::{Kind, Role, Segment, Session, Stream, Weights};
use crate::timeline::Span;

/// Asks for a kind to tag the window with.
pub fn ask_tag(state: &mut State) {
    match state.brush.window {
        Some(window) if window.duration_s() > 0.0 => {
            state.brush.held = Held::Nothing;
            state.mode = Mode::Menu(Place::TagMenu);
        }
        Some(_) => warn(
            state,
            "the window is empty: move the cursor to give it a length",
        ),
        None => no_window(state),
    }
}

pub fn retag(state: &mut State, kind: Kind, effects: &mut Vec<Effect>) {
    state.mode = Mode::View;
    let name = format!("change kind to {kind}");
    change_selected(state, &name, effects, |segment| segment.kind = kind);
}

/// Gives the selected segment the window's edges.
pub fn move_segment(state: &mut State, effects: &mut Vec<Effect>) {
    match state.brush.window {
        Some(window) if window.duration_s() > 0.0 => {
            let name = named(state, "move");
            change_selected(state, &name, effects, |segment| {
                (segment.from_s, segment.to_s) = (window.from_s, window.to_s);
            });
        }
        _ => no_window(state),
    }
}

pub fn delete(state: &mut State, effects: &mut Vec<Effect>) {
    if let Some(index) = selected(state) {
        let name = named(state, "delete");
        edit(state, &name, effects, |session| {
            session.segments.remove(index);
        });
        state.selected = None;
    }
}

pub fn ask_kind(state: &mut State) {
    if selected(state).is_some() {
        state.mode = Mode::Menu(Place::KindMenu);
    }
}

/// The selected segment, or a message that there is none.
pub fn selected(state: &mut State) -> Option<usize> {
    let found = state
        .selected
        .filter(|index| *index < state.session().segments.len());
    if found.is_none() {
        let keys = (
            state.key(names::SEGMENT_BEFORE),
            state.key(names::SEGMENT_AFTER),
        );
        let text = if state.session().segments.is_empty() {
            "there is no segment yet".to_owned()
        } else {
            format!(
                "no segment is selected; {} and {} select one",
                keys.0, keys.1
            )
        };
        warn(state, text);
    }
    found
}

/// `verb` and what the selected segment is, as in "delete sprint".
pub fn named(state: &State, verb: &str) -> String {
    let segment = state.selected.and_then(|i| state.session().segments.get(i));
    segment.map_or_else(|| verb.to_owned(), |s| format!("{verb} {}", s.kind))
}

/// Edits the session under a name; refused where the session is read-only, or could not be saved
/// any more.
pub fn edit(
    state: &mut State,
    name: &str,
    effects: &mut Vec<Effect>,
    change: impl FnOnce(&mut Session),
) -> bool {
    if let Some(why) = state.read_only.clone() {
        warn(state, format!("nothing can be changed: {why}"));
        return false;
    }
    let before = state.session().clone();
    change(&mut state.opened.session);
    if *state.session() == before {
        return false;
    }
    if let (Err((place, problem)), Ok(())) =
        (check_savable(state.session()), check_savable(&before))
    {
        state.opened.session = before;
        warn(state, format!("{name}: not done: {place}: {problem}"));
        return false;
    }
    settle(state, &before);
    state.history.record(name, before);
    effects.push(Effect::Journal {
        name: name.to_owned(),
        done: format!("done: {name}"),
    });
    true
}

/// Brings what is derived from the session in step with it.
pub fn settle(state: &mut State, before: &Session) {
    type OnTheLine<'a> = (&'a str, Role, f64, f64, Option<&'a Weights>);
    fn on_the_line(s: &Stream) -> OnTheLine<'_> {
        let weights = s.weights.as_ref();
        (&s.label, s.role, s.offset_s, s.skew_ppm, weights)
    }
    let streams = state.session().streams.iter().map(on_the_line);
    let same = streams.eq(before.streams.iter().map(on_the_line));
    if !same || state.session().zero_unix_s != before.zero_unix_s {
        state.aligned = Arc::new(state.aligned.rebuilt(&state.opened));
        let ride = state.ride();
        state.cursor_s = state.cursor_s.clamp(ride.from_s, ride.to_s);
        motion::show(state, state.shown);
        state.change_points = None;
        state.letters = letters(&state.session().streams);
    }
    let segments = state.session().segments.len();
    state.selected = state.selected.filter(|index| *index < segments);
    state.refresh_lines();
    state.refresh_figures(true);
}

/// Edits the selected segment; it stays selected wherever it is sorted to.
pub fn change_selected(
    state: &mut State,
    name: &str,
    effects: &mut Vec<Effect>,
    change: impl FnOnce(&mut Segment),
) {
    let Some(index) = selected(state) else {
        return;
    };
    let mut segment = state.session().segments[index].clone();
    change(&mut segment);
    put(state, name, effects, Some(index), segment);
}

/// Puts `segment` among the segments, in the place of the one at `instead_of`, and selects it.
/// Whether it is there now.
pub fn put(
    state: &mut State,
    name: &str,
    effects: &mut Vec<Effect>,
    instead_of: Option<usize>,
    segment: Segment,
) -> bool {
    let wanted = segment.clone();
    let changed = edit(state, name, effects, |session| {
        match instead_of {
            Some(index) => session.segments[index] = segment,
            None => session.segments.push(segment),
        }
        session.sort_segments();
    });
    if changed {
        state.selected = state.session().segments.iter().rposition(|s| *s == wanted);
    }
    changed
}

pub fn tag(state: &mut State, kind: Kind, effects: &mut Vec<Effect>) {
    state.mode = Mode::View;
    let Some(window) = state.brush.window.filter(|w| w.duration_s() > 0.0) else {
        no_window(state);
        return;
    };
    let segment = Segment {
        kind,
        from_s: window.from_s,
        to_s: window.to_s,
        set_point_w: None,
        note: String::new(),
    };
    let long = state.long();
    let name = format!(
        "tag {kind} {}-{}",
        text::time(window.from_s, long),
        text::time(window.to_s, long)
    );
    put(state, &name, effects, None, segment);
}

pub fn split(state: &mut State, effects: &mut Vec<Effect>) {
    let Some(index) = selected(state) else {
        return;
    };
    let here_s = state.cursor_s;
    let segment = state.session().segments[index].clone();
    if !(segment.from_s < here_s && here_s < segment.to_s) {
        warn(state, "the cursor is not inside the selected segment");
        return;
    }
    let name = named(state, "split");
    edit(state, &name, effects, |session| {
        session.segments[index].to_s = here_s;
        session.segments.push(Segment {
            from_s: here_s,
            ..segment
        });
        session.sort_segments();
    });
    choose(state, index);
}

pub fn merge(state: &mut State, effects: &mut Vec<Effect>) {
    let Some(index) = selected(state) else {
        return;
    };
    let Some(next) = state.session().segments.get(index + 1).cloned() else {
        warn(state, "there is no segment after this one to merge with");
        return;
    };
    let first = &state.session().segments[index];
    let mut name = named(state, "merge");
    // What the two do not share is the first one's: that is said, since figures rest on it.
    if next.kind != first.kind {
        name += &format!(" with {}", next.kind);
    }
    if let (Some(other_w), true) = (next.set_point_w, next.set_point_w != first.set_point_w) {
        name += &format!(", set point {other_w} W dropped");
    }
    edit(state, &name, effects, |session| {
        session.segments.remove(index + 1);
        let segment = &mut session.segments[index];
        segment.to_s = segment.to_s.max(next.to_s);
        let own = std::mem::take(&mut segment.note);
        segment.note = match (own.as_str(), next.note.as_str()) {
            (_, "") => own,
            ("", _) => next.note,
            (one, other) if one == other => own,
            (one, other) => format!("{one}; {other}"),
        };
    });
    choose(state, index);
}

pub fn select(state: &mut State, forward: bool) {
    let count = state.session().segments.len();
    if count == 0 {
        warn(state, "there is no segment yet: tag a window first");
        return;
    }
    let from_cursor = || {
        let segments = &state.session().segments;
        let after = segments.iter().position(|s| s.from_s >= state.cursor_s);
        match (forward, after) {
            (true, found) => found.unwrap_or(count - 1),
            (false, found) => found.unwrap_or(count).saturating_sub(1),
        }
    };
    let index = match (state.selected, forward) {
        (Some(index), true) => (index + 1).min(count - 1),
        (Some(index), false) => index.saturating_sub(1),
        (None, _) => from_cursor(),
    };
    choose(state, index);
}

/// Selects a segment: it becomes the window and comes into view.
pub fn choose(state: &mut State, index: usize) {
    let Some(segment) = state.session().segments.get(index) else {
        return;
    };
    let span = Span::new(segment.from_s, segment.to_s);
    state.selected = Some(index);
    state.brush.window = Some(span);
    state.brush.held = Held::Nothing;
    if state.zooms {
        show_large(state, span);
        state.cursor_s = whole_second(state, span.from_s);
    } else {
        bring_span_into_view(state, span);
    }
}

pub fn step_back(state: &mut State, effects: &mut Vec<Effect>) {
    step(state, effects, "undone", |state| {
        let undone = state.history.undo(&mut state.opened.session);
        undone.map(str::to_owned)
    });
}

pub fn step_forward(state: &mut State, effects: &mut Vec<Effect>) {
    step(state, effects, "redone", |state| {
        let redone = state.history.redo(&mut state.opened.session);
        redone.map(str::to_owned)
    });
}

fn step(
    state: &mut State,
    effects: &mut Vec<Effect>,
    word: &str,
    step: impl FnOnce(&mut State) -> Option<String>,
) {
    if let Some(why) = state.read_only.clone() {
        warn(state, format!("nothing can be changed: {why}"));
        return;
    }
    let before = state.session().clone();
    let Some(name) = step(state) else {
        let text = if word == "undone" {
            "nothing to undo"
        } else {
            "nothing to redo"
        };
        say(state, text);
        return;
    };
    settle(state, &before);
    let done = format!("{word}: {name}");
    effects.push(Effect::Journal {
        name: done.clone(),
        done,
    });
}

pub fn restore(state: &mut State, effects: &mut Vec<Effect>) {
    state.mode = Mode::View;
    let Some(leftover) = state.leftover.take() else {
        return;
    };
    let count = leftover.edits.len();
    let edits = if count == 1 { "edit" } else { "edits" };
    let name = format!("restore {count} {edits} of an earlier run");
    effects.push(Effect::Restored);
    if !take_over(state, &name, leftover.session, effects) {
        effects.retain(|effect| *effect != Effect::Restored);
        effects.push(Effect::SetAside);
    }
}

/// The session file was read again.
pub fn reloaded(state: &mut State, session: Session, effects: &mut Vec<Effect>) {
    if take_over(state, "reload session.toml", session, effects) {
        state.saved = state.session().clone();
    }
}

/// Takes another state of the same session over and says whether it could. Streams keep the
/// recordings they were opened with, so a session with other streams is refused.
fn take_over(
    state: &mut State,
    name: &str,
    mut session: Session,
    effects: &mut Vec<Effect>,
) -> bool {
    if !session.reads_the_same(state.session()) {
        warn(
            state,
            format!(
                "{name}: not done, since it is of other streams or recordings than session.toml \
                 names now; quit and open it again over those"
            ),
        );
        return false;
    }
    state.opened.note_in(&mut session);
    if session == *state.session() {
        say(state, format!("{name}: nothing differs"));
        return true;
    }
    edit(state, name, effects, |current| *current = session)
}
