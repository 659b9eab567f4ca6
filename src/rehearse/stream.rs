//! What one recorder wrote, and what a tester would tag of it.

use crate::analysis::dropout::DropoutKind;
use crate::plan::Leg;
use crate::recording::{Event, Lap, ModeSpan, Samples, SetPoint};
use crate::timeline::Clock;

/// How many seconds a tester leaves out at the start of a block at one set point, while power settles
/// (common practice: 3 to 5 s, doubled to be safe).
const SETTLING_LEFT_OUT_S: f64 = 10.0;

/// What one device's recorder wrote, and what it would have written without noise.
#[derive(Clone, Debug)]
pub struct RehearsedStream {
    /// As written: recorder time in s since 1970-01-01T00:00:00 UTC, power in whole watts, `NaN`
    /// in gaps, no rows in pauses.
    pub samples: Samples,
    /// Power without noise, rounding and dropouts, one value a row, W.
    pub ideal_w: Vec<f64>,
    /// True power at the device's site, averaged as the device averages, one value a row, W.
    pub site_w: Vec<f64>,
    /// The true clock: from recorder time to session time.
    pub clock: Clock,
    /// Laps on the recorder's clock.
    pub laps: Vec<Lap>,
    /// Timer and gear events on the recorder's clock.
    pub events: Vec<Event>,
    /// Set points on the recorder's clock.
    pub set_points: Vec<SetPoint>,
    /// Modes of the trainer on the recorder's clock, where the recorder notes them.
    pub modes: Vec<ModeSpan>,
    /// Dropout in force at each row.
    pub dropout: Vec<Option<DropoutKind>>,
    /// Share of the seconds with pedalling in which cadence is off by more than 5 rpm, %.
    pub cadence_off_percent: f64,
}

impl RehearsedStream {
    /// The mode noted at a moment of the recorder's clock; empty where none is.
    pub(super) fn mode_at(&self, stamp_s: f64) -> &str {
        let begun = self.modes.iter().rev().find(|span| span.from_s <= stamp_s);
        begun.map_or("", |span| &span.mode)
    }
}

/// The window within `leg` that a careful tester tags, true time, s; `None` where nothing is left.
pub(super) fn tagged_window(leg: &Leg) -> Option<(f64, f64)> {
    let left_out_s = if leg.kind.spec().settles {
        SETTLING_LEFT_OUT_S
    } else {
        0.0
    };
    let from_s = leg.from_s + left_out_s;
    (leg.to_s - from_s >= 5.0).then_some((from_s, leg.to_s))
}

/// `value` with `decimals` places, so that files stay readable.
pub(super) fn rounded(value: f64, decimals: i32) -> f64 {
    let scale = 10f64.powi(decimals);
    (value * scale).round() / scale
}
