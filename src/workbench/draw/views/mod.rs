//! The full-screen views, one file each, under the strip of the whole ride.

mod agreement;
pub(super) mod answers;
mod clocks;
mod coverage;
mod error_curve;
mod plan;
mod references;
mod response;
pub(super) mod shared;
mod soak;
#[cfg(test)]
mod tests;

use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::layout::Layout;
use super::super::state::{Scope, State, View};
use super::super::study::response::Responded;
use super::super::study::soak::Soak;
use super::super::study::{self, Answer, Question, Shown};
use super::super::text;
use super::page::Page;
use super::pen::Text;
use crate::picture::parts::Picture;
use crate::timeline::Member;
use shared::{first, nothing, rest};

/// A view that shows what it computed aside.
struct Computing {
    view: View,
    of: fn(&Question) -> Result<Shown, String>,
    page: for<'a> fn(&'a State, Rect) -> Option<Page<'a>>,
    picture: fn(&Question) -> Result<Picture, String>,
}

macro_rules! computing {
    ($($view:ident: $of:expr, $page:expr, $picture:expr;)+) => {
        &[$(Computing {
            view: View::$view,
            of: |question| $of(question).map(Shown::new),
            page: |state, area| Some($page(state, state.shown()?, area)),
            picture: $picture,
        }),+]
    };
}

// What each computes, its page, and its picture on paper.
const COMPUTING: &[Computing] = computing! {
    Agreement: study::agreement::of, agreement::page, |q| Ok(study::agreement::of(q)?.picture);
    Response: study::response::of, response::page, |q| Ok(study::response::of(q)?.picture);
    References: study::references::of, references::page, |q| Ok(study::references::of(q)?.picture);
    Soak: study::soak::of, soak::page, |q| Ok(study::soak::of(q)?.picture);
    ErrorCurve: study::error_curve::of, error_curve::page, |q| study::error_curve::of(q)?.picture;
    Coverage: study::coverage::of, coverage::page, study::coverage::picture;
    Plan: study::plan::of, plan::page, |_| Err("a plan is no picture; `truing plan` prints it".to_owned());
};

fn computing(view: View) -> Option<&'static Computing> {
    COMPUTING.iter().find(|entry| entry.view == view)
}

/// What the view of `question` shows; else why there is nothing.
pub fn answer(question: &Question) -> Result<Shown, String> {
    let view = question.about.view;
    let entry = computing(view).ok_or("This view computes nothing.")?;
    (entry.of)(question)
}

/// The picture that the view of `question` shows.
///
/// # Errors
/// Why there is none, in a sentence without its dot.
pub fn picture(question: &Question) -> Result<Picture, String> {
    let entry = computing(question.about.view);
    let entry = entry.ok_or("this view has no picture of its own; open another")?;
    (entry.picture)(question)
}

/// The open view, under the strip.
pub fn page<'a>(state: &'a State, layout: &Layout) -> Page<'a> {
    let area = layout.body;
    if let (View::Answers, Some(found)) = (state.view, state.answers()) {
        return answers::page(state, found, area);
    }
    let below = rest(area, 1);
    let page = match &state.study {
        _ if state.view == View::Clocks => clocks::page(state, below),
        Some((_, Answer::Nothing(why))) => Page::new(move |pen| nothing(why, below, pen)),
        _ => computing(state.view)
            .and_then(|entry| (entry.page)(state, below))
            .unwrap_or_else(|| {
                Page::new(move |pen| nothing("The figures are being computed.", below, pen))
            }),
    };
    let line = match state.view {
        View::Clocks => clocks::subject_line(state),
        _ => subject_line(state),
    };
    page.with(vec![line], first(area, 1))
}

/// What the figures are for.
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
    Text::default().with(name, state.look.strong()).with(
        format!(
            " {}-{} ({})",
            text::time(span.from_s, long),
            text::time(span.to_s, long),
            text::duration(span.duration_s())
        ),
        Style::new(),
    )
}

/// Who is compared with whom. What takes a fit is fitted to what the verdict rests on, whatever is
/// chosen for the rest; the clocks' own line says whose they are.
pub fn compared(state: &State) -> Option<(usize, Member)> {
    if state.view == View::Clocks {
        return None;
    }
    let response = state.shown().map(|found: &Responded| found.compared);
    let soak = state.shown().map(|found: &Soak| found.compared);
    let chosen = || state.under_test().zip(state.basis());
    response.or(soak).or_else(chosen)
}
