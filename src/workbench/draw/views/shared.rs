//! What several full-screen views are made of.

use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

use super::super::super::state::State;
use super::super::super::text;
use super::super::pen::{Pen, Text};

/// A picture with words: beside it where the screen is wide, else below it.
pub fn beside(area: Rect, rows: u16) -> (Rect, Rect) {
    const WORDS: u16 = 56;
    if area.width >= 110 {
        let width = area.width - WORDS;
        let picture = Rect {
            width: width - 1,
            ..area
        };
        let words = Rect {
            x: area.x + width,
            width: WORDS,
            ..area
        };
        return (picture, words);
    }
    let rows = rows.min(area.height / 2);
    (
        first(area, area.height - rows),
        rest(area, area.height - rows),
    )
}

/// A faint name and what it is.
pub fn named(state: &State, name: &str, value: String) -> Text {
    Text::default()
        .with(format!("{name:<12}"), state.look.faint())
        .with(value, Style::new())
}

/// "low to high unit", or a dash.
pub fn interval(ends: Option<[f64; 2]>, decimals: usize, unit: &str) -> String {
    match ends {
        Some([low, high]) => format!(
            "{} to {} {unit}",
            text::signed(Some(low), 0, decimals),
            text::signed(Some(high), 0, decimals)
        ),
        None => "-".to_owned(),
    }
}

/// How a time reads on an axis.
pub fn time_number(state: &State) -> fn(f64) -> String {
    if state.long() {
        |t| text::time(t, true)
    } else {
        |t| text::time(t, false)
    }
}

/// `area` without its first rows.
pub fn rest(area: Rect, rows: u16) -> Rect {
    let rows = rows.min(area.height);
    Rect {
        y: area.y + rows,
        height: area.height - rows,
        ..area
    }
}

/// The first rows of `area`.
pub fn first(area: Rect, rows: u16) -> Rect {
    Rect {
        height: rows.min(area.height),
        ..area
    }
}

/// A stream's letter and label in its own style.
pub fn stream_name(state: &State, line: Text, index: usize) -> Text {
    let inks = state.look.streams(&state.session().streams);
    let ink = inks.get(index).copied().unwrap_or_default();
    let letter = state.letters.get(index).copied().unwrap_or('*');
    let label = state.session().streams.get(index);
    let label = label.map_or("", |stream| stream.label.as_str());
    line.with(letter.to_string(), ink.add_modifier(Modifier::BOLD))
        .with(format!(" {label}"), ink)
}

/// `words` wrapped into lines of at most `width` columns.
pub fn wrapped(words: &str, width: u16, style: Style) -> Vec<Text> {
    let lines = crate::text::wrapped(words, usize::from(width)).into_iter();
    lines
        .map(|line| Text::default().with(line, style))
        .collect()
}

/// A sentence in the middle of where a picture would be.
pub fn nothing(words: &str, area: Rect, pen: &mut Pen<'_>) {
    let lines_of = wrapped(words, area.width.saturating_sub(4), pen.look.faint());
    let top = (area.height.saturating_sub(lines_of.len() as u16)) / 2;
    let place = Rect {
        x: area.x + 2.min(area.width),
        width: area.width.saturating_sub(4),
        ..rest(area, top)
    };
    pen.lines(&lines_of, place);
}
