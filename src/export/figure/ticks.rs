//! Where ticks stand and what they say.

use super::picture::{Axis, Ticks};
use crate::export::cell::{clock_time, human_number};

/// Durations worth a tick, s.
const DURATIONS: [(f64, &str); 14] = [
    (1.0, "1 s"),
    (2.0, "2 s"),
    (5.0, "5 s"),
    (10.0, "10 s"),
    (30.0, "30 s"),
    (60.0, "1 min"),
    (120.0, "2 min"),
    (300.0, "5 min"),
    (600.0, "10 min"),
    (1200.0, "20 min"),
    (3600.0, "1 h"),
    (7200.0, "2 h"),
    (18000.0, "5 h"),
    (36000.0, "10 h"),
];

/// Steps between moments that people count in, s.
const CLOCK_STEPS: [f64; 16] = [
    1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0,
    14400.0, 36000.0,
];

/// Values and texts of the ticks of `axis`, about `wanted` of them, all within its range.
pub(super) fn ticks(axis: &Axis, wanted: usize) -> Vec<(f64, String)> {
    let [from, to] = axis.range;
    if axis.ticks == Ticks::Durations {
        return DURATIONS
            .iter()
            .map(|(s, text)| (s.log10(), (*text).to_owned()))
            .filter(|(x, _)| (from..=to).contains(x))
            .collect();
    }
    let least = (to - from) / wanted.max(1) as f64;
    if least.is_nan() || least <= 0.0 {
        return Vec::new();
    }
    let step = match axis.ticks {
        Ticks::Clock => CLOCK_STEPS
            .into_iter()
            .find(|step| *step >= least)
            .unwrap_or_else(|| round_step(least)),
        _ => round_step(least),
    };
    let decimals = (-step.log10().floor()).clamp(0.0, 6.0) as u8;
    let first = (from / step).ceil() as i64;
    let last = (to / step).floor() as i64;
    (first..=last)
        .map(|multiple| {
            let value = multiple as f64 * step;
            let text = match axis.ticks {
                Ticks::Clock => clock_time(value),
                _ => human_number(value, decimals, false).replace('-', "−"),
            };
            (value, text)
        })
        .collect()
}

/// The smallest of 1, 2, 5 times a power of ten that is at least `least`.
fn round_step(least: f64) -> f64 {
    let power = 10.0_f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0]
        .into_iter()
        .map(|factor| factor * power)
        .find(|step| *step >= least * (1.0 - 1e-9))
        .unwrap_or(10.0 * power)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(range: [f64; 2], ticks_are: Ticks, wanted: usize) -> Vec<String> {
        let axis = Axis {
            label: String::new(),
            range,
            ticks: ticks_are,
        };
        ticks(&axis, wanted)
            .into_iter()
            .map(|(_, text)| text)
            .collect()
    }

    #[test]
    fn ticks_are_round() {
        let numbers = Ticks::Numbers;
        assert_eq!(texts([-3.1, 6.2], numbers, 5), ["−2", "0", "2", "4", "6"]);
        assert_eq!(
            texts([0.0, 0.5], numbers, 5),
            ["0.0", "0.1", "0.2", "0.3", "0.4", "0.5"]
        );
        assert_eq!(
            texts([55.0, 370.0], Ticks::Clock, 6),
            [
                "0:01:00", "0:02:00", "0:03:00", "0:04:00", "0:05:00", "0:06:00"
            ]
        );
        assert_eq!(
            texts([0.0, 1.1], Ticks::Durations, 6),
            ["1 s", "2 s", "5 s", "10 s"]
        );
        assert!(texts([1.0, 1.0], numbers, 5).is_empty());
        assert!(texts([f64::NAN, 1.0], numbers, 5).is_empty());
    }
}
