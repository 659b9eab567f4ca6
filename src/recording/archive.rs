//! Recordings inside gzip files and zip archives.
//!
//! A zip archive's table of contents is read from its end (the open ZIP format, APPNOTE 6.3), and
//! no more of it is unpacked than the recording asked for. What is unpacked is counted on the way:
//! one that grows beyond what recordings do is refused before it takes room. A recording inside is
//! named as if the archive were a folder: `rides.zip/trainer.fit`.

use std::io::{Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use flate2::Crc;
use flate2::read::{DeflateDecoder, MultiGzDecoder};

use super::RecordingError;
use super::error::list;
use crate::text::{clean_text, grouped};

/// What a recording may unpack to for each packed byte. Rides as text and XML shrink to between a
/// fifth and a thirtieth, a parked recorder's to a sixtieth (measured on rides of our own); deflate
/// itself ends near 1032.
const MOST_RATIO: u64 = 100;
/// What may be unpacked whatever the size, bytes.
const FREE_BYTES: u64 = 1 << 20;
/// Most files in a zip archive that is searched.
const MOST_ENTRIES: usize = 10_000;
/// Most recordings taken from an archive that is named as a whole.
const MOST_RECORDINGS: usize = 32;
/// Endings of recordings, each perhaps with `.gz` after it.
const ENDINGS: [&str; 6] = ["fit", "tcx", "gpx", "csv", "tsv", "txt"];

/// Whether `head` begins a gzip file.
pub(super) fn is_gzip(head: &[u8]) -> bool {
    head.starts_with(&[0x1F, 0x8B])
}

/// Whether `head` begins a zip archive.
pub(super) fn is_zip(head: &[u8]) -> bool {
    head.starts_with(b"PK\x03\x04") || head.starts_with(b"PK\x05\x06")
}

/// The name a recording has once it is unpacked: without `.gz`.
pub(super) fn without_gz(path: &Path) -> PathBuf {
    match path.extension() {
        Some(ending) if ending.eq_ignore_ascii_case("gz") => path.with_extension(""),
        _ => path.to_owned(),
    }
}

/// What a gzip file holds.
pub(super) fn gunzip(path: &Path, packed: &[u8], limit: u64) -> Result<Vec<u8>, RecordingError> {
    let limit = limit.min(most_of(packed.len() as u64));
    unpack(path, MultiGzDecoder::new(packed), limit)
}

/// What `packed` bytes may unpack to.
fn most_of(packed: u64) -> u64 {
    packed.saturating_mul(MOST_RATIO).saturating_add(FREE_BYTES)
}

fn unpack(path: &Path, packed: impl Read, limit: u64) -> Result<Vec<u8>, RecordingError> {
    let mut bytes = Vec::new();
    let read = packed.take(limit + 1).read_to_end(&mut bytes);
    if bytes.len() as u64 > limit {
        return Err(unclear(
            path,
            format!(
                "it unpacks to more than {} bytes, which no recording of its size does",
                grouped(limit)
            ),
            "if it is one all the same, unpack it first",
        ));
    }
    match read {
        Ok(_) => Ok(bytes),
        Err(_) => Err(damaged(path)),
    }
}

fn unclear(path: &Path, what: String, way_out: &'static str) -> RecordingError {
    RecordingError::Unclear {
        path: path.to_owned(),
        what,
        way_out,
    }
}

fn damaged(path: &Path) -> RecordingError {
    unclear(
        path,
        "it is packed, and damaged or cut off: what is inside cannot be trusted".to_owned(),
        "copy it again from where it came",
    )
}

/// A file inside a zip archive, as the table of contents has it.
#[derive(Clone, Debug)]
struct Entry {
    /// Name with its folders, cleaned.
    name: String,
    flags: u16,
    method: u16,
    crc: u32,
    packed: u64,
    /// Where its own header begins, bytes.
    at: u64,
}

/// A zip archive.
pub(super) struct Zip<R> {
    path: PathBuf,
    source: R,
    entries: Vec<Entry>,
}

impl<R: Read + Seek> Zip<R> {
    /// Reads the table of contents of `source`, which is called `path`.
    pub(super) fn open(path: &Path, mut source: R) -> Result<Self, RecordingError> {
        let entries = contents(&mut source).map_err(|why| match why {
            Unusable::Damaged => damaged(path),
            Unusable::TooMany => unclear(
                path,
                format!("more than {MOST_ENTRIES} files are in this archive"),
                "unpack it first",
            ),
        })?;
        let zip = Self {
            path: path.to_owned(),
            source,
            entries,
        };
        let is_sheet = |entry: &Entry| {
            matches!(
                entry.name.as_str(),
                "[Content_Types].xml" | "xl/workbook.xml" | "content.xml"
            )
        };
        if zip.entries.iter().any(is_sheet) {
            return Err(unclear(
                path,
                "this is a spreadsheet or a document of an office program".to_owned(),
                "save the sheet as CSV",
            ));
        }
        Ok(zip)
    }

    /// The names of the recordings inside: the files with a recording's ending, those that are
    /// only called text where there are no others, any other where there is but one file.
    pub(super) fn recordings(&self) -> Result<Vec<PathBuf>, RecordingError> {
        let names: Vec<&str> = self.entries.iter().map(|e| e.name.as_str()).collect();
        let of = |wanted: &dyn Fn(&str) -> bool| -> Vec<&str> {
            let named = names.iter().copied();
            named.filter(|name| wanted(name)).collect()
        };
        let mut found = of(&|name| ending(name).is_some_and(|ending| ending != "txt"));
        if found.is_empty() {
            found = of(&|name| ending(name).is_some());
        }
        if let ([], [only]) = (found.as_slice(), names.as_slice()) {
            found.push(only);
        }
        let inside = || list(&names.iter().map(|n| (*n).to_owned()).collect::<Vec<_>>());
        if found.is_empty() {
            return Err(unclear(
                &self.path,
                format!("no recording is in this archive, but {}", inside()),
                "name a recording, or an archive with one (FIT, TCX, GPX, CSV)",
            ));
        }
        if found.len() > MOST_RECORDINGS {
            return Err(unclear(
                &self.path,
                format!("{} recordings are in this archive", found.len()),
                "name those you mean, each as ARCHIVE.zip/NAME, or unpack it",
            ));
        }
        for (index, name) in found.iter().enumerate() {
            if found[..index].contains(name) {
                return Err(unclear(
                    &self.path,
                    format!("two files in this archive are called “{name}”"),
                    "unpack it, and name the one you mean",
                ));
            }
        }
        Ok(found.into_iter().map(|name| self.path.join(name)).collect())
    }

    /// The one recording inside, unpacked, with the name it has.
    pub(super) fn only(&mut self, limit: u64) -> Result<(PathBuf, Vec<u8>), RecordingError> {
        let found = self.recordings()?;
        let [only] = found.as_slice() else {
            let names: Vec<String> = found
                .iter()
                .filter_map(|path| path.strip_prefix(&self.path).ok())
                .map(|name| name.to_string_lossy().into_owned())
                .collect();
            return Err(unclear(
                &self.path,
                format!("several recordings are in this archive: {}", list(&names)),
                "name the one you mean as ARCHIVE.zip/NAME",
            ));
        };
        let name = only.strip_prefix(&self.path).unwrap_or(only).to_owned();
        Ok((only.clone(), self.member(&name, limit)?))
    }

    /// The file inside that is called `name`, unpacked.
    pub(super) fn member(&mut self, name: &Path, limit: u64) -> Result<Vec<u8>, RecordingError> {
        let path = self.path.join(name);
        let found = self.entries.iter().find(|e| Path::new(&e.name) == name);
        let Some(entry) = found.cloned() else {
            let names: Vec<String> = self.entries.iter().map(|e| e.name.clone()).collect();
            return Err(unclear(
                &path,
                format!("the archive holds no such file, but {}", list(&names)),
                "correct the name",
            ));
        };
        const ENCRYPTED: u16 = 1;
        if entry.flags & ENCRYPTED != 0 {
            return Err(unclear(
                &path,
                "it is packed with a password".to_owned(),
                "unpack it first",
            ));
        }
        let whole = self.begin(&entry).map_err(|_| damaged(&path))?;
        let packed = (&mut self.source).take(whole);
        let limit = limit.min(most_of(whole));
        let bytes = match entry.method {
            0 => unpack(&path, packed, limit)?,
            8 => unpack(&path, DeflateDecoder::new(packed), limit)?,
            _ => {
                return Err(unclear(
                    &path,
                    "it is packed in another way than deflate".to_owned(),
                    "unpack it first",
                ));
            }
        };
        let mut crc = Crc::new();
        crc.update(&bytes);
        if crc.sum() != entry.crc {
            return Err(damaged(&path));
        }
        Ok(bytes)
    }

    /// Goes to where the packed bytes of `entry` begin; their number.
    fn begin(&mut self, entry: &Entry) -> std::io::Result<u64> {
        const HEADER: u64 = 30;
        let mut header = [0; HEADER as usize];
        self.source.seek(SeekFrom::Start(entry.at))?;
        self.source.read_exact(&mut header)?;
        if !header.starts_with(b"PK\x03\x04") {
            return Err(std::io::ErrorKind::InvalidData.into());
        }
        let names = u64::from(two(&header, 26)) + u64::from(two(&header, 28));
        self.source
            .seek(SeekFrom::Start(entry.at + HEADER + names))?;
        Ok(entry.packed)
    }
}

/// The ending of a recording's name, in small letters; none for what a system puts beside files.
fn ending(name: &str) -> Option<&'static str> {
    let name = name.to_lowercase();
    let name = name.strip_suffix(".gz").unwrap_or(&name);
    let own = name.rsplit('/').next().unwrap_or(name);
    if own.starts_with('.') || name.starts_with("__") {
        return None;
    }
    let (_, ending) = own.rsplit_once('.')?;
    ENDINGS.into_iter().find(|known| *known == ending)
}

/// Why an archive cannot be used.
enum Unusable {
    Damaged,
    TooMany,
}

impl From<std::io::Error> for Unusable {
    fn from(_: std::io::Error) -> Self {
        Self::Damaged
    }
}

/// The files in a zip archive, by the table of contents at its end.
fn contents(source: &mut (impl Read + Seek)) -> Result<Vec<Entry>, Unusable> {
    /// The end record, and the longest comment after it.
    const END: usize = 22;
    const LONGEST_TAIL: u64 = END as u64 + 0xFFFF;
    let size = source.seek(SeekFrom::End(0))?;
    source.seek(SeekFrom::Start(size.saturating_sub(LONGEST_TAIL)))?;
    let mut tail = Vec::new();
    source.take(LONGEST_TAIL).read_to_end(&mut tail)?;
    let is_end = |at: &usize| tail[*at..].starts_with(b"PK\x05\x06");
    let at = (0..=tail.len().saturating_sub(END)).rev().find(is_end);
    let end = at.and_then(|at| tail.get(at..at + END));
    let end = end.ok_or(Unusable::Damaged)?;
    let (count, length, from) = (two(end, 10), four(end, 12), four(end, 16));
    if usize::from(count) > MOST_ENTRIES {
        return Err(Unusable::TooMany);
    }
    source.seek(SeekFrom::Start(u64::from(from)))?;
    let mut table = Vec::new();
    source.take(u64::from(length)).read_to_end(&mut table)?;
    let mut entries = Vec::new();
    let mut rest = table.as_slice();
    for _ in 0..count {
        let (entry, after) = entry(rest).ok_or(Unusable::Damaged)?;
        rest = after;
        // A name that ends in a stroke is a folder.
        entries.extend(Some(entry).filter(|entry| !entry.name.ends_with('/')));
    }
    Ok(entries)
}

/// The first entry of a table of contents, and what follows.
fn entry(table: &[u8]) -> Option<(Entry, &[u8])> {
    const FIXED: usize = 46;
    let fixed = table
        .get(..FIXED)
        .filter(|f| f.starts_with(b"PK\x01\x02"))?;
    let name_to = FIXED + usize::from(two(fixed, 28));
    let next = name_to + usize::from(two(fixed, 30)) + usize::from(two(fixed, 32));
    let name = table.get(FIXED..name_to)?;
    let entry = Entry {
        name: relative(&clean_text(&String::from_utf8_lossy(name))),
        flags: two(fixed, 8),
        method: two(fixed, 10),
        crc: four(fixed, 16),
        packed: u64::from(four(fixed, 20)),
        at: u64::from(four(fixed, 42)),
    };
    Some((entry, table.get(next..)?))
}

/// A name without what would lead out of the archive; a folder's keeps its stroke at the end.
fn relative(name: &str) -> String {
    let leads_on = |part: &&str| !matches!(*part, "" | "." | "..");
    let parts: Vec<&str> = name.split(['/', '\\']).filter(leads_on).collect();
    let is_folder = name.ends_with(['/', '\\']);
    parts.join("/") + if is_folder { "/" } else { "" }
}

/// Two bytes as a number, the lowest first; zero beyond the end.
fn two(bytes: &[u8], at: usize) -> u16 {
    let pair = bytes.get(at..).and_then(|rest| rest.first_chunk());
    pair.map_or(0, |pair| u16::from_le_bytes(*pair))
}

/// As [`two`], of four bytes.
fn four(bytes: &[u8], at: usize) -> u32 {
    let four = bytes.get(at..).and_then(|rest| rest.first_chunk());
    four.map_or(0, |four| u32::from_le_bytes(*four))
}
