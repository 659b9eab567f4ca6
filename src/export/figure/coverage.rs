//! Which combinations of power and another channel were ridden, with the bias in each.

use super::picture::{Axis, Layer, Picture, Ticks};
use super::subject::{Subject, plain, signed};
use crate::analysis::coverage::{Coverage, CoverageCell};
use crate::analysis::coverage::{Pair, grid};
use crate::picture::claim::net_percent;
use crate::recording::Channel;
use crate::timeline::Member;

/// A bias this many times the claim gets the full colour.
const FULL_COLOUR: f64 = 2.0;

/// Cells of power and wheel speed where there is speed, else of power and cadence.
pub(super) fn coverage(subject: &Subject<'_>) -> Result<Picture, String> {
    let source = subject.under_test()?;
    let basis = subject.basis()?;
    let missing = || "no power in this window".to_owned();
    let x = subject
        .readings(Member::Stream(source))
        .ok_or_else(missing)?;
    let y = subject.readings(basis).ok_or_else(missing)?;
    let pair = Pair {
        under_test: "",
        reference: "",
        x: &x,
        y: &y,
        step_s: subject.aligned.grid.step_s,
    };
    let found = [Channel::Cadence, Channel::Speed]
        .into_iter()
        .find_map(|channel| grid(pair, channel, beside(subject, source, channel)?))
        .ok_or_else(|| "no stream carries cadence or wheel speed in this window".to_owned())?;
    let claim = subject.claim(source).percent.max(1.0);
    let loss = subject.session.allowance().percent;
    let what = if loss == 0.0 { "Bias" } else { "Net bias" };
    let n = found.cells.iter().map(|cell| cell.n).sum();
    Ok(Picture {
        title: subject.title("coverage"),
        facts: vec![
            subject.window_fact(n),
            format!(
                "{what} of {} against {} in each combination (blue below zero, orange above) and the seconds spent there; empty: never ridden.",
                subject.label(source),
                subject.name(basis)
            ),
        ],
        x: Axis {
            label: "power of the reference, W".to_owned(),
            range: ends(&found, |cell| cell.power_w),
            ticks: Ticks::Numbers,
        },
        y: Axis {
            label: format!("{}, {}", found.channel.name(), found.channel.unit()),
            range: ends(&found, |cell| cell.other),
            ticks: Ticks::Numbers,
        },
        layers: found
            .cells
            .iter()
            .map(|cell| drawn(cell, claim, loss))
            .collect(),
    })
}

/// The channel over the window: the source under test's own, else the first stream's that has it.
fn beside<'a>(subject: &Subject<'a>, under_test: usize, channel: Channel) -> Option<&'a [f64]> {
    let places = std::iter::once(under_test).chain(0..subject.aligned.tracks.len());
    places
        .filter_map(|index| subject.column(index, channel))
        .find(|values| values.iter().any(|v| v.is_finite()))
}

fn ends(found: &Coverage, of: fn(&CoverageCell) -> [f64; 2]) -> [f64; 2] {
    let cells = found.cells.iter().map(of);
    cells.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], [a, b]| {
        [low.min(a), high.max(b)]
    })
}

fn drawn(cell: &CoverageCell, claim_percent: f64, loss_percent: f64) -> Layer {
    let net = |bias| net_percent(bias, loss_percent);
    let level_w = 0.5 * (cell.power_w[0] + cell.power_w[1]);
    let net_w = cell.bias_w.map(|w| w + loss_percent / 100.0 * level_w);
    let text = match (cell.n, cell.bias_percent.map(net), net_w) {
        (0, ..) => Vec::new(),
        (n, Some(bias), _) => vec![format!("{} %", signed(bias, 1)), format!("{n} s")],
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
