//! A ride held against a test plan: what was not ridden, what can therefore not be told, and how
//! much more of what would decide an open verdict.

use serde::Serialize;

use super::leg::Leg;
use super::model::Plan;
use crate::analysis::figures::SegmentFigures;
use crate::analysis::table::Table;
use crate::analysis::verdict::conformity::Outcome;
use crate::analysis::verdict::figures::Verdict;
use crate::analysis::verdict::reason::{Reason, Remedy};
use crate::session::Kind;
use crate::text::machine_number;

/// Set points this near count as the same, W.
const SAME_W: f64 = 10.0;

/// A block this much shorter than planned is reported, share.
const SHORT_SHARE: f64 = 0.8;

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
        plan: plan.full_name(),
        cannot_tell: cannot_tell(&phases, table),
        more: more(table),
        phases,
    }
}

fn phases(plan: &Plan, table: &Table) -> Vec<PhaseCheck> {
    let mut taken: Vec<usize> = Vec::new();
    let asks = |leg: &Leg| leg.kind.spec().question.is_some();
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

fn cannot_tell(phases: &[PhaseCheck], table: &Table) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for phase in phases.iter().filter(|p| p.ridden == Ridden::Missing) {
        let at = phase
            .set_point_w
            .map_or_else(String::new, |w| format!(" at {} W", machine_number(w)));
        let sentence = format!(
            "{}{at}: no such {} in this ride",
            phase.kind.spec().question.unwrap_or_default(),
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

/// What would settle an open verdict: whatever its reasons say stands in the way.
fn needed(segment: &SegmentFigures, verdict: &Verdict) -> MoreNeeded {
    let remedies: Vec<Remedy> = verdict.reasons.iter().filter_map(Reason::remedy).collect();
    // A length alone helps only where nothing else is in the way.
    let length_s = match remedies.as_slice() {
        [Remedy::Block(seconds)] => Some(*seconds),
        _ => None,
    };
    let sentences: Vec<String> = remedies.iter().map(Remedy::to_string).collect();
    let power_w = segment.set_point_w.or_else(|| level_w(segment));
    let at = power_w.map_or_else(String::new, |w| {
        format!("at {} W: ", machine_number(w.round()))
    });
    MoreNeeded {
        segment: segment.id,
        under_test: verdict.under_test.clone(),
        power_w,
        length_s,
        minutes_more: length_s.map(|s| ((s - verdict.n as f64) / 60.0).max(0.0)),
        reason: match sentences.as_slice() {
            [] => format!("{at}no reason of its verdict goes with another ride"),
            _ => format!("{at}{}", sentences.join("; ")),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::table::table;
    use crate::analysis::verdict::reason::{Length, Unit};
    use crate::rehearse::{Scenario, SessionOptions, ride};
    use crate::session::Role;
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
        let reported = found.cannot_tell.join("\n");
        assert!(reported.contains("how late, how blunted"), "{reported}");
        assert!(
            reported.contains("whether the bias moves with the gear"),
            "{reported}"
        );
        assert!(
            reported.contains("whether the claim holds at 300 W"),
            "{reported}"
        );
    }

    /// Of the first held block, open for these reasons.
    fn open_for(reasons: Vec<Reason>) -> MoreNeeded {
        let mut figures = ridden("short-check", 0.0);
        let mut segments = figures.segments.iter_mut();
        let segment = segments.find(|s| s.kind == Kind::SteadyBlock).unwrap();
        let id = segment.id;
        let verdict = segment.verdict.as_mut().unwrap();
        (verdict.outcome, verdict.n, verdict.reasons) = (Outcome::Inconclusive, 120, reasons);
        let mut all = more(&figures).into_iter();
        all.find(|m| m.segment == id).unwrap()
    }

    #[test]
    fn an_open_verdict_tells_what_would_decide_it() {
        let block = Reason::Length(Length::Block(270.0));
        let needed = open_for(vec![Reason::LeftOut(3), block.clone()]);
        assert_eq!(
            (needed.length_s, needed.minutes_more),
            (Some(270.0), Some(2.5))
        );
        assert!(needed.reason.contains("5 min would decide"), "{needed:?}");
        let needed = open_for(vec![Reason::Length(Length::OverAnHour)]);
        assert_eq!(needed.length_s, None);
        assert!(needed.reason.contains("not even an hour"), "{needed:?}");
        // The claims alone exceed what is left: nothing helps but better references.
        let needed = open_for(vec![Reason::Length(Length::None {
            rest: 1.6,
            unit: Unit::Percent,
            allowance: false,
        })]);
        assert_eq!(needed.length_s, None);
        assert!(needed.reason.contains("tighter claim"), "{needed:?}");
    }

    /// A block of whatever length against a reference that claims nothing, against one meter
    /// recorded twice, or against a copy: the plan must not ask for more of it.
    #[test]
    fn no_length_is_proposed_where_the_verdict_says_that_none_decides() {
        let plan = Plan::built_in("short-check").unwrap();
        let options = SessionOptions {
            clocks_known: true,
            tagged: true,
        };
        let mut opened = ride(&plan, &Scenario::default(), 11)
            .unwrap()
            .opened(options);
        let mut references = opened.session.streams.iter_mut();
        let reference = references.find(|s| s.role == Role::Reference);
        let label = {
            let reference = reference.unwrap();
            reference.claim_percent = None;
            reference.label.clone()
        };
        let found = check(&plan, &table(&opened.session, &Aligned::new(&opened)));
        assert!(!found.more.is_empty());
        for more in &found.more {
            assert_eq!((more.length_s, more.minutes_more), (None, None), "{more:?}");
            assert!(more.reason.contains("no length decides"), "{more:?}");
            assert!(more.reason.contains(&label), "{more:?}");
        }
    }
}
