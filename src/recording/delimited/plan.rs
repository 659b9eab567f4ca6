//! Which columns of a file are read, and how.

use std::path::Path;

use super::dialect::Dialect;
use super::head::{Column, Head, Role, is_power, is_specified, leg, time_head};
use super::mark;
use super::number::{is_missing, shown, value_of};
use super::time::{TimeFormat, recognise};
use crate::recording::error::list;
use crate::recording::names::{Meaning, Quantity, Side, left_out, meaning};
use crate::recording::vocabulary::{is_device, is_lap, is_mode, time_unit};
use crate::recording::{Channel, ReadOptions, RecordingError, TimeBase, moment};
use crate::text::clean_text;

/// Which columns are read, and how.
#[derive(Debug)]
pub(super) struct Plan {
    pub(super) time: usize,
    pub(super) time_name: String,
    /// A column with the day, where time and day stand apart.
    pub(super) date: Option<usize>,
    pub(super) time_format: TimeFormat,
    pub(super) device: Option<usize>,
    /// Used columns; their place is their column in the table.
    pub(super) columns: Vec<Column>,
    /// Places in `columns` of the power of the left leg and of the right: the sum takes the place of
    /// the first, the balance that of the second.
    pub(super) legs: Vec<(usize, usize)>,
    /// Heads of the columns that are not used.
    pub(super) unused: Vec<String>,
    pub(super) remarks: Vec<String>,
    pub(super) width: usize,
    pub(super) mark: u8,
}

impl Plan {
    pub(super) fn new(
        path: &Path,
        text: &[u8],
        dialect: &Dialect,
        options: &ReadOptions,
    ) -> Result<Self, RecordingError> {
        let heads = &dialect.heads;
        let no_column = |specified: &str| RecordingError::NoColumn {
            path: path.to_owned(),
            wanted: format!("column “{}”", clean_text(specified)),
            found: heads.clone(),
            way_out: "correct the name in session.toml",
        };
        let find = |specified: &Option<String>| match specified {
            Some(specified) => match heads
                .iter()
                .position(|name| is_specified(name, Some(specified)))
            {
                Some(index) => Ok(Some(index)),
                None => Err(no_column(specified)),
            },
            None => Ok(None),
        };
        let told_device = find(&options.columns.device)?;
        let time = match find(&options.columns.time)? {
            Some(time) => time,
            None => best_time(heads).ok_or_else(|| {
                without_columns(
                    path,
                    Head {
                        names: heads.clone(),
                        has_power: true,
                        ..Head::default()
                    },
                )
            })?,
        };
        let device = told_device.or_else(|| heads.iter().position(|name| is_device(name)));
        refuse_side_by_side(path, dialect, time)?;
        let mut remarks = remarks_on_heads(dialect);
        let Chosen {
            columns,
            legs,
            unused,
        } = columns(dialect, options, &[Some(time), device], &mut remarks);
        let numbers = columns.iter().filter(|column| column.role != Role::Mode);
        let used: Vec<usize> = std::iter::once(time)
            .chain(numbers.map(|column| column.index))
            .collect();
        let (mark, doubt) =
            mark::settle(text, dialect.separator, dialect.rows_before_data(), &used)
                .map_err(|doubt| in_doubt(path, &doubt, heads))?;
        remarks.extend(doubt.map(|doubt| doubt_settled(&doubt, mark, heads)));
        let mut plan = Self {
            time,
            time_name: heads.get(time).cloned().unwrap_or_default(),
            date: None,
            time_format: TimeFormat::Clock,
            device,
            columns,
            legs,
            unused,
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
        let (format, remark) = recognise(&cells, self.mark, unit_s).map_err(|row| {
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
                    moment::date(&text).is_some()
                })
            };
            if let Some(index) = day.filter(is_day) {
                self.unused.retain(|name| *name != dialect.heads[index]);
                self.date = Some(index);
                self.time_format = TimeFormat::Date;
            }
        }
        Ok(())
    }

    pub(super) fn bad_time(&self, path: &Path, line: u64, cell: &[u8]) -> RecordingError {
        if moment::is_ambiguous_day(&String::from_utf8_lossy(cell)) {
            return RecordingError::Unclear {
                path: path.to_owned(),
                what: format!(
                    "line {line}, column “{}”: in “{}” either number may be the month",
                    self.time_name,
                    shown(cell)
                ),
                way_out: "write dates as 2026-11-25 07:00:00",
            };
        }
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
    pub(super) fn time_base(&self) -> TimeBase {
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

/// How a number of two readings was read, where only the others tell.
fn doubt_settled(doubt: &mark::Doubt, mark: u8, heads: &[String]) -> String {
    let value = value_of(&doubt.cell, mark).map_or_else(|| "?".to_owned(), |v| v.to_string());
    format!(
        "line {}, column “{}”: “{}” is read as {value}, by how the other numbers are written",
        doubt.line,
        heads.get(doubt.column).map_or("", String::as_str),
        shown(&doubt.cell)
    )
}

/// What is read of the columns.
struct Chosen {
    columns: Vec<Column>,
    legs: Vec<(usize, usize)>,
    unused: Vec<String>,
}

/// The columns with a meaning, except those in `taken`.
fn columns(
    dialect: &Dialect,
    options: &ReadOptions,
    taken: &[Option<usize>],
    remarks: &mut Vec<String>,
) -> Chosen {
    let specified = told_column(dialect, options);
    let (mut columns, mut unused) = (Vec::new(), Vec::new());
    for (index, name) in dialect.heads.iter().enumerate() {
        if taken.contains(&Some(index)) {
            continue;
        }
        let unit = dialect.units.as_ref().and_then(|units| units.get(index));
        let role = match meaning(name, unit.map(String::as_str)) {
            _ if specified == Some(index) => Role::Measured(as_power(name, unit)),
            Some(meaning) if needs_numbers(&meaning) && !holds_numbers(dialect, index) => {
                unused.extend(name_or_number(dialect, index));
                continue;
            }
            Some(meaning) => Role::Measured(meaning),
            None if is_lap(name) => Role::Lap,
            None if is_mode(name) => Role::Mode,
            None => {
                unused.extend(name_or_number(dialect, index));
                continue;
            }
        };
        columns.push(Column {
            index,
            name: name.clone(),
            role,
        });
    }
    unused.extend(leave_out_doubtful(&mut columns, specified, remarks));
    let legs = join_legs(&mut columns, &mut unused, remarks);
    Chosen {
        columns,
        legs,
        unused,
    }
}

/// Whether a column of this meaning is left out rather than refused where it holds words, as in
/// "resistance: auto": no verdict rests on it.
fn needs_numbers(meaning: &Meaning) -> bool {
    matches!(
        meaning.quantity,
        Quantity::Channel(Channel::Torque | Channel::Resistance | Channel::Altitude)
    )
}

/// Whether the first rows of a column hold numbers, or nothing.
fn holds_numbers(dialect: &Dialect, index: usize) -> bool {
    dialect.sample.iter().all(|row| {
        let cell = row.get(index).map_or(&[][..], |cell| cell.trim_ascii());
        let is_numeral = |byte: &u8| byte.is_ascii_digit() || b"+-., eE".contains(byte);
        is_missing(cell) || cell.iter().all(is_numeral)
    })
}

/// The head of a column, or its number where it has none but holds something.
fn name_or_number(dialect: &Dialect, index: usize) -> Option<String> {
    let name = dialect.heads.get(index)?;
    if !name.trim().is_empty() {
        return Some(name.clone());
    }
    let cell = |row: &Vec<Vec<u8>>| row.get(index).is_some_and(|c| !is_missing(c.trim_ascii()));
    let holds_something = dialect.sample.iter().any(cell);
    holds_something.then(|| format!("column {}, without a head", index + 1))
}

/// Makes a left and a right leg's power one power, and a balance. Where a column holds the power of
/// both, or of something that may be both, the legs are not used: added, they would be compared
/// with themselves.
fn join_legs(
    columns: &mut Vec<Column>,
    unused: &mut Vec<String>,
    remarks: &mut Vec<String>,
) -> Vec<(usize, usize)> {
    let measured = |column: &Column| match &column.role {
        Role::Measured(meaning) => Some(meaning.clone()),
        Role::Lap | Role::Mode => None,
    };
    let powers: Vec<Meaning> = columns.iter().filter_map(measured).collect();
    let is_whole = |rest: &str| {
        let mut powers = powers.iter().filter(|meaning| is_power(meaning));
        powers.any(|power| rest.is_empty() || power.rest == rest)
    };
    let of = |column: &Column, side: Side| {
        measured(column).filter(|meaning| leg(meaning) == Some(side) && !is_whole(&meaning.rest))
    };
    let mut pairs = Vec::new();
    for left in columns.iter() {
        let Some(one) = of(left, Side::Left) else {
            continue;
        };
        let is_other = |column: &&Column| {
            of(column, Side::Right)
                .is_some_and(|other| other.rest == one.rest && other.factor == one.factor)
        };
        let free = |column: &&Column| pairs.iter().all(|(_, taken)| *taken != column.index);
        if let Some(right) = columns.iter().filter(free).find(is_other) {
            pairs.push((left.index, right.index));
        }
    }
    let in_pair = |index: usize| pairs.iter().any(|(l, r)| *l == index || *r == index);
    columns.retain(|column| {
        let kept = measured(column).and_then(|m| leg(&m)).is_none() || in_pair(column.index);
        unused.extend((!kept).then(|| column.name.clone()));
        kept
    });
    let place = |index: usize| columns.iter().position(|column| column.index == index);
    let places: Vec<_> = pairs
        .iter()
        .filter_map(|(left, right)| Some((place(*left)?, place(*right)?)))
        .collect();
    for (left, right) in &places {
        let (one, other) = (columns[*left].name.clone(), columns[*right].name.clone());
        remarks.push(format!(
            "“{one}” and “{other}” are one leg's power each: their sum is the power, and their balance is kept"
        ));
        for (at, quantity) in [
            (*left, Quantity::Channel(Channel::Power)),
            (*right, Quantity::Channel(Channel::Balance)),
        ] {
            if let Role::Measured(meaning) = &mut columns[at].role {
                meaning.quantity = quantity;
                meaning.named = true;
                meaning.has_unit = true;
            }
        }
        columns[*left].name = format!("{one} + {other}");
        if let Role::Measured(meaning) = &mut columns[*right].role {
            meaning.factor = 1.0;
        }
    }
    places
}

/// Leaves out columns that are power by their unit alone where others are so by name.
fn leave_out_doubtful(
    columns: &mut Vec<Column>,
    specified: Option<usize>,
    remarks: &mut Vec<String>,
) -> Vec<String> {
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
    let is_doubtful =
        |column: &Column| power(column) == Some(true) && specified != Some(column.index);
    let doubtful = columns.iter().filter(|column| is_doubtful(column));
    let names: Vec<String> = doubtful.map(|column| column.name.clone()).collect();
    if some_certain {
        columns.retain(|column| !is_doubtful(column));
        remarks.extend(left_out(&names));
        return names;
    }
    if several && specified.is_none() {
        remarks.push(format!(
            "taken for meters' power by the unit alone: {}; give what is none the role context",
            list(&names)
        ));
    }
    Vec::new()
}

pub(super) fn head_alone(path: &Path) -> RecordingError {
    RecordingError::NoSamples {
        path: path.to_owned(),
        what: "a header line without rows".to_owned(),
        messages: 0,
    }
}

pub(super) fn without_columns(path: &Path, head: Head) -> RecordingError {
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
        .filter(|name| meaning(name, None).as_ref().and_then(leg).is_some())
        .cloned()
        .collect();
    let (wanted, way_out) = match (head.has_time, head.has_power) {
        (true, _) if !legs.is_empty() => {
            let what = format!(
                "no power of both legs in it, only that of one: “{}”; twice that is a guess, since \
                 nobody pushes alike with both",
                legs.join("”, “")
            );
            return unclear(
                what,
                "export the other leg's column too, or head the power of both “power_w”",
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

/// The place of the column told as power, by its whole name or by what stands before `:device`.
fn told_column(dialect: &Dialect, options: &ReadOptions) -> Option<usize> {
    let specified = options.columns.power.as_deref()?;
    let find = |name: &str| {
        dialect
            .heads
            .iter()
            .position(|h| is_specified(h, Some(name)))
    };
    find(specified).or_else(|| find(specified.rsplit_once(':')?.0))
}

/// A column as power, whatever its name.
fn as_power(name: &str, unit: Option<&String>) -> Meaning {
    meaning(name, unit.map(String::as_str))
        .filter(is_power)
        .unwrap_or(Meaning {
            quantity: Quantity::Channel(Channel::Power),
            factor: 1.0,
            shift: 0.0,
            has_unit: false,
            named: true,
            rest: name.to_lowercase(),
        })
}
