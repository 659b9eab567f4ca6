//! Who disagrees with whom.

use super::question::Question;
use super::subject::judged;
use crate::analysis::grubbs::NoisyOne;
use crate::analysis::segment;
use crate::analysis::verdict::references::Between;
use crate::analysis::verdict::references::References;
use crate::picture::parts::Picture;
use crate::picture::references;
use crate::session::Kind;

/// Two streams against each other.
#[derive(Clone, Debug, PartialEq)]
pub struct Pair {
    /// The first.
    pub first: usize,
    /// The second, later in the session.
    pub second: usize,
    /// Their figures, where they have seconds in common.
    pub between: Option<Between>,
}

/// What the references view shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Compared {
    /// Every two streams that carry power and are under test or a reference, in the order of the
    /// picture's lines.
    pub pairs: Vec<Pair>,
    /// Their picture.
    pub picture: Picture,
    /// The test of the references.
    pub references: Option<References>,
    /// Which of three or more is the noisy one.
    pub noise: Option<NoisyOne>,
}

/// Answers the question of the references view.
pub fn of(question: &Question) -> Result<Compared, String> {
    let subject = judged(question, Kind::Open);
    let pairs = references::pairs(&subject);
    if pairs.is_empty() {
        return Err(
            "There are no two streams with power to compare: give the roles under-test \
                    and reference."
                .to_owned(),
        );
    }
    let pair = |[first, second]: [usize; 2]| Pair {
        first,
        second,
        between: segment::between(
            &question.opened.session,
            &question.aligned,
            &question.found,
            question.about.span,
            [first, second],
        ),
    };
    Ok(Compared {
        pairs: pairs.into_iter().map(pair).collect(),
        picture: references::of(&subject)?,
        references: subject.figures.references.clone(),
        noise: subject.figures.noise.clone(),
    })
}
