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
pub mod subject;

use std::any::Any;
use std::sync::Arc;

use super::state::parts::View;
use crate::analysis::figures::SegmentFigures;
use crate::analysis::ride;
use crate::analysis::segment::figures_with;

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
    /// Of any other view.
    View(Shown),
    /// There is nothing to show, and why, in a sentence.
    Nothing(String),
}

/// What a view computed, into which only the view looks.
#[derive(Clone, Debug)]
pub struct Shown(Arc<dyn Any + Send + Sync>);

impl Shown {
    /// Of `value`.
    pub fn new(value: impl Any + Send + Sync) -> Self {
        Self(Arc::new(value))
    }

    /// The value, where it is of this type.
    pub fn get<T: 'static>(&self) -> Option<&T> {
        self.0.downcast_ref()
    }
}

impl PartialEq for Shown {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0)
    }
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

/// Computes what is wanted, a view's answer by `of_view`; may take a second on a long ride.
pub fn compute(wanted: Wanted, of_view: fn(&Question) -> Result<Shown, String>) -> Computed {
    match wanted {
        Wanted::Findings(aligned) => Computed::Findings(Found {
            findings: Arc::new(ride::findings(&aligned)),
            aligned,
        }),
        Wanted::Answer(question) => {
            let answered = match question.about.view {
                View::Ride => segment_of(&question).map(|a| Answer::Segment(Box::new(a))),
                View::Answers => Ok(Answer::Answers(Box::new(answers::of(&question)))),
                View::Clocks => Ok(Answer::Clocks(Box::new(clocks::of(&question)))),
                _ => of_view(&question).map(Answer::View),
            };
            let answer = answered.unwrap_or_else(Answer::Nothing);
            Computed::Answer(Box::new((*question, answer)))
        }
    }
}

fn segment_of(question: &Question) -> Result<SegmentFigures, String> {
    let session = &question.opened.session;
    let index = question.about.segment;
    let found = index.and_then(|index| Some((index, session.segments.get(index)?)));
    let (index, segment) = found.ok_or("no segment is selected")?;
    let (aligned, found) = (&question.aligned, &question.found);
    Ok(figures_with(session, aligned, found, segment, index + 1))
}
