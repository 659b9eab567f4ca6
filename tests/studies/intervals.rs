//! Whether intervals of the bias cover, how wide they are beside the ideal, and what is decided, on
//! noise, lags and riders that `rehearse` does not make.
//!
//! `cargo run --profile quick --example intervals -- [RIDES [FIRST]]` makes that many rides (100 by
//! default) a family of noise and rider, each family on seeds of its own from FIRST on (70001 by
//! default). Riders: blocks of held
//! power with a rider's wander, and the real power column of a FIT file that the fitparser crate
//! ships, pieces of four minutes put together at random and scaled. Devices: one source and two
//! references with drawn gain, lag, clock and noise. The ideal half-width of a class is 1.96 times the
//! root mean square error of its biases: what an interval would have that knew the noise.

#![allow(clippy::print_stdout, clippy::unwrap_used)]

#[path = "../fit_fixtures/mod.rs"]
mod fit_fixtures;

use std::sync::Arc;

use rand::{Rng, RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, StandardNormal};
use rayon::prelude::*;
use truing::analysis::ride::findings;
use truing::analysis::segment;
use truing::analysis::verdict::conformity::Outcome;
use truing::recording::{
    Channel, ReadOptions, RecordedStream, Recording, Samples, Sampling, TimeBase, read,
};
use truing::session::{Claim, Kind, OpenedSession, Role, Session, Source, Stream};
use truing::timeline::{Aligned, Span};

/// Length of a ride, s.
const RIDE_S: usize = 3000;
const REFERENCE_CLAIM: f64 = 1.0;
const CLAIM: f64 = 2.0;

/// How a device's readings scatter.
#[derive(Clone, Copy, Debug)]
enum Family {
    White,
    Memory(f64),
    Jitter,
    Beat,
    WhiteAndSlow,
    WithPower,
}

const FAMILIES: [Family; 9] = [
    Family::White,
    Family::Memory(3.0),
    Family::Memory(15.0),
    Family::Memory(30.0),
    Family::Memory(60.0),
    Family::Jitter,
    Family::Beat,
    Family::WhiteAndSlow,
    Family::WithPower,
];

#[derive(Clone, Copy, Debug, PartialEq)]
enum Rider {
    Held,
    Real,
}

fn normal(random: &mut impl Rng) -> f64 {
    StandardNormal.sample(random)
}

/// First-order autoregressive noise of standard deviation 1, in its steady state.
fn memory(random: &mut impl Rng, tau_s: f64, n: usize) -> Vec<f64> {
    let phi = (-1.0 / tau_s).exp();
    let mut state = normal(random);
    let step = (1.0 - phi * phi).sqrt();
    (0..n)
        .map(|_| {
            state = phi * state + step * normal(random);
            state
        })
        .collect()
}

impl Family {
    /// Noise of a device on `power`, W.
    fn noise(self, random: &mut impl Rng, power: &[f64]) -> Vec<f64> {
        let n = power.len();
        let sd = random.random_range(1.5..5.0);
        let white: Vec<f64> = (0..n).map(|_| normal(random)).collect();
        let scaled = |values: Vec<f64>, by: f64| values.into_iter().map(|v| v * by).collect();
        match self {
            Family::White => scaled(white, sd),
            Family::Memory(tau_s) => scaled(memory(random, tau_s, n), sd),
            Family::Jitter => {
                let late: Vec<f64> = white.iter().map(|w| 0.35 * w).collect();
                (0..n)
                    .map(|t| at(power, t as f64 - late[t]) - power[t] + 0.4 * sd * normal(random))
                    .collect()
            }
            Family::Beat => {
                let mut phase: f64 = random.random_range(0.0..6.3);
                let period = random.random_range(5.0..16.0);
                white
                    .iter()
                    .map(|w| {
                        phase += std::f64::consts::TAU / period * (1.0 + 0.1 * normal(random));
                        sd * (phase.sin() + 0.4 * w)
                    })
                    .collect()
            }
            Family::WhiteAndSlow => {
                let slow = memory(random, 45.0, n);
                let both = slow.iter().zip(&white).map(|(s, w)| 0.4 * sd * s + sd * w);
                both.collect()
            }
            Family::WithPower => {
                let slow = memory(random, 4.0, n);
                (0..n).map(|t| sd * slow[t] * power[t] / 200.0).collect()
            }
        }
    }
}

/// `column` between its samples.
fn at(column: &[f64], t: f64) -> f64 {
    let t = t.clamp(0.0, column.len() as f64 - 1.001);
    let (row, share) = (t as usize, t.fract());
    column[row] * (1.0 - share) + column[row + 1] * share
}

/// The power that is ridden, with the held blocks.
fn ridden(rider: Rider, real: &[f64], random: &mut ChaCha8Rng) -> (Vec<f64>, Vec<(usize, usize)>) {
    let (mut power, mut blocks) = (Vec::new(), Vec::new());
    match rider {
        Rider::Held => {
            while power.len() < RIDE_S {
                let length = random.random_range(75..315);
                let level = random.random_range(110.0..330.0);
                let from = power.len() + 12;
                blocks.push((from, power.len() + length - 2));
                let slow_noise = memory(random, 8.0, length);
                power.extend(slow_noise.iter().map(|w| level + 4.0 * w));
            }
            blocks.retain(|(_, to)| *to <= RIDE_S);
        }
        Rider::Real => {
            while power.len() < RIDE_S {
                let from = random.random_range(0..real.len() - 240);
                let scale = random.random_range(0.75..1.25);
                power.extend(real[from..from + 240].iter().map(|w| w * scale));
            }
            for _ in 0..12 {
                let length = random.random_range(60..900);
                let from = random.random_range(10..RIDE_S - length);
                blocks.push((from, from + length));
            }
        }
    }
    power.truncate(RIDE_S);
    (power, blocks)
}

/// What a device makes of it, with its gain.
fn device(
    power: &[f64],
    family: Family,
    gain: f64,
    lag_s: f64,
    random: &mut ChaCha8Rng,
) -> Vec<f64> {
    let shift = random.random_range(-0.5..0.5);
    let keep = if lag_s > 0.0 {
        (-1.0 / lag_s).exp()
    } else {
        0.0
    };
    let mut state = power[0];
    let shown: Vec<f64> = (0..power.len())
        .map(|t| {
            state = keep * state + (1.0 - keep) * at(power, t as f64 + shift);
            state
        })
        .collect();
    let noise = family.noise(random, &shown);
    shown
        .iter()
        .zip(&noise)
        .map(|(p, e)| ((1.0 + gain) * p + e).max(0.0))
        .collect()
}

fn session(columns: [Vec<f64>; 3]) -> OpenedSession {
    let (mut session, mut sources) = (Session::default(), Vec::new());
    session.claim = Claim {
        percent: CLAIM,
        watts: 0.0,
    };
    for (index, power) in columns.into_iter().enumerate() {
        let label = ["source", "one", "other"][index].to_owned();
        let mut samples = Samples::new((0..power.len()).map(|t| t as f64).collect()).unwrap();
        samples.set_column(Channel::Power, power);
        let recorded = RecordedStream {
            label: label.clone(),
            power_field: None,
            sampling: Sampling::Regular,
            samples,
        };
        let recording = Recording::in_memory(&label, &label, TimeBase::Elapsed, vec![recorded]);
        let mut stream = Stream::new(label.clone(), label);
        stream.role = if index == 0 {
            Role::UnderTest
        } else {
            Role::Reference
        };
        stream.claim_percent = (index > 0).then_some(REFERENCE_CLAIM);
        session.streams.push(stream);
        sources.push(Source::new(Arc::new(recording), 0));
    }
    OpenedSession {
        folder: ".".into(),
        session,
        sources,
        problems: Vec::new(),
    }
}

/// One interval and verdict.
#[derive(Clone, Copy)]
struct Seen {
    error_w: f64,
    half_w: f64,
    error_percent: f64,
    half_percent: f64,
    /// Error of the source, %.
    gain_percent: f64,
    said: Outcome,
    /// Whether the noise being as it is, the truth is clear; set by [`with_clear`].
    is_clear: bool,
}

impl Seen {
    fn right(&self) -> Outcome {
        if self.gain_percent.abs() <= CLAIM {
            Outcome::Conforms
        } else {
            Outcome::DoesNotConform
        }
    }
}

fn middle(of: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = of.collect();
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

/// Half-width of an interval that knew the noise, of errors with this spread.
fn usual(errors: impl Iterator<Item = f64>) -> f64 {
    1.96 * 1.4826 * middle(errors.map(f64::abs))
}

/// Windows of one family of noise, those marked whose error lies beyond or within the limit by more than
/// twice the ideal uncertainty, the references' claims included.
fn with_clear(mut all: Vec<Seen>) -> Vec<Seen> {
    let claims = 1.96 * REFERENCE_CLAIM / 6.0_f64.sqrt();
    let margin = 2.0 * usual(all.iter().map(|s| s.error_percent)).hypot(claims);
    for seen in &mut all {
        seen.is_clear = (seen.gain_percent.abs() - CLAIM).abs() >= margin;
    }
    all
}

fn root_mean_square(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, n) = values.fold((0.0, 0.0), |(sum, n), v| (sum + v * v, n + 1.0));
    (sum / f64::max(n, 1.0)).sqrt()
}

/// Percentage of those that satisfy `is`.
fn share(of: &[Seen], is: impl Fn(&Seen) -> bool) -> f64 {
    100.0 * of.iter().filter(|seen| is(seen)).count() as f64 / of.len().max(1) as f64
}

/// A line of the table.
fn line(name: &str, all: &[Seen]) {
    let mean =
        |of: &dyn Fn(&Seen) -> f64| all.iter().map(of).sum::<f64>() / all.len().max(1) as f64;
    let typical = middle(all.iter().map(|s| s.half_w)) / usual(all.iter().map(|s| s.error_w));
    let ideal_w = 1.96 * root_mean_square(all.iter().map(|s| s.error_w));
    let ideal_percent = 1.96 * root_mean_square(all.iter().map(|s| s.error_percent));
    let (half_w, half_percent) = (mean(&|s| s.half_w), mean(&|s| s.half_percent));
    let clear: Vec<Seen> = all.iter().filter(|s| s.is_clear).copied().collect();
    let decides = |s: &Seen| matches!(s.said, Outcome::Conforms | Outcome::DoesNotConform);
    let withheld = |s: &Seen| s.said == Outcome::ReferencesDisagree;
    println!(
        "{name:<22} {typical:>5.2} {:>5} {:>6.1} {:>6.2} {:>5.2} | {:>6.1} {:>5.2} {:>5.2} | {:>5} {:>5.1} {:>5.1} {:>6.2} {:>5.1}",
        all.len(),
        share(all, |s| s.error_w.abs() <= s.half_w),
        half_w,
        half_w / ideal_w,
        share(all, |s| s.error_percent.abs() <= s.half_percent),
        half_percent,
        half_percent / ideal_percent,
        clear.len(),
        share(&clear, |s| s.said == s.right()),
        share(&clear, withheld),
        share(all, |s| decides(s) && s.said != s.right()),
        share(all, withheld),
    );
}

fn one_ride(rider: Rider, family: Family, real: &[f64], seed: u64) -> Vec<Seen> {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let (power, windows) = ridden(rider, real, &mut random);
    let gain = random.random_range(-0.06..0.06);
    let claims = [(); 2].map(|()| 0.01 * REFERENCE_CLAIM * random.random_range(-1.0..1.0));
    let lag = random.random_range(0.0..3.0);
    let source = device(&power, family, gain, lag, &mut random);
    let references = claims.map(|own| {
        let lag = random.random_range(0.0..0.7);
        device(&power, family, own, lag, &mut random)
    });
    let [one, other] = references;
    let opened = session([source, one, other]);
    let aligned = Aligned::new(&opened);
    let found = findings(&aligned);
    let mut seen = Vec::new();
    for (from, to) in windows {
        let level: f64 = power[from..to].iter().sum::<f64>() / (to - from) as f64;
        let span = Span::new(from as f64, to as f64);
        let figures = segment::live(&opened.session, &aligned, &found, span, Kind::SteadyBlock);
        let reference = 0.5 * (claims[0] + claims[1]);
        let agreement = figures
            .agreement
            .iter()
            .find(|a| a.reference == "consensus")
            .unwrap();
        let (Some([low, high]), Some(percent)) =
            (agreement.bias_ci95_w, agreement.bias_ci95_percent)
        else {
            continue;
        };
        let truth_w = (gain - reference) * level;
        let truth_percent = 100.0 * ((1.0 + gain) / (1.0 + reference) - 1.0);
        let verdict = figures.verdict.as_ref().unwrap();
        seen.push(Seen {
            error_w: 0.5 * (low + high) - truth_w,
            half_w: 0.5 * (high - low),
            error_percent: 0.5 * (percent[0] + percent[1]) - truth_percent,
            half_percent: 0.5 * (percent[1] - percent[0]),
            gain_percent: 100.0 * gain,
            said: verdict.outcome,
            is_clear: false,
        });
    }
    seen
}

fn real_power() -> Vec<f64> {
    let columns = fit_fixtures::files().into_iter().filter_map(|file| {
        let recording = read(&file, &ReadOptions::default()).ok()?;
        let power = recording.streams.first()?.samples.column(Channel::Power)?;
        Some(
            power
                .iter()
                .map(|w| if w.is_finite() { *w } else { 0.0 })
                .collect(),
        )
    });
    columns.max_by_key(Vec::len).unwrap()
}

fn main() {
    let number = |at: usize| -> Option<u64> { std::env::args().nth(at)?.parse().ok() };
    let (rides, first) = (number(1).unwrap_or(100), number(2).unwrap_or(70_001));
    let real = real_power();
    println!(
        "{rides} rides a line, seeds from {first}; the real column has {} s",
        real.len()
    );
    println!(
        "rider, noise           typ      n  cov %  half W ideal |  cov % half% ideal | clear dec % withh  wrong withheld"
    );
    for rider in [Rider::Held, Rider::Real] {
        let mut all = Vec::new();
        for (family, first) in FAMILIES.into_iter().zip((first..).step_by(rides as usize)) {
            let seen: Vec<Seen> = (first..first + rides)
                .into_par_iter()
                .flat_map(|seed| one_ride(rider, family, &real, seed))
                .collect();
            let seen = with_clear(seen);
            line(&format!("{rider:?}, {family:?}"), &seen);
            all.extend(seen);
        }
        line(&format!("{rider:?}, all"), &all);
    }
}
