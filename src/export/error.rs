//! What can go wrong while results become bytes.

/// Why something could not be exported.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// The CSV writer refused.
    #[error("cannot write CSV ({0})")]
    Csv(String),
    /// The JSON writer refused.
    #[error("cannot write JSON ({0})")]
    Json(String),
}
