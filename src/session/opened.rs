//! A session bound to the recordings it refers to.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use rayon::prelude::*;

use super::files::{FILE_NAME, inside};
use super::{Role, Session, SessionError, Stream, store};
use crate::recording::{
    ColumnMap, ReadOptions, RecordedStream, Recording, RecordingError, Samples, TimeBase,
};

/// A session and, for each of its streams, where the samples are. Cheap to clone: recordings are
/// shared.
#[derive(Clone, Debug)]
pub struct OpenedSession {
    /// The folder that holds `session.toml`.
    pub folder: PathBuf,
    /// The tester's decisions.
    pub session: Session,
    /// One entry a stream of `session`, in the same order.
    pub sources: Vec<Source>,
    /// What is wrong with the recordings; empty when all is well.
    pub problems: Vec<Problem>,
}

/// Where a stream's samples are.
#[derive(Clone, Debug, Default)]
pub struct Source {
    /// The recording and the stream's place in it; `None` where it could not be read.
    bound: Option<(Arc<Recording>, usize)>,
}

/// A recording that is not as the session expects.
#[derive(Debug, Clone, thiserror::Error)]
pub enum Problem {
    /// Not there.
    #[error(
        "{file}: the recording of “{label}” is gone; put it back, or `truing relink` the session to a folder that holds it"
    )]
    Missing {
        /// The stream's label.
        label: String,
        /// The file, as the session names it.
        file: String,
    },
    /// There, but its bytes differ from those first saved.
    #[error(
        "{file}: the recording of “{label}” has changed since the session was saved; it is left out. Put the old file back, or accept the new one with `truing relink --accept-changed`"
    )]
    Changed {
        /// The stream's label.
        label: String,
        /// The file, as the session names it.
        file: String,
    },
    /// Unreadable.
    #[error("“{label}”: {reason}")]
    Unreadable {
        /// The stream's label.
        label: String,
        /// Why.
        reason: String,
    },
    /// The samples of another stream: a comparison would find perfect agreement of a series with
    /// itself.
    #[error(
        "{file}: “{label}” holds the very samples of “{other}”; it is left out, since a recording cannot be compared with itself. Name the other device's recording, or its power column by `channel`"
    )]
    SameSamples {
        /// The stream's label.
        label: String,
        /// The file, as the session names it.
        file: String,
        /// The label of the stream that has these samples as well.
        other: String,
    },
    /// The recording from whose first time stamp session time counts cannot be used, and the others
    /// tell time by the calendar: where a segment lies in them is not known any more.
    #[error(
        "“{label}” stands first, so session time counts from its recording: without it every segment would lie at another place of the ride, and nothing is computed. Put its recording back, or `truing relink` the session"
    )]
    NoZero {
        /// The stream's label.
        label: String,
    },
    /// Readable, but without the stream that the session names.
    #[error("{file}: no stream for “{label}”: {reason}")]
    NoSuchStream {
        /// The stream's label.
        label: String,
        /// The file, as the session names it.
        file: String,
        /// Why.
        reason: String,
    },
}

impl Source {
    /// The source at place `stream` of `recording`.
    pub fn new(recording: Arc<Recording>, stream: usize) -> Self {
        Self {
            bound: (stream < recording.streams.len()).then_some((recording, stream)),
        }
    }

    /// Whether the samples are those of `other`, also where a copy of the file has another name.
    fn is_the_same(&self, other: &Self) -> bool {
        let field = |source: &Self| source.stream().map(|stream| stream.power_field.clone());
        match (&self.bound, &other.bound) {
            (Some((one, index)), Some((two, other_index))) => {
                one.sha256 == two.sha256 && index == other_index && field(self) == field(other)
            }
            _ => false,
        }
    }

    fn is_absolute(&self) -> bool {
        let recording = self.recording();
        recording.is_some_and(|recording| recording.time_base == TimeBase::Absolute)
    }

    /// The whole recording.
    pub fn recording(&self) -> Option<&Arc<Recording>> {
        self.bound.as_ref().map(|(recording, _)| recording)
    }

    /// The stream as recorded.
    pub fn stream(&self) -> Option<&RecordedStream> {
        self.bound
            .as_ref()
            .and_then(|(recording, stream)| recording.streams.get(*stream))
    }

    /// The samples, on the recorder's clock.
    pub fn samples(&self) -> Option<&Samples> {
        self.stream().map(|stream| &stream.samples)
    }
}

/// How to open a session.
#[derive(Clone, Copy, Debug, Default)]
pub struct OpenOptions {
    /// Refuse a damaged recording.
    pub strict: bool,
    /// Use a recording whose bytes differ from those first saved.
    pub accept_changed: bool,
}

impl OpenedSession {
    /// Loads the session in `folder` and reads its recordings, all at once.
    ///
    /// A recording that is missing, changed or unreadable becomes a [`Problem`]; its streams have
    /// no samples.
    ///
    /// # Errors
    /// [`SessionError`] where the session file itself cannot be used.
    pub fn open(folder: &Path, options: OpenOptions) -> Result<Self, SessionError> {
        let stored = store::load(folder)?;
        Ok(Self::bind(folder, stored.session, options))
    }

    /// Reads the recordings that `session` refers to, relative to `folder`.
    pub fn bind(folder: &Path, session: Session, options: OpenOptions) -> Self {
        let wants = wanted_recordings(&session);
        let read: Vec<Result<Arc<Recording>, RecordingError>> = wants
            .par_iter()
            .map(|want| want.read(folder, options.strict))
            .collect();
        let mut sources = Vec::with_capacity(session.streams.len());
        let mut problems = Vec::new();
        for stream in &session.streams {
            let want = Want::of(stream);
            let shared = wants
                .iter()
                .zip(&read)
                .find(|(other, _)| other.same_reading(&want));
            let source = match shared {
                None => Ok(Source::default()),
                Some((other, result)) => find_source(folder, stream, result, options).or_else(
                    // A column that no usual name gives away is seen only when asked for.
                    |problem| match problem {
                        Problem::NoSuchStream { .. } if *other != want => {
                            let own = want.read(folder, options.strict);
                            find_source(folder, stream, &own, options)
                        }
                        problem => Err(problem),
                    },
                ),
            };
            sources.push(source.unwrap_or_else(|problem| {
                problems.push(problem);
                Source::default()
            }));
        }
        problems.extend(without_duplicates(&session, &mut sources));
        if session.zero_unix_s.is_none() {
            problems.extend(without_zero(&session, &mut sources));
        }
        Self {
            folder: folder.to_owned(),
            session,
            sources,
            problems,
        }
    }

    /// What reading the recordings met: damage first, then what was repaired, dropped or assumed;
    /// one sentence each, led by the file's name.
    pub fn remarks(&self) -> Vec<String> {
        let mut out = Vec::new();
        for (file, recording) in self.read() {
            let damage = recording.damage.iter().map(|damage| &damage.message);
            let reported = damage.chain(&recording.remarks);
            out.extend(reported.map(|reported| format!("{file}: {reported}")));
        }
        out
    }

    /// What the recordings hold besides, and nothing uses: each file's name, and the columns or
    /// fields.
    pub fn unused(&self) -> Vec<(String, Vec<String>)> {
        let holds_more = self.read().filter(|(_, r)| !r.unused.is_empty());
        holds_more
            .map(|(file, r)| (file.to_owned(), r.unused.clone()))
            .collect()
    }

    /// The files that are damaged, in the order of their streams.
    pub fn damaged(&self) -> Vec<&str> {
        let damaged = self.read().filter(|(_, r)| !r.damage.is_empty());
        damaged.map(|(file, _)| file).collect()
    }

    /// Every recording that was read, with its file's name, once.
    fn read(&self) -> impl Iterator<Item = (&str, &Recording)> {
        let mut seen: Vec<&str> = Vec::new();
        let streams = self.session.streams.iter().zip(&self.sources);
        streams.filter_map(move |(stream, source)| {
            let recording: &Recording = source.recording()?;
            let file = stream.file.as_str();
            (!seen.contains(&file)).then(|| {
                seen.push(file);
                (file, recording)
            })
        })
    }

    /// Recorder time that is session time zero (before the offset) for a stream, s: what the
    /// session says, else the first time stamp of the first stream with absolute time; the
    /// recording's own zero for elapsed time.
    pub fn zero_s(&self, stream: usize) -> f64 {
        match self.sources.get(stream) {
            Some(source) if source.is_absolute() => self.absolute_zero_s().unwrap_or(0.0),
            _ => 0.0,
        }
    }

    /// Session time zero by the calendar, s since 1970; `None` where every recording counts from its
    /// own zero.
    pub fn absolute_zero_s(&self) -> Option<f64> {
        let mut absolute = self.sources.iter().filter(|source| source.is_absolute());
        let first = || absolute.find_map(|source| source.samples()?.time_s().first().copied());
        self.session.zero_unix_s.or_else(first)
    }

    /// Notes in `session`, which has these streams in this order, what the recordings tell and no
    /// tester decides: the hashes of those seen for the first time, and where session time starts.
    pub fn note_in(&self, session: &mut Session) {
        for (stream, source) in session.streams.iter_mut().zip(&self.sources) {
            if let (None, Some(recording)) = (&stream.sha256, source.recording()) {
                stream.sha256 = Some(recording.sha256.clone());
            }
        }
        if session.zero_unix_s.is_none() {
            session.zero_unix_s = self.absolute_zero_s();
        }
    }

    /// Whether a file written at `path` would take the place of the session file or of one of its
    /// recordings.
    pub fn is_own_file(&self, path: &Path) -> bool {
        let Some(wanted) = named_in_full(path) else {
            return false;
        };
        let recorded = self.sources.iter().filter_map(Source::recording);
        let named = self.session.streams.iter().map(|stream| &stream.file);
        named
            .map(|file| self.folder.join(file))
            .chain(recorded.map(|recording| recording.path.clone()))
            .chain([self.folder.join(FILE_NAME)])
            .any(|own| {
                named_in_full(&own).as_ref() == Some(&wanted)
                    || own.canonicalize().is_ok_and(|own| own == wanted)
            })
    }

    /// Whether two streams come from one recording and so share a clock.
    pub fn share_a_clock(&self, one: usize, other: usize) -> bool {
        let recording = |index: usize| self.sources.get(index).and_then(Source::recording);
        match (recording(one), recording(other)) {
            (Some(a), Some(b)) => Arc::ptr_eq(a, b) || a.sha256 == b.sha256,
            _ => false,
        }
    }
}

/// Leaves out everything where session time would count from another recording than it did.
fn without_zero(session: &Session, sources: &mut [Source]) -> Option<Problem> {
    let first = sources.iter().position(Source::is_absolute)?;
    let mut before = session.streams.iter().zip(sources.iter()).take(first);
    let (stream, _) = before.find(|(_, source)| source.bound.is_none())?;
    let label = stream.label.clone();
    sources.fill(Source::default());
    Some(Problem::NoZero { label })
}

/// The one name of what is called `path`: a link in the last place is itself, not what it leads to.
fn named_in_full(path: &Path) -> Option<PathBuf> {
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty());
    let folder = folder.unwrap_or(Path::new(".")).canonicalize().ok()?;
    Some(folder.join(path.file_name()?))
}

/// Leaves out every stream whose samples are those of a stream before it, where both are compared.
fn without_duplicates(session: &Session, sources: &mut [Source]) -> Vec<Problem> {
    let mut problems = Vec::new();
    let compared = |stream: &Stream| stream.role != Role::Context;
    for index in 1..sources.len().min(session.streams.len()) {
        let stream = &session.streams[index];
        let earlier = session.streams.iter().zip(sources.iter()).take(index);
        let twin = earlier
            .filter(|(other, source)| compared(other) && source.is_the_same(&sources[index]))
            .map(|(other, _)| other.label.clone())
            .next();
        if let Some(other) = twin.filter(|_| compared(stream)) {
            problems.push(Problem::SameSamples {
                label: stream.label.clone(),
                file: stream.file.clone(),
                other,
            });
            sources[index] = Source::default();
        }
    }
    problems
}

/// One reading of one file.
#[derive(Clone, Debug, PartialEq)]
struct Want {
    file: String,
    columns: ColumnMap,
}

impl Want {
    fn of(stream: &Stream) -> Self {
        let columns = ColumnMap {
            time: stream.columns.time.clone(),
            power: stream.channel.clone(),
            device: stream.columns.device.clone(),
        };
        Self {
            file: stream.file.clone(),
            columns,
        }
    }

    /// Whether one reading of the file serves both, whatever power columns they name.
    fn same_reading(&self, other: &Self) -> bool {
        self.file == other.file
            && self.columns.time == other.columns.time
            && self.columns.device == other.columns.device
    }

    fn read(&self, folder: &Path, strict: bool) -> Result<Arc<Recording>, RecordingError> {
        let path = inside(folder, &self.file).map_err(|source| RecordingError::Io {
            path: folder.join(&self.file),
            source,
        })?;
        let options = ReadOptions {
            strict,
            columns: self.columns.clone(),
        };
        crate::recording::read(&path, &options).map(Arc::new)
    }
}

fn wanted_recordings(session: &Session) -> Vec<Want> {
    let mut wants: Vec<Want> = Vec::new();
    for want in session.streams.iter().map(Want::of) {
        match wants.iter_mut().find(|other| other.same_reading(&want)) {
            None => wants.push(want),
            // A column asked for is the only one read: for several, let the names tell.
            Some(other) if other.columns.power != want.columns.power => other.columns.power = None,
            Some(_) => {}
        }
    }
    wants
}

fn find_source(
    folder: &Path,
    stream: &Stream,
    result: &Result<Arc<Recording>, RecordingError>,
    options: OpenOptions,
) -> Result<Source, Problem> {
    let (label, file) = (stream.label.clone(), stream.file.clone());
    let recording = match result {
        Ok(recording) => recording,
        Err(_) if matches!(folder.join(&file).try_exists(), Ok(false)) => {
            return Err(Problem::Missing { label, file });
        }
        Err(error) => {
            return Err(Problem::Unreadable {
                label,
                reason: error.to_string(),
            });
        }
    };
    let changed = stream
        .sha256
        .as_ref()
        .is_some_and(|known| *known != recording.sha256);
    if changed && !options.accept_changed {
        return Err(Problem::Changed { label, file });
    }
    match place_of(stream, recording) {
        Ok(index) => Ok(Source::new(Arc::clone(recording), index)),
        Err(reason) => Err(Problem::NoSuchStream {
            label,
            file,
            reason,
        }),
    }
}

/// Which stream of `recording` a session stream means: by the power field it names, else the only
/// one, else the one with its label, else the first with power.
fn place_of(stream: &Stream, recording: &Recording) -> Result<usize, String> {
    let streams = &recording.streams;
    if let Some(channel) = &stream.channel {
        let named = streams.iter().position(|s| {
            let field = s.power_field.as_deref();
            field.is_some_and(|field| field.eq_ignore_ascii_case(channel))
        });
        return named.ok_or_else(|| {
            let known: Vec<&str> = streams
                .iter()
                .filter_map(|s| s.power_field.as_deref())
                .collect();
            format!(
                "it has no power field “{channel}”, but {}",
                known.join(", ")
            )
        });
    }
    let by_label = streams
        .iter()
        .position(|s| streams.len() > 1 && s.label == stream.label);
    by_label
        .or_else(|| streams.iter().position(|s| s.power_field.is_some()))
        .or((!streams.is_empty()).then_some(0))
        .ok_or_else(|| "it holds no stream".to_owned())
}
