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
mod streams;
mod time;

use std::path::Path;

use super::error::list;
use super::names::{is_one_leg, left_out, meaning};
use super::rows::Table;
use super::{
    Damage, Format, ReadOptions, Recording, RecordingError, TimeBase, clean_text, read as reading,
};
use dialect::Dialect;
use head::{Column, Role, is_device, is_lap, is_power, is_told, time_head, time_unit};
use number::{Cell, cell};
use time::{TimeFormat, TimeReader};

/// Devices in a file with one row a device and moment; more are not told apart by that column.
const MAX_DEVICES: usize = 32;

/// The largest number that can be a reading, in whatever unit.
const MOST_READING: f64 = 1e9;

/// Reads delimited text.
pub(super) fn read(
    path: &Path,
    bytes: &[u8],
    options: &ReadOptions,
) -> Result<Recording, RecordingError> {
    let text = bytes.strip_prefix(reading::UTF8_MARK).unwrap_or(bytes);
    let dialect = dialect::recognise(text, options).map_err(|head| without_columns(path, head))?;
    let plan = Plan::new(path, text, &dialect, options)?;
    let mut rows = Rows::new(&plan, text.len());
    rows.read(path, text, &dialect, &plan)?;
    rows.finish(path, plan, options)
}

fn head_alone(path: &Path) -> RecordingError {
    RecordingError::NoSamples {
        path: path.to_owned(),
        what: "a header line without rows".to_owned(),
        messages: 0,
    }
}

fn without_columns(path: &Path, head: head::Head) -> RecordingError {
    let unclear = |what: String, way_out| RecordingError::Unclear {
        path: path.to_owned(),
        what,
        way_out,
    };
    if head
        .names
        .iter()
        .any(|name| name.contains(char::REPLACEMENT_CHARACTER))
    {
        let what = "this text is in another encoding than UTF-8, so that its header line cannot \
                    be read";
        return unclear(what.to_owned(), "save it as UTF-8");
    }
    let legs: Vec<String> = head
        .names
        .iter()
        .filter(|name| is_one_leg(name))
        .cloned()
        .collect();
    let (wanted, way_out) = match (head.has_time, head.has_power) {
        (true, _) if !legs.is_empty() => {
            let what = format!(
                "no power of both legs in it, only that of the left and right alone: “{}”",
                legs.join("”, “")
            );
            return unclear(
                what,
                "add a column “power_w” with the sum of left and right in each row",
            );
        }
        (true, _) => (
            "power column",
            "name it by `channel` in session.toml, or head it “power_w”",
        ),
        (false, true) => (
            "time column",
            "if one holds times, head it “time_s”, or name it by `columns.time` in session.toml; \
             if none does, nothing says when each row was recorded: export the ride with times",
        ),
        (false, false) => (
            "header line with a time and a power column",
            "head the columns “time_s” and “power_w”",
        ),
    };
    RecordingError::NoColumn {
        path: path.to_owned(),
        wanted: wanted.to_owned(),
        found: head.names,
        way_out,
    }
}

/// Which columns are read, and how.
#[derive(Debug)]
struct Plan {
    time: usize,
    time_name: String,
    /// A column with the day, where time and day stand apart.
    date: Option<usize>,
    time_format: TimeFormat,
    device: Option<usize>,
    /// Used columns; their place is their column in the table.
    columns: Vec<Column>,
    remarks: Vec<String>,
    width: usize,
    mark: u8,
}

impl Plan {
    fn new(
        path: &Path,
        text: &[u8],
        dialect: &Dialect,
        options: &ReadOptions,
    ) -> Result<Self, RecordingError> {
        let heads = &dialect.heads;
        let no_column = |told: &str| RecordingError::NoColumn {
            path: path.to_owned(),
            wanted: format!("column “{}”", clean_text(told)),
            found: heads.clone(),
            way_out: "correct the name in session.toml",
        };
        let find = |told: &Option<String>| match told {
            Some(told) => match heads.iter().position(|name| is_told(name, Some(told))) {
                Some(index) => Ok(Some(index)),
                None => Err(no_column(told)),
            },
            None => Ok(None),
        };
        let told_device = find(&options.columns.device)?;
        let time = match find(&options.columns.time)? {
            Some(time) => time,
            None => best_time(heads).ok_or_else(|| {
                without_columns(
                    path,
                    head::Head {
                        names: heads.clone(),
                        has_power: true,
                        ..head::Head::default()
                    },
                )
            })?,
        };
        let device = told_device.or_else(|| heads.iter().position(|name| is_device(name)));
        refuse_side_by_side(path, dialect, time)?;
        let mut remarks = remarks_on_heads(dialect);
        let columns = columns(dialect, options, &[Some(time), device], &mut remarks);
        let used: Vec<usize> = std::iter::once(time)
            .chain(columns.iter().map(|column| column.index))
            .collect();
        let mark = mark::settle(text, dialect.separator, dialect.rows_before_data(), &used)
            .map_err(|doubt| in_doubt(path, &doubt, heads))?;
        let mut plan = Self {
            time,
            time_name: heads.get(time).cloned().unwrap_or_default(),
            date: None,
            time_format: TimeFormat::Clock,
            device,
            columns,
            remarks,
            width: heads.len(),
            mark,
        };
        plan.choose_time_format(path, dialect)?;
        Ok(plan)
    }

    fn choose_time_format(&mut self, path: &Path, dialect: &Dialect) -> Result<(), RecordingError> {
        let column = |index: usize| -> Vec<Vec<u8>> {
            let cell = |row: &Vec<Vec<u8>>| row.get(index).cloned().unwrap_or_default();
            dialect.sample.iter().map(cell).collect()
        };
        let unit_below = dialect
            .units
            .as_ref()
            .and_then(|units| time_unit(units.get(self.time)?));
        let unit_s = time_head(&self.time_name)
            .and_then(|head| head.unit_s)
            .or(unit_below);
        let cells = column(self.time);
        if cells.is_empty() {
            return Err(head_alone(path));
        }
        let (format, remark) = time::recognise(&cells, self.mark, unit_s).map_err(|row| {
            let line = dialect.rows_before_data() + row + 1;
            let cell = cells.get(row).map_or(&[][..], Vec::as_slice);
            self.bad_time(path, line as u64, cell)
        })?;
        self.time_format = format;
        self.remarks.extend(remark.map(str::to_owned));
        if format == TimeFormat::Clock {
            let day = dialect.heads.iter().position(|name| {
                time_head(name).is_some_and(|head| head.rank == 2) && *name != self.time_name
            });
            let is_day = |index: &usize| {
                let first = column(*index).into_iter().find(|cell| !cell.is_empty());
                first.is_some_and(|cell| {
                    let text = format!("{}T00:00:00", String::from_utf8_lossy(&cell).trim());
                    super::moment::date(&text).is_some()
                })
            };
            if let Some(index) = day.filter(is_day) {
                self.date = Some(index);
                self.time_format = TimeFormat::Date;
            }
        }
        Ok(())
    }

    fn bad_time(&self, path: &Path, line: u64, cell: &[u8]) -> RecordingError {
        RecordingError::BadCell {
            path: path.to_owned(),
            line,
            column: self.time_name.clone(),
            value: shown(cell),
            wanted: "a time",
            way_out: "write seconds, h:mm:ss or a date as 2026-11-25T07:00:00Z",
        }
    }

    /// What the times count from.
    fn time_base(&self) -> TimeBase {
        match self.time_format {
            TimeFormat::Date | TimeFormat::Serial | TimeFormat::Count { absolute: true, .. } => {
                TimeBase::Absolute
            }
            TimeFormat::Clock | TimeFormat::Count { .. } => TimeBase::Elapsed,
        }
    }
}

/// The time column of the lowest rank, the first of several.
fn best_time(heads: &[String]) -> Option<usize> {
    let ranked = heads
        .iter()
        .enumerate()
        .filter_map(|(index, name)| Some((time_head(name)?.rank, index)));
    ranked.min().map(|(_, index)| index)
}

/// Two logs put side by side, each with times of its own: read by the first's, the second's power
/// would stand at times that are not its own.
fn refuse_side_by_side(path: &Path, dialect: &Dialect, time: usize) -> Result<(), RecordingError> {
    let differs = |other: usize| {
        let cells = |row: &Vec<Vec<u8>>| row.get(time) != row.get(other);
        dialect.sample.iter().any(cells)
    };
    let mut repeats = dialect.repeats.iter();
    match repeats.find(|(first, again)| *first == time && differs(*again)) {
        Some(_) => Err(RecordingError::Unclear {
            path: path.to_owned(),
            what: format!(
                "two columns with different times are headed “{}”: two logs side by side",
                dialect.heads[time]
            ),
            way_out: "save each as a file of its own",
        }),
        None => Ok(()),
    }
}

/// What the header line leaves open.
fn remarks_on_heads(dialect: &Dialect) -> Vec<String> {
    let mut remarks = Vec::new();
    let again = dialect.repeats.iter().map(|(_, again)| *again);
    let names: Vec<String> = again
        .filter_map(|again| dialect.heads.get(again).cloned())
        .collect();
    if !names.is_empty() {
        remarks.push(format!(
            "two columns or more have the same head: the later are called {} here",
            list(&names)
        ));
    }
    let is_garbled = |head: &String| head.contains(char::REPLACEMENT_CHARACTER);
    if dialect.heads.iter().any(is_garbled) {
        remarks.push(
            "the header line is in another encoding than UTF-8: a column whose name or unit is \
             not plain English may not be recognised; save the file as UTF-8"
                .to_owned(),
        );
    }
    remarks
}

fn in_doubt(path: &Path, doubt: &mark::Doubt, heads: &[String]) -> RecordingError {
    let cell = shown(&doubt.cell);
    let without = cell.replace(['.', ','], "");
    let point = cell.replace(',', ".");
    let point = point.trim_end_matches('0').trim_end_matches('.');
    RecordingError::Unclear {
        path: path.to_owned(),
        what: format!(
            "line {}, column “{}”: “{cell}” may be {without} or {point}, and no other number \
             tells whether the mark groups thousands or begins the decimals",
            doubt.line,
            heads.get(doubt.column).map_or("", String::as_str)
        ),
        way_out: "write thousands without a mark, or every number of the column with as many \
                  decimals",
    }
}

/// The columns with a meaning, except those in `taken`.
fn columns(
    dialect: &Dialect,
    options: &ReadOptions,
    taken: &[Option<usize>],
    remarks: &mut Vec<String>,
) -> Vec<Column> {
    let told = streams::told_column(dialect, options);
    let mut columns = Vec::new();
    for (index, name) in dialect.heads.iter().enumerate() {
        if taken.contains(&Some(index)) {
            continue;
        }
        let unit = dialect.units.as_ref().and_then(|units| units.get(index));
        let role = match meaning(name, unit.map(String::as_str)) {
            _ if told == Some(index) => Role::Measured(streams::as_power(name, unit)),
            Some(meaning) => Role::Measured(meaning),
            None if is_lap(name) => Role::Lap,
            None => continue,
        };
        columns.push(Column {
            index,
            name: name.clone(),
            role,
        });
    }
    leave_out_doubtful(&mut columns, told, remarks);
    columns
}

/// Leaves out columns that are power by their unit alone where others are so by name.
fn leave_out_doubtful(columns: &mut Vec<Column>, told: Option<usize>, remarks: &mut Vec<String>) {
    let power = |column: &Column| match &column.role {
        Role::Measured(meaning) if is_power(meaning) => Some(meaning.is_power_by_unit_alone()),
        _ => None,
    };
    let some_certain = columns.iter().any(|column| power(column) == Some(false));
    let several = columns
        .iter()
        .filter(|column| power(column).is_some())
        .count()
        > 1;
    let is_doubtful = |column: &Column| power(column) == Some(true) && told != Some(column.index);
    let doubtful = columns.iter().filter(|column| is_doubtful(column));
    let names: Vec<String> = doubtful.map(|column| column.name.clone()).collect();
    if some_certain {
        columns.retain(|column| !is_doubtful(column));
        remarks.extend(left_out(&names));
    } else if several && told.is_none() {
        remarks.push(format!(
            "taken for meters' power by the unit alone: {}; give what is none the role context",
            list(&names)
        ));
    }
}

/// The rows of one device, or of all.
struct Group {
    name: Vec<u8>,
    table: Table,
}

/// Rows under way.
struct Rows {
    groups: Vec<Group>,
    file_bytes: usize,
    damage: Vec<Damage>,
    short_rows: usize,
    without_device: usize,
    without_zone: bool,
    /// Whether no clock time had more than two parts.
    two_parts: bool,
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
            two_parts: false,
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
            let surplus = (plan.width..record.len()).filter_map(|place| record.get(place));
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
            for (place, column) in plan.columns.iter().enumerate() {
                let text = record.get(column.index).unwrap_or_default();
                match cell(text, plan.mark) {
                    Cell::Number(number) if number.abs() <= MOST_READING => {
                        table.put(place, number);
                    }
                    Cell::Missing => {}
                    Cell::Number(_) | Cell::Text => {
                        return Err(bad_number(path, line(), column, text));
                    }
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
                    super::words::grouped(line)
                ),
            });
        }
        self.without_zone = times.without_zone;
        self.two_parts = times.two_parts;
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
                    super::words::grouped(line),
                    super::words::plural(lines_after, "line")
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
        if self.short_rows > 0 {
            remarks.push(format!(
                "{} with fewer cells than the header line: what lacks is missing",
                super::words::plural(self.short_rows, "row")
            ));
        }
        if self.without_device > 0 {
            remarks.push(format!(
                "{} without a device, or with one too many, left out",
                super::words::plural(self.without_device, "row")
            ));
        }
        let time_base = plan.time_base();
        let found = streams::assemble(path, self.groups, &plan, options, &mut remarks)?;
        Ok(Recording {
            path: path.to_owned(),
            format: Format::Delimited,
            sha256: String::new(),
            time_base,
            streams: found.streams,
            laps: found.laps,
            events: Vec::new(),
            set_points: found.set_points,
            device: None,
            damage: self.damage,
            remarks,
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
        way_out: "correct the cell (no mark may group thousands), or leave it empty where the \
                  value is missing",
    }
}

/// A cell for a message: cleaned and not too long.
fn shown(cell: &[u8]) -> String {
    const LONGEST: usize = 40;
    let text = clean_text(&String::from_utf8_lossy(cell));
    match text.char_indices().nth(LONGEST) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text,
    }
}
