//! The bias in each gear, with the moments of the changes and the shift at each.

use super::along;
use super::difference::{band_percent, over_claim};
use super::parts::{Axis, Layer, Picture, Stroke, Ticks, difference_range};
use super::subject::{Subject, signed};
use super::tone::Tone;
use crate::analysis::kinds::gear_change::GearShift;
use crate::timeline::PERCENT_FROM_W;

/// Rows of a mean of the difference.
const MEAN_ROWS: usize = 5;

/// How far on either side of a change the bias of its gear is drawn at the most, s.
const REACH_S: f64 = 60.0;

/// The picture.
///
/// # Errors
/// Why there is nothing to draw.
pub fn of(subject: &Subject<'_>) -> Result<Picture, String> {
    let found = subject.figures.of_kind.gear_change.as_ref();
    let changes = found.map(|g| g.changes.as_slice()).unwrap_or_default();
    if changes.is_empty() {
        return Err("no change of gear was found in this window".to_owned());
    }
    let compared = subject.compared()?;
    let percent: Vec<f64> = compared
        .source
        .iter()
        .zip(&compared.reference)
        .map(|(x, y)| {
            if *y >= PERCENT_FROM_W {
                100.0 * (x - y) / y
            } else {
                f64::NAN
            }
        })
        .collect();
    let (grid, first) = (subject.aligned.grid, subject.rows().start);
    let shown = along::series(
        &format!("{} s means", MEAN_ROWS),
        (grid, first),
        &percent,
        percent.len() / MEAN_ROWS * 3,
        Tone::Context,
    );
    let gears = levels(subject, changes);
    let pair = subject.pair(compared.under_test, compared.basis);
    let band = band_percent(subject);
    let span = subject.span();
    let mut layers = over_claim(subject, band, [span.from_s, span.to_s]);
    layers.extend(
        shown
            .into_iter()
            .filter(|l| matches!(l, Layer::Line { .. })),
    );
    let held = gears
        .iter()
        .flatten()
        .map(|p| p[1])
        .chain(band.into_iter().flatten());
    let [low, high] = difference_range(held, band);
    let room = 0.15 * (high - low);
    let range = [low - room, high + room];
    layers.push(Layer::Line {
        name: format!(
            "bias of {} against {} in a gear",
            subject.label(compared.under_test),
            subject.name(compared.basis)
        ),
        points: gears.concat(),
        tone: subject.tone(compared.under_test),
        stroke: Stroke::Solid,
    });
    for change in changes {
        layers.push(Layer::Upright {
            name: "gear change".to_owned(),
            at: change.at_s,
            tone: Tone::Mute,
        });
        layers.extend(change.shift_percent.map(|shift| Layer::Label {
            at: [change.at_s, range[1]],
            text: format!("{}\u{a0}points", signed(shift, 1)),
            tone: Tone::Open,
        }));
    }
    let shift = |change: &GearShift| {
        let shift = change.shift_percent;
        shift.map_or_else(|| "—".to_owned(), |s| signed(s, 1))
    };
    let shifts: Vec<String> = changes.iter().map(shift).collect();
    Ok(Picture {
        title: subject.title("bias in each gear"),
        facts: vec![
            subject.window_fact(pair.map_or(0, |p| p.n)),
            format!(
                "Shift of the bias at each change: {} points.",
                shifts.join(", ")
            ),
        ],
        x: subject.time_axis(),
        y: Axis {
            ticks: Ticks::Signed,
            ..Axis::numbers("bias", "%", range)
        },
        layers,
    })
}

/// The bias before and after each change, as far as half way to the next one, with a break behind
/// each.
fn levels(subject: &Subject<'_>, changes: &[GearShift]) -> Vec<Vec<[f64; 2]>> {
    let span = subject.span();
    let mut out = Vec::new();
    for (index, change) in changes.iter().enumerate() {
        let before = index.checked_sub(1).and_then(|i| changes.get(i));
        let from_s = before.map_or(span.from_s, |b| 0.5 * (b.at_s + change.at_s));
        let after = changes.get(index + 1);
        let to_s = after.map_or(span.to_s, |a| 0.5 * (a.at_s + change.at_s));
        let ends = [
            (
                change.bias_before_percent,
                from_s.max(change.at_s - REACH_S),
                change.at_s,
            ),
            (
                change.bias_after_percent,
                change.at_s,
                to_s.min(change.at_s + REACH_S),
            ),
        ];
        for (bias, from_s, to_s) in ends {
            if let Some(bias) = bias {
                out.push(vec![[from_s, bias], [to_s, bias], [to_s, f64::NAN]]);
            }
        }
    }
    out
}
