//! The lanes on one time axis, the cursor across them and the values under it.

use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

use super::super::layout::{GUTTER, Layout};
use super::super::smooth::Series;
use super::super::state::{Lane, Mode, Scale, State};
use super::super::text;
use super::dots::{ACROSS, DOWN, Dots};
use super::pen::{Pen, Text};
use super::picture;
use crate::picture::labels;
use crate::recording::Channel;
use crate::session::Segment;
use crate::text::{field, fit};
use crate::timeline::{Extent, Span};

/// Cells between two letters on a trace.
const LETTERS_APART: usize = 24;

pub fn draw(state: &State, layout: &Layout, pen: &mut Pen<'_>) {
    readout(state, layout.readout, pen);
    let columns = picture::Columns::new(state, layout.lane_cells());
    for (lane, area) in &layout.lanes {
        draw_lane(state, *lane, *area, &columns, pen);
    }
    tags(state, layout.tags, pen);
    axis(state, layout.axis, pen);
    cursor(state, layout, pen);
}

fn draw_lane(
    state: &State,
    lane: Lane,
    area: Rect,
    columns: &picture::Columns<'_>,
    pen: &mut Pen<'_>,
) {
    let plot = Layout::plot(area);
    if plot.width == 0 || plot.height == 0 {
        return;
    }
    let mut dots = Dots::new(plot);
    let series = picture::series(state, lane);
    let shown: Vec<Vec<Option<Extent>>> = series
        .iter()
        .map(|series| columns.extents(*series))
        .collect();
    let allowed = picture::allowed(state, lane, usize::from(plot.width));
    let scale = picture::scale(state, lane, &shown, &allowed);
    gutter(state, lane, scale, area, pen);
    for (owner, extents) in shown.iter().enumerate() {
        dots.trace(scale, owner as u8, extents);
    }
    ground(state, plot, pen);
    if lane == Lane::Difference {
        band(state, plot, (scale, &allowed), &dots, pen);
    }
    let inks = state.look.streams(&state.session().streams);
    let styles: Vec<Style> = series
        .iter()
        .map(|series| match series {
            Series::Stream(index, _) => inks.get(*index).copied().unwrap_or_default(),
            Series::Difference => state.look.difference(),
        })
        .collect();
    dots.paint(plot, pen.buffer, state.look, &styles);
    let several = series.len() > 1;
    for ((series, extents), style) in series.iter().zip(&shown).zip(styles) {
        mark_cuts(extents, plot, scale, pen);
        // A single trace needs no letter.
        if let (Series::Stream(index, _), true) = (series, several) {
            letters(state, *index, extents, plot, scale, style, pen);
        }
    }
}

/// Vertical lines at the marks of the time axis, and the tint of the window.
fn ground(state: &State, plot: Rect, pen: &mut Pen<'_>) {
    let faint = state.look.faint();
    for t_s in picture::time_marks(state.shown, plot.width, 10) {
        if let Some(x) = picture::column_of(plot, state.shown, t_s) {
            for y in plot.top()..plot.bottom() {
                pen.dot(x, y, state.look.glyph('┊', '.'), faint);
            }
        }
    }
    if let Some(window) = state.brush.window {
        if let Some((left, right)) = columns_of(plot, state.shown, window) {
            let tint = Rect {
                x: left,
                width: right - left + 1,
                ..plot
            };
            pen.style(tint, state.look.tint());
        }
        for t_s in [window.from_s, window.to_s] {
            if let Some(x) = picture::column_of(plot, state.shown, t_s) {
                for y in plot.top()..plot.bottom() {
                    pen.dot(x, y, state.look.glyph('│', '|'), state.look.strong());
                }
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

/// The claim's band: tinted, its limits as a dashed line in the cells that hold no dot; and zero.
fn band(
    state: &State,
    plot: Rect,
    (scale, allowed): (Scale, &[Option<Extent>]),
    dots: &Dots,
    pen: &mut Pen<'_>,
) {
    let height = usize::from(plot.height) * DOWN;
    let (faint, tint) = (state.look.faint(), state.look.band());
    let row_of = |value: f64| (scale.row(value, height) / DOWN) as u16;
    for column in 0..plot.width {
        let x = plot.x + column;
        let mut put = |row: u16, c: char| {
            if dots.is_empty_at(column, row) {
                pen.dot(x, plot.y + row, c, faint);
            }
        };
        put(row_of(0.0), state.look.glyph('─', '-'));
        let Some(allowed) = allowed.get(usize::from(column)).copied().flatten() else {
            continue;
        };
        let (top, bottom) = (row_of(allowed.max), row_of(allowed.min));
        put(top, state.look.glyph('╌', '='));
        put(bottom, state.look.glyph('╌', '='));
        let tinted = Rect::new(x, plot.y + top, 1, bottom - top + 1);
        pen.style(tinted, tint);
    }
}

/// Marks where a trace leaves its scale.
fn mark_cuts(extents: &[Option<Extent>], plot: Rect, scale: Scale, pen: &mut Pen<'_>) {
    let look = pen.look;
    for (dot, extent) in extents.iter().enumerate() {
        let Some(extent) = extent else { continue };
        let x = plot.x + (dot / ACROSS) as u16;
        if extent.max > scale.high {
            pen.dot(x, plot.y, look.glyph('▲', '^'), look.warning());
        }
        if extent.min < scale.low {
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

fn gutter(state: &State, lane: Lane, scale: Scale, area: Rect, pen: &mut Pen<'_>) {
    let faint = state.look.faint();
    let width = GUTTER.min(area.width).saturating_sub(1);
    let unit = match lane {
        Lane::Channel(channel) => channel.unit(),
        Lane::Difference if state.percent => "%",
        Lane::Difference => "W",
    };
    let signed = lane == Lane::Difference;
    let number = |value: f64| {
        let decimals = usize::from(scale.high - scale.low < 4.0);
        let number = if signed {
            text::signed(Some(value), 0, decimals)
        } else {
            text::plain(Some(value), 0, decimals)
        };
        format!("{number} {unit}")
    };
    let mut right = |y: u16, label: &str| {
        let label = fit(label, usize::from(width), state.look.cut());
        let pad = usize::from(width).saturating_sub(label.chars().count()) as u16;
        pen.write(area.x + pad, y, width, &label, faint);
    };
    right(area.y, &number(scale.high));
    if area.height >= 2 {
        right(area.bottom() - 1, &number(scale.low));
    }
    if area.height >= 3 {
        let name = match lane {
            Lane::Difference => "differ.",
            Lane::Channel(Channel::HeartRate) => "heart",
            Lane::Channel(Channel::Temperature) => "temp.",
            Lane::Channel(channel) => channel.name(),
        };
        right(area.y + area.height / 2, name);
    }
    let x = area.x + width;
    for y in area.top()..area.bottom() {
        let (top, line) = (state.look.glyph('┬', '+'), state.look.glyph('│', '|'));
        pen.dot(x, y, if y == area.y { top } else { line }, faint);
    }
}

/// Names of the segments over the axis.
fn tags(state: &State, area: Rect, pen: &mut Pen<'_>) {
    let plot = Layout::plot(area);
    if plot.width == 0 || plot.height == 0 {
        return;
    }
    let faint = state.look.faint();
    pen.write(area.x, area.y, GUTTER - 1, "  tags", faint);
    let segments = &state.session().segments;
    let columns = |segment: &Segment| {
        let span = Span::new(segment.from_s, segment.to_s);
        columns_of(plot, state.shown, span)
    };
    for (index, segment) in segments.iter().enumerate() {
        let Some((left, right)) = columns(segment) else {
            continue;
        };
        let width = right - left + 1;
        // The next one is written over this one where they overlap.
        let next = segments.get(index + 1).and_then(columns);
        let room = next.map_or(width, |(next, _)| width.min(next.saturating_sub(left)));
        // A kind that has no room is left out; the list below names it.
        let number = (index + 1).to_string();
        let full = format!("{number} {}", segment.kind);
        let name = [full, number]
            .into_iter()
            .find(|name| name.chars().count() + 1 < usize::from(room))
            .unwrap_or_default();
        let name = field(&name, usize::from(width), ' ');
        let style = Style::new().add_modifier(Modifier::UNDERLINED);
        let style = if state.selected == Some(index) {
            state.look.selected()
        } else {
            style
        };
        pen.write(left, plot.y, width, &name, style);
    }
}

fn axis(state: &State, area: Rect, pen: &mut Pen<'_>) {
    let plot = Layout::plot(area);
    if plot.width == 0 || plot.height == 0 {
        return;
    }
    let faint = state.look.faint();
    let unit = if state.long() { "h:mm:ss" } else { "  m:ss" };
    pen.write(area.x, area.y, GUTTER - 1, unit, faint);
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
    for ((x, label), left) in marks.iter().zip(labels::placed(wanted, ends, 1.0)) {
        // One that would stand beside its mark is left out.
        if left == Some(f64::from(*x)) {
            pen.write(*x, plot.y, label.len() as u16, label, Style::new());
        }
    }
    let window = state
        .brush
        .window
        .and_then(|w| columns_of(plot, state.shown, w));
    if let Some((left, right)) = window {
        let covered = Rect {
            x: left,
            width: right - left + 1,
            ..plot
        };
        pen.style(covered, state.look.selected());
    }
}

/// The cursor: a line where there is nothing, reverse video where there is something.
fn cursor(state: &State, layout: &Layout, pen: &mut Pen<'_>) {
    let rows = layout.lanes.iter().map(|(_, area)| Layout::plot(*area));
    for plot in rows {
        let Some(x) = picture::column_of(plot, state.shown, state.cursor_s) else {
            continue;
        };
        for y in plot.top()..plot.bottom() {
            let symbol = pen.buffer.cell((x, y)).map(|cell| cell.symbol());
            let empty = matches!(symbol, None | Some(" " | "┊" | "│" | "─" | "╌"));
            if empty {
                pen.dot(x, y, state.look.glyph('┃', '!'), state.look.strong());
            } else {
                pen.style(Rect::new(x, y, 1, 1), state.look.selected());
            }
        }
    }
    let plot = Layout::plot(layout.axis);
    if let Some(x) = picture::column_of(plot, state.shown, state.cursor_s) {
        // Between the labels a sign; on a label its character in reverse video.
        let free = pen
            .buffer
            .cell((x, plot.y))
            .is_some_and(|c| c.symbol() == " ");
        if free {
            pen.dot(x, plot.y, state.look.glyph('▲', '^'), state.look.strong());
        } else {
            pen.style(Rect::new(x, plot.y, 1, 1), state.look.selected());
        }
    }
}

/// Raw values of every stream at the cursor.
fn readout(state: &State, area: Rect, pen: &mut Pen<'_>) {
    if area.height == 0 {
        return;
    }
    let width = usize::from(area.width);
    let line = if state.mode == Mode::Clock {
        Text::default().with(clock_line(state), state.look.strong())
    } else {
        // Where there is no room for everything, power and difference come first.
        let full = values_at_cursor(state, true);
        let fits = full.plain().chars().count() <= width;
        if fits {
            full
        } else {
            values_at_cursor(state, false)
        }
    };
    pen.line(area.x, area.y, area.width, &line);
}

/// The offset of the selected stream, while its clock is shifted.
fn clock_line(state: &State) -> String {
    let Some(stream) = state.session().streams.get(state.stream) else {
        return String::new();
    };
    let matched = match stream.matched_on {
        Some(crate::session::MatchedOn::Given) => "set by hand".to_owned(),
        Some(on) if stream.clock_doubt.is_some() => format!("matched on {on}, not certain"),
        Some(on) => format!("matched on {on}"),
        None => "not yet aligned".to_owned(),
    };
    format!(
        "clock of {}: offset {:+9.1} s  {matched}",
        stream.label, stream.offset_s
    )
}

fn values_at_cursor(state: &State, with_cadence: bool) -> Text {
    let row = state.aligned.grid.nearest_row(state.cursor_s);
    let inks = state.look.streams(&state.session().streams);
    let clock = if state.long() { 8 } else { 6 };
    let mut line = Text::default()
        .with(
            format!("{} ", state.look.glyph('▲', '^')),
            state.look.strong(),
        )
        .with(
            format!("{:<clock$} ", text::time(state.cursor_s, state.long())),
            state.look.strong(),
        );
    let at =
        |index: usize, channel: Channel| picture::value(state, Series::Stream(index, channel), row);
    for (index, letter) in state.letters.iter().enumerate() {
        let carries = |channel| {
            state
                .aligned
                .tracks
                .get(index)
                .is_some_and(|t| t.column(channel).is_some())
        };
        if !carries(Channel::Power) {
            continue;
        }
        let ink = inks.get(index).copied().unwrap_or_default();
        line = line
            .with(format!(" {letter}"), ink.add_modifier(Modifier::BOLD))
            .with(
                format!("{} W", text::plain(at(index, Channel::Power), 5, 0)),
                Style::new(),
            );
        if carries(Channel::Cadence) && with_cadence {
            let rpm = text::plain(at(index, Channel::Cadence), 4, 0);
            line = line.with(format!("{rpm} rpm"), Style::new());
        }
    }
    if let (Some(under_test), Some(basis)) = (state.under_test(), state.basis()) {
        let difference = state
            .aligned
            .comparison(under_test, basis)
            .and_then(|c| c.difference_w().get(row).copied())
            .filter(|d| d.is_finite());
        let letter = state.letters.get(under_test).copied().unwrap_or('*');
        line = line
            .with(format!("  {letter}-ref"), state.look.difference())
            .with(
                format!("{} W", text::signed(difference, 7, 1)),
                Style::new(),
            );
    }
    line
}
