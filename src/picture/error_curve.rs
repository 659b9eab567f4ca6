//! Error against power over all blocks of held power: the curve with its band, each block with
//! limits of its own, and the claim.

use crate::analysis::error_curve::ErrorCurve;
use crate::session::Claim;

/// Room left and right of the powers ridden, a share of the lowest and the highest.
const ROOM: f64 = 0.06;

/// Powers at which the claim is drawn.
const CLAIM_POINTS: u32 = 24;

/// A block as a point with a bar.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark {
    /// The segment, by its `id`.
    pub segment: usize,
    /// Power, W.
    pub power_w: f64,
    /// Error in the block, %.
    pub error_percent: f64,
    /// Its 95 % limits, %: for all blocks at once where there are three or more.
    pub limits_percent: [f64; 2],
}

/// What the picture shows; powers in W, errors in %.
#[derive(Clone, Debug, PartialEq)]
pub struct ErrorPicture {
    /// Ends of the axis of power.
    pub power_w: [f64; 2],
    /// The curve; empty for fewer than three blocks.
    pub curve: Vec<[f64; 2]>,
    /// Lower and upper edge of its band.
    pub band: [Vec<[f64; 2]>; 2],
    /// The blocks, in order of power.
    pub blocks: Vec<Mark>,
    /// Lower and upper edge of the claim.
    pub claim: [Vec<[f64; 2]>; 2],
}

impl ErrorPicture {
    /// `None` without a block that may be judged.
    pub fn of(found: &ErrorCurve, claim: Claim) -> Option<Self> {
        let (low, high) = (found.blocks.first()?, found.blocks.last()?);
        let power_w = [low.power_w * (1.0 - ROOM), high.power_w * (1.0 + ROOM)];
        let edge = |end: usize| {
            let points = found.curve.iter();
            let points = points.map(|p| [p.power_w, p.simultaneous95_percent[end]]);
            points.collect()
        };
        Some(Self {
            power_w,
            curve: found
                .curve
                .iter()
                .map(|p| [p.power_w, p.error_percent])
                .collect(),
            band: [edge(0), edge(1)],
            blocks: found
                .blocks
                .iter()
                .map(|b| Mark {
                    segment: b.segment,
                    power_w: b.power_w,
                    error_percent: b.error_percent,
                    limits_percent: b.simultaneous95_percent.unwrap_or(b.ci95_percent),
                })
                .collect(),
            claim: [-1.0, 1.0].map(|side| claimed(claim, power_w, side)),
        })
    }

    /// Every error that the picture shows.
    pub fn errors(&self) -> impl Iterator<Item = f64> {
        let lines = self.band.iter().chain(&self.claim).flatten();
        let bars = self.blocks.iter().flat_map(|b| b.limits_percent);
        lines.map(|p| p[1]).chain(bars)
    }
}

/// One edge of the claim, ± % of the reference carried to the source's site: that is what the errors
/// are in.
fn claimed(claim: Claim, [low, high]: [f64; 2], side: f64) -> Vec<[f64; 2]> {
    let power = |i| low + (high - low) * f64::from(i) / f64::from(CLAIM_POINTS);
    (0..=CLAIM_POINTS)
        .map(power)
        .map(|w| [w, side * 100.0 * claim.limit_w(w) / w])
        .collect()
}
