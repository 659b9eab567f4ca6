//! What pictures show, computed once: the screen paints it in cells, paper in lines.
//!
//! Times are session time in s, power in W; a missing value is `NaN` and breaks a line.

pub mod agreement;
pub mod along;
pub mod claim;
pub mod coast;
pub mod coverage;
pub mod difference;
pub mod error_curve;
pub mod faults;
pub mod forest;
pub mod gauge;
pub mod gears;
pub mod gradient;
pub mod kind;
pub mod labels;
pub mod mean_max;
pub mod parts;
pub mod proof;
pub mod references;
pub mod response;
pub mod signs;
pub mod soak;
pub mod subject;
pub mod survey;
pub mod ticks;
pub mod tone;
pub mod traces;
pub mod weights;
