//! What a picture is of: a window of an aligned ride with its figures.

use std::ops::Range;

use super::parts::{Axis, Ticks};
use super::tone::Tone;
use crate::analysis::agreement::Agreement;
use crate::analysis::figures::SegmentFigures;
use crate::analysis::questions::Question;
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
    /// The comparison that was asked for; else the first source under test against what its verdict
    /// rests on.
    pub chosen: Option<(usize, Member)>,
    /// The question that a proof is of; else whether the source reads within its claim.
    pub question: Option<Question>,
}

/// Power of the source under test and of what it is compared with, over a window, W; `NaN` is
/// missing, or no reading.
#[derive(Clone, Debug, PartialEq)]
pub struct Compared {
    /// The source under test.
    pub under_test: usize,
    /// What it is compared with.
    pub basis: Member,
    /// Power of the one.
    pub source: Vec<f64>,
    /// Power of the other.
    pub reference: Vec<f64>,
}

impl<'a> Subject<'a> {
    /// The whole ride.
    pub fn ride(session: &'a Session, aligned: &'a Aligned, findings: &'a RideFindings) -> Self {
        let span = aligned.grid.span();
        let figures = segment::live(session, aligned, findings, span, Kind::Open);
        Self::of(session, aligned, findings, figures)
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
        Self::of(session, aligned, findings, figures)
    }

    /// A window whose figures are at hand.
    pub fn of(
        session: &'a Session,
        aligned: &'a Aligned,
        findings: &'a RideFindings,
        figures: SegmentFigures,
    ) -> Self {
        Self {
            session,
            aligned,
            findings,
            figures,
            chosen: None,
            question: None,
        }
    }

    /// The window.
    pub fn span(&self) -> Span {
        Span::new(self.figures.from_s, self.figures.to_s)
    }

    /// The window's time, from left to right.
    pub fn time_axis(&self) -> Axis {
        let span = self.span();
        Axis {
            label: "session time".to_owned(),
            unit: "",
            range: [span.from_s, span.to_s],
            ticks: Ticks::Clock,
        }
    }

    /// Its rows of the grid.
    pub fn rows(&self) -> Range<usize> {
        self.aligned.grid.rows(self.span())
    }

    /// A stream's channel over the window.
    pub fn column(&self, stream: usize, channel: Channel) -> Option<&'a [f64]> {
        let column = self.aligned.tracks.get(stream)?.column(channel)?;
        column.get(self.rows())
    }

    /// A member's power over the window without the seconds that are no readings: what figures
    /// are made of.
    pub fn readings(&self, member: Member) -> Option<Vec<f64>> {
        let readings = self.findings.readings(self.aligned, member)?;
        Some(readings.get(self.rows())?.to_vec())
    }

    /// A member's power over the window, as recorded.
    pub fn power(&self, member: Member) -> Option<&'a [f64]> {
        self.aligned.power(member)?.get(self.rows())
    }

    /// Session time of each row of the window, s.
    pub fn times(&self) -> impl Iterator<Item = f64> + use<'a> {
        let grid = self.aligned.grid;
        self.rows().map(move |row| grid.time_s(row))
    }

    /// Values against session time.
    pub fn against_time(&self, values: impl IntoIterator<Item = f64>) -> Vec<[f64; 2]> {
        self.times().zip(values).map(|(t, v)| [t, v]).collect()
    }

    /// A stream's label.
    pub fn label(&self, stream: usize) -> String {
        let stream = self.session.streams.get(stream);
        stream.map_or_else(String::new, |stream| one_line(&stream.label))
    }

    /// What a member is called.
    pub fn name(&self, member: Member) -> String {
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

    /// The chosen source under test, else the first with power.
    ///
    /// # Errors
    /// Why there is none.
    pub fn under_test(&self) -> Result<usize, String> {
        if let Some((under_test, _)) = self.chosen {
            return Ok(under_test);
        }
        self.aligned.powered(Role::UnderTest).next().ok_or_else(|| {
            "no stream under test carries power; give one role = \"under-test\" in session.toml"
                .to_owned()
        })
    }

    /// What it is compared with: what was chosen, else what its verdict rests on.
    ///
    /// # Errors
    /// Why there is none.
    pub fn basis(&self) -> Result<Member, String> {
        if let Some((_, basis)) = self.chosen {
            return Ok(basis);
        }
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
    pub fn pair(&self, under_test: usize, reference: Member) -> Option<&Agreement> {
        let source = self.json_name(Member::Stream(under_test));
        let reference = self.json_name(reference);
        let mut all = self.figures.agreement.iter();
        all.find(|a| a.under_test == source && a.reference == reference)
    }

    /// The claim of a source; none allows nothing.
    pub fn claim(&self, under_test: usize) -> Claim {
        self.session.claim_of(under_test).unwrap_or_default()
    }

    /// What a stream is in a picture.
    pub fn tone(&self, stream: usize) -> Tone {
        let Some(track) = self.aligned.tracks.get(stream) else {
            return Tone::Context;
        };
        let number = || {
            let before = self.aligned.tracks.iter().take(stream);
            before.filter(|other| other.role == track.role).count()
        };
        match track.role {
            Role::UnderTest => Tone::Source(number()),
            Role::Reference => Tone::Reference(number()),
            Role::Context => Tone::Context,
        }
    }

    /// What a member is in a picture; the mean of the references looks like the first.
    pub fn tone_of(&self, member: Member) -> Tone {
        match member {
            Member::Stream(stream) => self.tone(stream),
            Member::Consensus => Tone::Reference(0),
        }
    }

    /// The readings of the source under test and of what it is compared with.
    ///
    /// # Errors
    /// Why there are none.
    pub fn compared(&self) -> Result<Compared, String> {
        let under_test = self.under_test()?;
        let basis = self.basis()?;
        let missing = || "no power in this window".to_owned();
        let source = self.readings(Member::Stream(under_test));
        let source = source.ok_or_else(missing)?;
        let reference = self.readings(basis).ok_or_else(missing)?;
        let mut both = source.iter().zip(&reference);
        if !both.any(|(x, y)| (x - y).is_finite()) {
            return Err("no second of this window has both values".to_owned());
        }
        Ok(Compared {
            under_test,
            basis,
            source,
            reference,
        })
    }

    /// Title of a picture: what it shows, of which segment, of which session.
    pub fn title(&self, what: &str) -> String {
        let title = one_line(&self.session.title);
        let (id, span) = (self.figures.id, self.span());
        let own = id.checked_sub(1);
        let own = own.and_then(|index| self.session.segments.get(index));
        let of = match (id, own) {
            (0, _) if span == self.aligned.grid.span() => "whole ride".to_owned(),
            (0, _) => format!("{} to {}", clock_time(span.from_s), clock_time(span.to_s)),
            // Whatever kind its figures were computed for.
            (_, Some(segment)) => format!("segment {id}, {}", segment.kind),
            (_, None) => format!("segment {id}, {}", self.figures.kind),
        };
        if title.is_empty() {
            format!("{what} – {of}")
        } else {
            format!("{title}: {what} – {of}")
        }
    }

    /// Window, samples, smoothing.
    pub fn window_fact(&self, n: usize) -> String {
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
pub fn signed(value: f64, decimals: usize) -> String {
    number(value, decimals, true).replace('-', "−")
}

/// `value` with decimals and a real minus.
pub fn plain(value: f64, decimals: usize) -> String {
    number(value, decimals, false).replace('-', "−")
}
