//! The reference as the fitted response would report it.

use std::ops::Range;

use crate::analysis::kinds::sprint::Sprint;
use crate::timeline::{Aligned, Member};

/// Rows before a window that settle the lag of its model.
const SETTLE_ROWS: usize = 30;

/// The power of `basis` through the fitted dead time, lag, averaging, gain and ceiling: session
/// time, s, and W at each of `rows`. `None` without a fit.
///
/// The reference's gaps are gaps of the model; each stretch between them settles by itself.
pub fn model(
    aligned: &Aligned,
    rows: Range<usize>,
    basis: Member,
    sprint: &Sprint,
) -> Option<Vec<[f64; 2]>> {
    let grid = aligned.grid;
    let from = rows.start.saturating_sub(SETTLE_ROWS);
    let input = aligned.power(basis)?.get(from..rows.end)?;
    let answered = stretchwise(input, |stretch| sprint.model(stretch, grid.step_s))?;
    let points = answered.into_iter().enumerate().skip(rows.start - from);
    Some(
        points
            .map(|(row, w)| [grid.time_s(from + row), w])
            .collect(),
    )
}

/// The answer to each stretch without a gap; `NaN` in the gaps.
fn stretchwise(input: &[f64], answer: impl Fn(&[f64]) -> Option<Vec<f64>>) -> Option<Vec<f64>> {
    let mut out = Vec::with_capacity(input.len());
    for stretch in input.chunk_by(|a, b| a.is_finite() == b.is_finite()) {
        if stretch.iter().all(|w| w.is_finite()) {
            out.extend(answer(stretch)?);
        } else {
            out.extend(stretch.iter().map(|_| f64::NAN));
        }
    }
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::first_order::{Answer, Lag, PARTS, answer, refined};

    #[test]
    fn a_gap_costs_itself_and_what_the_dead_time_reaches_into() {
        let fitted = Answer {
            lag: Lag {
                delay_s: 2.0,
                time_constant_s: 1.0,
            },
            clip_w: f64::INFINITY,
            average_s: 0.0,
        };
        let mut input = vec![200.0; 40];
        input[10..13].fill(f64::NAN);
        let out = stretchwise(&input, |w| Some(answer(&refined(w, PARTS), 1.0, fitted))).unwrap();
        assert_eq!(out.len(), input.len());
        for (row, w) in out.iter().enumerate() {
            let known = (2..10).contains(&row) || row >= 15;
            assert_eq!(w.is_finite(), known, "{row}: {w}");
            assert!(!known || (w - 200.0).abs() < 1e-9, "{row}: {w}");
        }
    }
}
