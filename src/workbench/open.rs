//! Opening the workbench over a session folder or over recordings.

use std::path::{Path, PathBuf};
use std::time::Duration;

use indicatif::ProgressBar;

use super::action::{Place, names};
use super::config;
use super::effects::Effects;
use super::keymap::Keymap;
use super::run::run;
use super::state::{Mode, State, View};
use super::theme::Look;
use super::worker::Worker;
use crate::session::files;
use crate::session::journal::{Journal, JournalError, Leftover, data_directory};
use crate::session::store::{self, Fingerprint, Stored};
use crate::session::{OpenOptions, OpenedSession, start};
use crate::timeline::align::{self, align_session};

/// Opens the workbench and returns when it is left.
///
/// One path that is a folder (or its `session.toml`) is a session; anything else is a list of
/// recordings, which become a session in memory until it is saved.
///
/// # Errors
/// A sentence for the person at the keyboard.
pub fn open(paths: &[PathBuf], look: Look) -> Result<(), String> {
    // The screen is taken only once there is something to show: until then Ctrl-C ends it.
    let reading = ProgressBar::new_spinner().with_message("reading the recordings; Ctrl-C stops");
    reading.enable_steady_tick(Duration::from_millis(200));
    let prepared = prepare(paths, look);
    reading.finish_and_clear();
    let (mut state, mut effects) = prepared?;
    run(&mut state, &mut effects).map_err(|error| error.to_string())
}

fn prepare(paths: &[PathBuf], look: Look) -> Result<(State, Effects), String> {
    let (opened, fingerprint, recordings) = match paths {
        [path] if is_session(path) => open_folder(path)?,
        _ => open_recordings(paths)?,
    };
    let has_folder = fingerprint.is_some();
    let folder = opened.folder.clone();
    let problems: Vec<String> = opened.problems.iter().map(ToString::to_string).collect();
    let (keymap, refused) = bound_keys();
    let size = crossterm::terminal::size().unwrap_or((80, 24));
    let mut state = State::new(opened, look, keymap, size);
    state.has_folder = has_folder;
    // What has been tagged is answered first.
    if !state.session().segments.is_empty() {
        state.view = View::Answers;
    }
    state.here = std::env::current_dir().unwrap_or_default();
    // A session in memory is journalled under its recordings.
    let named = if has_folder {
        folder.clone()
    } else {
        all_together(paths)
    };
    let stored = fingerprint.clone().map(|fingerprint| Stored {
        session: state.session().clone(),
        fingerprint,
    });
    let journal = open_journal(&mut state, &named, stored.as_ref());
    let base = state.leftover.as_ref().and_then(|l| l.base.clone());
    let older = base.filter(|base| fingerprint.as_ref().is_some_and(|now| now != base));
    state.leftover_is_older = older.is_some();
    for problem in problems.into_iter().chain(refused) {
        state.note(problem, true);
    }
    tell_remarks(&mut state);
    for caution in state.session().cautions() {
        state.note(caution, true);
    }
    sum_up(&mut state);
    let effects = Effects {
        folder,
        journal,
        fingerprint,
        recordings,
        older,
        told_of_change: false,
        worker: Worker::start(),
    };
    Ok((state, effects))
}

/// One name for several recordings: with others beside it a recording is another session.
fn all_together(paths: &[PathBuf]) -> PathBuf {
    let full = |path: &PathBuf| path.canonicalize().unwrap_or_else(|_| path.clone());
    let mut name = std::ffi::OsString::new();
    for (index, path) in paths.iter().enumerate() {
        if index > 0 {
            name.push("\n");
        }
        name.push(full(path));
    }
    PathBuf::from(name)
}

/// Puts what reading the recordings met into the list of messages.
fn tell_remarks(state: &mut State) {
    for remark in state.opened.remarks() {
        state.note(remark, true);
    }
}

/// Where there is more than one message on opening, the one shown says so, and names damage. Both stand
/// first: a narrow screen cuts the end.
fn sum_up(state: &mut State) {
    let count = state.log.len();
    if let Some(last) = state.log.last().filter(|_| count > 1) {
        let key = state.key(names::MESSAGES);
        let damage = match state.opened.damaged().as_slice() {
            [] => String::new(),
            [file] => format!("damage in {file}; "),
            [file, more @ ..] => format!("damage in {file} and {} more; ", more.len()),
        };
        let text = format!("{count} messages ({key}): {damage}{}", last.text);
        state.show(text, true);
    }
}

/// The keys as the user's file binds them, and what could not be used of it.
fn bound_keys() -> (Keymap, Vec<String>) {
    let Some(path) = config::keys_file() else {
        return (Keymap::default(), Vec::new());
    };
    let (keymap, errors) = config::keymap_from(&path);
    let reported = errors.iter().map(|error| {
        let text = format!("keys.toml: {error}");
        crate::text::clean_text(&text)
    });
    let reported = reported.collect();
    (keymap, reported)
}

fn open_journal(
    state: &mut State,
    named: &Path,
    stored: Option<&Stored>,
) -> Result<Journal, String> {
    let opened = data_directory().and_then(|directory| Journal::open(&directory, named, stored));
    match opened {
        Ok((journal, leftover)) => {
            state.leftover = leftover.filter(|l: &Leftover| l.session != *state.session());
            if state.leftover.is_some() {
                state.mode = Mode::Menu(Place::RestoreQuestion);
            }
            Ok(journal)
        }
        Err(error @ JournalError::InUse) => {
            state.read_only = Some(error.to_string());
            state.note(error.to_string(), true);
            Err(error.to_string())
        }
        Err(error) => {
            state.note(error.to_string(), true);
            Err(error.to_string())
        }
    }
}

fn is_session(path: &Path) -> bool {
    path.is_dir()
        || path
            .file_name()
            .is_some_and(|name| name == files::FILE_NAME)
}

type Opened = (OpenedSession, Option<Fingerprint>, Vec<(PathBuf, String)>);

fn open_folder(path: &Path) -> Result<Opened, String> {
    let folder = files::folder_of(path);
    let stored = store::load(&folder).map_err(|error| error.to_string())?;
    let opened = OpenedSession::bind(&folder, stored.session, OpenOptions::default());
    if opened
        .sources
        .iter()
        .all(|source| source.samples().is_none())
    {
        let problems: Vec<String> = opened.problems.iter().map(ToString::to_string).collect();
        return Err(format!(
            "{}: none of its recordings can be used\n{}",
            path.display(),
            problems.join("\n")
        ));
    }
    Ok((opened, Some(stored.fingerprint), Vec::new()))
}

fn open_recordings(paths: &[PathBuf]) -> Result<Opened, String> {
    let parts = start::read_parts(paths).map_err(|error| error.to_string())?;
    let mut opened = start::sketch(Path::new(""), "", &parts, None)?;
    let clocks = align_session(&opened, align::Options::default());
    clocks.apply(&mut opened.session, |_| true);
    let copies = parts.iter().map(start::Part::copy).collect();
    Ok((opened, None, copies))
}
