//! How well intervals of the bias cover the truth of rehearsed rides, and how often verdicts err.
//!
//! `cargo run --profile quick --example verdicts -- [SEEDS [FIRST]]` rides the full bench and the
//! repeatability series with random devices and faults for that many seeds (300 by default, from FIRST, by default 20001), clocks
//! known, and prints two tables: coverage of the 95 % intervals of the bias by length of the window,
//! and verdicts against the truth. Beside the blocks as a careful tester would tag them, the first
//! 60 s and 120 s of each steady block are judged. Nothing here knows more than a tester would, but
//! for the truth it is scored by.

#![allow(clippy::print_stdout, clippy::unwrap_used)]

use rayon::prelude::*;
use truing::analysis::agreement::Agreement;
use truing::analysis::figures::SegmentFigures;
use truing::analysis::ride::{RideFindings, findings};
use truing::analysis::segment;
use truing::analysis::verdict::conformity::Outcome;
use truing::plan::Plan;
use truing::rehearse::{Rehearsal, SegmentTruth, SessionOptions, random_scenario, ride};
use truing::session::{Kind, Session};
use truing::timeline::{Aligned, Span};

const PLANS: [&str; 2] = ["full-bench", "repeatability"];

/// Lengths of windows, s: from, to.
const LENGTHS: [(usize, usize); 4] = [(60, 90), (90, 150), (150, 240), (240, 1_000_000)];

/// How often intervals cover, in one class of windows.
#[derive(Clone, Copy, Default)]
struct Coverage {
    told: usize,
    covered: usize,
    above: usize,
    half_widths: f64,
}

impl Coverage {
    fn add(&mut self, interval: Option<[f64; 2]>, truth: Option<f64>) {
        let (Some([low, high]), Some(truth)) = (interval, truth) else {
            return;
        };
        self.told += 1;
        self.covered += usize::from(low <= truth && truth <= high);
        self.above += usize::from(low > truth);
        self.half_widths += 0.5 * (high - low);
    }

    fn merge(&mut self, other: Self) {
        self.told += other.told;
        self.covered += other.covered;
        self.above += other.above;
        self.half_widths += other.half_widths;
    }

    fn line(&self, name: &str, unit: &str) {
        let n = self.told.max(1) as f64;
        println!(
            "{name:<34} {:>6}  {:>6.2} %  above {:>5.2} %  mean half-width {:.2} {unit}",
            self.told,
            100.0 * self.covered as f64 / n,
            100.0 * self.above as f64 / n,
            self.half_widths / n
        );
    }
}

/// Verdicts by outcome: conforms, does not, inconclusive, references disagree.
type Outcomes = [usize; 4];

#[derive(Default)]
struct Tally {
    watts: [Coverage; LENGTHS.len()],
    percent: [Coverage; LENGTHS.len()],
    clean_watts: [Coverage; LENGTHS.len()],
    steady: [Coverage; LENGTHS.len()],
    open: [Coverage; LENGTHS.len()],
    /// Of steady blocks, then of open segments.
    conformers: [Outcomes; 2],
    offenders: [Outcomes; 2],
    /// Steady blocks whose references were withheld, though their true means agree.
    withheld: usize,
    inside_expanded: Coverage,
}

impl Tally {
    fn merge(mut self, other: Self) -> Self {
        for (mine, theirs) in [
            (&mut self.watts, other.watts),
            (&mut self.percent, other.percent),
            (&mut self.clean_watts, other.clean_watts),
            (&mut self.steady, other.steady),
            (&mut self.open, other.open),
        ] {
            for (a, b) in mine.iter_mut().zip(theirs) {
                a.merge(b);
            }
        }
        self.inside_expanded.merge(other.inside_expanded);
        for kind in 0..2 {
            for at in 0..4 {
                self.conformers[kind][at] += other.conformers[kind][at];
                self.offenders[kind][at] += other.offenders[kind][at];
            }
        }
        self.withheld += other.withheld;
        self
    }
}

fn main() {
    let number = |at: usize| -> Option<u64> { std::env::args().nth(at)?.parse().ok() };
    let (seeds, first) = (number(1).unwrap_or(300), number(2).unwrap_or(20_001));
    let tally = (first..first + seeds)
        .into_par_iter()
        .map(|seed| {
            PLANS
                .iter()
                .map(|name| one_ride(name, seed))
                .fold(Tally::default(), Tally::merge)
        })
        .reduce(Tally::default, Tally::merge);
    println!("{seeds} seeds from {first}, plans {}", PLANS.join(", "));
    print(&tally);
}

fn one_ride(plan: &str, seed: u64) -> Tally {
    let plan = Plan::built_in(plan).unwrap();
    let rehearsal = ride(&plan, &random_scenario(&plan, seed), seed).unwrap();
    let opened = rehearsal.opened(SessionOptions {
        clocks_known: true,
        tagged: true,
    });
    let aligned = Aligned::new(&opened);
    let found = findings(&aligned);
    let mut tally = Tally::default();
    for truth in &rehearsal.truth.segments {
        if !matches!(truth.kind, Kind::SteadyBlock | Kind::Open | Kind::HeatSoak) {
            continue;
        }
        let whole = Span::new(truth.from_s, truth.to_s);
        let figures = look(&opened.session, &aligned, &found, whole, truth.kind);
        cover(&mut tally, &rehearsal, &figures, whole);
        judge(&mut tally, truth, &figures);
        if truth.kind == Kind::SteadyBlock {
            for length_s in [60.0, 120.0] {
                let part = Span::new(truth.from_s, truth.from_s + length_s);
                if part.to_s < truth.to_s {
                    let figures = look(&opened.session, &aligned, &found, part, truth.kind);
                    cover(&mut tally, &rehearsal, &figures, part);
                }
            }
        }
    }
    tally
}

fn look(
    session: &Session,
    aligned: &Aligned,
    found: &RideFindings,
    span: Span,
    kind: Kind,
) -> SegmentFigures {
    segment::live(session, aligned, found, span, kind)
}

fn cover(tally: &mut Tally, rehearsal: &Rehearsal, figures: &SegmentFigures, span: Span) {
    for agreement in &figures.agreement {
        let Agreement {
            under_test,
            reference,
            n,
            ..
        } = agreement;
        let Some(class) = LENGTHS.iter().position(|(from, to)| from <= n && n < to) else {
            continue;
        };
        let Some(truth) = rehearsal.pair_truth(under_test, reference, span) else {
            continue;
        };
        let interval = agreement.bias_ci95_w;
        tally.watts[class].add(interval, Some(truth.bias_w));
        tally.percent[class].add(agreement.bias_ci95_percent, truth.bias_percent);
        if figures.kind == Kind::SteadyBlock {
            tally.steady[class].add(interval, Some(truth.bias_w));
        } else {
            tally.open[class].add(interval, Some(truth.bias_w));
        }
        let stream = rehearsal
            .truth
            .streams
            .iter()
            .find(|s| s.label == *under_test)
            .unwrap();
        let clean = |from_s: f64, to_s: f64| span.overlap(Span::new(from_s, to_s)).is_none();
        if stream.dropouts.iter().all(|d| clean(d.from_s, d.to_s))
            && stream.surges.iter().all(|s| clean(s.from_s, s.to_s))
        {
            tally.clean_watts[class].add(interval, Some(truth.bias_w));
        }
    }
}

fn judge(tally: &mut Tally, truth: &SegmentTruth, figures: &SegmentFigures) {
    let Some(verdict) = &figures.verdict else {
        return;
    };
    let device = truth.devices.iter().find(|d| d.label == verdict.under_test);
    let Some(bias) = device.and_then(|d| d.bias_percent) else {
        return;
    };
    let at = match verdict.outcome {
        Outcome::Conforms => 0,
        Outcome::DoesNotConform => 1,
        Outcome::Inconclusive => 2,
        Outcome::ReferencesDisagree => 3,
        Outcome::NotApplicable => return,
    };
    let Some(limit) = verdict.limit_percent else {
        return;
    };
    let kind = usize::from(truth.kind == Kind::Open);
    if bias.abs() <= limit {
        tally.conformers[kind][at] += 1;
    } else {
        tally.offenders[kind][at] += 1;
    }
    let readings: Vec<f64> = figures
        .references
        .iter()
        .flat_map(|r| &r.labels)
        .filter_map(|label| truth.devices.iter().find(|d| d.label == *label))
        .map(|d| d.ideal_mean_w)
        .collect();
    if let ([a, b], Outcome::ReferencesDisagree) = (readings.as_slice(), verdict.outcome) {
        // Claims of ±1 % each: E_n of the noiseless means.
        let en = (a - b).abs() / (0.005 * (a + b) * 2.0_f64.sqrt());
        tally.withheld += usize::from(kind == 0 && en <= 1.0);
    }
    let around = verdict
        .bias_percent
        .zip(verdict.expanded_uncertainty_percent);
    tally
        .inside_expanded
        .add(around.map(|(b, u)| [b - u, b + u]), Some(bias));
}

fn print(tally: &Tally) {
    println!("\nCoverage of 95 % intervals of the bias           n  covered");
    for (class, ((from, to), ((watts, percent), clean))) in LENGTHS
        .iter()
        .zip(
            tally
                .watts
                .iter()
                .zip(&tally.percent)
                .zip(&tally.clean_watts),
        )
        .enumerate()
    {
        if watts.told == 0 {
            continue;
        }
        let length = if *to > 10_000 {
            format!("{from} s and more")
        } else {
            format!("{from} to {} s", to - 1)
        };
        watts.line(&format!("{length}, W"), "W");
        clean.line(&format!("{length}, W, no dropout or surge"), "W");
        percent.line(&format!("{length}, %"), "%");
        tally.steady[class].line(&format!("{length}, steady, W"), "W");
        tally.open[class].line(&format!("{length}, open, W"), "W");
    }
    for (name, kind) in [
        ("steady blocks, W", tally.steady),
        ("open segments, W", tally.open),
    ] {
        let mut all = Coverage::default();
        kind.into_iter().for_each(|class| all.merge(class));
        all.line(name, "W");
    }
    tally.inside_expanded.line("true bias within ± U", "%");
    println!(
        "\nVerdicts              conforms  does not  inconclusive  references disagree   wrong"
    );
    for (name, outcomes, wrong) in [
        ("conformers, steady", tally.conformers[0], 1),
        ("conformers, open", tally.conformers[1], 1),
        ("offenders, steady", tally.offenders[0], 0),
        ("offenders, open", tally.offenders[1], 0),
    ] {
        let [a, b, c, d] = outcomes;
        let all = outcomes.iter().sum::<usize>().max(1) as f64;
        println!(
            "{name:<20} {a:>9} {b:>9} {c:>13} {d:>20}  {:>5.2} %",
            100.0 * outcomes[wrong] as f64 / all
        );
    }
    println!(
        "steady blocks withheld though the references' noiseless means agree: {}",
        tally.withheld
    );
}
