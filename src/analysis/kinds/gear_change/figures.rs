//! Figures of gear changes as plain data, and what each means.

use serde::Serialize;

use crate::analysis::figure::{Figure, OURS, TRADE};
use crate::stats::Interval;

/// Figures of a gear-change segment.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GearChange {
    /// The changes found.
    pub changes: Vec<GearShift>,
}

/// One gear change.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GearShift {
    /// When, session time, s.
    pub at_s: f64,
    /// Bias before, %.
    pub bias_before_percent: Option<f64>,
    /// Its 95 % confidence limits.
    pub bias_before_ci95_percent: Option<Interval>,
    /// Bias after, %.
    pub bias_after_percent: Option<f64>,
    /// Its 95 % confidence limits.
    pub bias_after_ci95_percent: Option<Interval>,
    /// After − before, percentage points.
    pub shift_percent: Option<f64>,
    /// Its 95 % confidence limits.
    pub shift_ci95_percent: Option<Interval>,
    /// Largest departure during the transient, W, with its sign.
    pub peak_deviation_w: Option<f64>,
    /// Time until the difference is back inside its usual band, s.
    pub recovery_s: Option<f64>,
    /// Median wheel speed before, m/s.
    pub speed_before_mps: Option<f64>,
    /// Median wheel speed after, m/s.
    pub speed_after_mps: Option<f64>,
    /// Teeth before, as "50/17", where they are known.
    pub gear_before: Option<String>,
    /// Teeth after.
    pub gear_after: Option<String>,
    /// What the chain's loss shifts a perfect source by, percentage points.
    pub chain_shift_percent: Option<f64>,
    /// The shift without that.
    pub net_shift_percent: Option<f64>,
}

impl GearShift {
    /// The shift that is not the chain's, as far as that is known, percentage points.
    pub fn blamed_percent(&self) -> Option<f64> {
        self.net_shift_percent.or(self.shift_percent)
    }
}

const SERIAL: &str = "least squares over means of 5 s; limits with the correlation of the noise learnt over the ride, as for the bias (on a short ride: averaged over every correlation of neighbouring blocks, O'Hagan 1994, Bayesian Inference, ch. 9, from memory); coverage measured by simulation";

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "segments.gear_change.changes.at_s",
        label: "change at",
        unit: "s",
        decimals: 1,
        definition: "When the gear changed, session time.",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.gear_change.changes.bias_before_percent",
        label: "bias before",
        unit: "%",
        decimals: 2,
        signed: true,
        definition: "Bias before the change, over all seconds of the level, % of the reference mean.",
        formula: "100 · (x̄ − ȳ)/ȳ",
        source: "ISO 5725-1 (trueness)",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.gear_change.changes.bias_before_ci95_percent",
        label: "bias before, 95 % CI",
        unit: "%",
        decimals: 2,
        signed: true,
        definition: "95 % confidence interval of the bias before.",
        formula: "see the bias's limits",
        source: SERIAL,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.gear_change.changes.bias_after_percent",
        label: "bias after",
        unit: "%",
        decimals: 2,
        signed: true,
        definition: "Bias after the change, over all seconds of the level but the transient (10 s, or a third of the level), % of the reference mean.",
        formula: "100 · (x̄ − ȳ)/ȳ",
        source: "ISO 5725-1 (trueness)",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.gear_change.changes.bias_after_ci95_percent",
        label: "bias after, 95 % CI",
        unit: "%",
        decimals: 2,
        signed: true,
        definition: "95 % confidence interval of the bias after.",
        formula: "see the bias's limits",
        source: SERIAL,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.gear_change.changes.shift_percent",
        label: "shift of bias",
        short: "shift",
        unit: "%",
        decimals: 2,
        signed: true,
        definition: "Bias after − bias before, percentage points: whether the wheel's speed changes the reading.",
        formula: "after − before",
        source: "ISO 5725-1 (trueness)",
        caveat: "A chain that runs straighter or more crosswise changes the drivetrain's loss as well.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.gear_change.changes.shift_ci95_percent",
        label: "shift, 95 % CI",
        unit: "%",
        decimals: 2,
        signed: true,
        definition: "95 % confidence interval of the shift.",
        formula: "difference of two levels fitted together ± t · its standard uncertainty",
        source: SERIAL,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.gear_change.changes.peak_deviation_w",
        label: "peak deviation",
        unit: "W",
        signed: true,
        definition: "Largest departure from the references while the change settles, with its sign.",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.gear_change.changes.recovery_s",
        label: "recovery",
        unit: "s",
        decimals: 1,
        definition: "Time until the difference is back inside its usual band.",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.gear_change.changes.speed_before_mps",
        label: "wheel speed before",
        unit: "m/s",
        decimals: 2,
        definition: "Median wheel speed before the change.",
        source: TRADE,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.gear_change.changes.speed_after_mps",
        label: "wheel speed after",
        unit: "m/s",
        decimals: 2,
        definition: "Median wheel speed after the change.",
        source: TRADE,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.gear_change.changes.gear_before",
        label: "gear before",
        definition: "Front and rear teeth before the change: as a recorder noted them, else the gear of [gears] with the ratio of wheel speed to cadence.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.gear_change.changes.gear_after",
        label: "gear after",
        definition: "Front and rear teeth after the change.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.gear_change.changes.chain_shift_percent",
        label: "shift by the chain",
        short: "chain",
        unit: "%",
        decimals: 2,
        signed: true,
        definition: "What the chain's loss shifts a perfect source by at this change, percentage points, where sprockets and loss are stated.",
        formula: "−(λ after − λ before), λ = λ₀ (1/N_f + 1/N_r)/(1/50 + 1/17), λ₀ the stated loss",
        source: "Lodge & Burgess 2002 (a chain loses less on larger sprockets; the proportionality is a model)",
        caveat: "A model: in the answer to the question of gears its whole size counts as a half-width.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.gear_change.changes.net_shift_percent",
        label: "shift without the chain's",
        short: "net shift",
        unit: "%",
        decimals: 2,
        signed: true,
        definition: "Shift of bias less what the chain shifts a perfect source by.",
        formula: "shift − shift by the chain",
        source: OURS,
        ..Figure::PLAIN
    },
];
