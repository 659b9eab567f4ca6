//! How much of the gradient arrives: κ·m by least squares over means of 15 s.

use super::inputs::{GRAVITY_M_S2, Inputs, slope_of};
use super::plateaus::Plateau;
use crate::session::Simulation;
use crate::stats::contrast::{Block, Contrast};
use crate::stats::noise::LinearFit;

/// Length of a mean, s.
const MEAN_S: f64 = 15.0;
/// A gradient less steep than this says nothing of the share, %.
pub(super) const LEAST_GRADE_PERCENT: f64 = 1.0;

/// A mean of 15 s on a settled plateau.
pub(super) struct Mean {
    /// Which plateau.
    plateau: usize,
    index: usize,
    /// Force without what the flywheel takes, N.
    force_n: f64,
    square_m2_s2: f64,
    sin: f64,
    cos: f64,
}

/// The means of all plateaus, `flywheel_kg` being the apparent mass.
pub(super) fn means(inputs: &Inputs<'_>, plateaus: &[Plateau], flywheel_kg: f64) -> Vec<Mean> {
    let length = inputs.rows(MEAN_S);
    let of = |(plateau, at): (usize, &Plateau)| {
        let rows = at.settled(inputs);
        let (sin, cos) = slope_of(at.grade_percent);
        let starts = (0..rows.len() / length).map(|n| rows.start + n * length);
        let found = starts.filter_map(|start| {
            let rows = start..start + length;
            let free_n = |row| inputs.free_n(row, flywheel_kg);
            Some(Mean {
                plateau,
                index: start / length,
                force_n: inputs.mean_over(&rows, free_n)?,
                square_m2_s2: inputs
                    .mean_over(&rows, |row| Some(inputs.mean_speed(row)?.powi(2)))?,
                sin,
                cos,
            })
        });
        found.collect::<Vec<_>>()
    };
    plateaus.iter().enumerate().flat_map(of).collect()
}

/// The coefficients.
pub(super) struct Fitted {
    /// κ·m of each group, kg.
    pub masses: Vec<Contrast>,
    /// c_r·m g, N.
    pub rolling_n: f64,
    /// ½C_w, N s²/m².
    pub drag_kg_m: f64,
}

impl Fitted {
    /// κ·m of each group of plateaus: `group_of` holds that of each, from 0 on without a gap. Rolling and
    /// drag are common to all, or `fixed`.
    pub fn of(means: &[Mean], group_of: &[usize], fixed: Option<Simulation>) -> Option<Self> {
        let groups = group_of.iter().max()? + 1;
        let terms = groups + if fixed.is_some() { 0 } else { 2 };
        let given = fixed.map(|s| (s.rolling * s.mass_kg * GRAVITY_M_S2, s.drag_kg_m));
        let block = |mean: &Mean| {
            let mut design = vec![0.0; terms];
            design[*group_of.get(mean.plateau)?] = GRAVITY_M_S2 * mean.sin;
            let value = match given {
                Some((rolling_n, drag_kg_m)) => {
                    mean.force_n - rolling_n * mean.cos - drag_kg_m * mean.square_m2_s2
                }
                None => {
                    design[groups] = mean.cos;
                    design[groups + 1] = mean.square_m2_s2;
                    mean.force_n
                }
            };
            Some(Block {
                index: mean.index,
                value,
                design,
            })
        };
        let blocks: Vec<Block> = means.iter().filter_map(block).collect();
        let fit = LinearFit::new(&blocks, terms, None)?;
        let coefficient = |at: usize| {
            let mut contrast = vec![0.0; terms];
            contrast[at] = 1.0;
            fit.contrast(&contrast)
        };
        let rest = |at: usize| coefficient(groups + at).map(|c| c.estimate);
        let (rolling_n, drag_kg_m) = match given {
            Some(given) => given,
            None => (rest(0)?, rest(1)?),
        };
        Some(Self {
            masses: (0..groups).map(coefficient).collect::<Option<_>>()?,
            rolling_n,
            drag_kg_m,
        })
    }
}
