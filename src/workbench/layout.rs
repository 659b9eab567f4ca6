//! Where everything lies on the screen and how far it scrolls: pure arithmetic, shared by drawing,
//! by the mouse and by the keys.

use ratatui::layout::Rect;

use super::state::{Lane, State, View};
use crate::text::wrapped;
use crate::timeline::Span;

/// Columns of the labels left of a lane.
pub const GUTTER: u16 = 8;

/// Columns from which on the figures have room beside the lanes.
pub const PANEL_FROM: u16 = 70;

/// The parts of the ride view; a part without room has no height.
#[derive(Clone, Debug, PartialEq)]
pub struct Layout {
    /// Session, window, saved or not.
    pub title: Rect,
    /// What all answers say together, in the view of the answers.
    pub headline: Rect,
    /// The whole ride.
    pub strip: Rect,
    /// Values at the cursor.
    pub readout: Rect,
    /// The lanes with their gutters, top to bottom.
    pub lanes: Vec<(Lane, Rect)>,
    /// Names of the segments over the time axis.
    pub tags: Rect,
    /// The time axis.
    pub axis: Rect,
    /// Figures.
    pub panel: Rect,
    /// Segments.
    pub segments: Rect,
    /// The message.
    pub message: Rect,
    /// The next useful keys.
    pub keys: Rect,
}

impl Layout {
    /// For the state's screen.
    pub fn of(state: &State) -> Self {
        Self::within(Rect::new(0, 0, state.size.0, state.size.1), state)
    }

    /// Within `area`.
    pub fn within(area: Rect, state: &State) -> Self {
        let mut top = Cutter { area };
        // What matters most gets its row first; a tiny screen drops the rest.
        let title = top.take_top(1);
        let keys = top.take_bottom(if area.height >= 24 { 2 } else { 1 });
        let message = top.take_bottom(u16::from(area.height >= 6));
        let strip_rows = match area.height {
            0..=13 => 0,
            14..=29 => 2,
            30..=49 => 3,
            _ => 4,
        };
        let headline = top.take_top(headline_rows(state, area));
        let strip = top.take_top(strip_rows);
        let readout = top.take_top(u16::from(area.height >= 8));
        let segments = top.take_bottom(match area.height {
            0..=15 => 0,
            16..=23 => 3,
            24..=29 => 4,
            rows => (rows / 4).min(14),
        });
        let panel_columns = match area.width {
            0..PANEL_FROM => 0,
            70..=99 => 32,
            100..=159 => 40,
            _ => 48,
        };
        let panel = top.take_right(panel_columns);
        let axis = top.take_bottom(u16::from(top.area.height >= 4));
        let tags = top.take_bottom(u16::from(top.area.height >= 16));
        Self {
            title,
            headline,
            strip,
            readout,
            lanes: share(top.area, state),
            tags,
            axis,
            panel,
            segments,
            message,
            keys,
        }
    }

    /// The part of a lane, the tags or the axis right of the gutter.
    pub fn plot(area: Rect) -> Rect {
        let gutter = GUTTER.min(area.width);
        Rect {
            x: area.x + gutter,
            width: area.width - gutter,
            ..area
        }
    }

    /// The time that a column of the lanes stands for, and `None` left and right of them.
    pub fn time_at(&self, shown: Span, column: u16) -> Option<f64> {
        time_in(Self::plot(self.axis), shown, column)
    }

    /// Cells side by side in the plots of the lanes: the same in all.
    pub fn lane_cells(&self) -> u16 {
        let mut plots = self.lanes.iter().map(|(_, area)| Self::plot(*area));
        plots.next().map_or(0, |plot| plot.width)
    }

    /// The time that a column of the strip stands for.
    pub fn strip_time_at(&self, ride: Span, column: u16) -> Option<f64> {
        time_in(self.strip, ride, column)
    }

    /// Whether a row belongs to the lanes or their axis.
    pub fn in_lanes(&self, row: u16) -> bool {
        let top = self.lanes.first().map_or(self.axis.y, |(_, area)| area.y);
        self.axis.height > 0 && (top..self.axis.bottom()).contains(&row)
    }
}

/// Rows from which on the headline of the answers has the remark under it.
const REMARK_FROM: u16 = 30;

/// Rows of the headline of the answers: a fifth of the screen at most.
fn headline_rows(state: &State, area: Rect) -> u16 {
    let Some(found) = state.answers().filter(|_| state.view == View::Answers) else {
        return 0;
    };
    let width = usize::from(area.width.saturating_sub(2));
    let lines = |text: &str| wrapped(text, width).len() as u16;
    let remark = match area.height {
        REMARK_FROM.. if !found.remark.is_empty() => lines(&found.remark),
        _ => 0,
    };
    (lines(&format!("{}.", found.headline)) + remark).min(area.height / 5)
}

/// Columns of the panel's text at its narrowest.
pub const PANEL_LEAST: usize = 30;

/// Columns of the panel's text.
pub fn panel_columns(state: &State) -> usize {
    usize::from(Layout::of(state).panel.width.max(PANEL_LEAST as u16 + 2)) - 1
}

/// How far something that has more lines than room is scrolled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Scroll {
    /// Its first line shown.
    pub first: usize,
    /// The first line when its end is shown.
    pub last: usize,
}

impl Scroll {
    /// From line `first` on, if it can be, of what ends at `last`.
    pub fn at(first: usize, last: usize) -> Self {
        Self {
            first: first.min(last),
            last,
        }
    }

    /// Of so many lines in so many rows, of which one says how many are left; `None` where all
    /// have room, or none.
    pub fn of(lines: usize, rows: usize, first: usize) -> Option<Self> {
        (lines > rows && rows > 0).then(|| Self::at(first, lines + 1 - rows))
    }
}

/// The first segment shown in `area` (whose first row is the head): the selected one stays in it.
pub fn first_segment_row(state: &State, area: Rect) -> usize {
    let rows = usize::from(area.height.saturating_sub(1)).max(1);
    let count = state.session().segments.len();
    let cursor = state
        .session()
        .segments
        .iter()
        .rposition(|s| s.from_s <= state.cursor_s);
    let wanted = state.selected.or(cursor).unwrap_or(0);
    wanted
        .saturating_sub(rows / 2)
        .min(count.saturating_sub(rows))
}

fn time_in(area: Rect, span: Span, column: u16) -> Option<f64> {
    let inside = area.width > 0 && (area.x..area.right()).contains(&column);
    let share = f64::from(column.saturating_sub(area.x)) / f64::from(area.width.max(1));
    inside.then(|| span.from_s + share * span.duration_s())
}

/// Shares the rows among the lanes shown: power gets half, the rest is even.
fn share(area: Rect, state: &State) -> Vec<(Lane, Rect)> {
    let mut shown: Vec<Lane> = Lane::ALL
        .into_iter()
        .zip(state.lanes)
        .filter(|(_, on)| *on)
        .map(|(lane, _)| lane)
        .collect();
    shown.truncate(usize::from(area.height / 2).max(1));
    let weight = |lane: &Lane| match lane {
        Lane::Channel(crate::recording::Channel::Power) => 6,
        Lane::Difference => 4,
        Lane::Channel(_) => 2,
    };
    let total: u16 = shown.iter().map(weight).sum();
    let mut rest = Cutter { area };
    let mut out = Vec::new();
    let mut weight_left = total;
    for lane in shown {
        let rows = (rest.area.height * weight(&lane) + weight_left / 2) / weight_left.max(1);
        weight_left -= weight(&lane);
        let part = rest.take_top(rows);
        if part.height > 0 {
            out.push((lane, part));
        }
    }
    out
}

struct Cutter {
    area: Rect,
}

impl Cutter {
    fn take_top(&mut self, rows: u16) -> Rect {
        let rows = rows.min(self.area.height);
        let part = Rect {
            height: rows,
            ..self.area
        };
        self.area.y += rows;
        self.area.height -= rows;
        part
    }

    fn take_bottom(&mut self, rows: u16) -> Rect {
        let rows = rows.min(self.area.height);
        self.area.height -= rows;
        Rect {
            y: self.area.bottom(),
            height: rows,
            ..self.area
        }
    }

    fn take_right(&mut self, columns: u16) -> Rect {
        let columns = columns.min(self.area.width);
        self.area.width -= columns;
        Rect {
            x: self.area.right(),
            width: columns,
            ..self.area
        }
    }
}
