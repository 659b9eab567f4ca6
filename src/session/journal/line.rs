//! The lines of a journal, each a whole state that stands by itself.

use std::borrow::Cow;
use std::path::Path;

use serde::{Deserialize, Serialize};

use super::home::Home;
use crate::session::files::regular_file;
use crate::session::parse::parse;
use crate::session::store::{Fingerprint, Stored};
use crate::session::{Session, SessionError};

/// Edits that an earlier run journalled and never saved.
#[derive(Clone, Debug, PartialEq)]
pub struct Leftover {
    /// The edits in order.
    pub edits: Vec<LeftoverEdit>,
    /// The session after the last of them.
    pub session: Session,
    /// The session file that the last of them was made over; `None` where there was none.
    pub base: Option<Fingerprint>,
}

/// One journalled edit.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftoverEdit {
    /// When, seconds since the Unix epoch.
    pub at_unix_s: u64,
    /// Its name, as undo shows it.
    pub name: String,
}

/// One line: an edit, and the session after it.
#[derive(Serialize, Deserialize)]
pub(super) struct Line<'a> {
    pub(super) at_unix_s: u64,
    pub(super) name: Cow<'a, str>,
    pub(super) state: String,
    #[serde(default)]
    pub(super) base: Option<Fingerprint>,
    #[serde(default)]
    pub(super) home: Option<Home>,
}

/// The last line of a journal that is whole.
pub(super) fn last_line(journal: &Path) -> Option<Line<'static>> {
    regular_file(journal).ok()?;
    let text = std::fs::read(journal).ok()?;
    let mut lines = text.rsplit(|byte| *byte == b'\n');
    lines.find_map(|line| serde_json::from_slice(line).ok())
}

impl Line<'_> {
    /// Whether the edit was made over the session that is `stored`: over this very file, or over the
    /// same recordings.
    pub(super) fn fits(&self, stored: &Stored) -> bool {
        let Some(base) = &self.base else {
            return false;
        };
        let reads_the_same = |session: Session| session.reads_the_same(&stored.session);
        *base == stored.fingerprint || parse_state(&self.state).is_ok_and(reads_the_same)
    }
}

/// What a journal's bytes still hold: every line that is whole counts, any other is passed over.
pub fn leftover_in(text: &[u8]) -> Option<Leftover> {
    let mut edits = Vec::new();
    let mut last: Option<(Session, Option<Fingerprint>)> = None;
    for line in text.split(|byte| *byte == b'\n') {
        let Ok(line) = serde_json::from_slice::<Line>(line) else {
            continue;
        };
        let Ok(session) = parse_state(&line.state) else {
            continue;
        };
        edits.push(LeftoverEdit {
            at_unix_s: line.at_unix_s,
            name: line.name.into_owned(),
        });
        last = Some((session, line.base));
    }
    last.map(|(session, base)| Leftover {
        edits,
        session,
        base,
    })
}

fn parse_state(state: &str) -> Result<Session, SessionError> {
    parse(Path::new("journal"), state)
}
