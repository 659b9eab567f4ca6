//! How late one stream's power is against another's once their clocks are known.

use super::line::{Line, Point, line_with_slope, spread};
use super::signal::{Masked, Signal};
use super::windows::{offsets_near, windows_over};

/// Delays looked for, each way, s.
const REACH_S: i64 = 15;
/// Length of a window, s: long enough for several changes of power.
const WINDOW_S: usize = 120;
/// Spacing of power samples that are about independent, s; only weights depend on it.
const INDEPENDENT_S: f64 = 10.0;

/// A delay and its 95 % interval, s.
pub(super) struct Delay {
    pub delay_s: f64,
    pub ci95_s: Option<[f64; 2]>,
}

/// The delay of `b`'s values against `a`'s beyond `clocks`, the shift between their recorders.
///
/// The values are correlated as they are: filtering would move the peak of a lagging device.
pub(super) fn delay(a: &Signal, b: &Signal, clocks: Line) -> Option<Delay> {
    let (va, vb) = (Masked::new(&a.values), Masked::new(&b.values));
    let lag_of = |i: f64| {
        let t = a.start_s + i;
        t + clocks.at(t) - b.start_s - i
    };
    let curves = windows_over(&va, &vb, WINDOW_S, REACH_S, &|i| lag_of(i).round() as i64);
    let points: Vec<Point> = offsets_near(&curves, &lag_of, REACH_S as f64 - 1.0, INDEPENDENT_S)
        .into_iter()
        .map(|w| Point {
            at_s: w.at,
            offset_s: w.lag - lag_of(w.at),
            sd_s: w.sd,
            set: 0,
        })
        .collect();
    let line = line_with_slope(&points, 0, 0.0)?;
    let ci95_s = spread(&points, 0, 0.0).map(|s| s.offset_s.map(|edge| line.offset_s + edge));
    Some(Delay {
        delay_s: line.offset_s,
        ci95_s,
    })
}
