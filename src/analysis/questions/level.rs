//! Does the error change with power? The change of the error curve over the range ridden.

use super::answer::{Answer, Finding, Limit, Question, by_limits};
use super::ride::Source;
use crate::analysis::figure::{Figure, OURS};
use crate::text::number;

/// What `truing explain` says of it.
pub const FIGURE: Figure = Figure {
    id: "findings.level",
    label: "level",
    unit: "%",
    decimals: 1,
    definition: "Change of the error from the lowest to the highest power ridden, percentage points.",
    formula: "see the error curve",
    source: OURS,
    caveat: "Powers ridden in order cannot be told from warming up.",
    ..Figure::PLAIN
};

pub fn answer(source: &Source<'_>) -> Answer {
    let question = Question::Level;
    let none = "no block of held power is there";
    let Some(curve) = source.ride.table.error_curve_of(source.label) else {
        return Answer::not_ridden(question, source.label, none);
    };
    let level = &curve.level;
    if level.outcome == Finding::NotRidden {
        let why = match level.from_w {
            Some(watts) => format!("all blocks lie near {watts:.0} W"),
            None => none.to_owned(),
        };
        return Answer::not_ridden(question, source.label, &why);
    }
    let stated = source.ride.session.limits.level_percent;
    let outcome = match (stated, level.change_ci95_percent) {
        (Some(limit), Some(limits)) => by_limits(limits, limit),
        _ => level.outcome,
    };
    let mut answer = Answer::new(
        question,
        source.label,
        outcome,
        curve.level_sentence.clone(),
    );
    if let Some(change) = level.change_percent {
        answer = answer.with_value(change, level.change_ci95_percent, "%");
        let powers = (level.from_w.unwrap_or(0.0), level.to_w.unwrap_or(0.0));
        answer = answer.headed(format!(
            "changes its error by {} points from {:.0} to {:.0} W",
            number(change, 1, true).trim_start_matches('+'),
            powers.0,
            powers.1
        ));
    }
    if let (Some(change), Some(from_w), Some(to_w)) =
        (level.change_percent, level.from_w, level.to_w)
    {
        let change = number(change, 1, true);
        answer = answer.in_brief(format!("{change} points from {from_w:.0} to {to_w:.0} W"));
    }
    if let Some(limit) = level.limit_percent {
        answer = answer.against(Limit::stated_or_claim(stated, limit));
    }
    if answer.outcome == Finding::CannotTell {
        answer.would_tell = Some(question.rides().to_owned());
    }
    answer
        .in_segments(curve.blocks.iter().map(|b| b.segment))
        .from_parts(super::accuracy::parts(source, &curve.blocks))
}
