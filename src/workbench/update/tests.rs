//! Key sequences, and what they lead to.

use super::super::bench::{message, press, ride, searched, state, type_text};
use super::super::state::{Held, Mode, Purpose};
use super::*;
use crate::session::{Kind, MatchedOn};
use crate::timeline::Span;

fn window(state: &State) -> Option<(f64, f64)> {
    state.brush.window.map(|w| (w.from_s, w.to_s))
}

fn go_to(state: &mut State, time: &str) {
    press(state, "g");
    type_text(state, time);
    press(state, "enter");
}

/// Brushes from one typed time to another.
fn brush(state: &mut State, from: &str, to: &str) {
    go_to(state, from);
    press(state, "s");
    go_to(state, to);
    press(state, "e");
}

#[test]
fn the_cursor_moves_by_seconds_tens_and_screens_and_stays_in_the_ride() {
    let mut state = state();
    press(&mut state, "right right . left");
    assert_eq!(state.cursor_s, 2.0);
    press(&mut state, "shift-right >");
    assert_eq!(state.cursor_s, 22.0);
    press(&mut state, "home left");
    assert_eq!(state.cursor_s, 0.0);
    press(&mut state, "end right");
    assert_eq!(state.cursor_s, 1800.0);
    press(&mut state, "home + + pagedown");
    assert_eq!(state.cursor_s, 450.0);
    assert!(state.shown.contains(450.0));
}

/// What the second of two joined segments was and had to hold goes: that is said.
#[test]
fn joining_tells_what_of_the_second_segment_goes() {
    let mut state = state();
    brush(&mut state, "1:00", "2:00");
    press(&mut state, "t s");
    brush(&mut state, "2:00", "3:00");
    press(&mut state, "t r p ctrl-u");
    type_text(&mut state, "230");
    press(&mut state, "enter up &");
    let effects = press(&mut state, "u r");
    assert_eq!(
        state.history.undo_name(),
        Some("merge steady-block with ramp, set point 230 W dropped"),
        "{effects:?}"
    );
    assert_eq!(state.session().segments.len(), 1);
}

#[test]
fn the_window_follows_from_start_to_end() {
    let mut state = state();
    go_to(&mut state, "1:00");
    press(&mut state, "s");
    assert_eq!(window(&state), Some((60.0, 60.0)));
    press(&mut state, "shift-right");
    assert_eq!(window(&state), Some((60.0, 70.0)));
    assert!(message(&state).contains("follows the cursor"));
    press(&mut state, "e right");
    assert_eq!(window(&state), Some((60.0, 70.0)));
    assert!(!message(&state).contains("follows the cursor"));
    // A start inside the window keeps its end; one after it begins a new window.
    go_to(&mut state, "1:05");
    press(&mut state, "s");
    assert_eq!(
        (window(&state), state.brush.held),
        (Some((65.0, 70.0)), Held::Nothing)
    );
    go_to(&mut state, "2:00");
    press(&mut state, "s left left e");
    assert_eq!(window(&state), Some((118.0, 120.0)));
    press(&mut state, "esc");
    assert_eq!(window(&state), None);
}

#[test]
fn edges_are_held_swapped_and_the_window_carried() {
    let mut state = state();
    brush(&mut state, "1:00", "2:00");
    press(&mut state, "x right");
    assert_eq!(window(&state), Some((60.0, 121.0)));
    press(&mut state, "x left left");
    assert_eq!(
        (window(&state), state.cursor_s),
        (Some((58.0, 121.0)), 58.0)
    );
    press(&mut state, "enter right");
    assert_eq!(window(&state), Some((58.0, 121.0)));
    press(&mut state, "w shift-right");
    assert_eq!(window(&state), Some((68.0, 131.0)));
    press(&mut state, "end");
    assert_eq!(
        window(&state),
        Some((1737.0, 1800.0)),
        "it stays in the ride, its length kept"
    );
}

#[test]
fn figures_follow_the_window() {
    let mut state = state();
    brush(&mut state, "1:00", "6:00");
    let bias = state.compared(&state.figures).unwrap().clone();
    assert_eq!(bias.n, 300);
    assert!((bias.bias_percent.unwrap() - 3.25).abs() < 0.2, "{bias:?}");
    press(&mut state, "x right");
    assert_eq!(state.compared(&state.figures).unwrap().n, 301);
}

#[test]
fn tagging_selects_sorts_names_and_undoes() {
    let mut state = state();
    brush(&mut state, "10:00", "10:15");
    press(&mut state, "t p");
    assert_eq!(message(&state), "tag sprint 10:00-10:15");
    brush(&mut state, "1:00", "6:00");
    press(&mut state, "t s");
    let kinds: Vec<Kind> = state.session().segments.iter().map(|s| s.kind).collect();
    assert_eq!(kinds, [Kind::SteadyBlock, Kind::Sprint]);
    assert_eq!(state.selected, Some(0));
    assert!(state.unsaved());
    press(&mut state, "u");
    assert_eq!(message(&state), "undone: tag steady-block 1:00-6:00");
    assert_eq!(state.session().segments.len(), 1);
    press(&mut state, "r");
    assert_eq!(message(&state), "redone: tag steady-block 1:00-6:00");
    press(&mut state, "u u u");
    assert_eq!(message(&state), "nothing to undo");
    assert!(!state.unsaved());
}

#[test]
fn a_segment_takes_set_point_note_kind_edges_and_goes() {
    let mut state = state();
    brush(&mut state, "1:00", "6:00");
    press(&mut state, "t s p");
    let Mode::Prompt(prompt) = &state.mode else {
        panic!("no prompt");
    };
    assert_eq!(
        (prompt.purpose, prompt.text.as_str()),
        (Purpose::SetPoint, "200")
    );
    press(&mut state, "enter n");
    type_text(&mut state, "first, big ring");
    press(&mut state, "enter");
    press(&mut state, "k h");
    let segment = state.session().segments[0].clone();
    assert_eq!(segment.set_point_w, Some(200.0));
    assert_eq!(
        (segment.note.as_str(), segment.kind),
        ("first, big ring", Kind::HeatSoak)
    );
    press(&mut state, "x right right enter m");
    assert_eq!(state.session().segments[0].to_s, 362.0);
    press(&mut state, "shift-left |");
    let edges: Vec<(f64, f64)> = state
        .session()
        .segments
        .iter()
        .map(|s| (s.from_s, s.to_s))
        .collect();
    assert_eq!(edges, [(60.0, 352.0), (352.0, 362.0)]);
    press(&mut state, "&");
    assert_eq!(state.session().segments.len(), 1);
    assert_eq!(state.session().segments[0].to_s, 362.0);
    press(&mut state, "D");
    assert!(state.session().segments.is_empty());
    assert_eq!(state.selected, None);
}

#[test]
fn prompts_refuse_nonsense_and_keep_control_characters_out() {
    let mut state = state();
    brush(&mut state, "1:00", "6:00");
    press(&mut state, "t s p ctrl-u");
    type_text(&mut state, "lots");
    press(&mut state, "enter");
    let Mode::Prompt(prompt) = &state.mode else {
        panic!("the prompt must stay open");
    };
    assert!(prompt.refused.is_some());
    press(&mut state, "esc n");
    let pasted = "a\u{1b}[31mred\nq\u{7}\u{202e}".to_owned();
    update(&mut state, Action::Paste(pasted));
    press(&mut state, "enter");
    assert_eq!(state.session().segments[0].note, "a[31mred q");
    // Outside a prompt pasted text is never taken for keys.
    let before = state.session().clone();
    let effects = update(&mut state, Action::Paste("Dqd".to_owned()));
    assert_eq!(effects, []);
    assert_eq!(*state.session(), before);
}

/// The line being typed, and whether it stands there as it was offered.
fn typed(state: &State) -> (&str, bool) {
    match &state.mode {
        Mode::Prompt(prompt) => (&prompt.text, prompt.offered),
        other => panic!("no prompt, but {other:?}"),
    }
}

#[test]
fn what_is_typed_takes_the_place_of_what_was_offered_and_editing_keys_keep_it() {
    let mut state = state();
    brush(&mut state, "1:00", "6:00");
    press(&mut state, "t s p");
    assert_eq!(typed(&state), ("200", true));
    type_text(&mut state, "185");
    assert_eq!(typed(&state), ("185", false));
    for (keys, left) in [
        ("end", "2001"),
        ("left", "2010"),
        ("home", "1200"),
        ("backspace", "201"),
    ] {
        press(&mut state, &format!("esc p {keys}"));
        type_text(&mut state, "1");
        assert_eq!(typed(&state), (left, false), "{keys}");
    }
    press(&mut state, "esc p");
    update(&mut state, Action::Paste("190".to_owned()));
    press(&mut state, "enter");
    assert_eq!(state.session().segments[0].set_point_w, Some(190.0));
    // There is nothing to replace in an empty line.
    press(&mut state, "n");
    assert_eq!(typed(&state), ("", false));
}

#[test]
fn a_line_too_long_is_refused_whole_and_nothing_is_accepted_in_its_place() {
    let mut state = state();
    brush(&mut state, "1:00", "6:00");
    press(&mut state, "t s n");
    let page = "words ".repeat(166);
    update(&mut state, Action::Paste(page.clone()));
    press(&mut state, "enter");
    assert_eq!(state.session().segments[0].note, page.trim());
    press(&mut state, "n");
    update(&mut state, Action::Paste("x".repeat(4010)));
    let reported = |state: &State| match &state.mode {
        Mode::Prompt(prompt) => prompt.refused.clone().unwrap_or_default(),
        other => panic!("{other:?}"),
    };
    assert!(
        reported(&state).contains("too long by 10"),
        "{}",
        reported(&state)
    );
    press(&mut state, "enter");
    assert!(reported(&state).contains("4000 characters"));
    assert_eq!(typed(&state), (page.trim(), true));
    press(&mut state, "esc");
    assert_eq!(state.session().segments[0].note, page.trim());
}

#[test]
fn a_tag_without_a_window_says_how_to_get_one() {
    let mut state = state();
    press(&mut state, "t");
    assert_eq!(state.mode, Mode::View);
    assert!(
        message(&state).contains("s sets its start"),
        "{}",
        message(&state)
    );
}

#[test]
fn a_clock_shift_is_one_undo_moves_the_stream_and_is_given() {
    let mut state = state();
    state.stream = 1;
    press(&mut state, "c right right > enter");
    let stream = &state.session().streams[1];
    assert_eq!(
        (stream.offset_s, stream.matched_on),
        (1.2, Some(MatchedOn::Given))
    );
    assert_eq!(state.aligned.tracks[1].clock.offset_s, 1.2);
    assert_eq!(message(&state), "shift clock of pedals: offset +1.2 s");
    press(&mut state, "u");
    assert_eq!(state.session().streams[1].offset_s, 0.0);
    assert_eq!(state.aligned.tracks[1].clock.offset_s, 0.0);
}

#[test]
fn streams_of_one_recording_share_their_clock() {
    let mut opened = ride();
    let recording = std::sync::Arc::clone(opened.sources[1].recording().unwrap());
    opened.sources[2] = crate::session::Source::new(recording, 0);
    let size = (80, 24);
    let look = super::super::bench::PLAIN;
    let mut state = searched(State::new(opened, look, Default::default(), size));
    state.stream = 1;
    press(&mut state, "c right");
    assert_eq!(state.session().streams[2].offset_s, 0.1);
}

#[test]
fn quitting_asks_only_when_something_would_be_lost() {
    let mut state = state();
    assert_eq!(press(&mut state, "q"), [Effect::Quit]);
    brush(&mut state, "1:00", "6:00");
    press(&mut state, "t s q");
    assert_eq!(state.mode, Mode::Menu(Place::QuitQuestion));
    assert_eq!(press(&mut state, "esc"), []);
    assert_eq!(press(&mut state, "q s"), [Effect::Save { over: false }]);
    let file = std::path::PathBuf::from("session.toml");
    let effects = update(&mut state, Action::Report(Report::Saved { file }));
    assert_eq!(effects, [Effect::Quit]);
    press(&mut state, "u");
    assert_eq!(
        press(&mut state, "q d"),
        [Effect::ForgetJournal, Effect::Quit]
    );
}

#[test]
fn a_file_changed_by_somebody_else_is_not_overwritten_unasked() {
    let mut state = state();
    update(&mut state, Action::Report(Report::ChangedOutside));
    assert_eq!(state.mode, Mode::Menu(Place::OverwriteQuestion));
    assert_eq!(press(&mut state, "o"), [Effect::Save { over: true }]);
}

#[test]
fn an_edit_that_cannot_be_journalled_is_not_shown_as_safe() {
    let mut state = state();
    brush(&mut state, "1:00", "6:00");
    press(&mut state, "t");
    let effects = update(&mut state, Action::Do("tag-sprint"));
    let [Effect::Journal { done, .. }, Effect::Study(_)] = effects.as_slice() else {
        panic!("not one edit and one question");
    };
    assert_ne!(
        message(&state),
        done,
        "shown as done before it is on the disk"
    );
    let report = Report::NotJournalled {
        done: done.clone(),
        why: "disk full".to_owned(),
    };
    update(&mut state, Action::Report(report));
    assert!(
        message(&state).contains("a crash would lose it"),
        "{}",
        message(&state)
    );
}

#[test]
fn read_only_refuses_every_edit() {
    let mut state = state();
    state.read_only = Some("open elsewhere".to_owned());
    brush(&mut state, "1:00", "6:00");
    assert_eq!(press(&mut state, "t s c right enter S"), []);
    assert!(!state.unsaved());
    assert_eq!(press(&mut state, "q"), [Effect::Quit]);
}

#[test]
fn landmarks_are_edges_dropouts_and_peaks() {
    let mut state = state();
    brush(&mut state, "1:00", "6:00");
    press(&mut state, "t s esc home ]");
    assert_eq!(state.cursor_s, 60.0);
    press(&mut state, "] [");
    assert_eq!(state.cursor_s, 60.0);
    press(&mut state, "l d ]");
    assert_eq!(state.cursor_s, 1000.0);
    press(&mut state, "l p home ]");
    assert!(
        (600.0..603.0).contains(&state.cursor_s),
        "{}",
        state.cursor_s
    );
}

#[test]
fn zooming_keeps_the_cursor_in_place_and_is_remembered() {
    let mut state = state();
    go_to(&mut state, "10:00");
    press(&mut state, "+");
    assert_eq!(
        state.shown,
        Span {
            from_s: 300.0,
            to_s: 1200.0
        }
    );
    press(&mut state, "b");
    assert_eq!(
        state.shown,
        Span {
            from_s: 0.0,
            to_s: 1800.0
        }
    );
    press(&mut state, "B");
    assert_eq!(
        state.shown,
        Span {
            from_s: 300.0,
            to_s: 1200.0
        }
    );
    press(&mut state, "+ + + + + + + + + + + +");
    assert_eq!(state.shown.duration_s(), 10.0);
    press(&mut state, "a");
    assert_eq!(state.shown.duration_s(), 1800.0);
}

#[test]
fn an_edge_snaps_to_the_step_close_by() {
    let mut state = state();
    brush(&mut state, "1:04", "5:56");
    press(&mut state, "j");
    assert_eq!(window(&state), Some((64.0, 360.0)));
    press(&mut state, "{ j");
    assert_eq!(window(&state), Some((60.0, 360.0)));
}

#[test]
fn an_edge_far_from_every_step_stays_and_says_so() {
    let mut state = state();
    brush(&mut state, "2:30", "4:30");
    press(&mut state, "j");
    assert_eq!(window(&state), Some((150.0, 270.0)));
    assert!(message(&state).contains("no step within 60 s"));
    brush(&mut state, "2:30", "6:00");
    press(&mut state, "j");
    assert!(message(&state).contains("at a step already"));
}

#[test]
fn the_landmark_keys_stop_at_changes_of_power() {
    let mut state = state();
    press(&mut state, "l c");
    let mut stops = Vec::new();
    for _ in 0..40 {
        let before_s = state.cursor_s;
        press(&mut state, "]");
        if state.cursor_s == before_s {
            break;
        }
        stops.push(state.cursor_s);
    }
    assert!(message(&state).contains("no changes of power after the cursor"));
    for step_s in [
        60.0, 360.0, 600.0, 615.0, 700.0, 760.0, 1000.0, 1400.0, 1500.0,
    ] {
        let found = stops
            .iter()
            .any(|stop_s: &f64| (stop_s - step_s).abs() <= 3.0);
        assert!(found, "no stop at {step_s}: {stops:?}");
    }
    press(&mut state, "[");
    assert_eq!(Some(&state.cursor_s), stops.iter().rev().nth(1));
}

#[test]
fn in_other_views_the_mouse_does_not_brush_what_is_not_there() {
    let mut state = state();
    press(&mut state, "o p h h");
    let shown = state.shown;
    for event in [MouseEvent::Press, MouseEvent::Drag, MouseEvent::Release] {
        let mouse = Mouse {
            event,
            column: if event == MouseEvent::Press { 20 } else { 30 },
            row: 8,
        };
        update(&mut state, Action::Mouse(mouse));
    }
    assert_eq!((state.brush.window, state.cursor_s), (None, 0.0));
    let wheel = |event| Mouse {
        event,
        column: 20,
        row: 8,
    };
    update(&mut state, Action::Mouse(wheel(MouseEvent::WheelDown)));
    assert_eq!((state.shown, state.scrolled), (shown, Some(3)));
    update(&mut state, Action::Mouse(wheel(MouseEvent::WheelUp)));
    assert_eq!(state.scrolled, Some(0));
    press(&mut state, "?");
    update(&mut state, Action::Mouse(wheel(MouseEvent::WheelDown)));
    assert!(matches!(&state.mode, Mode::Help(help) if help.first == 3));
}

#[test]
fn what_has_no_room_scrolls_to_its_end_and_no_further() {
    let mut state = state();
    brush(&mut state, "1:00", "6:00");
    press(&mut state, "t s F");
    for _ in 0..30 {
        press(&mut state, ";");
    }
    let end = state.scrolled;
    assert!(end > Some(5), "{end:?}");
    press(&mut state, "; :");
    assert_eq!(state.scrolled, end.map(|end| end - 3));
    press(&mut state, "o a");
    assert_eq!(state.scrolled, None);
    state.size = (200, 60);
    press(&mut state, ";");
    assert!(message(&state).contains("everything is shown"));
}

#[test]
fn the_mouse_brushes_zooms_and_selects() {
    let mut state = state();
    let mouse = |event, column, row| Action::Mouse(Mouse { event, column, row });
    update(&mut state, mouse(MouseEvent::Press, 20, 8));
    update(&mut state, mouse(MouseEvent::Drag, 30, 8));
    update(&mut state, mouse(MouseEvent::Release, 30, 8));
    let (from_s, to_s) = window(&state).unwrap();
    assert_eq!((from_s, to_s), (491.0, 900.0));
    update(&mut state, mouse(MouseEvent::WheelUp, 20, 8));
    assert_eq!(state.shown.duration_s(), 900.0);
    press(&mut state, "t o esc");
    update(&mut state, mouse(MouseEvent::Press, 5, 19));
    assert_eq!(state.selected, Some(0));
}

#[test]
fn the_search_finds_and_does() {
    let mut state = state();
    press(&mut state, "/");
    type_text(&mut state, "whole ride zoom");
    press(&mut state, "esc / +");
    press(&mut state, "ctrl-u");
    type_text(&mut state, "larger cursor");
    press(&mut state, "enter");
    assert_eq!(state.shown.duration_s(), 900.0);
}

#[test]
fn suggestions_are_taken_passed_adjusted_and_not_made_twice() {
    let mut state = state();
    press(&mut state, "i");
    let Mode::Walk(walk) = state.mode.clone() else {
        panic!("no walk: {}", message(&state));
    };
    let first = walk.suggestions[0].segment.clone();
    assert!(walk.suggestions.len() >= 4, "{walk:?}");
    assert_eq!(window(&state), Some((first.from_s, first.to_s)));
    press(&mut state, "enter");
    assert_eq!(state.session().segments, std::slice::from_ref(&first));
    press(&mut state, "space backspace x");
    assert_eq!(state.mode, Mode::View);
    let second = &walk.suggestions[1].segment;
    assert_eq!(window(&state), Some((second.from_s, second.to_s)));
    press(&mut state, "i");
    let Mode::Walk(again) = state.mode.clone() else {
        panic!("no walk");
    };
    assert_eq!(
        again.suggestions.len(),
        walk.suggestions.len() - 1,
        "what is tagged is not suggested"
    );
    press(&mut state, "T");
    assert_eq!(state.session().segments.len(), walk.suggestions.len());
    press(&mut state, "u");
    assert_eq!(state.session().segments, [first]);
    press(&mut state, "r i");
    assert_eq!(state.mode, Mode::View);
}

#[test]
fn garbage_from_the_keyboard_breaks_nothing() {
    use rand::{Rng as _, SeedableRng as _};
    let seed = 20_260_731;
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
    let mut state = state();
    let keys: Vec<Key> = super::super::action::TABLE
        .iter()
        .flat_map(|entry| entry.keys)
        .filter_map(|key| Key::parse(key))
        .chain("0aZ~é".chars().map(Key::char))
        .collect();
    for step in 0..800 {
        let key = keys[random.next_u32() as usize % keys.len()];
        update(&mut state, Action::Key(key));
        let (window, ride) = (state.brush.window, state.ride());
        assert!(
            state.cursor_s >= ride.from_s && state.cursor_s <= ride.to_s,
            "seed {seed} step {step}"
        );
        assert!(
            window.is_none_or(|w| w.from_s <= w.to_s),
            "seed {seed} step {step}"
        );
        assert!(
            state.session().segments.iter().all(|s| s.from_s < s.to_s),
            "seed {seed} step {step}"
        );
    }
}
