//! The whole ride in a strip: where the view and the window are, what is tagged, what dropped out.

use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

use super::super::state::Scale;
use super::super::state::State;
use super::dots::Dots;
use super::lanes::columns_of;
use super::pen::Pen;
use super::picture;
use crate::recording::Channel;
use crate::session::Role;
use crate::timeline::Span;

pub fn draw(state: &State, area: Rect, pen: &mut Pen<'_>) {
    if area.height < 2 || area.width == 0 {
        return;
    }
    let traces = Rect {
        height: area.height - 1,
        ..area
    };
    power(state, traces, pen);
    let marks = Rect {
        y: area.bottom() - 1,
        height: 1,
        ..area
    };
    segments(state, marks, pen);
    dropouts(state, marks, pen);
    let ride = state.ride();
    let window = state
        .brush
        .window
        .and_then(|window| columns_of(area, ride, window));
    if let Some((left, right)) = window {
        let covered = Rect {
            x: left,
            width: right - left + 1,
            ..traces
        };
        pen.style(covered, state.look.selected());
    }
    if let Some(x) = picture::column_of(area, ride, state.cursor_s) {
        pen.style(Rect::new(x, marks.y, 1, 1), state.look.selected());
    }
}

/// Power of one stream over the whole ride; what is not in view stands back.
fn power(state: &State, area: Rect, pen: &mut Pen<'_>) {
    let reference = || state.aligned.powered(Role::Reference).next();
    let Some(index) = state.under_test().or_else(reference) else {
        return;
    };
    let ride = state.ride();
    let mut dots = Dots::new(area);
    let columns = dots.width();
    let track = &state.aligned.tracks[index];
    // Filled down to zero: a silhouette reads better than a line in one or two rows.
    let stretches = track.stretches(picture::dot_spans(ride, columns));
    let mut extents = track
        .extents(Channel::Power, &stretches)
        .unwrap_or_default();
    for extent in extents.iter_mut().flatten() {
        extent.min = extent.min.min(0.0);
    }
    let high = extents.iter().flatten().map(|e| e.max).fold(1.0, f64::max);
    dots.trace(Scale { low: 0.0, high }, 0, &extents);
    let inks = state.look.streams(&state.session().streams);
    let ink = inks.get(index).copied().unwrap_or_default();
    dots.paint(area, pen.buffer, state.look, &[state.look.faint()]);
    if let Some((left, right)) = columns_of(area, ride, state.shown) {
        let seen = Rect {
            x: left,
            width: right - left + 1,
            ..area
        };
        pen.style(seen, ink);
    }
}

/// One run a segment, with its number; where segments overlap the later one is on top and the
/// overlap is marked.
fn segments(state: &State, row: Rect, pen: &mut Pen<'_>) {
    let ride = state.ride();
    let mut last = 0;
    for x in row.left()..row.right() {
        pen.dot(x, row.y, state.look.glyph('─', '-'), state.look.faint());
    }
    for (index, segment) in state.session().segments.iter().enumerate() {
        let span = Span::new(segment.from_s, segment.to_s);
        let Some((left, right)) = columns_of(row, ride, span) else {
            continue;
        };
        let chosen = state.selected == Some(index);
        let style = if chosen {
            state.look.strong().add_modifier(Modifier::UNDERLINED)
        } else {
            Style::new()
        };
        for x in left..=right {
            let overlap = x < last;
            let (bar, double) = (state.look.glyph('━', '='), state.look.glyph('═', '#'));
            pen.dot(
                x,
                row.y,
                if overlap { double } else { bar },
                Style::reset().patch(style),
            );
        }
        last = last.max(right + 1);
    }
    numbers(state, row, pen);
}

/// The segments' numbers, each with a column of its bar behind it, so that two never read as one.
fn numbers(state: &State, row: Rect, pen: &mut Pen<'_>) {
    let ride = state.ride();
    let segments = &state.session().segments;
    let columns: Vec<Option<(u16, u16)>> = segments
        .iter()
        .map(|segment| columns_of(row, ride, Span::new(segment.from_s, segment.to_s)))
        .collect();
    for (index, place) in columns.iter().enumerate() {
        let Some((left, right)) = *place else {
            continue;
        };
        let next = columns
            .iter()
            .skip(index + 1)
            .flatten()
            .map(|(left, _)| *left);
        let end = next.min().unwrap_or(right + 1).min(right + 1);
        let number = (index + 1).to_string();
        if usize::from(end.saturating_sub(left)) > number.len() {
            let style = if state.selected == Some(index) {
                state.look.selected()
            } else {
                state.look.strong()
            };
            pen.write(left, row.y, end - left, &number, style);
        }
    }
}

fn dropouts(state: &State, row: Rect, pen: &mut Pen<'_>) {
    let ride = state.ride();
    for (index, spans) in state.found.dropouts.iter().enumerate() {
        if state.hidden.get(index) == Some(&true) {
            continue;
        }
        for span in spans {
            if let Some((left, right)) = columns_of(row, ride, Span::new(span.from_s, span.to_s)) {
                for x in left..=right {
                    pen.dot(x, row.y, state.look.glyph('×', 'x'), state.look.warning());
                }
            }
        }
    }
}
