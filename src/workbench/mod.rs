//! The terminal program: load, look, brush, tag, read, export.
//!
//! | file | holds |
//! | --- | --- |
//! | [`state`] | everything it knows, as plain data |
//! | [`event`] | what happens, and the effects it asks for, as plain data |
//! | [`action`] | one entry for everything that can be done: name, keys, place, deed |
//! | [`keymap`], [`config`] | keys: names, rebinding, conflicts; the file that binds them anew |
//! | [`mod@update`] | `update(state, action) -> effects`, the only place where the state changes |
//! | [`layout`] | where everything lies and how far it scrolls; for drawing, mouse and keys |
//! | [`mod@draw`] | a pure function of the state into a buffer |
//! | [`smooth`] | moving means for the picture, prepared before it is drawn |
//! | [`study`], [`worker`] | what the whole ride and the full-screen views show, and the thread that computes it |
//! | [`theme`] | colours and glyphs |
//! | [`mod@open`], [`effects`], [`run`], [`terminal`] | the disk, the loop, the terminal taken and given back |
//!
//! What takes longer than a key press may is [`study::Wanted`]: what the whole ride shows, and the
//! answer to the open view's question. `update` wants it whenever what it depends on has changed, a
//! thread of [`worker`] computes it, and until then the last one serves, marked as pending.
//!
//! **To add a view:** its line in `views!` of `state::parts`; an entry in the action table that
//! goes to it, with a key in [`action::Place::ViewMenu`], and entries in [`action::Place::In`] it
//! for keys of its own; a file in `draw/views/` with what it computes of a question and its `page`,
//! and its line in `computing!` of [`draw::views`]. A long computation stands in `study/`.
//! Title bar, message, keys, help, menus, scrolling, cursor, window, segments and undo are the
//! frame's and work in every view. What takes longer than a key press belongs into the state,
//! computed where it changes, never into drawing.
//!
//! **To add an action:** its line in [`action::TABLE`], which names the function in `update/` that
//! does it; one in `action::names` where a message or the status line points to it. Help, status
//! line, search, rebinding and the README's table follow.
//!
//! Each file uses only files that do not use it (`layers` tests that): state below actions, those
//! below `update`; drawing knows the table, `update` knows how far drawing lets it scroll.

pub mod action;
#[cfg(test)]
pub(crate) mod bench;
pub mod config;
pub mod draw;
pub mod effects;
pub mod event;
pub mod keymap;
#[cfg(test)]
mod layers;
pub mod layout;
pub mod open;
pub mod run;
pub mod smooth;
pub mod state;
pub mod study;
pub mod terminal;
pub mod text;
pub mod theme;
pub mod traced;
pub mod update;
pub mod worker;
pub mod written;
