//! Everything the workbench knows, as plain data. [`super::update`] alone changes it; drawing only
//! reads it.

mod asked;
mod lines;
pub(super) mod parts;

pub use lines::Lines;
pub use parts::{
    Brush, Claimed, Copied, Edge, Held, Help, Landmarks, Lane, Mark, Message, Mode, Place, Prompt,
    Purpose, Scale, Scope, View, Walk, Writing, Written,
};

use std::path::PathBuf;
use std::sync::Arc;

use crate::analysis::agreement::Agreement;
use crate::analysis::figures::SegmentFigures;
use crate::analysis::ride::RideFindings;
use crate::analysis::segment;
use crate::analysis::verdict::figures::Verdict;
use crate::picture::claim::allowed_w;
use crate::recording::Channel;
use crate::session::history::History;
use crate::session::journal::Leftover;
use crate::session::{Kind, OpenedSession, Role, Session};
use crate::timeline::{Aligned, Member, Span};

use super::keymap::Keymap;
use super::smooth::{Basis, Smoothed};
use super::study::answers::Answered;
use super::study::{Answer, Found, Question, Wanted};
use super::theme::{Look, letters};
use super::traced::Traced;

/// The whole.
#[derive(Clone, Debug)]
pub struct State {
    /// The session with its recordings.
    pub opened: OpenedSession,
    /// The ride on one time line.
    pub aligned: Arc<Aligned>,
    /// The session as it was last saved or loaded.
    pub saved: Session,
    /// Undo and redo.
    pub history: History<Session>,
    /// Whether the session has a folder of its own; otherwise saving asks for one.
    pub has_folder: bool,
    /// Why edits are refused, where they are.
    pub read_only: Option<String>,
    /// What an earlier run left unsaved.
    pub leftover: Option<Leftover>,
    /// Whether the session file was changed after those.
    pub leftover_is_older: bool,
    /// Columns and rows of the screen.
    pub size: (u16, u16),
    /// The view.
    pub view: View,
    /// What the keys are for.
    pub mode: Mode,
    /// The stretch of time shown.
    pub shown: Span,
    /// Whether a segment that is selected is shown large.
    pub zooms: bool,
    /// Stretches shown before, the last one last.
    pub shown_before: Vec<Span>,
    /// Stretches to go forward to again.
    pub shown_after: Vec<Span>,
    /// The cursor, session time, s.
    pub cursor_s: f64,
    /// The window.
    pub brush: Brush,
    /// The selected segment.
    pub selected: Option<usize>,
    /// First line shown of what the view has no room for; `None`: where it starts by itself.
    pub scrolled: Option<usize>,
    /// The selected stream.
    pub stream: usize,
    /// Whether the list of streams lies under whatever the keys are for.
    pub in_streams: bool,
    /// Which streams are hidden.
    pub hidden: Vec<bool>,
    /// What the source under test is compared with; `None`: what verdicts rest on.
    pub reference: Option<Member>,
    /// Lanes shown, as [`Lane::ALL`].
    pub lanes: [bool; Lane::ALL.len()],
    /// Whether every figure stands beside the lanes, rather than what they show.
    pub all_figures: bool,
    /// Difference in % of the reference.
    pub percent: bool,
    /// Scales held, as [`Lane::ALL`]; `None` fits them to what is shown.
    pub held_scales: Option<[Option<Scale>; Lane::ALL.len()]>,
    /// The picture is smoothed over this many seconds; 1 is raw.
    pub smooth_s: u32,
    /// The smoothed series of the lanes shown; kept in step by `update`.
    pub smoothed: Option<Smoothed>,
    /// The traces of the lanes as they are drawn.
    pub traced: Option<Traced>,
    /// What the landmark keys stop at.
    pub landmarks: Landmarks,
    /// The message shown, and how many actions ago it came.
    pub message: Option<(Message, u32)>,
    /// All messages.
    pub log: Vec<Message>,
    /// Keys.
    pub keymap: Keymap,
    /// Colours and glyphs.
    pub look: Look,
    /// Whether the mouse is ours.
    pub mouse: bool,
    /// Where a drag of the mouse began, session time, s.
    pub drag_from_s: Option<f64>,
    /// What was written in this run, the last of each path.
    pub written: Vec<Writing>,
    /// What is to be written, while it is asked whether to replace the file that is there.
    pub replacing: Option<Writing>,
    /// Where relative paths start.
    pub here: PathBuf,
    /// Whether the session is being saved to quit.
    pub quits_when_saved: bool,
    /// Figures of the window, or of what is shown; kept in step by `update`.
    pub figures: SegmentFigures,
    /// The same of each segment; kept in step by `update`.
    pub lines: Lines,
    /// What the whole ride shows; searched aside after each change of clocks or roles, until then
    /// what was found before.
    pub found: Arc<RideFindings>,
    /// The time line that it was found on; `None` before the first search.
    pub searched: Option<Arc<Aligned>>,
    /// Where the power changes, s, once it was asked for.
    pub change_points: Option<Vec<f64>>,
    /// One letter a stream.
    pub letters: Vec<char>,
    /// What the figures of the full-screen views are for.
    pub scope: Scope,
    /// What is computed aside or was last: the search of the ride, or the answer that the open view
    /// waits for or shows.
    pub asked: Option<Wanted>,
    /// The last answer to an open view, with its question.
    pub study: Option<(Question, Answer)>,
    /// What the whole ride said last, with the question.
    pub answered: Option<(Question, Answered)>,
    /// The stream whose clock is compared with that of the selected stream.
    pub other_stream: Option<usize>,
    /// The channel on which they are compared; `None` chooses.
    pub clock_channel: Option<Channel>,
    /// Whether coverage is by wheel speed rather than cadence, where both are recorded.
    pub coverage_by_speed: bool,
    /// The test plan that the ride is held against, by its place in the list of plans; `None`:
    /// the one that the session names.
    pub plan: Option<usize>,
    /// The selected answer, counted as they are shown.
    pub answer: usize,
    /// Length of the clocks' close-up, s.
    pub close_up_s: f64,
    /// The features to match: on the selected stream, on the other one.
    pub marks: [Option<Mark>; 2],
}

impl State {
    /// The workbench over a session just opened, on a screen of `size`.
    pub fn new(mut opened: OpenedSession, look: Look, keymap: Keymap, size: (u16, u16)) -> Self {
        // What the recordings tell is saved with the session, and is no edit of the tester's.
        let mut session = opened.session.clone();
        opened.note_in(&mut session);
        opened.session = session;
        let aligned = Arc::new(Aligned::new(&opened));
        let found = Arc::<RideFindings>::default();
        let shown = whole_ride(&aligned);
        let streams = opened.session.streams.len();
        let mut lanes = [false; Lane::ALL.len()];
        lanes[..3].fill(true);
        // A ride in the hills is hard to read without them, where there is room for a lane more.
        const ROOM: u16 = 30;
        for (lane, shown) in Lane::ALL.iter().zip(&mut lanes) {
            let is_grade = *lane == Lane::Channel(Channel::Grade);
            *shown |= is_grade && size.1 >= ROOM && has_slopes(&aligned);
        }
        let letters = letters(&opened.session.streams);
        let mut state = Self {
            saved: opened.session.clone(),
            figures: segment::live(&opened.session, &aligned, &found, shown, Kind::Open),
            lines: Lines::default(),
            found,
            searched: None,
            aligned,
            opened,
            history: History::default(),
            has_folder: true,
            read_only: None,
            leftover: None,
            leftover_is_older: false,
            size,
            view: View::Ride,
            mode: Mode::View,
            shown,
            zooms: true,
            shown_before: Vec::new(),
            shown_after: Vec::new(),
            cursor_s: shown.from_s,
            brush: Brush {
                window: None,
                held: Held::Nothing,
            },
            selected: None,
            scrolled: None,
            stream: 0,
            in_streams: false,
            hidden: vec![false; streams],
            reference: None,
            lanes,
            all_figures: false,
            percent: true,
            held_scales: None,
            smooth_s: 1,
            smoothed: None,
            traced: None,
            landmarks: Landmarks::Useful,
            message: None,
            log: Vec::new(),
            keymap,
            look,
            mouse: true,
            drag_from_s: None,
            written: Vec::new(),
            replacing: None,
            here: PathBuf::new(),
            quits_when_saved: false,
            change_points: None,
            letters,
            scope: Scope::Window,
            asked: None,
            study: None,
            answered: None,
            other_stream: None,
            clock_channel: None,
            coverage_by_speed: false,
            plan: None,
            answer: 0,
            close_up_s: 60.0,
            marks: [None, None],
        };
        state.stream = state.under_test().unwrap_or(0);
        state.refresh_lines();
        state
    }

    /// The session.
    pub fn session(&self) -> &Session {
        &self.opened.session
    }

    /// Whether something would be lost by quitting now.
    pub fn unsaved(&self) -> bool {
        self.opened.session != self.saved
    }

    /// The whole ride; never empty.
    pub fn ride(&self) -> Span {
        whole_ride(&self.aligned)
    }

    /// Whether times need hours.
    pub fn long(&self) -> bool {
        self.ride().to_s >= 3600.0
    }

    /// The source under test that is compared: the selected one, else the first.
    pub fn under_test(&self) -> Option<usize> {
        let mut powered = self.aligned.powered(Role::UnderTest);
        let in_hand = self
            .aligned
            .powered(Role::UnderTest)
            .find(|i| *i == self.stream);
        in_hand.or_else(|| powered.next())
    }

    /// What it is compared with.
    pub fn basis(&self) -> Option<Member> {
        self.reference
            .filter(|member| self.aligned.references().contains(member))
            .or_else(|| self.aligned.basis())
    }

    /// Name of a member for the screen.
    pub fn member_name(&self, member: Member) -> &str {
        match member {
            Member::Stream(index) => self
                .session()
                .streams
                .get(index)
                .map_or("", |stream| stream.label.as_str()),
            Member::Consensus => crate::session::CONSENSUS,
        }
    }

    /// Where keys are looked up, in turn.
    pub fn places(&self) -> Vec<Place> {
        match &self.mode {
            Mode::View if self.view == View::Ride => vec![Place::In(self.view), Place::Any],
            Mode::View if self.view == View::Answers => {
                vec![Place::Answers, Place::Study, Place::Any]
            }
            Mode::View => vec![Place::In(self.view), Place::Study, Place::Any],
            Mode::Streams => vec![Place::Streams],
            Mode::Clock => vec![Place::Clock],
            Mode::Walk(_) => vec![Place::Walk],
            Mode::Menu(place) => vec![*place],
            Mode::Prompt(_) => vec![Place::Prompt],
            Mode::Help(help) if help.typing => vec![Place::Narrowing],
            Mode::Help(_) | Mode::Log(_) => vec![Place::List],
        }
    }

    /// The first key of an action, for messages.
    pub fn key(&self, name: &str) -> String {
        let key = self.keymap.keys_of(name).first();
        key.map_or_else(|| "(no key)".to_owned(), |key| key.label(self.look.ascii))
    }

    /// Whether there is a window, so that figures are for it rather than for what is in view.
    pub fn is_brushed(&self) -> bool {
        self.brush.window.is_some_and(|w| w.duration_s() > 0.0)
    }

    /// The stretch the figures are for: the window, else what is shown.
    pub fn figures_span(&self) -> Span {
        self.brush
            .window
            .filter(|window| window.duration_s() > 0.0)
            .unwrap_or(self.shown)
    }

    /// What a window is taken for: the selected segment's kind while it is that segment.
    pub fn figures_kind(&self) -> Kind {
        let selected = self.selected.and_then(|i| self.session().segments.get(i));
        let window = self.brush.window;
        selected
            .filter(|segment| window == Some(Span::new(segment.from_s, segment.to_s)))
            .map_or(Kind::Open, |segment| segment.kind)
    }

    /// The comparison in view, of the figures of a window or a segment.
    pub fn compared<'a>(&self, figures: &'a SegmentFigures) -> Option<&'a Agreement> {
        let under_test = self.member_name(Member::Stream(self.under_test()?));
        let reference = self.member_name(self.basis()?);
        figures
            .agreement
            .iter()
            .find(|a| a.under_test == under_test && a.reference == reference)
    }

    /// The verdict on the source under test that is compared.
    pub fn judged<'a>(&self, figures: &'a SegmentFigures) -> Option<&'a Verdict> {
        let under_test = self.member_name(Member::Stream(self.under_test()?));
        let mut verdicts = figures.verdict.iter().chain(&figures.further_verdicts);
        verdicts.find(|verdict| verdict.under_test == under_test)
    }

    /// [`allowed_w`] of the source under test that is compared.
    pub fn allowed_w(&self, level_w: f64) -> Option<(f64, f64)> {
        allowed_w(self.session(), self.under_test()?, level_w)
    }

    /// Computes the figures anew where they are for another stretch than the one in view, or
    /// `anyway`.
    pub(super) fn refresh_figures(&mut self, anyway: bool) {
        let (span, kind) = (self.figures_span(), self.figures_kind());
        let known = Span {
            from_s: self.figures.from_s,
            to_s: self.figures.to_s,
        };
        if !anyway && (span, kind) == (known, self.figures.kind) {
            return;
        }
        self.figures = segment::live(self.session(), &self.aligned, &self.found, span, kind);
    }

    /// Prepares the smoothed picture where it is not that of the picture wanted.
    pub(super) fn refresh_smoothed(&mut self) {
        let known = self.smoothed.take();
        let basis = Basis {
            aligned: Arc::clone(&self.aligned),
            seconds: self.smooth_s,
            lanes: self.lanes,
            percent: self.percent,
            compared: self.under_test().zip(self.basis()),
        };
        self.smoothed = Smoothed::of(basis, known);
    }

    pub(super) fn refresh_lines(&mut self) {
        let known = std::mem::take(&mut self.lines);
        self.lines = Lines::of(self.session(), &self.aligned, &self.found, known);
    }

    /// Whether what the ride shows was found on its time line as it is.
    pub fn is_searched(&self) -> bool {
        let searched = self.searched.as_ref();
        searched.is_some_and(|aligned| Arc::ptr_eq(aligned, &self.aligned))
    }

    /// Takes over what the ride shows, with all figures that rest on it.
    pub(super) fn take_findings(&mut self, found: Found) {
        if !Arc::ptr_eq(&found.aligned, &self.aligned) {
            return;
        }
        self.found = found.findings;
        self.searched = Some(found.aligned);
        self.refresh_lines();
        self.refresh_figures(true);
    }

    /// Shows a message and keeps it in the log.
    pub(super) fn note(&mut self, text: String, warns: bool) {
        let message = Message { text, warns };
        self.log.push(message.clone());
        self.message = Some((message, 0));
    }

    /// Shows a message that only points to others.
    pub(super) fn show(&mut self, text: String, warns: bool) {
        self.message = Some((Message { text, warns }, 0));
    }
}

/// Whether a recording holds more than one grade.
fn has_slopes(aligned: &Aligned) -> bool {
    let mut grades = aligned
        .tracks
        .iter()
        .filter_map(|t| t.column(Channel::Grade));
    grades.any(|grade| {
        let mut grades = grade.iter().filter(|percent| !percent.is_nan());
        let first = grades.next();
        grades.any(|percent| Some(percent) != first)
    })
}

fn whole_ride(aligned: &Aligned) -> Span {
    let span = aligned.grid.span();
    Span {
        from_s: span.from_s,
        to_s: span.to_s.max(span.from_s + 1.0),
    }
}
