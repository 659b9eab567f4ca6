//! Agreement: difference against mean, shaded by time, with bias, limits of agreement and their confidence.

use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::super::state::{Scope, State};
use super::super::super::study::agreement::Agreed;
use super::super::super::text::{plain, signed};
use super::super::page::Page;
use super::super::paint;
use super::super::panel::beyond;
use super::super::pen::Text;
use super::shared::{beside, interval, named};
use crate::picture::agreement::PARTS;
use crate::picture::tone::Tone;

/// Rows of the words below the picture.
const WORDS: u16 = 8;

pub fn page<'a>(state: &'a State, found: &'a Agreed, area: Rect) -> Page<'a> {
    let (picture, words) = beside(area, WORDS);
    Page::new(move |pen| paint::picture(&found.picture, picture, true, pen))
        .with(lines(state, found, words), words)
}

/// Early, middle and late seconds, as in the picture.
fn shades(state: &State) -> [Style; PARTS] {
    [2, 0, 1].map(|shade| state.look.of(Tone::Reference(shade)))
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
        let bias_w = *part;
        by_part = by_part
            .with(name, style)
            .with(format!(" {} W  ", signed(bias_w, 0, 1)), Style::new());
    }
    // Where rows are short the course of time matters more than what follows from the limits.
    let at = if words.height < WORDS { 2 } else { out.len() };
    out.insert(at.min(out.len()), by_part);
    out
}
