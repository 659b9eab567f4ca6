//! Does the gradient asked for arrive, and when? The share κ and the delay of [`super::super::slope`].
//!
//! The open command of a trainer carries no rider's mass, so that κ·m is what is measured: a share takes
//! the mass that was entered in the controlling app ([simulation] of the session). The recorded speed
//! may be the app's own: over the cadence it must be constant within a gear.

use super::super::ride::{grade_percent, wheel_speed};
use super::super::slope::{Gradient, Inputs, Missing, Step, gradient};
use super::super::verdict::uncertainty::rectangular;
use super::answer::{Answer, Finding, Limit, Part, Place, Question, at_most, within, worst};
use super::ride::Source;
use super::words::plain;
use crate::analysis::figure::Figure;
use crate::stats::NORMAL_95;
use crate::stats::{MeanUncertainty, Sample};
use crate::timeline::Span;

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

/// How far the share may lie from 1.
const MOST_SHARE: f64 = 0.1;
/// How late a gradient may arrive, s.
const MOST_S: f64 = 3.0;
/// Spread of speed over cadence within a plateau, share of it, from which the speed is not the wheel's.
const MOST_SPREAD: f64 = 0.03;

/// The share with its limits.
struct Share {
    value: f64,
    half: f64,
}

pub fn answer(source: &Source<'_>) -> Answer {
    let question = Question::Gradient;
    let aligned = source.ride.aligned;
    let (Some(grade), Some(speed)) = (grade_percent(aligned), wheel_speed(aligned)) else {
        let why = "no gradient was asked for, or none is recorded with the wheel's speed";
        return Answer::not_ridden(question, source.label, why);
    };
    let Some(delivered) = source.delivered() else {
        return Answer::not_ridden(
            question,
            source.label,
            "no reference tells what was delivered",
        );
    };
    let given = source.ride.session.simulation;
    let inputs = Inputs {
        wheel_w: &delivered,
        speed_m_s: speed,
        grade_percent: grade,
        grid: aligned.grid,
    };
    let found = match gradient(&inputs, given) {
        Ok(found) => found,
        Err(Missing::Plateaus) => {
            let why = "no two gradients are kept for 40 s";
            return Answer::not_ridden(question, source.label, why);
        }
        Err(Missing::Speeds) => {
            let why = "the gradients are too few, or none of them was ridden at two speeds";
            let would = "three gradients, one at two speeds, or [simulation] in session.toml,";
            return Answer::cannot_tell(question, source.label, why, would);
        }
    };
    if !is_of_the_wheel(source, &inputs, &found) {
        let why =
            "the recorded speed does not keep its ratio to the cadence: it may be the app's own";
        return Answer::cannot_tell(question, source.label, why, "the wheel's speed");
    }
    let limits = &source.ride.session.limits;
    let share_limit = Limit::stated_or(limits.gradient_share, MOST_SHARE, Limit::PRACTICE);
    let delay_limit = Limit::stated_or(limits.gradient_s, MOST_S, Limit::PRACTICE);
    let share = given.and_then(|given| share(source, &found, given.mass_kg));
    let arrives = share
        .as_ref()
        .map(|share| within(share.value - 1.0, share.half, share_limit.value));
    let late = found
        .delay
        .map(|(_, limits)| at_most(limits, delay_limit.value));
    // A share that nobody can tell, the mass not being stated, leaves the delay answered.
    let outcome = worst(arrives.into_iter().chain(late)).unwrap_or(Finding::CannotTell);
    let mut said = vec![match &share {
        Some(share) => format!(
            "{:.0} ± {:.0} % of the gradient arrive; limit {:.0} to {:.0} %",
            100.0 * share.value,
            100.0 * share.half,
            100.0 * (1.0 - share_limit.value),
            100.0 * (1.0 + share_limit.value)
        ),
        None => format!(
            "the gradient of {:.0} kg arrives ({:.0} to {:.0}); the mass entered in the app, under \
             [simulation], would tell the share",
            found.mass_kg, found.mass_ci95_kg[0], found.mass_ci95_kg[1]
        ),
    }];
    said.extend(found.delay.map(|(delay_s, [low, high])| {
        format!(
            "{delay_s:.1} s late ({low:.1} to {high:.1}) over {} steps; {}",
            found.steps.len(),
            delay_limit.said(&format!("{} s", plain(delay_limit.value)))
        )
    }));
    let decides_late = late == Some(Finding::Fault) || arrives != Some(Finding::Fault);
    let answer = Answer::new(question, source.label, outcome, said.join("; "));
    let answer = match (found.delay, &share) {
        (Some((delay_s, limits)), _) if decides_late => answer
            .with_value(delay_s, Some(limits), "s")
            .against(delay_limit)
            .in_brief(format!(
                "{delay_s:.1} s late; limit {} s",
                plain(delay_limit.value)
            ))
            .from_parts(parts(&found.steps, delay_limit.value)),
        (_, Some(share)) => {
            let percent = 100.0 * (share.value - 1.0);
            let half = 100.0 * share.half;
            answer
                .with_value(percent, Some([percent - half, percent + half]), "%")
                .against(Limit {
                    value: 100.0 * share_limit.value,
                    ..share_limit
                })
                .in_brief(format!(
                    "{:.0} % of the gradient arrive",
                    100.0 * share.value
                ))
        }
        _ => answer,
    };
    let segments = source.ride.table.segments.iter();
    let ids = segments
        .filter(|s| s.kind == crate::session::Kind::Slope)
        .map(|s| s.id);
    answer.in_segments(ids).at(place(&found)).headed(headline(
        &found,
        share.as_ref(),
        [arrives, late],
    ))
}

/// κ with what the references and the loss leave open.
fn share(source: &Source<'_>, found: &Gradient, mass_kg: f64) -> Option<Share> {
    let (first, last) = (found.plateaus.first()?, found.plateaus.last()?);
    let [low, high] = found.mass_ci95_kg;
    let value = found.mass_kg / mass_kg;
    let scatter = MeanUncertainty {
        standard: 100.0 * 0.5 * (high - low) / found.mass_kg.abs() / NORMAL_95,
        dof: f64::INFINITY,
    };
    let level_w = found.plateaus.iter().map(|p| p.force_n * p.speed_m_s);
    let level_w = level_w.fold(0.0, f64::max).max(1.0);
    let span = Span::new(first.from_s, last.to_s);
    let budget = source.budget(scatter, span, level_w).ok()?;
    let loss = match source.loss.is_open() {
        true => rectangular(source.loss.plus_minus()),
        false => 0.0,
    };
    let standard = budget.combined().hypot(loss);
    Some(Share {
        value,
        half: value.abs() * NORMAL_95 * standard / 100.0,
    })
}

/// Whether speed keeps its ratio to the cadence of the references on most plateaus.
fn is_of_the_wheel(source: &Source<'_>, inputs: &Inputs<'_>, found: &Gradient) -> bool {
    let Some(cadence) = source.ride.cadence.as_deref() else {
        return true;
    };
    let keeps = |from_s: f64, to_s: f64| {
        let rows = inputs.grid.rows(Span::new(from_s + 15.0, to_s));
        let ratios = rows.filter_map(|row| {
            let rpm = cadence.get(row).copied().filter(|rpm| *rpm > 30.0)?;
            inputs.speed_m_s.get(row).map(|v| v / rpm)
        });
        Sample::present(ratios)
            .is_none_or(|ratios| ratios.robust_sd() <= MOST_SPREAD * ratios.median().abs())
    };
    let kept = found
        .plateaus
        .iter()
        .filter(|p| keeps(p.from_s, p.to_s))
        .count();
    2 * kept >= found.plateaus.len()
}

fn parts(steps: &[Step], limit: f64) -> Vec<Part> {
    let part = |step: &Step| Part {
        segment: 0,
        what: format!("{:.0} to {:.0} %", step.from_percent, step.to_percent),
        value: step.delay_s,
        interval: [step.delay_s, step.delay_s],
        limit,
        outcome: match step.delay_s.abs() <= limit {
            true => Finding::Fine,
            false => Finding::CannotTell,
        },
    };
    steps.iter().map(part).collect()
}

/// The largest step.
fn place(found: &Gradient) -> Option<Place> {
    let size = |s: &&Step| (s.to_percent - s.from_percent).abs();
    let step = found
        .steps
        .iter()
        .max_by(|a, b| size(a).total_cmp(&size(b)))?;
    Some(Place {
        from_s: step.at_s - 20.0,
        to_s: step.at_s + 40.0,
    })
}

fn headline(
    found: &Gradient,
    share: Option<&Share>,
    [arrives, late]: [Option<Finding>; 2],
) -> String {
    let late = found.delay.filter(|_| late == Some(Finding::Fault));
    let late = late.map(|(delay_s, _)| format!("shows a gradient {delay_s:.0} s late"));
    let share = share.filter(|_| arrives == Some(Finding::Fault));
    let share =
        share.map(|share| format!("passes on {:.0} % of the gradient", 100.0 * share.value));
    share
        .into_iter()
        .chain(late)
        .collect::<Vec<_>>()
        .join(" and ")
}
