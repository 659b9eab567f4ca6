//! Every figure: pure functions over slices and windows, no file, no terminal.
//!
//! [`figures`] gives the shape of the results: the JSON of `truing table`.

pub mod across;
pub mod agreement;
#[cfg(test)]
pub(crate) mod bench;
mod by_kind;
pub mod cadence;
pub mod catalogue;
pub mod coast;
pub mod conformity;
pub mod coverage;
pub mod dropout;
pub mod error_curve;
#[cfg(test)]
pub(crate) mod example;
pub mod excursions;
pub mod figures;
pub mod gear_change;
pub mod hat;
pub mod heat_soak;
pub mod judge;
pub mod loss;
pub mod mean_max;
pub mod overall;
pub mod pair_noise;
pub mod pooled;
pub mod questions;
pub mod ramp;
pub mod ratio;
pub mod reason;
pub mod references;
pub mod ride;
pub mod segment;
pub mod sprint;
pub mod sprint_fit;
pub mod sprint_limits;
pub mod steady;
pub mod step;
pub mod table;
pub mod trend;
pub mod uncertainty;
mod window;
