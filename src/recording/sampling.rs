//! How a recorder spaced its samples.

use super::{Samples, Sampling};

/// Rows below which no judgement is made.
const FEWEST: usize = 30;
/// Steps longer than this are pauses, not sampling, s.
pub(super) const PAUSE_S: f64 = 60.0;

/// Recognises a recorder that writes only when something changed.
///
/// Such a recorder leaves steps of many lengths: at least half of them exceed 1.5 times the
/// shortest usual step (10th percentile), and the number of rows in equal spans varies with an
/// index of dispersion above 0.1. A constant rate with dropouts fails the first test; a constant
/// rate whose stamps jitter, as radio packets do, fails the second. (Thresholds of our own: no
/// published rule is known to us.)
pub(super) fn recognise(samples: &Samples) -> Sampling {
    let time_s = samples.time_s();
    let mut steps: Vec<f64> = time_s
        .windows(2)
        .map(|pair| pair[1] - pair[0])
        .filter(|step| *step <= PAUSE_S)
        .collect();
    if steps.len() < FEWEST {
        return Sampling::Regular;
    }
    let tenth = steps.len() / 10;
    let usual = *steps.select_nth_unstable_by(tenth, f64::total_cmp).1;
    let long = steps.iter().filter(|step| **step > 1.5 * usual).count();
    if long * 2 < steps.len() {
        return Sampling::Regular;
    }
    let middle = steps.len() / 2;
    let median = *steps.select_nth_unstable_by(middle, f64::total_cmp).1;
    if dispersion(time_s, 20.0 * median) > 0.1 {
        Sampling::OnChange
    } else {
        Sampling::Regular
    }
}

/// Variance over mean of the number of rows in spans of `span_s`, leaving out spans with a pause.
fn dispersion(time_s: &[f64], span_s: f64) -> f64 {
    let Some(start) = time_s.first() else {
        return 0.0;
    };
    let mut counts: Vec<f64> = Vec::new();
    let (mut end, mut count, mut paused) = (start + span_s, 0.0, false);
    let mut before = *start;
    for t in time_s {
        paused |= t - before > PAUSE_S;
        if paused {
            (end, count, paused) = (t + span_s, 0.0, false);
        } else if *t >= end {
            counts.push(count);
            // A long step may skip whole spans: they hold nothing.
            while *t >= end + span_s && counts.len() <= time_s.len() {
                counts.push(0.0);
                end += span_s;
            }
            end += span_s;
            count = 0.0;
        }
        count += 1.0;
        before = *t;
    }
    if counts.len() < 3 {
        return 0.0;
    }
    let n = counts.len() as f64;
    let mean = counts.iter().sum::<f64>() / n;
    let variance = counts.iter().map(|c| (c - mean).powi(2)).sum::<f64>() / (n - 1.0);
    variance / mean
}

/// Tells of samples written on change.
pub(super) fn remark(label: &str, sampling: Sampling, remarks: &mut Vec<String>) {
    if sampling == Sampling::OnChange {
        remarks.push(format!(
            "{label}: written only when a value changed; each sample holds until the next, and \
             averages are weighted by time"
        ));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};

    fn recognised(steps: impl Iterator<Item = f64>) -> Sampling {
        let mut t = 0.0;
        let times: Vec<f64> = steps
            .map(|step| {
                t += step;
                t
            })
            .collect();
        recognise(&Samples::new(times).unwrap())
    }

    #[test]
    fn steps_of_many_lengths_are_on_change_on_every_seed() {
        for seed in 0..100 {
            let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
            let steps = (0..600).map(|_| f64::from(rng.random_range(1..8_u8)));
            assert_eq!(recognised(steps), Sampling::OnChange, "seed {seed}");
        }
    }

    #[test]
    fn dropouts_are_not_taken_for_it_on_any_seed() {
        for seed in 0..100 {
            let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
            let steps = (0..600).map(|_| {
                let mut step = 1.0;
                while rng.random_bool(0.3) {
                    step += 1.0;
                }
                step
            });
            assert_eq!(recognised(steps), Sampling::Regular, "seed {seed}");
        }
    }

    #[test]
    fn jittering_stamps_are_not_taken_for_it_on_any_seed() {
        for seed in 0..100 {
            let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
            let mut times: Vec<f64> = (0..600)
                .map(|i| f64::from(i) * 0.25 + rng.random_range(0.0..0.24))
                .collect();
            times.sort_by(f64::total_cmp);
            let samples = Samples::new(times).unwrap();
            assert_eq!(recognise(&samples), Sampling::Regular, "seed {seed}");
        }
    }
}
