//! How far a channel that matched can be believed.

use super::line::Line;
use super::signal::Signal;

/// One strap: at least this share of common seconds differs by no more than 1 bpm ...
const STRAP_WITHIN_1: f64 = 0.9;
/// ... and this share not at all (the recorders may take the same change a second apart).
const STRAP_EQUAL: f64 = 0.5;
/// Fewest beats a minute between lowest and highest for the equality to mean anything.
const STRAP_RANGE_BPM: f64 = 5.0;
/// Power of fast changes that smoothing must have taken away, relative to slow changes, to count.
const SMOOTHED: f64 = 0.6;
/// Spans of the fast and slow changes compared, s.
const FAST_S: usize = 2;
const SLOW_S: usize = 20;

/// Pairs of values at the same moment, at indices `i − back` and `i`.
fn changes<'a>(
    a: &'a Signal,
    b: &'a Signal,
    line: Line,
    back: usize,
) -> impl Iterator<Item = (f64, f64)> + 'a {
    (back..a.values.len()).filter_map(move |i| {
        let j = partner(a, b, line, i)?;
        let before = j.checked_sub(back)?;
        let x = a.values[i] - a.values[i - back];
        let y = b.values[j] - b.values[before];
        (!x.is_nan() && !y.is_nan()).then_some((x, y))
    })
}

/// The entry of `b` nearest to entry `i` of `a`.
fn partner(a: &Signal, b: &Signal, line: Line, i: usize) -> Option<usize> {
    let t = a.start_s + i as f64;
    let j = (t + line.at(t) - b.start_s).round();
    (j >= 0.0 && j < b.values.len() as f64).then_some(j as usize)
}

/// Whether two heart-rate signals are one strap heard twice.
pub(super) fn one_strap(a: &Signal, b: &Signal, line: Line) -> bool {
    let (mut n, mut equal, mut within_1) = (0.0, 0.0, 0.0);
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for i in 0..a.values.len() {
        let Some(j) = partner(a, b, line, i) else {
            continue;
        };
        let (x, y) = (a.values[i], b.values[j]);
        if x.is_nan() || y.is_nan() {
            continue;
        }
        n += 1.0;
        equal += f64::from((x - y).abs() < 0.5);
        within_1 += f64::from((x - y).abs() < 1.5);
        low = low.min(x);
        high = high.max(x);
    }
    high - low >= STRAP_RANGE_BPM && within_1 >= STRAP_WITHIN_1 * n && equal >= STRAP_EQUAL * n
}

/// Whether one of two signals is a smoothed version of the other: its fast changes are smaller
/// although they go along with the other's, which noise in the other would not bring about.
pub(super) fn smoothed_differently(a: &Signal, b: &Signal, line: Line) -> bool {
    let moments = |back| {
        let (mut xx, mut yy, mut xy) = (0.0, 0.0, 0.0);
        for (x, y) in changes(a, b, line, back) {
            xx += x * x;
            yy += y * y;
            xy += x * y;
        }
        (xx, yy, xy)
    };
    let (fast_a, fast_b, fast_ab) = moments(FAST_S);
    let (slow_a, slow_b, _) = moments(SLOW_S);
    if fast_a <= 0.0 || fast_b <= 0.0 || slow_a <= 0.0 || slow_b <= 0.0 {
        return true;
    }
    let ratio = (fast_b / slow_b) / (fast_a / slow_a);
    let ratio = ratio.min(1.0 / ratio);
    let coherence = fast_ab * fast_ab / (fast_a * fast_b);
    // Noise on one side alone lowers both alike; smoothing alone leaves the coherence near 1.
    ratio < SMOOTHED && coherence > ratio.sqrt()
}
