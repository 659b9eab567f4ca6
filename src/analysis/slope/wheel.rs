//! Whether a recorded speed is the wheel's: within a gear its ratio to the cadence is constant.
//!
//! An app that simulates a slope may record the speed of its own rider instead, which follows from power,
//! mass and grade. The ratio is looked at over means of 5 s, since cadence is recorded in whole
//! revolutions a minute and late by a part of a second, and within 30 s, so that a change of gear is
//! one change and no scatter.

use super::inputs::{Inputs, present};
use super::plateaus::Plateau;
use crate::stats::{Sample, median_of};

/// Means of the ratio, s, and how many stand together.
const MEAN_S: f64 = 5.0;
const TOGETHER: usize = 6;
/// Largest coefficient of variation of a wheel's ratio.
pub const MOST_SPREAD: f64 = 0.01;
/// Slower than this nobody pedals, rpm.
const LEAST_RPM: f64 = 30.0;

/// The usual coefficient of variation of speed over cadence within a gear; `None` where too little is
/// there to tell.
pub fn spread(inputs: &Inputs<'_>, plateaus: &[Plateau], cadence_rpm: &[f64]) -> Option<f64> {
    let length = inputs.rows(MEAN_S);
    let spreads = plateaus.iter().flat_map(|plateau| {
        let rows = plateau.settled(inputs);
        let ratio = |row| {
            let rpm = present(cadence_rpm, row).filter(|rpm| *rpm > LEAST_RPM)?;
            Some(inputs.mean_speed(row)? / rpm)
        };
        let starts = (0..rows.len() / length).map(|n| rows.start + n * length);
        let means: Vec<f64> = starts
            .filter_map(|start| inputs.mean_over(&(start..start + length), ratio))
            .collect();
        let together = means.chunks_exact(TOGETHER);
        let spreads = together.filter_map(|chunk| {
            let sample = Sample::present(chunk.iter().copied())?;
            Some(sample.sd() / sample.mean())
        });
        spreads.collect::<Vec<_>>()
    });
    median_of(spreads.collect())
}
