//! Linear contrasts under serial correlation: means, slopes and shifts of level, with intervals
//! that hold when neighbouring seconds resemble each other.
//!
//! The seconds of a difference between two power sources are not independent: lag, drift and the
//! rider's rhythm tie them together, and the textbook limits are then far too narrow (at an
//! autocorrelation of 0.7 they cover 59 % instead of 95 %). How much they resemble each other cannot
//! be read off one short stretch either, and an interval that pretends it can misses slow drift
//! beside noise in a fifth of the cases at 60 to 120 s.
//!
//! So the resemblance is not estimated but averaged over. Seconds are averaged in blocks
//! ([`super::serial::block_rows`]). The errors of the block means are taken as first-order
//! autoregressive, `R(ρ) = ρ^|i−j|` with `i`, `j` the places of the blocks in time, so that a block
//! left out counts as time passed. What ρ may be before the blocks are looked at is the only
//! assumption beyond first order ([`Memory`]): for a level, a memory of any length up to the window,
//! every octave as likely; for slopes and shifts, any ρ between −1 and 1, every value as likely.
//! Each ρ gives its own Student t about the ordinary least-squares estimate `w'y = c'(X'X)⁻¹X'y`
//! (coefficients: flat; scale: 1/σ), with
//!
//! - weight `|R|^(−1/2) |X'R⁻¹X|^(−1/2) S^(−(K−p)/2)`, S the generalised residual sum of squares of K
//!   blocks about p coefficients: how well that ρ explains the blocks;
//! - scale² `S/(K−p) · w'R w`, with K − p degrees of freedom.
//!
//! The limits are where the weighed sum leaves 2.5 % on either side (`mixture.rs`).
//!
//! Measured coverage of nominal 95 % limits, in %, with the median half-width in standard deviations
//! of a second (of a slope: of the change over the window; from 1200 s on with a bend beside it), by
//! `tests/oracles/serial_coverage.py`, 2000 Gaussian series each (standard error 0.5): white noise;
//! autoregressive 0.5, 0.7, 0.9, 0.95 a second; mean over 5 s; slow drift (autoregressive 0.95, 0.98)
//! plus as much white noise; what a lag of 2 s makes of a rider's wander, plus white noise.
//!
//! | mean over, s | white | 0.5 | 0.7 | 0.9 | 0.95 | mean of 5 s | 0.95 + white | 0.98 + white | lag + white |
//! | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |
//! | 60 | 99.8 (0.63) | 99.7 (1.09) | 99.6 (1.49) | 97.9 (1.76) | 94.7 (1.51) | 99.9 (1.44) | 94.9 (1.28) | 85.1 (1.03) | 100.0 (0.62) |
//! | 120 | 99.6 (0.38) | 99.5 (0.67) | 99.4 (0.97) | 99.0 (1.67) | 97.5 (1.73) | 99.3 (0.89) | 97.0 (1.31) | 91.1 (1.11) | 100.0 (0.30) |
//! | 180 | 99.3 (0.29) | 99.1 (0.51) | 99.4 (0.71) | 99.1 (1.41) | 98.2 (1.77) | 99.4 (0.65) | 98.2 (1.28) | 94.3 (1.20) | 100.0 (0.20) |
//! | 300 | 99.5 (0.21) | 99.3 (0.37) | 99.2 (0.50) | 98.8 (1.05) | 98.5 (1.55) | 99.1 (0.47) | 98.2 (1.08) | 96.2 (1.29) | 99.9 (0.13) |
//! | 1200 | 97.4 (0.07) | 97.8 (0.12) | 97.2 (0.17) | 97.0 (0.31) | 96.9 (0.48) | 97.5 (0.16) | 97.0 (0.34) | 97.1 (1.01) | 99.5 (0.04) |
//!
//! | slope over, s | white | 0.5 | 0.7 | 0.9 | 0.95 | mean of 5 s | 0.95 + white | 0.98 + white | lag + white |
//! | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |
//! | 120 | 98.2 (1.12) | 97.8 (1.90) | 97.5 (2.50) | 96.8 (3.40) | 93.8 (3.21) | 98.1 (2.37) | 93.3 (2.48) | 87.2 (1.95) | 99.6 (0.84) |
//! | 180 | 98.0 (0.91) | 98.4 (1.54) | 98.2 (2.08) | 97.1 (3.26) | 95.7 (3.36) | 98.0 (1.97) | 96.1 (2.51) | 90.2 (2.15) | 99.5 (0.59) |
//! | 300 | 98.1 (0.70) | 98.0 (1.19) | 98.3 (1.61) | 98.0 (2.84) | 96.9 (3.34) | 98.0 (1.54) | 97.5 (2.43) | 94.0 (2.34) | 99.2 (0.41) |
//! | 1200 | 97.7 (0.31) | 97.2 (0.55) | 97.0 (0.76) | 97.7 (1.46) | 97.4 (2.31) | 97.5 (0.71) | 98.0 (1.64) | 98.6 (2.54) | 98.0 (0.14) |
//! | 3000 | 95.5 (0.13) | 96.3 (0.24) | 95.8 (0.32) | 96.6 (0.60) | 96.0 (0.91) | 96.5 (0.30) | 96.7 (0.64) | 98.0 (1.28) | 96.0 (0.06) |
//!
//! It errs on the wide side where memory is short or a lag makes differences swing back, since a
//! short stretch cannot prove that they do. Noise that is slower than the window looks like bias or
//! drift to any method that sees only the window.
//!
//! Sources: O'Hagan 1994, Bayesian Inference, ch. 9 (regression with an unknown correlation,
//! from memory); the need for it: Bayley & Hammersley 1946, J R Stat Soc Suppl 8:184.

use super::Interval;
use super::mixture::{LIGHTEST, MeanUncertainty, Mixture};

/// Fewest values of ρ that are averaged over …
const LEAST_NODES: f64 = 16.0;
/// … and how many times the root of the number of blocks at least: ρ is known to about 1/√K, which
/// spans two of them.
const NODES_A_ROOT: f64 = 4.0;
/// Residuals this small beside the values are rounding, not scatter.
const ROUNDING: f64 = 1e-12;

/// A contrast with its uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Contrast {
    /// The estimate.
    pub estimate: f64,
    /// Its uncertainty.
    pub uncertainty: MeanUncertainty,
    /// 95 % confidence limits.
    pub ci95: Interval,
}

impl Contrast {
    /// An estimate with its uncertainty; `None` where either is not finite.
    pub(super) fn about(estimate: f64, uncertainty: MeanUncertainty) -> Option<Self> {
        let half = uncertainty.half_width95();
        (estimate.is_finite() && half.is_finite()).then_some(Self {
            estimate,
            uncertainty,
            ci95: [estimate - half, estimate + half],
        })
    }
}

/// One observation of a fit: a block mean with its place and its row of the design.
#[derive(Clone, Debug, PartialEq)]
pub struct Block {
    /// Place in time, counted in blocks; rising from block to block.
    pub index: usize,
    /// The observed mean.
    pub value: f64,
    /// The row of the design matrix.
    pub design: Vec<f64>,
}

/// A linear model fitted to blocks, from which contrasts are read.
pub struct Fitted {
    terms: usize,
    /// Rows of the design, one after another.
    design: Vec<f64>,
    values: Vec<f64>,
    /// How many places each block lies after the one before it; 0 for the first.
    gaps: Vec<i32>,
    gram_inverse: Vec<f64>,
    /// ρ, logarithm of its weight, S/(K − p); empty where the residuals are rounding.
    nodes: Vec<(f64, f64, f64)>,
    degrees_of_freedom: f64,
}

impl Fitted {
    /// Fits the model that `blocks` describe, with `terms` coefficients.
    ///
    /// Returns `None` where the design is not of full rank, or where fewer than three blocks remain
    /// after its coefficients are paid for, since no interval can then be trusted.
    pub fn new(blocks: &[Block], terms: usize, memory: Memory) -> Option<Self> {
        let count = blocks.len();
        if terms == 0 || count < terms + 3 || blocks.iter().any(|b| b.design.len() != terms) {
            return None;
        }
        let design: Vec<f64> = blocks.iter().flat_map(|b| b.design.clone()).collect();
        let values: Vec<f64> = blocks.iter().map(|block| block.value).collect();
        let mut gram = vec![0.0; terms * terms];
        let mut products = vec![0.0; terms];
        for (row, value) in design.chunks_exact(terms).zip(&values) {
            accumulate(&mut gram, &mut products, row, *value);
        }
        let gram_inverse = inverse(&gram, terms)?;
        let coefficients = times(&gram_inverse, &products);
        let fitted = |row: &[f64]| dot(row, &coefficients);
        let residuals: Vec<f64> = design
            .chunks_exact(terms)
            .zip(&values)
            .map(|(row, value)| value - fitted(row))
            .collect();
        let before = std::iter::once(None).chain(blocks.iter().map(|b| Some(b.index)));
        let gaps: Vec<i32> = before
            .zip(blocks)
            .map(|(before, block)| {
                let gap = before.map_or(0, |before| block.index.saturating_sub(before).max(1));
                i32::try_from(gap).unwrap_or(i32::MAX)
            })
            .collect();
        let rounding = dot(&residuals, &residuals) <= ROUNDING * ROUNDING * dot(&values, &values);
        let degrees_of_freedom = (count - terms) as f64;
        let nodes = if rounding {
            Vec::new()
        } else if terms == 1 {
            let sums = OneTerm::of(&design, &residuals, &gaps);
            let correlations = memory.correlations(count);
            correlations
                .map(|rho| sums.node(rho, degrees_of_freedom))
                .collect()
        } else {
            let mut search = Search {
                terms,
                design: &design,
                residuals: &residuals,
                gaps: &gaps,
                degrees_of_freedom,
                row: vec![0.0; terms],
                gram,
                products,
            };
            let correlations = memory.correlations(count);
            correlations.map(|rho| search.node(rho)).collect()
        };
        Some(Self {
            terms,
            design,
            values,
            gaps,
            gram_inverse,
            nodes,
            degrees_of_freedom,
        })
    }

    /// Estimates `contrast · coefficients`; `None` where `contrast` has another length than the
    /// model has terms, or where a value is not finite.
    pub fn contrast(&self, contrast: &[f64]) -> Option<Contrast> {
        if contrast.len() != self.terms {
            return None;
        }
        let towards = times(&self.gram_inverse, contrast);
        let rows = self.design.chunks_exact(self.terms);
        let weights: Vec<f64> = rows.map(|row| dot(row, &towards)).collect();
        let estimate = dot(&weights, &self.values);
        let uncertainty = self.uncertainty(&weights)?;
        Contrast::about(estimate, uncertainty)
    }

    /// Uncertainty of the sum of the blocks with these weights.
    fn uncertainty(&self, weights: &[f64]) -> Option<MeanUncertainty> {
        if self.nodes.is_empty() || weights.iter().all(|w| *w == 0.0) {
            return Some(MeanUncertainty {
                standard: 0.0,
                dof: self.degrees_of_freedom,
            });
        }
        let runs = runs(weights, &self.gaps);
        let weights_told = self.nodes.iter().map(|(_, log_weight, _)| *log_weight);
        let heaviest = weights_told.fold(f64::NEG_INFINITY, f64::max);
        // The others weigh nothing in the mixture.
        let heavy = self
            .nodes
            .iter()
            .filter(|(_, log_weight, _)| (log_weight - heaviest).exp() > LIGHTEST);
        let kernels = heavy.map(|(rho, log_weight, variance)| {
            let spread = spread(&runs, *rho);
            (*log_weight, (variance * spread).max(0.0).sqrt())
        });
        Mixture::of(self.degrees_of_freedom, kernels)?.uncertainty()
    }
}

/// What is taken as equally likely before the blocks are looked at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Memory {
    /// Every octave of correlation time, from 1 row to the whole window. For levels: what is slower
    /// than the window moves a level unseen, so that slow memory has to be reckoned with on every
    /// scale.
    AnyTime {
        /// Rows of a block.
        block_rows: usize,
    },
    /// Every correlation of neighbouring blocks between −1 and 1. For slopes and shifts, which
    /// stand apart from what is slow.
    AnyCorrelation,
}

impl Memory {
    /// The values of ρ that are averaged over for so many blocks.
    fn correlations(self, blocks: usize) -> impl Iterator<Item = f64> {
        let root = (blocks as f64).sqrt();
        let nodes = (NODES_A_ROOT * root).max(LEAST_NODES).ceil();
        (0..nodes as usize).map(move |i| match self {
            Memory::AnyCorrelation => (2.0 * i as f64 + 1.0) / nodes - 1.0,
            Memory::AnyTime { block_rows } => {
                let rows = block_rows.max(1) as f64;
                let octaves = (rows * blocks as f64).ln();
                let memory_rows = (octaves * i as f64 / (nodes - 1.0)).exp();
                (-rows / memory_rows).exp()
            }
        })
    }
}

/// Neighbouring blocks of the same weight after the same gap; `follows` where the block before the
/// first of them has that weight, too.
struct Run {
    weight: f64,
    gap: i32,
    follows: bool,
    count: i32,
}

fn runs(weights: &[f64], gaps: &[i32]) -> Vec<Run> {
    let mut all: Vec<Run> = Vec::new();
    let mut last = f64::NAN;
    for (&weight, &gap) in weights.iter().zip(gaps) {
        let follows = weight == last;
        match all.last_mut() {
            Some(run) if run.follows && follows && run.gap == gap => run.count += 1,
            _ => all.push(Run {
                weight,
                gap,
                follows,
                count: 1,
            }),
        }
        last = weight;
    }
    all
}

/// w'R w: each block carries on the weights before it, faded by the correlation. Along a run of
/// equal weights what is carried nears its fixed point geometrically, so that the run is summed at
/// once.
fn spread(runs: &[Run], rho: f64) -> f64 {
    let (mut carried, mut last, mut sum) = (0.0, 0.0, 0.0);
    for run in runs {
        let (weight, keep) = (run.weight, rho.powi(run.gap));
        if run.count == 1 || keep >= 1.0 {
            for _ in 0..run.count {
                carried = keep * (carried + last);
                sum += weight * (weight + 2.0 * carried);
                last = weight;
            }
            continue;
        }
        let count = f64::from(run.count);
        let fixed = keep * weight / (1.0 - keep);
        let left = keep.powi(run.count);
        let carried_in_all = count * fixed + (carried - fixed) * keep * (1.0 - left) / (1.0 - keep);
        sum += weight * (count * weight + 2.0 * carried_in_all);
        carried = fixed + (carried - fixed) * left;
        last = weight;
    }
    sum
}

/// What one block keeps of the one so many places before it. Most gaps are alike, and logarithm,
/// root and power are found once for all of them.
struct Step {
    gap: i32,
    keep: f64,
    scale: f64,
    log_scale: f64,
}

impl Step {
    fn over(rho: f64, gap: i32) -> Self {
        let keep = rho.powi(gap);
        let scale = (1.0 - keep * keep).sqrt();
        Self {
            gap,
            keep,
            scale,
            log_scale: scale.ln(),
        }
    }

    /// Of the first block, which has none before it.
    const FIRST: Step = Step {
        gap: 0,
        keep: 0.0,
        scale: 1.0,
        log_scale: 0.0,
    };
}

/// What the nodes of one fit are found from, with room for the sums.
struct Search<'a> {
    terms: usize,
    design: &'a [f64],
    /// Of ordinary least squares: they hold all that the model does not reach.
    residuals: &'a [f64],
    gaps: &'a [i32],
    degrees_of_freedom: f64,
    row: Vec<f64>,
    gram: Vec<f64>,
    products: Vec<f64>,
}

impl Search<'_> {
    /// ρ with the logarithm of its weight and S/(K − p). Successive differences
    /// `(vᵢ − φ vᵢ₋₁)/√(1 − φ²)`, `φ = ρ^gap`, of values and design are independent, and their scales
    /// make up |R|.
    fn node(&mut self, rho: f64) -> (f64, f64, f64) {
        self.gram.fill(0.0);
        self.products.fill(0.0);
        let (mut squares, mut log_scales) = (0.0, 0.0);
        let rows = self.design.chunks_exact(self.terms);
        let mut before: Option<(&[f64], f64)> = None;
        let mut step = Step::FIRST;
        for ((row, value), gap) in rows.zip(self.residuals).zip(self.gaps) {
            if before.is_some() && step.gap != *gap {
                step = Step::over(rho, *gap);
            }
            let (last_row, last) = before.unwrap_or((row, 0.0));
            for (out, (x, x0)) in self.row.iter_mut().zip(row.iter().zip(last_row)) {
                *out = (x - step.keep * x0) / step.scale;
            }
            let left = (value - step.keep * last) / step.scale;
            accumulate(&mut self.gram, &mut self.products, &self.row, left);
            squares += left * left;
            log_scales += step.log_scale;
            before = Some((row, *value));
        }
        let Some((log_determinant, explained)) = solved(&mut self.gram, &mut self.products) else {
            return (rho, f64::NAN, f64::NAN);
        };
        let rest = squares - explained;
        let log_weight =
            -log_scales - 0.5 * log_determinant - 0.5 * self.degrees_of_freedom * rest.ln();
        (rho, log_weight, rest / self.degrees_of_freedom)
    }
}

/// Products of neighbouring blocks of a model of one term, summed over the pairs with the same gap:
/// all that [`Search::node`] needs of them, so that a node costs no walk over the blocks.
///
/// With k = ρ^gap, `Σ (v − k v₀)² = Σ v² − 2k Σ v v₀ + k² Σ v₀²`, and so for the design. K residuals
/// about their mean differ by at least π/K of their size from block to block, so that this costs at
/// most twice as many digits as K has.
struct OneTerm(Vec<Pairs>);

#[derive(Default)]
struct Pairs {
    gap: i32,
    count: f64,
    /// Σ x², Σ x x₀, Σ x₀².
    gram: [f64; 3],
    /// Σ x v, Σ (x v₀ + x₀ v)/2, Σ x₀ v₀.
    products: [f64; 3],
    /// Σ v², Σ v v₀, Σ v₀².
    squares: [f64; 3],
}

impl OneTerm {
    fn of(design: &[f64], residuals: &[f64], gaps: &[i32]) -> Self {
        let mut all: Vec<Pairs> = Vec::new();
        // The first block has none before it: as if one of nothing had been there.
        let (mut x0, mut v0) = (0.0, 0.0);
        for ((&x, &v), &gap) in design.iter().zip(residuals).zip(gaps) {
            let index = all.iter().position(|pairs| pairs.gap == gap);
            let index = index.unwrap_or_else(|| {
                all.push(Pairs {
                    gap,
                    ..Pairs::default()
                });
                all.len() - 1
            });
            let pairs = &mut all[index];
            pairs.count += 1.0;
            for (sum, term) in [
                (&mut pairs.gram, [x * x, x * x0, x0 * x0]),
                (
                    &mut pairs.products,
                    [x * v, 0.5 * (x * v0 + x0 * v), x0 * v0],
                ),
                (&mut pairs.squares, [v * v, v * v0, v0 * v0]),
            ] {
                sum.iter_mut()
                    .zip(term)
                    .for_each(|(sum, term)| *sum += term);
            }
            (x0, v0) = (x, v);
        }
        Self(all)
    }

    /// As [`Search::node`].
    fn node(&self, rho: f64, degrees_of_freedom: f64) -> (f64, f64, f64) {
        let (mut gram, mut products, mut squares, mut log_scales) = (0.0, 0.0, 0.0, 0.0);
        for pairs in &self.0 {
            let keep = if pairs.gap == 0 {
                0.0
            } else {
                rho.powi(pairs.gap)
            };
            let variance = 1.0 - keep * keep;
            let sum = |of: &[f64; 3]| (of[0] - keep * (2.0 * of[1] - keep * of[2])) / variance;
            gram += sum(&pairs.gram);
            products += sum(&pairs.products);
            squares += sum(&pairs.squares);
            log_scales += 0.5 * pairs.count * variance.ln();
        }
        let rest = squares - products * products / gram;
        let log_weight = -log_scales - 0.5 * gram.ln() - 0.5 * degrees_of_freedom * rest.ln();
        (rho, log_weight, rest / degrees_of_freedom)
    }
}

/// Logarithm of the determinant of G and b'G⁻¹b, by Cholesky's factorisation in place; `None` where
/// G is not positive definite.
pub(super) fn solved(gram: &mut [f64], products: &mut [f64]) -> Option<(f64, f64)> {
    let size = products.len();
    let (mut log_determinant, mut explained) = (0.0, 0.0);
    for i in 0..size {
        for j in 0..=i {
            let inner: f64 = (0..j)
                .map(|k| gram[i * size + k] * gram[j * size + k])
                .sum();
            let left = gram[i * size + j] - inner;
            if i == j {
                if left.is_nan() || left <= 0.0 {
                    return None;
                }
                gram[i * size + i] = left.sqrt();
                log_determinant += left.ln();
            } else {
                gram[i * size + j] = left / gram[j * size + j];
            }
        }
        let inner: f64 = (0..i).map(|k| gram[i * size + k] * products[k]).sum();
        products[i] = (products[i] - inner) / gram[i * size + i];
        explained += products[i] * products[i];
    }
    Some((log_determinant, explained))
}

/// Adds a row and its value to the normal equations.
pub(super) fn accumulate(gram: &mut [f64], products: &mut [f64], row: &[f64], value: f64) {
    let size = row.len();
    for (i, x) in row.iter().enumerate() {
        for (cell, other) in gram[i * size..(i + 1) * size].iter_mut().zip(row) {
            *cell += x * other;
        }
        products[i] += x * value;
    }
}

pub(crate) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// A square matrix by rows times a vector.
pub(crate) fn times(matrix: &[f64], vector: &[f64]) -> Vec<f64> {
    let rows = matrix.chunks_exact(vector.len().max(1));
    rows.map(|row| dot(row, vector)).collect()
}

/// The inverse of a symmetric positive definite matrix by Gauss–Jordan elimination with pivoting;
/// `None` where it is singular to working accuracy.
pub(crate) fn inverse(matrix: &[f64], size: usize) -> Option<Vec<f64>> {
    let mut left = matrix.to_vec();
    let mut right = vec![0.0; size * size];
    for i in 0..size {
        right[i * size + i] = 1.0;
    }
    let largest = (0..size)
        .map(|i| matrix[i * size + i].abs())
        .fold(0.0, f64::max);
    for column in 0..size {
        let pivot = (column..size).max_by(|&a, &b| {
            left[a * size + column]
                .abs()
                .total_cmp(&left[b * size + column].abs())
        })?;
        let lead = left[pivot * size + column];
        if !lead.is_finite() || lead.abs() <= 1e-12 * largest {
            return None;
        }
        for j in 0..size {
            left.swap(column * size + j, pivot * size + j);
            right.swap(column * size + j, pivot * size + j);
            left[column * size + j] /= lead;
            right[column * size + j] /= lead;
        }
        for row in (0..size).filter(|&row| row != column) {
            let factor = left[row * size + column];
            for j in 0..size {
                left[row * size + j] -= factor * left[column * size + j];
                right[row * size + j] -= factor * right[column * size + j];
            }
        }
    }
    Some(right)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::serial::block_rows;
    use crate::stats::vectors::{assert_close, autoregressive_120};
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    /// tests/oracles/agreement.py: slope a block and half-width, the latter also with 400 values
    /// of ρ.
    const SLOPE: [f64; 3] = [-0.006453703949764, 0.1184215900251, 0.1190136882805];
    const SLOPE_WITH_GAPS: [f64; 2] = [0.01068387211548, 0.09167081104284];

    #[test]
    fn runs_spread_as_block_by_block() {
        let mut weights = vec![0.01; 500];
        let mut gaps = vec![1; 500];
        gaps[0] = 0;
        (gaps[100], gaps[300]) = (4, 2);
        (weights[0], weights[200], weights[201]) = (0.3, -0.2, -0.2);
        for rho in [-0.99, -0.3, 0.0, 0.4, 0.97, 0.99999] {
            let (mut carried, mut last, mut sum) = (0.0, 0.0, 0.0);
            for (weight, gap) in weights.iter().zip(&gaps) {
                carried = f64::powi(rho, *gap) * (carried + last);
                sum += weight * (weight + 2.0 * carried);
                last = *weight;
            }
            assert_close(
                spread(&runs(&weights, &gaps), rho),
                sum,
                1e-10 * f64::abs(sum),
            );
        }
    }

    #[test]
    fn summed_pairs_tell_what_a_walk_over_the_blocks_tells() {
        let mut random = ChaCha8Rng::seed_from_u64(11);
        for count in [5, 40, 1440] {
            let mut gaps = vec![1; count];
            gaps[0] = 0;
            gaps[count / 2] = 3;
            let mut slow = 0.0;
            let mut values: Vec<f64> = (0..count)
                .map(|_| {
                    slow = 0.99 * slow + random.random_range(-1.0..1.0);
                    slow
                })
                .collect();
            let mean = values.iter().sum::<f64>() / count as f64;
            values.iter_mut().for_each(|v| *v -= mean);
            let design = vec![1.0; count];
            let sums = OneTerm::of(&design, &values, &gaps);
            let mut walk = Search {
                terms: 1,
                design: &design,
                residuals: &values,
                gaps: &gaps,
                degrees_of_freedom: count as f64 - 1.0,
                row: vec![0.0],
                gram: vec![0.0],
                products: vec![0.0],
            };
            for rho in [-0.9, 0.0, 0.5, 0.97, 0.9995] {
                let (_, weight, variance) = walk.node(rho);
                let (_, summed_weight, summed_variance) = sums.node(rho, count as f64 - 1.0);
                assert_close(summed_weight, weight, 1e-9 * weight.abs().max(1.0));
                assert_close(summed_variance, variance, 1e-10 * variance);
            }
        }
    }

    fn estimate(blocks: &[Block], contrast: &[f64]) -> Option<Contrast> {
        Fitted::new(blocks, contrast.len(), Memory::AnyCorrelation)?.contrast(contrast)
    }

    fn line(values: &[f64], x: &[f64]) -> Vec<Block> {
        values
            .iter()
            .zip(x)
            .enumerate()
            .map(|(index, (&value, &x))| Block {
                index,
                value,
                design: vec![1.0, x],
            })
            .collect()
    }

    /// NIST StRD, data set Norris: certified slope 1.00211681802045 and intercept
    /// −0.262323073774029.
    #[test]
    fn coefficients_are_those_of_the_norris_line() {
        let x = [
            0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6,
            775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8,
            339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5,
        ];
        let y = [
            0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1,
            778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6,
            339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2,
        ];
        let blocks = line(&y, &x);
        let slope = estimate(&blocks, &[0.0, 1.0]).unwrap();
        let intercept = estimate(&blocks, &[1.0, 0.0]).unwrap();
        assert!((slope.estimate - 1.00211681802045).abs() < 1e-10);
        assert!((intercept.estimate + 0.262323073774029).abs() < 1e-9);
    }

    #[test]
    fn a_perfect_line_has_no_uncertainty() {
        let x: Vec<f64> = (0..12).map(f64::from).collect();
        let y: Vec<f64> = x.iter().map(|x| 3.0 - 0.5 * x).collect();
        let slope = estimate(&line(&y, &x), &[0.0, 1.0]).unwrap();
        assert!((slope.estimate + 0.5).abs() < 1e-12);
        assert!(slope.uncertainty.standard < 1e-9);
    }

    #[test]
    fn too_few_blocks_or_a_flat_design_give_nothing() {
        assert_eq!(estimate(&[], &[0.0, 1.0]), None);
        assert_eq!(estimate(&[], &[]), None);
        let four = line(&[1.0, 2.0, 3.0, 4.0], &[0.0, 1.0, 2.0, 3.0]);
        assert_eq!(estimate(&four, &[0.0, 1.0]), None);
        let flat = line(&[1.0; 9], &[2.0; 9]);
        assert_eq!(estimate(&flat, &[0.0, 1.0]), None);
    }

    /// tests/oracles/agreement.py (numpy 2.4.6, scipy 1.17.1; matrices instead of recursions): slope
    /// a block over the golden series of 120 s with autocorrelation 0.7, in 12 blocks of 10 s, and
    /// the same with the fourth, fifth and ninth block missing.
    #[test]
    fn limits_of_a_slope_agree_with_an_independent_computation() {
        let x = autoregressive_120();
        let blocks = |missing: &[usize]| -> Vec<Block> {
            x.chunks_exact(10)
                .enumerate()
                .filter(|(index, _)| !missing.contains(index))
                .map(|(index, chunk)| Block {
                    index,
                    value: chunk.iter().sum::<f64>() / 10.0,
                    design: vec![1.0, index as f64],
                })
                .collect()
        };
        for (missing, slope, half) in [
            (&[][..], SLOPE[0], SLOPE[1]),
            (&[3, 4, 8][..], SLOPE_WITH_GAPS[0], SLOPE_WITH_GAPS[1]),
        ] {
            let found = estimate(&blocks(missing), &[0.0, 1.0]).unwrap();
            assert_close(found.estimate, slope, 1e-9);
            assert_close(0.5 * (found.ci95[1] - found.ci95[0]), half, 1e-7);
        }
    }

    #[test]
    fn more_values_of_the_correlation_change_little() {
        let x = autoregressive_120();
        let means: Vec<f64> = x
            .chunks_exact(10)
            .map(|chunk| chunk.iter().sum::<f64>() / 10.0)
            .collect();
        let places: Vec<f64> = (0..12).map(f64::from).collect();
        let blocks = line(&means, &places);
        let coarse = Fitted::new(&blocks, 2, Memory::AnyCorrelation).unwrap();
        let coarse = coarse.contrast(&[0.0, 1.0]).unwrap();
        // tests/oracles/agreement.py with 400 values of ρ instead of 16.
        let half = 0.5 * (coarse.ci95[1] - coarse.ci95[0]);
        assert!((half / SLOPE[2] - 1.0).abs() < 0.03, "{half}");
    }

    /// Coverage over autoregressive noise (0.7 from second to second, 300 s): the module's table
    /// says 98 %; three standard errors of 400 series are 2.1 %.
    #[test]
    fn intervals_cover_under_correlated_noise() {
        let mut rng = ChaCha8Rng::seed_from_u64(7);
        let (rows, series) = (300, 400);
        let length = block_rows(rows);
        let mut covered = 0;
        for _ in 0..series {
            let mut level = 0.0;
            let noise: Vec<f64> = (0..rows)
                .map(|_| {
                    let kick: f64 = (0..12).map(|_| rng.random::<f64>()).sum::<f64>() - 6.0;
                    level = 0.7 * level + kick;
                    level
                })
                .collect();
            let means: Vec<f64> = noise
                .chunks_exact(length)
                .map(|chunk| chunk.iter().sum::<f64>() / length as f64)
                .collect();
            let places: Vec<f64> = (0..means.len()).map(|index| index as f64).collect();
            let slope = estimate(&line(&means, &places), &[0.0, 1.0]).unwrap();
            covered += usize::from(slope.ci95[0] <= 0.0 && 0.0 <= slope.ci95[1]);
        }
        let percent = 100.0 * covered as f64 / series as f64;
        assert!((95.5..=99.9).contains(&percent), "covered {percent} %");
    }
}
