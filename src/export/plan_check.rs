//! A ride held against a test plan: what was not ridden, what can therefore not be told, and how
//! much more of what would decide an open verdict.

use std::fmt::Write as _;

use serde::Serialize;

use super::cell::{clock_time, machine_number, one_line};
use super::columns_of_text::{Edge, TextTable, wrapped};
use crate::analysis::conformity::{GOOD_SECONDS, LengthNeeded, MIN_SECONDS, length_needed};
use crate::analysis::figures::{Outcome, SegmentFigures, Table, Verdict};
use crate::rehearse::{Leg, Plan};
use crate::session::Kind;

/// Set points this near count as the same, W.
const SAME_W: f64 = 10.0;

/// A block this much shorter than planned is told, share.
const SHORT_SHARE: f64 = 0.8;

/// Longer blocks than this are not proposed, s.
const LONGEST_PROPOSED_S: f64 = 3600.0;

/// Width of the page, columns.
const WIDTH: usize = 80;

/// A ride held against a plan.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PlanCheck {
    /// Name of the plan.
    pub plan: String,
    /// Every phase of the plan that asks something, in order.
    pub phases: Vec<PhaseCheck>,
    /// What this ride cannot tell, one sentence each.
    pub cannot_tell: Vec<String>,
    /// What would decide each open verdict.
    pub more: Vec<MoreNeeded>,
}

/// One phase of the plan.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PhaseCheck {
    /// Its kind.
    pub kind: Kind,
    /// Its set point, W.
    pub set_point_w: Option<f64>,
    /// Its length by the plan, s.
    pub planned_s: f64,
    /// What became of it.
    pub ridden: Ridden,
    /// The segment that answers it, by its number.
    pub segment: Option<usize>,
    /// The length of that segment, s.
    pub ridden_s: Option<f64>,
}

/// What became of a phase.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ridden {
    /// There is such a segment, long enough.
    AsPlanned,
    /// There is one, but short.
    Short,
    /// There is none.
    Missing,
}

/// What would decide an open verdict.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MoreNeeded {
    /// The segment, by its number.
    pub segment: usize,
    /// The source under test.
    pub under_test: String,
    /// At this power, W.
    pub power_w: Option<f64>,
    /// A block of this length would do, s; null where no length would.
    pub length_s: Option<f64>,
    /// That is this much more than was ridden, min.
    pub minutes_more: Option<f64>,
    /// In a sentence.
    pub reason: String,
}

/// Holds the ride of `table` against `plan`.
pub fn check(plan: &Plan, table: &Table) -> PlanCheck {
    let phases = phases(plan, table);
    PlanCheck {
        plan: plan.name.clone(),
        cannot_tell: cannot_tell(&phases, table),
        more: more(table),
        phases,
    }
}

fn phases(plan: &Plan, table: &Table) -> Vec<PhaseCheck> {
    let mut taken: Vec<usize> = Vec::new();
    let asks = |leg: &Leg| leg.kind != Kind::Open;
    plan.legs()
        .iter()
        .filter(|leg| asks(leg))
        .map(|leg| {
            let free = table.segments.iter().find(|s| {
                !taken.contains(&s.id) && s.kind == leg.kind && same_level(leg.set_point_w(), s)
            });
            taken.extend(free.map(|segment| segment.id));
            phase(leg, free)
        })
        .collect()
}

/// Whether a segment is at the planned power: by its set point, else by the references' mean.
fn same_level(planned_w: Option<f64>, segment: &SegmentFigures) -> bool {
    let ridden_w = segment.set_point_w.or_else(|| level_w(segment));
    match (planned_w, ridden_w) {
        (Some(planned), Some(ridden)) => (planned - ridden).abs() <= SAME_W,
        _ => true,
    }
}

fn level_w(segment: &SegmentFigures) -> Option<f64> {
    segment.agreement.last().and_then(|a| a.reference_mean_w)
}

fn phase(leg: &Leg, segment: Option<&SegmentFigures>) -> PhaseCheck {
    let planned_s = leg.duration_s();
    let ridden_s = segment.map(|s| s.to_s - s.from_s);
    let ridden = match ridden_s {
        None => Ridden::Missing,
        Some(length_s) if length_s < SHORT_SHARE * planned_s => Ridden::Short,
        Some(_) => Ridden::AsPlanned,
    };
    PhaseCheck {
        kind: leg.kind,
        set_point_w: leg.set_point_w(),
        planned_s,
        ridden,
        segment: segment.map(|s| s.id),
        ridden_s,
    }
}

/// What a kind of segment is there to answer.
const fn question(kind: Kind) -> &'static str {
    match kind {
        Kind::SteadyBlock => "whether the claim holds",
        Kind::Sprint => "how late, how blunted and where clipped a sprint is reported",
        Kind::Ramp => "how a change of power is followed",
        Kind::GearChange => "whether the bias moves with the gear",
        Kind::Coast => "what is reported while nobody pedals",
        Kind::HeatSoak => "whether the bias drifts as the unit warms",
        Kind::Open => "anything",
    }
}

fn cannot_tell(phases: &[PhaseCheck], table: &Table) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for phase in phases.iter().filter(|p| p.ridden == Ridden::Missing) {
        let at = phase
            .set_point_w
            .map_or_else(String::new, |w| format!(" at {} W", machine_number(w)));
        let sentence = format!(
            "{}{at}: no such {} in this ride",
            question(phase.kind),
            phase.kind
        );
        if !out.contains(&sentence) {
            out.push(sentence);
        }
    }
    let verdicts = || {
        let segments = table.segments.iter();
        segments.flat_map(|s| s.verdict.iter().chain(&s.further_verdicts))
    };
    let withheld = verdicts().filter(|v| v.outcome == Outcome::ReferencesDisagree);
    if withheld.count() > 0 {
        out.push(
            "the claim, where the references disagree: find out which of them is wrong first"
                .to_owned(),
        );
    }
    let decided = |v: &Verdict| matches!(v.outcome, Outcome::Conforms | Outcome::DoesNotConform);
    if !verdicts().any(decided) {
        out.push(
            "whether the claim holds at any power: no verdict of this ride is decided".to_owned(),
        );
    }
    out
}

fn more(table: &Table) -> Vec<MoreNeeded> {
    let mut out = Vec::new();
    for segment in &table.segments {
        for verdict in segment.verdict.iter().chain(&segment.further_verdicts) {
            if verdict.outcome == Outcome::Inconclusive {
                out.push(needed(segment, verdict));
            }
        }
    }
    out
}

fn needed(segment: &SegmentFigures, verdict: &Verdict) -> MoreNeeded {
    let power_w = segment.set_point_w.or_else(|| level_w(segment));
    let at = power_w.map_or_else(String::new, |w| {
        format!(" at {} W", machine_number(w.round()))
    });
    let length = length(verdict);
    let (length_s, reason) = match length {
        Some(LengthNeeded::Seconds(seconds)) if seconds <= LONGEST_PROPOSED_S => {
            let seconds = seconds
                .max(MIN_SECONDS as f64)
                .max(if verdict.n < MIN_SECONDS {
                    GOOD_SECONDS as f64
                } else {
                    0.0
                });
            let minutes = (seconds / 60.0).ceil();
            (
                Some(seconds),
                format!(
                    "a block of about {minutes:.0} min{at} would decide, at the same bias and scatter"
                ),
            )
        }
        Some(LengthNeeded::Seconds(_)) => (
            None,
            "the bias lies so near the limit that not even an hour would decide".to_owned(),
        ),
        Some(LengthNeeded::NoLength(rest)) => (
            None,
            format!(
                "no length would decide: the claims of the references{} alone leave ±{} {}; references with a tighter claim, or more of them, would",
                if verdict
                    .budget
                    .iter()
                    .any(|line| line.source.starts_with("allowance"))
                {
                    " and the allowance"
                } else {
                    ""
                },
                machine_number((rest * 100.0).round() / 100.0),
                if verdict.bias_percent.is_some() {
                    "%"
                } else {
                    "W"
                }
            ),
        ),
        None => (
            Some(GOOD_SECONDS as f64),
            format!(
                "too little to judge by: ride {GOOD_SECONDS} s or more{at}, with claims stated for every reference"
            ),
        ),
    };
    MoreNeeded {
        segment: segment.id,
        under_test: verdict.under_test.clone(),
        power_w,
        length_s,
        minutes_more: length_s.map(|s| ((s - verdict.n as f64) / 60.0).max(0.0)),
        reason,
    }
}

/// How long a block would decide, from the uncertainty budget.
fn length(verdict: &Verdict) -> Option<LengthNeeded> {
    let percent = verdict.bias_percent.is_some();
    let (bias, limit) = if percent {
        (verdict.bias_percent?, verdict.limit_percent?)
    } else {
        (verdict.bias_w?, verdict.limit_w?)
    };
    let (mut statistical, mut other) = (0.0_f64, 0.0_f64);
    for line in &verdict.budget {
        let u = if percent {
            line.standard_uncertainty_percent?
        } else {
            line.standard_uncertainty_w?
        };
        // Only the scatter shrinks with time.
        if line.degrees_of_freedom.is_some() {
            statistical = statistical.hypot(u);
        } else {
            other = other.hypot(u);
        }
    }
    let distance = (limit - bias.abs()).abs();
    (statistical > 0.0 && distance > 0.0)
        .then(|| length_needed(verdict.n as f64, statistical, other, distance))
}

/// 80 columns for reading.
pub fn text(check: &PlanCheck) -> String {
    let mut out = format!("Held against the plan “{}”\n\n", one_line(&check.plan));
    let mut table = TextTable::new([
        ("planned", Edge::Left),
        ("set W", Edge::Right),
        ("length", Edge::Right),
        ("segment", Edge::Right),
        ("ridden", Edge::Right),
        ("", Edge::Left),
    ]);
    for phase in &check.phases {
        let word = match phase.ridden {
            Ridden::AsPlanned => "✓ as planned",
            Ridden::Short => "? short",
            Ridden::Missing => "✗ missing",
        };
        let dash = || "—".to_owned();
        table.push(vec![
            phase.kind.word().to_owned(),
            phase.set_point_w.map_or_else(dash, machine_number),
            clock_time(phase.planned_s),
            phase.segment.map_or_else(dash, |id| id.to_string()),
            phase.ridden_s.map_or_else(dash, clock_time),
            word.to_owned(),
        ]);
    }
    out.push_str(&table.render("", WIDTH));
    out.push_str("\nWhat this ride cannot tell\n");
    if check.cannot_tell.is_empty() {
        out.push_str("- nothing that the plan asks\n");
    }
    for sentence in &check.cannot_tell {
        out.push_str(&wrapped("- ", &format!("{sentence}."), WIDTH));
    }
    if !check.more.is_empty() {
        out.push_str("\nWhat would decide the open verdicts\n");
    }
    for more in &check.more {
        let mut line = format!(
            "segment {}, {}: {}",
            more.segment,
            one_line(&more.under_test),
            more.reason
        );
        if let Some(minutes) = more.minutes_more.filter(|m| *m > 0.0) {
            let _ = write!(line, " ({} min more)", minutes.ceil());
        }
        out.push_str(&wrapped("- ", &format!("{line}."), WIDTH));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::table::table;
    use crate::rehearse::{Scenario, SessionOptions, ride};
    use crate::timeline::Aligned;

    fn ridden(plan: &str, trainer_gain_percent: f64) -> Table {
        let plan = Plan::built_in(plan).unwrap();
        let mut scenario = Scenario::default();
        scenario.devices[0].gain_percent = trainer_gain_percent;
        let options = SessionOptions {
            clocks_known: true,
            tagged: true,
        };
        let opened = ride(&plan, &scenario, 11).unwrap().opened(options);
        table(&opened.session, &Aligned::new(&opened))
    }

    #[test]
    fn a_ride_after_the_plan_covers_it() {
        let found = check(
            &Plan::built_in("short-check").unwrap(),
            &ridden("short-check", 0.0),
        );
        assert!(found.phases.len() >= 3);
        for phase in &found.phases {
            assert_eq!(phase.ridden, Ridden::AsPlanned, "{phase:?}");
        }
        assert!(!text(&found).contains("missing"));
    }

    #[test]
    fn what_was_not_ridden_is_named_with_its_question() {
        let found = check(
            &Plan::built_in("full-bench").unwrap(),
            &ridden("short-check", 0.0),
        );
        let sprint = found
            .phases
            .iter()
            .find(|p| p.kind == Kind::Sprint)
            .unwrap();
        assert_eq!(sprint.ridden, Ridden::Missing);
        let told = found.cannot_tell.join("\n");
        assert!(told.contains("how late, how blunted"), "{told}");
        assert!(
            told.contains("whether the bias moves with the gear"),
            "{told}"
        );
        assert!(told.contains("whether the claim holds at 300 W"), "{told}");
        assert!(text(&found).contains("✗ missing"));
    }

    #[test]
    fn an_open_verdict_tells_what_would_decide_it() {
        let mut figures = ridden("short-check", 0.0);
        let segment = figures
            .segments
            .iter_mut()
            .find(|s| s.kind == Kind::SteadyBlock);
        let verdict = segment.unwrap().verdict.as_mut().unwrap();
        // Bias 1 % of 2 % allowed, u = 0.6 % by scatter in 120 s and 0.2 % by claims: U must fall
        // to 1 %. With k about 2.2 a block of some four to five minutes does that.
        verdict.outcome = Outcome::Inconclusive;
        (verdict.n, verdict.bias_percent, verdict.limit_percent) = (120, Some(1.0), Some(2.0));
        verdict.budget.truncate(2);
        let lines = [(0.6, Some(10.0)), (0.2, None)];
        for (line, (u, dof)) in verdict.budget.iter_mut().zip(lines) {
            line.standard_uncertainty_percent = Some(u);
            line.degrees_of_freedom = dof;
        }
        let id = figures
            .segments
            .iter()
            .find(|s| s.kind == Kind::SteadyBlock)
            .unwrap()
            .id;
        let all = more(&figures);
        let needed = all.iter().find(|m| m.segment == id).unwrap();
        assert!(
            (200.0..330.0).contains(&needed.length_s.unwrap()),
            "{needed:?}"
        );
        let minutes = (needed.length_s.unwrap() - 120.0) / 60.0;
        assert!((needed.minutes_more.unwrap() - minutes).abs() < 1e-9);
        assert!(
            needed.reason.contains(" W would decide"),
            "{}",
            needed.reason
        );
        // The claims alone exceed what is left: nothing helps but better references.
        let verdict = figures.segments.iter_mut().find(|s| s.id == id).unwrap();
        verdict.verdict.as_mut().unwrap().budget[1].standard_uncertainty_percent = Some(0.8);
        let all = more(&figures);
        let needed = all.iter().find(|m| m.segment == id).unwrap();
        assert_eq!(needed.length_s, None);
        assert!(needed.reason.contains("tighter claim"), "{}", needed.reason);
    }
}
