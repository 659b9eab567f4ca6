//! A channel along the ride: every second while it is short, else the mean of equal stretches over
//! the lowest and highest of each.

use super::parts::{Layer, line};
use super::tone::Tone;
use crate::timeline::Grid;

/// Up to this many rows a calm series is drawn second by second.
pub const CALM: usize = 2400;

/// The same for a series of noise, such as a difference.
pub const NOISY: usize = 900;

/// Stretches of a longer one, as a share of the rows drawn second by second.
const PART: usize = 3;

/// A series of values from row `first` of `grid` on, `at_most` rows second by second. The spread,
/// where there is one, comes first.
pub fn series(
    name: &str,
    (grid, first): (Grid, usize),
    values: &[f64],
    at_most: usize,
    tone: Tone,
) -> Vec<Layer> {
    if values.len() <= at_most {
        let points = values.iter().enumerate();
        let points = points.map(|(row, v)| [grid.time_s(first + row), *v]);
        return vec![line(name, points.collect(), tone)];
    }
    let width = values.len().div_ceil(at_most / PART);
    let mut means = Vec::new();
    let mut spread = Vec::new();
    for (index, stretch) in values.chunks(width).enumerate() {
        let middle =
            grid.time_s(first + index * width) + 0.5 * (stretch.len() - 1) as f64 * grid.step_s;
        let there = || stretch.iter().copied().filter(|v| v.is_finite());
        let n = there().count();
        // A stretch that is mostly missing is a gap.
        if 2 * n < stretch.len() {
            means.push([middle, f64::NAN]);
            spread.push([middle, f64::NAN, f64::NAN]);
            continue;
        }
        means.push([middle, there().sum::<f64>() / n as f64]);
        spread.push([
            middle,
            there().fold(f64::INFINITY, f64::min),
            there().fold(f64::NEG_INFINITY, f64::max),
        ]);
    }
    vec![
        Layer::Spread {
            name: format!("lowest and highest in {} s", width as f64 * grid.step_s),
            points: spread,
        },
        line(name, means, tone),
    ]
}

/// Mean of the values that are there, with their number.
pub fn mean(values: impl Iterator<Item = f64>) -> Option<(f64, usize)> {
    let (n, sum) = values
        .filter(|v| v.is_finite())
        .fold((0usize, 0.0), |(n, sum), v| (n + 1, sum + v));
    (n > 0).then(|| (sum / n as f64, n))
}

#[cfg(test)]
mod tests {
    use super::*;

    const GRID: Grid = Grid {
        start_s: 0.0,
        step_s: 1.0,
        len: 100_000,
    };

    #[test]
    fn a_long_series_keeps_its_spikes_and_its_gaps() {
        let mut values = vec![100.0; 9000];
        values[4500] = 700.0;
        values[6000..6100].fill(f64::NAN);
        let layers = series("x", (GRID, 10), &values, NOISY, Tone::Model);
        let [
            Layer::Spread { points: spread, .. },
            Layer::Line { points, .. },
        ] = layers.as_slice()
        else {
            panic!("{layers:?}");
        };
        assert_eq!((spread.len(), points.len()), (300, 300));
        assert_eq!(points[0], [24.5, 100.0]);
        assert_eq!(points[150][1], 120.0);
        assert_eq!(spread[150][1..], [100.0, 700.0]);
        assert_eq!(points.iter().filter(|p| p[1].is_nan()).count(), 3);
        let short = series("x", (GRID, 10), &values[..NOISY], NOISY, Tone::Model);
        assert!(matches!(&short[..], [Layer::Line { points, .. }] if points.len() == NOISY));
    }
}
