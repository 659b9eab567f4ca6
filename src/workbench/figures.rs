//! The figures that move with the window: cheap enough for every key press.

use std::ops::Range;

use crate::analysis::agreement::{self, Moments};
use crate::analysis::figures::{Agreement, StreamFigures};
use crate::analysis::stats::finite;
use crate::recording::Channel;
use crate::session::{Segment, Session};
use crate::timeline::{Aligned, Member, Span};

/// Figures of one stretch of the ride.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WindowFigures {
    /// One entry a stream of the session, in its order.
    pub streams: Vec<Option<StreamFigures>>,
    /// The comparison in view first, then the source under test against each other reference.
    pub agreement: Vec<Agreement>,
    /// The claim at the window's mean of the reference, %.
    pub limit_percent: Option<f64>,
}

impl WindowFigures {
    /// The figures over `span`.
    pub fn of(
        aligned: &Aligned,
        session: &Session,
        span: Span,
        under_test: Option<usize>,
        basis: Option<Member>,
    ) -> Self {
        let rows = aligned.grid.rows(span);
        let streams = (0..aligned.tracks.len())
            .map(|index| stream_figures(aligned, session, index, span, rows.clone()))
            .collect();
        let mut agreement = Vec::new();
        if let (Some(under_test), Some(basis)) = (under_test, basis) {
            let others = aligned.references().into_iter().filter(|m| *m != basis);
            for reference in std::iter::once(basis).chain(others) {
                agreement.extend(agree(aligned, session, under_test, reference, rows.clone()));
            }
        }
        let limit_percent = under_test
            .and_then(|index| session.claim_of(index))
            .zip(agreement.first().and_then(|first| first.reference_mean_w))
            .filter(|(_, mean_w)| *mean_w >= agreement::PERCENT_FROM_W)
            .map(|(claim, mean_w)| claim.limit_w(mean_w) / mean_w * 100.0);
        Self {
            streams,
            agreement,
            limit_percent,
        }
    }
}

/// What the list of segments shows of one.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SegmentLine {
    /// Mean of under test − reference, W.
    pub bias_w: Option<f64>,
    /// In % of the reference.
    pub bias_percent: Option<f64>,
    /// The claim there, %.
    pub limit_percent: Option<f64>,
}

impl SegmentLine {
    /// The line of `segment`.
    pub fn of(
        aligned: &Aligned,
        session: &Session,
        segment: &Segment,
        under_test: Option<usize>,
        basis: Option<Member>,
    ) -> Self {
        let span = Span::new(segment.from_s, segment.to_s);
        let figures = WindowFigures::of(aligned, session, span, under_test, basis);
        let first = figures.agreement.first();
        Self {
            bias_w: first.and_then(|a| a.bias_w),
            bias_percent: first.and_then(|a| a.bias_percent),
            limit_percent: figures.limit_percent,
        }
    }
}

fn agree(
    aligned: &Aligned,
    session: &Session,
    under_test: usize,
    reference: Member,
    rows: Range<usize>,
) -> Option<Agreement> {
    let x = Member::Stream(under_test);
    aligned.pair_totals(x, reference, 0..0)?;
    let totals = |rows: Range<usize>| {
        aligned
            .pair_totals(x, reference, rows)
            .map_or_else(Moments::default, |t| Moments {
                n: t.n,
                mean_x: t.mean_x,
                mean_y: t.mean_y,
                sxx: t.squares_x,
                syy: t.squares_y,
                sxy: t.products,
            })
    };
    let label = |member| match member {
        Member::Stream(index) => session.streams.get(index).map(|s| s.label.as_str()),
        Member::Consensus => Some(crate::session::store::CONSENSUS),
    };
    let comparison = agreement::compare(rows, totals);
    Some(comparison.figures(label(x)?, label(reference)?))
}

fn stream_figures(
    aligned: &Aligned,
    session: &Session,
    index: usize,
    span: Span,
    rows: Range<usize>,
) -> Option<StreamFigures> {
    let track = aligned.tracks.get(index)?;
    let totals = aligned.power_totals(Member::Stream(index), rows.clone())?;
    let variance = (totals.n >= 2).then(|| totals.squares / (totals.n - 1) as f64);
    Some(StreamFigures {
        label: session.streams.get(index)?.label.clone(),
        n: totals.n,
        mean_w: (totals.n > 0).then_some(totals.mean).and_then(finite),
        sd_w: variance.map(f64::sqrt).and_then(finite),
        max_w: track.extent(Channel::Power, span).map(|extent| extent.max),
        best_5s_w: None,
        cadence_mean_rpm: mean_of(track.column(Channel::Cadence), rows),
    })
}

/// Mean of the values present in `column[rows]`.
fn mean_of(column: Option<&[f64]>, rows: Range<usize>) -> Option<f64> {
    let column = column?;
    let end = rows.end.min(column.len());
    let values = column.get(rows.start.min(end)..end)?;
    let present = values.iter().filter(|v| v.is_finite());
    let (n, sum) = present.fold((0usize, 0.0), |(n, sum), v| (n + 1, sum + v));
    (n > 0).then(|| sum / n as f64).and_then(finite)
}
