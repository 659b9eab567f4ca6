//! The traces of the lanes: prepared where the state changes, and taken from there as they are drawn.

use std::borrow::Cow;
use std::sync::Arc;

use ratatui::layout::Rect;

use super::super::layout::Layout;
use super::super::smooth::Series;
use super::super::state::{Lane, Scale, State, View};
use super::super::traced::{Basis, LaneDots, Trace, Traced};
use super::dots::{BEHIND, Dots};
use super::picture::{Columns, allowed, scale, series};
use crate::session::Role;

/// Prepares those that the ride view is about to draw, where those at hand do not hold.
pub fn prepare(state: &mut State) {
    if state.view != View::Ride {
        return;
    }
    let layout = Layout::of(state);
    let of = basis(state, layout.lane_cells());
    let lanes = layout.lanes.iter();
    let wanted: Vec<Series> = lanes.flat_map(|(lane, _)| series(state, *lane)).collect();
    let holds = |known: &Traced| known.of == of && wanted.iter().all(|s| known.get(*s).is_some());
    if !state.traced.as_ref().is_some_and(holds) {
        let columns = Columns::new(state, of.cells);
        let traces = wanted
            .into_iter()
            .map(|series| (series, columns.trace(series)));
        let traces = traces.collect();
        let lanes = Vec::new();
        state.traced = Some(Traced { of, traces, lanes });
    }
    let lanes = layout.lanes.iter().filter_map(|(lane, area)| {
        let plot = Layout::plot(*area);
        (plot.width > 0 && plot.height > 0).then(|| kept(state, *lane, plot))
    });
    let lanes = lanes.collect();
    if let Some(traced) = &mut state.traced {
        traced.lanes = lanes;
    }
}

/// The dots of a lane to be kept: those at hand where they hold.
fn kept(state: &State, lane: Lane, plot: Rect) -> LaneDots {
    let series = series(state, lane);
    let shown = traces(state, plot.width, &series);
    let allowed = allowed(state, lane, usize::from(plot.width));
    let scale = scale(state, lane, usize::from(plot.height), &shown, &allowed);
    LaneDots {
        cells: lane_dots(state, (lane, plot), (scale, &series, &shown)).into_cells(),
        size: (plot.width, plot.height),
        lane,
        scale,
        series,
    }
}

/// The dots of a lane: those prepared where they are of the state as it is.
pub fn lane_dots(
    state: &State,
    (lane, plot): (Lane, Rect),
    (scale, series, shown): (Scale, &[Series], &[Cow<'_, Trace>]),
) -> Dots {
    let of = basis(state, plot.width);
    let prepared = state.traced.as_ref().filter(|traced| traced.of == of);
    let size = (plot.width, plot.height);
    let mut lanes = prepared.into_iter().flat_map(|traced| &traced.lanes);
    match lanes.find(|known| known.is(lane, size, scale, series)) {
        Some(known) => Dots::of_cells(plot, known.cells.clone()),
        None => drawn(state, plot, (scale, series, shown)),
    }
}

fn drawn(
    state: &State,
    plot: Rect,
    (scale, series, shown): (Scale, &[Series], &[Cow<'_, Trace>]),
) -> Dots {
    let mut dots = Dots::new(plot);
    // Over many seconds a column is a mean, and what the seconds span lies behind it.
    for trace in shown.iter().filter(|trace| trace.means.is_some()) {
        dots.trace(scale, BEHIND, &trace.extents);
    }
    let union = series.len() as u8;
    for (owner, (series, trace)) in series.iter().zip(shown).enumerate() {
        // A source over the references: where both have dots, neither is hidden.
        dots.unite(is_source(state, *series).then_some(union));
        dots.trace(scale, owner as u8, trace.line());
    }
    dots
}

fn is_source(state: &State, series: Series) -> bool {
    match series {
        Series::Stream(index, _) => {
            let track = state.aligned.tracks.get(index);
            track.is_some_and(|track| track.role == Role::UnderTest)
        }
        Series::Difference => false,
    }
}

/// The traces of these series: those prepared where they are of the state as it is.
pub fn traces<'a>(state: &'a State, cells: u16, wanted: &[Series]) -> Vec<Cow<'a, Trace>> {
    let of = basis(state, cells);
    let prepared = state.traced.as_ref().filter(|traced| traced.of == of);
    let columns = Columns::new(state, cells);
    let trace = |series: &Series| match prepared.and_then(|traced| traced.get(*series)) {
        Some(trace) => Cow::Borrowed(trace),
        None => Cow::Owned(columns.trace(*series)),
    };
    wanted.iter().map(trace).collect()
}

fn basis(state: &State, cells: u16) -> Basis {
    Basis {
        aligned: Arc::clone(&state.aligned),
        shown: state.shown,
        cells,
        smooth_s: state.smooth_s,
        percent: state.percent,
        loss_percent: state.session().allowance().percent,
        compared: state.under_test().zip(state.basis()),
    }
}

/// The vertical scales as they are drawn now.
pub fn scales(state: &State) -> [Option<Scale>; Lane::ALL.len()] {
    let layout = Layout::of(state);
    let cells = layout.lane_cells();
    Lane::ALL.map(|lane| {
        let (_, area) = layout.lanes.iter().find(|(shown, _)| *shown == lane)?;
        let shown = traces(state, cells, &series(state, lane));
        let allowed = allowed(state, lane, usize::from(cells));
        Some(scale(
            state,
            lane,
            usize::from(area.height),
            &shown,
            &allowed,
        ))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::workbench::bench::{press, state};

    #[test]
    fn what_is_prepared_is_what_would_be_drawn_after_every_key() {
        let mut state = state();
        let keys = "right z + + f f % R a down z tab v - ( ) f f % 3 4 b B";
        for key in keys.split(' ') {
            press(&mut state, key);
            let layout = Layout::of(&state);
            let cells = layout.lane_cells();
            for (lane, _) in &layout.lanes {
                let wanted = series(&state, *lane);
                let taken = traces(&state, cells, &wanted);
                assert!(taken.iter().all(|trace| matches!(trace, Cow::Borrowed(_))));
                let columns = Columns::new(&state, cells);
                let (_, area) = layout
                    .lanes
                    .iter()
                    .find(|(shown, _)| shown == lane)
                    .unwrap();
                let plot = Layout::plot(*area);
                let held = allowed(&state, *lane, usize::from(plot.width));
                let scale = scale(&state, *lane, usize::from(plot.height), &taken, &held);
                let kept = &state.traced.as_ref().unwrap().lanes;
                let size = (plot.width, plot.height);
                let kept = kept
                    .iter()
                    .find(|known| known.is(*lane, size, scale, &wanted));
                let anew = drawn(&state, plot, (scale, &wanted, &taken)).into_cells();
                assert_eq!(kept.unwrap().cells, anew, "{key} {lane:?}");
                for (series, trace) in wanted.iter().zip(&taken) {
                    assert_eq!(**trace, columns.trace(*series), "{key} {series:?}");
                }
            }
        }
    }
}
