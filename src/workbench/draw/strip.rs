//! The whole ride in a strip: its power, what is tagged and what each tag says, where faults and
//! dropouts lie. What the view is about stands out.

use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

use super::super::state::{State, View};
use super::super::text;
use super::lanes::columns_of;
use super::pen::Pen;
use super::picture;
use super::sign::{ink, sign};
use crate::picture::labels;
use crate::recording::Channel;
use crate::session::Role;
use crate::timeline::Span;

/// Rows of the power.
const HILLS: u16 = 2;

pub fn draw(state: &State, area: Rect, pen: &mut Pen<'_>) {
    if area.height <= HILLS || area.width < 3 {
        return;
    }
    let area = inner(area);
    let hills = Rect {
        height: HILLS,
        ..area
    };
    let evidence = evidence(state);
    power(state, hills, &evidence, pen);
    let marks = Rect {
        y: area.y + HILLS,
        height: 1,
        ..area
    };
    segments(state, marks, &evidence, pen);
    excursions(state, marks, pen);
    dropouts(state, marks, pen);
    if area.height > HILLS + 1 {
        times(
            state,
            Rect {
                y: marks.y + 1,
                ..marks
            },
            pen,
        );
    }
    if let Some(x) = picture::column_of(area, state.ride(), state.cursor_s) {
        for y in hills.top()..hills.bottom() {
            pen.dot(x, y, state.look.glyph('│', '|'), state.look.strong());
        }
    }
}

/// The strip without the margin of the screen.
pub fn inner(area: Rect) -> Rect {
    Rect {
        x: area.x + 1,
        width: area.width.saturating_sub(2),
        ..area
    }
}

/// What the view is about: the segments of the selected answer, else the window, else the stretch
/// shown where that is not the whole ride.
fn evidence(state: &State) -> Vec<Span> {
    let of = |index: usize| {
        let segment = state.session().segments.get(index)?;
        Some(Span::new(segment.from_s, segment.to_s))
    };
    if state.view == View::Answers {
        let ranked = state
            .answers()
            .map(|found| found.ranked())
            .unwrap_or_default();
        let answer = ranked.get(state.answer.min(ranked.len().saturating_sub(1)));
        let ids = answer.map_or(&[][..], |answer| &answer.segments);
        return ids.iter().filter_map(|id| of(id.checked_sub(1)?)).collect();
    }
    let window = state.brush.window.filter(|w| w.duration_s() > 0.0);
    let part = Some(state.shown).filter(|shown| *shown != state.ride());
    window.or(part).into_iter().collect()
}

/// The highest second of each column, by the square root so that a sprint leaves room for the rest.
fn power(state: &State, area: Rect, evidence: &[Span], pen: &mut Pen<'_>) {
    let reference = || state.aligned.powered(Role::Reference).next();
    let Some(index) = reference().or_else(|| state.under_test()) else {
        return;
    };
    let (look, ride) = (state.look, state.ride());
    let track = &state.aligned.tracks[index];
    let stretches = track.stretches(picture::dot_spans(ride, usize::from(area.width)));
    let extents = track
        .extents(Channel::Power, &stretches)
        .unwrap_or_default();
    let high = extents.iter().flatten().map(|e| e.max).fold(1.0, f64::max);
    // A column stands an eighth high at the least where there is any power.
    let steps = f64::from(8 * HILLS);
    let lit: Vec<(u16, u16)> = evidence
        .iter()
        .filter_map(|span| columns_of(area, ride, *span))
        .collect();
    for (column, extent) in extents.iter().enumerate() {
        let watts = extent.map_or(0.0, |extent| extent.max.max(0.0));
        let eighths = ((watts / high).sqrt() * steps).round() as u16;
        let x = area.x + column as u16;
        let is_lit = lit
            .iter()
            .any(|(left, right)| (*left..=*right).contains(&x));
        let style = if is_lit { look.lit() } else { look.hill() };
        for row in 0..HILLS {
            let filled = eighths.saturating_sub(8 * row).min(8);
            if filled > 0 {
                let y = area.bottom() - 1 - row;
                pen.dot(x, y, block(state, filled), style);
            }
        }
    }
}

/// A cell filled to so many eighths.
fn block(state: &State, eighths: u16) -> char {
    const BLOCKS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
    let plain = match eighths {
        0..=2 => '.',
        3..=5 => ':',
        _ => '#',
    };
    let full = BLOCKS[usize::from(eighths.clamp(1, 8)) - 1];
    state.look.glyph(full, plain)
}

/// A segment a run: the sign of what it says, its number, and a bar.
fn segments(state: &State, row: Rect, evidence: &[Span], pen: &mut Pen<'_>) {
    let (look, ride) = (state.look, state.ride());
    let segments = &state.session().segments;
    let spans: Vec<Span> = segments
        .iter()
        .map(|segment| Span::new(segment.from_s, segment.to_s))
        .collect();
    let columns: Vec<Option<(u16, u16)>> = spans
        .iter()
        .map(|span| columns_of(row, ride, *span))
        .collect();
    // Where the next of those that come later begins.
    let mut first = None;
    let mut next: Vec<Option<u16>> = columns
        .iter()
        .rev()
        .map(|place| {
            let later = first;
            first = place.map(|(left, _)| left).into_iter().chain(later).min();
            later
        })
        .collect();
    next.reverse();
    for (index, place) in columns.iter().enumerate() {
        let Some((left, right)) = *place else {
            continue;
        };
        let touched = next[index].filter(|next| *next <= right + 1);
        let end = touched.unwrap_or(right + 1);
        let lit = evidence.contains(&spans[index]);
        let bar = match lit {
            true => look.glyph('━', '='),
            false => look.glyph('─', '-'),
        };
        let style = if lit { look.strong() } else { look.mute() };
        for x in left..end {
            pen.dot(x, row.y, bar, style);
        }
        let finding = state.row_of(index).and_then(|row| row.finding);
        let number = (index + 1).to_string();
        let room = usize::from(end.saturating_sub(left));
        if let (Some(finding), true) = (finding, room > 0) {
            pen.dot(left, row.y, sign(look, finding), ink(look, finding));
        }
        // A number stands behind a sign or bar of its own, so that it goes with none beside it.
        if room > number.len() {
            pen.write(left + 1, row.y, end - left - 1, &number, style);
        }
    }
}

/// Excursions of the source in view that no segment covers.
fn excursions(state: &State, row: Rect, pen: &mut Pen<'_>) {
    let Some(index) = state.under_test() else {
        return;
    };
    let segments = &state.session().segments;
    let tagged = |span: &Span| {
        segments
            .iter()
            .any(|segment| segment.from_s <= span.from_s && span.from_s < segment.to_s)
    };
    let found = state.found.excursions.get(index);
    let spans = found
        .into_iter()
        .flatten()
        .map(|e| Span::new(e.from_s, e.to_s));
    mark(
        state,
        row,
        spans.filter(|span| !tagged(span)),
        (['△', '^'], state.look.fault()),
        pen,
    );
}

fn dropouts(state: &State, row: Rect, pen: &mut Pen<'_>) {
    for (index, spans) in state.found.dropouts.iter().enumerate() {
        if state.hidden.get(index) != Some(&true) {
            let spans = spans.iter().map(|span| Span::new(span.from_s, span.to_s));
            mark(state, row, spans, (['▽', '!'], state.look.open()), pen);
        }
    }
}

/// A sign where each of these begins; one for those that share a column.
fn mark(
    state: &State,
    row: Rect,
    spans: impl Iterator<Item = Span>,
    ([sign, plain], style): ([char; 2], Style),
    pen: &mut Pen<'_>,
) {
    for span in spans {
        if let Some((left, _)) = columns_of(row, state.ride(), span) {
            let sign = state.look.glyph(sign, plain);
            pen.dot(left, row.y, sign, Style::reset().patch(style));
        }
    }
}

/// The time along the strip, and what its signs mean at the right end.
fn times(state: &State, row: Rect, pen: &mut Pen<'_>) {
    let look = state.look;
    let signs = format!(
        "{} dropout  {} excursion",
        look.glyph('▽', '!'),
        look.glyph('△', '^')
    );
    let columns = signs.chars().count() as u16;
    let room = row.width.saturating_sub(columns + 2);
    let ride = state.ride();
    let marks = picture::time_marks(ride, row.width, 16).into_iter();
    let marks: Vec<(f64, String)> = marks
        .filter_map(|t_s| {
            let x = picture::column_of(row, ride, t_s)?;
            Some((f64::from(x), text::time(t_s, state.long())))
        })
        .collect();
    let wanted = marks.iter().map(|(x, label)| (*x, label.len() as f64));
    let ends = [f64::from(row.x), f64::from(row.x + room)];
    for ((x, label), left) in marks.iter().zip(labels::placed(wanted, ends, 1.0)) {
        if left == Some(*x) {
            pen.write(*x as u16, row.y, label.len() as u16, label, look.faint());
        }
    }
    let style = look.faint().remove_modifier(Modifier::BOLD);
    pen.write(
        row.right().saturating_sub(columns),
        row.y,
        columns,
        &signs,
        style,
    );
}
