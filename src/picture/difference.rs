//! Under test − reference against time, with the claim as a ground and the bias as a rule.

use super::along;
use super::claim;
use super::faults;
use super::parts::{Axis, Layer, Picture, Stroke, Ticks, difference_range, heights, zero};
use super::subject::{Compared, Subject, plain, signed};
use super::tone::Tone;
use crate::stats::Interval;
use crate::timeline::PERCENT_FROM_W;

/// Rows over which the level is taken that the claim is drawn at.
const LEVEL_ROWS: usize = 30;

/// An interval in brackets; empty where there is none.
pub fn limits(interval: Option<Interval>, decimals: usize) -> String {
    interval.map_or_else(String::new, |[low, high]| {
        format!(" ({} to {})", signed(low, decimals), signed(high, decimals))
    })
}

/// What is said of a claim's band that does not lie around zero.
pub fn around_loss(subject: &Subject<'_>) -> String {
    match subject.session.allowance().percent {
        0.0 => String::new(),
        loss => format!(
            " around an expected drivetrain loss of {} %",
            plain(loss, 1)
        ),
    }
}

/// What the claim lets the difference be, % of the reference, at the power of the comparison; `None`
/// where there is none, or no claim.
pub fn band_percent(subject: &Subject<'_>) -> Option<[f64; 2]> {
    let (under_test, basis) = (subject.under_test().ok()?, subject.basis().ok()?);
    let level = subject.pair(under_test, basis)?.reference_mean_w?;
    claim::band_percent(subject.session, under_test, level)
}

/// The claim over a range of x, where there is one, and a rule at zero: what a difference in % of the
/// reference is drawn over.
pub fn over_claim(subject: &Subject<'_>, band: Option<[f64; 2]>, x: [f64; 2]) -> Vec<Layer> {
    let claim = band.map(|[low, high]| Layer::Allowed {
        name: format!(
            "claim ±{} %{}",
            plain(0.5 * (high - low), 1),
            around_loss(subject)
        ),
        points: x.map(|x| [x, low, high]).to_vec(),
    });
    claim.into_iter().chain([zero()]).collect()
}

/// A rule at the bias.
pub fn bias_rule(at: f64, unit: &str, decimals: usize) -> Layer {
    Layer::Rule {
        name: format!("bias {}\u{a0}{unit}", signed(at, decimals)),
        at,
        tone: Tone::Model,
        stroke: Stroke::Dashed,
    }
}

/// What the claim allows along the window, W, at the level of each stretch of the reference.
fn allowed(subject: &Subject<'_>, compared: &Compared) -> Option<Layer> {
    let (grid, first) = (subject.aligned.grid, subject.rows().start);
    let stretches = compared.reference.chunks(LEVEL_ROWS).enumerate();
    let of = |(index, stretch): (usize, &[f64])| {
        let (level, _) = along::mean(stretch.iter().copied())?;
        let [low, high] = claim::band_w(subject.session, compared.under_test, level)?;
        let from_s = grid.time_s(first + index * LEVEL_ROWS);
        let to_s = from_s + (stretch.len() as f64 - 1.0).max(1.0) * grid.step_s;
        Some([[from_s, low, high], [to_s, low, high]])
    };
    let points: Vec<[f64; 3]> = stretches.filter_map(of).flatten().collect();
    let claim = subject.claim(compared.under_test);
    let said = match (claim.percent > 0.0, claim.watts > 0.0) {
        (true, true) => format!(
            "±{} % or ±{} W",
            plain(claim.percent, 1),
            plain(claim.watts, 1)
        ),
        (true, false) => format!("±{} %", plain(claim.percent, 1)),
        _ => format!("±{} W", plain(claim.watts, 1)),
    };
    (!points.is_empty()).then(|| Layer::Allowed {
        name: format!("claim {said}{}", around_loss(subject)),
        points,
    })
}

/// The picture.
///
/// # Errors
/// Why there is nothing to draw.
pub fn of(subject: &Subject<'_>) -> Result<Picture, String> {
    let compared = subject.compared()?;
    let pair = subject.pair(compared.under_test, compared.basis);
    let values: Vec<f64> = compared
        .source
        .iter()
        .zip(&compared.reference)
        .map(|(x, y)| x - y)
        .collect();
    let name = format!(
        "{} − {}",
        subject.label(compared.under_test),
        subject.name(compared.basis)
    );
    let at = (subject.aligned.grid, subject.rows().start);
    let line = along::series(
        &name,
        at,
        &values,
        along::NOISY,
        subject.tone(compared.under_test),
    );
    let level = pair.and_then(|p| p.reference_mean_w);
    let level = level.filter(|w| *w >= PERCENT_FROM_W);
    let band = level.and_then(|w| claim::band_w(subject.session, compared.under_test, w));
    let shown = line.iter().filter(|l| matches!(l, Layer::Line { .. }));
    let shown: Vec<Layer> = shown.cloned().collect();
    let range = difference_range(heights(&shown), band);
    let mut layers: Vec<Layer> = allowed(subject, &compared).into_iter().collect();
    layers.extend(
        faults::marked(subject, compared.under_test, range[0])
            .into_iter()
            .filter(|layer| !matches!(layer, Layer::Label { .. })),
    );
    layers.push(zero());
    layers.extend(line);
    let mut facts = vec![subject.window_fact(pair.map_or(0, |p| p.n))];
    if let Some(bias) = pair.and_then(|p| p.bias_w) {
        layers.push(bias_rule(bias, "W", 1));
        let interval = limits(pair.and_then(|p| p.bias_ci95_w), 2);
        let percent = pair
            .and_then(|p| p.bias_percent)
            .map_or_else(String::new, |percent| format!(", {} %", signed(percent, 2)));
        facts.push(format!(
            "Bias {} W, 95 % confidence{interval} W{percent}.",
            signed(bias, 2)
        ));
    }
    Ok(Picture {
        title: subject.title("difference"),
        facts,
        x: subject.time_axis(),
        y: Axis {
            ticks: Ticks::Signed,
            ..Axis::numbers("difference", "W", range)
        },
        layers,
    })
}
