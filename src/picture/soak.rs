//! Bias in blocks along a stretch: the points of a heat soak's picture.

use crate::timeline::{Grid, PERCENT_FROM_W};

/// Length of a block, s, and the most of them: what a picture has room for.
const BLOCK_S: f64 = 30.0;
const BLOCKS: usize = 80;

/// One block.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Block {
    /// Its middle, session time, s.
    pub at_s: f64,
    /// Bias, % of the reference.
    pub bias_percent: f64,
    /// Temperature of the source under test, °C; `NaN` where it tells none.
    pub temperature_c: f64,
}

/// A stretch in blocks.
#[derive(Clone, Debug, PartialEq)]
pub struct Blocks {
    /// In order.
    pub blocks: Vec<Block>,
    /// Length of a block, s.
    pub length_s: f64,
}

/// The blocks of the columns (W and °C, from row `first` of `grid` on). Those that are missing for
/// more than half, or idle, say nothing and are left out.
pub fn blocks(
    grid: Grid,
    first: usize,
    [under_test, reference]: [&[f64]; 2],
    temperature_c: Option<&[f64]>,
) -> Blocks {
    let rows = under_test.len().min(reference.len());
    let least = (BLOCK_S / grid.step_s).round().max(1.0) as usize;
    let width = rows.div_ceil(BLOCKS).max(least);
    let block = |from: usize| {
        let to = (from + width).min(rows);
        let both = || {
            let both = under_test[from..to].iter().zip(&reference[from..to]);
            both.filter(|(a, b)| (*a - *b).is_finite())
        };
        let (tested_w, n) = mean(both().map(|(a, _)| *a))?;
        let (reference_w, _) = mean(both().map(|(_, b)| *b))?;
        (2 * n >= to - from && reference_w >= PERCENT_FROM_W).then(|| Block {
            at_s: grid.time_s(first) + 0.5 * (from + to) as f64 * grid.step_s,
            bias_percent: 100.0 * (tested_w - reference_w) / reference_w,
            temperature_c: temperature_c
                .and_then(|c| mean(c.get(from..to)?.iter().copied()))
                .map_or(f64::NAN, |(c, _)| c),
        })
    };
    Blocks {
        blocks: (0..rows).step_by(width).filter_map(block).collect(),
        length_s: width as f64 * grid.step_s,
    }
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
        start_s: 10.0,
        step_s: 1.0,
        len: 10_000,
    };

    #[test]
    fn blocks_without_half_their_seconds_or_any_power_are_left_out() {
        let mut under_test = vec![204.0; 120];
        let mut reference = vec![200.0; 120];
        under_test[30..50].fill(f64::NAN);
        reference[60..90].fill(2.0);
        let found = blocks(GRID, 5, [&under_test, &reference], None);
        assert_eq!(found.length_s, 30.0);
        let at: Vec<f64> = found.blocks.iter().map(|b| b.at_s).collect();
        assert_eq!(at, [30.0, 120.0]);
        for block in &found.blocks {
            assert!((block.bias_percent - 2.0).abs() < 1e-9);
            assert!(block.temperature_c.is_nan());
        }
    }

    #[test]
    fn a_long_soak_has_no_more_blocks_than_a_picture_has_room_for() {
        let power = vec![200.0; 7200];
        let found = blocks(GRID, 0, [&power, &power], Some(&power));
        assert_eq!((found.blocks.len(), found.length_s), (80, 90.0));
    }
}
