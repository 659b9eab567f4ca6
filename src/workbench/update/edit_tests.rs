//! Every edit of segments: what it is called, what it does, and that undo names it and takes it back.

use super::super::bench::{message, press, state, type_text};
use super::super::state::State;
use super::{Action, Report, update};
use crate::session::Session;

/// Types a time to go to.
fn go(state: &mut State, time: &str) {
    press(state, "g");
    type_text(state, time);
    press(state, "enter");
}

/// Spans and kinds of the segments, in words.
fn listed(state: &State) -> Vec<String> {
    let segments = state.session().segments.iter();
    segments
        .map(|s| format!("{} {}-{} {}", s.kind, s.from_s, s.to_s, s.note))
        .map(|line| line.trim_end().to_owned())
        .collect()
}

#[test]
fn each_edit_has_a_name_by_which_it_is_undone_and_redone() {
    let mut state = state();
    let mut known: Vec<(String, Session)> = Vec::new();
    let mut before = state.session().clone();
    let mut edited = |state: &mut State, name: &str, after: &[&str]| {
        assert_eq!(message(state), name);
        assert_eq!(listed(state), after);
        assert_ne!(*state.session(), before, "{name}");
        known.push((
            name.to_owned(),
            std::mem::replace(&mut before, state.session().clone()),
        ));
    };

    go(&mut state, "1:00");
    press(&mut state, "s");
    go(&mut state, "6:00");
    press(&mut state, "e t o");
    edited(&mut state, "tag open 1:00-6:00", &["open 60-360"]);
    press(&mut state, "k s");
    edited(
        &mut state,
        "change kind to steady-block",
        &["steady-block 60-360"],
    );
    press(&mut state, "n");
    type_text(&mut state, "seated");
    press(&mut state, "enter");
    edited(
        &mut state,
        "note on steady-block",
        &["steady-block 60-360 seated"],
    );
    press(&mut state, "p enter");
    edited(
        &mut state,
        "set point 200 W",
        &["steady-block 60-360 seated"],
    );
    // Its end moves ten seconds back, and the segment takes the window's edges.
    press(&mut state, "} x < enter m");
    edited(
        &mut state,
        "move steady-block",
        &["steady-block 60-350 seated"],
    );
    go(&mut state, "3:00");
    press(&mut state, "|");
    edited(
        &mut state,
        "split steady-block",
        &["steady-block 60-180 seated", "steady-block 180-350 seated"],
    );
    // Overlapping segments are allowed.
    go(&mut state, "2:30");
    press(&mut state, "esc s");
    go(&mut state, "3:30");
    press(&mut state, "e t p");
    edited(
        &mut state,
        "tag sprint 2:30-3:30",
        &[
            "steady-block 60-180 seated",
            "sprint 150-210",
            "steady-block 180-350 seated",
        ],
    );
    press(&mut state, "D");
    edited(
        &mut state,
        "delete sprint",
        &["steady-block 60-180 seated", "steady-block 180-350 seated"],
    );
    go(&mut state, "1:00");
    press(&mut state, "up &");
    edited(
        &mut state,
        "merge steady-block",
        &["steady-block 60-350 seated"],
    );

    let last = state.session().clone();
    for (name, session) in known.iter().rev() {
        press(&mut state, "u");
        assert_eq!(message(&state), format!("undone: {name}"));
        assert_eq!(state.session(), session, "{name}");
    }
    press(&mut state, "u");
    assert_eq!(message(&state), "nothing to undo");
    assert!(!state.unsaved());
    for (name, _) in &known {
        press(&mut state, "r");
        assert_eq!(message(&state), format!("redone: {name}"));
    }
    assert_eq!(*state.session(), last);
}

#[test]
fn segments_that_become_one_keep_both_notes() {
    let mut state = state();
    for (from, to, note) in [("1:00", "2:00", "seated"), ("2:00", "3:00", "standing")] {
        go(&mut state, from);
        press(&mut state, "esc s");
        go(&mut state, to);
        press(&mut state, "e t o n");
        type_text(&mut state, note);
        press(&mut state, "enter");
    }
    press(&mut state, "up &");
    assert_eq!(listed(&state), ["open 60-180 seated; standing"]);
}

#[test]
fn a_session_of_other_streams_is_not_taken_over_and_nothing_passes_for_saved() {
    let mut state = state();
    press(&mut state, "s");
    go(&mut state, "2:00");
    press(&mut state, "e t o");
    let mine = state.session().clone();
    let mut theirs = mine.clone();
    theirs.streams.swap(0, 1);
    let report = Report::Reloaded(Box::new(theirs));
    update(&mut state, Action::Report(report));
    assert!(
        message(&state).contains("other streams"),
        "{}",
        message(&state)
    );
    assert_eq!(*state.session(), mine);
    assert!(state.unsaved());
}

#[test]
fn who_leaves_the_line_for_the_folder_does_not_quit_with_a_later_save() {
    let mut state = state();
    state.has_folder = false;
    press(&mut state, "s");
    go(&mut state, "2:00");
    press(&mut state, "e t o q s");
    assert!(state.quits_when_saved);
    press(&mut state, "esc S");
    assert!(!state.quits_when_saved);
}

/// An edit after which the session could not be saved is refused when it is made, not when it is
/// saved.
#[test]
fn one_segment_more_than_a_session_holds_is_refused_at_once() {
    let mut state = state();
    go(&mut state, "1:00");
    press(&mut state, "s");
    go(&mut state, "1:02");
    press(&mut state, "e t o");
    let one = state.session().segments[0].clone();
    state.opened.session.segments = vec![one; 5000];
    state.refresh_lines();
    let before = state.session().clone();
    let undone = state.history.undo_name().map(str::to_owned);
    let effects = press(&mut state, "t s");
    assert_eq!(effects, []);
    let reported = message(&state);
    assert!(
        reported.contains("not done") && reported.contains("at most 5000"),
        "{reported}"
    );
    assert_eq!(*state.session(), before);
    assert_eq!(state.history.undo_name().map(str::to_owned), undone);
    // Any other edit still goes.
    press(&mut state, "down D");
    assert_eq!(state.session().segments.len(), 4999);
}
