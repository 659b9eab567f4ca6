//! The offset between two recorders that heard one heart-rate strap.

use super::jump::Jump;
use super::line::{Line, Point, spread};
use super::signal::Signal;
use super::steps::{Steps, lag_of_steps};
use super::timer::Timer;

/// Uncertainty given to every window of one strap, s: only that it is the same matters.
const EVEN_S: f64 = 0.15;
/// Half-width that resampling cannot show, s: what whole-second samples do not tell of the moment
/// they were taken, the same in every window.
const SAMPLING_S: f64 = 0.06;
/// A strap that sends once a second makes jumps of 1 s that no clock makes; found to within this, s.
const ONE_SECOND_S: [f64; 2] = [0.5, 1.5];

/// What one strap tells of the offset.
pub(super) struct OfStrap {
    /// The line of shifts; as it was where the strap tells nothing better.
    pub line: Line,
    /// 95 % interval of the shift at the line's middle, relative to it, s.
    pub interval_s: Option<[f64; 2]>,
    /// What its steps show of a timer.
    pub timer: Option<Timer>,
}

/// The offset by the strap that `sides` heard, with the rate of `line`; `points` of set `index` are its
/// windows, and `clocks` is the rate that everything but the strap tells, with its standard uncertainty.
pub(super) fn of_strap(
    sides: [Option<&Signal>; 2],
    (points, index): (&[Point], usize),
    line: Line,
    clocks: (f64, f64),
    jump: Option<Jump>,
) -> OfStrap {
    // A jump moves the steps too, and says more.
    let steps = steps_along(sides, line, clocks).filter(|_| jump.is_none());
    let even = evenly(points, index, line.slope);
    let timer = steps.and_then(|(steps, _)| steps.timer);
    let of_steps = steps.map(|(steps, line)| (line, [-steps.half, steps.half]));
    let best = [of_steps, even].into_iter().flatten();
    let best = best.min_by(|x, y| half(x.1).total_cmp(&half(y.1)));
    let mut found = OfStrap {
        line: best.map_or(line, |(line, _)| line),
        interval_s: best.map(|(_, interval)| interval),
        timer,
    };
    let of_a_second =
        jump.is_some_and(|jump| (ONE_SECOND_S[0]..ONE_SECOND_S[1]).contains(&jump.by_s.abs()));
    if let Some(timer) = timer.or(of_a_second.then_some(Timer::Whole)) {
        found.interval_s = found
            .interval_s
            .map(|interval| at_least(interval, timer.half_s()));
    }
    found
}

/// The wider side of an interval about nought.
pub(super) fn half([low, high]: [f64; 2]) -> f64 {
    high.max(-low)
}

/// The interval, but `half_s` each way if that is wider.
pub(super) fn at_least([low, high]: [f64; 2], half_s: f64) -> [f64; 2] {
    [low.min(-half_s), high.max(half_s)]
}

pub(super) fn with_sampling(interval_s: [f64; 2]) -> [f64; 2] {
    interval_s.map(|edge| edge.signum() * edge.hypot(SAMPLING_S))
}

/// The line through the windows of one strap with equal weights, and its interval: a window whose few
/// steps agree by chance is sharp and says a whole number.
fn evenly(points: &[Point], index: usize, slope: f64) -> Option<(Line, [f64; 2])> {
    let even = points.iter().map(|p| Point { sd_s: EVEN_S, ..*p });
    let even: Vec<Point> = even.filter(|p| p.set == index).collect();
    let spread = spread(&even, index, slope)?;
    let line = Line {
        slope,
        ..spread.line
    };
    Some((line, with_sampling(spread.offset_s)))
}

/// The line through what the steps of one strap tell of the offset, with the rate of `line`.
fn steps_along(
    sides: [Option<&Signal>; 2],
    line: Line,
    clocks: (f64, f64),
) -> Option<(Steps, Line)> {
    let [Some(a), Some(b)] = sides else {
        return None;
    };
    let shift_s = b.start_s - a.start_s;
    let near = |i: f64| line.at(a.start_s + i) - shift_s;
    let steps = lag_of_steps(&a.values, &b.values, &near, line.slope, clocks)?;
    let line = Line {
        at_s: a.start_s + steps.at,
        offset_s: steps.lag + shift_s,
        slope: line.slope,
    };
    Some((steps, line))
}
