//! Rides that `rehearse` does not make: an own little simulator with another shape of the lag (second
//! order), another noise (memory and jitter in the time stamps), other plans, and the wander of
//! real riders, from the power columns of the FIT files that the fitparser crate ships.

#[path = "../fit_fixtures/mod.rs"]
mod fit_fixtures;

use std::ops::Range;
use std::sync::{Arc, OnceLock};

use rand::RngExt as _;
use rand_distr::{Distribution as _, StandardNormal};
use truing::recording::{
    Channel, ReadOptions, RecordedStream, Recording, Samples, Sampling, SetPoint, TimeBase, read,
};
use truing::session::{
    Claim, Kind, MatchedOn, OpenedSession, Role, Segment, Session, Simulation, Site, Source, Stream,
};
use truing::timeline::Aligned;

use crate::planted::{Clean, Draw, Planted, PutIn, allowance};

/// Steps of the simulation in a second.
const STEPS: usize = 4;
const STEP_S: f64 = 1.0 / STEPS as f64;
/// Left out at the start of a held stretch, s.
const SETTLE_S: usize = 15;
const GRAVITY_M_S2: f64 = 9.80665;
const CIRCUMFERENCE_M: f64 = 2.1;
const ROLLING: f64 = 0.004;
const DRAG_KG_M: f64 = 0.19;

/// What is asked for in a stretch of the ride.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Ask {
    Hold(f64),
    Sprint(f64),
    Coast,
    /// Grade, %, and speed, m/s.
    Slope(f64, f64),
}

/// A stretch of the ride, s.
#[derive(Clone, Debug)]
struct Part {
    kind: Kind,
    seconds: usize,
    ask: Ask,
}

/// What is wrong with the source and its control.
struct Faults {
    gain: f64,
    /// Change of the scale from cold to fully warm.
    heat: f64,
    hold_w: f64,
    surge_w: f64,
    surge_period_s: f64,
    echo: f64,
    control_dead_s: f64,
    control_tau_s: f64,
    reading_dead_s: f64,
    reading_tau_s: f64,
    ceiling_w: f64,
    flywheel_kg: f64,
    phantom_w: f64,
    cadence: Wrong,
    dropouts: Vec<(usize, usize)>,
    gradient_share: f64,
    gradient_delay_s: f64,
}

/// How a cadence is wrong.
#[derive(Clone, Copy)]
enum Wrong {
    Not,
    /// Held at a value now and then.
    Stuck,
    /// Off by this for a while, rpm.
    Jumps(f64),
}

/// A ride from `seed`: its session with tags, aligned, and what is wrong with it.
pub fn ride(seed: u64) -> (Session, Aligned, Planted) {
    with_faults(Draw::new(seed, false))
}

/// The same with nothing wrong.
pub fn sound(seed: u64) -> (Session, Aligned, Planted) {
    with_faults(Draw::new(seed, true))
}

fn with_faults(mut draw: Draw) -> (Session, Aligned, Planted) {
    let parts = parts(&mut draw);
    let seconds = parts.iter().map(|part| part.seconds).sum();
    let mut faults = faults(seconds, &mut draw);
    faults
        .dropouts
        .retain(|(from, length)| !hides(&parts, *from, from + length));
    let truth = simulate(&parts, &faults, &mut draw);
    let cadence_off = off_percent(&truth);
    let opened = opened(&parts, &truth, &faults, &mut draw);
    let planted = planted(&parts, &truth, &faults, cadence_off);
    (opened.session.clone(), Aligned::new(&opened), planted)
}

/// A soak while the source is cold, held powers in any order, the first again at the end, steps,
/// sprints, two coasts, slopes.
fn parts(draw: &mut Draw) -> Vec<Part> {
    let mut parts = Vec::new();
    let mut push = |kind, seconds: f64, ask| {
        parts.push(Part {
            kind,
            seconds: seconds as usize,
            ask,
        });
    };
    let first_w = draw.within(130.0, 170.0).round();
    push(Kind::Open, 200.0, Ask::Hold(110.0));
    push(
        Kind::SteadyBlock,
        draw.within(190.0, 260.0),
        Ask::Hold(first_w),
    );
    push(
        Kind::HeatSoak,
        draw.within(1000.0, 1250.0),
        Ask::Hold(draw.within(180.0, 220.0).round()),
    );
    let mut powers = [185.0, 215.0, 250.0, 275.0].map(|w| (w + draw.within(-8.0, 8.0)).round());
    for last in (1..powers.len()).rev() {
        powers.swap(last, draw.random.random_range(0..=last));
    }
    for watts in powers {
        push(
            Kind::SteadyBlock,
            draw.within(185.0, 240.0),
            Ask::Hold(watts),
        );
    }
    push(Kind::Coast, 18.0, Ask::Coast);
    let low = draw.within(3.6, 4.6);
    let mut grades = [0.0, 1.5, 3.0, 5.0, 3.0, 1.0].map(|grade| (grade, 8.0 - 0.7 * grade));
    grades[4].1 = low;
    for (grade, speed) in grades {
        push(
            Kind::Slope,
            draw.within(65.0, 90.0),
            Ask::Slope(grade, speed),
        );
    }
    push(Kind::Coast, 16.0, Ask::Coast);
    push(Kind::Open, 60.0, Ask::Hold(140.0));
    for _ in 0..4 {
        push(Kind::Open, draw.within(30.0, 50.0), Ask::Hold(240.0));
        push(Kind::Open, draw.within(30.0, 50.0), Ask::Hold(140.0));
    }
    for _ in 0..2 {
        push(Kind::Sprint, 50.0, Ask::Sprint(draw.within(620.0, 900.0)));
        push(Kind::Open, draw.within(60.0, 90.0), Ask::Hold(120.0));
    }
    push(
        Kind::SteadyBlock,
        draw.within(190.0, 240.0),
        Ask::Hold(first_w),
    );
    push(Kind::Open, 90.0, Ask::Hold(100.0));
    parts
}

fn faults(seconds: usize, draw: &mut Draw) -> Faults {
    let signed = |draw: &mut Draw, wrong: (f64, f64), right: f64| {
        if draw.is_planted() {
            draw.signed(wrong.0, wrong.1)
        } else {
            draw.within(-right, right)
        }
    };
    let mut faults = Faults {
        gain: 0.01 * signed(draw, (5.0, 8.0), 0.5),
        heat: 0.01 * signed(draw, (10.0, 14.0), 0.4),
        hold_w: signed(draw, (10.0, 16.0), 1.0),
        surge_w: draw.fault((5.0, 15.0), (0.0, 1.0)).1,
        surge_period_s: draw.within(10.0, 25.0),
        echo: draw.fault((0.78, 1.0), (0.0, 0.1)).1,
        control_dead_s: draw.within(0.5, 1.2),
        control_tau_s: draw.fault((1.5, 2.5), (0.3, 0.55)).1,
        reading_dead_s: draw.within(0.0, 0.8),
        reading_tau_s: draw.within(0.1, 0.4),
        ceiling_w: f64::INFINITY,
        flywheel_kg: 0.0,
        phantom_w: draw.fault((80.0, 500.0), (0.0, 1.0)).1,
        cadence: Wrong::Not,
        dropouts: Vec::new(),
        gradient_share: draw.fault((0.5, 0.78), (0.96, 1.04)).1,
        gradient_delay_s: draw.fault((5.0, 9.0), (0.2, 1.5)).1,
    };
    if draw.is_planted() {
        match draw.random.random_range(0..3) {
            0 => faults.ceiling_w = draw.within(420.0, 540.0),
            1 => faults.reading_tau_s = draw.within(2.2, 3.2),
            _ => faults.flywheel_kg = draw.within(25.0, 45.0),
        }
    }
    if draw.is_planted() {
        faults.cadence = if draw.either() {
            Wrong::Stuck
        } else {
            Wrong::Jumps(draw.signed(10.0, 25.0))
        };
    }
    if draw.is_planted() {
        let count: usize = draw.random.random_range(10..=16);
        let room = seconds / count;
        faults.dropouts = (0..count)
            .map(|at| {
                (
                    at * room + draw.random.random_range(20..room / 2),
                    draw.random.random_range(5..15),
                )
            })
            .collect();
    }
    faults
}

/// Whether a gap hides a sprint or a coast.
fn hides(parts: &[Part], from: usize, to: usize) -> bool {
    parts.iter().zip(starts(parts)).any(|(part, start)| {
        matches!(part.kind, Kind::Sprint | Kind::Coast)
            && from < start + part.seconds + 15
            && start < to
    })
}

/// What happened and what the source would show without noise, one row a step.
struct Truth {
    delivered_w: Vec<f64>,
    shown_w: Vec<f64>,
    speed_m_s: Vec<f64>,
    cadence_rpm: Vec<f64>,
    /// As the source shows it, one row a second.
    shown_rpm: Vec<f64>,
    grade_percent: Vec<f64>,
    loss: f64,
    mass_kg: f64,
}

/// Two equal first-order lags one after the other behind a dead time.
struct SecondOrder {
    late: std::collections::VecDeque<f64>,
    states: [f64; 2],
    keep: f64,
}

impl SecondOrder {
    fn new(start: f64, dead_s: f64, tau_s: f64) -> Self {
        let rows = (dead_s / STEP_S).round() as usize;
        Self {
            late: std::iter::repeat_n(start, rows).collect(),
            states: [start; 2],
            keep: (-STEP_S / tau_s.max(1e-3)).exp(),
        }
    }

    fn step(&mut self, input: f64) -> f64 {
        self.late.push_back(input);
        let mut value = self.late.pop_front().unwrap_or(input);
        for state in &mut self.states {
            *state = self.keep * *state + (1.0 - self.keep) * value;
            value = *state;
        }
        value
    }
}

/// When two equal lags behind a dead time stay within 5 % of a step, s: (1 + x)·exp(−x) = 0.05.
fn in_band_s(dead_s: f64, tau_s: f64) -> f64 {
    dead_s + 4.743_9 * tau_s
}

/// First-order noise with memory of standard deviation 1.
fn memory(draw: &mut Draw, tau: f64, n: usize) -> Vec<f64> {
    let keep = (-1.0 / tau).exp();
    let mut state: f64 = StandardNormal.sample(&mut draw.random);
    (0..n)
        .map(|_| {
            let new: f64 = StandardNormal.sample(&mut draw.random);
            state = keep * state + (1.0 - keep * keep).sqrt() * new;
            state
        })
        .collect()
}

/// Wander of a real rider about a steady power, standard deviation 1, one value a second.
fn slow_noise(draw: &mut Draw, n: usize) -> Vec<f64> {
    static REAL: OnceLock<Vec<f64>> = OnceLock::new();
    let real = REAL.get_or_init(real_wander);
    let mut out = Vec::with_capacity(n + 200);
    while out.len() < n {
        let from = draw.random.random_range(0..real.len() - 200);
        out.extend(&real[from..from + 200]);
    }
    out.truncate(n);
    out
}

/// The longest real power column less its mean over two minutes, where the rider pedals, scaled.
fn real_wander() -> Vec<f64> {
    let columns = fit_fixtures::files().into_iter().filter_map(|file| {
        let recording = read(&file, &ReadOptions::default()).ok()?;
        let power = recording.streams.first()?.samples.column(Channel::Power)?;
        Some(
            power
                .iter()
                .copied()
                .filter(|w| *w > 60.0 && *w < 500.0)
                .collect(),
        )
    });
    let power: Vec<f64> = columns.max_by_key(Vec::len).unwrap();
    let less: Vec<f64> = (60..power.len() - 60)
        .map(|row| power[row] - power[row - 60..row + 60].iter().sum::<f64>() / 120.0)
        .map(|w| w.clamp(-60.0, 60.0))
        .collect();
    let sd = (less.iter().map(|w| w * w).sum::<f64>() / less.len() as f64).sqrt();
    less.iter().map(|w| w / sd).collect()
}

fn simulate(parts: &[Part], faults: &Faults, draw: &mut Draw) -> Truth {
    let asks: Vec<(Ask, usize)> = parts
        .iter()
        .flat_map(|part| (0..part.seconds * STEPS).map(|into| (part.ask, into)))
        .collect();
    let n = asks.len();
    let rider_w = draw.within(3.0, 7.0);
    let rough = slow_noise(draw, n / STEPS + 1);
    let turning = memory(draw, 6.0 * STEPS as f64, n);
    let mass_kg = draw.within(62.0, 98.0);
    let apparent_kg = draw.within(8.0, 22.0);
    let mut control = SecondOrder::new(110.0, faults.control_dead_s, faults.control_tau_s);
    let mut reading = SecondOrder::new(110.0, faults.reading_dead_s, faults.reading_tau_s);
    let mut truth = Truth {
        delivered_w: Vec::with_capacity(n),
        shown_w: Vec::with_capacity(n),
        speed_m_s: Vec::with_capacity(n),
        cadence_rpm: Vec::with_capacity(n),
        shown_rpm: Vec::new(),
        grade_percent: Vec::with_capacity(n),
        loss: 0.01 * (allowance().percent + allowance().plus_minus * draw.within(-1.0, 1.0)),
        mass_kg,
    };
    let (mut speed, mut warmth) = (0.0f64, 0.0f64);
    let switch = asks
        .iter()
        .position(|(ask, _)| *ask == Ask::Coast)
        .unwrap_or(n);
    for (row, (ask, into)) in asks.iter().enumerate() {
        let into_s = *into as f64 * STEP_S;
        let slow_noise_w = rider_w * between(&rough, row as f64 * STEP_S);
        let held_w = match ask {
            Ask::Hold(watts) => control.step(watts + faults.hold_w),
            _ => control.step(truth.delivered_w.last().copied().unwrap_or(110.0)),
        };
        let mut rpm = 86.0 + 1.5 * turning[row];
        let wanted = |rpm: f64| rpm / 60.0 * 2.9 * CIRCUMFERENCE_M;
        let (before, mut delivered_w);
        before = speed;
        match ask {
            Ask::Hold(_) => {
                let turns = row as f64 * STEP_S / faults.surge_period_s;
                let surge_w = faults.surge_w * (std::f64::consts::TAU * turns).sin();
                speed += (wanted(rpm) - speed) * STEP_S / 1.5;
                delivered_w = held_w + surge_w + slow_noise_w;
            }
            Ask::Sprint(peak_w) => {
                let t = into_s - 20.0;
                let shape = if (0.0..10.0).contains(&t) {
                    (t / 1.6).min(1.0) * (1.06 - 0.03 * t)
                } else {
                    0.0
                };
                rpm += 28.0 * shape;
                speed += (wanted(rpm) - speed) * STEP_S / 1.5;
                delivered_w = 125.0 + (peak_w - 125.0) * shape + 0.5 * slow_noise_w;
            }
            Ask::Coast => {
                rpm = 0.0;
                speed -= speed * STEP_S / 14.0;
                delivered_w = 0.0;
            }
            Ask::Slope(_, wanted_m_s) => {
                let late = row.saturating_sub((faults.gradient_delay_s / STEP_S).round() as usize);
                let grade = match asks[late].0 {
                    Ask::Slope(grade, _) => grade,
                    _ => 0.0,
                };
                let slope = (grade / 100.0).atan();
                let force_n = mass_kg
                    * GRAVITY_M_S2
                    * (faults.gradient_share * slope.sin() + ROLLING * slope.cos())
                    + DRAG_KG_M * speed * speed;
                let wobble = 1.0 + 0.015 * turning[row];
                let gain_m_s = ((wanted_m_s * wobble - speed) / 4.0).clamp(-0.3, 0.3) * STEP_S;
                speed = (speed + gain_m_s).max(1.0);
                rpm = speed / (2.0 * CIRCUMFERENCE_M) * 60.0;
                delivered_w =
                    speed * (force_n + apparent_kg * gain_m_s / STEP_S) + 0.5 * slow_noise_w;
            }
        }
        delivered_w = delivered_w.max(0.0);
        warmth += (delivered_w / 250.0 - warmth) * STEP_S / 900.0;
        let into_wheel_w = faults.flywheel_kg * speed * (speed - before) / STEP_S;
        let seen_w = if rpm > 0.0 {
            (delivered_w - into_wheel_w).max(0.0)
        } else {
            0.0
        };
        let mut source_w = seen_w * (1.0 + faults.gain + faults.heat * warmth);
        if let Ask::Hold(watts) = ask {
            source_w += faults.echo * (watts - source_w);
        }
        let nobody = *ask == Ask::Coast && row < switch + 18 * STEPS;
        if nobody && (4.0..12.0).contains(&into_s) {
            source_w += faults.phantom_w;
        }
        truth
            .shown_w
            .push(reading.step(source_w).min(faults.ceiling_w));
        truth.delivered_w.push(delivered_w);
        truth.speed_m_s.push(speed);
        truth.cadence_rpm.push(rpm);
        truth.grade_percent.push(match ask {
            Ask::Slope(grade, _) => *grade,
            _ => f64::NAN,
        });
    }
    truth.shown_rpm = shown_rpm(&truth.cadence_rpm, faults.cadence, draw);
    truth
}

/// What the source says of cadence, one value a second.
fn shown_rpm(cadence_rpm: &[f64], wrong: Wrong, draw: &mut Draw) -> Vec<f64> {
    let mut out: Vec<f64> = cadence_rpm.iter().step_by(STEPS).copied().collect();
    let mut from = 20;
    while !matches!(wrong, Wrong::Not) && from + 12 < out.len() {
        let length = draw.random.random_range(4..9);
        let stuck = out[from] + draw.signed(9.0, 25.0);
        for rpm in out[from..from + length]
            .iter_mut()
            .filter(|rpm| **rpm > 5.0)
        {
            *rpm = match wrong {
                Wrong::Not => *rpm,
                Wrong::Stuck => stuck,
                Wrong::Jumps(by) => *rpm + by,
            };
        }
        from += length + draw.random.random_range(8..30);
    }
    out
}

/// Share of the seconds with pedalling in which the source's cadence is off by more than 5 rpm, %.
fn off_percent(truth: &Truth) -> f64 {
    let pairs = truth
        .shown_rpm
        .iter()
        .zip(truth.cadence_rpm.iter().step_by(STEPS));
    let pedalled: Vec<bool> = pairs
        .filter(|(_, real)| **real > 5.0)
        .map(|(shown, real)| (shown - real).abs() > 5.0)
        .collect();
    100.0 * pedalled.iter().filter(|off| **off).count() as f64 / pedalled.len() as f64
}

/// `column` between its values.
fn between(column: &[f64], at: f64) -> f64 {
    let at = at.clamp(0.0, column.len() as f64 - 1.001);
    let (row, share) = (at as usize, at.fract());
    column[row] * (1.0 - share) + column[row + 1] * share
}

/// Means over the second before each whole second; the first has none and repeats the next.
fn seconds_of(column: &[f64]) -> Vec<f64> {
    let seconds = column.chunks(STEPS);
    let means: Vec<f64> = seconds
        .map(|steps| steps.iter().sum::<f64>() / steps.len() as f64)
        .collect();
    let first = means.first().copied();
    let rest = means.len().saturating_sub(1);
    first
        .into_iter()
        .chain(means.into_iter().take(rest))
        .collect()
}

/// A column as a meter shows it: sampled with jitter, with noise that has a memory, in whole watts.
fn shown(column: &[f64], gain: f64, draw: &mut Draw) -> Vec<f64> {
    let n = column.len();
    let (sd, slow_sd) = (draw.within(0.8, 2.2), draw.within(0.2, 0.9));
    let quick = memory(draw, 1.5, n);
    let slow = memory(draw, 40.0, n);
    (0..n)
        .map(|row| {
            let jitter: f64 = StandardNormal.sample(&mut draw.random);
            let watts = between(column, row as f64 + 0.12 * jitter) * gain;
            let present = (watts / 30.0).clamp(0.0, 1.0);
            (watts + present * (sd * quick[row] + slow_sd * slow[row]))
                .max(0.0)
                .round()
        })
        .collect()
}

/// Start of each part, s.
fn starts(parts: &[Part]) -> Vec<usize> {
    let mut at = 0;
    parts
        .iter()
        .map(|part| {
            let from = at;
            at += part.seconds;
            from
        })
        .collect()
}

fn opened(parts: &[Part], truth: &Truth, faults: &Faults, draw: &mut Draw) -> OpenedSession {
    let pedals: Vec<f64> = seconds_of(&truth.delivered_w)
        .iter()
        .map(|w| w / (1.0 - truth.loss))
        .collect();
    let mut source = shown(&seconds_of(&truth.shown_w), 1.0, draw);
    for (from, length) in &faults.dropouts {
        let end = (from + length).min(source.len());
        source[*from..end].fill(f64::NAN);
    }
    let n = source.len();
    let every = |column: &[f64]| -> Vec<f64> { column.iter().step_by(STEPS).copied().collect() };
    let whole = |column: Vec<f64>| -> Vec<f64> { column.iter().map(|v| v.round()).collect() };
    let mut session = Session {
        claim: Claim {
            percent: 2.0,
            watts: 0.0,
        },
        allowance: Some(allowance()),
        simulation: Some(Simulation {
            mass_kg: truth.mass_kg,
            rolling: ROLLING,
            drag_kg_m: DRAG_KG_M,
        }),
        ..Session::default()
    };
    let mut sources = Vec::new();
    for (label, role, site) in [
        ("source", Role::UnderTest, Site::Trainer),
        ("pedals", Role::Reference, Site::Pedal),
        ("crank", Role::Reference, Site::Crank),
    ] {
        let mut samples = Samples::new((0..n).map(|t| t as f64).collect()).unwrap();
        if role == Role::UnderTest {
            samples.set_column(Channel::Power, source.clone());
            samples.set_column(Channel::Cadence, whole(truth.shown_rpm.clone()));
            samples.set_column(Channel::Speed, every(&truth.speed_m_s));
            samples.set_column(Channel::Grade, every(&truth.grade_percent));
        } else {
            let gain = 1.0 + 0.01 * draw.within(-0.7, 0.7);
            samples.set_column(Channel::Power, shown(&pedals, gain, draw));
            samples.set_column(Channel::Cadence, whole(every(&truth.cadence_rpm)));
        }
        let recorded = RecordedStream {
            label: label.to_owned(),
            power_field: None,
            sampling: Sampling::Regular,
            samples,
        };
        let mut recording = Recording::in_memory(label, label, TimeBase::Elapsed, vec![recorded]);
        if role == Role::UnderTest {
            recording.set_points = set_points(parts);
        }
        let mut stream = Stream::new(label, label);
        stream.role = role;
        stream.site = Some(site);
        stream.claim_percent = Some(if role == Role::UnderTest { 2.0 } else { 1.0 });
        stream.matched_on = Some(MatchedOn::Given);
        session.streams.push(stream);
        sources.push(Source::new(Arc::new(recording), 0));
    }
    session.segments = segments(parts);
    OpenedSession {
        folder: ".".into(),
        session,
        sources,
        problems: Vec::new(),
    }
}

fn set_points(parts: &[Part]) -> Vec<SetPoint> {
    let held = parts
        .iter()
        .zip(starts(parts))
        .filter_map(|(part, from)| match part.ask {
            Ask::Hold(watts) => Some(SetPoint {
                from_s: from as f64,
                to_s: (from + part.seconds) as f64,
                watts,
            }),
            _ => None,
        });
    held.collect()
}

/// What a careful tester tags: the slopes as one, held stretches once they have settled.
fn segments(parts: &[Part]) -> Vec<Segment> {
    let mut out: Vec<Segment> = Vec::new();
    for (part, from) in parts.iter().zip(starts(parts)) {
        let is_held = matches!(part.kind, Kind::SteadyBlock | Kind::HeatSoak);
        let from_s = (from + if is_held { SETTLE_S } else { 0 }) as f64;
        let to_s = (from + part.seconds) as f64;
        match out.last_mut() {
            _ if part.kind == Kind::Open => {}
            Some(last) if part.kind == Kind::Slope && last.kind == Kind::Slope => last.to_s = to_s,
            _ => out.push(Segment {
                kind: part.kind,
                from_s,
                to_s,
                set_point_w: match part.ask {
                    Ask::Hold(watts) => Some(watts),
                    _ => None,
                },
                note: String::new(),
            }),
        }
    }
    out
}

fn planted(parts: &[Part], truth: &Truth, faults: &Faults, cadence_percent: f64) -> Planted {
    let (shown_w, delivered_w) = (seconds_of(&truth.shown_w), seconds_of(&truth.delivered_w));
    let of = |kind: Kind| -> Vec<(Range<usize>, Ask)> {
        let parts = parts.iter().zip(starts(parts));
        let of_kind = parts.filter(|(part, _)| part.kind == kind);
        of_kind
            .map(|(part, from)| (from..from + part.seconds, part.ask))
            .collect()
    };
    let settled = |kind| {
        of(kind).into_iter().filter_map(|(rows, ask)| match ask {
            Ask::Hold(watts) => Some((rows.start + SETTLE_S..rows.end, watts)),
            _ => None,
        })
    };
    let end = shown_w.len();
    let clean = Clean {
        shown_w: &shown_w,
        delivered_w: &delivered_w,
        held: settled(Kind::SteadyBlock)
            .chain(settled(Kind::HeatSoak))
            .collect(),
        soak: settled(Kind::HeatSoak).next().unwrap().0,
        sprints: of(Kind::Sprint)
            .into_iter()
            .map(|(rows, _)| rows.start..(rows.end + 15).min(end))
            .collect(),
    };
    let put_in = PutIn {
        surge_w: faults.surge_w,
        echo: faults.echo,
        follow_s: in_band_s(faults.control_dead_s, faults.control_tau_s),
        phantom_w: faults.phantom_w,
        cadence_percent,
        dropouts_per_hour: faults.dropouts.len() as f64 / (end as f64 / 3600.0),
        gradient_share: faults.gradient_share,
        gradient_delay_s: faults.gradient_delay_s,
    };
    Planted::of(&clean, put_in)
}
