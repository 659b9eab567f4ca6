//! Difference against mean, second by second.

use super::Question;
use super::subject::{Subject, figures, mean};
use crate::analysis::figures::Agreement;
use crate::session::Kind;
use crate::workbench::state::allowed_w;

/// Parts of the stretch that the points are shaded by.
pub const PARTS: usize = 3;

/// One second.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Mean of the two, W.
    pub mean_w: f64,
    /// Under test − reference, W.
    pub difference_w: f64,
    /// Which part of the stretch: 0 is the first.
    pub part: usize,
}

/// What the agreement view shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Agreed {
    /// Seconds that both have, as recorded.
    pub points: Vec<Point>,
    /// Figures of the comparison, without the seconds that are no readings.
    pub figures: Option<Agreement>,
    /// What the claim lets the bias be: the middle (the allowance) and the half-width, W.
    pub allowed_w: Option<(f64, f64)>,
    /// Bias of each part, W, and its seconds.
    pub parts: [Option<(f64, usize)>; PARTS],
}

/// Answers the question of the agreement view.
pub fn of(question: &Question) -> Result<Agreed, String> {
    let subject = Subject::of(question)?;
    let rows = subject.tested.len().max(1);
    let points: Vec<Point> = subject
        .tested
        .iter()
        .zip(subject.known)
        .enumerate()
        .filter(|(_, (tested, known))| (*tested - *known).is_finite())
        .map(|(row, (tested, known))| Point {
            mean_w: 0.5 * (tested + known),
            difference_w: tested - known,
            part: (row * PARTS / rows).min(PARTS - 1),
        })
        .collect();
    let found = subject.agreement(&figures(question, Kind::Open));
    let level_w = found.as_ref().and_then(|f| f.reference_mean_w);
    let part = |part: usize| {
        let own = points.iter().filter(|p| p.part == part);
        mean(own.map(|p| p.difference_w))
    };
    Ok(Agreed {
        parts: std::array::from_fn(part),
        allowed_w: level_w.and_then(|w| allowed_w(&question.opened.session, subject.under_test, w)),
        figures: found,
        points,
    })
}
