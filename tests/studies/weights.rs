//! What known masses are worth where the references are wrong together.
//!
//! `cargo run --profile quick --example weights -- [RIDES [FIRST]]` rehearses a series of blocks for that
//! many seeds (200 by default, from FIRST, by default 64001) with a source of a drawn scale (±4 %) and two
//! references whose errors are one error of up to ±0.9 % and up to ±0.1 % of their own: inside their claims
//! of ±1 %, and agreeing. Each ride is judged three times: with readings of both on known masses (invented,
//! the crank up to 0.5 mm off the ruler), by the claims alone as the program takes them (independent), and by the
//! claims with `claims_correlation = 0.95`. A verdict is wrong where it says conforms of a source that is off by
//! more than its claim, or the other way round; the truth is the power at the source's own site.

#![allow(clippy::print_stdout, clippy::unwrap_used)]

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use truing::analysis::table::{Table, table};
use truing::analysis::verdict::conformity::Outcome;
use truing::plan::Plan;
use truing::rehearse::{Masses, Rehearsal, Scenario, SessionOptions, ride};
use truing::session::{OpenedSession, Role};
use truing::timeline::Aligned;

const PLAN: &str = "repeatability";
const CLAIM: f64 = 2.0;
const WAYS: [&str; 3] = [
    "known masses",
    "claims, independent",
    "claims, correlation 0.95",
];

/// Verdicts of one way over many blocks.
#[derive(Clone, Copy, Default)]
struct Tally {
    blocks: usize,
    wrong: usize,
    decided: usize,
    withheld: usize,
    /// Rides with a wrong verdict.
    rides: usize,
    /// Blocks whose budget says that the references share an error.
    says_so: usize,
    half_widths: f64,
    /// Blocks whose net bias lies within U of the truth.
    covered: usize,
}

impl Tally {
    fn merge(mut self, other: Self) -> Self {
        self.blocks += other.blocks;
        self.wrong += other.wrong;
        self.decided += other.decided;
        self.withheld += other.withheld;
        self.rides += other.rides;
        self.says_so += other.says_so;
        self.half_widths += other.half_widths;
        self.covered += other.covered;
        self
    }
}

fn main() {
    let number = |at: usize| -> Option<u64> { std::env::args().nth(at)?.parse().ok() };
    let (rides, first) = (number(1).unwrap_or(200), number(2).unwrap_or(64_001));
    let none = || [Tally::default(); WAYS.len()];
    let tallies = (first..first + rides)
        .into_par_iter()
        .map(one_ride)
        .reduce(none, |a, b| std::array::from_fn(|way| a[way].merge(b[way])));
    println!("{rides} rides from seed {first}, plan {PLAN}, claim ±{CLAIM} %");
    println!(
        "| judged by | blocks | decided % | wrong | wrong % | rides with a wrong one | truth within U % | mean U % | names a shared error % | withheld |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|");
    for (way, t) in WAYS.iter().zip(tallies) {
        let share = |count: usize| 100.0 * count as f64 / t.blocks.max(1) as f64;
        println!(
            "| {way} | {} | {:.1} | {} | {:.2} | {} | {:.1} | {:.2} | {:.0} | {} |",
            t.blocks,
            share(t.decided),
            t.wrong,
            share(t.wrong),
            t.rides,
            share(t.covered),
            t.half_widths / t.blocks.max(1) as f64,
            share(t.says_so),
            t.withheld
        );
    }
}

fn one_ride(seed: u64) -> [Tally; WAYS.len()] {
    let plan = Plan::built_in(PLAN).unwrap();
    let mut scenario = Scenario::for_plan(&plan);
    let mut drawn = ChaCha8Rng::seed_from_u64(seed ^ 0x5eed);
    let mut within = |most: f64| drawn.random_range(-most..=most);
    let common = within(0.9);
    for device in &mut scenario.devices {
        device.gain_percent = match device.role {
            Role::UnderTest => within(4.0),
            _ => common + within(0.1),
        };
    }
    scenario.masses = Some(Masses::off_by(within(0.5)));
    let rehearsal = ride(&plan, &scenario, seed).unwrap();
    let opened = rehearsal.opened(SessionOptions {
        clocks_known: true,
        tagged: true,
    });
    let judged = |change: fn(&mut OpenedSession)| {
        let mut opened = opened.clone();
        change(&mut opened);
        tally(&rehearsal, &table(&opened.session, &Aligned::new(&opened)))
    };
    let without = |opened: &mut OpenedSession| {
        for stream in &mut opened.session.streams {
            stream.weights = None;
        }
    };
    [
        judged(|_| {}),
        judged(without),
        judged(|opened| {
            for stream in &mut opened.session.streams {
                stream.weights = None;
            }
            opened.session.references.claims_correlation = 0.95;
        }),
    ]
}

fn tally(rehearsal: &Rehearsal, table: &Table) -> Tally {
    let mut out = Tally::default();
    for segment in &table.segments {
        let Some(verdict) = &segment.verdict else {
            continue;
        };
        let mut truths = rehearsal.truth.segments.iter();
        let truth = truths.find(|t| t.from_s == segment.from_s && t.kind == segment.kind);
        let device = truth.and_then(|t| t.devices.iter().find(|d| d.label == verdict.under_test));
        let Some(off) = device.and_then(|d| d.bias_percent) else {
            continue;
        };
        out.withheld += usize::from(verdict.outcome == Outcome::ReferencesDisagree);
        let (Some(bias), Some(expanded)) =
            (verdict.bias_percent, verdict.expanded_uncertainty_percent)
        else {
            continue;
        };
        if verdict.outcome == Outcome::NotApplicable {
            continue;
        }
        let holds = off.abs() <= CLAIM;
        let wrong = match verdict.outcome {
            Outcome::Conforms => !holds,
            Outcome::DoesNotConform => holds,
            _ => false,
        };
        let decided = matches!(verdict.outcome, Outcome::Conforms | Outcome::DoesNotConform);
        let shares = |line: &str| line.contains("share") || line.contains("common to");
        out.blocks += 1;
        out.wrong += usize::from(wrong);
        out.decided += usize::from(decided);
        out.covered += usize::from((bias - off).abs() <= expanded);
        out.half_widths += expanded;
        let names = verdict.budget.iter().any(|line| shares(&line.source));
        out.says_so += usize::from(names);
    }
    out.rides = usize::from(out.wrong > 0);
    out
}
