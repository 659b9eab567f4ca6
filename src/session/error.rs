//! Why a session could not be loaded or saved.

use std::path::PathBuf;

/// Why a session could not be loaded or saved. Messages name the file, the place and the way out.
#[derive(Debug, thiserror::Error)]
pub enum SessionError {
    /// No `session.toml` there.
    #[error("{path}: no session here; start one with `truing new {folder} RECORDING...`")]
    NoSession {
        /// The file looked for.
        path: PathBuf,
        /// Its folder.
        folder: PathBuf,
    },
    /// What was named is a file.
    #[error(
        "{path}: a file, and no session folder; look into a recording with `truing probe {path}`, start a session over it with `truing new FOLDER {path}`"
    )]
    NoFolder {
        /// The file.
        path: PathBuf,
    },
    /// The system refused to read.
    #[error("{path}: cannot read it ({source})")]
    Read {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// The system refused to write; the old file is intact.
    #[error(
        "{path}: cannot write it ({source}); the old file, if there was one, is intact. Free space or choose a folder you may write to"
    )]
    Write {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// Not TOML, or a value of the wrong kind.
    #[error("{path}: {message}")]
    Syntax {
        /// The file.
        path: PathBuf,
        /// What and where, with the line quoted.
        message: String,
    },
    /// Well-formed, but it cannot be meant.
    #[error("{path}: {place}: {problem}")]
    Meaning {
        /// The file.
        path: PathBuf,
        /// Which table.
        place: String,
        /// What is wrong with it and what to write instead.
        problem: String,
    },
    /// The file on disk is not the one that was loaded.
    #[error(
        "{path}: somebody else changed it since it was opened; nothing was written. Open it again, or save to overwrite that change knowingly"
    )]
    ChangedOutside {
        /// The file.
        path: PathBuf,
    },
}
