//! All figures of one window, and the table of a session: where the modules come together.

use std::ops::Range;

use super::agreement::{Comparison, Moments, compare};
use super::figures::{References, SegmentFigures, StreamFigures, Verdict};
use super::judge::{self, Evidence};
use super::references::{self, PairMeans};
use super::stats::{Sample, finite};
use super::uncertainty::StatedReference;
use crate::recording::Channel;
use crate::session::{Kind, Role, Segment, Session, Site};
use crate::timeline::{Aligned, Member, Span};

/// Label of the references' mean.
pub const CONSENSUS: &str = "consensus";

/// A window of an aligned ride.
#[derive(Clone, Debug)]
pub(super) struct Window<'a> {
    pub session: &'a Session,
    pub aligned: &'a Aligned,
    pub rows: Range<usize>,
}

/// The figures that are cheap enough to follow a brush: means and best efforts, agreement,
/// references, verdict. What takes a fit or a resampling is left out.
pub fn live(session: &Session, aligned: &Aligned, span: Span, kind: Kind) -> SegmentFigures {
    let window = Window {
        session,
        aligned,
        rows: aligned.grid.rows(span),
    };
    let comparisons = window.comparisons();
    let references = window.references();
    let mut verdicts = window.verdicts(kind, &comparisons, references.as_ref());
    let verdict = (!verdicts.is_empty()).then(|| verdicts.remove(0));
    SegmentFigures {
        id: 0,
        kind,
        from_s: span.from_s,
        to_s: span.to_s,
        set_point_w: None,
        note: String::new(),
        streams: window.streams(),
        agreement: comparisons
            .iter()
            .map(|(under_test, member, comparison)| {
                comparison.figures(window.label(*under_test), window.name(*member))
            })
            .collect(),
        references,
        verdict,
        further_verdicts: verdicts,
        noise: None,
        steady: None,
        sprint: None,
        ramp: None,
        gear_change: None,
        coast: None,
        heat_soak: None,
        cadence: Vec::new(),
    }
}

/// All figures of `segment`, which is the one numbered `id` (from 1).
pub fn figures(
    session: &Session,
    aligned: &Aligned,
    segment: &Segment,
    id: usize,
) -> SegmentFigures {
    let span = Span::new(segment.from_s, segment.to_s);
    let window = Window {
        session,
        aligned,
        rows: aligned.grid.rows(span),
    };
    SegmentFigures {
        id,
        set_point_w: segment.set_point_w,
        note: segment.note.clone(),
        noise: window.noise(),
        ..live(session, aligned, span, segment.kind)
    }
}

impl<'a> Window<'a> {
    fn label(&self, index: usize) -> &'a str {
        let stream = self.session.streams.get(index);
        stream.map_or("?", |stream| stream.label.as_str())
    }

    /// What a member is called.
    pub(super) fn name(&self, member: Member) -> &'a str {
        match member {
            Member::Stream(index) => self.label(index),
            Member::Consensus => CONSENSUS,
        }
    }

    fn site(&self, index: usize) -> Option<Site> {
        self.session.streams.get(index)?.site
    }

    /// A stream's channel over the window.
    pub(super) fn column(&self, index: usize, channel: Channel) -> Option<&'a [f64]> {
        let column = self.aligned.tracks.get(index)?.column(channel)?;
        column.get(self.rows.clone())
    }

    /// A member's power over the window, W.
    pub(super) fn power(&self, member: Member) -> Option<&'a [f64]> {
        self.aligned.power(member)?.get(self.rows.clone())
    }

    fn streams(&self) -> Vec<StreamFigures> {
        (0..self.aligned.tracks.len())
            .filter_map(|index| {
                let power = self.column(index, Channel::Power)?;
                let sample = Sample::present(power.iter().copied());
                let n = power.iter().filter(|v| v.is_finite()).count();
                let mean = power.iter().filter(|v| v.is_finite()).sum::<f64>() / n as f64;
                Some(StreamFigures {
                    label: self.label(index).to_owned(),
                    n,
                    mean_w: finite(mean),
                    sd_w: sample.as_ref().and_then(|s| finite(s.sd())),
                    max_w: power
                        .iter()
                        .copied()
                        .filter(|v| v.is_finite())
                        .reduce(f64::max),
                    best_5s_w: None,
                    cadence_mean_rpm: self
                        .column(index, Channel::Cadence)
                        .and_then(|c| Sample::present(c.iter().copied()))
                        .map(|s| s.mean()),
                })
            })
            .collect()
    }

    /// Each source under test against each reference and the consensus.
    fn comparisons(&self) -> Vec<(usize, Member, Comparison)> {
        let pairs = self.aligned.comparisons();
        pairs
            .iter()
            .map(|pair| {
                let (x, y) = (Member::Stream(pair.under_test), pair.reference);
                let compared = compare(self.rows.clone(), |rows| {
                    let totals = self.aligned.pair_totals(x, y, rows);
                    totals.map_or_else(Moments::default, Moments::from)
                });
                (pair.under_test, pair.reference, compared)
            })
            .collect()
    }

    fn stated(&self, index: usize) -> StatedReference {
        StatedReference {
            label: self.label(index).to_owned(),
            claim: self.session.claim_of(index),
        }
    }

    /// The references against each other.
    fn references(&self) -> Option<References> {
        let indices: Vec<usize> = self.aligned.powered(Role::Reference).collect();
        let mut pairs = Vec::new();
        for (first, &a) in indices.iter().enumerate() {
            for (second, &b) in indices.iter().enumerate().skip(first + 1) {
                let (x, y) = (Member::Stream(a), Member::Stream(b));
                let totals = self.aligned.pair_totals(x, y, self.rows.clone());
                if let Some(totals) = totals.filter(|t| t.n >= 2) {
                    pairs.push(PairMeans {
                        first,
                        second,
                        first_w: totals.mean_x,
                        second_w: totals.mean_y,
                    });
                }
            }
        }
        let stated: Vec<StatedReference> = indices.iter().map(|i| self.stated(*i)).collect();
        let sites: Vec<Option<Site>> = indices.iter().map(|i| self.site(*i)).collect();
        references::references(&stated, &sites, &pairs)
    }

    /// The comparison a verdict rests on: the consensus, unless it covers less than half of what
    /// the best single reference covers (another one being missing for most of the window).
    fn basis<'c>(
        &self,
        under_test: usize,
        comparisons: &'c [(usize, Member, Comparison)],
    ) -> Option<&'c (usize, Member, Comparison)> {
        let own = || {
            comparisons
                .iter()
                .filter(|(index, ..)| *index == under_test)
        };
        let single = own()
            .filter(|(_, member, _)| *member != Member::Consensus)
            .max_by_key(|(_, _, c)| c.moments.n);
        let consensus = own().find(|(_, member, _)| *member == Member::Consensus);
        match (consensus, single) {
            (Some(joint), Some(one)) if 2 * joint.2.moments.n < one.2.moments.n => Some(one),
            (joint, one) => joint.or(one),
        }
    }

    /// One verdict a source under test, in session order.
    fn verdicts(
        &self,
        kind: Kind,
        comparisons: &[(usize, Member, Comparison)],
        references: Option<&References>,
    ) -> Vec<Verdict> {
        self.aligned
            .powered(Role::UnderTest)
            .map(|under_test| {
                let basis = self.basis(under_test, comparisons);
                let member = basis.map(|(_, member, _)| *member);
                let behind: Vec<usize> = match member {
                    Some(Member::Stream(index)) => vec![index],
                    Some(Member::Consensus) => self.behind_consensus(),
                    None => Vec::new(),
                };
                let stated: Vec<_> = behind.iter().map(|i| self.stated(*i)).collect();
                let sites: Vec<_> = behind.iter().map(|i| self.site(*i)).collect();
                let mut verdict = judge::verdict(&Evidence {
                    kind,
                    rows: self.rows.len(),
                    under_test: self.label(under_test),
                    site: self.site(under_test),
                    reference: member.map_or("", |m| self.name(m)),
                    comparison: basis.map(|(_, _, comparison)| comparison),
                    stated: &stated,
                    sites: &sites,
                    references,
                    claim: self.session.claim_of(under_test).unwrap_or_default(),
                    allowance: self.session.allowance,
                });
                self.say_single_basis(member, &mut verdict);
                verdict
            })
            .collect()
    }

    /// The references that have values in this window.
    fn behind_consensus(&self) -> Vec<usize> {
        self.aligned
            .powered(Role::Reference)
            .filter(|index| {
                let totals = self
                    .aligned
                    .power_totals(Member::Stream(*index), self.rows.clone());
                totals.is_some_and(|t| t.n > 0)
            })
            .collect()
    }

    fn say_single_basis(&self, member: Option<Member>, verdict: &mut Verdict) {
        let several = self.aligned.power(Member::Consensus).is_some();
        if let (Some(Member::Stream(index)), true) = (member, several) {
            verdict.reasons.push(format!(
                "for most of this stretch only {} has values, so it alone is the reference",
                self.label(index)
            ));
        }
    }

    fn noise(&self) -> Option<super::figures::NoisyOne> {
        let judged = |role: Role| matches!(role, Role::UnderTest | Role::Reference);
        let (labels, columns): (Vec<&str>, Vec<&[f64]>) = (0..self.aligned.tracks.len())
            .filter(|i| self.aligned.tracks.get(*i).is_some_and(|t| judged(t.role)))
            .filter_map(|i| Some((self.label(i), self.column(i, Channel::Power)?)))
            .unzip();
        super::hat::noisy_one(&labels, &columns)
    }
}
