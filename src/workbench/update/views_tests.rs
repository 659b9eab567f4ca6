//! Tests of the full-screen views' actions.

use crate::analysis::coverage::Coverage;
use crate::analysis::questions::{Finding, Question};
use crate::analysis::ride;
use crate::analysis::segment::figures_with;
use crate::plan::PlanCheck;
use crate::workbench::action::Place;
use crate::workbench::bench::{message, press, state, type_text};
use crate::workbench::keymap::Key;
use crate::workbench::state::{Scope, State, View};
use crate::workbench::study::agreement::Agreed;
use crate::workbench::study::references::Compared;
use crate::workbench::study::{About, Answer, Computed, Wanted};
use crate::workbench::update::{Action, Effect, Report, update};
use crate::workbench::worker;

fn go_to(state: &mut State, time: &str) {
    press(state, "g");
    type_text(state, time);
    press(state, "enter");
}

#[test]
fn every_view_opens_and_escape_returns_to_the_ride() {
    for (key, view) in [
        ("o", View::Answers),
        ("c", View::Clocks),
        ("a", View::Agreement),
        ("e", View::Response),
        ("f", View::References),
        ("h", View::Soak),
        ("b", View::ErrorCurve),
        ("v", View::Coverage),
        ("p", View::Plan),
    ] {
        let mut state = state();
        press(&mut state, &format!("o {key}"));
        assert_eq!(state.view, view);
        assert!(!state.is_pending());
        assert!(state.study.is_some() || (view == View::Answers && state.answers_hold()));
        assert!(state.places().contains(&Place::Study));
        press(&mut state, "esc");
        assert_eq!(state.view, View::Ride);
        assert_eq!(state.asked, None);
    }
}

#[test]
fn an_answer_is_seen_in_the_ride_and_put_among_the_words() {
    let mut state = state();
    go_to(&mut state, "1:00");
    press(&mut state, "s");
    go_to(&mut state, "6:00");
    press(&mut state, "e t s o o");
    assert_eq!(state.view, View::Answers);
    let ranked = |state: &State| -> Vec<(Question, Finding, String)> {
        let found = state.answers().unwrap().ranked();
        let described =
            |a: &&crate::analysis::questions::Answer| (a.question, a.outcome, a.sentence.clone());
        found.iter().map(described).collect()
    };
    let answers = ranked(&state);
    assert_eq!(answers[0].1, Finding::Fault, "{answers:?}");
    press(&mut state, "p");
    assert_eq!(state.session().words.against, [answers[0].2.clone()]);
    assert_eq!(state.answer, 0);
    press(&mut state, "p");
    assert!(state.session().words.against.is_empty());
    press(&mut state, "u");
    assert_eq!(state.session().words.against.len(), 1);
    // What is open speaks neither for nor against.
    let open = answers
        .iter()
        .position(|a| a.1 == Finding::NotRidden)
        .unwrap();
    for _ in 0..open {
        press(&mut state, "down");
    }
    press(&mut state, "p");
    assert!(message(&state).contains("neither for nor against"));
    press(&mut state, "enter");
    assert!(message(&state).contains("no single place"));
    for _ in 0..answers.len() {
        press(&mut state, "up");
    }
    assert_eq!(state.answer, 0);
    press(&mut state, "enter");
    assert_eq!((state.view, state.selected), (View::Ride, Some(0)));
    assert!(state.shown.duration_s() < 500.0);
}

#[test]
fn figures_of_the_kind_are_computed_aside_and_follow_the_segment() {
    let mut state = state();
    go_to(&mut state, "1:00");
    press(&mut state, "s");
    go_to(&mut state, "6:00");
    press(&mut state, "e t");
    assert_eq!(state.asked, None, "a window without a kind asks nothing");
    let effects = update(&mut state, Action::Key(Key::char('s')));
    let [Effect::Journal { .. }, Effect::Study(wanted)] = effects.as_slice() else {
        panic!("not one edit and one question");
    };
    assert!(state.is_pending() && state.kind_figures().is_none());
    let answered = Box::new(worker::compute((**wanted).clone()));
    update(&mut state, Action::Report(Report::Studied(answered)));
    assert!(!state.is_pending());
    let steady = |state: &State| state.kind_figures()?.of_kind.steady.clone();
    assert_eq!(steady(&state).unwrap().set_point_error_w, None);
    press(&mut state, "p");
    press(&mut state, "enter");
    let error_w = steady(&state).unwrap().set_point_error_w.unwrap();
    assert!((error_w - 6.0).abs() < 0.5, "{error_w}");
    press(&mut state, "k h");
    assert!(state.kind_figures().unwrap().of_kind.heat_soak.is_some());
    assert_eq!(steady(&state), None);
    // An edge that moves makes it a window of no kind.
    press(&mut state, "x right");
    assert_eq!((state.asked.is_none(), state.kind_figures()), (true, None));
}

#[test]
fn a_key_asks_and_never_waits() {
    let mut state = state();
    press(&mut state, "o");
    let effects = update(&mut state, Action::Key(Key::char('a')));
    assert!(
        matches!(effects.as_slice(), [Effect::Study(_)]),
        "{effects:?}"
    );
    assert!(state.is_pending());
    // Nothing that matters changes: nothing is asked anew.
    assert_eq!(update(&mut state, Action::Key(Key::char('R'))).len(), 1);
    let effects = update(&mut state, Action::Key(Key::char('?')));
    assert_eq!(effects, []);
    // An answer to an earlier question does not count.
    let about = About {
        span: crate::timeline::Span::new(0.0, 5.0),
        ..state.about().unwrap()
    };
    let nothing = Answer::Nothing(String::new());
    let stale = Computed::Answer(Box::new((state.question(about), nothing)));
    update(&mut state, Action::Report(Report::Studied(Box::new(stale))));
    assert!(state.is_pending());
}

#[test]
fn the_ride_is_searched_aside_after_its_clocks_change() {
    let mut state = state();
    go_to(&mut state, "1:00");
    press(&mut state, "s");
    go_to(&mut state, "6:00");
    press(&mut state, "e t s tab c");
    assert!(state.is_searched() && !state.is_pending());
    let interval = |state: &State| state.lines.get(0).unwrap().agreement[0].bias_ci95_w;
    let before = interval(&state);
    let mut wanted = Vec::new();
    for _ in 0..2 {
        let mut effects = update(&mut state, Action::Key(Key::parse("pagedown").unwrap()));
        assert!(matches!(effects[0], Effect::Journal { .. }), "{effects:?}");
        let Some(Effect::Study(search)) = effects.pop() else {
            panic!("nothing is searched");
        };
        assert!(matches!(*search, Wanted::Findings(_)));
        wanted.push(*search);
        assert!(state.is_pending());
    }
    // The first search is no longer of the ride as it is.
    let last = wanted.pop().unwrap();
    let stale = Box::new(worker::compute(wanted.pop().unwrap()));
    update(&mut state, Action::Report(Report::Studied(stale)));
    assert!(!state.is_searched() && state.is_pending());
    let found = Box::new(worker::compute(last));
    let effects = update(&mut state, Action::Report(Report::Studied(found)));
    assert!(matches!(effects[..], [Effect::Study(_)]), "{effects:?}");
    assert!(state.is_searched());
    assert_ne!(interval(&state), before);
    let found = ride::findings(&state.aligned);
    let segment = state.session().segments[0].clone();
    let afresh = figures_with(state.session(), &state.aligned, &found, &segment, 1);
    assert_eq!(interval(&state), afresh.agreement[0].bias_ci95_w);
}

#[test]
fn marks_that_are_matched_shift_the_clock_of_the_stream_in_hand() {
    let mut state = state();
    press(&mut state, "tab o c");
    assert_eq!((state.stream, state.other_stream()), (1, Some(2)));
    press(&mut state, "f");
    assert!(
        message(&state).contains("mark a feature"),
        "{}",
        message(&state)
    );
    go_to(&mut state, "10:00");
    press(&mut state, "1");
    go_to(&mut state, "10:07");
    press(&mut state, "2 f");
    assert_eq!(state.session().streams[1].offset_s, 7.0);
    assert_eq!(state.session().streams[2].offset_s, 0.0);
    assert!(message(&state).contains("+7.0 s"), "{}", message(&state));
    // The mark moved with its stream.
    press(&mut state, "f");
    assert_eq!(message(&state), "the marks meet already");
    press(&mut state, "u");
    assert_eq!(state.session().streams[1].offset_s, 0.0);
}

#[test]
fn the_correlation_shows_a_shift_and_the_estimate_takes_it_back() {
    let mut state = state();
    press(&mut state, "tab o c c pagedown enter");
    assert_eq!(state.session().streams[1].offset_s, 10.0);
    let Some((_, Answer::Clocks(clocks))) = &state.study else {
        panic!("{:?}", state.study);
    };
    let best = clocks.curve.as_ref().unwrap().peaks[0];
    assert!((best.late_s - 10.0).abs() < 0.3, "{best:?}");
    let late = clocks.residuals.iter().map(|r| r.late_s);
    let middle = crate::stats::median_of(late.collect()).unwrap();
    assert!((middle - 10.0).abs() < 0.5, "{middle}");
    press(&mut state, "A");
    let offset_s = state.session().streams[1].offset_s;
    assert!(offset_s.abs() < 0.3, "{offset_s}: {}", message(&state));
    press(&mut state, "u");
    assert_eq!(state.session().streams[1].offset_s, 10.0);
}

#[test]
fn the_scope_is_the_window_the_segment_or_the_ride() {
    let mut state = state();
    go_to(&mut state, "1:00");
    press(&mut state, "s");
    go_to(&mut state, "6:00");
    press(&mut state, "e t s o a");
    assert_eq!(state.scope_span().1, Some(0));
    press(&mut state, "d");
    assert_eq!(state.scope, Scope::Segment);
    press(&mut state, "d");
    assert_eq!(state.scope, Scope::Ride);
    assert_eq!(state.scope_span(), (state.ride(), None));
    let Some(agreed) = state.shown::<Agreed>() else {
        panic!("{:?}", state.study);
    };
    // The second reference has a gap of 10 s, and with it the consensus.
    assert_eq!(agreed.figures.as_ref().unwrap().n, 1790);
    press(&mut state, "d");
    let Some(agreed) = state.shown::<Agreed>() else {
        panic!("{:?}", state.study);
    };
    assert_eq!(agreed.figures.as_ref().unwrap().n, 300);
    let bias_w = agreed.figures.as_ref().unwrap().bias_w.unwrap();
    // 3 % high at 200 W against references whose mean is a quarter of a percent low.
    assert!((bias_w - 6.5).abs() < 0.3, "{bias_w}");
    let mean: f64 = agreed.parts.iter().map(|p| p.unwrap()).sum::<f64>() / 3.0;
    assert!((mean - bias_w).abs() < 0.05);
}

#[test]
fn a_plan_is_chosen_where_the_session_names_none() {
    let mut state = state();
    press(&mut state, "o p");
    let Some((_, Answer::Nothing(why))) = &state.study else {
        panic!("{:?}", state.study);
    };
    assert!(why.starts_with("Which plan"), "{why}");
    press(&mut state, "h");
    let Some(found) = state.shown::<PlanCheck>() else {
        panic!("{:?}", state.study);
    };
    // Nothing is tagged: nothing that the plan asks was ridden.
    use crate::plan::Ridden;
    assert!(!found.phases.is_empty() && !found.cannot_tell.is_empty());
    assert!(found.phases.iter().all(|p| p.ridden == Ridden::Missing));
}

#[test]
fn references_and_coverage_tell_what_was_put_in() {
    let mut state = state();
    press(&mut state, "o f d");
    let Some(found) = state.shown::<Compared>() else {
        panic!("{:?}", state.study);
    };
    let pair = found
        .pairs
        .iter()
        .find(|p| (p.first, p.second) == (1, 2))
        .unwrap();
    let between = pair.between.unwrap();
    assert_eq!(between.n, 1790);
    assert!(
        (between.difference_percent.unwrap() - 0.5).abs() < 0.1,
        "{pair:?}"
    );
    assert!(between.en_number.unwrap().abs() < 1.0);
    // The consensus of references only: the source under test has no E_n.
    assert!(
        found
            .pairs
            .iter()
            .filter(|p| p.first == 0)
            .all(|p| p.between.unwrap().en_number.is_none())
    );
    press(&mut state, "esc o v");
    let Some(found) = state.shown::<Coverage>() else {
        panic!("{:?}", state.study);
    };
    let ridden: usize = found.cells.iter().map(|cell| cell.n).sum();
    assert!(ridden > 1700, "{ridden}");
    assert!(found.cells.iter().any(|cell| cell.n == 0));
}
