//! One time line for all streams: clocks, the common grid with its gaps, constant-time sums over
//! windows, envelopes for drawing, delay estimation and alignment.
//!
//! [`Aligned`] is immutable; it is rebuilt only when a clock or a role changes.

pub mod align;
mod aligned;
mod clock;
pub mod delay;
mod envelope;
mod grid;
mod sums;

pub use aligned::{Aligned, Comparison, GRID_STEP_S, Member, PERCENT_FROM_W, Track, clock_of};
pub use clock::Clock;
pub use envelope::{Envelope, Extent, Stretches};
pub use grid::{Grid, Span};
pub use sums::{ColumnSums, ColumnTotals, PairSums, PairTotals};
