//! Who disagrees with whom.

use super::question::Question;
use super::subject::figures;
use crate::analysis::grubbs::NoisyOne;
use crate::analysis::segment;
use crate::analysis::verdict::references::Between;
use crate::analysis::verdict::references::References;
use crate::picture::soak::mean;
use crate::session::{Kind, Role};
use crate::timeline::Member;

/// Stretches in which a pair's difference is drawn.
const STRETCHES: usize = 120;

/// Two streams against each other.
#[derive(Clone, Debug, PartialEq)]
pub struct Pair {
    /// The first.
    pub first: usize,
    /// The second, later in the session.
    pub second: usize,
    /// Their figures, where they have seconds in common.
    pub between: Option<Between>,
    /// Mean difference in each of equal stretches: middle, s, and W (`NaN`: nothing in common).
    pub along: Vec<(f64, f64)>,
}

/// What the references view shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Compared {
    /// Every two streams that carry power and are under test or a reference.
    pub pairs: Vec<Pair>,
    /// The test of the references.
    pub references: Option<References>,
    /// Which of three or more is the noisy one.
    pub noise: Option<NoisyOne>,
}

/// Answers the question of the references view.
pub fn of(question: &Question) -> Result<Compared, String> {
    let aligned = &question.aligned;
    let mut judged: Vec<usize> = aligned.powered(Role::Reference).collect();
    judged.extend(aligned.powered(Role::UnderTest));
    judged.sort_unstable();
    if judged.len() < 2 {
        return Err(
            "There are no two streams with power to compare: give the roles under-test \
                    and reference."
                .to_owned(),
        );
    }
    let mut pairs = Vec::new();
    for (index, first) in judged.iter().enumerate() {
        for second in judged.iter().skip(index + 1) {
            pairs.push(pair(question, *first, *second));
        }
    }
    let all = figures(question, Kind::Open);
    Ok(Compared {
        pairs,
        references: all.references,
        noise: all.noise,
    })
}

fn pair(question: &Question, first: usize, second: usize) -> Pair {
    let aligned = &question.aligned;
    let grid = aligned.grid;
    let rows = grid.rows(question.about.span);
    let column = |index| {
        let power = aligned.power(Member::Stream(index));
        power.and_then(|c| c.get(rows.clone())).unwrap_or(&[])
    };
    let (x, y) = (column(first), column(second));
    let between = segment::between(
        &question.opened.session,
        aligned,
        &question.found,
        question.about.span,
        [first, second],
    );
    let width = x.len().div_ceil(STRETCHES).max(1);
    let along = x
        .chunks(width)
        .zip(y.chunks(width))
        .enumerate()
        .map(|(index, (x, y))| {
            let middle = rows.start + index * width + x.len() / 2;
            let difference = mean(x.iter().zip(y).map(|(a, b)| a - b));
            (grid.time_s(middle), difference.map_or(f64::NAN, |(w, _)| w))
        })
        .collect();
    Pair {
        first,
        second,
        between,
        along,
    }
}
