//! Coverage: bias in each combination of power and cadence or wheel speed; what was never ridden
//! stays empty.

use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::super::layout::Scroll;
use super::super::super::state::State;
use super::super::super::text::signed;
use super::super::page::{Page, scroll_keys};
use super::super::pen::Pen;
use super::shared::{nothing, rest};
use crate::analysis::coverage::{Coverage, CoverageCell};
use crate::picture::claim::net_percent;
use crate::text::fit;

/// Columns of the power bands' names.
const GUTTER: u16 = 12;
/// Columns of a cell.
const CELL: u16 = 9;

/// The cells as they lie on the screen.
struct Cells<'a> {
    /// Power bands from the top, each with its cells.
    rows: Vec<&'a [CoverageCell]>,
    /// What lies across.
    bands: Vec<[f64; 2]>,
    /// Columns that have room.
    names: std::ops::Range<usize>,
    /// Rows of the screen for each cell.
    each: u16,
    /// Power bands that have room.
    fits: usize,
}

impl<'a> Cells<'a> {
    /// `None` where not even one has room.
    fn within(found: &'a Coverage, area: Rect) -> Option<Self> {
        let mut bands: Vec<[f64; 2]> = found.cells.iter().map(|cell| cell.other).collect();
        bands.dedup();
        let columns = found
            .cells
            .iter()
            .take_while(|cell| Some(cell.power_w) == found.cells.first().map(|c| c.power_w))
            .count();
        bands.truncate(columns);
        if columns == 0 || area.width < GUTTER + CELL || area.height < 3 {
            return None;
        }
        let rows: Vec<&[CoverageCell]> = found.cells.chunks(columns).rev().collect();
        // A cell needs a row for its bias and, where there is room, one for its seconds.
        let tall = usize::from(area.height.saturating_sub(3)) >= 2 * rows.len();
        let each = if tall { 2 } else { 1 };
        Some(Self {
            names: shown_columns(&rows, usize::from((area.width - GUTTER) / CELL)),
            fits: usize::from(area.height.saturating_sub(3) / each),
            rows,
            bands,
            each,
        })
    }

    /// From which power band on they are shown, where not all have room.
    fn scroll(&self, first: Option<usize>) -> Option<Scroll> {
        let last = self.rows.len().saturating_sub(self.fits);
        let first = || first.unwrap_or_else(|| most_ridden(&self.rows, self.fits));
        (last > 0).then(|| Scroll::at(first(), last))
    }
}

pub fn page<'a>(state: &'a State, found: &'a Coverage, area: Rect) -> Page<'a> {
    let Some(cells) = Cells::within(found, area) else {
        return Page::new(move |pen| nothing("There is no room for the cells.", area, pen));
    };
    let scroll = cells.scroll(state.scrolled);
    let skip = scroll.map_or(0, |scroll| scroll.first);
    Page::new(move |pen| draw(state, found, &cells, skip, area, pen)).scrolling(scroll)
}

/// Draws the power bands from `skip` on.
fn draw(
    state: &State,
    found: &Coverage,
    cells: &Cells<'_>,
    skip: usize,
    area: Rect,
    pen: &mut Pen<'_>,
) {
    let look = state.look;
    let Cells {
        rows,
        bands,
        names,
        each,
        fits,
    } = cells;
    let (each, fits) = (*each, *fits);
    let heads = format!(
        "power W \\ {} {}",
        found.channel.name(),
        found.channel.unit()
    );
    pen.write(area.x, area.y, area.width, &heads, look.faint());
    let names_row = area.y + 1;
    for (index, column) in names.clone().enumerate() {
        if let Some(band) = bands.get(column) {
            let label = format!("{:.0}-{:.0}", band[0], band[1]);
            let x = area.x + GUTTER + index as u16 * CELL;
            pen.write(x, names_row, CELL, &format!("{label:>8}"), look.strong());
        }
    }
    let body = rest(area, 2);
    for (index, cells) in rows.iter().skip(skip).take(fits).enumerate() {
        let y = body.y + index as u16 * each;
        if let Some(cell) = cells.first() {
            let label = format!("{:.0}-{:.0} W", cell.power_w[0], cell.power_w[1]);
            pen.write(body.x, y, GUTTER, &format!("{label:>11}"), look.strong());
        }
        for (at, cell) in cells[names.start.min(cells.len())..names.end.min(cells.len())]
            .iter()
            .enumerate()
        {
            let x = body.x + GUTTER + at as u16 * CELL;
            draw_cell(state, cell, Rect::new(x, y, CELL, each), pen);
        }
    }
    let what = if state.session().allowance().percent != 0.0 {
        "net bias"
    } else {
        "bias"
    };
    let foot = format!("{what}, ! beyond the claim; seconds alone: too few; empty: never ridden");
    pen.write(area.x, area.bottom() - 1, area.width, &foot, look.faint());
    let hidden = hidden(rows, names, skip..skip + fits);
    if let Some(words) = hidden {
        let more_rows = if rows.len() > fits {
            format!("; {}: rows", scroll_keys(state).join(" "))
        } else {
            String::new()
        };
        let text = format!(" {words}{more_rows} ");
        let heads = (heads.chars().count() + 1) as u16;
        let width = (text.chars().count() as u16).min(area.width.saturating_sub(heads));
        let x = area.right() - width;
        pen.write(x, area.y, width, &text, look.strong());
    }
}

/// What was ridden but has no room, in words.
fn hidden(
    rows: &[&[CoverageCell]],
    names: &std::ops::Range<usize>,
    shown: std::ops::Range<usize>,
) -> Option<String> {
    let seconds = |row: usize, cells: &[CoverageCell]| -> usize {
        let out = |column: usize| !shown.contains(&row) || !names.contains(&column);
        let cells = cells.iter().enumerate();
        cells
            .filter(|(column, _)| out(*column))
            .map(|(_, cell)| cell.n)
            .sum()
    };
    let hidden: usize = rows
        .iter()
        .enumerate()
        .map(|(row, cells)| seconds(row, cells))
        .sum();
    (hidden > 0).then(|| format!("{hidden} s have no room here"))
}

fn draw_cell(state: &State, cell: &CoverageCell, area: Rect, pen: &mut Pen<'_>) {
    if cell.n == 0 {
        return;
    }
    let look = state.look;
    let level_w = 0.5 * (cell.power_w[0] + cell.power_w[1]);
    let (middle_w, half_w) = state.allowed_w(level_w).unwrap_or((0.0, f64::INFINITY));
    // What the claim is held against: the bias that the allowance leaves.
    let net_w = cell.bias_w.map(|bias_w| bias_w - middle_w);
    let loss = state.session().allowance().percent;
    let net_percent = cell.bias_percent.map(|bias| net_percent(bias, loss));
    let beyond = net_w.is_some_and(|net_w| net_w.abs() > half_w);
    let text = match (net_percent, net_w) {
        (Some(net), _) => format!("{} %", signed(Some(net), 0, 1)),
        (None, Some(net)) => format!("{} W", signed(Some(net), 0, 1)),
        // Too few for a bias: the seconds stand in its place.
        (None, None) => format!("{} s", cell.n),
    };
    let mark = if beyond { "!" } else { "" };
    let style = if beyond { look.warning() } else { Style::new() };
    let style = match cell.bias_w {
        Some(_) => style.patch(look.tint()),
        None => look.faint(),
    };
    let label = format!("{:>8}", format!("{mark}{text}"));
    pen.write(
        area.x,
        area.y,
        area.width - 1,
        &fit(&label, 8, look.cut()),
        style,
    );
    if area.height >= 2 && cell.bias_w.is_some() {
        let seconds = format!("{:>8}", format!("{} s", cell.n));
        pen.write(
            area.x,
            area.y + 1,
            area.width - 1,
            &seconds,
            look.faint().patch(look.tint()),
        );
    }
}

/// The columns to show where not all have room: the run that was ridden longest.
fn shown_columns(rows: &[&[CoverageCell]], room: usize) -> std::ops::Range<usize> {
    let columns = rows.first().map_or(0, |row| row.len());
    let ridden = |column: usize| -> usize {
        let cells = rows.iter().filter_map(|row| row.get(column));
        cells.map(|cell| cell.n).sum()
    };
    let start = longest_run((0..columns).map(ridden).collect(), room);
    start..(start + room).min(columns)
}

/// The first row to show where not all have room.
fn most_ridden(rows: &[&[CoverageCell]], room: usize) -> usize {
    let ridden = |row: &&[CoverageCell]| row.iter().map(|cell| cell.n).sum();
    longest_run(rows.iter().map(ridden).collect(), room)
}

/// Where the run of `room` counts with the largest sum starts.
fn longest_run(counts: Vec<usize>, room: usize) -> usize {
    let last = counts.len().saturating_sub(room);
    let sum = |start: usize| -> usize { counts.iter().skip(start).take(room).sum() };
    (0..=last)
        .max_by_key(|start| (sum(*start), std::cmp::Reverse(*start)))
        .unwrap_or(0)
}
