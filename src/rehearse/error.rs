//! Why a rehearsal could not be made.

use std::path::PathBuf;

/// An error of this room. The message names the place and the way out.
#[derive(Debug, thiserror::Error)]
pub enum RehearseError {
    /// There is no such plan, or it cannot be ridden.
    #[error(transparent)]
    Plan(#[from] crate::plan::PlanError),
    /// A device that cannot exist.
    #[error("device {label:?}: {field} is {value}; it must be {must}")]
    Device {
        /// The device.
        label: String,
        /// The setting.
        field: &'static str,
        /// Its value.
        value: f64,
        /// What would do.
        must: &'static str,
    },
    /// A scenario that cannot be ridden.
    #[error("the scenario cannot be ridden: {reason}")]
    Scenario {
        /// What is wrong and what would do.
        reason: String,
    },
    /// A fault that cannot be put in.
    #[error("fault {fault:?}: {reason}")]
    Fault {
        /// The fault as asked for.
        fault: String,
        /// What is wrong and what would do.
        reason: String,
    },
    /// A recorder that started too late or stopped too early to have written anything.
    #[error(
        "device {label:?} recorded nothing: its recorder must run for two seconds or more of the ride"
    )]
    NothingRecorded {
        /// The device.
        label: String,
    },
    /// A recording that could not be encoded.
    #[error("recording of {label:?}: cannot be encoded ({reason})")]
    Encode {
        /// The device.
        label: String,
        /// The encoder's words.
        reason: String,
    },
    /// A file or folder that could not be written or read.
    #[error("{path}: {source}; check the name and that you may use it")]
    Io {
        /// The file or folder.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// The session file could not be written.
    #[error(transparent)]
    Session(#[from] crate::session::SessionError),
    /// The folder has something in it already.
    #[error("{path} exists and is not empty; name another folder")]
    Occupied {
        /// The folder.
        path: PathBuf,
    },
}
