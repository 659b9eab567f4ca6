//! How a heart rate travels: a strap sends, and each recorder writes the latest it has heard.

use rand::RngExt;

use super::noise::{Purpose, generator};
use super::rider::STEP_S;
use super::scenario::{Recorder, Sends};

impl Sends {
    /// The moments at which a strap sends, true time, s, with the heart rate `bpm` at fine steps.
    fn moments(self, bpm: &[f64], seed: u64) -> Vec<f64> {
        let end_s = bpm.len() as f64 * STEP_S;
        match self {
            Sends::Always => (0..bpm.len()).map(|row| row as f64 * STEP_S).collect(),
            Sends::Beats => {
                let mut beats = Vec::new();
                let mut phase = 0.0;
                for (row, bpm) in bpm.iter().enumerate() {
                    let step = bpm.max(0.0) / 60.0 * STEP_S;
                    if phase + step >= 1.0 {
                        beats.push((row as f64 + (1.0 - phase) / step) * STEP_S);
                    }
                    phase = (phase + step).fract();
                }
                beats
            }
            Sends::Timer { period_s } => {
                let first_s = period_s * generator(seed, Purpose::StrapTimer).random::<f64>();
                let count = ((end_s - first_s) / period_s).max(0.0) as usize + 1;
                (0..count).map(|n| first_s + n as f64 * period_s).collect()
            }
        }
    }
}

/// What recorder number `index` writes at each of `true_s`, in order, beats a minute; `NaN` before it
/// has heard anything. `bpm` is the heart rate at fine steps.
pub(super) fn heard(
    bpm: &[f64],
    true_s: &[f64],
    sends: Sends,
    recorder: &Recorder,
    seed: u64,
    index: usize,
) -> Vec<f64> {
    let moments = sends.moments(bpm, seed);
    let mut g = generator(seed, Purpose::Heard(index));
    let (mut arrivals, mut latest_s) = (Vec::new(), f64::NEG_INFINITY);
    for sent_s in moments {
        let (loss, jitter): (f64, f64) = (g.random(), g.random());
        if loss >= recorder.heart_loss_percent / 100.0 {
            // What was sent later does not arrive earlier.
            let arrives_s = sent_s + recorder.heart_delay_s + jitter * recorder.heart_jitter_s;
            latest_s = arrives_s.max(latest_s);
            arrivals.push((latest_s, sent_s));
        }
    }
    let row = |at_s: f64| ((at_s / STEP_S) as usize).min(bpm.len() - 1);
    true_s
        .iter()
        .map(|at_s| {
            let after = arrivals.partition_point(|(arrives_s, _)| arrives_s <= at_s);
            let heard = after.checked_sub(1).and_then(|i| arrivals.get(i));
            heard.map_or(f64::NAN, |(_, sent_s)| bpm[row(*sent_s)].round())
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rehearse::Device;
    use crate::session::{Role, Site};

    fn recorder() -> Recorder {
        Device::new("d", Role::Reference, Site::Crank).recorder
    }

    /// 90 beats a minute are one each 2/3 s; a rate that rises meanwhile is seen at the next beat.
    #[test]
    fn a_strap_sends_on_beats_or_on_its_timer() {
        let steady = vec![90.0; 2000];
        let beats = Sends::Beats.moments(&steady, 1);
        assert_eq!(beats.len(), 149);
        assert!(
            beats
                .windows(2)
                .all(|b| (b[1] - b[0] - 2.0 / 3.0).abs() < 1e-6)
        );
        let timer = Sends::Timer { period_s: 0.25 }.moments(&steady, 1);
        assert!(timer.len() >= 399 && timer[0] < 0.25);
        assert!(timer.windows(2).all(|t| (t[1] - t[0] - 0.25).abs() < 1e-9));
    }

    #[test]
    fn delay_jitter_and_loss_come_on_top() {
        let rising: Vec<f64> = (0..4000).map(|i| 60.0 + 0.05 * f64::from(i)).collect();
        let true_s: Vec<f64> = (2..190).map(f64::from).collect();
        let timer = Sends::Timer { period_s: 0.01 };
        let mean_of = |change: fn(&mut Recorder)| {
            let mut recorder = recorder();
            change(&mut recorder);
            let heard = heard(&rising, &true_s, timer, &recorder, 3, 0);
            // Nothing has been heard yet in the first seconds.
            heard[10..].iter().sum::<f64>() / heard[10..].len() as f64
        };
        // One beat a minute more each second: late by x s is lower by x.
        let sound = mean_of(|_| {});
        let late = sound - mean_of(|r| r.heart_delay_s = 2.0);
        assert!((late - 2.0).abs() < 0.1, "{late}");
        let jittered = sound - mean_of(|r| r.heart_jitter_s = 3.0);
        assert!(jittered > 0.5, "{jittered}");
        let lossy = sound - mean_of(|r| r.heart_loss_percent = 99.0);
        assert!((0.3..3.0).contains(&lossy), "{lossy}");
        let unheard = heard(&rising, &[0.0], timer, &recorder(), 3, 0);
        assert!(unheard[0].is_nan());
    }
}
