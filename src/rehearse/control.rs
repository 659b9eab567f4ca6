//! What a controlled trainer does to the rider: it holds a set point, or it simulates a slope.

use serde::Serialize;

use super::RehearseError;
use crate::session::STANDARD_GRAVITY;

/// Standard gravity, m/s².
pub(super) const GRAVITY_M_S2: f64 = STANDARD_GRAVITY;

/// A step of the set point is followed once delivered power stays within this …
const BAND_W: f64 = 5.0;
/// … or within this share of the step, whichever is larger.
const BAND_SHARE: f64 = 0.05;

/// Set-power mode: the trainer holds the set point at its own site, whatever the rider does.
///
/// Delivered power follows a new set point after a dead time with a first-order lag. The usual
/// values are common practice, no source: followed within three to five seconds.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Control {
    /// Dead time, s.
    pub dead_time_s: f64,
    /// Time constant, s.
    pub time_constant_s: f64,
    /// Amplitude with which delivered power surges about the set point, W.
    pub surge_w: f64,
    /// Period of that surging, s.
    pub surge_period_s: f64,
}

impl Default for Control {
    fn default() -> Self {
        Self {
            dead_time_s: 1.0,
            time_constant_s: 0.7,
            surge_w: 0.0,
            surge_period_s: 12.0,
        }
    }
}

/// Time constants that a step takes until it stays within the band, for a step of `step_w`.
fn time_constants(step_w: f64) -> f64 {
    let step_w = step_w.abs();
    (step_w / BAND_W.max(BAND_SHARE * step_w)).ln().max(0.0)
}

impl Control {
    /// When delivered power stays within ±max(5 W, 5 % of the step) of a set point that changed by
    /// `step_w`, s after the change: dead time + τ·ln(step/band). The rider's own wander is left out.
    pub fn in_band_s(&self, step_w: f64) -> f64 {
        self.dead_time_s + self.time_constant_s * time_constants(step_w)
    }

    /// Follows steps of 100 W later by `seconds`.
    pub(super) fn slow_down(&mut self, seconds: f64) {
        self.time_constant_s += seconds / time_constants(100.0);
    }

    pub(super) fn check(&self) -> Result<(), RehearseError> {
        let within = (0.0..=60.0).contains(&self.dead_time_s)
            && (0.0..=60.0).contains(&self.time_constant_s)
            && (0.0..=200.0).contains(&self.surge_w)
            && (2.0..=120.0).contains(&self.surge_period_s);
        in_range(
            within,
            "control: times from 0 to 60 s, a surge from 0 to 200 W with a period from 2 to 120 s will do",
        )
    }
}

/// Simulation mode: the force at the wheel as that of a rider on a slope,
/// `F = κ·m·g·sin α + c_r·m·g·cos α + ½C_w·v² + m_a·dv/dt` (model: Martin et al. 1998, J Appl
/// Biomech 14:276), with tan α the grade.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Simulation {
    /// Mass of rider and bicycle, kg.
    pub mass_kg: f64,
    /// Coefficient of rolling resistance.
    pub rolling: f64,
    /// ½C_w, half the drag area times the density of air, N s²/m².
    pub drag: f64,
    /// Apparent mass of the flywheel, kg.
    pub flywheel_kg: f64,
    /// Share κ of the gradient that arrives as force.
    pub gradient_share: f64,
    /// How long nothing of a new gradient arrives, s.
    pub gradient_delay_s: f64,
    /// Time constant with which it arrives from then on, s.
    pub gradient_lag_s: f64,
}

impl Default for Simulation {
    /// Usual values (common practice, no source); the whole gradient, half a second late.
    fn default() -> Self {
        Self {
            mass_kg: 85.0,
            rolling: 0.004,
            drag: 0.192,
            flywheel_kg: 12.0,
            gradient_share: 1.0,
            gradient_delay_s: 0.5,
            gradient_lag_s: 0.0,
        }
    }
}

impl Simulation {
    /// Force at the wheel at a steady speed on a grade that has arrived, N.
    pub fn force_n(&self, grade_percent: f64, speed_m_s: f64) -> f64 {
        let slope = (grade_percent / 100.0).atan();
        let weight_n = self.mass_kg * GRAVITY_M_S2;
        weight_n * (self.gradient_share * slope.sin() + self.rolling * slope.cos())
            + self.drag * speed_m_s * speed_m_s
    }

    /// Delay of a new gradient by area, ∫(F₂ − F)/(F₂ − F₁)dt, s: dead time and time constant.
    pub fn area_delay_s(&self) -> f64 {
        self.gradient_delay_s + self.gradient_lag_s
    }

    pub(super) fn check(&self) -> Result<(), RehearseError> {
        let within = (20.0..=300.0).contains(&self.mass_kg)
            && (0.0..=0.1).contains(&self.rolling)
            && (0.0..=2.0).contains(&self.drag)
            && (1.0..=200.0).contains(&self.flywheel_kg)
            && (0.0..=2.0).contains(&self.gradient_share)
            && (0.0..=60.0).contains(&self.gradient_delay_s)
            && (0.0..=60.0).contains(&self.gradient_lag_s);
        in_range(
            within,
            "simulation: a mass from 20 to 300 kg, a flywheel from 1 to 200 kg, a share of the gradient from 0 to 2, up to 60 s late will do",
        )
    }
}

fn in_range(within: bool, reason: &str) -> Result<(), RehearseError> {
    if within {
        Ok(())
    } else {
        Err(RehearseError::Scenario {
            reason: reason.to_owned(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::vectors::PLATEAUS;

    /// 150 → 250 W, dead time 1.0 s, τ 1.5 s: 1 + 1.5 ln 20 = 5.494 s.
    #[test]
    fn a_step_is_followed_when_the_formula_says() {
        let mut control = Control {
            time_constant_s: 1.5,
            ..Control::default()
        };
        assert!((control.in_band_s(100.0) - 5.493_6).abs() < 1e-4);
        assert!((control.in_band_s(-300.0) - control.in_band_s(100.0)).abs() < 1e-12);
        assert_eq!(control.in_band_s(4.0), 1.0);
        control.slow_down(2.0);
        assert!((control.in_band_s(100.0) - 7.493_6).abs() < 1e-4);
        assert!(Control::default().in_band_s(100.0) < 5.0);
    }

    /// Force × speed at the wheel, from made-up plateaus with half of the gradient arriving.
    #[test]
    fn plateaus_cost_what_the_model_says() {
        let simulation = Simulation {
            gradient_share: 0.5,
            ..Simulation::default()
        };
        for (grade_percent, speed_m_s, pedal_w) in PLATEAUS {
            let wheel_w = simulation.force_n(grade_percent, speed_m_s) * speed_m_s;
            assert!(
                (wheel_w / 0.978 - pedal_w).abs() < 0.1,
                "{grade_percent} % at {speed_m_s} m/s: {wheel_w} W"
            );
        }
    }

    /// Published relation ΔP/m = g v (sin α₂ − sin α₁) of a treadmill (Maier et al. 2014, J Sci
    /// Cycling 3(2):28): 3.583931 W/kg from 1° to 7° at 3.5 m/s.
    #[test]
    fn a_steeper_slope_costs_the_published_difference() {
        let simulation = Simulation {
            rolling: 0.0,
            ..Simulation::default()
        };
        let w_per_kg = |degrees: f64| {
            let grade_percent = 100.0 * degrees.to_radians().tan();
            simulation.force_n(grade_percent, 3.5) * 3.5 / simulation.mass_kg
        };
        let difference = w_per_kg(7.0) - w_per_kg(1.0);
        assert!((difference - 3.583_931).abs() < 1e-5, "{difference}");
    }
}
