//! A decision seen: the size of a value with its limits against what it is held against.
//!
//! The scale runs from nothing to three limits, so that in a gauge of 3k columns the limit lies on
//! the edge of a column. Right of that edge is a fault, left of it fine, across it open.

use super::parts::Mark;
use super::tone::Tone;
use crate::analysis::questions::{Answer, Finding};
use crate::stats::Interval;

/// How many limits the scale shows.
pub const LIMITS: f64 = 3.0;

/// What an outcome looks like: its tone and the mark of its value.
pub const fn look(outcome: Finding) -> (Tone, Mark) {
    match outcome {
        Finding::Fault => (Tone::Fault, Mark::Diamond),
        Finding::Fine => (Tone::Fine, Mark::Disc),
        Finding::CannotTell => (Tone::Open, Mark::Ring),
        Finding::NotRidden => (Tone::Mute, Mark::Ring),
    }
}

/// A value in units of its limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gauge {
    /// Its size.
    pub value: f64,
    /// Lower 95 % limit of the size, not below 0.
    pub low: f64,
    /// Upper one.
    pub high: f64,
}

impl Gauge {
    /// Of an answer; `None` where nothing is measured or there is nothing to hold it against.
    pub fn of(answer: &Answer) -> Option<Self> {
        let value = answer.value?;
        Self::sized(value, answer.interval.unwrap_or([value; 2]), answer.limit?)
    }

    /// Of a value with its 95 % limits and what its size is held against.
    pub fn sized(value: f64, [low, high]: Interval, limit: f64) -> Option<Self> {
        let half = 0.5 * (high - low) / limit;
        let value = value.abs() / limit;
        let [low, high] = [(value - half).max(0.0), value + half];
        [value, low, high]
            .iter()
            .all(|v| v.is_finite())
            .then_some(Self { value, low, high })
    }

    /// Whether the value lies off the scale.
    pub fn is_off(&self) -> bool {
        self.value >= LIMITS
    }

    /// Half columns, from the left, that the interval covers in a gauge of `columns` columns.
    pub fn covered(&self, columns: usize) -> std::ops::Range<usize> {
        let halves = 2 * columns;
        let at = |v: f64| (v / LIMITS * halves as f64).round().max(0.0) as usize;
        let (from, to) = (at(self.low).min(halves), at(self.high).min(halves));
        from..to
    }

    /// The column of the value.
    pub fn column(&self, columns: usize) -> usize {
        let at = (self.value / LIMITS * columns as f64).floor().max(0.0) as usize;
        at.min(columns.saturating_sub(1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::questions::Question;

    fn answer(value: f64, interval: Option<[f64; 2]>, limit: f64) -> Answer {
        let mut answer = Answer::new(Question::Accuracy, "trainer", Finding::Fault, String::new());
        (answer.value, answer.interval, answer.limit) = (Some(value), interval, Some(limit));
        answer
    }

    #[test]
    fn a_value_lies_on_its_side_of_the_limit() {
        let beyond = Gauge::of(&answer(-4.0, Some([-5.0, -3.0]), 2.0)).unwrap();
        assert_eq!((beyond.value, beyond.low, beyond.high), (2.0, 1.5, 2.5));
        // 15 columns: the limit is the edge between the fifth and the sixth.
        assert_eq!(beyond.covered(15), 15..25);
        assert_eq!(beyond.column(15), 10);
        let inside = Gauge::of(&answer(0.5, Some([-0.5, 1.5]), 2.0)).unwrap();
        assert_eq!(inside.low, 0.0);
        assert!(inside.covered(15).end <= 10);
        assert!(Gauge::of(&answer(7.0, None, 2.0)).unwrap().is_off());
        assert_eq!(Gauge::of(&answer(1.0, None, 0.0)), None);
        assert_eq!(Gauge::of(&answer(f64::NAN, None, 2.0)), None);
    }
}
