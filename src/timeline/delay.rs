//! Time-delay estimation: normalised cross-correlation over data with gaps.
//!
//! Pearson's r between two equally spaced series is computed for every lag at once, over the
//! pairs of samples that are present in both. Each of the sums that r is made of (count, sums,
//! sums of squares, sum of products) is itself a correlation of values, squares or presence, so
//! that six inverse transforms give r with gaps excluded rather than filled (the masked
//! normalised correlation of Padfield 2012, IEEE Trans. Image Process. 21(5), from memory).
//!
//! A lag is counted in samples: at lag `k`, sample `i` of the first series meets sample `i + k`
//! of the second.

use std::ops::{Range, RangeInclusive};
use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};

/// Below this share of a series' own variance, its overlapping part counts as constant. Far above
/// the rounding error of the transforms (some 1e-11), far below anything a sensor resolves.
const CONSTANT_SHARE: f64 = 1e-6;

/// Added to a number and taken away again it leaves the nearest whole one: there is no room for more
/// digits. Rounding by a call would cost more than all the rest of a lag.
const TO_WHOLE: f64 = 1.5 * (1u64 << 52) as f64;

/// The transforms of one series, to be correlated with those of others from the same
/// [`Correlator`].
#[derive(Clone, Debug, Default)]
pub struct Spectra {
    value: Vec<Complex<f64>>,
    square: Vec<Complex<f64>>,
    present: Vec<Complex<f64>>,
    len: usize,
}

/// Pearson's r at each lag of a range.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Correlation {
    /// Lag of the first entry, samples; the others follow by one each.
    pub first_lag: i64,
    /// Pearson's r over the pairs present in both; `NaN` where there are too few or one side
    /// does not vary.
    pub r: Vec<f64>,
    /// Number of pairs present in both.
    pub pairs: Vec<u32>,
}

/// A local maximum of a [`Correlation`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Peak {
    /// Lag, samples, to a fraction.
    pub lag: f64,
    /// Pearson's r at the nearest whole lag.
    pub r: f64,
    /// Number of pairs at the nearest whole lag.
    pub pairs: u32,
}

/// Plans and buffers for one transform length, reused from pair to pair.
#[derive(Clone)]
pub struct Correlator {
    forward: Arc<dyn RealToComplex<f64>>,
    inverse: Arc<dyn ComplexToReal<f64>>,
    real: Vec<f64>,
    product: Vec<Complex<f64>>,
    forward_scratch: Vec<Complex<f64>>,
    inverse_scratch: Vec<Complex<f64>>,
    sums: [Vec<f64>; 6],
    len: usize,
}

impl Correlator {
    /// For series of at most `longest` and `second` samples, at every lag at which they overlap.
    pub fn for_all_lags(longest: usize, second: usize) -> Self {
        Self::with_length(longest + second)
    }

    /// For series of at most `longest` samples, at lags of at most `max_lag` samples either way.
    pub fn for_lags_within(longest: usize, max_lag: usize) -> Self {
        Self::with_length(longest + max_lag + 1)
    }

    fn with_length(at_least: usize) -> Self {
        let len = fast_length(at_least);
        let mut planner = RealFftPlanner::new();
        let forward = planner.plan_fft_forward(len);
        let inverse = planner.plan_fft_inverse(len);
        Self {
            real: forward.make_input_vec(),
            product: forward.make_output_vec(),
            forward_scratch: forward.make_scratch_vec(),
            inverse_scratch: inverse.make_scratch_vec(),
            forward,
            inverse,
            sums: Default::default(),
            len,
        }
    }

    /// The transform length, samples.
    pub fn transform_len(&self) -> usize {
        self.len
    }

    /// The transforms of `values`, `NaN` being missing, written over `out`, whose buffers are
    /// reused.
    ///
    /// `false` where the series does not fit the correlator or fewer than two values are present:
    /// then `out` says nothing.
    #[must_use]
    pub fn spectra(&mut self, values: &[f64], out: &mut Spectra) -> bool {
        if values.len() > self.len {
            return false;
        }
        // Centred and scaled first: the sums of squares then lose no digits to a large mean.
        let Some((mean, sd)) = mean_and_sd(values) else {
            return false;
        };
        let scale = if sd > 0.0 { 1.0 / sd } else { 0.0 };
        let centred = |value: f64| {
            if value.is_nan() {
                0.0
            } else {
                (value - mean) * scale
            }
        };
        self.transform(values, centred, &mut out.value);
        self.transform(values, |v| centred(v) * centred(v), &mut out.square);
        self.transform(
            values,
            |v| if v.is_nan() { 0.0 } else { 1.0 },
            &mut out.present,
        );
        out.len = values.len();
        true
    }

    fn transform(&mut self, values: &[f64], of: impl Fn(f64) -> f64, out: &mut Vec<Complex<f64>>) {
        let (head, tail) = self.real.split_at_mut(values.len());
        for (slot, value) in head.iter_mut().zip(values) {
            *slot = of(*value);
        }
        tail.fill(0.0);
        out.resize(self.len / 2 + 1, Complex::default());
        // The lengths are those of the plan, the only thing that can be wrong here.
        let done =
            self.forward
                .process_with_scratch(&mut self.real, out, &mut self.forward_scratch);
        debug_assert!(done.is_ok());
    }

    /// Every lag at which `a` and `b` overlap.
    pub fn all_lags(a: &Spectra, b: &Spectra) -> RangeInclusive<i64> {
        1 - a.len as i64..=b.len as i64 - 1
    }

    /// Pearson's r between `a` and `b` at each of `lags`, written over `out`, whose buffers are
    /// reused. Lags with fewer than `min_pairs` pairs, and lags outside the overlap, become `NaN`.
    pub fn correlate(
        &mut self,
        a: &Spectra,
        b: &Spectra,
        lags: RangeInclusive<i64>,
        min_pairs: u32,
        out: &mut Correlation,
    ) {
        let overlapping = Self::all_lags(a, b);
        let from = (*lags.start()).max(*overlapping.start());
        let to = (*lags.end()).min(*overlapping.end());
        out.first_lag = from;
        out.r.clear();
        out.pairs.clear();
        if from > to {
            return;
        }
        for (slot, (left, right)) in [
            (&a.present, &b.present),
            (&a.value, &b.present),
            (&a.present, &b.value),
            (&a.square, &b.present),
            (&a.present, &b.square),
            (&a.value, &b.value),
        ]
        .into_iter()
        .enumerate()
        {
            self.correlation_sum(left, right, slot);
        }
        let min_pairs = f64::from(min_pairs.max(3));
        // Negative lags stand at the end of the circle.
        if from < 0 {
            let place = |lag: i64| (self.len as i64 + lag).max(0) as usize;
            self.pearson(place(from)..place(to.min(-1) + 1), min_pairs, out);
        }
        if to >= 0 {
            self.pearson(from.max(0) as usize..to as usize + 1, min_pairs, out);
        }
    }

    /// Pearson's r from the sums at `places` of the circle. One pass without branches or calls,
    /// which the compiler vectorises: there are tens of thousands of lags.
    fn pearson(&self, places: Range<usize>, min_pairs: f64, out: &mut Correlation) {
        let scale = 1.0 / self.len as f64;
        let [n, sum_a, sum_b, sum_aa, sum_bb, sum_ab] =
            [0, 1, 2, 3, 4, 5].map(|slot| &self.sums[slot][places.clone()]);
        let pairs = |n: &f64| (n * scale + TO_WHOLE) - TO_WHOLE;
        out.pairs.extend(n.iter().map(|n| pairs(n) as u32));
        let ones = sum_a.iter().zip(sum_aa).zip(sum_b.iter().zip(sum_bb));
        let r = n.iter().map(pairs).zip(sum_ab).zip(ones);
        out.r.extend(r.map(|((n, ab), ((a, aa), (b, bb)))| {
            // Each n times what it is named after, which r does not show and a division would cost.
            let (a, b, n_scale) = (a * scale, b * scale, n * scale);
            let var_a = n_scale * aa - a * a;
            let var_b = n_scale * bb - b * b;
            let covariance = n_scale * ab - a * b;
            let least = CONSTANT_SHARE * n * n;
            let known = (n >= min_pairs) & (var_a >= least) & (var_b >= least);
            let r = covariance / (var_a * var_b).sqrt();
            if known { r.clamp(-1.0, 1.0) } else { f64::NAN }
        }));
    }

    /// `Σᵢ left[i] · right[i + k]` for all `k` round the circle, times its length, into
    /// `self.sums[slot]`.
    fn correlation_sum(&mut self, left: &[Complex<f64>], right: &[Complex<f64>], slot: usize) {
        for (out, (l, r)) in self.product.iter_mut().zip(left.iter().zip(right)) {
            *out = l.conj() * r;
        }
        // A real series has a real first (and, at even length, last) coefficient; rounding must
        // not leave an imaginary part there, which the inverse transform refuses.
        if let Some(first) = self.product.first_mut() {
            first.im = 0.0;
        }
        if let Some(last) = self.product.last_mut() {
            last.im = 0.0;
        }
        let out = &mut self.sums[slot];
        out.resize(self.len, 0.0);
        let done =
            self.inverse
                .process_with_scratch(&mut self.product, out, &mut self.inverse_scratch);
        debug_assert!(done.is_ok());
    }
}

impl Correlation {
    /// The lag of entry `index`, samples.
    pub fn lag(&self, index: usize) -> i64 {
        self.first_lag + index as i64
    }

    /// The highest peaks by `score(r, pairs)`, best first, at most `count`, each further than
    /// `apart` samples from the better ones. Entries whose r or score is not positive are no
    /// peaks.
    pub fn peaks(&self, count: usize, apart: usize, score: impl Fn(f64, u32) -> f64) -> Vec<Peak> {
        let mut candidates: Vec<(f64, usize)> = (0..self.r.len())
            .filter(|&i| {
                let r = self.r[i];
                let below = |j: Option<&f64>| j.is_none_or(|other| other.is_nan() || *other <= r);
                r > 0.0
                    && below(i.checked_sub(1).and_then(|j| self.r.get(j)))
                    && below(self.r.get(i + 1))
            })
            .map(|i| (score(self.r[i], self.pairs[i]), i))
            .filter(|(score, _)| *score > 0.0)
            .collect();
        candidates.sort_by(|x, y| y.0.total_cmp(&x.0).then(x.1.cmp(&y.1)));
        let mut chosen: Vec<usize> = Vec::new();
        for (_, i) in candidates {
            if chosen.len() == count {
                break;
            }
            if chosen.iter().all(|&other| other.abs_diff(i) > apart) {
                chosen.push(i);
            }
        }
        chosen.into_iter().map(|i| self.peak_at(i)).collect()
    }

    fn peak_at(&self, index: usize) -> Peak {
        let around = index
            .checked_sub(1)
            .and_then(|before| Some((*self.r.get(before)?, *self.r.get(index + 1)?)));
        let fraction = around
            .and_then(|(before, after)| vertex(before, self.r[index], after))
            .unwrap_or(0.0);
        Peak {
            lag: self.lag(index) as f64 + fraction,
            r: self.r[index],
            pairs: self.pairs[index],
        }
    }
}

/// Where the parabola through three equally spaced values has its top, in steps from the middle
/// one; `None` unless the middle value is the greatest and the parabola bends downward.
pub fn vertex(before: f64, middle: f64, after: f64) -> Option<f64> {
    let bend = before - 2.0 * middle + after;
    (middle >= before && middle >= after && bend < 0.0).then(|| 0.5 * (before - after) / bend)
}

/// Where the curve through seven equally spaced values has its top, in steps from the middle one:
/// the parabola's, improved on the polynomial through all seven. A parabola alone pulls the tops
/// of narrow peaks towards whole steps, which would scale a slow drift.
pub fn top_of_seven(values: &[f64; 7]) -> Option<f64> {
    let [a, b, c, d, e, f, g] = *values;
    let start = vertex(c, d, e)?;
    // Derivatives of the interpolating polynomial in the middle, over factorials.
    let slope = [
        (-a + 9.0 * b - 45.0 * c + 45.0 * e - 9.0 * f + g) / 60.0,
        (2.0 * a - 27.0 * b + 270.0 * c - 490.0 * d + 270.0 * e - 27.0 * f + 2.0 * g) / 180.0,
        (a - 8.0 * b + 13.0 * c - 13.0 * e + 8.0 * f - g) / 16.0,
        (-a + 12.0 * b - 39.0 * c + 56.0 * d - 39.0 * e + 12.0 * f - g) / 36.0,
        (-a + 4.0 * b - 5.0 * c + 5.0 * e - 4.0 * f + g) / 48.0,
        (a - 6.0 * b + 15.0 * c - 20.0 * d + 15.0 * e - 6.0 * f + g) / 120.0,
    ];
    let mut x = start;
    for _ in 0..6 {
        let (mut value, mut bend) = (0.0, 0.0);
        for coefficient in slope.iter().rev() {
            bend = bend * x + value;
            value = value * x + coefficient;
        }
        if bend >= 0.0 {
            return Some(start);
        }
        x -= value / bend;
    }
    Some(if x.abs() <= 0.75 { x } else { start })
}

/// The smallest even length of at least `at_least` whose only prime factors are 2, 3 and 5, for
/// which the transforms are fast.
fn fast_length(at_least: usize) -> usize {
    let wanted = at_least.max(2);
    let mut best = wanted.next_power_of_two();
    let mut fives = 1;
    while fives < best {
        let mut threes = fives;
        while threes < best {
            let mut len = threes * 2;
            while len < wanted {
                len *= 2;
            }
            best = best.min(len);
            threes *= 3;
        }
        fives *= 5;
    }
    best
}

fn mean_and_sd(values: &[f64]) -> Option<(f64, f64)> {
    let n = sum_of(values, |v| if v.is_nan() { 0.0 } else { 1.0 });
    if n < 2.0 {
        return None;
    }
    let mean = sum_of(values, |v| if v.is_nan() { 0.0 } else { v }) / n;
    let squares = sum_of(values, |v| {
        let off = v - mean;
        if off.is_nan() { 0.0 } else { off * off }
    });
    let variance = squares / n;
    // A spread at rounding level is none.
    let floor = (mean.abs() * 1e-12).powi(2);
    Some((
        mean,
        if variance > floor {
            variance.sqrt()
        } else {
            0.0
        },
    ))
}

/// The sum of `of` over all values, in eight sums side by side, which the compiler vectorises.
fn sum_of(values: &[f64], of: impl Fn(f64) -> f64) -> f64 {
    let (eights, rest) = values.as_chunks::<8>();
    let mut sums = [0.0; 8];
    for eight in eights {
        for (sum, value) in sums.iter_mut().zip(eight) {
            *sum += of(*value);
        }
    }
    sums.iter().sum::<f64>() + rest.iter().map(|v| of(*v)).sum::<f64>()
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    use super::*;

    fn noise(n: usize, seed: u64) -> Vec<f64> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        (0..n).map(|_| StandardNormal.sample(&mut rng)).collect()
    }

    fn with_gaps(mut values: Vec<f64>, share: f64, seed: u64) -> Vec<f64> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        for value in &mut values {
            if rng.random_bool(share) {
                *value = f64::NAN;
            }
        }
        values
    }

    fn spectra(correlator: &mut Correlator, values: &[f64]) -> Spectra {
        let mut out = Spectra::default();
        assert!(correlator.spectra(values, &mut out));
        out
    }

    fn correlate(a: &[f64], b: &[f64]) -> Correlation {
        let mut correlator = Correlator::for_all_lags(a.len().max(b.len()), a.len().min(b.len()));
        let (a, b) = (spectra(&mut correlator, a), spectra(&mut correlator, b));
        let mut out = Correlation::default();
        let lags = Correlator::all_lags(&a, &b);
        correlator.correlate(&a, &b, lags, 3, &mut out);
        out
    }

    /// The definition, pair by pair.
    fn slow_r(a: &[f64], b: &[f64], lag: i64) -> (u32, f64) {
        let pairs: Vec<(f64, f64)> = a
            .iter()
            .enumerate()
            .filter_map(|(i, x)| {
                let y = b.get(usize::try_from(i as i64 + lag).ok()?)?;
                (!x.is_nan() && !y.is_nan()).then_some((*x, *y))
            })
            .collect();
        let n = pairs.len() as f64;
        let (ma, mb) = (
            pairs.iter().map(|p| p.0).sum::<f64>() / n,
            pairs.iter().map(|p| p.1).sum::<f64>() / n,
        );
        let ab: f64 = pairs.iter().map(|p| (p.0 - ma) * (p.1 - mb)).sum();
        let aa: f64 = pairs.iter().map(|p| (p.0 - ma).powi(2)).sum();
        let bb: f64 = pairs.iter().map(|p| (p.1 - mb).powi(2)).sum();
        (pairs.len() as u32, ab / (aa * bb).sqrt())
    }

    #[test]
    fn every_lag_equals_pearson_over_the_pairs_present() {
        let a = with_gaps(noise(57, 1), 0.2, 2);
        let b = with_gaps(noise(83, 3), 0.3, 4);
        let a: Vec<f64> = a.iter().map(|v| 1000.0 + 3.0 * v).collect();
        let found = correlate(&a, &b);
        assert_eq!(found.first_lag, -56);
        assert_eq!(found.r.len(), 57 + 83 - 1);
        for (i, r) in found.r.iter().enumerate() {
            let (pairs, slow) = slow_r(&a, &b, found.lag(i));
            assert_eq!(found.pairs[i], pairs);
            if pairs >= 3 {
                assert!((r - slow).abs() < 1e-9, "lag {}", found.lag(i));
            } else {
                assert!(r.is_nan());
            }
        }
    }

    #[test]
    fn a_range_of_lags_is_a_part_of_all_lags() {
        let a = with_gaps(noise(200, 5), 0.1, 6);
        let b = with_gaps(noise(150, 7), 0.1, 8);
        let all = correlate(&a, &b);
        for lags in [-12..=20, -30..=-5, 3..=9, -500..=500] {
            let mut correlator = Correlator::for_lags_within(200, 500);
            let (sa, sb) = (spectra(&mut correlator, &a), spectra(&mut correlator, &b));
            let mut part = Correlation::default();
            correlator.correlate(&sa, &sb, lags.clone(), 3, &mut part);
            assert!(!part.r.is_empty());
            for (i, r) in part.r.iter().enumerate() {
                let whole = all.r[(part.lag(i) - all.first_lag) as usize];
                assert!((r - whole).abs() < 1e-9 || (r.is_nan() && whole.is_nan()));
            }
        }
    }

    #[test]
    fn a_shifted_copy_peaks_at_the_shift_with_r_one() {
        let long = noise(400, 9);
        let found = correlate(&long[..300], &long[37..]);
        let peaks = found.peaks(2, 5, |r, n| r * f64::from(n).sqrt());
        assert!((peaks[0].lag + 37.0).abs() < 0.2);
        assert!((peaks[0].r - 1.0).abs() < 1e-9);
        assert_eq!(peaks[0].pairs, 263);
        assert!(peaks[1].r < 0.5);
    }

    #[test]
    fn constant_and_missing_series_have_no_correlation() {
        let found = correlate(&[5.0; 40], &noise(40, 10));
        assert!(found.r.iter().all(|r| r.is_nan()));
        let mut correlator = Correlator::for_all_lags(40, 40);
        for too_little in [&[f64::NAN; 40][..], &[1.0], &[]] {
            assert!(!correlator.spectra(too_little, &mut Spectra::default()));
        }
        assert!(!correlator.spectra(&noise(90, 11), &mut Spectra::default()));
    }

    /// methods.md §11: three samples of a triangular peak give `d/(2(1 − d))`, those of a cosine
    /// `½ tan(ωd)/tan(ω/2)`.
    #[test]
    fn the_parabola_misses_the_top_as_the_formulas_say() {
        for d in [0.0, 0.1, 0.292_893, 0.45] {
            let at = |k: f64| 10.0 - (k - d).abs();
            let found = vertex(at(-1.0), at(0.0), at(1.0)).unwrap();
            assert!((found - d / (2.0 * (1.0 - d))).abs() < 1e-12);
            let w = 0.7;
            let at = |k: f64| (w * (k - d)).cos();
            let found = vertex(at(-1.0), at(0.0), at(1.0)).unwrap();
            assert!((found - 0.5 * (w * d).tan() / (w / 2.0).tan()).abs() < 1e-12);
        }
        let worst: f64 = 0.292_893;
        assert!((worst / (2.0 * (1.0 - worst)) - worst + 0.085_786).abs() < 1e-5);
        assert_eq!(vertex(1.0, 0.0, 1.0), None);
        assert_eq!(vertex(1.0, 1.0, 1.0), None);
    }

    #[test]
    fn seven_points_find_the_top_where_three_do_not() {
        for w in [0.5, 1.0, 1.2, 1.5] {
            for d in [-0.45, -0.2, 0.0, 0.3, 0.5] {
                let at = |k: f64| (w * (k - d)).cos();
                let values = [-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0].map(at);
                let found = top_of_seven(&values).unwrap();
                // A fine band holds little beyond 1.2 rad a sample.
                let three = vertex(values[2], values[3], values[4]).unwrap();
                let limit = if w < 1.5 {
                    0.0025
                } else {
                    0.25 * (three - d).abs() + 1e-9
                };
                assert!((found - d).abs() <= limit, "{w} {d} {found}");
            }
        }
        assert_eq!(top_of_seven(&[1.0; 7]), None);
    }

    /// methods.md §11: power of correlation time T through a first-order lag τ, with no clock
    /// offset at all, peaks at `τT/(T − τ) · ln(2T/(T + τ))`: power alone cannot tell lag from
    /// offset.
    #[test]
    fn a_device_lag_looks_like_an_offset() {
        let (dt, time_constant, lag) = (0.05, 10.0_f64, 2.0_f64);
        let expected = lag * time_constant / (time_constant - lag)
            * (2.0 * time_constant / (time_constant + lag)).ln();
        assert!((expected - 1.277_06).abs() < 1e-5);
        let (mut truth, mut shown) = (0.0, 0.0);
        let (mut a, mut b) = (Vec::new(), Vec::new());
        let keep = (-dt / time_constant).exp();
        let follow = 1.0 - (-dt / lag).exp();
        for step in noise(400_000, 11) {
            truth = keep * truth + (1.0 - keep * keep).sqrt() * step;
            shown += follow * (truth - shown);
            a.push(truth);
            b.push(shown);
        }
        let mut correlator = Correlator::for_lags_within(a.len(), 200);
        let (a, b) = (spectra(&mut correlator, &a), spectra(&mut correlator, &b));
        let mut found = Correlation::default();
        correlator.correlate(&a, &b, -200..=200, 3, &mut found);
        let peak = found.peaks(1, 0, |r, _| r)[0];
        assert!((peak.lag * dt - expected).abs() < 0.05, "{}", peak.lag * dt);
    }

    #[test]
    fn lengths_are_even_fast_and_close() {
        for n in [1, 2, 3, 17, 1000, 43_201, 44_400] {
            let len = fast_length(n);
            assert!(len >= n && len.is_multiple_of(2) && len <= n.next_power_of_two().max(2));
            let mut rest = len;
            for factor in [2, 3, 5] {
                while rest.is_multiple_of(factor) {
                    rest /= factor;
                }
            }
            assert_eq!(rest, 1);
        }
        assert_eq!(fast_length(44_400), 45_000);
    }
}
