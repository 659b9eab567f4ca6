//! Screens as text and as styles, for the tests of drawing.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::state::State;
use super::super::theme::{Depth, Ground, Look};
use super::draw;

/// ASCII only, without colours.
pub const ASCII: Look = Look {
    depth: Depth::None,
    ground: Ground::Dark,
    ascii: true,
};

/// Every colour, on a dark ground.
pub const COLOUR: Look = Look {
    depth: Depth::True,
    ground: Ground::Dark,
    ascii: false,
};

/// Every colour, on a light ground.
pub const LIGHT: Look = Look {
    depth: Depth::True,
    ground: Ground::Light,
    ascii: false,
};

/// The state's screen.
pub fn rendered(state: &State) -> Buffer {
    let area = Rect::new(0, 0, state.size.0, state.size.1);
    let mut buffer = Buffer::empty(area);
    draw(state, area, &mut buffer);
    buffer
}

/// The characters of a screen.
pub fn text(buffer: &Buffer) -> String {
    let width = usize::from(buffer.area.width).max(1);
    buffer
        .content
        .chunks(width)
        .map(|row| {
            let line: String = row.iter().map(|cell| cell.symbol()).collect();
            format!("{}\n", line.trim_end())
        })
        .collect()
}

/// The styles of a screen: in each row, how many cells have which, and what the letters stand for.
pub fn styles(buffer: &Buffer) -> String {
    let mut known: Vec<Style> = vec![Style::reset()];
    let letters = ".abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ";
    let letter_of = |index: usize| letters.chars().nth(index).unwrap_or('?');
    let mut out = String::new();
    for row in buffer.content.chunks(usize::from(buffer.area.width).max(1)) {
        let mut runs: Vec<(usize, usize)> = Vec::new();
        for cell in row {
            let style = cell.style();
            let index = known.iter().position(|other| *other == style);
            let index = index.unwrap_or_else(|| {
                known.push(style);
                known.len() - 1
            });
            match runs.last_mut() {
                Some((last, count)) if *last == index => *count += 1,
                _ => runs.push((index, 1)),
            }
        }
        let runs: Vec<String> = runs
            .iter()
            .map(|(index, count)| format!("{count}{}", letter_of(*index)))
            .collect();
        out.push_str(&runs.join(" "));
        out.push('\n');
    }
    for (index, style) in known.iter().enumerate() {
        let (fg, bg, added) = (style.fg, style.bg, style.add_modifier);
        out.push_str(&format!(
            "{:?} {fg:?} on {bg:?} {added:?}\n",
            letter_of(index)
        ));
    }
    out
}
