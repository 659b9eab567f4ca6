//! The session as plain data. Field names are those of `session.toml`.

use serde::{Deserialize, Serialize};

use super::kind::Kind;
use super::noted::{Gears, Side, ZeroReading};
use super::weights::{KnownScale, Weights};

/// The label that stands for the references' mean in tables.
pub const CONSENSUS: &str = "consensus";

/// A session: everything in `session.toml` that the program understands.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
pub struct Session {
    /// Title for screens and reports.
    #[serde(default)]
    pub title: String,
    /// Recorder time at which session time is zero, s since 1970-01-01T00:00:00Z: the first time
    /// stamp of the first stream, kept so that neither the order of the streams nor a missing
    /// recording moves a segment. `None` until it is known, and where recorders tell no absolute
    /// time.
    pub zero_unix_s: Option<f64>,
    /// The accuracy the maker states for the source under test.
    #[serde(default)]
    pub claim: Claim,
    /// The drivetrain loss expected from the references' site to the site under test; `None` where
    /// the tester has not said, which is not the same as none.
    pub allowance: Option<Allowance>,
    /// How far the references' errors are common.
    #[serde(default)]
    pub references: CommonErrors,
    /// What was entered in the app that simulated the slopes.
    pub simulation: Option<Simulation>,
    /// The sprockets, where no recorder wrote them.
    pub gears: Option<Gears>,
    /// What the questions are held against, where the usual does not suit.
    #[serde(default)]
    pub limits: Limits,
    /// The streams, in file order; the first one defines session time zero while
    /// [`Session::zero_unix_s`] does not.
    #[serde(default, rename = "stream")]
    pub streams: Vec<Stream>,
    /// The tagged segments, in order of `from_s` (then `to_s`).
    #[serde(default, rename = "segment")]
    pub segments: Vec<Segment>,
    /// Free facts for the reader of the report, in file order.
    #[serde(skip)]
    pub facts: Vec<Fact>,
    /// The tester's own conclusions.
    #[serde(default)]
    pub words: Words,
}

/// The accuracy a maker states: ± `percent` of reading or ± `watts`, whichever is larger.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Claim {
    /// ± % of reading.
    #[serde(default)]
    pub percent: f64,
    /// ± W floor.
    #[serde(default)]
    pub watts: f64,
}

impl Default for Claim {
    /// ±2 % of reading, the wider of what makers usually state (common practice, no source).
    fn default() -> Self {
        Self {
            percent: 2.0,
            watts: 0.0,
        }
    }
}

impl Claim {
    /// The limit at a power of `level_w`, W.
    pub fn limit_w(self, level_w: f64) -> f64 {
        (self.percent / 100.0 * level_w.abs()).max(self.watts)
    }
}

/// The drivetrain loss expected between two sites: `percent` ± `plus_minus` of the power at the
/// references' site, positive where the site under test should read less.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Allowance {
    /// Expected loss, %.
    pub percent: f64,
    /// Half-width of the rectangular distribution of that loss, percentage points.
    pub plus_minus: f64,
}

impl Allowance {
    /// What a chain drive usually takes (common practice; 2.3 % in Martin et al. 1998, J Appl Biomech
    /// 14:276): what a form offers to start from.
    pub const USUAL: Self = Self {
        percent: 2.0,
        plus_minus: 1.0,
    };
}

/// How far the errors of the references are common: `[references]` of the session file.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct CommonErrors {
    /// Correlation of the errors that the references' claims bound, 0 (each its own) to 1 (one error
    /// in all).
    pub claims_correlation: f64,
}

macro_rules! limits {
    ($($(#[$doc:meta])* $name:ident: $most:literal),+ $(,)?) => {
        /// What the questions are held against where the usual does not suit: `[limits]` of the session
        /// file. `None` where the usual does.
        #[derive(Clone, Copy, Debug, Default, PartialEq, Deserialize)]
        #[serde(default)]
        pub struct Limits {
            $($(#[$doc])* pub $name: Option<f64>),+
        }

        impl Limits {
            /// Every limit that is stated: its key, its value, the largest that is no slip of the pen.
            pub fn stated(&self) -> impl Iterator<Item = (&'static str, f64, f64)> {
                let all = [$((stringify!($name), self.$name, $most)),+];
                all.into_iter().filter_map(|(key, value, most)| Some((key, value?, most)))
            }
        }
    };
}

limits! {
    /// Departure from its neighbours, standard deviations, from which a block of the error curve stands
    /// alone: from 1 on where nothing is stated, up to 2 where the error is taken to be smooth.
    curve_smooth: 2.0,
    /// Change of the error over the range of power, percentage points.
    level_percent: 100.0,
    /// Held power against the set point, % of it.
    hold_percent: 100.0,
    /// Mean of the source's own reading against the set points, W.
    hold_w: 1000.0,
    /// Amplitude of surging, W.
    steadiness_w: 1000.0,
    /// Time to follow a new set point, s.
    follow_s: 600.0,
    /// Best 5 s of a sprint against the references', %.
    sprint_percent: 100.0,
    /// Change of the error from gear to gear, percentage points.
    gear_percent: 100.0,
    /// Power reported that nobody makes, W.
    phantom_w: 3000.0,
    /// How long it has to last, s.
    phantom_s: 600.0,
    /// Share of seconds with a wrong cadence, %.
    cadence_percent: 100.0,
    /// Dropouts in an hour.
    dropouts_per_hour: 3600.0,
    /// Change of the error while it warms, percentage points.
    heat_percent: 100.0,
    /// How far the share of the gradient that arrives may lie from 1.
    gradient_share: 1.0,
    /// How late a gradient may arrive, s.
    gradient_s: 600.0,
    /// Work of the whole ride, %.
    work_percent: 100.0,
}

/// What was entered in the app that simulated the slopes: `[simulation]` of the session file.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Simulation {
    /// Rider and bike, kg.
    pub mass_kg: f64,
    /// Coefficient of rolling resistance.
    pub rolling: f64,
    /// Half the drag area times the density of air, N per (m/s)².
    pub drag_kg_m: f64,
}

impl Simulation {
    /// What apps take where nobody says otherwise (common practice, no source).
    pub const USUAL: Self = Self {
        mass_kg: 80.0,
        rolling: 0.004,
        drag_kg_m: 0.19,
    };
}

impl Default for Simulation {
    fn default() -> Self {
        Self::USUAL
    }
}

/// One device's stream as it takes part in the session.
#[derive(Clone, Debug, PartialEq, Deserialize)]
pub struct Stream {
    /// Unique name.
    pub label: String,
    /// Recording, relative to the session folder.
    pub file: String,
    /// FIT field or column that carries power; found by usual names when absent.
    pub channel: Option<String>,
    /// What the stream is for.
    pub role: Role,
    /// Where it measures power; absent for a context stream without power.
    pub site: Option<Site>,
    /// This stream's own claim, ± %.
    pub claim_percent: Option<f64>,
    /// This stream's own claim, ± W floor.
    pub claim_watts: Option<f64>,
    /// Clock shift against session time, s.
    #[serde(default)]
    pub offset_s: f64,
    /// Clock rate error against session time, parts per million.
    #[serde(default)]
    pub skew_ppm: f64,
    /// What the offset rests on; absent while nobody has set it.
    pub matched_on: Option<MatchedOn>,
    /// Why the offset is not certain, as the estimate said; absent where it is, or set by hand.
    pub clock_doubt: Option<String>,
    /// SHA-256 of the recording at the first save, lower-case hexadecimal.
    pub sha256: Option<String>,
    /// Column names told by the tester, for delimited text.
    #[serde(default)]
    pub columns: ColumnNames,
    /// The side that a one-sided meter doubles; absent for one that measures both.
    pub one_sided: Option<Side>,
    /// Zero offset that the meter showed before the ride.
    pub zero_before: Option<ZeroReading>,
    /// The same after the ride.
    pub zero_after: Option<ZeroReading>,
    /// Readings with known masses.
    pub weights: Option<Weights>,
}

impl Stream {
    /// A context stream called `label` over `file`, with an untouched clock.
    pub fn new(label: impl Into<String>, file: impl Into<String>) -> Self {
        Self {
            label: label.into(),
            file: file.into(),
            channel: None,
            role: Role::Context,
            site: None,
            claim_percent: None,
            claim_watts: None,
            offset_s: 0.0,
            skew_ppm: 0.0,
            matched_on: None,
            clock_doubt: None,
            sha256: None,
            columns: ColumnNames::default(),
            one_sided: None,
            zero_before: None,
            zero_after: None,
            weights: None,
        }
    }

    /// What this stream's power is divided by: the scale by known masses of a reference, where it can
    /// be used; 1 for every other.
    pub fn power_scale(&self) -> f64 {
        self.known_scale().map_or(1.0, |known| known.scale)
    }

    /// The scale of a reference by known masses, where it can be used. A source under test is judged as
    /// it reads.
    pub fn known_scale(&self) -> Option<KnownScale> {
        let weights = self.weights.as_ref()?;
        (self.role == Role::Reference).then(|| weights.fit().ok())?
    }
}

/// Column names for delimited text (`columns = { time = "...", device = "..." }` of a stream).
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct ColumnNames {
    /// Time column.
    pub time: Option<String>,
    /// Column that names the device.
    pub device: Option<String>,
}

/// What a stream is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// The source whose truth is in question.
    UnderTest,
    /// A meter that the source is compared with.
    Reference,
    /// Shown, never judged.
    Context,
}

/// Where power is measured, in order along the drivetrain.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Site {
    /// At the pedals.
    Pedal,
    /// At the crank.
    Crank,
    /// At the rear hub.
    Hub,
    /// In the trainer.
    Trainer,
}

/// What a stream's offset was matched on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MatchedOn {
    /// One heart-rate strap heard by two recorders.
    HeartRate,
    /// Cadence.
    Cadence,
    /// Power.
    Power,
    /// The recorders' own clocks: nothing else was to be had.
    Clock,
    /// Set by hand.
    Given,
}

macro_rules! words_of {
    ($kind:ident { $($variant:ident => $word:literal),+ $(,)? }) => {
        impl $kind {
            /// Every value, in the order of the design.
            pub const ALL: &'static [$kind] = &[$($kind::$variant),+];

            /// The word used in files, commands and screens.
            pub const fn word(self) -> &'static str {
                match self { $($kind::$variant => $word),+ }
            }
        }

        impl std::fmt::Display for $kind {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.pad(self.word())
            }
        }
    };
}

words_of!(Role { UnderTest => "under-test", Reference => "reference", Context => "context" });
words_of!(Site { Pedal => "pedal", Crank => "crank", Hub => "hub", Trainer => "trainer" });
words_of!(MatchedOn {
    HeartRate => "heart-rate",
    Cadence => "cadence",
    Power => "power",
    Clock => "clock",
    Given => "given",
});

/// A window kept, with what it is.
#[derive(Clone, Debug, PartialEq, Deserialize)]
pub struct Segment {
    /// What it is.
    pub kind: Kind,
    /// Start, session time, s.
    pub from_s: f64,
    /// End, session time, s; greater than `from_s`.
    pub to_s: f64,
    /// The power a controlled trainer was told to hold, W.
    pub set_point_w: Option<f64>,
    /// The tester's note; empty where there is none.
    #[serde(default)]
    pub note: String,
}

impl Segment {
    /// Length, s.
    pub fn duration_s(&self) -> f64 {
        self.to_s - self.from_s
    }
}

/// One `[facts]` entry.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Fact {
    /// The key, as written.
    pub key: String,
    /// The value.
    pub value: String,
}

/// The tester's own conclusions, kept apart from the figures.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(default)]
pub struct Words {
    /// One paragraph.
    pub summary: String,
    /// What speaks for the device.
    #[serde(rename = "for")]
    pub for_: Vec<String>,
    /// What speaks against it.
    pub against: Vec<String>,
}

impl Session {
    /// Indices of the streams with `role`, in file order.
    pub fn with_role(&self, role: Role) -> impl Iterator<Item = usize> {
        self.streams
            .iter()
            .enumerate()
            .filter(move |(_, stream)| stream.role == role)
            .map(|(index, _)| index)
    }

    /// The expected loss that figures take off: what is stated, else none.
    pub fn allowance(&self) -> Allowance {
        self.allowance.unwrap_or_default()
    }

    /// Index of the stream called `label`.
    pub fn stream_index(&self, label: &str) -> Option<usize> {
        self.streams.iter().position(|stream| stream.label == label)
    }

    /// The claim that applies to a stream: its own, else (under test) the session's.
    pub fn claim_of(&self, index: usize) -> Option<Claim> {
        let stream = self.streams.get(index)?;
        let session = (stream.role == Role::UnderTest).then_some(self.claim);
        match (stream.claim_percent, stream.claim_watts) {
            (None, None) => session,
            (percent, watts) => Some(Claim {
                percent: percent
                    .or(session.map(|claim| claim.percent))
                    .unwrap_or(0.0),
                watts: watts.or(session.map(|claim| claim.watts)).unwrap_or(0.0),
            }),
        }
    }

    /// Whether the streams of `other` are read from the same places as these, one by one: samples
    /// bound to these then belong to those.
    pub fn reads_the_same(&self, other: &Self) -> bool {
        let same = |(a, b): (&Stream, &Stream)| {
            let content = match (&a.sha256, &b.sha256) {
                (Some(a), Some(b)) => a == b,
                // Not noted yet by one of them.
                _ => true,
            };
            content && (&a.file, &a.channel, &a.columns) == (&b.file, &b.channel, &b.columns)
        };
        self.streams.len() == other.streams.len()
            && self.streams.iter().zip(&other.streams).all(same)
    }

    /// Puts the segments in their stated order. Call after changing any of them.
    pub fn sort_segments(&mut self) {
        self.segments.sort_by(|a, b| {
            a.from_s
                .total_cmp(&b.from_s)
                .then(a.to_s.total_cmp(&b.to_s))
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn other_content_or_another_place_is_another_reading() {
        let session = |change: fn(&mut Stream)| {
            let mut stream = Stream::new("trainer", "trainer.fit");
            change(&mut stream);
            Session {
                streams: vec![stream],
                ..Session::default()
            }
        };
        let noted = session(|s| s.sha256 = Some("aa".to_owned()));
        assert!(noted.reads_the_same(&session(|s| s.label = "other".to_owned())));
        for other in [
            session(|s| s.sha256 = Some("bb".to_owned())),
            session(|s| s.file = "other.fit".to_owned()),
            session(|s| s.channel = Some("Power".to_owned())),
            session(|s| s.columns.time = Some("clock".to_owned())),
            Session::default(),
        ] {
            assert!(!noted.reads_the_same(&other), "{other:?}");
        }
    }

    #[test]
    fn a_word_is_what_stands_in_the_file() {
        for role in Role::ALL {
            assert_eq!(serde_json::to_value(role).unwrap(), role.word());
        }
        for site in Site::ALL {
            assert_eq!(serde_json::to_value(site).unwrap(), site.word());
        }
        for on in MatchedOn::ALL {
            assert_eq!(serde_json::to_value(on).unwrap(), on.word());
        }
        assert!(Site::Pedal < Site::Trainer);
    }

    #[test]
    fn the_larger_of_percent_and_watts_is_the_limit() {
        let claim = Claim {
            percent: 2.0,
            watts: 5.0,
        };
        assert_eq!(claim.limit_w(100.0), 5.0);
        assert_eq!(claim.limit_w(400.0), 8.0);
    }
}
