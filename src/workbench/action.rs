//! Everything that can be done at the keyboard: one entry an action, read by dispatch, the help
//! screen, the status line, the list of actions, rebinding and the README's table.
//!
//! What an entry runs stands in `update/`, which knows entries by name only: so no file leads back
//! to itself.

pub mod entry;
pub mod names;
pub mod table;

pub use super::state::{Claimed, Copied, Landmarks, Place};
pub use entry::{Context, Entry};
pub use table::{TABLE, named};
