//! Lines as pixels see them: cut at the edge, thinned, dashed.

/// Pixels of the plot's edges.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Frame {
    pub left: f64,
    pub right: f64,
    pub top: f64,
    pub bottom: f64,
}

impl Frame {
    pub fn holds(&self, [x, y]: [f64; 2]) -> bool {
        (self.left..=self.right).contains(&x) && (self.top..=self.bottom).contains(&y)
    }
}

/// The parts of a line inside the frame; a missing point breaks it.
pub(super) fn clipped(points: &[[f64; 2]], frame: Frame) -> Vec<Vec<[f64; 2]>> {
    let mut out: Vec<Vec<[f64; 2]>> = Vec::new();
    let mut open = false;
    let is_there = |p: &[f64; 2]| p[0].is_finite() && p[1].is_finite();
    let alone = |index: usize| {
        let before = index.checked_sub(1).and_then(|i| points.get(i));
        let beside = [before, points.get(index + 1)];
        !beside.into_iter().flatten().any(is_there)
    };
    for (index, point) in points.iter().enumerate() {
        if is_there(point) && alone(index) && frame.holds(*point) {
            out.push(vec![*point]);
        }
        let next = points.get(index + 1).filter(|next| is_there(next));
        let inside = next
            .filter(|_| is_there(point))
            .and_then(|next| cut([*point, *next], frame));
        let Some([from, to]) = inside else {
            open = false;
            continue;
        };
        match out
            .last_mut()
            .filter(|line| open && line.last() == Some(&from))
        {
            Some(line) => line.push(to),
            None => out.push(vec![from, to]),
        }
        open = next == Some(&to);
    }
    out
}

/// The part of a stroke inside the frame (Liang & Barsky 1984, from memory).
fn cut([from, to]: [[f64; 2]; 2], frame: Frame) -> Option<[[f64; 2]; 2]> {
    if frame.holds(from) && frame.holds(to) {
        return Some([from, to]);
    }
    let [dx, dy] = [to[0] - from[0], to[1] - from[1]];
    let (mut first, mut last) = (0.0_f64, 1.0_f64);
    let edges = [
        (-dx, from[0] - frame.left),
        (dx, frame.right - from[0]),
        (-dy, from[1] - frame.top),
        (dy, frame.bottom - from[1]),
    ];
    for (towards, room) in edges {
        if towards == 0.0 {
            if room < 0.0 {
                return None;
            }
        } else if towards < 0.0 {
            first = first.max(room / towards);
        } else {
            last = last.min(room / towards);
        }
    }
    let at = |share: f64| match share {
        0.0 => from,
        1.0 => to,
        _ => [from[0] + share * dx, from[1] + share * dy],
    };
    (first <= last).then(|| [at(first), at(last)])
}

/// The same line with at most four points a pixel column: first, lowest, highest, last.
pub(super) fn thinned(points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut out: Vec<[f64; 2]> = Vec::new();
    for column in points.chunk_by(|a, b| a[0].floor() == b[0].floor()) {
        let extreme = |better: fn(f64, f64) -> bool| {
            let best = column.iter().enumerate().reduce(|best, next| {
                if better(next.1[1], best.1[1]) {
                    next
                } else {
                    best
                }
            });
            best.map_or(0, |(index, _)| index)
        };
        let mut kept = [
            0,
            extreme(|a, b| a < b),
            extreme(|a, b| a > b),
            column.len() - 1,
        ];
        kept.sort_unstable();
        let mut last = None;
        for index in kept {
            if last != Some(index) {
                out.extend(column.get(index));
                last = Some(index);
            }
        }
    }
    out
}

/// A polyline cut into strokes of length `on` with gaps of length `off`.
pub(super) fn dashes(points: &[[f64; 2]], on: f64, off: f64) -> Vec<Vec<[f64; 2]>> {
    let mut pieces = Vec::new();
    let Some(first) = points.first() else {
        return pieces;
    };
    let mut piece = vec![*first];
    let mut left = on;
    let mut drawing = true;
    for pair in points.windows(2) {
        let (mut from, to) = (pair[0], pair[1]);
        loop {
            let length = (to[0] - from[0]).hypot(to[1] - from[1]);
            if length < left || length <= 0.0 {
                left -= length;
                if drawing {
                    piece.push(to);
                }
                break;
            }
            let share = left / length;
            let cut = [
                from[0] + share * (to[0] - from[0]),
                from[1] + share * (to[1] - from[1]),
            ];
            if drawing {
                piece.push(cut);
                pieces.push(std::mem::take(&mut piece));
            } else {
                piece = vec![cut];
            }
            drawing = !drawing;
            left = if drawing { on } else { off };
            from = cut;
        }
    }
    if drawing && piece.len() > 1 && piece.first() != piece.last() {
        pieces.push(piece);
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thinning_keeps_every_spike() {
        let points: Vec<[f64; 2]> = (0..1000)
            .map(|i| {
                [
                    f64::from(i) / 100.0,
                    if i == 555 { 99.0 } else { f64::from(i % 7) },
                ]
            })
            .collect();
        let thin = thinned(&points);
        assert!(thin.len() <= 40, "{}", thin.len());
        assert!(thin.contains(&[5.55, 99.0]));
        assert_eq!(thin.first(), points.first());
        assert_eq!(thin.last(), points.last());
        assert!(thin.windows(2).all(|pair| pair[0][0] <= pair[1][0]));
    }

    #[test]
    fn a_line_is_cut_at_the_frame_and_broken_at_gaps() {
        let frame = Frame {
            left: 0.0,
            right: 10.0,
            top: 0.0,
            bottom: 10.0,
        };
        let points = [
            [0.0, 5.0],
            [2.0, 15.0],
            [4.0, 5.0],
            [5.0, f64::NAN],
            [6.0, 3.0],
        ];
        let lines = clipped(&points, frame);
        let expected = [
            vec![[0.0, 5.0], [1.0, 10.0]],
            vec![[3.0, 10.0], [4.0, 5.0]],
            vec![[6.0, 3.0]],
        ];
        assert_eq!(lines, expected);
        assert!(clipped(&[[0.0, 20.0], [9.0, 30.0]], frame).is_empty());
    }

    #[test]
    fn dashes_cover_their_share() {
        let cut = dashes(&[[0.0, 0.0], [100.0, 0.0]], 6.0, 4.0);
        let inked: f64 = cut.iter().map(|p| p[p.len() - 1][0] - p[0][0]).sum();
        assert_eq!(cut.len(), 10);
        assert!((inked - 60.0).abs() < 1e-9);
        assert!(dashes(&[], 6.0, 4.0).is_empty());
    }
}
