//! Where the ride went: bias by band of power, cadence and wheel speed, and the combinations that
//! were never ridden.

use super::agreement::{Moments, compare_rows};
use super::figures::{Band, Coverage, CoverageCell};
use crate::recording::Channel;

/// Fewest seconds in a band or cell from which its bias is shown.
const MIN_ROWS: usize = 5;

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
            Channel::HeartRate | Channel::Temperature | Channel::Balance => return None,
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
}

/// Bias in every visited band of `channel`, whose `values` run along the pair (for power, pass the
/// reference's). A band needs 5 s. Empty for a channel that is not banded.
///
/// A band is visited now and then: its seconds stay where they were in the ride, so that the time
/// between visits counts as time in the limits.
pub fn bands(pair: Pair<'_>, channel: Channel, values: &[f64]) -> Vec<Band> {
    let Some(cut) = Bands::of(channel) else {
        return Vec::new();
    };
    let mut members: Vec<Vec<usize>> = Vec::new();
    for (row, ((x, y), value)) in pair.x.iter().zip(pair.y).zip(values).enumerate() {
        if let (true, Some(band)) = ((x - y).is_finite(), cut.band(*value)) {
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

/// Every combination of a power band and a band of `channel` between the lowest and the highest
/// that the ride visited, unvisited ones with `n` = 0. `None` where nothing can be placed.
pub fn grid(pair: Pair<'_>, channel: Channel, values: &[f64]) -> Option<Coverage> {
    let (power, other) = (Bands::of(Channel::Power)?, Bands::of(channel)?);
    let placed: Vec<(usize, usize, f64, f64)> = pair
        .x
        .iter()
        .zip(pair.y)
        .zip(values)
        .filter(|((x, y), _)| (*x - *y).is_finite())
        .filter_map(|((x, y), value)| Some((power.band(*y)?, other.band(*value)?, *x, *y)))
        .collect();
    let range = |of: fn(&(usize, usize, f64, f64)) -> usize| {
        let bands = || placed.iter().map(of);
        Some(bands().min()?..bands().max()? + 1)
    };
    let (rows, columns) = (range(|p| p.0)?, range(|p| p.1)?);
    let mut members: Vec<(Vec<f64>, Vec<f64>)> = Vec::new();
    members.resize_with(rows.len() * columns.len(), Default::default);
    for (row, column, x, y) in &placed {
        let at = (row - rows.start) * columns.len() + (column - columns.start);
        if let Some((xs, ys)) = members.get_mut(at) {
            xs.push(*x);
            ys.push(*y);
        }
    }
    let places = rows.flat_map(|row| columns.clone().map(move |column| (row, column)));
    let cells = places
        .zip(&members)
        .map(|((row, column), (x, y))| {
            let moments = Moments::of(x, y);
            let enough = moments.n >= MIN_ROWS;
            CoverageCell {
                power_w: power.ends(row),
                other: other.ends(column),
                n: moments.n,
                bias_w: moments.bias().filter(|_| enough),
                bias_percent: moments.bias_percent().filter(|_| enough),
            }
        })
        .collect();
    Some(Coverage { channel, cells })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::vectors::{assert_close, lcg};

    fn pair<'a>(x: &'a [f64], y: &'a [f64]) -> Pair<'a> {
        Pair {
            under_test: "trainer",
            reference: "pedals",
            x,
            y,
        }
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
            (100.0, 150.0, 60)
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
            assert_eq!((found.len(), found[0].n), (2, 600));
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
        let x = [250.0; 12];
        let y = [
            nan, -5.0, 1e9, 240.0, 240.0, 240.0, 240.0, 240.0, nan, 240.0, 240.0, 240.0,
        ];
        let found = bands(pair(&x, &y), Channel::Power, &y);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].n, 8);
        assert_eq!(
            grid(pair(&x, &[nan; 12]), Channel::Cadence, &[90.0; 12]),
            None
        );
    }
}
