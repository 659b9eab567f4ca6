//! Whether two units are said to be alike or to differ where they are, and whether the limits of their
//! difference hold it.
//!
//! `cargo run --profile quick --example units -- [PAIRS [FIRST]]` makes that many pairs of units (300)
//! from seed FIRST (640001) and compares each in three ways: one ride of each over four set points;
//! three rides of each whose scale moves from day to day (standard deviation 0.3 %); one ride of each
//! against references of their own, each within its claim. A third of the pairs truly differ by
//! nothing, a third by exactly the margin (±1 point), where a wrong word is likeliest, a third by up to
//! ±2.5 points. Stated beforehand: alike called differ and differ called alike in at most 5 % each, the
//! 95 % limits hold the difference in 93 to 97 %.

#![allow(clippy::print_stdout, clippy::unwrap_used)]

use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use rand_distr::StandardNormal;
use truing::analysis::questions::Findings;
use truing::analysis::survey::{Asks, Contrast, Said, Surveyed, survey};
use truing::analysis::table::table;
use truing::plan::Plan;
use truing::rehearse::{Scenario, SessionOptions, ride};
use truing::session::{Fact, Role};
use truing::timeline::Aligned;

const MARGIN: f64 = 1.0;
const MOST: f64 = 2.5;
const DAY_SD: f64 = 0.3;

/// Four set points of three minutes.
fn plan() -> Plan {
    let blocks: String = [120, 180, 240, 300]
        .iter()
        .map(|watts| {
            format!("[[phase]]\nkind = \"steady-block\"\nduration_s = 180\nset_point_w = {watts}\ncadence_rpm = 88\ngear = \"50/17\"\n")
        })
        .collect();
    let head = "title = \"Four set points\"\npurpose = \"A study.\"\ncovers = [\"bias\"]\n";
    Plan::from_toml("four", &format!("{head}{blocks}")).unwrap()
}

/// How pairs are ridden.
#[derive(Clone, Copy, PartialEq)]
enum Way {
    One,
    Three,
    OwnReferences,
}

const WAYS: [(Way, &str); 3] = [
    (Way::One, "one ride of each"),
    (Way::Three, "three rides of each, days differ"),
    (Way::OwnReferences, "one ride of each, own references"),
];

#[derive(Default)]
struct Tally {
    pairs: usize,
    covered: usize,
    half: f64,
    /// Within, at, beyond the margin: alike, differ, cannot tell.
    said: [[usize; 3]; 3],
}

fn main() {
    let number = |at: usize| -> Option<u64> { std::env::args().nth(at)?.parse().ok() };
    let (pairs, first) = (number(1).unwrap_or(300), number(2).unwrap_or(640_001));
    println!("{pairs} pairs of units from seed {first}, margin ±{MARGIN} points");
    println!(
        "| ridden | truth | pairs | called alike % | called differ % | cannot tell % | limits hold it % | mean half-width |"
    );
    println!("|---|---|---|---|---|---|---|---|");
    for (way, name) in WAYS {
        let mut tally = Tally::default();
        for index in 0..pairs {
            one_pair(way, first + 100 * index, index, &mut tally);
        }
        let share = |n: usize, of: usize| 100.0 * n as f64 / of.max(1) as f64;
        for (truth, said) in ["within", "at", "beyond"].iter().zip(tally.said) {
            let of = said.iter().sum();
            let [alike, differ, open] = said.map(|n| share(n, of));
            println!(
                "| {name} | {truth} the margin | {of} | {alike:.1} | {differ:.1} | {open:.1} | | |"
            );
        }
        println!(
            "| {name} | all | {} | | | | {:.1} | {:.2} |",
            tally.pairs,
            share(tally.covered, tally.pairs),
            tally.half / tally.pairs.max(1) as f64
        );
    }
}

fn one_pair(way: Way, seed: u64, index: u64, tally: &mut Tally) {
    let mut drawn = ChaCha8Rng::seed_from_u64(seed ^ 0x5eed);
    let mut within = |most: f64| drawn.random_range(-most..=most);
    let side = if within(1.0) < 0.0 { -1.0 } else { 1.0 };
    let difference = match index % 3 {
        0 => 0.0,
        1 => side * MARGIN,
        _ => within(MOST),
    };
    let (gain, common) = (within(1.5), within(0.9));
    let references = [common + within(0.1), common + within(0.1)];
    let own = [within(1.0), within(1.0)];
    // A gain of the references divides what the units differ by.
    let seen = 1.0 + 0.5 * (references[0] + references[1]) / 100.0;
    let truth = difference / if way == Way::OwnReferences { 1.0 } else { seen };
    let rides = if way == Way::Three { 3 } else { 1 };
    let mut sessions = Vec::new();
    for (unit, gain) in [("a", gain + difference), ("b", gain)] {
        for day in 0..rides {
            let day_gain: f64 = match way {
                Way::Three => DAY_SD * drawn.sample::<f64, _>(StandardNormal),
                _ => 0.0,
            };
            let against = match (way, unit) {
                (Way::OwnReferences, "a") => [own[0]; 2],
                (Way::OwnReferences, _) => [own[1]; 2],
                _ => references,
            };
            let at = seed + 10 * sessions.len() as u64 + 1;
            sessions.push(ridden(at, (unit, day), gain + day_gain, against, way));
        }
    }
    let asks = Asks {
        contrasts: vec!["unit=a,b".parse().unwrap()],
        margin_percent: Some(MARGIN),
        ..Asks::default()
    };
    let found = survey(&asks, sessions, Vec::new()).unwrap();
    count(&found.contrasts[0], truth, index, tally);
}

/// One ride; with references of their own the mean of two errors that are one.
fn ridden(
    seed: u64,
    (unit, day): (&str, usize),
    gain: f64,
    references: [f64; 2],
    way: Way,
) -> Surveyed {
    let mut scenario = Scenario::default();
    let mut gains = references.into_iter();
    for device in &mut scenario.devices {
        device.gain_percent = match device.role {
            Role::UnderTest => gain,
            _ => gains.next().unwrap(),
        };
    }
    if way == Way::OwnReferences {
        scenario.devices.truncate(2);
    }
    let options = SessionOptions {
        clocks_known: true,
        tagged: true,
    };
    let mut opened = ride(&plan(), &scenario, seed).unwrap().opened(options);
    let fact = |key: &str, value: &str| Fact {
        key: key.to_owned(),
        value: value.to_owned(),
    };
    let meters = if way == Way::OwnReferences {
        unit
    } else {
        "pedals and crank"
    };
    opened.session.facts = vec![
        fact("unit", unit),
        fact("bike", "one"),
        fact("references", meters),
    ];
    let aligned = Aligned::new(&opened);
    let figures = table(&opened.session, &aligned);
    let findings = Findings::default();
    Surveyed::new(
        &format!("{unit}{day}"),
        (&opened.session, &aligned),
        (&figures, &findings),
    )
}

fn count(contrast: &Contrast, truth: f64, index: u64, tally: &mut Tally) {
    let [low, high] = contrast.ci95_percent.unwrap();
    tally.pairs += 1;
    tally.covered += usize::from(low <= truth && truth <= high);
    tally.half += 0.5 * (high - low);
    let place = match (index % 3, truth.abs() < MARGIN) {
        (1, _) => 1,
        (_, true) => 0,
        (_, false) => 2,
    };
    let said = match contrast.outcome {
        Said::Alike => 0,
        Said::Differ => 1,
        Said::CannotTell => 2,
    };
    tally.said[place][said] += 1;
}
