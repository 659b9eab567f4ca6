//! What the full-screen views look like at the sizes that matter, and that no size breaks them.

use super::super::bench::{ASCII, COLOUR, rendered, styles, text};
use crate::session::{Kind, Segment};
use crate::timeline::Span;
use crate::timeline::align::{ClockOddity, ClockPlace};
use crate::workbench::bench::{PLAIN, press, state_at, type_text};
use crate::workbench::state::{State, View};
use crate::workbench::study::Answer;
use crate::workbench::theme::Look;

const SIZES: [(u16, u16); 3] = [(80, 24), (120, 40), (200, 60)];

/// The key of each view in the menu, its name, and the stretch that suits it.
const VIEWS: [(&str, &str, (&str, &str)); 9] = [
    ("o", "answers", ("1:00", "6:00")),
    ("c", "clocks", ("9:50", "10:30")),
    ("a", "agreement", ("1:00", "6:00")),
    ("e", "response", ("9:50", "10:30")),
    ("f", "references", ("1:00", "6:00")),
    ("h", "soak", ("1:00", "25:00")),
    ("b", "error_curve", ("1:00", "6:00")),
    ("v", "coverage", ("1:00", "25:00")),
    ("p", "plan", ("1:00", "6:00")),
];

fn shown(state: &State) -> String {
    text(&rendered(state))
}

/// Three blocks of held power, at 200, 150 and 275 W.
fn held_blocks() -> Vec<Segment> {
    let block = |(from_s, to_s)| Segment {
        kind: Kind::SteadyBlock,
        from_s,
        to_s,
        set_point_w: None,
        note: String::new(),
    };
    [(60.0, 360.0), (905.0, 995.0), (1405.0, 1495.0)]
        .map(block)
        .to_vec()
}

/// A view opened by its menu key over a window.
fn opened(key: &str, (from, to): (&str, &str), size: (u16, u16), look: Look) -> State {
    let mut state = state_at(size, look);
    for (at, edge) in [(from, "s"), (to, "e")] {
        press(&mut state, "g");
        type_text(&mut state, at);
        press(&mut state, &format!("enter {edge}"));
    }
    if ["b", "o"].contains(&key) {
        state.opened.session.segments = held_blocks();
    }
    press(&mut state, &format!("o {key}"));
    if key == "p" {
        press(&mut state, "h");
    }
    state
}

#[test]
fn each_view_at_its_sizes() {
    for size in SIZES {
        for (key, name, window) in VIEWS {
            let state = opened(key, window, size, PLAIN);
            assert!(!state.is_pending(), "{name}");
            let name = format!("{name}_{}x{}", size.0, size.1);
            insta::assert_snapshot!(name.clone(), shown(&state));
            let coloured = State {
                look: COLOUR,
                ..state
            };
            let name = format!("{name}_colours");
            insta::assert_snapshot!(name, styles(&rendered(&coloured)));
        }
    }
}

#[test]
fn ascii_mode_is_ascii_in_every_view() {
    for (key, name, window) in VIEWS {
        let shown = shown(&opened(key, window, (120, 40), ASCII));
        assert!(shown.is_ascii(), "{name}:\n{shown}");
        assert!(shown.lines().count() == 40);
    }
}

#[test]
fn no_size_is_too_small() {
    for (key, name, window) in VIEWS {
        let mut state = opened(key, window, (80, 24), PLAIN);
        for (columns, rows) in [(1, 1), (2, 3), (7, 5), (12, 8), (30, 9), (45, 15), (69, 20)] {
            state.size = (columns, rows);
            let shown = shown(&state);
            let lines: Vec<&str> = shown.lines().collect();
            assert_eq!(lines.len(), usize::from(rows), "{name} {columns}x{rows}");
        }
    }
}

#[test]
fn what_an_answer_is_still_to_come_for_says_so() {
    let mut state = opened("a", ("1:00", "6:00"), (80, 24), PLAIN);
    assert!(!shown(&state).contains("pending"));
    // As after a key whose question nobody has answered yet.
    state.study = None;
    assert!(shown(&state).contains(" pending"));
    assert!(shown(&state).contains("being computed"));
}

#[test]
fn a_ride_without_references_says_why_nothing_is_shown() {
    for (key, _, window) in VIEWS {
        let mut state = opened(key, window, (80, 24), PLAIN);
        for stream in &mut state.opened.session.streams {
            stream.role = crate::session::Role::Context;
        }
        state.aligned = std::sync::Arc::new(state.aligned.rebuilt(&state.opened));
        press(&mut state, "right");
        let shown = shown(&state);
        let says = shown.contains("role") || matches!(state.view, View::Clocks | View::Plan);
        assert!(says, "{shown}");
    }
}

/// Of three streams the second and the third have a line against the first and one against each
/// other.
#[test]
fn every_line_of_the_references_has_its_own_colour() {
    let state = opened("f", ("1:00", "6:00"), (120, 40), COLOUR);
    let buffer = rendered(&state);
    let rows = 0..buffer.area.height;
    let begins = |y: &u16| {
        let row = (0..2).map(|x| buffer.cell((x, *y)).unwrap().symbol());
        row.collect::<String>() == "━ "
    };
    let inks: Vec<_> = rows
        .filter(begins)
        .map(|y| buffer.cell((0, y)).unwrap().style().fg)
        .collect();
    assert_eq!(inks.len(), 3);
    assert!(
        inks[0] != inks[1] && inks[1] != inks[2] && inks[0] != inks[2],
        "{inks:?}"
    );
}

#[test]
fn the_clocks_view_says_where_a_recorder_did_not_simply_go_on() {
    let mut state = opened("c", ("9:50", "10:30"), (120, 40), PLAIN);
    let stream = state.stream;
    let Some((_, Answer::Clocks(clocks))) = &mut state.study else {
        panic!("no clocks");
    };
    assert_eq!(clocks.places, []);
    let place = |from_s, what| ClockPlace {
        stream,
        span: Span::new(from_s, from_s + 30.0),
        what,
    };
    let pause = ClockOddity::Pause {
        alone: true,
        stopped: false,
    };
    clocks.places = [300.0, 400.0, 500.0, 600.0]
        .map(|from_s| place(from_s, pause))
        .to_vec();
    clocks.places.push(place(700.0, ClockOddity::WentBack));
    let screen = shown(&state);
    for words in [
        "recorded nothing while another recorded on: 5:00 to 5:30, 6:40 to 7:10, 8:20 to 8:50 and 1 more",
        "its clock went back and passed this twice: 11:40 to 12:10",
    ] {
        assert!(screen.contains(words), "{screen}");
    }
}

/// The mark is on what the allowance leaves, so that is what a cell shows.
#[test]
fn coverage_shows_the_bias_that_its_mark_is_on() {
    let first_percent = |state: &State| -> f64 {
        let screen = text(&rendered(state));
        let words: Vec<&str> = screen.split_whitespace().collect();
        let at = words.windows(2).position(|pair| {
            pair[1] == "%" && pair[0].trim_start_matches('!').starts_with(['+', '-'])
        });
        let word = words[at.unwrap()].trim_start_matches('!');
        word.parse().unwrap()
    };
    let shown = |allowance: &str| {
        let mut state = state_at((200, 60), PLAIN);
        if !allowance.is_empty() {
            press(&mut state, "E a");
            type_text(&mut state, allowance);
            press(&mut state, "enter esc");
        }
        press(&mut state, "o v");
        first_percent(&state)
    };
    let expected = (100.0 + shown("")) / 0.96 - 100.0;
    let net = shown("4");
    assert!((net - expected).abs() < 0.11, "{net} {expected}");
}
