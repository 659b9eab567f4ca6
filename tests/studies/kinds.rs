//! How well the figures of the kinds of segment find what was put into rehearsed rides.
//!
//! `cargo run --profile quick --example kinds -- [SEEDS [FIRST]]` rides the full bench and the heat soak with
//! random devices and faults for that many seeds (300 by default, from FIRST, by default 20001), clocks known, and prints how often
//! the 95 % intervals cover the truth and how near the fitted values come. Nothing here knows more
//! than a tester would, but for the truth it is scored by.

#![allow(
    clippy::print_stdout,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic
)]

use rayon::prelude::*;
use truing::analysis::dropout::Dropout;
use truing::analysis::figures::SegmentFigures;
use truing::analysis::kinds::ramp::Step;
use truing::analysis::kinds::sprint::ResponseShape;
use truing::analysis::ride::{RideFindings, findings};
use truing::analysis::segment::figures_with;
use truing::plan::{Phase, Plan};
use truing::rehearse::{Rehearsal, SegmentTruth, SessionOptions, random_scenario, ride};
use truing::session::{Kind, Role, Segment, Session};
use truing::stats::Interval;
use truing::suggest::{self, Evidence, Suggestion, overlap_share};
use truing::timeline::{Aligned, Member, Span};

/// A suggestion meets a true segment from this share of shared over covered time on.
const MATCH: f64 = 0.6;

/// What is counted over all rides.
#[derive(Default)]
struct Tally {
    drift: Coverage,
    gear_shift: Coverage,
    /// Of sources that do not drift, and of those that do.
    heat: [Coverage; 2],
    sprints: usize,
    separated: usize,
    /// Of the separated: as a first-order lag, as a moving mean, as neither.
    shapes: [usize; 3],
    averaging: Coverage,
    dead_time: Coverage,
    ceiling: Coverage,
    time_constant_errors_s: Vec<f64>,
    time_constant: Coverage,
    ceiling_errors_percent: Vec<f64>,
    ceilings_due: usize,
    ceilings_found: usize,
    ceilings_touched: usize,
    ceilings_false: usize,
    steps_true: usize,
    steps_found: usize,
    steps_false: usize,
    step_size_errors_percent: Vec<f64>,
    dead_time_errors_s: Vec<f64>,
    dead_times_untold: usize,
    dropouts_true: usize,
    dropouts_hit: usize,
    dropouts_found: usize,
    dropouts_right: usize,
    surges_true: usize,
    surges_hit: usize,
    excursions_found: usize,
    excursions_right: usize,
    hours: f64,
    suggestions: Vec<Suggested>,
    suggestions_made: [usize; 2],
    suggestions_strange: [usize; 2],
}

/// A true segment and the suggestion of its kind that comes nearest.
struct Suggested {
    kind: Kind,
    /// Whether laps, workout steps and gear events were there to see.
    annotated: bool,
    share: f64,
    set_point_right: bool,
}

/// How often intervals cover.
#[derive(Clone, Default)]
struct Coverage {
    told: usize,
    asked: usize,
    covered: usize,
    above: usize,
    widths: Vec<f64>,
    errors: Vec<f64>,
}

impl Coverage {
    fn add(&mut self, interval: Option<Interval>, truth: Option<f64>) {
        let Some(truth) = truth else { return };
        self.asked += 1;
        let Some([low, high]) = interval else { return };
        self.told += 1;
        self.covered += usize::from(low <= truth && truth <= high);
        self.above += usize::from(low > truth);
        self.widths.push(high - low);
        self.errors.push((0.5 * (low + high) - truth).abs());
    }

    fn merge(&mut self, other: Self) {
        self.told += other.told;
        self.asked += other.asked;
        self.covered += other.covered;
        self.above += other.above;
        self.widths.extend(other.widths);
        self.errors.extend(other.errors);
    }

    fn print(&self, name: &str, unit: &str) {
        if self.asked == 0 {
            return;
        }
        let percent = 100.0 * self.covered as f64 / self.told as f64;
        let error = 100.0 * (0.25 / self.told as f64).sqrt() * 2.0 * (0.05_f64 * 0.95).sqrt();
        println!(
            "{name:<14} told {}/{}  covered {percent:.1} % (s.e. {error:.1}), too high {:.1} %  median width {:.3} {unit}, median error {:.3}",
            self.told,
            self.asked,
            100.0 * self.above as f64 / self.told as f64,
            quantile(&self.widths, 0.5),
            quantile(&self.errors, 0.5),
        );
    }
}

fn quantile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = (share * sorted.len().saturating_sub(1) as f64).round() as usize;
    sorted.get(at).copied().unwrap_or(f64::NAN)
}

/// A rehearsed ride, aligned by its true clocks.
struct Ride<'p> {
    plan: &'p Plan,
    rehearsal: Rehearsal,
    session: Session,
    aligned: Aligned,
    findings: RideFindings,
}

impl<'p> Ride<'p> {
    /// `averaging`: the source under test has a moving mean of 3 to 6 s in its lag's place.
    fn new(plan: &'p Plan, seed: u64, averaging: bool) -> Self {
        let mut scenario = random_scenario(plan, seed);
        if averaging {
            let under_test = scenario.devices.first_mut().expect("a source under test");
            under_test.time_constant_s = 0.0;
            under_test.average_s = 3.0 + 0.1 * (seed % 31) as f64;
        }
        let rehearsal = ride(plan, &scenario, seed).expect("rideable");
        let opened = rehearsal.opened(SessionOptions {
            clocks_known: true,
            tagged: true,
        });
        let aligned = Aligned::new(&opened);
        Self {
            plan,
            rehearsal,
            session: opened.session,
            findings: findings(&aligned),
            aligned,
        }
    }

    fn under_test(&self) -> usize {
        self.aligned
            .powered(Role::UnderTest)
            .next()
            .expect("a source under test")
    }

    fn power(&self, index: usize) -> &[f64] {
        self.aligned.power(Member::Stream(index)).expect("power")
    }

    fn rows(&self, segment: &SegmentTruth) -> std::ops::Range<usize> {
        self.aligned
            .grid
            .rows(Span::new(segment.from_s, segment.to_s))
    }

    /// What the program tells of a segment that a careful tester tagged.
    fn figures(&self, segment: &SegmentTruth) -> SegmentFigures {
        let tagged = segment.segment();
        figures_with(&self.session, &self.aligned, &self.findings, &tagged, 1)
    }

    fn score(&self) -> Tally {
        let mut tally = Tally {
            hours: self.aligned.grid.len as f64 * self.aligned.grid.step_s / 3600.0,
            ..Tally::default()
        };
        for segment in &self.rehearsal.truth.segments {
            match segment.kind {
                Kind::SteadyBlock => self.steady(segment, &mut tally),
                Kind::Sprint => self.sprint(segment, &mut tally),
                Kind::GearChange => self.gear_change(segment, &mut tally),
                Kind::HeatSoak => self.heat_soak(segment, &mut tally),
                Kind::Ramp => self.ramp(segment, &mut tally),
                Kind::Coast | Kind::Slope | Kind::Open => {}
            }
        }
        self.whole_ride(&mut tally);
        let told = Evidence::of(&self.aligned);
        let silent = Evidence {
            laps: Vec::new(),
            set_points: Vec::new(),
            gear_changes_s: Vec::new(),
            ..told.clone()
        };
        self.suggestions(&told, true, &mut tally);
        self.suggestions(&silent, false, &mut tally);
        tally
    }

    /// The sprints alone.
    fn score_sprints(&self) -> Tally {
        let mut tally = Tally::default();
        let segments = self.rehearsal.truth.segments.iter();
        for segment in segments.filter(|s| s.kind == Kind::Sprint) {
            self.sprint(segment, &mut tally);
        }
        tally
    }

    fn suggestions(&self, evidence: &Evidence, annotated: bool, tally: &mut Tally) {
        let found = suggest::suggestions(evidence);
        let span = |segment: &Segment| Span::new(segment.from_s, segment.to_s);
        let truths = || {
            self.rehearsal
                .truth
                .segments
                .iter()
                .filter(|s| s.kind != Kind::Open)
        };
        for truth in truths() {
            let window = Span::new(truth.from_s, truth.to_s);
            let best = found
                .iter()
                .filter(|suggestion| suggestion.segment.kind == truth.kind)
                .max_by(|a, b| {
                    let share = |p: &Suggestion| overlap_share(span(&p.segment), window);
                    share(a).total_cmp(&share(b))
                });
            let share = best.map_or(0.0, |best| overlap_share(span(&best.segment), window));
            if share < MATCH && misses() {
                println!(
                    "seed {}: no suggestion for {:?} {:.0}-{:.0}, best {share:.2}",
                    self.rehearsal.seed, truth.kind, truth.from_s, truth.to_s
                );
            }
            tally.suggestions.push(Suggested {
                kind: truth.kind,
                annotated,
                share,
                set_point_right: truth.set_point_w.is_none()
                    || best.is_some_and(|best| best.segment.set_point_w == truth.set_point_w),
            });
        }
        tally.suggestions_made[usize::from(annotated)] += found.len();
        let strange = found.iter().filter(|suggestion| {
            !truths().any(|truth| {
                truth.kind == suggestion.segment.kind
                    && overlap_share(
                        span(&suggestion.segment),
                        Span::new(truth.from_s, truth.to_s),
                    ) >= MATCH
            })
        });
        for suggestion in strange {
            tally.suggestions_strange[usize::from(annotated)] += 1;
            if misses() {
                println!(
                    "seed {}: strange {:?} {:.0}-{:.0} {}",
                    self.rehearsal.seed,
                    suggestion.segment.kind,
                    suggestion.segment.from_s,
                    suggestion.segment.to_s,
                    suggestion.reason
                );
            }
        }
    }

    fn steady(&self, segment: &SegmentTruth, tally: &mut Tally) {
        let found = self
            .figures(segment)
            .of_kind
            .steady
            .expect("a steady block");
        let truth = segment.pairs.last().and_then(|pair| pair.drift_w_per_min);
        tally.drift.add(found.drift_ci95_w_per_min, truth);
    }

    fn heat_soak(&self, segment: &SegmentTruth, tally: &mut Tally) {
        let found = self
            .figures(segment)
            .of_kind
            .heat_soak
            .expect("a heat soak");
        let pair = segment.pairs.last();
        let truth = pair.and_then(|pair| pair.drift_percent_per_10min);
        let drifts = self.rehearsal.scenario.devices[self.under_test()].heat_percent != 0.0;
        let of_kind = &mut tally.heat[usize::from(drifts)];
        of_kind.add(found.drift_ci95_percent_per_10min, truth);
    }

    fn gear_change(&self, segment: &SegmentTruth, tally: &mut Tally) {
        let found = self
            .figures(segment)
            .of_kind
            .gear_change
            .expect("gear changes");
        let last = segment.pairs.last().map(|pair| pair.reference.clone());
        let truths = segment
            .shifts
            .iter()
            .filter(|shift| Some(&shift.reference) == last.as_ref());
        for truth in truths {
            let near = found
                .changes
                .iter()
                .find(|change| (change.at_s - truth.at_s).abs() <= 3.0);
            let interval = near.and_then(|change| change.shift_ci95_percent);
            tally.gear_shift.add(interval, Some(truth.shift_percent));
        }
    }

    /// The steps of a ramp with steps: the first stands at its start and has no plateau before it.
    fn ramp(&self, segment: &SegmentTruth, tally: &mut Tally) {
        let stepped = |phase: &&Phase| phase.kind == Kind::Ramp && !phase.levels_w.is_empty();
        let Some(phase) = self.plan.phases.iter().find(stepped) else {
            return;
        };
        let found = self.figures(segment).of_kind.ramp.expect("a ramp");
        let length_s = phase.duration_s / phase.levels_w.len() as f64;
        let device = &self.rehearsal.scenario.devices[self.under_test()];
        let rider_s = self.rehearsal.scenario.rider.settling_s;
        let tenth = |lags: [f64; 2]| {
            let fine = (0..4000).map(|i| f64::from(i) / 100.0);
            fine.into_iter()
                .find(|t| cascade(*t, lags) >= 0.1)
                .unwrap_or(0.0)
        };
        let dead_s =
            device.dead_time_s + tenth([rider_s, device.time_constant_s]) - tenth([rider_s, 0.0]);
        let at = |k: usize| segment.from_s + k as f64 * length_s;
        let steps = 1..phase.levels_w.len();
        tally.steps_true += steps.len();
        let near = |at_s: f64| move |step: &&Step| (step.at_s - at_s).abs() <= 5.0;
        for k in steps.clone() {
            let Some(step) = found.steps.iter().find(near(at(k))) else {
                if misses() {
                    println!("seed {}: missed step {k}", self.rehearsal.seed);
                }
                continue;
            };
            tally.steps_found += 1;
            let rise = phase.levels_w[k] - phase.levels_w[k - 1];
            tally
                .step_size_errors_percent
                .push(100.0 * ((step.to_w - step.from_w) / rise - 1.0).abs());
            match step.dead_time_s {
                Some(told) => {
                    tally.dead_time_errors_s.push((told - dead_s).abs());
                    if misses() && (told - dead_s).abs() > 2.0 {
                        println!(
                            "seed {}: step {k} dead {told:.1} true {dead_s:.1}",
                            self.rehearsal.seed
                        );
                    }
                }
                None => tally.dead_times_untold += 1,
            }
        }
        tally.steps_false += found
            .steps
            .iter()
            .filter(|step| !steps.clone().any(|k| near(at(k))(step)))
            .count();
    }

    fn sprint(&self, segment: &SegmentTruth, tally: &mut Tally) {
        let rows = self.rows(segment);
        let found = self.figures(segment).of_kind.sprint.expect("a sprint");
        let device = &self.rehearsal.scenario.devices[self.under_test()];
        tally.sprints += 1;
        if misses() {
            println!(
                "seed {}: sprint truth {:.2} {:.2} {:.1} {:?} found {:?} {:?} {:?} {:?} gain {:?} rms {:?} {}",
                self.rehearsal.seed,
                device.dead_time_s,
                device.time_constant_s,
                device.average_s,
                device.ceiling_w,
                found.averaging_ci95_s,
                found.delay_s,
                found.time_constant_s,
                found.ceiling_w,
                found.gain,
                found.fit_rms_w,
                found.note
            );
        }
        let Some(shape) = found.response_shape else {
            return;
        };
        tally.separated += 1;
        tally.shapes[match shape {
            ResponseShape::FirstOrderLag => 0,
            ResponseShape::MovingMean => 1,
            ResponseShape::Neither => 2,
        }] += 1;
        // Against the references, whose own dead time the fit cannot see.
        let devices = || self.rehearsal.scenario.devices.iter();
        let references = || devices().filter(|d| d.role == Role::Reference);
        let dead_s = references().map(|d| d.dead_time_s).sum::<f64>() / references().count() as f64;
        tally
            .dead_time
            .add(found.delay_ci95_s, Some(device.dead_time_s - dead_s));
        if found.ceiling_ci95_w.is_some() {
            tally.ceiling.add(found.ceiling_ci95_w, device.ceiling_w);
        }
        let averages = device.average_s > 1.0;
        if averages {
            let truth = found.averaging_s.map(|_| device.average_s);
            tally.averaging.add(found.averaging_ci95_s, truth);
        } else {
            let error_s = |told_s: f64| (told_s - device.time_constant_s).abs();
            let told = found.time_constant_s.map(error_s);
            tally.time_constant_errors_s.extend(told);
            let truth = found.time_constant_ci95_s.map(|_| device.time_constant_s);
            tally.time_constant.add(found.time_constant_ci95_s, truth);
        }
        // A ceiling is due where the reading without it would pass it by 5 % for two seconds.
        let clipped = device.ceiling_w.is_some_and(|ceiling_w| {
            let power = &self.power(self.under_test())[rows.clone()];
            power.iter().filter(|w| **w >= ceiling_w - 1.0).count() >= 3
        });
        tally.ceilings_due += usize::from(clipped);
        match (found.ceiling_w, device.ceiling_w) {
            (Some(found), Some(truth)) if clipped => {
                tally.ceilings_found += 1;
                tally
                    .ceiling_errors_percent
                    .push(100.0 * (found / truth - 1.0).abs());
            }
            // Reached for a second or two: neither due nor false.
            (Some(_), Some(_)) => tally.ceilings_touched += 1,
            (Some(_), None) => tally.ceilings_false += 1,
            _ => {}
        }
    }

    fn whole_ride(&self, tally: &mut Tally) {
        let under_test = self.under_test();
        let found = &self.findings.dropouts[under_test];
        let truth = &self.rehearsal.truth.streams[under_test];
        let near = |a: &Dropout, b: &Dropout| {
            let (a, b) = (
                Span::new(a.from_s - 1.0, a.to_s + 1.0),
                Span::new(b.from_s, b.to_s),
            );
            a.overlap(b).is_some()
        };
        let same = |a: &Dropout, b: &Dropout| a.kind == b.kind && near(a, b);
        tally.dropouts_true += truth.dropouts.len();
        tally.dropouts_hit += truth
            .dropouts
            .iter()
            .filter(|t| found.iter().any(|f| same(f, t)))
            .count();
        tally.dropouts_found += found.len();
        tally.dropouts_right += found
            .iter()
            .filter(|f| truth.dropouts.iter().any(|t| same(f, t)))
            .count();
        if misses() {
            for missed in truth
                .dropouts
                .iter()
                .filter(|t| !found.iter().any(|f| same(f, t)))
            {
                println!("seed {}: missed {missed:?}", self.rehearsal.seed);
            }
            for extra in found
                .iter()
                .filter(|f| !truth.dropouts.iter().any(|t| same(f, t)))
            {
                println!("seed {}: extra {extra:?}", self.rehearsal.seed);
            }
        }
        let outside = &self.findings.excursions[under_test];
        let surge = |from_s: f64, to_s: f64| {
            truth.surges.iter().any(|surge| {
                Span::new(surge.from_s, surge.to_s + 8.0)
                    .overlap(Span::new(from_s, to_s))
                    .is_some()
            })
        };
        tally.surges_true += truth.surges.len();
        tally.surges_hit += truth
            .surges
            .iter()
            .filter(|s| {
                let reach = Span::new(s.from_s, s.to_s + 8.0);
                outside
                    .iter()
                    .any(|o| reach.overlap(Span::new(o.from_s, o.to_s)).is_some())
            })
            .count();
        tally.excursions_found += outside.len();
        tally.excursions_right += outside.iter().filter(|o| surge(o.from_s, o.to_s)).count();
        if misses() {
            for extra in outside.iter().filter(|o| !surge(o.from_s, o.to_s)) {
                let kind = self
                    .rehearsal
                    .truth
                    .segments
                    .iter()
                    .find(|s| s.from_s <= extra.from_s && extra.from_s < s.to_s)
                    .map(|s| s.kind);
                println!(
                    "seed {}: excursion {extra:?} in {kind:?}",
                    self.rehearsal.seed
                );
            }
        }
    }
}

fn share(part: usize, of: usize) -> String {
    format!("{part}/{of} = {:.1} %", 100.0 * part as f64 / of as f64)
}

/// Whether every miss is to be printed.
fn misses() -> bool {
    std::env::args().any(|word| word == "--misses")
}

/// Unit step after two first-order lags in a row.
fn cascade(t: f64, [a, b]: [f64; 2]) -> f64 {
    if b < 1e-9 {
        return 1.0 - (-t / a).exp();
    }
    if (a - b).abs() < 1e-6 {
        return 1.0 - (1.0 + t / a) * (-t / a).exp();
    }
    1.0 - (a * (-t / a).exp() - b * (-t / b).exp()) / (a - b)
}

impl Tally {
    fn merge(mut self, other: Self) -> Self {
        self.drift.merge(other.drift);
        self.averaging.merge(other.averaging);
        self.dead_time.merge(other.dead_time);
        self.ceiling.merge(other.ceiling);
        self.time_constant.merge(other.time_constant);
        for (mine, theirs) in self.shapes.iter_mut().zip(other.shapes) {
            *mine += theirs;
        }
        self.gear_shift.merge(other.gear_shift);
        for (mine, theirs) in self.heat.iter_mut().zip(other.heat) {
            mine.merge(theirs);
        }
        self.dead_time_errors_s.extend(other.dead_time_errors_s);
        self.step_size_errors_percent
            .extend(other.step_size_errors_percent);
        self.time_constant_errors_s
            .extend(other.time_constant_errors_s);
        self.ceiling_errors_percent
            .extend(other.ceiling_errors_percent);
        self.hours += other.hours;
        self.suggestions.extend(other.suggestions);
        for source in 0..2 {
            self.suggestions_made[source] += other.suggestions_made[source];
            self.suggestions_strange[source] += other.suggestions_strange[source];
        }
        for (mine, theirs) in [
            (&mut self.sprints, other.sprints),
            (&mut self.separated, other.separated),
            (&mut self.ceilings_due, other.ceilings_due),
            (&mut self.ceilings_found, other.ceilings_found),
            (&mut self.ceilings_touched, other.ceilings_touched),
            (&mut self.ceilings_false, other.ceilings_false),
            (&mut self.steps_true, other.steps_true),
            (&mut self.steps_found, other.steps_found),
            (&mut self.steps_false, other.steps_false),
            (&mut self.dead_times_untold, other.dead_times_untold),
            (&mut self.dropouts_true, other.dropouts_true),
            (&mut self.dropouts_hit, other.dropouts_hit),
            (&mut self.dropouts_found, other.dropouts_found),
            (&mut self.dropouts_right, other.dropouts_right),
            (&mut self.surges_true, other.surges_true),
            (&mut self.surges_hit, other.surges_hit),
            (&mut self.excursions_found, other.excursions_found),
            (&mut self.excursions_right, other.excursions_right),
        ] {
            *mine += theirs;
        }
        self
    }

    fn print_sprints(&self) {
        println!(
            "sprint         separated {}, of them lag {}, moving mean {}, neither {}; time constant: median error {:.2} s, 90 % within {:.2} s",
            share(self.separated, self.sprints),
            share(self.shapes[0], self.separated),
            share(self.shapes[1], self.separated),
            share(self.shapes[2], self.separated),
            quantile(&self.time_constant_errors_s, 0.5),
            quantile(&self.time_constant_errors_s, 0.9),
        );
        self.time_constant.print("  constant", "s");
        self.averaging.print("  averages", "s");
        self.dead_time.print("  dead time", "s");
        self.ceiling.print("  ceiling", "W");
    }

    fn print_ceilings(&self) {
        println!(
            "ceiling        found {}, reached for a second or two only {}, none there {}, error median {:.2} %, 90 % within {:.2} %",
            share(self.ceilings_found, self.ceilings_due),
            self.ceilings_touched,
            share(self.ceilings_false, self.separated),
            quantile(&self.ceiling_errors_percent, 0.5),
            quantile(&self.ceiling_errors_percent, 0.9),
        );
    }

    fn print(&self) {
        self.drift.print("steady drift", "W/min");
        self.gear_shift.print("gear shift", "%");
        let both = self
            .heat
            .iter()
            .cloned()
            .fold(Coverage::default(), |mut all, one| {
                all.merge(one);
                all
            });
        both.print("heat drift", "%/10 min");
        self.heat[0].print("  of none", "%/10 min");
        self.heat[1].print("  of some", "%/10 min");
        println!(
            "steps          found {}, false {}, size error median {:.1} %, dead time error median {:.2} s, 90 % within {:.2} s, largest {:.1} s, untold {}",
            share(self.steps_found, self.steps_true),
            self.steps_false,
            quantile(&self.step_size_errors_percent, 0.5),
            quantile(&self.dead_time_errors_s, 0.5),
            quantile(&self.dead_time_errors_s, 0.9),
            quantile(&self.dead_time_errors_s, 1.0),
            self.dead_times_untold,
        );
        self.print_sprints();
        self.print_ceilings();
        println!(
            "dropouts       recall {}, precision {}",
            share(self.dropouts_hit, self.dropouts_true),
            share(self.dropouts_right, self.dropouts_found),
        );
        println!(
            "excursions     surges found {}, others {} in {:.0} h",
            share(self.surges_hit, self.surges_true),
            self.excursions_found - self.excursions_right,
            self.hours,
        );
        for (source, name) in [(1, "all evidence"), (0, "power, cadence and speed alone")] {
            println!("suggestions from {name}:");
            for kind in Kind::ALL {
                let of_kind = || {
                    let all = self.suggestions.iter();
                    all.filter(move |p| p.kind == *kind && usize::from(p.annotated) == source)
                };
                let count = of_kind().count();
                if count == 0 {
                    continue;
                }
                let shares: Vec<f64> = of_kind().map(|p| p.share).collect();
                println!(
                    "  {kind:<12} matched {}, median share {:.2}, set point right {}",
                    share(of_kind().filter(|p| p.share >= MATCH).count(), count),
                    quantile(&shares, 0.5),
                    share(of_kind().filter(|p| p.set_point_right).count(), count),
                );
            }
            println!(
                "  of no planned segment {}",
                share(
                    self.suggestions_strange[source],
                    self.suggestions_made[source]
                )
            );
        }
    }
}

fn main() {
    let number = |at: usize| -> Option<u64> { std::env::args().nth(at)?.parse().ok() };
    let (seeds, first) = (number(1).unwrap_or(300), number(2).unwrap_or(20_001));
    for name in ["full-bench", "heat-soak"] {
        let plan = Plan::built_in(name).expect("a built-in plan");
        let tally = (first..first + seeds)
            .into_par_iter()
            .map(|seed| Ride::new(&plan, seed, false).score())
            .reduce(Tally::default, Tally::merge);
        println!("{name}, {seeds} seeds from {first}");
        tally.print();
    }
    let plan = Plan::built_in("full-bench").expect("a built-in plan");
    let tally = (first..first + seeds)
        .into_par_iter()
        .map(|seed| Ride::new(&plan, seed, true).score_sprints())
        .reduce(Tally::default, Tally::merge);
    println!("full-bench with a source that averages over 3 to 6 s, {seeds} seeds from {first}");
    tally.print_sprints();
    tally.print_ceilings();
}
