//! Agreement: difference against mean, shaded by time, with bias, limits of agreement and their confidence.

use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

use super::super::super::state::{Scope, State};
use super::super::super::study::agreement::{Agreed, PARTS};
use super::super::super::text::{plain, signed};
use super::super::chart::{Axis, Chart, round_ends};
use super::super::page::Page;
use super::super::panel::beyond;
use super::super::pen::{Pen, Text};
use super::shared::{beside, interval, named, nothing};

/// Rows of the words below the picture.
const WORDS: u16 = 8;

pub fn page<'a>(state: &'a State, found: &'a Agreed, area: Rect) -> Page<'a> {
    let (picture, words) = beside(area, WORDS);
    let paint = move |pen: &mut Pen<'_>| {
        if found.points.is_empty() {
            nothing("The two have no second in common here.", picture, pen);
        } else {
            points(state, found, picture, pen);
        }
    };
    Page::new(paint).with(lines(state, found, words), words)
}

/// Early, middle and late seconds: told apart by weight, and by hue where there is colour.
fn shades(state: &State) -> [Style; PARTS] {
    let ink = state.look.difference();
    [
        state.look.faint(),
        ink,
        ink.add_modifier(Modifier::BOLD | Modifier::UNDERLINED),
    ]
}

fn points(state: &State, found: &Agreed, area: Rect, pen: &mut Pen<'_>) {
    let usual = found.usual_w;
    let limits = found.figures.as_ref().and_then(|f| f.loa95_w);
    let reach = limits.map_or(usual, |[low, high]| usual.max(low.abs()).max(high.abs()));
    let ends = round_ends([-reach, reach].into_iter(), 2.0);
    let across = round_ends(found.points.iter().map(|p| p.mean_w), 10.0);
    let (Some((low, high)), Some((left, right))) = (ends, across) else {
        return;
    };
    let mut chart = Chart::new(
        area,
        Axis {
            low: left,
            high: right,
            title: "mean of the two",
            number: |v| format!("{v:.0} W"),
        },
        Axis {
            low,
            high,
            title: "differ.",
            number: |v| format!("{v:+.0} W"),
        },
    );
    for point in &found.points {
        let inside = point.difference_w.clamp(low, high);
        chart.point(point.mean_w, inside, point.part as u8);
    }
    chart.paint(pen, &shades(state));
    let look = state.look;
    chart.level(0.0, look.glyph('─', '-'), look.faint(), pen);
    chart.axes(pen);
    let Some(figures) = &found.figures else {
        return;
    };
    let plot = chart.plot();
    let mut level = |value: Option<f64>, glyph: char, name: &str| {
        let Some(value) = value else {
            return;
        };
        chart.level(value, glyph, look.strong(), pen);
        if let Some((_, y)) = chart.cell(right, value) {
            let label = format!(" {name} {} W ", signed(Some(value), 0, 1));
            let width = label.chars().count() as u16;
            if plot.width > width + 8 {
                pen.write(plot.right() - width, y, width, &label, look.strong());
            }
        }
    };
    let [low, high] = figures.loa95_w.map_or([None, None], |l| l.map(Some));
    level(low, look.glyph('╌', '='), "LoA");
    level(high, look.glyph('╌', '='), "LoA");
    level(figures.bias_w, look.glyph('━', '#'), "bias");
}

/// Whether the claim is held against the bias shown: not against that of whatever is in view, nor
/// where power jumps by design.
fn is_held_to_claim(state: &State) -> bool {
    let segments = &state.session().segments;
    match state.scope_span().1.and_then(|index| segments.get(index)) {
        Some(segment) => segment.kind.tells_bias(),
        None => state.scope != Scope::Ride && state.is_brushed(),
    }
}

fn lines(state: &State, found: &Agreed, words: Rect) -> Vec<Text> {
    let Some(f) = &found.figures else {
        return Vec::new();
    };
    let look = state.look;
    let mut out = Vec::new();
    let bias = named(
        state,
        "bias",
        format!(
            "{} W  {} %  (95 % CI: {})",
            signed(f.bias_w, 0, 1),
            signed(f.bias_percent, 0, 2),
            interval(f.bias_ci95_w, 1, "W")
        ),
    );
    out.push(bias);
    if let Some((middle_w, half_w)) = found.allowed_w {
        let net_w = f.bias_w.map(|bias_w| bias_w - middle_w);
        let (word, style) = beyond(look, net_w, half_w);
        let claim = if middle_w == 0.0 {
            format!("±{half_w:.1} W here  ")
        } else {
            let net = signed(net_w, 0, 1);
            format!("±{half_w:.1} W here, net bias {net} W  ")
        };
        let line = named(state, "claim", claim);
        out.push(if is_held_to_claim(state) {
            line.with(word, style)
        } else {
            line
        });
    }
    let [low, high] = f.loa95_w.map_or([None, None], |l| l.map(Some));
    let limit = |name: &str, value: Option<f64>, ends| {
        let text = format!(
            "{} W  (95 % CI: {})",
            signed(value, 0, 1),
            interval(ends, 1, "W")
        );
        named(state, name, text)
    };
    out.push(limit("upper LoA", high, f.loa95_upper_ci95_w));
    out.push(limit("lower LoA", low, f.loa95_lower_ci95_w));
    out.push(named(
        state,
        "spread",
        format!(
            "sd {} W  rmse {} W",
            plain(f.sd_diff_w, 0, 1),
            plain(f.rmse_w, 0, 1)
        ),
    ));
    out.push(named(
        state,
        "concordance",
        format!("{}  r {}", plain(f.ccc, 0, 3), plain(f.pearson_r, 0, 3)),
    ));
    out.push(named(
        state,
        "seconds",
        format!("{}, effective n {}", f.n, plain(f.n_effective, 0, 0)),
    ));
    let mut by_part = Text::default().with(format!("{:<12}", "by third"), look.faint());
    for ((part, style), name) in found
        .parts
        .iter()
        .zip(shades(state))
        .zip(["first", "2nd", "last"])
    {
        let bias_w = part.map(|(w, _)| w);
        by_part = by_part
            .with(name, style)
            .with(format!(" {} W  ", signed(bias_w, 0, 1)), Style::new());
    }
    // Where rows are short the course of time matters more than what follows from the limits.
    let at = if words.height < WORDS { 2 } else { out.len() };
    out.insert(at.min(out.len()), by_part);
    out
}
