//! What a lane shows at each dot column, and its vertical scale.

use std::ops::Range;

use ratatui::layout::Rect;

use super::super::state::{Lane, Scale, State};
use crate::analysis::agreement::PERCENT_FROM_W;
use crate::recording::Channel;
use crate::timeline::{Extent, Grid, Span};

/// A series of a lane: a stream's channel, or the difference.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Series {
    /// A channel of the stream at this place.
    Stream(usize, Channel),
    /// Under test − reference.
    Difference,
}

/// The series drawn in a lane, those that matter most last (so on top).
pub fn series(state: &State, lane: Lane) -> Vec<Series> {
    let Lane::Channel(channel) = lane else {
        return vec![Series::Difference];
    };
    let mut shown: Vec<usize> = (0..state.aligned.tracks.len())
        .filter(|index| state.hidden.get(*index) != Some(&true))
        .filter(|index| state.aligned.tracks[*index].column(channel).is_some())
        .collect();
    let rank = |index: &usize| {
        use crate::session::Role;
        let role = match state.aligned.tracks[*index].role {
            Role::Context => 0,
            Role::Reference => 1,
            Role::UnderTest => 2,
        };
        (*index == state.stream, role)
    };
    shown.sort_by_key(rank);
    shown
        .into_iter()
        .map(|i| Series::Stream(i, channel))
        .collect()
}

/// The time that dot column `x` of `columns` over `shown` stands for.
pub fn dot_span(shown: Span, x: usize, columns: usize) -> Span {
    let step_s = shown.duration_s() / columns.max(1) as f64;
    Span {
        from_s: shown.from_s + step_s * x as f64,
        to_s: shown.from_s + step_s * (x + 1) as f64,
    }
}

/// Smallest and largest value of a series over a dot's time; where samples are further apart than
/// dots, each sample fills the half interval on either side of it, and no more.
pub fn extent(state: &State, series: Series, span: Span) -> Option<Extent> {
    if state.smooth_s > 1 {
        return smoothed(state, series, span);
    }
    match series {
        Series::Stream(index, channel) => {
            let track = state.aligned.tracks.get(index)?;
            let interval_s = track.source().samples()?.median_interval_s().unwrap_or(1.0);
            track.extent(channel, widened(span, interval_s.min(60.0)))
        }
        Series::Difference if state.percent => {
            let rows = rows_of(state.aligned.grid, span);
            extent_of(rows.filter_map(|row| value(state, series, row)))
        }
        Series::Difference => {
            let (under_test, basis) = (state.under_test()?, state.basis()?);
            let comparison = state.aligned.comparison(under_test, basis)?;
            comparison.extent_w(rows_of(state.aligned.grid, span))
        }
    }
}

fn widened(span: Span, interval_s: f64) -> Span {
    let least_s = interval_s * 1.02;
    if span.duration_s() >= least_s {
        return span;
    }
    let middle_s = 0.5 * (span.from_s + span.to_s);
    Span {
        from_s: middle_s - 0.5 * least_s,
        to_s: middle_s + 0.5 * least_s,
    }
}

/// Rows whose half-step surroundings touch `span`.
fn rows_of(grid: Grid, span: Span) -> Range<usize> {
    grid.rows(widened(span, grid.step_s))
}

/// The value of a series at a grid row.
pub fn value(state: &State, series: Series, row: usize) -> Option<f64> {
    let aligned = &state.aligned;
    let value = match series {
        Series::Stream(index, channel) => *aligned.tracks.get(index)?.column(channel)?.get(row)?,
        Series::Difference => {
            let (under_test, basis) = (state.under_test()?, state.basis()?);
            let difference_w = *aligned
                .comparison(under_test, basis)?
                .difference_w()
                .get(row)?;
            if state.percent {
                let level_w = *aligned.power(basis)?.get(row)?;
                let tells = level_w >= PERCENT_FROM_W;
                if tells {
                    100.0 * difference_w / level_w
                } else {
                    f64::NAN
                }
            } else {
                difference_w
            }
        }
    };
    value.is_finite().then_some(value)
}

fn extent_of(values: impl Iterator<Item = f64>) -> Option<Extent> {
    values.fold(None, |extent: Option<Extent>, v| {
        Some(extent.map_or(Extent { min: v, max: v }, |e| Extent {
            min: e.min.min(v),
            max: e.max.max(v),
        }))
    })
}

/// The same of moving means; where the middle of a mean is missing, so is the mean.
fn smoothed(state: &State, series: Series, span: Span) -> Option<Extent> {
    let half = (state.smooth_s / 2) as usize;
    let rows = rows_of(state.aligned.grid, span);
    extent_of(rows.filter_map(|row| {
        value(state, series, row)?;
        let around = row.saturating_sub(half)..=row + half;
        let (n, sum) = around
            .filter_map(|row| value(state, series, row))
            .fold((0usize, 0.0), |(n, sum), v| (n + 1, sum + v));
        Some(sum / n as f64)
    }))
}

/// What the claim allows at the time of a dot, in the unit of the difference lane: lowest and
/// highest difference.
pub fn allowed(state: &State, span: Span) -> Option<Extent> {
    let rows = rows_of(state.aligned.grid, span);
    let totals = state.aligned.power_totals(state.basis()?, rows)?;
    if totals.n == 0 {
        return None;
    }
    let (middle_w, half_w) = state.allowed_w(totals.mean)?;
    let per_watt = match (state.percent, totals.mean >= PERCENT_FROM_W) {
        (false, _) => 1.0,
        (true, true) => 100.0 / totals.mean,
        (true, false) => return None,
    };
    Some(Extent {
        min: (middle_w - half_w) * per_watt,
        max: (middle_w + half_w) * per_watt,
    })
}

/// What a series shows at each of `columns` dot columns.
pub fn extents(state: &State, series: Series, columns: usize) -> Vec<Option<Extent>> {
    let at = |x| extent(state, series, dot_span(state.shown, x, columns));
    (0..columns).map(at).collect()
}

/// The scale of a lane: held, or fitted to what is shown of its series.
pub fn scale(state: &State, lane: Lane, shown: &[Vec<Option<Extent>>]) -> Scale {
    let place = Lane::ALL.iter().position(|l| *l == lane);
    let held = state
        .held_scales
        .zip(place)
        .and_then(|(held, place)| held[place]);
    held.unwrap_or_else(|| fitted(state, lane, shown))
}

fn fitted(state: &State, lane: Lane, shown: &[Vec<Option<Extent>>]) -> Scale {
    let extents: Vec<Extent> = shown.iter().flatten().copied().flatten().collect();
    if lane == Lane::Difference {
        let columns = shown.first().map_or(0, Vec::len);
        return fitted_difference(state, &extents, columns);
    }
    let low = extents.iter().map(|e| e.min).reduce(f64::min);
    let high = extents.iter().map(|e| e.max).reduce(f64::max);
    let (Some(low), Some(high)) = (low, high) else {
        return Scale {
            low: 0.0,
            high: 100.0,
        };
    };
    let least = match lane {
        Lane::Channel(Channel::Power) => 20.0,
        Lane::Channel(Channel::Speed | Channel::Temperature) => 2.0,
        _ => 10.0,
    };
    // Zero is shown where it is near enough to cost little.
    let low = if (0.0..0.4 * high).contains(&low) {
        0.0
    } else {
        low
    };
    let middle = 0.5 * (low + high);
    let half = 0.5 * (high - low).max(least);
    let step = nice_step(2.0 * half / 4.0);
    Scale {
        low: ((middle - half) / step).floor() * step,
        high: ((middle + half) / step).ceil() * step,
    }
}

/// Share of the dot columns of the difference that the scale takes in whole; the others are cut
/// and marked as cut, so that one sprint does not flatten an hour.
const DIFFERENCE_SHARE: f64 = 0.92;

fn fitted_difference(state: &State, extents: &[Extent], columns: usize) -> Scale {
    let mut sizes: Vec<f64> = extents
        .iter()
        .map(|e| e.max.abs().max(e.min.abs()))
        .collect();
    sizes.sort_by(f64::total_cmp);
    let usual = sizes.get((sizes.len() as f64 * DIFFERENCE_SHARE) as usize);
    let usual = usual.or(sizes.last()).copied().unwrap_or(0.0);
    let mut limits: Vec<f64> = (0..columns)
        .filter_map(|x| allowed(state, dot_span(state.shown, x, columns)))
        .map(|allowed| allowed.min.abs().max(allowed.max.abs()))
        .collect();
    limits.sort_by(f64::total_cmp);
    let limit = limits.get(limits.len() * 3 / 4).copied().unwrap_or(0.0);
    let reach = usual.max(1.5 * limit).max(1.0);
    let step = nice_step(reach / 2.0);
    let high = (reach / step).ceil() * step;
    Scale { low: -high, high }
}

/// The next larger of 1, 2, 5 times a power of ten.
pub fn nice_step(rough: f64) -> f64 {
    let power = 10f64.powf(rough.max(1e-6).log10().floor());
    let times = [1.0, 2.0, 5.0, 10.0];
    let wanted = rough / power;
    times
        .into_iter()
        .find(|t| *t >= wanted - 1e-9)
        .unwrap_or(10.0)
        * power
}

/// Steps of a time axis, s.
const TIME_STEPS_S: [f64; 16] = [
    1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0,
    14400.0, 28800.0,
];

/// Moments to label on a time axis of `columns` cells: at least `apart` cells from one another.
pub fn time_marks(shown: Span, columns: u16, apart: u16) -> Vec<f64> {
    let least_s = shown.duration_s() * f64::from(apart) / f64::from(columns.max(1));
    let step_s = TIME_STEPS_S
        .into_iter()
        .find(|step| *step >= least_s)
        .unwrap_or_else(|| (least_s / 86400.0).ceil() * 86400.0);
    let first = (shown.from_s / step_s).ceil() as i64;
    let last = (shown.to_s / step_s).floor() as i64;
    (first..=last).map(|i| i as f64 * step_s).collect()
}

/// The cell of a plot in which `t_s` falls.
pub fn column_of(plot: Rect, shown: Span, t_s: f64) -> Option<u16> {
    let share = (t_s - shown.from_s) / shown.duration_s();
    let column = (share * f64::from(plot.width)).floor();
    let inside = (0.0..=1.0).contains(&share) && plot.width > 0;
    inside.then(|| plot.x + (column as u16).min(plot.width - 1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_one_two_or_five() {
        assert_eq!(nice_step(3.0), 5.0);
        assert_eq!(nice_step(0.07), 0.1);
        assert_eq!(nice_step(100.0), 100.0);
        assert_eq!(nice_step(101.0), 200.0);
    }

    #[test]
    fn time_marks_are_round_and_apart() {
        let shown = Span {
            from_s: 10.0,
            to_s: 610.0,
        };
        assert_eq!(
            time_marks(shown, 60, 10),
            [120.0, 240.0, 360.0, 480.0, 600.0]
        );
        let hour = Span {
            from_s: 0.0,
            to_s: 21_600.0,
        };
        assert_eq!(time_marks(hour, 40, 10), [0.0, 7200.0, 14_400.0, 21_600.0]);
    }
}
