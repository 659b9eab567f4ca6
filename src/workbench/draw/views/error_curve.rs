//! Error against power: each block with its limits, the curve with its band, the claim.

use ratatui::layout::Rect;

use super::super::super::state::State;
use super::super::super::study::error_curve::Shown;
use super::super::page::Page;
use super::super::paint;
use super::super::pen::{Pen, Text};
use super::shared::{beside, nothing, wrapped};

/// Rows of the words below the picture.
const WORDS: u16 = 8;

pub fn page<'a>(state: &'a State, found: &'a Shown, area: Rect) -> Page<'a> {
    let (picture, words) = beside(area, WORDS);
    let draw = move |pen: &mut Pen<'_>| match &found.picture {
        Ok(shown) => paint::picture(shown, picture, true, pen),
        Err(_) => nothing(
            "No block of held power may be judged: tag steady blocks of 60 s or more.",
            picture,
            pen,
        ),
    };
    Page::new(draw).with(lines(state, found, words.width), words)
}

fn lines(state: &State, found: &Shown, width: u16) -> Vec<Text> {
    let look = state.look;
    let mut out = wrapped(&format!("{}.", found.answer), width, look.strong());
    let level = format!(
        "{}: {}.",
        found.found.under_test, found.found.level_sentence
    );
    out.extend(wrapped(&level, width, ratatui::style::Style::new()));
    let legend = match found.found.curve.is_empty() {
        true => "each block with its 95 % limits",
        false => "each block with its 95 % limits; between the powers ridden nothing was measured",
    };
    out.extend(wrapped(legend, width, look.faint()));
    out
}
