//! Many sessions side by side: bias of each, how far it repeats within a ride and from ride to ride,
//! what each unit answers to a tester's questions, and whether units, days or firmwares read alike.

mod cancel;
mod contrast;
mod figures;
mod groups;
mod ladder;
mod matrix;
mod model;
mod words;

#[cfg(test)]
pub(crate) mod sample;
#[cfg(test)]
mod tests;

use serde::Serialize;

pub use contrast::{Basis, Contrast, Pair, Said, Wanted, called};
pub use figures::FIGURES;
pub use groups::{GroupFigures, SessionMean};
pub use ladder::Ladder;
pub use matrix::{Cell, Counts, MOST_UNITS, Matrix, QuestionRow};
pub use model::{Asked, Bench, Block, Parts, Skipped, Surveyed};

/// The whole of `truing survey --format json`.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Survey {
    /// The answer in a sentence.
    pub headline: String,
    /// The fact grouped by.
    pub by: Option<String>,
    /// How many sessions were used and left out.
    pub used: usize,
    /// Those left out.
    pub left_out: usize,
    /// The contrasts asked for.
    pub contrasts: Vec<Contrast>,
    /// Questions by unit.
    pub matrix: Matrix,
    /// The strictest limit that each unit keeps; empty where units are too many to stand side by side.
    pub ladder: Vec<Ladder>,
    /// The sessions used, by name.
    pub sessions: Vec<Surveyed>,
    /// One entry a value of the fact, kind and set point; then one over all blocks of each value.
    pub groups: Vec<GroupFigures>,
    /// The sessions left out, by name.
    pub skipped: Vec<Skipped>,
}

/// What is asked of a survey.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Asks {
    /// The fact to group by; where nothing is said, that of the first contrast.
    pub by: Option<String>,
    /// The contrasts.
    pub contrasts: Vec<Wanted>,
    /// Up to where two count as alike, ± percentage points; half the claim where nothing is said.
    pub margin_percent: Option<f64>,
}

impl Asks {
    /// The fact to group by.
    pub fn groups_by(&self) -> Option<&str> {
        let first = || self.contrasts.first().map(|wanted| wanted.key.as_str());
        self.by.as_deref().or_else(first)
    }
}

/// Groups the blocks, compares, and sums up. The order of the sessions does not matter.
///
/// # Errors
/// Why a contrast cannot be made, with the way out.
pub fn survey(
    asks: &Asks,
    mut sessions: Vec<Surveyed>,
    mut skipped: Vec<Skipped>,
) -> Result<Survey, String> {
    sessions.sort_by(|a, b| a.session.cmp(&b.session));
    skipped.sort_by(|a, b| (&a.session, &a.reason).cmp(&(&b.session, &b.reason)));
    let by = asks.groups_by();
    for session in &mut sessions {
        session.by = by.and_then(|key| session.fact(key));
    }
    let contrasts = contrast::contrasts(&asks.contrasts, asks.margin_percent, &sessions)?;
    let units = matrix::units(by, &sessions);
    let matrix = matrix::matrix(&units);
    let ladder = match units.len() > MOST_UNITS {
        true => Vec::new(),
        false => units
            .iter()
            .filter_map(|unit| ladder::ladder(&unit.name, &unit.rides))
            .collect(),
    };
    let noun = by.unwrap_or("session");
    Ok(Survey {
        headline: words::headline(&contrasts, &matrix, (noun, units.len())),
        by: by.map(str::to_owned),
        used: sessions.len(),
        left_out: skipped.len(),
        contrasts,
        matrix,
        ladder,
        groups: groups::groups(&sessions),
        sessions,
        skipped,
    })
}
