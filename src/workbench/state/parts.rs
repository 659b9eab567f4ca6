//! The parts that the state is made of.

use std::path::PathBuf;

use crate::recording::Channel;
use crate::suggest::Suggestion;
use crate::timeline::Span;

/// Whose power a view is about: where that changes, it is asked anew.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Compares {
    /// That of the source under test and of what it is compared with.
    Pair,
    /// That of the source under test.
    Source,
    /// That of every stream, or of none.
    All,
}

macro_rules! views {
    ($($(#[$doc:meta])* $view:ident: $title:literal, $whole_ride:literal, $compares:ident;)+) => {
        /// The full-screen views.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        pub enum View {
            $($(#[$doc])* $view),+
        }

        impl View {
            /// Name for the title bar and the help screen.
            pub const fn title(self) -> &'static str {
                match self {
                    $(View::$view => $title),+
                }
            }

            /// Whether it is about the whole ride, whatever is brushed or selected.
            pub const fn is_of_whole_ride(self) -> bool {
                match self {
                    $(View::$view => $whole_ride),+
                }
            }

            /// Whose power it is about.
            pub const fn compares(self) -> Compares {
                match self {
                    $(View::$view => Compares::$compares),+
                }
            }
        }
    };
}

// Name, whether it is about the whole ride, whose power it compares.
views! {
    /// Every question of a tester, one line each.
    Answers: "answers", true, All;
    /// The traces on one time line, with the figures for the window.
    Ride: "ride view", false, All;
    /// Two streams close up, and what fixes their clocks.
    Clocks: "clocks", true, All;
    /// Difference against mean.
    Agreement: "agreement", false, Pair;
    /// How the source under test answers a change of power.
    Response: "response", false, Pair;
    /// Who disagrees with whom.
    References: "references", false, All;
    /// Bias against time and temperature.
    Soak: "heat soak", false, Pair;
    /// Error against power over all blocks.
    ErrorCurve: "error curve", true, Source;
    /// Bias by power and cadence or wheel speed.
    Coverage: "coverage", false, Pair;
    /// What the test plan asks and this ride lacks.
    Plan: "plan", true, All;
}

/// A lane of the ride view.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lane {
    /// A channel of every stream.
    Channel(Channel),
    /// Under test − reference, with the claim as a band.
    Difference,
}

impl Lane {
    /// All lanes, in the order in which they are drawn.
    pub const ALL: [Lane; 11] = [
        Lane::Channel(Channel::Power),
        Lane::Difference,
        Lane::Channel(Channel::Cadence),
        Lane::Channel(Channel::Speed),
        Lane::Channel(Channel::HeartRate),
        Lane::Channel(Channel::Temperature),
        Lane::Channel(Channel::Balance),
        Lane::Channel(Channel::Grade),
        Lane::Channel(Channel::Torque),
        Lane::Channel(Channel::Resistance),
        Lane::Channel(Channel::Altitude),
    ];

    /// Name for messages.
    pub const fn name(self) -> &'static str {
        match self {
            Lane::Channel(channel) => channel.name(),
            Lane::Difference => "difference",
        }
    }
}

/// What the figures of a full-screen view are for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scope {
    /// The window; without one, what the ride view shows.
    Window,
    /// The selected segment.
    Segment,
    /// All of it.
    Ride,
}

/// A feature marked on a stream, on its recorder's clock so that it moves with it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark {
    /// The stream.
    pub stream: usize,
    /// Where, s by the recorder's clock.
    pub recorder_s: f64,
}

/// One edge of the window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Edge {
    /// The earlier one.
    Start,
    /// The later one.
    End,
}

/// What follows the cursor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Held {
    /// Nothing.
    Nothing,
    /// The edge that is not at `anchor_s`.
    Edge {
        /// The edge that stays, s.
        anchor_s: f64,
    },
    /// The whole window, which starts this long before the cursor.
    Whole {
        /// Cursor − start, s.
        lead_s: f64,
    },
}

/// Text being typed.
#[derive(Clone, Debug, PartialEq)]
pub struct Prompt {
    /// What for.
    pub purpose: Purpose,
    /// So far.
    pub text: String,
    /// Caret, counted in characters.
    pub caret: usize,
    /// Whether the text stands there as it was offered: what is typed takes its place.
    pub offered: bool,
    /// Why it was not accepted.
    pub refused: Option<String>,
    /// Which line of the list below is picked, where there is one.
    pub pick: usize,
}

/// What can be written to a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Written {
    /// The page with the answers first.
    Report,
    /// A row a segment and source.
    Table,
    /// What the open view draws.
    Picture,
    /// The seconds on one time line.
    Samples,
}

impl Written {
    /// Name for messages.
    pub const fn name(self) -> &'static str {
        match self {
            Written::Report => "the report",
            Written::Table => "the segment table",
            Written::Picture => "the picture",
            Written::Samples => "the samples",
        }
    }

    /// The endings of the forms that it can be written in.
    pub const fn endings(self) -> &'static [&'static str] {
        match self {
            Written::Report => &[".html"],
            Written::Table => &[".csv", ".json", ".md", ".txt"],
            Written::Picture => &[".svg", ".png"],
            Written::Samples => &[".csv", ".json"],
        }
    }
}

/// A file to be written, and what into it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Writing {
    /// What.
    pub what: Written,
    /// Where.
    pub path: PathBuf,
}

/// What a text is typed for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// A time to go to.
    Time,
    /// The set point of a segment.
    SetPoint,
    /// The note of a segment.
    Note,
    /// The label of the selected stream.
    Label,
    /// The session's title.
    Title,
    /// Masses and readings of the selected stream.
    Masses,
    /// Zero offset of the selected stream, before the ride or after it.
    Zero {
        /// After the ride.
        after: bool,
    },
    /// A number of a claim.
    Claim(Claimed),
    /// The file to write to.
    Write(Written),
    /// The folder to save a new session in.
    SaveAs,
    /// Part of an action's name or description.
    Find,
}

/// What the keys are for at the moment.
#[derive(Clone, Debug, PartialEq)]
pub enum Mode {
    /// The view.
    View,
    /// Saying what the streams are.
    Streams,
    /// Shifting the clock of the selected stream.
    Clock,
    /// Walking through suggested segments.
    Walk(Walk),
    /// A box of choices.
    Menu(Place),
    /// A line of text.
    Prompt(Prompt),
    /// The keys of the place the help was asked in.
    Help(Help),
    /// The messages so far, scrolled by so many lines.
    Log(usize),
}

/// The list of keys: how far it is scrolled, and what it is narrowed to.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Help {
    /// First line shown.
    pub first: usize,
    /// Words that every line shown holds.
    pub typed: String,
    /// Whether they are being typed.
    pub typing: bool,
}

/// A walk through proposed segments.
#[derive(Clone, Debug, PartialEq)]
pub struct Walk {
    /// The suggestions that were not tagged when the walk began.
    pub suggestions: Vec<Suggestion>,
    /// The one shown.
    pub at: usize,
}

/// A message.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// What.
    pub text: String,
    /// Whether something is wrong.
    pub warns: bool,
}

/// The brushed window and what follows the cursor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Brush {
    /// The window, if there is one.
    pub window: Option<Span>,
    /// What follows the cursor.
    pub held: Held,
}

/// The vertical scale of one lane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// Lowest value shown.
    pub low: f64,
    /// Highest value shown.
    pub high: f64,
}

impl Scale {
    /// The row, of `height` from the top, for `value`; values beyond the ends are at the ends.
    pub fn row(self, value: f64, height: usize) -> usize {
        self.rows(height)(value)
    }

    /// [`Scale::row`] for many values.
    pub fn rows(self, height: usize) -> impl Fn(f64) -> usize {
        let last = height.saturating_sub(1);
        let per_unit = last as f64 / (self.high - self.low);
        // A cast rounds down, to 0 at the least, and of NaN gives 0.
        move |value| (((self.high - value) * per_unit + 0.5) as u32 as usize).min(last)
    }
}

/// A number of a claim.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Claimed {
    /// Of the selected stream, ± % of reading.
    StreamPercent,
    /// Of the selected stream, ± W at least.
    StreamWatts,
    /// Length of the crank on which masses hung for the selected stream, mm.
    Crank,
    /// Of the session, ± % of reading.
    SessionPercent,
    /// Of the session, ± W at least.
    SessionWatts,
    /// The loss expected between the references' site and the one under test, %.
    AllowancePercent,
    /// How well that is known, ± percentage points.
    AllowancePoints,
    /// Rider and bike as entered in the app that simulated slopes, kg.
    Mass,
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
    /// Edges of segments, and between them laps or else changes of power.
    Useful,
    /// Edges of segments.
    Edges,
    /// Laps of the recordings.
    Laps,
    /// Where the power of the references changes.
    Steps,
    /// Dropouts.
    Dropouts,
    /// Excursions of the source under test.
    Excursions,
    /// The highest efforts.
    Peaks,
}

impl Landmarks {
    /// Plural name.
    pub const fn name(self) -> &'static str {
        match self {
            Landmarks::Useful => "landmarks",
            Landmarks::Edges => "segment edges",
            Landmarks::Laps => "laps",
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
    /// In the list of answers, which takes the arrows as every list does.
    Answers,
    /// In the list of what the streams are.
    Streams,
    /// While a clock is shifted.
    Clock,
    /// While walking through suggested segments.
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
    /// In the menu of what to write.
    WriteMenu,
    /// In the question whether to quit.
    QuitQuestion,
    /// In the question whether to overwrite a file that somebody else changed.
    OverwriteQuestion,
    /// In the question whether to replace a file.
    ReplaceQuestion,
    /// In the question whether to restore unsaved edits.
    RestoreQuestion,
    /// While text is typed.
    Prompt,
    /// In a list that scrolls.
    List,
    /// While the list of keys is narrowed.
    Narrowing,
}

impl Place {
    /// Every place, in the order of the help screen.
    pub const ALL: &'static [Place] = &[
        Place::Any,
        Place::In(View::Ride),
        Place::Study,
        Place::Answers,
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
        Place::WriteMenu,
        Place::QuitQuestion,
        Place::OverwriteQuestion,
        Place::ReplaceQuestion,
        Place::RestoreQuestion,
        Place::Prompt,
        Place::List,
        Place::Narrowing,
    ];

    /// Header over the keys of this place.
    pub const fn title(self) -> &'static str {
        match self {
            Place::Any => "in every view",
            Place::In(view) => view.title(),
            Place::Study => "in every view but the ride view",
            Place::Answers => "answers",
            Place::Streams => "streams: what they are",
            Place::Clock => "shifting a clock",
            Place::Walk => "walking through suggestions",
            Place::TagMenu => "tag the window as",
            Place::KindMenu => "change the kind to",
            Place::ViewMenu => "open view",
            Place::LandmarkMenu => "stop at",
            Place::CopyMenu => "copy to the clipboard",
            Place::WriteMenu => "write to a file",
            Place::QuitQuestion => "not everything is saved",
            Place::OverwriteQuestion => "session.toml was changed by somebody else",
            Place::ReplaceQuestion => "there is a file of that name",
            Place::RestoreQuestion => "unsaved edits of an earlier run",
            Place::Prompt => "typing",
            Place::List => "lists",
            Place::Narrowing => "narrowing the list of keys",
        }
    }
}
