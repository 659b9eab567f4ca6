//! Bias in blocks along a stretch, against time and against temperature.

use super::along::mean;
use super::difference::{band_percent, limits, over_claim};
use super::parts::{
    Axis, Layer, Mark, Picture, Stroke, Ticks, difference_range, heights, range_of,
};
use super::subject::{Subject, plain, signed};
use super::tone::Tone;
use crate::recording::Channel;
use crate::timeline::{Grid, PERCENT_FROM_W};

/// Length of a block, s, and the most of them: what a picture has room for.
const BLOCK_S: f64 = 30.0;
const BLOCKS: usize = 80;

/// One block.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Block {
    /// Its middle, session time, s.
    pub at_s: f64,
    /// Bias, % of the reference.
    pub bias_percent: f64,
    /// Temperature of the source under test, °C; `NaN` where it tells none.
    pub temperature_c: f64,
}

/// A stretch in blocks.
#[derive(Clone, Debug, PartialEq)]
pub struct Blocks {
    /// In order.
    pub blocks: Vec<Block>,
    /// Length of a block, s.
    pub length_s: f64,
}

/// The blocks of the columns (W and °C, from row `first` of `grid` on). Those that are missing for
/// more than half, or idle, say nothing and are left out.
pub fn blocks(
    grid: Grid,
    first: usize,
    [under_test, reference]: [&[f64]; 2],
    temperature_c: Option<&[f64]>,
) -> Blocks {
    let rows = under_test.len().min(reference.len());
    let least = (BLOCK_S / grid.step_s).round().max(1.0) as usize;
    let width = rows.div_ceil(BLOCKS).max(least);
    let block = |from: usize| {
        let to = (from + width).min(rows);
        let both = || {
            let both = under_test[from..to].iter().zip(&reference[from..to]);
            both.filter(|(a, b)| (*a - *b).is_finite())
        };
        let (tested_w, n) = mean(both().map(|(a, _)| *a))?;
        let (reference_w, _) = mean(both().map(|(_, b)| *b))?;
        (2 * n >= to - from && reference_w >= PERCENT_FROM_W).then(|| Block {
            at_s: grid.time_s(first) + 0.5 * (from + to) as f64 * grid.step_s,
            bias_percent: 100.0 * (tested_w - reference_w) / reference_w,
            temperature_c: temperature_c
                .and_then(|c| mean(c.get(from..to)?.iter().copied()))
                .map_or(f64::NAN, |(c, _)| c),
        })
    };
    Blocks {
        blocks: (0..rows).step_by(width).filter_map(block).collect(),
        length_s: width as f64 * grid.step_s,
    }
}

/// Bias in % of each block against time, with its straight line.
///
/// # Errors
/// Why there is nothing to draw.
pub fn of(subject: &Subject<'_>) -> Result<Picture, String> {
    let found = blocks_of(subject)?;
    let soak = subject.figures.of_kind.heat_soak.as_ref();
    let mut facts = facts(subject)?;
    let mut slope = None;
    if let Some(drift) = soak.and_then(|h| h.drift_percent_per_10min) {
        slope = Some(drift / 600.0);
        facts.push(format!(
            "Drift {} % in 10 min, 95 % confidence{} %.",
            signed(drift, 2),
            limits(soak.and_then(|h| h.drift_ci95_percent_per_10min), 2)
        ));
    }
    let points = found.blocks.iter().map(|b| [b.at_s, b.bias_percent]);
    let span = subject.span();
    let x = subject.time_axis();
    scatter(
        subject,
        "bias over time",
        (facts, x, [span.from_s, span.to_s]),
        (points.collect(), slope, found.length_s),
    )
}

/// Bias in % of each block against the temperature that the source under test reports.
///
/// # Errors
/// Why there is nothing to draw.
pub fn against_temperature(subject: &Subject<'_>) -> Result<Picture, String> {
    let found = blocks_of(subject)?;
    let points: Vec<[f64; 2]> = found
        .blocks
        .iter()
        .map(|b| [b.temperature_c, b.bias_percent])
        .filter(|p| p[0].is_finite())
        .collect();
    if points.is_empty() {
        return Err("the source under test records no temperature".to_owned());
    }
    let soak = subject.figures.of_kind.heat_soak.as_ref();
    let slope = soak.and_then(|h| h.per_degree_percent);
    let mut facts = facts(subject)?;
    facts.extend(slope.map(|per_degree| {
        format!(
            "{} % a degree, 95 % confidence{} %; time and temperature rise together.",
            signed(per_degree, 3),
            limits(soak.and_then(|h| h.per_degree_ci95_percent), 3)
        )
    }));
    let range = range_of(points.iter().map(|p| p[0]));
    let x = Axis::numbers("temperature", "°C", range);
    scatter(
        subject,
        "bias against temperature",
        (facts, x, range),
        (points, slope, found.length_s),
    )
}

/// The blocks of the window.
///
/// # Errors
/// Where there are fewer than three.
pub fn blocks_of(subject: &Subject<'_>) -> Result<Blocks, String> {
    let compared = subject.compared()?;
    let found = blocks(
        subject.aligned.grid,
        subject.rows().start,
        [&compared.source, &compared.reference],
        subject.column(compared.under_test, Channel::Temperature),
    );
    match found.blocks.len() {
        0..3 => Err(format!(
            "too short: a heat soak is drawn in blocks of {} s",
            plain(found.length_s, 0)
        )),
        _ => Ok(found),
    }
}

fn facts(subject: &Subject<'_>) -> Result<Vec<String>, String> {
    let pair = subject.pair(subject.under_test()?, subject.basis()?);
    Ok(vec![subject.window_fact(pair.map_or(0, |p| p.n))])
}

/// Points, the slope fitted to them, and the length of the blocks, s.
type Shown = (Vec<[f64; 2]>, Option<f64>, f64);

/// Points over the claim, with a line of the fitted slope through their middle.
fn scatter(
    subject: &Subject<'_>,
    title: &str,
    (facts, x, across): (Vec<String>, Axis, [f64; 2]),
    (points, slope, length_s): Shown,
) -> Result<Picture, String> {
    let (under_test, basis) = (subject.under_test()?, subject.basis()?);
    let band = band_percent(subject);
    let mut layers = over_claim(subject, band, across);
    layers.extend(slope.map(|slope| fitted(&points, slope)));
    let of = format!(
        "bias of {} s, {} against {}",
        plain(length_s, 0),
        subject.label(under_test),
        subject.name(basis)
    );
    layers.push(Layer::Points {
        name: of,
        points,
        tone: subject.tone(under_test),
        mark: Mark::Disc,
    });
    let shown = layers
        .iter()
        .filter(|l| !matches!(l, Layer::Allowed { .. }));
    let shown: Vec<Layer> = shown.cloned().collect();
    let range = difference_range(heights(&shown), band);
    Ok(Picture {
        title: subject.title(title),
        facts,
        x,
        y: Axis {
            ticks: Ticks::Signed,
            ..Axis::numbers("bias", "%", range)
        },
        layers,
    })
}

/// The line of this slope through the middle of the points.
fn fitted(points: &[[f64; 2]], slope: f64) -> Layer {
    let n = points.len() as f64;
    let middle = points
        .iter()
        .fold([0.0, 0.0], |sum, p| [sum[0] + p[0] / n, sum[1] + p[1] / n]);
    let ends = points
        .iter()
        .fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], p| {
            [low.min(p[0]), high.max(p[0])]
        });
    let points = ends.map(|x| [x, middle[1] + slope * (x - middle[0])]);
    Layer::Line {
        name: "fitted slope".to_owned(),
        points: points.to_vec(),
        tone: Tone::Model,
        stroke: Stroke::Dashed,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const GRID: Grid = Grid {
        start_s: 10.0,
        step_s: 1.0,
        len: 10_000,
    };

    #[test]
    fn blocks_without_half_their_seconds_or_any_power_are_left_out() {
        let mut under_test = vec![204.0; 120];
        let mut reference = vec![200.0; 120];
        under_test[30..50].fill(f64::NAN);
        reference[60..90].fill(2.0);
        let found = blocks(GRID, 5, [&under_test, &reference], None);
        assert_eq!(found.length_s, 30.0);
        let at: Vec<f64> = found.blocks.iter().map(|b| b.at_s).collect();
        assert_eq!(at, [30.0, 120.0]);
        for block in &found.blocks {
            assert!((block.bias_percent - 2.0).abs() < 1e-9);
            assert!(block.temperature_c.is_nan());
        }
    }

    #[test]
    fn a_long_soak_has_no_more_blocks_than_a_picture_has_room_for() {
        let power = vec![200.0; 7200];
        let found = blocks(GRID, 0, [&power, &power], Some(&power));
        assert_eq!((found.blocks.len(), found.length_s), (80, 90.0));
    }
}
