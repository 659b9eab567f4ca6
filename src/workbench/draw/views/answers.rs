//! The answers: a line a question with sign, gauge and sentence, and the proof of the selected one.
//!
//! Under thirty rows only the group that holds the selection is open; the others fold to a line. The
//! ground of the gauges and of the proof is what is allowed, with a hair line at the limit.

use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::super::state::State;
use super::super::gauge;
use super::super::page::Page;
use super::super::paint;
use super::super::pen::{Pen, Text};
use super::super::sign::{ink, sign};
use super::shared::{first, rest, wrapped};
use crate::analysis::questions::answer::Part;
use crate::analysis::questions::{Answer, Finding, Findings, Question};
use crate::picture::forest;
use crate::picture::gauge::Gauge;
use crate::picture::proof::place;
use crate::text::{columns, fit};

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
            let mut keys: Vec<&str> = answers.iter().map(|a| a.question.key()).collect();
            keys.dedup();
            let head = Text::default()
                .with(
                    format!(" {} ", sign(state.look, *group)),
                    ink(state.look, *group),
                )
                .with(format!("{} {word}", answers.len()), look.mute());
            pen.line(area.x, area.y, area.width, &head);
            let x = area.x + 1 + KEY + GAUGE + 2;
            let room = area.right().saturating_sub(x + 1);
            let keys = fit(&keys.join(", "), usize::from(room), look.cut());
            pen.write(x, area.y, room, &keys, look.mute());
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
    let of_gradient = state
        .answered
        .as_ref()
        .and_then(|(_, a)| a.gradient.as_ref());
    if let (Question::Gradient, Some(shown)) = (answer.question, of_gradient) {
        paint::picture(shown, picture, picture.height > 8, pen);
    } else if !answer.parts.is_empty() {
        forest(answer, picture, pen);
    } else if let Some(shown) = place(state.session(), &state.aligned, answer) {
        paint::picture(&shown, picture, picture.height > 8, pen);
    }
}

/// A piece a row against the limit, two-sided, with the axis below; where rows are short, the pieces
/// that say most.
fn forest(answer: &Answer, area: Rect, pen: &mut Pen<'_>) {
    let rows = usize::from(area.height.saturating_sub(1)).max(1);
    let mut shown = answer.clone();
    if shown.parts.len() > rows {
        let size = |part: &Part| part.value.abs() / part.limit;
        shown.parts.sort_by(|a, b| size(b).total_cmp(&size(a)));
        shown.parts.truncate(rows);
        shown.parts.sort_by_key(|part| part.segment);
    }
    if let Ok(picture) = forest::of(&shown) {
        paint::picture(&picture, area, false, pen);
    }
}

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
