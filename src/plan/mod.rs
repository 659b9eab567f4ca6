//! Test plans: what is to be ridden, as TOML; the sheet to lay beside the bench; the workout that
//! rides it; and a ride held against a plan.
//!
//! A [`Plan`] unfolds into [`Leg`]s, which tell for any moment what power, cadence and gear are
//! asked for.

mod check;
mod error;
mod leg;
mod masses;
mod model;
mod scale;
mod share;
mod sheet;
pub mod workout;

pub use check::{MoreNeeded, PhaseCheck, PlanCheck, Ridden, check};
pub use error::PlanError;
pub use leg::{Gear, Leg, Shape};
pub use masses::{MASSES_SHEET, MASSES_TITLE, masses_sheet};
pub use model::{Phase, Plan};
pub use sheet::{CAUTIONS, sheet};
