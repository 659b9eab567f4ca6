//! What the tester decided: which streams take part in which role, their clocks, the claim, and
//! the tagged segments. [`Session`] is plain data; [`store`] loads and saves it, [`journal`] keeps
//! each edit on the disk, [`history`] undoes and redoes, [`start`] sketches a first session,
//! [`folder`] writes it for the first time, and [`OpenedSession`] binds it to the recordings it refers to.

mod document;
pub mod folder;
pub mod history;
pub mod journal;
mod model;
mod opened;
pub mod relink;
pub mod start;
pub mod store;

pub use model::{
    Allowance, Claim, ColumnNames, CommonErrors, Fact, Kind, MatchedOn, Role, Segment, Session,
    Site, Stream, Words,
};
pub use opened::{OpenOptions, OpenedSession, Problem, Source};
pub use store::SessionError;
