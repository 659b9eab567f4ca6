//! Drawing: a pure function of the state into a buffer. What it costs depends on the screen, not
//! on the ride.
//!
//! Each view has a file in `views/` that lays it out as a page; what frames every view (title,
//! message, keys, menus, lists) is in `frame` and `overlay`. A pen is what everything is written
//! with: it cuts text to its place and keeps ASCII mode.

#[cfg(test)]
mod bench;
mod chart;
mod dots;
mod figures;
mod frame;
mod gauge;
mod head;
mod kind;
mod lanes;
mod overlay;
mod page;
mod paint;
#[cfg(test)]
mod painters;
mod panel;
mod pen;
pub(super) mod picture;
mod segments;
mod sign;
mod streams;
mod strip;
#[cfg(test)]
mod tests;
pub mod traces;
mod values;
pub mod views;

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

use super::layout::{Layout, Scroll};
use super::state::{Mode, State, View};
use page::Page;
use pen::Pen;

/// Draws the whole screen into an empty buffer.
pub fn draw(state: &State, area: Rect, buffer: &mut Buffer) {
    if area.width == 0 || area.height == 0 {
        return;
    }
    let mut pen = Pen {
        look: state.look,
        buffer,
    };
    let layout = Layout::within(area, state);
    strip::draw(state, layout.strip, &mut pen);
    if state.view == View::Ride {
        lanes::draw(state, &layout, &mut pen);
        segments::draw(state, layout.segments, &mut pen);
    }
    frame::draw(state, &layout, &mut pen);
    page(state, layout.clone()).draw(state, &mut pen);
    head::draw(state, &layout, &mut pen);
    overlay::draw(state, area, &mut pen);
}

/// What of the open view may scroll.
fn page<'a>(state: &'a State, layout: Layout) -> Page<'a> {
    match state.view {
        View::Ride if state.all_figures => panel::page(state, layout.panel),
        View::Ride => Page::new(move |pen| values::draw(state, &layout, pen)),
        _ => views::page(state, &layout),
    }
}

/// What scrolls on the screen as it is now: of a list over the view, else of the view.
pub fn scroll(state: &State) -> Option<Scroll> {
    match &state.mode {
        Mode::Help(_) | Mode::Log(_) => overlay::scroll(state),
        _ => page(state, Layout::of(state)).scroll(state),
    }
}

/// The figures shown, as lines of text for the clipboard.
pub fn figures_as_text(state: &State) -> String {
    let (head, rest) = panel::lines(state, usize::MAX);
    head.iter()
        .chain(&rest)
        .map(|line| format!("{}\n", line.plain().trim_end()))
        .collect()
}
