//! Bias against time and temperature.

use super::Question;
use super::subject::{Subject, figures, mean};
use crate::analysis::figures::HeatSoak;
use crate::recording::Channel;
use crate::session::Kind;
use crate::timeline::Member;

/// Most blocks that the bias is drawn in, and their shortest length, rows.
const BLOCKS: usize = 80;
const SHORTEST: usize = 10;
/// References below this mean give no percentage, W.
const LEAST_W: f64 = crate::analysis::agreement::PERCENT_FROM_W;

/// One block.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Block {
    /// Its middle, session time, s.
    pub at_s: f64,
    /// Bias, % of the reference.
    pub bias_percent: f64,
    /// Temperature of the source under test, °C; `NaN` where it tells none.
    pub temperature_c: f64,
}

/// What the soak view shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Soak {
    /// The blocks in order.
    pub blocks: Vec<Block>,
    /// Length of a block, s.
    pub block_s: f64,
    /// The fitted slopes, of the stretch taken for a heat soak.
    pub figures: Option<HeatSoak>,
    /// The source under test and what the fit compares it with.
    pub compared: (usize, Member),
}

/// Answers the question of the soak view.
pub fn of(question: &Question) -> Result<Soak, String> {
    let figures = figures(question, Kind::HeatSoak);
    let subject = Subject::judged(question, &figures)?;
    let grid = question.aligned.grid;
    let temperature = question
        .aligned
        .tracks
        .get(subject.under_test)
        .and_then(|track| {
            track
                .column(Channel::Temperature)?
                .get(subject.rows.clone())
        });
    let width = subject.tested.len().div_ceil(BLOCKS).max(SHORTEST);
    let blocks = (0..subject.tested.len())
        .step_by(width)
        .filter_map(|from| {
            let to = (from + width).min(subject.tested.len());
            let both = || {
                subject.tested[from..to]
                    .iter()
                    .zip(&subject.known[from..to])
                    .filter(|(a, b)| (*a - *b).is_finite())
            };
            let (tested, n) = mean(both().map(|(a, _)| *a))?;
            let (known, _) = mean(both().map(|(_, b)| *b))?;
            // A block that is mostly missing, or idle, says nothing.
            (2 * n >= to - from && known >= LEAST_W).then(|| Block {
                at_s: grid.time_s(subject.rows.start + (from + to) / 2),
                bias_percent: 100.0 * (tested - known) / known,
                temperature_c: temperature
                    .and_then(|c| mean(c.get(from..to)?.iter().copied()))
                    .map_or(f64::NAN, |(c, _)| c),
            })
        })
        .collect();
    Ok(Soak {
        blocks,
        block_s: width as f64 * grid.step_s,
        compared: (subject.under_test, subject.basis),
        figures: figures.heat_soak,
    })
}
