//! From rows as they stood in the file to strictly increasing times.
//!
//! The rules, the same for every format:
//!
//! 1. A row without a time is left out.
//! 2. A time more than [`FAR_S`] from the median is an outlier (a clock that was not set yet, a
//!    damaged stamp): the row is left out.
//! 3. A recorder that writes several rows a second with whole-second stamps means a faster rate:
//!    the rows of a second are spread evenly over it.
//! 4. Rows out of order are sorted, keeping the file's order among equal times.
//! 5. Where a time repeats, the first value in the file stays; a repeat only fills what is missing.
//!
//! Each rule that had an effect leaves a remark with its counts.

use std::sync::Arc;

use super::{ClockNote, ClockNoteKind};
use crate::text::{plural, span};

/// Rows farther than this from the median time are outliers, s (seven days).
pub(super) const FAR_S: f64 = 7.0 * 86_400.0;

/// Rows in file order. A column shorter than the times is missing from there on; an empty column
/// was never touched.
#[derive(Clone, Debug, Default)]
pub(super) struct Table {
    pub(super) time_s: Vec<f64>,
    pub(super) columns: Vec<Vec<f64>>,
    /// Columns with a value, plus one for the times.
    touched: usize,
    /// Most cells allowed.
    budget: usize,
}

impl Table {
    /// An empty table of `columns` for a file of `file_bytes`. Ten bytes of table a byte of file
    /// leave room for sorting below the promise of thirty.
    pub(super) fn new(columns: usize, file_bytes: usize) -> Self {
        const FREE_BYTES: usize = 4 << 20;
        Self {
            time_s: Vec::new(),
            columns: vec![Vec::new(); columns],
            touched: 1,
            budget: (file_bytes.saturating_mul(10) + FREE_BYTES) / size_of::<f64>(),
        }
    }

    /// Adds a column, without values yet.
    pub(super) fn add_column(&mut self) {
        self.columns.push(Vec::new());
    }

    /// Begins a row at `time_s`.
    pub(super) fn push(&mut self, time_s: f64) {
        self.time_s.push(time_s);
    }

    /// Puts `value` into `column` of the last row; a value already there stays.
    pub(super) fn put(&mut self, column: usize, value: f64) {
        let rows = self.time_s.len();
        if rows == 0 || !value.is_finite() {
            return;
        }
        let Some(cells) = self.columns.get_mut(column) else {
            return;
        };
        if cells.is_empty() {
            self.touched += 1;
            if self.touched * rows > self.budget {
                return;
            }
        }
        if cells.len() < rows {
            cells.resize(rows - 1, f64::NAN);
            cells.push(value);
        }
    }

    /// Rows and columns, once there are more cells than the budget allows.
    pub(super) fn too_sparse(&self) -> Option<(usize, usize)> {
        let rows = self.time_s.len();
        (self.touched * rows > self.budget).then_some((rows, self.touched))
    }
}

/// Rows in time order; `None` for a column without any value.
#[derive(Clone, Debug, Default)]
pub(super) struct Ordered {
    pub(super) time_s: Arc<Vec<f64>>,
    pub(super) columns: Vec<Option<Arc<Vec<f64>>>>,
    pub(super) remarks: Vec<String>,
    /// Where the stamps did not simply go on.
    pub(super) clock_notes: Vec<ClockNote>,
}

/// Applies the rules above.
pub(super) fn put_in_order(mut table: Table) -> Ordered {
    let (mut remarks, mut clock_notes) = (Vec::new(), Vec::new());
    let rows = table.time_s.len();
    for column in &mut table.columns {
        if !column.is_empty() {
            column.resize(rows, f64::NAN);
        }
    }
    drop_untimed(&mut table, &mut remarks);
    drop_far(&mut table, &mut remarks);
    if !strictly_increasing(&table.time_s) {
        spread_repeats(&mut table, &mut remarks, &mut clock_notes);
        sort(&mut table, &mut remarks, &mut clock_notes);
        merge_repeats(&mut table, &mut remarks, &mut clock_notes);
        clock_notes.truncate(MOST_NOTES);
    }
    let columns = table
        .columns
        .into_iter()
        .map(|column| (!column.is_empty()).then(|| Arc::new(column)))
        .collect();
    Ordered {
        time_s: Arc::new(table.time_s),
        columns,
        remarks,
        clock_notes,
    }
}

/// Whether every time is later than the one before.
fn strictly_increasing(time_s: &[f64]) -> bool {
    time_s.windows(2).all(|pair| pair[0] < pair[1])
}

fn drop_untimed(table: &mut Table, remarks: &mut Vec<String>) {
    let before = table.time_s.len();
    if table.time_s.iter().all(|t| t.is_finite()) {
        return;
    }
    let keep: Vec<bool> = table.time_s.iter().map(|t| t.is_finite()).collect();
    retain(table, &keep);
    let lost = before - table.time_s.len();
    remarks.push(format!("{} without a time left out", plural(lost, "row")));
}

fn drop_far(table: &mut Table, remarks: &mut Vec<String>) {
    let (low, high) = table
        .time_s
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), t| {
            (low.min(*t), high.max(*t))
        });
    if high - low <= FAR_S || table.time_s.is_empty() {
        return;
    }
    let mut sorted = table.time_s.clone();
    let middle = (sorted.len() - 1) / 2;
    let median = *sorted.select_nth_unstable_by(middle, f64::total_cmp).1;
    drop(sorted);
    let farthest = (median - low).max(high - median);
    let keep: Vec<bool> = table
        .time_s
        .iter()
        .map(|t| (t - median).abs() <= FAR_S)
        .collect();
    let before = table.time_s.len();
    retain(table, &keep);
    let lost = before - table.time_s.len();
    if lost > 0 {
        remarks.push(format!(
            "{} up to {} away from the rest left out: the recorder's clock was not set, or the \
             time stamp is damaged",
            plural(lost, "row"),
            span(farthest)
        ));
    }
}

/// Rule 3. Whole-second stamps of which most come in runs of two or more, whose rows disagree
/// (rows that complete or repeat each other are no faster rate).
fn spread_repeats(table: &mut Table, remarks: &mut Vec<String>, clock_notes: &mut Vec<ClockNote>) {
    let runs = runs(&table.time_s);
    let several = runs.iter().filter(|run| run.len() > 1).count();
    let whole = table.time_s.iter().all(|t| t.fract() == 0.0);
    if !whole || several * 2 <= runs.len() {
        return;
    }
    let conflicting = runs
        .iter()
        .filter(|run| run.len() > 1 && conflicts(table, run))
        .count();
    if conflicting * 10 < several {
        return;
    }
    let within = runs.iter().filter(|run| run.len() > 1);
    clock_notes.extend(note_over(
        within.map(|run| table.time_s[run.start]),
        ClockNoteKind::SeveralASecond,
    ));
    for run in &runs {
        let count = run.len() as f64;
        for (index, row) in run.clone().enumerate() {
            table.time_s[row] += index as f64 / count;
        }
    }
    let hold = if several == 1 { "holds" } else { "hold" };
    remarks.push(format!(
        "{} {hold} several rows without fractions of a second: their rows are spread evenly over \
         the second",
        plural(several, "second")
    ));
}

/// Runs of neighbouring rows with the same time.
fn runs(time_s: &[f64]) -> Vec<std::ops::Range<usize>> {
    let mut runs = Vec::new();
    let mut start = 0;
    for row in 1..=time_s.len() {
        if row == time_s.len() || time_s[row] != time_s[start] {
            runs.push(start..row);
            start = row;
        }
    }
    runs
}

/// Whether a column holds two different values within `run`.
fn conflicts(table: &Table, run: &std::ops::Range<usize>) -> bool {
    table
        .columns
        .iter()
        .filter(|column| !column.is_empty())
        .any(|column| {
            let mut values = column[run.clone()].iter().filter(|v| !v.is_nan());
            values
                .next()
                .is_some_and(|first| values.any(|other| other != first))
        })
}

/// Most places kept: beyond, the remark's count has to do.
const MOST_NOTES: usize = 200;

/// A note from the first of `times` to the last.
fn note_over(times: impl Iterator<Item = f64>, kind: ClockNoteKind) -> Option<ClockNote> {
    let ends = times.fold(None, |ends: Option<(f64, f64)>, t| {
        Some(ends.map_or((t, t), |(low, high)| (low.min(t), high.max(t))))
    });
    ends.map(|(from_s, to_s)| ClockNote { from_s, to_s, kind })
}

fn sort(table: &mut Table, remarks: &mut Vec<String>, clock_notes: &mut Vec<ClockNote>) {
    let back = table.time_s.windows(2).filter(|pair| pair[1] < pair[0]);
    clock_notes.extend(back.take(MOST_NOTES).map(|pair| ClockNote {
        from_s: pair[1],
        to_s: pair[0],
        kind: ClockNoteKind::WentBack,
    }));
    let backward: Vec<f64> = table
        .time_s
        .windows(2)
        .filter(|pair| pair[1] < pair[0])
        .map(|pair| pair[0] - pair[1])
        .collect();
    if backward.is_empty() {
        return;
    }
    let mut order: Vec<u32> = (0..table.time_s.len() as u32).collect();
    order.sort_by(|a, b| table.time_s[*a as usize].total_cmp(&table.time_s[*b as usize]));
    table.time_s = permuted(&table.time_s, &order);
    for column in &mut table.columns {
        if !column.is_empty() {
            *column = permuted(column, &order);
        }
    }
    let longest = backward.iter().copied().fold(0.0, f64::max);
    remarks.push(format!(
        "the time goes backward {}, by up to {}: rows sorted by time",
        times(backward.len()),
        span(longest)
    ));
}

fn times(n: usize) -> String {
    if n == 1 {
        "once".to_owned()
    } else {
        format!("{} times", crate::text::grouped(n as u64))
    }
}

fn permuted(values: &[f64], order: &[u32]) -> Vec<f64> {
    order.iter().map(|row| values[*row as usize]).collect()
}

fn merge_repeats(table: &mut Table, remarks: &mut Vec<String>, clock_notes: &mut Vec<ClockNote>) {
    let mut twice = Vec::new();
    let mut keep = vec![true; table.time_s.len()];
    let (mut filled, mut conflicting, mut same) = (0, 0, 0);
    for run in runs(&table.time_s) {
        if run.len() == 1 {
            continue;
        }
        let clash = conflicts(table, &run);
        for row in run.start + 1..run.end {
            keep[row] = false;
            let mut new = false;
            for column in table.columns.iter_mut().filter(|c| !c.is_empty()) {
                if column[run.start].is_nan() && !column[row].is_nan() {
                    column[run.start] = column[row];
                    new = true;
                }
            }
            match (clash, new) {
                (true, _) => {
                    conflicting += 1;
                    twice.push(table.time_s[row]);
                }
                (false, true) => filled += 1,
                (false, false) => same += 1,
            }
        }
    }
    clock_notes.extend(note_over(twice.into_iter(), ClockNoteKind::Twice));
    retain(table, &keep);
    if conflicting > 0 {
        remarks.push(format!(
            "{} at a time already taken, with other values: the first in the file stands",
            plural(conflicting, "row")
        ));
    }
    if filled > 0 {
        remarks.push(format!(
            "{} at a time already taken merged: each gave values the first had not",
            plural(filled, "row")
        ));
    }
    if same > 0 {
        remarks.push(format!("{} left out as duplicates", plural(same, "row")));
    }
}

/// Keeps the rows marked in `keep`.
pub(super) fn retain(table: &mut Table, keep: &[bool]) {
    let by_mask = |values: &mut Vec<f64>| {
        let mut row = 0;
        values.retain(|_| {
            let kept = keep.get(row).copied().unwrap_or(true);
            row += 1;
            kept
        });
    };
    by_mask(&mut table.time_s);
    for column in &mut table.columns {
        by_mask(column);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NO: f64 = f64::NAN;

    fn ordered(time_s: &[f64], power: &[f64], cadence: &[f64]) -> Ordered {
        put_in_order(Table {
            time_s: time_s.to_vec(),
            columns: vec![power.to_vec(), cadence.to_vec()],
            ..Table::default()
        })
    }

    fn column(ordered: &Ordered, index: usize) -> Vec<Option<f64>> {
        ordered.columns[index]
            .as_ref()
            .unwrap()
            .iter()
            .map(|v| (!v.is_nan()).then_some(*v))
            .collect()
    }

    #[test]
    fn rows_in_order_pass_unchanged_and_unremarked() {
        let out = ordered(&[1.0, 2.0, 3.0], &[10.0, NO, 30.0], &[]);
        assert_eq!(*out.time_s, [1.0, 2.0, 3.0]);
        assert_eq!(column(&out, 0), [Some(10.0), None, Some(30.0)]);
        assert!(out.columns[1].is_none());
        assert!(out.remarks.is_empty());
    }

    #[test]
    fn a_stamp_years_off_is_left_out_and_told() {
        let out = ordered(
            &[1e9, 1e9 + 1.0, 3.0, 1e9 + 2.0],
            &[1.0, 2.0, 3.0, 4.0],
            &[],
        );
        assert_eq!(*out.time_s, [1e9, 1e9 + 1.0, 1e9 + 2.0]);
        assert_eq!(column(&out, 0), [Some(1.0), Some(2.0), Some(4.0)]);
        assert!(out.remarks[0].starts_with("1 row up to 11 574 days away"));
    }

    #[test]
    fn out_of_order_rows_are_sorted_and_repeats_keep_the_first_in_the_file() {
        let out = ordered(
            &[0.0, 1.0, 3.0, 2.0, 3.0, 4.0],
            &[0.0, 1.0, 3.0, 2.0, 33.0, 4.0],
            &[],
        );
        assert_eq!(*out.time_s, [0.0, 1.0, 2.0, 3.0, 4.0]);
        assert_eq!(column(&out, 0), [0.0, 1.0, 2.0, 3.0, 4.0].map(Some));
        assert_eq!(out.remarks.len(), 2, "{:?}", out.remarks);
        assert!(out.remarks[0].contains("backward once, by up to 1 s"));
        let places: Vec<_> = out
            .clock_notes
            .iter()
            .map(|n| (n.from_s, n.to_s, n.kind))
            .collect();
        assert_eq!(
            places,
            [
                (2.0, 3.0, ClockNoteKind::WentBack),
                (3.0, 3.0, ClockNoteKind::Twice)
            ]
        );
        assert!(out.remarks[1].contains("1 row at a time already taken, with other values"));
    }

    #[test]
    fn rows_of_one_second_that_complete_each_other_are_merged() {
        let out = ordered(
            &[0.0, 0.0, 1.0, 1.0],
            &[100.0, NO, 110.0, NO],
            &[NO, 80.0, NO, 81.0],
        );
        assert_eq!(*out.time_s, [0.0, 1.0]);
        assert_eq!(column(&out, 0), [Some(100.0), Some(110.0)]);
        assert_eq!(column(&out, 1), [Some(80.0), Some(81.0)]);
    }

    #[test]
    fn several_rows_every_second_are_a_faster_rate() {
        let out = ordered(
            &[5.0, 5.0, 5.0, 5.0, 6.0, 6.0],
            &[1.0, 2.0, 3.0, 4.0, 5.0, 6.0],
            &[],
        );
        assert_eq!(*out.time_s, [5.0, 5.25, 5.5, 5.75, 6.0, 6.5]);
        assert_eq!(out.clock_notes[0].kind, ClockNoteKind::SeveralASecond);
        assert_eq!(out.remarks.len(), 1);
    }

    #[test]
    fn exact_duplicates_are_left_out() {
        let out = ordered(&[0.0, 1.0, 1.0, 2.0], &[5.0, 6.0, 6.0, 7.0], &[]);
        assert_eq!(*out.time_s, [0.0, 1.0, 2.0]);
        assert!(out.remarks[0].contains("1 row left out as duplicates"));
    }
}
