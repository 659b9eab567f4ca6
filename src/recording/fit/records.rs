//! The `record` messages: one row a moment.

use std::collections::BTreeSet;
use std::sync::Arc;

use super::decode::{Decoder, Pick, number, text};
use super::developer::{Description, Descriptions};
use super::framing::Layout;
use crate::recording::mode::ModeWords;
use crate::recording::names::{Meaning, Quantity};
use crate::recording::rows::{Ordered, Table, put_in_order};
use crate::recording::vocabulary::is_mode;
use crate::recording::{Channel, ModeSpan, TimeBase};
use fitparser::Value;
use rustyfit::profile::lookup::field_reference;
use rustyfit::profile::typedef::MesgNum;

/// Seconds from the Unix epoch to the FIT epoch, 1989-12-31T00:00:00 UTC.
pub(super) const FIT_EPOCH_S: f64 = 631_065_600.0;
/// Smaller time stamps count seconds since the recorder was switched on (FIT profile, `date_time`).
const FIRST_ABSOLUTE: u32 = 0x1000_0000;

/// Columns of the standard's own fields, first in the table.
const STANDARD: [Channel; Channel::ALL.len()] = Channel::ALL;
/// Column of accumulated power, W s.
const ACCUMULATED: usize = STANDARD.len();
/// Column of the mode, as numbers of words.
const MODE: usize = ACCUMULATED + 1;
/// First column of developer fields.
const DEVELOPER: usize = MODE + 1;
/// Developer fields are handed to the decoder under numbers from here on; the standard's fields
/// read here all have lower ones.
const DEVELOPER_NUMBERS: u8 = 128;
/// The fields of `record` read here (FIT profile, message 20).
const WANTED: [u8; 15] = [2, 3, 4, 6, 7, 8, 9, 10, 13, 29, 30, 52, 53, 73, 78];
/// Field of the time stamp, which the framing reads.
const TIMESTAMP: u8 = 253;
/// Developer columns kept; a file with more is not what a recorder writes.
const MAX_DEVELOPER: usize = 64;

/// A developer field that fills a column.
#[derive(Clone, Debug)]
pub(super) struct DeveloperColumn {
    pub(super) developer: u8,
    pub(super) name: String,
    pub(super) meaning: Option<Meaning>,
}

/// How to convert what comes under one developer number.
#[derive(Clone, Copy)]
struct Conversion {
    column: usize,
    factor: f64,
    shift: f64,
}

/// Rows and columns under way.
#[derive(Default)]
pub(super) struct Records {
    table: Table,
    developer: Vec<DeveloperColumn>,
    conversions: [Vec<Conversion>; 16],
    /// A field that the caller wants as power, whatever it is.
    specified: Option<String>,
    /// Names of the fields that are not used, the standard's own and the developers'.
    unused: BTreeSet<String>,
    since_power_up: usize,
    one_sided: usize,
    modes: ModeWords,
    /// The developer field, the first of several, that says the mode.
    mode_field: Option<(u8, String)>,
}

/// The rows in time order and what their columns are.
pub(super) struct Parts {
    pub(super) ordered: Ordered,
    pub(super) developer: Vec<DeveloperColumn>,
    /// Names of the fields that are not used.
    pub(super) unused: Vec<String>,
    /// The modes that a developer field tells.
    pub(super) modes: Vec<ModeSpan>,
    /// Whether power was computed from accumulated power.
    pub(super) from_accumulated: bool,
}

impl Parts {
    /// A standard column.
    pub(super) fn standard(&self, channel: Channel) -> Option<&Arc<Vec<f64>>> {
        self.ordered.columns.get(channel.index())?.as_ref()
    }

    /// The power asked for, where a developer field tells it.
    pub(super) fn target(&self) -> Option<&Arc<Vec<f64>>> {
        let is_target = |column: &DeveloperColumn| {
            let meaning = column.meaning.as_ref();
            meaning.is_some_and(|meaning| meaning.quantity == Quantity::TargetPower)
        };
        self.developer_column(self.developer.iter().position(is_target)?)
    }

    /// The column of `self.developer[index]`.
    pub(super) fn developer_column(&self, index: usize) -> Option<&Arc<Vec<f64>>> {
        self.ordered.columns.get(DEVELOPER + index)?.as_ref()
    }
}

impl Records {
    /// No rows yet, of a file of `file_bytes`; `told` names the field that is to be power.
    pub(super) fn new(file_bytes: usize, specified: Option<&str>) -> Self {
        Self {
            table: Table::new(DEVELOPER, file_bytes),
            developer: Vec::new(),
            conversions: Default::default(),
            specified: specified.map(str::to_owned),
            unused: BTreeSet::new(),
            since_power_up: 0,
            one_sided: 0,
            modes: ModeWords::default(),
            mode_field: None,
        }
    }

    /// Rows and columns, once they outgrow what the file's size allows.
    pub(super) fn too_sparse(&self) -> Option<(usize, usize)> {
        self.table.too_sparse()
    }

    /// The fields to decode of records that follow `layout`.
    pub(super) fn picks<'a>(
        &mut self,
        local: usize,
        layout: &'a Layout,
        descriptions: &Descriptions,
    ) -> Vec<Pick<'a>> {
        let mut picks = Vec::new();
        self.conversions[local].clear();
        for slot in &layout.slots {
            let Some(developer) = slot.developer else {
                if WANTED.contains(&slot.number) {
                    picks.push(Pick {
                        slot,
                        base: slot.base,
                        number: slot.number,
                    });
                }
                if !WANTED.contains(&slot.number) && slot.number != TIMESTAMP {
                    self.note_unused(&standard_name(slot.number));
                }
                continue;
            };
            let Some(description) = descriptions.get(developer, slot.number) else {
                self.note_unused(&format!("developer field {developer}.{}", slot.number));
                continue;
            };
            let index = self.conversions[local].len();
            if index < MAX_DEVELOPER
                && let Some(conversion) = self.conversion(description)
            {
                picks.push(Pick {
                    slot,
                    base: description.base,
                    number: DEVELOPER_NUMBERS + index as u8,
                });
                self.conversions[local].push(conversion);
            }
        }
        picks
    }

    fn note_unused(&mut self, name: &str) {
        const MOST: usize = 256;
        if self.unused.len() < MOST && !self.unused.contains(name) {
            self.unused.insert(name.to_owned());
        }
    }

    fn conversion(&mut self, description: &Description) -> Option<Conversion> {
        let name = &description.name;
        let specified = self
            .specified
            .as_ref()
            .is_some_and(|specified| specified.eq_ignore_ascii_case(name));
        if description.meaning.is_none() && !specified && is_mode(name) {
            let field = (description.developer, name.clone());
            if *self.mode_field.get_or_insert_with(|| field.clone()) == field {
                return Some(Conversion {
                    column: MODE,
                    factor: 1.0,
                    shift: 0.0,
                });
            }
        }
        if description.meaning.is_none() && !specified {
            self.note_unused(name);
            return None;
        }
        let known = self
            .developer
            .iter()
            .position(|c| c.developer == description.developer && c.name == *name);
        let index = match known {
            Some(index) => index,
            None if self.developer.len() < MAX_DEVELOPER => {
                self.developer.push(DeveloperColumn {
                    developer: description.developer,
                    name: name.clone(),
                    meaning: description.meaning.clone(),
                });
                self.table.add_column();
                self.developer.len() - 1
            }
            None => return None,
        };
        let (factor, shift) = description
            .meaning
            .as_ref()
            .map_or((1.0, 0.0), |meaning| (meaning.factor, meaning.shift));
        Some(Conversion {
            column: DEVELOPER + index,
            factor: factor / description.scale,
            shift: shift - description.offset * factor,
        })
    }

    /// Takes one record.
    pub(super) fn take(
        &mut self,
        decoder: &mut Decoder,
        local: usize,
        payload: &[u8],
        time: Option<u32>,
    ) {
        self.since_power_up += usize::from(time.is_some_and(|time| time < FIRST_ABSOLUTE));
        self.table.push(time.map_or(f64::NAN, f64::from));
        if !decoder.wants(local) {
            return;
        }
        let mut row = Row::default();
        for (field, value) in decoder.decode(local, payload) {
            if field >= DEVELOPER_NUMBERS {
                let index = usize::from(field - DEVELOPER_NUMBERS);
                let Some(to) = self.conversions[local].get(index) else {
                    continue;
                };
                let value = match number(&value) {
                    value if to.column != MODE => value.map(|v| v * to.factor + to.shift),
                    Some(number) => self.modes.number(&number.to_string()),
                    None => text(value).and_then(|word| self.modes.number(&word)),
                };
                self.table.put(to.column, value.unwrap_or(f64::NAN));
            } else {
                row.take(field, &value);
            }
        }
        self.one_sided += usize::from(row.unknown_side);
        for (channel, value) in row.channels() {
            if let Some(value) = value {
                self.table.put(channel.index(), value);
            }
        }
        if let Some(value) = row.accumulated {
            self.table.put(ACCUMULATED, value);
        }
    }

    /// The rows in time order. Times become seconds since 1970, or since power-up where most
    /// stamps count from there.
    pub(super) fn finish(mut self, remarks: &mut Vec<String>) -> (TimeBase, Parts) {
        let base = if self.since_power_up * 2 > self.table.time_s.len() {
            remarks.push(
                "the recorder had no date: times count from when it was switched on".to_owned(),
            );
            TimeBase::Elapsed
        } else {
            for time in &mut self.table.time_s {
                *time += FIT_EPOCH_S;
            }
            TimeBase::Absolute
        };
        if self.one_sided > 0 {
            remarks.push(format!(
                "{} give a balance without telling the side: left out",
                crate::text::plural(self.one_sided, "record")
            ));
        }
        let mut ordered = put_in_order(self.table);
        remarks.append(&mut ordered.remarks);
        let power = Channel::Power.index();
        let mut from_accumulated = false;
        if ordered.columns[power].is_none()
            && let Some(accumulated) = ordered.columns[ACCUMULATED].take()
        {
            ordered.columns[power] = Some(Arc::new(rate(&ordered.time_s, &accumulated)));
            from_accumulated = true;
            remarks.push("power computed from accumulated power".to_owned());
        }
        if !from_accumulated && ordered.columns[ACCUMULATED].is_some() {
            self.unused.insert(standard_name(29));
        }
        let numbers = ordered.columns[MODE].as_deref();
        let modes = numbers.map_or_else(Vec::new, |numbers| {
            self.modes.spans(&ordered.time_s, numbers)
        });
        remarks.extend(self.modes.remark());
        if modes.is_empty() {
            self.unused.extend(self.mode_field.map(|(_, name)| name));
        }
        let parts = Parts {
            modes,
            unused: self.unused.into_iter().collect(),
            ordered,
            developer: self.developer,
            from_accumulated,
        };
        (base, parts)
    }
}

/// The name of a field of the standard's own, as the FIT profile has it, or its number.
fn standard_name(number: u8) -> String {
    match field_reference(MesgNum::RECORD, number) {
        Some(field) => field.name().to_owned(),
        None => format!("field {number}"),
    }
}

/// The mean rate of a 32-bit counter since the previous row that has one; missing after more than
/// a minute, since a mean over that long is no sample.
fn rate(time_s: &[f64], counter: &[f64]) -> Vec<f64> {
    const LONGEST_S: f64 = 60.0;
    const TURN: f64 = 4_294_967_296.0;
    let mut before: Option<(f64, f64)> = None;
    time_s
        .iter()
        .zip(counter)
        .map(|(t, count)| {
            if count.is_nan() {
                return f64::NAN;
            }
            let rate = match before {
                Some((t0, c0)) if t - t0 <= LONGEST_S => {
                    let gain = if *count < c0 {
                        count - c0 + TURN
                    } else {
                        count - c0
                    };
                    gain / (t - t0)
                }
                _ => f64::NAN,
            };
            before = Some((*t, *count));
            rate
        })
        .collect()
}

/// The standard fields of one record. Scales as in the FIT profile, message 20.
#[derive(Default)]
struct Row {
    power: Option<f64>,
    accumulated: Option<f64>,
    cadence: Option<f64>,
    cadence_fraction: Option<f64>,
    cadence_fine: Option<f64>,
    speed: Option<f64>,
    speed_enhanced: Option<f64>,
    speed_compressed: Option<f64>,
    heart_rate: Option<f64>,
    temperature: Option<f64>,
    balance: Option<f64>,
    grade: Option<f64>,
    resistance: Option<f64>,
    altitude: Option<f64>,
    altitude_enhanced: Option<f64>,
    unknown_side: bool,
}

impl Row {
    fn take(&mut self, field: u8, value: &Value) {
        if field == 8 {
            self.speed_compressed = compressed_speed(value);
            return;
        }
        let Some(n) = number(value) else { return };
        match field {
            2 => self.altitude = Some(n / 5.0 - 500.0),
            3 => self.heart_rate = Some(n),
            4 => self.cadence = Some(n),
            6 => self.speed = Some(n / 1000.0),
            7 => self.power = Some(n),
            9 => self.grade = Some(n / 100.0),
            // From 0, none, to 254, the most.
            10 => self.resistance = Some(n / 2.54),
            13 => self.temperature = Some(n),
            29 => self.accumulated = Some(n),
            30 => self.take_balance(n as u8),
            52 => self.cadence_fine = Some(n / 256.0),
            53 => self.cadence_fraction = Some(n / 128.0),
            73 => self.speed_enhanced = Some(n / 1000.0),
            78 => self.altitude_enhanced = Some(n / 5.0 - 500.0),
            _ => {}
        }
    }

    /// The highest bit says that the share is the right leg's; else the side is unknown.
    fn take_balance(&mut self, raw: u8) {
        let share = f64::from(raw & 0x7F);
        if raw & 0x80 != 0 && share <= 100.0 {
            self.balance = Some(100.0 - share);
        } else {
            self.unknown_side = true;
        }
    }

    fn channels(&self) -> [(Channel, Option<f64>); 9] {
        let cadence = self
            .cadence
            .map(|whole| whole + self.cadence_fraction.unwrap_or(0.0));
        [
            (Channel::Power, self.power),
            (Channel::Cadence, self.cadence_fine.or(cadence)),
            (
                Channel::Speed,
                self.speed_enhanced.or(self.speed).or(self.speed_compressed),
            ),
            (Channel::HeartRate, self.heart_rate),
            (Channel::Temperature, self.temperature),
            (Channel::Balance, self.balance),
            (Channel::Grade, self.grade),
            (Channel::Resistance, self.resistance),
            (Channel::Altitude, self.altitude_enhanced.or(self.altitude)),
        ]
    }
}

/// Speed from `compressed_speed_distance`: the lower 12 of 24 bits, 1/100 m/s.
fn compressed_speed(value: &Value) -> Option<f64> {
    let Value::Array(bytes) = value else {
        return None;
    };
    let [Value::Byte(low), Value::Byte(high), _] = bytes.as_slice() else {
        return None;
    };
    let raw = u16::from(*low) | u16::from(high & 0x0F) << 8;
    (raw != 0x0FFF).then(|| f64::from(raw) / 100.0)
}

/// Whether a developer column carries `channel`.
pub(super) fn carries(column: &DeveloperColumn, channel: Channel) -> bool {
    column
        .meaning
        .as_ref()
        .is_some_and(|meaning| meaning.quantity == Quantity::Channel(channel))
}
