//! What happens to the workbench, and what it asks for in return: plain data on both sides.

use std::path::PathBuf;

use super::keymap::Key;
use super::state::parts::{Copied, Writing};
use super::study::Computed;
use super::study::question::Wanted;
use crate::session::Session;

/// What happened.
#[derive(Clone, Debug, PartialEq)]
pub enum Action {
    /// A key was pressed.
    Key(Key),
    /// The action of this name in the table is wanted.
    Do(&'static str),
    /// Text was pasted.
    Paste(String),
    /// The mouse did something.
    Mouse(Mouse),
    /// The screen has another size.
    Resize(u16, u16),
    /// An effect reports.
    Report(Report),
}

/// What the mouse did, at a column and a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Mouse {
    /// What.
    pub event: MouseEvent,
    /// Column, from 0.
    pub column: u16,
    /// Row, from 0.
    pub row: u16,
}

/// Deeds of a mouse.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MouseEvent {
    /// The main button went down.
    Press,
    /// It moved while down.
    Drag,
    /// It went up.
    Release,
    /// The wheel turned up.
    WheelUp,
    /// The wheel turned down.
    WheelDown,
}

/// What the runner has to do; nothing here has happened yet.
#[derive(Clone, Debug, PartialEq)]
pub enum Effect {
    /// Journal the session after an edit; the text is shown once it is on the disk.
    Journal {
        /// Name of the edit.
        name: String,
        /// What to say once it is safe.
        done: String,
    },
    /// Save the session; with `over`, whatever stands on the disk.
    Save {
        /// Overwrite a file that somebody else changed.
        over: bool,
    },
    /// Save a session that has no folder yet in this one, recordings and all.
    SaveAs(PathBuf),
    /// Compute this aside.
    Study(Box<Wanted>),
    /// Write a result to a file.
    Write {
        /// What, and where.
        writing: Writing,
        /// Replace one that is there.
        over: bool,
    },
    /// Put something on the clipboard.
    Copy(Copied),
    /// Read the session file again.
    Reload,
    /// The edits of an earlier run were taken over.
    Restored,
    /// Keep the edits of an earlier run, which could not be taken over.
    SetAside,
    /// Empty the journal.
    ForgetJournal,
    /// Take the mouse, or give it back.
    CaptureMouse(bool),
    /// Draw everything anew.
    Redraw,
    /// Stop until the shell continues us.
    Suspend,
    /// Leave.
    Quit,
}

/// What an effect came to.
#[derive(Clone, Debug, PartialEq)]
pub enum Report {
    /// The edit is on the disk.
    Journalled {
        /// What to say.
        done: String,
    },
    /// The edit could not be journalled.
    NotJournalled {
        /// What to say.
        done: String,
        /// Why.
        why: String,
    },
    /// The session was saved.
    Saved {
        /// Where.
        file: PathBuf,
    },
    /// Somebody else changed the file.
    ChangedOutside,
    /// Something was computed aside.
    Studied(Box<Computed>),
    /// The file was read again.
    Reloaded(Box<Session>),
    /// It was written.
    Wrote(Writing),
    /// There is a file already where it should go.
    FileIsThere(Writing),
    /// Anything else that went well.
    Done(String),
    /// Anything that did not.
    Failed(String),
}
