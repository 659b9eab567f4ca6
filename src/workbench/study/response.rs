//! How the source under test answers a change of power.

use super::question::Question;
use super::subject::{figures, judged};
use crate::analysis::kinds::ramp::Ramp;
use crate::analysis::kinds::sprint::Sprint;
use crate::picture::parts::Picture;
use crate::picture::response;
use crate::session::Kind;
use crate::timeline::Member;

/// Longest stretch that a response is fitted to, s: beyond it is no sprint and no step.
pub const LONGEST_S: f64 = 600.0;

/// What the response view shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Responded {
    /// Its picture.
    pub picture: Picture,
    /// The fit of the stretch taken for a sprint.
    pub sprint: Option<Sprint>,
    /// The source under test and what the fit compares it with.
    pub compared: (usize, Member),
    /// Its steps.
    pub ramp: Option<Ramp>,
}

/// Answers the question of the response view.
pub fn of(question: &Question) -> Result<Responded, String> {
    let span = question.about.span;
    if span.duration_s() > LONGEST_S {
        return Err(
            "This stretch is too long for a response: brush a sprint or a step (up to \
                    10 min), or select such a segment."
                .to_owned(),
        );
    }
    let mut subject = judged(question, Kind::Sprint);
    subject.figures.of_kind.ramp = figures(question, Kind::Ramp).of_kind.ramp;
    Ok(Responded {
        compared: (subject.under_test()?, subject.basis()?),
        picture: response::of(&subject)?,
        sprint: subject.figures.of_kind.sprint,
        ramp: subject.figures.of_kind.ramp,
    })
}
