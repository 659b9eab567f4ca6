//! Difference against mean, second by second.

use super::question::Question;
use super::subject::chosen;
use crate::analysis::agreement::Agreement;
use crate::picture::agreement;
use crate::picture::claim::allowed_w;
use crate::picture::parts::Picture;
use crate::session::Kind;

/// What the agreement view shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Agreed {
    /// Its picture.
    pub picture: Picture,
    /// Figures of the comparison, without the seconds that are no readings.
    pub figures: Option<Agreement>,
    /// What the claim lets the bias be: the middle (the allowance) and the half-width, W.
    pub allowed_w: Option<(f64, f64)>,
    /// Bias of each part, W.
    pub parts: [Option<f64>; agreement::PARTS],
}

/// Answers the question of the agreement view.
pub fn of(question: &Question) -> Result<Agreed, String> {
    let subject = chosen(question, Kind::Open)?;
    let compared = subject.compared()?;
    let found = subject.pair(compared.under_test, compared.basis).cloned();
    let level_w = found.as_ref().and_then(|f| f.reference_mean_w);
    Ok(Agreed {
        picture: agreement::of(&subject)?,
        parts: agreement::by_part(&compared),
        allowed_w: level_w.and_then(|w| allowed_w(subject.session, compared.under_test, w)),
        figures: found,
    })
}
