//! Heat soak: bias in blocks against time and against temperature, with the fitted lines.

use ratatui::layout::Rect;

use super::super::super::state::State;
use super::super::super::study::soak::Soak;
use super::super::super::text::signed;
use super::super::chart::{Axis, Chart, round_ends};
use super::super::page::Page;
use super::super::pen::{Pen, Text};
use super::shared::{first, interval, named, nothing, rest, time_number};

/// Rows of the words below the picture.
const WORDS: u16 = 5;

pub fn page<'a>(state: &'a State, found: &'a Soak, area: Rect) -> Page<'a> {
    let rows = WORDS.min(area.height / 2);
    let picture = first(area, area.height - rows);
    let words = rest(area, picture.height);
    if found.blocks.blocks.is_empty() {
        let why = "No block of this stretch has both powers.";
        return Page::new(move |pen| nothing(why, picture, pen));
    }
    let warm: Vec<(f64, f64)> = found
        .blocks
        .blocks
        .iter()
        .filter(|b| b.temperature_c.is_finite())
        .map(|b| (b.temperature_c, b.bias_percent))
        .collect();
    let out = lines(state, found, warm.is_empty());
    Page::new(move |pen| blocks(state, found, &warm, picture, pen)).with(out, words)
}

/// The blocks against time and, where it is known, against temperature.
fn blocks(state: &State, found: &Soak, warm: &[(f64, f64)], picture: Rect, pen: &mut Pen<'_>) {
    let width = if warm.is_empty() {
        picture.width
    } else {
        picture.width * 3 / 5
    };
    let left = Rect { width, ..picture };
    let right = Rect {
        x: picture.x + width + 1,
        width: (picture.width - width).saturating_sub(1),
        ..picture
    };
    let figures = found.figures.as_ref();
    let bias = Axis {
        low: 0.0,
        high: 0.0,
        title: "bias",
        number: |v| format!("{v:+.1} %"),
    };
    let times: Vec<(f64, f64)> = found
        .blocks
        .blocks
        .iter()
        .map(|b| (b.at_s, b.bias_percent))
        .collect();
    let per_s = figures
        .and_then(|f| f.drift_percent_per_10min)
        .map(|d| d / 600.0);
    let span = state.scope_span().0;
    let time = Axis {
        low: span.from_s,
        high: span.to_s,
        title: "session time",
        number: time_number(state),
    };
    let band = found.band_percent;
    scatter(state, (time, bias), (&times, per_s, band), left, pen);
    if let Some((low, high)) = round_ends(warm.iter().map(|(c, _)| *c), 2.0) {
        let temperature = Axis {
            low,
            high,
            title: "temperature",
            number: |v| format!("{v:.0} °C"),
        };
        let slope = figures.and_then(|f| f.per_degree_percent);
        scatter(state, (temperature, bias), (warm, slope, band), right, pen);
    }
}

/// Points, the slope fitted to them, and the claim's band.
type Shown<'a> = (&'a [(f64, f64)], Option<f64>, Option<[f64; 2]>);

/// Points with a line of the fitted slope through their middle, and the ends of the claim's band.
fn scatter(
    state: &State,
    (x, y): (Axis<'_>, Axis<'_>),
    (points, slope, band): Shown<'_>,
    area: Rect,
    pen: &mut Pen<'_>,
) {
    let held = band.into_iter().flatten().chain([0.0]);
    let Some((low, high)) = round_ends(points.iter().map(|(_, b)| *b).chain(held), 1.0) else {
        return;
    };
    let mut chart = Chart::new(area, x, Axis { low, high, ..y });
    let count = points.len().max(1) as f64;
    let middle = (
        points.iter().map(|(x, _)| x).sum::<f64>() / count,
        points.iter().map(|(_, y)| y).sum::<f64>() / count,
    );
    let ends = (
        points.iter().map(|(x, _)| *x).fold(f64::INFINITY, f64::min),
        points
            .iter()
            .map(|(x, _)| *x)
            .fold(f64::NEG_INFINITY, f64::max),
    );
    if let Some(slope) = slope {
        let at = |x: f64| (x, middle.1 + slope * (x - middle.0));
        chart.line(&[at(ends.0), at(ends.1)], 0);
    }
    let look = state.look;
    chart.paint(pen, &[look.strong()]);
    for end in band.into_iter().flatten() {
        chart.level(end, look.glyph('╌', '='), look.faint(), pen);
    }
    chart.level(0.0, look.glyph('─', '-'), look.faint(), pen);
    chart.axes(pen);
    for (x, y) in points {
        if let Some((x, y)) = chart.cell(*x, *y) {
            pen.dot(x, y, look.glyph('•', 'o'), look.difference());
        }
    }
}

/// What the dashed lines are.
fn claim(state: &State, found: &Soak) -> String {
    let dashes = state.look.glyph('╌', '=');
    found.band_percent.map_or_else(String::new, |ends| {
        format!("; claim {dashes} {}", interval(Some(ends), 1, "%"))
    })
}

fn lines(state: &State, found: &Soak, no_temperature: bool) -> Vec<Text> {
    let Some(f) = &found.figures else {
        return Vec::new();
    };
    let mut out = vec![
        named(
            state,
            "drift",
            format!(
                "{} % in 10 min  (95 % CI: {})",
                signed(f.drift_percent_per_10min, 0, 2),
                interval(f.drift_ci95_percent_per_10min, 2, "%")
            ),
        ),
        if no_temperature {
            named(
                state,
                "temperature",
                "the source under test records none".to_owned(),
            )
        } else {
            named(
                state,
                "per degree",
                format!(
                    "{} % a °C  (95 % CI: {})",
                    signed(f.per_degree_percent, 0, 3),
                    interval(f.per_degree_ci95_percent, 3, "%")
                ),
            )
        },
        named(
            state,
            "bias",
            format!(
                "{} % at the start, {} % at the end{}",
                signed(f.start_bias_percent, 0, 2),
                signed(f.end_bias_percent, 0, 2),
                claim(state, found)
            ),
        ),
        named(
            state,
            "points",
            format!(
                "{} blocks of {:.0} s; the lines have the fitted slopes",
                found.blocks.blocks.len(),
                found.blocks.length_s
            ),
        ),
    ];
    let note = "time and temperature rise together: the data cannot say which the bias follows";
    if !no_temperature {
        out.push(Text::default().with(note, state.look.faint()));
    }
    out
}
