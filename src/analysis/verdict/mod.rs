//! The claim held against the evidence: uncertainty, references, judgement, reasons, and what all
//! judged segments say together.

pub mod conformity;
pub mod figures;
pub mod judge;
pub mod overall;
pub mod reason;
pub mod references;
pub mod uncertainty;
