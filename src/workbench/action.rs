//! The one table of everything that can be done at the keyboard. Dispatch, the help screen, the
//! status line, the list of actions, rebinding and the README's table all read [`TABLE`].

mod table;

use std::collections::HashMap;
use std::mem::{Discriminant, discriminant};
use std::sync::LazyLock;

use crate::session::Kind;

use super::state::{Edge, Lane, View};

pub use table::TABLE;

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

/// The entry that does `command` in `place`, or in every view.
pub fn entry_of(place: Place, command: Command) -> Option<&'static Entry> {
    let in_study = matches!(place, Place::In(view) if view != View::Ride);
    let rank = |entry: &Entry| match entry.place {
        found if found == place => Some(0),
        Place::Study if in_study => Some(1),
        Place::Any => Some(2),
        _ => None,
    };
    let alike = BY_COMMAND
        .get(&discriminant(&command))
        .into_iter()
        .flatten();
    alike
        .filter(|entry| entry.command == command)
        .filter_map(|entry| Some((rank(entry)?, entry)))
        .min_by_key(|(rank, _)| *rank)
        .map(|(_, entry)| *entry)
}

/// The entries by what they do, whatever with: the keys shown are looked up at every frame.
static BY_COMMAND: LazyLock<HashMap<Discriminant<Command>, Vec<&Entry>>> = LazyLock::new(|| {
    let mut found: HashMap<_, Vec<&Entry>> = HashMap::new();
    for entry in TABLE {
        found
            .entry(discriminant(&entry.command))
            .or_default()
            .push(entry);
    }
    found
});
