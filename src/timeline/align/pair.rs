//! The clock shift between two recorders from one channel that both recorded.
//!
//! 1. Masked correlation of the two edge series at every lag; candidates are the peaks with the
//!    greatest likelihood gain `−½ n_eff ln(1 − r²)`, which weighs height and overlap together.
//! 2. The ride is cut into windows. Around each candidate, each window gives its own offset and
//!    its own likelihood gain. A candidate that is right wins in window after window; one that is
//!    a repeat off wins by chance. So the gain over the best rival is judged by its scatter from
//!    window to window.
//! 3. A robust line through the windows' offsets gives shift and rate. Where it is steep, the windows
//!    are taken again along it.
//! 4. Windows that do not match along the line show a jump of a clock (see `jump.rs`).

use super::gain::{Gain, MIN_PAIRS, MOST_RATE, RIVAL_GAIN};
use super::jump::{Jump, Lined, Rest, among, unexplained};
use super::line::{Line, Point, line_with_slope, spread, theil_sen};
use super::refine::refined;
use super::signal::Signal;
use super::windows::{Curve, WindowOffset, offsets_near, windows_over};
use crate::timeline::delay::{Correlation, Correlator, Peak, Spectra};

/// Candidates looked at more closely.
const CANDIDATES: usize = 4;
/// Windows aimed for in the overlap, and the bounds of their length, s.
const WINDOWS: usize = 60;
const WINDOW_S: (usize, usize) = (60, 600);
const SHORT_RIDE_WINDOW_S: usize = 30;
/// Rates that two recorders on quartz may differ by, each way: they are within some 100 ppm.
pub(super) const QUARTZ_RATE: f64 = 2.5e-4;
/// A rate beyond quartz is gone after where it is this many standard errors, over the windows.
const STEEP_Z: f64 = 5.0;
/// How often the windows are taken again along a steep line, and the change of rate that ends it.
const STEEP_PASSES: usize = 6;
const SETTLED_RATE: f64 = 1e-5;
/// A peak with less than this share of the best one's likelihood gain is no rival.
const RIVAL_SHARE: f64 = 0.25;
/// A rival is beaten where the mean gain over it is this many standard errors, over the windows.
const RIVAL_T: f64 = 4.0;
/// A signal and its transforms, which are missing where it holds too little.
pub(super) type Transformed<'a> = (&'a Signal, Option<&'a Spectra>);

/// A rival this near to where a clock jumps to is the jump, s.
const NEAR_JUMP_S: f64 = 5.0;
/// How far from a first line a window's offset may be, s.
const NEAR_LINE_S: f64 = 1.5;
/// Samples to each side of the filter that shapes one power like another, and how often the line
/// is improved with it.
const SHAPE_TAPS: usize = 8;
const SHAPED_PASSES: usize = 2;

/// Why two signals give no shift.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum NoMatch {
    /// Too few samples that could meet at any lag.
    TooShort,
    /// One of the two does not vary.
    Constant,
    /// No lag stands out.
    NothingInCommon { best_r: f64 },
}

/// Another lag at which the two match nearly as well.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Rival {
    /// The recorders' shift at that lag, s.
    pub shift_s: f64,
    /// Pearson's r there.
    pub r: f64,
}

/// The shift between two recorders: what to add to the first one's time to get the second one's.
#[derive(Clone, Debug)]
pub(super) struct PairEstimate {
    /// Shift against the first recorder's time.
    pub line: Line,
    /// The windows it was found from.
    pub points: Vec<Point>,
    /// Pearson's r of the edges at the best lag.
    pub r: f64,
    /// Pairs of samples at the best lag.
    pub pairs: u32,
    /// The best rival, where it could not be ruled out.
    pub rival: Option<Rival>,
    /// Windows for the rate alone, measured with the quicker side shaped like the other: see [`shaped`].
    pub rate_points: Option<Vec<Point>>,
    /// Where one of the clocks jumps; the line is that of the greater part.
    pub jump: Option<Jump>,
}

struct Candidate {
    peak: Peak,
    curves: Vec<Option<Curve>>,
    gains: Vec<f64>,
}

/// Estimates the shift. `near_s`, where given, is the shift at which ambiguous candidates are
/// preferred: another channel's, or that of the recorders' own clocks.
pub(super) fn estimate(
    correlator: &mut Correlator,
    scratch: &mut Correlation,
    (a, spectra_a): Transformed,
    (b, spectra_b): Transformed,
    near_s: Option<f64>,
) -> Result<PairEstimate, NoMatch> {
    if !a.varies() || !b.varies() {
        return Err(NoMatch::Constant);
    }
    let (Some(sa), Some(sb)) = (spectra_a, spectra_b) else {
        return Err(NoMatch::TooShort);
    };
    let lags = Correlator::all_lags(sa, sb);
    correlator.correlate(sa, sb, lags, MIN_PAIRS, scratch);
    let independent_s = (a.edges.independent_s() * b.edges.independent_s()).sqrt();
    let gains = Gain { independent_s };
    let gain = |r: f64, pairs: f64| gains.of(r, pairs);
    let shorter = a.values.len().min(b.values.len());
    let reach = reach(shorter);
    let apart = (2 * reach + 1).max(10) as usize;
    let needed = gains.needed(scratch.r.len());
    let peaks = scratch.peaks(CANDIDATES, apart, |r, pairs| {
        let pairs = f64::from(pairs);
        // A gain is at most this, which is quicker than a logarithm at thousands of peaks.
        let at_most = 0.5 * pairs / independent_s * r * r / (1.0 - r * r).max(1e-4);
        if at_most < needed {
            return 0.0;
        }
        let gain = gain(r, pairs);
        if gain < needed { 0.0 } else { gain }
    });
    let Some(best) = peaks.first() else {
        let defined = scratch
            .r
            .iter()
            .zip(&scratch.pairs)
            .filter(|(r, _)| !r.is_nan());
        let weight = |(r, pairs): &(&f64, &u32)| r.max(0.0).powi(2) * f64::from(**pairs);
        let best = defined.max_by(|x, y| weight(x).total_cmp(&weight(y)));
        return Err(
            best.map_or(NoMatch::TooShort, |(r, _)| NoMatch::NothingInCommon {
                best_r: *r,
            }),
        );
    };
    let width = window_len(best.pairs as usize);
    let contending = RIVAL_SHARE * gain(best.r, f64::from(best.pairs));
    let mut candidates: Vec<Candidate> = peaks
        .into_iter()
        .filter(|peak| gain(peak.r, f64::from(peak.pairs)) >= contending)
        .map(|peak| Candidate::new(a, b, peak, reach, width, gain))
        .collect();
    candidates.sort_by(|x, y| y.total_gain().total_cmp(&x.total_gain()));
    let shift_at = |lag: f64| b.start_s - a.start_s + lag;
    let mut rivals: Vec<usize> = (1..candidates.len())
        .filter(|&i| !beats(&candidates[0], &candidates[i]))
        .collect();
    let mut chosen = 0;
    if let (Some(near_s), false) = (near_s, rivals.is_empty()) {
        let distance = |i: usize| (shift_at(candidates[i].peak.lag) - near_s).abs();
        rivals.push(0);
        rivals.sort_by(|&i, &j| distance(i).total_cmp(&distance(j)));
        chosen = rivals.remove(0);
        rivals.sort_unstable();
    }
    let mut rival = rivals.first().map(|&i| Rival {
        shift_s: shift_at(candidates[i].peak.lag),
        r: candidates[i].peak.r,
    });
    let chosen = candidates.swap_remove(chosen);
    let nothing = NoMatch::NothingInCommon {
        best_r: chosen.peak.r,
    };
    let shape = Windowing {
        width,
        reach,
        independent_s,
    };
    let start = points(a, &chosen.curves, &|_| 0.0, f64::INFINITY, independent_s);
    let start = robust_line(&start).ok_or(nothing)?;
    let mut track = Track::along(start, chosen.curves, a, b, shape);
    let jump = match unexplained(
        correlator,
        scratch,
        &track.lined(a, b, width, &gains),
        spectra_b,
        &track.curves,
    ) {
        Some(Rest::Jump(found)) => Some(found),
        Some(Rest::Steeper(line)) => {
            track = Track::along(line, shape.curves(a, b, line), a, b, shape);
            track.small_jump(a, shape)
        }
        None => track.small_jump(a, shape),
    };
    let (line, points) = fit(&track, a, b, shape);
    if let (Some(jump), Some(other)) = (jump, rival) {
        // The lag after the jump is no rival of that before it.
        let from_line_s = (other.shift_s - line.offset_s).abs();
        rival = rival.filter(|_| (from_line_s - jump.by_s.abs()).abs() > NEAR_JUMP_S);
    }
    Ok(PairEstimate {
        line,
        points,
        r: chosen.peak.r,
        pairs: chosen.peak.pairs,
        rival,
        rate_points: None,
        jump,
    })
}

/// The windows' offsets once more, with the quicker of the two signals shaped like the other: what
/// tells the rate where devices differ (see `refine.rs`).
pub(super) fn shaped(a: &Signal, b: &Signal, line: Line) -> Option<Vec<Point>> {
    let width = window_len(a.values.len().min(b.values.len()));
    let mut line = line;
    let mut points = Vec::new();
    for _ in 0..SHAPED_PASSES {
        points = shaped_around(a, b, line, width);
        line = robust_line(&points)?;
    }
    Some(points)
}

fn shaped_around(a: &Signal, b: &Signal, line: Line, width: usize) -> Vec<Point> {
    let shift_s = b.start_s - a.start_s;
    let mut points: Vec<Point> = if a.fine.roughness() <= b.fine.roughness() {
        let lag_of = |i: f64| line.at(a.start_s + i) - shift_s;
        let found = refined(&a.fine, &b.fine, width, SHAPE_TAPS, &lag_of);
        found.into_iter().map(|window| point(a, window)).collect()
    } else {
        let back = |j: f64| line.inverse(b.start_s + j) - a.start_s - j;
        let found = refined(&b.fine, &a.fine, width, SHAPE_TAPS, &back);
        let turned = found.into_iter().map(|window| WindowOffset {
            at: window.at + window.lag,
            lag: -window.lag,
            ..window
        });
        turned.map(|window| point(a, window)).collect()
    };
    for point in &mut points {
        point.offset_s += shift_s;
    }
    points
}

/// How far the lag may wander from the whole ride's in one window, samples.
fn reach(shorter: usize) -> i64 {
    3 + (shorter as f64 * QUARTZ_RATE).ceil() as i64
}

fn window_len(pairs: usize) -> usize {
    let len = (pairs / WINDOWS).clamp(WINDOW_S.0, WINDOW_S.1);
    if pairs < 20 * WINDOW_S.0 {
        SHORT_RIDE_WINDOW_S
    } else {
        len
    }
}

impl Candidate {
    fn new(
        a: &Signal,
        b: &Signal,
        peak: Peak,
        reach: i64,
        width: usize,
        gain: impl Fn(f64, f64) -> f64,
    ) -> Self {
        let lag = peak.lag.round() as i64;
        let curves = windows_over(&a.edges.masked, &b.edges.masked, width, reach, &|_| lag);
        let gains = curves
            .iter()
            .map(|curve| {
                curve.as_ref().map_or(0.0, |curve| {
                    let (r, pairs) = curve.best();
                    gain(r, f64::from(pairs))
                })
            })
            .collect();
        Self {
            peak,
            curves,
            gains,
        }
    }

    fn total_gain(&self) -> f64 {
        self.gains.iter().sum()
    }
}

/// Whether `best` explains the data better than `rival` beyond the scatter over the windows.
fn beats(best: &Candidate, rival: &Candidate) -> bool {
    let differences: Vec<f64> = best
        .gains
        .iter()
        .zip(&rival.gains)
        .filter(|(x, y)| **x > 0.0 || **y > 0.0)
        .map(|(x, y)| x - y)
        .collect();
    let n = differences.len() as f64;
    let total: f64 = differences.iter().sum();
    if n < 3.0 || total < RIVAL_GAIN {
        return false;
    }
    let mean = total / n;
    let variance = differences.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / (n - 1.0);
    mean >= RIVAL_T * (variance / n).sqrt()
}

/// How a ride is cut into windows.
#[derive(Clone, Copy)]
struct Windowing {
    width: usize,
    reach: i64,
    independent_s: f64,
}

impl Windowing {
    /// The windows along a line of lags by the first recorder's time.
    fn curves(&self, a: &Signal, b: &Signal, line: Line) -> Vec<Option<Curve>> {
        let (x, y) = (&a.edges.masked, &b.edges.masked);
        windows_over(x, y, self.width, self.reach, &|i| {
            line.at(a.start_s + i).round() as i64
        })
    }
}

/// A first line of lags by the first recorder's time, and the windows around it.
struct Track {
    line: Line,
    curves: Vec<Option<Curve>>,
}

impl Track {
    fn lined<'a>(&self, a: &'a Signal, b: &'a Signal, width: usize, gain: &'a Gain) -> Lined<'a> {
        Lined {
            a,
            b,
            line: self.line,
            width,
            gain,
        }
    }

    /// A jump within the reach of the windows.
    fn small_jump(&self, a: &Signal, shape: Windowing) -> Option<Jump> {
        let near = |i: f64| self.line.at(a.start_s + i);
        let reach = shape.reach as f64;
        among(&points(a, &self.curves, &near, reach, shape.independent_s))
    }

    /// Follows a steep line: the windows of a search look around one lag, and towards the ends of the
    /// ride such a line leaves them.
    fn along(
        start: Line,
        curves: Vec<Option<Curve>>,
        a: &Signal,
        b: &Signal,
        shape: Windowing,
    ) -> Self {
        let mut track = Self {
            line: start,
            curves,
        };
        for _ in 0..STEEP_PASSES {
            if track.line.slope.abs() <= QUARTZ_RATE {
                break;
            }
            let curves = shape.curves(a, b, track.line);
            let near = |i: f64| track.line.at(a.start_s + i);
            let found = points(a, &curves, &near, f64::INFINITY, shape.independent_s);
            let Some(line) = robust_line(&found) else {
                break;
            };
            let settled = (line.slope - track.line.slope).abs() <= SETTLED_RATE;
            track = Self { line, curves };
            if settled {
                break;
            }
        }
        track
    }
}

/// The robust line through the windows' offsets, on the first recorder's time, and the windows.
///
/// The windows of the search give a first line; along it, offsets of averaged channels are measured
/// again on the fine band, and the band that tells more is kept. Channels that are sampled rather
/// than averaged stay on the coarse one: what they do between samples folds into the fine band and
/// moves its peak by some hundredths of a second, back and forth as skew sweeps the phase.
fn fit(track: &Track, a: &Signal, b: &Signal, shape: Windowing) -> (Line, Vec<Point>) {
    let near = |i: f64| track.line.at(a.start_s + i);
    // Windows that fell for a peak of their own noise get a second chance near the line.
    let mut points = points(a, &track.curves, &near, NEAR_LINE_S, shape.independent_s);
    if a.averaged && b.averaged {
        let fine = refined(&a.fine, &b.fine, shape.width, 0, &near);
        let fine: Vec<Point> = fine.into_iter().map(|window| point(a, window)).collect();
        if information(&fine) > information(&points) {
            points = fine;
        }
    }
    let mut line = robust_line(&points).unwrap_or(track.line);
    let shift_s = b.start_s - a.start_s;
    line.offset_s += shift_s;
    for point in &mut points {
        point.offset_s += shift_s;
    }
    (line, points)
}

fn points(
    a: &Signal,
    curves: &[Option<Curve>],
    near: &dyn Fn(f64) -> f64,
    within: f64,
    independent_s: f64,
) -> Vec<Point> {
    offsets_near(curves, near, within, independent_s)
        .into_iter()
        .map(|window| point(a, window))
        .collect()
}

fn point(a: &Signal, window: WindowOffset) -> Point {
    Point {
        at_s: a.start_s + window.at,
        offset_s: window.lag,
        sd_s: window.sd,
        set: 0,
    }
}

/// What the windows together tell of one offset, 1/s².
fn information(points: &[Point]) -> f64 {
    points.iter().map(|p| 1.0 / (p.sd_s * p.sd_s)).sum()
}

/// Theil–Sen where there are enough windows for a slope that could be believed, else level.
fn robust_line(points: &[Point]) -> Option<Line> {
    let slope = theil_sen(points)
        .filter(|slope| points.len() >= 6 && believable(points, *slope))
        .unwrap_or(0.0);
    line_with_slope(points, 0, slope)
}

/// Whether a slope is a clock's, or else steeper beyond doubt.
fn believable(points: &[Point], slope: f64) -> bool {
    let sure =
        || spread(points, 0, slope).is_some_and(|spread| slope.abs() > STEEP_Z * spread.slope_se);
    slope.abs() <= QUARTZ_RATE || (slope.abs() <= MOST_RATE && sure())
}
