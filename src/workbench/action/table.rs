//! The table itself, and the keys that it starts with.

use super::super::event::Effect;
use super::super::keymap::{Bound, Key, Keymap, KeymapError};
use super::super::state::parts::{
    Claimed, Copied, Edge, Help, Landmarks, Lane, Mode, Place, Purpose, View, Written,
};
use super::super::update::{
    answers, clock, edit, landmarks, lanes, motion, program, prompt, streams, walk,
};
use super::entry::{Entry, Run};
use super::names;
use crate::recording::Channel;
use crate::session::Kind;

const fn entry(
    place: Place,
    name: &'static str,
    keys: &'static [&'static str],
    brief: &'static str,
    doc: &'static str,
    run: Run,
) -> Entry {
    Entry {
        name,
        formerly: &[],
        brief,
        doc,
        keys,
        place,
        leaves: false,
        run,
    }
}

type Keys = &'static [&'static str];

const fn tag(kind: Kind, name: &'static str, keys: Keys, run: Run) -> Entry {
    let kind = kind.spec();
    entry(Place::TagMenu, name, keys, kind.word, kind.menu, run)
}

const fn retag(kind: Kind, name: &'static str, keys: Keys, run: Run) -> Entry {
    entry(Place::KindMenu, name, keys, kind.word(), kind.word(), run)
}

impl Entry {
    const fn formerly(self, formerly: &'static [&'static str]) -> Self {
        Self { formerly, ..self }
    }

    const fn leaves(self) -> Self {
        Self {
            leaves: true,
            ..self
        }
    }
}

const RIDE: Place = Place::In(View::Ride);
const CLOCKS: Place = Place::In(View::Clocks);

// One entry a line reads as the table it is.
#[rustfmt::skip]
/// Everything that can be done, in the order of the help screen.
pub const TABLE: &[Entry] = &[
    // Moving.
    entry(Place::Any, names::BACK_1S, &["left", ","], "back", "cursor back one second", |c| motion::scrub(c.state, -1)),
    entry(Place::Any, names::FORWARD_1S, &["right", "."], "forward", "cursor forward one second", |c| motion::scrub(c.state, 1)),
    entry(Place::Any, "back-10s", &["shift-left", "<"], "10 s back", "cursor back ten seconds", |c| motion::scrub(c.state, -10)),
    entry(Place::Any, names::FORWARD_10S, &["shift-right", ">"], "10 s on", "cursor forward ten seconds", |c| motion::scrub(c.state, 10)),
    entry(Place::Any, "back-screen", &["pageup", "("], "screen back", "back one screen", |c| motion::screen(c.state, -1)),
    entry(Place::Any, "forward-screen", &["pagedown", ")"], "screen on", "forward one screen", |c| motion::screen(c.state, 1)),
    entry(Place::Any, "ride-start", &["home"], "ride start", "cursor to the start of the ride", |c| motion::ride_end(c.state, false)),
    entry(Place::Any, "ride-end", &["end"], "ride end", "cursor to the end of the ride", |c| motion::ride_end(c.state, true)),
    entry(Place::Any, names::LANDMARK_BACK, &["["], "landmark back", "cursor to the landmark before it", |c| landmarks::go(c.state, false)),
    entry(Place::Any, names::LANDMARK_FORWARD, &["]"], "landmark on", "cursor to the landmark after it", |c| landmarks::go(c.state, true)),
    entry(Place::Any, names::LANDMARKS, &["l"], "landmarks", "choose what the landmark keys stop at", |c| program::menu(c.state, Place::LandmarkMenu)),
    entry(Place::Any, "to-window-start", &["{"], "window start", "cursor to the start of the window", |c| motion::to_edge(c.state, Edge::Start)),
    entry(Place::Any, "to-window-end", &["}"], "window end", "cursor to the end of the window", |c| motion::to_edge(c.state, Edge::End)),
    entry(Place::Any, names::GO_TO_TIME, &["g"], "go to", "cursor to a time you type", |c| prompt::open(c.state, Purpose::Time, String::new())),
    // Zooming.
    entry(Place::Any, names::ZOOM_IN, &["+", "="], "zoom in", "show less time, larger, about the cursor", |c| clock::zoom(c.state, true)),
    entry(Place::Any, names::ZOOM_OUT, &["-"], "zoom out", "show more time about the cursor", |c| clock::zoom(c.state, false)),
    entry(Place::Any, names::ZOOM_WINDOW, &["z"], "zoom window", "show the window with a little around it, or the whole ride again; selected segments are shown so too", |c| motion::toggle_zoom(c.state)),
    entry(Place::Any, names::ZOOM_ALL, &["a"], "whole ride", "show the whole ride", |c| motion::zoom_all(c.state)),
    entry(Place::Any, "zoom-back", &["b"], "last zoom", "show the stretch shown before", |c| motion::view_history(c.state, false)),
    entry(Place::Any, "zoom-forward", &["B"], "next zoom", "show the stretch shown after", |c| motion::view_history(c.state, true)),
    // The window.
    entry(Place::Any, names::SET_START, &["s"], "start", "start the window at the cursor; the end follows until you set it", |c| motion::set_edge(c.state, Edge::Start)),
    entry(Place::Any, names::SET_END, &["e"], "end", "end the window at the cursor", |c| motion::set_edge(c.state, Edge::End)),
    entry(Place::Any, names::HOLD_EDGE, &["x"], "hold an edge", "an edge of the window follows the cursor; again: the other edge", |c| motion::hold_edge(c.state)),
    entry(Place::Any, "hold-window", &["w"], "carry window", "the whole window follows the cursor", |c| motion::hold_window(c.state)),
    entry(Place::Any, names::LET_GO, &["enter"], "let go", "nothing follows the cursor any more", |c| motion::let_go(c.state)),
    entry(Place::Any, "brush-piece", &["W"], "brush piece", "brush the piece between the landmarks around the cursor, without the first seconds of a long one", |c| landmarks::brush_piece(c.state)),
    entry(Place::Any, "snap-edge", &["j"], "snap edge", "move the nearer edge of the window to the nearest change of power", |c| landmarks::snap(c.state)),
    entry(Place::Any, names::CLEAR_WINDOW, &["esc"], "drop window", "drop the window", |c| motion::clear(c.state)),
    // Segments.
    entry(Place::Any, names::TAG, &["t"], "tag", "keep the window as a segment: choose its kind", |c| edit::ask_tag(c.state)),
    entry(Place::Any, names::SEGMENT_BEFORE, &["up"], "segment before", "select the segment before; it becomes the window", |c| edit::select(c.state, false)),
    entry(Place::Any, names::SEGMENT_AFTER, &["down"], "segment after", "select the segment after; it becomes the window", |c| edit::select(c.state, true)),
    entry(Place::Any, names::SET_POINT, &["p"], "set point", "type the set point of the selected segment", |c| prompt::ask_set_point(c.state)),
    entry(Place::Any, names::NOTE, &["n"], "note", "type a note to the selected segment", |c| prompt::ask_note(c.state)),
    entry(Place::Any, names::CHANGE_KIND, &["k"], "kind", "change the kind of the selected segment", |c| edit::ask_kind(c.state)),
    entry(Place::Any, names::MOVE_SEGMENT, &["m"], "move segment", "give the selected segment the window's edges", |c| edit::move_segment(c.state, c.effects)),
    entry(Place::Any, "split-segment", &["|"], "split", "split the selected segment at the cursor", |c| edit::split(c.state, c.effects)),
    entry(Place::Any, "merge-segments", &["&"], "merge", "join the selected segment with the next one", |c| edit::merge(c.state, c.effects)),
    entry(Place::Any, names::DELETE_SEGMENT, &["delete", "D"], "delete", "delete the selected segment", |c| edit::delete(c.state, c.effects)),
    entry(Place::Any, names::SUGGEST, &["i"], "suggestions", "walk through the segments suggested from laps, workout, gears and changes of power", |c| walk::begin(c.state)),
    entry(Place::Any, names::UNDO, &["u"], "undo", "undo the last edit", |c| edit::step_back(c.state, c.effects)),
    entry(Place::Any, "redo", &["r"], "redo", "redo the last undone edit", |c| edit::step_forward(c.state, c.effects)),
    // Streams.
    entry(Place::Any, names::STREAM_AFTER, &["tab"], "stream", "select the next stream", |c| streams::select(c.state, true)),
    entry(Place::Any, "stream-before", &["shift-tab"], "stream before", "select the stream before", |c| streams::select(c.state, false)),
    entry(Place::Any, "hide-stream", &["v"], "hide", "hide the selected stream, or show it again", |c| streams::toggle(c.state)),
    entry(Place::Any, "stream-alone", &["V"], "alone", "show the selected stream alone, or all again", |c| streams::solo(c.state)),
    entry(Place::Any, "next-reference", &["R"], "reference", "compare with the next reference, or with the consensus", |c| streams::next_reference(c.state)),
    entry(Place::Any, names::SHIFT_CLOCK, &["c"], "clock", "shift the clock of the selected stream", |c| clock::adjust(c.state)),
    entry(Place::Any, "streams", &["E"], "streams", "edit what the streams are: label, role, site, claim; and the session's claim", |c| streams::open(c.state)),
    // The picture.
    entry(RIDE, "lane-power", &["1"], "power", "show or hide the power lane", |c| lanes::toggle(c.state, Lane::Channel(Channel::Power))),
    entry(RIDE, "lane-difference", &["2"], "difference", "show or hide the difference lane", |c| lanes::toggle(c.state, Lane::Difference)),
    entry(RIDE, "lane-cadence", &["3"], "cadence", "show or hide the cadence lane", |c| lanes::toggle(c.state, Lane::Channel(Channel::Cadence))),
    entry(RIDE, "lane-speed", &["4"], "speed", "show or hide the speed lane", |c| lanes::toggle(c.state, Lane::Channel(Channel::Speed))),
    entry(RIDE, "lane-heart-rate", &["5"], "heart rate", "show or hide the heart rate lane", |c| lanes::toggle(c.state, Lane::Channel(Channel::HeartRate))),
    entry(RIDE, "lane-temperature", &["6"], "temperature", "show or hide the temperature lane", |c| lanes::toggle(c.state, Lane::Channel(Channel::Temperature))),
    entry(RIDE, "lane-balance", &["7"], "balance", "show or hide the left/right balance lane", |c| lanes::toggle(c.state, Lane::Channel(Channel::Balance))),
    entry(RIDE, "lane-grade", &["8"], "grade", "show or hide the grade lane", |c| lanes::toggle(c.state, Lane::Channel(Channel::Grade))),
    entry(RIDE, "lane-torque", &["9"], "torque", "show or hide the torque lane", |c| lanes::toggle(c.state, Lane::Channel(Channel::Torque))),
    entry(RIDE, "lane-resistance", &["0"], "resistance", "show or hide the resistance lane", |c| lanes::toggle(c.state, Lane::Channel(Channel::Resistance))),
    entry(RIDE, "lane-altitude", &["H"], "altitude", "show or hide the altitude lane", |c| lanes::toggle(c.state, Lane::Channel(Channel::Altitude))),
    entry(RIDE, "difference-percent", &["%"], "W or %", "difference lane in W or in % of the reference", |c| c.state.percent = !c.state.percent),
    entry(RIDE, names::ALL_FIGURES, &["F"], "all figures", "show every figure of the window beside the lanes, or only what the lanes show", |c| c.state.all_figures = !c.state.all_figures),
    entry(RIDE, "hold-scales", &["h"], "hold scales", "hold the vertical scales, or fit them to what is shown", |c| lanes::hold_scales(c.state)),
    entry(RIDE, "smooth-picture", &["f"], "smooth", "smooth the picture over 3, 5, 10, 30 s, then raw again; figures stay raw", |c| lanes::smooth(c.state)),
    // The full-screen views.
    entry(Place::Study, "back-to-ride", &["esc"], "ride view", "back to the ride view", |c| program::go(c.state, View::Ride)),
    entry(Place::Answers, names::ANSWER_BEFORE, &["up"], "question before", "select the question before", |c| answers::select(c.state, false)),
    entry(Place::Answers, names::ANSWER_AFTER, &["down"], "question after", "select the question after", |c| answers::select(c.state, true)),
    entry(Place::Answers, names::ANSWER_PLACE, &["enter"], "see it", "see the selected answer in the ride", |c| answers::see(c.state)),
    entry(Place::Answers, names::ANSWER_PUBLISH, &["p"], "publish", "put the selected answer among the session's words for or against the device, or take it out", |c| answers::publish(c.state, c.effects)),
    entry(Place::Study, names::SCOPE, &["d"], "window/segment/ride", "figures for the window, the selected segment or the whole ride", |c| program::next_scope(c.state)),
    entry(Place::In(View::Coverage), "coverage-by", &["h"], "cadence/speed", "lay power against cadence or against wheel speed", |c| program::coverage_by(c.state)),
    entry(Place::In(View::Plan), "next-plan", &["h"], "next plan", "hold the ride against the next test plan", |c| program::next_plan(c.state)),
    entry(CLOCKS, names::MARK_SELECTED, &["1"], "mark", "mark a feature of the selected stream at the cursor", |c| clock::mark(c.state, false)).formerly(&["mark-in-hand"]),
    entry(CLOCKS, names::MARK_OTHER, &["2"], "mark other", "mark the same feature of the other stream at the cursor", |c| clock::mark(c.state, true)),
    entry(CLOCKS, names::MATCH_MARKS, &["f"], "match marks", "shift the clock of the selected stream so that the two marks meet", |c| clock::match_marks(c.state, c.effects)),
    entry(CLOCKS, "take-estimate", &["A"], "take estimate", "take the estimated offset and skew for the selected stream", |c| clock::take_estimate(c.state, c.effects)),
    entry(CLOCKS, "next-other", &["y"], "other stream", "compare with the clock of the next stream", |c| clock::next_other_stream(c.state)),
    entry(CLOCKS, "clock-channel", &["h"], "channel", "compare on the next channel that both carry", |c| clock::next_channel(c.state)),
    entry(Place::Any, names::MORE_BELOW, &["shift-down", ";"], "more", "scroll down in the figures or the list that has no room", |c| prompt::more(c, true)),
    entry(Place::Any, names::MORE_ABOVE, &["shift-up", ":"], "more above", "scroll up in them", |c| prompt::more(c, false)),
    // The session and the program.
    entry(Place::Any, names::OPEN_VIEW, &["o"], "views", "open another view", |c| program::menu(c.state, Place::ViewMenu)),
    entry(Place::Any, names::SAVE, &["S", "ctrl-s"], "save", "save the session", |c| program::save(c.state, false, c.effects)),
    entry(Place::Any, names::EXPORT, &["X"], "write", "write the report, the segment table, a picture or the samples to a file", |c| program::menu(c.state, Place::WriteMenu)),
    entry(Place::Any, "copy", &["C"], "copy", "copy the window's figures or the segment table to the clipboard", |c| program::menu(c.state, Place::CopyMenu)),
    entry(Place::Any, "reload", &["ctrl-r"], "reload", "read the session again from the disk (undo brings yours back)", |c| program::reload(c.state, c.effects)),
    entry(Place::Any, names::HELP, &["?"], "all keys", "every key of this place", |c| c.state.mode = Mode::Help(Help::default())),
    entry(Place::Any, names::FIND_ACTION, &["/"], "find action", "search the list of all actions and do one", |c| prompt::open(c.state, Purpose::Find, String::new())),
    entry(Place::Any, names::MESSAGES, &["M"], "messages", "the messages so far", |c| c.state.mode = Mode::Log(0)),
    entry(Place::Any, "mouse", &["P"], "mouse", "give the mouse to the terminal (to select text), or take it back", |c| program::toggle_mouse(c.state, c.effects)),
    entry(Place::Any, "redraw", &["ctrl-l"], "redraw", "draw the whole screen anew", |c| c.effects.push(Effect::Redraw)),
    entry(Place::Any, "suspend", &["ctrl-z"], "suspend", "back to the shell for a while (fg returns)", |c| c.effects.push(Effect::Suspend)),
    entry(Place::Any, names::QUIT, &["q", "ctrl-c"], "quit", "quit; asks only when something would be lost", |c| program::quit(c.state, c.effects)).leaves(),
    // What the streams are.
    entry(Place::Streams, "streams-before", &["up", "shift-tab"], "before", "select the stream before", |c| streams::select(c.state, false)),
    entry(Place::Streams, "streams-after", &["down", "tab"], "after", "select the next stream", |c| streams::select(c.state, true)),
    entry(Place::Streams, "streams-label", &["l", "enter"], "label", "type its label; no two streams have the same", |c| prompt::ask_label(c.state)),
    entry(Place::Streams, "streams-role", &["o"], "role", "under-test, reference, context in turn", |c| streams::next_role(c.state, c.effects)),
    entry(Place::Streams, "streams-site", &["s"], "site", "where it measures: pedal, crank, hub, trainer or nowhere in turn", |c| streams::next_site(c.state, c.effects)),
    entry(Place::Streams, "streams-claim-percent", &["c"], "claim %", "type its own claim in % of reading; empty for none", |c| prompt::ask_claim(c.state, Claimed::StreamPercent)),
    entry(Place::Streams, "streams-claim-watts", &["w"], "claim W", "type the least its own claim allows, W; empty for none", |c| prompt::ask_claim(c.state, Claimed::StreamWatts)),
    entry(Place::Streams, "session-claim-percent", &["C"], "session's %", "type the session's claim in % of reading", |c| prompt::ask_claim(c.state, Claimed::SessionPercent)),
    entry(Place::Streams, "session-claim-watts", &["W"], "session's W", "type the least the session's claim allows, W", |c| prompt::ask_claim(c.state, Claimed::SessionWatts)),
    entry(Place::Streams, "session-allowance", &["a"], "loss %", "type the expected drivetrain loss from the references' site to the one under test, %", |c| prompt::ask_claim(c.state, Claimed::AllowancePercent)),
    entry(Place::Streams, "session-allowance-known", &["A"], "loss ±", "type how well that loss is known, ± percentage points", |c| prompt::ask_claim(c.state, Claimed::AllowancePoints)),
    entry(Place::Streams, "session-mass", &["m"], "mass", "type rider and bike as entered in the app that simulated slopes, kg", |c| prompt::ask_claim(c.state, Claimed::Mass)),
    entry(Place::Streams, "session-title", &["t"], "title", "type the session's title", |c| prompt::ask_title(c.state)),
    entry(Place::Streams, "streams-side", &["x"], "side", "both sides, or the one that a one-sided meter doubles, in turn", |c| streams::next_side(c.state, c.effects)),
    entry(Place::Streams, "streams-crank", &["n"], "crank mm", "type the length of the crank that known masses hung on, mm", |c| prompt::ask_claim(c.state, Claimed::Crank)),
    entry(Place::Streams, "streams-masses", &["k"], "masses", "type known masses and what the meter showed: kg N·m; kg N·m; …", |c| prompt::ask_masses(c.state)),
    entry(Place::Streams, "streams-zero-before", &["z"], "zero before", "type the zero that the meter showed before the ride, with its unit", |c| prompt::ask_zero(c.state, false)),
    entry(Place::Streams, "streams-zero-after", &["Z"], "zero after", "type the zero that it showed after the ride", |c| prompt::ask_zero(c.state, true)),
    entry(Place::Streams, "streams-reference", &["R"], "compare with", "compare with the next reference, or with the consensus", |c| streams::next_reference(c.state)),
    entry(Place::Streams, "streams-undo", &["u"], "undo", "undo the last edit", |c| edit::step_back(c.state, c.effects)),
    entry(Place::Streams, "streams-redo", &["r"], "redo", "redo the last undone edit", |c| edit::step_forward(c.state, c.effects)),
    entry(Place::Streams, names::STREAMS_HELP, &["?"], "all keys", "every key", |c| c.state.mode = Mode::Help(Help::default())),
    entry(Place::Streams, "streams-done", &["esc", "q", "E", "ctrl-c"], "done", "done", |c| streams::leave(c.state)).leaves(),
    // Shifting a clock.
    entry(Place::Clock, "clock-earlier", &["left", ","], "0.1 s earlier", "0.1 s earlier", |c| clock::nudge(c.state, -1, c.effects)),
    entry(Place::Clock, "clock-later", &["right", "."], "0.1 s later", "0.1 s later", |c| clock::nudge(c.state, 1, c.effects)),
    entry(Place::Clock, "clock-earlier-1s", &["shift-left", "<"], "1 s earlier", "1 s earlier", |c| clock::nudge(c.state, -10, c.effects)),
    entry(Place::Clock, "clock-later-1s", &["shift-right", ">"], "1 s later", "1 s later", |c| clock::nudge(c.state, 10, c.effects)),
    entry(Place::Clock, "clock-earlier-10s", &["pageup", "("], "10 s earlier", "10 s earlier", |c| clock::nudge(c.state, -100, c.effects)),
    entry(Place::Clock, "clock-later-10s", &["pagedown", ")"], "10 s later", "10 s later", |c| clock::nudge(c.state, 100, c.effects)),
    entry(Place::Clock, "clock-stream-after", &["tab"], "stream", "select the next stream", |c| streams::select(c.state, true)),
    entry(Place::Clock, "clock-zoom-in", &["+", "="], "zoom in", "show less time, larger", |c| clock::zoom(c.state, true)),
    entry(Place::Clock, "clock-zoom-out", &["-"], "zoom out", "show more time", |c| clock::zoom(c.state, false)),
    entry(Place::Clock, "clock-undo", &["u"], "undo", "undo the shift", |c| edit::step_back(c.state, c.effects)),
    entry(Place::Clock, "clock-done", &["enter", "esc", "c"], "done", "done", |c| streams::leave(c.state)).leaves(),
    // Suggested segments.
    entry(Place::Walk, "walk-take", &["enter"], "tag it", "tag it and go to the next", |c| walk::take(c.state, c.effects)),
    entry(Place::Walk, "walk-pass", &["space", "right"], "pass", "leave it and go to the next", |c| walk::pass(c.state)),
    entry(Place::Walk, "walk-back", &["backspace", "left"], "one back", "back to the one before", |c| walk::back(c.state)),
    entry(Place::Walk, "walk-adjust", &["x"], "adjust", "take it as the window, to move its edges and tag it by hand", |c| walk::adjust(c.state)),
    entry(Place::Walk, "walk-take-all", &["T"], "tag all", "tag it and all after it", |c| walk::take_rest(c.state, c.effects)),
    entry(Place::Walk, "walk-undo", &["u"], "undo", "undo the last tag", |c| edit::step_back(c.state, c.effects)),
    entry(Place::Walk, "walk-leave", &["esc", "q", "ctrl-c"], "leave", "leave the suggestions", |c| streams::leave(c.state)).leaves(),
    // Menus.
    tag(Kind::SteadyBlock, "tag-steady-block", &["s"], |c| edit::tag(c.state, Kind::SteadyBlock, c.effects)),
    tag(Kind::Sprint, "tag-sprint", &["p"], |c| edit::tag(c.state, Kind::Sprint, c.effects)),
    tag(Kind::Ramp, "tag-ramp", &["r"], |c| edit::tag(c.state, Kind::Ramp, c.effects)),
    tag(Kind::GearChange, "tag-gear-change", &["g"], |c| edit::tag(c.state, Kind::GearChange, c.effects)),
    tag(Kind::Coast, "tag-coast", &["c"], |c| edit::tag(c.state, Kind::Coast, c.effects)),
    tag(Kind::HeatSoak, "tag-heat-soak", &["h"], |c| edit::tag(c.state, Kind::HeatSoak, c.effects)),
    tag(Kind::Slope, "tag-slope", &["l"], |c| edit::tag(c.state, Kind::Slope, c.effects)),
    tag(Kind::Open, "tag-open", &["o"], |c| edit::tag(c.state, Kind::Open, c.effects)),
    entry(Place::TagMenu, "tag-close", &["esc"], "leave", "leave without a tag", |c| streams::leave(c.state)).leaves(),
    retag(Kind::SteadyBlock, "kind-steady-block", &["s"], |c| edit::retag(c.state, Kind::SteadyBlock, c.effects)),
    retag(Kind::Sprint, "kind-sprint", &["p"], |c| edit::retag(c.state, Kind::Sprint, c.effects)),
    retag(Kind::Ramp, "kind-ramp", &["r"], |c| edit::retag(c.state, Kind::Ramp, c.effects)),
    retag(Kind::GearChange, "kind-gear-change", &["g"], |c| edit::retag(c.state, Kind::GearChange, c.effects)),
    retag(Kind::Coast, "kind-coast", &["c"], |c| edit::retag(c.state, Kind::Coast, c.effects)),
    retag(Kind::HeatSoak, "kind-heat-soak", &["h"], |c| edit::retag(c.state, Kind::HeatSoak, c.effects)),
    retag(Kind::Slope, "kind-slope", &["l"], |c| edit::retag(c.state, Kind::Slope, c.effects)),
    retag(Kind::Open, "kind-open", &["o"], |c| edit::retag(c.state, Kind::Open, c.effects)),
    entry(Place::KindMenu, "kind-close", &["esc"], "leave", "leave the kind as it is", |c| streams::leave(c.state)).leaves(),
    entry(Place::ViewMenu, names::VIEW_ANSWERS, &["o"], "answers", "answers: every question of a tester, one line each", |c| program::go(c.state, View::Answers)),
    entry(Place::ViewMenu, "view-ride", &["r"], "ride", "ride: the traces on one time line", |c| program::go(c.state, View::Ride)),
    entry(Place::ViewMenu, "view-clocks", &["c"], "clocks", "clocks: two streams close up, correlation against lag, offset and skew", |c| program::go(c.state, View::Clocks)),
    entry(Place::ViewMenu, "view-agreement", &["a"], "agreement", "agreement: difference against mean, bias and limits of agreement", |c| program::go(c.state, View::Agreement)),
    entry(Place::ViewMenu, "view-response", &["e"], "response", "response: a sprint or step with the fitted model", |c| program::go(c.state, View::Response)),
    entry(Place::ViewMenu, "view-references", &["f"], "references", "references: who disagrees with whom, and the noisy one", |c| program::go(c.state, View::References)),
    entry(Place::ViewMenu, "view-soak", &["h"], "heat soak", "heat soak: bias against time and temperature", |c| program::go(c.state, View::Soak)),
    entry(Place::ViewMenu, "view-error-curve", &["b"], "error curve", "error curve: error against power, all blocks of held power together", |c| program::go(c.state, View::ErrorCurve)),
    entry(Place::ViewMenu, "view-coverage", &["v"], "coverage", "coverage: bias by power and cadence or wheel speed", |c| program::go(c.state, View::Coverage)),
    entry(Place::ViewMenu, "view-plan", &["p"], "plan", "plan: what the test plan asks and this ride lacks", |c| program::go(c.state, View::Plan)),
    entry(Place::ViewMenu, "view-close", &["esc"], "leave", "stay in this view", |c| streams::leave(c.state)).leaves(),
    entry(Place::LandmarkMenu, "landmark-useful", &["u"], "useful", "edges of segments, and between them laps or else changes of power", |c| landmarks::choose(c.state, Landmarks::Useful)),
    entry(Place::LandmarkMenu, "landmark-laps", &["l"], "laps", "laps of the recordings", |c| landmarks::choose(c.state, Landmarks::Laps)),
    entry(Place::LandmarkMenu, "landmark-edges", &["e"], "edges", "edges of segments", |c| landmarks::choose(c.state, Landmarks::Edges)),
    entry(Place::LandmarkMenu, "landmark-changes", &["c"], "changes", "changes of power, as the references show them", |c| landmarks::choose(c.state, Landmarks::Steps)),
    entry(Place::LandmarkMenu, "landmark-dropouts", &["d"], "dropouts", "dropouts of any stream", |c| landmarks::choose(c.state, Landmarks::Dropouts)),
    entry(Place::LandmarkMenu, "landmark-excursions", &["x"], "excursions", "excursions: no reference shows what the source under test does", |c| landmarks::choose(c.state, Landmarks::Excursions)),
    entry(Place::LandmarkMenu, "landmark-peaks", &["p"], "peaks", "peaks: the highest efforts of the ride", |c| landmarks::choose(c.state, Landmarks::Peaks)),
    entry(Place::LandmarkMenu, "landmark-close", &["esc"], "leave", "leave it as it is", |c| streams::leave(c.state)).leaves(),
    entry(Place::CopyMenu, "copy-figures", &["f"], "figures", "the figures of the window", |c| program::copy(c.state, Copied::Figures, c.effects)),
    entry(Place::CopyMenu, "copy-table", &["t"], "table", "the segment table, as text", |c| program::copy(c.state, Copied::Text, c.effects)),
    entry(Place::CopyMenu, "copy-markdown", &["m"], "Markdown", "the segment table, as Markdown", |c| program::copy(c.state, Copied::Markdown, c.effects)),
    entry(Place::CopyMenu, "copy-csv", &["c"], "CSV", "the segment table, as CSV", |c| program::copy(c.state, Copied::Csv, c.effects)),
    entry(Place::CopyMenu, "copy-close", &["esc"], "leave", "copy nothing", |c| streams::leave(c.state)).leaves(),
    entry(Place::WriteMenu, "write-report", &["r"], "report", "the report: one page, the answers first", |c| prompt::ask_write(c.state, Written::Report)),
    entry(Place::WriteMenu, "write-table", &["t"], "segment table", "the segment table: a row a segment", |c| prompt::ask_write(c.state, Written::Table)),
    entry(Place::WriteMenu, "write-picture", &["p"], "picture", "the picture of this view, to the selected segment or question", |c| prompt::ask_write(c.state, Written::Picture)),
    entry(Place::WriteMenu, "write-samples", &["s"], "samples", "the samples: every second on one time line", |c| prompt::ask_write(c.state, Written::Samples)),
    entry(Place::WriteMenu, "write-close", &["esc"], "leave", "write nothing", |c| streams::leave(c.state)).leaves(),
    entry(Place::QuitQuestion, "quit-save", &["s"], "save and quit", "save and quit", |c| program::save_and_quit(c.state, c.effects)),
    entry(Place::QuitQuestion, "quit-discard", &["d"], "discard and quit", "discard what is not saved, and quit", |c| program::quit_anyway(c.effects)),
    entry(Place::QuitQuestion, "quit-stay", &["esc"], "stay", "stay", |c| streams::leave(c.state)).leaves(),
    entry(Place::OverwriteQuestion, "overwrite", &["o"], "overwrite", "overwrite it with what is here", |c| program::save(c.state, true, c.effects)),
    entry(Place::OverwriteQuestion, "overwrite-reload", &["r"], "reload", "read theirs (undo brings yours back)", |c| program::reload(c.state, c.effects)),
    entry(Place::OverwriteQuestion, "overwrite-not", &["esc"], "leave", "write nothing for now", |c| streams::leave(c.state)).leaves(),
    entry(Place::ReplaceQuestion, "export-over", &["o"], "replace it", "replace it", |c| program::replace(c.state, c.effects)),
    entry(Place::ReplaceQuestion, "export-elsewhere", &["n"], "other name", "type another name", |c| prompt::ask_elsewhere(c.state)),
    entry(Place::ReplaceQuestion, "export-not", &["esc"], "leave", "write nothing", |c| streams::leave(c.state)).leaves(),
    entry(Place::RestoreQuestion, "restore", &["r"], "restore", "restore them", |c| edit::restore(c.state, c.effects)),
    entry(Place::RestoreQuestion, "restore-decline", &["d"], "drop", "drop them for good", |c| program::decline_restore(c.state, c.effects)),
    entry(Place::RestoreQuestion, "restore-later", &["q", "esc", "ctrl-c"], "quit", "quit; they stay, and you are asked again", |c| program::quit(c.state, c.effects)).leaves(),
    // Text and lists.
    entry(Place::Prompt, "prompt-accept", &["enter"], "accept", "accept what is typed", prompt::accept),
    entry(Place::Prompt, "prompt-close", &["esc", "ctrl-c"], "leave", "leave everything as it was", |c| streams::leave(c.state)).leaves(),
    entry(Place::Prompt, "prompt-erase-back", &["backspace"], "erase", "erase the character before the caret", |c| prompt::erase(c.state, false)),
    entry(Place::Prompt, "prompt-erase", &["delete"], "erase after", "erase the character at the caret", |c| prompt::erase(c.state, true)),
    entry(Place::Prompt, "prompt-erase-all", &["ctrl-u"], "erase all", "erase the whole line", |c| prompt::erase_all(c.state)),
    entry(Place::Prompt, "prompt-left", &["left"], "left", "caret left", |c| prompt::caret(c.state, -1)),
    entry(Place::Prompt, "prompt-right", &["right"], "right", "caret right", |c| prompt::caret(c.state, 1)),
    entry(Place::Prompt, "prompt-home", &["home"], "start", "caret to the start of the line", |c| prompt::caret_end(c.state, false)),
    entry(Place::Prompt, "prompt-end", &["end"], "end", "caret to the end of the line", |c| prompt::caret_end(c.state, true)),
    entry(Place::Prompt, "prompt-pick-before", &["up"], "before", "pick the line before, where there is a list", |c| prompt::scroll(c, -1)),
    entry(Place::Prompt, "prompt-pick-after", &["down"], "after", "pick the line after, where there is a list", |c| prompt::scroll(c, 1)),
    entry(Place::List, "list-up", &["up"], "up", "one line up", |c| prompt::scroll(c, -1)),
    entry(Place::List, "list-down", &["down"], "down", "one line down", |c| prompt::scroll(c, 1)),
    entry(Place::List, "list-page-up", &["pageup"], "page up", "ten lines up", |c| prompt::scroll(c, -10)),
    entry(Place::List, "list-page-down", &["pagedown", "space"], "page down", "ten lines down", |c| prompt::scroll(c, 10)),
    entry(Place::List, names::LIST_NARROW, &["/"], "narrow", "narrow the list of keys to the words you type", |c| prompt::narrowing(c.state, true, true)),
    entry(Place::List, "list-close", &["esc", "q", "?", "enter", "ctrl-c"], "close", "close the list", |c| streams::leave(c.state)).leaves(),
    entry(Place::Narrowing, "narrow-keep", &["enter", "down"], "keep", "keep it narrowed, and scroll", |c| prompt::narrowing(c.state, false, true)),
    entry(Place::Narrowing, "narrow-erase", &["backspace"], "erase", "erase the last character", |c| prompt::narrow(c.state, |typed| typed.truncate(typed.char_indices().next_back().map_or(0, |(at, _)| at)))),
    entry(Place::Narrowing, "narrow-drop", &["esc", "ctrl-c"], "all again", "show all keys again", |c| prompt::narrowing(c.state, false, false)).leaves(),
];

/// The entry of this name.
pub fn named(name: &str) -> Option<&'static Entry> {
    TABLE.iter().find(|entry| entry.name == name)
}

impl Default for Keymap {
    /// The keys of the table.
    fn default() -> Self {
        let bound = |entry: &Entry| Bound {
            name: entry.name,
            formerly: entry.formerly,
            place: entry.place,
            leaves: entry.leaves,
            keys: entry
                .keys
                .iter()
                .filter_map(|key| Key::parse(key))
                .collect(),
        };
        Self::new(TABLE.iter().map(bound).collect())
    }
}

impl Keymap {
    /// The keys of the table, with those of some actions (by name) replaced.
    ///
    /// What cannot be used is left as it was and reported.
    pub fn rebound(changes: &[(String, Vec<String>)]) -> (Self, Vec<KeymapError>) {
        let mut keymap = Self::default();
        let errors = keymap.rebind(changes);
        (keymap, errors)
    }

    /// The table of all keys, as Markdown: what README shows and `truing keys` prints.
    pub fn to_markdown(&self) -> String {
        let mut out = String::new();
        for place in Place::ALL {
            out.push_str(&format!("\n**{}**\n\n", place.title()));
            out.push_str("| keys | does | name for rebinding |\n| --- | --- | --- |\n");
            for entry in TABLE.iter().filter(|entry| entry.place == *place) {
                let keys = self.keys_of(entry.name).iter();
                let keys: Vec<String> = keys
                    .map(|key| format!("`{}`", key.to_string().replace('|', "\\|")))
                    .collect();
                out.push_str(&format!(
                    "| {} | {} | `{}` |\n",
                    keys.join(" "),
                    entry.doc,
                    entry.name
                ));
            }
        }
        out.trim_start().to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    #[test]
    fn every_default_key_is_a_key_and_reads_back() {
        for entry in TABLE {
            assert!(!entry.keys.is_empty(), "{} has no key", entry.name);
            for text in entry.keys {
                let key = Key::parse(text).unwrap_or_else(|| panic!("{}: {text}", entry.name));
                assert_eq!(key.to_string(), *text, "{}", entry.name);
            }
        }
    }

    #[test]
    fn no_key_means_two_things_and_no_name_is_used_twice() {
        assert_eq!(Keymap::default().rebind(&[]), []);
        let names: HashSet<&str> = TABLE.iter().map(|entry| entry.name).collect();
        assert_eq!(names.len(), TABLE.len());
    }

    #[test]
    fn every_place_has_keys_and_a_way_out() {
        for place in Place::ALL {
            assert!(TABLE.iter().any(|entry| entry.place == *place), "{place:?}");
        }
        for entry in TABLE {
            assert!(Place::ALL.contains(&entry.place), "{}", entry.name);
            assert!(
                !entry.doc.is_empty() && !entry.brief.is_empty(),
                "{}",
                entry.name
            );
        }
    }

    #[test]
    fn rebinding_replaces_reports_and_refuses_conflicts() {
        let change = |name: &str, keys: &[&str]| {
            let keys = keys.iter().map(|key| (*key).to_owned()).collect();
            (name.to_owned(), keys)
        };
        let (keymap, errors) = Keymap::rebound(&[change("undo", &["ctrl-u", "U"])]);
        assert_eq!(errors, []);
        let found = keymap.look_up(&[Place::Any], Key::char('U'));
        assert_eq!(found, Some("undo"));
        assert!(keymap.look_up(&[Place::Any], Key::char('u')).is_none());

        let (keymap, errors) = Keymap::rebound(&[change("undo", &["r"])]);
        assert_eq!(
            errors,
            [KeymapError::Conflict {
                key: "r".into(),
                one: "undo".into(),
                other: "redo".into()
            }]
        );
        assert_eq!(keymap, Keymap::default());

        let (_, errors) = Keymap::rebound(&[change("fly", &["f"]), change("undo", &["hyper-u"])]);
        assert_eq!(errors.len(), 2);
    }

    #[test]
    fn what_messages_point_to_is_in_the_table() {
        for name in names::ALL {
            assert!(named(name).is_some(), "{name}");
        }
    }

    #[test]
    fn a_former_name_still_rebinds() {
        let change = ("mark-in-hand".to_owned(), vec!["f5".to_owned()]);
        let (keymap, errors) = Keymap::rebound(&[change]);
        assert_eq!(errors, []);
        let keys = keymap.keys_of(names::MARK_SELECTED);
        assert_eq!(keys, [Key::parse("f5").unwrap()]);
        let names: HashSet<&str> = TABLE.iter().map(|entry| entry.name).collect();
        for entry in TABLE {
            assert!(!entry.formerly.iter().any(|name| names.contains(name)));
        }
    }
}
