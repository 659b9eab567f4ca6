//! A view laid out before anything is drawn: so the keys that scroll know as much as the picture.

use ratatui::layout::Rect;

use super::super::action::names;
use super::super::layout::Scroll;
use super::super::state::State;
use super::pen::{Pen, Text};

/// Where a view's lines lie, and how the rest of it is painted.
pub struct Page<'a> {
    paint: Box<dyn Fn(&mut Pen<'_>) + 'a>,
    blocks: Vec<(Vec<Text>, Rect)>,
    scroll: Option<Scroll>,
}

impl<'a> Page<'a> {
    /// What does not scroll.
    pub fn new(paint: impl Fn(&mut Pen<'_>) + 'a) -> Self {
        Self {
            paint: Box::new(paint),
            blocks: Vec::new(),
            scroll: None,
        }
    }

    /// With lines that scroll where they have no room.
    pub fn with(mut self, lines: Vec<Text>, area: Rect) -> Self {
        self.blocks.push((lines, area));
        self
    }

    /// With a picture that scrolls.
    pub fn scrolling(self, scroll: Option<Scroll>) -> Self {
        Self { scroll, ..self }
    }

    /// Draws all of it.
    pub fn draw(&self, state: &State, pen: &mut Pen<'_>) {
        (self.paint)(pen);
        let keys = scroll_keys(state);
        for (lines, area) in &self.blocks {
            pen.scrolled(lines, state.scrolled.unwrap_or(0), &keys, *area);
        }
    }

    /// What scrolls of it. Two parts scroll together.
    pub fn scroll(&self, state: &State) -> Option<Scroll> {
        let first = state.scrolled.unwrap_or(0);
        let blocks = self.blocks.iter();
        let blocks = blocks
            .filter_map(|(lines, area)| Scroll::of(lines.len(), usize::from(area.height), first));
        blocks.chain(self.scroll).reduce(|one, other| Scroll {
            first: one.first.max(other.first),
            last: one.last.max(other.last),
        })
    }
}

/// The keys that scroll up and down in what a view has no room for, as they are named on the
/// screen.
pub fn scroll_keys(state: &State) -> [String; 2] {
    [names::MORE_ABOVE, names::MORE_BELOW].map(|name| state.key(name))
}
