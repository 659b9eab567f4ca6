//! What a ride says without the tester.

use crate::analysis::ride::{
    gear_changes_s, grade_percent, noted, reference_cadence, set_points, wheel_speed,
};
use crate::session::Role;
use crate::timeline::{Aligned, Grid, Member, Span};

/// What suggestions are made from. Columns cover the rows of `grid`; NaN is missing.
#[derive(Clone, Debug)]
pub struct Evidence {
    /// The rows.
    pub grid: Grid,
    /// Power of the references: their consensus, the mean of those present where they differ, or
    /// the source under test where there is no reference.
    pub power: Vec<f64>,
    /// Cadence of the references, rpm.
    pub cadence: Option<Vec<f64>>,
    /// Wheel speed, m/s.
    pub speed: Option<Vec<f64>>,
    /// Grade asked for, %.
    pub grade: Option<Vec<f64>>,
    /// Laps, session time.
    pub laps: Vec<Span>,
    /// Workout steps with the power they asked for, W.
    pub set_points: Vec<(Span, f64)>,
    /// Gear events, session time, in order.
    pub gear_changes_s: Vec<f64>,
}

impl Evidence {
    /// Power alone, over the rows of `grid`.
    pub fn bare(grid: Grid, power: Vec<f64>) -> Self {
        Self {
            grid,
            power,
            cadence: None,
            speed: None,
            grade: None,
            laps: Vec::new(),
            set_points: Vec::new(),
            gear_changes_s: Vec::new(),
        }
    }

    /// Gathers the evidence of an aligned ride. Laps, workout steps and gear events come from the
    /// recorder that wrote most of each: several may have noted the same.
    pub fn of(aligned: &Aligned) -> Self {
        Self {
            grid: aligned.grid,
            power: power(aligned),
            cadence: reference_cadence(aligned),
            speed: wheel_speed(aligned).map(|(_, column)| column.to_vec()),
            grade: grade_percent(aligned).map(|(_, column)| column.to_vec()),
            laps: noted(aligned, |recording, clock| {
                let laps = recording.laps.iter();
                laps.map(|lap| Span::new(clock.to_session(lap.from_s), clock.to_session(lap.to_s)))
                    .collect()
            }),
            set_points: set_points(aligned),
            gear_changes_s: gear_changes_s(aligned),
        }
    }
}

fn power(aligned: &Aligned) -> Vec<f64> {
    let with = |role| -> Vec<&[f64]> {
        aligned
            .powered(role)
            .filter_map(|index| aligned.power(Member::Stream(index)))
            .collect()
    };
    let mut columns = with(Role::Reference);
    if columns.is_empty() {
        columns = with(Role::UnderTest);
    }
    let consensus = aligned.power(Member::Consensus);
    (0..aligned.grid.len)
        .map(|row| {
            let agreed = consensus.and_then(|column| column.get(row).copied());
            agreed.filter(|v| v.is_finite()).unwrap_or_else(|| {
                let values = columns.iter().filter_map(|column| column.get(row));
                let (sum, count) = values
                    .filter(|v| v.is_finite())
                    .fold((0.0, 0.0), |(sum, count), v| (sum + v, count + 1.0));
                sum / count
            })
        })
        .collect()
}
