//! The one table of everything that can be done at the keyboard. Dispatch, the help screen, the
//! status line, the list of actions, rebinding and the README's table all read [`TABLE`].

use crate::recording::Channel;
use crate::session::Kind;

use super::state::{Edge, Lane, View};

/// Something the person at the keyboard asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Command {
    /// Move the cursor by this many seconds.
    Scrub(i32),
    /// Move the cursor and the view by this many screens.
    Screen(i32),
    /// Move the cursor to the start (`false`) or the end of the ride.
    RideEnd(bool),
    /// Move the cursor to the landmark before (`false`) or after it.
    Landmark(bool),
    /// Choose what the landmark keys stop at.
    AskLandmarks,
    /// The landmark keys stop at these.
    SetLandmarks(Landmarks),
    /// Move the cursor to an edge of the window.
    WindowEdge(Edge),
    /// Ask for a time to go to.
    AskTime,
    /// Zoom about the cursor: in (`true`) or out.
    Zoom(bool),
    /// Show the window and a little around it.
    ZoomWindow,
    /// Show the whole ride.
    ZoomAll,
    /// Show what was shown before (`false`), or after.
    ViewHistory(bool),
    /// Set an edge of the window at the cursor.
    SetEdge(Edge),
    /// Let an edge of the window follow the cursor; again: the other edge.
    HoldEdge,
    /// Let the whole window follow the cursor.
    HoldWindow,
    /// Stop following.
    LetGo,
    /// Move the edge nearest to the cursor to the steepest change around it.
    Snap,
    /// Drop the window.
    Clear,
    /// Choose a kind to tag the window with.
    AskTag,
    /// Tag the window.
    Tag(Kind),
    /// Choose another kind for the segment.
    AskKind,
    /// Change the segment's kind.
    Retag(Kind),
    /// Ask for the segment's set point.
    AskSetPoint,
    /// Ask for the segment's note.
    AskNote,
    /// Give the segment the window's edges.
    MoveSegment,
    /// Split the segment at the cursor.
    Split,
    /// Join the segment with the one after it.
    Merge,
    /// Delete the segment.
    Delete,
    /// Select the segment before (`false`) or after.
    SelectSegment(bool),
    /// Walk through the proposed segments.
    Suggest,
    /// Tag the proposal shown, and go to the next one.
    TakeProposal,
    /// Tag it and all after it.
    TakeProposals,
    /// Leave the proposal, and go to the next one.
    PassProposal,
    /// Back to the proposal before.
    EarlierProposal,
    /// Leave the walk with the proposal as the window, to adjust it.
    AdjustProposal,
    /// Undo the last edit.
    Undo,
    /// Redo the last undone edit.
    Redo,
    /// Take the stream before (`false`) or after in hand.
    SelectStream(bool),
    /// Show or hide the stream in hand.
    ToggleStream,
    /// Show the stream in hand alone, or all again.
    Solo,
    /// Compare with the next reference, or the consensus.
    NextReference,
    /// What the streams are: labels, roles, sites, claims.
    Streams,
    /// Ask for the label of the stream in hand.
    AskLabel,
    /// Ask for the session's title.
    AskTitle,
    /// Give it the next role.
    NextRole,
    /// Give it the next site.
    NextSite,
    /// Ask for a claim.
    AskClaim(Claimed),
    /// Shift the clock of the stream in hand.
    AdjustClock,
    /// Shift it by this many tenths of a second.
    Nudge(i32),
    /// Show or hide a lane.
    ToggleLane(Lane),
    /// Difference in W or in %.
    TogglePercent,
    /// Hold the scales as they are, or fit them to what is shown.
    HoldScales,
    /// Smooth the picture more, then not at all.
    Smooth,
    /// Choose a view.
    AskView,
    /// Go to a view.
    Go(View),
    /// Figures of a full-screen view for the window, the segment or the ride.
    NextScope,
    /// Hold the ride against the next test plan.
    NextPlan,
    /// Coverage by cadence or by wheel speed.
    CoverageBy,
    /// Mark a feature at the cursor: on the stream in hand (`false`), on the other one.
    Mark(bool),
    /// Shift the clock of the stream in hand so that the marks meet.
    MatchMarks,
    /// Take the estimated offset and skew of the stream in hand.
    TakeEstimate,
    /// Compare its clock with that of the next stream.
    NextMate,
    /// Compare the clocks on the next channel.
    NextChannel,
    /// Save the session.
    Save,
    /// Save whatever stands on the disk.
    SaveOver,
    /// Ask where to export the segment table.
    AskExport,
    /// Export it over the file that is there.
    Replace,
    /// Choose what to copy to the clipboard.
    AskCopy,
    /// Copy it.
    Copy(Copied),
    /// Take what an earlier run left unsaved.
    Restore,
    /// Decline it.
    DeclineRestore,
    /// Read the session again from the disk.
    Reload,
    /// The keys of this place.
    Help,
    /// The list of actions.
    Find,
    /// The messages so far.
    ShowLog,
    /// Give the mouse back to the terminal, or take it.
    ToggleMouse,
    /// Draw everything anew.
    Redraw,
    /// Stop this program for a while.
    Suspend,
    /// Quit.
    Quit,
    /// Save, then quit.
    SaveAndQuit,
    /// Quit although something is not saved.
    QuitAnyway,
    /// Accept what was typed or picked.
    Accept,
    /// Leave a menu, a prompt or a list.
    Close,
    /// Erase the character before the caret (`false`) or after it.
    Erase(bool),
    /// Erase the whole line.
    EraseAll,
    /// Move the caret.
    Caret(i32),
    /// Move the caret to the start (`false`) or the end.
    CaretEnd(bool),
    /// Scroll a list by lines.
    Scroll(i32),
    /// Show what the view has no room for: above (`false`) or below.
    More(bool),
}

/// A number of a claim.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Claimed {
    /// Of the stream in hand, ± % of reading.
    StreamPercent,
    /// Of the stream in hand, ± W at least.
    StreamWatts,
    /// Of the session, ± % of reading.
    SessionPercent,
    /// Of the session, ± W at least.
    SessionWatts,
    /// The loss expected between the references' site and the one under test, %.
    AllowancePercent,
    /// How well that is known, ± percentage points.
    AllowancePoints,
}

/// What is copied to the clipboard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Copied {
    /// The figures of the window.
    Figures,
    /// The segment table, as text.
    Text,
    /// The segment table, as Markdown.
    Markdown,
    /// The segment table, as CSV.
    Csv,
}

/// What the landmark keys stop at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Landmarks {
    /// Edges of segments.
    Edges,
    /// Where the power of the references changes.
    Steps,
    /// Dropouts.
    Dropouts,
    /// Excursions of the source under test.
    Excursions,
    /// The highest seconds.
    Peaks,
}

impl Landmarks {
    /// Plural name.
    pub const fn name(self) -> &'static str {
        match self {
            Landmarks::Edges => "segment edges",
            Landmarks::Steps => "changes of power",
            Landmarks::Dropouts => "dropouts",
            Landmarks::Excursions => "excursions",
            Landmarks::Peaks => "peaks",
        }
    }
}

/// Where an action is offered.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Place {
    /// In every view.
    Any,
    /// In one view.
    In(View),
    /// In every full-screen view but the ride view.
    Study,
    /// In the list of what the streams are.
    Streams,
    /// While a clock is shifted.
    Clock,
    /// While walking through proposed segments.
    Walk,
    /// In the menu of kinds for a new tag.
    TagMenu,
    /// In the menu of kinds for the segment.
    KindMenu,
    /// In the menu of views.
    ViewMenu,
    /// In the menu of landmarks.
    LandmarkMenu,
    /// In the menu of what to copy.
    CopyMenu,
    /// In the question whether to quit.
    QuitQuestion,
    /// In the question whether to overwrite a file that somebody else changed.
    OverwriteQuestion,
    /// In the question whether to replace an exported file.
    ReplaceQuestion,
    /// In the question whether to restore unsaved edits.
    RestoreQuestion,
    /// While text is typed.
    Prompt,
    /// In a list that scrolls.
    List,
}

impl Place {
    /// Every place, in the order of the help screen.
    pub const ALL: &'static [Place] = &[
        Place::Any,
        Place::In(View::Ride),
        Place::Study,
        Place::In(View::Clocks),
        Place::In(View::Coverage),
        Place::In(View::Plan),
        Place::Streams,
        Place::Clock,
        Place::Walk,
        Place::TagMenu,
        Place::KindMenu,
        Place::ViewMenu,
        Place::LandmarkMenu,
        Place::CopyMenu,
        Place::QuitQuestion,
        Place::OverwriteQuestion,
        Place::ReplaceQuestion,
        Place::RestoreQuestion,
        Place::Prompt,
        Place::List,
    ];

    /// Head line over the keys of this place.
    pub const fn title(self) -> &'static str {
        match self {
            Place::Any => "in every view",
            Place::In(view) => view.title(),
            Place::Study => "in every view but the ride view",
            Place::Streams => "streams: what they are",
            Place::Clock => "shifting a clock",
            Place::Walk => "walking through proposed segments",
            Place::TagMenu => "tag the window as",
            Place::KindMenu => "change the kind to",
            Place::ViewMenu => "open view",
            Place::LandmarkMenu => "stop at",
            Place::CopyMenu => "copy to the clipboard",
            Place::QuitQuestion => "not everything is saved",
            Place::OverwriteQuestion => "session.toml was changed by somebody else",
            Place::ReplaceQuestion => "there is a file of that name",
            Place::RestoreQuestion => "unsaved edits of an earlier run",
            Place::Prompt => "typing",
            Place::List => "lists",
        }
    }

    /// Whether the place is a box of choices, one key each.
    pub const fn is_menu(self) -> bool {
        matches!(
            self,
            Place::TagMenu
                | Place::KindMenu
                | Place::ViewMenu
                | Place::LandmarkMenu
                | Place::CopyMenu
                | Place::QuitQuestion
                | Place::OverwriteQuestion
                | Place::ReplaceQuestion
                | Place::RestoreQuestion
        )
    }
}

/// One line of the table.
#[derive(Clone, Copy, Debug)]
pub struct Entry {
    /// What it does.
    pub command: Command,
    /// Its name for the configuration file; unique.
    pub name: &'static str,
    /// One or two words for the status line.
    pub brief: &'static str,
    /// One line for the help screen.
    pub doc: &'static str,
    /// The keys it starts with, as [`super::keymap::Key`] writes them.
    pub keys: &'static [&'static str],
    /// Where it is offered.
    pub place: Place,
}

const fn entry(
    place: Place,
    command: Command,
    keys: &'static [&'static str],
    name: &'static str,
    brief: &'static str,
    doc: &'static str,
) -> Entry {
    Entry {
        command,
        name,
        brief,
        doc,
        keys,
        place,
    }
}

const RIDE: Place = Place::In(View::Ride);
const CLOCKS: Place = Place::In(View::Clocks);

// One entry a line reads as the table it is.
#[rustfmt::skip]
/// Everything that can be done, in the order of the help screen.
pub const TABLE: &[Entry] = &[
    // Moving.
    entry(Place::Any, Command::Scrub(-1), &["left", ","], "back-1s", "back", "cursor back one second"),
    entry(Place::Any, Command::Scrub(1), &["right", "."], "forward-1s", "forward", "cursor forward one second"),
    entry(Place::Any, Command::Scrub(-10), &["shift-left", "<"], "back-10s", "10 s back", "cursor back ten seconds"),
    entry(Place::Any, Command::Scrub(10), &["shift-right", ">"], "forward-10s", "10 s on", "cursor forward ten seconds"),
    entry(Place::Any, Command::Screen(-1), &["pageup", "("], "back-screen", "screen back", "back one screen"),
    entry(Place::Any, Command::Screen(1), &["pagedown", ")"], "forward-screen", "screen on", "forward one screen"),
    entry(Place::Any, Command::RideEnd(false), &["home"], "ride-start", "ride start", "cursor to the start of the ride"),
    entry(Place::Any, Command::RideEnd(true), &["end"], "ride-end", "ride end", "cursor to the end of the ride"),
    entry(Place::Any, Command::Landmark(false), &["["], "landmark-back", "landmark back", "cursor to the landmark before it"),
    entry(Place::Any, Command::Landmark(true), &["]"], "landmark-forward", "landmark on", "cursor to the landmark after it"),
    entry(Place::Any, Command::AskLandmarks, &["l"], "landmarks", "landmarks", "choose what the landmark keys stop at"),
    entry(Place::Any, Command::WindowEdge(Edge::Start), &["{"], "to-window-start", "window start", "cursor to the start of the window"),
    entry(Place::Any, Command::WindowEdge(Edge::End), &["}"], "to-window-end", "window end", "cursor to the end of the window"),
    entry(Place::Any, Command::AskTime, &["g"], "go-to-time", "go to", "cursor to a time you type"),
    // Zooming.
    entry(Place::Any, Command::Zoom(true), &["+", "="], "zoom-in", "zoom in", "show less time, larger, about the cursor"),
    entry(Place::Any, Command::Zoom(false), &["-"], "zoom-out", "zoom out", "show more time about the cursor"),
    entry(Place::Any, Command::ZoomWindow, &["z"], "zoom-window", "zoom window", "show the window and a little around it"),
    entry(Place::Any, Command::ZoomAll, &["a"], "zoom-all", "whole ride", "show the whole ride"),
    entry(Place::Any, Command::ViewHistory(false), &["b"], "zoom-back", "last zoom", "show the stretch shown before"),
    entry(Place::Any, Command::ViewHistory(true), &["B"], "zoom-forward", "next zoom", "show the stretch shown after"),
    // The window.
    entry(Place::Any, Command::SetEdge(Edge::Start), &["s"], "set-start", "start", "start the window at the cursor; the end follows until you set it"),
    entry(Place::Any, Command::SetEdge(Edge::End), &["e"], "set-end", "end", "end the window at the cursor"),
    entry(Place::Any, Command::HoldEdge, &["x"], "hold-edge", "hold an edge", "an edge of the window follows the cursor; again: the other edge"),
    entry(Place::Any, Command::HoldWindow, &["w"], "hold-window", "carry window", "the whole window follows the cursor"),
    entry(Place::Any, Command::LetGo, &["enter"], "let-go", "let go", "nothing follows the cursor any more"),
    entry(Place::Any, Command::Snap, &["j"], "snap-edge", "snap edge", "move the nearer edge of the window to the nearest change of power"),
    entry(Place::Any, Command::Clear, &["esc"], "clear-window", "drop window", "drop the window"),
    // Segments.
    entry(Place::Any, Command::AskTag, &["t"], "tag", "tag", "keep the window as a segment: choose its kind"),
    entry(Place::Any, Command::SelectSegment(false), &["up"], "segment-before", "segment before", "select the segment before; it becomes the window"),
    entry(Place::Any, Command::SelectSegment(true), &["down"], "segment-after", "segment after", "select the segment after; it becomes the window"),
    entry(Place::Any, Command::AskSetPoint, &["p"], "set-point", "set point", "type the set point of the selected segment"),
    entry(Place::Any, Command::AskNote, &["n"], "note", "note", "type a note to the selected segment"),
    entry(Place::Any, Command::AskKind, &["k"], "change-kind", "kind", "change the kind of the selected segment"),
    entry(Place::Any, Command::MoveSegment, &["m"], "move-segment", "move segment", "give the selected segment the window's edges"),
    entry(Place::Any, Command::Split, &["|"], "split-segment", "split", "split the selected segment at the cursor"),
    entry(Place::Any, Command::Merge, &["&"], "merge-segments", "merge", "join the selected segment with the next one"),
    entry(Place::Any, Command::Delete, &["delete", "D"], "delete-segment", "delete", "delete the selected segment"),
    entry(Place::Any, Command::Suggest, &["i"], "suggest", "ideas", "walk through the ideas: segments proposed from laps, workout, gears and changes of power"),
    entry(Place::Any, Command::Undo, &["u"], "undo", "undo", "undo the last edit"),
    entry(Place::Any, Command::Redo, &["r"], "redo", "redo", "redo the last undone edit"),
    // Streams.
    entry(Place::Any, Command::SelectStream(true), &["tab"], "stream-after", "stream", "take the next stream in hand"),
    entry(Place::Any, Command::SelectStream(false), &["shift-tab"], "stream-before", "stream before", "take the stream before in hand"),
    entry(Place::Any, Command::ToggleStream, &["v"], "hide-stream", "hide", "hide the stream in hand, or show it again"),
    entry(Place::Any, Command::Solo, &["V"], "stream-alone", "alone", "show the stream in hand alone, or all again"),
    entry(Place::Any, Command::NextReference, &["R"], "next-reference", "reference", "compare with the next reference, or with the consensus"),
    entry(Place::Any, Command::AdjustClock, &["c"], "shift-clock", "clock", "shift the clock of the stream in hand"),
    entry(Place::Any, Command::Streams, &["E"], "streams", "streams", "edit what the streams are: label, role, site, claim; and the session's claim"),
    // The picture.
    entry(RIDE, Command::ToggleLane(Lane::Channel(Channel::Power)), &["1"], "lane-power", "power", "show or hide the power lane"),
    entry(RIDE, Command::ToggleLane(Lane::Difference), &["2"], "lane-difference", "difference", "show or hide the difference lane"),
    entry(RIDE, Command::ToggleLane(Lane::Channel(Channel::Cadence)), &["3"], "lane-cadence", "cadence", "show or hide the cadence lane"),
    entry(RIDE, Command::ToggleLane(Lane::Channel(Channel::Speed)), &["4"], "lane-speed", "speed", "show or hide the speed lane"),
    entry(RIDE, Command::ToggleLane(Lane::Channel(Channel::HeartRate)), &["5"], "lane-heart-rate", "heart rate", "show or hide the heart rate lane"),
    entry(RIDE, Command::ToggleLane(Lane::Channel(Channel::Temperature)), &["6"], "lane-temperature", "temperature", "show or hide the temperature lane"),
    entry(RIDE, Command::ToggleLane(Lane::Channel(Channel::Balance)), &["7"], "lane-balance", "balance", "show or hide the left/right balance lane"),
    entry(RIDE, Command::TogglePercent, &["%"], "difference-percent", "W or %", "difference lane in W or in % of the reference"),
    entry(RIDE, Command::HoldScales, &["h"], "hold-scales", "hold scales", "hold the vertical scales, or fit them to what is shown"),
    entry(RIDE, Command::Smooth, &["f"], "smooth-picture", "smooth", "smooth the picture over 3, 5, 10, 30 s, then raw again; figures stay raw"),
    // The full-screen views.
    entry(Place::Study, Command::Go(View::Ride), &["esc"], "back-to-ride", "ride view", "back to the ride view"),
    entry(Place::Study, Command::NextScope, &["d"], "scope", "window/segment/ride", "figures for the window, the selected segment or the whole ride"),
    entry(Place::In(View::Coverage), Command::CoverageBy, &["h"], "coverage-by", "cadence/speed", "lay power against cadence or against wheel speed"),
    entry(Place::In(View::Plan), Command::NextPlan, &["h"], "next-plan", "next plan", "hold the ride against the next test plan"),
    entry(CLOCKS, Command::Mark(false), &["1"], "mark-in-hand", "mark", "mark a feature of the stream in hand at the cursor"),
    entry(CLOCKS, Command::Mark(true), &["2"], "mark-other", "mark other", "mark the same feature of the other stream at the cursor"),
    entry(CLOCKS, Command::MatchMarks, &["f"], "match-marks", "match marks", "shift the clock of the stream in hand so that the two marks meet"),
    entry(CLOCKS, Command::TakeEstimate, &["A"], "take-estimate", "take estimate", "take the estimated offset and skew for the stream in hand"),
    entry(CLOCKS, Command::NextMate, &["y"], "next-other", "other stream", "compare with the clock of the next stream"),
    entry(CLOCKS, Command::NextChannel, &["h"], "clock-channel", "channel", "compare on the next channel that both carry"),
    entry(Place::Any, Command::More(true), &["shift-down", ";"], "more-below", "more", "scroll down in the figures or the list that has no room"),
    entry(Place::Any, Command::More(false), &["shift-up", ":"], "more-above", "more above", "scroll up in them"),
    // The session and the program.
    entry(Place::Any, Command::AskView, &["o"], "open-view", "views", "open another view"),
    entry(Place::Any, Command::Save, &["S", "ctrl-s"], "save", "save", "save the session"),
    entry(Place::Any, Command::AskExport, &["X"], "export", "export", "export the segment table"),
    entry(Place::Any, Command::AskCopy, &["C"], "copy", "copy", "copy the window's figures or the segment table to the clipboard"),
    entry(Place::Any, Command::Reload, &["ctrl-r"], "reload", "reload", "read the session again from the disk (undo brings yours back)"),
    entry(Place::Any, Command::Help, &["?"], "help", "all keys", "every key of this place"),
    entry(Place::Any, Command::Find, &["/"], "find-action", "find action", "search the list of all actions and do one"),
    entry(Place::Any, Command::ShowLog, &["M"], "messages", "messages", "the messages so far"),
    entry(Place::Any, Command::ToggleMouse, &["P"], "mouse", "mouse", "give the mouse to the terminal (to select text), or take it back"),
    entry(Place::Any, Command::Redraw, &["ctrl-l"], "redraw", "redraw", "draw the whole screen anew"),
    entry(Place::Any, Command::Suspend, &["ctrl-z"], "suspend", "suspend", "back to the shell for a while (fg returns)"),
    entry(Place::Any, Command::Quit, &["q", "ctrl-c"], "quit", "quit", "quit; asks only when something would be lost"),
    // What the streams are.
    entry(Place::Streams, Command::SelectStream(false), &["up", "shift-tab"], "streams-before", "before", "take the stream before in hand"),
    entry(Place::Streams, Command::SelectStream(true), &["down", "tab"], "streams-after", "after", "take the next stream in hand"),
    entry(Place::Streams, Command::AskLabel, &["l", "enter"], "streams-label", "label", "type its label; no two streams have the same"),
    entry(Place::Streams, Command::NextRole, &["o"], "streams-role", "role", "under-test, reference, context in turn"),
    entry(Place::Streams, Command::NextSite, &["s"], "streams-site", "site", "where it measures: pedal, crank, hub, trainer or nowhere in turn"),
    entry(Place::Streams, Command::AskClaim(Claimed::StreamPercent), &["c"], "streams-claim-percent", "claim %", "type its own claim in % of reading; empty for none"),
    entry(Place::Streams, Command::AskClaim(Claimed::StreamWatts), &["w"], "streams-claim-watts", "claim W", "type the least its own claim allows, W; empty for none"),
    entry(Place::Streams, Command::AskClaim(Claimed::SessionPercent), &["C"], "session-claim-percent", "session's %", "type the session's claim in % of reading"),
    entry(Place::Streams, Command::AskClaim(Claimed::SessionWatts), &["W"], "session-claim-watts", "session's W", "type the least the session's claim allows, W"),
    entry(Place::Streams, Command::AskClaim(Claimed::AllowancePercent), &["a"], "session-allowance", "allowance %", "type the loss expected from the references' site to the one under test, %"),
    entry(Place::Streams, Command::AskClaim(Claimed::AllowancePoints), &["A"], "session-allowance-known", "allowance ±", "type how well that loss is known, ± percentage points"),
    entry(Place::Streams, Command::AskTitle, &["t"], "session-title", "title", "type the session's title"),
    entry(Place::Streams, Command::NextReference, &["R"], "streams-reference", "compare with", "compare with the next reference, or with the consensus"),
    entry(Place::Streams, Command::Undo, &["u"], "streams-undo", "undo", "undo the last edit"),
    entry(Place::Streams, Command::Redo, &["r"], "streams-redo", "redo", "redo the last undone edit"),
    entry(Place::Streams, Command::Help, &["?"], "streams-help", "all keys", "every key"),
    entry(Place::Streams, Command::Close, &["esc", "q", "E", "ctrl-c"], "streams-done", "done", "done"),
    // Shifting a clock.
    entry(Place::Clock, Command::Nudge(-1), &["left", ","], "clock-earlier", "0.1 s earlier", "0.1 s earlier"),
    entry(Place::Clock, Command::Nudge(1), &["right", "."], "clock-later", "0.1 s later", "0.1 s later"),
    entry(Place::Clock, Command::Nudge(-10), &["shift-left", "<"], "clock-earlier-1s", "1 s earlier", "1 s earlier"),
    entry(Place::Clock, Command::Nudge(10), &["shift-right", ">"], "clock-later-1s", "1 s later", "1 s later"),
    entry(Place::Clock, Command::Nudge(-100), &["pageup", "("], "clock-earlier-10s", "10 s earlier", "10 s earlier"),
    entry(Place::Clock, Command::Nudge(100), &["pagedown", ")"], "clock-later-10s", "10 s later", "10 s later"),
    entry(Place::Clock, Command::SelectStream(true), &["tab"], "clock-stream-after", "stream", "take the next stream in hand"),
    entry(Place::Clock, Command::Zoom(true), &["+", "="], "clock-zoom-in", "zoom in", "show less time, larger"),
    entry(Place::Clock, Command::Zoom(false), &["-"], "clock-zoom-out", "zoom out", "show more time"),
    entry(Place::Clock, Command::Undo, &["u"], "clock-undo", "undo", "undo the shift"),
    entry(Place::Clock, Command::Close, &["enter", "esc", "c"], "clock-done", "done", "done"),
    // Proposed segments.
    entry(Place::Walk, Command::TakeProposal, &["enter"], "walk-take", "tag it", "tag it and go to the next"),
    entry(Place::Walk, Command::PassProposal, &["space", "right"], "walk-pass", "pass", "leave it and go to the next"),
    entry(Place::Walk, Command::EarlierProposal, &["backspace", "left"], "walk-back", "one back", "back to the one before"),
    entry(Place::Walk, Command::AdjustProposal, &["x"], "walk-adjust", "adjust", "take it as the window, to move its edges and tag it by hand"),
    entry(Place::Walk, Command::TakeProposals, &["T"], "walk-take-all", "tag all", "tag it and all after it"),
    entry(Place::Walk, Command::Undo, &["u"], "walk-undo", "undo", "undo the last tag"),
    entry(Place::Walk, Command::Close, &["esc", "q", "ctrl-c"], "walk-leave", "leave", "leave the ideas"),
    // Menus.
    entry(Place::TagMenu, Command::Tag(Kind::SteadyBlock), &["s"], "tag-steady-block", "steady-block", "steady-block: constant power at a set point"),
    entry(Place::TagMenu, Command::Tag(Kind::Sprint), &["p"], "tag-sprint", "sprint", "sprint: a short maximal effort"),
    entry(Place::TagMenu, Command::Tag(Kind::Ramp), &["r"], "tag-ramp", "ramp", "ramp: steps, or a steady rise or fall of power"),
    entry(Place::TagMenu, Command::Tag(Kind::GearChange), &["g"], "tag-gear-change", "gear-change", "gear-change: shifts at a constant set point"),
    entry(Place::TagMenu, Command::Tag(Kind::Coast), &["c"], "tag-coast", "coast", "coast: nobody pedals"),
    entry(Place::TagMenu, Command::Tag(Kind::HeatSoak), &["h"], "tag-heat-soak", "heat-soak", "heat-soak: a long block while the source warms up"),
    entry(Place::TagMenu, Command::Tag(Kind::Open), &["o"], "tag-open", "open", "open: none of the others"),
    entry(Place::TagMenu, Command::Close, &["esc"], "tag-close", "leave", "leave without a tag"),
    entry(Place::KindMenu, Command::Retag(Kind::SteadyBlock), &["s"], "kind-steady-block", "steady-block", "steady-block"),
    entry(Place::KindMenu, Command::Retag(Kind::Sprint), &["p"], "kind-sprint", "sprint", "sprint"),
    entry(Place::KindMenu, Command::Retag(Kind::Ramp), &["r"], "kind-ramp", "ramp", "ramp"),
    entry(Place::KindMenu, Command::Retag(Kind::GearChange), &["g"], "kind-gear-change", "gear-change", "gear-change"),
    entry(Place::KindMenu, Command::Retag(Kind::Coast), &["c"], "kind-coast", "coast", "coast"),
    entry(Place::KindMenu, Command::Retag(Kind::HeatSoak), &["h"], "kind-heat-soak", "heat-soak", "heat-soak"),
    entry(Place::KindMenu, Command::Retag(Kind::Open), &["o"], "kind-open", "open", "open"),
    entry(Place::KindMenu, Command::Close, &["esc"], "kind-close", "leave", "leave the kind as it is"),
    entry(Place::ViewMenu, Command::Go(View::Ride), &["r"], "view-ride", "ride", "ride: the traces on one time line"),
    entry(Place::ViewMenu, Command::Go(View::Clocks), &["c"], "view-clocks", "clocks", "clocks: two streams close up, correlation against lag, offset and skew"),
    entry(Place::ViewMenu, Command::Go(View::Agreement), &["a"], "view-agreement", "agreement", "agreement: difference against mean, bias and limits"),
    entry(Place::ViewMenu, Command::Go(View::Response), &["e"], "view-response", "response", "response: a sprint or step with the fitted model"),
    entry(Place::ViewMenu, Command::Go(View::References), &["f"], "view-references", "references", "references: who disagrees with whom, and the noisy one"),
    entry(Place::ViewMenu, Command::Go(View::Soak), &["h"], "view-soak", "heat soak", "heat soak: bias against time and temperature"),
    entry(Place::ViewMenu, Command::Go(View::Coverage), &["v"], "view-coverage", "coverage", "coverage: bias by power and cadence or wheel speed"),
    entry(Place::ViewMenu, Command::Go(View::Plan), &["p"], "view-plan", "plan", "plan: what the test plan asks and this ride lacks"),
    entry(Place::ViewMenu, Command::Close, &["esc"], "view-close", "leave", "stay in this view"),
    entry(Place::LandmarkMenu, Command::SetLandmarks(Landmarks::Edges), &["e"], "landmark-edges", "edges", "edges of segments"),
    entry(Place::LandmarkMenu, Command::SetLandmarks(Landmarks::Steps), &["c"], "landmark-changes", "changes", "changes of power, as the references show them"),
    entry(Place::LandmarkMenu, Command::SetLandmarks(Landmarks::Dropouts), &["d"], "landmark-dropouts", "dropouts", "dropouts of any stream"),
    entry(Place::LandmarkMenu, Command::SetLandmarks(Landmarks::Excursions), &["x"], "landmark-excursions", "excursions", "excursions: no reference shows what the source under test does"),
    entry(Place::LandmarkMenu, Command::SetLandmarks(Landmarks::Peaks), &["p"], "landmark-peaks", "peaks", "peaks: the highest efforts of the ride"),
    entry(Place::LandmarkMenu, Command::Close, &["esc"], "landmark-close", "leave", "leave it as it is"),
    entry(Place::CopyMenu, Command::Copy(Copied::Figures), &["f"], "copy-figures", "figures", "the figures of the window"),
    entry(Place::CopyMenu, Command::Copy(Copied::Text), &["t"], "copy-table", "table", "the segment table, as text"),
    entry(Place::CopyMenu, Command::Copy(Copied::Markdown), &["m"], "copy-markdown", "Markdown", "the segment table, as Markdown"),
    entry(Place::CopyMenu, Command::Copy(Copied::Csv), &["c"], "copy-csv", "CSV", "the segment table, as CSV"),
    entry(Place::CopyMenu, Command::Close, &["esc"], "copy-close", "leave", "copy nothing"),
    entry(Place::QuitQuestion, Command::SaveAndQuit, &["s"], "quit-save", "save and quit", "save and quit"),
    entry(Place::QuitQuestion, Command::QuitAnyway, &["d"], "quit-discard", "discard and quit", "discard what is not saved, and quit"),
    entry(Place::QuitQuestion, Command::Close, &["esc"], "quit-stay", "stay", "stay"),
    entry(Place::OverwriteQuestion, Command::SaveOver, &["o"], "overwrite", "overwrite", "overwrite it with what is here"),
    entry(Place::OverwriteQuestion, Command::Reload, &["r"], "overwrite-reload", "reload", "read theirs (undo brings yours back)"),
    entry(Place::OverwriteQuestion, Command::Close, &["esc"], "overwrite-not", "leave", "write nothing for now"),
    entry(Place::ReplaceQuestion, Command::Replace, &["o"], "export-over", "replace it", "replace it with the segment table"),
    entry(Place::ReplaceQuestion, Command::AskExport, &["n"], "export-elsewhere", "other name", "type another name"),
    entry(Place::ReplaceQuestion, Command::Close, &["esc"], "export-not", "leave", "export nothing"),
    entry(Place::RestoreQuestion, Command::Restore, &["r"], "restore", "restore", "restore them"),
    entry(Place::RestoreQuestion, Command::DeclineRestore, &["d"], "restore-decline", "drop", "drop them for good"),
    // Text and lists.
    entry(Place::Prompt, Command::Accept, &["enter"], "prompt-accept", "accept", "accept what is typed"),
    entry(Place::Prompt, Command::Close, &["esc", "ctrl-c"], "prompt-close", "leave", "leave everything as it was"),
    entry(Place::Prompt, Command::Erase(false), &["backspace"], "prompt-erase-back", "erase", "erase the character before the caret"),
    entry(Place::Prompt, Command::Erase(true), &["delete"], "prompt-erase", "erase after", "erase the character at the caret"),
    entry(Place::Prompt, Command::EraseAll, &["ctrl-u"], "prompt-erase-all", "erase all", "erase the whole line"),
    entry(Place::Prompt, Command::Caret(-1), &["left"], "prompt-left", "left", "caret left"),
    entry(Place::Prompt, Command::Caret(1), &["right"], "prompt-right", "right", "caret right"),
    entry(Place::Prompt, Command::CaretEnd(false), &["home"], "prompt-home", "start", "caret to the start of the line"),
    entry(Place::Prompt, Command::CaretEnd(true), &["end"], "prompt-end", "end", "caret to the end of the line"),
    entry(Place::Prompt, Command::Scroll(-1), &["up"], "prompt-pick-before", "before", "pick the line before, where there is a list"),
    entry(Place::Prompt, Command::Scroll(1), &["down"], "prompt-pick-after", "after", "pick the line after, where there is a list"),
    entry(Place::List, Command::Scroll(-1), &["up"], "list-up", "up", "one line up"),
    entry(Place::List, Command::Scroll(1), &["down"], "list-down", "down", "one line down"),
    entry(Place::List, Command::Scroll(-10), &["pageup"], "list-page-up", "page up", "ten lines up"),
    entry(Place::List, Command::Scroll(10), &["pagedown", "space"], "list-page-down", "page down", "ten lines down"),
    entry(Place::List, Command::Close, &["esc", "q", "?", "enter", "ctrl-c"], "list-close", "close", "close the list"),
];

/// The entry that does `command` in `place`, or in every view.
pub fn entry_of(place: Place, command: Command) -> Option<&'static Entry> {
    let of = |wanted: Place| {
        TABLE
            .iter()
            .find(|entry| entry.command == command && entry.place == wanted)
    };
    let in_study = matches!(place, Place::In(view) if view != View::Ride);
    of(place)
        .or_else(|| in_study.then(|| of(Place::Study)).flatten())
        .or_else(|| of(Place::Any))
}
