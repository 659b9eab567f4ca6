//! The response of a first-order lag with dead time, or of a moving mean, to a sampled signal.
//!
//! Between its samples the input is taken as straight. For `τ ẏ = u(t − d) − y` the output is then
//! known exactly: over a piece with slope `s` that ends at `u₁`, at a time `h` after its start,
//! `y(h) = u₁ − τ s + (y₀ − u₀ + τ s) e^(−h/τ)` with `u₁ = u₀ + s h` (elementary solution of the
//! linear equation). Dead times need not fall on the grid. Averaging both signals over a second, as
//! recorders may do, changes nothing: averaging and lag commute.

/// A lag and a dead time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lag {
    /// Dead time, s; negative where the output comes first.
    pub delay_s: f64,
    /// Time constant, s; zero for none.
    pub time_constant_s: f64,
}

/// The lagged signal without dead time, at the samples of `input` (all present), in its steady
/// state at the first one.
fn states(input: &[f64], step_s: f64, time_constant_s: f64) -> Vec<f64> {
    let mut out = Vec::with_capacity(input.len());
    let mut state = input.first().copied().unwrap_or(0.0);
    for (row, &value) in input.iter().enumerate() {
        if row > 0 {
            state = after(
                state,
                input[row - 1],
                value,
                step_s,
                step_s,
                time_constant_s,
            );
        }
        out.push(state);
    }
    out
}

/// The state a time `h` into a piece that runs from `from` to `to` in `step_s`.
fn after(state: f64, from: f64, to: f64, step_s: f64, h: f64, time_constant_s: f64) -> f64 {
    let slope = (to - from) / step_s;
    let input = from + slope * h;
    if time_constant_s <= 0.0 {
        return input;
    }
    let lead = time_constant_s * slope;
    input - lead + (state - from + lead) * (-h / time_constant_s).exp()
}

/// The response to `input` (all present, rows spaced `step_s`), row by row; NaN where the dead
/// time reaches outside the input.
pub fn response(input: &[f64], step_s: f64, lag: Lag) -> Vec<f64> {
    let states = states(input, step_s, lag.time_constant_s);
    let last = input.len().saturating_sub(1);
    (0..input.len())
        .map(|row| {
            let at = row as f64 - lag.delay_s / step_s;
            if at < 0.0 || at > last as f64 {
                return f64::NAN;
            }
            let from = at.floor() as usize;
            if from == last {
                return states[last];
            }
            let h = (at - from as f64) * step_s;
            after(
                states[from],
                input[from],
                input[from + 1],
                step_s,
                h,
                lag.time_constant_s,
            )
        })
        .collect()
}

/// `input` (all present) with `parts` values for each step, by cubic convolution (Keys 1981, IEEE
/// Trans ASSP 29:1153, a = −½, from memory); the first and last step are straight.
///
/// Straight lines between samples would blunt the input: they add a variance of h²/6 to any response
/// fitted to it, which a fit then takes off the time constant. Keys' cubic adds none.
pub fn refined(input: &[f64], parts: usize) -> Vec<f64> {
    let last = input.len().saturating_sub(1);
    let mut out = Vec::with_capacity(last * parts + 1);
    for row in 0..last {
        let (p1, p2) = (input[row], input[row + 1]);
        let inner = row > 0 && row + 2 <= last;
        let (p0, p3) = if inner {
            (input[row - 1], input[row + 2])
        } else {
            (p1 - (p2 - p1), p2 + (p2 - p1))
        };
        out.extend((0..parts).map(|part| cubic([p0, p1, p2, p3], part as f64 / parts as f64)));
    }
    out.extend(input.last());
    out
}

/// Keys' cubic a share `t` of the way from the second of four values to the third.
fn cubic([p0, p1, p2, p3]: [f64; 4], t: f64) -> f64 {
    let slope = 0.5 * (p2 - p0);
    let square = p0 - 2.5 * p1 + 2.0 * p2 - 0.5 * p3;
    let cube = 0.5 * (p3 - p0) + 1.5 * (p1 - p2);
    p1 + t * (slope + t * (square + t * cube))
}

/// Moving mean over the `average_s` before each row; `values` themselves up to one `step_s`.
///
/// Each value is taken as a mean over its own step, as recorders write them: the sum of them is then
/// the exact integral at the end of each row, and a mean over five steps is that of five values.
/// Between the rows' ends the integral is that of [`refined`]. The first present value holds for
/// all time before it, missing values after the last present one stay missing.
pub fn averaged(values: &[f64], step_s: f64, average_s: f64) -> Vec<f64> {
    let steps = average_s / step_s;
    if steps <= 1.0 {
        return values.to_vec();
    }
    let lead = values.iter().take_while(|v| !v.is_finite()).count();
    let present = values.get(lead..).unwrap_or(&[]);
    let mut sum = 0.0;
    let integral: Vec<f64> = present
        .iter()
        .map(|value| {
            sum += value;
            sum
        })
        .collect();
    let until = |row: isize| -> f64 {
        match usize::try_from(row) {
            Ok(row) if row < integral.len() => integral[row],
            // One step past the end, which only the slope at the last row asks for.
            Ok(_) => sum + present.last().copied().unwrap_or(0.0),
            Err(_) => (row + 1) as f64 * present.first().copied().unwrap_or(0.0),
        }
    };
    let means = (0..present.len() as isize).map(|row| {
        let at = row as f64 - steps;
        let below = at.floor();
        let k = below as isize;
        let before = cubic(
            [until(k - 1), until(k), until(k + 1), until(k + 2)],
            at - below,
        );
        (until(row) - before) / steps
    });
    values.iter().take(lead).copied().chain(means).collect()
}

/// How a source answers: a dead time and a first-order lag, clipped, then a moving mean.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Answer {
    /// Dead time and lag.
    pub lag: Lag,
    /// What is averaged is clipped at this, W; infinity for never.
    pub clip_w: f64,
    /// Length of the moving mean, s; up to one step for none.
    pub average_s: f64,
}

/// Values that a step is refined to before a lag is applied.
pub const PARTS: usize = 4;

/// The answer to an input that is [`refined`] to [`PARTS`] values a step of `step_s`, one value a
/// step; NaN where the dead time reaches outside the input.
pub fn answer(fine: &[f64], step_s: f64, answer: Answer) -> Vec<f64> {
    let lagged: Vec<f64> = response(fine, step_s / PARTS as f64, answer.lag)
        .into_iter()
        .step_by(PARTS)
        // Not `min`, which would take a missing value for the clip.
        .map(|w| if w > answer.clip_w { answer.clip_w } else { w })
        .collect();
    averaged(&lagged, step_s, answer.average_s)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lag(delay_s: f64, time_constant_s: f64) -> Lag {
        Lag {
            delay_s,
            time_constant_s,
        }
    }

    /// A step reaches 63.212 % after one time constant (analytic).
    #[test]
    fn a_step_reaches_its_analytic_values() {
        let step_s = 0.001;
        let mut input = vec![0.0; 10];
        input.extend(vec![1.0; 12_000]);
        let out = response(&input, step_s, lag(0.0, 2.0));
        // The step itself takes one row, half of it late.
        let at = |t: f64| out[9 + (t / step_s) as usize];
        for (t, expected) in [(2.0, 0.632121), (4.0, 0.864665), (8.0, 0.981684)] {
            assert!((at(t) - expected).abs() < 3e-4, "{t}: {}", at(t));
        }
    }

    /// On a straight rise the response runs parallel, late by dead time plus time constant.
    #[test]
    fn a_ramp_is_late_by_dead_time_plus_time_constant() {
        let input: Vec<f64> = (0..100).map(f64::from).collect();
        let out = response(&input, 1.0, lag(1.4, 3.0));
        assert!((out[90] - (90.0 - 4.4)).abs() < 1e-9);
        assert!(out[0].is_nan() && out[1].is_nan() && out[2].is_finite());
    }

    /// Peak of the response to a half-sine of length T, τ = 0.2 T: 0.862235 of the input's
    /// (`methods` §12, recomputed there by numerical integration).
    #[test]
    fn a_half_sine_loses_its_published_share() {
        let step_s = 0.005;
        let input: Vec<f64> = (0..=4000)
            .map(|i| {
                (std::f64::consts::PI * f64::from(i) * step_s / 10.0)
                    .sin()
                    .max(0.0)
            })
            .map(|u| if u < 1e-12 { 0.0 } else { u })
            .collect();
        let peak = response(&input[..2001], step_s, lag(0.0, 2.0))
            .into_iter()
            .fold(0.0, f64::max);
        assert!((peak - 0.862235).abs() < 1e-5, "{peak}");
    }

    /// Keys' cubic goes through the samples and reproduces a parabola.
    #[test]
    fn refining_keeps_samples_and_parabolas() {
        let input: Vec<f64> = (0..12)
            .map(|i| f64::from(i * i) - 7.0 * f64::from(i))
            .collect();
        let fine = refined(&input, 4);
        assert_eq!(fine.len(), 45);
        for (row, value) in fine.iter().enumerate().take(40).skip(4) {
            let t = row as f64 / 4.0;
            assert!((value - (t * t - 7.0 * t)).abs() < 1e-9, "{t}");
        }
        assert_eq!(refined(&[3.0], 4), [3.0]);
        assert!(refined(&[], 4).is_empty());
    }

    /// A mean of whole steps is that of the values; one of 2.5 lies between, and on a straight rise
    /// any mean is late by half of what it is longer than a step (analytic).
    #[test]
    fn a_moving_mean_is_that_of_the_values() {
        let input = [1.0, 5.0, 2.0, 8.0, 4.0, 4.0];
        let five = averaged(&input, 1.0, 5.0);
        assert!((five[4] - 4.0).abs() < 1e-12 && (five[5] - 4.6).abs() < 1e-12);
        assert!((five[0] - 1.0).abs() < 1e-12, "the first value held before");
        assert_eq!(averaged(&input, 1.0, 1.0), input);
        let rise: Vec<f64> = (0..40).map(f64::from).collect();
        for seconds in [1.5, 2.5, 4.0, 7.25] {
            let late = averaged(&rise, 1.0, seconds)[30];
            assert!((late - (30.0 - 0.5 * (seconds - 1.0))).abs() < 1e-9);
        }
        let gappy = averaged(&[f64::NAN, 3.0, 3.0, f64::NAN], 1.0, 2.0);
        assert!(gappy[0].is_nan() && gappy[3].is_nan());
        assert_eq!(gappy[1..3], [3.0, 3.0]);
        assert!(
            averaged(&[f64::NAN; 3], 1.0, 2.0)
                .iter()
                .all(|v| v.is_nan())
        );
        assert!(averaged(&[], 1.0, 2.0).is_empty());
    }

    #[test]
    fn no_lag_returns_the_input_and_an_early_output_runs_ahead() {
        let input = [1.0, 5.0, 2.0, 8.0];
        assert_eq!(response(&input, 1.0, lag(0.0, 0.0)), input);
        let early = response(&input, 1.0, lag(-1.0, 0.0));
        assert_eq!(early[..3], [5.0, 2.0, 8.0]);
        assert!(early[3].is_nan());
        assert!(response(&[], 1.0, lag(0.0, 1.0)).is_empty());
    }
}
