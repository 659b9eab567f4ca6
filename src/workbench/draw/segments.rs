//! The list of segments: what each is, where, and what it shows by the measure of its own kind.

use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::layout::first_segment_row;
use super::super::state::State;
use super::super::text;
use super::gauge;
use super::pen::{Pen, Text};
use super::sign::{ink, sign};
use crate::export::table::ShortRow;
use crate::picture::gauge::Gauge;
use crate::session::Segment;
use crate::text::{columns, field, fit};

/// Columns of the kind with its set point.
const KIND: usize = 13;
/// Columns of a gauge: three limits.
const GAUGE: u16 = 9;
/// Columns from which on a segment has its gauge.
const GAUGE_FROM: u16 = 76;

pub fn draw(state: &State, area: Rect, pen: &mut Pen<'_>) {
    let first = first_segment_row(state, area);
    let segments = &state.session().segments;
    let rows = usize::from(area.height);
    for (row, index) in (first..segments.len()).take(rows).enumerate() {
        let y = area.y + row as u16;
        line(
            state,
            index,
            Rect {
                y,
                height: 1,
                ..area
            },
            pen,
        );
    }
    if segments.is_empty() && area.height > 0 {
        let text = " no segment yet: brush a window and tag it";
        pen.write(area.x, area.y, area.width, text, state.look.faint());
    }
}

/// Columns of the times and of the lengths: as wide as the end of the ride reads, so that no line
/// pushes its neighbours.
fn widths(state: &State) -> (usize, usize) {
    let ride = state.ride();
    let longest = text::time(ride.to_s, state.long()).len();
    let length = text::duration(ride.duration_s()).len();
    (longest, length)
}

fn line(state: &State, index: usize, area: Rect, pen: &mut Pen<'_>) {
    let look = state.look;
    let Some(segment) = state.session().segments.get(index) else {
        return;
    };
    let chosen = state.selected == Some(index);
    let row = state.row_of(index);
    let finding = row.and_then(|row| row.finding);
    let bold = if chosen { look.strong() } else { Style::new() };
    let mark = if chosen { look.glyph('▌', '>') } else { ' ' };
    let (signed, tone) = finding.map_or((' ', Style::new()), |f| (sign(look, f), ink(look, f)));
    let (time, length) = widths(state);
    let number = (state.session().segments.len()).to_string().len().max(2);
    let head = Text::default()
        .with(mark.to_string(), look.strong())
        .with(format!("{signed} "), tone)
        .with(
            format!(
                "{:>number$} {} {:>time$} {:>length$} ",
                index + 1,
                field(&kind(segment), KIND, look.cut()),
                text::time(segment.from_s, state.long()),
                text::duration(segment.duration_s()),
            ),
            bold,
        );
    let mut x = area.x + columns(&head.plain()) as u16;
    pen.line(area.x, area.y, area.width, &head);
    if chosen {
        pen.style(area, look.chosen());
    }
    if area.width >= GAUGE_FROM {
        let gauge = Rect {
            x,
            width: GAUGE.min(area.right().saturating_sub(x)),
            ..area
        };
        let held = row.and_then(gauge_of).zip(finding);
        gauge::draw(look, held, gauge, pen);
        x += GAUGE + 2;
    }
    let words = match row {
        Some(row) => said(row, |error| error),
        None => "pending".to_owned(),
    };
    let note = match segment.note.as_str() {
        "" => String::new(),
        note => format!("  “{note}”"),
    };
    let room = area.right().saturating_sub(x + 1);
    let words = fit(
        &look.text(&format!("{words}{note}")),
        usize::from(room),
        look.cut(),
    );
    pen.write(x, area.y, room, &words, bold);
}

/// "steady 240 W".
pub fn kind(segment: &Segment) -> String {
    let word = segment.kind.word();
    let word = word.split_once('-').map_or(word, |(first, _)| first);
    match segment.set_point_w {
        Some(watts) => format!("{word} {watts:.0} W"),
        None => word.to_owned(),
    }
}

/// What the sign before it speaks of: the error of held power, worded by `error`, else what the kind
/// itself is measured by.
pub fn said(row: &ShortRow, error: impl Fn(String) -> String) -> String {
    match row.error_percent {
        Some(_) => error(format!("{} %", row.error())),
        None => row.result.clone(),
    }
}

/// The error of held power against its limit.
fn gauge_of(row: &ShortRow) -> Option<Gauge> {
    let expanded = row.expanded_percent?;
    let error = row.error_percent?;
    Gauge::sized(
        error,
        [error - expanded, error + expanded],
        row.limit_percent?,
    )
}
