//! Why a recording could not be read.

use std::path::PathBuf;

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
}
