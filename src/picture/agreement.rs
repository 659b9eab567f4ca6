//! Difference against mean (Bland & Altman 1986), with bias and 95 % limits of agreement.

use super::along::mean;
use super::claim;
use super::difference::{around_loss, bias_rule, limits};
use super::parts::{Axis, Layer, Mark, Picture, Stroke, Ticks, difference_range, range_of, zero};
use super::subject::{Compared, Subject, signed};
use super::tone::Tone;

/// Places across and up that points are told apart by: more than most screens and pages show.
const ACROSS: usize = 512;
const UP: usize = 256;

/// Means at which the claim is drawn.
const CLAIM_POINTS: usize = 40;

/// The picture.
///
/// # Errors
/// Why there is nothing to draw.
pub fn of(subject: &Subject<'_>) -> Result<Picture, String> {
    let compared = subject.compared()?;
    let pair = subject
        .pair(compared.under_test, compared.basis)
        .ok_or_else(|| "no figures of agreement in this window".to_owned())?;
    let parts = seconds(&compared);
    let all: Vec<[f64; 2]> = parts.concat();
    let across = range_of(all.iter().map(|p| p[0]));
    let mut layers: Vec<Layer> = allowed(subject, compared.under_test, across)
        .into_iter()
        .collect();
    layers.push(zero());
    let limit = |at: f64| Layer::Rule {
        name: "95 % limits of agreement, with their 95 % confidence".to_owned(),
        at,
        tone: Tone::Open,
        stroke: Stroke::Solid,
    };
    let ends = pair.loa95_w.into_iter().flatten();
    let shown = ends.clone().chain(all.iter().map(|p| p[1]));
    let level = pair.reference_mean_w.unwrap_or_default();
    let band = claim::band_w(subject.session, compared.under_test, level);
    let range = reach(shown, pair.loa95_w, band);
    let of = format!(
        "{} − {}, a second each",
        subject.label(compared.under_test),
        subject.name(compared.basis)
    );
    let looks = [
        (format!("{of}: first third"), Tone::Reference(2)),
        ("middle third".to_owned(), Tone::Reference(0)),
        ("last third".to_owned(), Tone::Reference(1)),
    ];
    for (part, (name, tone)) in parts.iter().zip(looks) {
        layers.push(Layer::Points {
            name,
            points: told_apart(part, [across, range]),
            tone,
            mark: Mark::Dot,
        });
    }
    layers.extend(ends.map(limit));
    let confidence = [pair.loa95_lower_ci95_w, pair.loa95_upper_ci95_w];
    let edge = across[1] - 0.01 * (across[1] - across[0]);
    let confidence = confidence.into_iter().flatten();
    layers.push(Layer::Bars {
        name: String::new(),
        bars: confidence.map(|[low, high]| [edge, low, high]).collect(),
        tone: Tone::Open,
    });
    layers.extend(pair.bias_w.map(|bias| bias_rule(bias, "W", 1)));
    let mut facts = vec![subject.window_fact(pair.n)];
    if let (Some(bias), Some([low, high])) = (pair.bias_w, pair.loa95_w) {
        facts.push(format!(
            "Bias {} W{}; 95 % limits of agreement {} W and {} W.",
            signed(bias, 2),
            limits(pair.bias_ci95_w, 2),
            signed(low, 1),
            signed(high, 1)
        ));
    }
    Ok(Picture {
        title: subject.title("agreement"),
        facts,
        x: Axis::numbers("mean of the two", "W", across),
        y: Axis {
            ticks: Ticks::Signed,
            ..Axis::numbers("difference", "W", range)
        },
        layers,
    })
}

/// The range of the differences: the claim stays readable, and the limits of agreement inside.
fn reach(
    shown: impl Iterator<Item = f64>,
    loa95_w: Option<[f64; 2]>,
    band: Option<[f64; 2]>,
) -> [f64; 2] {
    let [low, high] = difference_range(shown, band);
    loa95_w.map_or([low, high], |[lower, upper]| {
        let room = 0.12 * (upper - lower);
        [low.min(lower - room), high.max(upper + room)]
    })
}

/// Parts of the window that the points are shaded by: what drifts is seen.
pub const PARTS: usize = 3;

/// Mean and difference of every second that both have, in each part of the window.
fn seconds(compared: &Compared) -> [Vec<[f64; 2]>; PARTS] {
    let rows = compared.source.len().max(1);
    let both = compared.source.iter().zip(&compared.reference);
    let mut parts: [Vec<[f64; 2]>; PARTS] = Default::default();
    for (row, (x, y)) in both.enumerate() {
        if (x - y).is_finite()
            && let Some(part) = parts.get_mut(row * PARTS / rows)
        {
            part.push([0.5 * (x + y), x - y]);
        }
    }
    parts
}

/// Mean difference in each part of the window, W.
pub fn by_part(compared: &Compared) -> [Option<f64>; PARTS] {
    let of = |part: Vec<[f64; 2]>| mean(part.iter().map(|p| p[1]));
    seconds(compared).map(|part| of(part).map(|(w, _)| w))
}

/// The last point at each place, in order of time: what a picture costs then depends on its size
/// and not on the length of the ride.
fn told_apart(points: &[[f64; 2]], [across, up]: [[f64; 2]; 2]) -> Vec<[f64; 2]> {
    let place = |value: f64, [low, high]: [f64; 2], places: usize| {
        // Casts take what is beyond the ends to the ends.
        ((value - low) / (high - low) * (places - 1) as f64) as usize
    };
    let mut taken = vec![false; ACROSS * UP];
    let mut kept: Vec<[f64; 2]> = points
        .iter()
        .rev()
        .filter(|[mean, difference]| {
            let column = place(*mean, across, ACROSS).min(ACROSS - 1);
            let row = place(*difference, up, UP).min(UP - 1);
            !std::mem::replace(&mut taken[row * ACROSS + column], true)
        })
        .copied()
        .collect();
    kept.reverse();
    kept
}

/// What the claim allows, opening with the level.
fn allowed(subject: &Subject<'_>, under_test: usize, [from, to]: [f64; 2]) -> Option<Layer> {
    let levels = (0..=CLAIM_POINTS).map(|i| from + (to - from) * i as f64 / CLAIM_POINTS as f64);
    let points: Vec<[f64; 3]> = levels
        .filter_map(|level| {
            let [low, high] = claim::band_w(subject.session, under_test, level)?;
            Some([level, low, high])
        })
        .collect();
    (!points.is_empty()).then(|| Layer::Allowed {
        name: format!("claim{}", around_loss(subject)),
        points,
    })
}
