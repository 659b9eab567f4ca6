//! Delimited text: comma, semicolon, tab or bar between columns, one row a moment, or one row a
//! device and moment.
//!
//! [`dialect`] finds separator and header line, [`head`] what the columns hold, [`mark`] the decimal
//! mark, [`time`] how times are written; [`number`] reads cells; [`streams`] puts together what
//! belongs to one device.

mod dialect;
mod head;
mod mark;
mod number;
mod plan;
mod streams;
mod time;

use std::path::Path;

use super::mode::ModeWords;
use super::rows::Table;
use super::{Damage, Format, ReadOptions, Recording, RecordingError};
use dialect::Dialect;
use head::{Column, Role};
use number::{Cell, cell, grouped, shown};
use plan::{Plan, head_alone, without_columns};
use streams::Group;
use time::TimeReader;

/// Devices in a file with one row a device and moment; more are not told apart by that column.
const MAX_DEVICES: usize = 32;

/// The largest number that can be a reading, in whatever unit.
const MOST_READING: f64 = 1e9;

/// Reads delimited text in UTF-8.
pub(super) fn read(
    path: &Path,
    text: &[u8],
    options: &ReadOptions,
) -> Result<Recording, RecordingError> {
    let dialect = dialect::recognise(text, options).map_err(|head| without_columns(path, head))?;
    let plan = Plan::new(path, text, &dialect, options)?;
    let mut rows = Rows::new(&plan, text.len());
    rows.read(path, text, &dialect, &plan)?;
    rows.finish(path, plan, options)
}

/// Rows under way.
struct Rows {
    groups: Vec<Group>,
    file_bytes: usize,
    damage: Vec<Damage>,
    short_rows: usize,
    without_device: usize,
    without_zone: bool,
    /// Whether clock times of minutes and seconds began anew with the hour.
    passed_hours: bool,
    /// The first number whose thousands are grouped, and its line.
    grouped: Option<(u64, String)>,
    /// Whether no clock time had more than two parts.
    two_parts: bool,
    modes: ModeWords,
}

impl Rows {
    fn new(plan: &Plan, file_bytes: usize) -> Self {
        let mut rows = Self {
            groups: Vec::new(),
            file_bytes,
            damage: Vec::new(),
            short_rows: 0,
            without_device: 0,
            without_zone: false,
            passed_hours: false,
            grouped: None,
            two_parts: false,
            modes: ModeWords::default(),
        };
        if plan.device.is_none() {
            rows.open_group(Vec::new(), plan);
        }
        rows
    }

    fn open_group(&mut self, name: Vec<u8>, plan: &Plan) -> usize {
        let table = Table::new(plan.columns.len(), self.file_bytes);
        self.groups.push(Group { name, table });
        self.groups.len() - 1
    }

    fn read(
        &mut self,
        path: &Path,
        text: &[u8],
        dialect: &Dialect,
        plan: &Plan,
    ) -> Result<(), RecordingError> {
        let mut reader = dialect::reader(text, dialect.separator);
        let mut record = csv::ByteRecord::new();
        let broken = |error: csv::Error| RecordingError::Io {
            path: path.to_owned(),
            source: std::io::Error::other(error),
        };
        for _ in 0..dialect.rows_before_data() {
            reader.read_byte_record(&mut record).map_err(broken)?;
        }
        let mut times = TimeReader::new(plan.time_format, plan.mark);
        let mut day_and_time = Vec::new();
        let mut group = 0;
        let mut last_was_short = None;
        let (mut last_begins, mut last_line) = (0, 0);
        while reader.read_byte_record(&mut record).map_err(broken)? {
            let line = || record.position().map_or(0, csv::Position::line);
            if let Some(position) = record.position() {
                (last_begins, last_line) = (position.byte() as usize, position.line());
            }
            if record.len() < plan.width {
                self.short_rows += 1;
                last_was_short = Some(line());
            } else {
                last_was_short = None;
            }
            let surplus = (plan.width..record.len()).filter_map(|index| record.get(index));
            if let Some(text) = surplus
                .map(<[u8]>::trim_ascii)
                .find(|text| !text.is_empty())
            {
                return Err(RecordingError::Surplus {
                    path: path.to_owned(),
                    line: line(),
                    value: shown(text),
                    heads: plan.width,
                });
            }
            let mut time = record.get(plan.time).unwrap_or_default();
            if let Some(day) = plan.date {
                day_and_time.clear();
                day_and_time.extend(record.get(day).unwrap_or_default());
                day_and_time.push(b'T');
                day_and_time.extend(time);
                time = &day_and_time;
            }
            let Some(time_s) = times.read(time) else {
                return Err(plan.bad_time(path, line(), time));
            };
            if let Some(device) = plan.device {
                let name = record.get(device).unwrap_or_default();
                if self.groups.get(group).is_none_or(|g| g.name != name) {
                    match self.find_group(name, plan) {
                        Some(found) => group = found,
                        None => {
                            self.without_device += 1;
                            continue;
                        }
                    }
                }
            }
            let Some(Group { table, .. }) = self.groups.get_mut(group) else {
                continue;
            };
            table.push(time_s);
            for (index, column) in plan.columns.iter().enumerate() {
                let text = record.get(column.index).unwrap_or_default();
                if column.role == Role::Mode {
                    let word = Some(text.trim_ascii()).filter(|word| !number::is_missing(word));
                    let word = word.map(String::from_utf8_lossy);
                    let number = word.and_then(|word| self.modes.number(&word));
                    table.put(index, number.unwrap_or(f64::NAN));
                    continue;
                }
                match cell(text, plan.mark) {
                    Cell::Number(number) if number.abs() <= MOST_READING => {
                        table.put(index, number);
                    }
                    Cell::Missing => {}
                    Cell::Text => match grouped(text, plan.mark) {
                        Some(number) if number.abs() <= MOST_READING => {
                            self.grouped.get_or_insert_with(|| (line(), shown(text)));
                            table.put(index, number);
                        }
                        _ => return Err(bad_number(path, line(), column, text)),
                    },
                    Cell::Number(_) => return Err(bad_number(path, line(), column, text)),
                }
            }
            if let Some((rows, columns)) = table.too_sparse() {
                return Err(RecordingError::TooSparse {
                    path: path.to_owned(),
                    rows,
                    columns,
                });
            }
        }
        self.note_open_quote(text, last_begins, last_line);
        if let (Some(line), false) = (last_was_short, text.ends_with(b"\n")) {
            self.short_rows -= 1;
            self.damage.push(Damage {
                at: line,
                message: format!(
                    "the file is cut off in line {}: its last row lacks columns, later rows may \
                     be missing",
                    crate::text::grouped(line)
                ),
            });
        }
        self.without_zone = times.without_zone;
        self.two_parts = times.two_parts;
        self.passed_hours = times.passed_hours;
        Ok(())
    }

    /// A quote that is never closed makes one cell of all the lines after it: that must be told.
    fn note_open_quote(&mut self, text: &[u8], last_begins: usize, line: u64) {
        let tail = text.get(last_begins..).unwrap_or_default();
        let quotes = tail.iter().filter(|byte| **byte == b'"').count();
        let lines_after = tail
            .trim_ascii_end()
            .iter()
            .filter(|byte| **byte == b'\n')
            .count();
        if quotes % 2 == 1 && lines_after > 0 {
            self.damage.push(Damage {
                at: line,
                message: format!(
                    "a quote opened in line {} is never closed: {} after it were not read; \
                     close or remove the quote",
                    crate::text::grouped(line),
                    crate::text::plural(lines_after, "line")
                ),
            });
        }
    }

    fn find_group(&mut self, name: &[u8], plan: &Plan) -> Option<usize> {
        if let Some(found) = self.groups.iter().position(|group| group.name == name) {
            return Some(found);
        }
        if number::is_missing(name.trim_ascii()) || self.groups.len() >= MAX_DEVICES {
            return None;
        }
        Some(self.open_group(name.to_vec(), plan))
    }

    fn finish(
        self,
        path: &Path,
        plan: Plan,
        options: &ReadOptions,
    ) -> Result<Recording, RecordingError> {
        let rows: usize = self.groups.iter().map(|g| g.table.time_s.len()).sum();
        if rows == 0 {
            return Err(head_alone(path));
        }
        let two_parts = self.two_parts;
        let coarse = |group: &Group| time::only_minutes(&group.table.time_s, two_parts);
        if self.groups.iter().any(coarse) {
            return Err(RecordingError::Unclear {
                path: path.to_owned(),
                what: format!(
                    "column “{}” tells whole minutes only, with many rows a minute: the second of \
                     each row is lost",
                    plan.time_name
                ),
                way_out: "export the ride with seconds (in a spreadsheet, show the column as \
                          hh:mm:ss before saving as CSV)",
            });
        }
        let mut remarks = plan.remarks.clone();
        if self.without_zone {
            remarks.push("dates without a zone are taken as UTC".to_owned());
        }
        if self.passed_hours {
            remarks.push(format!(
                "column “{}” tells minutes and seconds only and begins anew: each time an hour is \
                 taken to have passed",
                plan.time_name
            ));
        }
        if let Some((line, number)) = &self.grouped {
            remarks.push(format!(
                "line {}: “{number}” has its thousands grouped, and is read so",
                crate::text::grouped(*line)
            ));
        }
        if self.short_rows > 0 {
            remarks.push(format!(
                "{} with fewer cells than the header line: what lacks is missing",
                crate::text::plural(self.short_rows, "row")
            ));
        }
        if self.without_device > 0 {
            remarks.push(format!(
                "{} without a device, or with one too many, left out",
                crate::text::plural(self.without_device, "row")
            ));
        }
        let time_base = plan.time_base();
        remarks.extend(self.modes.remark());
        let found =
            streams::assemble(path, self.groups, &plan, &self.modes, options, &mut remarks)?;
        let understood = found.unused(&plan);
        let mut unused = plan.unused;
        unused.extend(understood);
        Ok(Recording {
            path: path.to_owned(),
            format: Format::Delimited,
            sha256: String::new(),
            time_base,
            streams: found.streams,
            laps: found.laps,
            events: Vec::new(),
            set_points: found.set_points,
            modes: found.modes,
            workout: None,
            device: None,
            clock_notes: found.clock_notes,
            damage: self.damage,
            remarks,
            unused,
        })
    }
}

fn bad_number(path: &Path, line: u64, column: &Column, text: &[u8]) -> RecordingError {
    RecordingError::BadCell {
        path: path.to_owned(),
        line,
        column: column.name.clone(),
        value: shown(text),
        wanted: "a number",
        way_out: "correct the cell, or leave it empty where the value is missing",
    }
}
