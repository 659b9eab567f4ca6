//! Is its cadence honest? The share of seconds in which it lies further from the references' cadence
//! than they range within 3 s, by more than 5 rpm (EN 957-5 class A, second-hand); how much rougher it
//! runs stands beside it.
//!
//! Wrong seconds come in runs, so the limits of the share are those of a count of runs (Poisson).

use super::answer::{Answer, Limit, Place, Question, at_most};
use super::ride::Source;
use super::words::plain;
use crate::analysis::figure::Figure;
use crate::recording::Channel;
use crate::stats::{finite, median_of, rate_ci95};

/// What `truing explain` says of it.
pub const FIGURE: Figure = Figure {
    id: "findings.cadence",
    label: "cadence honesty",
    unit: "%",
    decimals: 1,
    definition: "Share of seconds in which cadence lies more than 5 rpm outside what the references' ranges over within 3 s; how rough it runs stands beside it.",
    formula: "100·n(off)/n; limits of a count of runs; roughness: RMS of successive differences over that of the reference",
    source: "±5 rpm: EN 957-5 class A, second-hand; the share is common practice",
    caveat: "A constant error below 5 rpm is fine here.",
    ..Figure::PLAIN
};

/// How far off a second may be, rpm.
const OFF_RPM: f64 = 5.0;
/// Over what time a lag is forgiven, s.
const REACH_S: f64 = 3.0;
/// Largest share of seconds, %.
const MOST_PERCENT: f64 = 5.0;
/// Fewest seconds compared.
const FEWEST: usize = 60;

/// The seconds compared.
struct Compared {
    n: usize,
    off: Vec<usize>,
    runs: usize,
    /// Median distance of those that are off, rpm.
    by_rpm: f64,
    roughness: Option<f64>,
}

pub fn answer(source: &Source<'_>) -> Answer {
    let question = Question::Cadence;
    let Some(own) = source.column(Channel::Cadence) else {
        return Answer::not_ridden(question, source.label, "the source records no cadence");
    };
    let Some(reference) = source.ride.cadence.as_deref() else {
        return Answer::not_ridden(question, source.label, "no reference records cadence");
    };
    let grid = source.ride.aligned.grid;
    let found = compared(own, reference, grid.step_s);
    if found.n < FEWEST {
        let why = "both record cadence in less than a minute of pedalling";
        return Answer::cannot_tell(question, source.label, why, "a longer ride");
    }
    let n = found.n as f64;
    let share = 100.0 * found.off.len() as f64 / n;
    // Seconds of a usual run, at least one.
    let run_length = (found.off.len() as f64 / found.runs.max(1) as f64).max(1.0);
    let interval = rate_ci95(found.runs, n / (100.0 * run_length)).map(|end| end.min(100.0));
    let limit = Limit::stated_or(
        source.ride.session.limits.cadence_percent,
        MOST_PERCENT,
        "±5 rpm as in EN 957-5 class A, second-hand; the share is common practice",
    );
    let rough = found.roughness.map_or_else(String::new, |times| {
        format!(", and runs {times:.1} times as rough as the references'")
    });
    let by = match found.off.is_empty() {
        true => String::new(),
        false => format!(", by {:.0} rpm as a rule", found.by_rpm),
    };
    let sentence = format!(
        "off by more than {OFF_RPM:.0} rpm in {share:.1} % of seconds ({:.1} to {:.1}){by}{rough}; limit {} % of seconds",
        interval[0],
        interval[1],
        plain(limit.value)
    );
    let outcome = at_most(interval, limit.value);
    Answer::new(question, source.label, outcome, sentence)
        .with_value(share, Some(interval), "%")
        .against(limit)
        .at(longest_run(&found.off).map(|(from, to)| Place {
            from_s: grid.time_s(from),
            to_s: grid.time_s(to + 1),
        }))
        .unless_told("a longer ride")
        .in_brief(format!(
            "off in {share:.1} % of seconds; limit {} %",
            plain(limit.value)
        ))
        .headed(format!(
            "has its cadence wrong by {:.0} rpm in {share:.0} % of seconds",
            found.by_rpm
        ))
}

fn compared(own: &[f64], reference: &[f64], step_s: f64) -> Compared {
    let reach = (REACH_S / step_s).round() as usize;
    let (mut n, mut off, mut by) = (0, Vec::new(), Vec::new());
    let rows = own.len().min(reference.len());
    for row in 0..rows {
        let near = &reference[row.saturating_sub(reach)..(row + reach + 1).min(rows)];
        // Each reports starting and stopping in its own time.
        let turns = near.iter().all(|rpm| rpm.is_finite() && *rpm > 0.0);
        if !turns || !own[row].is_finite() {
            continue;
        }
        n += 1;
        let low = near.iter().copied().fold(f64::INFINITY, f64::min);
        let high = near.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if own[row] < low - OFF_RPM || own[row] > high + OFF_RPM {
            off.push(row);
            by.push((own[row] - reference[row]).abs());
        }
    }
    Compared {
        n,
        runs: off.chunk_by(|a, b| b - a <= 1).count(),
        by_rpm: median_of(by).unwrap_or(0.0),
        off,
        roughness: roughness(own, reference),
    }
}

/// Root mean square of the successive differences over that of the reference, over the seconds in
/// which both turn.
pub fn roughness(own: &[f64], reference: &[f64]) -> Option<f64> {
    let (mut under_test, mut against, mut n) = (0.0, 0.0, 0.0);
    for (a, b) in own.windows(2).zip(reference.windows(2)) {
        if [a[0], a[1], b[0], b[1]]
            .iter()
            .all(|rpm| rpm.is_finite() && *rpm > 0.0)
        {
            under_test += (a[1] - a[0]).powi(2);
            against += (b[1] - b[0]).powi(2);
            n += 1.0;
        }
    }
    (n > 0.0 && against > 0.0)
        .then(|| (under_test / against).sqrt())
        .and_then(finite)
}

fn longest_run(rows: &[usize]) -> Option<(usize, usize)> {
    let runs = rows.chunk_by(|a, b| b - a <= 1);
    let longest = runs.max_by_key(|run| run.len())?;
    Some((*longest.first()?, *longest.last()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_worked_roughness() {
        // Computed beforehand: 7.0 with equal means.
        let own = [90.0, 90.0, 97.0, 90.0, 83.0, 90.0];
        let reference = [90.0, 91.0, 90.0, 89.0, 90.0, 90.0];
        assert!((roughness(&own, &reference).unwrap() - 7.0).abs() < 1e-12);
        assert_eq!(roughness(&own, &[90.0; 6]), None);
    }

    #[test]
    fn a_lag_is_forgiven_and_a_jump_is_not() {
        let reference: Vec<f64> = (0..200).map(|t| 85.0 + f64::from(t / 50)).collect();
        let late: Vec<f64> = (0..200)
            .map(|t: i32| 85.0 + f64::from((t - 2).max(0) / 50))
            .collect();
        assert!(compared(&late, &reference, 1.0).off.is_empty());
        let mut jumps = late;
        for row in [20, 21, 22, 90, 91] {
            jumps[row] += 15.0;
        }
        let found = compared(&jumps, &reference, 1.0);
        assert_eq!((found.off.len(), found.runs), (5, 2));
        assert!((found.by_rpm - 15.0).abs() < 1.5);
    }
}
