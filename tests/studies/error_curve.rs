//! How often the error curve passes true sources, fails false ones, and errs.
//!
//! `cargo run --profile quick --example error-curve -- [RIDES [FIRST [BLOCKS]]]` draws that many rides
//! (2000 by default, from seed FIRST, 60001 by default) of three, four and eight blocks a truth, or of
//! BLOCKS only: scatter 0.35 % a block, two references each rectangular within ±1 %, claim ±2 %. Truths are constant, rise or fall
//! with power, or are off at one power alone. It prints, in %, how often the answer is "conforms", "does
//! not conform", the worst share of wrong answers, and how often the bands hold the truth.

#![allow(clippy::print_stdout, clippy::unwrap_used)]

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;
use truing::analysis::error_curve::{
    ErrorCurve, Finding, Held, Inputs, STANDS_ALONE_AT, SharedError, error_curve,
};
use truing::analysis::loss::Loss;
use truing::analysis::verdict::conformity;
use truing::session::{Allowance, Claim};
use truing::stats::NORMAL_95;

const LIMIT: f64 = 2.0;
const SCATTER: f64 = 0.35;
const REFERENCE: f64 = 1.0;

/// Error at each power, %.
type Truth = Vec<f64>;

/// Answers to many rides of one truth.
#[derive(Clone, Copy, Default)]
struct Count {
    conforms: usize,
    fails: usize,
    curve_held: usize,
    blocks_held: usize,
}

impl Count {
    fn and(self, other: Self) -> Self {
        Self {
            conforms: self.conforms + other.conforms,
            fails: self.fails + other.fails,
            curve_held: self.curve_held + other.curve_held,
            blocks_held: self.blocks_held + other.blocks_held,
        }
    }
}

fn ride(powers: &[f64], truth: &[f64], seed: u64) -> ErrorCurve {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let references: f64 = (0..2)
        .map(|_| 0.5 * random.random_range(-REFERENCE..REFERENCE))
        .sum();
    let each = 0.5 * REFERENCE / 3.0_f64.sqrt();
    let standard = SCATTER.hypot(each * 2.0_f64.sqrt());
    let held = powers
        .iter()
        .zip(truth)
        .enumerate()
        .map(|(at, (power, error))| {
            let noise: f64 = StandardNormal.sample(&mut random);
            let bias = error + references + SCATTER * noise;
            Held {
                segment: at + 1,
                n: 180,
                at_s: 0.0,
                power_w: *power,
                named_w: *power,
                bias_percent: bias,
                scatter_percent: SCATTER,
                shared: ["a", "b"]
                    .map(|source| SharedError {
                        source: source.to_owned(),
                        percent: each,
                    })
                    .to_vec(),
                expanded_percent: NORMAL_95 * standard,
                alone: conformity::decide(bias, NORMAL_95 * standard, LIMIT),
            }
        });
    let inputs = Inputs {
        claim: Claim {
            percent: LIMIT,
            watts: 0.0,
        },
        held: held.collect(),
        left_out: Vec::new(),
        zero_offset_w: 0.0,
        loss: Loss::Known(Allowance::default()),
        drift_per_10min: 0.0,
        stands_alone_at: STANDS_ALONE_AT,
    };
    error_curve("", &inputs)
}

/// Rides of one truth.
fn count(powers: &[f64], truth: &Truth, rides: u64, first: u64) -> Count {
    let one = |seed: u64| {
        let found = ride(powers, truth, seed);
        let inside = |[low, high]: [f64; 2], error: f64| low <= error && error <= high;
        let between = |power: f64| interpolated(powers, truth, power);
        let mut curve = found.curve.iter();
        let mut blocks = found.blocks.iter().zip(truth);
        Count {
            conforms: usize::from(found.accuracy.outcome == Finding::Fine),
            fails: usize::from(found.accuracy.outcome == Finding::Fault),
            curve_held: usize::from(
                curve.all(|p| inside(p.simultaneous95_percent, between(p.power_w))),
            ),
            blocks_held: usize::from(
                blocks.all(|(b, error)| inside(b.simultaneous95_percent.unwrap(), *error)),
            ),
        }
    };
    let seeds = (first..first + rides).into_par_iter();
    seeds.map(one).reduce(Count::default, Count::and)
}

/// Straight between powers: exact for what is linear in W, near for a zero offset.
fn interpolated(powers: &[f64], truth: &[f64], power: f64) -> f64 {
    let at = powers
        .partition_point(|p| *p <= power)
        .clamp(1, powers.len() - 1);
    let share = (power - powers[at - 1]) / (powers[at] - powers[at - 1]);
    truth[at - 1] + share * (truth[at] - truth[at - 1])
}

/// From `low` at the lowest power to `high` at the highest, straight in W or in 1/W.
fn between(powers: &[f64], [low, high]: [f64; 2], of: fn(f64) -> f64) -> Truth {
    let (first, last) = (powers[0], powers[powers.len() - 1]);
    let share = |power: f64| (of(power) - of(first)) / (of(last) - of(first));
    powers
        .iter()
        .map(|p| low + share(*p) * (high - low))
        .collect()
}

fn scale(power: f64) -> f64 {
    power
}

fn offset(power: f64) -> f64 {
    power.recip()
}

fn constant(powers: &[f64], error: f64) -> Truth {
    vec![error; powers.len()]
}

/// Smooth truths that touch the limit.
fn smooth_at_limit(powers: &[f64]) -> Vec<Truth> {
    let mut truths = vec![constant(powers, LIMIT)];
    for ends in [[LIMIT, 0.0], [0.0, LIMIT], [LIMIT, -LIMIT]] {
        truths.extend([scale, offset].map(|of| between(powers, ends, of)));
    }
    truths
}

/// One power at the limit.
fn odd_at_limit(powers: &[f64]) -> Vec<Truth> {
    let odd = |others: f64| {
        (0..powers.len()).map(move |at| {
            let mut truth = constant(powers, others);
            truth[at] = LIMIT;
            truth
        })
    };
    [0.0, 0.6, 1.0, 1.3].into_iter().flat_map(odd).collect()
}

fn main() {
    let mut arguments = std::env::args().skip(1);
    let mut number = |default: u64| arguments.next().map_or(default, |a| a.parse().unwrap());
    let (rides, first, only) = (number(2000), number(60_001), number(0));
    for powers in [
        &[120.0, 180.0, 240.0, 300.0][..],
        &[120.0, 210.0, 300.0],
        &[100.0, 130.0, 160.0, 190.0, 220.0, 250.0, 280.0, 310.0],
    ] {
        if only == 0 || only == powers.len() as u64 {
            rows(powers, rides, first);
        }
    }
}

fn rows(powers: &[f64], rides: u64, first: u64) {
    let share = |n: usize| 100.0 * n as f64 / rides as f64;
    let of = |truth: &Truth| count(powers, truth, rides, first);
    println!("{} blocks, {rides} rides a truth", powers.len());
    print!("  conforms at 0, 0.5, 0.8, 1.0, offset 0.8 to -0.8, linear 0 to 0.8:");
    let conforming = [0.0, 0.5, 0.8, 1.0].map(|e| constant(powers, e));
    let changing = [
        between(powers, [0.8, -0.8], offset),
        between(powers, [0.0, 0.8], scale),
    ];
    for truth in conforming.iter().chain(&changing) {
        print!(" {:.1}", share(of(truth).conforms));
    }
    print!("\n  fails at 3, 3.5, offset 3.5 to 0, linear 0 to 3.5, one power 3.5:");
    let mut odd = constant(powers, 0.0);
    odd[powers.len() / 2] = 3.5;
    for truth in [
        constant(powers, 3.0),
        constant(powers, 3.5),
        between(powers, [3.5, 0.0], offset),
        between(powers, [0.0, 3.5], scale),
        odd,
    ] {
        print!(" {:.1}", share(of(&truth).fails));
    }
    let each = |truths: Vec<Truth>| -> Vec<Count> { truths.iter().map(of).collect() };
    let (smooth, odd) = (each(smooth_at_limit(powers)), each(odd_at_limit(powers)));
    let all: Vec<Count> = smooth.iter().chain(&odd).copied().collect();
    let shares = |counts: &[Count], what: fn(&Count) -> usize| -> Vec<f64> {
        counts.iter().map(|count| share(what(count))).collect()
    };
    let worst = |counts: &[Count], what| shares(counts, what).into_iter().fold(0.0, f64::max);
    let least = |counts: &[Count], what| shares(counts, what).into_iter().fold(100.0, f64::min);
    println!(
        "\n  wrong conforms: smooth {:.1}, one power {:.1}; wrong fails {:.1}",
        worst(&smooth, |c| c.conforms),
        worst(&odd, |c| c.conforms),
        worst(&all, |c| c.fails)
    );
    print!("  one power by itself, others at 0, 0.6, 1.0, 1.3, each power in turn:");
    for passed in shares(&odd, |c| c.conforms) {
        print!(" {passed:.1}");
    }
    println!();
    println!(
        "  bands hold: curve {:.1}, blocks {:.1}",
        least(&smooth, |c| c.curve_held),
        least(&all, |c| c.blocks_held)
    );
}
