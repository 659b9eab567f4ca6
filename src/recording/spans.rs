//! Columns that hold a value for a while: lap numbers, target powers.

use super::SetPoint;

/// Runs of the same value in `values`, as ranges of rows; missing values end a run.
fn constant_runs(values: &[f64]) -> Vec<(usize, usize, f64)> {
    let mut runs: Vec<(usize, usize, f64)> = Vec::new();
    for (row, value) in values.iter().enumerate() {
        match runs.last_mut() {
            Some((_, end, before)) if *end == row && before == value => *end = row + 1,
            _ if value.is_nan() => {}
            _ => runs.push((row, row + 1, *value)),
        }
    }
    runs
}

/// Stretches over which a column holds one value, as start, end (s) and value; each run of rows
/// holds until the row after it.
pub(super) fn spans(time_s: &[f64], values: &[f64]) -> Vec<(f64, f64, f64)> {
    let Some(last) = time_s.last() else {
        return Vec::new();
    };
    constant_runs(values)
        .into_iter()
        .filter_map(|(from, to, value)| {
            let from_s = *time_s.get(from)?;
            let to_s = *time_s.get(to).unwrap_or(last);
            (from_s < to_s).then_some((from_s, to_s, value))
        })
        .collect()
}

/// A column of target power as set points.
pub(super) fn set_points(time_s: &[f64], watts: &[f64]) -> Vec<SetPoint> {
    spans(time_s, watts)
        .into_iter()
        .map(|(from_s, to_s, watts)| SetPoint {
            from_s,
            to_s,
            watts,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_hold_until_the_next_row_and_missing_values_end_them() {
        let no = f64::NAN;
        assert_eq!(
            spans(
                &[0.0, 1.0, 2.0, 3.0, 5.0, 6.0],
                &[1.0, 1.0, no, 2.0, 1.0, 1.0]
            ),
            [(0.0, 2.0, 1.0), (3.0, 5.0, 2.0), (5.0, 6.0, 1.0)]
        );
        assert!(spans(&[], &[]).is_empty());
    }
}
