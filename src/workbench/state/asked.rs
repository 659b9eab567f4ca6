//! What the open view is about, and the answers that it shows.

use std::sync::Arc;

use super::super::study::{About, Answer, Question, Wanted};
use super::State;
use super::parts::{Scope, View};
use crate::analysis::figures::SegmentFigures;
use crate::analysis::questions::Findings;
use crate::recording::Channel;
use crate::session::{Kind, Role};
use crate::timeline::Span;

impl State {
    /// What the open view is about; `None` where all it shows is at hand, as in the ride view
    /// unless the window is a segment of a kind with figures of its own.
    pub fn about(&self) -> Option<About> {
        let (span, segment) = self.scope_span();
        let comparison = About {
            view: self.view,
            span,
            segment,
            under_test: self.under_test(),
            basis: self.basis(),
            pair: None,
            channel: None,
            plan: None,
        };
        match self.view {
            View::Ride => Some(About {
                span: self.figures_span(),
                segment: Some(self.segment_with_figures()?),
                under_test: None,
                basis: None,
                ..comparison
            }),
            View::Agreement | View::Response | View::References | View::Soak => Some(comparison),
            View::Coverage => Some(About {
                channel: self.coverage_channel(),
                ..comparison
            }),
            View::ErrorCurve => Some(About {
                span: self.ride(),
                segment: None,
                basis: None,
                ..comparison
            }),
            View::Answers => Some(About {
                span: self.ride(),
                segment: None,
                under_test: None,
                basis: None,
                ..comparison
            }),
            View::Plan => Some(About {
                span: self.ride(),
                segment: None,
                under_test: None,
                basis: None,
                plan: self.plan,
                ..comparison
            }),
            View::Clocks => Some(About {
                span: self.ride(),
                segment: None,
                under_test: None,
                basis: None,
                pair: self
                    .other_stream()
                    .map(|other_stream| (self.stream, other_stream)),
                channel: self.matching_channel(),
                ..comparison
            }),
        }
    }

    /// The question about this as the state stands.
    pub fn question(&self, about: About) -> Question {
        Question {
            about,
            aligned: Arc::clone(&self.aligned),
            opened: self.opened.clone(),
            found: Arc::clone(&self.found),
        }
    }

    /// The answers, once they have come.
    pub fn answers(&self) -> Option<&Findings> {
        match &self.study {
            Some((_, Answer::Answers(findings))) => Some(findings),
            _ => None,
        }
    }

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

    /// Whether figures still wait for the search of the ride, or the open view for its answer.
    pub fn is_pending(&self) -> bool {
        match (&self.asked, &self.study) {
            (Some(Wanted::Answer(asked)), Some((answered, _))) => **asked != *answered,
            (Some(_), _) => true,
            (None, _) => !self.is_searched(),
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

    /// The stream whose clock is compared with that of the selected stream.
    pub fn other_stream(&self) -> Option<usize> {
        let other = |index: &usize| *index != self.stream;
        let count = self.session().streams.len();
        self.other_stream
            .filter(|index| other(index) && *index < count)
            .or_else(|| self.aligned.powered(Role::Reference).find(other))
            .or_else(|| (0..count).find(other))
    }

    /// The channels on which the two clocks can be compared, the most honest first.
    pub fn matching_channels(&self) -> Vec<Channel> {
        let Some(other_stream) = self.other_stream() else {
            return Vec::new();
        };
        let carries = |index: usize, channel: Channel| {
            let track = self.aligned.tracks.get(index);
            track.is_some_and(|track| track.column(channel).is_some())
        };
        [Channel::HeartRate, Channel::Cadence, Channel::Power]
            .into_iter()
            .filter(|channel| carries(self.stream, *channel) && carries(other_stream, *channel))
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
