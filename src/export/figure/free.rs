//! Which places of a plot are still empty, so that words cover nothing.

use std::collections::HashSet;

use super::canvas::Place;
use super::lines::Frame;

/// A grid of small squares, taken or empty.
pub(super) struct Free {
    /// Side of a square, pixels.
    side: f64,
    taken: HashSet<(i32, i32)>,
}

impl Free {
    pub fn new(side: f64) -> Self {
        Self {
            side: side.max(1.0),
            taken: HashSet::new(),
        }
    }

    fn square(&self, [x, y]: Place) -> (i32, i32) {
        (
            (x / self.side).floor() as i32,
            (y / self.side).floor() as i32,
        )
    }

    /// A round mark.
    pub fn take(&mut self, [x, y]: Place, r: f64) {
        let (from, to) = (self.square([x - r, y - r]), self.square([x + r, y + r]));
        for column in from.0..=to.0 {
            self.taken.extend((from.1..=to.1).map(|row| (column, row)));
        }
    }

    /// A line.
    pub fn take_line(&mut self, points: &[Place]) {
        for pair in points.windows(2) {
            let ([x0, y0], [x1, y1]) = (pair[0], pair[1]);
            let steps = ((x1 - x0).hypot(y1 - y0) / self.side).ceil().max(1.0) as usize;
            for step in 0..=steps {
                let part = step as f64 / steps as f64;
                let square = self.square([x0 + part * (x1 - x0), y0 + part * (y1 - y0)]);
                self.taken.insert(square);
            }
        }
    }

    /// Squares that a box around `middle` would cover.
    fn covered(&self, middle: Place, size: [f64; 2]) -> usize {
        let [half_x, half_y] = size.map(|s| 0.5 * s);
        let from = self.square([middle[0] - half_x, middle[1] - half_y]);
        let to = self.square([middle[0] + half_x, middle[1] + half_y]);
        let rows = |column: i32| {
            let rows = from.1..=to.1;
            rows.filter(|row| self.taken.contains(&(column, *row)))
                .count()
        };
        (from.0..=to.0).map(rows).sum()
    }

    /// The middle of a box of `size` near `at`, inside `frame`: the nearest of those that cover the
    /// least. It is taken then.
    pub fn placed(&mut self, at: Place, size: [f64; 2], gap: f64, frame: Frame) -> Place {
        let [half_x, half_y] = size.map(|s| 0.5 * s);
        let mut best: Option<(usize, f64, Place)> = None;
        for up in 0..8 {
            for side in [0.0, 1.0, -1.0] {
                for sign in [-1.0, 1.0] {
                    let y = match up {
                        0 => at[1],
                        _ => at[1] + sign * (half_y + gap + f64::from(up - 1) * half_y),
                    };
                    if up == 0 && side == 0.0 {
                        continue;
                    }
                    let x = at[0] + side * (half_x + gap);
                    let held = [
                        x.min(frame.right - half_x).max(frame.left + half_x),
                        y.min(frame.bottom - half_y).max(frame.top + half_y),
                    ];
                    let covered = self.covered(held, size);
                    let far = (held[0] - at[0]).hypot(held[1] - at[1]);
                    if best.is_none_or(|(c, f, _)| (covered, far) < (c, f)) {
                        best = Some((covered, far, held));
                    }
                }
            }
        }
        let middle = best.map_or(at, |(_, _, middle)| middle);
        for x in [-1.0, -0.5, 0.0, 0.5, 1.0] {
            self.take_line(&[
                [middle[0] - half_x, middle[1] + x * half_y],
                [middle[0] + half_x, middle[1] + x * half_y],
            ]);
        }
        middle
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_move_until_they_cover_nothing() {
        let frame = Frame {
            left: 0.0,
            right: 200.0,
            top: 0.0,
            bottom: 100.0,
        };
        let mut free = Free::new(5.0);
        free.take_line(&[[0.0, 50.0], [200.0, 50.0]]);
        let first = free.placed([100.0, 50.0], [40.0, 20.0], 5.0, frame);
        let second = free.placed([100.0, 50.0], [40.0, 20.0], 5.0, frame);
        for [x, y] in [first, second] {
            assert!((y - 50.0).abs() >= 10.0, "{x} {y}");
            assert!((20.0..=180.0).contains(&x) && (10.0..=90.0).contains(&y));
        }
        let apart = (first[0] - second[0]).abs() >= 40.0 || (first[1] - second[1]).abs() >= 20.0;
        assert!(apart, "{first:?} {second:?}");
        let corner = free.placed([200.0, 0.0], [40.0, 20.0], 5.0, frame);
        assert!(corner[0] <= 180.0 && corner[1] >= 10.0);
    }
}
