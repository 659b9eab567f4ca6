//! `session.toml`: reading it, and writing it without losing a comment, an unknown key or, on a
//! crash, the old file.

use std::collections::BTreeSet;
use std::io::Write as _;
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};
use std::time::Duration;

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::document;
use super::{
    Allowance, Claim, ColumnNames, CommonErrors, Fact, Kind, MatchedOn, Role, Segment, Session,
    Site,
};
use super::{Stream, Words};
use crate::recording::clean_text;
use crate::recording::words::hex;

/// Name of the session file inside its folder.
pub const FILE_NAME: &str = "session.toml";

/// The only `format` this version reads and writes.
pub const FORMAT: i64 = 1;

/// Why a session could not be loaded or saved. Messages name the file, the place and the way out.
#[derive(Debug, thiserror::Error)]
pub enum SessionError {
    /// No `session.toml` there.
    #[error("{path}: no session here; start one with `truing new {folder} RECORDING...`")]
    NoSession {
        /// The file looked for.
        path: PathBuf,
        /// Its folder.
        folder: PathBuf,
    },
    /// What was named is a file.
    #[error(
        "{path}: a file, and no session folder; look into a recording with `truing probe {path}`, start a session over it with `truing new FOLDER {path}`"
    )]
    NoFolder {
        /// The file.
        path: PathBuf,
    },
    /// The system refused to read.
    #[error("{path}: cannot read it ({source})")]
    Read {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// The system refused to write; the old file is intact.
    #[error(
        "{path}: cannot write it ({source}); the old file, if there was one, is intact. Free space or choose a folder you may write to"
    )]
    Write {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// Not TOML, or a value of the wrong kind.
    #[error("{path}: {message}")]
    Syntax {
        /// The file.
        path: PathBuf,
        /// What and where, with the line quoted.
        message: String,
    },
    /// Well-formed, but it cannot be meant.
    #[error("{path}: {place}: {problem}")]
    Meaning {
        /// The file.
        path: PathBuf,
        /// Which table.
        place: String,
        /// What is wrong with it and what to write instead.
        problem: String,
    },
    /// The file on disk is not the one that was loaded.
    #[error(
        "{path}: somebody else changed it since it was opened; nothing was written. Open it again, or save to overwrite that change knowingly"
    )]
    ChangedOutside {
        /// The file.
        path: PathBuf,
    },
}

/// Fingerprint of a session file's bytes, to notice that somebody else changed it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fingerprint(String);

impl Fingerprint {
    fn of(bytes: &[u8]) -> Self {
        Self(hex(&Sha256::digest(bytes)))
    }
}

/// A session file as it stands on disk.
#[derive(Clone, Debug, PartialEq)]
pub struct Stored {
    /// Its content.
    pub session: Session,
    /// Of the bytes it was read from.
    pub fingerprint: Fingerprint,
}

/// The session file of a session named by its folder or by the file itself.
pub fn file_of(session: &Path) -> PathBuf {
    if session.file_name().is_some_and(|name| name == FILE_NAME) && !session.is_dir() {
        session.to_owned()
    } else {
        session.join(FILE_NAME)
    }
}

/// The folder of a session named by its folder or by the file itself.
pub fn folder_of(session: &Path) -> PathBuf {
    match file_of(session).parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder.to_owned(),
        _ => PathBuf::from("."),
    }
}

/// Where `file`, named relative to the session folder, is read from. Everything read on behalf of a
/// session goes through here: a folder that came from somebody else may hold a link to a private
/// file, whose lines would then stand in messages and in a report made to be handed on.
///
/// # Errors
/// The system's, and where a link leads out of the folder.
pub(crate) fn inside(folder: &Path, file: &str) -> std::io::Result<PathBuf> {
    let path = folder.join(file);
    let leads_to = path.canonicalize()?;
    // A folder without a name is the one we are in.
    let folder = match folder.as_os_str().is_empty() {
        true => Path::new(".").canonicalize()?,
        false => folder.canonicalize()?,
    };
    if leads_to.starts_with(folder) {
        Ok(path)
    } else {
        Err(std::io::Error::other(
            "its path or a link leads out of the session folder and is not followed: put the file itself there",
        ))
    }
}

/// Loads the session in `folder`.
///
/// # Errors
/// [`SessionError`] where there is none, it cannot be read, or it says something impossible.
pub fn load(folder: &Path) -> Result<Stored, SessionError> {
    let text = read_text(folder)?;
    let session = parse(&folder.join(FILE_NAME), &text)?;
    Ok(Stored {
        session,
        fingerprint: Fingerprint::of(text.as_bytes()),
    })
}

/// Fingerprint of the session file in `folder` as it stands, readable as a session or not.
///
/// # Errors
/// [`SessionError`] where there is none or it cannot be read.
pub fn fingerprint(folder: &Path) -> Result<Fingerprint, SessionError> {
    let text = read_text(folder)?;
    Ok(Fingerprint::of(text.as_bytes()))
}

/// A parser's message in words for somebody who edits the file by hand: the place, the line, and
/// what is wrong there.
pub(crate) fn plain_words(message: &str) -> String {
    const LONGEST_LINE: usize = 160;
    let message = message.trim_end().replacen("TOML parse error at ", "", 1);
    let (place, told) = message.rsplit_once('\n').unwrap_or(("", &message));
    let mut lines: Vec<String> = place
        .lines()
        .map(|line| match line.char_indices().nth(LONGEST_LINE) {
            Some((end, _)) => format!("{}…", &line[..end]),
            None => line.to_owned(),
        })
        .collect();
    lines.push(wrong_kind(told).unwrap_or_else(|| {
        told.replace("unknown variant", "unknown word")
            .replace("missing field", "missing key")
    }));
    lines.join("\n")
}

/// A value of the wrong type, without the names of types.
fn wrong_kind(told: &str) -> Option<String> {
    const FOUND: [(&str, &str); 5] = [
        ("floating point ", "the number "),
        ("integer ", "the number "),
        ("boolean ", ""),
        ("string ", "the text "),
        ("map", "a table or a date"),
    ];
    let (found, wanted) = told
        .strip_prefix("invalid type: ")?
        .rsplit_once(", expected ")?;
    let found = FOUND
        .iter()
        .find_map(|(theirs, ours)| Some(format!("{ours}{}", found.strip_prefix(theirs)?)))
        .unwrap_or_else(|| found.replace("sequence", "a list"));
    let wanted = match wanted {
        "f64" => "a number should stand, without quotes",
        "i64" => "a whole number should stand, without quotes",
        "a string" => "a text should stand, in quotes",
        "a sequence" => {
            "a list should stand: [[stream]] and [[segment]] have two brackets on each side, \
             texts in a list read [\"one\", \"two\"]"
        }
        // The names of our own tables.
        _ => "a table should stand: its name in brackets on a line of its own, its keys below",
    };
    Some(format!("here is {found}, where {wanted}"))
}

/// Longest session file read, bytes: some thousand times a usual one. In memory a file takes some
/// sixty times its length.
const MOST_BYTES: u64 = 4 << 20;

fn read_text(folder: &Path) -> Result<String, SessionError> {
    let path = folder.join(FILE_NAME);
    let refused = |source| SessionError::Read {
        path: path.clone(),
        source,
    };
    let checked = inside(folder, FILE_NAME).and_then(|path| regular_file(&path));
    let about = checked.map_err(|source| match source.kind() {
        std::io::ErrorKind::NotADirectory => SessionError::NoFolder {
            path: folder.to_owned(),
        },
        std::io::ErrorKind::NotFound => SessionError::NoSession {
            path: path.clone(),
            folder: folder.to_owned(),
        },
        _ => refused(source),
    })?;
    if about.len() > MOST_BYTES {
        return Err(refused(too_long()));
    }
    std::fs::read_to_string(&path).map_err(refused)
}

fn too_long() -> std::io::Error {
    std::io::Error::other("it is over 4 MiB: no session file is")
}

/// What the system knows of the file at `path`, before it is opened: a pipe would be waited for.
///
/// # Errors
/// The system's, and for anything that is not a regular file.
pub(crate) fn regular_file(path: &Path) -> std::io::Result<std::fs::Metadata> {
    let about = std::fs::metadata(path)?;
    if about.is_file() {
        Ok(about)
    } else {
        Err(std::io::Error::other("it is not a regular file"))
    }
}

/// Reads the text of a session file; `path` is for messages.
///
/// # Errors
/// [`SessionError::Syntax`] or [`SessionError::Meaning`].
pub fn parse(path: &Path, text: &str) -> Result<Session, SessionError> {
    let file: SessionFile =
        toml_edit::de::from_str(text).map_err(|error| SessionError::Syntax {
            path: path.to_owned(),
            message: plain_words(&error.to_string()),
        })?;
    let meaning = |(place, problem)| SessionError::Meaning {
        path: path.to_owned(),
        place,
        problem,
    };
    if file.format != FORMAT {
        return Err(meaning((
            format!("format = {}", file.format),
            format!("this version knows format {FORMAT} only; use a newer truing"),
        )));
    }
    let mut session = file.into_session(document::facts_in_order(text));
    check(&session).map_err(meaning)?;
    session.sort_segments();
    Ok(session)
}

/// What is impossible about `session`: the place and the remedy.
///
/// # Errors
/// The place in the file, and what is wrong there with the way out.
pub fn check(session: &Session) -> Result<(), (String, String)> {
    let (claim, allowance) = (session.claim, session.allowance);
    let zero_s = session.zero_unix_s.unwrap_or(0.0);
    within("the top", "zero_unix_s", zero_s, TIMES_S)?;
    without_sign("[claim]", "percent", claim.percent, MOST_PERCENT)?;
    without_sign("[claim]", "watts", claim.watts, MOST_WATTS)?;
    let place = "[allowance]";
    within(place, "percent", allowance.percent, ALLOWANCE_PERCENT)?;
    without_sign(place, "plus_minus", allowance.plus_minus, 50.0)?;
    let common = session.references.claims_correlation;
    within("[references]", "claims_correlation", common, 0.0..=1.0)?;
    for (index, stream) in session.streams.iter().enumerate() {
        check_stream(session, index, stream)?;
    }
    if session.segments.len() > MOST_SEGMENTS {
        let problem = format!(
            "there are {}; a session holds at most {MOST_SEGMENTS}: split the session",
            session.segments.len()
        );
        return Err(("[[segment]]".to_owned(), problem));
    }
    for (index, segment) in session.segments.iter().enumerate() {
        let place = format!("[[segment]] number {} ({})", index + 1, segment.kind);
        within(&place, "from_s", segment.from_s, TIMES_S)?;
        within(&place, "to_s", segment.to_s, TIMES_S)?;
        let set_point_w = segment.set_point_w.unwrap_or(0.0);
        within(&place, "set_point_w", set_point_w, 0.0..=MOST_SET_POINT_W)?;
        if segment.to_s <= segment.from_s {
            return Err((place, "to_s must be greater than from_s".to_owned()));
        }
    }
    Ok(())
}

/// What keeps `session` from being saved so that it can be opened again.
///
/// # Errors
/// Those of [`check`], and where the file would be too long.
pub fn check_savable(session: &Session) -> Result<(), (String, String)> {
    check(session)?;
    let of_segment = |segment: &Segment| 100 + segment.note.len() as u64;
    // Writing it takes long where there are many; most are far from the limit.
    let roughly: u64 = session.segments.iter().map(of_segment).sum();
    if roughly > MOST_BYTES / 4 && to_text(session).len() as u64 > MOST_BYTES {
        let problem = "the session file would be over 4 MiB; shorten the notes".to_owned();
        return Err((FILE_NAME.to_owned(), problem));
    }
    Ok(())
}

/// Most segments of a session: one every ten seconds of a long ride.
const MOST_SEGMENTS: usize = 5000;

/// Largest set point, W: twice what the strongest hold for a few seconds.
pub const MOST_SET_POINT_W: f64 = 3000.0;

/// A claim wider than the reading itself is a slip of the pen, %.
const MOST_PERCENT: f64 = 100.0;

/// The same for the floor of a claim, W.
const MOST_WATTS: f64 = 3000.0;

/// Losses and gains between two sites that are no slip of the pen, %.
const ALLOWANCE_PERCENT: RangeInclusive<f64> = -50.0..=50.0;

/// Session times and offsets that can be meant, s. A recorder's clock that was never set may be
/// off by decades, so this is wide: some thirty thousand years.
const TIMES_S: RangeInclusive<f64> = -1e12..=1e12;

/// A clock that is 10 % off is no clock; a larger skew in a file is a slip of the pen.
const MOST_SKEW_PPM: f64 = 100_000.0;

fn within(
    place: &str,
    key: &str,
    value: f64,
    range: RangeInclusive<f64>,
) -> Result<(), (String, String)> {
    if range.contains(&value) {
        return Ok(());
    }
    let (low, high) = (range.start(), range.end());
    let problem = format!(
        "{key} is {}; write a number from {} to {}",
        in_brief(value),
        in_brief(*low),
        in_brief(*high)
    );
    Err((place.to_owned(), problem))
}

/// What is ± has no sign: one before it is a slip of its own.
fn without_sign(place: &str, key: &str, value: f64, most: f64) -> Result<(), (String, String)> {
    if value < 0.0 {
        let problem = format!("{key} cannot be negative; drop the sign");
        return Err((place.to_owned(), problem));
    }
    within(place, key, value, 0.0..=most)
}

/// A number without hundreds of digits.
fn in_brief(value: f64) -> String {
    if value.abs() < 1e9 {
        value.to_string()
    } else {
        format!("{value:e}")
    }
}

fn check_stream(session: &Session, index: usize, stream: &Stream) -> Result<(), (String, String)> {
    let place = format!("[[stream]] “{}”", clean_text(&stream.label));
    if clean_text(&stream.label).trim().is_empty() {
        let problem = "a stream needs a label; name the device".to_owned();
        return Err((format!("[[stream]] number {}", index + 1), problem));
    }
    if stream.label == CONSENSUS {
        let problem = format!("“{CONSENSUS}” is the name of the references' mean; choose another");
        return Err((place, problem));
    }
    let shown = clean_text(&stream.label);
    let mut earlier = session.streams.iter().take(index);
    if earlier.any(|other| clean_text(&other.label) == shown) {
        return Err((place, "two streams have this label; rename one".to_owned()));
    }
    if leaves_folder(&stream.file) {
        let problem = format!(
            "file “{}” lies outside the session folder; copy the recording into it and name it relative to the folder",
            clean_text(&stream.file)
        );
        return Err((place, problem));
    }
    within(&place, "offset_s", stream.offset_s, TIMES_S)?;
    let percent = stream.claim_percent.unwrap_or(0.0);
    without_sign(&place, "claim_percent", percent, MOST_PERCENT)?;
    let watts = stream.claim_watts.unwrap_or(0.0);
    without_sign(&place, "claim_watts", watts, MOST_WATTS)?;
    let skews = -MOST_SKEW_PPM..=MOST_SKEW_PPM;
    within(&place, "skew_ppm", stream.skew_ppm, skews)
}

/// A session is handed on as a folder, so what it refers to must lie inside.
fn leaves_folder(file: &str) -> bool {
    use std::path::Component;
    let path = Path::new(file);
    file.is_empty()
        || path
            .components()
            .any(|part| !matches!(part, Component::Normal(_) | Component::CurDir))
}

/// The label that stands for the references' mean in tables.
pub const CONSENSUS: &str = "consensus";

/// Saves `session` in `folder`: comments and unknown keys of the file there are kept, and at every
/// moment the file is either the old one or the new one, whole.
///
/// With `expected`, refuses when the file on disk has another fingerprint.
///
/// # Errors
/// [`SessionError`]; the old file is then intact.
pub fn save(
    folder: &Path,
    session: &Session,
    expected: Option<&Fingerprint>,
) -> Result<Fingerprint, SessionError> {
    let path = folder.join(FILE_NAME);
    let old = match read_text(folder) {
        Ok(text) => text,
        Err(SessionError::NoSession { .. }) => String::new(),
        Err(other) => return Err(other),
    };
    if expected.is_some_and(|wanted| *wanted != Fingerprint::of(old.as_bytes())) {
        return Err(SessionError::ChangedOutside { path });
    }
    let text = document::merged(&old, session).map_err(|message| SessionError::Syntax {
        path: path.clone(),
        message: plain_words(&message),
    })?;
    // Whatever led here: a file that could not be opened again takes no good one's place.
    parse(&path, &text)?;
    if text.len() as u64 > MOST_BYTES {
        let source = too_long();
        return Err(SessionError::Write { path, source });
    }
    // Where a link stands for the file, what it leads to is the file.
    let file = path.canonicalize().unwrap_or_else(|_| path.clone());
    write_atomically(&file, text.as_bytes())
        .map_err(|source| SessionError::Write { path, source })?;
    let files = session.streams.iter().map(|stream| Path::new(&stream.file));
    let folders: BTreeSet<&Path> = files.filter_map(Path::parent).collect();
    for recordings in folders {
        remove_abandoned(&folder.join(recordings));
    }
    Ok(Fingerprint::of(text.as_bytes()))
}

/// The text that [`save`] would write for `session` where there is no file yet.
pub fn to_text(session: &Session) -> String {
    document::merged("", session).unwrap_or_default()
}

/// Replaces the file at `path` by `bytes`, through a temporary file beside it that is flushed to
/// the disk before it takes the name. A device or a pipe is no file to be replaced: it is written
/// to.
///
/// # Errors
/// The system's; the old file is then intact.
pub fn write_atomically(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    if takes_any_bytes(path) {
        return std::fs::OpenOptions::new()
            .write(true)
            .open(path)?
            .write_all(bytes);
    }
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    remove_abandoned(folder);
    let mut file = temporary_for(path, folder)?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    file.persist(path).map_err(|error| error.error)?;
    flush_folder(folder);
    Ok(())
}

/// What the names of temporary files begin with.
const TEMPORARY: &str = ".truing-";

/// A temporary file in `folder` that may take the place of `path`: with the permissions of the file
/// there, else with those that the umask leaves to any new file.
fn temporary_for(path: &Path, folder: &Path) -> std::io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(TEMPORARY);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        let old = std::fs::metadata(path)
            .map(|about| about.permissions())
            .ok();
        let ordinary = std::fs::Permissions::from_mode(0o666);
        builder.permissions(old.clone().unwrap_or(ordinary));
        let file = builder.tempfile_in(folder)?;
        if let Some(old) = old {
            file.as_file().set_permissions(old)?;
        }
        Ok(file)
    }
    #[cfg(not(unix))]
    builder.tempfile_in(folder)
}

/// A new name is durable only once its folder is on the disk; some file systems cannot flush a
/// folder, and the rename has happened by then.
pub(super) fn flush_folder(folder: &Path) {
    if let Ok(handle) = std::fs::File::open(folder) {
        let _ = handle.sync_all();
    }
}

/// Older than this, a temporary file is nobody's: writing takes seconds.
const ABANDONED_AFTER: Duration = Duration::from_secs(3600);

/// Removes the temporary files that a kill has left in `folder`. What cannot be removed stays.
fn remove_abandoned(folder: &Path) {
    let is_ours = |name: &std::ffi::OsStr| {
        let random = name.to_str().and_then(|name| name.strip_prefix(TEMPORARY));
        random.is_some_and(|r| r.len() == 6 && r.bytes().all(|b| b.is_ascii_alphanumeric()))
    };
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    for entry in entries.filter(|entry| is_ours(&entry.file_name())) {
        // Of a link itself, not of what it leads to.
        let about = entry.metadata().ok().filter(std::fs::Metadata::is_file);
        let age = about.and_then(|about| about.modified().ok()?.elapsed().ok());
        if age.is_some_and(|age| age > ABANDONED_AFTER) {
            let _ = std::fs::remove_file(entry.path());
        }
    }
}

/// Copies the file at `from` to `to`, where nothing is yet: whole or not at all.
///
/// # Errors
/// The system's.
pub(super) fn copy_atomically(from: &Path, to: &Path) -> std::io::Result<()> {
    let folder = to.parent().unwrap_or(Path::new("."));
    remove_abandoned(folder);
    let mut file = temporary_for(to, folder)?;
    std::io::copy(&mut std::fs::File::open(from)?, &mut file)?;
    file.as_file().sync_all()?;
    file.persist_noclobber(to).map_err(|error| error.error)?;
    flush_folder(folder);
    Ok(())
}

/// Whether a device, a pipe or the like is at `path`.
pub fn takes_any_bytes(path: &Path) -> bool {
    std::fs::metadata(path).is_ok_and(|about| !about.is_file() && !about.is_dir())
}

#[derive(Deserialize)]
struct SessionFile {
    format: i64,
    #[serde(default)]
    title: String,
    #[serde(default)]
    zero_unix_s: Option<f64>,
    claim: Option<Claim>,
    #[serde(default)]
    allowance: Allowance,
    #[serde(default)]
    references: CommonErrors,
    #[serde(default)]
    stream: Vec<StreamEntry>,
    #[serde(default)]
    segment: Vec<SegmentEntry>,
    #[serde(default)]
    words: Words,
}

#[derive(Deserialize)]
struct StreamEntry {
    label: String,
    file: String,
    channel: Option<String>,
    role: Role,
    site: Option<Site>,
    claim_percent: Option<f64>,
    claim_watts: Option<f64>,
    #[serde(default)]
    offset_s: f64,
    #[serde(default)]
    skew_ppm: f64,
    matched_on: Option<MatchedOn>,
    clock_doubt: Option<String>,
    sha256: Option<String>,
    #[serde(default)]
    columns: ColumnNames,
}

#[derive(Deserialize)]
struct SegmentEntry {
    kind: Kind,
    from_s: f64,
    to_s: f64,
    set_point_w: Option<f64>,
    #[serde(default)]
    note: String,
}

impl SessionFile {
    fn into_session(self, facts: Vec<Fact>) -> Session {
        Session {
            title: self.title,
            zero_unix_s: self.zero_unix_s,
            claim: self.claim.unwrap_or_default(),
            allowance: self.allowance,
            references: self.references,
            streams: self.stream.into_iter().map(Into::into).collect(),
            segments: self.segment.into_iter().map(Into::into).collect(),
            facts,
            words: self.words,
        }
    }
}

impl From<StreamEntry> for Stream {
    fn from(entry: StreamEntry) -> Self {
        Stream {
            label: entry.label,
            file: entry.file,
            channel: entry.channel,
            role: entry.role,
            site: entry.site,
            claim_percent: entry.claim_percent,
            claim_watts: entry.claim_watts,
            offset_s: entry.offset_s,
            skew_ppm: entry.skew_ppm,
            matched_on: entry.matched_on,
            clock_doubt: entry.clock_doubt,
            sha256: entry.sha256,
            columns: entry.columns,
        }
    }
}

impl From<SegmentEntry> for Segment {
    fn from(entry: SegmentEntry) -> Self {
        Segment {
            kind: entry.kind,
            from_s: entry.from_s,
            to_s: entry.to_s,
            set_point_w: entry.set_point_w,
            note: entry.note,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const BY_HAND: &str = r#"# my ride
format = 1
title = "Bench ride" # working title

[claim]
percent = 2.0
watts = 0.0
source = "box" # not ours to drop

[[stream]]
label = "trainer"
file = "recordings/trainer.fit"
role = "under-test"
site = "trainer"
offset_s = 0   # whole number, by hand
serial = 12

# the pedals were zeroed before
[[stream]]
label = "pedals"
file = "recordings/pedals.fit"
role = "reference"
site = "pedal"
claim_percent = 1.0

[[segment]]
kind = "sprint"
from_s = 400.0
to_s = 420.0

# the good one
[[segment]]
kind = "steady-block"
from_s = 60.0
to_s = 360.0
set_point_w = 250.0
weather = "hot"

[facts]
firmware = "1.2"
unit = 7
"#;

    fn parsed(text: &str) -> Session {
        parse(Path::new("session.toml"), text).unwrap()
    }

    fn refused(text: &str) -> String {
        parse(Path::new("ride/session.toml"), text)
            .unwrap_err()
            .to_string()
    }

    #[test]
    fn a_session_by_hand_is_read() {
        let session = parsed(BY_HAND);
        assert_eq!(session.title, "Bench ride");
        assert_eq!(session.streams[1].claim_percent, Some(1.0));
        assert_eq!(session.segments[0].kind, Kind::SteadyBlock);
        assert_eq!(
            session.facts[1],
            Fact {
                key: "unit".into(),
                value: "7".into()
            }
        );
    }

    #[test]
    fn saving_an_unchanged_session_changes_little_and_loses_nothing() {
        let text = document::merged(BY_HAND, &parsed(BY_HAND)).unwrap();
        for kept in [
            "# my ride",
            "# working title",
            "source = \"box\" # not ours to drop",
            "offset_s = 0   # whole number, by hand",
            "serial = 12",
            "# the pedals were zeroed before\n[[stream]]\nlabel = \"pedals\"",
            "# the good one\n[[segment]]\nkind = \"steady-block\"",
            "weather = \"hot\"",
            "unit = 7",
        ] {
            assert!(text.contains(kept), "lost {kept:?} in\n{text}");
        }
        assert_eq!(parsed(&text), parsed(BY_HAND));
        assert_eq!(
            document::merged(&text, &parsed(&text)).unwrap(),
            text,
            "a second save is still"
        );
    }

    #[test]
    fn comments_follow_their_segment_when_it_moves() {
        let mut session = parsed(BY_HAND);
        session.segments[0].to_s = 300.0;
        session.segments.remove(1);
        session.segments.push(Segment {
            kind: Kind::Coast,
            from_s: 10.0,
            to_s: 20.0,
            set_point_w: None,
            note: "easy".into(),
        });
        session.sort_segments();
        let text = document::merged(BY_HAND, &session).unwrap();
        let (coast, good) = (
            text.find("coast").unwrap(),
            text.find("# the good one").unwrap(),
        );
        assert!(coast < good, "{text}");
        assert!(
            text.contains("to_s = 300.0") && text.contains("weather"),
            "{text}"
        );
        assert!(!text.contains("sprint"));
        assert_eq!(parsed(&text), session);
    }

    #[test]
    fn mistakes_are_told_with_place_and_remedy() {
        let typo = refused(&BY_HAND.replace("steady-block", "stedy-block"));
        assert!(typo.starts_with("ride/session.toml: line 33"), "{typo}");
        assert!(typo.contains("`steady-block`"), "{typo}");
        let order = refused(&BY_HAND.replace("to_s = 420.0", "to_s = 20.0"));
        assert!(
            order.contains("number 1 (sprint): to_s must be greater"),
            "{order}"
        );
        let outside = refused(&BY_HAND.replace("recordings/pedals.fit", "../../etc/hosts"));
        assert!(outside.contains("outside the session folder"), "{outside}");
        let absolute = refused(&BY_HAND.replace("recordings/pedals.fit", "/dev/zero"));
        assert!(
            absolute.contains("outside the session folder"),
            "{absolute}"
        );
        let twins = refused(&BY_HAND.replace("\"pedals\"", "\"trainer\""));
        assert!(twins.contains("two streams have this label"), "{twins}");
        let newer = refused(&BY_HAND.replace("format = 1", "format = 2"));
        assert!(newer.contains("newer truing"), "{newer}");
        let infinite = refused(&BY_HAND.replace("from_s = 400.0", "from_s = inf"));
        assert!(infinite.contains("from_s is inf"), "{infinite}");
    }

    #[test]
    fn numbers_that_cannot_be_meant_are_told_in_brief() {
        let told = |from: &str, to: &str| refused(&BY_HAND.replace(from, to));
        for (from, to, said) in [
            (
                "percent = 2.0",
                "percent = 1e308",
                "percent is 1e308; write a number from 0 to 100",
            ),
            (
                "offset_s = 0 ",
                "offset_s = -1e300 ",
                "offset_s is -1e300; write a number from -1e12",
            ),
            ("to_s = 420.0", "to_s = 1e300", "to_s is 1e300"),
            (
                "to_s = 420.0",
                "to_s = 420.0\nset_point_w = -250",
                "set_point_w is -250; write a",
            ),
            (
                "offset_s = 0 ",
                "skew_ppm = 1e300 ",
                "skew_ppm is 1e300; write a number from -100000",
            ),
            (
                "[[stream]]\nlabel = \"trainer\"",
                "[allowance]\npercent = -100\n\n[[stream]]\nlabel = \"trainer\"",
                "percent is -100; write a number from -50 to 50",
            ),
        ] {
            let told = told(from, to);
            assert!(told.contains(said), "{told}");
        }
    }

    #[test]
    fn a_value_of_the_wrong_kind_is_told_without_names_of_types() {
        for (from, to, said) in [
            (
                "percent = 2.0",
                "percent = \"two\"",
                "here is the text \"two\", where a number should stand",
            ),
            (
                "title = \"Bench ride\"",
                "title = 7",
                "here is the number `7`, where a text should stand, in quotes",
            ),
            (
                "offset_s = 0 ",
                "offset_s = true ",
                "here is `true`, where a number",
            ),
            (
                "[[segment]]\nkind = \"sprint\"",
                "[words]\nfor = \"quiet\"\n\n[[segment]]\nkind = \"sprint\"",
                "here is the text \"quiet\", where a list should stand",
            ),
        ] {
            let told = refused(&BY_HAND.replace(from, to));
            assert!(told.contains(said), "{told}");
            assert!(
                !told.contains("f64") && !told.contains("invalid type"),
                "{told}"
            );
        }
        let many = refused(&BY_HAND.replace(
            "[facts]",
            &("[[segment]]\nkind = \"open\"\nfrom_s = 1\nto_s = 2\n\n".repeat(5000) + "[facts]"),
        ));
        assert!(many.contains("split the session"), "{many}");
        let long = refused(&BY_HAND.replace("\"sprint\"", &format!("{}\"x\"", "[".repeat(5000))));
        assert!(long.len() < 1000, "{} bytes", long.len());
    }

    #[test]
    fn what_stands_within_the_facts_and_behind_a_table_in_one_line_is_kept() {
        let by_hand = BY_HAND.replace(
            "[claim]\npercent = 2.0\nwatts = 0.0\nsource = \"box\" # not ours to drop\n",
            "claim = { percent = 2.0, watts = 0.0, source = \"box\" } # see the leaflet\n",
        ) + "gear.front = 50\n\n[facts.wheel]\ntyre = 28 # mm\n\n[[facts.rides]]\nn = 1\n";
        let mut session = parsed(&by_hand);
        session.claim.percent = 1.5;
        session.facts[0].value = "1.3".into();
        let text = document::merged(&by_hand, &session).unwrap();
        for kept in [
            "claim = { percent = 1.5, watts = 0.0, source = \"box\" } # see the leaflet",
            "firmware = \"1.3\"",
            "gear.front = 50",
            "[facts.wheel]\ntyre = 28 # mm",
            "[[facts.rides]]\nn = 1",
        ] {
            assert!(text.contains(kept), "lost {kept:?} in\n{text}");
        }
        assert_eq!(parsed(&text), session);
    }

    #[test]
    fn what_could_not_be_opened_again_takes_no_good_files_place() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join(FILE_NAME);
        std::fs::write(&file, BY_HAND).unwrap();
        let mut session = parsed(BY_HAND);
        session.segments[0].set_point_w = Some(f64::NAN);
        let refused = save(folder.path(), &session, None).unwrap_err().to_string();
        assert!(refused.contains("set_point_w is NaN"), "{refused}");
        assert_eq!(std::fs::read_to_string(&file).unwrap(), BY_HAND);
    }

    #[cfg(unix)]
    #[test]
    fn a_session_file_behind_a_link_is_saved_where_it_is() {
        let folder = tempfile::tempdir().unwrap();
        let kept = folder.path().join("kept.toml");
        std::fs::write(&kept, BY_HAND).unwrap();
        let link = folder.path().join(FILE_NAME);
        std::os::unix::fs::symlink("kept.toml", &link).unwrap();
        let mut stored = load(folder.path()).unwrap();
        stored.session.title = "Second".into();
        save(folder.path(), &stored.session, Some(&stored.fingerprint)).unwrap();
        assert!(link.symlink_metadata().unwrap().is_symlink());
        let text = std::fs::read_to_string(&kept).unwrap();
        assert!(
            text.contains("title = \"Second\" # working title"),
            "{text}"
        );
    }

    #[cfg(unix)]
    #[test]
    fn a_session_file_behind_a_link_out_of_the_folder_is_neither_read_nor_written() {
        let home = tempfile::tempdir().unwrap();
        let (private, folder) = (home.path().join("private"), home.path().join("received"));
        std::fs::write(&private, "a secret\n").unwrap();
        std::fs::create_dir(&folder).unwrap();
        std::os::unix::fs::symlink(&private, folder.join(FILE_NAME)).unwrap();
        for told in [
            load(&folder).unwrap_err(),
            save(&folder, &parsed(BY_HAND), None).unwrap_err(),
        ] {
            let told = told.to_string();
            assert!(told.contains("leads out of the session folder"), "{told}");
            assert!(!told.contains("secret"), "{told}");
        }
        assert_eq!(std::fs::read_to_string(&private).unwrap(), "a secret\n");
    }

    #[test]
    fn saving_removes_what_a_kill_has_left_and_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let recordings = folder.path().join("recordings");
        std::fs::create_dir(&recordings).unwrap();
        let old = std::time::SystemTime::now() - Duration::from_secs(90_000);
        let write = |path: PathBuf, is_old: bool| {
            let file = std::fs::File::create(&path).unwrap();
            if is_old {
                file.set_modified(old).unwrap();
            }
            path
        };
        let left = [
            write(folder.path().join(".truing-AbC123"), true),
            write(recordings.join(".truing-x9Yz00"), true),
        ];
        let kept = [
            // Somebody may be writing it now.
            write(folder.path().join(".truing-AbC124"), false),
            write(folder.path().join(".truing-notes"), true),
            write(recordings.join("trainer.fit"), true),
        ];
        save(folder.path(), &parsed(BY_HAND), None).unwrap();
        assert!(left.iter().all(|path| !path.exists()), "{left:?}");
        assert!(kept.iter().all(|path| path.exists()), "{kept:?}");
    }

    #[test]
    fn what_is_too_long_to_be_read_again_is_not_saved() {
        let folder = tempfile::tempdir().unwrap();
        let mut session = parsed(BY_HAND);
        save(folder.path(), &session, None).unwrap();
        let kept = std::fs::read(folder.path().join(FILE_NAME)).unwrap();
        check_savable(&session).unwrap();
        session.segments[0].note = "x".repeat(MOST_BYTES as usize);
        let (place, problem) = check_savable(&session).unwrap_err();
        assert_eq!(place, FILE_NAME);
        assert!(problem.contains("over 4 MiB"), "{problem}");
        let told = save(folder.path(), &session, None).unwrap_err().to_string();
        assert!(told.contains("over 4 MiB"), "{told}");
        let now = std::fs::read(folder.path().join(FILE_NAME)).unwrap();
        assert_eq!(now, kept);
    }

    #[test]
    fn where_session_time_starts_is_written_with_its_meaning_and_held_to_what_can_be_meant() {
        let mut session = parsed(BY_HAND);
        assert_eq!(session.zero_unix_s, None);
        session.zero_unix_s = Some(1_764_054_000.25);
        let text = document::merged(BY_HAND, &session).unwrap();
        let line = "zero_unix_s = 1764054000.25 # where session time is 0, s since 1970";
        assert!(text.contains(line), "{text}");
        assert_eq!(parsed(&text), session);
        let told = refused(&text.replace("1764054000.25", "1e300"));
        assert!(told.contains("zero_unix_s is 1e300"), "{told}");
        let told = refused(&text.replace("1764054000.25", "2025-11-25T07:00:00Z"));
        assert!(told.contains("where a number should stand"), "{told}");
        // A comment of one's own stays.
        let text = text.replace("# where session", "# mine: where session");
        session.zero_unix_s = Some(1.0);
        let text = document::merged(&text, &session).unwrap();
        assert!(text.contains("zero_unix_s = 1.0 # mine"), "{text}");
    }

    #[test]
    fn a_save_is_whole_and_notices_other_hands() {
        let folder = tempfile::tempdir().unwrap();
        let missing = load(folder.path()).unwrap_err().to_string();
        assert!(missing.contains("truing new"), "{missing}");
        std::fs::write(folder.path().join(FILE_NAME), BY_HAND).unwrap();
        let mut stored = load(folder.path()).unwrap();
        stored.session.title = "Second".into();
        let saved = save(folder.path(), &stored.session, Some(&stored.fingerprint)).unwrap();
        assert_eq!(
            load(folder.path()).unwrap(),
            Stored {
                session: stored.session.clone(),
                fingerprint: saved
            }
        );
        let late = save(folder.path(), &stored.session, Some(&stored.fingerprint)).unwrap_err();
        assert!(matches!(late, SessionError::ChangedOutside { .. }));
        assert_eq!(
            std::fs::read_dir(folder.path()).unwrap().count(),
            1,
            "no temporary file is left"
        );
    }

    fn any_segment() -> impl Strategy<Value = Segment> {
        let set_point = prop::option::of(0.0..2000.0_f64);
        (
            0usize..7,
            0.0..9e4_f64,
            0.001..9e3_f64,
            set_point,
            "[ -~°é\"\\\\\n]{0,20}",
        )
            .prop_map(|(kind, from_s, length_s, set_point_w, note)| Segment {
                kind: Kind::ALL[kind],
                from_s,
                to_s: from_s + length_s,
                set_point_w,
                note,
            })
    }

    proptest! {
        #[test]
        fn what_is_saved_is_what_is_loaded(
            segments in prop::collection::vec(any_segment(), 0..12),
            offset_s in -1e5..1e5_f64,
            title in "\\PC{0,30}",
            zero_unix_s in prop::option::of(0.0..4e9_f64),
        ) {
            let mut session = parsed(BY_HAND);
            session.title = title;
            session.zero_unix_s = zero_unix_s;
            session.streams[1].offset_s = offset_s;
            session.streams[1].matched_on = Some(MatchedOn::Given);
            session.streams[1].clock_doubt = Some("a “second” peak".to_owned());
            session.segments = segments;
            session.sort_segments();
            let text = document::merged(BY_HAND, &session).unwrap();
            prop_assert_eq!(&parsed(&text), &session);
            prop_assert_eq!(parsed(&to_text(&session)), session);
        }
    }
}
