//! Clocks: shifting that of the selected stream while every trace stays in view, matching marked
//! features, and what the clocks view compares.

use super::super::action::names;
use super::super::event::Effect;
use super::super::state::{Mark, Mode, State, View};
use super::super::study::Answer;
use super::edit::{edit, settle};
use super::motion;
use super::say::{say, warn};
use crate::session::{MatchedOn, Session};

/// Shortest and longest close-up, s.
const CLOSE_UP_S: (f64, f64) = (10.0, 600.0);

/// Shifts the clock of the selected stream from now on.
pub fn adjust(state: &mut State) {
    if state.session().streams.is_empty() {
        warn(state, "there is no stream whose clock could be shifted");
    } else {
        state.mode = Mode::Clock;
    }
}

/// Shows less or more time about the cursor: in the clocks view its close-up.
pub fn zoom(state: &mut State, closer: bool) {
    if state.view != View::Clocks {
        motion::zoom(state, state.cursor_s, closer);
        return;
    }
    let factor = if closer { 0.5 } else { 2.0 };
    state.close_up_s = (state.close_up_s * factor).clamp(CLOSE_UP_S.0, CLOSE_UP_S.1);
}

pub fn nudge(state: &mut State, tenths: i32, effects: &mut Vec<Effect>) {
    let Some(stream) = state.session().streams.get(state.stream) else {
        return;
    };
    let name = format!("shift clock of {}", stream.label);
    let offset_s = (stream.offset_s * 10.0 + f64::from(tenths)).round() / 10.0;
    let change = set_by_hand(state, offset_s);
    let continues = state.history.undo_name() == Some(name.as_str());
    let done = format!("{name}: offset {offset_s:+.1} s");
    if continues && state.read_only.is_none() {
        // One undo takes back a whole run of shifts.
        let before = state.session().clone();
        change(&mut state.opened.session);
        settle(state, &before);
        effects.push(Effect::Journal { name, done });
    } else {
        edit_saying(state, &name, done, effects, change);
    }
}

/// Sets the offset of the selected stream, and of every stream of its recording: they share its
/// recorder's clock.
fn set_by_hand(state: &State, offset_s: f64) -> impl FnOnce(&mut Session) + use<> {
    let shared = sharing(state);
    move |session| {
        for (index, stream) in session.streams.iter_mut().enumerate() {
            if shared.contains(&index) {
                stream.offset_s = offset_s;
                stream.matched_on = Some(MatchedOn::Given);
                stream.clock_doubt = None;
            }
        }
    }
}

fn sharing(state: &State) -> Vec<usize> {
    let shares =
        |other: &usize| *other == state.stream || state.opened.share_a_clock(state.stream, *other);
    (0..state.session().streams.len()).filter(shares).collect()
}

fn edit_saying(
    state: &mut State,
    name: &str,
    done: String,
    effects: &mut Vec<Effect>,
    change: impl FnOnce(&mut Session),
) -> bool {
    let changed = edit(state, name, effects, change);
    if changed && let Some(Effect::Journal { done: said, .. }) = effects.last_mut() {
        *said = done;
    }
    changed
}

pub fn mark(state: &mut State, other: bool) {
    let stream = if other {
        state.other_stream()
    } else {
        Some(state.stream)
    };
    let track = stream.and_then(|index| Some((index, state.aligned.tracks.get(index)?)));
    let Some((stream, track)) = track else {
        warn(state, "there is no second stream to mark");
        return;
    };
    let recorder_s = track.clock.to_recorder(state.cursor_s);
    state.marks[usize::from(other)] = Some(Mark { stream, recorder_s });
    let label = state.session().streams[stream].label.clone();
    let text = match (usable_marks(state), other) {
        (Some(_), _) => format!(
            "marked on {label}; {} shifts the clock so that the marks meet",
            state.key(names::MATCH_MARKS)
        ),
        (None, false) => format!(
            "marked on {label}; go to the same feature of the other stream and press {}",
            state.key(names::MARK_OTHER)
        ),
        (None, true) => format!(
            "marked on {label}; go to the same feature of the selected stream and press {}",
            state.key(names::MARK_SELECTED)
        ),
    };
    say(state, text);
}

/// The marks as session times, where there is one on each of the two streams shown.
pub fn usable_marks(state: &State) -> Option<(f64, f64)> {
    let at = |mark: Option<Mark>, stream: usize| {
        let mark = mark.filter(|mark| mark.stream == stream)?;
        let clock = state.aligned.tracks.get(stream)?.clock;
        Some(clock.to_session(mark.recorder_s))
    };
    Some((
        at(state.marks[0], state.stream)?,
        at(state.marks[1], state.other_stream()?)?,
    ))
}

pub fn match_marks(state: &mut State, effects: &mut Vec<Effect>) {
    let Some((in_hand_s, other_s)) = usable_marks(state) else {
        let text = format!(
            "mark a feature of the selected stream ({}) and the same one of the other stream ({})",
            state.key(names::MARK_SELECTED),
            state.key(names::MARK_OTHER)
        );
        warn(state, text);
        return;
    };
    let stream = &state.session().streams[state.stream];
    let name = format!("match marks of {}", stream.label);
    let offset_s = ((stream.offset_s + other_s - in_hand_s) * 1000.0).round() / 1000.0;
    let done = format!(
        "{name}: shifted by {:+.1} s to offset {offset_s:+.1} s",
        other_s - in_hand_s
    );
    let change = set_by_hand(state, offset_s);
    if !edit_saying(state, &name, done, effects, change) && state.read_only.is_none() {
        say(state, "the marks meet already");
    }
}

pub fn take_estimate(state: &mut State, effects: &mut Vec<Effect>) {
    let estimate = match &state.study {
        Some((question, Answer::Clocks(clocks))) if !state.is_pending() => clocks.estimates[0]
            .clone()
            .filter(|_| question.about.pair.map(|(in_hand, _)| in_hand) == Some(state.stream)),
        _ => None,
    };
    let Some(estimate) = estimate else {
        warn(state, "the estimate is still pending");
        return;
    };
    if !estimate.estimated {
        warn(state, format!("nothing to take: {}", estimate.reason));
        return;
    }
    let shared = sharing(state);
    let name = format!("align {}", estimate.label);
    let doubt = if estimate.confident {
        ""
    } else {
        ", which is not confident"
    };
    let done = format!(
        "{name}: offset {:+.2} s, skew {:+.1} ppm{doubt}",
        estimate.offset_s, estimate.skew_ppm
    );
    let changed = edit_saying(state, &name, done, effects, |session| {
        for (index, stream) in session.streams.iter_mut().enumerate() {
            if shared.contains(&index) {
                stream.offset_s = estimate.offset_s;
                stream.skew_ppm = estimate.skew_ppm;
                stream.matched_on = Some(estimate.matched_on);
                stream.clock_doubt = estimate.doubt();
            }
        }
    });
    if !changed && state.read_only.is_none() {
        say(state, "the clock is as estimated already");
    }
}

pub fn next_other_stream(state: &mut State) {
    let count = state.session().streams.len();
    let Some(other_stream) = state.other_stream() else {
        warn(state, "there is no second stream to compare with");
        return;
    };
    let next = (1..=count)
        .map(|step| (other_stream + step) % count)
        .find(|index| *index != state.stream);
    state.other_stream = next;
}

pub fn next_channel(state: &mut State) {
    let channels = state.matching_channels();
    let here = state.matching_channel();
    let here = here.and_then(|channel| channels.iter().position(|c| *c == channel));
    match here.and_then(|here| channels.get((here + 1) % channels.len())) {
        Some(channel) => state.clock_channel = Some(*channel),
        None => warn(
            state,
            "the two streams carry no channel in common to compare on",
        ),
    }
}
