//! Steps between the ticks of an axis.

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
}
