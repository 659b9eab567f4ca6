//! Where the ticks of an axis stand and what they say.

use super::parts::{Axis, Ticks};
use crate::text::{clock_time, number};

/// Steps between moments that people count in, s.
const CLOCK_STEPS_S: [f64; 16] = [
    1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0,
    14400.0, 28800.0,
];

/// The smallest step between moments that is at least `least_s`: whole days beyond eight hours.
pub fn clock_step_s(least_s: f64) -> f64 {
    let mut steps = CLOCK_STEPS_S.into_iter();
    let step = steps.find(|step| *step >= least_s);
    step.unwrap_or_else(|| (least_s / 86400.0).ceil() * 86400.0)
}

/// The smallest of 1, 2, 5 times a power of ten that is at least `least`.
pub fn round_step(least: f64) -> f64 {
    let power = 10.0_f64.powf(least.max(1e-6).log10().floor());
    [1.0, 2.0, 5.0]
        .into_iter()
        .map(|factor| factor * power)
        .find(|step| *step >= least * (1.0 - 1e-9))
        .unwrap_or(10.0 * power)
}

/// Multiples of `step` within `range`.
pub fn multiples([from, to]: [f64; 2], step: f64) -> impl Iterator<Item = f64> {
    let (first, last) = ((from / step).ceil() as i64, (to / step).floor() as i64);
    (first..=last).map(move |multiple| multiple as f64 * step)
}

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

/// Values and texts of the ticks of `axis`, about `wanted` of them, all within its range; the last
/// has the unit.
pub fn ticks(axis: &Axis, wanted: usize) -> Vec<(f64, String)> {
    let [from, to] = axis.range;
    match &axis.ticks {
        Ticks::Durations => {
            let all = DURATIONS
                .iter()
                .map(|(s, text)| (s.log10(), (*text).to_owned()));
            return all.filter(|(x, _)| (from..=to).contains(x)).collect();
        }
        Ticks::Rows(rows) => {
            let names = rows.iter().enumerate();
            return names.map(|(i, row)| (i as f64, row.name.clone())).collect();
        }
        _ => {}
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
    let signed = axis.ticks == Ticks::Signed;
    let mut out: Vec<(f64, String)> = multiples(axis.range, step)
        .map(|value| {
            let text = match axis.ticks {
                Ticks::Clock => clock_tick(value),
                _ if value == 0.0 => "0".to_owned(),
                _ => number(value, decimals, signed).replace('-', "−"),
            };
            (value, text)
        })
        .collect();
    if let (Some((_, text)), false) = (out.last_mut(), axis.unit.is_empty()) {
        text.push('\u{a0}');
        text.push_str(axis.unit);
    }
    out
}

/// A moment of the ride: m:ss, from an hour on h:mm:ss.
fn clock_tick(t_s: f64) -> String {
    let text = clock_time(t_s);
    text.strip_prefix("0:")
        .filter(|rest| rest.contains(':'))
        .map_or_else(
            || text.clone(),
            |rest| {
                rest.strip_prefix('0')
                    .filter(|r| !r.starts_with(':'))
                    .unwrap_or(rest)
                    .to_owned()
            },
        )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_one_two_or_five() {
        assert_eq!(round_step(3.0), 5.0);
        assert_eq!(round_step(0.07), 0.1);
        assert_eq!(round_step(100.0), 100.0);
        assert_eq!(round_step(101.0), 200.0);
        assert_eq!(clock_step_s(61.0), 120.0);
        assert_eq!(clock_step_s(30_000.0), 86400.0);
    }

    fn texts(range: [f64; 2], ticks_are: Ticks, unit: &'static str, wanted: usize) -> Vec<String> {
        let axis = Axis {
            label: String::new(),
            unit,
            range,
            ticks: ticks_are,
        };
        let all = ticks(&axis, wanted).into_iter();
        all.map(|(_, text)| text).collect()
    }

    #[test]
    fn ticks_are_round_and_the_last_has_the_unit() {
        let numbers = Ticks::Numbers;
        assert_eq!(
            texts([-3.1, 6.2], Ticks::Signed, "%", 5),
            ["−2", "0", "+2", "+4", "+6\u{a0}%"]
        );
        assert_eq!(
            texts([0.0, 0.5], numbers.clone(), "", 5),
            ["0", "0.1", "0.2", "0.3", "0.4", "0.5"]
        );
        assert_eq!(
            texts([55.0, 370.0], Ticks::Clock, "", 6),
            ["1:00", "2:00", "3:00", "4:00", "5:00", "6:00"]
        );
        assert_eq!(
            texts([1800.0, 4000.0], Ticks::Clock, "", 3),
            ["30:00", "45:00", "1:00:00"]
        );
        assert_eq!(
            texts([0.0, 1.1], Ticks::Durations, "", 6),
            ["1 s", "2 s", "5 s", "10 s"]
        );
        assert!(texts([1.0, 1.0], numbers.clone(), "", 5).is_empty());
        assert!(texts([f64::NAN, 1.0], numbers, "", 5).is_empty());
    }
}
