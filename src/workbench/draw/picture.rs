//! What a lane shows at each dot column, and its vertical scale.

use std::cell::OnceCell;
use std::ops::Range;

use ratatui::layout::Rect;

use super::super::layout::Layout;
use super::super::smooth::Series;
use super::super::state::{Lane, Scale, State};
use super::dots::ACROSS;
use crate::picture::claim::allowed_w;
use crate::picture::ticks::{clock_step_s, multiples, round_step};
use crate::recording::Channel;
use crate::timeline::{Comparison, Extent, Grid, PERCENT_FROM_W, Span, Stretches};

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
fn dot_span(shown: Span, x: usize, columns: usize) -> Span {
    let step_s = shown.duration_s() / columns.max(1) as f64;
    Span {
        from_s: shown.from_s + step_s * x as f64,
        to_s: shown.from_s + step_s * (x + 1) as f64,
    }
}

/// The time of each of `columns` dot columns over `shown`.
pub fn dot_spans(shown: Span, columns: usize) -> impl ExactSizeIterator<Item = Span> {
    (0..columns).map(move |x| dot_span(shown, x, columns))
}

/// The dot columns of a picture of what is shown. The rows that a column stands for are found
/// once for all lanes.
pub struct Columns<'a> {
    state: &'a State,
    count: usize,
    of_grid: OnceCell<Stretches>,
    of_streams: Vec<OnceCell<Stretches>>,
}

impl<'a> Columns<'a> {
    /// As many as there are dots side by side in `cells` cells.
    pub fn new(state: &'a State, cells: u16) -> Self {
        Self {
            state,
            count: usize::from(cells) * ACROSS,
            of_grid: OnceCell::new(),
            of_streams: vec![OnceCell::new(); state.aligned.tracks.len()],
        }
    }

    /// Smallest and largest value of a series at each dot column; where samples are further apart
    /// than dots, each sample fills the half interval on either side of it, and no more.
    ///
    /// Costs as much as there are columns, whatever the length of the ride.
    pub fn extents(&self, series: Series) -> Vec<Option<Extent>> {
        let state = self.state;
        let shown = if state.smooth_s > 1 {
            let smoothed = state.smoothed.as_ref().and_then(|s| s.get(series));
            smoothed.map(|smoothed| smoothed.extents(self.of_grid()))
        } else {
            match series {
                Series::Stream(index, channel) => self.recorded(index, channel),
                Series::Difference => self.difference(),
            }
        };
        shown.unwrap_or_else(|| vec![None; self.count])
    }

    fn recorded(&self, index: usize, channel: Channel) -> Option<Vec<Option<Extent>>> {
        let track = self.state.aligned.tracks.get(index)?;
        let stretches = self.of_streams.get(index)?.get_or_init(|| {
            let samples = track.source().samples();
            let interval_s = samples.and_then(|samples| samples.median_interval_s());
            let least_s = interval_s.unwrap_or(1.0).min(60.0);
            track.stretches(self.spans().map(|span| widened(span, least_s)))
        });
        track.extents(channel, stretches)
    }

    fn difference(&self) -> Option<Vec<Option<Extent>>> {
        let comparison = compared(self.state)?;
        if !self.state.percent {
            return Some(comparison.extents_w(self.of_grid()));
        }
        let (aligned, grid) = (&self.state.aligned, self.state.aligned.grid);
        let rows = self.spans().map(|span| rows_of(grid, span));
        Some(
            rows.map(|rows| aligned.extent_percent(comparison, rows))
                .collect(),
        )
    }

    fn of_grid(&self) -> &Stretches {
        let grid = self.state.aligned.grid;
        let rows = || self.spans().map(|span| rows_of(grid, span)).collect();
        self.of_grid.get_or_init(rows)
    }

    fn spans(&self) -> impl Iterator<Item = Span> + use<> {
        dot_spans(self.state.shown, self.count)
    }
}

/// The comparison that the difference lane shows.
fn compared(state: &State) -> Option<&Comparison> {
    state
        .aligned
        .comparison(state.under_test()?, state.basis()?)
}

pub fn widened(span: Span, interval_s: f64) -> Span {
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

/// The value of a series at a grid row, unsmoothed.
pub fn value(state: &State, series: Series, row: usize) -> Option<f64> {
    let aligned = &state.aligned;
    let value = match series {
        Series::Stream(index, channel) => *aligned.tracks.get(index)?.column(channel)?.get(row)?,
        Series::Difference if state.percent => aligned.difference_percent(compared(state)?, row)?,
        Series::Difference => *compared(state)?.difference_w().get(row)?,
    };
    value.is_finite().then_some(value)
}

/// What the claim allows at each of `columns` columns of a lane, in the unit of the difference:
/// lowest and highest; nothing in the other lanes.
pub fn allowed(state: &State, lane: Lane, columns: usize) -> Vec<Option<Extent>> {
    let grid = state.aligned.grid;
    let (Lane::Difference, Some(under_test), Some(basis)) =
        (lane, state.under_test(), state.basis())
    else {
        return Vec::new();
    };
    let at = |span: Span| {
        let rows = rows_of(grid, span);
        let level_w = state.aligned.power_level_w(basis, rows)?;
        let (middle_w, half_w) = allowed_w(state.session(), under_test, level_w)?;
        let per_watt = match (state.percent, level_w >= PERCENT_FROM_W) {
            (false, _) => 1.0,
            (true, true) => 100.0 / level_w,
            (true, false) => return None,
        };
        Some(Extent {
            min: (middle_w - half_w) * per_watt,
            max: (middle_w + half_w) * per_watt,
        })
    };
    dot_spans(state.shown, columns).map(at).collect()
}

/// The scale of a lane: held, or fitted to what is shown of its series.
///
/// `allowed` is what the claim allows, for the difference.
pub fn scale(
    state: &State,
    lane: Lane,
    shown: &[Vec<Option<Extent>>],
    allowed: &[Option<Extent>],
) -> Scale {
    let index = Lane::ALL.iter().position(|l| *l == lane);
    let held = state
        .held_scales
        .zip(index)
        .and_then(|(held, index)| held[index]);
    held.unwrap_or_else(|| fitted(lane, shown, allowed))
}

fn fitted(lane: Lane, shown: &[Vec<Option<Extent>>], allowed: &[Option<Extent>]) -> Scale {
    let extents = shown.iter().flatten().flatten();
    if lane == Lane::Difference {
        return fitted_difference(extents, allowed);
    }
    let Some(Extent {
        min: low,
        max: high,
    }) = extents.copied().reduce(Extent::join)
    else {
        return Scale {
            low: 0.0,
            high: 100.0,
        };
    };
    let least = match lane {
        Lane::Channel(Channel::Power) => 20.0,
        Lane::Channel(Channel::Speed | Channel::Temperature | Channel::Grade) => 2.0,
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
    let step = round_step(2.0 * half / 4.0);
    Scale {
        low: ((middle - half) / step).floor() * step,
        high: ((middle + half) / step).ceil() * step,
    }
}

/// Share of the dot columns of the difference that the scale takes in whole; the others are cut
/// and marked as cut, so that one sprint does not flatten an hour.
const DIFFERENCE_SHARE: f64 = 0.92;

fn fitted_difference<'a>(
    extents: impl Iterator<Item = &'a Extent>,
    allowed: &[Option<Extent>],
) -> Scale {
    let size = |e: &Extent| e.max.abs().max(e.min.abs());
    let usual = ranked(extents.map(size).collect(), DIFFERENCE_SHARE);
    let limit = ranked(allowed.iter().flatten().map(size).collect(), 0.75);
    let reach = usual.max(1.5 * limit).max(1.0);
    let step = round_step(reach / 2.0);
    let high = (reach / step).ceil() * step;
    Scale { low: -high, high }
}

/// The value that this share of `values` lies below; 0 without values.
fn ranked(mut values: Vec<f64>, share: f64) -> f64 {
    let index = (values.len() as f64 * share) as usize;
    if index >= values.len() {
        return values.into_iter().reduce(f64::max).unwrap_or(0.0);
    }
    *values.select_nth_unstable_by(index, f64::total_cmp).1
}

/// Moments to label on a time axis of `columns` cells: at least `apart` cells from one another.
pub fn time_marks(shown: Span, columns: u16, apart: u16) -> Vec<f64> {
    let least_s = shown.duration_s() * f64::from(apart) / f64::from(columns.max(1));
    let step_s = clock_step_s(least_s);
    multiples([shown.from_s, shown.to_s], step_s).collect()
}

/// The cell of a plot in which `t_s` falls.
pub fn column_of(plot: Rect, shown: Span, t_s: f64) -> Option<u16> {
    let share = (t_s - shown.from_s) / shown.duration_s();
    let column = (share * f64::from(plot.width)).floor();
    let inside = (0.0..=1.0).contains(&share) && plot.width > 0;
    inside.then(|| plot.x + (column as u16).min(plot.width - 1))
}

/// The vertical scales as they are drawn now.
pub fn scales(state: &State) -> [Option<Scale>; Lane::ALL.len()] {
    let layout = Layout::of(state);
    let cells = layout.lane_cells();
    let columns = Columns::new(state, cells);
    Lane::ALL.map(|lane| {
        layout.lanes.iter().find(|(shown, _)| *shown == lane)?;
        let series = series(state, lane).into_iter();
        let shown: Vec<_> = series.map(|s| columns.extents(s)).collect();
        let allowed = allowed(state, lane, usize::from(cells));
        Some(scale(state, lane, &shown, &allowed))
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::workbench::bench::{press, state};

    /// What every sample (or grid row) of a dot column's time spans, looked at one by one.
    fn scanned(state: &State, series: Series, columns: usize) -> Vec<Option<Extent>> {
        let join = |extent: Option<Extent>, v: f64| {
            Some(extent.map_or(Extent { min: v, max: v }, |e| Extent {
                min: e.min.min(v),
                max: e.max.max(v),
            }))
        };
        let of_rows = |span: Span| {
            let rows = rows_of(state.aligned.grid, span);
            rows.filter_map(|row| value(state, series, row))
                .fold(None, join)
        };
        let of_samples = |span: Span, index: usize, channel: Channel| {
            let track = &state.aligned.tracks[index];
            let samples = track.source().samples().unwrap();
            let span = widened(span, samples.median_interval_s().unwrap());
            let times = samples.time_s().iter().map(|t| track.clock.to_session(*t));
            let values = samples.column(channel).unwrap();
            times
                .zip(values)
                .filter(|(t_s, v)| span.contains(*t_s) && v.is_finite())
                .map(|(_, v)| *v)
                .fold(None, join)
        };
        dot_spans(state.shown, columns)
            .map(|span| match series {
                Series::Difference => of_rows(span),
                Series::Stream(index, channel) => of_samples(span, index, channel),
            })
            .collect()
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        #[test]
        fn the_picture_shows_what_every_sample_shows(
            from_s in -100.0..1700.0_f64,
            length_s in 5.0..2000.0_f64,
            // So many that no edge is moved to a node of the pyramid.
            cells in 22u16..200,
            percent: bool,
        ) {
            let mut state = state();
            state.shown = Span::new(from_s, from_s + length_s);
            state.percent = percent;
            let columns = Columns::new(&state, cells);
            let count = usize::from(cells) * ACROSS;
            for series in [
                Series::Difference,
                Series::Stream(0, Channel::Power),
                Series::Stream(2, Channel::Power),
                Series::Stream(1, Channel::Cadence),
                Series::Stream(1, Channel::Speed),
            ] {
                if series == Series::Stream(1, Channel::Speed) {
                    prop_assert_eq!(columns.extents(series), vec![None; count]);
                } else {
                    let shown = columns.extents(series);
                    prop_assert_eq!(shown, scanned(&state, series, count), "{:?}", series);
                }
            }
        }
    }

    #[test]
    fn a_smoothed_picture_is_prepared_before_it_is_drawn_and_follows_what_it_is_of() {
        let mut state = state();
        press(&mut state, "f f");
        assert_eq!(state.smooth_s, 5);
        let power = Series::Stream(0, Channel::Power);
        let mean = |row: usize, series| {
            let rows = row - 2..=row + 2;
            rows.map(|row| value(&state, series, row).unwrap())
                .sum::<f64>()
                / 5.0
        };
        let at = |state: &State, series, row: usize| {
            let smoothed = state.smoothed.as_ref().unwrap().get(series);
            let rows = std::iter::once(row..row + 1).collect();
            smoothed.unwrap().extents(&rows)[0].unwrap().max
        };
        for row in [100, 602, 1200] {
            assert!((at(&state, power, row) - mean(row, power)).abs() < 1e-9);
            let difference = Series::Difference;
            assert!((at(&state, difference, row) - mean(row, difference)).abs() < 1e-9);
        }
        let in_watts = at(&state, Series::Difference, 100);
        press(&mut state, "%");
        assert_ne!(at(&state, Series::Difference, 100), in_watts);
        press(&mut state, "f f f");
        assert!(state.smoothed.is_none());
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
