//! Which of comma and point is the decimal mark, by every row of the file.
//!
//! A number such as `192,5` settles it. One such as `1.260` may be 1.26, or 1260 with its
//! thousands grouped: alone beside numbers without a mark it settles nothing, and read wrongly it
//! would be a thousand times too small.

use super::dialect;
use super::number::value_of;

/// What is distinguished.
const MARKS: [u8; 2] = *b".,";

/// A number that can be read in two ways, and none that tells which.
#[derive(Debug, PartialEq)]
pub(super) struct Doubt {
    pub(super) line: u64,
    pub(super) column: usize,
    pub(super) cell: Vec<u8>,
}

/// How a cell is written.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Shape {
    /// Digits alone: how many.
    Whole(usize),
    /// A number whose decimal mark, or mark between thousands, leaves one decimal mark only.
    Settles(u8),
    /// One mark with one to three digits before it and three after.
    Either(u8),
    /// No plain number.
    Other,
}

/// What a column holds, as far as it bears on the mark.
#[derive(Clone, Debug, Default)]
struct Seen {
    /// Whole numbers below a thousand, which no one groups.
    short: bool,
    /// Whole numbers of a thousand and more: nobody groups here.
    long: bool,
    /// The first cell of two readings for each of [`MARKS`].
    either: [Option<(u64, Vec<u8>)>; 2],
}

/// The decimal mark of `text` below its `skipped` first rows, and a number of two readings where no
/// other in the used columns settles it. Columns in `used` decide; the others only where those do
/// not.
///
/// # Errors
/// [`Doubt`] where a used column holds numbers of two readings and nothing tells which.
pub(super) fn settle(
    text: &[u8],
    separator: u8,
    skipped: usize,
    used: &[usize],
) -> Result<(u8, Option<Doubt>), Doubt> {
    let has = |mark: u8| text.contains(&mark);
    let commas = if separator == b',' {
        has(b'"')
    } else {
        has(b',')
    };
    if !commas && !has(b'.') {
        return Ok((b'.', None));
    }
    let mut reader = dialect::reader(text, separator);
    let mut record = csv::ByteRecord::new();
    let mut seen: Vec<Seen> = vec![Seen::default(); used.len()];
    let mut told_elsewhere = None;
    let mut row = 0;
    while reader.read_byte_record(&mut record).unwrap_or(false) {
        row += 1;
        if row <= skipped {
            continue;
        }
        for (seen, column) in seen.iter_mut().zip(used) {
            let cell = record.get(*column).unwrap_or_default();
            let line = || record.position().map_or(0, csv::Position::line);
            if let Some(mark) = seen.note(cell, line) {
                return Ok((mark, None));
            }
        }
        if told_elsewhere.is_none() {
            told_elsewhere = record.iter().find_map(|cell| match shape(cell) {
                Shape::Settles(mark) => Some(mark),
                _ => None,
            });
        }
    }
    let doubt = || {
        let seen = seen.iter().zip(used);
        let of = |(seen, column): (&Seen, &usize)| {
            let (line, cell) = seen.either.iter().flatten().next()?;
            Some(Doubt {
                line: *line,
                column: *column,
                cell: cell.clone(),
            })
        };
        seen.filter_map(of).next()
    };
    let doubt = doubt();
    match told_elsewhere {
        Some(mark) => Ok((mark, doubt)),
        None => Ok((judge(seen, separator, used)?, doubt)),
    }
}

/// The mark where no number settles it: that of a column in which all numbers have the same three
/// decimals, or some of them could be grouped and are not.
fn judge(seen: Vec<Seen>, separator: u8, used: &[usize]) -> Result<u8, Doubt> {
    let mut doubt = None;
    for (seen, column) in seen.into_iter().zip(used) {
        for (mark, either) in MARKS.into_iter().zip(seen.either) {
            let Some((line, cell)) = either else { continue };
            // Between commas that divide columns, a comma in quotes mostly groups.
            let grouped = (seen.short && !seen.long) || mark == separator;
            if !grouped {
                return Ok(mark);
            }
            let column = *column;
            doubt.get_or_insert(Doubt { line, column, cell });
        }
    }
    doubt.map_or(Ok(b'.'), Err)
}

impl Seen {
    /// Takes a cell; the mark, where it settles it.
    fn note(&mut self, cell: &[u8], line: impl Fn() -> u64) -> Option<u8> {
        match shape(cell) {
            Shape::Whole(digits) => {
                self.short |= digits <= 3;
                self.long |= digits > 3;
            }
            Shape::Settles(mark) => return Some(mark),
            Shape::Either(mark) => {
                let index = usize::from(mark == MARKS[1]);
                self.either[index].get_or_insert_with(|| (line(), cell.trim_ascii().to_vec()));
            }
            Shape::Other => {}
        }
        None
    }
}

fn shape(cell: &[u8]) -> Shape {
    let cell = cell.trim_ascii();
    let is_blank = |byte: &u8| matches!(byte, b' ' | b'\'' | 0xA0 | 0xC2 | 0xE2 | 0x80 | 0xAF);
    let joined: Vec<u8>;
    let cell =
        if cell.iter().any(is_blank) && value_of(cell, b',').or(value_of(cell, b'.')).is_some() {
            // Thousands grouped by blanks leave one mark, the decimal one.
            joined = cell
                .iter()
                .copied()
                .filter(|byte| !is_blank(byte))
                .collect();
            &joined
        } else {
            cell
        };
    let digits = cell.strip_prefix(b"-").unwrap_or(cell);
    let digits = digits.strip_prefix(b"+").unwrap_or(digits);
    let count = |mark: u8| digits.iter().filter(|byte| **byte == mark).count();
    let (points, commas) = (count(b'.'), count(b','));
    let plain = digits
        .iter()
        .all(|byte| byte.is_ascii_digit() || MARKS.contains(byte));
    if !plain || digits.len() == points + commas {
        return Shape::Other;
    }
    match (points, commas) {
        (0, 0) => Shape::Whole(digits.len()),
        (1, 0) if could_be_grouped(digits, b'.') => Shape::Either(b'.'),
        (0, 1) if could_be_grouped(digits, b',') => Shape::Either(b','),
        (1, 0) => Shape::Settles(b'.'),
        (0, 1) => Shape::Settles(b','),
        (_, 0) if could_be_grouped(digits, b'.') => Shape::Settles(b','),
        (0, _) if could_be_grouped(digits, b',') => Shape::Settles(b'.'),
        (1, _)
            if digits
                .rsplit(|b| *b == b',')
                .next()
                .is_some_and(|end| end.contains(&b'.')) =>
        {
            Shape::Settles(b'.')
        }
        (_, 1)
            if digits
                .rsplit(|b| *b == b'.')
                .next()
                .is_some_and(|end| end.contains(&b',')) =>
        {
            Shape::Settles(b',')
        }
        _ => Shape::Other,
    }
}

/// Whether `mark` stands in `digits` where it would between thousands.
fn could_be_grouped(digits: &[u8], mark: u8) -> bool {
    let mut parts = digits.split(|byte| *byte == mark);
    let first = parts.next().unwrap_or_default();
    (1..=3).contains(&first.len()) && first[0] != b'0' && parts.all(|part| part.len() == 3)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shapes_of_numbers() {
        for (cell, expected) in [
            ("250", Shape::Whole(3)),
            ("-1250", Shape::Whole(4)),
            ("192,5", Shape::Settles(b',')),
            ("192.5", Shape::Settles(b'.')),
            ("0.250", Shape::Settles(b'.')),
            ("1.260", Shape::Either(b'.')),
            ("-1,260", Shape::Either(b',')),
            ("1.234.567", Shape::Settles(b',')),
            ("1,234,567", Shape::Settles(b'.')),
            ("1.260,5", Shape::Settles(b',')),
            ("1,260.5", Shape::Settles(b'.')),
            ("25.11.2026", Shape::Other),
            ("07:00:00.5", Shape::Other),
            ("1e3", Shape::Other),
            ("", Shape::Other),
            ("-", Shape::Other),
            (".", Shape::Other),
        ] {
            assert_eq!(shape(cell.as_bytes()), expected, "{cell}");
        }
    }

    fn settled(text: &str) -> Result<u8, Vec<u8>> {
        let settled = settle(text.as_bytes(), b';', 1, &[1]);
        settled.map(|(mark, _)| mark).map_err(|doubt| doubt.cell)
    }

    #[test]
    fn any_row_settles_the_mark_and_none_leaves_a_doubt() {
        assert_eq!(settled("t;p\n0;200\n1;192,5\n"), Ok(b','));
        assert_eq!(settled("t;p\n0;200\n1;1.260\n"), Err(b"1.260".to_vec()));
        assert_eq!(settled("t;p\n0;200\n1;1,260\n"), Err(b"1,260".to_vec()));
        assert_eq!(settled("t;p\n0;200\n1;1 192,500\n"), Ok(b','));
        // Another column tells.
        assert_eq!(settled("t;p\n0,5;200\n1;1.260\n"), Ok(b','));
        // Three decimals throughout, and whole numbers that a grouping hand would have grouped.
        assert_eq!(settled("t;p\n0;200.125\n1;201.250\n"), Ok(b'.'));
        assert_eq!(settled("t;p\n0;1200\n1;200.125\n2;90\n"), Ok(b'.'));
    }
}
