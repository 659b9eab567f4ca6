//! What is written to files from inside: the results of the commands, of the session as it stands.

use std::borrow::Cow;
use std::path::Path;
use std::sync::Arc;

use super::draw::views;
use super::state::State;
use super::state::parts::{View, Writing, Written};
use super::study::answers::{self, Answered};
use super::study::subject::judged;
use super::study::{About, Question};
use crate::analysis::ride;
use crate::export::figure::{Drawing, Look};
use crate::export::report;
use crate::export::samples::{Rows, Samples};
use crate::export::table;
use crate::picture::kind::{PictureKind, picture};
use crate::picture::parts::Picture;
use crate::picture::proof;
use crate::picture::subject::Subject;

/// Width of a picture, pixels.
const WIDTH: u32 = 1200;

/// The bytes of the file, in the form that its ending names.
///
/// # Errors
/// Why there are none, in a sentence without its dot.
pub fn bytes(writing: &Writing, state: &State) -> Result<Vec<u8>, String> {
    let path = &writing.path;
    match writing.what {
        Written::Report => {
            let Question {
                opened,
                aligned,
                found,
                ..
            } = whole_ride(state);
            let page = report::page(&opened, &aligned, &found, false);
            page.map(String::into_bytes)
                .map_err(|error| error.to_string())
        }
        Written::Table => segment_table(path, state).map(String::into_bytes),
        Written::Picture => {
            let drawing = Drawing::of(path).ok_or("name the picture .svg or .png")?;
            let bytes = drawing.bytes(&picture_shown(state)?, WIDTH, Look::LIGHT);
            bytes.map_err(|error| error.to_string())
        }
        Written::Samples => Ok(samples(path, state).into_bytes()),
    }
}

/// The segment table with the answers that its signs rest on: those at hand where they are of the ride
/// as it stands.
pub fn answered(state: &State) -> Cow<'_, Answered> {
    match &state.answered {
        Some((_, answered)) if state.answers_hold() => Cow::Borrowed(answered),
        _ => Cow::Owned(answers::of(&whole_ride(state))),
    }
}

/// The whole ride with what a search of it shows.
fn whole_ride(state: &State) -> Question {
    let mut question = state.question(state.about_ride());
    if !state.is_searched() {
        question.found = Arc::new(ride::findings(&state.aligned));
    }
    question
}

fn is(path: &Path, ending: &str) -> bool {
    let own = path.extension().and_then(|own| own.to_str());
    own.is_some_and(|own| own.eq_ignore_ascii_case(ending))
}

fn segment_table(path: &Path, state: &State) -> Result<String, String> {
    let answered = answered(state);
    let (table, answers) = (&answered.table, &answered.findings);
    match path {
        _ if is(path, "csv") => Ok(table::short_csv(table, answers)),
        _ if is(path, "md") => Ok(table::short_markdown(table, answers)),
        _ if is(path, "txt") => Ok(table::short_text(table, answers)),
        _ => table::json(table).map_err(|error| error.to_string()),
    }
}

fn samples(path: &Path, state: &State) -> String {
    let rows = if is(path, "json") {
        Rows::Json
    } else {
        Rows::Csv
    };
    let mut text = String::new();
    let samples = Samples::new(&state.opened, &state.aligned);
    let written: Result<(), std::convert::Infallible> =
        samples.write(state.aligned.grid.span(), rows, &mut |piece| {
            text.push_str(piece);
            Ok(())
        });
    match written {
        Ok(()) => text,
    }
}

/// The picture that the open view shows; of the ride view that of the segment's kind, else the traces
/// of the window.
fn picture_shown(state: &State) -> Result<Picture, String> {
    match state.view {
        View::Answers => {
            let found = answered(state);
            let ranked = found.findings.ranked();
            let answer = ranked.get(state.answer.min(ranked.len().saturating_sub(1)));
            let answer = answer.ok_or("no question is answered yet")?;
            let Question {
                opened,
                aligned,
                found,
                ..
            } = whole_ride(state);
            proof::of(&Subject::ride(&opened.session, &aligned, &found), answer)
        }
        View::Ride => {
            let kind = state.figures_kind();
            let question = Question {
                about: About {
                    span: state.figures_span(),
                    segment: state.segment_with_figures(),
                    ..state.about_ride()
                },
                ..whole_ride(state)
            };
            let shows = state.segment_with_figures();
            let shows = shows.and_then(|_| PictureKind::named(kind.spec().picture));
            picture(
                shows.unwrap_or(PictureKind::Traces),
                &judged(&question, kind),
            )
        }
        _ => {
            let about = state.about().ok_or("this view draws no picture")?;
            views::picture(&Question {
                about,
                ..whole_ride(state)
            })
        }
    }
}
