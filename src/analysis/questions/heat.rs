//! Does the scale move as it warms? The change of the error over the longest held stretch.
//!
//! At one power a moving zero and a moving scale look alike, `d = T₀ω + sP`: both are told as what they
//! would have to be, T₀ in N·m at the cadence ridden.

use std::f64::consts::TAU;

use super::answer::{Answer, Limit, Place, Question, within};
use super::ride::Source;
use super::words::plain;
use crate::analysis::figure::{Figure, OURS};
use crate::analysis::figures::SegmentFigures;
use crate::session::{Kind, Role};
use crate::stats::Interval;
use crate::stats::median_of;
use crate::text::number;
use crate::timeline::Span;

/// What `truing explain` says of it.
pub const FIGURE: Figure = Figure {
    id: "findings.heat",
    label: "heat",
    unit: "%",
    decimals: 1,
    definition: "Change of the error over the longest held stretch of a quarter of an hour or more, percentage points.",
    formula: "change of a cubic over the block; of a steady block the slope times the length",
    source: OURS,
    caveat: "At one power a moving zero and a moving scale look alike.",
    ..Figure::PLAIN
};

/// Shortest stretch that answers, s.
const SHORTEST_S: f64 = 900.0;

/// Power of a zero offset of `torque_nm` at `cadence_rpm`, W.
pub fn zero_w(torque_nm: f64, cadence_rpm: f64) -> f64 {
    torque_nm * TAU * cadence_rpm / 60.0
}

pub fn answer(source: &Source<'_>) -> Answer {
    let question = Question::Heat;
    let segments = source.ride.table.segments.iter();
    let held = segments.filter(|s| s.to_s - s.from_s >= SHORTEST_S);
    let changes = held.filter_map(|s| Some((s, change(s)?)));
    let longest = changes
        .filter(|_| source.is_first)
        .max_by(|a, b| (a.0.to_s - a.0.from_s).total_cmp(&(b.0.to_s - b.0.from_s)));
    let Some((segment, (change, [low, high]))) = longest else {
        let why = "no power is held for a quarter of an hour";
        return Answer::not_ridden(question, source.label, why);
    };
    let level_w = segment.agreement.first().and_then(|a| a.reference_mean_w);
    let level_w = level_w.filter(|w| *w > 0.0).unwrap_or(200.0);
    let stated = source.ride.session.limits.heat_percent;
    let limit = Limit::stated_or_claim(stated, source.claim_percent(level_w));
    let half = 0.5 * (high - low);
    let found = within(change, half, limit.value);
    let minutes = (segment.to_s - segment.from_s) / 60.0;
    let as_zero = if low > 0.0 || high < 0.0 {
        as_zero(source, segment, change * level_w / 100.0)
    } else {
        String::new()
    };
    let sentence = format!(
        "the error moves by {} ± {half:.1} points over {minutes:.0} min at {level_w:.0} W{as_zero}; {}",
        number(change, 1, true),
        limit.said(&format!("±{} %", plain(limit.value)))
    );
    Answer::new(question, source.label, found, sentence)
        .with_value(change, Some([low, high]), "%")
        .against(limit)
        .in_segments([segment.id])
        .at(Some(Place {
            from_s: segment.from_s,
            to_s: segment.to_s,
        }))
        .unless_told("a longer block at one power")
        .in_brief(format!(
            "{} ± {half:.1} points in {minutes:.0} min; {}",
            number(change, 1, true),
            limit.said(&format!("±{} %", plain(limit.value)))
        ))
        .also(zeros(source))
        .headed(format!(
            "drifts by {} points in {minutes:.0} min",
            number(change, 1, true).trim_start_matches('+')
        ))
}

/// How far the zeros of the source and of the references moved over the ride, where noted: beside the
/// answer, which no zero corrects.
fn zeros(source: &Source<'_>) -> Vec<String> {
    let heads = source.ride.table.streams.iter();
    let told = heads.filter(|head| head.label == source.label || head.role == Role::Reference);
    told.filter_map(|head| Some(head.zero.as_ref()?.sentence(&head.label)))
        .collect()
}

/// The change of the error over a segment, percentage points, with its 95 % limits.
fn change(segment: &SegmentFigures) -> Option<(f64, Interval)> {
    let seconds = segment.to_s - segment.from_s;
    match segment.kind {
        Kind::HeatSoak => {
            let soak = segment.of_kind.heat_soak.as_ref()?;
            Some((soak.change_percent?, soak.change_ci95_percent?))
        }
        Kind::SteadyBlock => {
            let steady = segment.of_kind.steady.as_ref()?;
            let level_w = segment
                .agreement
                .first()?
                .reference_mean_w
                .filter(|w| *w > 0.0)?;
            let times = 100.0 * seconds / 60.0 / level_w;
            let limits = steady.drift_ci95_w_per_min?;
            Some((
                times * steady.drift_w_per_min?,
                limits.map(|end| times * end),
            ))
        }
        _ => None,
    }
}

/// What a change of `watts` would be as a zero offset.
fn as_zero(source: &Source<'_>, segment: &SegmentFigures, watts: f64) -> String {
    let rows = source
        .ride
        .aligned
        .grid
        .rows(Span::new(segment.from_s, segment.to_s));
    let cadence = source.ride.cadence.as_deref().and_then(|c| c.get(rows));
    let turning = cadence
        .unwrap_or_default()
        .iter()
        .copied()
        .filter(|rpm| *rpm > 0.0);
    median_of(turning.collect()).map_or_else(String::new, |rpm| {
        format!(
            " (as a zero {:+.2} N·m; one power does not tell zero from scale)",
            watts / zero_w(1.0, rpm)
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_a_newton_metre_at_90_rpm() {
        // Computed beforehand: 4.712 W at any power.
        assert!((zero_w(0.5, 90.0) - 4.712).abs() < 5e-4);
    }
}
