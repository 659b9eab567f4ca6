//! Statistics that know no ride: samples, distributions, serial correlation, change points,
//! regression, the response of a first-order lag. Pure functions over slices.

pub mod change_points;
pub mod compare;
pub mod contrast;
pub mod curve;
pub mod first_order;
mod mixture;
pub mod noise;
pub mod normal_equations;
pub mod periodic;
mod poisson;
mod rank;
mod sample;
pub mod serial;
mod student;
#[cfg(test)]
pub(crate) mod vectors;

pub use mixture::MeanUncertainty;
pub use poisson::rate_ci95;
pub use rank::rank_correlation;
pub use sample::*;

/// Multiplier of a standard uncertainty for 95 % limits of the normal distribution.
pub const NORMAL_95: f64 = 1.959_963_984_540_054;

/// A confidence interval or a pair of limits: `[lower, upper]`.
pub type Interval = [f64; 2];
