//! One regular swing in a series: the strongest line of its periodogram, whether it is more than
//! chance, and how large it is.
//!
//! The series, less its mean, is made nearly white first: `e_t = z_t − φ z_{t−1}` with φ its
//! correlation at one row. The periodogram `I_j = |Σ e_t exp(−2πi j t/n)|²/n` is taken at j = 1 … N,
//! `N = ⌊(n−1)/2⌋`. Fisher's statistic is `g = max I_j / Σ I_j`, and for white noise
//! `P(G > g) = Σ_{i=1}^{⌊1/g⌋} (−1)^{i−1} C(N, i) (1 − i g)^{N−1}` (Fisher 1929, Proc R Soc A 125:54;
//! Brockwell & Davis 1991, Time Series, 10.2; both from memory).
//!
//! The amplitude is that of the series as it is, not of the whitened one: `A² = a² + b²` with
//! `a = (2/n) Σ z cos ωt`, `b = (2/n) Σ z sin ωt`, at the frequency within one ordinate of the line
//! where it is largest. A line has the standard deviation A/√2. Noise alone puts a variance
//! `s² = ⟨a² + b²⟩/2` on each of a and b, with the mean over the ordinates nearby once the line is
//! taken off; that is the variance of A where A is large against it.

use super::NORMAL_95;
use std::f64::consts::TAU;
use std::ops::RangeInclusive;

use realfft::RealFftPlanner;

use super::Interval;

/// Least share of rows with a value.
const PRESENT: f64 = 0.8;
/// Fewest rows worth a periodogram.
const FEWEST: usize = 30;
/// Steps of the search for the frequency, in parts of the distance of two ordinates.
const PARTS: i32 = 10;
/// Ordinates on either side from which the noise at the line is estimated.
const NEARBY: i32 = 6;

/// The strongest line of a series.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Its period, s.
    pub period_s: f64,
    /// Its amplitude, half of crest to trough, in the unit of the series.
    pub amplitude: f64,
    /// Standard uncertainty of the amplitude.
    pub standard_uncertainty: f64,
    /// Fisher's g.
    pub g: f64,
    /// Probability of a g at least as large in white noise.
    pub p_value: f64,
}

impl Line {
    /// 95 % limits of the amplitude; the lower one not below 0.
    pub fn ci95(&self) -> Interval {
        let half = NORMAL_95 * self.standard_uncertainty;
        [(self.amplitude - half).max(0.0), self.amplitude + half]
    }
}

/// The strongest line of `values` (one every `step_s`; NaN: missing) with a period within
/// `periods_s` for which `counts` is true. `None` below 30 rows, where a fifth is missing, where
/// nothing varies, or where no ordinate lies within.
pub fn strongest(
    values: &[f64],
    step_s: f64,
    periods_s: RangeInclusive<f64>,
    counts: impl Fn(f64) -> bool,
) -> Option<Line> {
    let present: Vec<f64> = values.iter().copied().filter(|v| v.is_finite()).collect();
    let n = values.len();
    if n < FEWEST || (present.len() as f64) < PRESENT * n as f64 {
        return None;
    }
    let mean = present.iter().sum::<f64>() / present.len() as f64;
    let level = |v: &f64| if v.is_finite() { v - mean } else { 0.0 };
    let series: Vec<f64> = values.iter().map(level).collect();
    let ordinates = ordinates(&whitened(&series)?);
    let total: f64 = ordinates.iter().sum();
    let rate = 1.0 / (n as f64 * step_s);
    let period_s = |at: usize| 1.0 / ((at + 1) as f64 * rate);
    let (at, highest) = ordinates
        .iter()
        .enumerate()
        .filter(|(at, _)| periods_s.contains(&period_s(*at)) && counts(period_s(*at)))
        .max_by(|a, b| a.1.total_cmp(b.1))?;
    let g = highest / total;
    if !g.is_finite() {
        return None;
    }
    let (turns, amplitude) = (-PARTS..=PARTS)
        .map(|part| (at + 1) as f64 + f64::from(part) / f64::from(PARTS))
        .map(|turns| (turns, size(&series, turns)))
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    Some(Line {
        period_s: 1.0 / (turns * rate),
        amplitude,
        standard_uncertainty: noise_nearby(&series, turns),
        g,
        p_value: fisher_p_value(g, ordinates.len()),
    })
}

/// Probability that Fisher's g of `ordinates` ordinates of white noise is larger than `g`.
pub fn fisher_p_value(g: f64, ordinates: usize) -> f64 {
    if ordinates == 0 || g <= 0.0 {
        return 1.0;
    }
    let n = ordinates as f64;
    let (mut sum, mut choose_ln) = (0.0, 0.0);
    for i in 1..=ordinates {
        let i_ = i as f64;
        let left = 1.0 - i_ * g;
        if left <= 0.0 {
            break;
        }
        choose_ln += ((n - i_ + 1.0) / i_).ln();
        let term = (choose_ln + (n - 1.0) * left.ln()).exp();
        sum += if i % 2 == 1 { term } else { -term };
        // Terms of either sign cancel where the probability is near 1, and add nothing later on.
        if term < 1e-12 {
            break;
        }
    }
    sum.clamp(0.0, 1.0)
}

/// The series less what its neighbour before leads one to expect; `None` where nothing varies.
fn whitened(series: &[f64]) -> Option<Vec<f64>> {
    let squares: f64 = series.iter().map(|z| z * z).sum();
    let products: f64 = series.windows(2).map(|pair| pair[0] * pair[1]).sum();
    let phi = products / squares;
    phi.is_finite().then(|| {
        let first = series.first().copied().unwrap_or(0.0) * (1.0 - phi * phi).max(0.0).sqrt();
        let rest = series.windows(2).map(|pair| pair[1] - phi * pair[0]);
        std::iter::once(first).chain(rest).collect()
    })
}

/// The periodogram at 1 … ⌊(n−1)/2⌋ turns in the whole series.
fn ordinates(series: &[f64]) -> Vec<f64> {
    let n = series.len();
    let transform = RealFftPlanner::<f64>::new().plan_fft_forward(n);
    let (mut input, mut output) = (series.to_vec(), transform.make_output_vec());
    // The lengths fit: both come from the plan.
    if transform.process(&mut input, &mut output).is_err() {
        return Vec::new();
    }
    let last = (n - 1) / 2;
    output[1..=last]
        .iter()
        .map(|c| c.norm_sqr() / n as f64)
        .collect()
}

/// Coefficients a and b of the line of `turns` turns in the whole series.
fn coefficients(series: &[f64], turns: f64) -> [f64; 2] {
    let n = series.len() as f64;
    let (mut a, mut b) = (0.0, 0.0);
    for (row, value) in series.iter().enumerate() {
        let (sin, cos) = (TAU * turns * row as f64 / n).sin_cos();
        a += value * cos;
        b += value * sin;
    }
    [2.0 * a / n, 2.0 * b / n]
}

fn size(series: &[f64], turns: f64) -> f64 {
    let [a, b] = coefficients(series, turns);
    a.hypot(b)
}

/// Standard deviation that noise alone puts on a coefficient near the line.
fn noise_nearby(series: &[f64], turns: f64) -> f64 {
    let n = series.len() as f64;
    let [a, b] = coefficients(series, turns);
    let rest: Vec<f64> = series
        .iter()
        .enumerate()
        .map(|(row, value)| {
            let (sin, cos) = (TAU * turns * row as f64 / n).sin_cos();
            value - a * cos - b * sin
        })
        .collect();
    let last = ((series.len() - 1) / 2) as f64;
    let squares: Vec<f64> = (-NEARBY..=NEARBY)
        .filter(|off| off.abs() >= 1)
        .map(|off| turns.round() + f64::from(off))
        .filter(|turns| *turns >= 1.0 && *turns <= last)
        .map(|turns| size(&rest, turns).powi(2))
        .collect();
    (squares.iter().sum::<f64>() / squares.len().max(1) as f64 / 2.0).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::vectors::{assert_close, lcg};

    #[test]
    fn fishers_level_of_149_ordinates() {
        // Computed beforehand from the sum above: 5 % at g = 0.05251 for 149 ordinates.
        assert_close(fisher_p_value(0.05251, 149), 0.05, 1e-3);
        assert_eq!(fisher_p_value(1.0, 149), 0.0);
        assert_eq!(fisher_p_value(0.0, 149), 1.0);
        // N = 2 by hand: P(G > g) = 2 (1 − g) for g > ½.
        assert_close(fisher_p_value(0.75, 2), 0.5, 1e-12);
    }

    #[test]
    fn a_sine_of_8_w_has_its_amplitude_and_period() {
        let noise = lcg(300);
        for period_s in [6.0, 12.0, 13.7, 31.0] {
            let values: Vec<f64> = (0..300)
                .map(|t| 8.0 * (TAU * t as f64 / period_s).sin() + 2.0 * (noise[t] - 0.5))
                .collect();
            let line = strongest(&values, 1.0, 4.0..=40.0, |_| true).unwrap();
            assert!((line.period_s / period_s - 1.0).abs() < 0.02, "{line:?}");
            assert!((line.amplitude - 8.0).abs() < 0.3, "{line:?}");
            // √2 times the standard deviation of a line is its amplitude: 5.657 W for 8 W.
            assert_close(8.0 / 2.0_f64.sqrt(), 5.657, 5e-4);
            assert!(line.p_value < 1e-6);
            let [low, high] = line.ci95();
            assert!(low < 8.0 && 8.0 < high && high - low < 1.0, "{line:?}");
        }
    }

    #[test]
    fn white_noise_is_named_about_as_often_as_stated() {
        let draws = lcg(200 * 400);
        let named = draws
            .chunks(200)
            .filter(|noise| {
                let line = strongest(noise, 1.0, 2.0..=400.0, |_| true).unwrap();
                line.p_value < 0.05
            })
            .count();
        assert!((8..=36).contains(&named), "{named} of 400");
    }

    #[test]
    fn what_does_not_count_is_not_found() {
        let values: Vec<f64> = (0..240)
            .map(|t| (TAU * f64::from(t) / 10.0).sin())
            .collect();
        let other = strongest(&values, 1.0, 4.0..=40.0, |period_s| {
            (period_s - 10.0).abs() > 1.0
        });
        assert!(other.is_none_or(|line| line.g < 0.1));
        assert_eq!(strongest(&[3.0; 100], 1.0, 4.0..=40.0, |_| true), None);
        assert_eq!(strongest(&values[..20], 1.0, 4.0..=40.0, |_| true), None);
        assert_eq!(strongest(&[f64::NAN; 100], 1.0, 4.0..=40.0, |_| true), None);
    }
}
