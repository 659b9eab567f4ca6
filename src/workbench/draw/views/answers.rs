//! The answers: a line a question with sign, gauge and sentence, and the proof of the selected one.
//!
//! Under thirty rows only the group that holds the selection is open; the others fold to a line. The
//! ground of the gauges and of the proof is what is allowed, with a hair line at the limit.

use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::super::state::{Scale, State};
use super::super::dots::Dots;
use super::super::gauge;
use super::super::page::Page;
use super::super::pen::{Pen, Text};
use super::super::picture;
use super::super::sign::{ink, sign};
use super::shared::{first, rest, wrapped};
use crate::analysis::questions::{Answer, Finding, Findings, Question};
use crate::picture::gauge::Gauge;
use crate::recording::Channel;
use crate::session::Role;
use crate::text::{columns, fit};
use crate::timeline::Span;

/// Columns of the sign and the key.
const KEY: u16 = 14;
/// Columns of a gauge: three limits.
const GAUGE: u16 = 15;
/// Rows from which on every group is open.
const OPEN_FROM: u16 = 30;
/// Columns from which on a line has the whole sentence.
const SENTENCE_FROM: u16 = 110;
/// Least rows of the proof.
const PROOF: u16 = 6;
/// Share of a stretch shown on either side of it.
const MARGIN: f64 = 0.3;

const GROUPS: [Finding; 4] = [
    Finding::Fault,
    Finding::CannotTell,
    Finding::Fine,
    Finding::NotRidden,
];

/// A line of the list.
enum Line<'a> {
    Answer(&'a Answer, usize),
    Folded(Finding, Vec<&'a Answer>),
    Blank,
}

pub fn page<'a>(state: &'a State, found: &'a Findings, area: Rect) -> Page<'a> {
    Page::new(move |pen| draw(state, found, area, pen))
}

fn draw(state: &State, found: &Findings, area: Rect, pen: &mut Pen<'_>) {
    let ranked = found.ranked();
    let selected = state.answer.min(ranked.len().saturating_sub(1));
    let Some(shown) = ranked.get(selected) else {
        return;
    };
    let most = area.height.saturating_sub(PROOF + 1);
    let lines = visible(lines_of(&ranked, selected, state.size.1), selected, most);
    let list = first(area, lines.len() as u16);
    for (row, line) in lines.iter().enumerate() {
        draw_line(state, line, selected, row_of(list, row), pen);
    }
    let below = rest(area, list.height + 1);
    proof(state, shown, inset(below), pen);
}

/// The lines of the list, folded where the screen is low.
fn lines_of<'a>(ranked: &[&'a Answer], selected: usize, rows: u16) -> Vec<Line<'a>> {
    let open = ranked.get(selected).map(|answer| answer.outcome);
    let mut lines = Vec::new();
    for group in GROUPS {
        let own = ranked
            .iter()
            .enumerate()
            .filter(|(_, a)| a.outcome == group);
        let own: Vec<(usize, &'a Answer)> = own.map(|(at, answer)| (at, *answer)).collect();
        if own.is_empty() {
            continue;
        }
        if rows >= OPEN_FROM || open == Some(group) {
            if rows >= OPEN_FROM && !lines.is_empty() {
                lines.push(Line::Blank);
            }
            lines.extend(own.into_iter().map(|(at, answer)| Line::Answer(answer, at)));
        } else {
            let answers = own.into_iter().map(|(_, answer)| answer).collect();
            lines.push(Line::Folded(group, answers));
        }
    }
    lines
}

/// As many lines as have room, the selected one among them.
fn visible(mut lines: Vec<Line<'_>>, selected: usize, most: u16) -> Vec<Line<'_>> {
    let most = usize::from(most).max(1);
    if lines.len() > most {
        lines.retain(|line| !matches!(line, Line::Blank));
    }
    let is_it = |line: &Line<'_>| matches!(line, Line::Answer(_, at) if *at == selected);
    let index = lines.iter().position(is_it).unwrap_or(0);
    let start = (index + 1).saturating_sub(most);
    lines.drain(..start.min(lines.len()));
    lines.truncate(most);
    lines
}

fn draw_line(state: &State, line: &Line<'_>, selected: usize, area: Rect, pen: &mut Pen<'_>) {
    let look = state.look;
    match line {
        Line::Blank => {}
        Line::Answer(answer, at) => {
            draw_answer(state, answer, *at == selected, area, pen);
        }
        Line::Folded(group, answers) => {
            let word = match group {
                Finding::Fault => "at fault",
                Finding::CannotTell => "cannot tell",
                Finding::Fine => "fine",
                Finding::NotRidden => "not ridden",
            };
            let keys: Vec<&str> = answers.iter().map(|a| a.question.key()).collect();
            let head = Text::default()
                .with(
                    format!(" {} ", sign(state.look, *group)),
                    ink(state.look, *group),
                )
                .with(format!("{} {word}", answers.len()), look.mute());
            pen.line(area.x, area.y, area.width, &head);
            let x = area.x + 1 + KEY + GAUGE + 2;
            let room = area.right().saturating_sub(x);
            pen.write(x, area.y, room, &keys.join(", "), look.mute());
        }
    }
}

fn draw_answer(state: &State, answer: &Answer, chosen: bool, area: Rect, pen: &mut Pen<'_>) {
    let look = state.look;
    let words = match (answer.outcome, chosen) {
        (_, true) => look.strong(),
        (Finding::Fault, false) => Style::new(),
        _ => look.mute(),
    };
    let mark = if chosen { look.glyph('▌', '>') } else { ' ' };
    let line = Text::default()
        .with(mark.to_string(), look.strong())
        .with(
            format!("{} ", sign(state.look, answer.outcome)),
            ink(state.look, answer.outcome),
        )
        .with(answer.question.key().to_owned(), words);
    pen.line(area.x, area.y, area.width, &line);
    let room_of_gauge = Rect {
        x: area.x + 1 + KEY,
        width: GAUGE.min(area.width.saturating_sub(1 + KEY)),
        ..area
    };
    let ridden = answer.outcome != Finding::NotRidden;
    let held = Gauge::of(answer).filter(|_| ridden);
    gauge::draw(
        look,
        held.map(|held| (held, answer.outcome)),
        room_of_gauge,
        pen,
    );
    let published = &state.session().words;
    let is_published =
        published.for_.contains(&answer.sentence) || published.against.contains(&answer.sentence);
    let x = room_of_gauge.right() + 2;
    let room = area.right().saturating_sub(x + 1);
    let text = match area.width >= SENTENCE_FROM {
        true => &answer.sentence,
        false => &answer.brief,
    };
    let flag = if is_published { "(published) " } else { "" };
    let several = state.answers().is_some_and(Findings::has_several_sources);
    let source = match answer.source.as_str() {
        label if several && !label.is_empty() => format!("{label}: "),
        _ => String::new(),
    };
    let text = fit(
        &format!("{flag}{source}{text}"),
        usize::from(room),
        look.cut(),
    );
    pen.write(x, area.y, room, &text, words);
    if chosen {
        let row = Rect { height: 1, ..area };
        pen.style(row, look.chosen());
        gauge::ground(look, room_of_gauge, pen);
    }
}

/// What proves the selected answer: its pieces against the limit, else its place in the ride.
fn proof(state: &State, answer: &Answer, area: Rect, pen: &mut Pen<'_>) {
    if area.height == 0 {
        return;
    }
    let look = state.look;
    // Where the line above has no room for the whole sentence, it stands here.
    let room = usize::from(area.width.saturating_sub(KEY + GAUGE + 3));
    let is_whole = area.width + 2 >= SENTENCE_FROM && columns(&answer.sentence) <= room;
    let words = match is_whole {
        true => answer.question.asks(),
        false => &answer.sentence,
    };
    let mut lines = wrapped(words, area.width, look.mute());
    lines.truncate(usize::from(area.height.min(3)));
    pen.lines(&lines, area);
    let picture = rest(area, lines.len() as u16);
    if !answer.parts.is_empty() {
        forest(state, answer, picture, pen);
    } else if let (Some(from_s), Some(to_s)) = (answer.from_s, answer.to_s) {
        stretch(state, answer, Span::new(from_s, to_s), picture, pen);
    }
}

/// Columns of a piece's name left of the forest, and of its number and word right of it.
const NAME: u16 = 12;
const NUMBER: u16 = 28;

/// A piece a row against the limit, two-sided, with the axis below.
fn forest(state: &State, answer: &Answer, area: Rect, pen: &mut Pen<'_>) {
    let look = state.look;
    if area.height < 2 || area.width <= NAME + NUMBER + 8 {
        return;
    }
    let rows = usize::from(area.height - 1);
    let mut parts: Vec<_> = answer.parts.iter().collect();
    if parts.len() > rows {
        // The ones that say most stay.
        parts.sort_by(|a, b| (b.value.abs() / b.limit).total_cmp(&(a.value.abs() / a.limit)));
        parts.truncate(rows);
        parts.sort_by_key(|part| part.segment);
    }
    let axis = Rect {
        x: area.x + NAME,
        width: area.width - NAME - NUMBER,
        ..area
    };
    let ends = parts.iter().flat_map(|part| {
        [
            part.interval[0].abs(),
            part.interval[1].abs(),
            1.25 * part.limit,
        ]
    });
    let reach = ends.filter(|v| v.is_finite()).fold(1e-9, f64::max);
    let column = |value: f64| {
        let share = (value / reach + 1.0) / 2.0;
        (share * f64::from(axis.width)).clamp(0.0, f64::from(axis.width) - 1.0) as u16
    };
    for (row, part) in parts.iter().enumerate() {
        let line = row_of(axis, row);
        let allowed = Rect {
            x: line.x + column(-part.limit),
            width: column(part.limit).saturating_sub(column(-part.limit)),
            ..line
        };
        pen.style(allowed, look.allowed());
        for at in [allowed.x, allowed.right(), line.x + column(0.0)] {
            pen.dot(at, line.y, look.glyph('▏', '|'), look.edge());
        }
        let style = ink(state.look, part.outcome);
        let half = |value: f64| {
            let share = (value / reach + 1.0) / 2.0;
            (share * 2.0 * f64::from(axis.width)).clamp(0.0, 2.0 * f64::from(axis.width)) as usize
        };
        gauge::interval(
            look,
            half(part.interval[0])..half(part.interval[1]),
            line,
            style,
            pen,
        );
        let at = line.x + column(part.value);
        pen.dot(at, line.y, gauge::value_mark(look, part.outcome), style);
        let name = format!("{:>3}  {}", part.segment, part.what);
        pen.write(area.x, line.y, NAME, &name, look.mute());
        let expanded = 0.5 * (part.interval[1] - part.interval[0]);
        let number = format!("  {:+.1} ± {expanded:.1} {}", part.value, answer.unit);
        let word = match part.outcome {
            Finding::Fault => "beyond",
            Finding::Fine => "within",
            Finding::CannotTell | Finding::NotRidden => "cannot tell",
        };
        let line = Text::default()
            .with(format!("{number:<16}"), Style::new())
            .with(word, style);
        pen.line(axis.right(), area.y + row as u16, NUMBER, &line);
    }
    let limit = parts.first().map_or(1.0, |part| part.limit);
    let y = area.y + parts.len() as u16;
    for value in [-limit, 0.0, limit] {
        let text = match value == 0.0 {
            true => "0".to_owned(),
            false => format!("{value:+.1}"),
        };
        let x = (axis.x + column(value)).saturating_sub(text.len() as u16 / 2);
        pen.write(x, y, text.len() as u16, &text, look.faint());
    }
    pen.write(
        axis.right(),
        y,
        4,
        &format!("  {}", answer.unit),
        look.faint(),
    );
}

/// The place in the ride: the source over the references.
fn stretch(state: &State, answer: &Answer, span: Span, area: Rect, pen: &mut Pen<'_>) {
    let look = state.look;
    if area.height < 3 || area.width <= LABELS + 8 {
        return;
    }
    let channel = match answer.question {
        Question::Cadence => Channel::Cadence,
        _ => Channel::Power,
    };
    let margin_s = (MARGIN * span.duration_s()).max(5.0);
    let ride = state.ride();
    let shown = Span::new(
        (span.from_s - margin_s).max(ride.from_s),
        (span.to_s + margin_s).min(ride.to_s),
    );
    let plot = Rect {
        x: area.x + LABELS,
        width: area.width - LABELS,
        height: area.height - 1,
        ..area
    };
    let tracks = state.aligned.tracks.iter().enumerate();
    let with = |role| {
        let own = tracks.clone().filter(move |(_, track)| track.role == role);
        own.filter(|(_, track)| track.column(channel).is_some())
    };
    let under_test = with(Role::UnderTest).filter(|(index, _)| {
        let label = &state.session().streams[*index].label;
        answer.source.is_empty() || *label == answer.source
    });
    let drawn: Vec<usize> = with(Role::Reference)
        .chain(under_test)
        .map(|(index, _)| index)
        .collect();
    let mut dots = Dots::new(plot);
    let extents: Vec<_> = drawn
        .iter()
        .map(|index| {
            let track = &state.aligned.tracks[*index];
            let spans = picture::dot_spans(shown, dots.width());
            let interval_s = track.source().samples().and_then(|s| s.median_interval_s());
            let least_s = interval_s.unwrap_or(1.0).min(60.0);
            let stretches = track.stretches(spans.map(|span| picture::widened(span, least_s)));
            track.extents(channel, &stretches).unwrap_or_default()
        })
        .collect();
    let present = || extents.iter().flatten().flatten();
    let low = present().map(|e| e.min).fold(f64::INFINITY, f64::min);
    let high = present().map(|e| e.max).fold(f64::NEG_INFINITY, f64::max);
    if low >= high {
        return;
    }
    let scale = Scale { low, high };
    for (owner, extents) in extents.iter().enumerate() {
        dots.trace(scale, owner as u8, extents);
    }
    let styles: Vec<Style> = drawn
        .iter()
        .map(|index| match state.aligned.tracks[*index].role {
            Role::UnderTest => look.strong(),
            _ => look.reference(),
        })
        .collect();
    dots.paint(plot, pen.buffer, look, &styles);
    let unit = channel.unit();
    pen.write(
        area.x,
        plot.y,
        LABELS - 1,
        &format!("{high:.0} {unit}"),
        look.faint(),
    );
    pen.write(
        area.x,
        plot.bottom() - 1,
        LABELS - 1,
        &format!("{low:.0}"),
        look.faint(),
    );
    let y = plot.bottom();
    for t_s in picture::time_marks(shown, plot.width, 12) {
        if let Some(x) = picture::column_of(plot, shown, t_s) {
            let text = super::super::super::text::time(t_s, state.long());
            let fits = x + text.len() as u16 <= plot.right();
            if fits {
                pen.write(x, y, text.len() as u16, &text, look.faint());
            }
        }
    }
}

/// Columns of the numbers left of a stretch.
const LABELS: u16 = 8;

fn row_of(area: Rect, row: usize) -> Rect {
    Rect {
        y: area.y + row as u16,
        height: 1,
        ..area
    }
}

/// One column of margin on either side.
fn inset(area: Rect) -> Rect {
    Rect {
        x: area.x + area.width.min(1),
        width: area.width.saturating_sub(2),
        ..area
    }
}
