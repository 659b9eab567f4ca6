//! Pearson's r around a lag, window by window along the ride.

use super::signal::Masked;
use crate::timeline::delay::{top_of_seven, vertex};

/// A window whose r is below this says nothing of the offset.
const WINDOW_MIN_R: f64 = 0.35;
/// Uncertainty of a window's offset that no number of samples takes away: time stamps, rounding.
pub(super) const WINDOW_FLOOR_S: f64 = 0.01;

/// One window's r at the lags around a candidate.
pub(super) struct Curve {
    /// Middle of the window, index into the first series.
    at: f64,
    first_lag: i64,
    r: Vec<f64>,
    pairs: u32,
}

/// The offset that one window shows.
#[derive(Clone, Copy, Debug)]
pub(super) struct WindowOffset {
    /// Middle of the window, index into the first series.
    pub at: f64,
    /// Lag of the peak, samples.
    pub lag: f64,
    /// Its standard uncertainty, samples.
    pub sd: f64,
}

/// The windows of `width` samples that tile `a`, each with r at the lags within `reach` of
/// `lag_of` its middle. `None` for windows that hold too little.
pub(super) fn windows_over(
    a: &Masked,
    b: &Masked,
    width: usize,
    reach: i64,
    lag_of: &dyn Fn(f64) -> i64,
) -> Vec<Option<Curve>> {
    (0..a.len())
        .step_by(width)
        .map(|from| {
            let to = (from + width).min(a.len());
            Curve::new(a, b, from, to, (width / 2) as u32, lag_of, reach)
        })
        .collect()
}

/// The offset in each window at the highest peak within `within` of `near` its middle.
/// `independent` is the spacing of samples that are about independent.
pub(super) fn offsets_near(
    curves: &[Option<Curve>],
    near: &dyn Fn(f64) -> f64,
    within: f64,
    independent: f64,
) -> Vec<WindowOffset> {
    curves
        .iter()
        .flatten()
        .filter_map(|curve| curve.offset(near(curve.at), within, independent))
        .collect()
}

impl Curve {
    fn new(
        a: &Masked,
        b: &Masked,
        from: usize,
        to: usize,
        needed: u32,
        lag_of: &dyn Fn(f64) -> i64,
        reach: i64,
    ) -> Option<Self> {
        if a.sums(from, to).n < needed {
            return None;
        }
        let at = 0.5 * (from + to - 1) as f64;
        let lag = lag_of(at);
        let products = products(a, b, from, to, lag - reach, 2 * reach as usize + 1);
        let r_by = |i: usize| {
            let product = products.as_ref().map(|products| products[i]);
            r_at(a, b, from, to, lag - reach + i as i64, needed, product)
        };
        let (_, pairs) = r_by(reach as usize)?;
        let r = (0..=2 * reach as usize)
            .map(|i| r_by(i).map_or(f64::NAN, |(r, _)| r))
            .collect();
        Some(Self {
            at,
            first_lag: lag - reach,
            r,
            pairs,
        })
    }

    /// The highest r and the number of pairs.
    pub fn best(&self) -> (f64, u32) {
        (self.r.iter().copied().fold(0.0, f64::max), self.pairs)
    }

    /// The highest r within `within` of `near` its middle, none where it is not positive, and the
    /// number of pairs.
    pub fn best_near(&self, near: &dyn Fn(f64) -> f64, within: f64) -> (f64, u32) {
        let near = near(self.at);
        let lags = (self.first_lag..).zip(&self.r);
        let close = lags.filter(|(lag, _)| (*lag as f64 - near).abs() <= within);
        (close.map(|(_, r)| *r).fold(0.0, f64::max), self.pairs)
    }

    /// The top around entry `i`, from seven points where there are so many.
    fn top(&self, i: usize) -> Option<f64> {
        let seven = i
            .checked_sub(3)
            .and_then(|from| self.r.get(from..i + 4))
            .and_then(|around| <&[f64; 7]>::try_from(around).ok())
            .filter(|around| around.iter().all(|r| !r.is_nan()));
        match seven {
            Some(around) => top_of_seven(around),
            None => vertex(self.r[i - 1], self.r[i], self.r[i + 1]),
        }
    }

    fn offset(&self, near: f64, within: f64, independent: f64) -> Option<WindowOffset> {
        let (mut best, mut best_r) = (None, WINDOW_MIN_R);
        for i in 1..self.r.len().saturating_sub(1) {
            let lag = (self.first_lag + i as i64) as f64;
            let (before, r, after) = (self.r[i - 1], self.r[i], self.r[i + 1]);
            if (lag - near).abs() <= within && r > best_r && vertex(before, r, after).is_some() {
                best = Some(i);
                best_r = r;
            }
        }
        let i = best?;
        let fraction = self.top(i)?;
        let bend = 2.0 * self.r[i] - self.r[i - 1] - self.r[i + 1];
        let n = f64::from(self.pairs) / independent;
        // Cramér–Rao bound of a delay: (1 − r²) / (n r |r''|).
        let unexplained = (1.0 - self.r[i].powi(2)).max(1e-3);
        let variance = unexplained / (n * self.r[i] * bend) + WINDOW_FLOOR_S.powi(2);
        Some(WindowOffset {
            at: self.at,
            lag: (self.first_lag + i as i64) as f64 + fraction,
            sd: variance.sqrt(),
        })
    }
}

/// `Σ a b` over `from..to` of `a` at `count` lags from `first_lag` on; `None` where some of them
/// leave `b`.
fn products(
    a: &Masked,
    b: &Masked,
    from: usize,
    to: usize,
    first_lag: i64,
    count: usize,
) -> Option<Vec<f64>> {
    let start = usize::try_from(from as i64 + first_lag).ok()?;
    let read = b.value.get(start..start + (to - from) + count - 1)?;
    let mut sums = vec![0.0; count];
    // Side by side over lags, a few samples at a time: each is loaded once for all lags.
    let (fours, rest) = a.value[from..to].as_chunks::<4>();
    for (block, x) in fours.iter().enumerate() {
        let read = &read[4 * block..4 * block + count + 3];
        let [p, q, r, s] = *x;
        let (b0, b1, b2, b3) = (
            &read[..count],
            &read[1..=count],
            &read[2..count + 2],
            &read[3..],
        );
        for (k, sum) in sums.iter_mut().enumerate() {
            *sum += p * b0[k] + q * b1[k] + (r * b2[k] + s * b3[k]);
        }
    }
    for (i, x) in rest.iter().enumerate() {
        let read = &read[4 * fours.len() + i..];
        for (sum, y) in sums.iter_mut().zip(read) {
            *sum += x * y;
        }
    }
    Some(sums)
}

/// Pearson's r of `a` over `from..to` and `b` at `lag`, and the number of pairs. `product` is
/// `Σ a b`, where it is known.
fn r_at(
    a: &Masked,
    b: &Masked,
    from: usize,
    to: usize,
    lag: i64,
    needed: u32,
    product: Option<f64>,
) -> Option<(f64, u32)> {
    let len_b = b.len() as i64;
    let first = (from as i64).max(-lag);
    let last = (to as i64).min(len_b - lag);
    if first >= last {
        return None;
    }
    let (ia, ja) = (first as usize, last as usize);
    let (ib, jb) = ((first + lag) as usize, (last + lag) as usize);
    // Values are 0 where they are missing: only the sums of one side alone need to know of the
    // other's gaps.
    let sa = a.sums(ia, ja).without(a, b.missing(ib, jb), lag);
    let sb = b.sums(ib, jb).without(b, a.missing(ia, ja), -lag);
    let product = product.unwrap_or_else(|| dot(&a.value[ia..ja], &b.value[ib..jb]));
    let n = sa.n;
    if n < needed {
        return None;
    }
    let count = f64::from(n);
    let var_a = sa.squares - sa.sum * sa.sum / count;
    let var_b = sb.squares - sb.sum * sb.sum / count;
    let covariance = product - sa.sum * sb.sum / count;
    let r = covariance / (var_a * var_b).sqrt();
    // Rounding of the running sums makes a tiny variance of none.
    (var_a > 1e-9 && var_b > 1e-9 && r.is_finite()).then_some((r.clamp(-1.0, 1.0), n))
}

/// `Σ x y` in eight sums side by side, which the compiler vectorises.
fn dot(x: &[f64], y: &[f64]) -> f64 {
    let ((x, x_rest), (y, y_rest)) = (x.as_chunks::<8>(), y.as_chunks::<8>());
    let mut sums = [0.0; 8];
    for (x, y) in x.iter().zip(y) {
        for (sum, (x, y)) in sums.iter_mut().zip(x.iter().zip(y)) {
            *sum += x * y;
        }
    }
    let rest: f64 = x_rest.iter().zip(y_rest).map(|(x, y)| x * y).sum();
    sums.iter().sum::<f64>() + rest
}
