//! Why a plan could not be had.

use std::path::PathBuf;

/// Why a plan could not be had. The message names the place and the way out.
#[derive(Debug, thiserror::Error)]
pub enum PlanError {
    /// No built-in plan and no file of that name.
    #[error("no plan called {name:?}; there are {known}, or name a TOML file")]
    NoSuchPlan {
        /// What was asked for.
        name: String,
        /// The names that exist, joined by commas.
        known: String,
    },
    /// A plan that is not the TOML expected.
    #[error("plan {plan}: {reason}")]
    Syntax {
        /// Name or file of the plan.
        plan: String,
        /// The parser's words, with line and column.
        reason: String,
    },
    /// A phase that cannot be ridden.
    #[error("plan {plan}, phase {phase} ({kind}): {reason}")]
    Phase {
        /// Name or file of the plan.
        plan: String,
        /// Position of the phase, counted from 1.
        phase: usize,
        /// Its kind.
        kind: crate::session::Kind,
        /// What is wrong and what would do.
        reason: String,
    },
    /// A share at which it cannot be ridden.
    #[error("plan {plan}: {reason}")]
    Scale {
        /// Name of the plan.
        plan: String,
        /// What is wrong and what would do.
        reason: String,
    },
    /// The workout could not be written.
    #[error("plan {plan}: cannot make a workout of it ({reason}); print the sheet instead")]
    Encode {
        /// Name of the plan.
        plan: String,
        /// The encoder's words.
        reason: String,
    },
    /// The file could not be read.
    #[error("{path}: {source}; check the name and that you may use it")]
    Io {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
}
