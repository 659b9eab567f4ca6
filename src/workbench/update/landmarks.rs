//! What the landmark keys stop at, and what an edge of the window snaps to.

use std::sync::Arc;

use super::super::action::names;
use super::super::state::{Held, Landmarks, Mode, State};
use super::super::text;
use super::motion::{go_to, no_window, whole_second};
use super::say::{say, warn};
use crate::analysis::ride::noted;
use crate::recording::Channel;
use crate::session::Role;
use crate::suggest::{Evidence, SETTLE_S, change_points_s};
use crate::timeline::Span;

/// Farthest that an edge snaps, s. A convention of this program.
const SNAP_REACH_S: f64 = 60.0;

/// Rows looked at on either side of a change point, and rows averaged on either side of a step.
/// Conventions of this program.
const STEP_REACH: usize = 5;
const STEP_MEAN: usize = 3;

/// Moves the nearer edge of the window to the nearest change point, at its steepest second.
pub fn snap(state: &mut State) {
    let Some(window) = state.brush.window else {
        no_window(state);
        return;
    };
    let to_end = (state.cursor_s - window.to_s).abs() <= (state.cursor_s - window.from_s).abs();
    let (edge_s, other_s, name) = if to_end {
        (window.to_s, window.from_s, "end")
    } else {
        (window.from_s, window.to_s, "start")
    };
    let nearest = steps(state)
        .into_iter()
        .filter(|step_s| (step_s - edge_s).abs() <= SNAP_REACH_S)
        .min_by(|a, b| (a - edge_s).abs().total_cmp(&(b - edge_s).abs()));
    let Some(step_s) = nearest else {
        let text = format!("there is no step within {SNAP_REACH_S} s of the window's {name}");
        warn(state, text);
        return;
    };
    if step_s == other_s {
        warn(state, "the nearest step is the window's other edge");
        return;
    }
    if step_s == edge_s {
        say(state, format!("the window's {name} is at a step already"));
        return;
    }
    state.brush.held = Held::Nothing;
    state.brush.window = Some(Span::new(step_s, other_s));
    state.selected = None;
    go_to(state, step_s);
    let moved_s = step_s - edge_s;
    say(
        state,
        format!("the window's {name} moved by {moved_s:+.0} s to the nearest step"),
    );
}

/// The change points of the ride, each at its steepest second.
fn steps(state: &mut State) -> Vec<f64> {
    let aligned = Arc::clone(&state.aligned);
    let power = Evidence::of(&aligned).power;
    let grid = aligned.grid;
    let mean = |rows: std::ops::Range<usize>| {
        let values = power.get(rows)?;
        let sum: f64 = values.iter().sum();
        sum.is_finite().then(|| sum / values.len() as f64)
    };
    let change = |row: usize| {
        let before = mean(row.checked_sub(STEP_MEAN)?..row)?;
        Some((mean(row..row + STEP_MEAN)? - before).abs())
    };
    let steepest = |row: usize| {
        (row.saturating_sub(STEP_REACH)..=row + STEP_REACH)
            .filter_map(|row| Some((row, change(row)?)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(row, |(row, _)| row)
    };
    let points = change_points(state).to_vec();
    points
        .into_iter()
        .map(|t_s| grid.time_s(steepest(grid.nearest_row(t_s))))
        .collect()
}

/// The change points of the ride, found once for each state of the clocks.
fn change_points(state: &mut State) -> &[f64] {
    let aligned = &state.aligned;
    state
        .change_points
        .get_or_insert_with(|| change_points_s(aligned))
}

/// The landmark keys stop at these from now on.
pub fn choose(state: &mut State, landmarks: Landmarks) {
    state.landmarks = landmarks;
    state.mode = Mode::View;
    let keys = [names::LANDMARK_BACK, names::LANDMARK_FORWARD].map(|name| state.key(name));
    let name = landmarks.name();
    say(state, format!("{} and {} stop at {name}", keys[0], keys[1]));
}

pub fn go(state: &mut State, forward: bool) {
    let here_s = state.cursor_s;
    let landmarks = state.landmarks;
    let stops = stops(state, landmarks);
    let next = if forward {
        stops.into_iter().filter(|t| *t > here_s).reduce(f64::min)
    } else {
        stops.into_iter().filter(|t| *t < here_s).reduce(f64::max)
    };
    match next {
        Some(t_s) => go_to(state, t_s),
        None => {
            let side = if forward { "after" } else { "before" };
            let name = state.landmarks.name();
            let key = state.key(names::LANDMARKS);
            warn(
                state,
                format!("no {name} {side} the cursor; {key} chooses other landmarks"),
            );
        }
    }
}

/// Shortest piece whose start is inset, s: what is shorter is an effort, which begins at once.
const INSET_FROM_S: f64 = 60.0;

/// Brushes the piece between the landmarks around the cursor; of a long one without the first
/// seconds, in which power still settles. The cursor goes to its end, from where the next piece is
/// one key away.
pub fn brush_piece(state: &mut State) {
    let (here_s, ride, landmarks) = (state.cursor_s, state.ride(), state.landmarks);
    let stops = stops(state, landmarks);
    let before = stops
        .iter()
        .copied()
        .filter(|t| *t <= here_s)
        .reduce(f64::max);
    let after = stops
        .iter()
        .copied()
        .filter(|t| *t > here_s)
        .reduce(f64::min);
    let (from_s, to_s) = (before.unwrap_or(ride.from_s), after.unwrap_or(ride.to_s));
    let inset_s = match to_s - from_s >= INSET_FROM_S && before.is_some() {
        true => SETTLE_S,
        false => 0.0,
    };
    let window = Span::new(
        whole_second(state, from_s + inset_s),
        whole_second(state, to_s),
    );
    state.selected = None;
    state.brush.held = Held::Nothing;
    state.brush.window = Some(window);
    go_to(state, to_s);
    let (tag, hold) = (state.key(names::TAG), state.key(names::HOLD_EDGE));
    let inset = match inset_s > 0.0 {
        true => format!(", {inset_s:.0} s after the change"),
        false => String::new(),
    };
    say(
        state,
        format!(
            "brushed {}{inset}; {tag} tags it, {hold} moves an edge",
            text::duration(window.duration_s())
        ),
    );
}

fn stops(state: &mut State, landmarks: Landmarks) -> Vec<f64> {
    match landmarks {
        Landmarks::Useful => {
            let mut all = stops(state, Landmarks::Edges);
            let mut marks = stops(state, Landmarks::Laps);
            if marks.is_empty() {
                marks = stops(state, Landmarks::Steps);
            }
            // A tagged segment says better than laps and changes where it begins and ends.
            let segments = &state.session().segments;
            let tagged = |t_s: f64| segments.iter().any(|s| s.from_s <= t_s && t_s <= s.to_s);
            all.extend(marks.into_iter().filter(|t_s| !tagged(*t_s)));
            all
        }
        Landmarks::Laps => {
            let laps = noted(&state.aligned, |recording, clock| {
                let laps = recording.laps.iter();
                laps.flat_map(|lap| [lap.from_s, lap.to_s])
                    .map(|t_s| clock.to_session(t_s))
                    .collect()
            });
            laps.into_iter()
                .map(|t_s| whole_second(state, t_s))
                .collect()
        }
        Landmarks::Edges => {
            let edges = state.session().segments.iter();
            edges
                .flat_map(|s| [s.from_s, s.to_s])
                .map(|t| whole_second(state, t))
                .collect()
        }
        Landmarks::Dropouts => {
            let starts = state.found.dropouts.iter().flatten();
            starts
                .map(|dropout| whole_second(state, dropout.from_s))
                .collect()
        }
        Landmarks::Excursions => {
            let starts = state.found.excursions.iter().flatten();
            starts
                .map(|excursion| whole_second(state, excursion.from_s))
                .collect()
        }
        Landmarks::Steps => change_points(state).to_vec(),
        Landmarks::Peaks => peaks(state),
    }
}

/// A second is a peak where it is the highest within this many seconds on either side …
const PEAK_REACH: usize = 15;

/// … and reaches this share of the ride's 1 s maximum. Conventions of this program.
const PEAK_SHARE: f64 = 0.6;

fn peaks(state: &State) -> Vec<f64> {
    let reference = state.aligned.powered(Role::Reference).next();
    let Some(index) = reference.or_else(|| state.under_test()) else {
        return Vec::new();
    };
    let (grid, track) = (state.aligned.grid, state.aligned.tracks.get(index));
    let Some(column) = track.and_then(|track| track.column(Channel::Power)) else {
        return Vec::new();
    };
    let highest = column
        .iter()
        .copied()
        .filter(|v| v.is_finite())
        .fold(0.0, f64::max);
    let is_peak = |row: &usize| {
        let around = row.saturating_sub(PEAK_REACH)..(row + PEAK_REACH + 1).min(column.len());
        let value = column[*row];
        value >= PEAK_SHARE * highest
            && value > 0.0
            && column[around.clone()]
                .iter()
                .all(|v| v.is_nan() || *v <= value)
            && column[around.start..*row].iter().all(|v| *v != value)
    };
    (0..column.len())
        .filter(is_peak)
        .map(|row| grid.time_s(row))
        .collect()
}
