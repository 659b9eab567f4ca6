//! What takes longer than a key may wait: what the whole ride shows, and what the full-screen views
//! show beyond the figures at hand. A [`Wanted`] carries all it takes, [`compute`] is a pure function
//! of it, run aside.

pub mod agreement;
pub mod answers;
pub mod clocks;
pub mod coverage;
pub mod error_curve;
pub mod plan;
pub mod question;
pub mod references;
pub mod response;
pub mod soak;
mod subject;

use std::sync::Arc;

use super::state::parts::View;
use crate::analysis::coverage::Coverage;
use crate::analysis::figures::SegmentFigures;
use crate::analysis::ride;
use crate::analysis::segment::figures_with;
use crate::plan::PlanCheck;

pub use question::{About, Found, Question, Wanted};

/// The answer to a question; boxed where it is long.
#[derive(Clone, Debug, PartialEq)]
pub enum Answer {
    /// Of the ride view: all figures of the selected segment.
    Segment(Box<SegmentFigures>),
    /// Of the whole ride.
    Answers(Box<answers::Answered>),
    /// Of the clocks view.
    Clocks(Box<clocks::Clocks>),
    /// Of the agreement view.
    Agreement(Box<agreement::Agreed>),
    /// Of the response view.
    Response(Box<response::Responded>),
    /// Of the references view.
    References(Box<references::Compared>),
    /// Of the soak view.
    Soak(Box<soak::Soak>),
    /// Of the error curve's view.
    ErrorCurve(Box<error_curve::Shown>),
    /// Of the coverage view.
    Coverage(Coverage),
    /// Of the plan view.
    Plan(PlanCheck),
    /// There is nothing to show, and why, in a sentence.
    Nothing(String),
}

/// What was computed aside.
#[derive(Clone, Debug, PartialEq)]
pub enum Computed {
    /// What the whole ride shows.
    Findings(Found),
    /// The answer to a question of a view.
    Answer(Box<(Question, Answer)>),
}

impl Computed {
    /// Whether this is what was wanted.
    pub fn is(&self, wanted: &Wanted) -> bool {
        match (self, wanted) {
            (Computed::Findings(found), Wanted::Findings(aligned)) => {
                Arc::ptr_eq(&found.aligned, aligned)
            }
            (Computed::Answer(answered), Wanted::Answer(question)) => answered.0 == **question,
            _ => false,
        }
    }
}

/// Computes what is wanted; may take a second on a long ride.
pub fn compute(wanted: Wanted) -> Computed {
    match wanted {
        Wanted::Findings(aligned) => Computed::Findings(Found {
            findings: Arc::new(ride::findings(&aligned)),
            aligned,
        }),
        Wanted::Answer(question) => {
            let answer = answer(&question);
            Computed::Answer(Box::new((*question, answer)))
        }
    }
}

fn answer(question: &Question) -> Answer {
    let answered = match question.about.view {
        View::Ride => segment_of(question).map(|a| Answer::Segment(Box::new(a))),
        View::Answers => Ok(Answer::Answers(Box::new(answers::of(question)))),
        View::Clocks => Ok(Answer::Clocks(Box::new(clocks::of(question)))),
        View::Agreement => agreement::of(question).map(|a| Answer::Agreement(Box::new(a))),
        View::Response => response::of(question).map(|a| Answer::Response(Box::new(a))),
        View::References => references::of(question).map(|a| Answer::References(Box::new(a))),
        View::Soak => soak::of(question).map(|a| Answer::Soak(Box::new(a))),
        View::ErrorCurve => error_curve::of(question).map(|a| Answer::ErrorCurve(Box::new(a))),
        View::Coverage => coverage::of(question).map(Answer::Coverage),
        View::Plan => plan::of(question).map(Answer::Plan),
    };
    answered.unwrap_or_else(Answer::Nothing)
}

fn segment_of(question: &Question) -> Result<SegmentFigures, String> {
    let session = &question.opened.session;
    let index = question.about.segment;
    let found = index.and_then(|index| Some((index, session.segments.get(index)?)));
    let (index, segment) = found.ok_or("no segment is selected")?;
    let (aligned, found) = (&question.aligned, &question.found);
    Ok(figures_with(session, aligned, found, segment, index + 1))
}
