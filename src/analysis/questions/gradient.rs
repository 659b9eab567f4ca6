//! Does the gradient asked for arrive, and when? The share κ and the delay of
//! [`crate::analysis::kinds::slope`], over the whole ride.
//!
//! The open command of a trainer carries no rider's mass, so that κ·m is what is measured: a share takes
//! the mass that was entered in the controlling app ([simulation] of the session).

use super::super::slope::Missing;
use super::answer::{Answer, Finding, Limit, Part, Place, Question, at_most, by_limits, worst};
use super::ride::Source;
use super::words::plain;
use crate::analysis::figure::Figure;
use crate::analysis::kinds::slope::{MOST_OFF, Slope, SlopeStep, Untold};
use crate::session::Kind;
use crate::stats::Interval;

/// What `truing explain` says of it.
pub const FIGURE: Figure = Figure {
    id: "findings.gradient",
    label: "gradient",
    unit: "s",
    decimals: 1,
    definition: "How late the gradient asked for arrives at the wheel, by area; and which share of it, in %.",
    formula: "F = y/v = κ·m g sin α + c_r·m g cos α + ½C_w·v²; delay ∫(G₂ − G)/(G₂ − G₁) dt",
    source: "Martin et al. 1998, J Appl Biomech 14:276; the limits are common practice, no source",
    caveat: "The recorded grade may be the map's, before the app's difficulty setting; κ needs the mass entered in the app.",
    ..Figure::PLAIN
};

/// How late a gradient may arrive, s.
const MOST_S: f64 = 3.0;

pub fn answer(source: &Source<'_>) -> Answer {
    let question = Question::Gradient;
    let ride = source.ride;
    if source.basis.is_none() {
        let why = "no reference tells what was delivered";
        return Answer::not_ridden(question, source.label, why);
    }
    let found = match source.slope() {
        Ok(found) => found,
        Err(untold) => return unanswered(source, *untold),
    };
    let limits = &ride.session.limits;
    let share_limit = Limit::stated_or(limits.gradient_share, MOST_OFF, Limit::PRACTICE);
    let delay_limit = Limit::stated_or(limits.gradient_s, MOST_S, Limit::PRACTICE);
    let off = |[low, high]: Interval| [low - 1.0, high - 1.0];
    let arrives = found
        .share_ci95
        .map(|limits| by_limits(off(limits), share_limit.value));
    let late = found
        .delay_ci95_s
        .map(|limits| at_most(limits, delay_limit.value));
    // A share that nobody can tell, the mass not being stated, leaves the delay answered.
    let outcome = worst(arrives.into_iter().chain(late)).unwrap_or(Finding::CannotTell);
    let said = sentence(found, share_limit, delay_limit);
    let answer = Answer::new(question, source.label, outcome, said);
    let decides_late = late == Some(Finding::Fault) || arrives != Some(Finding::Fault);
    let answer = match (found.delay_s, found.share) {
        (Some(delay_s), _) if decides_late => answer
            .with_value(delay_s, found.delay_ci95_s, "s")
            .against(delay_limit)
            .in_brief(format!(
                "{delay_s:.1} s late; limit {} s",
                plain(delay_limit.value)
            ))
            .from_parts(parts(&found.steps, delay_limit.value)),
        (_, Some(share)) => answer
            .with_value(
                100.0 * (share - 1.0),
                found
                    .share_ci95
                    .map(|ends| off(ends).map(|end| 100.0 * end)),
                "%",
            )
            .against(Limit {
                value: 100.0 * share_limit.value,
                ..share_limit
            })
            .in_brief(format!("{:.0} % of the gradient arrive", 100.0 * share)),
        _ => answer,
    };
    let segments = ride.table.segments.iter();
    let ids = segments.filter(|s| s.kind == Kind::Slope).map(|s| s.id);
    answer
        .in_segments(ids)
        .at(place(found))
        .headed(headline(found, [arrives, late]))
}

fn unanswered(source: &Source<'_>, untold: Untold) -> Answer {
    let (question, why) = (Question::Gradient, untold.in_words());
    match untold {
        Untold::NotRecorded | Untold::Missing(Missing::Plateaus) => {
            Answer::not_ridden(question, source.label, why)
        }
        Untold::Missing(Missing::Speeds) => {
            let would = "three gradients, one at two speeds, or [simulation] in session.toml,";
            Answer::cannot_tell(question, source.label, why, would)
        }
        Untold::Speed => Answer::cannot_tell(question, source.label, why, "the wheel's speed"),
    }
}

fn sentence(found: &Slope, share_limit: Limit, delay_limit: Limit) -> String {
    let half = |[low, high]: Interval| 0.5 * (high - low);
    let share = found.share.zip(found.share_ci95).map(|(share, ends)| {
        format!(
            "{:.0} ± {:.0} % of the gradient arrive; limit {:.0} to {:.0} %",
            100.0 * share,
            100.0 * half(ends),
            100.0 * (1.0 - share_limit.value),
            100.0 * (1.0 + share_limit.value)
        )
    });
    let mass = || {
        let (kg, [low, high]) = found.mass_kg.zip(found.mass_ci95_kg)?;
        Some(format!(
            "the gradient of {kg:.0} kg arrives ({low:.0} to {high:.0}); the mass entered in the app, under \
             [simulation], would tell the share"
        ))
    };
    let late = found.delay_s.zip(found.delay_ci95_s);
    let late = late.map(|(delay_s, [low, high])| {
        format!(
            "{delay_s:.1} s late ({low:.1} to {high:.1}) over {} steps; {}",
            found.steps.len(),
            delay_limit.said(&format!("{} s", plain(delay_limit.value)))
        )
    });
    let flywheel = found.flywheel_kg.zip(found.flywheel_ci95_kg);
    let flywheel = flywheel.map(|(kg, [low, high])| {
        format!("the flywheel weighs {kg:.0} kg at the rim ({low:.0} to {high:.0})")
    });
    let said: Vec<String> = share
        .or_else(mass)
        .into_iter()
        .chain(late)
        .chain(bands(found))
        .chain(flywheel)
        .collect();
    said.join("; ")
}

/// Where one band of the gradient arrives otherwise than another: their limits stand apart.
fn bands(found: &Slope) -> Option<String> {
    let ends = |side: usize| found.bands.iter().map(move |band| band.mass_ci95_kg[side]);
    let apart = ends(0).fold(f64::MIN, f64::max) > ends(1).fold(f64::MAX, f64::min);
    let each = found.bands.iter().filter_map(|band| {
        Some(format!(
            "{:.0} % from {:.0} to {:.0} %",
            100.0 * band.share?,
            band.from_percent,
            band.to_percent
        ))
    });
    let each: Vec<String> = each.filter(|_| apart).collect();
    (!each.is_empty()).then(|| format!("by gradient: {}", each.join(", ")))
}

fn parts(steps: &[SlopeStep], limit: f64) -> Vec<Part> {
    let part = |step: &SlopeStep| Part {
        segment: 0,
        what: format!("{:.0} to {:.0} %", step.from_percent, step.to_percent),
        value: step.delay_s,
        interval: step.delay_ci95_s,
        limit,
        outcome: at_most(step.delay_ci95_s, limit),
    };
    steps.iter().map(part).collect()
}

/// The largest step.
fn place(found: &Slope) -> Option<Place> {
    let size = |s: &&SlopeStep| (s.to_percent - s.from_percent).abs();
    let step = found
        .steps
        .iter()
        .max_by(|a, b| size(a).total_cmp(&size(b)))?;
    Some(Place {
        from_s: step.at_s - 20.0,
        to_s: step.at_s + 40.0,
    })
}

fn headline(found: &Slope, [arrives, late]: [Option<Finding>; 2]) -> String {
    let late = found.delay_s.filter(|_| late == Some(Finding::Fault));
    let late = late.map(|delay_s| format!("shows a gradient {delay_s:.0} s late"));
    let share = found.share.filter(|_| arrives == Some(Finding::Fault));
    let share = share.map(|share| format!("passes on {:.0} % of the gradient", 100.0 * share));
    share
        .into_iter()
        .chain(late)
        .collect::<Vec<_>>()
        .join(" and ")
}
