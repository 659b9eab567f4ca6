//! The list of segments.

use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::layout::first_segment_row;
use super::super::state::State;
use super::super::text::{self, signed};
use super::panel::{NetBias, outcome_mark, outcome_of, outcome_word};
use super::pen::{Pen, Text};
use crate::text::field;

/// Columns of the list from which on it shows notes, and where.
const WITH_NOTE: u16 = 100;
const NOTE_AT: u16 = 84;

pub fn draw(state: &State, area: Rect, pen: &mut Pen<'_>) {
    if area.height == 0 {
        return;
    }
    head(state, area, pen);
    let first = first_segment_row(state, area);
    let rows = usize::from(area.height - 1);
    for (row, index) in (first..state.session().segments.len())
        .take(rows)
        .enumerate()
    {
        let y = area.y + 1 + row as u16;
        pen.line(area.x, y, area.width, &line(state, index, area.width));
        if state.selected == Some(index) {
            pen.style(Rect::new(area.x, y, area.width, 1), state.look.selected());
        }
    }
    let count = state.session().segments.len();
    if count > rows && area.width >= 80 {
        let last = (first + rows).min(count);
        let text = format!(" {}-{last} of {count}", first + 1);
        let columns = text.len() as u16;
        let style = state.look.strong();
        pen.write(area.right() - columns, area.y, columns, &text, style);
    }
    if count == 0 && area.height > 1 {
        let text = "  none yet: brush a window and tag it";
        pen.write(area.x, area.y + 1, area.width, text, state.look.faint());
    }
}

fn head(state: &State, area: Rect, pen: &mut Pen<'_>) {
    // The verdict is on what the allowance leaves.
    let percent = if allows(state) { " net %" } else { "bias %" };
    let Widths { time, length } = Widths::of(state);
    let columns = format!(
        "no. {:<12} {:<time$} {:<time$} {:>length$} set pt bias W {percent} verdict",
        "kind", "from", "to", "length"
    );
    let head = field(&columns, usize::from(area.width), ' ');
    let style = state
        .look
        .faint()
        .add_modifier(ratatui::style::Modifier::UNDERLINED);
    pen.write(area.x, area.y, area.width, &head, style);
    if area.width >= WITH_NOTE {
        pen.write(
            area.x + NOTE_AT,
            area.y,
            area.width - NOTE_AT,
            "note",
            style,
        );
    }
}

/// Columns of the times and of the lengths: the same in every line.
struct Widths {
    time: usize,
    length: usize,
}

impl Widths {
    /// As wide as the end of the ride reads, so that no line pushes its neighbours.
    fn of(state: &State) -> Self {
        let ride = state.ride();
        let longest = text::time(ride.to_s, state.long()).len();
        let length = text::duration(ride.duration_s()).len();
        Self {
            time: longest.max(7),
            length: length.max(6),
        }
    }
}

fn allows(state: &State) -> bool {
    state.session().allowance().percent != 0.0
}

fn line(state: &State, index: usize, width: u16) -> Text {
    let Some(segment) = state.session().segments.get(index) else {
        return Text::default();
    };
    let long = state.long();
    let figures = state.lines.get(index);
    let agreement = figures.and_then(|figures| state.compared(figures));
    let percent = if allows(state) {
        agreement.and_then(|a| NetBias::of(state, a)?.net_percent())
    } else {
        agreement.and_then(|a| a.bias_percent)
    };
    let outcome = outcome_of(figures.and_then(|figures| state.judged(figures)));
    let (mark, style) = outcome_mark(state.look, outcome);
    let set_point = segment
        .set_point_w
        .map_or_else(|| "-".to_owned(), |w| format!("{w:.0} W"));
    let Widths { time, length } = Widths::of(state);
    let line = Text::default()
        .with(
            format!(
                "{:>3} {:<12} {:<time$} {:<time$} {:>length$} {set_point:>6} {} {} ",
                index + 1,
                segment.kind.word(),
                text::time(segment.from_s, long),
                text::time(segment.to_s, long),
                text::duration(segment.duration_s()),
                signed(agreement.and_then(|a| a.bias_w), 6, 1),
                signed(percent, 6, 2),
            ),
            Style::new(),
        )
        .with(format!("{mark} {}", outcome_word(outcome)), style);
    if width < WITH_NOTE {
        return line;
    }
    let used = line.plain().chars().count();
    let pad = " ".repeat(usize::from(NOTE_AT).saturating_sub(used));
    line.with(format!("{pad}{}", segment.note), Style::new())
}
