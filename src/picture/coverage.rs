//! Which combinations of power and another channel were ridden, with the bias in each.

use super::claim::net_percent;
use super::parts::{Axis, Layer, Picture};
use super::subject::{Subject, plain, signed};
use crate::analysis::coverage::{Coverage, CoverageCell};
use crate::analysis::coverage::{Pair, grid};
use crate::recording::Channel;

/// A bias this many times the claim gets the full colour.
const FULL_COLOUR: f64 = 2.0;

/// What was ridden: cells of power and of cadence, else of wheel speed.
///
/// # Errors
/// Why there is nothing to draw.
pub fn of(subject: &Subject<'_>) -> Result<Picture, String> {
    let channels = [Channel::Cadence, Channel::Speed].into_iter();
    let mut found = channels.map(|channel| cells(subject, channel));
    let first = found.next().unwrap_or_else(|| Err(String::new()));
    let cells = match first {
        Ok(cells) => cells,
        Err(why) => found.next().and_then(Result::ok).ok_or(why)?,
    };
    drawn(subject, &cells)
}

/// The picture of these cells of `subject`.
///
/// # Errors
/// Why there is nothing to draw.
pub fn drawn(subject: &Subject<'_>, cells: &Coverage) -> Result<Picture, String> {
    let source = subject.under_test()?;
    let claim = subject.claim(source).percent.max(1.0);
    let loss = subject.session.allowance().percent;
    let what = if loss == 0.0 { "Bias" } else { "Net bias" };
    let n = cells.cells.iter().map(|cell| cell.n).sum();
    let drawn = cells.cells.iter().filter(|cell| cell.n > 0);
    Ok(Picture {
        title: subject.title("coverage"),
        facts: vec![
            subject.window_fact(n),
            format!(
                "{what} of {} against {} in % and the seconds ridden; blue reads low, orange high, full colour at twice the claim; empty: never ridden.",
                subject.label(source),
                subject.name(subject.basis()?)
            ),
        ],
        x: Axis::numbers(
            "power of the reference",
            "W",
            ends(cells, |cell| cell.power_w),
        ),
        y: Axis::numbers(
            cells.channel.name(),
            cells.channel.unit(),
            ends(cells, |cell| cell.other),
        ),
        layers: drawn.map(|cell| shown(cell, claim, loss)).collect(),
    })
}

/// The cells of power and of `channel` over the window.
///
/// # Errors
/// Why there are none.
pub fn cells(subject: &Subject<'_>, channel: Channel) -> Result<Coverage, String> {
    let compared = subject.compared()?;
    let values = beside(subject, compared.under_test, channel)
        .ok_or_else(|| format!("No stream has {} in this stretch.", channel.name()))?;
    let pair = Pair {
        under_test: "",
        reference: "",
        x: &compared.source,
        y: &compared.reference,
        step_s: subject.aligned.grid.step_s,
    };
    grid(pair, channel, values).ok_or_else(|| {
        format!(
            "No second of this stretch has power and {} together.",
            channel.name()
        )
    })
}

/// The channel over the window: the source under test's own, else the first stream's that has it.
fn beside<'a>(subject: &Subject<'a>, under_test: usize, channel: Channel) -> Option<&'a [f64]> {
    let streams = std::iter::once(under_test).chain(0..subject.aligned.tracks.len());
    streams
        .filter_map(|index| subject.column(index, channel))
        .find(|values| values.iter().any(|v| v.is_finite()))
}

fn ends(found: &Coverage, of: fn(&CoverageCell) -> [f64; 2]) -> [f64; 2] {
    let ridden = found.cells.iter().filter(|cell| cell.n > 0);
    let cells = ridden.map(of);
    cells.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], [a, b]| {
        [low.min(a), high.max(b)]
    })
}

fn shown(cell: &CoverageCell, claim_percent: f64, loss_percent: f64) -> Layer {
    let net = |bias| net_percent(bias, loss_percent);
    let level_w = 0.5 * (cell.power_w[0] + cell.power_w[1]);
    let net_w = cell.bias_w.map(|w| w + loss_percent / 100.0 * level_w);
    let text = match (cell.n, cell.bias_percent.map(net), net_w) {
        (0, ..) => Vec::new(),
        (n, Some(bias), _) => vec![signed(bias, 1), format!("{n} s")],
        (n, None, Some(bias)) => vec![format!("{} W", signed(bias, 1)), format!("{n} s")],
        (n, None, None) => vec![format!("{} s", plain(n as f64, 0))],
    };
    Layer::Cell {
        x: cell.power_w,
        y: cell.other,
        shade: cell
            .bias_percent
            .map(|bias| net(bias) / (FULL_COLOUR * claim_percent)),
        text,
    }
}
