//! Offsets window by window to first order around a line that is nearly right.
//!
//! The second series is read at the first one's times along the line (`u`, and its derivative `u'`),
//! shaped by a short filter `h` that makes it most like the first, and what is left over is
//! explained by a shift: `a − h∗u ≈ δ · h∗u'`, solved for `δ` in each window by least squares. For
//! small shifts this is the maximum of the correlation, from one pass over the ride instead of one
//! a lag. The filter takes up what two devices do differently with the same power: gain, averaging,
//! a first-order lag. Without it a lagging device is later in slow changes than in quick ones, its
//! offset wanders with what is ridden, and that looks like skew.

use super::signal::{Band, Masked, robust_sd};
use super::windows::{WINDOW_FLOOR_S, WindowOffset};

/// Points of the polynomial that reads a series between its samples.
const READ: usize = 6;
/// Added to the diagonal of the filter's normal equations, as a share of it: the bands hold next to
/// nothing at high frequencies, and the filter there is nobody's business.
const RIDGE: f64 = 1e-3;
/// A sample is ordinary up to this many robust standard deviations.
const ORDINARY_SDS: f64 = 4.0;
/// Rows of the least squares for the filter aimed at: more tell nothing new.
const FILTER_ROWS: usize = 4000;
/// Residuals count up to this many robust standard deviations of their window.
const CLIP_SDS: f64 = 3.0;
/// Steps towards Huber's estimate; each also sets the scale anew.
const STEPS: usize = 3;
/// A window whose residuals are mostly clipped, by what they tell of the shift, tells nothing.
const LEAST_KEPT: f64 = 0.25;
/// Fewest samples of a window.
const FEWEST: usize = 10;
/// A shift to first order is one only while it is small, s.
const FAR_S: f64 = 1.0;

/// The second series along the line, at the samples of the first.
struct Along {
    value: Vec<f64>,
    slope: Vec<f64>,
    /// The first series where both are present, else 0.
    target: Vec<f64>,
    present: Vec<bool>,
}

/// The windows' offsets of `b` against `a` around the lag `lag_of(i)` at sample `i` of `a`, through
/// a filter of `taps` samples to each side (none: gain only).
pub(super) fn refined(
    a: &Band,
    b: &Band,
    width: usize,
    taps: usize,
    lag_of: &dyn Fn(f64) -> f64,
) -> Vec<WindowOffset> {
    let along = Along::new(&a.masked, &b.masked, width, lag_of);
    let filter = along.filter(taps);
    let shaped = convolved(&along.value, &filter);
    let slope = convolved(&along.slope, &filter);
    let len = a.masked.len();
    (0..len)
        .step_by(width)
        .filter_map(|from| {
            let to = (from + width).min(len);
            let at = 0.5 * (from + to - 1) as f64;
            let (shift, sd) = along.shift(&shaped, &slope, from, to, a.independent_s())?;
            Some(WindowOffset {
                at,
                lag: lag_of(at) + shift,
                sd,
            })
        })
        .collect()
}

impl Along {
    fn new(a: &Masked, b: &Masked, width: usize, lag_of: &dyn Fn(f64) -> f64) -> Self {
        let len = a.len();
        let mut along = Self {
            value: vec![0.0; len],
            slope: vec![0.0; len],
            target: vec![0.0; len],
            present: vec![false; len],
        };
        for from in (0..len).step_by(width) {
            let to = (from + width).min(len);
            along.read(a, b, from, to, lag_of(0.5 * (from + to - 1) as f64));
        }
        along
    }

    /// Fills `from..to`, reading `b` at one lag.
    fn read(&mut self, a: &Masked, b: &Masked, from: usize, to: usize, lag: f64) {
        let whole = lag.floor();
        let (value, slope) = reading(lag - whole);
        // `b` is read from `i + first` to `i + first + READ − 1`.
        let first = whole as i64 - (READ as i64 / 2 - 1);
        let last_from = b.len() as i64 - READ as i64 - first;
        let from = (from as i64).max(-first).min(to as i64) as usize;
        let to = (to as i64).min(last_from + 1).max(from as i64) as usize;
        for k in 0..READ {
            let start = (from as i64 + first) as usize + k;
            let Some(read) = b.value.get(start..start + (to - from)) else {
                return;
            };
            let into = self.value[from..to]
                .iter_mut()
                .zip(&mut self.slope[from..to]);
            for ((v, s), read) in into.zip(read) {
                *v += value[k] * read;
                *s += slope[k] * read;
            }
        }
        for i in from..to {
            let start = (i as i64 + first) as usize;
            if a.present[i] > 0.0 && b.sums(start, start + READ).n == READ as u32 {
                self.present[i] = true;
                self.target[i] = a.value[i];
            } else {
                self.value[i] = 0.0;
                self.slope[i] = 0.0;
            }
        }
    }

    /// The filter that makes the second series most like the first, by least squares over ordinary
    /// samples: a sprint that meets a ceiling must not decide it for the whole ride.
    fn filter(&self, taps: usize) -> Vec<f64> {
        let n = 2 * taps + 1;
        let (most_target, most_value) = (ordinary(&self.target), ordinary(&self.value));
        let fair: Vec<bool> = (0..self.value.len())
            .map(|i| self.present[i] && self.value[i].abs() <= most_value)
            .collect();
        let mut own = vec![0.0; n * n];
        let mut wanted = vec![0.0; n];
        let mut run = 0;
        let stride = (fair.len() / FILTER_ROWS).max(1);
        // A window of `n` samples ends at `i`; its middle is the row's sample.
        for (i, fair) in fair.iter().enumerate() {
            run = if *fair { run + 1 } else { 0 };
            let Some(middle) = i.checked_sub(taps) else {
                continue;
            };
            if run < n || self.target[middle].abs() > most_target || i % stride != 0 {
                continue;
            }
            // Entry `k` multiplies `u[middle + taps − k]`.
            let window = &self.value[i + 1 - n..=i];
            for (k, x) in window.iter().rev().enumerate() {
                wanted[k] += x * self.target[middle];
                for (sum, y) in own[k * n..=k * n + k].iter_mut().zip(window.iter().rev()) {
                    *sum += x * y;
                }
            }
        }
        solve(own, wanted).unwrap_or_else(|| {
            let mut none = vec![0.0; n];
            none[taps] = 1.0;
            none
        })
    }

    /// The shift that explains most of what is left in `from..to`, and its standard uncertainty:
    /// Huber's estimate, whose scale is the window's own.
    fn shift(
        &self,
        shaped: &[f64],
        slope: &[f64],
        from: usize,
        to: usize,
        independent: f64,
    ) -> Option<(f64, f64)> {
        let (mut rest, slope): (Vec<f64>, Vec<f64>) = (from..to)
            .filter(|&i| self.present[i])
            .map(|i| (self.target[i] - shaped[i], slope[i]))
            .unzip();
        if rest.len() < (to - from) / 2 || rest.len() < FEWEST {
            return None;
        }
        let square: f64 = slope.iter().map(|s| s * s).sum();
        let (mut shift, mut variance) = (0.0, f64::INFINITY);
        let mut sizes = Vec::with_capacity(rest.len());
        for _ in 0..STEPS {
            sizes.clear();
            sizes.extend(rest.iter().map(|rest| rest.abs()));
            let limit = CLIP_SDS * robust_sd(&mut sizes)?;
            let (mut product, mut kept, mut left) = (0.0, 0.0, 0.0);
            for (rest, slope) in rest.iter().zip(&slope) {
                let clipped = rest.clamp(-limit, limit);
                kept += if clipped == *rest { slope * slope } else { 0.0 };
                product += slope * clipped;
                left += clipped * clipped;
            }
            if kept <= LEAST_KEPT * square || square <= 0.0 {
                return None;
            }
            let step = product / kept;
            shift += step;
            variance = left / rest.len() as f64 * independent / kept;
            for (rest, slope) in rest.iter_mut().zip(&slope) {
                *rest -= step * slope;
            }
        }
        (shift.abs() <= FAR_S).then(|| (shift, (variance + WINDOW_FLOOR_S.powi(2)).sqrt()))
    }
}

/// `Σ h[k] x[i + taps − k]` at every `i`.
fn convolved(x: &[f64], h: &[f64]) -> Vec<f64> {
    let taps = h.len() / 2;
    let mut out = vec![0.0; x.len()];
    for (k, weight) in h.iter().enumerate() {
        let (into, from) = match k.checked_sub(taps) {
            Some(back) => (out.get_mut(back..), Some(x)),
            None => (Some(&mut out[..]), x.get(taps - k..)),
        };
        for (o, v) in into.into_iter().flatten().zip(from.into_iter().flatten()) {
            *o += weight * v;
        }
    }
    out
}

/// Weights of six samples at −2 … 3 for the value and the derivative at `x` of the polynomial
/// through them (Lagrange).
fn reading(x: f64) -> ([f64; READ], [f64; READ]) {
    let node = |i: usize| i as f64 - (READ as f64 / 2.0 - 1.0);
    let (mut value, mut slope) = ([0.0; READ], [0.0; READ]);
    for i in 0..READ {
        let others = || (0..READ).filter(move |&j| j != i);
        let below: f64 = others().map(|j| node(i) - node(j)).product();
        value[i] = others().map(|j| x - node(j)).product::<f64>() / below;
        slope[i] = others()
            .map(|m| {
                others()
                    .filter(|&j| j != m)
                    .map(|j| x - node(j))
                    .product::<f64>()
            })
            .sum::<f64>()
            / below;
    }
    (value, slope)
}

/// What a size is that most samples do not exceed.
fn ordinary(values: &[f64]) -> f64 {
    let mut sizes: Vec<f64> = values
        .iter()
        .map(|v| v.abs())
        .filter(|v| *v > 0.0)
        .collect();
    ORDINARY_SDS * robust_sd(&mut sizes).unwrap_or(0.0)
}

/// Solves `A h = w` with a ridge, `A` symmetric, its lower triangle given row by row (Cholesky).
fn solve(mut a: Vec<f64>, mut w: Vec<f64>) -> Option<Vec<f64>> {
    let n = w.len();
    let mean: f64 = (0..n).map(|i| a[i * n + i]).sum::<f64>() / n as f64;
    for i in 0..n {
        a[i * n + i] += RIDGE * mean;
        for j in 0..=i {
            let sum: f64 = (0..j).map(|k| a[i * n + k] * a[j * n + k]).sum();
            let rest = a[i * n + j] - sum;
            a[i * n + j] = if i == j {
                (rest > 0.0).then(|| rest.sqrt())?
            } else {
                rest / a[j * n + j]
            };
        }
        let sum: f64 = (0..i).map(|k| a[i * n + k] * w[k]).sum();
        w[i] = (w[i] - sum) / a[i * n + i];
    }
    for i in (0..n).rev() {
        let sum: f64 = (i + 1..n).map(|k| a[k * n + i] * w[k]).sum();
        w[i] = (w[i] - sum) / a[i * n + i];
    }
    Some(w)
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    use super::*;

    /// A sum of sines of at most 0.2 Hz, at any time.
    fn tune(seed: u64) -> impl Fn(f64) -> f64 {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut draw = || -> f64 { StandardNormal.sample(&mut rng) };
        let parts: Vec<(f64, f64, f64)> = (1..60)
            .map(|k| {
                (
                    2.0 * std::f64::consts::PI * 0.2 * f64::from(k) / 60.0,
                    draw(),
                    9.0 * draw(),
                )
            })
            .collect();
        move |t| {
            parts
                .iter()
                .map(|(w, size, phase)| size * (w * t + phase).sin())
                .sum()
        }
    }

    fn band(values: &[f64]) -> Band {
        Band {
            masked: Masked::new(values),
            sigma_s: 1.2,
        }
    }

    #[test]
    fn shift_and_rate_are_found_exactly_from_clean_series() {
        let tune = tune(1);
        let (shift, rate) = (3.3, 8e-5);
        let a: Vec<f64> = (0..1800).map(|i| tune(f64::from(i))).collect();
        let b: Vec<f64> = (0..1800)
            .map(|j| tune((f64::from(j) - shift) / (1.0 + rate)))
            .collect();
        let found = refined(&band(&a), &band(&b), 60, 0, &|i| 3.35 + 6e-5 * i);
        assert!(found.len() >= 28);
        for window in found {
            let truth = shift + rate * window.at;
            assert!((window.lag - truth).abs() < 2e-3, "{window:?} {truth}");
        }
    }

    #[test]
    fn a_lagging_device_does_not_wander_with_what_is_ridden() {
        // Quick changes in the first half, slow ones in the second.
        let (quick, slow) = (tune(2), tune(3));
        let ride = |t: f64| {
            if t < 900.0 {
                quick(t)
            } else {
                3.0 * slow(0.2 * t)
            }
        };
        let lagging = |t: f64| -> f64 {
            // First-order lag of 1.5 s by a sum over the past.
            let step = 0.02;
            (0..600)
                .map(|k| {
                    let back = (f64::from(k) + 0.5) * step;
                    ride(t - back) * (-back / 1.5).exp() * step / 1.5
                })
                .sum()
        };
        let a: Vec<f64> = (0..1800).map(|i| lagging(f64::from(i))).collect();
        let b: Vec<f64> = (0..1800).map(|j| ride(f64::from(j))).collect();
        let spread = |taps: usize| {
            let found = refined(&band(&a), &band(&b), 60, taps, &|_| -1.0);
            let mean = |from: f64, to: f64| {
                let own: Vec<f64> = found
                    .iter()
                    .filter(|w| (from..to).contains(&w.at))
                    .map(|w| w.lag)
                    .collect();
                own.iter().sum::<f64>() / own.len() as f64
            };
            (mean(100.0, 800.0) - mean(1000.0, 1700.0)).abs()
        };
        assert!(spread(0) > 0.1, "{}", spread(0));
        assert!(spread(6) < 0.01, "{}", spread(6));
    }

    #[test]
    fn a_symmetric_system_is_solved() {
        let full = [[2.0, 0.7, -0.3], [0.7, 1.5, 0.2], [-0.3, 0.2, 1.0]];
        let w = [1.0, -2.0, 0.5];
        let h = solve(full.concat(), w.to_vec()).unwrap();
        for (i, w) in w.iter().enumerate() {
            let ridge = RIDGE * 1.5 * h[i];
            let own: f64 = (0..3).map(|j| full[i][j] * h[j]).sum::<f64>() + ridge;
            assert!((own - w).abs() < 1e-12);
        }
        assert_eq!(solve(vec![0.0; 4], vec![1.0, 1.0]), None);
    }
}
