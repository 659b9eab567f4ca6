//! Strokes, fills, marks and words in the tones of a picture, on any of the plotting library's
//! backends.

use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::lines::dashes;
use crate::picture::parts::{Mark, Stroke};
use crate::picture::tone::{Backdrop, Tone};

pub(super) type Painted<DB> = Result<(), DrawingAreaErrorKind<<DB as DrawingBackend>::ErrorType>>;

/// How the pieces of a line are joined.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Joins {
    /// As whatever shows the picture joins them: a polyline is one.
    Own,
    /// Round: the library's own raster joins are mitres without a limit, and the inner side of a
    /// spike shoots out of the axes.
    Round,
}

/// Where something is drawn, pixels.
pub(super) type Place = [f64; 2];

type Pixel = (i32, i32);

fn pixel([x, y]: Place) -> Pixel {
    (x.round() as i32, y.round() as i32)
}

/// What is drawn on.
pub(super) struct Canvas<'a, DB: DrawingBackend> {
    pub area: &'a DrawingArea<DB, Shift>,
    /// Pixels a design unit.
    pub unit: f64,
    pub backdrop: Backdrop,
    pub joins: Joins,
    /// How far grounds cover what is behind the picture.
    pub ground_share: f64,
}

/// How far the grid covers what lies behind a transparent picture.
const QUIET_SHARE: f64 = 0.35;

/// Size of words in a document to their size in pixels: the library takes the one for 1.24 times the
/// size of its letters, the other for their ascent and descent, 1.164 times that of the built-in font.
const DOCUMENT: f64 = 1.24 / 1.164;

/// Where words stand to their place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Anchor {
    Left,
    Middle,
    Right,
}

/// How words are set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Type {
    /// Size in design units.
    pub size: f64,
    pub bold: bool,
}

impl<DB: DrawingBackend> Canvas<'_, DB> {
    pub fn colour(&self, tone: Tone) -> RGBColor {
        // Over whatever lies behind, grey words would not be read.
        let tone = match tone {
            Tone::Mute | Tone::Faint | Tone::Model if self.is_over_anything() => Tone::Open,
            other => other,
        };
        let [_, r, g, b] = tone.rgb(self.backdrop).to_be_bytes();
        RGBColor(r, g, b)
    }

    fn is_over_anything(&self) -> bool {
        self.ground_share < 1.0
    }

    fn font(&self, set: Type) -> FontDesc<'static> {
        let style = if set.bold {
            FontStyle::Bold
        } else {
            FontStyle::Normal
        };
        FontDesc::new(FontFamily::SansSerif, set.size * self.unit, style)
    }

    /// Width of words, pixels.
    pub fn width_of(&self, text: &str, set: Type) -> f64 {
        let measured = self.font(set).box_size(text);
        measured.map_or(0.6 * set.size * text.len() as f64, |(width, _)| {
            f64::from(width)
        })
    }

    /// Words in the middle of a line at height `y`.
    pub fn text(
        &self,
        text: &str,
        at: Place,
        (set, tone): (Type, Tone),
        anchor: Anchor,
    ) -> Painted<DB> {
        let side = match anchor {
            Anchor::Left => HPos::Left,
            Anchor::Middle => HPos::Center,
            Anchor::Right => HPos::Right,
        };
        let colour = self.colour(tone);
        let drop = match self.joins {
            // The library's raster words stand a little above the middle of their line.
            Joins::Round => 0.18 * set.size * self.unit,
            Joins::Own => 0.0,
        };
        let at = [at[0], at[1] + drop];
        let shown = Type {
            size: match self.joins {
                Joins::Own => DOCUMENT * set.size,
                Joins::Round => set.size,
            },
            ..set
        };
        let style = TextStyle::from(self.font(shown))
            .color(&colour)
            .pos(Pos::new(side, VPos::Center));
        self.area
            .draw(&Text::new(text.to_owned(), pixel(at), style))
    }

    /// Pixels of a width in design units: never nothing.
    fn pixels(&self, width: f64) -> u32 {
        (width * self.unit).round().max(1.0) as u32
    }

    /// A line, `width` design units wide.
    pub fn stroke(
        &self,
        points: &[Place],
        (tone, width): (Tone, f64),
        stroke: Stroke,
    ) -> Painted<DB> {
        let share = match tone {
            Tone::Grid | Tone::Rule if self.is_over_anything() => QUIET_SHARE,
            _ => 1.0,
        };
        let colour = self.colour(tone).mix(share);
        let width = self.pixels(if stroke == Stroke::Hair { 1.2 } else { width });
        let dash = 9.0 * self.unit;
        let pieces = match stroke {
            Stroke::Dashed => dashes(points, dash, 0.7 * dash),
            Stroke::Solid | Stroke::Hair => vec![points.to_vec()],
        };
        for piece in pieces {
            let mut path: Vec<Pixel> = piece.into_iter().map(pixel).collect();
            path.dedup();
            let look = colour.stroke_width(width);
            if self.joins == Joins::Own || width == 1 {
                self.area.draw(&PathElement::new(path, look))?;
                continue;
            }
            for joint in path.iter().skip(1).rev().skip(1) {
                self.area
                    .draw(&Circle::new(*joint, width / 2, colour.filled()))?;
            }
            for part in path.windows(2) {
                self.area.draw(&PathElement::new(part.to_vec(), look))?;
            }
        }
        Ok(())
    }

    /// A filled shape.
    pub fn fill(&self, corners: &[Place], colour: RGBColor, share: f64) -> Painted<DB> {
        let shape: Vec<Pixel> = corners.iter().copied().map(pixel).collect();
        self.area
            .draw(&Polygon::new(shape, colour.mix(share).filled()))
    }

    /// A filled rectangle from one corner to the opposite one.
    pub fn ground(&self, [a, b]: [Place; 2], colour: RGBColor) -> Painted<DB> {
        let fill = colour.mix(self.ground_share).filled();
        self.area.draw(&Rectangle::new([pixel(a), pixel(b)], fill))
    }

    /// A mark of `size` design units.
    pub fn mark(&self, at: Place, tone: Tone, mark: Mark, size: f64) -> Painted<DB> {
        let r = size * self.unit;
        let fill = self.colour(tone);
        let corners: &[Place] = match mark {
            Mark::Dot | Mark::Disc => {
                let whole = r.round().max(1.0) as i32;
                return self
                    .area
                    .draw(&Circle::new(pixel(at), whole, fill.filled()));
            }
            Mark::Ring => {
                let ring = fill.stroke_width(self.pixels(2.4));
                let page = self.colour(Tone::Page).filled();
                let whole = r.round().max(1.0) as i32;
                self.area.draw(&Circle::new(pixel(at), whole, page))?;
                return self.area.draw(&Circle::new(pixel(at), whole, ring));
            }
            Mark::Beyond => return self.chevrons(at, tone, r),
            Mark::Cross => {
                for [from, to] in [[[-1.0, -1.0], [1.0, 1.0]], [[-1.0, 1.0], [1.0, -1.0]]] {
                    let ends = [from, to].map(|[x, y]: Place| [at[0] + x * r, at[1] + y * r]);
                    self.stroke(&ends, (tone, 2.4), Stroke::Solid)?;
                }
                return Ok(());
            }
            Mark::Square => &[[-0.9, -0.9], [0.9, -0.9], [0.9, 0.9], [-0.9, 0.9]],
            Mark::Triangle => &[[0.0, -1.2], [1.1, 0.8], [-1.1, 0.8]],
            Mark::Diamond => &[[0.0, -1.3], [1.3, 0.0], [0.0, 1.3], [-1.3, 0.0]],
            Mark::Drop => &[[0.0, 1.2], [1.1, -0.8], [-1.1, -0.8]],
        };
        let shape: Vec<Place> = corners
            .iter()
            .map(|[dx, dy]| [at[0] + dx * r, at[1] + dy * r])
            .collect();
        self.fill(&shape, fill, 1.0)
    }

    fn chevrons(&self, at: Place, tone: Tone, r: f64) -> Painted<DB> {
        for shift in [-0.9, 0.3] {
            let corner = |x: f64, y: f64| [at[0] + (x + shift) * r, at[1] + y * r];
            let path = [corner(-0.6, -1.0), corner(0.4, 0.0), corner(-0.6, 1.0)];
            self.stroke(&path, (tone, 2.6), Stroke::Solid)?;
        }
        Ok(())
    }
}
