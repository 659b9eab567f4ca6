//! One channel of one stream, made ready for delay estimation.
//!
//! A signal holds the channel at whole seconds from its first sample, and its *edges*: the same
//! through a derivative-of-Gaussian filter, which removes level and slow trend (so that repeated
//! intervals do not make broad false peaks) and single-sample noise (so that the peak is round
//! and the parabola through it is fair). Both are symmetric in time and move nothing. Edges are
//! clipped at a few robust standard deviations: spikes, dropouts to zero and hard starts count,
//! but do not outvote everything else.
//!
//! Tracks serve the clocks only. No figure is made from them.

use crate::recording::{Channel, Samples, Sampling};
use crate::timeline::delay::{Correlator, Spectra};

/// Median of the absolute values of a standard normal.
pub(super) const NORMAL_MEDIAN: f64 = 0.674_5;
/// Clip level of the edges, robust standard deviations.
const CLIP_SDS: f64 = 4.0;
/// Half-width of the filter for measuring, s. Most of what tells a delay is in fast changes; at
/// this width the edges still hold nothing that whole seconds cannot carry.
const FINE_SIGMA_S: f64 = 1.2;
/// A reading of cadence this near to its neighbours is no spike, rpm.
const SPIKE_RPM: f64 = 4.0;
/// A sample of a stream recorded on change holds for at most this long, s.
const HOLD_S: f64 = 30.0;
/// A signal may be this many times longer, in seconds, than there are samples (plus a day):
/// beyond it the times are not those of one ride, and memory is bounded.
const SECONDS_PER_SAMPLE: usize = 32;
const DAY_S: usize = 86_400;

/// A channel of a stream at whole seconds from `start_s` on.
pub(super) struct Signal {
    /// Recorder time of entry 0, s.
    pub start_s: f64,
    /// The values; `NaN` is missing.
    pub values: Vec<f64>,
    /// How old a value is on average, where the recorder writes only on change, s.
    pub held_s: f64,
    /// Whether each value is a mean over its second, as power is, rather than a reading.
    pub averaged: bool,
    /// The filtered values: what lags are searched on.
    pub edges: Band,
    /// The same through a narrower filter, not clipped: what offsets are measured on.
    pub fine: Band,
}

/// A filtered channel.
pub(super) struct Band {
    pub masked: Masked,
    /// Half-width of the filter, s.
    pub sigma_s: f64,
}

/// A series with zeros for missing values, beside its presence, and running sums of both.
pub(super) struct Masked {
    pub value: Vec<f64>,
    pub present: Vec<f64>,
    sum: Vec<f64>,
    square_sum: Vec<f64>,
    present_sum: Vec<u32>,
    missing: Vec<u32>,
}

/// Sums over a stretch of a [`Masked`].
#[derive(Clone, Copy)]
pub(super) struct Sums {
    pub n: u32,
    pub sum: f64,
    pub squares: f64,
}

impl Masked {
    pub fn new(values: &[f64]) -> Self {
        let value: Vec<f64> = values
            .iter()
            .map(|v| if v.is_nan() { 0.0 } else { *v })
            .collect();
        let present: Vec<f64> = values.iter().map(|v| f64::from(!v.is_nan())).collect();
        let mut sum = vec![0.0];
        let mut square_sum = vec![0.0];
        let mut present_sum = vec![0];
        let (mut s, mut q, mut n) = (0.0, 0.0, 0);
        let missing = (0_u32..).zip(&present).filter(|(_, p)| **p == 0.0);
        let missing = missing.map(|(i, _)| i).collect();
        for (v, p) in value.iter().zip(&present) {
            s += v;
            q += v * v;
            n += u32::from(*p > 0.0);
            sum.push(s);
            square_sum.push(q);
            present_sum.push(n);
        }
        Self {
            value,
            present,
            sum,
            square_sum,
            present_sum,
            missing,
        }
    }

    pub fn len(&self) -> usize {
        self.value.len()
    }

    /// Sums over `from..to`, which must lie inside.
    pub fn sums(&self, from: usize, to: usize) -> Sums {
        Sums {
            n: self.present_sum[to] - self.present_sum[from],
            sum: self.sum[to] - self.sum[from],
            squares: self.square_sum[to] - self.square_sum[from],
        }
    }

    /// The missing entries of `from..to`, which must lie inside.
    pub fn missing(&self, from: usize, to: usize) -> &[u32] {
        let before = |i: usize| i - self.present_sum[i] as usize;
        &self.missing[before(from)..before(to)]
    }
}

impl Sums {
    /// Takes away what `series` holds at the entries that are missing in its partner, which stand
    /// `shift` further on there.
    pub fn without(mut self, series: &Masked, missing_in_partner: &[u32], shift: i64) -> Self {
        for m in missing_in_partner {
            // Zero where it is missing here too.
            let i = (i64::from(*m) - shift) as usize;
            let value = series.value[i];
            self.n -= series.present[i] as u32;
            self.sum -= value;
            self.squares -= value * value;
        }
        self
    }
}

impl Signal {
    /// The signal of `channel`, or `None` where fewer than three values are present or the times
    /// are no ride's.
    pub fn new(samples: &Samples, channel: Channel, sampling: Sampling) -> Option<Self> {
        let column = samples.column(channel)?;
        let (times, values): (Vec<f64>, Vec<f64>) = samples
            .time_s()
            .iter()
            .zip(column)
            .filter(|(_, v)| plausible(channel, **v))
            .map(|(t, v)| (*t, *v))
            .unzip();
        let (first, last) = (*times.first()?, *times.last()?);
        let seconds = (last - first).floor();
        if times.len() < 3 || seconds > (SECONDS_PER_SAMPLE * times.len() + DAY_S) as f64 {
            return None;
        }
        let len = seconds as usize + 1;
        let mut values = match sampling {
            Sampling::Regular => {
                let width_s = samples.median_interval_s().unwrap_or(1.0).max(1.0);
                interpolated(&times, &values, first, len, width_s)
            }
            Sampling::OnChange => held(&times, &values, first, len),
        };
        if channel == Channel::Cadence {
            values = despiked(values);
        }
        let sigma_s = sigma_s(channel);
        let coarse = Masked::new(&clipped(edges(&values, sigma_s)));
        let fine = Masked::new(&edges(&values, FINE_SIGMA_S));
        let held_s = match sampling {
            Sampling::Regular => 0.0,
            Sampling::OnChange => mean_age_s(&times),
        };
        Some(Self {
            start_s: first,
            held_s,
            values,
            averaged: channel == Channel::Power,
            edges: Band {
                masked: coarse,
                sigma_s,
            },
            fine: Band {
                masked: fine,
                sigma_s: FINE_SIGMA_S,
            },
        })
    }

    /// The transforms of the edges; `None` where fewer than two are present.
    pub fn transform(&self, correlator: &mut Correlator) -> Option<Spectra> {
        let edges: Vec<f64> = self
            .edges
            .masked
            .value
            .iter()
            .zip(&self.edges.masked.present)
            .map(|(v, p)| if *p > 0.0 { *v } else { f64::NAN })
            .collect();
        let mut spectra = Spectra::default();
        correlator.spectra(&edges, &mut spectra).then_some(spectra)
    }

    /// Whether the values vary at all.
    pub fn varies(&self) -> bool {
        let mut present = self.values.iter().filter(|v| !v.is_nan());
        let first = present.next();
        present.any(|v| Some(v) != first)
    }
}

impl Band {
    /// The spacing of samples that are independent when the values are white noise, s: `Σ ρ²` of
    /// the filter's autocorrelation `ρ(k) = (1 − k²/2σ²) exp(−k²/4σ²)`, which is `0.75 √(2π) σ`.
    pub fn independent_s(&self) -> f64 {
        0.75 * (2.0 * std::f64::consts::PI).sqrt() * self.sigma_s
    }

    /// How much of the band is quick: the mean square of its second to second changes over that of
    /// its values. Smoothing lowers it, gain does not.
    pub fn roughness(&self) -> f64 {
        let value = &self.masked.value;
        let square: f64 = value.iter().map(|v| v * v).sum();
        let changes: f64 = value
            .windows(2)
            .map(|pair| (pair[1] - pair[0]).powi(2))
            .sum();
        if square > 0.0 { changes / square } else { 0.0 }
    }
}

fn sigma_s(channel: Channel) -> f64 {
    match channel {
        Channel::HeartRate => 3.0,
        _ => 2.0,
    }
}

fn plausible(channel: Channel, value: f64) -> bool {
    match channel {
        Channel::HeartRate => value > 20.0,
        _ => !value.is_nan(),
    }
}

/// The value at `first + i`: the mean of the samples around, weighted by `1 − |Δt|/width`. For
/// samples `width` apart this is linear interpolation, exact on whole seconds; for closer ones it
/// is a centred average. Missing where the samples around are not all there.
fn interpolated(times: &[f64], values: &[f64], first: f64, len: usize, width_s: f64) -> Vec<f64> {
    const ENOUGH: f64 = 0.7;
    let mut weight = vec![0.0; len];
    let mut sum = vec![0.0; len];
    // The share of a whole weight that a sample stands for, so that dense samples need be there
    // too: samples closer than the width each bring less than one.
    let spacing_s = median_step(times).unwrap_or(width_s);
    let expected = (width_s / spacing_s).max(1.0);
    for (t, value) in times.iter().zip(values) {
        let at = t - first;
        let from = (at - width_s).ceil().max(0.0) as usize;
        let to = ((at + width_s).floor() as usize).min(len.saturating_sub(1));
        for i in from..=to {
            let w = 1.0 - (i as f64 - at).abs() / width_s;
            weight[i] += w;
            sum[i] += w * value;
        }
    }
    weight
        .iter()
        .zip(&sum)
        .map(|(w, s)| {
            if *w >= ENOUGH * expected {
                s / w
            } else {
                f64::NAN
            }
        })
        .collect()
}

/// The standard deviation that the median of these absolute values would have if they were normal.
/// Reorders them; `None` of none.
pub(super) fn robust_sd(sizes: &mut [f64]) -> Option<f64> {
    if sizes.is_empty() {
        return None;
    }
    let middle = sizes.len() / 2;
    Some(*sizes.select_nth_unstable_by(middle, f64::total_cmp).1 / NORMAL_MEDIAN)
}

fn median_step(times: &[f64]) -> Option<f64> {
    let mut steps: Vec<f64> = times.windows(2).map(|pair| pair[1] - pair[0]).collect();
    if steps.is_empty() {
        return None;
    }
    let middle = steps.len() / 2;
    Some(*steps.select_nth_unstable_by(middle, f64::total_cmp).1)
}

/// How old, on average over the time, the value of a recorder that writes only on change is, s:
/// `Σ Δt² / 2 Σ Δt` over the steps in which it is held. It writes when something has moved far
/// enough, so that this is how late a slow move of another kind shows.
fn mean_age_s(times: &[f64]) -> f64 {
    let steps = times.windows(2).map(|pair| pair[1] - pair[0]);
    let (squares, sum) = steps
        .filter(|step| *step <= HOLD_S)
        .fold((0.0, 0.0), |(squares, sum), step| {
            (squares + step * step, sum + step)
        });
    if sum > 0.0 {
        squares / (2.0 * sum)
    } else {
        0.0
    }
}

/// The latest value at or before `first + i`, missing once it is older than [`HOLD_S`].
fn held(times: &[f64], values: &[f64], first: f64, len: usize) -> Vec<f64> {
    let mut next = 0;
    (0..len)
        .map(|i| {
            let t = first + i as f64;
            while next < times.len() && times[next] <= t {
                next += 1;
            }
            match next.checked_sub(1) {
                Some(latest) if t - times[latest] <= HOLD_S => values[latest],
                _ => f64::NAN,
            }
        })
        .collect()
}

/// Values further from the running median of five than the ordinary become that median. Where there
/// is no spike nothing is touched: quick detail is what tells a delay.
fn despiked(mut values: Vec<f64>) -> Vec<f64> {
    let medians = median_of_five(&values);
    let apart = |(v, m): (&f64, &f64)| (v - m).abs();
    let mut sizes: Vec<f64> = values.iter().zip(&medians).map(apart).collect();
    sizes.retain(|size| !size.is_nan());
    let Some(sd) = robust_sd(&mut sizes) else {
        return medians;
    };
    let limit = (CLIP_SDS * sd).max(SPIKE_RPM);
    for (value, median) in values.iter_mut().zip(medians) {
        // A value without enough neighbours for a median is none either.
        if median.is_nan() || (*value - median).abs() > limit {
            *value = median;
        }
    }
    values
}

/// The running median of five, over the values present (three at least), against spikes.
fn median_of_five(values: &[f64]) -> Vec<f64> {
    (0..values.len())
        .map(|i| {
            if values[i].is_nan() {
                return f64::NAN;
            }
            let around = &values[i.saturating_sub(2)..(i + 3).min(values.len())];
            let mut present = [0.0; 5];
            let mut n = 0;
            for v in around.iter().filter(|v| !v.is_nan()) {
                present[n] = *v;
                n += 1;
            }
            let present = &mut present[..n];
            present.sort_unstable_by(f64::total_cmp);
            match n {
                0..3 => f64::NAN,
                n if n % 2 == 1 => present[n / 2],
                n => 0.5 * (present[n / 2 - 1] + present[n / 2]),
            }
        })
        .collect()
}

/// The mean of the next seconds minus the mean of the last, weighted by the derivative of a
/// Gaussian of half-width `sigma_s`; missing where more than half of either side's weight is.
fn edges(values: &[f64], sigma_s: f64) -> Vec<f64> {
    let reach = (3.0 * sigma_s).ceil() as usize;
    let weights: Vec<f64> = (1..=reach)
        .map(|k| {
            let k = k as f64;
            k * (-k * k / (2.0 * sigma_s * sigma_s)).exp()
        })
        .collect();
    let total: f64 = weights.iter().sum();
    let len = values.len();
    let mut out = vec![0.0; len];
    // As if nothing were missing: plain loops, which the compiler vectorises.
    if let Some(inner) = len.checked_sub(2 * reach).filter(|inner| *inner > 0) {
        let into = &mut out[reach..reach + inner];
        for (k, w) in (1..).zip(&weights) {
            let weight = w / total;
            let after = &values[reach + k..reach + k + inner];
            let before = &values[reach - k..reach - k + inner];
            for ((o, a), b) in into.iter_mut().zip(after).zip(before) {
                *o += weight * (a - b);
            }
        }
    }
    // Then the ends and what is near a gap, of which the sums above have made NaN.
    for (i, out) in out.iter_mut().enumerate() {
        if i < reach || i + reach >= len || out.is_nan() {
            *out = edge_at(values, i, &weights, 0.5 * total);
        }
    }
    out
}

/// One edge, over the values that are there.
fn edge_at(values: &[f64], i: usize, weights: &[f64], enough: f64) -> f64 {
    let mean = |value_at: &dyn Fn(usize) -> Option<f64>| {
        let (mut sum, mut weight) = (0.0, 0.0);
        for (k, w) in (1..).zip(weights) {
            if let Some(value) = value_at(k).filter(|v| !v.is_nan()) {
                sum += w * value;
                weight += w;
            }
        }
        (weight >= enough).then(|| sum / weight)
    };
    let after = mean(&|k| values.get(i + k).copied());
    let before = mean(&|k| values.get(i.checked_sub(k)?).copied());
    after
        .zip(before)
        .map_or(f64::NAN, |(after, before)| after - before)
}

/// Values limited to ± [`CLIP_SDS`] robust standard deviations.
fn clipped(mut values: Vec<f64>) -> Vec<f64> {
    let mut sizes: Vec<f64> = values
        .iter()
        .filter(|v| !v.is_nan())
        .map(|v| v.abs())
        .collect();
    let Some(sd) = robust_sd(&mut sizes) else {
        return values;
    };
    let rms = (sizes.iter().map(|s| s * s).sum::<f64>() / sizes.len() as f64).sqrt();
    // Where most of the ride is dead level the median says nothing of the rest.
    let limit = CLIP_SDS * sd.max(0.25 * rms);
    for value in &mut values {
        *value = value.clamp(-limit, limit);
    }
    values
}

#[cfg(test)]
mod tests {
    use super::*;

    fn samples(times: Vec<f64>, channel: Channel, values: Vec<f64>) -> Samples {
        let mut samples = Samples::new(times).unwrap();
        assert!(samples.set_column(channel, values));
        samples
    }

    #[test]
    fn whole_seconds_are_taken_as_they_are_and_gaps_stay() {
        let times = vec![100.0, 101.0, 102.0, 105.0, 106.0];
        let values = vec![1.0, 2.0, 4.0, 8.0, 16.0];
        let signal = Signal::new(
            &samples(times, Channel::Power, values),
            Channel::Power,
            Sampling::Regular,
        )
        .unwrap();
        assert_eq!(signal.start_s, 100.0);
        assert_eq!(signal.values[..3], [1.0, 2.0, 4.0]);
        assert!(signal.values[3].is_nan() && signal.values[4].is_nan());
        assert_eq!(signal.values[5..], [8.0, 16.0]);
    }

    #[test]
    fn sparse_and_dense_samples_are_interpolated_without_shift() {
        for step in [0.1, 0.25, 0.5, 1.0, 2.0, 5.0] {
            let times: Vec<f64> = (0..400).map(|i| f64::from(i) * step).collect();
            let values: Vec<f64> = times.iter().map(|t| 3.0 * t).collect();
            let signal = Signal::new(
                &samples(times, Channel::Power, values),
                Channel::Power,
                Sampling::Regular,
            )
            .unwrap();
            for i in 6..signal.values.len() - 6 {
                assert!(
                    (signal.values[i] - 3.0 * i as f64).abs() < 1e-9,
                    "{step} {i}"
                );
            }
        }
    }

    #[test]
    fn on_change_samples_hold_but_not_for_ever() {
        let held = held(&[0.0, 3.5, 100.0], &[1.0, 2.0, 3.0], 0.0, 101);
        assert_eq!(held[..4], [1.0, 1.0, 1.0, 1.0]);
        assert_eq!(held[4], 2.0);
        assert_eq!(held[33], 2.0);
        assert!(held[34].is_nan());
        assert_eq!(held[100], 3.0);
    }

    #[test]
    fn a_spike_goes_and_a_step_stays() {
        let mut values = vec![80.0; 10];
        values.extend([95.0; 10]);
        values[4] = 250.0;
        let smooth = median_of_five(&values);
        assert_eq!(smooth[4], 80.0);
        assert_eq!((smooth[9], smooth[10]), (80.0, 95.0));
    }

    #[test]
    fn edges_of_a_line_are_its_slope_and_peak_in_the_middle_of_a_step() {
        let line: Vec<f64> = (0..60).map(f64::from).collect();
        let found = edges(&line, 2.0);
        assert!((found[30] - found[31]).abs() < 1e-12);
        let step: Vec<f64> = (0..61).map(|i| f64::from(u8::from(i > 30))).collect();
        let found = edges(&step, 2.0);
        for k in 0..8 {
            assert!((found[30 - k] - found[31 + k]).abs() < 1e-12);
        }
        assert!((found[30] - 1.0).abs() < 1e-12);
    }

    #[test]
    fn times_that_are_no_ride_are_refused() {
        let times = vec![0.0, 1.0, 2.0, 1.7e9];
        let samples = samples(times, Channel::Power, vec![1.0, 2.0, 3.0, 4.0]);
        assert!(Signal::new(&samples, Channel::Power, Sampling::Regular).is_none());
    }
}
