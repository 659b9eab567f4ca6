//! Recordings as FIT files.

use std::io::Cursor;

use embedded_io_adapters::std::FromStd;
use rustyfit::Encoder;
use rustyfit::profile::{mesgdef, typedef};
use rustyfit::proto::{DeveloperField, FIT, Message, ProtocolVersion, Value};

use super::RehearseError;
use super::scenario::Device;
use super::stream::RehearsedStream;
use crate::plan::Leg;
use crate::plan::workout::{self, Step};
use crate::recording::{Channel, Event, EventKind, Lap};

/// Writes a stream as a FIT activity: records, laps, timer and gear events, and, where the
/// recorder knows the set points, the workout with one step a leg.
///
/// # Errors
/// [`RehearseError::Encode`].
pub(super) fn fit(
    device: &Device,
    stream: &RehearsedStream,
    legs: &[Leg],
    name: &str,
) -> Result<Vec<u8>, RehearseError> {
    let times = stream.samples.time_s();
    let (first, last) = match (times.first(), times.last()) {
        (Some(first), Some(last)) => (*first, *last),
        _ => (0.0, 0.0),
    };
    let mut messages = vec![file_id(device, first)];
    if device.recorder.laps {
        messages.extend(workout::messages(name, &steps(legs)));
    }
    if !stream.modes.is_empty() {
        messages.extend(mode_field());
    }
    messages.extend(timeline(stream));
    messages.extend(summary(first, last, stream.laps.len()));
    let mut fit = FIT {
        messages,
        ..FIT::default()
    };
    if !stream.modes.is_empty() {
        fit.file_header.protocol_version = ProtocolVersion::V2;
    }
    let mut cursor = Cursor::new(Vec::new());
    Encoder::new()
        .encode(&mut FromStd::new(&mut cursor), &mut fit)
        .map_err(|error| RehearseError::Encode {
            label: device.label.clone(),
            reason: error.to_string(),
        })?;
    Ok(cursor.into_inner())
}

fn date_time(unix_s: f64) -> typedef::DateTime {
    typedef::DateTime::from_unix_timestamp(unix_s.round() as i64)
}

fn milliseconds(seconds: f64) -> u32 {
    (seconds * 1000.0).round() as u32
}

fn file_id(device: &Device, first: f64) -> Message {
    let mut id = mesgdef::FileId::new();
    id.r#type = typedef::File::ACTIVITY;
    id.manufacturer = typedef::Manufacturer::DEVELOPMENT;
    id.product = 0;
    id.time_created = date_time(first);
    id.product_name = format!("rehearsed {}", device.label).into();
    id.into()
}

/// One step a leg, as the laps are.
fn steps(legs: &[Leg]) -> Vec<Step> {
    let of = |leg: &Leg| Step {
        name: leg.kind.word().to_owned(),
        duration_s: leg.duration_s(),
        target_w: leg.set_point_w(),
        note: String::new(),
        is_rest: false,
    };
    legs.iter().map(of).collect()
}

/// Records, events and laps in order of time.
fn timeline(stream: &RehearsedStream) -> Vec<Message> {
    // A start comes before the record of its second; a stop, a gear and a lap come after it.
    let mut dated: Vec<(i64, u8, Message)> = Vec::new();
    for (row, time_s) in stream.samples.time_s().iter().enumerate() {
        dated.push((time_s.round() as i64, 1, record(stream, row, *time_s)));
    }
    for event in &stream.events {
        let rank = if event.kind == EventKind::TimerStart {
            0
        } else {
            2
        };
        dated.push((event.at_s.round() as i64, rank, event_message(event)));
    }
    for (index, lap) in stream.laps.iter().enumerate() {
        dated.push((lap.to_s.round() as i64, 3, lap_message(index, lap)));
    }
    dated.sort_by_key(|(second, rank, _)| (*second, *rank));
    dated.into_iter().map(|(_, _, message)| message).collect()
}

/// The field of a developer that carries the mode: the standard has none for it.
fn mode_field() -> [Message; 2] {
    let mut developer = mesgdef::DeveloperDataId::new();
    developer.developer_data_index = 0;
    developer.application_id = b"truing rehearsed"[..].into();
    let mut field = mesgdef::FieldDescription::new();
    field.developer_data_index = 0;
    field.field_definition_number = 0;
    field.fit_base_type_id = typedef::FitBaseType::STRING;
    field.field_name = vec!["mode".into()].into();
    field.native_mesg_num = typedef::MesgNum::RECORD;
    [developer.into(), field.into()]
}

fn record(stream: &RehearsedStream, row: usize, time_s: f64) -> Message {
    let value = |channel, scale: f64| {
        let column = stream.samples.column(channel)?;
        let value = column.get(row)? * scale;
        value.is_finite().then(|| value.round())
    };
    let mut record = mesgdef::Record::new();
    record.timestamp = date_time(time_s);
    if let Some(watts) = value(Channel::Power, 1.0) {
        record.power = watts as u16;
    }
    if let Some(rpm) = value(Channel::Cadence, 1.0) {
        record.cadence = rpm as u8;
    }
    if let Some(mm_s) = value(Channel::Speed, 1000.0) {
        record.enhanced_speed = mm_s as u32;
    }
    if let Some(bpm) = value(Channel::HeartRate, 1.0) {
        record.heart_rate = bpm as u8;
    }
    if let Some(celsius) = value(Channel::Temperature, 1.0) {
        record.temperature = celsius as i8;
    }
    if let Some(hundredths) = value(Channel::Grade, 100.0) {
        record.grade = hundredths as i16;
    }
    let mode = stream.mode_at(time_s);
    if !mode.is_empty() {
        record.developer_fields.push(DeveloperField {
            num: 0,
            developer_data_index: 0,
            value: Value::String(mode.into()),
        });
    }
    record.into()
}

fn event_message(event: &Event) -> Message {
    let mut message = mesgdef::Event::new();
    message.timestamp = date_time(event.at_s);
    message.event = typedef::Event::TIMER;
    match event.kind {
        EventKind::TimerStart => message.event_type = typedef::EventType::START,
        EventKind::TimerStop => message.event_type = typedef::EventType::STOP_ALL,
        EventKind::GearChange {
            front_teeth,
            rear_teeth,
        } => {
            message.event = typedef::Event::REAR_GEAR_CHANGE;
            message.event_type = typedef::EventType::MARKER;
            // Four bytes, lowest first: rear number, rear teeth, front number, front teeth;
            // a number of 0 is unknown.
            let (rear, front) = (rear_teeth.unwrap_or(0), front_teeth.unwrap_or(0));
            message.data = u32::from_le_bytes([0, rear, 0, front]);
        }
    }
    message.into()
}

fn lap_message(index: usize, lap: &Lap) -> Message {
    let mut message = mesgdef::Lap::new();
    message.message_index = typedef::MessageIndex(index as u16);
    message.timestamp = date_time(lap.to_s);
    message.start_time = date_time(lap.from_s);
    message.total_elapsed_time = milliseconds(lap.to_s - lap.from_s);
    message.total_timer_time = milliseconds(lap.to_s - lap.from_s);
    message.event = typedef::Event::LAP;
    message.event_type = typedef::EventType::STOP;
    message.lap_trigger = typedef::LapTrigger::MANUAL;
    message.wkt_step_index = typedef::MessageIndex(index as u16);
    message.into()
}

fn summary(first: f64, last: f64, laps: usize) -> Vec<Message> {
    let mut session = mesgdef::Session::new();
    session.timestamp = date_time(last);
    session.start_time = date_time(first);
    session.total_elapsed_time = milliseconds(last - first);
    session.total_timer_time = milliseconds(last - first);
    session.sport = typedef::Sport::CYCLING;
    session.sub_sport = typedef::SubSport::INDOOR_CYCLING;
    session.num_laps = laps as u16;
    session.event = typedef::Event::SESSION;
    session.event_type = typedef::EventType::STOP;
    session.trigger = typedef::SessionTrigger::ACTIVITY_END;
    let mut activity = mesgdef::Activity::new();
    activity.timestamp = date_time(last);
    activity.total_timer_time = milliseconds(last - first);
    activity.num_sessions = 1;
    activity.r#type = typedef::Activity::MANUAL;
    activity.event = typedef::Event::ACTIVITY;
    activity.event_type = typedef::EventType::STOP;
    vec![session.into(), activity.into()]
}
