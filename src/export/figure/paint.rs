//! Draws a [`Picture`] on any of the plotting library's backends.

use std::cell::RefCell;

use plotters::coord::Shift;
use plotters::prelude::*;

use super::canvas::{Anchor, Canvas, Joins, Painted, Place, Type};
use super::free::Free;
use super::lines::{Frame, clipped, thinned};
use crate::picture::labels;
use crate::picture::parts::{Layer, Mark, Picture, Row, Stroke, Ticks};
use crate::picture::ticks::ticks;
use crate::picture::tone::{Backdrop, Tone};
use crate::text::lines_that_fit;

/// Everything is laid out for this width and scaled.
const DESIGN_WIDTH: f64 = 1200.0;

/// Height of a picture as a share of its width, but for rows of names.
const SHAPE: f64 = 0.62;

/// How words are set, and how high their lines are, in design units.
const TITLE: Type = Type {
    size: 29.0,
    bold: true,
};
const DECK: Type = Type {
    size: 18.5,
    bold: false,
};
const LABEL: Type = Type {
    size: 18.5,
    bold: true,
};
const TITLE_HEIGHT: f64 = 37.0;
const LINE_HEIGHT: f64 = 26.0;
const ROW_HEIGHT: f64 = 33.0;
const MARGIN: f64 = 30.0;

/// Widths of lines in design units.
const LINE: f64 = 3.2;
const THIN: f64 = 2.0;

/// From this many points on a line of differences is thin.
const MANY: usize = 200;

/// Marks beyond an edge that are nearer than this become one, design units.
const BEYOND: f64 = 18.0;

/// How far a spread covers what is behind it.
const SPREAD_SHARE: f64 = 0.6;

/// How a page looks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Sheet {
    pub backdrop: Backdrop,
    pub joins: Joins,
    /// What is behind everything.
    pub page: RGBColor,
    /// How far grounds cover it.
    pub ground_share: f64,
}

/// Draws `picture` over the whole of `area`; returns where its axes stand.
pub(super) fn paint<DB: DrawingBackend>(
    area: &DrawingArea<DB, Shift>,
    picture: &Picture,
    sheet: Sheet,
) -> Result<Frame, DrawingAreaErrorKind<DB::ErrorType>> {
    let (width, height) = area.dim_in_pixel();
    area.fill(&sheet.page)?;
    let canvas = Canvas {
        area,
        unit: f64::from(width) / DESIGN_WIDTH,
        backdrop: sheet.backdrop,
        joins: sheet.joins,
        ground_share: sheet.ground_share,
    };
    let mut painter = Painter::new(canvas, picture, f64::from(height));
    painter.words()?;
    painter.grounds()?;
    painter.axes()?;
    for layer in &picture.layers {
        painter.layer(layer)?;
    }
    painter.over()?;
    Ok(painter.frame)
}

/// Widths that make a picture, pixels.
pub const WIDTHS: std::ops::RangeInclusive<u32> = 300..=6000;

/// Width and height of a picture of about this width, pixels.
pub(crate) fn size_of(picture: &Picture, width: u32) -> (u32, u32) {
    let width = width.clamp(*WIDTHS.start(), *WIDTHS.end());
    let shape = height_of(picture) / DESIGN_WIDTH;
    (width, (f64::from(width) * shape).round() as u32)
}

/// Height of a picture that is [`DESIGN_WIDTH`] wide, design units.
fn height_of(picture: &Picture) -> f64 {
    let Ticks::Rows(rows) = &picture.y.ticks else {
        return DESIGN_WIDTH * SHAPE;
    };
    // What is written over the rows is measured as it is drawn, on nothing.
    let mut nothing = Vec::new();
    let backend = BitMapBackend::with_buffer(&mut nothing, (0, 0)).into_drawing_area();
    let canvas = Canvas {
        area: &backend,
        unit: 1.0,
        backdrop: Backdrop::Light,
        joins: Joins::Own,
        ground_share: 1.0,
    };
    let painter = Painter::new(canvas, picture, 0.0);
    let words = painter.lay_out_words();
    words.bottom + ROW_HEIGHT * rows.len() as f64 + 2.0 * LINE_HEIGHT + MARGIN
}

/// The picture on its way to the page.
pub(super) struct Painter<'a, DB: DrawingBackend> {
    canvas: Canvas<'a, DB>,
    pub(super) frame: Frame,
    picture: &'a Picture,
    /// What no words may cover.
    free: RefCell<Free>,
}

/// A piece of the words over a plot.
enum Piece<'a> {
    Words(String, Type, Tone),
    /// A layer's sample, with its name behind it.
    Sample(&'a Layer),
}

/// The words over a plot, and where they end.
struct Words<'a> {
    pieces: Vec<(Place, Piece<'a>)>,
    bottom: f64,
}

impl<'a, DB: DrawingBackend> Painter<'a, DB> {
    fn new(canvas: Canvas<'a, DB>, picture: &'a Picture, height: f64) -> Self {
        let frame = Frame {
            left: MARGIN * canvas.unit,
            right: (DESIGN_WIDTH - MARGIN) * canvas.unit,
            top: 0.0,
            bottom: height,
        };
        Self {
            canvas,
            frame,
            picture,
            free: RefCell::new(Free::new(1.0)),
        }
    }

    /// Title, facts and legend, from the top.
    fn lay_out_words(&self) -> Words<'a> {
        let u = self.canvas.unit;
        let (left, right) = (self.frame.left, self.frame.right);
        let mut y = 0.8 * MARGIN * u;
        let mut pieces = Vec::new();
        let mut block = |text: &str, (set, tone): (Type, Tone), height: f64| {
            let fits = |line: &str| self.canvas.width_of(line, set) <= right - left;
            for line in lines_that_fit(text, fits) {
                let middle = [left, y + 0.5 * height * u];
                pieces.push((middle, Piece::Words(line, set, tone)));
                y += height * u;
            }
        };
        block(&self.picture.title, (TITLE, Tone::Source(0)), TITLE_HEIGHT);
        for fact in &self.picture.facts {
            block(fact, (DECK, Tone::Mute), LINE_HEIGHT);
        }
        y += 4.0 * u;
        let (mut x, mut any) = (left, false);
        let mut seen: Vec<&str> = Vec::new();
        for layer in &self.picture.layers {
            let name = layer.name();
            if name.is_empty() || seen.contains(&name) {
                continue;
            }
            seen.push(name);
            let room = SAMPLE * u + self.canvas.width_of(name, DECK) + 34.0 * u;
            if any && x + room - 26.0 * u > right {
                x = left;
                y += LINE_HEIGHT * u;
            }
            pieces.push(([x, y + 0.5 * LINE_HEIGHT * u], Piece::Sample(layer)));
            x += room;
            any = true;
        }
        if any {
            y += LINE_HEIGHT * u;
        }
        Words { pieces, bottom: y }
    }

    /// Writes what stands over the plot and leaves the plot's frame below it.
    fn words(&mut self) -> Painted<DB> {
        let u = self.canvas.unit;
        let words = self.lay_out_words();
        for (at, piece) in &words.pieces {
            match piece {
                Piece::Words(text, set, tone) => {
                    self.canvas.text(text, *at, (*set, *tone), Anchor::Left)?;
                }
                Piece::Sample(layer) => {
                    self.sample(layer, *at)?;
                    let at = [at[0] + (SAMPLE + 8.0) * u, at[1]];
                    let tone = word_tone(layer);
                    self.canvas
                        .text(layer.name(), at, (DECK, tone), Anchor::Left)?;
                }
            }
        }
        let widest = |texts: &mut dyn Iterator<Item = &str>, set: Type| {
            texts
                .map(|text| self.canvas.width_of(text, set))
                .fold(0.0, f64::max)
        };
        let bottom = self.frame.bottom;
        let (left, right) = (self.frame.left, self.frame.right);
        self.frame = match &self.picture.y.ticks {
            Ticks::Rows(rows) => Frame {
                left: left + widest(&mut rows.iter().map(|r| r.name.as_str()), DECK) + 18.0 * u,
                right: right
                    - widest(&mut rows.iter().map(|r| r.value.as_str()), LABEL).min(0.42 * right)
                    - 18.0 * u,
                top: words.bottom + 8.0 * u,
                bottom: bottom - (LINE_HEIGHT + MARGIN) * u,
            },
            _ => {
                let ticks = ticks(&self.picture.y, Y_TICKS);
                let gutter = widest(&mut ticks.iter().map(|(_, text)| text.as_str()), DECK);
                Frame {
                    left: left + gutter + 10.0 * u,
                    right,
                    top: words.bottom + (LINE_HEIGHT + 22.0) * u,
                    bottom: bottom - (2.0 * LINE_HEIGHT + 0.6 * MARGIN) * u,
                }
            }
        };
        self.free = RefCell::new(Free::new(5.0 * u));
        Ok(())
    }

    fn sample(&self, layer: &Layer, [x, y]: Place) -> Painted<DB> {
        let u = self.canvas.unit;
        let (length, half) = (SAMPLE * u, 8.0 * u);
        let ends = [[x, y], [x + length, y]];
        let middle = [x + 0.5 * length, y];
        let box_of = |half: f64| [[x, y - half], [x + length, y + half]];
        match layer {
            Layer::Line { tone, stroke, .. } | Layer::Rule { tone, stroke, .. } => self
                .canvas
                .stroke(&ends, (*tone, LINE), dashed_again(*tone, *stroke)),
            Layer::Points { tone, mark, .. } => {
                self.canvas
                    .mark(middle, *tone, *mark, size_of_mark(*mark, 1))
            }
            Layer::Bars { tone, .. } | Layer::Upright { tone, .. } => self.canvas.stroke(
                &[[middle[0], y - half], [middle[0], y + half]],
                (*tone, THIN),
                Stroke::Solid,
            ),
            Layer::Spread { .. } => self
                .canvas
                .ground(box_of(half), self.canvas.colour(Tone::Spread)),
            Layer::Gap { .. } => self
                .canvas
                .ground(box_of(half), self.canvas.colour(Tone::FaultGround)),
            Layer::Ground { tone, .. } => self
                .canvas
                .ground(box_of(half), self.canvas.colour(ground_of(*tone))),
            Layer::Allowed { .. } => {
                let ground = self.canvas.colour(Tone::AllowedGround);
                self.canvas.ground(box_of(half), ground)?;
                for y in [y - half, y + half] {
                    let edge = [[x, y], [x + length, y]];
                    self.canvas
                        .stroke(&edge, (Tone::Edge, 1.2), Stroke::Solid)?;
                }
                Ok(())
            }
            Layer::Cell { .. } | Layer::Label { .. } => Ok(()),
        }
    }

    /// What lies behind the grid: grounds and spreads.
    fn grounds(&self) -> Painted<DB> {
        for layer in &self.picture.layers {
            match layer {
                Layer::Spread { points, .. } => {
                    self.area(points, Tone::Spread)?;
                    // Where lowest and highest are one, an area has no height.
                    for end in [1, 2] {
                        let edge: Vec<Place> = points.iter().map(|p| [p[0], p[end]]).collect();
                        self.line(&edge, (Tone::Spread, 1.0), Stroke::Hair)?;
                    }
                }
                Layer::Gap { points, .. } => self.area(points, Tone::FaultGround)?,
                Layer::Allowed { points, .. } => {
                    self.area(points, Tone::AllowedGround)?;
                    for end in [1, 2] {
                        let edge: Vec<Place> = points.iter().map(|p| [p[0], p[end]]).collect();
                        self.line(&edge, (Tone::Edge, 1.4), Stroke::Solid)?;
                    }
                }
                Layer::Ground { x, y, tone, .. } => self.ground([*x, *y], *tone)?,
                _ => {}
            }
        }
        Ok(())
    }

    fn area(&self, points: &[[f64; 3]], tone: Tone) -> Painted<DB> {
        let colour = self.canvas.colour(tone);
        let frame = self.frame;
        let is_there = |p: &[f64; 3]| p.iter().all(|v| v.is_finite());
        for stretch in points.split(|p| !is_there(p)) {
            let edge = |end: usize| {
                let at = move |p: &[f64; 3]| self.at([p[0], p[end]]);
                let held = move |[x, y]: Place| {
                    [
                        x.clamp(frame.left, frame.right),
                        y.clamp(frame.top, frame.bottom),
                    ]
                };
                stretch.iter().map(at).map(held)
            };
            let corners: Vec<Place> = edge(1).chain(edge(2).rev()).collect();
            if corners.len() > 3 {
                let share = if tone == Tone::Spread {
                    SPREAD_SHARE
                } else {
                    1.0
                };
                self.canvas
                    .fill(&corners, colour, share * self.canvas.ground_share)?;
            }
        }
        Ok(())
    }

    fn ground(&self, [x, y]: [[f64; 2]; 2], tone: Tone) -> Painted<DB> {
        let frame = self.frame;
        let [left, right] = x.map(|x| self.x(x).clamp(frame.left, frame.right));
        // A moment is a hair wide and still seen.
        let least = 1.5 * self.canvas.unit;
        let right = right.max(left + least);
        let [one, other] = y.map(|y| match y.is_finite() {
            true => self.y(y).clamp(frame.top, frame.bottom),
            false if y < 0.0 => frame.bottom,
            false => frame.top,
        });
        let corners = [[left, one.min(other)], [right, one.max(other)]];
        self.canvas
            .ground(corners, self.canvas.colour(ground_of(tone)))?;
        if tone == Tone::Fine {
            for (value, x) in [(x[0], left), (x[1], right)] {
                if value != 0.0 && self.picture.x.holds(value) {
                    let edge = [[x, corners[0][1]], [x, corners[1][1]]];
                    self.canvas
                        .stroke(&edge, (Tone::Edge, 1.4), Stroke::Solid)?;
                }
            }
        }
        Ok(())
    }

    fn axes(&self) -> Painted<DB> {
        let (u, frame) = (self.canvas.unit, self.frame);
        if let Ticks::Rows(rows) = &self.picture.y.ticks {
            self.rows(rows)?;
        } else {
            for (value, text) in ticks(&self.picture.y, Y_TICKS) {
                let y = self.y(value);
                let ends = [[frame.left, y], [frame.right, y]];
                self.canvas.stroke(&ends, (Tone::Grid, 1.2), Stroke::Hair)?;
                let at = [frame.left - 10.0 * u, y];
                self.canvas
                    .text(&text, at, (DECK, Tone::Faint), Anchor::Right)?;
            }
            let name = [MARGIN * u, frame.top - 0.5 * LINE_HEIGHT * u - 10.0 * u];
            let mute = (DECK, Tone::Mute);
            self.canvas
                .text(&self.picture.y.label, name, mute, Anchor::Left)?;
            let name = [frame.right, frame.bottom + 1.5 * LINE_HEIGHT * u + 8.0 * u];
            self.canvas
                .text(&self.picture.x.label, name, mute, Anchor::Right)?;
            let foot = [[frame.left, frame.bottom], [frame.right, frame.bottom]];
            self.canvas.stroke(&foot, (Tone::Rule, 1.2), Stroke::Hair)?;
        }
        let y = frame.bottom + 0.5 * LINE_HEIGHT * u + 6.0 * u;
        for (left, text) in self.tick_labels() {
            self.canvas
                .text(&text, [left, y], (DECK, Tone::Faint), Anchor::Left)?;
        }
        for (value, _) in self.x_ticks() {
            let x = self.x(value);
            let ends = [[x, frame.bottom], [x, frame.bottom + 5.0 * u]];
            self.canvas.stroke(&ends, (Tone::Rule, 1.2), Stroke::Hair)?;
        }
        Ok(())
    }

    fn rows(&self, rows: &[Row]) -> Painted<DB> {
        let (u, frame) = (self.canvas.unit, self.frame);
        for (index, row) in rows.iter().enumerate() {
            let y = self.y(index as f64);
            let head = row.value.is_empty();
            let set = if head { LABEL } else { DECK };
            let left = [MARGIN * u, y];
            self.canvas
                .text(&row.name, left, (set, Tone::Open), Anchor::Left)?;
            let right = [frame.right + 18.0 * u, y];
            let set = if row.tone == Tone::Fault { LABEL } else { DECK };
            let room = (DESIGN_WIDTH - MARGIN) * u - right[0];
            let fits = |line: &str| self.canvas.width_of(line, set) <= room;
            let value = shortened(&row.value, fits);
            self.canvas
                .text(&value, right, (set, row.tone), Anchor::Left)?;
        }
        let foot = [[frame.left, frame.bottom], [frame.right, frame.bottom]];
        self.canvas.stroke(&foot, (Tone::Rule, 1.2), Stroke::Hair)
    }

    fn x_ticks(&self) -> Vec<(f64, String)> {
        let wanted = (self.frame.right - self.frame.left) / (150.0 * self.canvas.unit);
        ticks(&self.picture.x, (wanted as usize).max(2))
    }

    /// Left edges and texts of the labels under the horizontal axis.
    fn tick_labels(&self) -> Vec<(f64, String)> {
        let u = self.canvas.unit;
        let room = [0.0, self.frame.right + 0.8 * MARGIN * u];
        let ticks = self.x_ticks();
        let wanted = ticks.iter().map(|(value, text)| {
            let width = self.canvas.width_of(text, DECK);
            (self.x(*value) - 0.5 * width, width)
        });
        let placed = labels::placed(wanted, room, 10.0 * u);
        let texts = ticks.iter().map(|(_, text)| text.clone());
        let placed = placed.into_iter().zip(texts);
        placed
            .filter_map(|(left, text)| Some((left?, text)))
            .collect()
    }

    pub(super) fn x(&self, value: f64) -> f64 {
        let frame = self.frame;
        frame.left + self.picture.x.share(value) * (frame.right - frame.left)
    }

    pub(super) fn y(&self, value: f64) -> f64 {
        let frame = self.frame;
        frame.bottom + self.picture.y.share(value) * (frame.top - frame.bottom)
    }

    pub(super) fn at(&self, [x, y]: [f64; 2]) -> Place {
        [self.x(x), self.y(y)]
    }

    fn layer(&self, layer: &Layer) -> Painted<DB> {
        let frame = self.frame;
        match layer {
            Layer::Line {
                points,
                tone,
                stroke,
                ..
            } => {
                let many = points.len() > MANY && self.picture.y.ticks == Ticks::Signed;
                let width = if many || matches!(tone, Tone::Context | Tone::Model) {
                    THIN
                } else {
                    LINE
                };
                self.line(points, (*tone, width), dashed_again(*tone, *stroke))
            }
            Layer::Points {
                points, tone, mark, ..
            } => {
                let size = size_of_mark(*mark, points.len());
                for point in points.iter().map(|p| self.at(*p)) {
                    if frame_with_room(frame).holds(point) {
                        self.free.borrow_mut().take(point, size * self.canvas.unit);
                        self.canvas.mark(point, *tone, *mark, size)?;
                    }
                }
                Ok(())
            }
            Layer::Bars { bars, tone, .. } => {
                for [x, low, high] in bars {
                    let bar = [[*x, *low], [*x, *high]];
                    self.line(&bar, (*tone, LINE), Stroke::Solid)?;
                }
                Ok(())
            }
            Layer::Rule {
                at, tone, stroke, ..
            } => {
                let y = self.y(*at);
                let ends = [[frame.left, y], [frame.right, y]];
                match self.picture.y.holds(*at) {
                    true => self.canvas.stroke(&ends, (*tone, THIN), *stroke),
                    false => Ok(()),
                }
            }
            Layer::Upright { at, tone, .. } => {
                let x = self.x(*at);
                let ends = [[x, frame.top], [x, frame.bottom]];
                self.free.borrow_mut().take_line(&ends);
                match self.picture.x.holds(*at) {
                    true if *tone == Tone::Edge => {
                        self.canvas.stroke(&ends, (*tone, 1.4), Stroke::Hair)
                    }
                    true => self.canvas.stroke(&ends, (*tone, 1.4), Stroke::Dashed),
                    false => Ok(()),
                }
            }
            Layer::Cell { x, y, shade, text } => {
                self.cell(self.at([x[0], y[1]]), self.at([x[1], y[0]]), *shade, text)
            }
            Layer::Spread { .. }
            | Layer::Allowed { .. }
            | Layer::Gap { .. }
            | Layer::Ground { .. }
            | Layer::Label { .. } => Ok(()),
        }
    }

    /// A line inside the frame, thinned to what pixels show.
    fn line(&self, points: &[[f64; 2]], look: (Tone, f64), stroke: Stroke) -> Painted<DB> {
        let drawn: Vec<Place> = points.iter().map(|p| self.at(*p)).collect();
        for part in clipped(&drawn, self.frame) {
            self.free.borrow_mut().take_line(&part);
            match part.as_slice() {
                [alone] => self.canvas.mark(*alone, look.0, Mark::Dot, 0.8 * look.1)?,
                several => self.canvas.stroke(&thinned(several), look, stroke)?,
            }
        }
        Ok(())
    }

    /// What lies over everything: the marks beyond the edges, and the words at their places.
    fn over(&self) -> Painted<DB> {
        let drawn = self.picture.layers.iter().filter_map(|layer| match layer {
            Layer::Line { points, .. } | Layer::Points { points, .. } => Some(points),
            _ => None,
        });
        let mut drawn: Vec<[f64; 2]> = drawn.flatten().copied().collect();
        drawn.retain(|p| p[0].is_finite() && p[1].is_finite());
        drawn.sort_by(|a, b| a[0].total_cmp(&b[0]));
        self.beyond(&drawn)?;
        for layer in &self.picture.layers {
            if let Layer::Label { at, text, tone } = layer {
                self.label(self.at(*at), text, *tone)?;
            }
        }
        Ok(())
    }

    /// Triangles at the edge for what lies beyond it, and how far the worst of it goes.
    fn beyond(&self, points: &[[f64; 2]]) -> Painted<DB> {
        let (u, frame) = (self.canvas.unit, self.frame);
        if matches!(self.picture.y.ticks, Ticks::Rows(_)) {
            return Ok(());
        }
        for (up, edge) in [(true, frame.top), (false, frame.bottom)] {
            let off = |p: &&[f64; 2]| {
                let share = self.picture.y.share(p[1]);
                self.picture.x.holds(p[0]) && if up { share > 1.0 } else { share < 0.0 }
            };
            let (size, inwards) = (6.0 * u, if up { 1.0 } else { -1.0 });
            let (mark, at) = match up {
                true => (Mark::Triangle, edge + 0.9 * size),
                false => (Mark::Drop, edge - 0.9 * size),
            };
            let mut last = f64::NEG_INFINITY;
            let mut worst: Option<[f64; 2]> = None;
            for point in points.iter().filter(off) {
                let x = self.x(point[0]);
                if x >= last + BEYOND * u {
                    self.canvas.mark([x, at], Tone::Fault, mark, 6.0)?;
                    self.free.borrow_mut().take([x, at], size);
                    last = x;
                }
                let further = |w: [f64; 2]| if up { point[1] > w[1] } else { point[1] < w[1] };
                if worst.is_none_or(further) {
                    worst = Some(*point);
                }
            }
            if let Some([x, value]) = worst {
                let size = if value.abs() < 10.0 { 1 } else { 0 };
                let signed = self.picture.y.ticks == Ticks::Signed;
                let number = crate::text::number(value, size, signed).replace('-', "−");
                let text = format!("to {number}\u{a0}{}", self.picture.y.unit);
                let at = [self.x(x), at + inwards * 0.2 * size as f64];
                self.label(at, &text, Tone::Fault)?;
            }
        }
        Ok(())
    }

    /// Words near their place, where they cover the least.
    fn label(&self, at: Place, text: &str, tone: Tone) -> Painted<DB> {
        let u = self.canvas.unit;
        let width = self.canvas.width_of(text, LABEL);
        let size = [width, LINE_HEIGHT * u];
        let middle = self
            .free
            .borrow_mut()
            .placed(at, size, 14.0 * u, self.frame);
        let word = match tone {
            Tone::Line(_) => Tone::Open,
            other => other,
        };
        self.canvas
            .text(text, middle, (LABEL, word), Anchor::Middle)
    }

    fn cell(&self, a: Place, b: Place, shade: Option<f64>, text: &[String]) -> Painted<DB> {
        let gap = 1.0 * self.canvas.unit;
        let (a, b) = ([a[0] + gap, a[1] + gap], [b[0] - gap, b[1] - gap]);
        let colour = self.tint(shade);
        self.canvas.ground([a, b], colour)?;
        let longest = text
            .iter()
            .map(|t| self.canvas.width_of(t, DECK))
            .fold(1.0, f64::max);
        let lines = text.len().max(1) as f64;
        let fit = ((b[0] - a[0]) * 0.92 / longest)
            .min((b[1] - a[1]) * 0.92 / (lines * LINE_HEIGHT * self.canvas.unit));
        let size = (0.95 * DECK.size * fit.min(1.0)).max(8.0);
        let step = LINE_HEIGHT / DECK.size * size * self.canvas.unit;
        let middle = [0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])];
        for (line, text) in text.iter().enumerate() {
            let y = middle[1] + (line as f64 - 0.5 * (lines - 1.0)) * step;
            let set = Type {
                size,
                bold: line == 0 && shade.is_some(),
            };
            let tone = if line == 0 { Tone::Open } else { Tone::Mute };
            self.canvas
                .text(text, [middle[0], y], (set, tone), Anchor::Middle)?;
        }
        Ok(())
    }

    /// Blue for below zero, orange for above, paler towards zero.
    fn tint(&self, shade: Option<f64>) -> RGBColor {
        let quiet = self.canvas.colour(Tone::QuietGround);
        let Some(shade) = shade.filter(|s| s.is_finite()) else {
            return quiet;
        };
        let full = match shade < 0.0 {
            true => self.canvas.colour(Tone::Reference(0)),
            false => self.canvas.colour(Tone::Fault),
        };
        let share = 0.06 + 0.5 * shade.abs().min(1.0);
        let mix =
            |a: u8, b: u8| (f64::from(a) + share * (f64::from(b) - f64::from(a))).round() as u8;
        RGBColor(
            mix(quiet.0, full.0),
            mix(quiet.1, full.1),
            mix(quiet.2, full.2),
        )
    }
}

/// Width of a sample in the legend, design units.
const SAMPLE: f64 = 34.0;

/// About this many ticks up.
const Y_TICKS: usize = 6;

/// A mark of a value at the very edge is drawn whole.
fn frame_with_room(frame: Frame) -> Frame {
    Frame {
        left: frame.left - 1.0,
        right: frame.right + 1.0,
        top: frame.top - 1.0,
        bottom: frame.bottom + 1.0,
    }
}

/// Where its colour comes again, a line is dashed.
fn dashed_again(tone: Tone, stroke: Stroke) -> Stroke {
    if tone.comes_again() {
        Stroke::Dashed
    } else {
        stroke
    }
}

fn ground_of(tone: Tone) -> Tone {
    match tone {
        Tone::Fine => Tone::AllowedGround,
        Tone::Fault => Tone::FaultGround,
        _ => Tone::QuietGround,
    }
}

/// The tone of a layer's name in the legend: words need more contrast than lines.
fn word_tone(layer: &Layer) -> Tone {
    match layer {
        Layer::Line { tone, .. } | Layer::Points { tone, .. } => match tone {
            Tone::Source(_) | Tone::Reference(_) | Tone::Fault | Tone::Fine => *tone,
            _ => Tone::Mute,
        },
        _ => Tone::Mute,
    }
}

fn size_of_mark(mark: Mark, of: usize) -> f64 {
    match mark {
        Mark::Dot => 2.4,
        Mark::Disc if of > 60 => 4.0,
        Mark::Diamond => 7.0,
        Mark::Drop | Mark::Beyond => 8.0,
        _ => 6.0,
    }
}

/// A text cut at a word so that it fits, the cut marked.
fn shortened(text: &str, fits: impl Fn(&str) -> bool) -> String {
    if fits(text) {
        return text.to_owned();
    }
    let mut cut = text;
    while let Some((shorter, _)) = cut.rsplit_once(' ') {
        cut = shorter;
        let marked = format!("{}…", cut.trim_end_matches([',', ';', ' ']));
        if fits(&marked) {
            return marked;
        }
    }
    "…".to_owned()
}
