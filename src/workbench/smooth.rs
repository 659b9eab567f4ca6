//! Moving means for the picture, prepared where the state changes so that drawing need not run
//! through the ride. Pictures only: no figure is ever made of smoothed values.

use std::sync::Arc;

use super::state::parts::Lane;
use crate::recording::Channel;
use crate::timeline::{Aligned, Envelope, Extent, Member, Stretches};

/// A series of a lane: a stream's channel, or the difference.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Series {
    /// A channel of the stream at this place.
    Stream(usize, Channel),
    /// Under test − reference.
    Difference,
}

/// The smoothed series of the lanes shown.
#[derive(Clone, Debug)]
pub struct Smoothed {
    of: Basis,
    columns: Vec<(Series, Column)>,
}

/// What smoothed series are made of.
#[derive(Clone, Debug)]
pub(super) struct Basis {
    pub aligned: Arc<Aligned>,
    /// Over so many seconds; 1 is raw.
    pub seconds: u32,
    /// Lanes shown, as [`Lane::ALL`].
    pub lanes: [bool; Lane::ALL.len()],
    /// Difference in % of the reference.
    pub percent: bool,
    /// The source under test, and what it is compared with.
    pub compared: Option<(usize, Member)>,
}

impl Basis {
    fn is_same(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.aligned, &other.aligned)
            && (self.seconds, self.lanes) == (other.seconds, other.lanes)
            && (self.percent, self.compared) == (other.percent, other.compared)
    }
}

/// A smoothed column on the grid.
#[derive(Clone, Debug)]
pub struct Column {
    values: Vec<f64>,
    envelope: Envelope,
}

impl Column {
    /// Smallest and largest moving mean over stretches of grid rows.
    pub fn extents(&self, stretches: &Stretches) -> Vec<Option<Extent>> {
        self.envelope.extents(&self.values, stretches)
    }

    fn new(values: Vec<f64>) -> Self {
        Self {
            envelope: Envelope::new(&values),
            values,
        }
    }
}

impl Smoothed {
    /// A smoothed series of a lane that is shown.
    pub fn get(&self, series: Series) -> Option<&Column> {
        let mut all = self.columns.iter();
        all.find(|(known, _)| *known == series).map(|(_, c)| c)
    }

    /// What the picture needs, `known` where it still holds.
    pub(super) fn of(of: Basis, known: Option<Self>) -> Option<Self> {
        if of.seconds <= 1 {
            return None;
        }
        if let Some(known) = known.filter(|known| known.of.is_same(&of)) {
            return Some(known);
        }
        let shown = Lane::ALL.iter().zip(of.lanes).filter(|(_, on)| *on);
        let columns = shown
            .flat_map(|(lane, _)| match lane {
                Lane::Channel(channel) => of.channel(*channel),
                Lane::Difference => of.difference().into_iter().collect(),
            })
            .collect();
        Some(Self { of, columns })
    }
}

impl Basis {
    fn channel(&self, channel: Channel) -> Vec<(Series, Column)> {
        let half = (self.seconds / 2) as usize;
        let tracks = self.aligned.tracks.iter().enumerate();
        tracks
            .filter_map(|(index, track)| {
                let column = track.column(channel)?;
                let smoothed = Column::new(moving_mean(column, half));
                Some((Series::Stream(index, channel), smoothed))
            })
            .collect()
    }

    fn difference(&self) -> Option<(Series, Column)> {
        let half = (self.seconds / 2) as usize;
        let (under_test, basis) = self.compared?;
        let comparison = self.aligned.comparison(under_test, basis)?;
        let difference_w = comparison.difference_w();
        let smoothed = if self.percent {
            let at = |row| self.aligned.difference_percent(comparison, row);
            let rows = 0..difference_w.len();
            let percents: Vec<f64> = rows.map(|row| at(row).unwrap_or(f64::NAN)).collect();
            moving_mean(&percents, half)
        } else {
            moving_mean(difference_w, half)
        };
        Some((Series::Difference, Column::new(smoothed)))
    }
}

/// Means over `half` rows on either side of each row, of the values there are; where the middle is
/// missing, so is the mean.
fn moving_mean(values: &[f64], half: usize) -> Vec<f64> {
    let mut totals = Vec::with_capacity(values.len() + 1);
    let (mut n, mut sum) = (0usize, 0.0);
    totals.push((n, sum));
    for value in values {
        if value.is_finite() {
            (n, sum) = (n + 1, sum + value);
        }
        totals.push((n, sum));
    }
    let around = |row: usize| {
        let (before, after) = (row.saturating_sub(half), row + half + 1);
        (totals[before], totals[after.min(values.len())])
    };
    let mean = |(row, value): (usize, &f64)| {
        let ((n_before, before), (n_after, after)) = around(row);
        if value.is_finite() {
            (after - before) / (n_after - n_before) as f64
        } else {
            f64::NAN
        }
    };
    values.iter().enumerate().map(mean).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mean_takes_what_is_there_and_bridges_nothing() {
        let values = [1.0, 2.0, f64::NAN, 4.0, 9.0];
        let means = moving_mean(&values, 1);
        assert_eq!(means[..2], [1.5, 1.5]);
        assert!(means[2].is_nan());
        assert_eq!(means[3..], [6.5, 6.5]);
        assert!(moving_mean(&[], 5).is_empty());
    }
}
