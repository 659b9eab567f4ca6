//! Is the work of the whole ride right? The bias over every second, with the budget of a verdict.
//!
//! What comes late is counted all the same, so that a lag cancels in a sum and only the meters' own
//! noise is left of the scatter: that of the held blocks, `u_block √(n_block/n)` (their median), where
//! there are any; else that of all seconds.

use super::super::error_curve::Block;
use super::super::segment::live;
use super::answer::{Answer, Finding, Limit, Place, Question, within};
use super::ride::{LOSS_WOULD, Source};
use super::words::plain;
use crate::analysis::figure::{Figure, OURS};
use crate::analysis::verdict::conformity::Outcome;
use crate::session::Kind;
use crate::stats::{MeanUncertainty, median_of};
use crate::text::number;

/// What `truing explain` says of it.
pub const FIGURE: Figure = Figure {
    id: "findings.work",
    label: "work",
    unit: "%",
    decimals: 1,
    definition: "Work of the whole ride against that of the references, after the expected loss.",
    formula: "100·(∫x/∫y − 1)",
    source: OURS,
    caveat: "Errors of either sign cancel in it.",
    ..Figure::PLAIN
};

/// Shortest ride that answers, s with both values.
const SHORTEST_S: usize = 600;

pub fn answer(source: &Source<'_>) -> Answer {
    let question = Question::Work;
    let ride = source.ride;
    let span = ride.aligned.grid.span();
    let whole = live(
        ride.session,
        ride.aligned,
        ride.found,
        span,
        Kind::SteadyBlock,
    );
    let mut verdicts = whole.verdict.into_iter().chain(whole.further_verdicts);
    let Some(verdict) = verdicts.find(|v| v.under_test == source.label) else {
        return Answer::not_ridden(question, source.label, "nothing is there to compare with");
    };
    let (Some(bias), Some(claim)) = (verdict.bias_percent, verdict.limit_percent) else {
        return Answer::not_ridden(question, source.label, "there is too little to compare");
    };
    if verdict.n < SHORTEST_S {
        let why = "less than ten minutes are there to compare";
        return Answer::not_ridden(question, source.label, why);
    }
    let expanded = match scatter(source, verdict.n) {
        Some(scatter) => {
            let level_w = verdict.level_w().unwrap_or(0.0);
            source
                .budget(scatter, span, level_w)
                .ok()
                .map(|b| b.expanded())
        }
        None => verdict.expanded_uncertainty_percent,
    };
    let Some(expanded) = expanded else {
        let why = "how well the references know the work is not stated";
        let would = "a stated claim of each reference";
        return Answer::cannot_tell(question, source.label, why, would);
    };
    let stated = ride.session.limits.work_percent;
    let limit = Limit::stated_or_claim(stated, claim);
    let agreed = source.loss.agreed(|loss| {
        let bias = source.loss.difference_anew(bias, loss);
        within(bias, expanded, limit.value)
    });
    let found = match verdict.outcome {
        Outcome::ReferencesDisagree => Finding::CannotTell,
        _ => agreed.unwrap_or(Finding::CannotTell),
    };
    let sentence = format!(
        "the whole ride reads {} ± {expanded:.1} %; {}",
        number(bias, 1, true),
        limit.said(&format!("±{} %", plain(limit.value)))
    );
    let would = match (verdict.outcome, agreed) {
        (Outcome::ReferencesDisagree, _) => "references that agree",
        (_, None) => LOSS_WOULD,
        (_, Some(_)) => "references of less uncertainty",
    };
    Answer::new(question, source.label, found, sentence)
        .with_value(bias, Some([bias - expanded, bias + expanded]), "%")
        .against(limit)
        .at(Some(Place {
            from_s: span.from_s,
            to_s: span.to_s,
        }))
        .unless_told(would)
        .in_brief(format!(
            "{} ± {expanded:.1} %; {}",
            number(bias, 1, true),
            limit.said(&format!("±{} %", plain(limit.value)))
        ))
        .headed(format!(
            "counts {:.1} % too {} work over the ride",
            bias.abs(),
            if bias < 0.0 { "little" } else { "much" }
        ))
}

/// Uncertainty that the scatter of `n` seconds leaves, %, from that of the held blocks.
fn scatter(source: &Source<'_>, n: usize) -> Option<MeanUncertainty> {
    let curve = source.ride.table.error_curve_of(source.label)?;
    let of_ride = |b: &Block| b.scatter_percent * (b.n as f64 / n as f64).sqrt();
    Some(MeanUncertainty {
        standard: median_of(curve.blocks.iter().map(of_ride).collect())?,
        dof: f64::INFINITY,
    })
}
