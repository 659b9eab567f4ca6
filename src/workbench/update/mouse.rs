//! The mouse: drag to brush, wheel to zoom, click to move the cursor or to select a segment; the
//! wheel also scrolls whatever has more lines than room.

use super::super::action::entry::Context;
use super::super::event::{Mouse, MouseEvent};
use super::super::layout::{Layout, first_segment_row};
use super::super::state::{Held, Mode, View};
use super::{edit, motion, prompt};
use crate::timeline::Span;

/// Lines of a list that a turn of the wheel scrolls.
const WHEEL_LINES: isize = 3;

pub fn act(context: &mut Context<'_>, mouse: Mouse) {
    let state = &mut *context.state;
    let turned = match mouse.event {
        MouseEvent::WheelUp => Some(false),
        MouseEvent::WheelDown => Some(true),
        MouseEvent::Press | MouseEvent::Drag | MouseEvent::Release => None,
    };
    match (&state.mode, turned) {
        (Mode::View | Mode::Clock, _) => {}
        (Mode::Help(_) | Mode::Log(_), Some(down)) => {
            prompt::scroll(context, if down { WHEEL_LINES } else { -WHEEL_LINES });
            return;
        }
        _ => return,
    }
    let layout = Layout::of(state);
    let over_panel = mouse.column >= layout.panel.x && layout.panel.width > 0;
    let over_lanes = state.view == View::Ride && layout.in_lanes(mouse.row);
    let over_strip = (layout.strip.y..layout.strip.bottom()).contains(&mouse.row);
    let at_s = if over_strip {
        layout.strip_time_at(state.ride(), mouse.column)
    } else if over_lanes || state.drag_from_s.is_some() {
        layout.time_at(state.shown, mouse.column)
    } else {
        None
    };
    match (mouse.event, at_s) {
        (MouseEvent::Press, Some(t_s)) if over_strip => {
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
        (MouseEvent::Press, Some(t_s)) => {
            state.brush.held = Held::Nothing;
            motion::go_to(state, t_s);
            state.drag_from_s = Some(state.cursor_s);
        }
        (MouseEvent::Press, None) if state.view == View::Ride => {
            let first = layout.segments.y;
            if mouse.row >= first && mouse.row < layout.segments.bottom() {
                let row = usize::from(mouse.row - first);
                let offset = first_segment_row(state, layout.segments);
                edit::choose(state, offset + row);
            }
        }
        (MouseEvent::Drag, Some(t_s)) => {
            if let Some(anchor_s) = state.drag_from_s {
                state.selected = None;
                state.brush.held = Held::Edge { anchor_s };
                motion::go_to(state, t_s);
                state.brush.held = Held::Nothing;
            }
        }
        (MouseEvent::Release, _) => state.drag_from_s = None,
        (MouseEvent::WheelUp, Some(t_s)) => motion::zoom(state, t_s, true),
        (MouseEvent::WheelDown, Some(t_s)) => motion::zoom(state, t_s, false),
        (MouseEvent::WheelUp | MouseEvent::WheelDown, None)
            if state.view != View::Ride || over_panel =>
        {
            prompt::more(context, mouse.event == MouseEvent::WheelDown);
        }
        (
            MouseEvent::Press | MouseEvent::Drag | MouseEvent::WheelUp | MouseEvent::WheelDown,
            None,
        ) => {}
    }
}
