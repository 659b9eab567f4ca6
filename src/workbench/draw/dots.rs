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

/// Drawers from this number on lie behind all curves.
pub const BEHIND: u8 = 128;

/// Bits of the dots of a cell in the braille block of Unicode, by row, left then right.
const BITS: [[u8; ACROSS]; DOWN] = [[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]];

/// Bits of a dot column of a cell from a row of dots on.
const FROM: [[u8; ACROSS]; DOWN] = [
    column_bits(0, DOWN),
    column_bits(1, DOWN),
    column_bits(2, DOWN),
    column_bits(3, DOWN),
];

/// Bits of a dot column of a cell up to and with a row of dots.
const UP_TO: [[u8; ACROSS]; DOWN] = [
    column_bits(0, 1),
    column_bits(0, 2),
    column_bits(0, 3),
    column_bits(0, 4),
];

/// Bits of either dot column in the rows `from..to`.
const fn column_bits(from: usize, to: usize) -> [u8; ACROSS] {
    let mut bits = [0; ACROSS];
    let mut row = from;
    while row < to {
        bits[0] |= BITS[row][0];
        bits[1] |= BITS[row][1];
        row += 1;
    }
    bits
}

/// The picture: for each cell its dots, and who drew there last; column by column, as traces are
/// drawn.
pub struct Dots {
    columns: usize,
    rows: usize,
    cells: Vec<(u8, u8)>,
    union: Option<u8>,
}

impl Dots {
    /// An empty picture of the size of `area`.
    pub fn new(area: Rect) -> Self {
        let (columns, rows) = (usize::from(area.width), usize::from(area.height));
        Self {
            columns,
            rows,
            cells: vec![(0, 0); columns * rows],
            union: None,
        }
    }

    /// The picture of these cells, as [`Dots::into_cells`] gave them.
    pub fn of_cells(area: Rect, cells: Vec<(u8, u8)>) -> Self {
        let (columns, rows) = (usize::from(area.width), usize::from(area.height));
        debug_assert_eq!(cells.len(), columns * rows);
        Self {
            columns,
            rows,
            cells,
            union: None,
        }
    }

    /// Its cells, to be kept.
    pub fn into_cells(self) -> Vec<(u8, u8)> {
        self.cells
    }

    /// From now on a cell that already has dots of another drawer becomes this one's, with the dots of
    /// both; without it the last drawer takes the cell.
    pub fn unite(&mut self, union: Option<u8>) {
        self.union = union;
    }

    /// Who drew in a cell; `None` where it is empty.
    pub fn owner_at(&self, column: u16, row: u16) -> Option<u8> {
        let (column, row) = (usize::from(column), usize::from(row));
        let cell = (row < self.rows).then(|| self.cells.get(column * self.rows + row));
        cell.flatten()
            .and_then(|(mask, owner)| (*mask != 0).then_some(*owner))
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
            let union = self.union;
            let cell = &mut self.cells[column * self.rows + row];
            mark(cell, BITS[y % DOWN][x % ACROSS], owner, union);
        }
    }

    /// Sets the dots of a column from `top` to `bottom`, cell by cell.
    fn fill(&mut self, x: usize, top: usize, bottom: usize, owner: u8) {
        let (column, side) = (x / ACROSS, x % ACROSS);
        if column >= self.columns || bottom < top || bottom >= self.height() {
            return;
        }
        let (from, up_to) = (FROM[top % DOWN][side], UP_TO[bottom % DOWN][side]);
        let union = self.union;
        let mark = |cell: &mut (u8, u8), bits| mark(cell, bits, owner, union);
        let above = column * self.rows;
        match &mut self.cells[above + top / DOWN..=above + bottom / DOWN] {
            [] => (),
            [only] => mark(only, from & up_to),
            [first, middle @ .., last] => {
                mark(first, from);
                middle.iter_mut().for_each(|cell| mark(cell, FROM[0][side]));
                mark(last, up_to);
            }
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
        self.owner_at(column, row).is_none()
    }

    /// Paints the picture at `area` in the styles of its drawers.
    pub fn paint(&self, area: Rect, buffer: &mut Buffer, look: Look, styles: &[Style]) {
        if look.ascii {
            self.paint_with(ascii, area, buffer, styles);
        } else {
            self.paint_with(braille, area, buffer, styles);
        }
    }

    /// One copy for each kind of glyph, and nothing but two plain loops around setting it: where
    /// the compiler sees that it happens often and how many bytes a character has, it takes a
    /// quarter of the time.
    #[inline(never)]
    fn paint_with(
        &self,
        glyph: impl Fn(u8) -> char,
        area: Rect,
        buffer: &mut Buffer,
        styles: &[Style],
    ) {
        let inside = area.intersection(buffer.area);
        // An empty one may lie beyond the buffer, where no cell has a place.
        if inside.is_empty() {
            return;
        }
        let width = usize::from(inside.width).min(self.columns);
        for row in 0..usize::from(inside.height).min(self.rows) {
            let start = buffer.index_of(inside.x, inside.y + row as u16);
            let drawn = &mut buffer.content[start..start + width];
            for (column, cell) in drawn.iter_mut().enumerate() {
                let (mask, owner) = self.cells[column * self.rows + row];
                if mask != 0 {
                    let style = styles.get(usize::from(owner)).copied().unwrap_or_default();
                    cell.set_char(glyph(mask)).set_style(style);
                }
            }
        }
    }
}

/// Dots of `owner` in a cell, which is then its own, or that of several where they share it. What lies
/// behind a curve gives way to it, whichever is drawn first.
fn mark(cell: &mut (u8, u8), bits: u8, owner: u8, union: Option<u8>) {
    let (kept, before) = match *cell {
        (_, before) if before >= BEHIND && owner < BEHIND => (0, owner),
        (kept, before) if kept != 0 && before < BEHIND && owner >= BEHIND => return,
        before => before,
    };
    let owner = match union {
        Some(union) if kept != 0 && before != owner => union,
        _ => owner,
    };
    *cell = (kept | bits, owner);
}

/// The braille character for the dots of one cell.
fn braille(mask: u8) -> char {
    char::from_u32(0x2800 + u32::from(mask)).unwrap_or(' ')
}

/// The ASCII character that comes nearest to the dots of one cell.
fn ascii(mask: u8) -> char {
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
