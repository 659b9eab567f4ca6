//! The shift between two recorders from the steps of one heart-rate strap that both heard.
//!
//! # Model
//! A strap sends whole beats a minute; each recorder writes the latest value it has heard at every
//! second of its own clock. Let the second clock be `θ = k + f` ahead, `k` whole, `0 ≤ f < 1`. A
//! value that changes at any moment is first written at the next whole second, so the second
//! recorder shows the change `k` or `k + 1` of its seconds later, the latter with probability `f`
//! where changes fall anywhere within a second: the lag of one step is `k` + Bernoulli(`f`), with
//! mean `θ` and variance `f(1 − f)`. The mean of `N` lags attains the Cramér–Rao bound for constant
//! `f`. A correlation does not: in a window whose steps agree its peak is sharp and says a whole
//! number, and weights by sharpness pull the offset to the nearest whole second.
//!
//! # Estimator
//! The second series is moved by `k` = the whole part of the shift that correlation found. Steps of
//! the first side that no 3 s without a step separate are one *cluster*; it counts where both sides
//! hold `p` before and `q ≠ p` after, and nothing is missing. (Steps of both sides would separate
//! clusters sooner where the lag is short, and clusters that merge into `q = p` are lost: that would
//! favour short lags. What one side's seconds favour at a cluster's start they take at its end.)
//! Its lag is an area,
//! `D = k − Σ(b − a)/(q − p)`, so that a flicker which one side did not see adds noise but no bias.
//! Its weight is `w = (q − p)²/n` with `n` the larger number of steps of the two sides (the
//! variance of a sum of `n` unit steps over their squared sum). Lags more than 1.6 s from the
//! correlation's shift are other beats, and are left out.
//!
//! The offset is `D̄ = Σ w (D − r·(t − t̄)) / Σ w` at `t̄ = Σ w t / Σ w`, with `r` the rate that all
//! channels together tell. There the rate takes no part in it. For the scatter, a residual slope is
//! taken out, `β = Σ w x (D − D̄ − r x) / (Σ w x² + s²/σ_r²)` with `x = t − t̄` and `σ_r` = 60 ppm,
//! what quartz may differ by; `s² = (Σ w e² + 1)/(N − 1)` from the `e` that it leaves (the 1 stands
//! for the lag that few clusters have not shown yet), three times in turn.
//!
//! # Uncertainty
//! `u² = max(s², s_b²)/Σ w`, where `s_b² = Σ_b (Σ w e)²/Σ w / (B − 2)` over `B = min(20, N/6)`
//! consecutive blocks of about equal weight: it exceeds `s²` where neighbouring clusters agree, as
//! with a strap whose timer beats against the recorders' seconds. 95 % is `1.96 u`, or Student's t
//! with `B − 2` degrees of freedom where the blocks decide; 0.02 s are added in quadrature for the
//! rounding of time stamps and the recorders' own jitter.
//!
//! # What it cannot see
//! A recorder that is late by a constant moves every step alike: an allowance is stated for that
//! ([`ALLOWANCE_S`]). A strap that sends on an exact timer of a period `T` that divides 1 s changes
//! at fixed phases: then the error is anything up to `±T` however many steps there are (triangular;
//! 95 % within `0.776 T`). `timer.rs` looks for that in the lags, and where `s_b²` is far above `s²`
//! they move in stairs.

use statrs::distribution::{ContinuousCDF, StudentsT};

use super::timer::{Cluster, DRIFT_Z, Timer, timer_of};

/// Longest time without a step inside a cluster, s.
const QUIET_S: usize = 3;
/// A lag further than this from the correlation's shift belongs to another beat, s.
const FAR_S: f64 = 1.6;
/// Fewest clusters for an estimate.
const FEWEST: usize = 24;
/// Standard deviation of the rate between two recorders' clocks, quartz being within some ±100 ppm
/// (common practice, no source). It matters only where the ride tells less.
pub(super) const USUAL_RATE: f64 = 6e-5;
/// Blocks aimed at, and the fewest clusters of one.
const MOST_BLOCKS: usize = 20;
const CLUSTERS_A_BLOCK: usize = 6;
/// Half-width that no number of steps takes away, s.
const FLOOR_S: f64 = 0.02;
/// Blocks scatter this many times more than their clusters where the shift moves in stairs.
const STAIRS: f64 = 2.5;

/// Half-width allowed for recorders that are late by a constant, s. A recorder writes what it heard
/// up to some 0.3 s before (a rule of thumb; no source), and no column shows it: two such delays,
/// each anywhere between 0 and 0.3 s, differ by at most 0.233 s in 95 % of cases (triangular).
pub(super) const ALLOWANCE_S: f64 = 0.25;

/// The shift from the steps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Steps {
    /// Weighted middle of the clusters, index into the first series.
    pub at: f64,
    /// The lag there, samples.
    pub lag: f64,
    /// 95 % half-width of the lag there, without what no column shows.
    pub half: f64,
    /// What the lags show of a strap on a timer.
    pub timer: Option<Timer>,
}

/// The lag of `b` against `a`, both whole numbers at whole seconds. `near` is the lag that
/// correlation found, by index into `a`; `rate` its change a sample; `clocks` the rate of the clocks as
/// told by others than the strap, with its standard uncertainty. `None` where there are too few steps.
pub(super) fn lag_of_steps(
    a: &[f64],
    b: &[f64],
    near: &dyn Fn(f64) -> f64,
    rate: f64,
    clocks: (f64, f64),
) -> Option<Steps> {
    let clusters = clusters(a, b, near);
    if clusters.len() < FEWEST {
        return None;
    }
    let n = clusters.len();
    let total: f64 = clusters.iter().map(|c| c.weight).sum();
    let mean = |of: &dyn Fn(&Cluster) -> f64| {
        clusters.iter().map(|c| c.weight * of(c)).sum::<f64>() / total
    };
    let at = mean(&|c| c.at);
    let lag = mean(&|c| c.lag - rate * (c.at - at));
    let left = |c: &Cluster| c.lag - lag - rate * (c.at - at);
    let spread: f64 = mean(&|c| (c.at - at).powi(2)) * total;
    let tilt: f64 = mean(&|c| (c.at - at) * left(c)) * total;
    let squares = |beta: f64| mean(&|c| (left(c) - beta * (c.at - at)).powi(2)) * total;
    let (mut beta, mut s2) = (0.0, 0.0);
    for _ in 0..3 {
        s2 = (squares(beta) + 1.0) / (n - 1) as f64;
        beta = tilt / (spread + s2 / USUAL_RATE.powi(2));
    }
    let rest = |c: &Cluster| left(c) - beta * (c.at - at);
    let blocks = MOST_BLOCKS.min(n / CLUSTERS_A_BLOCK);
    let dof = (blocks - 2) as f64;
    let by_block = equal_blocks(&clusters, blocks, total);
    let block_s2 = by_block.map(|block| {
        let (sum, weight) = block.iter().fold((0.0, 0.0), |(sum, weight), c| {
            (sum + c.weight * rest(c), weight + c.weight)
        });
        sum * sum / weight
    });
    let block_s2 = block_s2.sum::<f64>() / dof;
    let quantile = if block_s2 > s2 {
        StudentsT::new(0.0, 1.0, dof).map_or(f64::NAN, |t| t.inverse_cdf(0.975))
    } else {
        1.96
    };
    let sd = (s2.max(block_s2) / total).sqrt();
    let drift = tilt / spread;
    let drift_sd = ((squares(drift) + 1.0) / ((n - 2) as f64 * spread)).sqrt();
    let drifts = (rate + drift - clocks.0).abs() > DRIFT_Z * drift_sd.hypot(clocks.1);
    let stairs = || (block_s2 > STAIRS * s2).then_some(Timer::Stairs);
    let timer = timer_of(&clusters, squares(beta), drifts).or_else(stairs);
    Some(Steps {
        at,
        lag,
        half: (quantile * sd).hypot(FLOOR_S),
        timer,
    })
}

/// The clusters of steps of `a`, with the lag of `b` in each.
fn clusters(a: &[f64], b: &[f64], near: &dyn Fn(f64) -> f64) -> Vec<Cluster> {
    let mut out = Vec::new();
    let mut run: Option<(usize, usize)> = None;
    for (i, pair) in (1..).zip(a.windows(2)) {
        // Missing values differ from all others: a hole joins what it touches, and is left out.
        if pair[0] == pair[1] {
            continue;
        }
        run = match run {
            Some((first, last)) if i - last <= QUIET_S => Some((first, i)),
            done => {
                out.extend(done.and_then(|run| cluster(a, b, near, run)));
                Some((i, i))
            }
        };
    }
    out.extend(run.and_then(|run| cluster(a, b, near, run)));
    out
}

/// The cluster whose first and last steps are into entries `first` and `last` of `a`.
fn cluster(
    a: &[f64],
    b: &[f64],
    near: &dyn Fn(f64) -> f64,
    (first, last): (usize, usize),
) -> Option<Cluster> {
    let at = 0.5 * (first + last) as f64;
    let whole = near(at).floor();
    // A step of `b` may come a second before that of `a` or two after it, `k` being the whole part.
    let (from, to) = (first.checked_sub(2)?, last + 2);
    let (from_b, to_b) = (from as i64 + whole as i64, to as i64 + whole as i64);
    let a = a.get(from..=to)?;
    let b = b.get(usize::try_from(from_b).ok()?..=usize::try_from(to_b).ok()?)?;
    let (p, q) = (a[0], a[a.len() - 1]);
    if b[0] != p || b[b.len() - 1] != q || p == q {
        return None;
    }
    let area: f64 = b.iter().zip(a).map(|(b, a)| b - a).sum();
    let steps = |values: &[f64]| values.windows(2).filter(|pair| pair[0] != pair[1]).count();
    let lag = whole - area / (q - p);
    let whole_numbers = p.fract() == 0.0 && q.fract() == 0.0;
    (area.is_finite() && whole_numbers && (lag - near(at)).abs() <= FAR_S).then(|| Cluster {
        at,
        lag,
        weight: (q - p).powi(2) / steps(a).max(steps(b)) as f64,
    })
}

/// `count` runs of clusters of about equal weight each.
fn equal_blocks(
    clusters: &[Cluster],
    count: usize,
    total: f64,
) -> impl Iterator<Item = &[Cluster]> {
    let mut before = 0.0;
    let block_of: Vec<usize> = clusters
        .iter()
        .map(|c| {
            let middle = before + 0.5 * c.weight;
            before += c.weight;
            ((middle / total * count as f64) as usize).min(count - 1)
        })
        .collect();
    (0..count).filter_map(move |block| {
        let from = block_of.partition_point(|of| *of < block);
        let to = block_of.partition_point(|of| *of <= block);
        (to > from).then(|| &clusters[from..to])
    })
}

#[cfg(test)]
mod tests {
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    use super::*;

    /// A value that changes by one at random moments some 12 s apart, written by two recorders, the
    /// second `theta` ahead at the start and faster by `rate`; `phase` places the changes.
    fn heard(
        seed: u64,
        seconds: usize,
        theta: f64,
        rate: f64,
        phase: impl Fn(f64) -> f64,
    ) -> [Vec<f64>; 2] {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let (mut changes, mut at_s) = (Vec::new(), 20.0);
        while at_s < seconds as f64 {
            at_s += rng.random_range(6.0..18.0);
            changes.push((phase(at_s), if rng.random_bool(0.5) { 1.0 } else { -1.0 }));
        }
        let written = |clock: &dyn Fn(f64) -> f64| {
            let mut values = vec![120.0; seconds];
            for (moment, by) in &changes {
                let first = clock(*moment).ceil().max(0.0) as usize;
                values.iter_mut().skip(first).for_each(|v| *v += by);
            }
            values
        };
        [written(&|t| t), written(&|t| t * (1.0 + rate) + theta)]
    }

    fn found(a: &[f64], b: &[f64], theta: f64, rate: f64) -> Steps {
        lag_of_steps(a, b, &|i| theta + 0.2 + rate * i, rate, (rate, 0.0)).expect("enough steps")
    }

    /// Mean and variance of the model above, with changes anywhere: coverage, no pull to whole
    /// seconds, and the scatter √(f(1 − f)/N).
    #[test]
    fn steps_anywhere_tell_the_shift_within_the_interval() {
        for theta in [3.2, 3.4, 3.5, 3.8] {
            let (mut covered, mut whole, mut sum, mut squares) = (0_u32, 0_u32, 0.0, 0.0);
            let runs = 100;
            for seed in 0..runs {
                let [a, b] = heard(seed, 2400, theta, 0.0, |t| t);
                let steps = found(&a, &b, theta, 0.0);
                let error = steps.lag - theta;
                covered += u32::from(error.abs() <= steps.half);
                sum += error;
                squares += error * error;
                whole += u32::from(steps.timer == Some(Timer::Whole));
            }
            let (n, f) = (runs as f64, theta - 3.0);
            assert!(covered >= 90, "{theta} {covered}");
            // Two hundred to one is asked of what is told apart: seldom one of these is not.
            assert!(whole <= 1, "{theta} {whole}");
            // Some 200 changes a ride.
            let expected = (f * (1.0 - f) / 198.0_f64).sqrt();
            assert!((sum / n).abs() < 4.0 * expected / n.sqrt(), "{theta} {sum}");
            let ratio = (squares / n).sqrt() / expected;
            assert!((0.8..1.25).contains(&ratio), "{theta} {ratio}");
        }
    }

    #[test]
    fn a_rate_moves_the_whole_part_along() {
        let rate = 4e-4;
        let [a, b] = heard(7, 7200, -5.4, rate, |t| t);
        let steps = found(&a, &b, -5.4, rate);
        let truth = -5.4 + rate * steps.at;
        assert!((steps.lag - truth).abs() < steps.half, "{steps:?} {truth}");
        assert!(steps.half < 0.06, "{steps:?}");
    }

    #[test]
    fn a_timer_of_one_second_is_told_of() {
        let [a, b] = heard(3, 2400, 3.4, 0.0, |t| t.floor() + 0.3);
        let steps = found(&a, &b, 3.4, 0.0);
        assert_eq!(steps.timer, Some(Timer::Whole));
        // And a quarter of a second ticks at four phases, that is no whole number.
        let [a, b] = heard(3, 2400, 3.4, 0.0, |t| (4.0 * t).floor() / 4.0 + 0.07);
        assert_ne!(found(&a, &b, 3.4, 0.0).timer, Some(Timer::Whole));
    }

    /// A drift of 0.6 s sweeps a timer's phase once: the lag jumps by a whole second in one place.
    #[test]
    fn a_timer_against_a_drift_moves_in_stairs() {
        let rate = 0.6 / 3600.0;
        let [a, b] = heard(5, 3600, 3.2, rate, |t| t.floor() + 0.5);
        let steps = found(&a, &b, 3.2, rate);
        assert_eq!(steps.timer, Some(Timer::Second), "{steps:?}");
    }

    /// Messages of a one-second strap that are late by up to 0.2 s at the second recorder: while its
    /// clock drifts by 0.15 s, every fourth message and then all of them miss the turn of the second.
    #[test]
    fn a_timer_of_a_second_with_varying_delays_drifts_otherwise_than_the_clocks() {
        let rate = 0.15 / 3600.0;
        let beats = |t: f64| t.floor() + 0.3;
        let [a, _] = heard(3, 3600, 3.55, rate, beats);
        let rng = std::cell::RefCell::new(ChaCha8Rng::seed_from_u64(9));
        let late = |t: f64| beats(t) + rng.borrow_mut().random_range(0.0..0.2);
        let [_, b] = heard(3, 3600, 3.55, rate, late);
        let steps = found(&a, &b, 3.55, rate);
        assert_eq!(steps.timer, Some(Timer::Drift), "{steps:?}");
    }

    #[test]
    fn gaps_fractions_and_too_few_steps_give_nothing() {
        let [a, b] = heard(1, 2400, 3.3, 0.0, |t| t);
        assert_eq!(
            lag_of_steps(&a[..200], &b[..200], &|_| 3.3, 0.0, (0.0, 0.0)),
            None
        );
        let half: Vec<f64> = a.iter().map(|v| v + 0.5).collect();
        assert_eq!(lag_of_steps(&half, &half, &|_| 0.0, 0.0, (0.0, 0.0)), None);
        let gone = vec![f64::NAN; a.len()];
        assert_eq!(lag_of_steps(&gone, &b, &|_| 3.3, 0.0, (0.0, 0.0)), None);
        assert_eq!(lag_of_steps(&[], &[], &|_| 0.0, 0.0, (0.0, 0.0)), None);
        // A hole only takes what lies in it.
        let mut holed = a.clone();
        holed[600..700].fill(f64::NAN);
        let (whole, holed) = (found(&a, &b, 3.3, 0.0), found(&holed, &b, 3.3, 0.0));
        assert!((whole.lag - holed.lag).abs() < 0.1);
    }
}
