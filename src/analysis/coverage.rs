//! Where the ride went: bias by band of power, cadence and wheel speed, and the combinations that
//! were never ridden.
//!
//! A source answers a change of power some seconds late. A second right after one says nothing of the
//! power it falls in: of a band that is only passed through, lag alone would make a bias of −100 %. So
//! only seconds count before which the reference has kept its level for 10 s, and what bands them by
//! power is the mean of those 10 s, not their own value. The level is kept while the means over 3 s and
//! the second itself stay within 30 W, or 15 % of it if that is more (ours, common practice without a source).

use super::agreement::{Moments, compare_rows};
use crate::analysis::figure::Figure;
use crate::recording::Channel;
use crate::stats::Interval;
use serde::Serialize;

/// Bias of a source under test in one band of a channel, over the ride.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Band {
    /// Label of the source under test.
    pub under_test: String,
    /// Label of the reference, or `consensus`.
    pub reference: String,
    /// What is banded: power of the reference, W; cadence, rpm; speed, m/s.
    pub channel: crate::recording::Channel,
    /// Lower end of the band, in the channel's unit.
    pub from: f64,
    /// Upper end, not included.
    pub to: f64,
    /// Seconds spent in it at a level that the reference has kept for 10 s.
    pub n: usize,
    /// Mean difference, W.
    pub bias_w: Option<f64>,
    /// Mean difference, % of the reference mean in the band.
    pub bias_percent: Option<f64>,
    /// 95 % confidence limits of the bias, W.
    pub bias_ci95_w: Option<Interval>,
}

/// One combination of power and another channel.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CoverageCell {
    /// Band of the reference's power, W.
    pub power_w: Interval,
    /// Band of the other channel, in its unit.
    pub other: Interval,
    /// Seconds spent there; 0 where the ride never went.
    pub n: usize,
    /// Mean difference over those seconds in which the reference has kept its level for 10 s, W.
    pub bias_w: Option<f64>,
    /// The same, % of the reference mean in the cell.
    pub bias_percent: Option<f64>,
}

/// Which combinations the ride visited.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Coverage {
    /// The channel beside power.
    pub channel: crate::recording::Channel,
    /// Every cell between the lowest and the highest band visited, by power, then by the channel.
    pub cells: Vec<CoverageCell>,
}

/// Fewest seconds in a band or cell from which its bias is shown.
const MIN_ROWS: usize = 5;
/// How long a source may still answer a change of power, s.
const ANSWERS_S: f64 = 10.0;
/// Length of the means that have to stay together, s.
const MEAN_S: f64 = 3.0;
/// How far they may lie apart, W …
const KEPT_W: f64 = 30.0;
/// … or as a share of the level.
const KEPT_SHARE: f64 = 0.15;

/// The level that `power` (rows spaced `step_s`) has kept for `ANSWERS_S` up to each row, W; NaN where
/// it has kept none or a value is missing.
pub fn kept_levels(power: &[f64], step_s: f64) -> Vec<f64> {
    let rows = |seconds: f64| (seconds / step_s).round().max(1.0) as usize;
    let (length, width) = (rows(ANSWERS_S) + 1, rows(MEAN_S));
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len() as f64;
    let level = |kept: &[f64]| {
        let means = kept.windows(width).map(mean);
        let (low, high) = means.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), w| {
            (low.min(w), high.max(w))
        });
        let level = mean(kept);
        let apart_w = KEPT_W.max(KEPT_SHARE * level);
        // The last second of a mean may be the first of another level. A missing value leaves none.
        let last = kept.last().map_or(f64::NAN, |w| (w - level).abs());
        let stays = high - low <= apart_w && last <= apart_w;
        if stays { level } else { f64::NAN }
    };
    let first = vec![f64::NAN; power.len().min(length - 1)];
    first
        .into_iter()
        .chain(power.windows(length).map(level))
        .collect()
}

/// How a channel is cut into bands.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Bands {
    width: f64,
    /// Values from here on are outliers, not a band.
    end: f64,
}

impl Bands {
    /// 50 W, 10 rpm, 2 m/s: wide enough to hold a block, narrow enough to show a trend. `None`
    /// for a channel that makes no sense as an operating point.
    fn of(channel: Channel) -> Option<Self> {
        let (width, end) = match channel {
            Channel::Power => (50.0, 2500.0),
            Channel::Cadence => (10.0, 250.0),
            Channel::Speed => (2.0, 40.0),
            _ => return None,
        };
        Some(Self { width, end })
    }

    /// The band of a value; `None` where it is missing, negative or an outlier.
    fn band(self, value: f64) -> Option<usize> {
        (value >= 0.0 && value < self.end).then(|| (value / self.width) as usize)
    }

    fn ends(self, band: usize) -> [f64; 2] {
        let from = band as f64 * self.width;
        [from, from + self.width]
    }
}

/// A pair of streams to look at, with its labels and power columns, W.
#[derive(Clone, Copy, Debug)]
pub struct Pair<'a> {
    /// Label of the source under test.
    pub under_test: &'a str,
    /// Label of the reference, or `consensus`.
    pub reference: &'a str,
    /// Power under test.
    pub x: &'a [f64],
    /// Power of the reference.
    pub y: &'a [f64],
    /// Spacing of the rows, s.
    pub step_s: f64,
}

/// Bias in every visited band of `channel`, whose `values` run along the pair (those of power are not
/// read: its bands are of the level that the reference has kept). A band needs 5 s. Empty for a channel
/// that is not banded.
///
/// A band is visited now and then: its seconds stay where they were in the ride, so that the time
/// between visits counts as time in the limits.
pub fn bands(pair: Pair<'_>, channel: Channel, values: &[f64]) -> Vec<Band> {
    let Some(cut) = Bands::of(channel) else {
        return Vec::new();
    };
    let levels = kept_levels(pair.y, pair.step_s);
    let values = if channel == Channel::Power {
        &levels
    } else {
        values
    };
    let mut members: Vec<Vec<usize>> = Vec::new();
    for (row, ((x, level), value)) in pair.x.iter().zip(&levels).zip(values).enumerate() {
        if let (true, Some(band)) = ((x - level).is_finite(), cut.band(*value)) {
            if members.len() <= band {
                members.resize_with(band + 1, Default::default);
            }
            if let Some(rows) = members.get_mut(band) {
                rows.push(row);
            }
        }
    }
    members
        .iter()
        .enumerate()
        .filter(|(_, rows)| rows.len() >= MIN_ROWS)
        .map(|(band, rows)| {
            let compared = compare_rows(pair.x, pair.y, rows);
            let figures = compared.figures(pair.under_test, pair.reference);
            let [from, to] = cut.ends(band);
            Band {
                under_test: figures.under_test,
                reference: figures.reference,
                channel,
                from,
                to,
                n: figures.n,
                bias_w: figures.bias_w,
                bias_percent: figures.bias_percent,
                bias_ci95_w: figures.bias_ci95_w,
            }
        })
        .collect()
}

/// One second of a ride: its bands, and what source and reference read.
struct Placed {
    power: usize,
    other: usize,
    /// Source and reference, W, where the reference has kept its level.
    kept: Option<(f64, f64)>,
}

/// Every combination of a power band and a band of `channel` between the lowest and the highest
/// that the ride visited, unvisited ones with `n` = 0. `None` where nothing can be placed. A second
/// stands at the level that the reference has kept; where it has kept none, at its own power, where it
/// counts as ridden and goes into no bias.
pub fn grid(pair: Pair<'_>, channel: Channel, values: &[f64]) -> Option<Coverage> {
    let (power, other) = (Bands::of(Channel::Power)?, Bands::of(channel)?);
    let levels = kept_levels(pair.y, pair.step_s);
    let pairs = pair.x.iter().zip(pair.y).zip(&levels).zip(values);
    let placed: Vec<Placed> = pairs
        .filter(|(((x, y), _), _)| (*x - *y).is_finite())
        .filter_map(|(((x, y), level), value)| {
            let kept = level.is_finite();
            Some(Placed {
                power: power.band(if kept { *level } else { *y })?,
                other: other.band(*value)?,
                kept: kept.then_some((*x, *y)),
            })
        })
        .collect();
    let range = |of: fn(&Placed) -> usize| {
        let bands = || placed.iter().map(of);
        Some(bands().min()?..bands().max()? + 1)
    };
    let (rows, columns) = (range(|p| p.power)?, range(|p| p.other)?);
    let mut members: Vec<(usize, Vec<f64>, Vec<f64>)> = Vec::new();
    members.resize_with(rows.len() * columns.len(), Default::default);
    for second in &placed {
        let at = (second.power - rows.start) * columns.len() + (second.other - columns.start);
        if let Some((n, xs, ys)) = members.get_mut(at) {
            *n += 1;
            xs.extend(second.kept.map(|(x, _)| x));
            ys.extend(second.kept.map(|(_, y)| y));
        }
    }
    let places = rows.flat_map(|row| columns.clone().map(move |column| (row, column)));
    let cells = places
        .zip(&members)
        .map(|((row, column), (n, x, y))| {
            let moments = Moments::of(x, y);
            let enough = moments.n >= MIN_ROWS;
            CoverageCell {
                power_w: power.ends(row),
                other: other.ends(column),
                n: *n,
                bias_w: moments.bias().filter(|_| enough),
                bias_percent: moments.bias_percent().filter(|_| enough),
            }
        })
        .collect();
    Some(Coverage { channel, cells })
}

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "bands.under_test",
        label: "source",
        definition: "The source under test.",
        ..Figure::PLAIN
    },
    Figure {
        id: "bands.reference",
        label: "reference",
        definition: "What it is compared with.",
        ..Figure::PLAIN
    },
    Figure {
        id: "bands.channel",
        label: "banded by",
        definition: "The channel that the ride is cut by: power of the reference, cadence or wheel speed.",
        ..Figure::PLAIN
    },
    Figure {
        id: "bands.from",
        label: "band from",
        definition: "Lower end of the band, in the channel's unit.",
        ..Figure::PLAIN
    },
    Figure {
        id: "bands.to",
        label: "band to",
        definition: "Upper end of the band, not included.",
        ..Figure::PLAIN
    },
    Figure {
        id: "bands.n",
        label: "n",
        unit: "s",
        definition: "Seconds of the ride in the band at a level of power that the reference has kept for 10 s.",
        source: "counted; a level is kept while means over 3 s stay within 30 W or 15 %",
        caveat: "Seconds right after a change of power are in no band: there the source's lag would pass for bias.",
        ..Figure::PLAIN
    },
    Figure {
        id: "bands.bias_w",
        label: "bias in the band",
        short: "bias",
        unit: "W",
        decimals: 1,
        signed: true,
        definition: "Mean of (under test − reference) over the seconds in the band; shown from 5 s on.",
        formula: "mean of d",
        source: "ISO 5725-1 (trueness)",
        caveat: "Bands of a free ride differ in more than one thing: high power comes with high cadence.",
        ..Figure::PLAIN
    },
    Figure {
        id: "bands.bias_percent",
        label: "bias in the band",
        short: "bias",
        unit: "%",
        decimals: 2,
        signed: true,
        definition: "The same as % of the reference mean in the band.",
        formula: "100 · mean of d / mean of the reference",
        source: "ISO 5725-1 (trueness)",
        ..Figure::PLAIN
    },
    Figure {
        id: "bands.bias_ci95_w",
        label: "bias in the band, 95 % CI",
        short: "95 % CI",
        unit: "W",
        decimals: 1,
        signed: true,
        definition: "95 % confidence interval of the bias in the band.",
        formula: "means of blocks of the band's seconds, each at its place in time, as for the bias",
        source: "see the bias's limits",
        caveat: "A band holds whatever passed through it: seconds of steps and sprints, with the source's lag, widen it.",
        ..Figure::PLAIN
    },
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::vectors::{assert_close, lcg};

    fn pair<'a>(x: &'a [f64], y: &'a [f64]) -> Pair<'a> {
        Pair {
            under_test: "trainer",
            reference: "pedals",
            x,
            y,
            step_s: 1.0,
        }
    }

    /// Blocks of 60 s at 60 and 260 W, each entered at once; the source needs some seconds to follow.
    #[test]
    fn a_lag_makes_no_bias_of_what_is_passed_through() {
        use crate::stats::first_order::{Lag, response};
        let y: Vec<f64> = (0..480)
            .map(|t| match t % 120 {
                0..60 => 60.0,
                60 => 160.0,
                _ => 260.0,
            })
            .collect();
        let lag = Lag {
            delay_s: 0.5,
            time_constant_s: 1.5,
        };
        let x = response(&y, 1.0, lag);
        let cadence: Vec<f64> = y.iter().map(|w| 60.0 + w / 10.0).collect();
        for (channel, bands_seen) in [(Channel::Power, 2), (Channel::Cadence, 2)] {
            let found = bands(pair(&x, &y), channel, &cadence);
            assert_eq!(found.len(), bands_seen, "{found:?}");
            for band in &found {
                assert!(band.bias_percent.unwrap().abs() < 0.5, "{band:?}");
            }
        }
        let cells = grid(pair(&x, &y), Channel::Cadence, &cadence)
            .unwrap()
            .cells;
        assert_eq!(cells.iter().map(|cell| cell.n).sum::<usize>(), 479);
        let filled: Vec<f64> = cells.iter().filter_map(|cell| cell.bias_percent).collect();
        assert!(filled.len() == 2 && filled.iter().all(|bias| bias.abs() < 0.5));
    }

    /// 60 s at 120 W and 80 rpm, 60 s at 260 W and 100 rpm; the source reads 3 W, then 13 W high.
    fn two_blocks() -> (Vec<f64>, Vec<f64>, Vec<f64>) {
        let y: Vec<f64> = (0..120)
            .map(|t| if t < 60 { 120.0 } else { 260.0 })
            .collect();
        let x = y
            .iter()
            .map(|y| if *y < 200.0 { y + 3.0 } else { 1.05 * y })
            .collect();
        let cadence = y
            .iter()
            .map(|y| if *y < 200.0 { 80.0 } else { 100.0 })
            .collect();
        (x, y, cadence)
    }

    #[test]
    fn each_band_has_its_own_bias() {
        let (x, y, cadence) = two_blocks();
        let by_power = bands(pair(&x, &y), Channel::Power, &y);
        assert_eq!(by_power.len(), 2);
        assert_eq!(
            (by_power[0].from, by_power[0].to, by_power[0].n),
            (100.0, 150.0, 50)
        );
        assert_close(by_power[0].bias_w.unwrap(), 3.0, 1e-12);
        assert_close(by_power[1].bias_percent.unwrap(), 5.0, 1e-9);
        let by_cadence = bands(pair(&x, &y), Channel::Cadence, &cadence);
        assert_eq!((by_cadence[0].from, by_cadence[1].from), (80.0, 100.0));
        assert!(bands(pair(&x, &y), Channel::HeartRate, &cadence).is_empty());
    }

    #[test]
    fn unvisited_combinations_are_in_the_grid_and_empty() {
        let (x, y, cadence) = two_blocks();
        let coverage = grid(pair(&x, &y), Channel::Cadence, &cadence).unwrap();
        // Power bands 100, 150, 200, 250; cadence bands 80, 90, 100.
        assert_eq!(coverage.cells.len(), 12);
        let visited: Vec<_> = coverage.cells.iter().filter(|c| c.n > 0).collect();
        assert_eq!(visited.len(), 2);
        assert_eq!(
            (visited[1].power_w, visited[1].other),
            ([250.0, 300.0], [100.0, 110.0])
        );
        assert_close(visited[1].bias_w.unwrap(), 13.0, 1e-9);
        assert!(
            coverage
                .cells
                .iter()
                .filter(|c| c.n == 0)
                .all(|c| c.bias_w.is_none())
        );
    }

    /// 200 rides of 40 min that visit a band for 20 s in every 80 s; the error of the source is
    /// autoregressive 0.9 a second (uniform innovations).
    #[test]
    fn limits_of_a_band_that_is_visited_now_and_then_cover() {
        let y: Vec<f64> = (0..2400)
            .map(|t| if t % 80 < 20 { 175.0 } else { 225.0 })
            .collect();
        let u = lcg(200 * 2500);
        let (mut covered, mut width) = (0, 0.0);
        for ride in u.chunks(2500) {
            let mut error = 0.0;
            let errors: Vec<f64> = ride
                .iter()
                .map(|u| {
                    error = 0.9 * error + 12.0_f64.sqrt() * (u - 0.5) * (1.0 - 0.81_f64).sqrt();
                    error
                })
                .collect();
            let x: Vec<f64> = y.iter().zip(&errors[100..]).map(|(y, e)| y + e).collect();
            let found = bands(pair(&x, &y), Channel::Power, &y);
            assert_eq!((found.len(), found[0].n), (2, 329));
            let [low, high] = found[0].bias_ci95_w.unwrap();
            covered += usize::from(low <= 0.0 && 0.0 <= high);
            width += (high - low) / 200.0;
        }
        // 95 % of 200 is 190; three standard errors are 9. The standard deviation of such a mean is
        // 0.13 W: limits of ±0.35 W are wide enough for a fifteenth of the ride.
        assert!(covered >= 184, "{covered} of 200");
        assert!(width < 0.9, "{width}");
    }

    #[test]
    fn missing_negative_and_absurd_values_are_in_no_band() {
        let nan = f64::NAN;
        let x = [250.0; 40];
        let mut y = [240.0; 40];
        (y[0], y[1], y[2], y[20]) = (nan, -5.0, 1e9, nan);
        let found = bands(pair(&x, &y), Channel::Power, &y);
        assert_eq!(found.len(), 1);
        // From row 13 up to the gap, and from 10 s after it.
        assert_eq!(found[0].n, 7 + 9);
        assert_eq!(
            grid(pair(&x, &[nan; 40]), Channel::Cadence, &[90.0; 40]),
            None
        );
        let ridden = grid(pair(&x, &y), Channel::Cadence, &[90.0; 40]).unwrap();
        let seconds: Vec<usize> = ridden.cells.iter().map(|cell| cell.n).collect();
        assert_eq!(seconds, [36]);
    }
}
