//! Is it as accurate in every gear and at every wheel speed? The shift of the bias at each change of
//! gear.
//!
//! A chain loses less on larger sprockets: between 50/28 and 50/12 some 1.3 points by a model in which
//! the loss goes with 1/N_front + 1/N_rear (Lodge & Burgess 2002; the proportionality is a model). A
//! perfect source behind the chain shifts by that, too. Where sprockets and loss are known it is taken off
//! each shift before anything is blamed on wheel speed, and its whole size counts as a rectangular
//! half-width; where they are not, half of what a chain usually takes does.

use super::super::verdict::uncertainty::rectangular;
use super::answer::{Answer, Finding, Limit, Part, Place, Question, within, within_among, worst};
use super::ride::Source;
use super::words::plain;
use crate::analysis::figure::Figure;
use crate::analysis::kinds::gear_change::GearShift;
use crate::stats::NORMAL_95;
use crate::stats::normal_quantile;
use crate::text::clock_time;
use crate::text::number;

/// What `truing explain` says of it.
pub const FIGURE: Figure = Figure {
    id: "findings.gear",
    label: "gear",
    unit: "%",
    decimals: 1,
    definition: "Largest shift of the error at a change of gear, percentage points.",
    formula: "bias after − bias before, less what the chain shifts by where sprockets and loss are stated (its size a half-width); else half of a chain's usual change as a half-width",
    source: "Lodge & Burgess 2002 for the chain; the proportionality is a model",
    caveat: "Sprockets that are neither recorded nor listed under [gears] cannot be allowed for.",
    ..Figure::PLAIN
};

/// Half of what a chain's loss changes over a usual series of gears, percentage points.
const CHAIN_POINTS: f64 = 0.65;

/// One shift with its limits, percentage points.
struct Shift<'a> {
    segment: usize,
    change: &'a GearShift,
    shift: f64,
    half: f64,
    /// What the chain shifted, taken off.
    chain: Option<f64>,
}

pub fn answer(source: &Source<'_>) -> Answer {
    let question = Question::Gear;
    let shifts = shifts(source);
    let largest = shifts
        .iter()
        .max_by(|a, b| a.shift.abs().total_cmp(&b.shift.abs()));
    let Some(shown) = largest else {
        let why = "no change of gear at a held power is tagged";
        return Answer::not_ridden(question, source.label, why);
    };
    let level_w = source
        .ride
        .table
        .segments
        .iter()
        .find(|s| s.id == shown.segment);
    let level_w = level_w.and_then(|s| s.agreement.first()?.reference_mean_w);
    let claim = source.claim_percent(level_w.filter(|w| *w > 0.0).unwrap_or(200.0));
    let limit = Limit::stated_or_claim(source.ride.session.limits.gear_percent, claim);
    let jointly = normal_quantile(1.0 - 0.025 / shifts.len() as f64) / NORMAL_95;
    let finding = |s: &Shift<'_>| within_among(s.shift, [s.half, jointly * s.half], limit.value);
    let found = worst(shifts.iter().map(finding)).unwrap_or(Finding::NotRidden);
    let speeds = shown
        .change
        .speed_before_mps
        .zip(shown.change.speed_after_mps);
    let speeds = speeds.map_or_else(String::new, |(before, after)| {
        format!(", wheel speed from {before:.1} to {after:.1} m/s")
    });
    let most = if shifts.len() > 1 { " at most" } else { "" };
    let chain = shown.chain.map_or_else(String::new, |chain| {
        let gears = shown
            .change
            .gear_before
            .as_ref()
            .zip(shown.change.gear_after.as_ref());
        let gears = gears.map_or_else(String::new, |(a, b)| format!(" from {a} to {b}"));
        format!(
            " ({} points that the chain shifts{gears} are taken off)",
            number(chain, 1, true)
        )
    });
    let sentence = format!(
        "the error shifts by {} ± {:.1} points{most}, at {}{speeds}{chain}; {}",
        number(shown.shift, 1, true),
        shown.half,
        clock_time(shown.change.at_s),
        limit.said(&format!("±{} %", plain(limit.value)))
    );
    let mut ids: Vec<usize> = shifts.iter().map(|s| s.segment).collect();
    ids.dedup();
    Answer::new(question, source.label, found, sentence)
        .with_value(
            shown.shift,
            Some([shown.shift - shown.half, shown.shift + shown.half]),
            "%",
        )
        .against(limit)
        .in_segments(ids)
        .at(Some(Place {
            from_s: shown.change.at_s - 30.0,
            to_s: shown.change.at_s + 30.0,
        }))
        .unless_told("two minutes in each gear, or a second series")
        .in_brief(format!(
            "{} ± {:.1} points; {}",
            number(shown.shift, 1, true),
            shown.half,
            limit.said(&format!("±{} %", plain(limit.value)))
        ))
        .from_parts(shifts.iter().map(|s| part(s, limit.value)).collect())
        .headed(format!(
            "shifts its error by {} points from gear to gear",
            number(shown.shift, 1, true).trim_start_matches('+')
        ))
}

fn part(shift: &Shift<'_>, limit: f64) -> Part {
    Part {
        segment: shift.segment,
        what: clock_time(shift.change.at_s),
        value: shift.shift,
        interval: [shift.shift - shift.half, shift.shift + shift.half],
        limit,
        outcome: within(shift.shift, shift.half, limit),
    }
}

fn shifts<'a>(source: &Source<'a>) -> Vec<Shift<'a>> {
    if !source.is_first {
        return Vec::new();
    }
    let half_of_chain = |taken_off: Option<f64>| match taken_off {
        Some(points) => NORMAL_95 * rectangular(points.abs() * unsure(source)),
        None if source.crosses_chain => NORMAL_95 * rectangular(CHAIN_POINTS),
        None => 0.0,
    };
    let segments = source.ride.table.segments.iter();
    let changes =
        segments.filter_map(|segment| Some((segment.id, segment.of_kind.gear_change.as_ref()?)));
    changes
        .flat_map(|(id, gear)| gear.changes.iter().map(move |change| (id, change)))
        .filter_map(|(segment, change)| {
            let [low, high] = change.shift_ci95_percent?;
            Some(Shift {
                segment,
                change,
                shift: change.blamed_percent()?,
                half: (0.5 * (high - low)).hypot(half_of_chain(change.chain_shift_percent)),
                chain: change.chain_shift_percent,
            })
        })
        .collect()
}

/// By how much of its own size the chain's shift may be wrong: by all of it for the model, by more where
/// the stated loss is known no better.
fn unsure(source: &Source<'_>) -> f64 {
    let stated = source.loss.taken_off();
    (stated.plus_minus / stated.percent).abs().max(1.0)
}
