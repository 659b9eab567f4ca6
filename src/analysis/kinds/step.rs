//! The response of a sampled signal to a step, after IEEE Std 181 (from memory).
//!
//! Between its samples the signal is taken as straight. State levels are medians, before the step of
//! its last 10 s, since a rider wanders over longer times, and after it of the later half of the
//! plateau (the standard prefers a histogram's mode, which takes more samples than a plateau at 1 Hz
//! has).
//! Fractions run from the level before (0) to the level after (1):
//!
//! - transition: from the last crossing of 0.1 before the first crossing of 0.9 to that crossing;
//! - settling: from the references' crossing of 0.1, as the dead time, until the signal stays within the
//!   band about the level after, for 10 s or to the plateau's end;
//! - overshoot: how far the signal passes the level after within 15 s, % of the step; less than three
//!   robust standard deviations of the plateau are noise and count as none.
//!
//! The band is 5 W, 5 % of the step or three robust standard deviations of the plateau after it,
//! whichever is largest: a rider's wander is not the device's ringing. For a first-order lag τ the transition
//! takes ln 9 · τ = 2.197225 τ and settling to 5 % takes 2.995732 τ.

use std::ops::Range;

use crate::stats::{Sample, median_of};

/// Share of the step that the settling band is at least (common practice, no source) …
const BAND_SHARE: f64 = 0.05;
/// … and its least half-width, W.
const BAND_FLOOR_W: f64 = 5.0;
/// Multiples of the plateau's robust spread taken for noise.
const NOISE_SPREADS: f64 = 3.0;
/// How long a settled signal has to stay, s.
const STAYS_S: f64 = 10.0;
/// How long after the step an overshoot is looked for, s.
const OVERSHOOT_S: f64 = 15.0;
/// How long before the stated end of the plateau before a crossing may lie, s.
const SEARCH_LEAD_S: f64 = 5.0;
/// Seconds before the step that tell the level before.
const BEFORE_S: f64 = 10.0;
/// Part of the plateau, at its end, that tells the level after.
const LATE_PART: f64 = 0.5;

/// Where a step is looked for: the plateau before it and the one after it, in rows.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    /// First row of the plateau before.
    pub from: usize,
    /// The row at which the plateau before ends: the step begins here at the earliest.
    pub at: usize,
    /// End of the plateau after, exclusive.
    pub to: usize,
}

impl Place {
    /// The rows of the plateau after that tell its level.
    pub fn late(&self) -> Range<usize> {
        let length = ((self.to - self.at) as f64 * LATE_PART).ceil() as usize;
        self.to - length..self.to
    }
}

/// A signal's response to a step. Times count from row 0 of the column, in s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Response {
    /// Level before, W.
    pub before_w: f64,
    /// Level after, W.
    pub after_w: f64,
    /// Robust spread of the plateau after, W.
    pub spread_w: f64,
    /// When the signal passes 10 %, s.
    pub at_10_s: Option<f64>,
    /// When it passes 50 %, s.
    pub at_50_s: Option<f64>,
    /// When it passes 90 %, s.
    pub at_90_s: Option<f64>,
    /// How far it passes the level after, % of the step.
    pub overshoot_percent: Option<f64>,
}

impl Response {
    /// Duration of the 10–90 % transition, s.
    pub fn rise_10_90_s(&self) -> Option<f64> {
        Some(self.at_90_s? - self.at_10_s?)
    }

    /// Half-width of the settling band, W.
    pub fn band_w(&self) -> f64 {
        (BAND_SHARE * (self.after_w - self.before_w).abs())
            .max(BAND_FLOOR_W)
            .max(NOISE_SPREADS * self.spread_w)
    }
}

/// Measures the response of `column` at `place`. `None` where a plateau has no value or the levels
/// do not differ.
pub fn measure(column: &[f64], place: &Place, step_s: f64) -> Option<Response> {
    let part = |rows: Range<usize>| {
        let values = column.get(rows)?.iter().copied();
        let values: Vec<f64> = values.filter(|v| v.is_finite()).collect();
        (!values.is_empty()).then_some(values)
    };
    let recent = (BEFORE_S / step_s).round().max(1.0) as usize;
    let before_w = median_of(part(
        place.from.max(place.at.saturating_sub(recent))..place.at,
    )?)?;
    let late = part(place.late())?;
    let spread_w = Sample::present(late.iter().copied()).map_or(0.0, |late| late.robust_sd());
    let after_w = median_of(late)?;
    let step_w = after_w - before_w;
    if step_w == 0.0 {
        return None;
    }
    let fraction = |row: usize| (column[row] - before_w) / step_w;
    let slack = (SEARCH_LEAD_S / step_s).round().max(1.0) as usize;
    let search = place.at.saturating_sub(slack).max(place.from)..place.to;
    let at_90 = first_crossing(search.clone(), fraction, 0.9);
    let early = |level: f64| {
        let (row, _) = at_90?;
        last_crossing(search.start..row + 1, fraction, level)
    };
    let until = (place.at + (OVERSHOOT_S / step_s) as usize).min(place.to);
    let highest = (place.at..until)
        .map(fraction)
        .filter(|f| f.is_finite())
        .reduce(f64::max);
    let noise = NOISE_SPREADS * spread_w / step_w.abs();
    Some(Response {
        before_w,
        after_w,
        spread_w,
        at_10_s: early(0.1).map(|at| at * step_s),
        at_50_s: early(0.5).map(|at| at * step_s),
        at_90_s: at_90.map(|(_, at)| at * step_s),
        overshoot_percent: at_90.and(highest).map(|highest| {
            let over = highest - 1.0;
            if over > noise.max(1e-9) {
                100.0 * over
            } else {
                0.0
            }
        }),
    })
}

/// First upward crossing of `level` between neighbouring rows: the later row, and where, in rows.
fn first_crossing(
    rows: Range<usize>,
    fraction: impl Fn(usize) -> f64,
    level: f64,
) -> Option<(usize, f64)> {
    (rows.start + 1..rows.end).find_map(|row| crossing(row, &fraction, level).map(|at| (row, at)))
}

/// Last upward crossing of `level` between neighbouring rows, in rows.
fn last_crossing(rows: Range<usize>, fraction: impl Fn(usize) -> f64, level: f64) -> Option<f64> {
    (rows.start + 1..rows.end)
        .rev()
        .find_map(|row| crossing(row, &fraction, level))
}

fn crossing(row: usize, fraction: &impl Fn(usize) -> f64, level: f64) -> Option<f64> {
    let (a, b) = (fraction(row - 1), fraction(row));
    (a < level && b >= level).then(|| (row - 1) as f64 + (level - a) / (b - a))
}

/// Time from `since_s` until the column stays within `band_w` of `level_w`, s. Entry into the band
/// is interpolated. `None` where it never stays or a missing value hides the moment.
pub fn settling_s(
    column: &[f64],
    place: &Place,
    level_w: f64,
    band_w: f64,
    since_s: f64,
    step_s: f64,
) -> Option<f64> {
    let departure = |row: usize| column.get(row).map_or(f64::NAN, |v| (v - level_w).abs());
    let stays = (STAYS_S / step_s).round() as usize;
    // A hair of tolerance: a plateau without noise lies on its own band.
    let inside = |row: usize| departure(row) <= band_w * (1.0 + 1e-9);
    let settled = (place.at..place.to).find(|&row| {
        let until = (row + stays).min(place.to);
        (row..until).all(inside)
    })?;
    if settled == 0 || !departure(settled - 1).is_finite() {
        return None;
    }
    let (outer, inner) = (departure(settled - 1), departure(settled));
    let entry = if outer > band_w {
        (settled - 1) as f64 + (outer - band_w) / (outer - inner)
    } else {
        settled as f64
    };
    Some((entry * step_s - since_s).max(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    const FINE_S: f64 = 0.001;

    fn place(at: usize, to: usize) -> Place {
        Place { from: 0, at, to }
    }

    /// A step of 100 W at t = 1 s answered with `shape`, sampled every `step_s`.
    fn answered(step_s: f64, length_s: f64, shape: impl Fn(f64) -> f64) -> (Vec<f64>, Place) {
        let before = (1.0 / step_s).round() as usize;
        let rows = ((1.0 + length_s) / step_s).round() as usize;
        let column = (0..rows)
            .map(|row| (row as f64 - before as f64) * step_s)
            .map(|t| 200.0 + if t > 0.0 { 100.0 * shape(t) } else { 0.0 })
            .collect();
        (column, place(before, rows))
    }

    /// First order: 10–90 % = ln 9 τ = 2.197225 τ; settling to 5 % = 2.995732 τ (analytic).
    #[test]
    fn first_order_rise_and_settling_are_analytic() {
        for tau in [0.5, 1.0, 2.0] {
            let (column, place) = answered(FINE_S, 40.0, |t| 1.0 - (-t / tau).exp());
            let found = measure(&column, &place, FINE_S).unwrap();
            assert!((found.rise_10_90_s().unwrap() - 2.197225 * tau).abs() < 1e-4);
            assert!((found.at_10_s.unwrap() - 1.0 - 0.105361 * tau).abs() < 1e-4);
            let settled = settling_s(&column, &place, 300.0, found.band_w(), 1.0, FINE_S).unwrap();
            assert!((settled - 2.995732 * tau).abs() < 1e-3, "{settled}");
            assert_eq!(found.overshoot_percent, Some(0.0));
        }
    }

    /// At 1 Hz with linear interpolation: τ = 1, 2, 3, 5 give 2.254848, 4.409420, 6.568297,
    /// 10.986201 s (`methods` §9, recomputed there).
    #[test]
    fn sampling_at_one_hertz_shifts_the_rise_by_known_amounts() {
        for (tau, expected) in [
            (1.0, 2.254848),
            (2.0, 4.409420),
            (3.0, 6.568297),
            (5.0, 10.986201),
        ] {
            let (column, place) = answered(1.0, 120.0, |t| 1.0 - (-t / tau).exp());
            let rise = measure(&column, &place, 1.0).unwrap().rise_10_90_s();
            assert!((rise.unwrap() - expected).abs() < 2e-5, "{rise:?}");
        }
    }

    /// Second order with damping 0.5: overshoot 16.3034 %, 10–90 % = 1.63757/ω (`methods` §9).
    #[test]
    fn second_order_overshoot_is_analytic() {
        let (zeta, omega) = (0.5_f64, 2.0);
        let damped = omega * (1.0 - zeta * zeta).sqrt();
        let shape = |t: f64| {
            let phase = damped * t;
            let lean = zeta / (1.0 - zeta * zeta).sqrt();
            1.0 - (-zeta * omega * t).exp() * (phase.cos() + lean * phase.sin())
        };
        let (column, place) = answered(FINE_S, 40.0, shape);
        let found = measure(&column, &place, FINE_S).unwrap();
        assert!((found.overshoot_percent.unwrap() - 16.3034).abs() < 1e-3);
        assert!((found.rise_10_90_s().unwrap() - 1.63757 / omega).abs() < 1e-4);
    }

    #[test]
    fn a_step_down_is_measured_like_one_up() {
        let (column, place) = answered(1.0, 60.0, |t| -(1.0 - (-t / 2.0_f64).exp()));
        let found = measure(&column, &place, 1.0).unwrap();
        assert!((found.rise_10_90_s().unwrap() - 4.409420).abs() < 1e-4);
        assert!((found.after_w - 100.0).abs() < 1e-3);
    }

    #[test]
    fn what_cannot_be_measured_is_none() {
        assert_eq!(measure(&[200.0; 20], &place(10, 20), 1.0), None);
        assert_eq!(measure(&[f64::NAN; 20], &place(10, 20), 1.0), None);
        assert_eq!(measure(&[], &place(10, 20), 1.0), None);
        let (mut column, place) = answered(1.0, 60.0, |t| 1.0 - (-t / 2.0_f64).exp());
        column[2] = f64::NAN;
        let found = measure(&column, &place, 1.0).unwrap();
        assert_eq!(found.at_10_s, None);
        assert_eq!(
            settling_s(
                &[1.0; 20],
                &super::Place {
                    from: 0,
                    at: 5,
                    to: 20
                },
                9.0,
                1.0,
                5.0,
                1.0
            ),
            None
        );
    }
}
