//! Why a recording could not be read.

use std::path::PathBuf;

use crate::text::{grouped, plural};

/// An error that ends the reading of one recording. The message names the file, the place where
/// there is one, and the way out.
#[derive(Debug, thiserror::Error)]
pub enum RecordingError {
    /// The file could not be opened or read.
    #[error("{path}: cannot read it ({source}); check the name and that you may read it")]
    Io {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// The path leads to something that is no file with contents of its own.
    #[error("{path}: this is {what}, not a file; name a recording")]
    NotAFile {
        /// What was named.
        path: PathBuf,
        /// What it is, with its article: "a folder".
        what: &'static str,
    },
    /// The file is larger than the reader accepts.
    #[error(
        "{path}: {} bytes are more than a recording may have ({} bytes); \
         cut the file or export it again",
        grouped(*.bytes), grouped(*.limit)
    )]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// Its size, bytes.
        bytes: u64,
        /// The largest size accepted, bytes.
        limit: u64,
    },
    /// The file has no bytes.
    #[error("{path}: the file is empty; copy it from the recorder again")]
    Empty {
        /// The file.
        path: PathBuf,
    },
    /// The contents are in no format that can be read.
    #[error("{path}: {what}; {way_out}")]
    UnknownFormat {
        /// The file.
        path: PathBuf,
        /// What the first bytes look like.
        what: &'static str,
        /// What to do about it.
        way_out: &'static str,
    },
    /// The contents are readable but can mean more than one thing.
    #[error("{path}: {what}; {way_out}")]
    Unclear {
        /// The file.
        path: PathBuf,
        /// What is not clear, with its place where there is one.
        what: String,
        /// What to do about it.
        way_out: &'static str,
    },
    /// The file is damaged and the caller asked for strict reading.
    #[error("{path}: {message}; leave out --strict to use what could be read")]
    Damaged {
        /// The file.
        path: PathBuf,
        /// All damage, as sentences.
        message: String,
    },
    /// The file is well-formed but no sample could be found in it.
    #[error("{path}: no samples in it ({what}); choose the recording of a ride")]
    NoSamples {
        /// The file.
        path: PathBuf,
        /// What was found instead.
        what: String,
        /// Messages read, of whatever kind (FIT), or rows.
        messages: usize,
    },
    /// A column or field that is needed is not there.
    #[error("{path}: no {wanted} found among {}; {way_out}", list(.found))]
    NoColumn {
        /// The file.
        path: PathBuf,
        /// What was looked for: "time column", "power column", "column “watts”".
        wanted: String,
        /// The names that are there, cleaned.
        found: Vec<String>,
        /// What to do about it.
        way_out: &'static str,
    },
    /// A cell that should hold a number or a time holds something else.
    #[error("{path}: line {line}, column “{column}”: “{value}” is not {wanted}; {way_out}")]
    BadCell {
        /// The file.
        path: PathBuf,
        /// Line, counted from 1.
        line: u64,
        /// Column name, cleaned.
        column: String,
        /// The cell, cleaned and shortened.
        value: String,
        /// What was expected: "a number".
        wanted: &'static str,
        /// What to do about it.
        way_out: &'static str,
    },
    /// Two recordings are one: compared, a series would agree perfectly with itself.
    #[error(
        "{path}: the same content as {other}: a recording cannot be compared with itself; name \
         each recording once, or the other device's file"
    )]
    Twice {
        /// The file.
        path: PathBuf,
        /// The file named before it.
        other: PathBuf,
    },
    /// A row is longer than the header line: which value belongs to which column is then a guess.
    #[error(
        "{path}: line {line}: “{value}” stands beyond the {heads} columns of the header line: \
         name every column there, and put numbers with a decimal comma in quotes or separate the \
         columns by semicolons"
    )]
    Surplus {
        /// The file.
        path: PathBuf,
        /// Line, counted from 1.
        line: u64,
        /// The first cell too many, cleaned and shortened.
        value: String,
        /// How many columns the header line names.
        heads: usize,
    },
    /// The rows hold so few values that the table would dwarf the file.
    #[error(
        "{path}: {} of {} columns would take far more memory than the file's size allows; \
         the file is not what a recorder writes, export it again",
        plural(*.rows, "row"), grouped(*.columns as u64)
    )]
    TooSparse {
        /// The file.
        path: PathBuf,
        /// Rows read until then.
        rows: usize,
        /// Columns opened until then.
        columns: usize,
    },
}

/// Up to twelve names in quotation marks.
pub(super) fn list(names: &[String]) -> String {
    const SHOWN: usize = 12;
    if names.is_empty() {
        return "no names at all".to_owned();
    }
    let mut text = names
        .iter()
        .take(SHOWN)
        .map(|name| format!("“{name}”"))
        .collect::<Vec<_>>()
        .join(", ");
    if names.len() > SHOWN {
        text.push_str(&format!(" and {} more", names.len() - SHOWN));
    }
    text
}
