//! Invented readings of the references with known masses, with everything that makes such a check
//! uncertain: the crank is not as long as the ruler says, the masses, gravity and the level are a little
//! off, the meter has hysteresis and noise, and reads at rest not quite as it does when ridden.

use super::noise::{Purpose, generator, normal};
use super::scenario::{Device, Masses, Scenario};
use super::stream::rounded;
use crate::session::{Role, STANDARD_GRAVITY, Weights, torque_nm};
use rand::RngExt;

/// The masses in the order in which they hung, kg.
const KG: [f64; 11] = [0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 20.0, 15.0, 10.0, 5.0, 0.0];

/// Masses and gravity lie within this of what is taken for them, %; the level within so many degrees.
const MASS_PERCENT: f64 = 0.02;
const GRAVITY_PERCENT: f64 = 0.03;
const LEVEL_DEGREES: f64 = 3.0;

/// Standard deviation of what reading at rest and mounting anew make of a scale, %.
const AT_REST_PERCENT: f64 = 0.25;

/// Standard deviation of a reading, N·m; largest hysteresis, % of the largest torque.
const NOISE_NM: f64 = 0.03;
const HYSTERESIS_PERCENT: f64 = 0.2;

/// Readings of a reference with known masses, and the scale behind them; `None` where none hung.
pub(super) fn hung(scenario: &Scenario, index: usize, seed: u64) -> Option<(Weights, f64)> {
    let device = scenario.devices.get(index)?;
    let masses = scenario.masses.filter(|_| device.role == Role::Reference)?;
    Some(hang(masses, device, index, seed))
}

/// What device number `index` shows, and the scale with which it shows the torque.
fn hang(masses: Masses, device: &Device, index: usize, seed: u64) -> (Weights, f64) {
    let mut common = generator(seed, Purpose::Masses(0));
    let mut within = |half_width: f64| common.random_range(-half_width..=half_width);
    let load = (1.0 + within(MASS_PERCENT) / 100.0)
        * (1.0 + within(GRAVITY_PERCENT) / 100.0)
        * within(LEVEL_DEGREES).to_radians().cos();
    let mut own = generator(seed, Purpose::Masses(1 + index));
    let at_rest = 1.0 + AT_REST_PERCENT / 100.0 * normal(&mut own);
    let scale = (1.0 + device.gain_percent / 100.0) / at_rest;
    let zero_nm = own.random_range(-0.3..=0.3);
    let true_mm = masses.crank_mm + masses.crank_error_mm;
    let torque = |kg: f64| load * torque_nm(kg, true_mm, STANDARD_GRAVITY);
    let top = KG.iter().copied().fold(0.0, f64::max);
    let hysteresis = HYSTERESIS_PERCENT / 100.0 * torque(top) * own.random_range(0.0..=1.0);
    let heaviest = KG.iter().position(|kg| *kg == top).unwrap_or(0);
    let shown = KG.iter().enumerate().map(|(at, kg)| {
        let on_the_way_down = at > heaviest && *kg > 0.0;
        let kept = if on_the_way_down { hysteresis } else { 0.0 };
        let nm = zero_nm + scale * torque(*kg) + kept + NOISE_NM * normal(&mut own);
        rounded(nm, 2)
    });
    let weights = Weights {
        crank_mm: Some(masses.crank_mm),
        gravity: Some(STANDARD_GRAVITY),
        kg: KG.to_vec(),
        nm: shown.collect(),
        ..Weights::default()
    };
    (weights, scale)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::Site;
    use crate::stats::Sample;

    /// Over many seeds the fit is off by what the budget of such a check says (some 0.3 %), about the
    /// truth less what a crank off level takes.
    #[test]
    fn the_readings_tell_the_riding_scale_within_the_budget() {
        let mut device = Device::new("pedals", Role::Reference, Site::Pedal);
        device.gain_percent = 1.2;
        let off = (0..400).map(|seed| {
            let (weights, _) = hang(Masses::off_by(0.0), &device, 1, seed);
            100.0 * (weights.fit().unwrap().scale / 1.012 - 1.0)
        });
        let off = Sample::present(off).unwrap();
        assert!(off.mean().abs() < 0.1, "{}", off.mean());
        assert!((0.2..0.35).contains(&off.sd()), "{}", off.sd());
        let longer = hang(Masses::off_by(1.725), &device, 1, 7)
            .0
            .fit()
            .unwrap()
            .scale;
        let as_measured = hang(Masses::off_by(0.0), &device, 1, 7)
            .0
            .fit()
            .unwrap()
            .scale;
        assert!((longer / as_measured - 1.01).abs() < 1e-3);
    }
}
