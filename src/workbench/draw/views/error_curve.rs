//! Error against power: each block with its limits, the curve with its band, the claim.

use ratatui::layout::Rect;

use super::super::super::state::State;
use super::super::super::study::error_curve::Shown;
use super::super::chart::{Axis, Chart, round_ends};
use super::super::page::Page;
use super::super::pen::{Pen, Text};
use super::shared::{beside, nothing, wrapped};
use crate::picture::error_curve::ErrorPicture;

/// Rows of the words below the picture.
const WORDS: u16 = 8;

/// Owners of dots, in the order of their styles.
const BAND: u8 = 0;
const CURVE: u8 = 1;
const BARS: u8 = 2;

pub fn page<'a>(state: &'a State, found: &'a Shown, area: Rect) -> Page<'a> {
    let (picture, words) = beside(area, WORDS);
    let paint = move |pen: &mut Pen<'_>| match &found.picture {
        Some(shown) => chart(state, shown, picture, pen),
        None => nothing(
            "No block of held power may be judged: tag steady blocks of 60 s or more.",
            picture,
            pen,
        ),
    };
    Page::new(paint).with(lines(state, found, words.width), words)
}

fn chart(state: &State, shown: &ErrorPicture, area: Rect, pen: &mut Pen<'_>) {
    let Some((low, high)) = round_ends(shown.errors().chain([0.0]), 1.0) else {
        return;
    };
    let x = Axis {
        low: shown.power_w[0],
        high: shown.power_w[1],
        title: "power",
        number: |w| format!("{w:.0} W"),
    };
    let y = Axis {
        low,
        high,
        title: "error",
        number: |v| format!("{v:+.1} %"),
    };
    let look = state.look;
    let pairs = |points: &[[f64; 2]]| points.iter().map(|p| (p[0], p[1])).collect::<Vec<_>>();
    let mut chart = Chart::new(area, x, y);
    for edge in &shown.band {
        chart.line(&pairs(edge), BAND);
    }
    chart.line(&pairs(&shown.curve), CURVE);
    for block in &shown.blocks {
        let [low, high] = block.limits_percent;
        chart.bar(block.power_w, low, high, BARS);
    }
    chart.paint(pen, &[look.faint(), look.strong(), look.difference()]);
    for edge in &shown.claim {
        claim(state, edge, &chart, pen);
    }
    chart.level(0.0, look.glyph('─', '-'), look.faint(), pen);
    chart.axes(pen);
    for block in &shown.blocks {
        if let Some((x, y)) = chart.cell(block.power_w, block.error_percent) {
            pen.dot(x, y, look.glyph('●', 'o'), look.difference());
        }
    }
}

/// One edge of the claim as dashes; level where the claim is in % alone.
fn claim(state: &State, edge: &[[f64; 2]], chart: &Chart<'_>, pen: &mut Pen<'_>) {
    let dash = state.look.glyph('╌', '=');
    let same = edge
        .windows(2)
        .all(|pair| (pair[0][1] - pair[1][1]).abs() < 1e-9);
    if let ([first, ..], true) = (edge, same) {
        chart.level(first[1], dash, state.look.faint(), pen);
        return;
    }
    for [power_w, percent] in edge {
        if let Some((x, y)) = chart.cell(*power_w, *percent) {
            pen.dot(x, y, dash, state.look.faint());
        }
    }
}

fn lines(state: &State, found: &Shown, width: u16) -> Vec<Text> {
    let look = state.look;
    let mut out = wrapped(&format!("{}.", found.answer), width, look.strong());
    let level = format!(
        "{}: {}.",
        found.found.under_test, found.found.level_sentence
    );
    out.extend(wrapped(&level, width, ratatui::style::Style::new()));
    let dashes = look.glyph('╌', '=');
    let dot = look.glyph('●', 'o');
    let legend = if found.found.curve.is_empty() {
        format!("{dot} a block with its 95 % CI, {dashes} the claim")
    } else {
        format!(
            "{dot} a block with 95 % CI for all blocks at once; the curve with its 95 % band; {dashes} the claim; between the powers ridden nothing was measured"
        )
    };
    out.extend(wrapped(&legend, width, look.faint()));
    out
}
