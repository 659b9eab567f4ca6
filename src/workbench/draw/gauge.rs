//! A gauge in cells: the size of a value with its limits, on the ground of what is allowed.

use std::ops::Range;

use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::theme::Look;
use super::pen::Pen;
use super::sign::ink;
use crate::analysis::questions::Finding;
use crate::picture::gauge::Gauge;

/// Draws the ground with the hair line at the limit, and on it what was found, where something was.
/// The width is a multiple of three, so that the limit lies on the edge of a cell.
pub fn draw(look: Look, held: Option<(Gauge, Finding)>, area: Rect, pen: &mut Pen<'_>) {
    let columns = usize::from(area.width);
    if columns == 0 {
        return;
    }
    ground(look, area, pen);
    let Some((gauge, finding)) = held else {
        return;
    };
    let edge = area.x + area.width / 3;
    pen.dot(edge, area.y, look.glyph('▏', '|'), look.edge());
    let style = ink(look, finding);
    if gauge.is_off() {
        pen.dot(area.right() - 1, area.y, look.glyph('»', '>'), style);
        return;
    }
    interval(look, gauge.covered(columns), area, style, pen);
    let x = area.x + gauge.column(columns) as u16;
    pen.dot(x, area.y, value_mark(look, finding), style);
}

/// What is allowed.
pub fn ground(look: Look, area: Rect, pen: &mut Pen<'_>) {
    let allowed = Rect {
        width: area.width / 3,
        ..area
    };
    pen.style(allowed, look.allowed());
}

/// The mark of a value.
pub fn value_mark(look: Look, finding: Finding) -> char {
    match finding {
        Finding::Fault => look.glyph('◆', 'x'),
        Finding::Fine => look.glyph('●', 'o'),
        Finding::CannotTell | Finding::NotRidden => look.glyph('○', 'o'),
    }
}

/// An interval in half columns.
pub fn interval(look: Look, halves: Range<usize>, area: Rect, style: Style, pen: &mut Pen<'_>) {
    for column in 0..usize::from(area.width) {
        let covered = [2 * column, 2 * column + 1].map(|half| halves.contains(&half));
        let c = match covered {
            [true, true] => look.glyph('━', '='),
            [true, false] => look.glyph('╸', '='),
            [false, true] => look.glyph('╺', '='),
            [false, false] => continue,
        };
        pen.dot(area.x + column as u16, area.y, c, style);
    }
}
