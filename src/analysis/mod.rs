//! Every figure: pure functions over slices and windows, no file, no terminal.
//!
//! [`figures`] gives the shape of the results: the JSON of `truing table`.

pub mod agreement;
pub mod figures;
pub mod hat;
pub mod serial;
pub mod stats;
#[cfg(test)]
pub(crate) mod vectors;
