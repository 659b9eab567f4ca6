//! Slopes and levels of the bias over a window, with intervals from [`crate::stats::contrast`].

use std::ops::Range;

use crate::stats::contrast::{Block, Contrast};
use crate::stats::finite;
use crate::stats::noise::{LinearFit, Noise};
use crate::stats::serial::{block_rows, filled_blocks};

/// What a block of rows is worth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BiasUnit {
    /// Mean difference, W.
    Watts,
    /// Sum of differences over sum of references, %.
    Percent,
}

/// The bias of a source against a reference, in blocks that share their place in time.
#[derive(Clone, Debug, PartialEq)]
pub struct BiasBlocks {
    /// Rows of the window.
    rows: usize,
    /// The blocks: place, rows, bias.
    blocks: Vec<(usize, Range<usize>, f64)>,
    /// The noise of the ride, in the unit of the bias.
    noise: Option<Noise>,
}

impl BiasBlocks {
    /// Cuts the rows in blocks ([`crate::stats::serial`]) and keeps those that are at least half filled.
    /// A percent block whose references sum to nothing is left out.
    /// `noise` is that of the two over the ride, W, where it is known.
    pub fn new(
        under_test: &[f64],
        reference: &[f64],
        unit: BiasUnit,
        noise: Option<&Noise>,
    ) -> Self {
        let rows = under_test.len().min(reference.len());
        let shared = |row: usize| under_test[row].is_finite() && reference[row].is_finite();
        let length = noise.map_or_else(|| block_rows(rows), Noise::block_rows);
        let blocks = filled_blocks(rows, length, shared)
            .into_iter()
            .filter_map(|(index, range)| {
                let rows = range.clone().filter(|&row| shared(row));
                let bias = match unit {
                    BiasUnit::Watts => mean(rows.map(|row| under_test[row] - reference[row]))?,
                    BiasUnit::Percent => {
                        let (source, against) = rows.fold((0.0, 0.0), |(a, b), row| {
                            (a + under_test[row], b + reference[row])
                        });
                        100.0 * (source - against) / (against > 0.0).then_some(against)?
                    }
                };
                Some((index, range, bias))
            })
            .collect();
        let level_w = mean(
            (0..rows)
                .filter(|row| shared(*row))
                .map(|row| reference[row]),
        );
        let noise = match unit {
            BiasUnit::Watts => noise.cloned(),
            BiasUnit::Percent => noise
                .zip(level_w.filter(|w| *w > 0.0))
                .map(|(noise, level_w)| noise.scaled(100.0 / level_w)),
        };
        Self {
            rows,
            blocks,
            noise,
        }
    }

    /// Slope of the bias against a covariate that `at` gives for a row (NaN: unknown). Blocks in
    /// which it is unknown are left out; `None` where too few remain or the covariate never moves.
    pub fn slope_against(&self, at: impl Fn(usize) -> f64) -> Option<Contrast> {
        let rows: Vec<(usize, f64, f64)> = self
            .blocks
            .iter()
            .filter_map(|(index, range, bias)| {
                let x = mean(range.clone().map(&at).filter(|x| x.is_finite()))?;
                Some((*index, x, *bias))
            })
            .collect();
        let centre = mean(rows.iter().map(|row| row.1))?;
        let blocks: Vec<Block> = rows
            .into_iter()
            .map(|(index, x, value)| Block {
                index,
                value,
                design: vec![1.0, x - centre],
            })
            .collect();
        LinearFit::new(&blocks, 2, self.noise.as_ref())?.contrast(&[0.0, 1.0])
    }

    /// Change of the bias from the first row to the last, in its unit: p(1) − p(−1) of a cubic p fitted
    /// over the rows, laid from −1 to 1. A warm-up that levels off (an exponential of a third of the
    /// block or longer) it tells to 3 %, where a slope times the length is a quarter short.
    pub fn change_over(&self) -> Option<Contrast> {
        let half = 0.5 * self.rows as f64;
        let blocks: Vec<Block> = self
            .blocks
            .iter()
            .map(|(index, range, value)| {
                let x = 0.5 * (range.start + range.end) as f64 / half - 1.0;
                Block {
                    index: *index,
                    value: *value,
                    design: vec![1.0, x, x * x - 1.0 / 3.0, x * x * x],
                }
            })
            .collect();
        LinearFit::new(&blocks, 4, self.noise.as_ref())?.contrast(&[0.0, 2.0, 0.0, 2.0])
    }

    /// Mean rate of the bias over the window, a `unit_rows` rows: the least-squares slope, with a
    /// bend fitted beside it. The bend's shape is at right angles to level and slope over the whole
    /// window, so that it leaves the slope as it is where nothing is missing; but a drift that levels
    /// off is not taken for scatter about a line.
    pub fn rate_with_bend(&self, unit_rows: f64) -> Option<Contrast> {
        let middle = 0.5 * self.rows as f64;
        let flat = (self.rows as f64 / unit_rows).powi(2) / 12.0;
        let blocks: Vec<Block> = self
            .blocks
            .iter()
            .map(|(index, range, value)| {
                let x = (0.5 * (range.start + range.end) as f64 - middle) / unit_rows;
                Block {
                    index: *index,
                    value: *value,
                    design: vec![1.0, x, x * x - flat],
                }
            })
            .collect();
        LinearFit::new(&blocks, 3, self.noise.as_ref())?.contrast(&[0.0, 1.0, 0.0])
    }
}

/// Mean of the values; `None` where there are none, or they overflow.
pub(super) fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, count) = values.fold((0.0, 0_usize), |(sum, count), v| (sum + v, count + 1));
    (count > 0).then(|| sum / count as f64).and_then(finite)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::Line;

    #[test]
    fn a_percent_drift_is_found_whatever_the_power_does() {
        let reference: Vec<f64> = (0..600).map(|i| 200.0 + 50.0 * f64::from(i % 7)).collect();
        let under_test: Vec<f64> = reference
            .iter()
            .enumerate()
            .map(|(i, r)| r * (1.0 + 0.01 * i as f64 / 600.0))
            .collect();
        let blocks = BiasBlocks::new(&under_test, &reference, BiasUnit::Percent, None);
        let slope = blocks.slope_against(|row| row as f64 / 600.0).unwrap();
        assert!((slope.estimate - 1.0).abs() < 0.01, "{slope:?}");
    }

    #[test]
    fn a_covariate_that_stands_still_or_is_unknown_has_no_slope() {
        let blocks = BiasBlocks::new(&[201.0; 300], &[200.0; 300], BiasUnit::Watts, None);
        assert_eq!(blocks.slope_against(|_| 21.0), None);
        assert_eq!(blocks.slope_against(|_| f64::NAN), None);
        let slope = blocks.slope_against(|row| row as f64).unwrap();
        assert!(slope.estimate.abs() < 1e-12);
    }

    /// A bias that levels off, 2 · (1 − e^(−t/400)) % over 1200 s, beside regular noise.
    #[test]
    fn a_bend_leaves_the_slope_and_is_no_scatter() {
        let rows = 1200;
        let wobble = |i: usize| [0.0, 2.0, -1.0, -2.0, 1.0][(i * i) % 5];
        let bias = |i: usize| 2.0 * (1.0 - (-(i as f64) / 400.0).exp());
        let under_test: Vec<f64> = (0..rows)
            .map(|i| 250.0 * (1.0 + bias(i) / 100.0) + wobble(i))
            .collect();
        let blocks = BiasBlocks::new(&under_test, &[250.0; 1200], BiasUnit::Percent, None);
        let line = blocks.slope_against(|row| row as f64 / 600.0).unwrap();
        let bent = blocks.rate_with_bend(600.0).unwrap();
        assert!(
            (line.estimate - bent.estimate).abs() < 1e-9,
            "{line:?} {bent:?}"
        );
        let width = |c: Contrast| c.ci95[1] - c.ci95[0];
        assert!(width(bent) < 0.5 * width(line), "{line:?} {bent:?}");
        let straight = Line::fit(
            &(0..rows).map(|i| i as f64 / 600.0).collect::<Vec<_>>(),
            &(0..rows).map(bias).collect::<Vec<_>>(),
        );
        assert!((bent.estimate - straight.unwrap().slope).abs() < 0.01);
    }

    #[test]
    fn the_change_of_a_warm_up_that_levels_off() {
        let bias = |i: usize| -2.0 * (1.0 - (-(i as f64) / 600.0).exp());
        let wobble = |i: usize| [0.0, 2.0, -1.0, -2.0, 1.0][(i * i) % 5];
        let under_test: Vec<f64> = (0..3000)
            .map(|i| 250.0 * (1.0 + bias(i) / 100.0) + wobble(i))
            .collect();
        let blocks = BiasBlocks::new(&under_test, &[250.0; 3000], BiasUnit::Percent, None);
        let change = blocks.change_over().unwrap();
        assert!((change.estimate - bias(2999)).abs() < 0.06, "{change:?}");
        assert!(
            change.ci95[0] < bias(2999) && bias(2999) < change.ci95[1],
            "{change:?}"
        );
    }

    #[test]
    fn references_at_zero_leave_no_percent() {
        let blocks = BiasBlocks::new(&[5.0; 300], &[0.0; 300], BiasUnit::Percent, None);
        assert_eq!(blocks.slope_against(|row| row as f64), None);
    }
}
