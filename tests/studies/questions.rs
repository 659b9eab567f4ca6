//! Whether the questions name the faults that a ride has, and no others.
//!
//! `cargo run --profile quick --example questions -- [REHEARSED [OTHERWISE [FIRST]]]` makes that many
//! rehearsed rides (200) and rides made otherwise (50) from seed FIRST (180001), with each fault in
//! every other ride, asks every question of each, and prints a table; then as many rides with nothing
//! wrong. Stated beforehand: of the faults that have to be named at least 95 % are, and where a
//! question has nothing wrong, a fault is named in at most 3 %.
//! With `TRUING_TELL` set, what was put in and answered is printed for every ride.

#![allow(clippy::print_stdout, clippy::unwrap_used)]

#[path = "otherwise.rs"]
mod otherwise;
#[path = "planted.rs"]
mod planted;

use std::collections::BTreeMap;

use planted::Planted;
use rayon::prelude::*;
use truing::analysis::questions::{Finding, Tagging, findings};
use truing::analysis::{ride, table};
use truing::session::Session;
use truing::timeline::Aligned;

/// Least share of the faults that is named, %.
const FOUND_PERCENT: f64 = 95.0;
/// Most rides in which a fault is named that is none, %.
const FALSELY_PERCENT: f64 = 3.0;

/// Makes a ride of a seed.
type Make = fn(u64) -> (Session, Aligned, Planted);

/// What was answered to each question, by its key, with what was wrong.
struct Asked {
    seed: u64,
    planted: Planted,
    outcomes: BTreeMap<&'static str, (Finding, String)>,
    headline: String,
}

fn ask(make: Make, seed: u64) -> Asked {
    let (session, aligned, planted) = make(seed);
    let found = ride::findings(&aligned);
    let figures = table::table_with(&session, &aligned, &found);
    let all = findings(&session, &aligned, &found, &figures, Tagging::default());
    Asked {
        seed,
        planted,
        headline: all.headline,
        outcomes: all
            .answers
            .into_iter()
            .map(|answer| (answer.question.key(), (answer.outcome, answer.sentence)))
            .collect(),
    }
}

/// One line of the table.
#[derive(Default)]
struct Line {
    wrong: usize,
    found: usize,
    right: usize,
    falsely: usize,
    /// Of the wrong: cannot tell, fine, not ridden.
    missed: [usize; 3],
    seeds: Vec<String>,
}

impl Line {
    fn take(&mut self, ride: &Asked, question: &str, is_wrong: Option<bool>) {
        let outcome = ride.outcomes.get(question).map(|(outcome, _)| *outcome);
        match (is_wrong, outcome) {
            (Some(true), outcome) => {
                self.wrong += 1;
                match outcome {
                    Some(Finding::Fault) => self.found += 1,
                    Some(Finding::CannotTell) => self.missed[0] += 1,
                    Some(Finding::Fine) => self.missed[1] += 1,
                    Some(Finding::NotRidden) | None => self.missed[2] += 1,
                }
                if outcome != Some(Finding::Fault) {
                    self.seeds.push(format!("-{}", ride.seed));
                }
            }
            (Some(false), outcome) => {
                self.right += 1;
                if outcome == Some(Finding::Fault) {
                    self.falsely += 1;
                    self.seeds.push(format!("+{}", ride.seed));
                }
            }
            (None, _) => {}
        }
    }

    fn print(&self, name: &str) {
        let percent = |part: usize, of: usize| 100.0 * part as f64 / of.max(1) as f64;
        let (found, falsely) = (
            percent(self.found, self.wrong),
            percent(self.falsely, self.right),
        );
        let kept = found >= FOUND_PERCENT && falsely <= FALSELY_PERCENT;
        let [open, fine, not_ridden] = self.missed;
        println!(
            "  {name:<12} {:>5} {found:>7.1} {:>5} {falsely:>9.1}   {open:>4} {fine:>4} {not_ridden:>6}  {:<4} {}",
            self.wrong,
            self.right,
            if kept { "" } else { "MISS" },
            self.seeds
                .iter()
                .take(6)
                .cloned()
                .collect::<Vec<_>>()
                .join(" ")
        );
    }
}

fn main() {
    let number = |at: usize| -> Option<u64> { std::env::args().nth(at)?.parse().ok() };
    let first = number(3).unwrap_or(180_001);
    let (rehearsed, otherwise) = (number(1).unwrap_or(200), number(2).unwrap_or(50));
    println!("found >= {FOUND_PERCENT} %, falsely <= {FALSELY_PERCENT} %; seeds from {first}");
    for (name, make, rides) in [
        ("rehearsed", planted::rehearsed as Make, rehearsed),
        ("made otherwise", otherwise::ride as Make, otherwise),
    ] {
        faulty(name, make, first..first + rides);
    }
    for (name, make, rides) in [
        ("rehearsed", planted::sound as Make, rehearsed),
        ("made otherwise", otherwise::sound as Make, otherwise),
    ] {
        sound(name, make, first..first + rides);
    }
}

/// Rides with each fault in every other one.
fn faulty(name: &str, make: Make, seeds: std::ops::Range<u64>) {
    let rides: Vec<Asked> = seeds.into_par_iter().map(|seed| ask(make, seed)).collect();
    println!("\n{name}, {} rides", rides.len());
    println!("  question     wrong found %  right falsely %   open fine unridden");
    let questions = [
        "accuracy",
        "hold",
        "steadiness",
        "follow",
        "sprint",
        "phantom",
        "cadence",
        "dropouts",
        "heat",
        "gradient",
        "work",
    ];
    for question in questions {
        let mut line = Line::default();
        for ride in &rides {
            line.take(ride, question, ride.planted.is_wrong(question));
        }
        line.print(question);
    }
    // The parts of a question that has two, each where the other part is sound.
    for (part, question) in [
        ("surging", "steadiness"),
        ("echo", "steadiness"),
        ("share", "gradient"),
        ("delay", "gradient"),
    ] {
        let mut line = Line::default();
        for ride in &rides {
            let mut others = ride
                .planted
                .0
                .iter()
                .filter(|s| s.question == question && s.of != part);
            let own = ride.planted.0.iter().find(|s| s.of == part);
            if others.all(|other| other.is_wrong() == Some(false)) {
                line.take(ride, question, own.and_then(planted::Size::is_wrong));
            }
        }
        line.print(&format!(" {part} alone"));
    }
    if std::env::var_os("TRUING_TELL").is_some() {
        for ride in &rides {
            println!("\n{}: {}", ride.seed, ride.headline);
            for size in &ride.planted.0 {
                println!("  {:<10} {:>8.2} {:?}", size.of, size.size, size.is_wrong());
            }
            for (question, (outcome, sentence)) in &ride.outcomes {
                println!("  {question}: {outcome:?}: {sentence}");
            }
        }
    }
}

/// Rides with nothing wrong.
fn sound(name: &str, make: Make, seeds: std::ops::Range<u64>) {
    let rides: Vec<Asked> = seeds.into_par_iter().map(|seed| ask(make, seed)).collect();
    let mut named: BTreeMap<&str, Vec<u64>> = BTreeMap::new();
    for ride in &rides {
        for (question, (outcome, _)) in &ride.outcomes {
            if *outcome == Finding::Fault {
                named.entry(question).or_default().push(ride.seed);
            }
        }
    }
    println!(
        "\n{name}, nothing wrong, {} rides; faults named:",
        rides.len()
    );
    for (question, seeds) in &named {
        println!(
            "  {question:<12} {:>4}  {:?}",
            seeds.len(),
            &seeds[..seeds.len().min(6)]
        );
    }
    let all_fine = rides.iter().filter(|ride| {
        let mut outcomes = ride.outcomes.values();
        outcomes.all(|(outcome, _)| *outcome != Finding::Fault)
    });
    println!("  no fault named in {} of them", all_fine.count());
    if let Some(ride) = rides.first() {
        println!("  headline of {}: {}", ride.seed, ride.headline);
    }
}
