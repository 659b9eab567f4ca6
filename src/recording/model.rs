//! The shape every reader returns.

use std::path::PathBuf;
use std::sync::Arc;

use serde::Serialize;

use super::{Channel, ModeSpan, PerChannel};

/// The file format a recording was read from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Format {
    /// Flexible and Interoperable Data Transfer, binary.
    Fit,
    /// Comma-, semicolon- or tab-separated text.
    Delimited,
    /// Training Center XML with the power extension.
    Tcx,
    /// GPS Exchange Format 1.1 with power, cadence or heart rate as extensions.
    Gpx,
}

/// What the time stamps of a recording count from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum TimeBase {
    /// Seconds since 1970-01-01T00:00:00 UTC, by the recorder's clock.
    Absolute,
    /// Seconds since the recording's own zero.
    Elapsed,
}

/// One file that one recorder wrote. All times are on the recorder's clock, in seconds, counted
/// as [`Recording::time_base`] says.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    /// Where it was read from, as the caller named it.
    pub path: PathBuf,
    /// How it was written.
    pub format: Format,
    /// SHA-256 of the file's bytes, lower-case hexadecimal.
    pub sha256: String,
    /// What the times count from.
    pub time_base: TimeBase,
    /// One entry a power source (or one without power where the file has none), in file order.
    pub streams: Vec<RecordedStream>,
    /// Laps in time order.
    pub laps: Vec<Lap>,
    /// Timer and gear events in time order.
    pub events: Vec<Event>,
    /// Power targets of workout steps, in time order.
    pub set_points: Vec<SetPoint>,
    /// Modes the trainer was in, in time order, where the file says so.
    pub modes: Vec<ModeSpan>,
    /// The name of the workout that was ridden, where the file holds it, cleaned.
    pub workout: Option<String>,
    /// What the file says of the device that wrote it, cleaned of control characters.
    pub device: Option<String>,
    /// Where the time stamps stood out of order or twice.
    pub clock_notes: Vec<ClockNote>,
    /// What could not be read.
    pub damage: Vec<Damage>,
    /// What the reader repaired, dropped or assumed, one sentence each.
    pub remarks: Vec<String>,
    /// Every column or field that holds something and is not used, as the file names it, cleaned.
    pub unused: Vec<String>,
}

impl Recording {
    /// A recording of `streams` and nothing beside them, for rides that no file holds. `path` and
    /// `sha256` tell it from others.
    pub fn in_memory(
        path: impl Into<PathBuf>,
        sha256: impl Into<String>,
        time_base: TimeBase,
        streams: Vec<RecordedStream>,
    ) -> Self {
        Self {
            path: path.into(),
            format: Format::Delimited,
            sha256: sha256.into(),
            time_base,
            streams,
            laps: Vec::new(),
            events: Vec::new(),
            set_points: Vec::new(),
            modes: Vec::new(),
            workout: None,
            device: None,
            clock_notes: Vec::new(),
            damage: Vec::new(),
            remarks: Vec::new(),
            unused: Vec::new(),
        }
    }
}

/// One device's series inside a recording.
#[derive(Clone, Debug, PartialEq)]
pub struct RecordedStream {
    /// A name to start from: the device's, else the field's, else the file's stem.
    pub label: String,
    /// The field or column that carries power, as `channel` in `session.toml` names it.
    pub power_field: Option<String>,
    /// How the recorder spaced its samples.
    pub sampling: Sampling,
    /// The samples.
    pub samples: Samples,
}

/// How a recorder spaced its samples.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sampling {
    /// At a nearly constant interval, with gaps where nothing was recorded.
    #[default]
    Regular,
    /// Only when a value changed: each sample holds until the next.
    OnChange,
}

/// Rows of samples: strictly increasing times, and per channel a column of the same length with
/// `NaN` where the value is missing.
///
/// Columns are shared, not copied, between clones and between the streams of one recording.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Samples {
    time_s: Arc<Vec<f64>>,
    columns: PerChannel<Arc<Vec<f64>>>,
    /// Asked for with every dot of a picture, so it is found once.
    median_interval_s: Option<f64>,
}

impl Samples {
    /// Samples at `time_s`, without channels yet.
    ///
    /// Returns `None` unless the times are finite and strictly increasing.
    pub fn new(time_s: Vec<f64>) -> Option<Self> {
        Self::shared(Arc::new(time_s))
    }

    /// As [`Samples::new`], for times that several streams share.
    pub(super) fn shared(time_s: Arc<Vec<f64>>) -> Option<Self> {
        let finite = time_s.iter().all(|t| t.is_finite());
        let increasing = time_s.windows(2).all(|pair| pair[0] < pair[1]);
        (finite && increasing).then(|| Self {
            median_interval_s: median_step(&time_s),
            time_s,
            columns: PerChannel::default(),
        })
    }

    /// Adds or replaces a channel. Infinite values become missing.
    ///
    /// Returns `false`, and changes nothing, where the length differs from the times' length.
    pub fn set_column(&mut self, channel: Channel, mut values: Vec<f64>) -> bool {
        if values.len() != self.time_s.len() {
            return false;
        }
        for value in &mut values {
            if !value.is_finite() {
                *value = f64::NAN;
            }
        }
        self.columns.set(channel, Arc::new(values));
        true
    }

    /// As [`Samples::set_column`], for a column that several streams share and that holds no
    /// infinite value.
    pub(super) fn share_column(&mut self, channel: Channel, values: &Arc<Vec<f64>>) {
        if values.len() == self.time_s.len() {
            self.columns.set(channel, Arc::clone(values));
        }
    }

    /// Time of each row on the recorder's clock, s.
    pub fn time_s(&self) -> &[f64] {
        &self.time_s
    }

    /// The column of `channel`, if the stream carries it. `NaN` is missing.
    pub fn column(&self, channel: Channel) -> Option<&[f64]> {
        self.columns.get(channel).map(|column| column.as_slice())
    }

    /// The channels present.
    pub fn channels(&self) -> impl Iterator<Item = Channel> {
        self.columns.iter().map(|(channel, _)| channel)
    }

    /// Number of rows.
    pub fn len(&self) -> usize {
        self.time_s.len()
    }

    /// Whether there are no rows.
    pub fn is_empty(&self) -> bool {
        self.time_s.is_empty()
    }

    /// Median step between rows, s; `None` below two rows.
    pub fn median_interval_s(&self) -> Option<f64> {
        self.median_interval_s
    }
}

fn median_step(time_s: &[f64]) -> Option<f64> {
    let mut steps: Vec<f64> = time_s.windows(2).map(|pair| pair[1] - pair[0]).collect();
    if steps.is_empty() {
        return None;
    }
    let middle = steps.len() / 2;
    let (_, median, _) = steps.select_nth_unstable_by(middle, f64::total_cmp);
    Some(*median)
}

/// A lap, as the recorder or the rider cut it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Lap {
    /// Start, s on the recorder's clock.
    pub from_s: f64,
    /// End, s on the recorder's clock.
    pub to_s: f64,
}

/// Something that happened at a moment.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Event {
    /// When, s on the recorder's clock.
    pub at_s: f64,
    /// What.
    #[serde(flatten)]
    pub kind: EventKind,
}

/// What an [`Event`] was.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub enum EventKind {
    /// Recording began or went on.
    TimerStart,
    /// Recording stopped or paused.
    TimerStop,
    /// A gear change; teeth are absent where the file does not tell.
    GearChange {
        /// Teeth of the front sprocket now in use.
        front_teeth: Option<u8>,
        /// Teeth of the rear sprocket now in use.
        rear_teeth: Option<u8>,
    },
}

/// A stretch for which a workout asked for a power.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SetPoint {
    /// Start, s on the recorder's clock.
    pub from_s: f64,
    /// End, s on the recorder's clock.
    pub to_s: f64,
    /// The power asked for, W.
    pub watts: f64,
}

/// A stretch in which a recorder's time stamps did not simply go on, before the rows were put in
/// order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ClockNote {
    /// Start, s on the recorder's clock.
    pub from_s: f64,
    /// End, s on the recorder's clock.
    pub to_s: f64,
    /// What was met.
    pub kind: ClockNoteKind,
}

/// What a [`ClockNote`] tells of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ClockNoteKind {
    /// The clock went back over this stretch, which it therefore passed twice.
    WentBack,
    /// Several rows a second, with other values, under stamps of whole seconds: a faster rate.
    SeveralASecond,
    /// Rows stood there twice with other values: the first are kept.
    Twice,
}

/// A part of the file that could not be read.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Damage {
    /// First byte (binary formats) or line (text formats, counted from 1) concerned.
    pub at: u64,
    /// What is wrong, what was read all the same and what may be missing, as one sentence.
    pub message: String,
}
