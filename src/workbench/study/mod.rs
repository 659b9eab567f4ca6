//! What the full-screen views show beyond the figures at hand: a [`Question`] carries all it takes,
//! [`answer`] is a pure function of it, run aside so that no key waits.

pub mod agreement;
pub mod clocks;
pub mod coverage;
pub mod error_curve;
pub mod plan;
pub mod references;
pub mod response;
pub mod soak;
mod subject;

use std::sync::Arc;

use super::state::{Scope, State, View};
use crate::analysis::figures::{Coverage, SegmentFigures};
use crate::analysis::ride::RideFindings;
use crate::analysis::segment::figures_with;
use crate::plan::PlanCheck;
use crate::recording::Channel;
use crate::session::{Kind, OpenedSession};
use crate::timeline::{Aligned, Member, Span};

/// What a view is about; it is asked anew when this changes, or the session, or a clock.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct About {
    /// The view.
    pub view: View,
    /// The stretch of time.
    pub span: Span,
    /// The segment it is, where it is one.
    pub segment: Option<usize>,
    /// The source under test.
    pub under_test: Option<usize>,
    /// What it is compared with.
    pub basis: Option<Member>,
    /// The stream in hand and the one whose clock is compared.
    pub pair: Option<(usize, usize)>,
    /// The channel that matters.
    pub channel: Option<Channel>,
    /// The test plan chosen, by its place in the list.
    pub plan: Option<usize>,
}

impl About {
    /// What the open view is about; `None` where all it shows is at hand, as in the ride view
    /// unless the window is a segment of a kind with figures of its own.
    pub fn of(state: &State) -> Option<Self> {
        let (span, segment) = state.scope_span();
        let comparison = Self {
            view: state.view,
            span,
            segment,
            under_test: state.under_test(),
            basis: state.basis(),
            pair: None,
            channel: None,
            plan: None,
        };
        match state.view {
            View::Ride => Some(Self {
                span: state.figures_span(),
                segment: Some(state.segment_with_figures()?),
                under_test: None,
                basis: None,
                ..comparison
            }),
            View::Agreement | View::Response | View::References | View::Soak => Some(comparison),
            View::Coverage => Some(Self {
                channel: state.coverage_channel(),
                ..comparison
            }),
            View::ErrorCurve => Some(Self {
                span: state.ride(),
                segment: None,
                basis: None,
                ..comparison
            }),
            View::Plan => Some(Self {
                span: state.ride(),
                segment: None,
                under_test: None,
                basis: None,
                plan: state.plan,
                ..comparison
            }),
            View::Clocks => Some(Self {
                span: state.ride(),
                segment: None,
                under_test: None,
                basis: None,
                pair: state.mate().map(|mate| (state.stream, mate)),
                channel: state.matching_channel(),
                ..comparison
            }),
        }
    }
}

/// A question of a view, with all that its answer depends on.
#[derive(Clone, Debug)]
pub struct Question {
    /// What about.
    pub about: About,
    /// The ride on one time line.
    pub aligned: Arc<Aligned>,
    /// The session with its recordings (shared, so cheap to hold).
    pub opened: OpenedSession,
    /// What the whole ride shows.
    pub found: RideFindings,
}

impl PartialEq for Question {
    fn eq(&self, other: &Self) -> bool {
        self.about == other.about
            && Arc::ptr_eq(&self.aligned, &other.aligned)
            && self.opened.session == other.opened.session
    }
}

impl Question {
    /// The question as the state stands.
    pub fn new(about: About, state: &State) -> Self {
        Self {
            about,
            aligned: Arc::clone(&state.aligned),
            opened: state.opened.clone(),
            found: state.found.clone(),
        }
    }

    /// Whether it would be asked in the same way now.
    pub fn still_asks(&self, about: About, state: &State) -> bool {
        self.about == about
            && Arc::ptr_eq(&self.aligned, &state.aligned)
            && self.opened.session == *state.session()
    }
}

/// The answer to a question; boxed where it is long.
#[derive(Clone, Debug, PartialEq)]
pub enum Answer {
    /// Of the ride view: all figures of the selected segment.
    Segment(Box<SegmentFigures>),
    /// Of the clocks view.
    Clocks(Box<clocks::Clocks>),
    /// Of the agreement view.
    Agreement(Box<agreement::Agreed>),
    /// Of the response view.
    Response(Box<response::Responded>),
    /// Of the references view.
    References(Box<references::Compared>),
    /// Of the soak view.
    Soak(Box<soak::Soak>),
    /// Of the error curve's view.
    ErrorCurve(Box<error_curve::Shown>),
    /// Of the coverage view.
    Coverage(Coverage),
    /// Of the plan view.
    Plan(PlanCheck),
    /// There is nothing to show, and why, in a sentence.
    Nothing(String),
}

/// Answers a question; may take a second on a long ride.
pub fn answer(question: &Question) -> Answer {
    let answered = match question.about.view {
        View::Ride => segment_of(question).map(|a| Answer::Segment(Box::new(a))),
        View::Clocks => Ok(Answer::Clocks(Box::new(clocks::of(question)))),
        View::Agreement => agreement::of(question).map(|a| Answer::Agreement(Box::new(a))),
        View::Response => response::of(question).map(|a| Answer::Response(Box::new(a))),
        View::References => references::of(question).map(|a| Answer::References(Box::new(a))),
        View::Soak => soak::of(question).map(|a| Answer::Soak(Box::new(a))),
        View::ErrorCurve => error_curve::of(question).map(|a| Answer::ErrorCurve(Box::new(a))),
        View::Coverage => coverage::of(question).map(Answer::Coverage),
        View::Plan => plan::of(question).map(Answer::Plan),
    };
    answered.unwrap_or_else(Answer::Nothing)
}

fn segment_of(question: &Question) -> Result<SegmentFigures, String> {
    let session = &question.opened.session;
    let index = question.about.segment;
    let found = index.and_then(|index| Some((index, session.segments.get(index)?)));
    let (index, segment) = found.ok_or("no segment is selected")?;
    let (aligned, found) = (&question.aligned, &question.found);
    Ok(figures_with(session, aligned, found, segment, index + 1))
}

impl State {
    /// The segment that the window is, where its kind has figures of its own.
    pub fn segment_with_figures(&self) -> Option<usize> {
        self.selected.filter(|_| self.figures_kind() != Kind::Open)
    }

    /// The figures of that segment's kind, where they are known: of the segment as it is, or
    /// (while pending) as it was when they were last computed.
    pub fn kind_figures(&self) -> Option<&SegmentFigures> {
        let index = self.segment_with_figures()?;
        let (question, answer) = self.study.as_ref()?;
        let about = &question.about;
        match answer {
            Answer::Segment(figures)
                if about.segment == Some(index)
                    && about.span == self.figures_span()
                    && figures.kind == self.figures_kind() =>
            {
                Some(figures)
            }
            _ => None,
        }
    }

    /// Whether the open view still waits for its answer.
    pub fn is_pending(&self) -> bool {
        match (&self.asked, &self.study) {
            (Some(asked), Some((answered, _))) => asked != answered,
            (Some(_), None) => true,
            (None, _) => false,
        }
    }

    /// The stretch that a full-screen view is about, and the segment that it is.
    pub fn scope_span(&self) -> (Span, Option<usize>) {
        let selected = self
            .selected
            .filter(|index| *index < self.session().segments.len());
        match (self.scope, selected) {
            (Scope::Ride, _) => (self.ride(), None),
            (Scope::Segment, Some(index)) => {
                let segment = &self.session().segments[index];
                (Span::new(segment.from_s, segment.to_s), Some(index))
            }
            (Scope::Window | Scope::Segment, _) => {
                let span = self.figures_span();
                let is_it = |index: &usize| {
                    let segment = &self.session().segments[*index];
                    Span::new(segment.from_s, segment.to_s) == span
                };
                (span, selected.filter(is_it))
            }
        }
    }

    /// The stream whose clock is compared with that of the stream in hand.
    pub fn mate(&self) -> Option<usize> {
        use crate::session::Role;
        let other = |index: &usize| *index != self.stream;
        let count = self.session().streams.len();
        self.mate
            .filter(|index| other(index) && *index < count)
            .or_else(|| self.aligned.powered(Role::Reference).find(other))
            .or_else(|| (0..count).find(other))
    }

    /// The channels on which the two clocks can be compared, the most honest first.
    pub fn matching_channels(&self) -> Vec<Channel> {
        let Some(mate) = self.mate() else {
            return Vec::new();
        };
        let carries = |index: usize, channel: Channel| {
            let track = self.aligned.tracks.get(index);
            track.is_some_and(|track| track.column(channel).is_some())
        };
        [Channel::HeartRate, Channel::Cadence, Channel::Power]
            .into_iter()
            .filter(|channel| carries(self.stream, *channel) && carries(mate, *channel))
            .collect()
    }

    /// The channel on which they are compared.
    pub fn matching_channel(&self) -> Option<Channel> {
        let channels = self.matching_channels();
        self.clock_channel
            .filter(|channel| channels.contains(channel))
            .or_else(|| channels.first().copied())
    }

    /// The channels that power can be laid against in the coverage view.
    pub fn coverage_channels(&self) -> Vec<Channel> {
        let carried = |channel: &Channel| {
            let mut tracks = self.aligned.tracks.iter();
            tracks.any(|track| track.column(*channel).is_some())
        };
        [Channel::Cadence, Channel::Speed]
            .into_iter()
            .filter(carried)
            .collect()
    }

    /// The one it is laid against.
    pub fn coverage_channel(&self) -> Option<Channel> {
        let channels = self.coverage_channels();
        let second = channels.get(1).filter(|_| self.coverage_by_speed);
        second.or(channels.first()).copied()
    }
}
