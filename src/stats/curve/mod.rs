//! A smooth curve through a few measured values, when how smooth it is and how far each value
//! departs from it on its own are not known: a mixture over both.
//!
//! With `z(L) = ln(L/√(Lmin Lmax))/h` in [−1, 1], `h = ½ ln(Lmax/Lmin)`, and `q = z² − 1/3`, the
//! value at level L is `mean + slope·z + bend·q`: mean flat, slope ~ N(0, ω²), bend a normal of its
//! own; each measured level departs from that by N(0, τ²) and is measured with a normal error. Given
//! ω and τ everything is linear and normal (Theil & Goldberger 1961, Int Econ Rev 2:65); the mixture
//! weighs these nodes by their evidence. Priors are choices without a source; half-Cauchy for the
//! scatter of few groups follows Gelman 2006, Bayesian Analysis 1:515 (from memory).

mod band;
mod joint;
mod mixed;
#[cfg(test)]
mod tests;

pub use band::{angle, tube_critical};
pub use joint::{Combined, joint_critical};
pub use mixed::Mixed;

use super::contrast::{dot, inverse, solved, times};

/// Levels of which the highest is less than this many times the lowest lie at one place: no shape
/// can be told from them.
pub const LEAST_RATIO: f64 = 1.15;

/// SDs of the slope beside "no slope at all", in the unit of the values.
const SLOPES: [f64; 4] = [0.5, 1.0, 2.0, 4.0];
/// Prior weight of "no slope at all"; the others share the rest equally.
const FLAT_WEIGHT: f64 = 0.25;
/// SDs of what each level has of its own.
const OWN: [f64; 10] = [0.0, 0.1, 0.2, 0.3, 0.45, 0.7, 1.0, 1.5, 2.2, 3.3];
/// Scale of the half-Cauchy prior of that SD.
const OWN_SCALE: f64 = 0.3;
/// Slope and bend for the change between the ends: one shape, since averaging with "no change"
/// would shrink it.
const OPEN: [f64; 2] = [4.0, 1.0];
/// Slope and bend that neighbours are asked with what a value should be.
const NEIGHBOURLY: [f64; 2] = [2.0, 1.0];
/// Nodes that weigh less than this share of all change no digit that is kept.
const LIGHTEST: f64 = 1e-10;

/// What was measured: all of equal length m, `common` m × m by rows.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    /// Where, > 0.
    pub levels: Vec<f64>,
    /// What was found there.
    pub values: Vec<f64>,
    /// Standard uncertainty of each value of its own, > 0.
    pub standards: Vec<f64>,
    /// Covariance of the errors that values share, whatever their own scatter.
    pub common: Vec<f64>,
}

/// Where a level lies between the lowest and the highest.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Axis {
    middle: f64,
    half: f64,
}

impl Axis {
    fn of(levels: &[f64]) -> Self {
        let [low, high] = ends(levels);
        Self {
            middle: (low * high).sqrt(),
            half: 0.5 * (high / low).ln(),
        }
    }

    /// `[z, z² − 1/3]`; nothing where all levels lie at one place.
    fn basis(self, level: f64) -> [f64; 2] {
        if 2.0 * self.half < LEAST_RATIO.ln() {
            return [0.0, 0.0];
        }
        let z = (level / self.middle).ln() / self.half;
        [z, z * z - 1.0 / 3.0]
    }
}

/// Lowest and highest.
pub fn ends(levels: &[f64]) -> [f64; 2] {
    let least = levels.iter().copied().fold(f64::INFINITY, f64::min);
    let most = levels.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    [least, most]
}

/// A linear combination of mean, slope, bend and what one level has of its own.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Target {
    mean: f64,
    basis: [f64; 2],
    own: Option<usize>,
}

/// SDs of slope, bend and own departures.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Node {
    prior: f64,
    slope: f64,
    bend: f64,
    own: f64,
}

impl Node {
    fn covariance(self, a: &Target, b: &Target) -> f64 {
        let shape = self.slope * self.slope * a.basis[0] * b.basis[0]
            + self.bend * self.bend * a.basis[1] * b.basis[1];
        let same = a.own.is_some() && a.own == b.own;
        shape + if same { self.own * self.own } else { 0.0 }
    }
}

/// The shapes given, each with every SD of own departures.
fn nodes(shapes: &[(f64, [f64; 2])]) -> Vec<Node> {
    let of = |&(weight, [slope, bend]): &(f64, [f64; 2])| {
        OWN.iter().enumerate().map(move |(at, own)| Node {
            prior: weight * own_prior(at),
            slope,
            bend,
            own: *own,
        })
    };
    shapes.iter().flat_map(of).collect()
}

/// Half-Cauchy density times the width of the cell, which ends half-way to its neighbours; up to a
/// constant.
fn own_prior(at: usize) -> f64 {
    let middle = |a: usize, b: usize| 0.5 * (OWN[a] + OWN[b]);
    let from = if at == 0 { 0.0 } else { middle(at - 1, at) };
    let last = OWN.len() - 1;
    let to = if at == last {
        1.25 * OWN[last]
    } else {
        middle(at, at + 1)
    };
    (to - from) / (1.0 + (OWN[at] / OWN_SCALE).powi(2))
}

/// The averaging shapes of the curve.
fn curve_nodes() -> Vec<Node> {
    let share = (1.0 - FLAT_WEIGHT) / SLOPES.len() as f64;
    let sloping = SLOPES.map(|slope| (share, [slope, 0.5 * slope]));
    let shapes: Vec<_> = std::iter::once((FLAT_WEIGHT, [0.0, 0.0]))
        .chain(sloping)
        .collect();
    nodes(&shapes)
}

/// One node fitted: S⁻¹, o = S⁻¹1 and its sum, and the evidence.
struct Fitted {
    node: Node,
    inverse: Vec<f64>,
    ones: Vec<f64>,
    total: f64,
    log_weight: f64,
}

impl Fitted {
    fn of(node: Node, measured: &Measured, places: &[Target]) -> Option<Self> {
        let m = places.len();
        let mut s = measured.common.clone();
        for (j, row) in s.chunks_exact_mut(m).enumerate() {
            for (k, cell) in row.iter_mut().enumerate() {
                *cell += node.covariance(&places[j], &places[k]);
            }
            row[j] += measured.standards[j] * measured.standards[j];
        }
        let inverse = inverse(&s, m)?;
        let (log_determinant, _) = solved(&mut s, &mut vec![0.0; m])?;
        let ones = times(&inverse, &vec![1.0; m]);
        let total: f64 = ones.iter().sum();
        let values = &measured.values;
        let explained = dot(&ones, values);
        let misfit = dot(values, &times(&inverse, values)) - explained * explained / total;
        let log_weight = node.prior.ln() - 0.5 * (log_determinant + total.ln() + misfit);
        (total > 0.0 && log_weight.is_finite()).then_some(Self {
            node,
            inverse,
            ones,
            total,
            log_weight,
        })
    }

    /// The target's prior covariance with each value.
    fn towards(&self, target: &Target, places: &[Target]) -> Vec<f64> {
        let with = places.iter().map(|p| self.node.covariance(target, p));
        with.collect()
    }

    /// `(1 − cᵀo)`, or what stands for 1 where the mean does not enter.
    fn unshared(&self, target: &Target, towards: &[f64]) -> f64 {
        target.mean - dot(towards, &self.ones)
    }

    fn mean(&self, target: &Target, towards: &[f64], values: &[f64]) -> f64 {
        let level = dot(&self.ones, values) / self.total;
        self.unshared(target, towards) * level + dot(towards, &times(&self.inverse, values))
    }

    fn covariance(&self, [a, b]: [&Target; 2], [to_a, to_b]: [&[f64]; 2]) -> f64 {
        self.node.covariance(a, b) - dot(to_a, &times(&self.inverse, to_b))
            + self.unshared(a, to_a) * self.unshared(b, to_b) / self.total
    }
}

/// What is known of the curve and of each level once the values are in.
pub struct Posterior {
    axis: Axis,
    places: Vec<Target>,
    values: Vec<f64>,
    /// With their weights, which sum to 1.
    fitted: Vec<(f64, Fitted)>,
}

/// Targets along a path, with their mixtures and how far the path turns.
pub struct Path {
    /// In the order asked for.
    pub targets: Vec<Mixed>,
    /// Sum of the angles between neighbours, rad.
    pub angle: f64,
}

impl Posterior {
    /// Of the curve; `None` where fewer than two values are given, or nothing can be solved.
    pub fn curve(measured: &Measured) -> Option<Self> {
        Self::of(measured, curve_nodes())
    }

    /// With one wide shape, for the change between the ends.
    pub fn change(measured: &Measured) -> Option<Self> {
        Self::of(measured, nodes(&[(1.0, OPEN)]))
    }

    fn of(measured: &Measured, nodes: Vec<Node>) -> Option<Self> {
        if measured.levels.len() < 2 {
            return None;
        }
        let axis = Axis::of(&measured.levels);
        let places = places(axis, &measured.levels);
        let fitted: Vec<Fitted> = nodes
            .into_iter()
            .filter_map(|node| Fitted::of(node, measured, &places))
            .collect();
        let heaviest = fitted.iter().map(|f| f.log_weight).reduce(f64::max)?;
        let weight = |f: &Fitted| (f.log_weight - heaviest).exp();
        let total: f64 = fitted.iter().map(weight).sum();
        Some(Self {
            axis,
            places,
            values: measured.values.clone(),
            fitted: fitted
                .into_iter()
                .map(|f| (weight(&f) / total, f))
                .filter(|(share, _)| *share > LIGHTEST)
                .collect(),
        })
    }

    /// The curve at each of `levels`.
    pub fn along(&self, levels: &[f64]) -> Path {
        let at = |level: &f64| Target {
            mean: 1.0,
            basis: self.axis.basis(*level),
            own: None,
        };
        self.path(&levels.iter().map(at).collect::<Vec<_>>())
    }

    /// The true value at each level measured, with what it has of its own; in the order `order`.
    pub fn at_measured(&self, order: &[usize]) -> Path {
        let targets: Vec<Target> = order.iter().map(|at| self.places[*at]).collect();
        self.path(&targets)
    }

    /// The curve at the highest level less that at the lowest.
    pub fn difference_of_ends(&self) -> Mixed {
        let target = Target {
            mean: 0.0,
            basis: [2.0, 0.0],
            own: None,
        };
        self.mixed(&target)
    }

    /// Share of the weight on "no slope at all".
    #[cfg(test)]
    fn flat_weight(&self) -> f64 {
        let flat = self.fitted.iter().filter(|(_, f)| f.node.slope == 0.0);
        flat.map(|(weight, _)| weight).sum()
    }

    fn mixed(&self, target: &Target) -> Mixed {
        Mixed::of(self.fitted.iter().map(|(weight, f)| {
            let towards = f.towards(target, &self.places);
            let variance = f.covariance([target; 2], [&towards; 2]);
            (
                *weight,
                f.mean(target, &towards, &self.values),
                variance.max(0.0).sqrt(),
            )
        }))
    }

    fn path(&self, targets: &[Target]) -> Path {
        let mixed: Vec<Mixed> = targets.iter().map(|t| self.mixed(t)).collect();
        let turn = |at: usize| {
            let together = self.covariance(&targets[at], &targets[at + 1], &mixed[at..at + 2]);
            angle(together / (mixed[at].sd() * mixed[at + 1].sd()))
        };
        Path {
            angle: (0..targets.len().saturating_sub(1)).map(turn).sum(),
            targets: mixed,
        }
    }

    /// Covariance under the mixture.
    fn covariance(&self, a: &Target, b: &Target, mixed: &[Mixed]) -> f64 {
        let centre = [mixed[0].mean(), mixed[1].mean()];
        let part = |(weight, f): &(f64, Fitted)| {
            let towards = [a, b].map(|t| f.towards(t, &self.places));
            let away = |t: usize| {
                let mean = f.mean([a, b][t], &towards[t], &self.values);
                mean - centre[t]
            };
            let within = f.covariance([a, b], [&towards[0], &towards[1]]);
            weight * (within + away(0) * away(1))
        };
        self.fitted.iter().map(part).sum()
    }
}

fn places(axis: Axis, levels: &[f64]) -> Vec<Target> {
    let index = |(at, level): (usize, &f64)| Target {
        mean: 1.0,
        basis: axis.basis(*level),
        own: Some(at),
    };
    levels.iter().enumerate().map(index).collect()
}

/// By how many standard deviations each value departs from what the others lead one to expect: the
/// exact leave-one-out residual `(Qb)_j/√Q_jj`, `Q = S⁻¹ − ooᵀ/O` (Dubrule 1983, Math Geol 15:687;
/// Rasmussen & Williams 2006, 5.4.2; both from memory). `None` where it cannot be solved.
pub fn departures(measured: &Measured) -> Option<Vec<f64>> {
    let places = places(Axis::of(&measured.levels), &measured.levels);
    let [slope, bend] = NEIGHBOURLY;
    let node = Node {
        prior: 1.0,
        slope,
        bend,
        own: 0.0,
    };
    let fitted = Fitted::of(node, measured, &places)?;
    let m = places.len();
    let q = |j: usize, k: usize| {
        fitted.inverse[j * m + k] - fitted.ones[j] * fitted.ones[k] / fitted.total
    };
    let departure = |j: usize| {
        let left: f64 = (0..m).map(|k| q(j, k) * measured.values[k]).sum();
        left / q(j, j).max(f64::MIN_POSITIVE).sqrt()
    };
    Some((0..m).map(departure).collect())
}
