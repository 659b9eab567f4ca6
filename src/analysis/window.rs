//! One stretch of an aligned ride: its columns, and who is compared with whom in it.

use std::borrow::Cow;
use std::ops::Range;

use rayon::prelude::*;

use super::agreement::{Comparison, Learnt, Moments, compare};
use super::loss::crosses_chain;
use super::pair_noise::PairNoise;
use super::ride::RideFindings;
use super::verdict::references::{self, Between, PairMeans};
use super::verdict::uncertainty::StatedReference;
use super::{noted, weights};
use crate::analysis::grubbs::NoisyOne;
use crate::analysis::verdict::references::References;
use crate::recording::Channel;
use crate::session::CONSENSUS;
use crate::session::{Role, Session, Site};
use crate::stats::noise::Noise;
use crate::timeline::{self, Aligned, Member, Span};

/// Rows from which on the pairs are compared side by side: below it takes less than to share them out.
const SIDE_BY_SIDE: usize = 3600;

/// Two meters are not so much alike, each rounded to whole watts, W: the rounding alone of two
/// independent readings leaves √(2/12) = 0.41 W.
const TWIN_SD_W: f64 = 0.3;

/// Fewer seconds may be alike by chance.
const TWIN_SECONDS: usize = 30;

/// A source under test (its index), what it is compared with, and the comparison.
pub(super) type Compared = (usize, Member, Comparison);

/// A window of an aligned ride. Seconds in which a stream is frozen or reads zero while others do
/// not (see [`super::dropout`]) are no readings: they take no part in comparisons.
#[derive(Clone, Debug)]
pub(super) struct Window<'a> {
    pub session: &'a Session,
    pub aligned: &'a Aligned,
    pub findings: &'a RideFindings,
    pub rows: Range<usize>,
}

impl<'a> Window<'a> {
    /// The rows of `span`.
    pub fn new(
        session: &'a Session,
        aligned: &'a Aligned,
        findings: &'a RideFindings,
        span: Span,
    ) -> Self {
        Self {
            session,
            aligned,
            findings,
            rows: aligned.grid.rows(span),
        }
    }

    /// Label of a stream.
    pub fn label(&self, index: usize) -> &'a str {
        let stream = self.session.streams.get(index);
        stream.map_or("?", |stream| stream.label.as_str())
    }

    /// What a member is called.
    pub fn name(&self, member: Member) -> &'a str {
        match member {
            Member::Stream(index) => self.label(index),
            Member::Consensus => CONSENSUS,
        }
    }

    /// Where a stream measures.
    pub fn site(&self, index: usize) -> Option<Site> {
        self.session.streams.get(index)?.site
    }

    /// A stream's channel over the window.
    pub fn column(&self, index: usize, channel: Channel) -> Option<&'a [f64]> {
        let column = self.aligned.tracks.get(index)?.column(channel)?;
        column.get(self.rows.clone())
    }

    /// A member's power over the window, W, as recorded.
    pub fn power(&self, member: Member) -> Option<&'a [f64]> {
        self.aligned.power(member)?.get(self.rows.clone())
    }

    /// A member's power over the window, W, without the seconds that are no readings.
    pub fn trusted_power(&self, member: Member) -> Option<Cow<'a, [f64]>> {
        let power = self.power(member)?;
        let untrusted = self.untrusted(member);
        if untrusted.is_empty() {
            return Some(Cow::Borrowed(power));
        }
        let mut column = power.to_vec();
        for rows in untrusted {
            if let Some(part) = column.get_mut(rows) {
                part.fill(f64::NAN);
            }
        }
        Some(Cow::Owned(column))
    }

    /// Rows, counted from the window's start, in which a member froze or read a false zero; for
    /// the consensus, any reference.
    pub fn untrusted(&self, member: Member) -> Vec<Range<usize>> {
        self.findings
            .untrusted(self.aligned, member)
            .filter_map(|rows| {
                let start = rows.start.max(self.rows.start);
                let end = rows.end.min(self.rows.end);
                (start < end).then(|| start - self.rows.start..end - self.rows.start)
            })
            .collect()
    }

    /// Each source under test against each reference and the consensus.
    pub fn comparisons(&self) -> Vec<Compared> {
        let pairs = self.aligned.comparisons();
        let of = |pair: &timeline::Comparison| {
            let (x, y) = (Member::Stream(pair.under_test), pair.reference);
            (pair.under_test, pair.reference, self.compared(x, y))
        };
        match self.rows.len() >= SIDE_BY_SIDE {
            true => pairs.par_iter().map(of).collect(),
            false => pairs.iter().map(of).collect(),
        }
    }

    /// Two members over the window, without the seconds in which either froze or read a false zero.
    pub fn compared(&self, x: Member, y: Member) -> Comparison {
        let moments = self.moments(x, y);
        compare(self.rows.clone(), moments).with_noise(self.learnt(x, y))
    }

    /// The moments of two members over any rows of the window, without the same seconds.
    fn moments(&self, x: Member, y: Member) -> impl Fn(Range<usize>) -> Moments + use<'a> {
        let out = joined(self.untrusted(x), self.untrusted(y), self.rows.start);
        let aligned = self.aligned;
        let all = move |rows| {
            let totals = aligned.pair_totals(x, y, rows);
            totals.map_or_else(Moments::default, Moments::from)
        };
        move |rows| {
            let first = out.partition_point(|part| part.end <= rows.start);
            let inside = out[first..].iter().take_while(|part| part.start < rows.end);
            inside.fold(all(rows.clone()), |rest, part| {
                let part = part.start.max(rows.start)..part.end.min(rows.end);
                rest.without(&all(part))
            })
        }
    }

    /// What the noise of a pair over the ride says of the window.
    fn learnt(&self, x: Member, y: Member) -> Option<Learnt> {
        let noise = self.findings.noise_between(x, y)?;
        Some(Learnt {
            uncertainty_w: noise.mean_w(self.rows.clone())?,
            share_for_a_variance: noise.share_for_a_variance(),
            is_known: noise.is_known(),
        })
    }

    /// The noise of a source and what it is held against over the ride, where it is known.
    pub fn known_noise(&self, under_test: usize, basis: Member) -> Option<&'a Noise> {
        self.known_pair(under_test, basis)?.known()
    }

    /// The same with what it was learnt from.
    pub fn known_pair(&self, under_test: usize, basis: Member) -> Option<&'a PairNoise> {
        let pair = self
            .findings
            .noise_between(Member::Stream(under_test), basis)?;
        pair.is_known().then_some(pair)
    }

    /// A reference as it enters the budget with the weight `share`.
    pub fn stated(&self, index: usize, share: f64) -> StatedReference {
        StatedReference {
            label: self.label(index).to_owned(),
            claim: self.session.claim_of(index),
            known: weights::known_masses(self.session, index),
            share,
        }
    }

    /// Seconds in which two references or more have a value and yet no consensus.
    pub fn contested_rows(&self) -> usize {
        let columns = self.reference_columns();
        let Some(consensus) = self.power(Member::Consensus) else {
            return 0;
        };
        let several = |row: usize| {
            let present = columns.iter().filter(|(_, column)| column[row].is_finite());
            present.count() >= 2
        };
        let without = |row: &usize| consensus[*row].is_nan() && several(*row);
        (0..consensus.len()).filter(without).count()
    }

    /// The references with power, each with its column over the window.
    fn reference_columns(&self) -> Vec<(usize, &'a [f64])> {
        self.aligned
            .powered(Role::Reference)
            .filter_map(|index| Some((index, self.power(Member::Stream(index))?)))
            .collect()
    }

    /// Two of these references that differ by less than a rounding to whole watts does while they
    /// move: one meter heard by two recorders.
    pub fn duplicate_references(&self, references: &[usize]) -> Option<[&'a str; 2]> {
        for (index, &a) in references.iter().enumerate() {
            for &b in &references[index + 1..] {
                let moments = self.moments(Member::Stream(a), Member::Stream(b));
                let both = moments(self.rows.clone());
                let moves = both.n >= TWIN_SECONDS && both.sxx >= (both.n - 1) as f64;
                if moves && both.sd_difference().is_some_and(|sd| sd < TWIN_SD_W) {
                    return Some([self.label(a), self.label(b)]);
                }
            }
        }
        None
    }

    /// The loss stated between the references and a source, %, where a chain lies between.
    pub fn loss_at_usual_gear(&self, under_test: usize) -> Option<f64> {
        let references = self.aligned.powered(Role::Reference);
        let sites: Vec<_> = references.map(|index| self.site(index)).collect();
        let stated = self.session.allowance.map(|allowance| allowance.percent);
        stated.filter(|loss| *loss != 0.0 && crosses_chain(&sites, self.site(under_test)))
    }

    /// The references against each other.
    pub fn references(&self) -> Option<References> {
        let indices: Vec<usize> = self.aligned.powered(Role::Reference).collect();
        let mut pairs = Vec::new();
        for (first, &a) in indices.iter().enumerate() {
            for (second, &b) in indices.iter().enumerate().skip(first + 1) {
                let means = self.pair_means(a, b).map(|(_, means)| means);
                pairs.extend(means.map(|means| PairMeans {
                    first,
                    second,
                    ..means
                }));
            }
        }
        let stated: Vec<StatedReference> = indices.iter().map(|i| self.stated(*i, 1.0)).collect();
        let sites: Vec<Option<Site>> = indices.iter().map(|i| self.site(*i)).collect();
        let mut found = references::references(&stated, &sites, self.session.references, &pairs)?;
        for index in indices {
            let rows = self.rows.clone();
            if let Some(one) = noted::one_sided(self.session, self.aligned, index, rows) {
                found.note = format!("{}; {}", found.note, one.sentence(self.label(index)));
            }
        }
        Some(found)
    }

    /// Means of two streams over the seconds that both have (at least two), and how many.
    fn pair_means(&self, first: usize, second: usize) -> Option<(usize, PairMeans)> {
        let (x, y) = (Member::Stream(first), Member::Stream(second));
        let both = self.moments(x, y)(self.rows.clone());
        let scatter = match self.learnt(x, y) {
            Some(learnt) if learnt.is_known => Some(learnt.uncertainty_w),
            _ => self.compared(x, y).uncertainty_w(),
        };
        let means = PairMeans {
            first: 0,
            second: 1,
            first_w: both.mean_x,
            second_w: both.mean_y,
            scatter_w: scatter.map(|u| u.half_width95()),
        };
        (both.n >= 2).then_some((both.n, means))
    }

    /// Two streams against each other; tested where both are references.
    pub fn between(&self, first: usize, second: usize) -> Option<Between> {
        let (n, means) = self.pair_means(first, second)?;
        let judged = [first, second].map(|index| self.stated(index, 1.0));
        let under_test = [first, second]
            .iter()
            .all(|index| self.aligned.tracks.get(*index).map(|t| t.role) == Some(Role::Reference));
        Some(Between {
            n,
            difference_w: means.first_w - means.second_w,
            difference_percent: references::difference_percent(&means),
            en_number: under_test
                .then(|| references::en_of(&judged, self.session.references, &means))
                .flatten(),
        })
    }

    /// The comparison a verdict rests on: the consensus, unless it covers less than half of what
    /// the best single reference covers (another one being missing for most of the window).
    pub fn basis<'c>(
        &self,
        under_test: usize,
        comparisons: &'c [Compared],
    ) -> Option<&'c Compared> {
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

    /// The references behind a member in this window, each with its share of it.
    pub fn weights(&self, member: Member) -> Vec<(usize, f64)> {
        match member {
            Member::Stream(index) => vec![(index, 1.0)],
            Member::Consensus => self.behind_consensus(),
        }
    }

    /// The references behind the consensus in this window, each with its share of it: the mean
    /// over the seconds of 1/k, where k references have a value.
    fn behind_consensus(&self) -> Vec<(usize, f64)> {
        let columns = self.reference_columns();
        let consensus = self.power(Member::Consensus).unwrap_or_default();
        let mut shares = vec![0.0; columns.len()];
        for (row, _) in consensus.iter().enumerate().filter(|(_, w)| w.is_finite()) {
            let has = |column: &[f64]| column[row].is_finite();
            let present = columns.iter().filter(|(_, column)| has(column)).count();
            for (share, (_, column)) in shares.iter_mut().zip(&columns) {
                if has(column) {
                    *share += 1.0 / present as f64;
                }
            }
        }
        let total: f64 = shares.iter().sum();
        let indices = columns.into_iter().map(|(index, _)| index);
        let shared = indices.zip(shares).filter(|(_, share)| *share > 0.0);
        shared
            .map(|(index, share)| (index, share / total))
            .collect()
    }

    /// Which of the judged streams is the noisy one.
    pub fn noise(&self) -> Option<NoisyOne> {
        let judged = |index: &usize| {
            let track = self.aligned.tracks.get(*index);
            track.is_some_and(|t| matches!(t.role, Role::UnderTest | Role::Reference))
        };
        let (labels, columns): (Vec<&str>, Vec<Cow<'_, [f64]>>) = (0..self.aligned.tracks.len())
            .filter(judged)
            .filter_map(|i| Some((self.label(i), self.trusted_power(Member::Stream(i))?)))
            .unzip();
        let columns: Vec<&[f64]> = columns.iter().map(AsRef::as_ref).collect();
        super::grubbs::noisy_one(&labels, &columns)
    }
}

/// The rows of both lists in order, each once; shifted by `start`.
fn joined(mut one: Vec<Range<usize>>, other: Vec<Range<usize>>, start: usize) -> Vec<Range<usize>> {
    one.extend(other);
    one.sort_by_key(|rows| rows.start);
    let mut all: Vec<Range<usize>> = Vec::with_capacity(one.len());
    for rows in one {
        let rows = start + rows.start..start + rows.end;
        match all.last_mut() {
            Some(last) if rows.start <= last.end => last.end = last.end.max(rows.end),
            _ => all.push(rows),
        }
    }
    all
}
