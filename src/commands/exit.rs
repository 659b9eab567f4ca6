//! How a subcommand ended.

/// How a subcommand that did its work ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exit {
    /// Done.
    Done,
    /// `verdict --strict`: a segment does not conform; `findings --strict`: a question has a fault.
    DoesNotConform,
}

impl Exit {
    /// The process's exit code.
    pub fn code(self) -> u8 {
        match self {
            Exit::Done => 0,
            Exit::DoesNotConform => 3,
        }
    }
}

/// Why a subcommand could not do its work.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// Bad input or a refusal of the system: exit code 1.
    #[error("{0}")]
    CouldNot(String),
    /// Wrong usage: exit code 2.
    #[error("{0}")]
    Usage(String),
    /// The reader of stdout went away; nothing to say, nobody to say it to.
    #[error("")]
    NobodyReads,
}

impl Failure {
    /// A failure told by the text of `error`.
    pub fn because(error: impl std::fmt::Display) -> Self {
        Failure::CouldNot(error.to_string())
    }
}
