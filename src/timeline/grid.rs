//! The common grid: which seconds there are, and which sample each second takes.

/// A half-open stretch of session time, `from_s ≤ t < to_s`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// Start, s.
    pub from_s: f64,
    /// End, s.
    pub to_s: f64,
}

impl Span {
    /// A span with its ends in order.
    pub fn new(a_s: f64, b_s: f64) -> Self {
        Self {
            from_s: a_s.min(b_s),
            to_s: a_s.max(b_s),
        }
    }

    /// Length, s.
    pub fn duration_s(self) -> f64 {
        self.to_s - self.from_s
    }

    /// Whether `t_s` lies inside.
    pub fn contains(self, t_s: f64) -> bool {
        self.from_s <= t_s && t_s < self.to_s
    }

    /// The part shared with `other`, if it is longer than nothing.
    pub fn overlap(self, other: Span) -> Option<Span> {
        let from_s = self.from_s.max(other.from_s);
        let to_s = self.to_s.min(other.to_s);
        (from_s < to_s).then_some(Span { from_s, to_s })
    }
}

/// Equally spaced session times `start_s + i · step_s`, `0 ≤ i < len`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grid {
    /// Session time of row 0, s.
    pub start_s: f64,
    /// Spacing, s.
    pub step_s: f64,
    /// Number of rows.
    pub len: usize,
}
