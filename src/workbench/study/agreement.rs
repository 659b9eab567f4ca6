//! Difference against mean, second by second.

use super::question::Question;
use super::subject::{Subject, figures};
use crate::analysis::agreement::Agreement;
use crate::picture::claim::allowed_w;
use crate::picture::soak::mean;
use crate::session::Kind;

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
    /// Seconds that both have, as recorded: of those that no picture could tell apart only the
    /// last one.
    pub points: Vec<Point>,
    /// How many seconds that is in all.
    pub seconds: usize,
    /// The size of a difference that all but one in 200 stay below, W.
    pub usual_w: f64,
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
    let rows = subject.source.len().max(1);
    let points: Vec<Point> = subject
        .source
        .iter()
        .zip(&subject.reference)
        .enumerate()
        .filter(|(_, (source, reference))| (*source - *reference).is_finite())
        .map(|(row, (source, reference))| Point {
            mean_w: 0.5 * (source + reference),
            difference_w: source - reference,
            part: (row * PARTS / rows).min(PARTS - 1),
        })
        .collect();
    let usual_w = usual(&points);
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
        seconds: points.len(),
        points: told_apart(&points, usual_w),
        usual_w,
    })
}

/// Share of the points that the axes take in whole.
const SHARE: f64 = 0.995;

fn usual(points: &[Point]) -> f64 {
    let mut sizes: Vec<f64> = points.iter().map(|p| p.difference_w.abs()).collect();
    let index = (sizes.len() as f64 * SHARE) as usize;
    if sizes.is_empty() {
        return 1.0;
    }
    let index = index.min(sizes.len() - 1);
    *sizes.select_nth_unstable_by(index, f64::total_cmp).1
}

/// Places across and up that points are told apart by: more than the dots of most screens.
const ACROSS: usize = 512;
const UP: usize = 256;

/// The last point at each place, in order of time: what a picture costs then depends on its size
/// and not on the length of the ride.
fn told_apart(points: &[Point], usual_w: f64) -> Vec<Point> {
    let means = || points.iter().map(|p| p.mean_w);
    let low = means().fold(f64::INFINITY, f64::min);
    let high = means().fold(f64::NEG_INFINITY, f64::max);
    let place = |p: &Point| {
        // Casts take what is beyond the ends to the ends.
        let across = (p.mean_w - low) / (high - low).max(1e-9) * (ACROSS - 1) as f64;
        let up = (0.5 + 0.4 * p.difference_w / usual_w.max(1e-9)) * UP as f64;
        (up as usize).min(UP - 1) * ACROSS + (across as usize).min(ACROSS - 1)
    };
    let mut taken = vec![false; ACROSS * UP];
    let mut kept: Vec<Point> = points
        .iter()
        .rev()
        .filter(|p| !std::mem::replace(&mut taken[place(p)], true))
        .copied()
        .collect();
    kept.reverse();
    kept
}
