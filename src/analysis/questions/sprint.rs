//! Does it show a sprint? Its best 5 s against those of the references at the source's site, and why
//! they differ.

use super::super::mean_max::best_mean;
use super::answer::{Answer, Finding, Limit, Place, Question, within_among};
use super::ride::{LOSS_WOULD, Source, claims_would};
use super::words::plain;
use crate::analysis::figure::Figure;
use crate::analysis::kinds::sprint::{Cause, Sprint};
use crate::session::Kind;
use crate::stats::{MeanUncertainty, t_quantile};
use crate::text::listed;
use crate::timeline::Span;

/// What `truing explain` says of it.
pub const FIGURE: Figure = Figure {
    id: "findings.sprint",
    label: "sprint",
    unit: "%",
    decimals: 1,
    definition: "Best 5 s of a sprint against the best 5 s of the references at the source's site.",
    formula: "100·(x₅/y₅ − 1), of the sprint that differs most",
    source: "common practice, no source",
    caveat: "A late sprint of the right height is fine here: the sentence tells how late.",
    ..Figure::PLAIN
};

/// Largest difference of the best 5 s, %.
const MOST_PERCENT: f64 = 5.0;
/// Length of the best effort, s.
const BEST_S: f64 = 5.0;
/// How late it may show, s.
const LATE_S: f64 = 4.0;
/// Scatter of a difference of best 5 s, % (one standard deviation): two meters that average strokes in
/// their own time. Judgement.
const SCATTER_PERCENT: f64 = 0.7;

/// The best 5 s of one sprint.
struct Effort<'a> {
    segment: usize,
    place: Place,
    figures: Option<&'a Sprint>,
    shown_w: f64,
    /// Of the references at the source's site.
    made_w: f64,
}

impl Effort<'_> {
    fn difference_percent(&self) -> f64 {
        100.0 * (self.shown_w / self.made_w - 1.0)
    }
}

pub fn answer(source: &Source<'_>) -> Answer {
    let question = Question::Sprint;
    let efforts = efforts(source);
    let largest = efforts.iter().max_by(|a, b| {
        let size = |effort: &Effort<'_>| effort.difference_percent().abs();
        size(a).total_cmp(&size(b))
    });
    let Some(shown) = largest else {
        return Answer::not_ridden(question, source.label, "no sprint is tagged");
    };
    let span = Span::new(shown.place.from_s, shown.place.to_s);
    let scatter = MeanUncertainty {
        standard: SCATTER_PERCENT,
        dof: f64::INFINITY,
    };
    let budget = match source.budget(scatter, span, shown.made_w) {
        Ok(budget) => budget,
        Err(silent) => {
            let why = format!(
                "shows {:.0} of {:.0} W over the best 5 s, and how well the references know it is not stated",
                shown.shown_w, shown.made_w
            );
            return Answer::cannot_tell(question, source.label, &why, &claims_would(&silent));
        }
    };
    let limit = Limit::stated_or(
        source.ride.session.limits.sprint_percent,
        MOST_PERCENT,
        Limit::PRACTICE,
    );
    let among = efforts.len() as f64;
    let expanded = budget.expanded();
    let jointly = t_quantile(1.0 - 0.025 / among, budget.effective_dof()) * budget.combined();
    let difference = shown.difference_percent();
    let decided = source.loss.agreed(|loss| {
        let difference = source.loss.difference_anew(difference, loss);
        within_among(difference, [expanded, jointly], limit.value)
    });
    let found = decided.unwrap_or(Finding::CannotTell);
    let why = shown.figures.map_or_else(Vec::new, causes);
    let why = match why.as_slice() {
        [] => String::new(),
        causes => format!(": {}", listed(causes)),
    };
    let sentence = format!(
        "shows {:.0} of {:.0} W over the best 5 s, {difference:+.1} ± {expanded:.1} %{why}; {}",
        shown.shown_w,
        shown.made_w,
        limit.said(&format!("±{} %", plain(limit.value)))
    );
    let would = if decided.is_none() {
        LOSS_WOULD
    } else {
        "references of less uncertainty"
    };
    Answer::new(question, source.label, found, sentence)
        .with_value(
            difference,
            Some([difference - expanded, difference + expanded]),
            "%",
        )
        .against(limit)
        .in_segments(efforts.iter().map(|e| e.segment))
        .at(Some(shown.place))
        .unless_told(would)
        .in_brief(format!(
            "{:.0} of {:.0} W over 5 s; limit {} %",
            shown.shown_w,
            shown.made_w,
            plain(limit.value)
        ))
        .headed(headline(shown))
}

fn efforts<'a>(source: &Source<'a>) -> Vec<Effort<'a>> {
    let ride = source.ride;
    let (Some(read), Some(delivered)) = (source.read(), source.delivered()) else {
        return Vec::new();
    };
    let grid = ride.aligned.grid;
    let rows_of_best = (BEST_S / grid.step_s).round().max(1.0) as usize;
    let sprints = ride
        .table
        .segments
        .iter()
        .filter(|s| s.kind == Kind::Sprint);
    sprints
        .filter_map(|segment| {
            let rows = grid.rows(Span::new(segment.from_s, segment.to_s));
            let best = |column: &[f64]| best_mean(column.get(rows.clone())?, rows_of_best);
            let (made_w, at) = best(&delivered)?;
            let (shown_w, _) = best(&read)?;
            // A dropout where the effort was made hides what the source would have shown.
            let reach = rows_of_best + (LATE_S / grid.step_s).round() as usize;
            let effort = read.get(rows.start + at..(rows.start + at + reach).min(rows.end))?;
            let is_seen = effort.iter().all(|w| w.is_finite());
            (made_w > 0.0 && is_seen).then_some(Effort {
                segment: segment.id,
                place: Place {
                    from_s: segment.from_s,
                    to_s: segment.to_s,
                },
                figures: segment.of_kind.sprint.as_ref().filter(|_| source.is_first),
                shown_w,
                made_w,
            })
        })
        .collect()
}

/// What makes the difference, as far as the fit tells.
fn causes(sprint: &Sprint) -> Vec<String> {
    let clipped = sprint.ceiling_w.map(|w| format!("clipped at {w:.0} W"));
    let lag_s = sprint
        .time_constant_s
        .or(sprint.averaging_s.map(|s| 0.5 * s));
    let late = sprint.delay_s.zip(lag_s).map(|(dead_s, lag_s)| {
        format!(
            "late by about {:.1} s (dead time {dead_s:.1} + lag {lag_s:.1})",
            dead_s + lag_s
        )
    });
    let late = late.map(|late| match sprint.cause {
        Some(Cause::NotDistinguishable) => format!(
            "{late}, or up to {:.0} kg of a flywheel left out, which these sprints do not distinguish",
            sprint.unaccounted_ci95_kg.map_or(f64::NAN, |[_, high]| high)
        ),
        _ => late,
    });
    let flywheel = sprint.unaccounted_kg.zip(sprint.unaccounted_ci95_kg);
    let flywheel = flywheel.filter(|_| sprint.leaves_flywheel_out());
    let flywheel = flywheel.map(|(kg, [low, high])| {
        format!("without the power into a flywheel of {kg:.0} kg ({low:.0} to {high:.0})")
    });
    let scaled = sprint.gain.filter(|gain| (gain - 1.0).abs() >= 0.02);
    let scaled = scaled.filter(|_| !sprint.leaves_flywheel_out());
    let scaled = scaled.map(|gain| format!("scaled by {gain:.2}"));
    [clipped, flywheel, scaled, late]
        .into_iter()
        .flatten()
        .collect()
}

fn headline(effort: &Effort<'_>) -> String {
    match effort.figures.and_then(|figures| figures.ceiling_w) {
        Some(ceiling_w) => format!("chops sprints at {ceiling_w:.0} W"),
        None => format!(
            "shows {:.0} W of a sprint of {:.0} W",
            effort.shown_w, effort.made_w
        ),
    }
}
