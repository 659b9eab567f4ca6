//! Where ticks stand and what they say.

use super::picture::{Axis, Ticks};
use crate::picture::ticks::{clock_step_s, multiples, round_step};
use crate::text::{clock_time, number};

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
        Ticks::Clock => clock_step_s(least),
        _ => round_step(least),
    };
    let decimals = (-step.log10().floor()).clamp(0.0, 6.0) as usize;
    multiples(axis.range, step)
        .map(|value| {
            let text = match axis.ticks {
                Ticks::Clock => clock_time(value),
                _ => number(value, decimals, false).replace('-', "−"),
            };
            (value, text)
        })
        .collect()
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
