//! Error against power over all blocks of held power: each block with limits of its own, the curve
//! through them, and the claim.

use super::gauge;
use super::parts::{Axis, Layer, Picture, Stroke, Ticks, range_of, zero};
use super::subject::{Subject, plain, signed};
use super::tone::Tone;
use crate::analysis::error_curve::{Block, ErrorCurve};
use crate::analysis::questions::Finding;
use crate::analysis::table::error_curves;
use crate::analysis::verdict::overall::claim_in_words;
use crate::session::Claim;

/// Room left and right of the powers ridden, a share of the lowest and the highest.
const ROOM: f64 = 0.06;

/// Powers at which the claim is drawn.
const CLAIM_POINTS: u32 = 24;

/// Of the whole ride, whatever the window is.
///
/// # Errors
/// Why there is nothing to draw.
pub fn of(subject: &Subject<'_>) -> Result<Picture, String> {
    let source = subject.under_test()?;
    let curves = error_curves(subject.session, subject.aligned, subject.findings);
    let label = subject.session.streams.get(source).map(|s| &s.label);
    let found = curves.iter().find(|c| Some(&c.under_test) == label);
    let found = found.ok_or_else(|| "the source under test has no power".to_owned())?;
    picture(subject, source, found)
}

/// Of what all blocks say together of the source `under_test`.
///
/// # Errors
/// Where no block may be judged.
pub fn picture(
    subject: &Subject<'_>,
    under_test: usize,
    found: &ErrorCurve,
) -> Result<Picture, String> {
    let power_w = powers(found)
        .ok_or("no block of held power may be judged; tag steady blocks of 60 s or more")?;
    let claim = subject.claim(under_test);
    let label = subject.label(under_test);
    let layers = layers(found, claim, power_w);
    let errors = layers.iter().flat_map(Layer::points).map(|p| p[1]);
    let ride = Subject::ride(subject.session, subject.aligned, subject.findings);
    Ok(Picture {
        title: format!("{label}: error against power, all blocks"),
        facts: vec![
            ride.window_fact(found.blocks.iter().map(|b| b.n).sum()),
            format!(
                "{label}: {}.",
                found.statement(&format!(" to its claim of {}", claim_in_words(claim)))
            ),
            format!("{label}: {}.", found.level_sentence),
        ],
        x: Axis::numbers("power of the reference at the source's site", "W", power_w),
        y: Axis {
            ticks: Ticks::Signed,
            ..Axis::numbers("net bias", "%", range_of(errors.chain([0.0])))
        },
        layers,
    })
}

fn layers(found: &ErrorCurve, claim: Claim, power_w: [f64; 2]) -> Vec<Layer> {
    let points = allowed(claim, power_w);
    let mut out = vec![zero()];
    if !points.is_empty() {
        let name = format!("claim {}", claim_in_words(claim));
        out.insert(0, Layer::Allowed { name, points });
    }
    let curve = found.curve.iter().map(|p| [p.power_w, p.error_percent]);
    if !found.curve.is_empty() {
        out.push(Layer::Line {
            name: "curve through all blocks".to_owned(),
            points: curve.collect(),
            tone: Tone::Model,
            stroke: Stroke::Dashed,
        });
    }
    for outcome in [Finding::Fault, Finding::CannotTell, Finding::Fine] {
        let own: Vec<&Block> = found.blocks.iter().filter(|b| said(b) == outcome).collect();
        if own.is_empty() {
            continue;
        }
        let (tone, mark) = gauge::look(outcome);
        let bar = |b: &&Block| {
            let [low, high] = limits(b);
            [b.power_w, low, high]
        };
        let word = match outcome {
            Finding::Fault => "beyond the claim",
            Finding::Fine => "within the claim",
            _ => "cannot tell",
        };
        out.push(Layer::Bars {
            name: String::new(),
            bars: own.iter().map(bar).collect(),
            tone,
        });
        out.push(Layer::Points {
            name: format!("block {word}, 95 % limits"),
            points: own.iter().map(|b| [b.power_w, b.bias_percent]).collect(),
            tone,
            mark,
        });
    }
    for block in &found.blocks {
        let [low, high] = limits(block);
        out.push(Layer::Label {
            at: [block.power_w, block.bias_percent],
            text: format!(
                "{} ± {}",
                signed(block.bias_percent, 1),
                plain(0.5 * (high - low), 1)
            ),
            tone: gauge::look(said(block)).0,
        });
    }
    out
}

/// Its bias with the expanded uncertainty, %, as it is told everywhere.
fn limits(block: &Block) -> [f64; 2] {
    let half = block.expanded_percent;
    [block.bias_percent - half, block.bias_percent + half]
}

/// What is said of it everywhere: by itself.
fn said(block: &Block) -> Finding {
    block.alone.into()
}

/// The claim at powers between two: power in W, and what it allows below and above, % of the
/// reference carried to the source's site, which is what the errors are in. None without a claim.
pub fn allowed(claim: Claim, [low, high]: [f64; 2]) -> Vec<[f64; 3]> {
    if claim.limit_w(high) <= 0.0 {
        return Vec::new();
    }
    let power = |i| low + (high - low) * f64::from(i) / f64::from(CLAIM_POINTS);
    let limit = |w: f64| 100.0 * claim.limit_w(w) / w;
    let powers = (0..=CLAIM_POINTS).map(power);
    powers.map(|w| [w, -limit(w), limit(w)]).collect()
}

/// Ends of the axis of power, W: the powers ridden with a little room; `None` without a block.
pub fn powers(found: &ErrorCurve) -> Option<[f64; 2]> {
    let (low, high) = (found.blocks.first()?, found.blocks.last()?);
    Some([low.power_w * (1.0 - ROOM), high.power_w * (1.0 + ROOM)])
}
