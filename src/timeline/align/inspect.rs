//! What a person looks at to judge a clock: correlation against lag, and what is left of the
//! offset along the ride.

use super::Source;
use super::signal::Signal;
use super::windows::{offsets_near, windows_over};
use crate::recording::Channel;
use crate::timeline::delay::{Correlation, Correlator};

/// Peaks told, best first.
const PEAKS: usize = 5;
/// Peaks are at least this far apart, s.
const APART_S: usize = 10;
/// Fewest common seconds at which a lag is shown.
const MIN_PAIRS: u32 = 60;
/// Windows along the ride: how many are aimed at, and their shortest length, s.
const WINDOWS: usize = 60;
const SHORTEST_WINDOW_S: usize = 60;
/// How far from the present clocks an offset is looked for, s.
const REACH_S: i64 = 12;

/// Correlation of two streams on one channel against how late the second one is.
#[derive(Clone, Debug, PartialEq)]
pub struct LagCurve {
    /// How late the second stream's clock is against the first's at entry 0, s, with the clocks
    /// as they are now; the others follow by 1 s each. Taking this from the second stream's offset
    /// brings that lag to the middle.
    pub first_late_s: f64,
    /// Pearson's r after slow trends are removed; `NaN` where too little is in common.
    pub r: Vec<f64>,
    /// Seconds in common.
    pub pairs: Vec<u32>,
    /// The highest peaks by height and overlap together, best first.
    pub peaks: Vec<LagPeak>,
}

/// A peak of a [`LagCurve`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LagPeak {
    /// How late the second stream is, s.
    pub late_s: f64,
    /// Pearson's r.
    pub r: f64,
    /// Seconds in common.
    pub pairs: u32,
}

/// What is left of the offset at one place of the ride.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Residual {
    /// Session time by the first stream's clock, s.
    pub at_s: f64,
    /// How late the second stream is there, s.
    pub late_s: f64,
    /// Standard uncertainty, s.
    pub sd_s: f64,
}

/// Correlation of `b` with `a` on `channel` at every lag. `None` where either lacks the channel or
/// holds too little of it.
pub fn lag_curve(a: &Source, b: &Source, channel: Channel) -> Option<LagCurve> {
    let (x, y) = signals(a, b, channel)?;
    let (longer, shorter) = (
        x.values.len().max(y.values.len()),
        x.values.len().min(y.values.len()),
    );
    let mut correlator = Correlator::for_all_lags(longer, shorter);
    let (sx, sy) = (x.transform(&mut correlator)?, y.transform(&mut correlator)?);
    let mut found = Correlation::default();
    let lags = Correlator::all_lags(&sx, &sy);
    correlator.correlate(&sx, &sy, lags, MIN_PAIRS, &mut found);
    let late_s = |lag: f64| b.clock.to_session(y.start_s + lag) - a.clock.to_session(x.start_s);
    let gain = |r: f64, pairs: u32| -f64::from(pairs) * (1.0 - r * r).max(1e-4).ln();
    let peaks = found
        .peaks(PEAKS, APART_S, gain)
        .into_iter()
        .map(|peak| LagPeak {
            late_s: late_s(peak.lag),
            r: peak.r,
            pairs: peak.pairs,
        })
        .collect();
    Some(LagCurve {
        first_late_s: late_s(found.first_lag as f64),
        r: found.r,
        pairs: found.pairs,
        peaks,
    })
}

/// What is left of the offset of `b` against `a` on `channel`, window by window, with the clocks
/// as they are now: a level row of points is a right offset and rate, a slope is skew.
pub fn residuals(a: &Source, b: &Source, channel: Channel) -> Vec<Residual> {
    let Some((x, y)) = signals(a, b, channel) else {
        return Vec::new();
    };
    let lag_now = |i: f64| {
        let session_s = a.clock.to_session(x.start_s + i);
        b.clock.to_recorder(session_s) - y.start_s - i
    };
    let width = (x.values.len() / WINDOWS).max(SHORTEST_WINDOW_S);
    let curves = windows_over(&x.edges.masked, &y.edges.masked, width, REACH_S, &|i| {
        lag_now(i).round() as i64
    });
    offsets_near(
        &curves,
        &lag_now,
        REACH_S as f64 - 1.0,
        x.edges.independent_s(),
    )
    .into_iter()
    .map(|window| Residual {
        at_s: a.clock.to_session(x.start_s + window.at),
        late_s: window.lag - lag_now(window.at),
        sd_s: window.sd,
    })
    .collect()
}

fn signals(a: &Source, b: &Source, channel: Channel) -> Option<(Signal, Signal)> {
    Some((
        Signal::new(a.samples, channel, a.sampling)?,
        Signal::new(b.samples, channel, b.sampling)?,
    ))
}
