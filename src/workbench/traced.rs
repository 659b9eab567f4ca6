//! The traces of the lanes as they are drawn, kept from frame to frame: where only the cursor moves, no
//! stream is run through again.

use std::sync::Arc;

use super::smooth::Series;
use super::state::parts::{Lane, Scale};
use crate::timeline::{Aligned, Extent, Member, Span};

/// A series at each dot column.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    /// Smallest and largest value.
    pub extents: Vec<Option<Extent>>,
    /// Where a column stands for many seconds, their mean.
    pub means: Option<Vec<Option<Extent>>>,
}

impl Trace {
    /// What is drawn as a line: the means, else the values themselves.
    pub fn line(&self) -> &[Option<Extent>] {
        self.means.as_ref().unwrap_or(&self.extents)
    }
}

/// What traces are made of.
#[derive(Clone, Debug)]
pub struct Basis {
    /// The ride.
    pub aligned: Arc<Aligned>,
    /// The stretch shown.
    pub shown: Span,
    /// Cells side by side.
    pub cells: u16,
    /// Moving means over so many seconds; 1 is raw.
    pub smooth_s: u32,
    /// Difference in % of the reference.
    pub percent: bool,
    /// Loss that is then taken off, %.
    pub loss_percent: f64,
    /// The source under test, and what it is compared with.
    pub compared: Option<(usize, Member)>,
}

impl PartialEq for Basis {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.aligned, &other.aligned)
            && (self.shown, self.cells, self.smooth_s) == (other.shown, other.cells, other.smooth_s)
            && (self.percent, self.loss_percent) == (other.percent, other.loss_percent)
            && self.compared == other.compared
    }
}

/// The dots of a lane, cell by cell.
#[derive(Clone, Debug, PartialEq)]
pub struct LaneDots {
    /// The lane.
    pub lane: Lane,
    /// Columns and rows of cells.
    pub size: (u16, u16),
    /// Its vertical scale.
    pub scale: Scale,
    /// What is drawn in it, in order.
    pub series: Vec<Series>,
    /// Each cell's dots and who drew there.
    pub cells: Vec<(u8, u8)>,
}

impl LaneDots {
    /// Whether these are the dots of such a lane.
    pub fn is(&self, lane: Lane, size: (u16, u16), scale: Scale, series: &[Series]) -> bool {
        (self.lane, self.size, self.scale) == (lane, size, scale) && self.series == series
    }
}

/// Traces with what they are made of.
#[derive(Clone, Debug)]
pub struct Traced {
    /// What of.
    pub of: Basis,
    /// Each.
    pub traces: Vec<(Series, Trace)>,
    /// The lanes that they make.
    pub lanes: Vec<LaneDots>,
}

impl Traced {
    /// That of a series.
    pub fn get(&self, series: Series) -> Option<&Trace> {
        let mut all = self.traces.iter();
        all.find(|(known, _)| *known == series)
            .map(|(_, trace)| trace)
    }
}
