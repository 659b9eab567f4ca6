//! The traces of the lanes: prepared where the state changes, and taken from there as they are drawn.

use std::borrow::Cow;
use std::sync::Arc;

use super::super::layout::Layout;
use super::super::smooth::Series;
use super::super::state::{Lane, Scale, State, View};
use super::super::traced::{Basis, Trace, Traced};
use super::picture::{Columns, allowed, scale, series};

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
    if state.traced.as_ref().is_some_and(holds) {
        return;
    }
    let columns = Columns::new(state, of.cells);
    let traces = wanted
        .into_iter()
        .map(|series| (series, columns.trace(series)));
    let traces = traces.collect();
    state.traced = Some(Traced { of, traces });
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
                for (series, trace) in wanted.iter().zip(&taken) {
                    assert_eq!(**trace, columns.trace(*series), "{key} {series:?}");
                }
            }
        }
    }
}
