//! What the screens look like, cell by cell, at the sizes that matter; and that no size breaks them.

use std::panic::AssertUnwindSafe;

use super::super::bench::{PLAIN, press, searched, state_at, type_text};
use super::super::keymap::Keymap;
use super::super::state::{Mode, State};
use super::super::theme::Look;
use crate::analysis::bench::{ridden, session_of};
use crate::plan::Plan;
use crate::rehearse::{self, Scenario, SessionOptions};
use crate::session::{Kind, Role, Segment};
use crate::timeline::Member;

use super::bench::{ASCII, COLOUR, LIGHT, rendered, styles, text};

/// A block and a sprint tagged, the block selected, with its set point.
fn at_work(size: (u16, u16), look: Look) -> State {
    let mut state = state_at(size, look);
    for (from, to, kind) in [("10:00", "10:15", "p"), ("1:00", "6:00", "s")] {
        press(&mut state, "g");
        type_text(&mut state, from);
        press(&mut state, "enter s g");
        type_text(&mut state, to);
        press(&mut state, &format!("enter e t {kind}"));
    }
    press(&mut state, "p enter");
    state
}

#[test]
fn the_ride_view_at_its_sizes() {
    for size in [(80, 24), (120, 40), (200, 60)] {
        let name = format!("ride_{}x{}", size.0, size.1);
        insta::assert_snapshot!(name.clone(), text(&rendered(&at_work(size, PLAIN))));
        insta::assert_snapshot!(
            format!("{name}_ascii"),
            text(&rendered(&at_work(size, ASCII)))
        );
    }
    insta::assert_snapshot!(
        "ride_80x24_fresh",
        text(&rendered(&state_at((80, 24), PLAIN)))
    );
    for size in [(80, 24), (120, 40), (200, 60)] {
        let name = format!("ride_{}x{}_colours", size.0, size.1);
        insta::assert_snapshot!(name, styles(&rendered(&at_work(size, COLOUR))));
    }
    insta::assert_snapshot!(
        "ride_80x24_light",
        styles(&rendered(&at_work((80, 24), LIGHT)))
    );
    insta::assert_snapshot!(
        "ride_80x24_plain_styles",
        styles(&rendered(&at_work((80, 24), PLAIN)))
    );
}

/// Without room beside the lanes the figures are not there; that must not go unsaid.
#[test]
fn a_narrow_screen_says_what_the_figures_need() {
    for (columns, reported) in [(50, true), (69, true), (70, false), (120, false)] {
        let screen = text(&rendered(&state_at((columns, 15), PLAIN)));
        let title = screen.lines().next().unwrap();
        assert_eq!(title.contains("figures: 70 columns"), reported, "{title}");
    }
}

/// The row of the list that holds the block.
fn block_row(state: &State) -> String {
    let screen = text(&rendered(state));
    let row = screen.lines().rev().find(|line| line.contains(" 1 steady"));
    row.unwrap_or_else(|| panic!("{screen}")).to_owned()
}

/// A verdict is on what the allowance leaves, so the list must show that.
#[test]
fn the_list_shows_the_bias_that_the_verdict_is_on() {
    let mut state = at_work((80, 24), PLAIN);
    let percent = |state: &State| -> f64 {
        let row = block_row(state);
        let words: Vec<&str> = row.split_whitespace().collect();
        let at = words.windows(2).position(|pair| pair[1] == "±");
        words[at.unwrap()].parse().unwrap()
    };
    let raw_percent = percent(&state);
    press(&mut state, "E a");
    type_text(&mut state, "2");
    press(&mut state, "enter esc");
    // 2 % of the reference lost on the way: (1 + raw) / 0.98 − 1.
    let expected = ((1.0 + raw_percent / 100.0) / 0.98 - 1.0) * 100.0;
    let net_percent = percent(&state);
    assert!(
        (net_percent - expected).abs() < 0.11,
        "{net_percent} {expected}"
    );
}

/// With two sources under test the list shows what is said of the one in view.
#[test]
fn the_list_shows_the_answer_on_the_source_in_view() {
    let mut state = at_work((80, 24), PLAIN);
    press(&mut state, "E down");
    for _ in 0..2 {
        if state.session().streams[1].role != Role::UnderTest {
            press(&mut state, "o");
        }
    }
    press(&mut state, "c");
    type_text(&mut state, "5");
    press(&mut state, "enter esc");
    assert_eq!(state.session().streams[1].role, Role::UnderTest);
    // 3 % high under a claim of 2 %, then half a percent under a claim of 5 %.
    state.stream = 0;
    assert!(block_row(&state).contains("?  1"), "{}", block_row(&state));
    state.stream = 1;
    assert!(block_row(&state).contains("✓  1"), "{}", block_row(&state));
}

#[test]
fn boxes_and_lists_at_eighty_columns() {
    for (name, keys) in [
        ("tag_menu", "t"),
        ("note_prompt", "n"),
        ("search", "/"),
        ("help", "?"),
        ("log", "M"),
        ("clock", "c right"),
        ("streams", "E down"),
        ("streams_claim", "E c"),
        ("streams_help", "E ?"),
        ("quit", "q"),
    ] {
        let mut state = at_work((80, 24), PLAIN);
        press(&mut state, keys);
        insta::assert_snapshot!(name, text(&rendered(&state)));
    }
}

/// A message takes the row of the reason and no other; the list of messages has all of it.
#[test]
fn a_long_message_leaves_everything_else_where_it_is() {
    let mut state = at_work((80, 24), PLAIN);
    let others = |state: &State| -> Vec<String> {
        let screen = text(&rendered(state));
        let lines = screen.lines().enumerate().filter(|(row, _)| *row != 2);
        lines.map(|(_, line)| line.to_owned()).collect()
    };
    state.message = None;
    let before = others(&state);
    let long = format!("{}the end.", "a message that says a good deal ".repeat(5));
    state.note(long, true);
    assert_eq!(others(&state), before);
    let screen = text(&rendered(&state));
    let line = screen.lines().nth(2).unwrap().trim();
    assert!(
        line.starts_with("! a message") && line.ends_with("… M: all"),
        "{line}"
    );
    press(&mut state, "M");
    assert!(text(&rendered(&state)).contains("the end."));
}

/// A ride of so many hours and a bit.
fn long_ride(hours: usize) -> State {
    let power = vec![200.0; hours * 3600 + 33 * 60 + 12];
    let opened = session_of(vec![
        ridden("trainer", Role::UnderTest, None, power.clone()),
        ridden("pedals", Role::Reference, Some(1.0), power),
    ]);
    State::new(opened, PLAIN, Keymap::default(), (80, 24))
}

/// The first line of the panel of a ride of so many hours.
fn panel_head(hours: usize) -> String {
    super::panel::lines(&long_ride(hours), 13).0[0].plain()
}

/// Lengths of an hour or more push nothing: each ends where those of minutes do.
#[test]
fn long_segments_keep_the_columns_of_the_list() {
    for hours in [3, 12] {
        let mut state = long_ride(hours);
        let segment = |(from_s, to_s)| Segment {
            kind: Kind::SteadyBlock,
            from_s,
            to_s,
            set_point_w: Some(200.0),
            note: String::new(),
        };
        state.opened.session.segments = [(600.0, 900.0), (1800.0, 9000.0)].map(segment).to_vec();
        let screen = text(&rendered(&state));
        let end = |what: &str| {
            let line = screen.lines().rev().find(|line| line.contains(what));
            let line = line.unwrap_or_else(|| panic!("no {what} in {screen}"));
            let start = line.find(what).unwrap();
            line[..start].chars().count() + what.len()
        };
        assert_eq!(end(" 5:00 "), end(" 2:00:00 "), "{screen}");
    }
}

/// Between a short suggestion and a long one no row moves.
#[test]
fn keys_stay_where_they_are_from_one_suggestion_to_the_next() {
    let mut state = state_at((80, 24), PLAIN);
    press(&mut state, "i");
    let mut keys = Vec::new();
    for reason in ["short", &"a long reason ".repeat(8)] {
        let Mode::Walk(walk) = &mut state.mode else {
            panic!("no walk");
        };
        walk.suggestions[0].reason = reason.to_owned();
        let screen = text(&rendered(&state));
        assert!(screen.contains("Suggestion 1 of"), "{screen}");
        keys.push(screen.lines().nth(23).map(str::to_owned));
    }
    assert_eq!(keys[0], keys[1]);
    let row = keys[0].clone().unwrap();
    assert!(row.contains("tag it") && row.contains("leave"), "{row}");
}

/// The claim is held against a window, not against whatever happens to be in view, nor where power
/// jumps by design.
#[test]
fn the_claim_is_held_against_what_it_can_be_held_against() {
    let mut state = at_work((80, 24), PLAIN);
    let claim = |state: &State| {
        let (_, lines) = super::panel::lines(state, 30);
        let mut lines = lines.iter().map(super::pen::Text::plain);
        lines.find(|line| line.starts_with("claim")).unwrap()
    };
    assert!(claim(&state).contains("above"), "{}", claim(&state));
    press(&mut state, "down");
    assert_eq!(state.figures_kind(), Kind::Sprint);
    assert_eq!(claim(&state).trim_end(), "claim        2.0 %");
    press(&mut state, "esc");
    assert_eq!(claim(&state).trim_end(), "claim        2.0 %");
    press(&mut state, "g");
    type_text(&mut state, "1:10");
    press(&mut state, "enter s");
    press(&mut state, "> > > e");
    assert!(claim(&state).contains("above"), "{}", claim(&state));
}

#[test]
fn times_in_the_head_of_the_panel_never_touch() {
    assert_eq!(panel_head(6), "in view 0:00:00-6:33:12 6:33:12");
    // Without room for all of it the length is left out.
    assert_eq!(panel_head(16), "in view 0:00:00-16:33:12");
}

/// A bias of whatever is in view is no verdict; the blocks' own are counted instead.
#[test]
fn without_a_window_the_panel_tells_what_the_blocks_say() {
    let mut state = state_at((80, 24), PLAIN);
    let verdict = |state: &State| {
        let (_, lines) = super::panel::lines(state, 30);
        let mut lines = lines.iter().map(super::pen::Text::plain);
        lines.find(|line| line.starts_with("verdict")).unwrap()
    };
    assert_eq!(verdict(&state), "verdict   tag a block to judge");
    state = at_work((80, 24), PLAIN);
    assert_eq!(verdict(&state), "verdict   ✗ does not conform");
    press(&mut state, "esc");
    assert_eq!(state.brush.window, None);
    assert_eq!(verdict(&state), "verdict   0 of 1 judged conform");
    // An open stretch asks for nothing: it is none of those judged.
    press(&mut state, "g");
    type_text(&mut state, "16:00");
    press(&mut state, "enter s > > > e");
    assert_eq!(verdict(&state), "verdict     tag it to judge it");
    press(&mut state, "t o");
    assert_eq!(verdict(&state), "verdict     not for this kind");
    press(&mut state, "esc");
    assert_eq!(verdict(&state), "verdict   0 of 1 judged conform");
}

/// Where no second has both values there is no outcome, but what to do.
#[test]
fn a_window_with_nothing_in_common_says_what_to_do() {
    let mut state = state_at((80, 24), PLAIN);
    state.reference = Some(Member::Stream(2));
    for (at, edge) in [("16:41", "s"), ("16:48", "e")] {
        press(&mut state, "g");
        type_text(&mut state, at);
        press(&mut state, &format!("enter {edge}"));
    }
    let (_, lines) = super::panel::lines(&state, 30);
    let reported: Vec<String> = lines.iter().map(super::pen::Text::plain).collect();
    assert!(
        !reported.iter().any(|line| line.starts_with("verdict")),
        "{reported:?}"
    );
    let reported = reported.join(" ");
    assert!(
        reported.starts_with("no second here has both values"),
        "{reported}"
    );
}

#[test]
fn a_block_without_a_set_point_is_not_off_one() {
    let mut state = at_work((80, 24), PLAIN);
    let reported = |state: &State| -> String {
        let (_, lines) = super::panel::lines(state, 30);
        lines.iter().map(super::pen::Text::plain).collect()
    };
    assert!(reported(&state).contains("off set point"));
    press(&mut state, "p");
    for _ in 0..8 {
        press(&mut state, "backspace");
    }
    press(&mut state, "enter");
    assert_eq!(state.session().segments[0].set_point_w, None);
    let reported = reported(&state);
    assert!(
        reported.contains("drift") && !reported.contains("set point"),
        "{reported}"
    );
    assert!(
        !reported.contains("within") && !reported.contains("delivered"),
        "{reported}"
    );
}

/// The caret is always in sight, whatever the characters take.
#[test]
fn a_line_of_wide_characters_keeps_its_caret_in_sight() {
    for columns in [40, 80, 120] {
        let mut state = at_work((columns, 24), PLAIN);
        press(&mut state, "n");
        type_text(&mut state, &"\u{5f88}".repeat(60));
        type_text(&mut state, "end");
        let screen = text(&rendered(&state));
        assert!(screen.contains("end "), "{columns}:\n{screen}");
    }
}

#[test]
fn the_figures_of_each_kind_stand_first_in_the_panel() {
    for (name, kind, from, to) in [
        ("steady", "s", "1:00", "6:00"),
        ("sprint", "p", "9:50", "10:25"),
        ("ramp", "r", "14:30", "24:00"),
        ("gear", "g", "1:00", "6:00"),
        ("coast", "c", "11:30", "12:50"),
        ("soak", "h", "1:00", "24:00"),
    ] {
        for size in [(80, 24), (120, 40)] {
            let mut state = state_at(size, PLAIN);
            press(&mut state, "g");
            type_text(&mut state, from);
            press(&mut state, "enter s g");
            type_text(&mut state, to);
            press(&mut state, &format!("enter e t {kind}"));
            if kind == "s" {
                press(&mut state, "p enter");
            }
            assert!(state.kind_figures().is_some(), "{name}");
            let (head, rest) = super::panel::lines(&state, if size.1 == 24 { 13 } else { 26 });
            let lines: Vec<String> = head.iter().chain(&rest).map(|l| l.plain()).collect();
            let columns = if size.0 == 80 { 31 } else { 39 };
            for line in &lines {
                assert!(line.chars().count() <= columns, "{line:?} does not fit");
            }
            insta::assert_snapshot!(
                format!("panel_{name}_{}x{}", size.0, size.1),
                lines.join("\n")
            );
        }
    }
}

#[test]
fn ascii_mode_is_ascii_and_no_colour_has_none() {
    let shown = text(&rendered(&at_work((120, 40), ASCII)));
    assert!(shown.is_ascii(), "{shown}");
    for cell in &rendered(&at_work((120, 40), PLAIN)).content {
        let style = cell.style();
        let none = Some(ratatui::style::Color::Reset);
        assert_eq!((style.fg, style.bg), (none, none));
    }
}

#[test]
fn the_window_shows_without_colour() {
    let mut state = at_work((80, 24), PLAIN);
    state.shown = state.ride();
    let buffer = rendered(&state);
    let is_bold = |x: &u16| {
        let style = buffer.cell((*x, 4)).unwrap().style();
        style.add_modifier.contains(ratatui::style::Modifier::BOLD)
    };
    let bold = (0..80).filter(is_bold).count();
    assert!((10..20).contains(&bold), "{bold} on the strip");
    let screen = text(&buffer);
    let edges = screen.lines().filter(|line| line.contains('┊')).count();
    assert!(edges >= 3, "{screen}");
}

/// Every view at every size of a tiled corner, and whatever may lie over one at a third of them.
#[test]
fn no_size_breaks_a_screen() {
    let corner = (0..=30).flat_map(|columns| (0..=30).map(move |rows| (columns, rows)));
    let larger = [
        (0, 90),
        (300, 0),
        (39, 12),
        (69, 15),
        (71, 17),
        (80, 24),
        (300, 90),
    ];
    let views =
        ["o c", "o a", "o f", "o h", "o b", "o v", "o p h"].map(|keys| ("1:00 25:00", keys));
    let response = ("9:50 10:30", "o e");
    let over = [
        "", "t", "o", "E", "E down", "E ?", "E c", "c", "c right", "i", "q", "g", "p", "/", "?",
        "M", "w", "l", "f + +", "t s n", "t s k",
    ];
    let all = views
        .into_iter()
        .chain([response, ("", "")])
        .map(|case| (case, 1));
    let over = over.map(|keys| (("1:00 6:00", keys), 3));
    let warm = warm_state();
    let mut broken = Vec::new();
    for ((brushed, keys), every) in all.chain(over) {
        let mut state = warm.clone();
        for (at, edge) in brushed.split_whitespace().zip(["s", "e"]) {
            press(&mut state, "g");
            type_text(&mut state, at);
            press(&mut state, &format!("enter {edge}"));
        }
        press(&mut state, keys);
        let some = corner
            .clone()
            .filter(|(columns, rows)| (columns + rows) % every == 0);
        for size in some.chain(larger) {
            state.size = size;
            let drawn = std::panic::catch_unwind(AssertUnwindSafe(|| rendered(&state)));
            let cells = usize::from(size.0) * usize::from(size.1);
            if drawn.map_or(true, |buffer| buffer.content.len() != cells) {
                broken.push((brushed, keys, size));
                break;
            }
        }
    }
    assert!(broken.is_empty(), "{broken:?}");
}

/// A rehearsed ride whose source under test also tells its temperature: every picture is drawn.
fn warm_state() -> State {
    let plan = Plan::built_in("heat-soak").unwrap();
    let ridden = rehearse::ride(&plan, &Scenario::default(), 3).unwrap();
    let opened = ridden.opened(SessionOptions {
        clocks_known: true,
        tagged: false,
    });
    searched(State::new(opened, PLAIN, Keymap::default(), (80, 24)))
}

#[test]
fn what_rests_on_a_search_of_the_ride_says_that_it_is_to_come() {
    let mut state = state_at((120, 40), PLAIN);
    assert!(!text(&rendered(&state)).contains("pending"));
    state.searched = None;
    let shown = text(&rendered(&state));
    assert!(
        shown.lines().next().unwrap().contains(" pending "),
        "{shown}"
    );
    state.all_figures = true;
    let shown = text(&rendered(&state));
    for words in ["95 % CI pending", "verdict   pending"] {
        assert!(shown.contains(words), "{words}:\n{shown}");
    }
    // The lane has the limits of a window that nothing judges.
    state.all_figures = false;
    (state.selected, state.brush.window) = (None, None);
    let shown = text(&rendered(&state));
    let limits = shown.lines().find(|line| line.contains("scatter 95 %"));
    assert!(limits.unwrap().trim_end().ends_with("pending"), "{shown}");
}

#[test]
fn drawing_changes_nothing_and_is_the_same_twice() {
    let state = at_work((120, 40), COLOUR);
    assert_eq!(rendered(&state), rendered(&state));
}

/// What the first character typed will replace is shown as selected.
#[test]
fn a_text_that_is_offered_is_shown_in_reverse_video() {
    // The selected segment's own set point is one.
    let reversed = |state: &State| -> usize {
        let buffer = rendered(state);
        let cells = buffer.content().iter();
        let shown = cells.filter(|cell| cell.modifier.contains(ratatui::style::Modifier::REVERSED));
        let text: String = shown.map(ratatui::buffer::Cell::symbol).collect();
        text.matches("200").count()
    };
    let mut state = at_work((80, 24), PLAIN);
    assert_eq!(reversed(&state), 0);
    press(&mut state, "p");
    assert_eq!(reversed(&state), 1);
    press(&mut state, "end");
    assert_eq!(reversed(&state), 0);
}
