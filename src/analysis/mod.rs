//! Every figure: pure functions over slices and windows, no file, no terminal.
//!
//! [`figures`] gives the shape of the results: the JSON of `truing table`.

pub mod across;
pub mod agreement;
#[cfg(test)]
pub(crate) mod bench;
pub mod catalogue;
pub mod coverage;
pub mod dropout;
pub mod error_curve;
pub mod excursions;
pub mod figure;
pub mod figures;
pub mod grubbs;
pub mod kinds;
pub mod loss;
pub mod mean_max;
mod modes;
pub mod noted;
pub mod pair_noise;
pub mod pooled;
pub mod questions;
pub mod ratio;
pub mod response;
pub mod ride;
pub mod segment;
pub mod slope;
pub mod survey;
pub mod table;
pub mod trend;
pub mod verdict;
pub mod weights;
mod window;
