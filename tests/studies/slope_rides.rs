//! Slopes that `rehearse` does not ride: an own little simulator. The wheel obeys the force balance in
//! steps of 0.02 s; the rider turns at a cadence that wanders, surges now and then and shifts late; the
//! gradient arrives after a dead time and then little by little; the meters average strokes, have noise with a
//! memory and stamps of their own.

use std::sync::Arc;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, StandardNormal};
use truing::recording::{Channel, RecordedStream, Recording, Samples, Sampling, TimeBase};
use truing::session::{
    Allowance, MatchedOn, OpenedSession, Role, Session, Simulation, Site, Source, Stream,
};
use truing::timeline::Aligned;

use crate::{Made, PutIn};

const STEPS: usize = 50;
const STEP_S: f64 = 1.0 / STEPS as f64;
const GRAVITY_M_S2: f64 = 9.80665;
const LOSS: f64 = 0.022;

/// First-order noise of standard deviation 1.
struct Memory {
    keep: f64,
    state: f64,
}

impl Memory {
    fn new(tau_s: f64, step_s: f64) -> Self {
        Self {
            keep: (-step_s / tau_s).exp(),
            state: 0.0,
        }
    }

    fn next(&mut self, random: &mut ChaCha8Rng) -> f64 {
        let new: f64 = StandardNormal.sample(random);
        self.state = self.keep * self.state + (1.0 - self.keep * self.keep).sqrt() * new;
        self.state
    }
}

/// What happened, a row a step.
struct Happened {
    wheel_w: Vec<f64>,
    speed_m_s: Vec<f64>,
    cadence_rpm: Vec<f64>,
    grade_percent: Vec<f64>,
}

/// A ride whose speed and grade are recorded of the wheel.
pub fn ride(seed: u64) -> Made {
    made(seed, false)
}

/// The same whose recorded speed is that of the app's own rider.
pub fn app_speed(seed: u64) -> Made {
    made(seed, true)
}

fn made(seed: u64, is_app: bool) -> Made {
    let mut random = ChaCha8Rng::seed_from_u64(seed ^ 0xabc);
    let mut within = |low: f64, high: f64| random.random_range(low..=high);
    let (dead_s, tau_s) = (within(0.2, 5.0), within(0.0, 3.0));
    let put_in = PutIn {
        share: within(0.5, 1.1),
        delay_s: dead_s + tau_s,
        flywheel_kg: within(5.0, 30.0),
    };
    let given = Simulation {
        mass_kg: within(60.0, 100.0),
        rolling: within(0.003, 0.006),
        drag_kg_m: within(0.15, 0.25),
    };
    let mut happened = happen(put_in, given, [dead_s, tau_s], &mut random);
    if is_app {
        happened.speed_m_s = app_speeds(&happened, given);
    }
    let (session, aligned) = recorded(&happened, given, &mut random);
    (session, aligned, put_in)
}

fn happen(
    put_in: PutIn,
    given: Simulation,
    [dead_s, tau_s]: [f64; 2],
    random: &mut ChaCha8Rng,
) -> Happened {
    let mut parts: Vec<(f64, f64, f64)> = Vec::new();
    // Grades in any order with a gear for each, one of them in two gears.
    for grade in [0.0, 3.0, 5.0, -2.0, 1.5, 6.0, 2.0, 0.0, 4.0] {
        let gear = 2.9 - 0.19 * f64::max(grade, 0.0) + random.random_range(-0.15..0.15);
        parts.push((grade, gear, random.random_range(65.0..100.0)));
        if grade == 3.0 || grade == 4.0 {
            parts.push((grade, gear * 0.72, random.random_range(60.0..80.0)));
        }
    }
    let (mut rough, mut turning) = (Memory::new(2.0, STEP_S), Memory::new(8.0, STEP_S));
    let rough_n = random.random_range(0.3..1.5);
    let wander_rpm = random.random_range(1.0..3.0);
    let mut out = Happened {
        wheel_w: Vec::new(),
        speed_m_s: Vec::new(),
        cadence_rpm: Vec::new(),
        grade_percent: Vec::new(),
    };
    let (mut speed, mut arrived, mut push_n): (f64, f64, f64) = (7.0, 0.0, 10.0);
    let (mut gear, mut phase) = (2.9, 0.0f64);
    for (grade, next_gear, seconds) in parts {
        let shifts_s = random.random_range(0.5..6.0);
        let surge_s = random.random_range(20.0..50.0);
        for step in 0..(seconds * STEPS as f64) as usize {
            let into_s = step as f64 * STEP_S;
            if into_s >= shifts_s {
                gear = next_gear;
            }
            let dead = (dead_s / STEP_S) as usize;
            let asked = out.grade_percent.len().checked_sub(dead);
            let asked = asked.and_then(|at| out.grade_percent.get(at)).copied();
            let asked = asked.unwrap_or(if dead == 0 { grade } else { 0.0 });
            arrived += (asked - arrived) * if tau_s > STEP_S { STEP_S / tau_s } else { 1.0 };
            let slope = (arrived / 100.0).atan();
            let weight_n = given.mass_kg * GRAVITY_M_S2;
            let force_n = weight_n * (put_in.share * slope.sin() + given.rolling * slope.cos())
                + given.drag_kg_m * speed * speed;
            let surging = (surge_s..surge_s + 5.0).contains(&into_s);
            let rpm = 84.0 + wander_rpm * turning.next(random) + if surging { 7.0 } else { 0.0 };
            let circumference_m = 2.1;
            let wanted = rpm / 60.0 * gear * circumference_m;
            let pull = ((wanted - speed) / 2.5).clamp(-0.5, 0.5);
            let wanted_n = force_n + put_in.flywheel_kg * pull;
            push_n += (wanted_n - push_n) * STEP_S / 0.6;
            phase += speed / (gear * circumference_m) * STEP_S * std::f64::consts::TAU;
            // Two strokes a turn.
            let stroke = 1.0 + 0.5 * (2.0 * phase).cos();
            let wheel_n = ((push_n + rough_n * rough.next(random)) * stroke).max(0.0);
            let before = speed;
            speed = (speed + (wheel_n - force_n) / put_in.flywheel_kg * STEP_S).max(1.5);
            out.wheel_w.push(wheel_n * 0.5 * (before + speed));
            out.speed_m_s.push(speed);
            out.cadence_rpm
                .push(60.0 * speed / (gear * circumference_m));
            out.grade_percent.push(grade);
        }
    }
    out
}

/// The speed that the same power would give on the road.
fn app_speeds(happened: &Happened, given: Simulation) -> Vec<f64> {
    let mut speed: f64 = 7.0;
    let weight_n = given.mass_kg * GRAVITY_M_S2;
    let rows = happened.wheel_w.iter().zip(&happened.grade_percent);
    rows.map(|(watts, grade)| {
        let slope = (grade / 100.0).atan();
        let force_n = weight_n * (slope.sin() + given.rolling * slope.cos())
            + given.drag_kg_m * speed * speed;
        speed = (speed + (watts / speed - force_n) / given.mass_kg * STEP_S).max(1.0);
        speed
    })
    .collect()
}

/// Mean over the second before each stamp, with `late_s` of the meter's own.
fn seconds(column: &[f64], late_s: f64) -> Vec<f64> {
    let n = column.len() / STEPS;
    (0..n)
        .map(|second| {
            let end = ((second as f64 + late_s) * STEPS as f64) as isize;
            let from = (end - STEPS as isize).max(0) as usize;
            let end = (end.max(1) as usize).min(column.len());
            let part = &column[from.min(end - 1)..end];
            part.iter().sum::<f64>() / part.len() as f64
        })
        .collect()
}

fn recorded(happened: &Happened, given: Simulation, random: &mut ChaCha8Rng) -> (Session, Aligned) {
    let allowance = Allowance {
        percent: 100.0 * LOSS,
        plus_minus: 0.5,
    };
    let mut session = Session {
        allowance: Some(allowance),
        simulation: Some(given),
        ..Session::default()
    };
    let mut sources = Vec::new();
    let loss = LOSS + 0.005 * random.random_range(-1.0..1.0);
    for (label, role, site) in [
        ("source", Role::UnderTest, Site::Trainer),
        ("pedals", Role::Reference, Site::Pedal),
        ("crank", Role::Reference, Site::Crank),
    ] {
        // A clock matched to some hundredths of a second, and stamps between the full seconds.
        let is_source = role == Role::UnderTest;
        let phase_s = if is_source {
            0.0
        } else {
            random.random_range(-0.45..0.45)
        };
        let normal: f64 = StandardNormal.sample(random);
        let off_s = if is_source { 0.0 } else { 0.05 * normal };
        let gain = match role {
            Role::UnderTest => 1.0,
            _ => (1.0 + 0.01 * random.random_range(-1.0..1.0)) / (1.0 - loss),
        };
        let (mut quick, mut slow) = (Memory::new(1.5, 1.0), Memory::new(60.0, 1.0));
        let [sd, slow_sd] = [random.random_range(0.8..2.5), random.random_range(0.2..0.9)];
        let power: Vec<f64> = seconds(&happened.wheel_w, phase_s + off_s)
            .into_iter()
            .map(|w| {
                (gain * w + sd * quick.next(random) + slow_sd * slow.next(random))
                    .max(0.0)
                    .round()
            })
            .collect();
        let n = power.len();
        let mut samples = Samples::new((0..n).map(|t| t as f64 + phase_s).collect()).unwrap();
        let every = |column: &[f64]| -> Vec<f64> {
            let at = |second: usize| (second * STEPS).clamp(1, column.len()) - 1;
            (0..n).map(|second| column[at(second)]).collect()
        };
        samples.set_column(Channel::Power, power);
        let rpm = every(&happened.cadence_rpm);
        samples.set_column(
            Channel::Cadence,
            rpm.iter().map(|rpm| rpm.round()).collect(),
        );
        if is_source {
            let milli = |v: &f64| (1000.0 * v).round() / 1000.0;
            // A wheel sensor tells of the half second before.
            let half = |second: usize| {
                let end = (second * STEPS).clamp(1, happened.speed_m_s.len());
                let part = &happened.speed_m_s[end.saturating_sub(STEPS / 2)..end];
                part.iter().sum::<f64>() / part.len() as f64
            };
            samples.set_column(Channel::Speed, (0..n).map(|s| milli(&half(s))).collect());
            samples.set_column(Channel::Grade, every(&happened.grade_percent));
        }
        let stream = RecordedStream {
            label: label.to_owned(),
            power_field: None,
            sampling: Sampling::Regular,
            samples,
        };
        let recording = Recording::in_memory(label, label, TimeBase::Elapsed, vec![stream]);
        session.streams.push(Stream {
            role,
            site: Some(site),
            claim_percent: Some(if is_source { 2.0 } else { 1.0 }),
            matched_on: Some(MatchedOn::Given),
            ..Stream::new(label, label)
        });
        sources.push(Source::new(Arc::new(recording), 0));
    }
    let opened = OpenedSession {
        folder: ".".into(),
        session,
        sources,
        problems: Vec::new(),
    };
    let aligned = Aligned::new(&opened);
    (opened.session, aligned)
}
