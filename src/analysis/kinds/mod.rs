//! What each kind of segment is asked: its figures, one file a kind.

pub mod by_kind;
pub mod cadence;
pub mod coast;
pub mod gear_change;
pub mod heat_soak;
pub mod ramp;
pub mod result;
pub mod spec;
pub mod sprint;
pub mod sprint_fit;
pub mod sprint_limits;
pub mod steady;
pub mod step;
