//! One time line for all streams: clocks, the common grid with its gaps, constant-time sums over
//! windows, envelopes for drawing, delay estimation and alignment.

mod clock;
mod grid;

pub use clock::Clock;
pub use grid::{Grid, Span};
