//! Plan: what the test plan asks, what this ride answers, and what it lacks.

use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::super::state::State;
use super::super::super::text;
use super::super::page::Page;
use super::super::pen::Text;
use super::shared::wrapped;
use crate::plan::{PhaseCheck, PlanCheck, Ridden};

/// Columns of a line of the table.
const TABLE: u16 = 66;

pub fn page<'a>(state: &State, found: &PlanCheck, area: Rect) -> Page<'a> {
    let page = Page::new(|_| ());
    let mut left = table(state, found);
    if area.width >= TABLE + 44 {
        let taken = TABLE + 2;
        let right = Rect {
            x: area.x + taken,
            width: area.width - taken,
            ..area
        };
        let table = Rect {
            width: TABLE,
            ..area
        };
        let sentences = sentences(state, found, right.width);
        page.with(left, table).with(sentences, right)
    } else {
        left.extend(sentences(state, found, area.width));
        page.with(left, area)
    }
}

/// What is missing first: it is why this view is opened.
fn table(state: &State, found: &PlanCheck) -> Vec<Text> {
    let mut phases: Vec<&PhaseCheck> = found.phases.iter().collect();
    phases.sort_by_key(|phase| match phase.ridden {
        Ridden::Missing => 0,
        Ridden::Short => 1,
        Ridden::AsPlanned => 2,
    });
    let answered = found
        .phases
        .iter()
        .filter(|p| p.ridden == Ridden::AsPlanned);
    let head = format!(
        "plan {}: {} of {} stretches ridden as planned",
        found.plan,
        answered.count(),
        found.phases.len()
    );
    let mut out = vec![
        Text::default().with(head, state.look.strong()),
        Text::default().with(
            "  asked           set W    length   segment    ridden",
            state.look.faint(),
        ),
    ];
    out.extend(phases.into_iter().map(|phase| line(state, phase)));
    out
}

fn line(state: &State, phase: &PhaseCheck) -> Text {
    let look = state.look;
    let (mark, word, style) = match phase.ridden {
        Ridden::AsPlanned => (look.glyph('✓', '+'), "as planned", Style::new()),
        Ridden::Short => ('?', "short", look.warning()),
        Ridden::Missing => (look.glyph('✗', '!'), "missing", look.warning()),
    };
    let segment = phase.segment.map_or("-".to_owned(), |id| id.to_string());
    let ridden = phase.ridden_s.map_or("-".to_owned(), text::duration);
    Text::default()
        .with(format!("{mark} "), style)
        .with(
            format!(
                "{:<14} {}  {:>8}  {segment:>8}  {ridden:>8}  ",
                phase.kind.to_string(),
                text::plain(phase.set_point_w, 6, 0),
                text::duration(phase.planned_s)
            ),
            Style::new(),
        )
        .with(word, style)
}

fn sentences(state: &State, found: &PlanCheck, width: u16) -> Vec<Text> {
    let look = state.look;
    let mut out = vec![Text::default().with("what this ride cannot tell", look.strong())];
    if found.cannot_tell.is_empty() {
        out.push(Text::default().with("nothing that the plan asks", Style::new()));
    }
    for sentence in &found.cannot_tell {
        out.extend(wrapped(&format!("- {sentence}"), width, Style::new()));
    }
    if !found.more.is_empty() {
        out.push(Text::default().with("what would decide the open verdicts", look.strong()));
    }
    for more in &found.more {
        let minutes = more
            .minutes_more
            .filter(|minutes| *minutes > 0.0)
            .map_or_else(String::new, |m| format!(" ({} min more)", m.ceil()));
        let line = format!(
            "- segment {}, {}: {}{minutes}",
            more.segment, more.under_test, more.reason
        );
        out.extend(wrapped(&line, width, Style::new()));
    }
    out
}
