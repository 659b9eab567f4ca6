//! How well the share of the gradient, its delay and the flywheel are told.
//!
//! `cargo run --profile quick --example slopes -- [RIDES [FIRST]]` rehearses the plan `slopes` for that many
//! seeds (200 by default, from FIRST, by default 510000): share, delay, flywheel, mass, rider, the noise and
//! the scale of the references (within their claims) and the loss are drawn. Then as many rides of
//! `slope_rides.rs`, which knows another rider, another noise and a gradient that arrives little by little.
//! Wanted: κ within 0.02 (rms) and its limits covering 93 to 97 %, the delay within 0.3 s (rms).

#![allow(clippy::print_stdout, clippy::unwrap_used)]

#[path = "slope_rides.rs"]
mod slope_rides;

use std::collections::BTreeMap;

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use truing::analysis::kinds::slope::{Pair, Slope, Untold};
use truing::analysis::ride;
use truing::plan::Plan;
use truing::rehearse::{Scenario, SessionOptions, ride as rehearse};
use truing::session::Session;
use truing::timeline::Aligned;

/// What was put in.
#[derive(Clone, Copy, Debug)]
pub struct PutIn {
    /// κ.
    pub share: f64,
    /// How late it arrives, s.
    pub delay_s: f64,
    /// Apparent mass, kg.
    pub flywheel_kg: f64,
}

/// Of one ride: what was put in, and what was told.
struct Told {
    seed: u64,
    put_in: PutIn,
    found: Result<Slope, Untold>,
}

type Made = (Session, Aligned, PutIn);

fn main() {
    let number = |at: usize| -> Option<u64> { std::env::args().nth(at)?.parse().ok() };
    let (rides, first) = (number(1).unwrap_or(200), number(2).unwrap_or(510_000));
    for (name, make) in [
        ("rehearsed", rehearsed as fn(u64) -> Made),
        ("made otherwise", slope_rides::ride),
        ("the app's own speed recorded", slope_rides::app_speed),
    ] {
        let told: Vec<Told> = (first..first + rides)
            .into_par_iter()
            .map(|seed| tell(make, seed))
            .collect();
        print(name, &told);
    }
}

fn rehearsed(seed: u64) -> Made {
    let plan = Plan::built_in("slopes").unwrap();
    let mut scenario = Scenario::for_plan(&plan);
    let mut drawn = ChaCha8Rng::seed_from_u64(seed ^ 0x510);
    let mut within = |low: f64, high: f64| drawn.random_range(low..=high);
    let put_in = PutIn {
        share: within(0.5, 1.1),
        delay_s: within(0.2, 9.0),
        flywheel_kg: within(5.0, 30.0),
    };
    let simulation = &mut scenario.simulation;
    simulation.mass_kg = within(60.0, 100.0);
    simulation.gradient_share = put_in.share;
    simulation.gradient_delay_s = put_in.delay_s;
    simulation.flywheel_kg = put_in.flywheel_kg;
    scenario.rider.slow_noise_w = within(2.0, 10.0);
    scenario.rider.cadence_noise_rpm = within(0.5, 2.5);
    // As a perfect claim leaves them: anywhere within it.
    let allowance = scenario.allowance;
    scenario.drivetrain.trainer_loss_percent =
        allowance.percent + allowance.plus_minus * within(-1.0, 1.0);
    scenario.drivetrain.crank_loss_percent = 0.0;
    for device in &mut scenario.devices[1..] {
        device.gain_percent = device.claim_percent * within(-1.0, 1.0);
        device.noise_w = within(0.5, 2.5);
        device.slow_w = within(0.2, 0.8);
    }
    let rehearsal = rehearse(&plan, &scenario, seed).unwrap();
    let opened = rehearsal.opened(SessionOptions {
        clocks_known: true,
        tagged: true,
    });
    let aligned = Aligned::new(&opened);
    (opened.session, aligned, put_in)
}

fn tell(make: fn(u64) -> Made, seed: u64) -> Told {
    let (session, aligned, put_in) = make(seed);
    let found = ride::findings(&aligned);
    let pair = Pair {
        session: &session,
        aligned: &aligned,
        found: &found,
        under_test: 0,
        basis: aligned.basis().unwrap(),
    };
    Told {
        seed,
        put_in,
        found: pair.slope(aligned.grid.span()),
    }
}

fn print(name: &str, told: &[Told]) {
    if std::env::var_os("TRUING_TELL").is_some() {
        for t in told {
            if let Ok(f) = &t.found {
                println!(
                    "{} {:?} share {:?} delay {:?} flywheel {:?} {:?}",
                    t.seed, t.put_in, f.share, f.delay_s, f.flywheel_kg, f.flywheel_ci95_kg
                );
            }
        }
    }
    println!("\n{name}: {} rides from seed {}", told.len(), told[0].seed);
    let mut untold: BTreeMap<&str, Vec<u64>> = BTreeMap::new();
    for (seed, why) in told
        .iter()
        .filter_map(|t| Some((t.seed, t.found.as_ref().err()?)))
    {
        untold.entry(why.in_words()).or_default().push(seed);
    }
    for (why, seeds) in untold {
        println!(
            "  not told of {}, {why}: {:?}",
            seeds.len(),
            &seeds[..seeds.len().min(6)]
        );
    }
    let of = |told_of: fn(&Slope, PutIn) -> Option<Judged>| -> Vec<Judged> {
        let found = told.iter().filter_map(|t| {
            let judged = told_of(t.found.as_ref().ok()?, t.put_in)?;
            Some(Judged {
                seed: t.seed,
                ..judged
            })
        });
        found.collect()
    };
    let all = |told_of: fn(&Slope, PutIn) -> Vec<Judged>| -> Vec<Judged> {
        let found = told.iter().filter_map(|t| {
            let judged = told_of(t.found.as_ref().ok()?, t.put_in).into_iter();
            Some(judged.map(|judged| Judged {
                seed: t.seed,
                ..judged
            }))
        });
        found.flatten().collect()
    };
    for (what, found) in [
        (
            "share",
            of(|s, p| Some(Judged::of(s.share?, s.share_ci95?, p.share))),
        ),
        (
            "delay, s",
            of(|s, p| Some(Judged::of(s.delay_s?, s.delay_ci95_s?, p.delay_s))),
        ),
        (
            "flywheel, kg",
            of(|s, p| {
                Some(Judged::of(
                    s.flywheel_kg?,
                    s.flywheel_ci95_kg?,
                    p.flywheel_kg,
                ))
            }),
        ),
        (
            "each step, s",
            all(|s, p| {
                let steps = s.steps.iter();
                steps
                    .map(|step| Judged::of(step.delay_s, step.delay_ci95_s, p.delay_s))
                    .collect()
            }),
        ),
        (
            "each band",
            all(|s, p| {
                let bands = s.bands.iter();
                bands
                    .filter_map(|band| Some(Judged::of(band.share?, band.share_ci95?, p.share)))
                    .collect()
            }),
        ),
    ] {
        line(what, &found);
    }
}

/// One figure beside its truth.
#[derive(Clone, Copy)]
struct Judged {
    seed: u64,
    value: f64,
    ends: [f64; 2],
    truth: f64,
}

impl Judged {
    fn of(value: f64, ends: [f64; 2], truth: f64) -> Self {
        Self {
            seed: 0,
            value,
            ends,
            truth,
        }
    }

    fn off(&self) -> f64 {
        self.value - self.truth
    }

    fn is_covered(&self) -> bool {
        (self.ends[0]..=self.ends[1]).contains(&self.truth)
    }
}

fn line(what: &str, found: &[Judged]) {
    let Some(worst) = found
        .iter()
        .max_by(|a, b| a.off().abs().total_cmp(&b.off().abs()))
    else {
        return;
    };
    let n = found.len() as f64;
    let off = found.iter().map(Judged::off).sum::<f64>() / n;
    let rms = (found.iter().map(|f| f.off().powi(2)).sum::<f64>() / n).sqrt();
    let covered = 100.0 * found.iter().filter(|f| f.is_covered()).count() as f64 / n;
    let half = found
        .iter()
        .map(|f| 0.5 * (f.ends[1] - f.ends[0]))
        .sum::<f64>()
        / n;
    println!(
        "  {what:<14} n {n:>5}  mean error {off:>+8.4}  rms {rms:>7.4}  limits cover {covered:>5.1} %  half-width {half:>7.4}  worst {}: {:.3} of {:.3}",
        worst.seed, worst.value, worst.truth
    );
}
