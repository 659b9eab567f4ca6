//! The cursor, what is shown, and the window.

use super::super::action::names;
use super::super::state::{Edge, Held, State};
use super::say::{say, warn};
use crate::timeline::Span;

/// Least time shown, s.
const LEAST_SHOWN_S: f64 = 10.0;

/// Stretches remembered for going back.
const VIEWS_KEPT: usize = 100;

pub fn scrub(state: &mut State, seconds: i32) {
    go_to(state, state.cursor_s + f64::from(seconds));
}

/// Moves the cursor and what is shown by so many screens.
pub fn screen(state: &mut State, screens: i32) {
    let by_s = f64::from(screens) * state.shown.duration_s();
    show(
        state,
        Span {
            from_s: state.shown.from_s + by_s,
            to_s: state.shown.to_s + by_s,
        },
    );
    go_to(state, state.cursor_s + by_s);
}

pub fn ride_end(state: &mut State, end: bool) {
    let ride = state.ride();
    go_to(state, if end { ride.to_s } else { ride.from_s });
}

pub fn to_edge(state: &mut State, edge: Edge) {
    match (state.brush.window, edge) {
        (Some(window), Edge::Start) => go_to(state, window.from_s),
        (Some(window), Edge::End) => go_to(state, window.to_s),
        (None, _) => no_window(state),
    }
}

/// Shows the window with a little around it; where it is shown so already, the whole ride.
pub fn toggle_zoom(state: &mut State) {
    let Some(window) = state.brush.window else {
        no_window(state);
        return;
    };
    let before = state.shown;
    show_large(state, window);
    state.zooms = state.shown != before;
    if !state.zooms {
        show(state, state.ride());
    }
}

/// Share of a stretch shown on either side of it, and the least of that, s.
const MARGIN: f64 = 0.15;
const LEAST_MARGIN_S: f64 = 5.0;

/// Shows a stretch with a little around it.
pub fn show_large(state: &mut State, span: Span) {
    let margin_s = (MARGIN * span.duration_s()).max(LEAST_MARGIN_S);
    remember_shown(state);
    show(
        state,
        Span {
            from_s: span.from_s - margin_s,
            to_s: span.to_s + margin_s,
        },
    );
    if !state.shown.contains(state.cursor_s) {
        state.cursor_s = whole_second(state, span.from_s);
    }
}

pub fn zoom_all(state: &mut State) {
    remember_shown(state);
    show(state, state.ride());
}

/// Lets the whole window follow the cursor.
pub fn hold_window(state: &mut State) {
    let Some(window) = state.brush.window else {
        no_window(state);
        return;
    };
    state.brush.held = Held::Whole {
        lead_s: state.cursor_s - window.from_s,
    };
    let key = state.key(names::LET_GO);
    say(
        state,
        format!("the window follows the cursor; {key} lets go"),
    );
}

pub fn let_go(state: &mut State) {
    state.brush.held = Held::Nothing;
}

/// Drops the window.
pub fn clear(state: &mut State) {
    state.brush.window = None;
    state.brush.held = Held::Nothing;
    state.selected = None;
}

pub fn no_window(state: &mut State) {
    let (start, end) = (state.key(names::SET_START), state.key(names::SET_END));
    warn(
        state,
        format!("there is no window yet: {start} sets its start at the cursor, {end} its end"),
    );
}

/// Moves the cursor to the whole second nearest to `t_s`, with what follows it, and keeps it in
/// view.
pub fn go_to(state: &mut State, t_s: f64) {
    state.cursor_s = whole_second(state, t_s);
    follow(state);
    bring_into_view(state, state.cursor_s);
}

pub fn whole_second(state: &State, t_s: f64) -> f64 {
    let (grid, ride) = (state.aligned.grid, state.ride());
    let steps = ((t_s - grid.start_s) / grid.step_s).round();
    (grid.start_s + steps * grid.step_s).clamp(ride.from_s, ride.to_s)
}

fn follow(state: &mut State) {
    let ride = state.ride();
    match state.brush.held {
        Held::Nothing => {}
        Held::Edge { anchor_s } => {
            state.brush.window = Some(Span::new(anchor_s, state.cursor_s));
        }
        Held::Whole { lead_s } => {
            if let Some(window) = &mut state.brush.window {
                let length_s = window.duration_s();
                let latest_s = (ride.to_s - length_s).max(ride.from_s);
                window.from_s = (state.cursor_s - lead_s).clamp(ride.from_s, latest_s);
                window.to_s = window.from_s + length_s;
            }
        }
    }
}

fn bring_into_view(state: &mut State, t_s: f64) {
    let (shown, length_s) = (state.shown, state.shown.duration_s());
    let margin_s = length_s * 0.05;
    let from_s = if t_s < shown.from_s {
        t_s - margin_s
    } else if t_s > shown.to_s - margin_s.min(1.0) {
        t_s + margin_s - length_s
    } else {
        return;
    };
    show(
        state,
        Span {
            from_s,
            to_s: from_s + length_s,
        },
    );
}

/// Moves, and where needed widens, what is shown so that all of `span` is; the cursor goes to its
/// start.
pub fn bring_span_into_view(state: &mut State, span: Span) {
    let shown = state.shown;
    if span.from_s < shown.from_s || span.to_s > shown.to_s {
        let length_s = shown.duration_s().max(1.2 * span.duration_s());
        let middle_s = 0.5 * (span.from_s + span.to_s);
        remember_shown(state);
        show(
            state,
            Span {
                from_s: middle_s - 0.5 * length_s,
                to_s: middle_s + 0.5 * length_s,
            },
        );
    }
    state.cursor_s = whole_second(state, span.from_s);
}

/// Shows `span`, moved and cut to fit the ride.
pub fn show(state: &mut State, span: Span) {
    let ride = state.ride();
    let longest_s = ride.duration_s().max(LEAST_SHOWN_S);
    let length_s = span.duration_s().clamp(LEAST_SHOWN_S, longest_s);
    let middle_s = 0.5 * (span.from_s + span.to_s);
    let latest_s = (ride.to_s - length_s).max(ride.from_s);
    let from_s = (middle_s - 0.5 * length_s).clamp(ride.from_s, latest_s);
    state.shown = Span {
        from_s,
        to_s: from_s + length_s,
    };
}

pub fn remember_shown(state: &mut State) {
    if state.shown_before.last() != Some(&state.shown) {
        state.shown_before.push(state.shown);
    }
    if state.shown_before.len() > VIEWS_KEPT {
        state.shown_before.remove(0);
    }
    state.shown_after.clear();
}

pub fn view_history(state: &mut State, forward: bool) {
    let (from, onto) = if forward {
        (&mut state.shown_after, &mut state.shown_before)
    } else {
        (&mut state.shown_before, &mut state.shown_after)
    };
    if let Some(span) = from.pop() {
        onto.push(state.shown);
        state.shown = span;
    } else {
        warn(state, "nothing else was shown");
    }
}

/// Halves or doubles the stretch shown; what is at `about_s` stays where it is on the screen.
pub fn zoom(state: &mut State, about_s: f64, closer: bool) {
    let shown = state.shown;
    let length_s = shown.duration_s() * if closer { 0.5 } else { 2.0 };
    let length_s = length_s.clamp(LEAST_SHOWN_S, state.ride().duration_s().max(LEAST_SHOWN_S));
    let share = ((about_s - shown.from_s) / shown.duration_s()).clamp(0.0, 1.0);
    remember_shown(state);
    let from_s = about_s - share * length_s;
    show(
        state,
        Span {
            from_s,
            to_s: from_s + length_s,
        },
    );
}

pub fn set_edge(state: &mut State, edge: Edge) {
    let here_s = state.cursor_s;
    // Brushed backwards: what is set is the other end of the anchor, on whichever side it lies.
    let anchor_s = match state.brush.held {
        Held::Edge { anchor_s } if edge == Edge::End && anchor_s != here_s => Some(anchor_s),
        _ => None,
    };
    let other_s = anchor_s.or(match (state.brush.window, edge) {
        (Some(window), Edge::Start) if window.to_s > here_s => Some(window.to_s),
        (Some(window), Edge::End) if window.from_s < here_s => Some(window.from_s),
        _ => None,
    });
    state.selected = None;
    // The edge being set is set; a fresh window's other edge follows until it is set too.
    match other_s {
        Some(other_s) => {
            state.brush.window = Some(Span::new(here_s, other_s));
            state.brush.held = Held::Nothing;
            // It would still say that an edge follows the cursor.
            state.message = None;
        }
        _ => {
            state.brush.window = Some(Span::new(here_s, here_s));
            state.brush.held = Held::Edge { anchor_s: here_s };
            let key = match edge {
                Edge::Start => state.key(names::SET_END),
                Edge::End => state.key(names::SET_START),
            };
            let other = match edge {
                Edge::Start => "end",
                Edge::End => "start",
            };
            say(
                state,
                format!("the window's {other} follows the cursor; {key} sets it"),
            );
        }
    }
}

pub fn hold_edge(state: &mut State) {
    let Some(window) = state.brush.window else {
        no_window(state);
        return;
    };
    // The edge in hand is left where it is, and the other one taken; at first the nearer one.
    let take_end = match state.brush.held {
        Held::Edge { anchor_s } => anchor_s == window.to_s,
        _ => (state.cursor_s - window.to_s).abs() <= (state.cursor_s - window.from_s).abs(),
    };
    let (anchor_s, cursor_s) = if take_end {
        (window.from_s, window.to_s)
    } else {
        (window.to_s, window.from_s)
    };
    state.brush.held = Held::Edge { anchor_s };
    go_to(state, cursor_s);
    let edge = if take_end { "end" } else { "start" };
    let keys = (state.key(names::LET_GO), state.key(names::HOLD_EDGE));
    say(
        state,
        format!(
            "the window's {edge} follows the cursor; {} lets go, {} takes the other edge",
            keys.0, keys.1
        ),
    );
}
