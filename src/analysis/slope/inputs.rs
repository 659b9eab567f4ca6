//! The columns that a slope is read from, and what one row of them says.
//!
//! A recorder writes the mean power of the second before its stamp. Over that second the speed went
//! from the one written a second earlier to the one at the stamp: their mean is the speed that the force
//! belongs to, and `½(v₂² − v₁²)` the energy that each kilogram of a flywheel took up.

use std::ops::Range;

use crate::analysis::trend::mean;
use crate::session::Simulation;
use crate::timeline::Grid;

pub(super) use crate::session::STANDARD_GRAVITY as GRAVITY_M_S2;

/// Slower than this a force is not told, m/s.
const SLOWEST_M_S: f64 = 1.5;

/// Columns of a ride, row by row.
#[derive(Clone, Copy, Debug)]
pub struct Inputs<'a> {
    /// Power of the references carried to the wheel, W.
    pub wheel_w: &'a [f64],
    /// Wheel speed, m/s.
    pub speed_m_s: &'a [f64],
    /// Grade asked for, %.
    pub grade_percent: &'a [f64],
    /// How much later within each row the power was sampled than speed and grade, s.
    pub power_later_s: f64,
    /// The rows.
    pub grid: Grid,
}

/// A present value.
pub(super) fn present(column: &[f64], row: usize) -> Option<f64> {
    column.get(row).copied().filter(|v| v.is_finite())
}

/// Sine and cosine of a grade.
pub(super) fn slope_of(grade_percent: f64) -> (f64, f64) {
    let angle = (grade_percent / 100.0).atan();
    (angle.sin(), angle.cos())
}

/// What a rider on the road would have to bring at a steady speed, N (Martin et al. 1998, J Appl Biomech
/// 14:276).
pub fn asked_n(grade_percent: f64, speed_m_s: f64, given: Simulation) -> f64 {
    let (sin, cos) = slope_of(grade_percent);
    let weight_n = given.mass_kg * GRAVITY_M_S2;
    weight_n * (sin + given.rolling * cos) + given.drag_kg_m * speed_m_s * speed_m_s
}

impl Inputs<'_> {
    /// So many seconds in rows.
    pub(super) fn rows(&self, seconds: f64) -> usize {
        (seconds / self.grid.step_s).round().max(1.0) as usize
    }

    /// Speed at the moment a row's power was sampled, m/s.
    pub(super) fn speed(&self, row: usize) -> Option<f64> {
        let here = present(self.speed_m_s, row)?;
        let share = self.power_later_s / self.grid.step_s;
        let other = match share {
            s if s > 0.0 => present(self.speed_m_s, row + 1)?,
            s if s < 0.0 => present(self.speed_m_s, row.checked_sub(1)?)?,
            _ => here,
        };
        Some(here + share.abs() * (other - here))
    }

    /// Speeds at the start and at the end of the time that a row's power is the mean of, m/s.
    fn speeds(&self, row: usize) -> Option<[f64; 2]> {
        Some([self.speed(row.checked_sub(1)?)?, self.speed(row)?])
    }

    /// The speed that a row's power belongs to, m/s.
    pub(super) fn mean_speed(&self, row: usize) -> Option<f64> {
        let [before, after] = self.speeds(row)?;
        Some(0.5 * (before + after)).filter(|v| *v >= SLOWEST_M_S)
    }

    /// Acceleration over a row, m/s².
    pub(super) fn pull_m_s2(&self, row: usize) -> Option<f64> {
        let [before, after] = self.speeds(row)?;
        Some((after - before) / self.grid.step_s)
    }

    /// Power into each kilogram of a flywheel over a row, W/kg.
    pub fn kinetic_w_kg(&self, row: usize) -> Option<f64> {
        let [before, after] = self.speeds(row)?;
        Some(0.5 * (after * after - before * before) / self.grid.step_s)
    }

    /// Force at the wheel, N.
    pub(super) fn force_n(&self, row: usize) -> Option<f64> {
        Some(present(self.wheel_w, row)? / self.mean_speed(row)?)
    }

    /// Force at the wheel without what a flywheel takes, N.
    pub fn free_n(&self, row: usize, flywheel_kg: f64) -> Option<f64> {
        Some(self.force_n(row)? - flywheel_kg * self.pull_m_s2(row)?)
    }

    /// The force that a row's grade asks for, N.
    pub fn asked_n(&self, row: usize, given: Simulation) -> Option<f64> {
        let grade = present(self.grade_percent, row)?;
        Some(asked_n(grade, self.mean_speed(row)?, given))
    }

    /// Mean of a row's figure over some rows; `None` where fewer than half have it.
    pub(super) fn mean_over(
        &self,
        rows: &Range<usize>,
        of: impl Fn(usize) -> Option<f64>,
    ) -> Option<f64> {
        let values: Vec<f64> = rows.clone().filter_map(of).collect();
        if 2 * values.len() < rows.len() {
            return None;
        }
        mean(values.into_iter())
    }
}
