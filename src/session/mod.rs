//! What the tester decided: which streams take part in which role, their clocks, the claim, and
//! the tagged segments.
//!
//! [`Session`] is plain data. [`parse()`] reads it from the text of `session.toml` and holds it to what
//! can be meant ([`validation`]); [`store`] loads and saves the file, which [`files`] replaces whole
//! or not at all. [`journal`] keeps each edit on the disk, [`history`] undoes and redoes, [`start`]
//! sketches a first session, [`folder`] writes it for the first time, [`relink`] finds moved
//! recordings, and [`OpenedSession`] binds a session to the recordings it refers to.

#[cfg(test)]
mod by_hand;
mod cautions;
mod document;
mod error;
pub mod files;
pub mod folder;
pub mod history;
pub mod journal;
mod kind;
mod model;
mod noted;
mod opened;
mod parse;
pub mod relink;
pub mod start;
pub mod store;
pub mod validation;
pub(crate) mod weights;
pub mod weights_text;

pub use document::to_text;
pub use error::SessionError;
pub use kind::{Asks, Kind};
pub use model::{
    Allowance, CONSENSUS, Claim, ColumnNames, CommonErrors, Fact, MatchedOn, Role, Segment,
    Session, Simulation, Site, Stream, Words,
};
pub use noted::{Gears, Side, ZeroReading};
pub use opened::{OpenOptions, OpenedSession, Problem, Source};
pub use parse::parse;
pub(crate) use parse::plain_words;
pub use weights::{
    CRANK_PLUS_MINUS_MM, KnownScale, LoadReading, STANDARD_GRAVITY, Weights, WeightsProblem,
    gravity_at, torque_nm,
};
