//! What the tester decided: which streams take part in which role, their clocks, the claim, and
//! the tagged segments. [`Session`] is plain data.

mod model;

pub use model::{
    Allowance, Claim, ColumnNames, Fact, Kind, Role, Segment, Session, Site, Stream, Words,
};
