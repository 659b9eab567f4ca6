//! A chart with two labelled axes: points and lines as dots, marks as characters.

use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::state::Scale;
use super::dots::{ACROSS, DOWN, Dots};
use super::pen::Pen;
use crate::picture::labels;
use crate::picture::ticks::round_step;
use crate::text::columns;
use crate::text::fit;
use crate::timeline::Extent;

/// Columns of the numbers left of a chart.
const GUTTER: u16 = 8;

/// An axis: its ends, what it measures, and how a number on it reads.
#[derive(Clone, Copy)]
pub struct Axis<'a> {
    /// Value at the left or the bottom.
    pub low: f64,
    /// Value at the right or the top.
    pub high: f64,
    /// What it measures, with the unit.
    pub title: &'a str,
    /// A number on it.
    pub number: fn(f64) -> String,
}

/// Ends that hold all of `values` and are round; `least` apart at the least. `None` without a
/// finite value.
pub fn round_ends(values: impl Iterator<Item = f64>, least: f64) -> Option<(f64, f64)> {
    let (low, high) =
        values
            .filter(|v| v.is_finite())
            .fold(None, |ends: Option<(f64, f64)>, v| {
                Some(ends.map_or((v, v), |(low, high)| (low.min(v), high.max(v))))
            })?;
    let missing = (least - (high - low)).max(0.0);
    let (low, high) = (low - 0.5 * missing, high + 0.5 * missing);
    let step = round_step((high - low) / 8.0);
    Some(((low / step).floor() * step, (high / step).ceil() * step))
}

/// A chart being drawn.
pub struct Chart<'a> {
    plot: Rect,
    area: Rect,
    x: Axis<'a>,
    y: Axis<'a>,
    dots: Dots,
}

impl<'a> Chart<'a> {
    /// An empty chart in `area`: the last row and the first columns are its axes'.
    pub fn new(area: Rect, x: Axis<'a>, y: Axis<'a>) -> Self {
        let gutter = GUTTER.min(area.width);
        let plot = Rect {
            x: area.x + gutter,
            y: area.y,
            width: area.width - gutter,
            height: area.height.saturating_sub(1),
        };
        Self {
            plot,
            area,
            x,
            y,
            dots: Dots::new(plot),
        }
    }

    /// Where the dots are.
    pub fn plot(&self) -> Rect {
        self.plot
    }

    /// Whether there is no room to draw in.
    pub fn is_empty(&self) -> bool {
        self.plot.width == 0 || self.plot.height == 0
    }

    fn vertical(&self) -> Scale {
        Scale {
            low: self.y.low,
            high: self.y.high,
        }
    }

    /// The dot column of `x`, where it is inside.
    fn dot_column(&self, x: f64) -> Option<usize> {
        let share = (x - self.x.low) / (self.x.high - self.x.low);
        let inside = (0.0..=1.0).contains(&share) && self.dots.width() > 0;
        inside.then(|| (share * (self.dots.width() - 1) as f64 + 0.5) as usize)
    }

    /// The cell at (`x`, `y`); `y` beyond the ends is drawn at the ends.
    pub fn cell(&self, x: f64, y: f64) -> Option<(u16, u16)> {
        let column = self.dot_column(x)? / ACROSS;
        let row = self.vertical().row(y, self.dots.height()) / DOWN;
        let inside = !self.is_empty() && y.is_finite();
        inside.then(|| (self.plot.x + column as u16, self.plot.y + row as u16))
    }

    /// A dot; nothing outside.
    pub fn point(&mut self, x: f64, y: f64, owner: u8) {
        let inside = y >= self.y.low && y <= self.y.high;
        if let (Some(column), true) = (self.dot_column(x), inside) {
            let row = self.vertical().row(y, self.dots.height());
            self.dots.set(column, row, owner);
        }
    }

    /// A vertical bar from `low` to `high` at `x`, cut at the ends.
    pub fn bar(&mut self, x: f64, low: f64, high: f64, owner: u8) {
        let Some(column) = self.dot_column(x) else {
            return;
        };
        if high < self.y.low || low > self.y.high {
            return;
        }
        let height = self.dots.height();
        let vertical = self.vertical();
        for row in vertical.row(high, height)..=vertical.row(low, height) {
            self.dots.set(column, row, owner);
        }
    }

    /// A line through what `of` gives for each dot column's stretch of the axis; columns without
    /// a value are not bridged.
    pub fn trace(&mut self, owner: u8, of: impl Fn(f64, f64) -> Option<Extent>) {
        let step = (self.x.high - self.x.low) / self.dots.width().max(1) as f64;
        let extents: Vec<Option<Extent>> = (0..self.dots.width())
            .map(|column| self.x.low + step * column as f64)
            .map(|from| of(from, from + step))
            .collect();
        self.dots.trace(self.vertical(), owner, &extents);
    }

    /// A line through points in the order of `x`; a missing value breaks it.
    pub fn line(&mut self, points: &[(f64, f64)], owner: u8) {
        for pair in points.windows(2) {
            let [(x0, y0), (x1, y1)] = *pair else {
                continue;
            };
            if !(y0.is_finite() && y1.is_finite()) {
                continue;
            }
            let share = ((x1 - x0) / (self.x.high - self.x.low)).abs().min(1.0);
            let rise = ((y1 - y0) / (self.y.high - self.y.low)).abs().min(1.0);
            let across = share * self.dots.width() as f64;
            let up = rise * self.dots.height() as f64;
            // Two steps a dot: none is passed over.
            let steps = (2.0 * across.max(up)).ceil().max(1.0) as usize;
            for step in 0..=steps {
                let part = step as f64 / steps as f64;
                self.point(x0 + part * (x1 - x0), y0 + part * (y1 - y0), owner);
            }
        }
    }

    /// Paints the dots in the styles of their owners, over what is there.
    pub fn paint(&self, pen: &mut Pen<'_>, styles: &[Style]) {
        let look = pen.look;
        self.dots.paint(self.plot, pen.buffer, look, styles);
    }

    /// From now on a cell with dots of another curve becomes `union`'s; without it the last drawer's.
    pub fn unite(&mut self, union: Option<u8>) {
        self.dots.unite(union);
    }

    /// Whether the cell at (`x`, `y`) of the screen has no dot.
    pub fn is_free(&self, x: u16, y: u16) -> bool {
        let inside = x >= self.plot.x && y >= self.plot.y;
        inside && self.dots.is_empty_at(x - self.plot.x, y - self.plot.y)
    }

    /// The cell at (`x`, `y`), where both are inside.
    pub fn cell_inside(&self, x: f64, y: f64) -> Option<(u16, u16)> {
        let [low, high] = [self.y.low.min(self.y.high), self.y.low.max(self.y.high)];
        (low..=high).contains(&y).then(|| self.cell(x, y)).flatten()
    }

    /// A level line of characters where there is no dot.
    pub fn level(&self, y: f64, glyph: char, style: Style, pen: &mut Pen<'_>) {
        if self.is_empty() || !(self.y.low..=self.y.high).contains(&y) {
            return;
        }
        let row = (self.vertical().row(y, self.dots.height()) / DOWN) as u16;
        for column in 0..self.plot.width {
            if self.dots.is_empty_at(column, row) {
                pen.dot(self.plot.x + column, self.plot.y + row, glyph, style);
            }
        }
    }

    /// An upright line of characters where there is no dot.
    pub fn upright(&self, x: f64, glyph: char, style: Style, pen: &mut Pen<'_>) {
        let Some(column) = self.dot_column(x) else {
            return;
        };
        let column = (column / ACROSS) as u16;
        for row in 0..self.plot.height {
            if self.dots.is_empty_at(column, row) {
                pen.dot(self.plot.x + column, self.plot.y + row, glyph, style);
            }
        }
    }

    /// The axes: ends and title left, ends and title below.
    pub fn axes(&self, pen: &mut Pen<'_>) {
        if self.is_empty() {
            return;
        }
        let look = pen.look;
        let faint = look.faint();
        let (area, plot) = (self.area, self.plot);
        let width = usize::from(GUTTER.min(area.width)).saturating_sub(1);
        let mut left = |y: u16, text: &str| {
            let text = fit(&look.text(text), width, look.cut());
            let pad = width.saturating_sub(text.chars().count()) as u16;
            pen.write(area.x + pad, y, width as u16, &text, faint);
        };
        left(plot.y, &(self.y.number)(self.y.high));
        if plot.height >= 2 {
            left(plot.bottom() - 1, &(self.y.number)(self.y.low));
        }
        if plot.height >= 3 {
            left(plot.y + plot.height / 2, self.y.title);
        }
        for y in plot.top()..plot.bottom() {
            pen.dot(area.x + width as u16, y, look.glyph('│', '|'), faint);
        }
        let row = plot.bottom();
        if row >= area.bottom() {
            return;
        }
        let (low, high) = ((self.x.number)(self.x.low), (self.x.number)(self.x.high));
        let title = look.text(self.x.title);
        let room = f64::from(plot.width);
        let texts = [low, high, title];
        let [low, high, title] = texts.each_ref().map(|text| columns(text) as f64);
        let between = low + 0.5 * (room - low - high - title);
        let wanted = [(0.0, low), (room, high), (between.floor(), title)];
        let placed = labels::placed(wanted, [0.0, room], 1.0);
        for (text, left) in texts.iter().zip(placed) {
            if let Some(left) = left {
                pen.write(plot.x + left as u16, row, columns(text) as u16, text, faint);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ends_are_round_and_hold_everything() {
        assert_eq!(
            round_ends([3.2, f64::NAN, 18.9].into_iter(), 1.0),
            Some((2.0, 20.0))
        );
        assert_eq!(round_ends([5.0].into_iter(), 4.0), Some((3.0, 7.0)));
        assert_eq!(round_ends([f64::NAN].into_iter(), 4.0), None);
    }

    #[test]
    fn points_outside_are_not_drawn_and_no_room_is_no_trouble() {
        let axis = Axis {
            low: 0.0,
            high: 10.0,
            title: "x",
            number: |v| format!("{v}"),
        };
        let mut chart = Chart::new(Rect::new(0, 0, 12, 3), axis, axis);
        chart.point(11.0, 5.0, 0);
        chart.point(5.0, 11.0, 0);
        chart.point(f64::NAN, 1.0, 0);
        assert!((0..4).all(|column| (0..2).all(|row| chart.dots.is_empty_at(column, row))));
        chart.line(&[(0.0, 0.0), (10.0, 10.0)], 0);
        assert!(!chart.dots.is_empty_at(0, 1) && !chart.dots.is_empty_at(3, 0));
        let mut none = Chart::new(Rect::new(0, 0, 3, 0), axis, axis);
        none.line(&[(0.0, 0.0), (10.0, 10.0)], 0);
        none.bar(1.0, 2.0, 3.0, 0);
        assert_eq!(none.cell(1.0, 2.0), None);
    }
}
