//! Every stream onto one time line, with what is known of the error.
//!
//! Streams in one recording share a clock, so clocks are found for recordings, not streams. Each
//! pair of recordings is compared on every channel that both carry. Which channel is believed is
//! a matter of honesty, not of correlation: one heart-rate strap heard by two recorders has no
//! device in between that could be late; cadence has little; power has exactly the lag that the
//! test is after. Recordings are then joined, most trustworthy pairs first, and references with
//! each other before the source under test, whose power is only used where nothing else is left.
//!
//! The rate is taken from all channels that show the same match, each with a shift of its own:
//! what is constant in a device's delay does not touch the slope. A delay that itself drifts, with
//! warmth or gear, would; it cannot be told from skew by power alone.
//!
//! # How well a rate can be known
//!
//! A rate is a slope: its standard error falls with the length of the ride to the power of about
//! 3/2. On rehearsed rides the Cramér–Rao bound, for an observer who is told the shape of every
//! channel, is some 16 ppm (root mean square) in half an hour, 3 ppm in an hour, 1 ppm in two and
//! 0.2 ppm in six. So 8 ppm in 99 of 100 rides of half an hour is beyond any estimator, and an
//! hour is the border. This estimator, which has to learn the shapes, is off by some 50, 13, 3.5
//! and 0.6 ppm there (24 rides a length, seeds 9201 to 9224 and 10001 to 10024) and keeps within
//! 8 ppm in 1 of 5, 4 of 7, 19 of 20 and all of the streams. `cargo run --profile quick --example
//! clocks` prints the errors by length beside the bound. A rate error of 50 ppm about the middle of
//! half an hour moves either end by 0.05 s.
//!
//! A rate that is not significant is none; a significant one is drawn towards none as far as its
//! uncertainty allows, since quartz clocks are known to differ little.

mod gain;
mod inspect;
mod joint;
mod judge;
mod jump;
mod line;
mod pair;
mod places;
mod refine;
mod response;
mod session;
mod signal;
mod steps;
mod strap;
mod timer;
mod words;

mod trust;
mod windows;

use serde::Serialize;

use super::Clock;
use crate::recording::{Channel, Samples, Sampling};
use crate::session::{MatchedOn, Role, Site};

pub use inspect::{LagCurve, LagPeak, Residual, lag_curve, residuals};
pub use joint::align;
pub use places::{ClockOddity, ClockPlace, clock_places};
pub use session::{align_session, sources_of};

/// A stream to be aligned.
#[derive(Clone, Copy, Debug)]
pub struct Source<'a> {
    /// The stream's name.
    pub label: &'a str,
    /// Which recording it came from: streams with the same number share a clock.
    pub recording: usize,
    /// What the stream is for.
    pub role: Role,
    /// Where it measures power.
    pub site: Option<Site>,
    /// Its samples, on the recorder's clock.
    pub samples: &'a Samples,
    /// How the recorder spaced them.
    pub sampling: Sampling,
    /// Whether the recorder's time is that of day rather than counted from its own start.
    pub absolute: bool,
    /// The clock as the session has it now.
    pub clock: Clock,
    /// Whether that clock was set by hand.
    pub given: bool,
}

/// How to align.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Options {
    /// Use this channel only.
    pub on: Option<Channel>,
    /// Estimate clocks that were set by hand too.
    pub again: bool,
}

/// A stream's clock as estimated. Field names are those of `truing align --format json`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StreamClock {
    /// The stream's name.
    pub label: String,
    /// Shift against session time, s.
    pub offset_s: f64,
    /// Rate error against session time, parts per million; 0 where it is not significant.
    pub skew_ppm: f64,
    /// 95 % interval of `offset_s`, which holds at the clock's zero: the parts of
    /// `mid_ride_ci95_s`, of the rate's error from mid-ride to there, and of `allowance_s`, in
    /// quadrature. It does not know of delays that a channel itself has beyond the allowance.
    pub offset_ci95_s: Option<[f64; 2]>,
    /// Half-width allowed for what no column shows, s: recorders late by a constant with what they
    /// hear of one heart-rate strap; 0 for other channels.
    pub allowance_s: f64,
    /// 95 % interval of the clock's error at mid-ride, relative to it and without the allowance, s.
    /// One strap: from its steps (`steps.rs`); else from resampling the windows (percentile
    /// bootstrap), with 0.06 s added in quadrature for what whole-second samples do not tell.
    pub mid_ride_ci95_s: Option<[f64; 2]>,
    /// 95 % interval of the rate, parts per million, also where none shows.
    pub skew_ci95_ppm: Option<[f64; 2]>,
    /// What fixed the clock.
    pub matched_on: MatchedOn,
    /// Pearson's r at the best lag, after slow trends are removed.
    pub peak_correlation: Option<f64>,
    /// Whether the offset can be relied on.
    pub confident: bool,
    /// Why, as a sentence.
    pub reason: String,
    /// Whether anything was estimated: where not, offset and skew are as the session had them.
    #[serde(skip)]
    pub estimated: bool,
}

impl StreamClock {
    /// Why the offset cannot be relied on; `None` where it can.
    pub fn doubt(&self) -> Option<String> {
        (!self.confident).then(|| self.reason.clone())
    }
}

/// How late the power of a stream under test is against a reference's, beyond the clocks.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ResponseLag {
    /// The stream under test.
    pub label: String,
    /// The reference.
    pub reference: String,
    /// Delay of its power, s, positive where it is late: the peak of the correlation of power in
    /// windows, median over the windows. A first-order lag shows as less than its time constant.
    pub delay_s: Option<f64>,
    /// 95 % interval of the delay, from resampling the windows.
    pub delay_ci95_s: Option<[f64; 2]>,
    /// Whether the clocks were fixed by something that has no device lag.
    pub separable: bool,
    /// What the figure means.
    pub note: String,
}

/// What [`align`] found.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Alignment {
    /// One entry a source, in the order given.
    pub streams: Vec<StreamClock>,
    /// One entry a stream under test and reference.
    pub response_lags: Vec<ResponseLag>,
}

#[cfg(test)]
mod tests;
