//! Results as bytes: table, report, pictures. The caller chooses file or stdout.

mod cell;
mod columns_of_text;
mod error;
pub mod figure;
pub mod report;
pub mod table;

pub use error::ExportError;
