//! Paints a [`Picture`] in cells: the same points as on paper.

use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::theme::Look;
use super::chart::{Axis as Ends, Chart};
use super::dots::BEHIND;
use super::pen::{Pen, Text};
use crate::picture::labels;
use crate::picture::parts::{Axis, Layer, Mark, Picture, Row, Stroke, Ticks};
use crate::picture::ticks::ticks;
use crate::picture::tone::Tone;
use crate::text::{columns, fit};

/// Cells between two labels of the horizontal axis, and rows between two of the vertical one.
const ACROSS_APART: u16 = 14;
const UP_APART: u16 = 3;

/// A name in the legend and what is drawn before it.
struct Sample<'a> {
    glyph: char,
    style: Style,
    name: &'a str,
}

/// The picture in `area`: a line of names on top, where they are wanted, and ticks left and below.
pub fn picture(picture: &Picture, area: Rect, with_names: bool, pen: &mut Pen<'_>) {
    if area.width < 16 || area.height < 4 {
        return;
    }
    if let Ticks::Rows(rows) = &picture.y.ticks {
        rows_of(picture, rows, area, pen);
        return;
    }
    let names = names(picture, pen.look);
    let with_names = with_names && !names.is_empty();
    if with_names && area.height > LOW {
        legend(&names, area, pen);
    }
    let below = below_names(area, with_names);
    let mut chart = Chart::new(below, ends(&picture.x), ends(&picture.y));
    if chart.is_empty() {
        return;
    }
    let mut styles = [Style::new(); 256];
    styles[usize::from(UNION)] = pen.look.both();
    let (behind, before): (Vec<_>, Vec<_>) = picture
        .layers
        .iter()
        .enumerate()
        .partition(|(_, layer)| matches!(layer, Layer::Spread { .. }));
    for (index, layer) in behind.into_iter().chain(before) {
        let is_source = matches!(
            layer,
            Layer::Line {
                tone: Tone::Source(_),
                ..
            }
        );
        chart.unite(is_source.then_some(UNION));
        dots(&mut chart, layer, index, (&mut styles, pen.look));
    }
    for layer in &picture.layers {
        ground(picture, &chart, layer, pen);
    }
    axes(picture, &chart, area, pen);
    chart.paint(pen, &styles);
    for layer in &picture.layers {
        rules(&chart, layer, pen);
    }
    for layer in &picture.layers {
        marks(&chart, layer, pen);
    }
    beyond(picture, &chart, pen);
    for layer in &picture.layers {
        if let Layer::Label { at, text, tone } = layer {
            label(&chart, *at, text, *tone, pen);
        }
    }
}

/// Up to this many rows a picture has no line of names.
const LOW: u16 = 6;

/// What the names leave of an area.
fn below_names(area: Rect, with_names: bool) -> Rect {
    let top = u16::from(with_names && area.height > LOW);
    Rect {
        y: area.y + top,
        height: area.height - top,
        ..area
    }
}

/// For tests: the cells between the axes.
#[cfg(test)]
pub fn plot_of(picture: &Picture, area: Rect, with_names: bool) -> Option<Rect> {
    if let Ticks::Rows(rows) = &picture.y.ticks {
        return Some(row_columns(rows, area, |text| columns(text) as u16).1);
    }
    let below = below_names(area, with_names);
    let chart = Chart::new(below, ends(&picture.x), ends(&picture.y));
    (!chart.is_empty()).then(|| chart.plot())
}

/// For tests: the cell of a point.
#[cfg(test)]
pub fn place_in(picture: &Picture, plot: Rect, [x, y]: [f64; 2]) -> [u16; 2] {
    if let Ticks::Rows(_) = &picture.y.ticks {
        let column = picture.x.share(x) * f64::from(plot.width);
        let column = (column as u16).min(plot.width - 1);
        return [plot.x + column, plot.y + y.round() as u16];
    }
    let chart = Chart::new(
        Rect {
            x: 0,
            width: plot.right(),
            height: plot.height + 1,
            ..plot
        },
        ends(&picture.x),
        ends(&picture.y),
    );
    let (x, y) = chart.cell(x, y).unwrap_or_default();
    [x, y]
}

fn ends(axis: &Axis) -> Ends<'static> {
    Ends {
        low: axis.range[0],
        high: axis.range[1],
        title: "",
        number: |v| v.to_string(),
    }
}

/// Drawer of the cells in which a source and another curve have dots.
const UNION: u8 = BEHIND - 1;

/// What the dots of a layer belong to: curves, over what lies behind them. So does a dashed line: where
/// it runs along a curve, that is what is seen.
fn owner(index: usize, layer: &Layer) -> u8 {
    let number = (index % usize::from(UNION)) as u8;
    match layer {
        Layer::Spread { .. }
        | Layer::Line {
            stroke: Stroke::Dashed,
            ..
        } => BEHIND + number,
        _ => number,
    }
}

/// Everything that is drawn in dots.
fn dots(chart: &mut Chart<'_>, layer: &Layer, index: usize, (styles, look): (&mut [Style], Look)) {
    let owner = owner(index, layer);
    let tone = match layer {
        Layer::Line { points, tone, .. } => {
            let points: Vec<(f64, f64)> = points.iter().map(|p| (p[0], p[1])).collect();
            chart.line(&points, owner);
            // One between two gaps is no line.
            for (x, y) in points {
                chart.point(x, y, owner);
            }
            *tone
        }
        Layer::Spread { points, .. } => {
            for [x, low, high] in points {
                chart.bar(*x, *low, *high, owner);
            }
            Tone::Spread
        }
        Layer::Bars { bars, tone, .. } => {
            for [x, low, high] in bars {
                chart.bar(*x, *low, *high, owner);
            }
            *tone
        }
        Layer::Points {
            points,
            tone,
            mark: Mark::Dot,
            ..
        } => {
            for [x, y] in points {
                chart.point(*x, *y, owner);
            }
            *tone
        }
        _ => return,
    };
    if let Some(style) = styles.get_mut(usize::from(owner)) {
        *style = look.of(tone);
    }
}

/// Grounds behind the dots, and the edges of what is allowed in cells that have none.
fn ground(picture: &Picture, chart: &Chart<'_>, layer: &Layer, pen: &mut Pen<'_>) {
    let plot = chart.plot();
    match layer {
        Layer::Allowed { points, .. } => {
            along(picture, chart, points, |x, [top, bottom], edges| {
                let covered = Rect::new(x, top, 1, bottom - top + 1);
                pen.style(covered, pen.look.allowed());
                for (row, is_edge) in [top, bottom].into_iter().zip(edges) {
                    if is_edge && chart.is_free(x, row) {
                        let dash = pen.look.glyph('╌', '=');
                        pen.dot(x, row, dash, pen.look.edge());
                    }
                }
            });
        }
        Layer::Gap { points, .. } => {
            along(picture, chart, points, |x, [top, bottom], _| {
                pen.style(Rect::new(x, top, 1, bottom - top + 1), pen.look.gap());
            });
        }
        Layer::Ground { x, tone, .. } => {
            let [from, to] = x.map(|x| picture.x.share(x).clamp(0.0, 1.0));
            let column = |share: f64| {
                let column = share * f64::from(plot.width);
                (column as u16).min(plot.width.saturating_sub(1))
            };
            let (left, right) = (column(from), column(to));
            let covered = Rect {
                x: plot.x + left,
                width: right - left + 1,
                ..plot
            };
            pen.style(covered, pen.look.ground_of(*tone));
        }
        Layer::Cell { x, y, shade, text } => cell(chart, (*x, *y), *shade, text, pen),
        _ => {}
    }
}

/// First and last row between low and high at each column, and whether each of them is an end.
fn along(
    picture: &Picture,
    chart: &Chart<'_>,
    points: &[[f64; 3]],
    mut draw: impl FnMut(u16, [u16; 2], [bool; 2]),
) {
    let plot = chart.plot();
    let mut pairs = points.windows(2).peekable();
    for column in 0..plot.width {
        let share = (f64::from(column) + 0.5) / f64::from(plot.width);
        let [from, to] = picture.x.range;
        let x = from + share * (to - from);
        while pairs.peek().is_some_and(|pair| pair[1][0] < x) {
            pairs.next();
        }
        let Some([a, b]) = pairs.peek().map(|pair| [pair[0], pair[1]]) else {
            return;
        };
        if x < a[0] {
            continue;
        }
        let part = (x - a[0]) / (b[0] - a[0]).max(f64::MIN_POSITIVE);
        let [low, high] = [1, 2].map(|end| a[end] + part * (b[end] - a[end]));
        if !(low.is_finite() && high.is_finite()) {
            continue;
        }
        let shares = [high, low].map(|v| picture.y.share(v));
        // Nothing of it is in view.
        if shares[0] < 0.0 || shares[1] > 1.0 {
            continue;
        }
        let rows = [high, low].map(|v| chart.cell(x, v).map_or(plot.y, |(_, y)| y));
        let inside = shares.map(|s| (0.0..=1.0).contains(&s));
        draw(plot.x + column, rows, inside);
    }
}

/// A filled rectangle with as much of its text as has room.
fn cell(
    chart: &Chart<'_>,
    (x, y): ([f64; 2], [f64; 2]),
    shade: Option<f64>,
    text: &[String],
    pen: &mut Pen<'_>,
) {
    let (Some((left, top)), Some((right, bottom))) =
        (chart.cell(x[0], y[1]), chart.cell(x[1], y[0]))
    else {
        return;
    };
    let area = Rect {
        x: left,
        y: top,
        width: (right - left).max(1),
        height: (bottom - top).max(1),
    };
    let style = match shade {
        Some(shade) if shade < 0.0 => pen.look.of(Tone::Reference(0)),
        Some(_) => pen.look.of(Tone::Fault),
        None => pen.look.faint(),
    };
    pen.style(area, pen.look.tint());
    for (row, line) in text.iter().enumerate().take(usize::from(area.height)) {
        let shown = fit(
            &pen.look.text(line),
            usize::from(area.width),
            pen.look.cut(),
        );
        let style = if row == 0 { style } else { pen.look.faint() };
        pen.write(
            area.x,
            area.y + row as u16,
            area.width,
            &shown,
            style.patch(pen.look.tint()),
        );
    }
    if text.is_empty() {
        pen.dot(area.x, area.y, pen.look.glyph('·', '.'), style);
    }
}

/// Ticks left and below, with a faint line through the empty cells of each row that has one.
fn axes(picture: &Picture, chart: &Chart<'_>, area: Rect, pen: &mut Pen<'_>) {
    let plot = chart.plot();
    let (faint, grid) = (pen.look.of(Tone::Faint), pen.look.of(Tone::Grid));
    let gutter = plot.x - area.x;
    let wanted = usize::from(plot.height / UP_APART).clamp(2, 6);
    let mut last = None;
    for (value, text) in ticks(&picture.y, wanted) {
        let Some((_, y)) = chart.cell(picture.x.range[0], value) else {
            continue;
        };
        if last.replace(y) == Some(y) {
            continue;
        }
        for x in plot.left()..plot.right() {
            if chart.is_free(x, y) && pen.is_blank(x, y) {
                pen.dot(x, y, pen.look.glyph('┈', '-'), grid);
            }
        }
        let text = fit(
            &pen.look.text(&text),
            usize::from(gutter) - 1,
            pen.look.cut(),
        );
        let pad = gutter.saturating_sub(1 + columns(&text) as u16);
        pen.write(area.x + pad, y, gutter, &text, faint);
    }
    let row = plot.bottom();
    if row >= area.bottom() {
        return;
    }
    let all = ticks(&picture.x, usize::from(plot.width / ACROSS_APART).max(2));
    let at: Vec<(f64, String)> = all
        .into_iter()
        .filter_map(|(value, text)| {
            let (x, _) = chart.cell(value, picture.y.range[0])?;
            Some((f64::from(x), pen.look.text(&text)))
        })
        .collect();
    let wanted = at.iter().map(|(x, text)| {
        let width = columns(text) as f64;
        ((x - 0.5 * width + 0.5).round(), width)
    });
    let room = [f64::from(area.x), f64::from(area.right())];
    for ((_, text), left) in at.iter().zip(labels::placed(wanted, room, 1.0)) {
        if let Some(left) = left {
            pen.write(left as u16, row, columns(text) as u16, text, faint);
        }
    }
}

fn rules(chart: &Chart<'_>, layer: &Layer, pen: &mut Pen<'_>) {
    let style = |tone: Tone| pen.look.of(tone);
    match layer {
        Layer::Rule {
            at, tone, stroke, ..
        } => {
            let glyph = match stroke {
                Stroke::Dashed => pen.look.glyph('╌', '='),
                Stroke::Solid | Stroke::Hair => pen.look.glyph('─', '-'),
            };
            chart.level(*at, glyph, style(*tone), pen);
        }
        Layer::Upright { at, tone, .. } => {
            chart.upright(*at, pen.look.glyph('┊', ':'), style(*tone), pen);
        }
        _ => {}
    }
}

fn marks(chart: &Chart<'_>, layer: &Layer, pen: &mut Pen<'_>) {
    let Layer::Points {
        points, tone, mark, ..
    } = layer
    else {
        return;
    };
    if *mark == Mark::Dot {
        return;
    }
    let style = pen.look.of(*tone);
    for [x, y] in points {
        if let Some((x, y)) = chart.cell_inside(*x, *y) {
            pen.dot(x, y, glyph(*mark, pen.look), style);
        }
    }
}

/// The character of a mark.
pub fn glyph(mark: Mark, look: Look) -> char {
    match mark {
        Mark::Dot => look.glyph('•', '.'),
        Mark::Disc => look.glyph('●', 'o'),
        Mark::Diamond => look.glyph('◆', 'x'),
        Mark::Ring => look.glyph('○', 'o'),
        Mark::Triangle => look.glyph('▲', '^'),
        Mark::Drop => look.glyph('▽', 'v'),
        Mark::Square => look.glyph('■', '#'),
        Mark::Cross => look.glyph('×', 'x'),
        Mark::Beyond => look.glyph('»', '>'),
    }
}

/// A mark at the edge of each column in which a line goes beyond it.
fn beyond(picture: &Picture, chart: &Chart<'_>, pen: &mut Pen<'_>) {
    let plot = chart.plot();
    for layer in &picture.layers {
        let (Layer::Line { points, .. } | Layer::Points { points, .. }) = layer else {
            continue;
        };
        for [x, y] in points {
            let share = picture.y.share(*y);
            let (row, mark) = match share {
                _ if share > 1.0 => (plot.y, Mark::Triangle),
                _ if share < 0.0 => (plot.bottom() - 1, Mark::Drop),
                _ => continue,
            };
            if let Some((x, _)) = chart.cell(*x, *y) {
                let sign = match mark {
                    Mark::Drop => pen.look.glyph('▼', 'v'),
                    mark => glyph(mark, pen.look),
                };
                pen.dot(x, row, sign, pen.look.fault());
            }
        }
    }
}

/// Words near their place in cells that are empty; left out where there are none.
fn label(chart: &Chart<'_>, at: [f64; 2], text: &str, tone: Tone, pen: &mut Pen<'_>) {
    let plot = chart.plot();
    let Some((x, y)) = chart.cell(at[0], at[1]) else {
        return;
    };
    let text = pen.look.text(text);
    let width = columns(&text) as u16;
    if width + 2 > plot.width {
        return;
    }
    let held = |x: i32| x.clamp(i32::from(plot.x), i32::from(plot.right() - width)) as u16;
    let (x, y) = (i32::from(x), i32::from(y));
    let lefts = [x + 2, x - i32::from(width) - 1, x - i32::from(width) / 2];
    for up in [0, -1, 1, -2, 2, -3, 3] {
        let row = y + up;
        if row < i32::from(plot.y) || row >= i32::from(plot.bottom()) {
            continue;
        }
        for left in lefts {
            let left = held(left);
            let row = row as u16;
            let free = (left..left + width).all(|x| chart.is_free(x, row) && pen.is_quiet(x, row));
            if free {
                pen.write(left, row, width, &text, pen.look.of(tone));
                return;
            }
        }
    }
}

/// The names of the layers, each once.
fn names(picture: &Picture, look: Look) -> Vec<Sample<'_>> {
    let mut out: Vec<Sample<'_>> = Vec::new();
    for layer in &picture.layers {
        let name = layer.name();
        if name.is_empty() || out.iter().any(|known| known.name == name) {
            continue;
        }
        let (glyph, style) = match layer {
            Layer::Line { tone, stroke, .. } | Layer::Rule { tone, stroke, .. } => match stroke {
                Stroke::Dashed => (look.glyph('╌', '='), look.of(*tone)),
                Stroke::Solid | Stroke::Hair => (look.glyph('━', '-'), look.of(*tone)),
            },
            Layer::Points { tone, mark, .. } => (glyph(*mark, look), look.of(*tone)),
            Layer::Bars { tone, .. } => (look.glyph('│', '|'), look.of(*tone)),
            Layer::Upright { tone, .. } => (look.glyph('┊', ':'), look.of(*tone)),
            Layer::Spread { .. } => (look.glyph('▒', ':'), look.of(Tone::Spread)),
            Layer::Allowed { .. } => (look.glyph('╌', '='), look.edge().patch(look.allowed())),
            Layer::Gap { .. } => (' ', look.gap()),
            Layer::Ground { tone, .. } => (' ', look.ground_of(*tone)),
            Layer::Cell { .. } | Layer::Label { .. } => continue,
        };
        out.push(Sample { glyph, style, name });
    }
    out
}

/// The names in one line; those without room are left out.
fn legend(names: &[Sample<'_>], area: Rect, pen: &mut Pen<'_>) {
    let mut line = Text::default();
    let mut used = 0;
    for sample in names {
        let name = pen.look.text(sample.name);
        let width = columns(&name) + 6;
        if used + width > usize::from(area.width) + 2 {
            continue;
        }
        used += width;
        let two = sample.glyph.to_string().repeat(2);
        line = line
            .with(two, sample.style)
            .with(format!(" {name}   "), pen.look.mute());
    }
    pen.line(area.x, area.y, area.width, &line);
}

/// Columns of the names, and where the intervals lie.
fn row_columns(rows: &[Row], area: Rect, width: impl Fn(&str) -> u16) -> (u16, Rect) {
    let widest = |texts: &mut dyn Iterator<Item = &str>| texts.map(&width).max().unwrap_or(0);
    let name = (widest(&mut rows.iter().map(|r| r.name.as_str())) + 2).min(area.width / 3);
    let value = widest(&mut rows.iter().map(|r| r.value.as_str())) + 2;
    let value = value.min((area.width - name) / 2);
    let axis = Rect {
        x: area.x + name,
        width: area.width - name - value,
        height: area.height - 1,
        ..area
    };
    (name, axis)
}

/// A row a name: intervals in half cells over what is allowed, with the axis below.
fn rows_of(picture: &Picture, rows: &[Row], area: Rect, pen: &mut Pen<'_>) {
    let look = pen.look;
    let (name, axis) = row_columns(rows, area, |text| columns(&look.text(text)) as u16);
    let value = area.right() - axis.right();
    let halves = |x: f64| {
        let share = picture.x.share(x).clamp(0.0, 1.0);
        (share * 2.0 * f64::from(axis.width)).round() as u16
    };
    let row_of = |y: f64| {
        let row = y.round().max(0.0) as u16;
        (row < axis.height && usize::from(row) < rows.len()).then_some(axis.y + row)
    };
    for (row, entry) in rows.iter().enumerate() {
        let Some(y) = row_of(row as f64) else { break };
        let text = fit(&look.text(&entry.name), usize::from(name) - 1, look.cut());
        pen.write(area.x, y, name, &text, look.mute());
        let text = fit(&look.text(&entry.value), usize::from(value) - 2, look.cut());
        pen.write(axis.right() + 2, y, value, &text, look.of(entry.tone));
    }
    let edge_of = |x: f64| axis.x + (halves(x) / 2).min(axis.width - 1);
    for layer in &picture.layers {
        match layer {
            Layer::Ground { x, y, .. } => {
                let Some(row) = row_of(0.5 * (y[0] + y[1])) else {
                    continue;
                };
                let (left, right) = (edge_of(x[0]), edge_of(x[1]));
                pen.style(Rect::new(left, row, right - left, 1), look.allowed());
                for x in x.iter().filter(|x| **x != 0.0 && picture.x.holds(**x)) {
                    pen.dot(edge_of(*x), row, look.glyph('▏', '|'), look.edge());
                }
            }
            Layer::Upright { at, .. } => {
                for row in 0..rows.len().min(usize::from(axis.height)) {
                    let y = axis.y + row as u16;
                    if pen.is_blank(edge_of(*at), y) {
                        pen.dot(edge_of(*at), y, look.glyph('▏', '|'), look.edge());
                    }
                }
            }
            Layer::Line { points, tone, .. } => {
                if let [from, to] = points.as_slice()
                    && let Some(y) = row_of(from[1])
                {
                    interval(
                        halves(from[0])..halves(to[0]),
                        (axis, y),
                        look.of(*tone),
                        pen,
                    );
                }
            }
            Layer::Points {
                points, tone, mark, ..
            } => {
                for [x, y] in points {
                    if let Some(y) = row_of(*y) {
                        pen.dot(edge_of(*x), y, glyph(*mark, look), look.of(*tone));
                    }
                }
            }
            _ => {}
        }
    }
    let y = axis.y + (rows.len() as u16).min(axis.height);
    let at = ticks(&picture.x, usize::from(axis.width / 10).max(2));
    let wanted = at.iter().map(|(value, text)| {
        let width = columns(&look.text(text)) as f64;
        (
            (f64::from(edge_of(*value)) - 0.5 * width + 0.5).floor(),
            width,
        )
    });
    let room = [f64::from(area.x), f64::from(area.right())];
    for ((_, text), left) in at.iter().zip(labels::placed(wanted, room, 1.0)) {
        if let Some(left) = left {
            let text = look.text(text);
            pen.write(
                left as u16,
                y,
                columns(&text) as u16,
                &text,
                look.of(Tone::Faint),
            );
        }
    }
}

/// An interval in half cells.
fn interval(halves: std::ops::Range<u16>, (axis, y): (Rect, u16), style: Style, pen: &mut Pen<'_>) {
    for column in 0..axis.width {
        let covered = [2 * column, 2 * column + 1].map(|half| halves.contains(&half));
        let c = match covered {
            [true, true] => pen.look.glyph('━', '='),
            [true, false] => pen.look.glyph('╸', '='),
            [false, true] => pen.look.glyph('╺', '='),
            [false, false] => continue,
        };
        pen.dot(axis.x + column, y, c, style);
    }
}
