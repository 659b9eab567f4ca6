//! From the verdicts of held blocks to values with an error of their own and errors that they share.

use std::ops::Range;

use super::super::loss::Loss;
use super::LeftOut;
use crate::analysis::figures::SegmentFigures;
use crate::analysis::verdict::conformity::Outcome;
use crate::analysis::verdict::conformity::{self, MIN_SECONDS};
use crate::analysis::verdict::figures::Verdict;
use crate::analysis::verdict::reason::Reason;
use crate::analysis::verdict::uncertainty::{claim_of_reference, masses_of_reference};
use crate::session::{Claim, Session};
use crate::stats::NORMAL_95;
use crate::stats::curve::Measured;

/// Scatter of a block that can be weighed, %: with less it is a copy, with more (as for a bias beyond it)
/// no reading of power.
const PERCENT: Range<f64> = 1e-9..1e9;

/// Zero offset, ± W, that a reference may have where the session does not note that it was zeroed
/// (`zero_offset` under `[facts]`) and its claim has no part in W. Judgement, no source.
const ZERO_OFFSET_W: f64 = 1.0;

/// The fact whose presence says that the references were zeroed before the ride.
const ZEROED: &str = "zero_offset";

/// An error of the references or of the expected loss: one of the same name in two blocks is the same
/// error.
#[derive(Clone, Debug, PartialEq)]
pub struct SharedError {
    /// What makes it.
    pub source: String,
    /// Its standard uncertainty in this block, %.
    pub percent: f64,
}

/// A block that may be judged.
#[derive(Clone, Debug, PartialEq)]
pub struct Held {
    /// The segment, by its `id`.
    pub segment: usize,
    /// Seconds with both values.
    pub n: usize,
    /// Its middle, session time, s.
    pub at_s: f64,
    /// Mean power of the reference, carried to the source's site, W.
    pub power_w: f64,
    /// The power that it is called by, W: what was asked for, where that is near what was ridden.
    pub named_w: f64,
    /// Net bias, %.
    pub bias_percent: f64,
    /// Standard uncertainty of its own scatter, %.
    pub scatter_percent: f64,
    /// What it shares with others.
    pub shared: Vec<SharedError>,
    /// Expanded uncertainty of the block alone, %.
    pub expanded_percent: f64,
    /// What it says of the claim on its own.
    pub alone: Outcome,
}

impl Held {
    /// Standard uncertainty of what it shares with others, %.
    fn shared_percent(&self) -> f64 {
        let squares = self.shared.iter().map(|error| error.percent.powi(2));
        squares.sum::<f64>().sqrt()
    }

    /// Covariance of what two blocks share, %².
    fn in_common(&self, other: &Self) -> f64 {
        let same = |a: &&SharedError, b: &SharedError| a.source == b.source;
        let products = self.shared.iter().map(|a| {
            let there = other.shared.iter().find(|b| same(&a, b));
            a.percent * there.map_or(0.0, |b| b.percent)
        });
        products.sum()
    }
}

/// Everything that a source is judged by.
#[derive(Clone, Debug, PartialEq)]
pub struct Inputs {
    /// The claim.
    pub claim: Claim,
    /// The blocks that may be judged, in order of power.
    pub held: Vec<Held>,
    /// Those that may not be, or have no percentage.
    pub left_out: Vec<LeftOut>,
    /// Half-width of a zero offset of what the source is compared with, W.
    pub zero_offset_w: f64,
    /// The loss between the references and the source.
    pub loss: Loss,
    /// How fast the error drifts at most by the heat soaks of the ride (95 % limits), percentage points in
    /// 10 min; 0 without one.
    pub drift_per_10min: f64,
    /// Departure of a block from its neighbours, standard deviations, from which it has to pass on its
    /// own as if it had none: [`STANDS_ALONE_AT`] to 2.
    pub stands_alone_at: f64,
}

/// The usual departure. A choice without a source: with 2 more sources pass that are smooth, and more
/// that are off at one power.
pub const STANDS_ALONE_AT: f64 = 1.0;

impl Inputs {
    /// Of the source `under_test`, from its verdicts that count.
    pub fn of<'a>(
        session: &Session,
        under_test: usize,
        judged: impl Iterator<Item = (&'a SegmentFigures, &'a Verdict)>,
    ) -> Self {
        let (mut held, mut left_out) = (Vec::new(), Vec::new());
        let mut drift_per_10min = 0.0_f64;
        for (segment, verdict) in judged {
            drift_per_10min = drift_per_10min.max(drift(segment, verdict));
            match held_block(segment, verdict) {
                Some(block) => held.push(block),
                None => left_out.push(LeftOut {
                    segment: segment.id,
                    outcome: verdict.outcome,
                }),
            }
        }
        held.sort_by(|a, b| a.power_w.total_cmp(&b.power_w));
        Self {
            claim: session.claim_of(under_test).unwrap_or_default(),
            zero_offset_w: zero_offset_w(session, &held),
            loss: Loss::before(session, Some(under_test)),
            drift_per_10min,
            stands_alone_at: session
                .limits
                .curve_smooth
                .map_or(STANDS_ALONE_AT, |smooth| smooth.max(STANDS_ALONE_AT)),
            held,
            left_out,
        }
    }

    /// The same blocks with a loss of `loss_percent` taken off the references, where none is yet.
    pub(super) fn carried(&self, loss_percent: f64) -> Self {
        let kept = 1.0 - loss_percent / 100.0;
        let mut carried = self.clone();
        for block in &mut carried.held {
            block.power_w *= kept;
            block.bias_percent = 100.0 * ((1.0 + block.bias_percent / 100.0) / kept - 1.0);
            let limit = self.limit_percent(block.power_w);
            block.expanded_percent =
                NORMAL_95 * block.scatter_percent.hypot(block.shared_percent());
            block.alone = conformity::decide(block.bias_percent, block.expanded_percent, limit);
        }
        carried
    }

    /// How many may be judged.
    pub fn len(&self) -> usize {
        self.held.len()
    }

    /// Whether none may be.
    pub fn is_empty(&self) -> bool {
        self.held.is_empty()
    }

    /// What the claim allows at a power, ± %.
    pub fn limit_percent(&self, power_w: f64) -> f64 {
        100.0 * self.claim.limit_w(power_w) / power_w
    }

    /// Covariance of what blocks share, %², by rows.
    pub fn common(&self) -> Vec<f64> {
        let rows = self.held.iter();
        rows.flat_map(|a| self.held.iter().map(|b| a.in_common(b)))
            .collect()
    }

    /// The blocks as values against power; `common` as [`Inputs::common`] gives it.
    pub(super) fn measured(&self, common: Vec<f64>) -> Measured {
        let each = |of: fn(&Held) -> f64| self.held.iter().map(of).collect();
        Measured {
            levels: each(|b| b.power_w),
            values: each(|b| b.bias_percent),
            standards: each(|b| b.scatter_percent),
            common,
        }
    }

    /// Share of each block in the mean of all: by the precision of its scatter.
    pub(super) fn shares(&self) -> Vec<f64> {
        let precision = |b: &Held| b.scatter_percent.powi(-2);
        let total: f64 = self.held.iter().map(precision).sum();
        self.held.iter().map(|b| precision(b) / total).collect()
    }
}

/// How near a set point has to be to the power ridden for a block to be called by it.
const NEAR: f64 = 0.1;

/// The power that a block is called by, W: what was asked for, where that is near what was ridden.
pub fn called_by(asked_w: Option<f64>, power_w: f64) -> f64 {
    let is_near = |asked: &f64| (asked / power_w - 1.0).abs() < NEAR;
    asked_w.filter(is_near).unwrap_or(power_w)
}

/// `None` where the block may not be judged or is too low for a percentage.
fn held_block(segment: &SegmentFigures, verdict: &Verdict) -> Option<Held> {
    let barred = |reason: &Reason| {
        matches!(
            reason,
            Reason::Copied { .. } | Reason::Unstated(_) | Reason::OneMeter(_)
        )
    };
    let withheld = verdict.outcome == Outcome::ReferencesDisagree;
    if withheld || verdict.n < MIN_SECONDS || verdict.reasons.iter().any(barred) {
        return None;
    }
    let (mut scatter, mut shared) = (None, Vec::new());
    for line in &verdict.budget {
        let percent = line.standard_uncertainty_percent?;
        if line.is_scatter() {
            scatter = line.as_known_percent();
        } else {
            shared.push(SharedError {
                source: line.source.clone(),
                percent,
            });
        }
    }
    let power_w = verdict.level_w()?;
    Some(Held {
        segment: segment.id,
        n: verdict.n,
        at_s: 0.5 * (segment.from_s + segment.to_s),
        power_w,
        named_w: called_by(segment.set_point_w, power_w),
        bias_percent: verdict.bias_percent?,
        scatter_percent: scatter?,
        shared,
        expanded_percent: verdict.expanded_uncertainty_percent?,
        alone: verdict.outcome,
    })
    .filter(|b| {
        b.power_w.is_finite()
            && b.power_w > 0.0
            && PERCENT.contains(&b.scatter_percent)
            && b.bias_percent.abs() < PERCENT.end
    })
}

/// The fastest drift within the limits that a heat soak of the source gave, percentage points in 10 min;
/// 0 where there is none, or none that can be told from standing still. A segment's soak is that of the source of its first verdict.
fn drift(segment: &SegmentFigures, verdict: &Verdict) -> f64 {
    let first = segment.verdict.as_ref();
    let soak = segment.of_kind.heat_soak.as_ref();
    let of_source = first.is_some_and(|first| first.under_test == verdict.under_test);
    let limits = soak.and_then(|soak| soak.drift_ci95_percent_per_10min);
    let limits = limits.filter(|[low, high]| of_source && (*low > 0.0 || *high < 0.0));
    limits.map_or(0.0, |[low, high]| low.abs().max(high.abs()))
}

/// Zero offset of what the source is compared with, the mean of its references: of each the part of its
/// claim that is in W, else what an unnoted one may have, correlated as their claims are.
pub(super) fn zero_offset_w(session: &Session, held: &[Held]) -> f64 {
    let zeroed = session.facts.iter().any(|fact| fact.key == ZEROED);
    let unnoted_w = if zeroed { 0.0 } else { ZERO_OFFSET_W };
    let correlation = session.references.claims_correlation.clamp(0.0, 1.0);
    let of_block = |block: &Held| {
        let claims = block.shared.iter();
        let claims = claims.filter_map(|error| claim_behind(session, &error.source));
        let each = claims.map(|claim| match claim.watts {
            watts if watts > 0.0 => watts,
            _ => unnoted_w,
        });
        let (sum, squares, n) = each.fold((0.0, 0.0, 0.0), |(sum, squares, n), watts| {
            (sum + watts, squares + watts * watts, n + 1.0)
        });
        let independent: f64 = squares * (1.0 - correlation) + sum * sum * correlation;
        independent.sqrt() / f64::max(n, 1.0)
    };
    held.iter().map(of_block).fold(0.0, f64::max)
}

/// The claim of the reference that makes the error of this name; known masses, which say nothing of
/// the zero while riding, take the place of one without a part in W.
fn claim_behind(session: &Session, source: &str) -> Option<Claim> {
    let labels = || session.streams.iter().map(|s| s.label.as_str());
    let named = |name: fn(&str) -> String| labels().position(|label| name(label) == source);
    if let Some(index) = named(claim_of_reference) {
        return session.claim_of(index);
    }
    let in_percent = Claim {
        percent: 0.0,
        watts: 0.0,
    };
    let index = named(masses_of_reference)?;
    Some(session.claim_of(index).unwrap_or(in_percent))
}
