//! What everything is written with: it cuts text to its place and keeps ASCII mode.

use ratatui::buffer::{Buffer, Cell};
use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::layout::Scroll;
use super::super::theme::Look;
use crate::text::fit;
use crate::text::is_plain;

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
        self.parts(x, y, width, &[(text, style)])
    }

    /// Writes a line of differently styled parts.
    pub fn line(&mut self, x: u16, y: u16, width: u16, line: &Text) {
        self.parts(x, y, width, &line.0);
    }

    fn parts<S: AsRef<str>>(&mut self, x: u16, y: u16, width: u16, parts: &[(S, Style)]) -> u16 {
        let inside = self.buffer.area;
        if y < inside.y || y >= inside.bottom() || x >= inside.right() {
            return 0;
        }
        let width = width.min(inside.right() - x);
        let bytes: usize = parts.iter().map(|(text, _)| text.as_ref().len()).sum();
        if bytes <= usize::from(width) && parts.iter().all(|(text, _)| is_plain(text.as_ref())) {
            let start = self.buffer.index_of(x, y);
            put_plain(&mut self.buffer.content[start..start + bytes], parts);
            return bytes as u16;
        }
        let mut at = 0;
        for (text, style) in parts {
            at += self.part(x + at, y, width - at, text.as_ref(), *style);
        }
        at
    }

    /// One part of a line in which another may need a closer look; `width` is inside the buffer.
    fn part(&mut self, x: u16, y: u16, width: u16, text: &str, style: Style) -> u16 {
        let room = usize::from(width);
        if is_plain(text) && (1..=room).contains(&text.len()) {
            let start = self.buffer.index_of(x, y);
            let cells = &mut self.buffer.content[start..start + text.len()];
            put_plain(cells, &[(text, style)]);
            return text.len() as u16;
        }
        let shown = fit(&self.look.text(text), room, self.look.cut());
        let (end, _) = self.buffer.set_stringn(x, y, shown, room, style);
        (end - x).min(width)
    }

    /// Lines of text one under the other. Where they have no room, those from `first` on, with a
    /// last one that says how many are left above and below and names a key.
    pub fn scrolled(&mut self, lines: &[Text], first: usize, keys: &[String; 2], area: Rect) {
        let rows = usize::from(area.height);
        let Some(scroll) = Scroll::of(lines.len(), rows, first) else {
            self.lines(lines, area);
            return;
        };
        let (first, room) = (scroll.first, rows - 1);
        self.lines(&lines[first..first + room], area);
        let below = lines.len() - first - room;
        let [up, down] = keys;
        let left = match (first, below) {
            (0, below) => format!(" {down}: {below} lines below "),
            (above, 0) => format!(" {up}: {above} lines above "),
            (above, below) => format!(" {down}: {above} above, {below} below "),
        };
        let style = self.look.strong();
        let text = fit(&left, usize::from(area.width), self.look.cut());
        self.write(area.x, area.bottom() - 1, area.width, &text, style);
    }

    /// Lines of text one under the other, as far as they fit.
    pub fn lines(&mut self, lines: &[Text], area: Rect) {
        for (row, line) in lines.iter().enumerate().take(usize::from(area.height)) {
            self.line(area.x, area.y + row as u16, area.width, line);
        }
    }

    /// Puts one character into a cell, keeping what the style does not set.
    pub fn dot(&mut self, x: u16, y: u16, c: char, style: Style) {
        if let Some(cell) = self.buffer.cell_mut((x, y)) {
            cell.set_char(c);
            cell.set_style(style);
        }
    }

    /// Whether a cell holds nothing, or nothing but a line of the grid.
    pub fn is_quiet(&self, x: u16, y: u16) -> bool {
        let cell = self.buffer.cell((x, y));
        cell.is_some_and(|cell| matches!(cell.symbol(), " " | "┈" | "╌" | "┊"))
    }

    /// Whether a cell holds nothing.
    pub fn is_blank(&self, x: u16, y: u16) -> bool {
        self.buffer
            .cell((x, y))
            .is_some_and(|cell| cell.symbol() == " ")
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

/// Sets cells to text that [`is_plain`] and as long as they are many, as most of a screen is. Plain
/// loops around what is set, of which the mask tells the compiler that it is one byte, make it take
/// a tenth of the time.
#[inline(never)]
fn put_plain<S: AsRef<str>>(cells: &mut [Cell], parts: &[(S, Style)]) {
    let mut rest = cells;
    for (text, style) in parts {
        let text = text.as_ref().as_bytes();
        let (cells, after) = rest.split_at_mut(text.len());
        for (cell, byte) in cells.iter_mut().zip(text) {
            cell.set_char(char::from(byte & 0x7F)).set_style(*style);
        }
        rest = after;
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
