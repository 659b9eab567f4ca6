//! What a lane shows at each dot column, and its vertical scale.

use std::borrow::Cow;
use std::cell::OnceCell;
use std::ops::Range;

use ratatui::layout::Rect;

use super::super::smooth::Series;
use super::super::state::{Lane, Scale, State};
use super::super::traced::Trace;
use super::dots::{ACROSS, DOWN};
use crate::picture::claim::{allowed_w, net_percent};
use crate::picture::ticks::{clock_step_s, multiples, round_step};
use crate::recording::Channel;
use crate::timeline::{Comparison, Extent, Grid, Member, PERCENT_FROM_W, Span, Stretches};

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

/// Seconds that a dot column stands for, from which on a trace is a mean over its range.
const CROWDED_S: f64 = 2.0;

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
    fn extents(&self, series: Series) -> Vec<Option<Extent>> {
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
        let mut shown = shown.unwrap_or_else(|| vec![None; self.count]);
        if series == Series::Difference && state.percent {
            for extent in shown.iter_mut().flatten() {
                *extent = Extent {
                    min: net(state, extent.min),
                    max: net(state, extent.max),
                };
            }
        }
        shown
    }

    /// What is drawn of a series.
    pub fn trace(&self, series: Series) -> Trace {
        let is_crowded = self.state.shown.duration_s() > CROWDED_S * self.count as f64;
        Trace {
            extents: self.extents(series),
            means: is_crowded.then(|| self.means(series)),
        }
    }

    /// Mean of a series at each dot column, of the values there are, as recorded; nothing of a stretch
    /// without any.
    fn means(&self, series: Series) -> Vec<Option<Extent>> {
        let (state, aligned) = (self.state, &self.state.aligned);
        let compared = state.under_test().zip(state.basis());
        let mean = |rows: Range<usize>| match (series, compared) {
            (Series::Stream(index, channel), _) => aligned.tracks.get(index)?.level(channel, rows),
            (Series::Difference, None) => None,
            (Series::Difference, Some((under_test, basis))) => {
                let under_test = Member::Stream(under_test);
                let [x, y] = aligned.pair_levels_w(under_test, basis, rows)?;
                match state.percent {
                    false => Some(x - y),
                    true => (y >= PERCENT_FROM_W).then(|| net(state, 100.0 * (x - y) / y)),
                }
            }
        };
        let level = |value: f64| Extent {
            min: value,
            max: value,
        };
        let grid = aligned.grid;
        self.spans()
            .map(|span| mean(rows_of(grid, span)).map(level))
            .collect()
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

/// A difference in % of the reference as one of the reference less the expected loss: what a verdict
/// holds against the claim.
fn net(state: &State, percent: f64) -> f64 {
    net_percent(percent, state.session().allowance().percent)
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
        Series::Difference if state.percent => {
            net(state, aligned.difference_percent(compared(state)?, row)?)
        }
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
        let ends = [middle_w - half_w, middle_w + half_w];
        let [min, max] = match (state.percent, level_w >= PERCENT_FROM_W) {
            (false, _) => ends,
            (true, true) => ends.map(|w| net(state, 100.0 * w / level_w)),
            (true, false) => return None,
        };
        Some(Extent { min, max })
    };
    dot_spans(state.shown, columns).map(at).collect()
}

/// The scale of a lane of `rows` rows: held, or fitted to what is shown of its series.
///
/// `allowed` is what the claim allows, for the difference.
pub fn scale(
    state: &State,
    lane: Lane,
    rows: usize,
    shown: &[Cow<'_, Trace>],
    allowed: &[Option<Extent>],
) -> Scale {
    let index = Lane::ALL.iter().position(|l| *l == lane);
    let held = state
        .held_scales
        .zip(index)
        .and_then(|(held, index)| held[index]);
    held.unwrap_or_else(|| fitted(lane, rows, shown, allowed))
}

/// Whether tenths of a channel's unit matter.
pub const fn tenths_matter(channel: Channel) -> bool {
    matches!(
        channel,
        Channel::Speed | Channel::Temperature | Channel::Grade | Channel::Torque
    )
}

fn fitted(lane: Lane, rows: usize, shown: &[Cow<'_, Trace>], allowed: &[Option<Extent>]) -> Scale {
    let extents = shown.iter().flat_map(|trace| &trace.extents).flatten();
    let Lane::Channel(channel) = lane else {
        return fitted_difference(rows, extents, allowed);
    };
    let Some(Extent {
        min: low,
        max: high,
    }) = extents.copied().reduce(Extent::join)
    else {
        return in_rows(rows, 0.0, 100.0);
    };
    let least = match channel {
        Channel::Power => 20.0,
        _ if tenths_matter(channel) => 2.0,
        _ => 10.0,
    };
    // Zero is shown where it is near enough to cost little.
    let low = if (0.0..0.3 * high).contains(&low) {
        0.0
    } else {
        low
    };
    let (middle, half) = (0.5 * (low + high), 0.5 * (high - low).max(least));
    let low = if low == 0.0 { low } else { middle - half };
    in_rows(rows, low, (middle + half).max(low + least))
}

/// Rows from one tick to the next, at most.
const MOST_ROWS: usize = 5;

/// The smallest scale over `rows` rows that holds `low` to `high` and has round ticks in the middle
/// of rows, a whole number of rows apart.
fn in_rows(rows: usize, low: f64, high: f64) -> Scale {
    let rows = rows.max(1);
    let needed = (high - low).max(1e-9) / rows as f64;
    let candidates = (1..=MOST_ROWS).flat_map(|apart| {
        // A row holds a fraction of a round step; the next larger steps for where a bound is crossed.
        let step = round_step(needed * apart as f64);
        let larger = round_step(1.01 * step);
        [step, larger, round_step(1.01 * larger)].map(|step| step / apart as f64)
    });
    let fits = candidates.filter_map(|row| {
        let first = (low / row + 0.5).floor();
        let bottom = (first - 0.5) * row;
        let holds = bottom + rows as f64 * row >= high - 1e-9 * row;
        holds.then_some((row, first * row))
    });
    let least = fits.min_by(|a, b| a.0.total_cmp(&b.0));
    let (row, first) = least.unwrap_or((needed, low));
    // The ends of a scale are the middles of its outer dots.
    let dot = row / DOWN as f64;
    Scale {
        low: first - 1.5 * dot,
        high: first + (rows - 1) as f64 * row + 1.5 * dot,
    }
}

/// The rows of a lane that have a tick, with its value: about one in two.
pub fn ticks(scale: Scale, rows: u16) -> Vec<(u16, f64)> {
    let height = usize::from(rows) * DOWN;
    let most = usize::from(rows / 2).max(1);
    let range = scale.high - scale.low;
    let mut step = round_step(range / (most as f64 + 1.0));
    while multiples([scale.low, scale.high], step).count() > most.max(2) {
        step = round_step(1.01 * step);
    }
    let found = multiples([scale.low, scale.high], step);
    found
        .map(|value| ((scale.row(value, height) / DOWN) as u16, value))
        .collect()
}

/// Share of the dot columns of the difference that the scale takes in whole where no claim sets it;
/// the others are cut and marked as cut, so that one sprint does not flatten an hour.
const DIFFERENCE_SHARE: f64 = 0.92;

/// A row is what the claim allows, from limit to limit, and a third of that from seven rows on: so the
/// claim is whole rows. Where the claim differs along the lane it is the larger one.
fn fitted_difference<'a>(
    rows: usize,
    extents: impl Iterator<Item = &'a Extent>,
    allowed: &[Option<Extent>],
) -> Scale {
    let widest = allowed.iter().flatten();
    let widest = widest.max_by(|a, b| (a.max - a.min).total_cmp(&(b.max - b.min)));
    if let Some(Extent { min, max }) = widest.filter(|allowed| allowed.max > allowed.min) {
        let (middle, share) = (0.5 * (min + max), if rows >= 7 { 3.0 } else { 1.0 });
        let row = (max - min) / share;
        // The middle row is the claim's, or the middle three are.
        let below = ((rows.max(1) - 1) / 2) as f64;
        let above = rows.max(1) as f64 - 1.0 - below;
        let dot = row / DOWN as f64;
        return Scale {
            low: middle - below * row - 1.5 * dot,
            high: middle + above * row + 1.5 * dot,
        };
    }
    let size = |e: &Extent| e.max.abs().max(e.min.abs());
    let reach = ranked(extents.map(size).collect(), DIFFERENCE_SHARE).max(1.0);
    in_rows(rows, -reach, reach)
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
