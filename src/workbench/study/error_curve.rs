//! Error against power over all blocks of held power.

use super::question::Question;
use super::subject::judged;
use crate::analysis::error_curve::ErrorCurve;
use crate::analysis::table::error_curves;
use crate::analysis::verdict::overall;
use crate::picture::error_curve;
use crate::picture::parts::Picture;
use crate::session::{Kind, Role};

/// What the view shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown {
    /// What all blocks say together.
    pub found: ErrorCurve,
    /// Its picture; else why there is none.
    pub picture: Result<Picture, String>,
    /// The answer on the claim, in a sentence.
    pub answer: String,
}

/// Answers the question of the view, which is always about the whole ride.
pub fn of(question: &Question) -> Result<Shown, String> {
    let session = &question.opened.session;
    let source = question.about.under_test;
    let source = source.or_else(|| session.with_role(Role::UnderTest).next());
    let stream = source.and_then(|index| Some((index, session.streams.get(index)?)));
    let (index, stream) =
        stream.ok_or("Nothing is under test: give one stream the role under-test with E.")?;
    let curves = error_curves(session, &question.aligned, &question.found);
    let found = curves.into_iter().find(|c| c.under_test == stream.label);
    let found = found.ok_or("The source under test has no power.")?;
    let claim = session.claim_of(index).unwrap_or_default();
    Ok(Shown {
        picture: error_curve::picture(&judged(question, Kind::Open), index, &found),
        answer: overall::answer(claim, &found),
        found,
    })
}
