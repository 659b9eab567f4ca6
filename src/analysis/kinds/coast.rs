//! Power that a source reports while nobody pedals.
//!
//! A row counts as "nobody pedals" where the references report at most 10 W; where they report
//! nothing, where a known cadence is zero. The mean and the highest value of the source over those
//! rows are told beside a truth of zero. They hold the decay of the source's own lag, and are named
//! so: the decay and a phantom that fades cannot be told apart in the coast alone. The time to zero runs from the start of the
//! longest such stretch to the first row from which the source stays at or below 1 W for 3 s (or
//! to the stretch's end). The thresholds are ours, stated here: 10 W is well under any pedalling
//! and above the zero error of a usual meter.

use super::spec::{Spec, always};
use crate::analysis::figure::{Figure, OURS, TRADE};
use crate::recording::Channel;
use crate::stats::finite;
use serde::Serialize;

/// Figures of a coast.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Coast {
    /// Mean power reported while nobody pedals, the decay of the source's own lag included, W.
    pub phantom_mean_w: Option<f64>,
    /// Highest such second, W: as a rule the first one, which the lag explains.
    pub phantom_max_w: Option<f64>,
    /// Time from the last pedalling until the source reads at most 1 W and stays there for 3 s, or to
    /// the coast's end, s.
    pub time_to_zero_s: Option<f64>,
    /// How long nobody pedalled, s.
    pub coasted_s: f64,
}

/// Coasts among the kinds.
pub(in crate::analysis) const SPEC: Spec<Coast> = Spec {
    title: "Coast",
    figures: FIGURES,
    panel: &[
        always("phantom_mean_w"),
        always("time_to_zero_s"),
        always("coasted_s"),
    ],
    // As reported: what is asked is what a source reports while nobody pedals, and a value that it
    // holds then passes for frozen.
    compute: |inputs| {
        let window = inputs.window;
        Some(figures(
            window.column(inputs.under_test, Channel::Power)?,
            window.power(inputs.basis)?,
            inputs.turning().as_deref(),
            inputs.step_s(),
        ))
    },
};

/// References at or below this report that nobody pedals, W.
const IDLE_W: f64 = 10.0;
/// The source counts as at zero up to this, W.
const ZERO_W: f64 = 1.0;
/// For so long it has to stay there, s.
const STAYS_S: f64 = 3.0;

/// The figures of a coast. Columns cover the same rows, spaced `step_s`; `consensus` is the
/// references' power, `cadence` one that was measured at the pedals or crank.
///
/// Every figure is `None` where nobody is seen to stop pedalling while the source reports.
pub fn figures(
    under_test: &[f64],
    consensus: &[f64],
    cadence: Option<&[f64]>,
    step_s: f64,
) -> Coast {
    let idle: Vec<bool> = (0..under_test.len())
        .map(|row| nobody_pedals(value(consensus, row), cadence.map(|c| value(c, row))))
        .collect();
    let phantom: Vec<f64> = under_test
        .iter()
        .zip(&idle)
        .filter(|(power, idle)| **idle && power.is_finite())
        .map(|(power, _)| *power)
        .collect();
    let seconds = idle.iter().filter(|idle| **idle).count() as f64 * step_s;
    Coast {
        phantom_mean_w: finite(phantom.iter().sum::<f64>() / phantom.len() as f64),
        phantom_max_w: phantom.iter().copied().reduce(f64::max),
        time_to_zero_s: time_to_zero_s(under_test, &idle, step_s),
        coasted_s: seconds,
    }
}

fn value(column: &[f64], row: usize) -> f64 {
    column.get(row).copied().unwrap_or(f64::NAN)
}

fn nobody_pedals(consensus_w: f64, cadence_rpm: Option<f64>) -> bool {
    if consensus_w.is_finite() {
        consensus_w <= IDLE_W
    } else {
        cadence_rpm.is_some_and(|cadence| cadence <= 0.0)
    }
}

/// Time to zero in the longest idle stretch; `None` where the source never settles there or
/// where missing values hide the moment.
fn time_to_zero_s(under_test: &[f64], idle: &[bool], step_s: f64) -> Option<f64> {
    let (from, to) = longest_run(idle)?;
    let stays = (STAYS_S / step_s).round() as usize;
    let at_zero = |row: usize| value(under_test, row) <= ZERO_W;
    let settled = (from..to).find(|&row| (row..(row + stays).min(to)).all(at_zero))?;
    let seen = (from..settled).all(|row| value(under_test, row).is_finite());
    seen.then_some((settled - from) as f64 * step_s)
}

/// The longest run of `true`, as rows from and to (exclusive); the first of equal ones.
fn longest_run(flags: &[bool]) -> Option<(usize, usize)> {
    let mut best: Option<(usize, usize)> = None;
    let mut start = None;
    for row in 0..=flags.len() {
        match (flags.get(row).copied().unwrap_or(false), start) {
            (true, None) => start = Some(row),
            (false, Some(from)) => {
                if best.is_none_or(|(a, b)| row - from > b - a) {
                    best = Some((from, row));
                }
                start = None;
            }
            _ => {}
        }
    }
    best
}

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "segments.coast.phantom_mean_w",
        label: "mean while coasting, lag included",
        short: "mean, lag included",
        unit: "W",
        decimals: 1,
        definition: "Mean power that the source under test reports while nobody pedals, the decay of its own lag included.",
        formula: "mean x over the seconds in which the references report at most 10 W (or, where they are silent, cadence is zero)",
        source: TRADE,
        caveat: "Not all of it is power from nowhere: in the first seconds a device with a lag still falls from what was ridden. After a stop from P watts a first-order lag alone leaves about P · τ/T on average over a coast of T s (τ as the session's sprints tell it); what stays above that is phantom.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.coast.phantom_max_w",
        label: "highest while coasting, lag included",
        unit: "W",
        definition: "1 s maximum that the source under test reports while nobody pedals; as a rule of the first second, in which its lag still shows what was ridden before.",
        formula: "max x over the same seconds",
        source: TRADE,
        caveat: "By itself no phantom power: a source without any, but with a time constant of 2 s, reads half of what was ridden more than a second after the rider has stopped.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.coast.time_to_zero_s",
        label: "time to zero",
        unit: "s",
        decimals: 1,
        definition: "Time from the last pedalling until the source under test reads zero (at most 1 W) and stays there for 3 s, or to the coast's end; null where it never does.",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.coast.coasted_s",
        label: "coasted",
        unit: "s",
        definition: "How long nobody pedalled.",
        source: "counted",
        ..Figure::PLAIN
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    /// Rolls down from 120 W by 30 W a second while the references stand at zero from row 5.
    fn ride() -> (Vec<f64>, Vec<f64>) {
        let references = [vec![200.0; 5], vec![0.0; 15]].concat();
        let mut under_test = vec![200.0; 5];
        under_test.extend((0..15).map(|i| (120.0 - 30.0 * f64::from(i)).max(0.0)));
        (under_test, references)
    }

    #[test]
    fn phantom_power_and_its_end() {
        let (under_test, references) = ride();
        let found = figures(&under_test, &references, None, 1.0);
        assert_eq!(found.phantom_mean_w, Some(300.0 / 15.0));
        assert_eq!(found.phantom_max_w, Some(120.0));
        assert_eq!(found.time_to_zero_s, Some(4.0));
        assert_eq!(found.coasted_s, 15.0);
    }

    #[test]
    fn cadence_tells_where_the_references_are_silent() {
        let (under_test, _) = ride();
        let silent = vec![f64::NAN; 20];
        let cadence = [vec![90.0; 5], vec![0.0; 15]].concat();
        let found = figures(&under_test, &silent, Some(&cadence), 1.0);
        assert_eq!(found.phantom_max_w, Some(120.0));
        let unknown = figures(&under_test, &silent, None, 1.0);
        assert_eq!(
            (unknown.phantom_mean_w, unknown.time_to_zero_s),
            (None, None)
        );
        assert_eq!(unknown.coasted_s, 0.0);
    }

    #[test]
    fn a_source_that_never_reaches_zero_has_no_time_to_zero() {
        let found = figures(&[40.0; 30], &[0.0; 30], None, 1.0);
        assert_eq!(
            (found.phantom_mean_w, found.time_to_zero_s),
            (Some(40.0), None)
        );
    }

    #[test]
    fn a_gap_in_the_source_hides_the_moment() {
        let (mut under_test, references) = ride();
        under_test[7] = f64::NAN;
        let found = figures(&under_test, &references, None, 1.0);
        assert_eq!(found.time_to_zero_s, None);
        let nothing = figures(&[f64::NAN; 20], &references, None, 1.0);
        assert_eq!(
            (nothing.phantom_mean_w, nothing.phantom_max_w),
            (None, None)
        );
    }

    #[test]
    fn nobody_stops_pedalling_and_empty_windows_give_nothing() {
        let riding = figures(&[200.0; 10], &[200.0; 10], None, 1.0);
        assert_eq!((riding.phantom_mean_w, riding.coasted_s), (None, 0.0));
        assert_eq!(figures(&[], &[], None, 1.0).time_to_zero_s, None);
        let one = figures(&[0.0], &[0.0], None, 1.0);
        assert_eq!(
            (one.phantom_mean_w, one.time_to_zero_s),
            (Some(0.0), Some(0.0))
        );
    }
}
