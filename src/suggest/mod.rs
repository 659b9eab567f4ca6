//! Proposed segments, each with a reason.
