//! The terminal program: load, look, brush, tag, read, export.
//!
//! | file | holds |
//! | --- | --- |
//! | [`state`] | everything it knows, as plain data |
//! | [`action`] | the one table of everything that can be done |
//! | [`keymap`], [`config`] | keys: names, rebinding, conflicts; the file that binds them anew |
//! | [`mod@update`] | `update(state, action) -> effects`, the only place where the state changes |
//! | [`layout`] | where everything lies; for drawing and for the mouse |
//! | [`mod@draw`] | a pure function of the state into a buffer |
//! | [`smooth`] | moving means for the picture, prepared before it is drawn |
//! | [`study`], [`aside`] | what the full-screen views show, and the thread that computes it |
//! | [`theme`] | colours and glyphs |
//! | [`mod@open`], [`effects`], [`run`], [`terminal`] | the disk, the loop, the terminal taken and given back |
//!
//! What takes longer than a key press may is a [`study::Question`] of the open view: `update` asks
//! it whenever what it depends on has changed, a thread of [`aside`] answers, and until then the
//! view shows its last answer marked as pending.
//!
//! **To add a view:** a variant of [`state::View`] with its title; an entry in the action table
//! that goes to it, with a key in [`action::Place::ViewMenu`], and entries in
//! [`action::Place::In`] it for keys of its own; a file in `draw/` with
//! `pub fn draw(state, area, pen)` and an arm in `draw::view`; what it computes in `study/`. Title bar, message, keys, help,
//! menus, cursor, window, segments and undo are the frame's and work in every view. What takes
//! longer than a key press belongs into the state, computed where it changes, never into drawing.
//!
//! **To add an action:** a variant of [`action::Command`], its line in [`action::TABLE`], and an
//! arm in `update`. Help, status line, search, rebinding and the README's table follow.

pub mod action;
pub mod aside;
#[cfg(test)]
pub(crate) mod bench;
pub mod config;
pub mod draw;
pub mod effects;
pub mod keymap;
pub mod layout;
pub mod open;
pub mod run;
pub mod smooth;
pub mod state;
pub mod study;
pub mod terminal;
pub mod text;
pub mod theme;
pub mod update;
