//! What can go wrong while results become bytes.

/// Why something could not be exported.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// The JSON writer refused.
    #[error("cannot write JSON ({0})")]
    Json(String),
    /// The drawing library refused.
    #[error("cannot draw the picture ({0})")]
    Draw(String),
    /// There is no such figure in the window.
    #[error("nothing to draw for “{kind}”: {reason}")]
    NothingToDraw {
        /// The kind of picture, as on the command line.
        kind: &'static str,
        /// What is missing, and what would do.
        reason: String,
    },
}
