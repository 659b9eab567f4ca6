//! Messages to the person at the keyboard.

use super::super::state::State;

/// Shows a message and keeps it in the log.
pub fn say(state: &mut State, text: impl Into<String>) {
    state.note(text.into(), false);
}

/// Shows a message that something is wrong or cannot be done.
pub fn warn(state: &mut State, text: impl Into<String>) {
    state.note(text.into(), true);
}
