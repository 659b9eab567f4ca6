//! The mouse: drag to brush, wheel to zoom, click to move the cursor or to select a segment.

use super::super::layout::Layout;
use super::super::state::{Held, Mode, State};
use super::{Deed, Mouse, edit, motion};
use crate::timeline::Span;

pub(super) fn act(state: &mut State, mouse: Mouse) {
    if !matches!(state.mode, Mode::View | Mode::Clock) {
        return;
    }
    let layout = Layout::of(state);
    let over_strip = (layout.strip.y..layout.strip.bottom()).contains(&mouse.row);
    let at_s = if over_strip {
        layout.strip_time_at(state.ride(), mouse.column)
    } else if layout.in_lanes(mouse.row) || state.drag_from_s.is_some() {
        layout.time_at(state.shown, mouse.column)
    } else {
        None
    };
    match (mouse.deed, at_s) {
        (Deed::Press, Some(t_s)) if over_strip => {
            let half_s = 0.5 * state.shown.duration_s();
            motion::show(
                state,
                Span {
                    from_s: t_s - half_s,
                    to_s: t_s + half_s,
                },
            );
            state.brush.held = Held::Nothing;
            motion::go_to(state, t_s);
        }
        (Deed::Press, Some(t_s)) => {
            state.brush.held = Held::Nothing;
            motion::go_to(state, t_s);
            state.drag_from_s = Some(state.cursor_s);
        }
        (Deed::Press, None) => {
            let first = layout.segments.y + 1;
            if mouse.row >= first && mouse.row < layout.segments.bottom() {
                let row = usize::from(mouse.row - first);
                let offset = super::super::draw::first_segment_row(state, layout.segments);
                edit::choose(state, offset + row);
            }
        }
        (Deed::Drag, Some(t_s)) => {
            if let Some(anchor_s) = state.drag_from_s {
                state.selected = None;
                state.brush.held = Held::Edge { anchor_s };
                motion::go_to(state, t_s);
                state.brush.held = Held::Nothing;
            }
        }
        (Deed::Release, _) => state.drag_from_s = None,
        (Deed::WheelUp, Some(t_s)) => motion::zoom(state, t_s, true),
        (Deed::WheelDown, Some(t_s)) => motion::zoom(state, t_s, false),
        (Deed::Drag | Deed::WheelUp | Deed::WheelDown, None) => {}
    }
}
