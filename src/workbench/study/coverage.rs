//! Where the ride went, and the bias there.

use super::question::Question;
use super::subject::Subject;
use crate::analysis::coverage::Coverage;
use crate::analysis::coverage::{Pair, grid};

/// Answers the question of the coverage view: cells of power and of the question's channel.
pub fn of(question: &Question) -> Result<Coverage, String> {
    let subject = Subject::of(question)?;
    let channel = question
        .about
        .channel
        .ok_or("No stream carries cadence or wheel speed.")?;
    let values = subject
        .beside(channel)
        .ok_or_else(|| format!("No stream has {} in this stretch.", channel.name()))?;
    let pair = Pair {
        under_test: "",
        reference: "",
        x: &subject.source,
        y: &subject.reference,
        step_s: subject.question.aligned.grid.step_s,
    };
    grid(pair, channel, values).ok_or_else(|| {
        format!(
            "No second of this stretch has power and {} together.",
            channel.name()
        )
    })
}
