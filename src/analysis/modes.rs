//! When a trainer changed its mode: from a set power to simulation or back, or as a recorded mode says.
//!
//! A recorded mode is taken at its word. Where there is none, a set point that a recorder noted means a set
//! power, and a recorded grade simulation. A switch lasts from the end of the one to the beginning of the
//! other.

use super::ride::{grade_percent, modes, set_points};
use crate::timeline::{Aligned, Span};

/// Longer between two modes is a break, s.
const LONGEST_S: f64 = 120.0;
/// What belongs to a switch may come so long before or after it, s.
const NEAR_S: f64 = 10.0;

/// A change of the mode.
#[derive(Clone, Debug, PartialEq)]
pub struct Switch {
    /// From the end of the old mode to the beginning of the new one, session time.
    pub span: Span,
    /// The new mode.
    pub to: String,
}

/// The switches of a ride, in time order.
pub fn switches(aligned: &Aligned) -> Vec<Switch> {
    let mut told: Vec<(Span, String)> = modes(aligned)
        .into_iter()
        .map(|(span, mode)| (span, mode.to_string()))
        .collect();
    if told.is_empty() {
        let set = set_points(aligned).into_iter();
        told.extend(set.map(|(span, _)| (span, "a set power".to_owned())));
        told.extend(slopes(aligned).map(|span| (span, "simulation".to_owned())));
    }
    told.sort_by(|a, b| a.0.from_s.total_cmp(&b.0.from_s));
    let changes = told.windows(2).filter_map(|pair| {
        let ((old, before), (new, to)) = (&pair[0], &pair[1]);
        let is_near = new.from_s - old.to_s <= LONGEST_S;
        (before != to && is_near).then(|| Switch {
            span: Span::new(old.to_s.min(new.from_s), new.from_s),
            to: to.clone(),
        })
    });
    changes.collect()
}

/// The switch that a stretch belongs to.
pub fn switch_at(switches: &[Switch], stretch: Span) -> Option<&Switch> {
    switches.iter().find(|switch| {
        stretch.from_s <= switch.span.to_s + NEAR_S && switch.span.from_s - NEAR_S <= stretch.to_s
    })
}

/// Stretches with a grade.
fn slopes(aligned: &Aligned) -> impl Iterator<Item = Span> {
    let grid = aligned.grid;
    let grades = grade_percent(aligned).map_or(&[][..], |(_, grades)| grades);
    let mut start = 0;
    grades
        .chunk_by(|a, b| a.is_finite() == b.is_finite())
        .filter_map(move |run| {
            let from = start;
            start += run.len();
            let is_there = run.first().is_some_and(|grade| grade.is_finite());
            is_there.then(|| Span::new(grid.time_s(from), grid.time_s(from + run.len())))
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::bench::{Ridden, aligned_of};
    use crate::recording::Channel;
    use crate::session::Role;

    #[test]
    fn a_grade_that_comes_and_goes_is_no_switch_by_itself() {
        let mut grade = vec![f64::NAN; 100];
        grade[30..60].fill(2.0);
        let (_, aligned) = aligned_of(vec![Ridden {
            label: "trainer",
            role: Role::UnderTest,
            claim_percent: None,
            channels: vec![(Channel::Power, vec![200.0; 100]), (Channel::Grade, grade)],
        }]);
        assert_eq!(
            slopes(&aligned).collect::<Vec<_>>(),
            [Span::new(30.0, 60.0)]
        );
        assert_eq!(switches(&aligned), []);
        let switch = Switch {
            span: Span::new(100.0, 118.0),
            to: "simulation".to_owned(),
        };
        let of = |from_s, to_s| switch_at(std::slice::from_ref(&switch), Span::new(from_s, to_s));
        assert!(of(101.0, 109.0).is_some() && of(125.0, 140.0).is_some());
        assert!(of(20.0, 80.0).is_none() && of(130.0, 140.0).is_none());
    }
}
