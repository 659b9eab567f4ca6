//! The full-screen views, one file each, under the strip of the whole ride.

pub mod clocks;

use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

use super::super::layout::Layout;
use super::super::state::State;
use super::{Pen, Text};

/// The part of the screen that is a view's own: between the strip and the message.
pub fn body(layout: &Layout) -> Rect {
    let top = layout.strip.bottom();
    Rect {
        x: layout.strip.x,
        y: top,
        width: layout.title.width,
        height: layout.message.y.saturating_sub(top),
    }
}

/// The head line: what is shown, and whether its figures are still to come. Returns what is below.
fn head(state: &State, line: Text, area: Rect, pen: &mut Pen<'_>) -> Rect {
    if area.height == 0 {
        return area;
    }
    let pending = " pending ";
    let room = pending.len() as u16;
    pen.line(area.x, area.y, area.width.saturating_sub(room), &line);
    if state.is_pending() && area.width > room {
        pen.write(
            area.right() - room,
            area.y,
            room,
            pending,
            state.look.selected(),
        );
    }
    rest(area, 1)
}

/// `area` without its first rows.
fn rest(area: Rect, rows: u16) -> Rect {
    let rows = rows.min(area.height);
    Rect {
        y: area.y + rows,
        height: area.height - rows,
        ..area
    }
}

/// The first rows of `area`.
fn first(area: Rect, rows: u16) -> Rect {
    Rect {
        height: rows.min(area.height),
        ..area
    }
}

/// A stream's letter and label in its own style.
fn stream_name(state: &State, line: Text, index: usize) -> Text {
    let inks = state.look.streams(&state.session().streams);
    let ink = inks.get(index).copied().unwrap_or_default();
    let letter = state.letters.get(index).copied().unwrap_or('*');
    let label = state.session().streams.get(index);
    let label = label.map_or("", |stream| stream.label.as_str());
    line.with(letter.to_string(), ink.add_modifier(Modifier::BOLD))
        .with(format!(" {label}"), ink)
}

/// Lines of text one under the other, as far as they fit.
fn lines(lines: &[Text], area: Rect, pen: &mut Pen<'_>) {
    for (row, line) in lines.iter().enumerate().take(usize::from(area.height)) {
        pen.line(area.x, area.y + row as u16, area.width, line);
    }
}

/// `words` wrapped into lines of at most `width` columns.
fn wrapped(words: &str, width: u16, style: Style) -> Vec<Text> {
    let width = usize::from(width).max(1);
    let mut out: Vec<String> = Vec::new();
    for word in words.split_whitespace() {
        match out.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => out.push(word.to_owned()),
        }
    }
    out.into_iter()
        .map(|line| Text::default().with(line, style))
        .collect()
}

/// A sentence in the middle of where a picture would be.
fn nothing(words: &str, area: Rect, pen: &mut Pen<'_>) {
    let lines_of = wrapped(words, area.width.saturating_sub(4), pen.look.faint());
    let top = (area.height.saturating_sub(lines_of.len() as u16)) / 2;
    let place = Rect {
        x: area.x + 2.min(area.width),
        width: area.width.saturating_sub(4),
        ..rest(area, top)
    };
    lines(&lines_of, place, pen);
}
