//! How the noise of a difference resembles itself from second to second, learnt from a whole ride,
//! and the uncertainty of any linear estimate in any window of it.
//!
//! One window of some minutes cannot refute a correlation time above half a minute, so an interval
//! that asks it alone has to be wide for everybody. What a window cannot tell, the ride can: the
//! *shape* of the correlation is that of the two meters and is taken as common to the ride, while the
//! *size* of the noise may differ from stretch to stretch.
//!
//! # Data
//!
//! Stretches of the noise e (s: index of the stretch), averaged in blocks of m rows, each block with
//! its place in time. A stretch has K blocks and an unknown mean of its own, which leaves k = K − 1.
//!
//! # Shapes
//!
//! White noise, and white plus first-order autoregressive ("slow") noise of correlation time τ, with
//! κ the ratio of the slow to the white spectral density at frequency zero:
//!
//! - τ = 1.5 · 2^i s up to 96 s; κ ∈ {½, 2, 8, 32, 128, ∞}. White and every octave of τ weigh alike, an
//!   octave being shared by its κ. What is slower moves a block of some minutes as a whole: it is
//!   part of the error that the block has, not of the uncertainty with which it is known.
//! - With φ = e^(−step/τ): the sum of m rows of the slow part has variance v = m + 2 Σ (m−j) φ^j, and
//!   its means have the correlation φ^{m(h−1)} φ (1+φ+…+φ^{m−1})²/v at h blocks. The density of a
//!   block mean at zero, in units of its variance, is g = m(1+φ)/((1−φ)v), so that κ makes the slow
//!   share of the variance w = κ/(κ+g). Shapes with w ≥ 0.97 are as good as κ = ∞ and left out.
//! - Noise that swings back (a beat of pedalling against sampling, jitter of time stamps on a rider's
//!   changes) has less density at frequency zero than white noise: the same shape with a negative
//!   slow part, for a density of 0.2 and 0.5 times the white one, over 2 to 8 s.
//! - So correlations are `ρ(h) = a φ^{mh}` for h ≥ 1 (`Shape`), a = w φ^{1−m} (1+…+φ^{m−1})²/v. This is
//!   exact for block means, and a Kalman filter with one state whitens it in one pass
//!   (`Whitener`), whatever blocks are missing.
//!
//! # Likelihood
//!
//! Per shape and stretch, the restricted likelihood about a mean of its own: `L = −½ ln|R| − ½ ln
//! 1'R⁻¹1`, and S, the generalised residual sum of squares. The variances of stretches come from a
//! scaled inverse χ² with ν₀ degrees of freedom and scale s₀² (Smyth 2004, Stat Appl Genet Mol Biol
//! 3:3), so that a shape has the likelihood
//! `Π_s e^L Γ((ν₀+k)/2)/Γ(ν₀/2) (ν₀s₀²)^{ν₀/2} (ν₀s₀²+S)^{−(ν₀+k)/2}`. It is averaged over nine s₀² about
//! ΣS/Σk (0.4 to 2.5 times, in equal ratios); the best of them is the shape's s₀². ν₀ ∈ {2, 4, …, 64,
//! 256} is the one under which the ride is likeliest.
//!
//! # Any window
//!
//! A window gives its own S about the model that is fitted (a mean, a line, levels: p coefficients, K
//! blocks, k = K − p). For each shape the estimate Σ cᵢ eᵢ (ordinary least squares) has a Student t with
//! ν₀ + k degrees of freedom and scale² `(ν₀s₀² + S)/(ν₀ + k) · c'R c`; the limits are where the sum of
//! the t's, weighed by the shapes' likelihoods over the ride, leaves 2.5 % on either side.
//!
//! Coverage on noise that this module was not made for stands in `assets/methods.md`.

use statrs::function::gamma::ln_gamma;

use super::contrast::{Block, Contrast, Fitted, Memory, accumulate, dot, inverse, solved, times};
use super::mixture::{MeanUncertainty, Mixture};

/// Shortest correlation time, s; each next one is twice as long …
const SHORTEST_MEMORY_S: f64 = 1.5;
/// … and so often.
const OCTAVES: u32 = 7;
/// Slow over white spectral density at frequency zero.
const RATIOS: [f64; 6] = [0.5, 2.0, 8.0, 32.0, 128.0, f64::INFINITY];
/// The same for noise that swings back, over so many seconds.
const DEPLETIONS: [f64; 2] = [0.2, 0.5];
const SWINGS_S: [f64; 3] = [2.0, 4.0, 8.0];
/// Slow share of the variance from which on the white rest does not show.
const ALL_SLOW: f64 = 0.97;
/// Degrees of freedom of the stretches' variances about their common scale.
const LIKENESSES: [f64; 7] = [2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 256.0];
/// Common scales tried, times the pooled variance.
const SCALES: [f64; 9] = [
    0.4, 0.502_973, 0.632_456, 0.795_271, 1.0, 1.257_433, 1.581_139, 1.988_177, 2.5,
];
/// Shapes whose share of the likelihood is smaller change no digit that is shown.
const LEAST_WEIGHT: f64 = 1e-5;
/// A stretch of fewer blocks says nothing of shape.
const FEWEST_BLOCKS: usize = 4;
/// Residuals this small beside the values are rounding, not noise.
const ROUNDING: f64 = 1e-12;

/// One stretch: means of blocks, each with its place in time counted in blocks, rising.
pub type Stretch = Vec<(usize, f64)>;

/// Correlation of block means: `a φ^{mh}` at h ≥ 1 blocks.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Shape {
    /// φ^m: what the slow part keeps from block to block.
    keep: f64,
    /// a: variance of the filter's slow state, in units of a block mean's.
    slow: f64,
}

impl Shape {
    const WHITE: Self = Self {
        keep: 0.0,
        slow: 0.0,
    };

    /// `memory` is τ in rows; `None` where the white part does not show.
    fn of(memory: f64, ratio: f64, block_rows: usize) -> Option<Self> {
        let phi = (-1.0 / memory).exp();
        let powers: Vec<f64> = (0..=block_rows).map(|j| phi.powi(j as i32)).collect();
        let m = block_rows as f64;
        let pairs = (1..block_rows).map(|j| (m - j as f64) * powers[j]);
        let variance = m + 2.0 * pairs.sum::<f64>();
        let density = m * (1.0 + phi) / ((1.0 - phi) * variance);
        let share = if ratio.is_finite() {
            ratio / (ratio + density)
        } else {
            1.0
        };
        if ratio.is_finite() && share >= ALL_SLOW {
            return None;
        }
        let sum: f64 = powers[..block_rows].iter().sum();
        let keep = powers[block_rows];
        Some(Self {
            keep,
            slow: share * phi * sum * sum / variance / keep,
        })
    }

    /// Noise that swings back within `memory` rows, with this density at frequency zero.
    fn swinging(memory: f64, density: f64, block_rows: usize) -> Self {
        let keep = (-(block_rows as f64) / memory).exp();
        Self {
            keep,
            slow: -(1.0 - density) * (1.0 - keep) / (2.0 * keep),
        }
    }

    /// c'R c for weights with these places.
    fn spread(self, weights: &[f64], places: &[usize]) -> f64 {
        let (mut carried, mut squares, mut cross) = (0.0, 0.0, 0.0);
        let mut before = None;
        let mut step = (1, self.keep);
        for (weight, index) in weights.iter().zip(places) {
            if let Some((last, at)) = before {
                let gap = index.saturating_sub(at).max(1);
                if gap != step.0 {
                    step = (gap, power(self.keep, gap));
                }
                carried = step.1 * (carried + last);
            }
            squares += weight * weight;
            cross += weight * carried;
            before = Some((*weight, *index));
        }
        squares + 2.0 * self.slow * cross
    }

    /// 1'R 1 for `count` neighbouring blocks.
    fn spread_of_ones(self, count: usize) -> f64 {
        let (k, keep) = (count as f64, self.keep);
        if keep >= 1.0 {
            return k + self.slow * k * (k - 1.0);
        }
        let all = (k - (1.0 - power(keep, count)) / (1.0 - keep)) * keep / (1.0 - keep);
        k + 2.0 * self.slow * all
    }
}

fn power(base: f64, exponent: usize) -> f64 {
    base.powi(i32::try_from(exponent).unwrap_or(i32::MAX))
}

/// One step of the filter: what is kept of the slow state, its gain, and the spread of what is new.
#[derive(Clone, Copy)]
struct Step {
    keep: f64,
    gain: f64,
    scale: f64,
}

/// The scalar Kalman filter of a shape: whitens columns observed at the same places.
struct Whitener {
    shape: Shape,
    /// Variance of the slow state before the next block is seen.
    variance: f64,
    precision: f64,
}

impl Whitener {
    fn new(shape: Shape) -> Self {
        Self {
            shape,
            variance: shape.slow,
            precision: 1.0,
        }
    }

    /// The step to a block `gap` places after the one before; 0 for the first.
    fn step(&mut self, gap: usize) -> Step {
        let Shape { keep, slow } = self.shape;
        let kept = if gap == 0 { 0.0 } else { power(keep, gap) };
        if gap > 0 {
            let white = 1.0 - slow;
            let seen = self.variance * white * self.precision;
            self.variance = kept * kept * (seen - slow) + slow;
            self.precision = 1.0 / (self.variance + white);
        }
        Step {
            keep: kept,
            gain: self.variance * self.precision,
            scale: self.precision.sqrt(),
        }
    }
}

/// What a stretch says about a shape: L, S.
#[derive(Clone, Copy, Debug)]
struct Said {
    log_likelihood: f64,
    squares: f64,
}

/// Shapes whitened side by side: each waits for its own last step, and meanwhile the others go on.
const ABREAST: usize = 8;
/// Precisions multiplied before a logarithm is taken: 1 to 100 each.
const FACTORS: usize = 64;
/// The filter's variance changes no more.
const SETTLED: f64 = 1e-13;

/// L and S of blocks about a mean of their own, for each shape. `centre` is taken off first, which keeps
/// the digits.
fn about_mean(
    shapes: impl Iterator<Item = Shape>,
    blocks: &[(usize, f64)],
    centre: f64,
) -> Vec<Said> {
    let shapes: Vec<Shape> = shapes.collect();
    let groups = shapes.chunks(ABREAST).flat_map(|group| {
        let mut abreast = [Shape::WHITE; ABREAST];
        abreast[..group.len()].copy_from_slice(group);
        abreast_about_mean(abreast, blocks, centre)
            .into_iter()
            .take(group.len())
    });
    groups.collect()
}

fn abreast_about_mean(
    shapes: [Shape; ABREAST],
    blocks: &[(usize, f64)],
    centre: f64,
) -> [Said; ABREAST] {
    const NOUGHT: [f64; ABREAST] = [0.0; ABREAST];
    let (keep, slow) = (shapes.map(|s| s.keep), shapes.map(|s| s.slow));
    let (mut variance, mut precision) = (slow, [1.0; ABREAST]);
    let (mut kept, mut gain) = (NOUGHT, NOUGHT);
    let (mut value_state, mut one_state) = (NOUGHT, NOUGHT);
    let (mut value_new, mut one_new) = (NOUGHT, NOUGHT);
    let (mut squares, mut products, mut ones) = (NOUGHT, NOUGHT, NOUGHT);
    // Of the precisions, whose product is taken before its logarithm: few logarithms.
    let (mut product, mut logs) = ([1.0; ABREAST], NOUGHT);
    let (mut before, mut settled) = (None, false);
    for (count, &(index, value)) in blocks.iter().enumerate() {
        let gap = before.map_or(0, |at| index.saturating_sub(at).max(1));
        let last_gain = gain;
        if gap != 1 || !settled {
            kept = match gap {
                0 => NOUGHT,
                1 => keep,
                _ => keep.map(|keep| power(keep, gap)),
            };
            let mut moved = 0.0_f64;
            for at in 0..ABREAST {
                let white = 1.0 - slow[at];
                let seen = variance[at] * white * precision[at];
                let next = kept[at] * kept[at] * (seen - slow[at]) + slow[at];
                moved = moved.max((next - variance[at]).abs());
                variance[at] = next;
                precision[at] = 1.0 / (next + white);
                gain[at] = next * precision[at];
            }
            settled = gap == 1 && moved <= SETTLED;
        }
        let off = value - centre;
        for at in 0..ABREAST {
            value_state[at] = kept[at] * (value_state[at] + last_gain[at] * value_new[at]);
            one_state[at] = kept[at] * (one_state[at] + last_gain[at] * one_new[at]);
            value_new[at] = off - value_state[at];
            one_new[at] = 1.0 - one_state[at];
            let precise = one_new[at] * precision[at];
            squares[at] += value_new[at] * value_new[at] * precision[at];
            products[at] += value_new[at] * precise;
            ones[at] += one_new[at] * precise;
            product[at] *= precision[at];
        }
        if count % FACTORS == FACTORS - 1 {
            for at in 0..ABREAST {
                logs[at] += product[at].ln();
                product[at] = 1.0;
            }
        }
        before = Some(index);
    }
    std::array::from_fn(|at| Said {
        log_likelihood: 0.5 * (logs[at] + product[at].ln() - ones[at].ln()),
        squares: (squares[at] - products[at] * products[at] / ones[at]).max(0.0),
    })
}

/// A shape with what the ride says of it.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Node {
    shape: Shape,
    log_weight: f64,
    /// s₀², the usual variance of a block mean.
    variance: f64,
}

/// The noise of a ride.
#[derive(Clone, Debug, PartialEq)]
pub struct Noise {
    block_rows: usize,
    nodes: Vec<Node>,
    /// ν₀.
    likeness: f64,
    /// Length of all stretches together, s.
    pub pooled_s: f64,
    /// Length of the longest, s.
    pub longest_s: f64,
}

impl Noise {
    /// Learns from stretches of block means, `block_rows` rows of `step_s` seconds a block. Stretches
    /// of fewer than four blocks are passed over; `None` where none is left, or where nothing varies.
    pub fn learn(stretches: &[Stretch], block_rows: usize, step_s: f64) -> Option<Self> {
        let usable: Vec<&Stretch> = stretches
            .iter()
            .filter(|stretch| stretch.len() >= FEWEST_BLOCKS)
            .collect();
        let block_s = block_rows as f64 * step_s;
        let lengths = usable.iter().map(|stretch| stretch.len() as f64 * block_s);
        let longest_s = lengths.clone().reduce(f64::max)?;
        let freedoms: Vec<f64> = usable.iter().map(|s| (s.len() - 1) as f64).collect();
        let centres: Vec<f64> = usable
            .iter()
            .map(|s| s.iter().map(|(_, value)| value).sum::<f64>() / s.len() as f64)
            .collect();
        let shapes = shapes(block_rows, step_s);
        let of_stretches: Vec<Vec<Said>> = usable
            .iter()
            .zip(&centres)
            .map(|(blocks, centre)| about_mean(shapes.iter().map(|(s, _)| *s), blocks, *centre))
            .collect();
        let said: Vec<(Shape, f64, Vec<Said>)> = shapes
            .into_iter()
            .enumerate()
            .map(|(at, (shape, prior))| {
                let said = of_stretches.iter().map(|of_shapes| of_shapes[at]);
                (shape, prior, said.collect())
            })
            .collect();
        let (likeness, nodes) = LIKENESSES
            .iter()
            .filter_map(|&likeness| {
                let nodes = weighed(&said, &freedoms, likeness)?;
                Some((likeness, nodes))
            })
            .map(|(likeness, nodes)| (likeness, log_sum(nodes.iter().map(|n| n.log_weight)), nodes))
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(likeness, _, nodes)| (likeness, nodes))?;
        let heaviest = nodes.iter().map(|n| n.log_weight).reduce(f64::max)?;
        let nodes = nodes
            .into_iter()
            .filter(|n| (n.log_weight - heaviest).exp() > LEAST_WEIGHT)
            .collect();
        Some(Self {
            block_rows,
            nodes,
            likeness,
            pooled_s: lengths.sum(),
            longest_s,
        })
    }

    /// Rows of a block.
    pub fn block_rows(&self) -> usize {
        self.block_rows
    }

    /// Uncertainty of the mean of these blocks of a window; `None` for fewer than four.
    pub fn mean(&self, blocks: &[(usize, f64)]) -> Option<MeanUncertainty> {
        let count = blocks.len();
        if count < FEWEST_BLOCKS {
            return None;
        }
        let centre = blocks.iter().map(|(_, value)| value).sum::<f64>() / count as f64;
        let [first, .., last] = blocks else {
            return None;
        };
        let whole = last.0 - first.0 + 1 == count;
        let (places, ones): (Vec<usize>, Vec<f64>) = if whole {
            Default::default()
        } else {
            blocks.iter().map(|(index, _)| (*index, 1.0)).unzip()
        };
        let freedom = self.likeness + (count - 1) as f64;
        let said = about_mean(self.nodes.iter().map(|node| node.shape), blocks, centre);
        let parts = self.nodes.iter().zip(said).map(|(node, said)| {
            let squares = said.squares;
            let spread = if whole {
                node.shape.spread_of_ones(count)
            } else {
                node.shape.spread(&ones, &places)
            };
            let spread = spread / (count as f64).powi(2);
            (node.log_weight, self.scale(node, squares, freedom, spread))
        });
        Mixture::of(freedom, parts)?.uncertainty()
    }

    /// The noise of values `factor` times as large.
    pub fn scaled(&self, factor: f64) -> Self {
        let mut scaled = self.clone();
        for node in &mut scaled.nodes {
            node.variance *= factor * factor;
        }
        scaled
    }

    fn scale(&self, node: &Node, squares: f64, freedom: f64, spread: f64) -> f64 {
        let variance = (self.likeness * node.variance + squares) / freedom;
        (variance * spread).max(0.0).sqrt()
    }

    /// Fits the linear model of `blocks` ([`Block`]: value, place, row of the design of `terms`
    /// coefficients) by ordinary least squares, for contrasts of its coefficients. `None` where the
    /// design is not of full rank or fewer than three blocks are left after its coefficients.
    pub fn fit(&self, blocks: &[Block], terms: usize) -> Option<Levels<'_>> {
        if terms == 0 || blocks.len() < terms + 3 || blocks.iter().any(|b| b.design.len() != terms)
        {
            return None;
        }
        let mut gram = vec![0.0; terms * terms];
        let mut products = vec![0.0; terms];
        for block in blocks {
            accumulate(&mut gram, &mut products, &block.design, block.value);
        }
        let gram_inverse = inverse(&gram, terms)?;
        let coefficients = times(&gram_inverse, &products);
        let residuals: Vec<f64> = blocks
            .iter()
            .map(|block| block.value - dot(&block.design, &coefficients))
            .collect();
        let size = blocks.iter().map(|b| b.value * b.value).sum::<f64>();
        let exact = dot(&residuals, &residuals) <= ROUNDING * ROUNDING * size;
        let squares = self
            .nodes
            .iter()
            .map(|node| about_model(node.shape, blocks, &residuals, terms))
            .collect::<Option<Vec<f64>>>()?;
        Some(Levels {
            noise: self,
            gram_inverse,
            coefficients,
            design: blocks.iter().map(|b| b.design.clone()).collect(),
            places: blocks.iter().map(|b| b.index).collect(),
            squares: if exact { Vec::new() } else { squares },
        })
    }
}

/// S of residuals about a model with this design.
fn about_model(shape: Shape, blocks: &[Block], residuals: &[f64], terms: usize) -> Option<f64> {
    let mut filter = Whitener::new(shape);
    let mut gram = vec![0.0; terms * terms];
    let mut products = vec![0.0; terms];
    let mut row = vec![0.0; terms];
    let (mut states, mut news) = (vec![0.0; terms + 1], vec![0.0; terms + 1]);
    let (mut gain, mut squares) = (0.0, 0.0);
    let mut before = None;
    for (block, residual) in blocks.iter().zip(residuals) {
        let gap = before.map_or(0, |at| block.index.saturating_sub(at).max(1));
        let step = filter.step(gap);
        let observed = block.design.iter().chain([residual]);
        for ((state, new), value) in states.iter_mut().zip(&mut news).zip(observed) {
            *state = step.keep * (*state + gain * *new);
            *new = value - *state;
        }
        gain = step.gain;
        for (out, new) in row.iter_mut().zip(&news) {
            *out = new * step.scale;
        }
        let left = news[terms] * step.scale;
        accumulate(&mut gram, &mut products, &row, left);
        squares += left * left;
        before = Some(block.index);
    }
    let (_, explained) = solved(&mut gram, &mut products)?;
    Some((squares - explained).max(0.0))
}

/// A linear model fitted to blocks of a window.
pub struct Levels<'a> {
    noise: &'a Noise,
    gram_inverse: Vec<f64>,
    coefficients: Vec<f64>,
    design: Vec<Vec<f64>>,
    places: Vec<usize>,
    /// S by node; empty where the model leaves nothing.
    squares: Vec<f64>,
}

impl Levels<'_> {
    /// Estimates `contrast · coefficients`; `None` where it has another length than the model has
    /// terms, or where a value is not finite.
    pub fn contrast(&self, contrast: &[f64]) -> Option<Contrast> {
        if contrast.len() != self.coefficients.len() {
            return None;
        }
        let towards = times(&self.gram_inverse, contrast);
        let weights: Vec<f64> = self.design.iter().map(|row| dot(row, &towards)).collect();
        let freedom = self.noise.likeness + (self.places.len() - self.coefficients.len()) as f64;
        let uncertainty = if self.squares.is_empty() {
            MeanUncertainty {
                standard: 0.0,
                dof: freedom,
            }
        } else {
            let parts = self.noise.nodes.iter().zip(&self.squares);
            let parts = parts.map(|(node, squares)| {
                let spread = node.shape.spread(&weights, &self.places);
                (
                    node.log_weight,
                    self.noise.scale(node, *squares, freedom, spread),
                )
            });
            Mixture::of(freedom, parts)?.uncertainty()?
        };
        Contrast::about(dot(contrast, &self.coefficients), uncertainty)
    }
}

/// A linear model fitted to blocks of a window: with the noise of the ride where that is known, else
/// with what the blocks tell of it themselves.
pub enum LinearFit<'a> {
    /// With the noise of the ride.
    Learnt(Levels<'a>),
    /// From the blocks alone.
    Alone(Fitted),
}

impl<'a> LinearFit<'a> {
    /// Fits; `None` as [`Noise::fit`] and [`Fitted::new`].
    pub fn new(blocks: &[Block], terms: usize, noise: Option<&'a Noise>) -> Option<Self> {
        Some(match noise {
            Some(noise) => Self::Learnt(noise.fit(blocks, terms)?),
            None => Self::Alone(Fitted::new(blocks, terms, Memory::AnyCorrelation)?),
        })
    }

    /// Estimates `contrast · coefficients`.
    pub fn contrast(&self, contrast: &[f64]) -> Option<Contrast> {
        match self {
            Self::Learnt(fitted) => fitted.contrast(contrast),
            Self::Alone(fitted) => fitted.contrast(contrast),
        }
    }
}

/// Every shape with the logarithm of its prior weight.
fn shapes(block_rows: usize, step_s: f64) -> Vec<(Shape, f64)> {
    let mut all = vec![(Shape::WHITE, 0.0)];
    let swinging = SWINGS_S.iter().flat_map(|memory_s| {
        let of = move |density| Shape::swinging(memory_s / step_s, density, block_rows);
        DEPLETIONS.map(of)
    });
    let count = (SWINGS_S.len() * DEPLETIONS.len()) as f64;
    all.extend(swinging.map(|shape| (shape, -count.ln())));
    for octave in 0..OCTAVES {
        let memory_s = SHORTEST_MEMORY_S * f64::from(1 << octave);
        let octave: Vec<Shape> = RATIOS
            .iter()
            .filter_map(|ratio| Shape::of(memory_s / step_s, *ratio, block_rows))
            .collect();
        let prior = -(octave.len() as f64).ln();
        all.extend(octave.into_iter().map(|shape| (shape, prior)));
    }
    all
}

/// The shapes weighed by the stretches, for one ν₀; `None` where nothing varies.
fn weighed(said: &[(Shape, f64, Vec<Said>)], freedoms: &[f64], likeness: f64) -> Option<Vec<Node>> {
    let half = 0.5 * likeness;
    let gammas: f64 = freedoms
        .iter()
        .map(|k| ln_gamma(half + 0.5 * k) - ln_gamma(half))
        .sum();
    let freedom: f64 = freedoms.iter().sum();
    said.iter()
        .map(|(shape, prior, said)| {
            let pooled = said.iter().map(|s| s.squares).sum::<f64>() / freedom;
            if !(pooled > 0.0 && pooled.is_finite()) {
                return None;
            }
            let fixed: f64 = said.iter().map(|s| s.log_likelihood).sum::<f64>() + gammas + prior;
            let each = SCALES.map(|scale| {
                let own = likeness * scale * pooled;
                let left: f64 = said
                    .iter()
                    .zip(freedoms)
                    .map(|(s, k)| half * own.ln() - (half + 0.5 * k) * (own + s.squares).ln())
                    .sum();
                (fixed + left, scale * pooled)
            });
            let best = each.iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
            Some(Node {
                shape: *shape,
                log_weight: log_sum(each.iter().map(|(w, _)| *w)),
                variance: best.1,
            })
        })
        .collect()
}

fn log_sum(logs: impl Iterator<Item = f64> + Clone) -> f64 {
    let highest = logs.clone().fold(f64::NEG_INFINITY, f64::max);
    highest + logs.map(|log| (log - highest).exp()).sum::<f64>().ln()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::vectors::{assert_close, lcg};

    const PLACES: [usize; 7] = [0, 1, 2, 4, 5, 6, 7];
    const VALUES: [f64; 7] = [1.0, 1.5, 0.7, -0.4, -0.2, 0.3, 0.9];

    #[test]
    fn recursions_agree_with_matrices() {
        // tests/oracles/noise.py (numpy): τ in rows, κ, L, S, 1'R1; S about a line and the spread of
        // its slope.
        for (memory, ratio, likelihood, squares, ones, about_line, slope) in [
            (
                3.0,
                f64::INFINITY,
                -0.359093848135,
                2.232669353689,
                11.368757041265,
                2.024240110549,
                0.035714738089,
            ),
            (
                12.0,
                2.0,
                -0.597527788253,
                2.717222733276,
                11.359215197741,
                2.315301716835,
                0.029372517496,
            ),
            (
                96.0,
                32.0,
                0.531541922439,
                4.274670332739,
                23.327628873309,
                3.568605136775,
                0.019237184714,
            ),
        ] {
            let shape = Shape::of(memory, ratio, 5).unwrap();
            let blocks: Vec<(usize, f64)> = PLACES.into_iter().zip(VALUES).collect();
            let said = about_mean([shape].into_iter(), &blocks, 0.5)[0];
            assert_close(said.log_likelihood, likelihood, 1e-10);
            assert_close(said.squares, squares, 1e-10);
            assert_close(shape.spread(&[1.0; 7], &PLACES), ones, 1e-10);
            let line: Vec<Block> = blocks
                .iter()
                .map(|&(index, value)| Block {
                    index,
                    value,
                    design: vec![1.0, index as f64 - 3.5],
                })
                .collect();
            assert_close(
                about_model(shape, &line, &VALUES, 2).unwrap(),
                about_line,
                1e-10,
            );
            let middle = PLACES.iter().sum::<usize>() as f64 / 7.0;
            let squares: f64 = PLACES.iter().map(|p| (*p as f64 - middle).powi(2)).sum();
            let weights = PLACES.map(|p| (p as f64 - middle) / squares);
            assert_close(shape.spread(&weights, &PLACES), slope, 1e-10);
        }
    }

    #[test]
    fn ones_are_summed_at_once() {
        for shape in [
            Shape::WHITE,
            Shape::of(24.0, 8.0, 5).unwrap(),
            Shape::swinging(4.0, 0.2, 5),
        ] {
            let places: Vec<usize> = (0..40).collect();
            assert_close(
                shape.spread_of_ones(40),
                shape.spread(&[1.0; 40], &places),
                1e-9,
            );
        }
    }

    #[test]
    fn noise_that_swings_back_keeps_the_density_it_is_given() {
        // 1'R1/K tends to the density at frequency zero.
        let shape = Shape::swinging(4.0, 0.2, 5);
        assert_close(shape.spread_of_ones(10_000_000) / 1e7, 0.2, 1e-5);
    }

    /// Blocks of five rows of noise with `keep` from row to row, in stretches of `rows`.
    fn stretches(keep: f64, count: usize, rows: usize) -> Vec<Stretch> {
        let u = lcg(count * rows + 200);
        let mut state = 0.0;
        let mut noise = u.iter().map(|u| {
            state = keep * state + u - 0.5;
            state
        });
        noise.by_ref().take(200).for_each(drop);
        (0..count)
            .map(|_| {
                let values: Vec<f64> = noise.by_ref().take(rows).collect();
                let blocks = values.chunks_exact(5).map(|c| c.iter().sum::<f64>() / 5.0);
                blocks.enumerate().collect()
            })
            .collect()
    }

    #[test]
    fn white_noise_of_a_ride_gives_nearly_the_textbook_interval() {
        let all = stretches(0.0, 15, 200);
        let noise = Noise::learn(&all, 5, 1.0).unwrap();
        let half = noise.mean(&all[3]).unwrap().half_width95();
        // Uniform on ±½: 1.96 √(1/12/200).
        let textbook = 1.96 * (1.0 / 12.0 / 200.0_f64).sqrt();
        assert!(
            (0.85..1.35).contains(&(half / textbook)),
            "{}",
            half / textbook
        );
    }

    #[test]
    fn a_ride_with_memory_widens_every_window_of_it() {
        let (slow, white) = (stretches(0.95, 15, 200), stretches(0.0, 15, 200));
        let slow_noise = Noise::learn(&slow, 5, 1.0).unwrap();
        let half = slow_noise.mean(&slow[3]).unwrap().half_width95();
        // AR(1) of innovations 1/√12: long-run SD (1/√12)/(1 − 0.95).
        let ideal = 1.96 * (1.0 / 12.0_f64 / 200.0).sqrt() / 0.05;
        assert!((0.6..1.6).contains(&(half / ideal)), "{}", half / ideal);
        // The same window under the shape of white noise looks far better than it is.
        let white_noise = Noise::learn(&white, 5, 1.0).unwrap();
        assert!(half > 2.0 * white_noise.mean(&slow[3]).unwrap().half_width95());
    }

    #[test]
    fn a_fit_of_a_mean_is_the_mean() {
        let all = stretches(0.7, 8, 150);
        let noise = Noise::learn(&all, 5, 1.0).unwrap();
        let blocks: Vec<Block> = all[2]
            .iter()
            .map(|&(index, value)| Block {
                index,
                value,
                design: vec![1.0],
            })
            .collect();
        let fitted = noise.fit(&blocks, 1).unwrap().contrast(&[1.0]).unwrap();
        let mean = noise.mean(&all[2]).unwrap();
        assert_close(fitted.uncertainty.half_width95(), mean.half_width95(), 1e-9);
    }

    #[test]
    fn nothing_that_varies_and_nothing_long_enough_teach_nothing() {
        assert_eq!(
            Noise::learn(&[vec![(0, 1.0), (1, 2.0), (2, 1.0)]], 5, 1.0),
            None
        );
        let flat: Stretch = (0..50).map(|index| (index, 3.0)).collect();
        assert_eq!(Noise::learn(&[flat], 5, 1.0), None);
        let all = stretches(0.0, 4, 100);
        let noise = Noise::learn(&all, 5, 1.0).unwrap();
        assert_eq!(noise.mean(&all[0][..3]), None);
        assert!(noise.fit(&[], 1).is_none());
    }
}
