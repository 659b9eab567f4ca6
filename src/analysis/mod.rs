//! Every figure: pure functions over slices and windows, no file, no terminal.
//!
//! [`figures`] gives the shape of the results: the JSON of `truing table`.

pub mod across;
pub mod agreement;
#[cfg(test)]
pub(crate) mod bench;
pub mod conformity;
pub mod coverage;
pub mod figures;
pub mod hat;
pub mod judge;
pub mod references;
pub mod segment;
pub mod serial;
pub mod stats;
pub mod table;
pub mod uncertainty;
#[cfg(test)]
pub(crate) mod vectors;
