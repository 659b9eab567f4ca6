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

    /// The extent of both.
    pub fn join(self, other: Extent) -> Extent {
        Extent {
            min: if other.min < self.min {
                other.min
            } else {
                self.min
            },
            max: if other.max > self.max {
                other.max
            } else {
                self.max
            },
        }
    }

    /// The extent of some values; `NaN` is missing.
    fn of(values: impl Iterator<Item = f64>) -> Extent {
        // NaN is neither less nor greater, so missing values drop out by themselves.
        values.fold(Self::EMPTY, |e, v| e.join(Extent { min: v, max: v }))
    }

    /// The same of values at hand, four at a time: comparisons that wait for one another cost most.
    fn of_slice(values: &[f64]) -> Extent {
        let (fours, rest) = values.as_chunks::<4>();
        let mut lanes = [Self::EMPTY; 4];
        for four in fours {
            for (lane, v) in lanes.iter_mut().zip(four) {
                *lane = lane.join(Extent { min: *v, max: *v });
            }
        }
        let rest = Self::of(rest.iter().copied());
        lanes.into_iter().fold(rest, Extent::join)
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
        Self::of(column.len(), |row| column[row])
    }

    /// The pyramid over `len` values that are found anew each time they are wanted, so that they
    /// need not be kept.
    pub fn of(len: usize, value: impl Fn(usize) -> f64) -> Self {
        let mut levels: Vec<Vec<Extent>> = Vec::new();
        if len > FAN {
            let nodes = (0..len).step_by(FAN);
            let node = |start: usize| Extent::of((start..len.min(start + FAN)).map(&value));
            levels.push(nodes.map(node).collect());
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
        let leaves = |rows: Range<usize>| Extent::of_slice(&column[rows]);
        self.within(column.len(), &leaves, rows)
    }

    /// Extents of the neighbouring stretches of a picture.
    pub fn extents(&self, column: &[f64], stretches: &Stretches) -> Vec<Option<Extent>> {
        let stretches = stretches.0.iter();
        stretches
            .map(|rows| match self.few_nodes(rows) {
                Some(nodes) => nodes
                    .iter()
                    .fold(Extent::EMPTY, |e, n| e.join(*n))
                    .present(),
                None => self.extent(column, rows.clone()),
            })
            .collect()
    }

    /// The lowest nodes that are just these rows, where they are but a few.
    fn few_nodes(&self, rows: &Range<usize>) -> Option<&[Extent]> {
        let whole = rows.start.is_multiple_of(FAN) && rows.end.is_multiple_of(FAN);
        let nodes = rows.start / FAN..rows.end / FAN;
        (whole && !nodes.is_empty() && nodes.len() < 2 * FAN)
            .then(|| self.levels.first()?.get(nodes))
            .flatten()
    }

    /// The same for values that are found anew; `len` and `value` as the pyramid was built over.
    pub fn extent_of(
        &self,
        len: usize,
        value: impl Fn(usize) -> f64,
        rows: Range<usize>,
    ) -> Option<Extent> {
        self.within(
            len,
            &|rows: Range<usize>| Extent::of(rows.map(&value)),
            rows,
        )
    }

    fn within(
        &self,
        len: usize,
        leaves: &impl Fn(Range<usize>) -> Extent,
        rows: Range<usize>,
    ) -> Option<Extent> {
        let end = rows.end.min(len);
        let start = rows.start.min(end);
        self.climb(leaves, start, end, 0).present()
    }

    /// Extent of items `start..end` of a level, level 0 being the values themselves.
    fn climb(
        &self,
        leaves: &impl Fn(Range<usize>) -> Extent,
        start: usize,
        end: usize,
        level: usize,
    ) -> Extent {
        let items = |range: Range<usize>| -> Extent {
            match level
                .checked_sub(1)
                .and_then(|below| self.levels.get(below))
            {
                None => leaves(range),
                Some(nodes) => nodes[range].iter().fold(Extent::EMPTY, |e, n| e.join(*n)),
            }
        };
        let (first_node, last_node) = (start.div_ceil(FAN), end / FAN);
        if first_node >= last_node || level >= self.levels.len() {
            return items(start..end);
        }
        items(start..first_node * FAN)
            .join(self.climb(leaves, first_node, last_node, level + 1))
            .join(items(last_node * FAN..end))
    }
}

/// Neighbouring stretches of rows: the columns of a picture. Where two that touch hold 48 rows or
/// more each, the edge between them is moved to the nearest multiple of 16, so that only nodes of a
/// pyramid are read: every value stays in the picture, at most a sixth of its column's width from
/// its place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stretches(Vec<Range<usize>>);

impl FromIterator<Range<usize>> for Stretches {
    fn from_iter<I: IntoIterator<Item = Range<usize>>>(rows: I) -> Self {
        let mut stretches: Vec<_> = rows.into_iter().collect();
        for index in 1..stretches.len() {
            let (left, right) = (&stretches[index - 1], &stretches[index]);
            let are_long = left.len().min(right.len()) >= 3 * FAN;
            if are_long && left.end == right.start {
                let edge = (left.end + FAN / 2) / FAN * FAN;
                stretches[index - 1].end = edge;
                stretches[index].start = edge;
            }
        }
        Self(stretches)
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
        fn moving_the_edges_of_a_picture_loses_no_row(
            edges in prop::collection::btree_set(0usize..3000, 2..60),
        ) {
            let edges: Vec<usize> = edges.into_iter().collect();
            let stretches: Vec<_> = edges.windows(2).map(|pair| pair[0]..pair[1]).collect();
            let Stretches(moved) = stretches.iter().cloned().collect();
            prop_assert!(moved.windows(2).all(|pair| pair[0].end == pair[1].start));
            for (one, other) in stretches.iter().zip(&moved) {
                let shift = one.start.abs_diff(other.start).max(one.end.abs_diff(other.end));
                prop_assert!(6 * shift <= one.len(), "{:?} {:?}", one, other);
                prop_assert!(!other.is_empty());
            }
            prop_assert_eq!(moved[0].start, edges[0]);
            prop_assert_eq!(moved.last().unwrap().end, *edges.last().unwrap());
        }

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
            let part = &values[rows.start.min(end)..end];
            let scanned = Extent::of(part.iter().copied()).present();
            prop_assert_eq!(envelope.extent(&values, rows.clone()), scanned);
            let found_anew = envelope.extent_of(values.len(), |row| values[row], rows);
            prop_assert_eq!(found_anew, scanned);
        }
    }
}
