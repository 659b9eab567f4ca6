//! What a picture is of: a window of an aligned ride with its figures.

use std::ops::Range;

use super::picture::{Axis, Ticks};
use crate::analysis::agreement::Agreement;
use crate::analysis::figures::SegmentFigures;
use crate::analysis::ride::RideFindings;
use crate::analysis::segment;
use crate::recording::Channel;
use crate::session::CONSENSUS;
use crate::session::{Claim, Kind, Role, Segment, Session};
use crate::text::{clock_time, number, one_line};
use crate::timeline::{Aligned, Member, Span};

/// A window of a ride, with its figures.
#[derive(Clone, Debug)]
pub struct Subject<'a> {
    /// The session.
    pub session: &'a Session,
    /// Its ride.
    pub aligned: &'a Aligned,
    /// What the whole ride shows.
    pub findings: &'a RideFindings,
    /// Figures of the window.
    pub figures: SegmentFigures,
}

impl<'a> Subject<'a> {
    /// The whole ride.
    pub fn ride(session: &'a Session, aligned: &'a Aligned, findings: &'a RideFindings) -> Self {
        let span = aligned.grid.span();
        let figures = segment::live(session, aligned, findings, span, Kind::Open);
        Self {
            session,
            aligned,
            findings,
            figures,
        }
    }

    /// A segment, the one numbered `id` from 1.
    pub fn segment(
        session: &'a Session,
        aligned: &'a Aligned,
        findings: &'a RideFindings,
        segment: &Segment,
        id: usize,
    ) -> Self {
        let figures = segment::figures_with(session, aligned, findings, segment, id);
        Self {
            session,
            aligned,
            findings,
            figures,
        }
    }

    pub(super) fn span(&self) -> Span {
        Span::new(self.figures.from_s, self.figures.to_s)
    }

    /// The window's time, from left to right.
    pub(super) fn time_axis(&self) -> Axis {
        let span = self.span();
        Axis {
            label: "session time, h:mm:ss".to_owned(),
            range: [span.from_s, span.to_s],
            ticks: Ticks::Clock,
        }
    }

    pub(super) fn rows(&self) -> Range<usize> {
        self.aligned.grid.rows(self.span())
    }

    /// A stream's channel over the window.
    pub(super) fn column(&self, stream: usize, channel: Channel) -> Option<&'a [f64]> {
        let column = self.aligned.tracks.get(stream)?.column(channel)?;
        column.get(self.rows())
    }

    /// A member's power over the window without the seconds that are no readings: what figures
    /// are made of.
    pub(super) fn readings(&self, member: Member) -> Option<Vec<f64>> {
        let readings = self.findings.readings(self.aligned, member)?;
        Some(readings.get(self.rows())?.to_vec())
    }

    /// A member's power over the window, as recorded.
    pub(super) fn power(&self, member: Member) -> Option<&'a [f64]> {
        self.aligned.power(member)?.get(self.rows())
    }

    /// Session time of each row of the window, s.
    pub(super) fn times(&self) -> impl Iterator<Item = f64> + use<'a> {
        let grid = self.aligned.grid;
        self.rows().map(move |row| grid.time_s(row))
    }

    /// Values against session time.
    pub(super) fn against_time(&self, values: impl IntoIterator<Item = f64>) -> Vec<[f64; 2]> {
        self.times().zip(values).map(|(t, v)| [t, v]).collect()
    }

    pub(super) fn label(&self, stream: usize) -> String {
        let stream = self.session.streams.get(stream);
        stream.map_or_else(String::new, |stream| one_line(&stream.label))
    }

    pub(super) fn name(&self, member: Member) -> String {
        match member {
            Member::Stream(stream) => self.label(stream),
            Member::Consensus => "mean of the references".to_owned(),
        }
    }

    /// The label of the JSON.
    fn json_name(&self, member: Member) -> &str {
        match member {
            Member::Stream(index) => self
                .session
                .streams
                .get(index)
                .map_or("", |stream| &stream.label),
            Member::Consensus => CONSENSUS,
        }
    }

    /// The first source under test with power.
    pub(super) fn under_test(&self) -> Result<usize, String> {
        self.aligned.powered(Role::UnderTest).next().ok_or_else(|| {
            "no stream under test carries power; give one role = \"under-test\" in session.toml"
                .to_owned()
        })
    }

    /// What it is compared with: what its verdict rests on.
    pub(super) fn basis(&self) -> Result<Member, String> {
        let judged = self.figures.verdict.as_ref().map(|v| v.reference.as_str());
        let members = self.aligned.references();
        members
            .iter()
            .copied()
            .find(|member| Some(self.json_name(*member)) == judged)
            .or(members.last().copied())
            .ok_or_else(|| "no reference carries power".to_owned())
    }

    /// Figures of the pair.
    pub(super) fn pair(&self, under_test: usize, reference: Member) -> Option<&Agreement> {
        let source = self.json_name(Member::Stream(under_test));
        let reference = self.json_name(reference);
        let mut all = self.figures.agreement.iter();
        all.find(|a| a.under_test == source && a.reference == reference)
    }

    pub(super) fn claim(&self, under_test: usize) -> Claim {
        self.session.claim_of(under_test).unwrap_or_default()
    }

    /// Title of a picture: what it shows, of which segment, of which session.
    pub(super) fn title(&self, what: &str) -> String {
        let title = one_line(&self.session.title);
        let of = if self.figures.id == 0 {
            "whole ride".to_owned()
        } else {
            format!("segment {}, {}", self.figures.id, self.figures.kind)
        };
        if title.is_empty() {
            format!("{what} – {of}")
        } else {
            format!("{title}: {what} – {of}")
        }
    }

    /// Window, samples, smoothing.
    pub(super) fn window_fact(&self, n: usize) -> String {
        let span = self.span();
        format!(
            "Window {} to {} ({} s), {n} of {} samples on the 1 s grid, no smoothing.",
            clock_time(span.from_s),
            clock_time(span.to_s),
            number(span.duration_s(), 0, false),
            self.rows().len()
        )
    }
}

/// `value` with sign, decimals and a real minus.
pub(super) fn signed(value: f64, decimals: usize) -> String {
    number(value, decimals, true).replace('-', "−")
}

/// `value` with decimals and a real minus.
pub(super) fn plain(value: f64, decimals: usize) -> String {
    number(value, decimals, false).replace('-', "−")
}
