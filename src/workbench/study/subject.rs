//! The two power columns that most views compare.

use std::ops::Range;

use super::question::Question;
use crate::analysis::agreement::Agreement;
use crate::analysis::figures::SegmentFigures;
use crate::analysis::segment;
use crate::recording::Channel;
use crate::session::CONSENSUS;
use crate::session::{Kind, Role, Segment};
use crate::timeline::Member;

/// The source under test and what it is compared with, over the rows of a question.
pub struct Subject<'a> {
    /// The question.
    pub question: &'a Question,
    /// Rows of the grid.
    pub rows: Range<usize>,
    /// The source under test.
    pub under_test: usize,
    /// What it is compared with.
    pub basis: Member,
    /// Power under test, W; `NaN` is missing, or no reading.
    pub source: Vec<f64>,
    /// Power it is compared with, W.
    pub reference: Vec<f64>,
}

impl<'a> Subject<'a> {
    /// Of the comparison that the question names; else why there is none.
    pub fn of(question: &'a Question) -> Result<Self, String> {
        let about = question.about;
        Self::between(question, about.under_test, about.basis)
    }

    /// Of the comparison that `figures` rest on where they take a fit: the first source under
    /// test against what its verdict rests on.
    pub fn judged(question: &'a Question, figures: &SegmentFigures) -> Result<Self, String> {
        let session = &question.opened.session;
        let aligned = &question.aligned;
        let name = |member: &Member| match *member {
            Member::Stream(index) => session.streams.get(index).map_or("", |s| s.label.as_str()),
            Member::Consensus => CONSENSUS,
        };
        let reference = figures.verdict.as_ref().map(|v| v.reference.as_str());
        let basis = aligned
            .references()
            .into_iter()
            .find(|member| Some(name(member)) == reference)
            .or(question.about.basis);
        Self::between(question, aligned.powered(Role::UnderTest).next(), basis)
    }

    fn between(
        question: &'a Question,
        under_test: Option<usize>,
        basis: Option<Member>,
    ) -> Result<Self, String> {
        let under_test = under_test
            .ok_or("No stream under test carries power: give one the role under-test.")?;
        let basis = basis
            .ok_or("No reference carries power: give at least one stream the role reference.")?;
        let aligned = &question.aligned;
        let rows = aligned.grid.rows(question.about.span);
        let column = |member| {
            let readings = question.found.readings(aligned, member)?;
            Some(readings.get(rows.clone())?.to_vec())
        };
        let missing = "There is no power in this stretch.";
        Ok(Self {
            source: column(Member::Stream(under_test)).ok_or(missing)?,
            reference: column(basis).ok_or(missing)?,
            question,
            under_test,
            basis,
            rows,
        })
    }

    /// Those of the comparison.
    pub fn agreement(&self, figures: &SegmentFigures) -> Option<Agreement> {
        let session = &self.question.opened.session;
        let label = |index: usize| session.streams.get(index).map(|s| s.label.as_str());
        let source = label(self.under_test)?;
        let against = match self.basis {
            Member::Stream(index) => label(index)?,
            Member::Consensus => CONSENSUS,
        };
        let mut all = figures.agreement.iter();
        all.find(|a| a.under_test == source && a.reference == against)
            .cloned()
    }

    /// A channel over the rows: the source under test's own, else the first stream's that has it.
    pub fn beside(&self, channel: Channel) -> Option<&'a [f64]> {
        let tracks = &self.question.aligned.tracks;
        std::iter::once(self.under_test)
            .chain(0..tracks.len())
            .filter_map(|index| tracks.get(index)?.column(channel)?.get(self.rows.clone()))
            .find(|values| values.iter().any(|v| v.is_finite()))
    }
}

/// All figures of the question's stretch taken for a segment of `kind`.
pub fn figures(question: &Question, kind: Kind) -> SegmentFigures {
    let about = question.about;
    let session = &question.opened.session;
    let own = about.segment.and_then(|index| session.segments.get(index));
    let segment = Segment {
        kind,
        from_s: about.span.from_s,
        to_s: about.span.to_s,
        set_point_w: own.and_then(|segment| segment.set_point_w),
        note: String::new(),
    };
    segment::figures_with(session, &question.aligned, &question.found, &segment, 0)
}
