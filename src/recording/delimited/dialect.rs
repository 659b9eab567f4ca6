//! Which separator, and where the header line is.

use std::collections::{HashMap, HashSet};

use super::head::{Head, looks_like_head};
use crate::recording::ReadOptions;

/// Separators tried.
const SEPARATORS: [u8; 4] = *b",;\t|";
/// Rows looked at.
const SAMPLED_ROWS: usize = 400;
/// Bytes looked at.
const SAMPLED_BYTES: usize = 64 * 1024;
/// Rows that may stand before the head.
const ROWS_BEFORE_HEAD: usize = 60;

/// How the text is laid out.
#[derive(Debug)]
pub(super) struct Dialect {
    pub(super) separator: u8,
    /// Rows before the head.
    pub(super) head_row: usize,
    /// The column heads, cleaned; one that stands there before has a number after it.
    pub(super) heads: Vec<String>,
    /// Places of the columns whose head stands there before, each after the place of the first.
    pub(super) repeats: Vec<(usize, usize)>,
    /// Units from a row below the heads, where there is one.
    pub(super) units: Option<Vec<String>>,
    /// The first rows of data.
    pub(super) sample: Vec<Vec<Vec<u8>>>,
}

/// A reader over `text` as every pass uses it.
pub(super) fn reader(text: &[u8], separator: u8) -> csv::Reader<&[u8]> {
    csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(separator)
        .comment(Some(b'#'))
        .from_reader(text)
}

/// The dialect in which most heads make sense and most rows fit the head.
///
/// # Errors
/// The names of the most promising row, where no row names both a time and a power.
pub(super) fn recognise(text: &[u8], options: &ReadOptions) -> Result<Dialect, Head> {
    let mut best: Option<((usize, usize), Dialect)> = None;
    let mut nearest = Head::default();
    for separator in SEPARATORS {
        let rows = sample(text, separator);
        for (row, cells) in rows.iter().take(ROWS_BEFORE_HEAD).enumerate() {
            let head = looks_like_head(cells, options);
            if head.has_time && head.has_power {
                let fitting = rows
                    .iter()
                    .skip(row + 1)
                    .filter(|other| other.len() == cells.len())
                    .count();
                let score = (head.recognised, fitting);
                if best.as_ref().is_none_or(|(other, _)| score > *other) {
                    best = Some((score, dialect(separator, row, head.names, rows.clone())));
                }
                break;
            }
            if head.promise() > nearest.promise() {
                nearest = head;
            }
        }
    }
    best.map(|(_, dialect)| dialect).ok_or(nearest)
}

fn sample(text: &[u8], separator: u8) -> Vec<Vec<Vec<u8>>> {
    let cut = text.get(..SAMPLED_BYTES).unwrap_or(text);
    reader(cut, separator)
        .into_byte_records()
        .take(SAMPLED_ROWS)
        .map_while(Result::ok)
        .map(|record| record.iter().map(<[u8]>::to_vec).collect())
        .collect()
}

fn dialect(
    separator: u8,
    head_row: usize,
    mut heads: Vec<String>,
    mut rows: Vec<Vec<Vec<u8>>>,
) -> Dialect {
    let repeats = number_repeats(&mut heads);
    rows.drain(..=head_row);
    let units = rows.first().and_then(|row| units(row));
    if units.is_some() {
        rows.remove(0);
    }
    Dialect {
        separator,
        head_row,
        heads,
        repeats,
        units,
        sample: rows,
    }
}

/// Gives a head that stands there before a number: `power`, `power 2`. Without, one could not say
/// which of the two is meant.
fn number_repeats(heads: &mut [String]) -> Vec<(usize, usize)> {
    let mut repeats = Vec::new();
    let mut taken: HashSet<String> = heads.iter().map(|head| head.to_lowercase()).collect();
    // Where each head stands first, and the next number to try.
    let mut firsts: HashMap<String, (usize, usize)> = HashMap::new();
    for (index, head) in heads.iter_mut().enumerate() {
        if head.is_empty() {
            continue;
        }
        let (first, number) = firsts.entry(head.to_lowercase()).or_insert((index, 2));
        if *first == index {
            continue;
        }
        let plain = head.clone();
        while !taken.insert(format!("{plain} {number}").to_lowercase()) {
            *number += 1;
        }
        *head = format!("{plain} {number}");
        repeats.push((*first, index));
    }
    repeats
}

impl Dialect {
    /// Rows before the first row of data.
    pub(super) fn rows_before_data(&self) -> usize {
        self.head_row + 1 + usize::from(self.units.is_some())
    }
}

/// The row below the heads, if it holds units: short texts, no digits.
fn units(row: &[Vec<u8>]) -> Option<Vec<String>> {
    const LONGEST: usize = 12;
    let texts: Vec<String> = row
        .iter()
        .map(|cell| {
            let text = String::from_utf8_lossy(cell);
            text.trim()
                .trim_matches(|c| matches!(c, '(' | ')' | '[' | ']'))
                .to_owned()
        })
        .collect();
    let plausible = texts
        .iter()
        .all(|text| text.chars().count() <= LONGEST && !text.chars().any(|c| c.is_ascii_digit()));
    let has_watts = texts
        .iter()
        .any(|text| text.eq_ignore_ascii_case("w") || text.eq_ignore_ascii_case("watts"));
    (plausible && has_watts).then_some(texts)
}
