//! The lanes on one time axis, the cursor across them and the values under it.

use std::ops::Range;

use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

use super::super::layout::{GUTTER, Layout};
use super::super::smooth::Series;
use super::super::state::{Lane, Scale, State};
use super::super::text;
use super::super::theme::Depth;
use super::dots::{ACROSS, BEHIND, DOWN, Dots};
use super::pen::Pen;
use super::picture;
use super::traces::{lane_dots, traces};
use crate::picture::labels;
use crate::picture::tone::Tone;
use crate::text::fit;
use crate::timeline::{Extent, Span};

/// Cells between two letters on a trace.
const LETTERS_APART: usize = 24;

pub fn draw(state: &State, layout: &Layout, pen: &mut Pen<'_>) {
    for (lane, area) in &layout.lanes {
        draw_lane(state, *lane, *area, layout.lane_cells(), pen);
    }
    axis(state, layout.axis, pen);
    cursor(state, layout, pen);
}

fn draw_lane(state: &State, lane: Lane, area: Rect, cells: u16, pen: &mut Pen<'_>) {
    let plot = Layout::plot(area);
    if plot.width == 0 || plot.height == 0 {
        return;
    }
    let series = picture::series(state, lane);
    let shown = traces(state, cells, &series);
    let allowed = picture::allowed(state, lane, usize::from(plot.width));
    let scale = picture::scale(state, lane, usize::from(plot.height), &shown, &allowed);
    let dots = lane_dots(state, (lane, plot), (scale, &series, &shown));
    let shown: Vec<&[Option<Extent>]> = shown.iter().map(|trace| trace.line()).collect();
    let ticks = picture::ticks(scale, plot.height);
    gutter(state, lane, &ticks, area, pen);
    ground(state, plot, &ticks, pen);
    if lane == Lane::Difference {
        band(state, plot, (scale, &allowed), pen);
    }
    let inks = state.look.streams(&state.session().streams);
    let mut styles: Vec<Style> = series
        .iter()
        .map(|series| match series {
            Series::Stream(index, _) => inks.get(*index).copied().unwrap_or_default(),
            Series::Difference => state.look.difference(),
        })
        .collect();
    styles.push(state.look.both());
    styles.resize(usize::from(BEHIND), Style::new());
    styles.push(state.look.of(Tone::Spread));
    dots.paint(plot, pen.buffer, state.look, &styles);
    stand_back(state, plot, &dots, &styles, pen);
    let several = series.len() > 1;
    for ((series, extents), style) in series.iter().zip(&shown).zip(styles) {
        mark_cuts(extents, plot, scale, pen);
        // Without colours the letter of the values beside the lane tells traces apart.
        if let (Series::Stream(index, _), true, Depth::None) = (series, several, state.look.depth) {
            letters(state, *index, extents, plot, scale, style, pen);
        }
    }
}

/// Lines at the ticks, and the edges of the window: only in cells without data.
fn ground(state: &State, plot: Rect, ticks: &[(u16, f64)], pen: &mut Pen<'_>) {
    let look = state.look;
    for (row, _) in ticks {
        for x in plot.left()..plot.right() {
            pen.dot(x, plot.y + row, look.glyph('─', '-'), look.grid());
        }
    }
    let window = state.brush.window;
    for t_s in window
        .iter()
        .flat_map(|window| [window.from_s, window.to_s])
    {
        if let Some(x) = picture::column_of(plot, state.shown, t_s) {
            for y in plot.top()..plot.bottom() {
                pen.dot(x, y, look.glyph('┊', '|'), look.mute());
            }
        }
    }
}

/// What lies outside the window stands back.
fn stand_back(state: &State, plot: Rect, dots: &Dots, styles: &[Style], pen: &mut Pen<'_>) {
    let window = state
        .brush
        .window
        .filter(|window| window.duration_s() > 0.0);
    let Some((left, right)) = window.and_then(|w| columns_of(plot, state.shown, w)) else {
        return;
    };
    let faded: Vec<Style> = styles.iter().map(|s| state.look.outside(*s)).collect();
    for column in (0..plot.width).filter(|column| !(left..=right).contains(&(plot.x + column))) {
        for row in 0..plot.height {
            let owner = dots.owner_at(column, row);
            if let Some(style) = owner.and_then(|owner| faded.get(usize::from(owner))) {
                pen.style(Rect::new(plot.x + column, plot.y + row, 1, 1), *style);
            }
        }
    }
}

/// First and last cell of a plot that `span` covers.
pub fn columns_of(plot: Rect, shown: Span, span: Span) -> Option<(u16, u16)> {
    let seen = shown.overlap(span)?;
    let left = picture::column_of(plot, shown, seen.from_s)?;
    let cell_s = shown.duration_s() / f64::from(plot.width.max(1));
    let right = picture::column_of(plot, shown, (seen.to_s - 0.01 * cell_s).max(seen.from_s))?;
    Some((left, right.max(left)))
}

/// What the claim allows, as ground; between lines where there is no quiet ground.
fn band(
    state: &State,
    plot: Rect,
    (scale, allowed): (Scale, &[Option<Extent>]),
    pen: &mut Pen<'_>,
) {
    let look = state.look;
    let has_ground = look.allowed().bg.is_some();
    let (upper, lower) = (look.glyph('▔', '"'), look.glyph('▁', '_'));
    let height = usize::from(plot.height) * DOWN;
    let row_of = |value: f64| (scale.row(value, height) / DOWN) as u16;
    for (column, allowed) in (0..plot.width).zip(allowed) {
        let Some(allowed) = allowed else { continue };
        let (top, bottom) = (row_of(allowed.max), row_of(allowed.min));
        if !has_ground {
            pen.dot(plot.x + column, plot.y + top, upper, look.edge());
            pen.dot(plot.x + column, plot.y + bottom, lower, look.edge());
        }
        let ground = Rect::new(plot.x + column, plot.y + top, 1, bottom - top + 1);
        pen.style(ground, state.look.allowed());
    }
}

/// Marks where a trace leaves its scale.
fn mark_cuts(extents: &[Option<Extent>], plot: Rect, scale: Scale, pen: &mut Pen<'_>) {
    let look = pen.look;
    // The ends of a scale are the middles of its outer dots.
    let dots = (usize::from(plot.height) * DOWN).max(2) - 1;
    let half_dot = 0.501 * (scale.high - scale.low) / dots as f64;
    let (low, high) = (scale.low - half_dot, scale.high + half_dot);
    for (dot, extent) in extents.iter().enumerate() {
        let Some(extent) = extent else { continue };
        let x = plot.x + (dot / ACROSS) as u16;
        if extent.max > high {
            pen.dot(x, plot.y, look.glyph('▲', '^'), look.warning());
        }
        if extent.min < low {
            pen.dot(x, plot.bottom() - 1, look.glyph('▼', 'v'), look.warning());
        }
    }
}

/// The stream's letter on its trace every so often, so that traces are told apart without colour.
fn letters(
    state: &State,
    index: usize,
    extents: &[Option<Extent>],
    plot: Rect,
    scale: Scale,
    style: Style,
    pen: &mut Pen<'_>,
) {
    let count = state.aligned.tracks.len().max(1);
    let first = LETTERS_APART * (index + 1) / (count + 1);
    let letter = state.letters.get(index).copied().unwrap_or('*');
    for column in (first..usize::from(plot.width)).step_by(LETTERS_APART) {
        let Some(extent) = extents.get(column * ACROSS).copied().flatten() else {
            continue;
        };
        let middle = 0.5 * (extent.min + extent.max);
        let row = scale.row(middle, usize::from(plot.height) * DOWN) / DOWN;
        let style = style.add_modifier(Modifier::BOLD);
        pen.dot(plot.x + column as u16, plot.y + row as u16, letter, style);
    }
}

/// The numbers of the ticks, the unit at the highest.
fn gutter(state: &State, lane: Lane, ticks: &[(u16, f64)], area: Rect, pen: &mut Pen<'_>) {
    let width = GUTTER.min(area.width).saturating_sub(1);
    let unit = match lane {
        Lane::Channel(channel) => channel.unit(),
        Lane::Difference if state.percent => "%",
        Lane::Difference => "W",
    };
    let signed = lane == Lane::Difference;
    let fine = ticks
        .windows(2)
        .any(|pair| (pair[1].1 - pair[0].1).abs() < 1.0);
    let decimals = usize::from(fine);
    let top = ticks.iter().map(|(row, _)| *row).min();
    for (row, value) in ticks {
        let number = crate::text::number(*value, decimals, signed);
        let label = match Some(*row) == top {
            true => format!("{number} {unit}"),
            false => format!("{number}{}", " ".repeat(unit.chars().count() + 1)),
        };
        let label = fit(&label, usize::from(width), state.look.cut());
        let pad = usize::from(width).saturating_sub(label.chars().count()) as u16;
        pen.write(
            area.x + pad,
            area.y + row,
            width,
            &label,
            state.look.faint(),
        );
    }
}

fn axis(state: &State, area: Rect, pen: &mut Pen<'_>) {
    let plot = Layout::plot(area);
    if plot.width == 0 || plot.height == 0 {
        return;
    }
    let marks = picture::time_marks(state.shown, plot.width, 10).into_iter();
    let marks: Vec<(u16, String)> = marks
        .filter_map(|t_s| {
            let x = picture::column_of(plot, state.shown, t_s)?;
            Some((x, text::time(t_s, state.long())))
        })
        .collect();
    let wanted = marks
        .iter()
        .map(|(x, label)| (f64::from(*x), label.len() as f64));
    let ends = [plot.x, plot.right()].map(f64::from);
    let (cursor, taken) = cursor_label(state, plot);
    for ((x, label), left) in marks.iter().zip(labels::placed(wanted, ends, 1.0)) {
        // One that would stand beside its mark is left out, and one under the cursor's.
        let free = *x + label.len() as u16 <= taken.start || *x >= taken.end;
        if left == Some(f64::from(*x)) && free {
            pen.write(*x, plot.y, label.len() as u16, label, state.look.faint());
        }
    }
    let width = taken.len() as u16;
    pen.write(taken.start + 1, plot.y, width, &cursor, state.look.strong());
}

/// The cursor: the ground of its column.
fn cursor(state: &State, layout: &Layout, pen: &mut Pen<'_>) {
    let look = state.look;
    for plot in layout.lanes.iter().map(|(_, area)| Layout::plot(*area)) {
        if let Some(x) = picture::column_of(plot, state.shown, state.cursor_s) {
            pen.style(
                Rect {
                    x,
                    width: 1,
                    ..plot
                },
                look.at_cursor(),
            );
        }
    }
}

/// The cursor's time with its sign, and the columns that it takes on the axis; none where the cursor
/// is out of view.
fn cursor_label(state: &State, plot: Rect) -> (String, Range<u16>) {
    let Some(x) = picture::column_of(plot, state.shown, state.cursor_s) else {
        return (String::new(), 0..0);
    };
    let time = text::time(state.cursor_s, state.long());
    let label = format!("{}{time}", state.look.glyph('▴', '^'));
    let width = label.chars().count() as u16;
    // The sign stands under its column; at the right end the time ends with the axis.
    let left = x.min(plot.right().saturating_sub(width));
    (label, left.saturating_sub(1)..left + width + 1)
}
