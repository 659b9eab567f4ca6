//! The rows that a sprint is fitted over.

use std::ops::Range;

/// Seconds fitted before and after the segment.
pub(super) const MARGIN_S: f64 = 5.0;
/// Seconds before those that settle the lag.
pub(super) const SETTLE_S: f64 = 20.0;
/// So many seconds in rows.
pub(super) fn in_rows(seconds: f64, step_s: f64) -> usize {
    (seconds / step_s).round().max(1.0) as usize
}

/// The rows around `from..until` over which the basis is whole, with up to `settle` rows before
/// them; `None` where it lacks any of the segment itself. The second range counts from the first.
pub(super) fn whole(
    basis: &[f64],
    from: usize,
    until: usize,
    settle: usize,
    segment: &Range<usize>,
) -> Option<(Range<usize>, Range<usize>)> {
    let present = |row: usize| basis.get(row).is_some_and(|v| v.is_finite());
    if !segment.clone().all(present) {
        return None;
    }
    let earliest = from.saturating_sub(settle);
    let first = (earliest..segment.start)
        .rev()
        .take_while(|&row| present(row))
        .last()
        .unwrap_or(segment.start);
    let last = (segment.end..until)
        .take_while(|&row| present(row))
        .last()
        .map_or(segment.end, |row| row + 1);
    Some((first..last, from.max(first) - first..last - first))
}
