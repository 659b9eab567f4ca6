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

/// Rows from which on blank ones set the parts of the screen apart.
pub const ROOMY_FROM: u16 = 30;

/// The parts of the screen; a part without room has no height.
#[derive(Clone, Debug, PartialEq)]
pub struct Layout {
    /// Session and view.
    pub title: Rect,
    /// The answer, and under it its reason or a message.
    pub head: Rect,
    /// The whole ride.
    pub strip: Rect,
    /// What a full-screen view has for itself: between the strip and the keys.
    pub body: Rect,
    /// The lanes with their gutters, top to bottom.
    pub lanes: Vec<(Lane, Rect)>,
    /// The time axis.
    pub axis: Rect,
    /// Right of the lanes: what they show at the cursor and over the window, or all figures.
    pub panel: Rect,
    /// Segments.
    pub segments: Rect,
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
        let mut rest = Cutter { area };
        let blank = u16::from(area.height >= ROOMY_FROM);
        // What matters most gets its row first; a tiny screen drops the rest.
        let title = rest.take_top(1);
        let keys = rest.take_bottom(1);
        rest.take_bottom(blank);
        rest.take_top(blank);
        let head = rest.take_top(head_rows(state, area));
        rest.take_top(blank);
        let strip = rest.take_top(match area.height {
            0..14 => 0,
            14..ROOMY_FROM => 3,
            _ => 4,
        });
        rest.take_top(blank);
        let body = rest.area;
        let segments = rest.take_bottom(match area.height {
            0..16 => 0,
            16..24 => 2,
            24..ROOMY_FROM => 4,
            rows => (rows / 4).min(14),
        });
        rest.take_bottom(blank);
        let panel = rest.take_right(panel_width(state, area.width));
        let axis = rest.take_bottom(u16::from(rest.area.height >= 4));
        Self {
            title,
            head,
            strip,
            body,
            lanes: share(rest.area, state),
            axis,
            panel,
            segments,
            keys,
        }
    }

    /// The part of a lane or the axis right of the gutter.
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
        let strip = Rect {
            x: self.strip.x + 1,
            width: self.strip.width.saturating_sub(2),
            ..self.strip
        };
        time_in(strip, ride, column)
    }

    /// Whether a row belongs to the lanes or their axis.
    pub fn in_lanes(&self, row: u16) -> bool {
        let top = self.lanes.first().map_or(self.axis.y, |(_, area)| area.y);
        self.axis.height > 0 && (top..self.axis.bottom()).contains(&row)
    }
}

/// Columns right of the lanes: all figures take more than what the lanes show.
fn panel_width(state: &State, columns: u16) -> u16 {
    let [values, figures] = match columns {
        0..PANEL_FROM => [0, 0],
        70..100 => [28, 32],
        100..160 => [36, 40],
        _ => [44, 48],
    };
    if state.all_figures { figures } else { values }
}

/// Rows of the answer and its reason: as many as the headline of the answers needs, a fifth of the
/// screen at most.
fn head_rows(state: &State, area: Rect) -> u16 {
    let least = match area.height {
        0..8 => 0,
        8..12 => 1,
        _ => 2,
    };
    let Some(found) = state.answers().filter(|_| state.view == View::Answers) else {
        return least;
    };
    let width = usize::from(area.width.saturating_sub(2));
    let lines = |text: &str| wrapped(text, width).len() as u16;
    let remark = match area.height {
        ROOMY_FROM.. if !found.remark.is_empty() => lines(&found.remark),
        _ => 0,
    };
    let wanted = lines(&format!("{}.", found.headline)) + remark;
    wanted.clamp(least, (area.height / 5).max(least))
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

/// The first segment shown in `area`: the selected one stays in it.
pub fn first_segment_row(state: &State, area: Rect) -> usize {
    let rows = usize::from(area.height).max(1);
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
