//! Clocks matched on one heart-rate strap, by how it sends and what goes wrong on the way: on rehearsed
//! rides, and on the heart rates of real riders (recordings that a library ships) with invented straps
//! and recorders on top. The invented straps here are written apart from those of `rehearse`.

use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use truing::recording::{Channel, ReadOptions, Samples, Sampling, read};
use truing::rehearse::{Sends, random_scenario, ride};
use truing::session::Role;
use truing::timeline::Clock;
use truing::timeline::align::{Options, Source, align};

use super::clock_scenes::{Miss, Scene, aligned, misses};
use super::fit_fixtures;

/// How a strap sends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Strap {
    Beats,
    /// On a timer of this period, s.
    Timer(f64),
}

/// The straps studied: on beats, about four times a second, four times, once.
pub const STRAPS: [(&str, Strap); 4] = [
    ("beats", Strap::Beats),
    ("4.06 Hz", Strap::Timer(8070.0 / 32768.0)),
    ("4 Hz", Strap::Timer(0.25)),
    ("1 Hz", Strap::Timer(1.0)),
];

/// What goes wrong on the way to a recorder.
#[derive(Clone, Copy, Debug, Default)]
pub struct Trouble {
    pub name: &'static str,
    /// Share of messages missed.
    loss: f64,
    /// Largest delay that changes from message to message, s.
    jitter_s: f64,
    /// Largest constant delay of a recorder, s.
    constant_s: f64,
}

pub const TROUBLES: [Trouble; 5] = [
    Trouble {
        name: "none",
        loss: 0.0,
        jitter_s: 0.0,
        constant_s: 0.0,
    },
    Trouble {
        name: "loss",
        loss: 0.1,
        jitter_s: 0.0,
        constant_s: 0.0,
    },
    Trouble {
        name: "jitter",
        loss: 0.0,
        jitter_s: 0.2,
        constant_s: 0.0,
    },
    Trouble {
        name: "constant",
        loss: 0.0,
        jitter_s: 0.0,
        constant_s: 0.3,
    },
    Trouble {
        name: "both",
        loss: 0.0,
        jitter_s: 0.2,
        constant_s: 0.3,
    },
];

/// Both streams of a rehearsed ride with the strap and the trouble.
pub fn rehearsed(strap: Strap, trouble: Trouble, seed: u64) -> Vec<Miss> {
    let mut draw = ChaCha8Rng::seed_from_u64(seed ^ 0xC10C_2000);
    let plan = Scene::OneStrap.plan(&mut draw);
    let mut scenario = random_scenario(&plan, seed);
    Scene::OneStrap.arrange(&plan, &mut scenario, &mut draw);
    scenario.strap_sends = match strap {
        Strap::Beats => Sends::Beats,
        Strap::Timer(period_s) => Sends::Timer { period_s },
    };
    for device in &mut scenario.devices {
        device.recorder.heart_loss_percent = 100.0 * trouble.loss;
        device.recorder.heart_jitter_s = trouble.jitter_s;
        device.recorder.heart_delay_s = draw.random_range(0.0..=trouble.constant_s);
    }
    let ride = ride(&plan, &scenario, seed).expect("a possible scenario");
    misses(&ride, &aligned(&ride))
}

/// Heart rates of real riders, a quarter of an hour and more: (time, beats a minute). One of the files is
/// written on change, every 6 s.
pub fn real_hearts() -> Vec<Vec<(f64, f64)>> {
    let files = fit_fixtures::files().into_iter();
    let recordings = files.filter_map(|path| read(&path, &ReadOptions::default()).ok());
    let hearts = recordings.filter_map(|recording| {
        let samples = recording.streams.first()?.samples.clone();
        let bpm = samples.column(Channel::HeartRate)?.to_vec();
        let rows = samples.time_s().iter().copied().zip(bpm);
        let rows: Vec<(f64, f64)> = rows.filter(|(_, bpm)| *bpm > 20.0).collect();
        let (first, last) = (rows.first()?.0, rows.last()?.0);
        (last - first >= 900.0).then_some(rows)
    });
    let hearts: Vec<_> = hearts.collect();
    assert!(!hearts.is_empty(), "no recording holds a heart rate");
    hearts
}

/// One heart as steps of one beat a minute, (time, value after it): a change that a row shows has happened
/// at some moment since the row before.
fn steps(rows: &[(f64, f64)], draw: &mut impl Rng) -> Vec<(f64, f64)> {
    let start_s = rows[0].0;
    let mut steps = vec![(0.0, rows[0].1)];
    for pair in rows.windows(2) {
        let ((t0, v0), (t1, v1)) = (pair[0], pair[1]);
        let count = (v1 - v0).abs().round() as usize;
        let mut moments: Vec<f64> = (0..count).map(|_| draw.random_range(t0..t1)).collect();
        moments.sort_unstable_by(f64::total_cmp);
        let by = (v1 - v0).signum();
        let after = (1..).map(|n| v0 + by * f64::from(n));
        steps.extend(moments.into_iter().map(|t| t - start_s).zip(after));
    }
    steps.push((rows[rows.len() - 1].0 - start_s, rows[rows.len() - 1].1));
    steps
}

fn at(steps: &[(f64, f64)], t: f64) -> f64 {
    let next = steps.partition_point(|(at, _)| *at <= t);
    steps[next.max(1) - 1].1
}

/// The moments at which the strap sends, and what.
fn messages(strap: Strap, steps: &[(f64, f64)], draw: &mut impl Rng) -> Vec<(f64, f64)> {
    let end_s = steps[steps.len() - 1].0;
    let mut t = match strap {
        Strap::Beats => draw.random_range(0.0..1.0),
        Strap::Timer(period_s) => draw.random_range(0.0..period_s),
    };
    let mut sent = Vec::new();
    while t < end_s {
        let bpm = at(steps, t);
        sent.push((t, bpm));
        t += match strap {
            // Beats vary by some percent from one to the next.
            Strap::Beats => 60.0 / bpm * (1.0 + draw.random_range(-0.03..0.03)),
            Strap::Timer(period_s) => period_s,
        };
    }
    sent
}

/// What a recorder writes, its clock `offset_s` ahead at the start and `rate` fast.
fn written(
    sent: &[(f64, f64)],
    trouble: Trouble,
    (offset_s, rate): (f64, f64),
    draw: &mut impl Rng,
) -> Samples {
    let constant_s = draw.random_range(0.0..=trouble.constant_s);
    let mut heard = Vec::new();
    for (t, bpm) in sent {
        let jitter_s = draw.random_range(0.0..=trouble.jitter_s);
        if draw.random_range(0.0..1.0) >= trouble.loss {
            heard.push((t + constant_s + jitter_s, *bpm));
        }
    }
    let clock = |t: f64| offset_s + (1.0 + rate) * t;
    let (first, last) = (clock(sent[0].0 + 2.0), clock(sent[sent.len() - 1].0));
    let times: Vec<f64> = (first.ceil() as i64..last as i64)
        .map(|t| t as f64)
        .collect();
    let mut next = 0;
    let mut value = f64::NAN;
    let column = times.iter().map(|stamp| {
        while next < heard.len() && clock(heard[next].0) <= *stamp {
            value = heard[next].1;
            next += 1;
        }
        value
    });
    let column = column.collect();
    let mut samples = Samples::new(times).expect("times in order");
    samples.set_column(Channel::HeartRate, column);
    samples
}

/// Two recorders on one of the real hearts.
pub fn real(hearts: &[Vec<(f64, f64)>], strap: Strap, trouble: Trouble, seed: u64) -> Vec<Miss> {
    let mut draw = ChaCha8Rng::seed_from_u64(seed ^ 0xC10C_3000);
    let steps = steps(&hearts[seed as usize % hearts.len()], &mut draw);
    let sent = messages(strap, &steps, &mut draw);
    let mut clock = || {
        (
            1.7e9 + draw.random_range(-60.0..60.0),
            draw.random_range(-1e-4..1e-4),
        )
    };
    let clocks = [clock(), clock()];
    let samples = clocks.map(|clock| written(&sent, trouble, clock, &mut draw));
    let zero_s = samples[0].time_s()[0];
    let source = |recording: usize| Source {
        label: ["first", "second"][recording],
        recording,
        role: [Role::UnderTest, Role::Reference][recording],
        site: None,
        samples: &samples[recording],
        sampling: Sampling::Regular,
        absolute: true,
        clock: Clock {
            zero_s,
            offset_s: 0.0,
            skew_ppm: 0.0,
        },
        given: false,
    };
    let found = align(&[source(0), source(1)], Options::default());
    // True time of a stamp of the second, and from there the first's clock.
    let rate = (1.0 + clocks[0].1) / (1.0 + clocks[1].1);
    let truth = Clock {
        zero_s,
        offset_s: clocks[0].0 - zero_s + rate * (zero_s - clocks[1].0),
        skew_ppm: (rate - 1.0) * 1e6,
    };
    let times = samples[1].time_s();
    let middle_s = 0.5 * (times[0] + times[times.len() - 1]);
    vec![Miss::of(&found.streams[1], truth, zero_s, middle_s)]
}

/// What a table says of some streams.
pub fn line(name: &str, found: &[Miss]) -> String {
    let n = found.len().max(1) as f64;
    let percent = |is: &dyn Fn(&Miss) -> Option<bool>| {
        let held: Vec<bool> = found.iter().filter_map(is).collect();
        100.0 * held.iter().filter(|h| **h).count() as f64 / held.len().max(1) as f64
    };
    let mean = |of: &dyn Fn(&Miss) -> f64| found.iter().map(of).sum::<f64>() / n;
    // Doubts, by their words.
    let doubts = |words: &str| percent(&|m| Some(!m.confident && m.reason.contains(words)));
    let whole = percent(&|m| {
        let found =
            m.reason.contains("comes a whole number") || m.reason.contains("comes whole numbers");
        Some(!m.confident && found)
    });
    let [drift, stairs, rate] =
        ["drifts otherwise", "moves in stairs", "the rate is known"].map(doubts);
    format!(
        "{name:<28} {:>7} {:>9.1} {:>8.3} {:>9.1} {:>8.3} {:>8.3} {:>7.1} {:>11.1} {whole:>7.1} {drift:>7.1} {stairs:>8.1} {rate:>6.1}",
        found.len(),
        percent(&|m| m.random_covered),
        mean(&|m| m.random_half_s),
        percent(&|m| m.covered),
        mean(&|m| m.half_s),
        mean(&|m| m.error_s.clamp(-10.0, 10.0).powi(2)).sqrt(),
        100.0 * mean(&|m| f64::from(m.confident)),
        100.0 * mean(&|m| f64::from(m.confident && m.error_s.abs() > 0.3)),
    )
}

pub const HEADS: &str = "strap, trouble                streams  random %   half s printed %   half s    rms s  sure % wrong sure % whole % drift % stairs % rate %";
