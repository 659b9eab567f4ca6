//! `update(state, action) -> effects`: the only place where the state changes.

pub(super) mod answers;
pub(super) mod clock;
pub(super) mod edit;
#[cfg(test)]
mod edit_tests;
pub(super) mod landmarks;
pub(super) mod lanes;
pub(super) mod motion;
mod mouse;
pub(super) mod program;
pub(super) mod prompt;
mod say;
pub(super) mod streams;
#[cfg(test)]
mod streams_tests;
#[cfg(test)]
mod tests;
#[cfg(test)]
mod views_tests;
pub(super) mod walk;

use super::action::table::{TABLE, named};
use super::action::{entry::Context, names};
use super::draw;
pub use super::event::{Action, Effect, Mouse, MouseEvent, Report};
use super::keymap::Key;
use super::state::{Mode, Place, State};
use super::study::{Answer, Computed};
use say::{say, warn};

/// Changes `state` as `action` asks and returns what is to be done.
pub fn update(state: &mut State, action: Action) -> Vec<Effect> {
    let mut effects = Vec::new();
    age_message(state, &action);
    match action {
        Action::Key(key) => press(state, key, &mut effects),
        Action::Do(name) => perform(state, name, &mut effects),
        Action::Paste(text) => prompt::paste(state, &text),
        Action::Mouse(mouse) => mouse::act(&mut context(state, &mut effects), mouse),
        Action::Resize(columns, rows) => {
            state.size = (columns, rows);
            // Whatever a terminal does to its cells meanwhile: they are all drawn again.
            effects.push(Effect::Redraw);
        }
        Action::Report(report) => take_report(state, report, &mut effects),
    }
    state.refresh_figures(false);
    state.refresh_smoothed();
    draw::traces::prepare(state);
    ask(state, &mut effects);
    effects
}

/// Wants computed what no longer holds.
fn ask(state: &mut State, effects: &mut Vec<Effect>) {
    let wanted = state.wanted();
    if state.asked != wanted {
        state.asked.clone_from(&wanted);
        effects.extend(wanted.map(|wanted| Effect::Study(Box::new(wanted))));
    }
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

fn press(state: &mut State, key: Key, effects: &mut Vec<Effect>) {
    let found = state.keymap.look_up(&state.places(), key);
    match (found, &state.mode, key.typed()) {
        (Some(name), _, _) => perform(state, name, effects),
        (None, Mode::Prompt(_), Some(c)) => prompt::type_text(state, &c.to_string()),
        (None, Mode::Help(_), Some(c)) => prompt::narrow(state, |typed| typed.push(c)),
        (None, Mode::View, _) => {
            let label = key.label(state.look.ascii);
            let help = state.key(names::HELP);
            warn(
                state,
                format!("{label} does nothing here; {help} shows every key"),
            );
        }
        _ => {}
    }
}

fn context<'a>(state: &'a mut State, effects: &'a mut Vec<Effect>) -> Context<'a> {
    Context {
        state,
        effects,
        table: TABLE,
        scroll: draw::scroll,
    }
}

fn perform(state: &mut State, name: &str, effects: &mut Vec<Effect>) {
    if let Some(entry) = named(name) {
        (entry.run)(&mut context(state, effects));
    }
}

fn take_report(state: &mut State, report: Report, effects: &mut Vec<Effect>) {
    match report {
        Report::Journalled { done } => say(state, done),
        Report::NotJournalled { done, why } => {
            let key = state.key(names::SAVE);
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
        Report::Studied(computed) => match *computed {
            Computed::Findings(found) => state.take_findings(found),
            Computed::Answer(answered) => match *answered {
                (question, Answer::Answers(all)) => state.answered = Some((question, *all)),
                answered => state.study = Some(answered),
            },
        },
        Report::Reloaded(session) => edit::reloaded(state, *session, effects),
        Report::Wrote(writing) => {
            let full = state.here.join(&writing.path);
            let what = writing.what.name();
            say(state, format!("wrote {what} to {}", full.display()));
            state.written.retain(|before| *before != writing);
            state.written.push(writing);
        }
        Report::FileIsThere(writing) => {
            state.replacing = Some(writing);
            state.mode = Mode::Menu(Place::ReplaceQuestion);
        }
        Report::Done(text) => say(state, text),
        Report::Failed(text) => {
            state.quits_when_saved = false;
            warn(state, text);
        }
    }
}
