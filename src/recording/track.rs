//! Track points in XML: TCX (Training Center XML with its power extension, Activity Extension v2)
//! and GPX 1.1 with power, cadence, heart rate and temperature as extensions. Altitude is read; no
//! gradient is made of it.
//!
//! Elements are known by their local names; entities are never expanded, and nesting is bounded.

use std::collections::BTreeSet;
use std::path::Path;

use quick_xml::events::{BytesStart, Event as XmlEvent};
use quick_xml::reader::Reader;

use super::file::stem;
use super::moment::date;
use super::rows::{FAR_S, Table, put_in_order};
use super::{
    Channel, Damage, Format, Lap, ReadOptions, RecordedStream, Recording, RecordingError, Samples,
    TimeBase, sampling,
};
use crate::text::clean_text;
use crate::text::{grouped, plural};

/// Deepest nesting read; the schema needs about ten.
const DEEPEST: usize = 64;
/// Longest text kept of one element, bytes.
const LONGEST_TEXT: usize = 256;

/// Reads a file of `format`, TCX or GPX.
pub(super) fn read(
    path: &Path,
    bytes: &[u8],
    format: Format,
    options: &ReadOptions,
) -> Result<Recording, RecordingError> {
    let mut file = File::new(format, bytes.len());
    let mut reader = Reader::from_reader(bytes);
    loop {
        let at = reader.buffer_position();
        let event = match reader.read_event() {
            Ok(event) => event,
            Err(error) => {
                file.damaged(at, bytes, &clean_text(&error.to_string()));
                break;
            }
        };
        match event {
            XmlEvent::Eof => {
                if !file.open.is_empty() {
                    file.damaged(at, bytes, "the file ends within an element");
                }
                break;
            }
            XmlEvent::Start(start) => {
                if file.open.len() >= DEEPEST {
                    file.damaged(at, bytes, "elements are nested too deeply");
                    break;
                }
                file.enter(&start);
            }
            XmlEvent::Empty(start) => {
                file.enter(&start);
                file.leave();
            }
            XmlEvent::End(_) => file.leave(),
            XmlEvent::Text(text) => file.text(&text),
            XmlEvent::GeneralRef(_) => file.spoilt = true,
            XmlEvent::CData(text) => file.text(&text),
            XmlEvent::Comment(_) | XmlEvent::Decl(_) | XmlEvent::PI(_) | XmlEvent::DocType(_) => {}
        }
        if let Some((rows, columns)) = file.table.too_sparse() {
            return Err(RecordingError::TooSparse {
                path: path.to_owned(),
                rows,
                columns,
            });
        }
    }
    file.finish(path, options)
}

/// What an element is to the reader.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Element {
    Lap,
    TotalTime,
    Point,
    Time,
    HeartRate,
    Value,
    Cadence,
    Speed,
    Watts,
    Temperature,
    Altitude,
    Creator,
    Name,
    Other,
}

fn element(start: &BytesStart) -> Element {
    match start.local_name().as_ref() {
        "Lap" => Element::Lap,
        "TotalTimeSeconds" => Element::TotalTime,
        "Trackpoint" => Element::Point,
        "Time" => Element::Time,
        "HeartRateBpm" => Element::HeartRate,
        "Value" => Element::Value,
        "Cadence" => Element::Cadence,
        "Speed" => Element::Speed,
        "Watts" => Element::Watts,
        "AltitudeMeters" => Element::Altitude,
        "Creator" => Element::Creator,
        "Name" => Element::Name,
        _ => Element::Other,
    }
}

/// As [`element`], in GPX. The extensions are written by several hands, in small letters or not.
fn gpx_element(start: &BytesStart) -> Element {
    match start.local_name().as_ref().to_lowercase().as_str() {
        "trkpt" => Element::Point,
        "time" => Element::Time,
        "hr" | "heartrate" => Element::HeartRate,
        "cad" | "cadence" => Element::Cadence,
        "speed" => Element::Speed,
        "power" | "watts" | "powerinwatts" => Element::Watts,
        "ele" => Element::Altitude,
        "atemp" | "temp" | "temperature" => Element::Temperature,
        _ => Element::Other,
    }
}

/// A track point under way.
#[derive(Default)]
struct Point {
    time_s: Option<f64>,
    values: [Option<f64>; COLUMNS.len()],
}

const COLUMNS: [Channel; 6] = [
    Channel::Power,
    Channel::Cadence,
    Channel::Speed,
    Channel::HeartRate,
    Channel::Temperature,
    Channel::Altitude,
];

/// Most names of elements kept that are not used.
const MOST_UNUSED: usize = 64;

struct File {
    format: Format,
    open: Vec<Element>,
    /// The innermost element of a track point that is not used, and all such met before.
    other: Option<String>,
    unused: BTreeSet<String>,
    text: String,
    /// Whether the present text holds an entity or is too long.
    spoilt: bool,
    point: Point,
    table: Table,
    lap: Option<(f64, Option<f64>)>,
    laps: Vec<Lap>,
    device: Option<String>,
    unreadable: usize,
    without_zone: bool,
    damage: Vec<Damage>,
}

impl File {
    fn new(format: Format, file_bytes: usize) -> Self {
        Self {
            format,
            open: Vec::new(),
            other: None,
            unused: BTreeSet::new(),
            text: String::new(),
            spoilt: false,
            point: Point::default(),
            table: Table::new(COLUMNS.len(), file_bytes),
            lap: None,
            laps: Vec::new(),
            device: None,
            unreadable: 0,
            without_zone: false,
            damage: Vec::new(),
        }
    }

    fn enter(&mut self, start: &BytesStart) {
        let element = match self.format {
            Format::Gpx => gpx_element(start),
            _ => element(start),
        };
        self.other = (element == Element::Other && self.in_point())
            .then(|| clean_text(start.local_name().as_ref()));
        self.text.clear();
        self.spoilt = false;
        match element {
            Element::Point => {
                self.point = Point::default();
                for attribute in start.attributes().flatten() {
                    self.note_unused(attribute.key.local_name().as_ref());
                }
            }
            Element::Lap => {
                let begin = start
                    .attributes()
                    .flatten()
                    .find(|attribute| attribute.key.local_name().as_ref() == "StartTime")
                    .and_then(|attribute| self.time(&attribute.value));
                self.lap = begin.map(|begin| (begin, None));
            }
            _ => {}
        }
        self.open.push(element);
    }

    fn text(&mut self, text: &str) {
        if self.text.len() + text.len() > LONGEST_TEXT {
            self.spoilt = true;
        } else {
            self.text.push_str(text);
        }
    }

    fn leave(&mut self) {
        let Some(element) = self.open.pop() else {
            return;
        };
        let within = self.open.last().copied();
        match (element, within) {
            (Element::Time, Some(Element::Point)) => {
                let text = std::mem::take(&mut self.text);
                self.point.time_s = self.time(&text);
            }
            (Element::Value, Some(Element::HeartRate)) => self.value(Channel::HeartRate),
            (Element::HeartRate, _) if self.format == Format::Gpx => {
                self.value(Channel::HeartRate);
            }
            (Element::Cadence, Some(Element::Point)) => self.value(Channel::Cadence),
            (Element::Cadence, _) if self.format == Format::Gpx => self.value(Channel::Cadence),
            (Element::Temperature, _) => self.value(Channel::Temperature),
            (Element::Altitude, _) => self.value(Channel::Altitude),
            (Element::Speed, _) if self.in_point() => self.value(Channel::Speed),
            (Element::Watts, _) if self.in_point() => self.value(Channel::Power),
            (Element::TotalTime, Some(Element::Lap)) => {
                let seconds = self.number();
                if let Some((_, length)) = &mut self.lap {
                    *length = seconds;
                }
            }
            (Element::Name, Some(Element::Creator)) => {
                let name = clean_text(&self.text);
                self.device = Some(name.trim().to_owned()).filter(|name| !name.is_empty());
            }
            (Element::Point, _) => self.end_point(),
            (Element::Lap, _) => {
                if let Some((from_s, Some(length))) = self.lap.take() {
                    let to_s = from_s + length.max(0.0);
                    self.laps.push(Lap { from_s, to_s });
                }
            }
            (Element::Other, _) => {
                if let Some(name) = self.other.take()
                    && !self.text.trim().is_empty()
                {
                    self.note_unused(&name);
                }
            }
            _ => {}
        }
        self.text.clear();
        self.spoilt = false;
    }

    fn note_unused(&mut self, name: &str) {
        if self.unused.len() < MOST_UNUSED && !self.unused.contains(name) {
            self.unused.insert(clean_text(name));
        }
    }

    fn in_point(&self) -> bool {
        self.open.contains(&Element::Point)
    }

    fn end_point(&mut self) {
        self.table.push(self.point.time_s.unwrap_or(f64::NAN));
        for (column, value) in self.point.values.iter().enumerate() {
            if let Some(value) = value {
                self.table.put(column, *value);
            }
        }
        self.point = Point::default();
    }

    fn value(&mut self, channel: Channel) {
        // A heart rate outside a track point is a lap's average.
        if !self.in_point() {
            return;
        }
        let number = self.number();
        let index = COLUMNS.iter().position(|other| *other == channel);
        if let Some(value) = index.and_then(|index| self.point.values.get_mut(index)) {
            *value = number;
        }
    }

    fn number(&mut self) -> Option<f64> {
        let text = self.text.trim();
        let number = text.parse::<f64>().ok().filter(|n| n.is_finite());
        let number = number.filter(|_| !self.spoilt);
        self.unreadable += usize::from(number.is_none() && (self.spoilt || !text.is_empty()));
        number
    }

    fn time(&mut self, text: &str) -> Option<f64> {
        let (time_s, has_zone) = date(text)?;
        self.without_zone |= !has_zone;
        Some(time_s)
    }

    fn damaged(&mut self, at: u64, bytes: &[u8], reason: &str) {
        let before = bytes.get(..at as usize).unwrap_or(bytes);
        let line = 1 + before.iter().filter(|b| **b == b'\n').count() as u64;
        self.damage.push(Damage {
            at: line,
            message: format!(
                "{} read; damaged from line {} on ({reason}); what follows is missing",
                plural(self.table.time_s.len(), "track point"),
                grouped(line)
            ),
        });
    }

    fn finish(self, path: &Path, options: &ReadOptions) -> Result<Recording, RecordingError> {
        let points = self.table.time_s.len();
        let mut remarks = Vec::new();
        if self.unreadable > 0 {
            remarks.push(format!(
                "{} not a number: taken as missing",
                plural(self.unreadable, "value")
            ));
        }
        if self.without_zone {
            remarks.push("dates without a zone are taken as UTC".to_owned());
        }
        let ordered = put_in_order(self.table);
        remarks.extend(ordered.remarks.iter().cloned());
        let (Some(first), Some(last)) = (ordered.time_s.first(), ordered.time_s.last()) else {
            let damage = self.damage.iter().map(|d| format!("; {}", d.message));
            return Err(RecordingError::NoSamples {
                path: path.to_owned(),
                what: format!(
                    "a {} file without a timed track point{}",
                    name_of(self.format),
                    damage.collect::<String>()
                ),
                messages: points,
            });
        };
        let near = |t: f64| (first - FAR_S..=last + FAR_S).contains(&t);
        let mut laps = self.laps;
        laps.retain(|lap| near(lap.from_s) && near(lap.to_s));
        laps.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
        let mut samples = Samples::shared(ordered.time_s.clone()).unwrap_or_default();
        for (channel, column) in COLUMNS.into_iter().zip(&ordered.columns) {
            if let Some(column) = column {
                samples.share_column(channel, column);
            }
        }
        let power_field = samples
            .column(Channel::Power)
            .map(|_| power_field(self.format).to_owned());
        specified(path, options, power_field.as_deref())?;
        let label = self.device.clone().unwrap_or_else(|| stem(path));
        let sampling = sampling::recognise(&samples);
        sampling::remark(&label, sampling, &mut remarks);
        Ok(Recording {
            path: path.to_owned(),
            format: self.format,
            sha256: String::new(),
            time_base: TimeBase::Absolute,
            streams: vec![RecordedStream {
                label,
                power_field,
                sampling,
                samples,
            }],
            laps,
            events: Vec::new(),
            set_points: Vec::new(),
            modes: Vec::new(),
            workout: None,
            device: self.device,
            clock_notes: ordered.clock_notes,
            damage: self.damage,
            remarks,
            unused: self.unused.into_iter().collect(),
        })
    }
}

fn name_of(format: Format) -> &'static str {
    match format {
        Format::Gpx => "GPX",
        _ => "TCX",
    }
}

/// The extension's element that carries power, as `channel` names it.
fn power_field(format: Format) -> &'static str {
    match format {
        Format::Gpx => "power",
        _ => "Watts",
    }
}

/// Refuses a power field that the file does not have.
fn specified(
    path: &Path,
    options: &ReadOptions,
    field: Option<&str>,
) -> Result<(), RecordingError> {
    match (options.columns.power.as_deref(), field) {
        (None, _) => Ok(()),
        (Some(specified), Some(field)) if specified.eq_ignore_ascii_case(field) => Ok(()),
        (Some(specified), field) => Err(RecordingError::NoColumn {
            path: path.to_owned(),
            wanted: format!("element “{}” for power", clean_text(specified)),
            found: field.map(str::to_owned).into_iter().collect(),
            way_out: "correct `channel` in session.toml",
        }),
    }
}
