//! How well clocks are found, over rehearsed rides: `cargo run --profile quick --example clocks
//! [FIRST-SEED [SEEDS [RIDES-A-LENGTH [STREAMS-A-STRAP]]]] [real]`. Every scene gets the same share of the
//! seeds. Prints a table by scene, a table of rates by length of ride beside what is possible at all
//! (see `clock_bound.rs`), tables by heart-rate strap and trouble on rehearsed rides and on real
//! hearts (see `clock_straps.rs`), then every failure by scene and seed. A count of 0 leaves its table
//! out, and so does `real` for the straps on rehearsed rides.

#![allow(clippy::print_stdout, clippy::expect_used)]

#[path = "clock_bound.rs"]
mod clock_bound;
#[path = "clock_scenes.rs"]
mod clock_scenes;
#[path = "clock_straps.rs"]
mod clock_straps;
#[path = "../fit_fixtures/mod.rs"]
mod fit_fixtures;

use clock_bound::{bound_ppm, share_within};
use clock_scenes::{Miss, Scene, aligned, misses, ride_of_length};
use clock_straps::{HEADS, STRAPS, TROUBLES, line, real, real_hearts, rehearsed};
use rayon::prelude::*;

/// Largest error of an offset at mid-ride, s, and of a rate, ppm, that counts as right.
const OFFSET_LIMIT_S: f64 = 0.3;
const SKEW_LIMIT_PPM: f64 = 8.0;

fn main() {
    let mut arguments = std::env::args()
        .skip(1)
        .filter_map(|a| a.parse::<u64>().ok());
    let first = arguments.next().unwrap_or(1);
    let count = arguments.next().unwrap_or(330);
    let lengths = arguments.next().unwrap_or(24);
    let streams = arguments.next().unwrap_or(200);
    let scenes = Scene::ALL;
    let results: Vec<(Scene, u64, Vec<Miss>)> = (first..first + count)
        .into_par_iter()
        .map(|seed| {
            let scene = scenes[(seed % scenes.len() as u64) as usize];
            let ride = scene.ride(seed);
            let found = misses(&ride, &aligned(&ride));
            (scene, seed, found)
        })
        .collect();
    println!(
        "{:<22} {:>7} {:>9} {:>9} {:>9} {:>7} {:>9} {:>9} {:>8} {:>8}",
        "scene",
        "streams",
        "≤ 0.3 s %",
        "≤ 8 ppm %",
        "ppm rms",
        "sure %",
        "wrong sure",
        "CI holds %",
        "rms s",
        "ppm CI %"
    );
    for scene in scenes {
        row(&format!("{scene:?}"), &of(&results, |s| s == scene));
    }
    row("promised", &of(&results, Scene::promised));
    row("all", &of(&results, |_| true));
    if lengths > 0 {
        all_rates(first, lengths);
    }
    if streams > 0 {
        let only_real = std::env::args().any(|argument| argument == "real");
        straps(first, streams, only_real);
    }
    println!("\nfailures (promised: any; others: confident and off by more than 0.3 s)");
    for (scene, seed, found) in &results {
        for miss in found {
            let off = miss.error_s.abs() > OFFSET_LIMIT_S;
            let fast = miss.skew_error_ppm.abs() > SKEW_LIMIT_PPM;
            if (scene.promised() && (off || fast)) || (off && miss.confident) {
                println!(
                    "{scene:?} seed {seed} {}: {:+.3} s, skew {:+.1} of {:+.1} ppm, {} {}: {}",
                    miss.label,
                    miss.error_s,
                    miss.skew_error_ppm,
                    miss.skew_ppm,
                    miss.matched_on,
                    if miss.confident { "sure" } else { "not sure" },
                    miss.reason
                );
            }
        }
    }
}

/// The table of rates.
fn all_rates(first: u64, lengths: u64) {
    println!(
        "\nrates by length of ride, one strap or clean cadence; bound: Cramér–Rao, all channels, shapes known\n{:<8} {:>7} {:>9} {:>11} {:>9} {:>17}",
        "length", "streams", "ppm rms", "bound rms", "≤ 8 ppm %", "possible ≤ 8 ppm %"
    );
    for half_hours in [1, 2, 4, 12] {
        rates(half_hours, first, lengths);
    }
}

/// The tables by strap and trouble: on `first` and the seeds after it.
fn straps(first: u64, streams: u64, only_real: bool) {
    let hearts = real_hearts();
    for real_riders in [false, true] {
        if only_real && !real_riders {
            continue;
        }
        let on = if real_riders {
            format!("the heart rates of {} real rides", hearts.len())
        } else {
            "rehearsed rides".to_owned()
        };
        println!("\nby heart-rate strap, on {on}\n{HEADS}");
        for (name, strap) in STRAPS {
            for trouble in TROUBLES {
                let of_seed = |seed: u64| match real_riders {
                    true => real(&hearts, strap, trouble, seed),
                    false => rehearsed(strap, trouble, seed),
                };
                // A rehearsed ride has two streams against the first.
                let seeds = if real_riders {
                    streams
                } else {
                    streams.div_ceil(2)
                };
                let seeds = (first..first + seeds).into_par_iter();
                let found: Vec<Miss> = seeds.flat_map_iter(of_seed).collect();
                println!("{}", line(&format!("{name}, {}", trouble.name), &found));
            }
        }
    }
}

/// Errors of the rate on rides of one length, beside the bound.
fn rates(half_hours: usize, first: u64, count: u64) {
    let found: Vec<(f64, f64)> = (first..first + count)
        .into_par_iter()
        .flat_map_iter(|seed| {
            let ride = ride_of_length(half_hours, seed);
            let misses = misses(&ride, &aligned(&ride));
            let bounds = (1..ride.streams.len()).map(|index| bound_ppm(&ride, index));
            let pairs: Vec<(f64, f64)> = misses
                .iter()
                .map(|m| m.skew_error_ppm)
                .zip(bounds)
                .collect();
            pairs
        })
        .collect();
    let n = found.len().max(1) as f64;
    let mean = |of: &dyn Fn(&(f64, f64)) -> f64| found.iter().map(of).sum::<f64>() / n;
    println!(
        "{:<8} {:>7} {:>9.1} {:>11.1} {:>9.1} {:>17.1}",
        format!("{} h", 0.5 * half_hours as f64),
        found.len(),
        mean(&|f| f.0 * f.0).sqrt(),
        mean(&|f| f.1 * f.1).sqrt(),
        100.0 * mean(&|f| f64::from(f.0.abs() <= SKEW_LIMIT_PPM)),
        100.0 * mean(&|f| share_within(SKEW_LIMIT_PPM, f.1)),
    );
}

fn of(results: &[(Scene, u64, Vec<Miss>)], wanted: impl Fn(Scene) -> bool) -> Vec<&Miss> {
    results
        .iter()
        .filter(|(scene, _, _)| wanted(*scene))
        .flat_map(|(_, _, found)| found)
        .collect()
}

fn row(name: &str, found: &[&Miss]) {
    let n = found.len().max(1) as f64;
    let percent =
        |is: &dyn Fn(&Miss) -> bool| 100.0 * found.iter().filter(|m| is(m)).count() as f64 / n;
    let rms =
        |of: &dyn Fn(&Miss) -> f64| (found.iter().map(|m| of(m).powi(2)).sum::<f64>() / n).sqrt();
    let holds = |is: &dyn Fn(&Miss) -> Option<bool>| {
        let told: Vec<bool> = found.iter().filter_map(|m| is(m)).collect();
        100.0 * told.iter().filter(|c| **c).count() as f64 / told.len().max(1) as f64
    };
    println!(
        "{name:<22} {:>7} {:>9.1} {:>9.1} {:>9.1} {:>7.1} {:>9} {:>9.1} {:>8.3} {:>8.1}",
        found.len(),
        percent(&|m| m.error_s.abs() <= OFFSET_LIMIT_S),
        percent(&|m| m.skew_error_ppm.abs() <= SKEW_LIMIT_PPM),
        rms(&|m| m.skew_error_ppm),
        percent(&|m| m.confident),
        found
            .iter()
            .filter(|m| m.confident && m.error_s.abs() > OFFSET_LIMIT_S)
            .count(),
        holds(&|m| m.covered),
        rms(&|m| m.error_s.clamp(-10.0, 10.0)),
        holds(&|m| m.skew_covered),
    );
}
