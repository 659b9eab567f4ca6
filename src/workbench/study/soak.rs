//! Bias against time and temperature.

use super::question::Question;
use super::subject::judged;
use crate::analysis::kinds::heat_soak::HeatSoak;
use crate::picture::difference::band_percent;
use crate::picture::parts::Picture;
use crate::picture::soak;
use crate::session::Kind;
use crate::timeline::Member;

/// What the soak view shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Soak {
    /// Bias against time.
    pub picture: Picture,
    /// Bias against temperature, where the source under test records it.
    pub against_temperature: Option<Picture>,
    /// How many blocks that is, and their length, s.
    pub blocks: (usize, f64),
    /// Where the claim lets the bias lie, %.
    pub band_percent: Option<[f64; 2]>,
    /// The fitted slopes, of the stretch taken for a heat soak.
    pub figures: Option<HeatSoak>,
    /// The source under test and what the fit compares it with.
    pub compared: (usize, Member),
}

/// Answers the question of the soak view.
pub fn of(question: &Question) -> Result<Soak, String> {
    let subject = judged(question, Kind::HeatSoak);
    let blocks = soak::blocks_of(&subject)?;
    Ok(Soak {
        picture: soak::of(&subject)?,
        against_temperature: soak::against_temperature(&subject).ok(),
        blocks: (blocks.blocks.len(), blocks.length_s),
        band_percent: band_percent(&subject),
        compared: (subject.under_test()?, subject.basis()?),
        figures: subject.figures.of_kind.heat_soak,
    })
}
