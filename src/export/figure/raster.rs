//! Pictures in pixels: drawn larger and taken down, so that edges are smooth; on a page or on
//! nothing.

use plotters::backend::BitMapBackend;
use plotters::drawing::IntoDrawingArea as _;
use plotters::style::RGBColor;

use super::canvas::Joins;
use super::paint::{Sheet, paint, size_of};
use crate::export::ExportError;
use crate::picture::parts::Picture;
use crate::picture::tone::{Backdrop, Tone};

/// What a picture is drawn on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Look {
    /// Light or dark.
    pub backdrop: Backdrop,
    /// Whether what lies behind shows: for a moving picture. PNG only.
    pub transparent: bool,
}

impl Look {
    /// On a light page.
    pub const LIGHT: Self = Self {
        backdrop: Backdrop::Light,
        transparent: false,
    };
    /// On a dark page.
    pub const DARK: Self = Self {
        backdrop: Backdrop::Dark,
        transparent: false,
    };
}

/// Width from which on a picture is drawn at twice its size, not thrice, pixels.
const WIDE: u32 = 1800;

/// How far the casing of a transparent picture reaches around lines and words, and how dark it is.
const CASING: f64 = 2.6;
const CASING_SHARE: f64 = 0.78;

/// How far grounds cover what a transparent picture lies over.
const GROUND_SHARE: f64 = 0.75;

/// Pixels of a picture, row by row, three bytes each (or four, with how far they cover).
pub(super) fn pixels(picture: &Picture, width: u32, look: Look) -> Result<Vec<u8>, ExportError> {
    let sheet = |page: RGBColor, ground_share: f64| Sheet {
        backdrop: look.backdrop,
        joins: Joins::Round,
        page,
        ground_share,
    };
    if !look.transparent {
        let [_, r, g, b] = Tone::Page.rgb(look.backdrop).to_be_bytes();
        return drawn(picture, width, sheet(RGBColor(r, g, b), 1.0));
    }
    let on = |page: u8| {
        drawn(
            picture,
            width,
            sheet(RGBColor(page, page, page), GROUND_SHARE),
        )
    };
    let (black, white) = (on(0)?, on(255)?);
    Ok(cased(
        &uncovered(&black, &white),
        size_of(picture, width),
        look.backdrop,
    ))
}

/// Drawn larger and taken down.
fn drawn(picture: &Picture, width: u32, sheet: Sheet) -> Result<Vec<u8>, ExportError> {
    let (width, height) = size_of(picture, width);
    let times = if width >= WIDE { 2 } else { 3 };
    let size = (width * times, height * times);
    let mut large = vec![0; size.0 as usize * size.1 as usize * 3];
    {
        let area = BitMapBackend::with_buffer(&mut large, size).into_drawing_area();
        paint(&area, picture, sheet).map_err(|e| ExportError::Draw(e.to_string()))?;
        area.present()
            .map_err(|e| ExportError::Draw(e.to_string()))?;
    }
    let times = times as usize;
    let row_bytes = size.0 as usize * 3;
    let mut out = Vec::with_capacity(width as usize * height as usize * 3);
    for row in large.chunks_exact(row_bytes * times) {
        for column in 0..width as usize {
            for channel in 0..3 {
                let at = |x: usize, y: usize| {
                    usize::from(row[y * row_bytes + 3 * (column * times + x) + channel])
                };
                let sum: usize = (0..times)
                    .flat_map(|y| (0..times).map(move |x| at(x, y)))
                    .sum();
                out.push((sum / (times * times)) as u8);
            }
        }
    }
    Ok(out)
}

/// What was drawn, with how far it covers, from the same drawing on black and on white.
fn uncovered(black: &[u8], white: &[u8]) -> Vec<[f64; 4]> {
    let both = black.chunks_exact(3).zip(white.chunks_exact(3));
    both.map(|(black, white)| {
        let share = |i: usize| 1.0 - (f64::from(white[i]) - f64::from(black[i])) / 255.0;
        let cover = ((share(0) + share(1) + share(2)) / 3.0).clamp(0.0, 1.0);
        let colour = |i: usize| match cover > 0.0 {
            true => (f64::from(black[i]) / cover).min(255.0),
            false => 0.0,
        };
        [colour(0), colour(1), colour(2), cover]
    })
    .collect()
}

/// A casing in the colour of the page around whatever is drawn, so that it reads over anything.
fn cased(drawn: &[[f64; 4]], (width, height): (u32, u32), backdrop: Backdrop) -> Vec<u8> {
    let (width, height) = (width as usize, height as usize);
    let reach = (CASING * width as f64 / 1200.0).round().max(1.0) as usize;
    let cover: Vec<f64> = drawn.iter().map(|p| p[3]).collect();
    // A square is widened along its rows, then along its columns.
    let across: Vec<f64> = (0..width * height)
        .map(|at| {
            let (row, column) = (at / width, at % width);
            let from = row * width + column.saturating_sub(reach);
            let to = row * width + (column + reach).min(width - 1);
            cover[from..=to].iter().copied().fold(0.0, f64::max)
        })
        .collect();
    let [_, r, g, b] = Tone::Page.rgb(backdrop).to_be_bytes();
    let page = [r, g, b].map(f64::from);
    let mut out = Vec::with_capacity(4 * drawn.len());
    for (at, [red, green, blue, own]) in drawn.iter().enumerate() {
        let (row, column) = (at / width, at % width);
        let rows = row.saturating_sub(reach)..=(row + reach).min(height - 1);
        let near = rows
            .map(|row| across[row * width + column])
            .fold(0.0, f64::max);
        let casing = CASING_SHARE * near * (1.0 - own);
        let whole = own + casing;
        for (channel, page) in [red, green, blue].into_iter().zip(page) {
            let mixed = match whole > 0.0 {
                true => (own * channel + casing * page) / whole,
                false => 0.0,
            };
            out.push(mixed.round() as u8);
        }
        out.push((255.0 * whole).round() as u8);
    }
    out
}

/// The PNG file of `pixels`.
pub(super) fn encoded(
    pixels: &[u8],
    (width, height): (u32, u32),
    transparent: bool,
) -> Result<Vec<u8>, ExportError> {
    let mut out = Vec::new();
    let failed = |e: png::EncodingError| ExportError::Draw(e.to_string());
    {
        let mut encoder = png::Encoder::new(&mut out, width, height);
        encoder.set_color(match transparent {
            true => png::ColorType::Rgba,
            false => png::ColorType::Rgb,
        });
        encoder.set_depth(png::BitDepth::Eight);
        let mut writer = encoder.write_header().map_err(failed)?;
        writer.write_image_data(pixels).map_err(failed)?;
        writer.finish().map_err(failed)?;
    }
    Ok(out)
}
