//! How far a channel that matched can be believed.

use super::line::Line;
use super::signal::Signal;

/// One strap: at least this share of common seconds differs by no more than 1 bpm ...
const STRAP_WITHIN_1: f64 = 0.9;
/// ... and this share not at all (the recorders may take the same change a second apart).
const STRAP_EQUAL: f64 = 0.5;
/// Fewest beats a minute between lowest and highest for the equality to mean anything.
const STRAP_RANGE_BPM: f64 = 5.0;
/// Two cadences are alike in detail where the smoother one keeps at least this share of the fast
/// changes of the other, at one-sided 99 % confidence. A first-order lag of 1 s keeps some 0.8.
const ALIKE_GAIN: f64 = 0.93;
const ONE_SIDED_99: f64 = 2.326;
/// Length of the windows whose scatter gives that confidence, s.
const WINDOW_S: usize = 90;
/// The entry of `b` nearest to entry `i` of `a`.
fn partner(a: &Signal, b: &Signal, line: Line, i: usize) -> Option<usize> {
    let t = a.start_s + i as f64;
    let j = (t + line.at(t) - b.start_s).round();
    (j >= 0.0 && j < b.values.len() as f64).then_some(j as usize)
}

/// Whether two heart-rate signals are one strap heard twice.
pub(super) fn one_strap(a: &Signal, b: &Signal, line: Line) -> bool {
    let (mut n, mut equal, mut within_1) = (0.0, 0.0, 0.0);
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for i in 0..a.values.len() {
        let Some(j) = partner(a, b, line, i) else {
            continue;
        };
        let (x, y) = (a.values[i], b.values[j]);
        if x.is_nan() || y.is_nan() {
            continue;
        }
        n += 1.0;
        equal += f64::from((x - y).abs() < 0.5);
        within_1 += f64::from((x - y).abs() < 1.5);
        low = low.min(x);
        high = high.max(x);
    }
    high - low >= STRAP_RANGE_BPM && within_1 >= STRAP_WITHIN_1 * n && equal >= STRAP_EQUAL * n
}

/// Whether two cadences show the same detail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sharpness {
    /// They do: neither can be late by smoothing.
    Alike,
    /// One is smoothed.
    Unlike,
    /// Too little fast change, or too much noise, to tell.
    Unproven,
}

/// Sums of squares and of products of two fine bands along the line.
#[derive(Clone, Copy, Default)]
struct Moments {
    aa: f64,
    bb: f64,
    ab: f64,
}

impl Moments {
    fn plus(mut self, other: &Moments, sign: f64) -> Self {
        self.aa += sign * other.aa;
        self.bb += sign * other.bb;
        self.ab += sign * other.ab;
        self
    }

    /// The share of the sharper side's fast changes that the other shows, if both carry the same
    /// noise. With `ρ` the smaller over the greater variance, `γ` the correlation and `m` the
    /// greater variance over its part in common, equal noise means
    /// `γ²ρ m² + (1 − ρ) m − 1 = 0`, and the gain is `γ √ρ m`.
    fn gain(&self) -> Option<f64> {
        if self.aa <= 0.0 || self.bb <= 0.0 || self.ab <= 0.0 {
            return None;
        }
        let rho = (self.bb / self.aa).min(self.aa / self.bb);
        let gamma2 = (self.ab * self.ab / (self.aa * self.bb)).min(1.0);
        let b = 1.0 - rho;
        let m = (-b + (b * b + 4.0 * gamma2 * rho).sqrt()) / (2.0 * gamma2 * rho);
        Some((gamma2 * rho).sqrt() * m)
    }
}

/// The polynomial through seven values at −3 … 3, at `x` (Lagrange).
fn value_at(values: &[f64; 7], x: f64) -> f64 {
    (0..7)
        .map(|i| {
            let weight: f64 = (0..7)
                .filter(|&j| j != i)
                .map(|j| (x + 3.0 - j as f64) / (i as f64 - j as f64))
                .product();
            weight * values[i]
        })
        .sum()
}

/// Compares the detail of two cadences, with the scatter over windows left out one by one
/// (jackknife) as its uncertainty.
pub(super) fn sharpness(a: &Signal, b: &Signal, line: Line) -> Sharpness {
    let windows: Vec<Moments> = (0..a.values.len())
        .step_by(WINDOW_S)
        .map(|from| moments(a, b, line, from, (from + WINDOW_S).min(a.values.len())))
        .filter(|m| m.aa > 0.0)
        .collect();
    let all = windows
        .iter()
        .fold(Moments::default(), |sum, m| sum.plus(m, 1.0));
    let without: Option<Vec<f64>> = windows.iter().map(|m| all.plus(m, -1.0).gain()).collect();
    let (Some(gain), Some(without)) = (all.gain(), without) else {
        return Sharpness::Unproven;
    };
    let n = without.len() as f64;
    if n < 4.0 {
        return Sharpness::Unproven;
    }
    let mean = without.iter().sum::<f64>() / n;
    let variance = (n - 1.0) / n * without.iter().map(|g| (g - mean).powi(2)).sum::<f64>();
    let margin = ONE_SIDED_99 * variance.sqrt();
    if gain - margin >= ALIKE_GAIN {
        Sharpness::Alike
    } else if gain + margin < ALIKE_GAIN {
        Sharpness::Unlike
    } else {
        Sharpness::Unproven
    }
}

/// The moments of one window; the products between whole lags are interpolated.
fn moments(a: &Signal, b: &Signal, line: Line, from: usize, to: usize) -> Moments {
    let (x, y) = (&a.fine.masked, &b.fine.masked);
    let middle_s = a.start_s + 0.5 * (from + to) as f64;
    let exact = a.start_s + line.at(middle_s) - b.start_s;
    let lag = exact.round();
    let mut sums = Moments::default();
    let mut products = [0.0; 7];
    for i in from..to {
        let at = i as f64 + lag;
        if x.present[i] == 0.0 || at < 0.0 {
            continue;
        }
        let j = at as usize;
        if y.present.get(j).is_none_or(|present| *present == 0.0) {
            continue;
        }
        sums.aa += x.value[i] * x.value[i];
        sums.bb += y.value[j] * y.value[j];
        for (k, sum) in products.iter_mut().enumerate() {
            let other = (j + k).checked_sub(3).and_then(|j| y.value.get(j));
            *sum += x.value[i] * other.copied().unwrap_or(0.0);
        }
    }
    sums.ab = value_at(&products, exact - lag);
    sums
}
