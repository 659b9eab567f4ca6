//! The full-screen views, one file each, under the strip of the whole ride.

mod agreement;
pub(super) mod answers;
mod clocks;
mod coverage;
mod error_curve;
mod plan;
mod references;
mod response;
mod shared;
mod soak;
#[cfg(test)]
mod tests;

use ratatui::style::Style;

use super::super::layout::Layout;
use super::super::state::{Scope, State, View};
use super::super::study::Answer;
use super::super::text;
use super::page::Page;
use super::pen::Text;
use crate::timeline::Member;
use shared::{CONSENSUS_MARK, first, nothing, rest, stream_name};

/// The open view, under the strip.
pub fn page<'a>(state: &'a State, layout: &Layout) -> Page<'a> {
    let area = layout.body;
    if let (View::Answers, Some(found)) = (state.view, state.answers()) {
        return answers::page(state, found, area);
    }
    let below = rest(area, 1);
    let page = match state.study.as_ref().map(|(_, answer)| answer) {
        _ if state.view == View::Clocks => clocks::page(state, below),
        Some(Answer::Nothing(why)) => Page::new(move |pen| nothing(why, below, pen)),
        Some(Answer::Agreement(found)) if state.view == View::Agreement => {
            agreement::page(state, found, below)
        }
        Some(Answer::Response(found)) if state.view == View::Response => {
            response::page(state, found, below)
        }
        Some(Answer::References(found)) if state.view == View::References => {
            references::page(state, found, below)
        }
        Some(Answer::Soak(found)) if state.view == View::Soak => soak::page(state, found, below),
        Some(Answer::ErrorCurve(found)) if state.view == View::ErrorCurve => {
            error_curve::page(state, found, below)
        }
        Some(Answer::Coverage(found)) if state.view == View::Coverage => {
            coverage::page(state, found, below)
        }
        Some(Answer::Plan(found)) if state.view == View::Plan => plan::page(state, found, below),
        _ => Page::new(move |pen| nothing("The figures are being computed.", below, pen)),
    };
    let line = match state.view {
        View::Clocks => clocks::subject_line(state),
        _ => subject_line(state),
    };
    page.with(vec![line], first(area, 1))
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
        (None, _) if state.is_brushed() => "window".to_owned(),
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
    if matches!(
        state.view,
        View::Answers | View::References | View::Plan | View::ErrorCurve
    ) {
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
