//! TCX: Training Center XML with its power extension.

use std::path::Path;

use super::{ReadOptions, Recording, RecordingError};

/// Reads a TCX file.
pub(super) fn read(
    path: &Path,
    _bytes: &[u8],
    _options: &ReadOptions,
) -> Result<Recording, RecordingError> {
    Err(RecordingError::UnknownFormat {
        path: path.to_owned(),
        what: "this is a TCX file, which cannot be read yet",
        way_out: "export the ride as FIT or CSV",
    })
}
