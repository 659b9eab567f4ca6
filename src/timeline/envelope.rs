//! A pyramid of minima and maxima, so that a picture of any stretch of a column costs as much as
//! it has dots, and still shows every spike.

use std::ops::Range;

/// Samples (or nodes) under one node of the pyramid.
const FAN: usize = 16;

/// Smallest and largest value of a stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extent {
    /// Smallest value present.
    pub min: f64,
    /// Largest value present.
    pub max: f64,
}

impl Extent {
    /// The extent of nothing: joining it changes nothing.
    const EMPTY: Extent = Extent {
        min: f64::INFINITY,
        max: f64::NEG_INFINITY,
    };

    fn join(self, other: Extent) -> Extent {
        Extent {
            min: self.min.min(other.min),
            max: self.max.max(other.max),
        }
    }

    fn of(values: &[f64]) -> Extent {
        // `f64::min` and `max` pass over NaN, so missing values drop out by themselves.
        values.iter().fold(Self::EMPTY, |e, v| Extent {
            min: e.min.min(*v),
            max: e.max.max(*v),
        })
    }

    fn present(self) -> Option<Extent> {
        (self.min <= self.max).then_some(self)
    }
}

/// Minima and maxima of a column in levels of 16, 256, 4096, … values a node: about a seventh of
/// the column's own size.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Envelope {
    levels: Vec<Vec<Extent>>,
}

impl Envelope {
    /// The pyramid over `column`; `NaN` is missing.
    pub fn new(column: &[f64]) -> Self {
        let mut levels: Vec<Vec<Extent>> = Vec::new();
        if column.len() > FAN {
            levels.push(column.chunks(FAN).map(Extent::of).collect());
        }
        while let Some(last) = levels.last().filter(|level| level.len() > FAN) {
            let joined = last
                .chunks(FAN)
                .map(|nodes| nodes.iter().fold(Extent::EMPTY, |e, n| e.join(*n)))
                .collect();
            levels.push(joined);
        }
        Self { levels }
    }

    /// Extent of `column[rows]`, in time logarithmic in the length; `None` where every value is
    /// missing. `column` must be the one the pyramid was built over.
    pub fn extent(&self, column: &[f64], rows: Range<usize>) -> Option<Extent> {
        let end = rows.end.min(column.len());
        let start = rows.start.min(end);
        self.climb(column, start, end, 0).present()
    }

    /// Extent of items `start..end` of a level, level 0 being the column itself.
    fn climb(&self, column: &[f64], start: usize, end: usize, level: usize) -> Extent {
        let items = |range: Range<usize>| -> Extent {
            match level
                .checked_sub(1)
                .and_then(|below| self.levels.get(below))
            {
                None => Extent::of(&column[range]),
                Some(nodes) => nodes[range].iter().fold(Extent::EMPTY, |e, n| e.join(*n)),
            }
        };
        let (first_node, last_node) = (start.div_ceil(FAN), end / FAN);
        if first_node >= last_node || level >= self.levels.len() {
            return items(start..end);
        }
        items(start..first_node * FAN)
            .join(self.climb(column, first_node, last_node, level + 1))
            .join(items(last_node * FAN..end))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn one_spike_in_a_day_is_never_hidden() {
        let mut column = vec![200.0; 86_400];
        column[43_211] = 1500.0;
        column[60_000] = f64::NAN;
        let envelope = Envelope::new(&column);
        assert_eq!(
            envelope.extent(&column, 0..86_400),
            Some(Extent {
                min: 200.0,
                max: 1500.0
            })
        );
        assert_eq!(envelope.extent(&column, 60_000..60_001), None);
        assert_eq!(envelope.extent(&column, 90_000..95_000), None);
    }

    proptest! {
        #[test]
        fn the_pyramid_agrees_with_a_scan(
            values in prop::collection::vec(
                prop_oneof![4 => 0.0..2000.0_f64, 1 => Just(f64::NAN)], 0..1200),
            a in 0usize..1300,
            b in 0usize..1300,
        ) {
            let envelope = Envelope::new(&values);
            let rows = a.min(b)..a.max(b);
            let end = rows.end.min(values.len());
            let scanned = Extent::of(&values[rows.start.min(end)..end]).present();
            prop_assert_eq!(envelope.extent(&values, rows), scanned);
        }
    }
}
