//! The full-screen views, one file each, under the strip of the whole ride.

mod agreement;
mod clocks;
mod coverage;
mod error_curve;
mod plan;
mod references;
mod response;
mod soak;

use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

use super::super::layout::Layout;
use super::super::state::{Scope, State, View};
use super::super::study::Answer;
use super::super::text;
use super::{Pen, Text};
use crate::timeline::Member;

/// Stands for the consensus where a stream has its letter.
const CONSENSUS_MARK: char = '=';

/// Draws the open view under the strip.
pub fn draw(state: &State, layout: &Layout, pen: &mut Pen<'_>) {
    let area = body(layout);
    if state.view == View::Clocks {
        clocks::draw(state, area, pen);
        return;
    }
    let below = head(&subject_line(state), area, pen);
    match state.study.as_ref().map(|(_, answer)| answer) {
        Some(Answer::Nothing(why)) => nothing(why, below, pen),
        Some(Answer::Agreement(found)) if state.view == View::Agreement => {
            agreement::draw(state, found, below, pen);
        }
        Some(Answer::Response(found)) if state.view == View::Response => {
            response::draw(state, found, below, pen);
        }
        Some(Answer::References(found)) if state.view == View::References => {
            references::draw(state, found, below, pen);
        }
        Some(Answer::Soak(found)) if state.view == View::Soak => {
            soak::draw(state, found, below, pen);
        }
        Some(Answer::ErrorCurve(found)) if state.view == View::ErrorCurve => {
            error_curve::draw(state, found, below, pen);
        }
        Some(Answer::Coverage(found)) if state.view == View::Coverage => {
            coverage::draw(state, found, below, pen);
        }
        Some(Answer::Plan(found)) if state.view == View::Plan => {
            plan::draw(state, found, below, pen);
        }
        _ => nothing("The figures are being computed.", below, pen),
    }
}

/// What the figures are for and who is compared.
fn subject_line(state: &State) -> Text {
    let (scope, (span, segment)) = if state.view.is_of_whole_ride() {
        (Scope::Ride, (state.ride(), None))
    } else {
        (state.scope, state.scope_span())
    };
    let long = state.long();
    let name = match (segment, scope) {
        (Some(index), _) => {
            let kind = state.session().segments.get(index).map(|s| s.kind);
            let kind = kind.map_or_else(String::new, |kind| kind.to_string());
            format!("segment {} {kind}", index + 1)
        }
        (None, Scope::Ride) => "whole ride".to_owned(),
        (None, _) if state.brush.window.is_some_and(|w| w.duration_s() > 0.0) => {
            "window".to_owned()
        }
        (None, _) => "in view".to_owned(),
    };
    let line = Text::default().with(name, state.look.strong()).with(
        format!(
            " {}-{} ({})  ",
            text::time(span.from_s, long),
            text::time(span.to_s, long),
            text::duration(span.duration_s())
        ),
        Style::new(),
    );
    if matches!(state.view, View::References | View::Plan | View::ErrorCurve) {
        return line;
    }
    // What takes a fit is fitted to what the verdict rests on, whatever is chosen for the rest.
    let compared = match state.study.as_ref().map(|(_, answer)| answer) {
        Some(Answer::Response(found)) if state.view == View::Response => Some(found.compared),
        Some(Answer::Soak(found)) if state.view == View::Soak => Some(found.compared),
        _ => state.under_test().zip(state.basis()),
    };
    let Some((under_test, basis)) = compared else {
        return line;
    };
    let line = stream_name(state, line, under_test).with(" against ", Style::new());
    match basis {
        Member::Stream(index) => stream_name(state, line, index),
        Member::Consensus => line.with(format!("{CONSENSUS_MARK} consensus"), Style::new()),
    }
}

/// A picture with words: beside it where the screen is wide, else below it.
fn beside(area: Rect, rows: u16) -> (Rect, Rect) {
    const WORDS: u16 = 56;
    if area.width >= 110 {
        let width = area.width - WORDS;
        let picture = Rect {
            width: width - 1,
            ..area
        };
        let words = Rect {
            x: area.x + width,
            width: WORDS,
            ..area
        };
        return (picture, words);
    }
    let rows = rows.min(area.height / 2);
    (
        first(area, area.height - rows),
        rest(area, area.height - rows),
    )
}

/// A faint name and what it is.
fn named(state: &State, name: &str, value: String) -> Text {
    Text::default()
        .with(format!("{name:<12}"), state.look.faint())
        .with(value, Style::new())
}

/// "low to high unit", or a dash.
fn interval(ends: Option<[f64; 2]>, decimals: usize, unit: &str) -> String {
    match ends {
        Some([low, high]) => format!(
            "{} to {} {unit}",
            text::signed(Some(low), 0, decimals),
            text::signed(Some(high), 0, decimals)
        ),
        None => "-".to_owned(),
    }
}

/// How a time reads on an axis.
fn time_number(state: &State) -> fn(f64) -> String {
    if state.long() {
        |t| text::time(t, true)
    } else {
        |t| text::time(t, false)
    }
}

/// The part of the screen that is a view's own: between the strip and the message.
fn body(layout: &Layout) -> Rect {
    let top = layout.strip.bottom();
    Rect {
        x: layout.strip.x,
        y: top,
        width: layout.title.width,
        height: layout.message.y.saturating_sub(top),
    }
}

/// The head line: what is shown. Returns what is below.
fn head(line: &Text, area: Rect, pen: &mut Pen<'_>) -> Rect {
    if area.height > 0 {
        pen.line(area.x, area.y, area.width, line);
    }
    rest(area, 1)
}

/// `area` without its first rows.
fn rest(area: Rect, rows: u16) -> Rect {
    let rows = rows.min(area.height);
    Rect {
        y: area.y + rows,
        height: area.height - rows,
        ..area
    }
}

/// The first rows of `area`.
fn first(area: Rect, rows: u16) -> Rect {
    Rect {
        height: rows.min(area.height),
        ..area
    }
}

/// A stream's letter and label in its own style.
fn stream_name(state: &State, line: Text, index: usize) -> Text {
    let inks = state.look.streams(&state.session().streams);
    let ink = inks.get(index).copied().unwrap_or_default();
    let letter = state.letters.get(index).copied().unwrap_or('*');
    let label = state.session().streams.get(index);
    let label = label.map_or("", |stream| stream.label.as_str());
    line.with(letter.to_string(), ink.add_modifier(Modifier::BOLD))
        .with(format!(" {label}"), ink)
}

/// Lines of text one under the other; where there are more than fit, they scroll.
fn lines(state: &State, lines: &[Text], area: Rect, pen: &mut Pen<'_>) {
    let keys = super::scroll_keys(state);
    pen.scrolled(lines, state.scrolled.unwrap_or(0), &keys, area);
}

/// `words` wrapped into lines of at most `width` columns.
fn wrapped(words: &str, width: u16, style: Style) -> Vec<Text> {
    let lines = text::wrapped(words, usize::from(width)).into_iter();
    lines
        .map(|line| Text::default().with(line, style))
        .collect()
}

/// A sentence in the middle of where a picture would be.
fn nothing(words: &str, area: Rect, pen: &mut Pen<'_>) {
    let lines_of = wrapped(words, area.width.saturating_sub(4), pen.look.faint());
    let top = (area.height.saturating_sub(lines_of.len() as u16)) / 2;
    let place = Rect {
        x: area.x + 2.min(area.width),
        width: area.width.saturating_sub(4),
        ..rest(area, top)
    };
    pen.lines(&lines_of, place);
}

#[cfg(test)]
mod tests;
