//! How the source under test answers a change of power.

use super::Question;
use super::subject::{Subject, figures};
use crate::analysis::figures::{Ramp, Sprint};
use crate::session::Kind;
use crate::timeline::Member;

/// Longest stretch that a response is fitted to, s: beyond it is no sprint and no step.
pub const LONGEST_S: f64 = 600.0;
/// Rows before the stretch that settle the lag of the model.
const SETTLE_ROWS: usize = 30;

/// What the response view shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Responded {
    /// Session time, s, power under test and of the reference, W, second by second.
    pub rows: Vec<[f64; 3]>,
    /// The reference through the fitted dead time, lag, gain and ceiling, W; empty without a fit.
    pub model: Vec<(f64, f64)>,
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
        .tested
        .iter()
        .zip(&subject.known)
        .enumerate()
        .map(|(row, (tested, known))| [grid.time_s(subject.rows.start + row), *tested, *known])
        .collect();
    let sprint = sprint.sprint;
    let model = sprint.as_ref().and_then(|sprint| model(&subject, sprint));
    Ok(Responded {
        rows,
        model: model.unwrap_or_default(),
        sprint,
        compared: (subject.under_test, subject.basis),
        ramp: figures(question, Kind::Ramp).ramp,
    })
}

fn model(subject: &Subject<'_>, sprint: &Sprint) -> Option<Vec<(f64, f64)>> {
    let step_s = subject.question.aligned.grid.step_s;
    let aligned = &subject.question.aligned;
    let from = subject.rows.start.saturating_sub(SETTLE_ROWS);
    let input = aligned.power(subject.basis)?.get(from..subject.rows.end)?;
    // The model needs its input whole: what lies before a gap is left out.
    let gap = input.iter().rposition(|w| !w.is_finite());
    let start = gap.map_or(0, |at| at + 1);
    let answered = sprint.model(input.get(start..)?, step_s)?;
    let first = from + start;
    let points = answered.into_iter().enumerate().map(|(row, w)| {
        let at_s = aligned.grid.time_s(first + row);
        (at_s, w)
    });
    let begins_s = aligned.grid.time_s(subject.rows.start);
    Some(points.filter(|(at_s, _)| *at_s >= begins_s).collect())
}
