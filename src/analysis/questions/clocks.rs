//! Do all recordings share one time line? Only where every clock is certain.

use super::answer::{Answer, Finding, Question};
use super::ride::Ride;
use crate::analysis::figure::{Figure, OURS};

/// What `truing explain` says of it.
pub const FIGURE: Figure = Figure {
    id: "findings.clocks",
    label: "clocks",
    unit: "",
    decimals: 1,
    definition: "Whether all recordings share one time line: fine where every clock is certain.",
    formula: "",
    source: OURS,
    caveat: "A recorder that is late by a constant is not seen by a match on power.",
    ..Figure::PLAIN
};

pub fn answer(ride: &Ride<'_>) -> Answer {
    let question = Question::Clocks;
    let cautions = ride.session.clock_cautions();
    if cautions.is_empty() {
        let count = ride.session.streams.len();
        let sentence = match count {
            1 => "there is one recording".to_owned(),
            _ => format!("all {count} streams lie on one time line"),
        };
        return Answer::new(question, "", Finding::Fine, sentence);
    }
    let mut open = Answer::new(question, "", Finding::CannotTell, cautions.join(". "));
    open.would_tell = Some(
        "a look in the clocks view, or a ride with one heart-rate strap heard by all".to_owned(),
    );
    open
}
