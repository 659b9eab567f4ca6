//! Where the ride went, and the bias there.

use super::question::Question;
use super::subject::chosen;
use crate::analysis::coverage::Coverage;
use crate::picture::coverage::{cells, drawn};
use crate::picture::parts::Picture;
use crate::session::Kind;

/// The same on paper.
pub fn picture(question: &Question) -> Result<Picture, String> {
    drawn(&chosen(question, Kind::Open)?, &of(question)?)
}

/// Answers the question of the coverage view: cells of power and of the question's channel.
pub fn of(question: &Question) -> Result<Coverage, String> {
    let channel = question
        .about
        .channel
        .ok_or("No stream carries cadence or wheel speed.")?;
    cells(&chosen(question, Kind::Open)?, channel)
}
