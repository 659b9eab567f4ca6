//! Draws a [`Picture`] on any of the plotting library's backends.

use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::picture::{Axis, Layer, Marker, Picture, Style};
use super::ticks::ticks;
use crate::picture::labels;
use crate::text::lines_that_fit;

/// Everything is laid out for this width and scaled.
const DESIGN_WIDTH: f64 = 1200.0;

/// Height of a picture as a share of its width.
pub(super) const SHAPE: f64 = 0.62;

/// Where the words of the axes, ticks, legend and facts are set, in design units.
const TITLE: f64 = 30.0;
const TEXT: f64 = 20.0;
const LINE_HEIGHT: f64 = 28.0;
const MARGIN: f64 = 26.0;

/// Markers along a line are this far apart, in design units.
const MARKER_DISTANCE: f64 = 110.0;

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

/// Draws `picture` over the whole of `area`.
pub(super) fn paint<DB: DrawingBackend>(
    area: &DrawingArea<DB, Shift>,
    picture: &Picture,
    joins: Joins,
) -> Painted<DB> {
    let (width, height) = area.dim_in_pixel();
    area.fill(&WHITE)?;
    let mut painter = Painter {
        area,
        unit: f64::from(width) / DESIGN_WIDTH,
        frame: Frame {
            left: 0.0,
            right: f64::from(width),
            top: 0.0,
            bottom: f64::from(height),
        },
        picture,
        joins,
    };
    painter.words()?;
    painter.axes()?;
    for (place, layer) in picture.layers.iter().enumerate() {
        painter.layer(layer, place)?;
    }
    painter.outline()
}

/// Pixels of the plot's edges.
#[derive(Clone, Copy, Debug)]
struct Frame {
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
}

struct Painter<'a, DB: DrawingBackend> {
    area: &'a DrawingArea<DB, Shift>,
    /// Pixels a design unit.
    unit: f64,
    frame: Frame,
    picture: &'a Picture,
    joins: Joins,
}

type Pixel = (i32, i32);

fn pixel([x, y]: [f64; 2]) -> Pixel {
    (x.round() as i32, y.round() as i32)
}

fn colour(style: &Style) -> RGBColor {
    let (r, g, b) = style.ink.rgb();
    RGBColor(r, g, b)
}

impl<DB: DrawingBackend> Painter<'_, DB> {
    fn font(&self, size: f64) -> FontDesc<'static> {
        ("sans-serif", size * self.unit).into_font()
    }

    fn width_of(&self, text: &str, size: f64) -> f64 {
        let measured = self.font(size).box_size(text);
        measured.map_or(0.6 * size * text.len() as f64, |(width, _)| {
            f64::from(width)
        })
    }

    fn text(&self, text: &str, at: [f64; 2], size: f64, h: HPos, v: VPos) -> Painted<DB> {
        let style = TextStyle::from(self.font(size)).pos(Pos::new(h, v));
        self.area
            .draw(&Text::new(text.to_owned(), pixel(at), style))
    }

    /// Title, facts and legend, from the top; leaves the plot's frame below them.
    fn words(&mut self) -> Painted<DB> {
        let u = self.unit;
        let (left, right) = (MARGIN * u, self.frame.right - MARGIN * u);
        let mut y = MARGIN * u * 0.7;
        for line in self.wrapped(&self.picture.title, TITLE, right - left) {
            self.text(&line, [left, y], TITLE, HPos::Left, VPos::Top)?;
            y += 1.3 * TITLE * u;
        }
        for fact in &self.picture.facts {
            for line in self.wrapped(fact, TEXT, right - left) {
                self.text(&line, [left, y], TEXT, HPos::Left, VPos::Top)?;
                y += LINE_HEIGHT * u;
            }
        }
        y = self.legend(y + 4.0 * u, left, right)?;
        let widest = ticks(&self.picture.y, 8)
            .iter()
            .map(|(_, text)| self.width_of(text, TEXT))
            .fold(40.0 * u, f64::max);
        self.frame.left = left + LINE_HEIGHT * u + widest + 12.0 * u;
        self.frame.right = right;
        self.frame.top = y + 12.0 * u;
        self.frame.bottom -= (MARGIN + 2.0 * LINE_HEIGHT + 6.0) * u;
        Ok(())
    }

    fn wrapped(&self, text: &str, size: f64, room: f64) -> Vec<String> {
        lines_that_fit(text, |line| self.width_of(line, size) <= room)
    }

    fn legend(
        &self,
        top: f64,
        left: f64,
        right: f64,
    ) -> Result<f64, DrawingAreaErrorKind<DB::ErrorType>> {
        let u = self.unit;
        let sample = 46.0 * u;
        let (mut x, mut y) = (left, top);
        let mut any = false;
        let mut seen: Vec<&str> = Vec::new();
        for layer in &self.picture.layers {
            let name = layer.name();
            if name.is_empty() || seen.contains(&name) {
                continue;
            }
            seen.push(name);
            let room = sample + 8.0 * u + self.width_of(name, TEXT) + 28.0 * u;
            if any && x + room > right {
                x = left;
                y += LINE_HEIGHT * u;
            }
            let middle = y + 0.5 * LINE_HEIGHT * u;
            self.legend_sample(layer, x, middle, sample)?;
            let at = [x + sample + 8.0 * u, middle];
            self.text(name, at, TEXT, HPos::Left, VPos::Center)?;
            x += room;
            any = true;
        }
        Ok(if any { y + LINE_HEIGHT * u } else { y })
    }

    fn legend_sample(&self, layer: &Layer, x: f64, y: f64, length: f64) -> Painted<DB> {
        let ends = [[x, y], [x + length, y]];
        let middle = [x + 0.5 * length, y];
        match layer {
            Layer::Line { style, .. } => {
                self.stroke(&ends, style)?;
                self.marker(middle, style, 7.0)
            }
            Layer::Points { style, .. } => self.marker(middle, style, 7.0),
            Layer::Rule { style, .. } => self.stroke(&ends, style),
            Layer::Upright { .. } => {
                let half = 10.0 * self.unit;
                self.stroke(
                    &[[middle[0], y - half], [middle[0], y + half]],
                    &Style::RULE,
                )
            }
            Layer::Band { .. } => {
                let half = 8.0 * self.unit;
                self.band([x, y - half], [x + length, y + half])
            }
            Layer::Cell { .. } => Ok(()),
        }
    }

    fn axes(&self) -> Painted<DB> {
        let (u, frame) = (self.unit, self.frame);
        for (value, _) in self.x_ticks() {
            let x = self.x(value);
            self.grid([[x, frame.top], [x, frame.bottom]])?;
        }
        for (left, text) in self.tick_labels() {
            let at = [left, frame.bottom + 8.0 * u];
            self.text(&text, at, TEXT, HPos::Left, VPos::Top)?;
        }
        for (value, text) in ticks(&self.picture.y, 8) {
            let y = self.y(value);
            self.grid([[frame.left, y], [frame.right, y]])?;
            self.text(
                &text,
                [frame.left - 10.0 * u, y],
                TEXT,
                HPos::Right,
                VPos::Center,
            )?;
        }
        let x_label = [
            0.5 * (frame.left + frame.right),
            frame.bottom + (LINE_HEIGHT + 12.0) * u,
        ];
        self.text(
            &self.picture.x.label,
            x_label,
            TEXT,
            HPos::Center,
            VPos::Top,
        )?;
        let y_label = [MARGIN * u, 0.5 * (frame.top + frame.bottom)];
        let style = TextStyle::from(self.font(TEXT))
            .transform(FontTransform::Rotate270)
            .pos(Pos::new(HPos::Center, VPos::Top));
        self.area.draw(&Text::new(
            self.picture.y.label.clone(),
            pixel(y_label),
            style,
        ))
    }

    fn x_ticks(&self) -> Vec<(f64, String)> {
        let wanted = (self.frame.right - self.frame.left) / (130.0 * self.unit);
        ticks(&self.picture.x, wanted as usize)
    }

    /// Left edges and texts of the labels under the horizontal axis.
    fn tick_labels(&self) -> Vec<(f64, String)> {
        let u = self.unit;
        let room = [0.0, self.frame.right + 0.8 * MARGIN * u];
        let ticks = self.x_ticks();
        let wanted = ticks.iter().map(|(value, text)| {
            let width = self.width_of(text, TEXT);
            (self.x(*value) - 0.5 * width, width)
        });
        let placed = labels::placed(wanted, room, 10.0 * u);
        let texts = ticks.iter().map(|(_, text)| text.clone());
        let placed = placed.into_iter().zip(texts);
        placed
            .filter_map(|(left, text)| Some((left?, text)))
            .collect()
    }

    fn grid(&self, ends: [[f64; 2]; 2]) -> Painted<DB> {
        let style = RGBColor(222, 222, 222).stroke_width(1);
        self.area
            .draw(&PathElement::new(ends.map(pixel).to_vec(), style))
    }

    fn outline(&self) -> Painted<DB> {
        let frame = self.frame;
        let corners = [
            pixel([frame.left, frame.top]),
            pixel([frame.right, frame.bottom]),
        ];
        self.area
            .draw(&Rectangle::new(corners, BLACK.stroke_width(1)))
    }

    fn x(&self, value: f64) -> f64 {
        let frame = self.frame;
        place(value, &self.picture.x, frame.left, frame.right)
    }

    fn y(&self, value: f64) -> f64 {
        let frame = self.frame;
        place(value, &self.picture.y, frame.bottom, frame.top)
    }

    fn at(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        [self.x(x), self.y(y)]
    }

    fn layer(&self, layer: &Layer, order: usize) -> Painted<DB> {
        let frame = self.frame;
        match layer {
            Layer::Line { points, style, .. } => self.line(points, style, order),
            Layer::Points { points, style, .. } => {
                let present = points
                    .iter()
                    .filter(|p| p[0].is_finite() && p[1].is_finite());
                for point in present {
                    self.marker(self.at(*point), style, 4.5)?;
                }
                Ok(())
            }
            Layer::Band { between, .. } => self.band(
                [frame.left, self.y(between[1])],
                [frame.right, self.y(between[0])],
            ),
            Layer::Rule { at, style, .. } => {
                let y = self.y(*at);
                self.stroke(&[[frame.left, y], [frame.right, y]], style)
            }
            Layer::Upright { at, .. } => {
                let x = self.x(*at);
                self.stroke(&[[x, frame.top], [x, frame.bottom]], &Style::RULE)
            }
            Layer::Cell { x, y, shade, text } => {
                self.cell(self.at([x[0], y[1]]), self.at([x[1], y[0]]), *shade, text)
            }
        }
    }

    /// Unbroken stretches of a line, thinned to what the pixels can show, with markers.
    fn line(&self, points: &[[f64; 2]], style: &Style, order: usize) -> Painted<DB> {
        for stretch in points.split(|p| !p[0].is_finite() || !p[1].is_finite()) {
            let drawn: Vec<[f64; 2]> = stretch.iter().map(|p| self.at(*p)).collect();
            match drawn.as_slice() {
                [] => {}
                [alone] => self.marker(*alone, style, 3.0)?,
                several => self.stroke(&thinned(several), style)?,
            }
        }
        let distance = MARKER_DISTANCE * self.unit;
        // Lines on top of each other still show each one's markers.
        let mut next = self.frame.left + distance * (0.25 + 0.23 * (order % 4) as f64);
        let finite = points
            .iter()
            .filter(|p| p[0].is_finite() && p[1].is_finite());
        for point in finite {
            let at = self.at(*point);
            if at[0] >= next {
                self.marker(at, style, 7.0)?;
                next += distance * ((at[0] - next) / distance).floor() + distance;
            }
        }
        Ok(())
    }

    fn stroke(&self, points: &[[f64; 2]], style: &Style) -> Painted<DB> {
        let width = (1.5 * style.weight * self.unit).round().max(1.0) as u32;
        let look = colour(style).stroke_width(width);
        let dash = 9.0 * self.unit;
        let pieces = if style.dashed {
            dashes(points, dash, 0.7 * dash)
        } else {
            vec![points.to_vec()]
        };
        for piece in pieces {
            let mut path: Vec<Pixel> = piece.into_iter().map(pixel).collect();
            path.dedup();
            if self.joins == Joins::Own || width == 1 {
                self.area.draw(&PathElement::new(path, look))?;
                continue;
            }
            let round = colour(style).filled();
            for joint in path.iter().skip(1).rev().skip(1) {
                self.area.draw(&Circle::new(*joint, width / 2, round))?;
            }
            for part in path.windows(2) {
                self.area.draw(&PathElement::new(part.to_vec(), look))?;
            }
        }
        Ok(())
    }

    fn band(&self, corner: [f64; 2], opposite: [f64; 2]) -> Painted<DB> {
        let corners = [pixel(corner), pixel(opposite)];
        self.area
            .draw(&Rectangle::new(corners, RGBColor(228, 236, 242).filled()))?;
        let edge = Style {
            weight: 0.7,
            ..Style::RULE
        };
        self.stroke(&[corner, [opposite[0], corner[1]]], &edge)?;
        self.stroke(&[[corner[0], opposite[1]], opposite], &edge)
    }

    fn cell(&self, a: [f64; 2], b: [f64; 2], shade: Option<f64>, text: &[String]) -> Painted<DB> {
        let corners = [pixel(a), pixel(b)];
        if let Some(shade) = shade {
            self.area
                .draw(&Rectangle::new(corners, tint(shade).filled()))?;
        }
        self.area.draw(&Rectangle::new(
            corners,
            RGBColor(150, 150, 150).stroke_width(1),
        ))?;
        let longest = text
            .iter()
            .map(|t| self.width_of(t, TEXT))
            .fold(1.0, f64::max);
        let lines = text.len().max(1) as f64;
        let fit = ((b[0] - a[0]) * 0.9 / longest)
            .min((b[1] - a[1]) * 0.9 / (lines * LINE_HEIGHT * self.unit));
        let size = (0.85 * TEXT * fit.min(1.0)).max(9.0);
        let step = LINE_HEIGHT / TEXT * size * self.unit;
        let middle = [0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])];
        for (line, text) in text.iter().enumerate() {
            let y = middle[1] + (line as f64 - 0.5 * (lines - 1.0)) * step;
            self.text(text, [middle[0], y], size, HPos::Center, VPos::Center)?;
        }
        Ok(())
    }

    fn marker(&self, at: [f64; 2], style: &Style, size: f64) -> Painted<DB> {
        let Some(marker) = style.marker else {
            return Ok(());
        };
        let r = size * self.unit;
        let fill = colour(style).filled();
        let corners: &[[f64; 2]] = match marker {
            Marker::Disc => {
                return self
                    .area
                    .draw(&Circle::new(pixel(at), r.max(1.0) as i32, fill));
            }
            Marker::Ring => {
                let stroke = colour(style).stroke_width((2.0 * self.unit).round().max(1.0) as u32);
                return self
                    .area
                    .draw(&Circle::new(pixel(at), r.max(1.0) as i32, stroke));
            }
            Marker::Square => &[[-0.9, -0.9], [0.9, -0.9], [0.9, 0.9], [-0.9, 0.9]],
            Marker::Triangle => &[[0.0, -1.2], [1.1, 0.8], [-1.1, 0.8]],
            Marker::Diamond => &[[0.0, -1.3], [1.1, 0.0], [0.0, 1.3], [-1.1, 0.0]],
            Marker::Drop => &[[0.0, 1.2], [1.1, -0.8], [-1.1, -0.8]],
        };
        let shape: Vec<Pixel> = corners
            .iter()
            .map(|[dx, dy]| pixel([at[0] + dx * r, at[1] + dy * r]))
            .collect();
        self.area.draw(&Polygon::new(shape, fill))
    }
}

fn place(value: f64, axis: &Axis, from: f64, to: f64) -> f64 {
    let [low, high] = axis.range;
    let share = (value - low) / (high - low);
    // What lies outside the axis is drawn at its edge.
    from + share.clamp(0.0, 1.0) * (to - from)
}

/// Blue for below zero, vermilion for above, paler towards zero.
fn tint(shade: f64) -> RGBColor {
    let (r, g, b) = if shade < 0.0 {
        (86, 180, 233)
    } else {
        (230, 159, 0)
    };
    let share = 0.12 + 0.7 * shade.abs().min(1.0);
    let mix = |channel: u8| (255.0 - share * (255.0 - f64::from(channel))).round() as u8;
    RGBColor(mix(r), mix(g), mix(b))
}

/// The same line with at most four points a pixel column: first, lowest, highest, last.
fn thinned(points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut out: Vec<[f64; 2]> = Vec::new();
    for column in points.chunk_by(|a, b| a[0].floor() == b[0].floor()) {
        let extreme = |better: fn(f64, f64) -> bool| {
            column
                .iter()
                .enumerate()
                .reduce(|best, next| {
                    if better(next.1[1], best.1[1]) {
                        next
                    } else {
                        best
                    }
                })
                .map_or(0, |(place, _)| place)
        };
        let mut kept = [
            0,
            extreme(|a, b| a < b),
            extreme(|a, b| a > b),
            column.len() - 1,
        ];
        kept.sort_unstable();
        let mut last = None;
        for place in kept {
            if last != Some(place) {
                out.extend(column.get(place));
                last = Some(place);
            }
        }
    }
    out
}

/// A polyline cut into strokes of length `on` with gaps of length `off`.
fn dashes(points: &[[f64; 2]], on: f64, off: f64) -> Vec<Vec<[f64; 2]>> {
    let mut pieces = Vec::new();
    let Some(first) = points.first() else {
        return pieces;
    };
    let mut piece = vec![*first];
    let mut left = on;
    let mut drawing = true;
    for pair in points.windows(2) {
        let (mut from, to) = (pair[0], pair[1]);
        loop {
            let length = (to[0] - from[0]).hypot(to[1] - from[1]);
            if length < left || length <= 0.0 {
                left -= length;
                if drawing {
                    piece.push(to);
                }
                break;
            }
            let share = left / length;
            let cut = [
                from[0] + share * (to[0] - from[0]),
                from[1] + share * (to[1] - from[1]),
            ];
            if drawing {
                piece.push(cut);
                pieces.push(std::mem::take(&mut piece));
            } else {
                piece = vec![cut];
            }
            drawing = !drawing;
            left = if drawing { on } else { off };
            from = cut;
        }
    }
    if drawing && piece.len() > 1 && piece.first() != piece.last() {
        pieces.push(piece);
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thinning_keeps_every_spike() {
        let points: Vec<[f64; 2]> = (0..1000)
            .map(|i| {
                [
                    f64::from(i) / 100.0,
                    if i == 555 { 99.0 } else { f64::from(i % 7) },
                ]
            })
            .collect();
        let thin = thinned(&points);
        assert!(thin.len() <= 40, "{}", thin.len());
        assert!(thin.contains(&[5.55, 99.0]));
        assert_eq!(thin.first(), points.first());
        assert_eq!(thin.last(), points.last());
        assert!(thin.windows(2).all(|pair| pair[0][0] <= pair[1][0]));
    }

    /// First and last pixel row with the ink of stream 0 in a raster picture of `heights`.
    fn inked_rows(heights: impl Fn(usize) -> f64) -> (usize, usize) {
        const SIZE: (u32, u32) = (1200, 744);
        let axis = |range| Axis {
            label: String::new(),
            range,
            ticks: super::super::picture::Ticks::Numbers,
        };
        let style = Style {
            marker: None,
            ..Style::of_stream(0)
        };
        let picture = Picture {
            title: String::new(),
            facts: Vec::new(),
            x: axis([0.0, 4000.0]),
            y: axis([0.0, 100.0]),
            layers: vec![Layer::Line {
                name: String::new(),
                points: (0..=4000).map(|t| [t as f64, heights(t)]).collect(),
                style,
            }],
        };
        let mut pixels = vec![0; (SIZE.0 * SIZE.1 * 3) as usize];
        {
            let backend = BitMapBackend::with_buffer(&mut pixels, SIZE);
            paint(&backend.into_drawing_area(), &picture, Joins::Round).unwrap();
        }
        let (r, g, b) = style.ink.rgb();
        let row = |y: &usize| {
            let row = &pixels[y * SIZE.0 as usize * 3..(y + 1) * SIZE.0 as usize * 3];
            row.chunks(3).any(|pixel| pixel == [r, g, b])
        };
        let rows: Vec<usize> = (0..SIZE.1 as usize).filter(row).collect();
        (rows[0], *rows.last().unwrap())
    }

    #[test]
    fn the_line_of_a_spiky_series_stays_where_its_values_are() {
        super::super::font_at_hand().unwrap();
        let (top, _) = inked_rows(|_| 60.0);
        let (_, bottom) = inked_rows(|_| 40.0);
        let spiky = inked_rows(|t| 40.0 + 20.0 * ((t * 7919) % 101) as f64 / 100.0);
        assert!(
            spiky.0 + 2 >= top && spiky.1 <= bottom + 2,
            "{spiky:?} {top} {bottom}"
        );
    }

    /// The label of a tick at the very end of the axis is moved in, not cut, and none touches
    /// another.
    #[test]
    fn labels_of_ticks_stay_on_the_page_and_apart() {
        super::super::font_at_hand().unwrap();
        let axis = |range, ticks| Axis {
            label: String::new(),
            range,
            ticks,
        };
        use super::super::picture::Ticks;
        for (range, ticks) in [
            ([0.0, 36_000.0], Ticks::Clock),
            ([0.0, 7200.0], Ticks::Clock),
            ([-0.02, 4.56], Ticks::Durations),
        ] {
            let picture = Picture {
                title: String::new(),
                facts: Vec::new(),
                x: axis(range, ticks),
                y: axis([0.0, 1.0], Ticks::Numbers),
                layers: Vec::new(),
            };
            let mut out = String::new();
            let area = SVGBackend::with_string(&mut out, (1200, 744)).into_drawing_area();
            let mut painter = Painter {
                area: &area,
                unit: 1.0,
                frame: Frame {
                    left: 0.0,
                    right: 1200.0,
                    top: 0.0,
                    bottom: 744.0,
                },
                picture: &picture,
                joins: Joins::Own,
            };
            painter.words().unwrap();
            let labels = painter.tick_labels();
            assert!(labels.len() >= 4, "{labels:?}");
            let mut before = 0.0;
            for (left, text) in labels {
                let right = left + painter.width_of(&text, TEXT);
                assert!(left > before && right < 1200.0, "{text}: {left} {right}");
                before = right;
            }
        }
    }

    #[test]
    fn dashes_cover_their_share() {
        let cut = dashes(&[[0.0, 0.0], [100.0, 0.0]], 6.0, 4.0);
        let inked: f64 = cut.iter().map(|p| p[p.len() - 1][0] - p[0][0]).sum();
        assert_eq!(cut.len(), 10);
        assert!((inked - 60.0).abs() < 1e-9);
        assert!(dashes(&[], 6.0, 4.0).is_empty());
    }
}
