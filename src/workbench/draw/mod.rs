//! Drawing: a pure function of the state into a buffer. What it costs depends on the screen, not
//! on the ride.
//!
//! Each view has a file here and an arm in `view`; what frames every view (title, message, keys,
//! menus, lists) is in `frame` and `overlay`. [`Pen`] is what everything is written with: it cuts
//! text to its place and keeps ASCII mode.

mod chart;
mod dots;
mod frame;
mod kind;
mod lanes;
mod overlay;
mod panel;
mod picture;
mod segments;
mod streams;
mod strip;
#[cfg(test)]
mod tests;
mod views;

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

use super::layout::Layout;
use super::state::{Scale, State, View};
use super::theme::Look;

pub use segments::first_row as first_segment_row;

/// Draws the whole screen.
pub fn draw(state: &State, area: Rect, buffer: &mut Buffer) {
    buffer.set_style(area, Style::reset());
    if area.width == 0 || area.height == 0 {
        return;
    }
    let mut pen = Pen {
        look: state.look,
        buffer,
    };
    let layout = Layout::within(area, state);
    view(state, &layout, &mut pen);
    frame::draw(state, &layout, &mut pen);
    overlay::draw(state, area, &mut pen);
}

fn view(state: &State, layout: &Layout, pen: &mut Pen<'_>) {
    match state.view {
        View::Ride => {
            strip::draw(state, layout.strip, pen);
            lanes::draw(state, layout, pen);
            panel::draw(state, layout.panel, pen);
            segments::draw(state, layout.segments, pen);
        }
        _ => {
            strip::draw(state, layout.strip, pen);
            views::draw(state, layout, pen);
        }
    }
}

/// The vertical scales as they are drawn now.
pub fn scales(state: &State) -> [Option<Scale>; super::state::Lane::ALL.len()] {
    let layout = Layout::of(state);
    super::state::Lane::ALL.map(|lane| {
        let area = layout.lanes.iter().find(|(shown, _)| *shown == lane)?.1;
        let columns = usize::from(Layout::plot(area).width) * dots::ACROSS;
        let series = picture::series(state, lane).into_iter();
        let shown: Vec<_> = series
            .map(|s| picture::extents(state, s, columns))
            .collect();
        Some(picture::scale(state, lane, &shown))
    })
}

/// The figures shown, as lines of text for the clipboard.
pub fn figures_as_text(state: &State) -> String {
    panel::lines(state, usize::MAX)
        .iter()
        .map(|line| format!("{}\n", line.plain().trim_end()))
        .collect()
}

/// Writes into a buffer, inside given places only.
pub struct Pen<'a> {
    /// The look.
    pub look: Look,
    /// Where to.
    pub buffer: &'a mut Buffer,
}

impl Pen<'_> {
    /// Writes `text` at (`x`, `y`) in at most `width` columns, the cut marked; returns the columns
    /// used.
    pub fn write(&mut self, x: u16, y: u16, width: u16, text: &str, style: Style) -> u16 {
        let inside = self.buffer.area;
        if y < inside.y || y >= inside.bottom() || x >= inside.right() {
            return 0;
        }
        let width = width.min(inside.right() - x);
        let shown = super::text::fit(&self.look.text(text), usize::from(width), self.look.cut());
        let (end, _) = self
            .buffer
            .set_stringn(x, y, shown, usize::from(width), style);
        end.saturating_sub(x)
    }

    /// Writes a line of differently styled parts.
    pub fn line(&mut self, x: u16, y: u16, width: u16, line: &Text) {
        let mut at = 0;
        for (text, style) in &line.0 {
            at += self.write(x + at, y, width.saturating_sub(at), text, *style);
        }
    }

    /// Puts one character into a cell, keeping what the style does not set.
    pub fn dot(&mut self, x: u16, y: u16, c: char, style: Style) {
        if let Some(cell) = self.buffer.cell_mut((x, y)) {
            cell.set_char(c);
            cell.set_style(style);
        }
    }

    /// Changes the style of an area.
    pub fn style(&mut self, area: Rect, style: Style) {
        let inside = area.intersection(self.buffer.area);
        self.buffer.set_style(inside, style);
    }

    /// Empties an area.
    pub fn clear(&mut self, area: Rect) {
        let inside = area.intersection(self.buffer.area);
        for y in inside.top()..inside.bottom() {
            for x in inside.left()..inside.right() {
                if let Some(cell) = self.buffer.cell_mut((x, y)) {
                    cell.reset();
                }
            }
        }
    }
}

/// A line of text in parts, each with its style.
#[derive(Clone, Debug, Default)]
pub struct Text(Vec<(String, Style)>);

impl Text {
    /// With one more part.
    pub fn with(mut self, text: impl Into<String>, style: Style) -> Self {
        self.0.push((text.into(), style));
        self
    }

    /// Without styles.
    pub fn plain(&self) -> String {
        self.0.iter().map(|(text, _)| text.as_str()).collect()
    }
}
