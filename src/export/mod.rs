//! Results as bytes: table, report, pictures, survey. The caller chooses file or stdout.

mod error;
pub mod figure;
pub mod findings;
mod page;
pub mod plan_check;
pub mod report;
pub mod samples;
pub mod survey;
pub mod table;

pub use error::ExportError;
