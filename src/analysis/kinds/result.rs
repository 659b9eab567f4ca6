//! What a segment shows by the measure of its own kind, in a few words: of a sprint its height, how
//! late it is and what cuts it, of a coast what is reported while nobody pedals.

use crate::analysis::figures::SegmentFigures;
use crate::analysis::kinds::sprint::Cause;
use crate::analysis::verdict::figures::Verdict;
use crate::session::Kind;
use crate::stats::Interval;
use crate::text::{number, plural, span};

/// The result of `segment` for its first source under test, whose figures those of its kind are;
/// empty where there is nothing to tell.
pub fn in_words(segment: &SegmentFigures) -> String {
    let told = match segment.kind {
        Kind::SteadyBlock => delivered(segment, segment.verdict.as_ref()),
        Kind::Sprint => sprint(segment),
        Kind::Ramp => ramp(segment),
        Kind::GearChange => gear_change(segment),
        Kind::Coast => coast(segment),
        Kind::HeatSoak => heat_soak(segment),
        Kind::Slope => slope(segment),
        _ => None,
    };
    told.unwrap_or_default()
}

/// The same for the source of `verdict`, one that is not the first: only a set point is held for
/// every source alike.
pub fn of_further(segment: &SegmentFigures, verdict: &Verdict) -> String {
    match segment.kind {
        Kind::SteadyBlock => delivered(segment, Some(verdict)).unwrap_or_default(),
        _ => String::new(),
    }
}

/// "delivers 115 of 120 W": the references at the source's site against the set point.
fn delivered(segment: &SegmentFigures, verdict: Option<&Verdict>) -> Option<String> {
    let set_point_w = segment.set_point_w?;
    let delivered_w = delivered_w(segment, verdict?)?;
    Some(format!(
        "delivers {} of {} W",
        number(delivered_w, 0, false),
        number(set_point_w, 0, false)
    ))
}

/// Mean of the reference carried to the source's site, W.
fn delivered_w(segment: &SegmentFigures, verdict: &Verdict) -> Option<f64> {
    let mut pairs = segment.agreement.iter();
    let pair = pairs.find(|pair| {
        pair.under_test == verdict.under_test && pair.reference == verdict.reference
    })?;
    Some(pair.reference_mean_w? + pair.bias_w? - verdict.bias_w?)
}

/// "best second 620 of 749 W, 2.1 s late, clipped at 619 W"; the references less the loss expected.
fn sprint(segment: &SegmentFigures) -> Option<String> {
    let sprint = segment.of_kind.sprint.as_ref()?;
    let shown_w = sprint.peaks.first()?.best_1s_w?;
    let late = sprint.late_s().map(|late_s| {
        if late_s < 0.0 {
            format!("{} s early", number(-late_s, 1, false))
        } else {
            format!("{} s late", number(late_s, 1, false))
        }
    });
    let late = late.map(|late| match sprint.cause {
        Some(Cause::NotDistinguishable) => format!("{late} or a flywheel left out"),
        _ => late,
    });
    let flywheel = sprint
        .unaccounted_kg
        .filter(|_| sprint.leaves_flywheel_out());
    let flywheel = flywheel.map(|kg| format!("a flywheel of {} kg left out", number(kg, 0, false)));
    let clipped = sprint.ceiling_w;
    let clipped = clipped.map(|w| format!("clipped at {} W", number(w, 0, false)));
    let height = match sprint.shortfall_w {
        Some(short_w) => format!(
            "best second {} of {} W",
            number(shown_w, 0, false),
            number(shown_w + short_w, 0, false)
        ),
        None => format!("best second {} W", number(shown_w, 0, false)),
    };
    Some(joined([Some(height), late, flywheel, clipped]))
}

/// "settles 2.4 s after the rider at most, 5 steps".
fn ramp(segment: &SegmentFigures) -> Option<String> {
    let ramp = segment.of_kind.ramp.as_ref()?;
    let steps = ramp.steps.iter();
    let later = steps.filter_map(|step| Some(step.settling_s? - step.reference_settling_s?));
    let settles = later.reduce(f64::max).map(|s| {
        format!(
            "settles {} s after the rider at most, {}",
            number(s.max(0.0), 1, false),
            plural(ramp.steps.len(), "step")
        )
    });
    let lag = ramp.lag_s;
    let lag = lag.map(|s| format!("lag {} s on slow changes", number(s, 1, false)));
    Some(joined([settles, lag]))
}

/// "shifts by +1.2 points from 8.6 to 10.6 m/s": the change of gear with the largest shift, what the chain
/// shifts by the known sprockets taken off. Its limits
/// stand in the answer, which takes off what the drivetrain's loss changes from gear to gear.
fn gear_change(segment: &SegmentFigures) -> Option<String> {
    let changes = segment.of_kind.gear_change.as_ref()?.changes.iter();
    let size = |shift: Option<f64>| shift.map_or(-1.0, f64::abs);
    let largest =
        changes.max_by(|a, b| size(a.blamed_percent()).total_cmp(&size(b.blamed_percent())))?;
    let shift = format!("shifts by {}", number(largest.blamed_percent()?, 1, true));
    let speeds = largest.speed_before_mps.zip(largest.speed_after_mps);
    Some(match speeds {
        Some((before, after)) => format!(
            "{shift} points from {} to {} m/s",
            number(before, 1, false),
            number(after, 1, false)
        ),
        None => format!("{shift} points at most"),
    })
}

/// "91 ± 2 % of the gradient, 1.6 s late"; without the mass entered in the app "the gradient of 77 kg".
fn slope(segment: &SegmentFigures) -> Option<String> {
    let slope = segment.of_kind.slope.as_ref()?;
    let half = |[low, high]: Interval| 0.5 * (high - low);
    let share = slope.share.zip(slope.share_ci95).map(|(share, ends)| {
        format!(
            "{} ± {} % of the gradient",
            number(100.0 * share, 0, false),
            number(100.0 * half(ends), 0, false)
        )
    });
    let mass = || {
        Some(format!(
            "the gradient of {} kg",
            number(slope.mass_kg?, 0, false)
        ))
    };
    let late = slope
        .delay_s
        .map(|s| format!("{} s late", number(s, 1, false)));
    Some(joined([share.or_else(mass), late])).filter(|said| !said.is_empty())
}

/// "184 W at most, gone after 11 s".
fn coast(segment: &SegmentFigures) -> Option<String> {
    let coast = segment.of_kind.coast.as_ref()?;
    let highest_w = coast.phantom_max_w?;
    if highest_w < 0.5 {
        return Some(format!(
            "nothing in {} s",
            number(coast.coasted_s, 0, false)
        ));
    }
    let gone = match coast.time_to_zero_s {
        Some(s) => format!("gone after {} s", number(s, 0, false)),
        None => format!("not gone in {} s", number(coast.coasted_s, 0, false)),
    };
    Some(format!("{} W at most, {gone}", number(highest_w, 0, false)))
}

/// "moves by -2.9 ± 0.7 points over 50 min".
fn heat_soak(segment: &SegmentFigures) -> Option<String> {
    let soak = segment.of_kind.heat_soak.as_ref()?;
    let change = plus_minus(soak.change_percent?, soak.change_ci95_percent);
    let length = span(segment.to_s - segment.from_s);
    Some(format!("moves by {change} points over {length}"))
}

/// A value with the half-width of its limits.
fn plus_minus(value: f64, limits: Option<Interval>) -> String {
    let value = number(value, 1, true);
    match limits {
        Some([low, high]) => format!("{value} ± {}", number(0.5 * (high - low), 1, false)),
        None => value,
    }
}

fn joined<const N: usize>(parts: [Option<String>; N]) -> String {
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    parts.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::kinds::ByKind;
    use crate::analysis::kinds::coast::Coast;
    use crate::analysis::kinds::gear_change::{GearChange, GearShift};

    fn coasted(time_to_zero_s: Option<f64>, phantom_max_w: f64) -> String {
        let coast = Coast {
            phantom_mean_w: None,
            phantom_max_w: Some(phantom_max_w),
            time_to_zero_s,
            coasted_s: 19.0,
        };
        in_words(&SegmentFigures {
            of_kind: ByKind {
                coast: Some(coast),
                ..ByKind::default()
            },
            ..SegmentFigures::bare(1, Kind::Coast, 0.0, 20.0)
        })
    }

    #[test]
    fn a_coast_tells_what_is_left_and_when_it_is_gone() {
        assert_eq!(coasted(Some(11.0), 184.4), "184 W at most, gone after 11 s");
        assert_eq!(coasted(None, 184.4), "184 W at most, not gone in 19 s");
        assert_eq!(coasted(Some(0.0), 0.0), "nothing in 19 s");
    }

    #[test]
    fn the_largest_shift_of_a_series_of_gears_is_told() {
        let shift = |percent: f64, speed_after_mps: Option<f64>| GearShift {
            shift_percent: Some(percent),
            shift_ci95_percent: Some([percent - 1.4, percent + 1.4]),
            speed_before_mps: Some(8.6),
            speed_after_mps,
            at_s: 60.0,
            bias_before_percent: None,
            bias_before_ci95_percent: None,
            bias_after_percent: None,
            bias_after_ci95_percent: None,
            peak_deviation_w: None,
            recovery_s: None,
            gear_before: None,
            gear_after: None,
            chain_shift_percent: None,
            net_shift_percent: None,
        };
        let told = |changes: Vec<GearShift>| {
            in_words(&SegmentFigures {
                of_kind: ByKind {
                    gear_change: Some(GearChange { changes }),
                    ..ByKind::default()
                },
                ..SegmentFigures::bare(1, Kind::GearChange, 0.0, 300.0)
            })
        };
        let series = vec![shift(0.9, Some(8.6)), shift(-3.9, Some(10.6))];
        assert_eq!(told(series), "shifts by -3.9 points from 8.6 to 10.6 m/s");
        assert_eq!(
            told(vec![shift(0.9, None)]),
            "shifts by +0.9 points at most"
        );
        assert_eq!(told(Vec::new()), "");
    }

    #[test]
    fn a_sprint_of_the_sample_is_told_with_its_loss_and_delay() {
        let table = crate::export::table::sample::table();
        assert_eq!(
            in_words(&table.segments[1]),
            "best second 812 of 900 W, 2.0 s late"
        );
        // A block without a set point has none to hold.
        assert_eq!(
            in_words(&SegmentFigures {
                set_point_w: None,
                ..table.segments[0].clone()
            }),
            ""
        );
        // 8.8 W above the consensus, 8.75 W of it net.
        assert_eq!(in_words(&table.segments[0]), "delivers 250 of 250 W");
    }
}
