//! Suggested segments, each with a reason.
//!
//! [`Evidence`] is what a ride says without the tester: the references' power, cadence and speed,
//! laps, workout steps and gear changes. [`suggestions`] reads it in three steps:
//!
//! 1. Coasts and short efforts are found row by row, since they are too short for anything else.
//! 2. What lies between them is cut in straight pieces at its change points
//!    ([`crate::stats::change_points`]); flat neighbours at the same level are joined to plateaus.
//! 3. A plateau of 90 s or more is a steady block, from 15 min on a heat soak, and with gear changes
//!    inside a gear-change segment; three plateaus or more of like length in a row (one may be missing) are a ramp of steps,
//!    and a long straight rise or fall is a ramp too. Workout steps stand in where the rider did not
//!    hold them.
//!
//! A set point is suggested only where a recording states one: a plateau alone does not tell that
//! anybody asked for its power.
//!
//! The source under test has no say where references exist: its faults must not move the segments.
//! The lengths and levels are ours, common practice without a source; a suggestion decides nothing.

mod answered;
mod evidence;
mod find;
mod suggestion;

use crate::stats::change_points::{pieces, slow_noise_w};
use crate::timeline::Aligned;

pub use answered::{answered, suggested};
pub use evidence::Evidence;
pub use find::SETTLE_S;
pub use suggestion::{Basis, Suggestion, covers, overlap_share};

/// Where the power that [`Evidence`] gathers changes its course, session time, s: the places between
/// its straight pieces ([`crate::stats::change_points`]).
pub fn change_points_s(aligned: &Aligned) -> Vec<f64> {
    let evidence = Evidence::of(aligned);
    let step_s = evidence.grid.step_s;
    let found = pieces(
        &evidence.power,
        step_s,
        slow_noise_w(&evidence.power, step_s),
    );
    let starts = found.iter().skip(1).map(|piece| piece.rows.start);
    starts.map(|row| evidence.grid.time_s(row)).collect()
}

/// The suggestions that `evidence` supports, in time order. They do not overlap by more than a few
/// seconds; an empty ride suggests nothing.
pub fn suggestions(evidence: &Evidence) -> Vec<Suggestion> {
    find::all(evidence)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::bench::{Ridden, aligned_of};
    use crate::recording::Channel;
    use crate::session::{Kind, Role};
    use crate::timeline::Span;

    /// 20 min at 200 W and 90 rpm in one gear; the source's cadence jumps for seconds at a time.
    fn hour_with_spiky_cadence(references_carry: bool) -> Aligned {
        let noise = |i: usize| ((i * 7919 + 13) % 13) as f64 - 6.0;
        let rows = 1200;
        let power: Vec<f64> = (0..rows).map(|i| 200.0 + noise(i)).collect();
        let cadence: Vec<f64> = (0..rows).map(|i| 90.0 + noise(i) / 6.0).collect();
        let speed: Vec<f64> = cadence.iter().map(|rpm| 0.09 * rpm).collect();
        let spiky = (0..rows)
            .map(|i| if i % 150 < 20 { 120.0 } else { cadence[i] })
            .collect();
        let mut reference = vec![(Channel::Power, power.clone())];
        reference.extend(references_carry.then(|| (Channel::Cadence, cadence.clone())));
        let stream = |label, role, channels| Ridden {
            label,
            role,
            claim_percent: None,
            channels,
        };
        let trainer = vec![
            (Channel::Power, power),
            (Channel::Speed, speed),
            (Channel::Cadence, spiky),
        ];
        let streams = vec![
            stream("trainer", Role::UnderTest, trainer),
            stream("pedals", Role::Reference, reference),
        ];
        aligned_of(streams).1
    }

    #[test]
    fn a_sources_own_cadence_makes_no_gear_change_of_a_soak() {
        for references_carry in [true, false] {
            let found = suggestions(&Evidence::of(&hour_with_spiky_cadence(references_carry)));
            let kinds: Vec<Kind> = found.iter().map(|p| p.segment.kind).collect();
            assert_eq!(kinds, [Kind::HeatSoak], "{found:#?}");
            assert_eq!(found[0].segment.set_point_w, None);
        }
    }

    #[test]
    fn the_share_of_two_stretches() {
        let whole = Span::new(0.0, 10.0);
        assert_eq!(overlap_share(whole, whole), 1.0);
        assert_eq!(overlap_share(whole, Span::new(5.0, 10.0)), 0.5);
        assert_eq!(overlap_share(whole, Span::new(20.0, 30.0)), 0.0);
        assert_eq!(overlap_share(Span::new(1.0, 1.0), Span::new(1.0, 1.0)), 0.0);
    }
}
