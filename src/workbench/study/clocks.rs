//! What fixes two streams' clocks.

use super::question::Question;
use crate::timeline::align::{
    ClockPlace, LagCurve, Options, Residual, StreamClock, align_session, clock_places, lag_curve,
    residuals, sources_of,
};

/// The clock of the selected stream against another's.
#[derive(Clone, Debug, PartialEq)]
pub struct Clocks {
    /// Correlation against how late the selected stream is with the clocks as they are; `None`
    /// where there is too little to correlate.
    pub curve: Option<LagCurve>,
    /// How late it is along the ride, by the other stream's clock.
    pub residuals: Vec<Residual>,
    /// What aligning all streams says of the selected stream and of the other one, whatever was set
    /// by hand before.
    pub estimates: [Option<StreamClock>; 2],
    /// Where either recorder did not simply go on.
    pub places: Vec<ClockPlace>,
}

/// Answers the question of the clocks view.
pub fn of(question: &Question) -> Clocks {
    let sources = sources_of(&question.opened);
    let about = question.about;
    let pair = about.pair.zip(about.channel);
    let pair = pair.and_then(|((in_hand, other), channel)| {
        Some((sources.get(other)?, sources.get(in_hand)?, channel))
    });
    let again = Options {
        on: None,
        again: true,
    };
    let streams = align_session(&question.opened, again).streams;
    let of = |index: Option<usize>| index.and_then(|index| streams.get(index).cloned());
    Clocks {
        curve: pair.and_then(|(other, in_hand, channel)| lag_curve(other, in_hand, channel)),
        residuals: pair.map_or_else(Vec::new, |(other, in_hand, channel)| {
            residuals(other, in_hand, channel)
        }),
        estimates: [
            of(about.pair.map(|(in_hand, _)| in_hand)),
            of(about.pair.map(|(_, other)| other)),
        ],
        places: {
            let is_of_pair = |place: &ClockPlace| {
                let of_pair = |(in_hand, other)| [in_hand, other].contains(&place.stream);
                about.pair.is_some_and(of_pair)
            };
            clock_places(&question.opened)
                .into_iter()
                .filter(is_of_pair)
                .collect()
        },
    }
}
