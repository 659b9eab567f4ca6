//! FIT: the binary format of most recorders.
//!
//! [`framing`] walks the messages and finds damage, [`decode`] has `fitparser` decode their
//! values, [`records`], [`developer`] and [`workout`] make sense of them, [`streams`] puts
//! together what belongs to one device, [`damage`] puts faults into words.

mod crc;
mod damage;
mod decode;
mod developer;
mod fields;
mod framing;
mod records;
mod streams;
mod workout;

use std::path::Path;

use fitparser::profile::{FieldDataType, get_field_variant_as_string};

use super::file::stem;
use super::rows::FAR_S;
use super::spans;
use super::{
    Event, EventKind, Format, Lap, ReadOptions, Recording, RecordingError, SetPoint, TimeBase,
};
use crate::text::clean_text;
use decode::{Decoder, Pick};
use developer::Descriptions;
use fields::Fields;
use framing::{Item, Layout, Walk};
use records::{FIT_EPOCH_S, Records};
use workout::Workout;

mod message {
    pub(super) const FILE_ID: u16 = 0;
    pub(super) const ZONES_TARGET: u16 = 7;
    pub(super) const LAP: u16 = 19;
    pub(super) const EVENT: u16 = 21;
    pub(super) const DEVICE_INFO: u16 = 23;
    pub(super) const WORKOUT: u16 = 26;
    pub(super) const WORKOUT_STEP: u16 = 27;
    pub(super) const ACTIVITY: u16 = 34;
    pub(super) const FIELD_DESCRIPTION: u16 = 206;
}

/// Reads a FIT file.
pub(super) fn read(
    path: &Path,
    bytes: &[u8],
    options: &ReadOptions,
) -> Result<Recording, RecordingError> {
    let mut file = Collected::new(bytes.len(), options.columns.power.as_deref());
    let mut walk = Walk::new(bytes);
    while file.next(&mut walk) {
        if let Some((rows, columns)) = file.records.too_sparse() {
            return Err(RecordingError::TooSparse {
                path: path.to_owned(),
                rows,
                columns,
            });
        }
    }
    let counts = walk.counts();
    let (faults, more_faults) = walk.into_faults();
    let damage = damage::in_words(&faults, more_faults, counts.0);
    file.finish(path, options, counts, damage)
}

/// The powers that the workout in a FIT file asks for, from its start on, s.
pub(super) fn workout(bytes: &[u8]) -> Vec<SetPoint> {
    let mut file = Collected::new(bytes.len(), None);
    let mut walk = Walk::new(bytes);
    while file.next(&mut walk) {}
    let span = Some((0.0, f64::INFINITY));
    file.workout
        .set_points(&[], &[], span, 0.0, &mut Vec::new())
}

/// What was collected from the messages so far.
struct Collected {
    decoder: Decoder,
    descriptions: Descriptions,
    records: Records,
    workout: Workout,
    workout_name: Option<String>,
    /// Laps with the index of the workout step they belong to; times as the file counts them.
    laps: Vec<(Lap, Option<u16>)>,
    events: Vec<Event>,
    file_type: Option<f64>,
    device: Device,
    power_sensor: Option<String>,
    local_time_shift_s: Option<f64>,
    refused_fields: usize,
    remarks: Vec<String>,
}

/// What the file says of the recorder.
#[derive(Default)]
struct Device {
    maker: Option<f64>,
    product: Option<f64>,
    name: Option<String>,
}

impl Collected {
    fn new(file_bytes: usize, power_field: Option<&str>) -> Self {
        Self {
            decoder: Decoder::new(),
            descriptions: Descriptions::default(),
            records: Records::new(file_bytes, power_field),
            workout: Workout::default(),
            workout_name: None,
            laps: Vec::new(),
            events: Vec::new(),
            file_type: None,
            device: Device::default(),
            power_sensor: None,
            local_time_shift_s: None,
            refused_fields: 0,
            remarks: Vec::new(),
        }
    }

    /// Takes the next message; `false` at the end.
    fn next(&mut self, walk: &mut Walk<'_>) -> bool {
        let Some(item) = walk.next() else {
            return false;
        };
        match item {
            Item::Section => self.enter_section(),
            Item::Definition { local } => {
                if let Some(layout) = walk.layout(local) {
                    self.define(local, layout);
                }
            }
            Item::Data {
                local,
                payload,
                time,
            } => {
                if let Some(layout) = walk.layout(local) {
                    self.take(layout.global, local, payload, time);
                }
            }
        }
        true
    }

    fn enter_section(&mut self) {
        self.decoder = Decoder::new();
        self.descriptions.enter_section();
    }

    fn define(&mut self, local: usize, layout: &Layout) {
        let picks = if layout.global == framing::RECORD {
            self.records.picks(local, layout, &self.descriptions)
        } else {
            let wanted = wanted(layout.global);
            layout
                .slots
                .iter()
                .filter(|slot| slot.developer.is_none() && wanted.contains(&slot.number))
                .map(|slot| Pick {
                    slot,
                    base: slot.base,
                    number: slot.number,
                })
                .collect()
        };
        self.refused_fields += self.decoder.define(local, layout, &picks);
    }

    fn take(&mut self, global: u16, local: usize, payload: &[u8], time: Option<u32>) {
        if global == framing::RECORD {
            self.records.take(&mut self.decoder, local, payload, time);
            return;
        }
        if !self.decoder.wants(local) {
            return;
        }
        let mut fields = Fields(self.decoder.decode(local, payload).collect());
        let time = time.map(f64::from);
        match global {
            message::FILE_ID => {
                self.file_type = self.file_type.or(fields.number(0));
                self.device.take(&mut fields, [1, 2, 8]);
            }
            message::DEVICE_INFO => self.device_info(&mut fields),
            message::FIELD_DESCRIPTION => self.descriptions.take(&mut fields),
            message::LAP => self.lap(&fields, time),
            message::EVENT => self.event(&fields, time),
            message::WORKOUT => self.workout_name = self.workout_name.take().or(fields.text(8)),
            message::WORKOUT_STEP => self.workout.step(&fields),
            message::ZONES_TARGET => self.workout.threshold_w = fields.number(3),
            message::ACTIVITY => {
                if let (Some(utc), Some(local)) = (time, fields.number(5)) {
                    self.local_time_shift_s = Some(local - utc);
                }
            }
            _ => {}
        }
    }

    fn device_info(&mut self, fields: &mut Fields) {
        /// Device type of a power sensor (FIT profile, `antplus_device_type`).
        const POWER_SENSOR: f64 = 11.0;
        if fields.number(0) == Some(0.0) {
            self.device.take(fields, [2, 4, 27]);
        } else if fields.number(1) == Some(POWER_SENSOR) && self.power_sensor.is_none() {
            self.power_sensor = fields.text(27).or_else(|| fields.text(19));
        }
    }

    fn lap(&mut self, fields: &Fields, time: Option<f64>) {
        let Some(from_s) = fields.number(2) else {
            return;
        };
        let elapsed = fields.number(7).map(|ms| from_s + ms / 1000.0);
        if let Some(to_s) = elapsed.or(time)
            && to_s >= from_s
        {
            let step = fields.number(71).map(|step| step as u16);
            self.laps.push((Lap { from_s, to_s }, step));
        }
    }

    fn event(&mut self, fields: &Fields, time: Option<f64>) {
        const TIMER: u32 = 0;
        const WORKOUT_STEP: u32 = 4;
        const FRONT_GEAR: u32 = 42;
        const REAR_GEAR: u32 = 43;
        let (Some(at_s), Some(event)) = (time, fields.number(0)) else {
            return;
        };
        let event_type = fields.number(1).map(|v| v as u32);
        let data = fields.number(3).or(fields.number(2)).map(|v| v as u32);
        let kind = match (event as u32, event_type) {
            (TIMER, Some(0)) => EventKind::TimerStart,
            (TIMER, Some(1 | 4 | 8 | 9)) => EventKind::TimerStop,
            (FRONT_GEAR | REAR_GEAR, _) => {
                // The bytes of `data`, from the lowest: rear gear number, rear teeth, front gear
                // number, front teeth.
                let teeth = |field, byte: usize| {
                    fields
                        .number(field)
                        .map(|teeth| teeth as u8)
                        .or(data.map(|data| data.to_le_bytes()[byte]))
                        .filter(|teeth| !matches!(teeth, 0 | 0xFF))
                };
                EventKind::GearChange {
                    front_teeth: teeth(10, 3),
                    rear_teeth: teeth(12, 1),
                }
            }
            (WORKOUT_STEP, _) => {
                if let Some(step) = data {
                    self.workout.step_began(at_s, step as u16);
                }
                return;
            }
            _ => return,
        };
        self.events.push(Event { at_s, kind });
    }

    fn finish(
        mut self,
        path: &Path,
        options: &ReadOptions,
        (records, messages): (usize, usize),
        damage: Vec<super::Damage>,
    ) -> Result<Recording, RecordingError> {
        if records == 0 {
            return Err(RecordingError::NoSamples {
                path: path.to_owned(),
                what: self.contents(messages, &damage),
                messages,
            });
        }
        let device = self.device.describe();
        let named = self.power_sensor.take().or(self.device.name.take());
        let label = named
            .map(|name| clean_text(&name).trim().to_owned())
            .filter(|name| !name.is_empty())
            .unwrap_or_else(|| stem(path));
        let (time_base, mut parts) = std::mem::take(&mut self.records).finish(&mut self.remarks);
        let clock_notes = std::mem::take(&mut parts.ordered.clock_notes);
        if parts.ordered.time_s.is_empty() {
            return Err(RecordingError::NoSamples {
                path: path.to_owned(),
                what: format!(
                    "{}, none with a time stamp",
                    crate::text::plural(records, "record")
                ),
                messages,
            });
        }
        let asked_for = parts
            .target()
            .map(|watts| spans::set_points(&parts.ordered.time_s, watts));
        let modes = std::mem::take(&mut parts.modes);
        let mut unused = Vec::new();
        let streams =
            streams::assemble(path, parts, &label, options, &mut self.remarks, &mut unused)?;
        let span = streams
            .iter()
            .find_map(|s| Some((*s.samples.time_s().first()?, *s.samples.time_s().last()?)));
        let shift = match time_base {
            TimeBase::Absolute => FIT_EPOCH_S,
            TimeBase::Elapsed => 0.0,
        };
        let near = |at_s: f64| span.is_some_and(|(a, b)| (a - FAR_S..=b + FAR_S).contains(&at_s));
        let before = self.laps.len() + self.events.len();
        for (lap, _) in &mut self.laps {
            lap.from_s += shift;
            lap.to_s += shift;
        }
        for event in &mut self.events {
            event.at_s += shift;
        }
        self.laps
            .retain(|(lap, _)| near(lap.from_s) && near(lap.to_s));
        self.events.retain(|event| near(event.at_s));
        self.laps.sort_by(|a, b| a.0.from_s.total_cmp(&b.0.from_s));
        self.events.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
        let left_out = before - self.laps.len() - self.events.len();
        if left_out > 0 {
            self.remarks.push(format!(
                "{} far from the samples left out",
                crate::text::plural(left_out, "lap or event")
            ));
        }
        let by_steps =
            self.workout
                .set_points(&self.laps, &self.events, span, shift, &mut self.remarks);
        let set_points = Some(by_steps)
            .filter(|set_points| !set_points.is_empty())
            .or(asked_for)
            .unwrap_or_default();
        self.closing_remarks();
        Ok(Recording {
            path: path.to_owned(),
            format: Format::Fit,
            sha256: String::new(),
            time_base,
            streams,
            laps: self.laps.into_iter().map(|(lap, _)| lap).collect(),
            events: self.events,
            set_points,
            modes,
            workout: self.workout_name.map(|name| clean_text(name.trim())),
            device,
            clock_notes,
            damage,
            remarks: self.remarks,
            unused,
        })
    }

    fn closing_remarks(&mut self) {
        if self.refused_fields > 0 {
            self.remarks.push(format!(
                "{} left out: the size does not fit the type",
                crate::text::plural(self.refused_fields, "field definition")
            ));
        }
        let day_s = 86_400.0;
        if let Some(shift_s) = self.local_time_shift_s.filter(|s| s.abs() <= day_s) {
            let minutes = (shift_s / 60.0).round() as i64;
            let sign = if minutes < 0 { '-' } else { '+' };
            let minutes = minutes.abs();
            self.remarks.push(format!(
                "the recorder's local time was UTC{sign}{:02}:{:02}",
                minutes / 60,
                minutes % 60
            ));
        }
    }

    /// What a file without records holds, in words.
    fn contents(&self, messages: usize, damage: &[super::Damage]) -> String {
        let kind = self.file_type.map(|kind| {
            get_field_variant_as_string(FieldDataType::File, kind as i64).replace('_', " ")
        });
        let kind = kind.map_or("a FIT file".to_owned(), |kind| {
            format!("a FIT file of kind “{}”", clean_text(&kind))
        });
        let messages = crate::text::plural(messages, "message");
        let mut what = format!("{kind} with {messages}, none of them a record");
        for damage in damage.iter().take(2) {
            what.push_str("; ");
            what.push_str(&damage.message);
        }
        what
    }
}

/// The fields wanted of a message other than `record`.
fn wanted(global: u16) -> &'static [u8] {
    match global {
        message::FILE_ID => &[0, 1, 2, 8],
        message::ZONES_TARGET => &[3],
        message::LAP => &[2, 7, 71],
        message::EVENT => &[0, 1, 2, 3, 10, 12],
        message::DEVICE_INFO => &[0, 1, 2, 4, 19, 27],
        message::WORKOUT => &[8],
        message::WORKOUT_STEP => &[1, 2, 3, 4, 5, 6, 254],
        message::ACTIVITY => &[5],
        message::FIELD_DESCRIPTION => &[0, 1, 2, 3, 6, 7, 8, 14, 15],
        _ => &[],
    }
}

impl Device {
    /// Takes maker, product and product name, whichever is not known yet.
    fn take(&mut self, fields: &mut Fields, [maker, product, name]: [u8; 3]) {
        self.maker = self.maker.or(fields.number(maker));
        self.product = self.product.or(fields.number(product));
        if self.name.is_none() {
            self.name = fields.text(name);
        }
    }

    /// As the file tells, cleaned: the product's name, or the numbers of maker and product.
    fn describe(&self) -> Option<String> {
        let maker = self.maker.map(|maker| {
            let maker = maker as i64;
            let name = get_field_variant_as_string(FieldDataType::Manufacturer, maker);
            name.replace('_', " ")
        });
        let product = self.product.map(|product| format!("product {product}"));
        let parts: Vec<String> = [maker, self.name.clone().or(product)]
            .into_iter()
            .flatten()
            .map(|part| clean_text(&part).trim().to_owned())
            .filter(|part| !part.is_empty())
            .collect();
        (!parts.is_empty()).then(|| parts.join(" "))
    }
}
