//! The session as plain data. Field names are those of `session.toml`.

use serde::{Deserialize, Serialize};

use crate::recording::clean_text;

/// A session: everything in `session.toml` that the program understands.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Session {
    /// Title for screens and reports.
    pub title: String,
    /// Recorder time at which session time is zero, s since 1970-01-01T00:00:00Z: the first time
    /// stamp of the first stream, kept so that neither the order of the streams nor a missing
    /// recording moves a segment. `None` until it is known, and where recorders tell no absolute
    /// time.
    pub zero_unix_s: Option<f64>,
    /// The accuracy the maker states for the source under test.
    pub claim: Claim,
    /// The drivetrain loss expected from the references' site to the site under test.
    pub allowance: Allowance,
    /// How far the references' errors are common.
    pub references: CommonErrors,
    /// The streams, in file order; the first one defines session time zero while
    /// [`Session::zero_unix_s`] does not.
    pub streams: Vec<Stream>,
    /// The tagged segments, in order of `from_s` (then `to_s`).
    pub segments: Vec<Segment>,
    /// Free facts for the reader of the report, in file order.
    pub facts: Vec<Fact>,
    /// The tester's own conclusions.
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

/// How far the errors of the references are common: `[references]` of the session file.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct CommonErrors {
    /// Correlation of the errors that the references' claims bound, 0 (each its own) to 1 (one error
    /// in all).
    pub claims_correlation: f64,
}

/// One device's stream as it takes part in the session.
#[derive(Clone, Debug, PartialEq)]
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
    pub offset_s: f64,
    /// Clock rate error against session time, parts per million.
    pub skew_ppm: f64,
    /// What the offset rests on; absent while nobody has set it.
    pub matched_on: Option<MatchedOn>,
    /// Why the offset is not certain, as the estimate said; absent where it is, or set by hand.
    pub clock_doubt: Option<String>,
    /// SHA-256 of the recording at the first save, lower-case hexadecimal.
    pub sha256: Option<String>,
    /// Column names told by the tester, for delimited text.
    pub columns: ColumnNames,
}

impl Stream {
    /// Whether nobody has set this clock yet.
    fn never_aligned(&self) -> bool {
        self.matched_on.is_none() && self.offset_s == 0.0 && self.skew_ppm == 0.0
    }

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
        }
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

/// What a segment is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// Constant power at a set point.
    SteadyBlock,
    /// A short maximal effort.
    Sprint,
    /// Steps or a steady rise or fall of power.
    Ramp,
    /// Shifts at a constant set point.
    GearChange,
    /// Nobody pedals.
    Coast,
    /// A long block during which the source warms up.
    HeatSoak,
    /// None of the others.
    Open,
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

            /// The value that `word` names.
            pub fn from_word(word: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|value| value.word() == word)
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
words_of!(Kind {
    SteadyBlock => "steady-block",
    Sprint => "sprint",
    Ramp => "ramp",
    GearChange => "gear-change",
    Coast => "coast",
    HeatSoak => "heat-soak",
    Open => "open",
});

/// A window kept, with what it is.
#[derive(Clone, Debug, PartialEq)]
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
    /// All that is to be told of a session whenever it is opened: its cautions of clocks and claims.
    pub fn cautions(&self) -> Vec<String> {
        let mut all = self.clock_cautions();
        all.extend(self.claim_cautions());
        all
    }

    /// What to beware of in the clocks, a sentence each: clocks never set against session time, and
    /// sources under test whose delays the matching has swallowed.
    pub fn clock_cautions(&self) -> Vec<String> {
        let untouched: Vec<&str> = self
            .streams
            .iter()
            .filter(|stream| !self.on_first_clock(stream) && stream.never_aligned())
            .map(|stream| stream.label.as_str())
            .collect();
        let never = (!untouched.is_empty()).then(|| {
            format!(
                "Never aligned: {}. Figures may compare different seconds until the clocks are set: truing align SESSION --write, or the clocks view of the workbench",
                untouched.join(", ")
            )
        });
        let swallowed = self
            .with_role(Role::UnderTest)
            .filter_map(|index| self.delay_caution(index));
        let doubted = self.streams.iter().filter_map(|s| self.doubt_caution(s));
        never.into_iter().chain(doubted).chain(swallowed).collect()
    }

    /// That a clock is not certain, and why; [`Self::delay_caution`] tells of what power leaves.
    fn doubt_caution(&self, stream: &Stream) -> Option<String> {
        let doubt = stream.clock_doubt.as_deref().map(clean_text)?;
        (!self.on_first_clock(stream)).then(|| {
            format!(
                "The clock of {} is not certain: {doubt}. Figures may compare different seconds until it is checked in the clocks view of the workbench",
                stream.label
            )
        })
    }

    /// Why a source under test's delays are not its own: only power ties its clock to the
    /// references'. `None` where something better does.
    pub fn delay_caution(&self, under_test: usize) -> Option<String> {
        let tested = self.streams.get(under_test)?;
        let by_power = |stream: &Stream| {
            !self.on_first_clock(stream) && stream.matched_on == Some(MatchedOn::Power)
        };
        let mut references = self
            .with_role(Role::Reference)
            .filter_map(|index| self.streams.get(index))
            .filter(|stream| stream.file != tested.file)
            .peekable();
        references.peek()?;
        (by_power(tested) || references.all(by_power)).then(|| {
            format!(
                "Only power ties the clocks of {} and the references: its delay and dead time are what the matching left, not the device's own",
                tested.label
            )
        })
    }

    /// Whether a stream is in one recording with the first, whose clock is session time.
    fn on_first_clock(&self, stream: &Stream) -> bool {
        self.streams
            .first()
            .is_some_and(|first| first.file == stream.file)
    }

    /// Indices of the streams with `role`, in file order.
    pub fn with_role(&self, role: Role) -> impl Iterator<Item = usize> {
        self.streams
            .iter()
            .enumerate()
            .filter(move |(_, stream)| stream.role == role)
            .map(|(index, _)| index)
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

    /// Sources under test whose own claim takes the place of the session's, where those differ, a
    /// sentence each: the claim at the head of a table is then not the one they are judged by.
    pub fn claim_cautions(&self) -> Vec<String> {
        let stated = self.claim != Claim::default();
        self.with_role(Role::UnderTest)
            .filter(|index| stated && self.claim_of(*index).is_some_and(|own| own != self.claim))
            .filter_map(|index| self.streams.get(index))
            .map(|stream| {
                format!(
                    "{} is judged by the claim of its own [[stream]], not by the session's [claim], which differs",
                    stream.label
                )
            })
            .collect()
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
    fn a_clock_that_is_not_certain_is_told_of_but_not_the_first() {
        let stream = |label: &str, doubt: Option<&str>| Stream {
            matched_on: Some(MatchedOn::Cadence),
            clock_doubt: doubt.map(str::to_owned),
            ..Stream::new(label, format!("{label}.fit"))
        };
        let session = Session {
            streams: vec![
                stream("trainer", Some("moot")),
                stream("pedals", Some("a second peak")),
                stream("hub", None),
            ],
            ..Session::default()
        };
        let cautions = session.clock_cautions();
        assert_eq!(cautions.len(), 1, "{cautions:?}");
        assert!(cautions[0].starts_with("The clock of pedals is not certain: a second peak."));
    }

    #[test]
    fn words_name_each_value_and_back() {
        for &kind in Kind::ALL {
            assert_eq!(Kind::from_word(kind.word()), Some(kind));
        }
        assert_eq!(Role::from_word("under-test"), Some(Role::UnderTest));
        assert_eq!(Site::from_word("wheel"), None);
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
