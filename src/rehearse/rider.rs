//! What happened on the bench: power at the pedals, cadence, wheel speed, heart rate and warmth,
//! on a fine grid of true time.

use super::control::Control;
use super::noise::{Lag, Purpose, SlowNoise, generator, normal};
use super::scenario::Scenario;
use crate::plan::{Gear, Leg, Shape};
use crate::session::Site;

/// Step of the fine grid, s.
pub const STEP_S: f64 = 0.05;

/// On a slope: how soon the push on the pedals follows the resistance, s; how soon the rider makes
/// up for a speed other than wanted, s; the strongest pull, m/s²; the slowest roll, m/s (invented,
/// of the usual order).
const PUSH_S: f64 = 0.5;
const SPEED_S: f64 = 3.0;
const PULL_M_S2: f64 = 0.4;
const SLOWEST_M_S: f64 = 1.0;
/// How soon a sprinter pushes, s; the cadence up to which all of the push comes through, and that
/// at which none does, rpm (invented, of the usual order).
const SPRINT_PUSH_S: f64 = 0.25;
const QUICK_RPM: [f64; 2] = [115.0, 165.0];

/// Length of a shift's dip in power, s.
const SHIFT_DIP_S: f64 = 0.6;

/// What happened, one row a [`STEP_S`] of true time; row `i` holds from `i · STEP_S` for one step.
#[derive(Clone, Debug, Default)]
pub(super) struct Ride {
    /// Power at the pedals, W.
    pub power_w: Vec<f64>,
    /// Cadence, rpm.
    pub cadence_rpm: Vec<f64>,
    /// Wheel speed, m/s.
    pub speed_m_s: Vec<f64>,
    /// Heart rate, beats a minute, not rounded.
    pub heart_bpm: Vec<f64>,
    /// Temperature of the trainer above ambient, °C.
    pub warmth_c: Vec<f64>,
    /// Gear ratio.
    pub ratio: Vec<f64>,
    /// Time since the rider stopped pedalling, s; 0 while pedalling.
    pub coasting_s: Vec<f64>,
    /// Set point in force, W; NaN where none is.
    pub command_w: Vec<f64>,
    /// Grade asked for, %; NaN where none is.
    pub grade_percent: Vec<f64>,
    /// Gear in use from each moment on, s from the start of the ride.
    pub shifts: Vec<(f64, Gear)>,
}

/// Share of the rider's slow drift that a trainer in control leaves (invented).
const DRIFT_LEFT: f64 = 0.2;

impl Ride {
    /// Length, s.
    pub fn duration_s(&self) -> f64 {
        self.power_w.len() as f64 * STEP_S
    }

    /// Row in force at `at_s`, kept inside the ride.
    pub fn row(&self, at_s: f64) -> usize {
        ((at_s / STEP_S) as usize).min(self.power_w.len().saturating_sub(1))
    }
}

/// Wheel speed at a cadence in a gear, m/s.
fn wheel_speed_m_s(cadence_rpm: f64, ratio: f64, circumference_m: f64) -> f64 {
    cadence_rpm / 60.0 * ratio * circumference_m
}

/// Rides `legs`.
pub(super) fn ride(legs: &[Leg], scenario: &Scenario, seed: u64) -> Ride {
    let mut legs_of = Legs { legs, current: 0 };
    let mut body = Body::new(scenario, legs, seed);
    let duration_s = legs.last().map_or(0.0, |leg| leg.to_s);
    let mut out = Ride::default();
    for step in 0..(duration_s / STEP_S).round() as usize {
        let at_s = step as f64 * STEP_S;
        if let Some(leg) = legs_of.at(at_s) {
            body.step(leg, at_s, &mut out);
        }
    }
    out
}

/// The leg at a time that only moves forward.
struct Legs<'a> {
    legs: &'a [Leg],
    current: usize,
}

impl<'a> Legs<'a> {
    fn at(&mut self, at_s: f64) -> Option<&'a Leg> {
        while self.legs.get(self.current)?.to_s <= at_s + STEP_S * 1e-6 {
            self.current += 1;
        }
        self.legs.get(self.current)
    }
}

/// What a rider on a slope keeps to.
#[derive(Clone, Copy)]
enum Drive {
    /// The cadence.
    Cadence,
    /// A power at the pedals, W.
    Watts(f64),
}

/// The rider, the wheel and the trainer's warmth, as they stand at a moment.
struct Body<'a> {
    scenario: &'a Scenario,
    power_g: rand_chacha::ChaCha8Rng,
    cadence_g: rand_chacha::ChaCha8Rng,
    heart_g: rand_chacha::ChaCha8Rng,
    settled_w: Lag,
    quick: SlowNoise,
    slow: SlowNoise,
    cadence: Lag,
    cadence_noise: SlowNoise,
    speed: Lag,
    heart: Lag,
    heart_noise: SlowNoise,
    warmth: Lag,
    gear: Option<Gear>,
    shifted_s: f64,
    coasting_s: f64,
    /// Push at the wheel while on a slope, N.
    push_n: Option<Lag>,
    /// The grade that has arrived, %.
    arrived: Lag,
}

impl<'a> Body<'a> {
    fn new(scenario: &'a Scenario, legs: &[Leg], seed: u64) -> Self {
        let mut power_g = generator(seed, Purpose::Power);
        let mut cadence_g = generator(seed, Purpose::Cadence);
        let mut heart_g = generator(seed, Purpose::Strap);
        let rider = scenario.rider;
        let start_w = legs.first().map_or(0.0, |leg| leg.target_w(0.0));
        let start_rpm = legs.first().map_or(0.0, |leg| leg.cadence_rpm);
        Self {
            scenario,
            settled_w: Lag::at(start_w),
            quick: SlowNoise::new(rider.slow_noise_w, 4.0, STEP_S, &mut power_g),
            slow: SlowNoise::new(rider.slow_noise_w / 3.0, 45.0, STEP_S, &mut power_g),
            cadence: Lag::at(start_rpm),
            cadence_noise: SlowNoise::new(rider.cadence_noise_rpm, 5.0, STEP_S, &mut cadence_g),
            speed: Lag::at(0.0),
            heart: Lag::at(85.0),
            heart_noise: SlowNoise::new(1.3, 7.0, STEP_S, &mut heart_g),
            warmth: Lag::at(0.0),
            gear: None,
            shifted_s: f64::NEG_INFINITY,
            coasting_s: 0.0,
            push_n: None,
            arrived: Lag::at(0.0),
            power_g,
            cadence_g,
            heart_g,
        }
    }

    fn step(&mut self, leg: &Leg, at_s: f64, out: &mut Ride) {
        let into_s = at_s - leg.from_s;
        let coasting = leg.shape == Shape::Coast;
        self.coasting_s = if coasting {
            self.coasting_s + STEP_S
        } else {
            0.0
        };
        let ratio = self.shift(leg.gear(into_s), at_s, out);
        let grade_percent = leg.grade_percent(into_s);
        out.command_w.push(commanded_w(leg, into_s));
        out.grade_percent.push(grade_percent.unwrap_or(f64::NAN));
        let quick_w = self.quick.next(&mut self.power_g);
        let slow_w = self.slow.next(&mut self.power_g);
        // What a rider drifts over half a minute, a trainer in control takes up for the most part.
        let held = self.scenario.control.is_some() && leg.target_w(into_s) > 0.0;
        let slow_noise_w = quick_w + slow_w * if held { DRIFT_LEFT } else { 1.0 };
        let power_w = if grade_percent.is_some() {
            let wanted_rpm = leg.cadence_rpm + self.cadence_noise.next(&mut self.cadence_g);
            let drive = match leg.shape {
                Shape::Sprint { .. } => Drive::Watts(leg.target_w(into_s)),
                _ => Drive::Cadence,
            };
            let power_w = self.climb((drive, wanted_rpm), ratio, at_s, slow_noise_w, out);
            out.cadence_rpm.push(self.cadence.value());
            out.speed_m_s.push(self.speed.value());
            power_w
        } else {
            self.push_n = None;
            self.arrived = Lag::at(0.0);
            let power_w = self.power(leg, into_s, at_s, slow_noise_w, out);
            let cadence_rpm = self.pedal(leg, into_s, coasting);
            out.cadence_rpm.push(cadence_rpm);
            out.speed_m_s.push(self.roll(cadence_rpm, ratio, coasting));
            power_w
        };
        out.power_w.push(power_w);
        out.heart_bpm.push(self.beat(power_w));
        out.warmth_c.push(self.warm(power_w));
        out.ratio.push(ratio);
        out.coasting_s.push(self.coasting_s);
    }

    fn shift(&mut self, gear: Gear, at_s: f64, out: &mut Ride) -> f64 {
        if self.gear != Some(gear) {
            out.shifts.push((at_s, gear));
            if self.gear.is_some() {
                self.shifted_s = at_s;
            }
            self.gear = Some(gear);
        }
        gear.ratio()
    }

    fn power(&mut self, leg: &Leg, into_s: f64, at_s: f64, slow_noise_w: f64, out: &Ride) -> f64 {
        let target_w = leg.target_w(into_s);
        let (wanted_w, tau_s) = match leg.shape {
            Shape::Coast => (0.0, 0.12),
            Shape::Sprint { .. } => (target_w, 0.25),
            _ => self.demanded(target_w, at_s, out),
        };
        let settled_w = self.settled_w.step(wanted_w, tau_s, STEP_S);
        let surge_w = self.surge_w(at_s, out);
        // Less power, less to wander with; a rider who stands still does not wander at all.
        let effort = (settled_w / 80.0).clamp(0.0, 1.0);
        let dip = 0.2 * (1.0 - (at_s - self.shifted_s) / SHIFT_DIP_S).clamp(0.0, 1.0);
        let power_w = (settled_w * (1.0 - dip) + effort * (slow_noise_w + surge_w)).max(0.0);
        if power_w < 1.0 { 0.0 } else { power_w }
    }

    /// Power demanded at the pedals where a set point of `target_w` is in force, W, and the time
    /// constant with which it is reached, s.
    fn demanded(&self, target_w: f64, at_s: f64, out: &Ride) -> (f64, f64) {
        let held_w = |asked_w: f64| asked_w + self.scenario.hold_error_w;
        match self.scenario.control {
            _ if target_w <= 0.0 => (0.0, self.scenario.rider.settling_s),
            None => (held_w(target_w), self.scenario.rider.settling_s),
            Some(Control {
                dead_time_s,
                time_constant_s,
                ..
            }) => {
                let before = out.row((at_s - dead_time_s).max(0.0));
                let before_w = out.command_w.get(before).copied();
                // A mode that is new is in force at once.
                let asked_w = before_w.filter(|asked| *asked > 0.0).unwrap_or(target_w);
                (held_w(asked_w) / self.arriving(), time_constant_s)
            }
        }
    }

    /// Surging of the trainer in control, W at the pedals.
    fn surge_w(&self, at_s: f64, out: &Ride) -> f64 {
        let commanded = out.command_w.last().is_some_and(|asked| *asked > 0.0);
        self.scenario
            .control
            .filter(|_| commanded)
            .map_or(0.0, |control| {
                let turns = at_s / control.surge_period_s;
                control.surge_w * (std::f64::consts::TAU * turns).sin() / self.arriving()
            })
    }

    /// Share of the pedal power that arrives at the trainer.
    fn arriving(&self) -> f64 {
        self.scenario.drivetrain.transmission(Site::Trainer)
    }

    /// A step on a slope: the rider pushes against the force at the wheel and makes up for speed, or
    /// pushes with the power of a sprint; the wheel takes what is left over. Returns the power at the
    /// pedals, W.
    fn climb(
        &mut self,
        (drive, wanted_rpm): (Drive, f64),
        ratio: f64,
        at_s: f64,
        slow_noise_w: f64,
        out: &Ride,
    ) -> f64 {
        let simulation = self.scenario.simulation;
        let circumference_m = self.scenario.drivetrain.circumference_m;
        let speed_m_s = self.speed.value().max(SLOWEST_M_S);
        let before = out.row((at_s - simulation.gradient_delay_s).max(0.0));
        let arrived = out.grade_percent.get(before).copied().unwrap_or(f64::NAN);
        let arrived = if arrived.is_nan() { 0.0 } else { arrived };
        let arrived = self
            .arrived
            .step(arrived, simulation.gradient_lag_s, STEP_S);
        let force_n = simulation.force_n(arrived, speed_m_s);
        let wanted_m_s = wheel_speed_m_s(wanted_rpm, ratio, circumference_m);
        let pull_m_s2 = ((wanted_m_s - speed_m_s) / SPEED_S).clamp(-PULL_M_S2, PULL_M_S2);
        let (wanted_n, push_s) = match drive {
            Drive::Cadence => (force_n + simulation.flywheel_kg * pull_m_s2, PUSH_S),
            Drive::Watts(watts) => {
                let [all, none] = QUICK_RPM;
                let able = ((none - self.cadence.value()) / (none - all)).clamp(0.0, 1.0);
                (able * watts * self.arriving() / speed_m_s, SPRINT_PUSH_S)
            }
        };
        let mut push_n = self.push_n.unwrap_or(Lag::at(force_n));
        let settled_n = push_n.step(wanted_n, push_s, STEP_S);
        self.push_n = Some(push_n);
        let wheel_w = (settled_n * speed_m_s + slow_noise_w).max(0.0);
        let free_n = wheel_w / speed_m_s - force_n;
        let next_m_s = speed_m_s + free_n / simulation.flywheel_kg * STEP_S;
        self.speed = Lag::at(next_m_s.max(SLOWEST_M_S));
        let driven_rpm = 60.0 * self.speed.value() / (ratio * circumference_m);
        // Who does not push lets the wheel run ahead of the legs.
        let rolls = wheel_w == 0.0 && driven_rpm > wanted_rpm;
        self.cadence = Lag::at(if rolls { wanted_rpm } else { driven_rpm });
        let power_w = wheel_w / self.arriving();
        self.settled_w = Lag::at(power_w);
        power_w
    }

    fn pedal(&mut self, leg: &Leg, into_s: f64, coasting: bool) -> f64 {
        let slow_noise_rpm = self.cadence_noise.next(&mut self.cadence_g);
        let extra_rpm = match leg.shape {
            Shape::Sprint {
                rolling_w, peak_w, ..
            } if peak_w > rolling_w => {
                25.0 * (leg.target_w(into_s) - rolling_w) / (peak_w - rolling_w)
            }
            _ => 0.0,
        };
        let (wanted_rpm, tau_s) = if coasting {
            (0.0, 0.15)
        } else {
            (leg.cadence_rpm + extra_rpm + slow_noise_rpm, 0.7)
        };
        let cadence_rpm = self.cadence.step(wanted_rpm, tau_s, STEP_S);
        if cadence_rpm < 5.0 { 0.0 } else { cadence_rpm }
    }

    /// The wheel follows the crank while pedalling, and runs down when free.
    fn roll(&mut self, cadence_rpm: f64, ratio: f64, coasting: bool) -> f64 {
        let driven_m_s =
            wheel_speed_m_s(cadence_rpm, ratio, self.scenario.drivetrain.circumference_m);
        let (wanted_m_s, tau_s) = if coasting {
            (0.0, 14.0)
        } else {
            (driven_m_s, 0.4)
        };
        self.speed.step(wanted_m_s, tau_s, STEP_S)
    }

    /// Heart rate follows power slowly (values by common practice, no source).
    fn beat(&mut self, power_w: f64) -> f64 {
        let wanted_bpm = (72.0 + 0.38 * power_w).min(188.0);
        let settled_bpm = self.heart.step(wanted_bpm, 32.0, STEP_S);
        settled_bpm + self.heart_noise.next(&mut self.heart_g)
    }

    /// The trainer warms by 0.12 °C a watt with a time constant of 15 min (invented, of the usual
    /// order).
    fn warm(&mut self, power_w: f64) -> f64 {
        self.warmth.step(0.12 * power_w, 900.0, STEP_S)
    }
}

/// The set point in force within `leg`, W; NaN where none is.
fn commanded_w(leg: &Leg, into_s: f64) -> f64 {
    match leg.shape {
        Shape::Hold(_) | Shape::Line(..) | Shape::Steps(_) => leg.target_w(into_s),
        Shape::Sprint { .. } | Shape::Coast | Shape::Grades(_) => f64::NAN,
    }
}

/// The heart as a second strap hears it: the same beats with noise of its own, beats a minute.
pub(super) fn own_strap(ride: &Ride, seed: u64, device: usize) -> Vec<f64> {
    let mut g = generator(seed, Purpose::OwnStrap(device));
    let mut noise = SlowNoise::new(0.8, 3.0, STEP_S, &mut g);
    ride.heart_bpm
        .iter()
        .map(|bpm| bpm + noise.next(&mut g) + 0.2 * normal(&mut g))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Plan;

    /// Self-check of methods §10: 90 rpm, 50/15, 2.105 m = 10.525 m/s.
    #[test]
    fn wheel_speed_follows_cadence_and_gear() {
        assert!((wheel_speed_m_s(90.0, 50.0 / 15.0, 2.105) - 10.525).abs() < 1e-12);
        let plan = Plan::built_in("full-bench").unwrap();
        let ride = ride(&plan.legs(), &Scenario::default(), 4);
        for (from_s, ratio) in [
            (250.0, 50.0 / 17.0),
            (1290.0, 50.0 / 21.0),
            (1410.0, 50.0 / 14.0),
        ] {
            let rows = ride.row(from_s)..ride.row(from_s + 40.0);
            let n = rows.len() as f64;
            let speed = ride.speed_m_s[rows.clone()].iter().sum::<f64>() / n;
            let cadence = ride.cadence_rpm[rows].iter().sum::<f64>() / n;
            let expected = wheel_speed_m_s(cadence, ratio, 2.105);
            assert!((speed / expected - 1.0).abs() < 0.01, "{speed} {expected}");
        }
    }

    #[test]
    fn a_coasting_rider_gives_no_power_while_the_wheel_runs_down() {
        let plan = Plan::built_in("full-bench").unwrap();
        let ride = ride(&plan.legs(), &Scenario::default(), 4);
        let coast = ride.row(722.0)..ride.row(739.0);
        assert!(
            ride.power_w[coast.clone()]
                .iter()
                .all(|watts| *watts == 0.0)
        );
        assert!(
            ride.cadence_rpm[coast.clone()]
                .iter()
                .all(|rpm| *rpm == 0.0)
        );
        assert!(ride.speed_m_s[coast.clone()].is_sorted_by(|a, b| a > b));
        assert!(ride.coasting_s[coast].iter().all(|s| *s > 0.0));
        assert_eq!(ride.coasting_s[ride.row(700.0)], 0.0);
    }

    #[test]
    fn power_settles_within_three_to_five_seconds_of_a_step() {
        let plan = Plan::built_in("full-bench").unwrap();
        let mut scenario = Scenario::default();
        scenario.rider.slow_noise_w = 0.0;
        let ride = ride(&plan.legs(), &scenario, 4);
        let within = |at_s: f64| (ride.power_w[ride.row(at_s)] - 180.0).abs() < 0.05 * 60.0;
        assert!(!within(363.0) && within(365.0) && within(500.0));
    }

    #[test]
    fn heart_rate_and_warmth_follow_slowly() {
        let plan = Plan::built_in("heat-soak").unwrap();
        let ride = ride(&plan.legs(), &Scenario::default(), 4);
        assert!(ride.warmth_c[0] < 0.1);
        let warm_c = ride.warmth_c[ride.row(3200.0)];
        assert!((warm_c - 0.12 * 220.0).abs() < 2.0, "{warm_c}");
        let bpm = ride.heart_bpm[ride.row(1500.0)];
        assert!((bpm - (72.0 + 0.38 * 220.0)).abs() < 8.0, "{bpm}");
    }
}
