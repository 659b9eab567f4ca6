//! How the source under test answers a change of power.

use super::question::Question;
use super::subject::{Subject, figures};
use crate::analysis::kinds::ramp::Ramp;
use crate::analysis::kinds::sprint::Sprint;
use crate::picture::response::model;
use crate::session::Kind;
use crate::timeline::Member;

/// Longest stretch that a response is fitted to, s: beyond it is no sprint and no step.
pub const LONGEST_S: f64 = 600.0;

/// What the response view shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Responded {
    /// Session time, s, power under test and of the reference, W, second by second.
    pub rows: Vec<[f64; 3]>,
    /// Session time, s, and the reference as the fitted response would report it, W; empty without
    /// a fit.
    pub model: Vec<[f64; 2]>,
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
    let sprint = figures(question, Kind::Sprint);
    let subject = Subject::judged(question, &sprint)?;
    let grid = question.aligned.grid;
    let rows = subject
        .source
        .iter()
        .zip(&subject.reference)
        .enumerate()
        .map(|(row, (source, reference))| {
            [grid.time_s(subject.rows.start + row), *source, *reference]
        })
        .collect();
    let sprint = sprint.of_kind.sprint;
    let model = sprint.as_ref().and_then(|sprint| {
        model(
            &question.aligned,
            subject.rows.clone(),
            subject.basis,
            sprint,
        )
    });
    Ok(Responded {
        rows,
        model: model.unwrap_or_default(),
        sprint,
        compared: (subject.under_test, subject.basis),
        ramp: figures(question, Kind::Ramp).of_kind.ramp,
    })
}
