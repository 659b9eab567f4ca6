//! The questions of a tester, each answered in one line before any table is shown.
//!
//! Every answer is one of four: fine, a fault, cannot tell (and what would), not ridden (and what
//! would have to be). The three-way rule is that of a verdict ([`answer::within`]): beyond the limit
//! by more than the expanded uncertainty is a fault, within by more is fine. Limits are the claim, or
//! defaults with their source, or what `[limits]` of the session says.

mod accuracy;
pub mod answer;
mod cadence;
mod clocks;
mod dropouts;
mod follow;
mod gear;
mod gradient;
mod headline;
mod heat;
mod hold;
mod level;
pub mod of_segment;
mod phantom;
mod references;
mod ride;
mod sprint;
mod steadiness;
mod words;
mod work;

use serde::Serialize;

use super::figure::Figure;
use super::ride::RideFindings;
use crate::analysis::table::Table;
use crate::session::Session;
use crate::timeline::Aligned;

pub use answer::{Answer, Finding, LimitFrom, Question, Tagging};
use ride::{Ride, Source};

/// The figures that decide, in the order of the list.
pub const FIGURES: &[Figure] = &[
    references::FIGURE,
    clocks::FIGURE,
    accuracy::FIGURE,
    level::FIGURE,
    hold::FIGURE,
    steadiness::FIGURE,
    follow::FIGURE,
    sprint::FIGURE,
    gear::FIGURE,
    phantom::FIGURE,
    cadence::FIGURE,
    dropouts::FIGURE,
    heat::FIGURE,
    gradient::FIGURE,
    work::FIGURE,
];

/// All answers of a ride; serialised, the JSON of `truing findings`.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Findings {
    /// Every fault in one sentence, in the order of harm.
    pub headline: String,
    /// What cannot be told, was not ridden, or is not tagged.
    pub remark: String,
    /// What the segments behind the answers are.
    #[serde(skip)]
    pub tagging: Tagging,
    /// The answers, in the order of the list; those on a source once for each source.
    pub answers: Vec<Answer>,
}

/// Answers every question. `table` holds the figures of `session`.
pub fn findings(
    session: &Session,
    aligned: &Aligned,
    found: &RideFindings,
    table: &Table,
    tagging: Tagging,
) -> Findings {
    let ride = Ride::new(session, aligned, found, table);
    let sources: Vec<Source<'_>> = ride.sources().collect();
    let of_source = |question| {
        let ask: fn(&Source<'_>) -> Answer = match question {
            Question::References | Question::Clocks => return Vec::new(),
            Question::Accuracy => accuracy::answer,
            Question::Level => level::answer,
            Question::Hold => hold::answer,
            Question::Steadiness => steadiness::answer,
            Question::Follow => follow::answer,
            Question::Sprint => sprint::answer,
            Question::Gear => gear::answer,
            Question::Phantom => phantom::answer,
            Question::Cadence => cadence::answer,
            Question::Dropouts => dropouts::answer,
            Question::Heat => heat::answer,
            Question::Gradient => gradient::answer,
            Question::Work => work::answer,
        };
        sources.iter().map(ask).collect()
    };
    let answers: Vec<Answer> = Question::ALL
        .iter()
        .flat_map(|question| match question {
            Question::References => vec![references::answer(&ride)],
            Question::Clocks => vec![clocks::answer(&ride)],
            question => of_source(*question),
        })
        .collect();
    let labels: Vec<&str> = sources.iter().map(|source| source.label).collect();
    Findings {
        headline: headline::headline(&answers, &labels),
        remark: headline::remark(&answers, tagging),
        tagging,
        answers,
    }
}

impl Findings {
    /// The answers as they are shown: faults first, then what cannot be told, what is fine, what was
    /// not ridden; the order of the list within each.
    pub fn ranked(&self) -> Vec<&Answer> {
        let rank = |answer: &&Answer| match answer.outcome {
            Finding::Fault => 0,
            Finding::CannotTell => 1,
            Finding::Fine => 2,
            Finding::NotRidden => 3,
        };
        let mut ranked: Vec<&Answer> = self.answers.iter().collect();
        ranked.sort_by_key(rank);
        ranked
    }

    /// Whether more than one source is answered for.
    pub fn has_several_sources(&self) -> bool {
        let mut sources = self.answers.iter().map(|a| &a.source);
        let first = sources.find(|source| !source.is_empty());
        sources.any(|source| !source.is_empty() && Some(source) != first)
    }

    /// Whether any question has a fault.
    pub fn has_fault(&self) -> bool {
        self.answers.iter().any(|a| a.outcome == Finding::Fault)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_question_is_explained_under_its_key() {
        let explained: Vec<&str> = FIGURES.iter().map(Figure::field).collect();
        let asked: Vec<&str> = Question::ALL.iter().map(|q| q.key()).collect();
        assert_eq!(explained, asked);
    }
}
