//! A picture of dots, two columns and four rows in each character cell.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::state::Scale;
use super::super::theme::Look;
use crate::timeline::Extent;

/// Dot columns in a cell.
pub const ACROSS: usize = 2;

/// Dot rows in a cell.
pub const DOWN: usize = 4;

/// Bits of the dots of a cell in the braille block of Unicode, by row, left then right.
const BITS: [[u8; ACROSS]; DOWN] = [[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]];

/// The picture: for each cell its dots, and who drew there last.
pub struct Dots {
    columns: usize,
    rows: usize,
    cells: Vec<(u8, u8)>,
}

impl Dots {
    /// An empty picture of the size of `area`.
    pub fn new(area: Rect) -> Self {
        let (columns, rows) = (usize::from(area.width), usize::from(area.height));
        Self {
            columns,
            rows,
            cells: vec![(0, 0); columns * rows],
        }
    }

    /// Dot columns.
    pub fn width(&self) -> usize {
        self.columns * ACROSS
    }

    /// Dot rows.
    pub fn height(&self) -> usize {
        self.rows * DOWN
    }

    /// Sets the dot at `x` from the left, `y` from the top, for the drawer `owner`.
    pub fn set(&mut self, x: usize, y: usize, owner: u8) {
        let (column, row) = (x / ACROSS, y / DOWN);
        if column < self.columns && row < self.rows {
            let cell = &mut self.cells[row * self.columns + column];
            cell.0 |= BITS[y % DOWN][x % ACROSS];
            cell.1 = owner;
        }
    }

    /// Sets the dots of a column from `top` to `bottom`, cell by cell.
    fn fill(&mut self, x: usize, top: usize, bottom: usize, owner: u8) {
        let column = x / ACROSS;
        if column >= self.columns || bottom < top {
            return;
        }
        for row in top / DOWN..(bottom / DOWN + 1).min(self.rows) {
            let first = top.saturating_sub(row * DOWN);
            let last = (bottom - row * DOWN).min(DOWN - 1);
            let bits = BITS[first..=last].iter().map(|row| row[x % ACROSS]);
            let cell = &mut self.cells[row * self.columns + column];
            cell.0 |= bits.fold(0, |mask, bit| mask | bit);
            cell.1 = owner;
        }
    }

    /// Draws a line through the extents at each dot column; a column without one stays empty and
    /// is not bridged.
    pub fn trace(&mut self, scale: Scale, owner: u8, extents: &[Option<Extent>]) {
        let row_of = scale.rows(self.height());
        let mut before: Option<(usize, usize)> = None;
        for (x, extent) in extents.iter().enumerate() {
            let Some(extent) = extent else {
                before = None;
                continue;
            };
            let own = (row_of(extent.max), row_of(extent.min));
            let (mut top, mut bottom) = own;
            // Neighbours touch, so that a steep line is a line.
            if let Some((top_before, bottom_before)) = before {
                if top > bottom_before + 1 {
                    top = bottom_before + 1;
                } else if bottom + 1 < top_before {
                    bottom = top_before - 1;
                }
            }
            before = Some(own);
            self.fill(x, top, bottom, owner);
        }
    }

    /// Whether the cell at `column`, `row` of the picture is empty.
    pub fn is_empty_at(&self, column: u16, row: u16) -> bool {
        let (column, row) = (usize::from(column), usize::from(row));
        let cell = (column < self.columns).then(|| self.cells.get(row * self.columns + column));
        cell.flatten().is_none_or(|(mask, _)| *mask == 0)
    }

    /// Paints the picture at `area` in the styles of its drawers.
    pub fn paint(&self, area: Rect, buffer: &mut Buffer, look: Look, styles: &[Style]) {
        let inside = area.intersection(buffer.area);
        let width = usize::from(inside.width);
        for (row, cells) in self.cells.chunks(self.columns.max(1)).enumerate() {
            let y = area.y.saturating_add(row as u16);
            if y >= inside.bottom() || width == 0 {
                break;
            }
            let start = buffer.index_of(inside.x, y);
            let drawn = buffer.content[start..start + width].iter_mut();
            for (cell, (mask, owner)) in drawn.zip(cells).filter(|(_, (mask, _))| *mask != 0) {
                cell.set_char(glyph(*mask, look.ascii));
                cell.set_style(styles.get(usize::from(*owner)).copied().unwrap_or_default());
            }
        }
    }
}

/// The character for the dots of one cell.
fn glyph(mask: u8, ascii: bool) -> char {
    if !ascii {
        return char::from_u32(0x2800 + u32::from(mask)).unwrap_or(' ');
    }
    let row = |y: usize| mask & (BITS[y][0] | BITS[y][1]) != 0;
    match (row(0), row(1), row(2), row(3)) {
        (true, _, _, true) => '|',
        (true, true, true, false) | (false, true, true, true) => ':',
        (true, _, _, false) => '\'',
        (false, true, ..) => '-',
        (false, false, true, false) => '-',
        (false, false, _, true) => '.',
        (false, false, false, false) => ' ',
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spike_is_drawn_however_wide_its_column() {
        let area = Rect::new(0, 0, 2, 2);
        let mut dots = Dots::new(area);
        let scale = Scale {
            low: 0.0,
            high: 700.0,
        };
        let flat = Extent { min: 0.0, max: 0.0 };
        let spike = Extent {
            min: 0.0,
            max: 700.0,
        };
        let extents = [flat, flat, spike, flat].map(Some);
        dots.trace(scale, 1, &extents);
        assert!(!dots.is_empty_at(1, 0));
        assert!(dots.is_empty_at(0, 0));
        let mut buffer = Buffer::empty(area);
        let look = Look {
            depth: super::super::super::theme::Depth::None,
            ground: super::super::super::theme::Ground::Dark,
            ascii: false,
        };
        dots.paint(area, &mut buffer, look, &[]);
        assert_eq!(buffer, Buffer::with_lines([" ⡇", "⣀⣇"]));
    }

    #[test]
    fn a_gap_is_not_bridged() {
        let mut dots = Dots::new(Rect::new(0, 0, 3, 1));
        let scale = Scale {
            low: 0.0,
            high: 1.0,
        };
        let level = Some(Extent { min: 0.5, max: 0.5 });
        dots.trace(scale, 0, &[level, level, None, None, level, level]);
        assert!(dots.is_empty_at(1, 0));
        assert!(!dots.is_empty_at(0, 0) && !dots.is_empty_at(2, 0));
    }

    #[test]
    fn no_room_and_no_range_are_no_trouble() {
        let mut dots = Dots::new(Rect::new(0, 0, 0, 0));
        let scale = Scale {
            low: 1.0,
            high: 1.0,
        };
        let extent = Extent {
            min: 1.0,
            max: f64::NAN,
        };
        dots.trace(scale, 0, &[Some(extent)]);
        assert_eq!((dots.width(), dots.height()), (0, 0));
        assert!(dots.is_empty_at(5, 5));
    }
}
