//! Heat soak: bias in blocks against time and against temperature, with the fitted lines.

use ratatui::layout::Rect;

use super::super::super::state::State;
use super::super::super::study::soak::Soak;
use super::super::super::text::signed;
use super::super::page::Page;
use super::super::paint;
use super::super::pen::{Pen, Text};
use super::shared::{first, interval, named, rest};

/// Rows of the words below the picture.
const WORDS: u16 = 5;

pub fn page<'a>(state: &'a State, found: &'a Soak, area: Rect) -> Page<'a> {
    let rows = WORDS.min(area.height / 2);
    let picture = first(area, area.height - rows);
    let words = rest(area, picture.height);
    let out = lines(state, found, found.against_temperature.is_none());
    Page::new(move |pen| both(found, picture, pen)).with(out, words)
}

/// The blocks against time and, where it is known, against temperature.
fn both(found: &Soak, area: Rect, pen: &mut Pen<'_>) {
    let Some(warm) = &found.against_temperature else {
        paint::picture(&found.picture, area, true, pen);
        return;
    };
    let width = area.width * 3 / 5;
    let left = Rect { width, ..area };
    let right = Rect {
        x: area.x + width + 1,
        width: (area.width - width).saturating_sub(1),
        ..area
    };
    paint::picture(&found.picture, left, true, pen);
    paint::picture(warm, right, true, pen);
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
                found.blocks.0, found.blocks.1
            ),
        ),
    ];
    let note = "time and temperature rise together: the data cannot say which the bias follows";
    if !no_temperature {
        out.push(Text::default().with(note, state.look.faint()));
    }
    out
}
