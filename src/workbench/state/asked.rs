//! What the open view is about, and the answers that it shows.

use std::sync::Arc;

use super::super::study::{About, Answer, Question, Wanted};
use super::State;
use super::parts::{Compares, Scope, View};
use crate::analysis::figures::SegmentFigures;
use crate::analysis::questions::Findings;
use crate::export::table::ShortRow;
use crate::recording::Channel;
use crate::session::{Kind, Role};
use crate::timeline::{Member, Span};

impl State {
    /// What the open view is about; `None` where all it shows is at hand, as in the ride view
    /// unless the window is a segment of a kind with figures of its own.
    pub fn about(&self) -> Option<About> {
        let (span, segment) = if self.view.is_of_whole_ride() {
            (self.ride(), None)
        } else {
            self.scope_span()
        };
        let compares = self.view.compares();
        let about = About {
            view: self.view,
            span,
            segment,
            under_test: self.under_test().filter(|_| compares != Compares::All),
            basis: self.basis().filter(|_| compares == Compares::Pair),
            pair: None,
            channel: None,
            plan: None,
        };
        Some(match self.view {
            View::Ride => About {
                span: self.figures_span(),
                segment: Some(self.segment_with_figures()?),
                ..about
            },
            View::Coverage => About {
                channel: self.coverage_channel(),
                ..about
            },
            View::Answers => return None,
            View::Plan => About {
                plan: self.plan,
                ..about
            },
            View::Clocks => About {
                pair: self.other_stream().map(|other| (self.stream, other)),
                channel: self.matching_channel(),
                ..about
            },
            _ => about,
        })
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

    /// What the open view computed, once it has come.
    pub fn shown<T: 'static>(&self) -> Option<&T> {
        match &self.study {
            Some((question, Answer::View(shown))) if question.about.view == self.view => {
                shown.get()
            }
            _ => None,
        }
    }

    /// What the answers are about: the whole ride, whatever view is open.
    pub fn about_ride(&self) -> About {
        About {
            view: View::Answers,
            span: self.ride(),
            segment: None,
            under_test: None,
            basis: None,
            pair: None,
            channel: None,
            plan: None,
        }
    }

    /// What is to be computed next, if anything is: what the ride shows on its time line, then what
    /// the open view waits for, then the answers. Each rests on what comes before it.
    pub fn wanted(&self) -> Option<Wanted> {
        if !self.is_searched() {
            return Some(Wanted::Findings(Arc::clone(&self.aligned)));
        }
        let own = self.about().filter(|about| !self.is_answered(*about));
        let next = own.or_else(|| (!self.answers_hold()).then(|| self.about_ride()))?;
        Some(Wanted::Answer(Box::new(self.question(next))))
    }

    /// Whether a question would be asked about this in the same way as things stand.
    fn holds(&self, question: &Question, about: About) -> bool {
        question.asks(about, &self.aligned, &self.found, self.session())
    }

    /// Whether the open view's answer is one to what it is about now.
    fn is_answered(&self, about: About) -> bool {
        let study = self.study.as_ref();
        study.is_some_and(|(question, _)| self.holds(question, about))
    }

    /// Whether the answers are those of the ride as it stands.
    pub fn answers_hold(&self) -> bool {
        let answered = self.answered.as_ref();
        answered.is_some_and(|(question, _)| self.holds(question, self.about_ride()))
    }

    /// The answers as they came last; `None` before the first, and where no stream has power.
    pub fn answers(&self) -> Option<&Findings> {
        let (_, answered) = self.answered.as_ref()?;
        Some(&answered.findings).filter(|findings| !findings.answers.is_empty())
    }

    /// The row of the short table for a segment and the source in view, as it came last, where it is
    /// of its stretch and kind as they are now.
    pub fn row_of(&self, index: usize) -> Option<&ShortRow> {
        let segment = self.session().segments.get(index)?;
        let source = self.under_test().map(Member::Stream);
        let source = source.map_or("", |member| self.member_name(member));
        let rows = &self.answered.as_ref()?.1.rows;
        // As the segments, the rows stand in order of time: every segment asks in every frame.
        let first = rows.partition_point(|row| row.from_s < segment.from_s);
        let mut own = rows[first..]
            .iter()
            .take_while(|row| row.from_s == segment.from_s);
        own.find(|row| {
            (row.length_s, row.kind) == (segment.to_s - segment.from_s, segment.kind)
                && row.under_test == source
        })
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
        match self.about() {
            _ if !self.is_searched() => true,
            Some(about) => !self.is_answered(about),
            None => self.view == View::Answers && !self.answers_hold(),
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
