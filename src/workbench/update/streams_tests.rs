//! Saying what the streams are.

use crate::session::Allowance;
use std::sync::Arc;

use super::super::bench::{message, press, state, type_text};
use super::super::state::{Mode, State};
use crate::session::{Role, Side, Site};
use crate::timeline::Member;

/// Types `text` in the place of what a line holds, and accepts it.
fn retype(state: &mut State, text: &str) {
    press(state, "ctrl-u");
    type_text(state, text);
    press(state, "enter");
}

fn refusal(state: &State) -> &str {
    match &state.mode {
        Mode::Prompt(prompt) => prompt.refused.as_deref().unwrap_or("nothing"),
        other => panic!("no line is typed: {other:?}"),
    }
}

#[test]
fn another_role_changes_what_is_compared_and_is_undone() {
    let mut state = state();
    let before = Arc::clone(&state.aligned);
    assert_eq!(state.basis(), Some(Member::Consensus));
    press(&mut state, "E down down o");
    assert_eq!(state.session().streams[2].role, Role::Context);
    assert_eq!(message(&state), "role of crank: context");
    assert!(!Arc::ptr_eq(&before, &state.aligned));
    assert_eq!(state.basis(), Some(Member::Stream(1)));
    let compared = state.compared(&state.figures).unwrap();
    assert_eq!(compared.reference, "pedals");
    press(&mut state, "o o o");
    assert_eq!(state.session().streams[2].role, Role::Context);
    press(&mut state, "u u u u");
    assert_eq!(message(&state), "undone: role of crank: context");
    assert_eq!(state.basis(), Some(Member::Consensus));
    assert!(!state.unsaved());
    assert_eq!(state.mode, Mode::Streams);
    press(&mut state, "r esc");
    assert_eq!(state.session().streams[2].role, Role::Context);
    assert_eq!(state.mode, Mode::View);
}

#[test]
fn known_masses_are_typed_move_the_time_line_and_are_undone() {
    let mut state = state();
    let mean = |state: &State| {
        let power = state.aligned.power(Member::Stream(1)).unwrap();
        let present = power.iter().filter(|w| w.is_finite());
        present.clone().sum::<f64>() / present.count() as f64
    };
    let before = mean(&state);
    press(&mut state, "E down k");
    retype(&mut state, "0 0.1; 10");
    assert!(
        refusal(&state).contains("“10” is no pair"),
        "{}",
        refusal(&state)
    );
    // 10 kg at 172.5 mm make 16.916 N·m: 2 % high.
    retype(&mut state, "0 0.1; 10 17.36; 20 34.61; 10 17.36; 0 0.1");
    assert!(
        message(&state).contains("masses on pedals: scale 1.02"),
        "{}",
        message(&state)
    );
    let scale = before / mean(&state);
    assert!((scale - 1.02).abs() < 5e-4, "{scale}");
    press(&mut state, "n");
    retype(&mut state, "17.25 mm");
    let weights = state.session().streams[1].weights.clone().unwrap();
    assert_eq!(weights.crank_mm, Some(17.25));
    assert_eq!(mean(&state), before, "a crank of 17.25 mm is not used");
    press(&mut state, "u u");
    assert_eq!(state.session().streams[1].weights, None);
    assert!(!state.unsaved());
}

#[test]
fn sides_and_zeros_are_noted() {
    let mut state = state();
    press(&mut state, "E down x z");
    retype(&mut state, "nothing");
    assert!(refusal(&state).contains("512 raw"), "{}", refusal(&state));
    retype(&mut state, "512 raw");
    press(&mut state, "Z");
    retype(&mut state, "515 raw");
    let stream = &state.session().streams[1];
    assert_eq!(stream.one_sided, Some(Side::Left));
    assert_eq!(stream.zero_after.as_ref().unwrap().to_string(), "515 raw");
    press(&mut state, "z");
    retype(&mut state, "");
    assert_eq!(state.session().streams[1].zero_before, None);
}

#[test]
fn a_label_is_unique_never_empty_and_names_the_figures() {
    let mut state = state();
    press(&mut state, "E l");
    for (label, part) in [
        ("pedals", "two streams have this label"),
        ("consensus", "the references' mean"),
        (" ", "needs a label"),
    ] {
        retype(&mut state, label);
        assert!(refusal(&state).contains(part), "{}", refusal(&state));
        assert_eq!(state.session().streams[0].label, "trainer");
    }
    retype(&mut state, "unit 7");
    assert_eq!(message(&state), "label trainer as unit 7");
    assert_eq!(state.mode, Mode::Streams);
    assert_eq!(state.letters[0], 'U');
    let compared = state.compared(&state.figures).unwrap();
    assert_eq!(compared.under_test, "unit 7");
    press(&mut state, "l esc");
    assert_eq!(state.mode, Mode::Streams);
    press(&mut state, "u");
    assert_eq!(state.session().streams[0].label, "trainer");
    assert_eq!(state.letters[0], 'T');
}

#[test]
fn sites_go_round_through_nowhere() {
    let mut state = state();
    let first = state.session().streams[0].site;
    press(&mut state, "E");
    let mut seen = Vec::new();
    for _ in 0..=Site::ALL.len() {
        press(&mut state, "s");
        seen.push(state.session().streams[0].site);
    }
    assert_eq!(seen.last(), Some(&first));
    for site in Site::ALL {
        assert!(seen.contains(&Some(*site)), "{site}");
    }
    assert!(seen.contains(&None));
}

#[test]
fn claims_are_typed_taken_away_and_never_negative() {
    let mut state = state();
    press(&mut state, "E c");
    for (typed, part) in [
        ("-1", "cannot be negative"),
        ("nan", "write a number"),
        ("two", "type a number"),
    ] {
        retype(&mut state, typed);
        assert!(refusal(&state).contains(part), "{}", refusal(&state));
    }
    retype(&mut state, "1,5 %");
    assert_eq!(state.session().streams[0].claim_percent, Some(1.5));
    assert_eq!(message(&state), "claim of trainer: 1.5 %");
    let limit_w = |state: &State| state.allowed_w(200.0).map(|(_, half_w)| half_w);
    assert_eq!(limit_w(&state), Some(3.0));
    press(&mut state, "w");
    retype(&mut state, "5");
    assert_eq!(limit_w(&state), Some(5.0));
    press(&mut state, "w");
    retype(&mut state, "");
    press(&mut state, "c");
    retype(&mut state, "");
    assert_eq!(state.session().streams[0].claim_percent, None);
    // Now the session's holds.
    press(&mut state, "C");
    retype(&mut state, "");
    assert!(refusal(&state).contains("always has a value"));
    retype(&mut state, "4");
    assert_eq!(limit_w(&state), Some(8.0));
    press(&mut state, "W");
    retype(&mut state, "10");
    assert_eq!(limit_w(&state), Some(10.0));
    assert_eq!(message(&state), "claim of the session: 10 W");
}

#[test]
fn the_allowance_and_the_title_are_typed() {
    let mut state = state();
    press(&mut state, "E a");
    retype(&mut state, "2");
    assert_eq!(message(&state), "expected drivetrain loss: 2 %");
    press(&mut state, "A");
    retype(&mut state, "-1");
    assert!(refusal(&state).contains("cannot be negative"));
    retype(&mut state, "0.5");
    assert_eq!(state.session().allowance().percent, 2.0);
    assert_eq!(state.session().allowance().plus_minus, 0.5);
    // 2 % of 200 W are lost on the way, and 2 % of what is left is the claim's.
    assert_eq!(state.allowed_w(200.0), Some((-4.0, 3.92)));
    press(&mut state, "m");
    retype(&mut state, "3");
    assert!(refusal(&state).contains("mass_kg"));
    retype(&mut state, "84");
    assert_eq!(state.session().simulation.map(|s| s.mass_kg), Some(84.0));
    press(&mut state, "u");
    assert_eq!(state.session().simulation, None);
    press(&mut state, "t");
    retype(&mut state, "Trainer 9, second evening");
    assert_eq!(state.session().title, "Trainer 9, second evening");
    press(&mut state, "u u");
    assert_eq!(state.session().title, "Bench ride");
    // A loss that is stated for the first time is known to ±1, until the tester says better.
    assert_eq!(state.session().allowance, Some(Allowance::USUAL));
    press(&mut state, "u");
    assert_eq!(state.session().allowance, None);
}

#[test]
fn a_session_opened_read_only_keeps_its_streams() {
    let mut state = state();
    state.read_only = Some("it is open elsewhere".to_owned());
    let before = state.session().clone();
    press(&mut state, "E o s c");
    retype(&mut state, "9");
    assert_eq!(*state.session(), before);
    assert!(message(&state).contains("open elsewhere"));
}
