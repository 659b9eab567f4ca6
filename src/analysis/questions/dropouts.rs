//! Is the recording complete? Gaps, frozen values and false zeros of the source.

use super::answer::{Answer, Finding, Limit, Place, Question};
use super::ride::Source;
use super::words::plain;
use crate::analysis::dropout::{Dropout, DropoutKind};
use crate::analysis::figure::Figure;
use crate::stats::rate_ci95;
use crate::text::listed;

/// What `truing explain` says of it.
pub const FIGURE: Figure = Figure {
    id: "findings.dropouts",
    label: "dropouts an hour",
    unit: "1/h",
    decimals: 1,
    definition: "Gaps, frozen values and false zeros of the source in an hour, with exact limits.",
    formula: "n/T; ½χ²(0.025; 2n)/T to ½χ²(0.975; 2n + 2)/T",
    source: "Garwood 1936, Biometrika 28:437 (from memory); the limit is common practice",
    caveat: "One or two are fine in any ride.",
    ..Figure::PLAIN
};

/// One or two in a ride of an hour are fine.
const MOST_AN_HOUR: f64 = 2.0;
/// So many are fine in any ride.
const FINE: usize = 2;
/// More of the ride must not be missing, %.
const MOST_PERCENT: f64 = 1.0;
/// Less than this decides by no share: in a ride of minutes a few seconds are a percent, s.
const LEAST_LOST_S: f64 = 10.0;

pub fn answer(source: &Source<'_>) -> Answer {
    let question = Question::Dropouts;
    let stream = source.ride.table.streams.get(source.index);
    let (Some(stream), Some(_)) = (stream, source.read()) else {
        return Answer::not_ridden(question, source.label, "the source carries no power");
    };
    let dropouts = &stream.dropouts;
    let hours = source.ride.table.session.duration_s / 3600.0;
    let lost_s: f64 = dropouts.iter().map(|d| d.to_s - d.from_s).sum();
    let share = 100.0 * lost_s / (3600.0 * hours);
    let limit = Limit::stated_or(
        source.ride.session.limits.dropouts_per_hour,
        MOST_AN_HOUR,
        Limit::PRACTICE,
    );
    let interval = rate_ci95(dropouts.len(), hours);
    let rate = dropouts.len() as f64 / hours;
    let is_much = share > MOST_PERCENT && lost_s >= LEAST_LOST_S;
    let found = if interval[0] > limit.value || is_much {
        Finding::Fault
    } else if dropouts.len() <= FINE || rate <= limit.value {
        Finding::Fine
    } else {
        Finding::CannotTell
    };
    let said = limit.said(&format!("{} an hour", plain(limit.value)));
    // A few decide by their number alone: an hour or two cannot tell a rate.
    let by_number = found == Finding::Fine && interval[1] > limit.value;
    let sentence = match dropouts.len() {
        0 => format!("no gap, no frozen value, no false zero; {said}"),
        1..=FINE if by_number => format!(
            "{}, {lost_s:.0} s or {share:.1} % of the ride: one or two are fine in any ride",
            counted(dropouts)
        ),
        _ => format!(
            "{}, {lost_s:.0} s or {share:.1} % of the ride: {rate:.1} an hour ({:.1} to {:.1}); {said}",
            counted(dropouts),
            interval[0],
            interval[1]
        ),
    };
    let longest = dropouts
        .iter()
        .max_by(|a, b| (a.to_s - a.from_s).total_cmp(&(b.to_s - b.from_s)));
    Answer::new(question, source.label, found, sentence)
        .with_value(rate, Some(interval).filter(|_| !by_number), "1/h")
        .against(limit)
        .at(longest.map(|d| Place {
            from_s: d.from_s,
            to_s: d.to_s,
        }))
        .unless_told("a longer ride")
        .in_brief(format!("{rate:.1} an hour; limit {}", plain(limit.value)))
        .headed(format!(
            "drops out {} times, {share:.1} % of the ride",
            dropouts.len()
        ))
}

/// "3 gaps and 1 frozen value".
fn counted(dropouts: &[Dropout]) -> String {
    let names = [
        (DropoutKind::Gap, "gap", "gaps"),
        (DropoutKind::Freeze, "frozen value", "frozen values"),
        (DropoutKind::Zero, "false zero", "false zeros"),
    ];
    let parts = names.into_iter().filter_map(|(kind, one, many)| {
        match dropouts.iter().filter(|d| d.kind == kind).count() {
            0 => None,
            1 => Some(format!("1 {one}")),
            n => Some(format!("{n} {many}")),
        }
    });
    listed(&parts.collect::<Vec<_>>())
}
