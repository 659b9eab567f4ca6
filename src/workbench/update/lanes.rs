//! The lanes of the ride view: which are shown, on which scales, how smooth.

use super::super::draw::traces;
use super::super::state::{Lane, State};
use super::say::{say, warn};

/// Shows or hides a lane that some recording carries.
pub fn toggle(state: &mut State, lane: Lane) {
    let carried = match lane {
        Lane::Difference => state.basis().is_some() && state.under_test().is_some(),
        Lane::Channel(channel) => {
            let mut tracks = state.aligned.tracks.iter();
            tracks.any(|track| track.column(channel).is_some())
        }
    };
    let index = Lane::ALL.iter().position(|l| *l == lane);
    let Some(shown) = index.and_then(|index| state.lanes.get_mut(index)) else {
        return;
    };
    *shown = !*shown;
    if *shown && !carried {
        *shown = false;
        warn(state, format!("no recording carries {}", lane.name()));
    }
}

/// Holds the vertical scales as they are, or fits them to what is shown.
pub fn hold_scales(state: &mut State) {
    state.held_scales = match state.held_scales {
        Some(_) => None,
        None => Some(traces::scales(state)),
    };
    let text = match state.held_scales {
        Some(_) => "the scales are held as they are",
        None => "the scales fit what is shown",
    };
    say(state, text);
}

/// Smooths the picture more, then not at all.
pub fn smooth(state: &mut State) {
    state.smooth_s = match state.smooth_s {
        1 => 3,
        3 => 5,
        5 => 10,
        10 => 30,
        _ => 1,
    };
    let text = match state.smooth_s {
        1 => "the picture is raw".to_owned(),
        s => format!("the picture is smoothed over {s} s; the figures stay raw"),
    };
    say(state, text);
}
