//! What pictures show, computed once: the screen paints it in cells, paper in lines.
//!
//! Times are session time in s, power in W; a missing value is `NaN` and breaks a line.

pub mod claim;
pub mod error_curve;
pub mod gauge;
pub mod labels;
pub mod response;
pub mod soak;
pub mod ticks;
