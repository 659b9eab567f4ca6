//! Doing what `update` asks for: the disk and the clipboard. Each effect comes back as a report.

use std::path::{Path, PathBuf};

use super::action::Copied;
use super::state::State;
use super::state::parts::Writing;
use super::update::{Effect, Report};
use super::worker::Worker;
use super::written;
use crate::analysis::questions::Findings;
use crate::analysis::table::Table;
use crate::export::table;
use crate::session::SessionError;
use crate::session::files::{self, write_atomically};
use crate::session::folder::create;
use crate::session::journal::Journal;
use crate::session::store::{self, Fingerprint};

/// What the effects need beyond the state.
#[derive(Debug)]
pub struct Effects {
    /// The session's folder.
    pub folder: PathBuf,
    /// The journal, or why there is none.
    pub journal: Result<Journal, String>,
    /// Of the session file as it was last read or written by us.
    pub fingerprint: Option<Fingerprint>,
    /// For a session without a folder: its recordings and their names in the folder to come.
    pub recordings: Vec<(PathBuf, String)>,
    /// Of the session file that the edits of an earlier run were made over, where it is not the one
    /// that was opened.
    pub older: Option<Fingerprint>,
    /// Whether the change on the disk has been told.
    pub told_of_change: bool,
    /// Who searches the ride and answers the questions of the views.
    pub worker: Worker,
}

impl Effects {
    /// Performs an effect that concerns neither the screen nor the process.
    pub fn perform(&mut self, effect: &Effect, state: &State) -> Option<Report> {
        match effect {
            Effect::Journal { name, done } => Some(self.journal(name, done, state)),
            Effect::Save { over } => Some(self.save(*over, state)),
            Effect::SaveAs(folder) => Some(self.save_as(folder, state)),
            Effect::Write { writing, over } => Some(write(writing, *over, state)),
            Effect::Study(wanted) => {
                self.worker.want((**wanted).clone());
                None
            }
            Effect::Copy(copied) => Some(copy(*copied, state)),
            Effect::Reload => Some(self.reload(state)),
            Effect::Restored => {
                self.restored();
                None
            }
            Effect::SetAside => self.set_aside(),
            Effect::ForgetJournal => self.forget(),
            Effect::CaptureMouse(_) | Effect::Redraw | Effect::Suspend | Effect::Quit => None,
        }
    }

    fn journal(&mut self, name: &str, done: &str, state: &State) -> Report {
        let done = done.to_owned();
        let written = match &mut self.journal {
            Ok(journal) => {
                journal.set_base(self.fingerprint.as_ref());
                let recorded = journal.record(name, state.session());
                recorded.map_err(|error| error.to_string())
            }
            Err(why) => Err(why.clone()),
        };
        match written {
            Ok(()) => Report::Journalled { done },
            Err(why) => Report::NotJournalled { done, why },
        }
    }

    /// What cannot be set aside would go with the next save: then nothing is journalled.
    fn set_aside(&mut self) -> Option<Report> {
        let error = self.journal.as_mut().ok()?.set_aside().err()?.to_string();
        self.journal = Err(error.clone());
        Some(Report::Failed(error))
    }

    fn forget(&mut self) -> Option<Report> {
        let journal = self.journal.as_mut().ok()?;
        journal
            .clear()
            .err()
            .map(|error| Report::Failed(error.to_string()))
    }

    fn save(&mut self, over: bool, state: &State) -> Report {
        let expected = if over {
            None
        } else {
            self.fingerprint.as_ref()
        };
        match store::save(&self.folder, state.session(), expected) {
            Ok(fingerprint) => self.saved(fingerprint),
            Err(SessionError::ChangedOutside { .. }) => Report::ChangedOutside,
            Err(error) => Report::Failed(error.to_string()),
        }
    }

    fn save_as(&mut self, folder: &Path, state: &State) -> Report {
        if files::file_of(folder).exists() {
            return Report::Failed(format!(
                "{}: there is a session already; choose another folder",
                folder.display()
            ));
        }
        match create(folder, &self.recordings, state.session()) {
            Ok(fingerprint) => {
                folder.clone_into(&mut self.folder);
                let report = self.saved(fingerprint);
                self.follow_to(folder);
                report
            }
            Err(error) => Report::Failed(error.to_string()),
        }
    }

    fn saved(&mut self, fingerprint: Fingerprint) -> Report {
        self.fingerprint = Some(fingerprint);
        self.told_of_change = false;
        self.forget();
        Report::Saved {
            file: self.folder.join(files::FILE_NAME),
        }
    }

    /// From now on edits are journalled under the session's own folder.
    fn follow_to(&mut self, folder: &Path) {
        use crate::session::journal::data_directory;
        self.journal = data_directory()
            .and_then(|directory| Journal::open(&directory, folder, None))
            .and_then(|(mut journal, left_by_another)| {
                left_by_another.map_or(Ok(()), |_| journal.set_aside())?;
                Ok(journal)
            })
            .map_err(|error| error.to_string());
    }

    /// Edits of an earlier run were taken over: what others changed since stays until the tester
    /// has been asked.
    fn restored(&mut self) {
        if let Some(older) = self.older.take() {
            self.fingerprint = Some(older);
            self.told_of_change = true;
        }
    }

    fn reload(&mut self, state: &State) -> Report {
        match store::load(&self.folder) {
            // What is here stays over the file it was made over: saving it asks.
            Ok(stored) if !stored.session.reads_the_same(state.session()) => Report::Failed(
                "session.toml has other streams or recordings now: quit and open the session again"
                    .to_owned(),
            ),
            Ok(stored) => {
                self.fingerprint = Some(stored.fingerprint);
                self.told_of_change = false;
                Report::Reloaded(Box::new(stored.session))
            }
            Err(error) => Report::Failed(error.to_string()),
        }
    }

    /// Whether somebody else changed the session file since it was last read or written by us;
    /// told once a change.
    pub fn notice_change(&mut self) -> Option<Report> {
        let known = self.fingerprint.as_ref()?;
        if self.told_of_change {
            return None;
        }
        let reported = match store::fingerprint(&self.folder) {
            Ok(now) if now == *known => return None,
            Ok(_) => "session.toml was changed by somebody else: reload it, or save to be asked",
            Err(_) => {
                "session.toml is gone or cannot be read: what is open here is kept; put it back, \
                 or save to be asked"
            }
        };
        self.told_of_change = true;
        Some(Report::Failed(reported.to_owned()))
    }
}

/// Writes a file; one that is there only with `over`, and none of the session's own.
fn write(writing: &Writing, over: bool, state: &State) -> Report {
    let path = &writing.path;
    if state.opened.is_own_file(path) {
        return Report::Failed(format!(
            "{}: is a file of the session itself and is never replaced; choose another name",
            path.display()
        ));
    }
    if !over && path.symlink_metadata().is_ok() {
        return Report::FileIsThere(writing.clone());
    }
    let bytes = written::bytes(writing, state);
    let done =
        bytes.and_then(|bytes| write_atomically(path, &bytes).map_err(|error| error.to_string()));
    match done {
        Ok(()) => Report::Wrote(writing.clone()),
        Err(why) => Report::Failed(format!("{}: not written ({why})", path.display())),
    }
}

fn copy(copied: Copied, state: &State) -> Report {
    let of = |write: fn(&Table, &Findings) -> String| {
        let answered = written::answered(state);
        write(&answered.table, &answered.findings)
    };
    let text = match copied {
        Copied::Figures => Ok(super::draw::figures_as_text(state)),
        Copied::Text => Ok(of(table::short_text)),
        Copied::Markdown => Ok(of(table::short_markdown)),
        Copied::Csv => Ok(of(table::short_csv)),
    };
    let name = match copied {
        Copied::Figures => "the figures are",
        Copied::Text | Copied::Markdown | Copied::Csv => "the segment table is",
    };
    let sent = text.and_then(|text| {
        let copy = crossterm::clipboard::CopyToClipboard::to_clipboard_from(text);
        crossterm::execute!(std::io::stdout(), copy).map_err(|error| error.to_string())
    });
    match sent {
        Ok(()) => Report::Done(format!("{name} on the clipboard, if the terminal allows")),
        Err(why) => Report::Failed(format!("not copied ({why})")),
    }
}
