//! The answer of the view in one line, and under it the reason or, while there is one, the message.

use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::action::names;
use super::super::layout::{Layout, ROOMY_FROM};
use super::super::state::{Held, Mode, State, View, Walk};
use super::super::text;
use super::super::theme::Look;
use super::pen::{Pen, Text};
use super::segments;
use super::sign::{ink, sign};
use super::views::shared::rest;
use crate::analysis::questions::of_segment::question_of;
use crate::analysis::questions::{Finding, Question};
use crate::analysis::verdict::reason::Reason;
use crate::export::table::ShortRow;
use crate::picture::claim::net_percent;
use crate::session::{Kind, MatchedOn, Segment};
use crate::text::{capital, clock_time, fit, number, wrapped};
use crate::timeline::Span;

/// What is read first in a view, and what second.
struct Head {
    finding: Option<Finding>,
    answer: String,
    reason: String,
}

impl Head {
    fn plain(answer: impl Into<String>, reason: impl Into<String>) -> Self {
        Self {
            finding: None,
            answer: answer.into(),
            reason: reason.into(),
        }
    }
}

/// Draws both; a message takes the place of the last line.
pub fn draw(state: &State, layout: &Layout, pen: &mut Pen<'_>) {
    let area = layout.head;
    if area.height == 0 || area.width < 4 {
        return;
    }
    let look = state.look;
    let head = head(state);
    let text = Rect {
        x: area.x + 1,
        width: area.width - 2,
        ..area
    };
    let signed = head.finding.map_or(0, |_| 2);
    // The headline of the answers has as many rows as it needs; elsewhere an answer is one line.
    let most = match state.view {
        View::Answers => area.height,
        _ => 1,
    };
    if let Some(finding) = head.finding {
        pen.dot(text.x, text.y, sign(look, finding), ink(look, finding));
    }
    let beside = Rect {
        x: text.x + signed,
        width: text.width - signed,
        ..text
    };
    let lines = in_rows(look, &head.answer, beside.width, most, look.strong());
    pen.lines(&lines, beside);
    // A headline that takes all rows stays whole: the message then stands over the line of keys.
    let is_full = lines.len() > 1 && lines.len() as u16 == beside.height;
    let place = match is_full && layout.keys.y > 0 {
        true => Rect {
            y: layout.keys.y - 1,
            height: 1,
            ..text
        },
        false => beside,
    };
    if message(state, place, is_full, pen) {
        return;
    }
    let below = rest(beside, lines.len() as u16);
    let reason = in_rows(look, &head.reason, below.width, below.height, look.mute());
    pen.lines(&reason, below);
}

/// A sentence in at most so many rows; the cut is marked.
fn in_rows(look: Look, sentence: &str, columns: u16, rows: u16, style: Style) -> Vec<Text> {
    let (width, rows) = (usize::from(columns), usize::from(rows));
    let mut lines = wrapped(&look.text(sentence), width);
    if lines.len() > rows {
        let left = lines.split_off(rows.saturating_sub(1)).join(" ");
        lines.push(fit(&left, width, look.cut()));
        lines.truncate(rows);
    }
    lines
        .into_iter()
        .map(|line| Text::default().with(line, style))
        .collect()
}

/// The message, in the last row of the head; the list of messages has all of a long one. Whether
/// there is one.
fn message(state: &State, area: Rect, is_alone: bool, pen: &mut Pen<'_>) -> bool {
    let has_room = is_alone || area.height > 1;
    let Some((message, _)) = state.message.as_ref().filter(|_| has_room) else {
        return false;
    };
    let look = state.look;
    let (text, style) = match message.warns {
        true => (format!("! {}", message.text), look.warning()),
        false => (message.text.clone(), look.strong()),
    };
    let y = area.bottom() - 1;
    let blank = " ".repeat(usize::from(area.width));
    pen.write(area.x, y, area.width, &blank, Style::reset());
    let text = look.text(&text);
    let width = usize::from(area.width);
    let text = match text.chars().count() > width {
        true => {
            let all = format!(" {}: all", state.key(names::MESSAGES));
            fit(&text, width.saturating_sub(all.chars().count()), look.cut()) + &all
        }
        false => text,
    };
    pen.write(area.x, y, area.width, &text, style);
    true
}

fn head(state: &State) -> Head {
    match (&state.mode, state.view) {
        (Mode::Walk(walk), _) => suggested(walk),
        (Mode::Clock, _) => Head::plain(clock_line(state), ""),
        (_, View::Answers) => all_answers(state),
        (_, View::Clocks) => of_question(state, Question::Clocks),
        (_, View::References) => of_question(state, Question::References),
        (_, View::Soak) => of_question(state, Question::Heat),
        (_, View::ErrorCurve) => of_question(state, Question::Level),
        (_, View::Coverage) => of_question(state, Question::Accuracy),
        (_, View::Plan) => Head::plain("What the plan asks, and what this ride lacks.", ""),
        (_, View::Ride | View::Agreement | View::Response) => of_stretch(state),
    }
}

fn pending() -> Head {
    Head::plain("The ride is being searched; the answers follow.", "")
}

fn all_answers(state: &State) -> Head {
    match state.answers() {
        Some(found) => Head::plain(
            format!("{}.", found.headline),
            match state.size.1 >= ROOMY_FROM {
                true => found.remark.as_str(),
                false => "",
            },
        ),
        None => pending(),
    }
}

fn of_question(state: &State, question: Question) -> Head {
    let Some(found) = state.answers() else {
        return pending();
    };
    match found.answer(question, "") {
        Some(answer) => Head {
            finding: Some(answer.outcome),
            answer: capital(&answer.sentence),
            reason: question.asks().to_owned(),
        },
        None => Head::plain(question.asks(), ""),
    }
}

/// What the window or the selected segment says; without either, what the ride does.
fn of_stretch(state: &State) -> Head {
    let selected = state
        .selected
        .filter(|_| state.figures_kind() != Kind::Open);
    if let Some((index, segment)) =
        selected.and_then(|index| Some((index, state.session().segments.get(index)?)))
    {
        return match state.row_of(index) {
            Some(row) => of_segment(state, segment, row),
            None => Head::plain(format!("{} {}", index + 1, segment.kind), "pending"),
        };
    }
    if state.is_brushed() {
        return of_window(state);
    }
    of_ride(state)
}

fn of_segment(state: &State, segment: &Segment, row: &ShortRow) -> Head {
    let limit = row.limit_percent;
    let claim = limit.map_or_else(String::new, |limit| {
        format!("; claim ±{} %", number(limit, 1, false))
    });
    let answer = match segments::said(row, |error| format!("reads {error}{claim}")) {
        said if said.is_empty() => "nothing to report of it".to_owned(),
        said => said,
    };
    let what = segments::kind(segment);
    let note = match segment.note.as_str() {
        "" => None,
        note => Some(format!("note: {note}")),
    };
    let reason = reason(state, row).or(note).unwrap_or_default();
    Head {
        finding: row.finding,
        answer: format!("{} {what}: {answer}", row.id),
        reason,
    }
}

/// Why: of held power what the verdict says, else the answer that the segment carries.
fn reason(state: &State, row: &ShortRow) -> Option<String> {
    if row.error_percent.is_some() {
        // The decision and its numbers stand above; what was held is the kind's own result.
        let verdict = state.judged(&state.figures)?;
        let others = verdict.reasons.iter();
        let others = others.filter(|reason| !matches!(reason, Reason::Bias { .. }));
        let result = Some(row.result.clone()).filter(|result| !result.is_empty());
        let parts: Vec<String> = result
            .into_iter()
            .chain(others.map(Reason::to_string))
            .collect();
        return (!parts.is_empty()).then(|| parts.join("; "));
    }
    row.finding?;
    let findings = state.answers()?;
    let answer = findings.answer(question_of(row.kind)?, &row.under_test)?;
    Some(capital(&answer.sentence))
}

/// What is not judged, a window or an open segment: its difference as the lane beside it has it, and the
/// key to the next step.
fn of_window(state: &State) -> Head {
    let pair = state.compared(&state.figures);
    let loss = state.session().allowance().percent;
    let percent = pair.and_then(|pair| pair.bias_percent);
    let bias = match (percent, pair.and_then(|pair| pair.bias_w)) {
        (Some(percent), _) if state.percent => {
            let loss_off = if loss == 0.0 {
                ""
            } else {
                " once the loss is off"
            };
            let net = number(net_percent(percent, loss), 1, true);
            format!("reads {net} %{loss_off}")
        }
        (_, Some(watts)) => format!("reads {} W", number(watts, 1, true)),
        (_, None) => "no second here has both values".to_owned(),
    };
    let span = state.figures_span();
    let is_window = |index: &usize| {
        let segment = state.session().segments.get(*index);
        segment.is_some_and(|segment| Span::new(segment.from_s, segment.to_s) == span)
    };
    let own = state.selected.filter(is_window);
    let (next, key) = match state.brush.held {
        Held::Edge { .. } => ("sets its end at the cursor", names::SET_END),
        Held::Whole { .. } => ("lets go of it", names::LET_GO),
        Held::Nothing if own.is_some() => {
            ("gives it a kind, so that it is judged", names::CHANGE_KIND)
        }
        Held::Nothing => ("tags it, so that it is judged", names::TAG),
    };
    let what = match own {
        Some(index) => format!("{} open", index + 1),
        None => format!("window of {}", text::duration(span.duration_s())),
    };
    Head::plain(
        format!("{what}: {bias}"),
        format!("{} {next}", state.key(key)),
    )
}

fn of_ride(state: &State) -> Head {
    let key = |name| state.key(name);
    let by_hand = format!(
        "{} {} answers from them; by hand: {} at the start, {} at the end, {} tags it",
        key(names::OPEN_VIEW),
        key(names::VIEW_ANSWERS),
        key(names::SET_START),
        key(names::SET_END),
        key(names::TAG)
    );
    match state.answers() {
        _ if state.session().segments.is_empty() => Head::plain(
            format!(
                "Nothing is tagged yet: {} walks through the suggested stretches.",
                key(names::SUGGEST)
            ),
            by_hand,
        ),
        Some(found) => Head {
            finding: found.has_fault().then_some(Finding::Fault),
            answer: format!("{}.", found.headline),
            reason: format!(
                "{} {}: all questions; {}: the segments one by one",
                key(names::OPEN_VIEW),
                key(names::VIEW_ANSWERS),
                key(names::SEGMENT_AFTER)
            ),
        },
        None => pending(),
    }
}

/// The suggestion shown: which and what, then why.
fn suggested(walk: &Walk) -> Head {
    let Some(suggestion) = walk.suggestions.get(walk.at) else {
        return Head::plain("", "");
    };
    let segment = &suggestion.segment;
    let set_point = segment.set_point_w;
    let set_point = set_point.map_or_else(String::new, |watts| format!(" at {watts:.0} W"));
    Head::plain(
        format!(
            "Suggestion {} of {}: {}{set_point}, {} to {}",
            walk.at + 1,
            walk.suggestions.len(),
            segment.kind,
            clock_time(segment.from_s),
            clock_time(segment.to_s)
        ),
        suggestion.reason.clone(),
    )
}

/// The offset of the selected stream, while its clock is shifted.
fn clock_line(state: &State) -> String {
    let Some(stream) = state.session().streams.get(state.stream) else {
        return String::new();
    };
    let matched = match stream.matched_on {
        Some(MatchedOn::Given) => "set by hand".to_owned(),
        Some(on) if stream.clock_doubt.is_some() => format!("matched on {on}, not certain"),
        Some(on) => format!("matched on {on}"),
        None => "not yet aligned".to_owned(),
    };
    format!(
        "clock of {}: offset {:+9.1} s  {matched}",
        stream.label, stream.offset_s
    )
}
