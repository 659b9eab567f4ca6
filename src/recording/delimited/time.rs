//! Times in cells.

use super::number::{Cell, cell, is_missing, value_of};
use crate::recording::moment::date;

/// The farthest time that can be one, s: more than thirty thousand years.
const MOST_TIME_S: f64 = 1e12;

/// Day numbers of a spreadsheet that can be a ride's: 1954 to 2119.
const SERIAL_DAYS: std::ops::Range<f64> = 20_000.0..80_000.0;

/// Seconds since 1970 of a spreadsheet's day number, to the millisecond: finer, it is the rounding
/// of the division by a day.
fn serial(days: f64) -> f64 {
    /// 1970-01-01.
    const EPOCH_DAY: f64 = 25_569.0;
    ((days - EPOCH_DAY) * 86_400_000.0).round() / 1000.0
}

/// Whether stamps tell minutes but no seconds, with ten rows and more a stamp. `two_parts`: clock
/// times as `12:53`, which were taken for minutes and seconds.
pub(super) fn only_minutes(time_s: &[f64], two_parts: bool) -> bool {
    const ROWS: usize = 10;
    let mut times = time_s.iter().filter(|time| time.is_finite()).peekable();
    let whole = |time: &f64| two_parts || time.rem_euclid(60.0) == 0.0;
    if times.peek() == Some(&&0.0) && time_s.iter().all(|time| *time == 0.0) {
        return false;
    }
    let (mut rows, mut stamps, mut last) = (0, 0, f64::NAN);
    for time in times {
        if !whole(time) {
            return false;
        }
        rows += 1;
        stamps += usize::from(*time != last);
        last = *time;
    }
    rows >= ROWS * stamps && rows > 0
}

/// No recorder counts three years from its own zero, s.
const MOST_ELAPSED_S: f64 = 1e8;

/// How the time column is written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum TimeFormat {
    /// A number; times this many seconds.
    Count {
        /// Seconds a unit.
        unit_s: f64,
        /// Whether it counts from 1970.
        absolute: bool,
    },
    /// Days since 1899-12-30, as spreadsheets count.
    Serial,
    /// `h:mm:ss` or `m:ss`, with decimals or without.
    Clock,
    /// Date and time as in ISO 8601, or with the day first and points (`25.11.2026 07:00:00`).
    Date,
}

/// Reads cells of one time column.
pub(super) struct TimeReader {
    format: TimeFormat,
    mark: u8,
    /// The part before the seconds of the last date read, and what it stands for, s.
    before_seconds: Vec<u8>,
    base_s: f64,
    after_seconds: Vec<u8>,
    /// Whether a date without zone was met.
    pub(super) without_zone: bool,
    /// Whether no clock time had three parts: hours and minutes, or minutes and seconds.
    pub(super) two_parts: bool,
    /// Whether clock times of two parts began anew with the hour.
    pub(super) passed_hours: bool,
    last_clock_s: Option<f64>,
    /// What was added for midnights and hours passed, s.
    passed_s: f64,
}

impl TimeReader {
    pub(super) fn new(format: TimeFormat, mark: u8) -> Self {
        Self {
            format,
            mark,
            before_seconds: Vec::new(),
            base_s: 0.0,
            after_seconds: Vec::new(),
            without_zone: false,
            two_parts: format == TimeFormat::Clock,
            passed_hours: false,
            last_clock_s: None,
            passed_s: 0.0,
        }
    }

    /// The time in `text`, s: `NaN` where it is missing, `None` where it is no time.
    pub(super) fn read(&mut self, text: &[u8]) -> Option<f64> {
        match self.format {
            TimeFormat::Count { unit_s, .. } => match value_of(text, self.mark) {
                Some(number) => {
                    Some(scaled(number, unit_s)).filter(|time_s| time_s.abs() <= MOST_TIME_S)
                }
                None => is_missing(text.trim_ascii()).then_some(f64::NAN),
            },
            TimeFormat::Serial => match value_of(text, self.mark) {
                Some(days) => SERIAL_DAYS.contains(&days).then(|| serial(days)),
                None => is_missing(text.trim_ascii()).then_some(f64::NAN),
            },
            TimeFormat::Clock => {
                let text = text.trim_ascii();
                if is_missing(text) {
                    return Some(f64::NAN);
                }
                self.two_parts &= text.iter().filter(|byte| **byte == b':').count() < 2;
                self.clock(clock(text)?, self.two_parts)
            }
            TimeFormat::Date => {
                let text = text.trim_ascii();
                match self.same_minute(text) {
                    None if is_missing(text) => Some(f64::NAN),
                    None => self.date(text),
                    time => time,
                }
            }
        }
    }

    /// A clock that falls by more than half a day has passed midnight; one of minutes and seconds,
    /// never at 60 minutes or more, that falls by more than half an hour has passed the hour.
    fn clock(&mut self, seconds: f64, two_parts: bool) -> Option<f64> {
        const DAY_S: f64 = 86_400.0;
        const HOUR_S: f64 = 3600.0;
        if let Some(last) = self.last_clock_s {
            if seconds < last - DAY_S / 2.0 {
                self.passed_s += DAY_S;
            } else if two_parts && last < HOUR_S && seconds < last - HOUR_S / 2.0 {
                self.passed_s += HOUR_S;
                self.passed_hours = true;
            }
        }
        self.last_clock_s = Some(seconds);
        Some(seconds + self.passed_s)
    }

    /// Rows of one minute differ only in their seconds: the rest is read once.
    fn same_minute(&self, text: &[u8]) -> Option<f64> {
        let (head, seconds, zone) = around_seconds(text);
        if self.before_seconds.is_empty()
            || head != self.before_seconds
            || zone != self.after_seconds
        {
            return None;
        }
        Some(self.base_s + decimal_seconds(seconds)?)
    }

    fn date(&mut self, text: &[u8]) -> Option<f64> {
        let (head, seconds, zone) = around_seconds(text);
        let (whole, has_zone) = date(std::str::from_utf8(text).ok()?)?;
        self.without_zone |= !has_zone;
        if let Some(seconds) = decimal_seconds(seconds)
            && seconds < 60.0
        {
            self.before_seconds = head.to_vec();
            self.after_seconds = zone.to_vec();
            // Whole minutes are whole numbers: no rounding is carried along.
            self.base_s = (whole - seconds).round();
        }
        Some(whole)
    }
}

/// A date with time in three: up to the minute, the seconds, and the zone.
fn around_seconds(text: &[u8]) -> (&[u8], &[u8], &[u8]) {
    const SECONDS_AT: usize = 17;
    let (head, tail) = text.split_at_checked(SECONDS_AT).unwrap_or((text, &[]));
    let length = tail
        .iter()
        .take_while(|b| b.is_ascii_digit() || matches!(b, b'.' | b','))
        .count();
    let (seconds, zone) = tail.split_at(length);
    (head, seconds, zone)
}

/// Milliseconds and the like are divided, not multiplied by an inexact 0.001.
fn scaled(number: f64, unit_s: f64) -> f64 {
    if unit_s < 1.0 {
        number / (1.0 / unit_s).round()
    } else {
        number * unit_s
    }
}

fn decimal_seconds(text: &[u8]) -> Option<f64> {
    let with_point = cell(text, b'.');
    let number = match with_point {
        Cell::Text => cell(text, b','),
        _ => with_point,
    };
    match number {
        Cell::Number(seconds) if seconds >= 0.0 => Some(seconds),
        _ => None,
    }
}

/// Seconds of `h:mm:ss` or `m:ss`.
fn clock(text: &[u8]) -> Option<f64> {
    let (negative, text) = match text.strip_prefix(b"-") {
        Some(rest) => (true, rest),
        None => (false, text),
    };
    let mut parts = text.split(|b| *b == b':').rev();
    let mut total = decimal_seconds(parts.next()?)?;
    let mut unit_s = 60.0;
    let mut count = 1;
    for part in parts {
        if part.is_empty() || !part.iter().all(u8::is_ascii_digit) {
            return None;
        }
        total += unit_s * decimal_seconds(part)?;
        unit_s *= 60.0;
        count += 1;
    }
    (2..=3)
        .contains(&count)
        .then_some(if negative { -total } else { total })
}

/// The format of a column from its first cells that hold something, and what had to be assumed.
///
/// `unit_s` is what the head says. A bare number is read by its size: above 10^8 it counts from
/// 1970 (1973 on), in seconds, milliseconds, microseconds or nanoseconds.
pub(super) fn recognise(
    cells: &[Vec<u8>],
    mark: u8,
    unit_s: Option<f64>,
) -> Result<(TimeFormat, Option<&'static str>), usize> {
    let filled: Vec<(usize, &[u8])> = cells
        .iter()
        .enumerate()
        .map(|(row, cell)| (row, cell.trim_ascii()))
        .filter(|(_, cell)| !is_missing(cell))
        .collect();
    let Some((row, first)) = filled.first() else {
        return Err(0);
    };
    if clock(first).is_some() && first.contains(&b':') {
        return Ok((TimeFormat::Clock, None));
    }
    if let Some(number) = value_of(first, mark) {
        let numbers: Vec<f64> = filled
            .iter()
            .filter_map(|(_, text)| value_of(text, mark))
            .collect();
        let (format, remark) = count(number, &numbers, unit_s);
        let elapsed_s = match format {
            TimeFormat::Count { unit_s, absolute } if !absolute => scaled(number, unit_s),
            _ => 0.0,
        };
        if elapsed_s.abs() >= MOST_ELAPSED_S {
            return Err(*row);
        }
        return Ok((format, remark));
    }
    let is_date = std::str::from_utf8(first).is_ok_and(|text| date(text).is_some());
    if is_date {
        Ok((TimeFormat::Date, None))
    } else {
        Err(*row)
    }
}

fn count(first: f64, numbers: &[f64], unit_s: Option<f64>) -> (TimeFormat, Option<&'static str>) {
    for (from, unit_s) in [(1e17, 1e-9), (1e14, 1e-6), (1e11, 1e-3), (1e8, 1.0)] {
        if first >= from {
            let absolute = true;
            return (TimeFormat::Count { unit_s, absolute }, None);
        }
    }
    let absolute = false;
    if let Some(unit_s) = unit_s {
        return (TimeFormat::Count { unit_s, absolute }, None);
    }
    // In order of time: between rows out of order lie steps that no recorder took.
    let mut sorted = numbers.to_vec();
    sorted.sort_by(f64::total_cmp);
    let mut steps: Vec<f64> = sorted.windows(2).map(|pair| pair[1] - pair[0]).collect();
    steps.retain(|step| *step > 0.0);
    steps.sort_by(f64::total_cmp);
    let median = steps.get(steps.len() / 2).copied().unwrap_or(1.0);
    let whole = numbers.iter().all(|number| number.fract() == 0.0);
    if whole && median >= 50.0 {
        let unit_s = 1e-3;
        let remark = "the time column has no unit: steps of 50 and more are taken as milliseconds";
        return (TimeFormat::Count { unit_s, absolute }, Some(remark));
    }
    // Seconds written as decimal minutes or hours, to three digits and more.
    let is_a = |part: f64| !whole && (median - part).abs() < 0.02 * part;
    for (unit_s, remark) in [
        (
            60.0,
            "the time column has no unit: steps of a sixtieth are taken as decimal minutes",
        ),
        (
            3600.0,
            "the time column has no unit: steps of 1/3600 are taken as decimal hours",
        ),
    ] {
        if is_a(1.0 / unit_s) {
            return (TimeFormat::Count { unit_s, absolute }, Some(remark));
        }
    }
    // A spreadsheet's count of days: no recorder samples five thousand times a second.
    if !steps.is_empty() && median < 2e-4 && SERIAL_DAYS.contains(&first) {
        let rounded = numbers.iter().all(|days| (days * 1e5).fract().abs() < 1e-4);
        let remark = if rounded {
            "the time column counts days since 1899-12-30, as spreadsheets do, taken as UTC: five \
             decimals are steps of 0.9 s, so write eight"
        } else {
            "the time column counts days since 1899-12-30, as spreadsheets do, taken as UTC"
        };
        return (TimeFormat::Serial, Some(remark));
    }
    if !steps.is_empty() && median < 2e-4 {
        let unit_s = 86_400.0;
        let remark =
            "the time column has no unit: steps below two ten-thousandths are taken as days";
        return (TimeFormat::Count { unit_s, absolute }, Some(remark));
    }
    (
        TimeFormat::Count {
            unit_s: 1.0,
            absolute,
        },
        None,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(format: TimeFormat, text: &str) -> Option<f64> {
        TimeReader::new(format, b'.').read(text.as_bytes())
    }

    /// 1 700 000 000 s after 1970 is 2023-11-14T22:13:20Z.
    #[test]
    fn dates_in_several_spellings_are_the_same_moment() {
        for text in [
            "2023-11-14T22:13:20Z",
            "2023-11-14T23:13:20+01:00",
            "2023-11-14 22:13:20",
            "2023-11-14 22:13:20Z",
            "2023-11-14 22:13:20 UTC",
            "2023/11/14 22:13:20",
            "14.11.2023 22:13:20",
            "14/11/2023 22:13:20",
            "14-11-2023 22:13:20",
            "11/14/2023 10:13:20 PM",
            "2023-11-14 10:13:20 pm",
            "2023年11月14日 22:13:20",
            "2023-11-14T22:13:20.000Z",
            "2023-11-14T22:13:20,000Z",
        ] {
            assert_eq!(read(TimeFormat::Date, text), Some(1.7e9), "{text}");
        }
        // May be the tenth of November.
        assert_eq!(read(TimeFormat::Date, "11/10/2023 22:13:20"), None);
        assert_eq!(read(TimeFormat::Date, "yesterday"), None);
        assert!(read(TimeFormat::Date, "").unwrap().is_nan());
    }

    #[test]
    fn the_shortcut_for_rows_of_a_minute_reads_the_same() {
        let mut reader = TimeReader::new(TimeFormat::Date, b'.');
        for half in 0..400_u32 {
            let t = f64::from(half) * 0.5;
            let text = format!(
                "2023-11-14T22:{:02}:{:04.1}+00:00",
                13 + (t as u32) / 60,
                t % 60.0
            );
            assert_eq!(
                reader.read(text.as_bytes()),
                Some(1.7e9 - 20.0 + t),
                "{text}"
            );
        }
    }

    #[test]
    fn clocks_count_hours_and_pass_midnight() {
        assert_eq!(read(TimeFormat::Clock, "1:02:03.5"), Some(3723.5));
        assert_eq!(read(TimeFormat::Clock, "02:03"), Some(123.0));
        assert_eq!(read(TimeFormat::Clock, "1:2:3:4"), None);
        let mut reader = TimeReader::new(TimeFormat::Clock, b'.');
        assert_eq!(reader.read(b"23:59:59"), Some(86_399.0));
        assert_eq!(reader.read(b"0:00:00"), Some(86_400.0));
        assert!(!reader.passed_hours);
        let mut reader = TimeReader::new(TimeFormat::Clock, b'.');
        assert_eq!(reader.read(b"59:59.5"), Some(3599.5));
        assert_eq!(reader.read(b"00:00.5"), Some(3600.5));
        assert!(reader.passed_hours);
    }

    #[test]
    fn bare_numbers_are_read_by_their_size() {
        let recognised = |cells: &[&str], unit| {
            let cells: Vec<Vec<u8>> = cells.iter().map(|c| c.as_bytes().to_vec()).collect();
            recognise(&cells, b'.', unit).unwrap().0
        };
        let count = |unit_s, absolute| TimeFormat::Count { unit_s, absolute };
        assert_eq!(recognised(&["0", "1", "2"], None), count(1.0, false));
        assert_eq!(recognised(&["0", "1000", "2000"], None), count(1e-3, false));
        assert_eq!(
            recognised(&["0", "5", "10"], Some(1e-3)),
            count(1e-3, false)
        );
        assert_eq!(recognised(&["1700000000"], None), count(1.0, true));
        let minutes = ["0", "0.0167", "0.0333", "0.05", "0.0667"];
        assert_eq!(recognised(&minutes, None), count(60.0, false));
        let hours = ["0", "0.000278", "0.000556", "0.000833"];
        assert_eq!(recognised(&hours, None), count(3600.0, false));
        assert_eq!(recognised(&["1700000000123"], None), count(1e-3, true));
        assert_eq!(recognised(&["", "0:00:01"], None), TimeFormat::Clock);
    }
}
