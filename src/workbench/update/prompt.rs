//! Lines of text: times, set points, notes, paths, and the search among the actions. And the
//! scrolling of lists.

use std::path::{Path, PathBuf};

use super::super::action::entry::{Context, found};
use super::super::event::Effect;
use super::super::state::{Claimed, Help, Mode, Prompt, Purpose, State, View, Writing, Written};
use super::super::text;
use super::say::{say, warn};
use super::{edit, motion, streams};
use crate::analysis::questions::Findings;
use crate::session::Role;
use crate::session::validation::MOST_SET_POINT_W;
use crate::text::clean_text;
use crate::timeline::{Member, Span};

/// Longest line, characters: a page of text.
const LONGEST: usize = 4000;

pub fn open(state: &mut State, purpose: Purpose, text: String) {
    state.mode = Mode::Prompt(Prompt {
        purpose,
        caret: text.chars().count(),
        offered: !text.is_empty(),
        text,
        refused: None,
        pick: 0,
    });
}

pub fn ask_set_point(state: &mut State) {
    if let Some(index) = edit::selected(state) {
        let text = suggested_set_point(state, index);
        open(state, Purpose::SetPoint, text);
    }
}

pub fn ask_note(state: &mut State) {
    if let Some(index) = edit::selected(state) {
        let text = state.session().segments[index].note.clone();
        open(state, Purpose::Note, text);
    }
}

pub fn ask_label(state: &mut State) {
    let stream = state.session().streams.get(state.stream);
    if let Some(text) = stream.map(|stream| stream.label.clone()) {
        open(state, Purpose::Label, text);
    }
}

pub fn ask_title(state: &mut State) {
    let text = state.session().title.clone();
    open(state, Purpose::Title, text);
}

pub fn ask_claim(state: &mut State, claimed: Claimed) {
    let text = streams::claim_text(state, claimed);
    open(state, Purpose::Claim(claimed), text);
}

pub fn ask_masses(state: &mut State) {
    let text = streams::masses_text(state);
    open(state, Purpose::Masses, text);
}

pub fn ask_zero(state: &mut State, after: bool) {
    let text = streams::zero_text(state, after);
    open(state, Purpose::Zero { after }, text);
}

/// Asks for the file to write to; it is offered what was written last, or a name in the session's folder.
pub fn ask_write(state: &mut State, what: Written) {
    let name = match what {
        Written::Report => "report.html".to_owned(),
        Written::Table => "segments.csv".to_owned(),
        Written::Samples => "samples.csv".to_owned(),
        Written::Picture => picture_name(state),
    };
    let before = state
        .written
        .iter()
        .rev()
        .find(|before| before.what == what);
    let before = before.map(|before| before.path.as_path());
    let path = match (what, before.and_then(Path::parent)) {
        // Every picture is of something else.
        (Written::Picture, folder) => folder.unwrap_or(&state.opened.folder).join(name),
        _ => before.map_or_else(|| state.opened.folder.join(name), Path::to_owned),
    };
    let offered = path.to_string_lossy().into_owned();
    open(state, Purpose::Write(what), offered);
}

/// Asks for another name than that of the file that is there.
pub fn ask_elsewhere(state: &mut State) {
    if let Some(Writing { what, path }) = state.replacing.take() {
        let offered = path.to_string_lossy().into_owned();
        open(state, Purpose::Write(what), offered);
    }
}

/// A name for the picture of the open view that says what it is of.
fn picture_name(state: &State) -> String {
    let kind = state.segment_with_figures().map(|_| state.figures_kind());
    let view = match (state.view, kind) {
        (View::Ride, Some(kind)) => kind.word().to_owned(),
        (View::Ride, None) => "ride".to_owned(),
        (view, _) => view.title().replace(' ', "-"),
    };
    let of = match (state.view, state.selected) {
        (View::Answers, _) => {
            let ranked = state.answers().map(Findings::ranked).unwrap_or_default();
            ranked
                .get(state.answer)
                .map(|answer| format!("-{}", answer.question.key()))
        }
        (view, Some(index)) if !view.is_of_whole_ride() => Some(format!("-{}", index + 1)),
        _ => None,
    };
    format!("{view}{}.svg", of.unwrap_or_default())
}

/// Erases the character before the caret, or (`ahead`) at it.
pub fn erase(state: &mut State, ahead: bool) {
    change_line(state, |chars, caret| {
        if !ahead && *caret > 0 {
            *caret -= 1;
            chars.remove(*caret);
        } else if ahead && *caret < chars.len() {
            chars.remove(*caret);
        }
    });
}

pub fn erase_all(state: &mut State) {
    change_line(state, |chars, caret| {
        chars.clear();
        *caret = 0;
    });
}

/// Moves the caret by characters.
pub fn caret(state: &mut State, step: isize) {
    change_line(state, |chars, caret| {
        *caret = caret.saturating_add_signed(step).min(chars.len());
    });
}

pub fn caret_end(state: &mut State, end: bool) {
    change_line(state, |chars, caret| {
        *caret = if end { chars.len() } else { 0 };
    });
}

/// Changes the characters of the line or its caret; what was offered is typed from then on.
fn change_line(state: &mut State, change: impl FnOnce(&mut Vec<char>, &mut usize)) {
    let Mode::Prompt(prompt) = &mut state.mode else {
        return;
    };
    let mut chars: Vec<char> = prompt.text.chars().collect();
    change(&mut chars, &mut prompt.caret);
    prompt.text = chars.into_iter().collect();
    prompt.offered = false;
    prompt.refused = None;
}

/// Text typed into the line, without control characters, in the place of what was offered. What
/// the line does not hold is refused as a whole.
pub fn type_text(state: &mut State, text: &str) {
    let Mode::Prompt(prompt) = &mut state.mode else {
        return;
    };
    let mut chars: Vec<char> = prompt.text.chars().collect();
    if prompt.offered {
        chars.clear();
    }
    let new: Vec<char> = clean_text(text).chars().collect();
    let length = chars.len() + new.len();
    if length > LONGEST {
        let beyond = length - LONGEST;
        prompt.refused = Some(format!(
            "too long by {beyond}: a line holds {LONGEST} characters; nothing of it was taken"
        ));
        return;
    }
    prompt.offered = false;
    let caret = prompt.caret.min(chars.len());
    prompt.caret = caret + new.len();
    chars.splice(caret..caret, new);
    prompt.text = chars.into_iter().collect();
    prompt.refused = None;
    prompt.pick = 0;
}

/// Pasted text goes into a line being typed, as text; anywhere else it is never taken for keys.
pub fn paste(state: &mut State, text: &str) {
    if matches!(state.mode, Mode::Prompt(_)) {
        type_text(state, &text.replace(['\n', '\r', '\t'], " "));
    } else {
        warn(state, "pasted text is ignored here: nothing is being typed");
    }
}

/// What a set point most likely was: the one there is, the workout's, or the references' level.
fn suggested_set_point(state: &State, index: usize) -> String {
    let segment = &state.session().segments[index];
    let watts = segment
        .set_point_w
        .or_else(|| workout_set_point(state, Span::new(segment.from_s, segment.to_s)))
        .or_else(|| references_level(state, Span::new(segment.from_s, segment.to_s)));
    watts.map_or_else(String::new, |watts| format!("{watts:.0}"))
}

fn workout_set_point(state: &State, span: Span) -> Option<f64> {
    let middle_s = 0.5 * (span.from_s + span.to_s);
    state.aligned.tracks.iter().find_map(|track| {
        let steps = &track.source().recording()?.set_points;
        let here_s = track.clock.to_recorder(middle_s);
        let step = steps
            .iter()
            .find(|s| s.from_s <= here_s && here_s < s.to_s)?;
        Some(step.watts)
    })
}

/// Median of the references, to the nearest 5 W as set points are.
fn references_level(state: &State, span: Span) -> Option<f64> {
    let member = state.aligned.basis().or_else(|| {
        let index = state.aligned.powered(Role::UnderTest).next()?;
        Some(Member::Stream(index))
    })?;
    let column = state
        .aligned
        .power(member)?
        .get(state.aligned.grid.rows(span))?;
    let present = column.iter().copied().filter(|v| v.is_finite()).collect();
    let median = crate::stats::median_of(present)?;
    Some((median / 5.0).round() * 5.0)
}

/// Accepts what was typed or picked.
pub fn accept(context: &mut Context<'_>) {
    let (state, effects) = (&mut *context.state, &mut *context.effects);
    // What was refused is not accepted by asking again: a text that did not fit would be lost.
    let Mode::Prompt(prompt @ Prompt { refused: None, .. }) = &state.mode else {
        return;
    };
    let (purpose, typed, pick) = (prompt.purpose, prompt.text.trim().to_owned(), prompt.pick);
    let refusal = match purpose {
        Purpose::Time => take_time(state, &typed),
        Purpose::SetPoint => take_set_point(state, &typed, effects),
        Purpose::Note => {
            state.mode = Mode::View;
            let name = edit::named(state, "note on");
            edit::change_selected(state, &name, effects, |segment| segment.note = typed);
            None
        }
        Purpose::Label => streams::take_label(state, &typed, effects),
        Purpose::Title => streams::take_title(state, &typed, effects),
        Purpose::Masses => streams::take_masses(state, &typed, effects),
        Purpose::Zero { after } => streams::take_zero(state, after, &typed, effects),
        Purpose::Claim(claimed) => streams::take_claim(state, claimed, &typed, effects),
        Purpose::Write(_) | Purpose::SaveAs if typed.is_empty() => Some("type a path".to_owned()),
        Purpose::Write(what) => take_path(state, what, &typed, effects),
        Purpose::SaveAs => {
            state.mode = Mode::View;
            effects.push(Effect::SaveAs(PathBuf::from(typed)));
            None
        }
        Purpose::Find => match found(context.table, &typed).get(pick) {
            Some(entry) => {
                state.mode = Mode::View;
                (entry.run)(context);
                return;
            }
            None => Some("no action is called that".to_owned()),
        },
    };
    if let (Some(refusal), Mode::Prompt(prompt)) = (refusal, &mut state.mode) {
        prompt.refused = Some(refusal);
    }
}

fn take_path(
    state: &mut State,
    what: Written,
    typed: &str,
    effects: &mut Vec<Effect>,
) -> Option<String> {
    let endings = what.endings();
    let lower = typed.to_lowercase();
    if !endings.iter().any(|ending| lower.ends_with(ending)) {
        return Some(format!("name the file {}", endings.join(" or ")));
    }
    state.mode = Mode::View;
    let path = PathBuf::from(typed);
    let writing = Writing { what, path };
    // What this run has written it writes again without a question.
    let over = state.written.contains(&writing);
    effects.push(Effect::Write { writing, over });
    None
}

fn take_time(state: &mut State, typed: &str) -> Option<String> {
    match text::parse_time(typed, state.cursor_s) {
        Some(t_s) => {
            state.mode = Mode::View;
            motion::go_to(state, t_s);
            None
        }
        None => Some("a time reads 90, 1:30, 1:02:03, or +10 and -10 from here".to_owned()),
    }
}

fn take_set_point(state: &mut State, typed: &str, effects: &mut Vec<Effect>) -> Option<String> {
    let number = typed.trim_end_matches(['W', 'w', ' ']);
    let watts = match number {
        "" => None,
        _ => match number.replace(',', ".").parse::<f64>() {
            Ok(watts) if (0.0..=MOST_SET_POINT_W).contains(&watts) => Some(watts),
            _ => {
                return Some(format!(
                    "a set point is a number of watts from 0 to {MOST_SET_POINT_W}; empty for none"
                ));
            }
        },
    };
    state.mode = Mode::View;
    let name = match watts {
        Some(watts) => format!("set point {watts} W"),
        None => "no set point".to_owned(),
    };
    edit::change_selected(state, &name, effects, |segment| segment.set_point_w = watts);
    None
}

/// Scrolls a list by lines, or picks another line of the one below what is typed.
pub fn scroll(context: &mut Context<'_>, lines: isize) {
    let moved = |at: usize, most: usize| at.min(most).saturating_add_signed(lines).min(most);
    let last = (context.scroll)(context.state).map_or(0, |scroll| scroll.last);
    match &mut context.state.mode {
        Mode::Prompt(prompt) if prompt.purpose == Purpose::Find => {
            let found = found(context.table, &prompt.text);
            prompt.pick = moved(prompt.pick, found.len().saturating_sub(1));
        }
        Mode::Help(Help { first: line, .. }) | Mode::Log(line) => *line = moved(*line, last),
        _ => {}
    }
}

/// Begins to narrow the list of keys, or ends it; `keeps` what was typed.
pub fn narrowing(state: &mut State, typing: bool, keeps: bool) {
    match &mut state.mode {
        Mode::Help(help) => {
            help.typing = typing;
            if !keeps {
                help.typed.clear();
                help.first = 0;
            }
        }
        _ => say(state, "only the list of keys can be narrowed"),
    }
}

/// Changes the words that the list of keys is narrowed to, while they are typed.
pub fn narrow(state: &mut State, change: impl FnOnce(&mut String)) {
    if let Mode::Help(help) = &mut state.mode
        && help.typing
        && help.typed.len() < LONGEST
    {
        change(&mut help.typed);
        help.first = 0;
    }
}

/// Lines by which a view's own lists scroll.
const STEP: usize = 3;

/// Shows what the view has no room for: above, or below.
pub fn more(context: &mut Context<'_>, below: bool) {
    let Some(scroll) = (context.scroll)(context.state) else {
        say(context.state, "everything is shown: nothing scrolls here");
        return;
    };
    let moved = if below {
        scroll.first + STEP
    } else {
        scroll.first.saturating_sub(STEP)
    };
    context.state.scrolled = Some(moved.min(scroll.last));
}
