//! `update(state, action) -> effects`: the only place where the state changes.

mod clock;
mod edit;
#[cfg(test)]
mod edit_tests;
mod landmarks;
mod motion;
mod mouse;
pub(super) mod prompt;
mod streams;
#[cfg(test)]
mod streams_tests;
#[cfg(test)]
mod tests;
#[cfg(test)]
mod views_tests;
mod walk;

use std::path::PathBuf;

use super::action::{Command, Copied, Place};
use super::keymap::Key;
use super::state::{Held, Lane, Mode, Purpose, Scope, State, View};
use super::study::{About, Answer, Question};
use crate::session::Session;

/// What happened.
#[derive(Clone, Debug, PartialEq)]
pub enum Action {
    /// A key was pressed.
    Key(Key),
    /// Something of the action table is wanted.
    Do(Command),
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
    pub deed: Deed,
    /// Column, from 0.
    pub column: u16,
    /// Row, from 0.
    pub row: u16,
}

/// Deeds of a mouse.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Deed {
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
    /// Answer this question of the open view, aside.
    Study(Box<Question>),
    /// Write the segment table to this file.
    Export {
        /// The file.
        path: PathBuf,
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
    /// A question of a view is answered.
    Studied(Box<(Question, Answer)>),
    /// The file was read again.
    Reloaded(Box<Session>),
    /// The segment table was written.
    Exported(PathBuf),
    /// There is a file already where it should go.
    FileIsThere(PathBuf),
    /// Anything else that went well.
    Done(String),
    /// Anything that did not.
    Failed(String),
}

/// Changes `state` as `action` asks and returns what is to be done.
pub fn update(state: &mut State, action: Action) -> Vec<Effect> {
    let mut effects = Vec::new();
    age_message(state, &action);
    match action {
        Action::Key(key) => press(state, key, &mut effects),
        Action::Do(command) => perform(state, command, &mut effects),
        Action::Paste(text) => prompt::paste(state, &text),
        Action::Mouse(mouse) => mouse::act(state, mouse),
        Action::Resize(columns, rows) => {
            state.size = (columns, rows);
            // Whatever a terminal does to its cells meanwhile: they are all drawn again.
            effects.push(Effect::Redraw);
        }
        Action::Report(report) => hear(state, report, &mut effects),
    }
    state.refresh_figures(false);
    state.refresh_smoothed();
    ask(state, &mut effects);
    effects
}

/// Asks the open view's question anew where what it depends on has changed.
fn ask(state: &mut State, effects: &mut Vec<Effect>) {
    let Some(about) = About::of(state) else {
        state.asked = None;
        return;
    };
    let asked = state.asked.as_ref();
    if asked.is_some_and(|question| question.still_asks(about, state)) {
        return;
    }
    let question = Question::new(about, state);
    state.asked = Some(question.clone());
    effects.push(Effect::Study(Box::new(question)));
}

/// Actions for which a message stays.
const MESSAGE_STAYS: u32 = 12;

fn age_message(state: &mut State, action: &Action) {
    if !matches!(action, Action::Key(_) | Action::Mouse(_)) {
        return;
    }
    if let Some((_, age)) = &mut state.message {
        *age += 1;
        if *age > MESSAGE_STAYS {
            state.message = None;
        }
    }
}

/// Shows a message and keeps it in the log.
fn say(state: &mut State, text: impl Into<String>) {
    state.note(text.into(), false);
}

/// Shows a message that something is wrong or cannot be done.
fn warn(state: &mut State, text: impl Into<String>) {
    state.note(text.into(), true);
}

fn press(state: &mut State, key: Key, effects: &mut Vec<Effect>) {
    let found = state.keymap.look_up(&state.places(), key);
    match (found, &state.mode, key.typed()) {
        (Some(entry), _, _) => perform(state, entry.command, effects),
        (None, Mode::Prompt(_), Some(c)) => prompt::type_text(state, &c.to_string()),
        (None, Mode::View, _) => {
            let label = key.label(state.look.ascii);
            let help = key_of(state, Command::Help);
            warn(
                state,
                format!("{label} does nothing here; {help} shows every key"),
            );
        }
        _ => {}
    }
}

/// The first key of a command, for messages.
pub(super) fn key_of(state: &State, command: Command) -> String {
    super::action::entry_of(Place::In(state.view), command)
        .and_then(|entry| state.keymap.keys_of(entry).first())
        .map_or_else(|| "(no key)".to_owned(), |key| key.label(state.look.ascii))
}

fn perform(state: &mut State, command: Command, effects: &mut Vec<Effect>) {
    match command {
        Command::Zoom(closer) if state.view == View::Clocks => clock::zoom(state, closer),
        Command::Scrub(_)
        | Command::Screen(_)
        | Command::RideEnd(_)
        | Command::Landmark(_)
        | Command::WindowEdge(_)
        | Command::Zoom(_)
        | Command::ZoomWindow
        | Command::ZoomAll
        | Command::ViewHistory(_)
        | Command::SetEdge(_)
        | Command::HoldEdge
        | Command::HoldWindow
        | Command::Snap => motion::perform(state, command),
        Command::Tag(_)
        | Command::Retag(_)
        | Command::MoveSegment
        | Command::Split
        | Command::Merge
        | Command::Delete
        | Command::SelectSegment(_)
        | Command::Undo
        | Command::Redo
        | Command::Restore
        | Command::AskTag
        | Command::AskKind => edit::perform(state, command, effects),
        Command::Suggest
        | Command::TakeProposal
        | Command::TakeProposals
        | Command::PassProposal
        | Command::EarlierProposal
        | Command::AdjustProposal => walk::perform(state, command, effects),
        Command::AdjustClock
        | Command::Nudge(_)
        | Command::Mark(_)
        | Command::MatchMarks
        | Command::TakeEstimate
        | Command::NextMate
        | Command::NextChannel => clock::perform(state, command, effects),
        Command::AskTime
        | Command::AskSetPoint
        | Command::AskNote
        | Command::AskLabel
        | Command::AskTitle
        | Command::AskClaim(_)
        | Command::AskExport
        | Command::Find
        | Command::Accept
        | Command::Erase(_)
        | Command::EraseAll
        | Command::Caret(_)
        | Command::CaretEnd(_)
        | Command::Scroll(_)
        | Command::More(_) => prompt::perform(state, command, effects),
        Command::SelectStream(_)
        | Command::ToggleStream
        | Command::Solo
        | Command::NextReference
        | Command::Streams
        | Command::NextRole
        | Command::NextSite => streams::perform(state, command, effects),
        Command::ToggleLane(_) | Command::TogglePercent | Command::HoldScales | Command::Smooth => {
            picture(state, command);
        }
        _ => program(state, command, effects),
    }
}

/// What concerns the session as a whole and the program.
fn program(state: &mut State, command: Command, effects: &mut Vec<Effect>) {
    match command {
        Command::LetGo => {
            state.brush.held = Held::Nothing;
        }
        Command::Clear => {
            state.brush.window = None;
            state.brush.held = Held::Nothing;
            state.selected = None;
        }
        Command::Close => streams::leave(state),
        Command::AskLandmarks => state.mode = Mode::Menu(Place::LandmarkMenu),
        Command::SetLandmarks(landmarks) => {
            state.landmarks = landmarks;
            state.mode = Mode::View;
            let keys = [false, true].map(|forward| key_of(state, Command::Landmark(forward)));
            let name = landmarks.name();
            say(state, format!("{} and {} stop at {name}", keys[0], keys[1]));
        }
        Command::AskView => state.mode = Mode::Menu(Place::ViewMenu),
        Command::Go(view) => {
            state.view = view;
            state.scrolled = None;
            state.mode = Mode::View;
        }
        Command::NextScope => next_scope(state),
        Command::CoverageBy => coverage_by(state),
        Command::NextPlan => {
            let count = crate::plan::Plan::names().count().max(1);
            state.plan = Some(state.plan.map_or(0, |place| (place + 1) % count));
        }
        Command::Help => state.mode = Mode::Help(0),
        Command::ShowLog => state.mode = Mode::Log(0),
        Command::Save => save(state, false, effects),
        Command::SaveOver => save(state, true, effects),
        Command::SaveAndQuit => {
            state.quits_when_saved = true;
            save(state, false, effects);
        }
        Command::Reload => {
            state.mode = Mode::View;
            effects.push(Effect::Reload);
        }
        Command::DeclineRestore => {
            state.leftover = None;
            state.mode = Mode::View;
            effects.push(Effect::ForgetJournal);
            say(state, "the unsaved edits of the earlier run are dropped");
        }
        Command::Replace => {
            state.mode = Mode::View;
            let path = state.replacing.take();
            effects.extend(path.map(|path| Effect::Export { path, over: true }));
        }
        Command::AskCopy => state.mode = Mode::Menu(Place::CopyMenu),
        Command::Copy(copied) => {
            state.mode = Mode::View;
            effects.push(Effect::Copy(copied));
        }
        Command::ToggleMouse => {
            state.mouse = !state.mouse;
            effects.push(Effect::CaptureMouse(state.mouse));
            let text = if state.mouse {
                "the mouse brushes (drag) and zooms (wheel) here"
            } else {
                "the mouse is the terminal's: select text as usual"
            };
            say(state, text);
        }
        Command::Redraw => effects.push(Effect::Redraw),
        Command::Suspend => effects.push(Effect::Suspend),
        Command::Quit if state.unsaved() && state.read_only.is_none() => {
            state.mode = Mode::Menu(Place::QuitQuestion);
        }
        Command::Quit => effects.push(Effect::Quit),
        Command::QuitAnyway => {
            effects.push(Effect::ForgetJournal);
            effects.push(Effect::Quit);
        }
        // Everything else has been taken care of by `perform`.
        _ => {}
    }
}

/// The next scope that there is something for.
fn next_scope(state: &mut State) {
    let has_segment = state.selected.is_some();
    state.scope = match state.scope {
        Scope::Window if has_segment => Scope::Segment,
        Scope::Window | Scope::Segment => Scope::Ride,
        Scope::Ride => Scope::Window,
    };
}

fn coverage_by(state: &mut State) {
    match state.coverage_channels().as_slice() {
        [_, _, ..] => state.coverage_by_speed = !state.coverage_by_speed,
        [only] => {
            let text = format!("the ride carries {} only", only.name());
            warn(state, text);
        }
        [] => warn(state, "the ride carries neither cadence nor wheel speed"),
    }
}

fn save(state: &mut State, over: bool, effects: &mut Vec<Effect>) {
    state.mode = Mode::View;
    if let Some(why) = state.read_only.clone() {
        state.quits_when_saved = false;
        warn(state, format!("not saved: {why}"));
    } else if state.has_folder {
        effects.push(Effect::Save { over });
    } else {
        prompt::open(state, Purpose::SaveAs, "new-session".to_owned());
    }
}

fn picture(state: &mut State, command: Command) {
    match command {
        Command::ToggleLane(lane) => {
            let carried = match lane {
                Lane::Difference => state.basis().is_some() && state.under_test().is_some(),
                Lane::Channel(channel) => state
                    .aligned
                    .tracks
                    .iter()
                    .any(|t| t.column(channel).is_some()),
            };
            let place = Lane::ALL.iter().position(|l| *l == lane);
            let Some(shown) = place.and_then(|place| state.lanes.get_mut(place)) else {
                return;
            };
            *shown = !*shown;
            if *shown && !carried {
                *shown = false;
                warn(state, format!("no recording carries {}", lane.name()));
            }
        }
        Command::TogglePercent => state.percent = !state.percent,
        Command::HoldScales => {
            state.held_scales = match state.held_scales {
                Some(_) => None,
                None => Some(super::draw::scales(state)),
            };
            let text = match state.held_scales {
                Some(_) => "the scales are held as they are",
                None => "the scales fit what is shown",
            };
            say(state, text);
        }
        Command::Smooth => {
            state.smooth_s = match state.smooth_s {
                1 => 3,
                3 => 5,
                5 => 10,
                10 => 30,
                _ => 1,
            };
            let text = match state.smooth_s {
                1 => "the picture is raw".to_owned(),
                s => format!("the picture is smoothed over {s} s; the figures stay raw"),
            };
            say(state, text);
        }
        _ => {}
    }
}

fn hear(state: &mut State, report: Report, effects: &mut Vec<Effect>) {
    match report {
        Report::Journalled { done } => say(state, done),
        Report::NotJournalled { done, why } => {
            let key = key_of(state, Command::Save);
            warn(
                state,
                format!("{done}, but a crash would lose it ({why}); save now: {key}"),
            );
        }
        Report::Saved { file } => {
            state.saved = state.session().clone();
            state.has_folder = true;
            if let Some(folder) = file.parent() {
                folder.clone_into(&mut state.opened.folder);
            }
            say(state, format!("saved {}", file.display()));
            if std::mem::take(&mut state.quits_when_saved) {
                effects.push(Effect::Quit);
            }
        }
        Report::ChangedOutside => {
            state.quits_when_saved = false;
            state.mode = Mode::Menu(Place::OverwriteQuestion);
        }
        Report::Studied(answered) => state.study = Some(*answered),
        Report::Reloaded(session) => edit::reloaded(state, *session, effects),
        Report::Exported(path) => {
            let full = state.here.join(&path);
            say(
                state,
                format!("exported the segment table to {}", full.display()),
            );
            state.exported = Some(path);
        }
        Report::FileIsThere(path) => {
            state.replacing = Some(path);
            state.mode = Mode::Menu(Place::ReplaceQuestion);
        }
        Report::Done(text) => say(state, text),
        Report::Failed(text) => {
            state.quits_when_saved = false;
            warn(state, text);
        }
    }
}
