//! Figures of a ramp: the response to each step, and the lag on straight rises.
//!
//! Steps are found in the references ([`crate::stats::change_points`]), never in the source under test, and
//! measured on both ([`super::step`]): a rider who takes 3 s to find the new power is not blamed on
//! the device. Dead time is the time between the references' and the source's 10 % crossing. Settling
//! counts from the references' 10 % crossing too, so that it is never shorter than the dead time, and is
//! told for the wider of the two bands. The step is said to be at the references' 50 % crossing. Both
//! times of the source hold how much later within each row it was sampled.
//!
//! The lag on straight rises is the horizontal distance: the shift `L` for which
//! `source(t) = a + g · reference(t − L)` leaves the least squares, over the rise and 20 s on either
//! side. Both are averaged over 15 s first, since the distance sought is that of the slow rise, not
//! of the strokes on top of it; for a first-order lag it is dead time plus time constant. Offset and
//! gain are free, so that a biased source is not called late. The lag is reported where its standard
//! error is at most 1 s; of several rises the median.

use super::spec::{Spec, always};
use crate::analysis::figure::{Figure, OURS};
use crate::analysis::ride;
use serde::Serialize;
use std::ops::Range;

use super::step::{self, Place};
use crate::stats::change_points::{Piece, pieces};
use crate::stats::first_order::{Lag, response};
use crate::stats::{Line, both_present, finite, median_of};
use crate::timeline::{Grid, Span};

/// Figures of a ramp.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Ramp {
    /// The steps found.
    pub steps: Vec<Step>,
    /// Lag on linear stretches, s.
    pub lag_s: Option<f64>,
}

/// Ramps among the kinds.
pub(in crate::analysis) const SPEC: Spec<Ramp> = Spec {
    title: "Ramp",
    figures: FIGURES,
    panel: &[always("lag_s")],
    compute: |inputs| {
        let asked = ride::set_points(inputs.window.aligned);
        let (read, delivered) = (&inputs.read, &inputs.delivered);
        let found = figures(
            read,
            delivered,
            &asked,
            inputs.slow_noise_w(),
            inputs.grid(),
        );
        Some(found.sampled_later(inputs.sampled_later_s()))
    },
};

/// The response to one step.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Step {
    /// When the references step, session time, s.
    pub at_s: f64,
    /// Level before, W.
    pub from_w: f64,
    /// Level after, W.
    pub to_w: f64,
    /// Time from the references' 10 % crossing to the source's, s.
    pub dead_time_s: Option<f64>,
    /// 10–90 % transition, s.
    pub rise_10_90_s: Option<f64>,
    /// Time from the references' 10 % crossing until the source stays within the settling band, s; at
    /// least the dead time.
    pub settling_s: Option<f64>,
    /// Overshoot, % of the step.
    pub overshoot_percent: Option<f64>,
    /// Error at the end of the step against the references, W.
    pub final_error_w: Option<f64>,
    /// Half-width of the band that settling is reported for, W: 5 W, 5 % of the step or three robust
    /// standard deviations of the plateau after it, of the source or the references, whichever is
    /// largest.
    pub settling_band_w: f64,
    /// 10–90 % transition of the references, s.
    pub reference_rise_10_90_s: Option<f64>,
    /// Time from the same instant for the references to stay within the band, s.
    pub reference_settling_s: Option<f64>,
    /// Overshoot of the references, % of the step.
    pub reference_overshoot_percent: Option<f64>,
}

/// Least step, W.
const LEAST_STEP_W: f64 = 15.0;
/// Least step, multiples of the references' wander.
const LEAST_STEP_WANDERS: f64 = 3.0;
/// A piece shorter than this is the transition between plateaus, s.
const TRANSITION_S: f64 = 12.0;
/// A piece is a rise from this change of level on, W, and over at least …
const LEAST_RISE_W: f64 = 30.0;
/// … this long, s.
const LEAST_RISE_S: f64 = 30.0;
/// Seconds on either side of a rise that go into its lag.
const RISE_MARGIN_S: f64 = 20.0;
/// Averaging before the lag of a rise is sought, s.
const RISE_MEAN_S: f64 = 15.0;
/// Largest standard error of a lag that is reported, s.
const LARGEST_SE_S: f64 = 1.0;

/// The figures of a ramp. Columns cover the rows of `grid`; `reference` is the consensus or the
/// chosen reference, and `slow_noise_w` its slow noise over the whole ride ([`crate::stats::change_points`]): in a
/// stretch that is all steps, steps would pass for wander.
/// `asked` are the set points that a recorder noted, session time: where they step inside the
/// window, they say where the steps are.
pub fn figures(
    under_test: &[f64],
    reference: &[f64],
    asked: &[(Span, f64)],
    slow_noise_w: f64,
    grid: Grid,
) -> Ramp {
    let found = pieces(reference, grid.step_s, slow_noise_w);
    let least_w = LEAST_STEP_W.max(LEAST_STEP_WANDERS * slow_noise_w);
    let noted = asked_places(asked, grid);
    let places = if noted.is_empty() {
        places(&found, least_w, grid.step_s)
    } else {
        noted
    };
    let steps = places
        .iter()
        .filter_map(|place| measured(under_test, reference, place, grid))
        .collect();
    let lags = found
        .iter()
        .filter(|piece| is_rise(piece, grid.step_s))
        .filter_map(|piece| rise_lag_s(under_test, reference, &piece.rows, grid.step_s));
    Ramp {
        steps,
        lag_s: median_of(lags.collect()),
    }
}

/// Whether a piece is a straight rise or fall long enough to tell a lag.
fn is_rise(piece: &Piece, step_s: f64) -> bool {
    piece.rise_w().abs() >= LEAST_RISE_W && piece.rows.len() as f64 * step_s >= LEAST_RISE_S
}

/// The steps between neighbouring plateaus: pieces of at least 12 s, with at most one shorter piece
/// between them, whose facing ends differ by `least_w` or more.
pub fn places(found: &[Piece], least_w: f64, step_s: f64) -> Vec<Place> {
    let long = |piece: &&Piece| piece.rows.len() as f64 * step_s >= TRANSITION_S;
    let plateaus: Vec<&Piece> = found.iter().filter(long).collect();
    plateaus
        .windows(2)
        .filter(|pair| {
            let between = pair[1].rows.start - pair[0].rows.end;
            (between as f64) * step_s < TRANSITION_S
                && (pair[1].first_w - pair[0].last_w).abs() >= least_w
        })
        .map(|pair| Place {
            from: pair[0].rows.start,
            at: pair[0].rows.end,
            to: pair[1].rows.end,
        })
        .collect()
}

/// The steps between neighbouring set points inside the window, each held for 12 s or more there.
fn asked_places(asked: &[(Span, f64)], grid: Grid) -> Vec<Place> {
    let held: Vec<(Range<usize>, f64)> = asked
        .iter()
        .map(|(span, watts)| (grid.rows(*span), *watts))
        .filter(|(rows, _)| rows.len() as f64 * grid.step_s >= TRANSITION_S)
        .collect();
    held.windows(2)
        .filter(|pair| {
            let between = pair[1].0.start.saturating_sub(pair[0].0.end);
            (between as f64) * grid.step_s < TRANSITION_S
                && (pair[1].1 - pair[0].1).abs() >= LEAST_STEP_W
        })
        .map(|pair| Place {
            from: pair[0].0.start,
            at: pair[0].0.end,
            to: pair[1].0.end,
        })
        .collect()
}

fn measured(under_test: &[f64], reference: &[f64], place: &Place, grid: Grid) -> Option<Step> {
    let step_s = grid.step_s;
    let against = step::measure(reference, place, step_s)?;
    let source = step::measure(under_test, place, step_s);
    let at_s = against.at_50_s.unwrap_or(place.at as f64 * step_s);
    let band_w = source
        .map_or(0.0, |source| source.band_w())
        .max(against.band_w());
    let since_s = against.at_10_s.unwrap_or(place.at as f64 * step_s);
    let settling = |column: &[f64], level_w: f64| {
        step::settling_s(column, place, level_w, band_w, since_s, step_s)
    };
    let dead_time_s = source.and_then(|source| Some(source.at_10_s? - against.at_10_s?));
    let settled_s = source.and_then(|source| settling(under_test, source.after_w));
    Some(Step {
        at_s: grid.start_s + at_s,
        from_w: against.before_w,
        to_w: against.after_w,
        dead_time_s,
        rise_10_90_s: source.and_then(|source| source.rise_10_90_s()),
        // A band as wide as the step is entered before the source answers.
        settling_s: settled_s.map(|settled_s| settled_s.max(dead_time_s.unwrap_or(0.0))),
        overshoot_percent: source.and_then(|source| source.overshoot_percent),
        final_error_w: source.map(|source| source.after_w - against.after_w),
        settling_band_w: band_w,
        reference_rise_10_90_s: against.rise_10_90_s(),
        reference_settling_s: settling(reference, against.after_w),
        reference_overshoot_percent: against.overshoot_percent,
    })
}

impl Ramp {
    /// The same, the source having been sampled so much later within each row than the reference.
    pub(super) fn sampled_later(mut self, later_s: f64) -> Self {
        let later = |time_s: &mut Option<f64>| *time_s = time_s.map(|s| s + later_s);
        for step in &mut self.steps {
            later(&mut step.dead_time_s);
            later(&mut step.settling_s);
        }
        later(&mut self.lag_s);
        self
    }
}

/// Horizontal distance on a rise, s; `None` where it cannot be told to 1 s.
fn rise_lag_s(
    under_test: &[f64],
    reference: &[f64],
    rise: &Range<usize>,
    step_s: f64,
) -> Option<f64> {
    let margin = (RISE_MARGIN_S / step_s).round() as usize;
    let end = (rise.end + margin)
        .min(under_test.len())
        .min(reference.len());
    let rows = rise.start.saturating_sub(margin)..end;
    let width = (RISE_MEAN_S / step_s).round().max(1.0);
    let source = moving_mean(under_test.get(rows.clone())?, width as usize);
    let against = moving_mean(reference.get(rows)?, width as usize);
    let cost = |lag_s: f64| -> Option<(f64, usize)> {
        let shift = Lag {
            delay_s: lag_s,
            time_constant_s: 0.0,
        };
        let (x, y) = both_present(&response(&against, step_s, shift), &source);
        let line = Line::fit(&x, &y)?;
        Some((line.residual_sd?.powi(2), x.len()))
    };
    const FINE_S: f64 = 0.25;
    let at = |k: i32| f64::from(k) * FINE_S;
    let (best, (least, n)) = (-12..=60)
        .filter_map(|k| Some((k, cost(at(k))?)))
        .min_by(|a, b| a.1.0.total_cmp(&b.1.0))?;
    let (before, after) = (cost(at(best - 1))?.0, cost(at(best + 1))?.0);
    let curvature = before - 2.0 * least + after;
    if curvature <= 0.0 || best == -12 || best == 60 {
        return None;
    }
    let shift = 0.5 * (before - after) / curvature;
    // Mean square as a parabola of the lag: its curvature is that of the log-likelihood. Averaging
    // leaves one independent value in `width`.
    let second = curvature / (FINE_S * FINE_S);
    let se = (2.0 * least * width / (n as f64 * second)).sqrt();
    (se <= LARGEST_SE_S)
        .then(|| finite((f64::from(best) + shift) * FINE_S))
        .flatten()
}

/// Means over `width` neighbouring rows, one for each place where all of them are present; NaN
/// elsewhere.
fn moving_mean(column: &[f64], width: usize) -> Vec<f64> {
    let means = column.windows(width);
    means
        .map(|rows| rows.iter().sum::<f64>() / width as f64)
        .collect()
}

const IEEE: &str = "IEEE Std 181 (from memory)";

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "segments.ramp.lag_s",
        label: "lag on ramps",
        short: "lag",
        unit: "s",
        decimals: 2,
        signed: true,
        definition: "How far the source under test trails the references on linear rises and falls.",
        formula: "horizontal distance of the two",
        source: "a first-order lag trails a ramp by τ",
        caveat: "Where power alone fixed the clock, lag and clock offset cannot be told apart.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.ramp.steps.at_s",
        label: "step at",
        short: "step at",
        unit: "s",
        decimals: 1,
        definition: "When the references step, session time.",
        source: IEEE,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.ramp.steps.from_w",
        label: "step from",
        unit: "W",
        definition: "Level before the step.",
        source: IEEE,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.ramp.steps.to_w",
        label: "step to",
        unit: "W",
        definition: "Level after the step.",
        source: IEEE,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.ramp.steps.dead_time_s",
        label: "dead time",
        unit: "s",
        decimals: 2,
        signed: true,
        definition: "Time from the references' first 10 % of the step to that of the source under test.",
        formula: "t₁₀ of the source − t₁₀ of the references, and what the moments of the samples add",
        source: IEEE,
        caveat: "Resolved to a fraction of a second at best; a clock error goes straight into it.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.ramp.steps.rise_10_90_s",
        label: "10–90 %",
        short: "rise",
        unit: "s",
        decimals: 2,
        definition: "Time the response takes from 10 to 90 % of the step.",
        formula: "t₉₀ − t₁₀, between samples by straight line",
        source: IEEE,
        caveat: "A slow rider makes a slow step: compare with that of the references.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.ramp.steps.settling_s",
        label: "settling",
        short: "settle",
        unit: "s",
        decimals: 2,
        definition: "Time from the references' first 10 % of the step, as the dead time, until the source under test stays within the settling band about its final level for 10 s or to the plateau's end; at least the dead time.",
        source: IEEE,
        caveat: "Told for the band beside it: in a wide one a response is settled soon.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.ramp.steps.overshoot_percent",
        label: "overshoot",
        unit: "%",
        decimals: 1,
        definition: "By how much the response passes its final level, % of the step.",
        formula: "100 · (extreme − level)/step",
        source: IEEE,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.ramp.steps.final_error_w",
        label: "final error",
        unit: "W",
        decimals: 1,
        signed: true,
        definition: "Difference to the references at the end of the step.",
        formula: "x̄ − ȳ over the last plateau",
        source: "ISO 5725-1 (trueness)",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.ramp.steps.settling_band_w",
        label: "settling band",
        unit: "W",
        decimals: 1,
        definition: "Half-width of the band within which a reading counts as settled, of the source and of the references.",
        formula: "max(5 W, 5 % of the step, 3 robust standard deviations of the plateau after it), the larger of the source's and the references'",
        source: OURS,
        caveat: "A rider's wander widens it, so that wander is not taken for ringing.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.ramp.steps.reference_rise_10_90_s",
        label: "10–90 % of the references",
        unit: "s",
        decimals: 2,
        definition: "The same transition of the references: how fast the rider made the step.",
        formula: "t₉₀ − t₁₀",
        source: IEEE,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.ramp.steps.reference_settling_s",
        label: "settling of the references",
        unit: "s",
        decimals: 2,
        definition: "Time from the same instant for the references to stay within the band.",
        source: IEEE,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.ramp.steps.reference_overshoot_percent",
        label: "overshoot of the references",
        unit: "%",
        decimals: 1,
        definition: "By how much the references pass their final level, % of the step.",
        formula: "100 · (extreme − level)/step",
        source: IEEE,
        ..Figure::PLAIN
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    /// Spread of the 10 s means of these examples, W.
    const WANDER_W: f64 = 2.0;

    fn grid(len: usize) -> Grid {
        Grid {
            start_s: 1000.0,
            step_s: 1.0,
            len,
        }
    }

    fn noise(i: usize) -> f64 {
        ((i * 7919 + 13) % 7) as f64 - 3.0
    }

    fn late(reference: &[f64], delay_s: f64, time_constant_s: f64) -> Vec<f64> {
        let lag = Lag {
            delay_s,
            time_constant_s,
        };
        response(reference, 1.0, lag)
    }

    fn staircase() -> Vec<f64> {
        [120.0, 170.0, 220.0, 150.0]
            .into_iter()
            .flat_map(|level| (0..60).map(move |_| level))
            .enumerate()
            .map(|(i, level)| level + noise(i))
            .collect()
    }

    fn asked() -> Vec<(Span, f64)> {
        let levels = [120.0, 170.0, 220.0, 150.0].into_iter().enumerate();
        let step = |(k, watts): (usize, f64)| {
            let from_s = 1000.0 + 60.0 * k as f64;
            (Span::new(from_s, from_s + 60.0), watts)
        };
        levels.map(step).collect()
    }

    #[test]
    fn each_step_of_a_staircase_is_measured_on_both() {
        let reference = staircase();
        let under_test = late(&reference, 1.0, 2.0);
        let found = figures(&under_test, &reference, &[], WANDER_W, grid(240));
        assert_eq!(found.steps.len(), 3, "{found:?}");
        for (step, at) in found.steps.iter().zip([1059.5, 1119.5, 1179.5]) {
            assert!((step.at_s - at).abs() < 0.6, "{step:?}");
            assert!((step.dead_time_s.unwrap() - 1.0).abs() < 0.7, "{step:?}");
            assert!((step.rise_10_90_s.unwrap() - 4.4).abs() < 1.2, "{step:?}");
            assert!(step.reference_rise_10_90_s.unwrap() < 1.2);
            assert!(step.final_error_w.unwrap().abs() < 3.0);
            assert!(step.settling_s.unwrap() > step.reference_settling_s.unwrap());
        }
        assert!((found.steps[0].to_w - 170.0).abs() < 2.0);
    }

    /// Settling once counted from the references' 50 % crossing, the dead time from their 10 %: of a
    /// slow step in a wide band the one came out shorter than the other.
    #[test]
    fn settling_is_never_shorter_than_the_dead_time() {
        let restless = |i: usize| 5.0 * noise(i);
        let reference: Vec<f64> = late(&staircase(), 0.0, 5.0)
            .iter()
            .enumerate()
            .map(|(i, w)| w + restless(i))
            .collect();
        let under_test = late(&reference, 2.0, 0.0);
        let found = figures(&under_test, &reference, &asked(), WANDER_W, grid(240));
        let timed = found
            .steps
            .iter()
            .filter_map(|step| Some((step.dead_time_s?, step.settling_s?, step.settling_band_w)));
        let timed: Vec<(f64, f64, f64)> = timed.collect();
        assert!(!timed.is_empty(), "{found:?}");
        for (dead_time_s, settling_s, band_w) in timed {
            assert!(settling_s >= dead_time_s, "{found:?}");
            assert!(band_w >= 5.0, "{found:?}");
        }
    }

    #[test]
    fn the_moments_of_sampling_are_in_every_time_of_the_source() {
        let reference = staircase();
        let under_test = late(&reference, 1.0, 2.0);
        let rows = figures(&under_test, &reference, &[], WANDER_W, grid(240));
        let later = rows.clone().sampled_later(0.25);
        for (row, later) in rows.steps.iter().zip(&later.steps) {
            assert_eq!(later.dead_time_s, row.dead_time_s.map(|s| s + 0.25));
            assert_eq!(later.settling_s, row.settling_s.map(|s| s + 0.25));
            assert_eq!(later.reference_settling_s, row.reference_settling_s);
        }
    }

    #[test]
    fn a_slow_rider_is_not_blamed_on_the_device() {
        let reference = late(&staircase(), 0.0, 3.0);
        let found = figures(&reference, &reference, &[], WANDER_W, grid(240));
        assert_eq!(found.steps.len(), 3, "{found:?}");
        for step in &found.steps {
            assert_eq!(step.dead_time_s, Some(0.0));
            assert_eq!(step.rise_10_90_s, step.reference_rise_10_90_s);
            assert!(step.reference_rise_10_90_s.unwrap() > 4.0);
        }
    }

    #[test]
    fn the_lag_on_a_straight_rise_ignores_bias() {
        let mut reference = vec![150.0; 40];
        reference.extend((0..120).map(|i| 150.0 + f64::from(i)));
        reference.extend(vec![270.0; 40]);
        for (i, value) in reference.iter_mut().enumerate() {
            *value += noise(i);
        }
        let under_test: Vec<f64> = late(&reference, 1.0, 2.0)
            .into_iter()
            .map(|w| 1.04 * w + 5.0)
            .collect();
        let lag = figures(&under_test, &reference, &[], WANDER_W, grid(200))
            .lag_s
            .unwrap();
        assert!((lag - 3.0).abs() < 0.3, "{lag}");
    }

    #[test]
    fn noted_set_points_say_where_the_steps_are_when_the_rider_wanders() {
        // A wander of 25 W hides steps of 50 and 30 W from a search.
        let hidden = figures(&staircase(), &staircase(), &[], 25.0, grid(240));
        assert!(hidden.steps.len() < 3, "{hidden:?}");
        let asked = asked();
        let found = figures(&staircase(), &staircase(), &asked, 25.0, grid(240));
        let at = found.steps.iter().map(|step| step.at_s);
        let off = at
            .zip([1060.0, 1120.0, 1180.0])
            .map(|(at, due)| (at - due).abs());
        assert_eq!(off.filter(|off| *off < 1.0).count(), 3, "{found:?}");
        // One that stays, or that belongs to another part of the ride, is none.
        let elsewhere = [
            (Span::new(0.0, 500.0), 100.0),
            (Span::new(500.0, 990.0), 300.0),
        ];
        assert_eq!(asked_places(&elsewhere, grid(240)), []);
        assert_eq!(asked_places(&[asked[0], asked[0]], grid(240)), []);
    }

    #[test]
    fn a_source_that_misses_the_step_still_tells_the_references() {
        let reference = staircase();
        let found = figures(&[f64::NAN; 240], &reference, &[], WANDER_W, grid(240));
        assert_eq!(found.steps.len(), 3);
        assert_eq!(found.steps[0].rise_10_90_s, None);
        assert!(found.steps[0].reference_rise_10_90_s.is_some());
        assert_eq!(found.lag_s, None);
    }

    #[test]
    fn no_step_no_sample_no_reference() {
        let flat = figures(&[200.0; 90], &[200.0; 90], &[], WANDER_W, grid(90));
        assert_eq!((flat.steps.len(), flat.lag_s), (0, None));
        assert_eq!(figures(&[], &[], &[], WANDER_W, grid(0)).steps, vec![]);
        assert_eq!(
            figures(&[200.0], &[200.0], &[], WANDER_W, grid(1)).steps,
            vec![]
        );
        assert_eq!(
            figures(&[200.0; 90], &[f64::NAN; 90], &[], WANDER_W, grid(90)).steps,
            vec![]
        );
    }
}
