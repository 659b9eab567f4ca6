//! Format detection and the entry point of reading.

use std::fs::File;
use std::io::{Cursor, Read};
use std::path::{Path, PathBuf};

use rayon::prelude::*;
use sha2::{Digest, Sha256};

use super::archive::{self, Zip};
use super::encoding::{self, Decoded};
use super::options::ReadOptions;
use super::{Format, Recording, RecordingError, SetPoint, delimited, fit, plausible, track};
use crate::text::{clean_text, hex};

/// The largest file that is read, bytes. A day at 200 samples a second in text stays below it.
pub const MAX_FILE_BYTES: u64 = 1 << 29;

/// Reads the recording at `path`, finding its format by content. It may be packed: a gzip file, a
/// zip archive with one recording in it, or one inside an archive, named `ARCHIVE.zip/NAME`.
///
/// Memory stays below 30 times the size of the file (unpacked) plus 16 MiB whatever the file says.
/// Nothing is printed; what had to be repaired or left out stands in [`Recording::damage`] and
/// [`Recording::remarks`].
///
/// # Errors
/// [`RecordingError`] where the file cannot be read, holds no recording, or (with
/// [`ReadOptions::strict`]) is damaged.
pub fn read(path: &Path, options: &ReadOptions) -> Result<Recording, RecordingError> {
    let (name, bytes) = load(path)?;
    parse(&name, &bytes, options)
}

/// As [`read`], for a recording whose `bytes` are in memory; `path` only names it.
///
/// # Errors
/// As [`read`].
pub fn read_bytes(
    path: &Path,
    bytes: &[u8],
    options: &ReadOptions,
) -> Result<Recording, RecordingError> {
    if archive::is_zip(bytes) {
        let (name, bytes) = Zip::open(path, Cursor::new(bytes))?.only(MAX_FILE_BYTES)?;
        return read_unzipped(&name, bytes, options);
    }
    if archive::is_gzip(bytes) {
        return parse(path, &gunzip(path, bytes)?, options);
    }
    parse(path, bytes, options)
}

fn read_unzipped(
    name: &Path,
    bytes: Vec<u8>,
    options: &ReadOptions,
) -> Result<Recording, RecordingError> {
    parse(name, &without_gzip(name, bytes)?, options)
}

/// Reads what is packed no more. What a file's hash stands for is what is read here.
fn parse(path: &Path, bytes: &[u8], options: &ReadOptions) -> Result<Recording, RecordingError> {
    let format = sniff(path, bytes)?;
    let parse = || {
        if format == Format::Fit {
            return fit::read(path, bytes, options);
        }
        let Decoded { text, remark } = encoding::decode(bytes);
        let recording = match format {
            Format::Tcx | Format::Gpx => track::read(path, &text, format, options),
            _ => delimited::read(path, &text, options),
        };
        recording.map(|mut recording| {
            recording.remarks.splice(0..0, remark);
            recording
        })
    };
    // The hash of a large file takes as long as a third of its reading.
    let (sha256, recording) = rayon::join(|| sha256_hex(bytes), parse);
    let mut recording = Recording {
        sha256,
        ..recording?
    };
    let reported = recording.streams.iter().filter_map(plausible::remark);
    let reported: Vec<String> = reported.collect();
    recording.remarks.extend(reported);
    if options.strict && !recording.damage.is_empty() {
        let messages: Vec<&str> = recording
            .damage
            .iter()
            .map(|damage| damage.message.as_str())
            .collect();
        return Err(RecordingError::Damaged {
            path: path.to_owned(),
            message: messages.join("; "),
        });
    }
    Ok(recording)
}

/// The recordings that `path` stands for: those inside, where it is a zip archive, else itself.
///
/// # Errors
/// [`RecordingError`] where an archive cannot be used. A file that cannot be opened is itself: what
/// is wrong with it is said when it is read.
pub fn recordings_in(path: &Path) -> Result<Vec<PathBuf>, RecordingError> {
    match open(path) {
        Ok((file, _, head)) if archive::is_zip(&head) => Zip::open(path, file)?.recordings(),
        _ => Ok(vec![path.to_owned()]),
    }
}

/// The content of the recording at `path`, where it is packed; `None` where the file is its content.
///
/// # Errors
/// As [`read`].
pub fn unpacked(path: &Path) -> Result<Option<Vec<u8>>, RecordingError> {
    match open(path) {
        Ok((_, _, head)) if !is_packed(&head) => Ok(None),
        _ => load(path).map(|(_, bytes)| Some(bytes)),
    }
}

/// The name of the file in which the content of the recording at `path` would stand unpacked.
pub fn unpacked_name(path: &Path) -> String {
    let name = archive::without_gz(path);
    let own = name.file_name().unwrap_or_default();
    clean_text(&own.to_string_lossy()).trim().to_owned()
}

/// SHA-256 of the content of the recording at `path`, lower-case hexadecimal, where it is packed;
/// `None` where the file is its content.
///
/// # Errors
/// As [`read`].
pub fn unpacked_sha256(path: &Path) -> Result<Option<String>, RecordingError> {
    Ok(unpacked(path)?.map(|bytes| sha256_hex(&bytes)))
}

fn is_packed(head: &[u8]) -> bool {
    archive::is_zip(head) || archive::is_gzip(head)
}

/// The powers that the workout in the bytes of a FIT file asks for, s from its start; none where it
/// holds no workout. It is no recording, and [`read`] refuses it.
pub fn workout_in(bytes: &[u8]) -> Vec<SetPoint> {
    fit::workout(bytes)
}

/// Reads several recordings at once, one thread a file as far as there are cores. The results
/// stand in the order of `requests`.
pub fn read_all(requests: &[(PathBuf, ReadOptions)]) -> Vec<Result<Recording, RecordingError>> {
    requests
        .par_iter()
        .map(|(path, options)| read(path, options))
        .collect()
}

/// The recording's bytes, unpacked, and its name, after it was made sure that it is of bearable
/// size and of a known format.
fn load(path: &Path) -> Result<(PathBuf, Vec<u8>), RecordingError> {
    if let Some((archive, name)) = split_at_archive(path) {
        let (file, _, head) = open(&archive)?;
        if archive::is_zip(&head) {
            let bytes = Zip::open(&archive, file)?.member(&name, MAX_FILE_BYTES)?;
            return Ok((path.to_owned(), without_gzip(path, bytes)?));
        }
    }
    let (file, size, head) = open(path)?;
    if archive::is_zip(&head) {
        let (name, bytes) = Zip::open(path, file)?.only(MAX_FILE_BYTES)?;
        let bytes = without_gzip(&name, bytes)?;
        return Ok((name, bytes));
    }
    let too_large = |bytes| RecordingError::TooLarge {
        path: path.to_owned(),
        bytes,
        limit: MAX_FILE_BYTES,
    };
    if size > MAX_FILE_BYTES {
        return Err(too_large(size));
    }
    let mut bytes = head;
    if !archive::is_gzip(&bytes) {
        sniff(path, &bytes)?;
    }
    bytes.reserve_exact((size as usize).saturating_sub(bytes.len()));
    // The file may have grown since its size was asked for.
    file.take(MAX_FILE_BYTES + 1 - bytes.len() as u64)
        .read_to_end(&mut bytes)
        .map_err(|source| io(path, source))?;
    if bytes.len() as u64 > MAX_FILE_BYTES {
        return Err(too_large(bytes.len() as u64));
    }
    Ok((path.to_owned(), without_gzip(path, bytes)?))
}

fn io(path: &Path, source: std::io::Error) -> RecordingError {
    RecordingError::Io {
        path: path.to_owned(),
        source,
    }
}

/// The file at `path`, open after its first bytes, its size, and those bytes.
fn open(path: &Path) -> Result<(File, u64, Vec<u8>), RecordingError> {
    // Before opening: opening a pipe or a device may block or have effects of its own.
    let meta = std::fs::metadata(path).map_err(|source| io(path, source))?;
    if !meta.is_file() {
        let what = if meta.is_dir() {
            "a folder"
        } else {
            "a device, pipe or socket"
        };
        return Err(RecordingError::NotAFile {
            path: path.to_owned(),
            what,
        });
    }
    let mut file = File::open(path).map_err(|source| io(path, source))?;
    let mut head = Vec::new();
    (&mut file)
        .take(SNIFFED_BYTES)
        .read_to_end(&mut head)
        .map_err(|source| io(path, source))?;
    Ok((file, meta.len(), head))
}

/// The archive and the name inside it, where `path` goes on below a file.
fn split_at_archive(path: &Path) -> Option<(PathBuf, PathBuf)> {
    let archive = path.ancestors().skip(1).find(|above| above.is_file())?;
    let name = path.strip_prefix(archive).ok()?;
    Some((archive.to_owned(), name.to_owned()))
}

/// `bytes`, unpacked where they are a gzip file.
fn without_gzip(path: &Path, bytes: Vec<u8>) -> Result<Vec<u8>, RecordingError> {
    if archive::is_gzip(&bytes) {
        gunzip(path, &bytes)
    } else {
        Ok(bytes)
    }
}

fn gunzip(path: &Path, packed: &[u8]) -> Result<Vec<u8>, RecordingError> {
    archive::gunzip(path, packed, MAX_FILE_BYTES)
}

/// How much of a file is looked at to find its format.
const SNIFFED_BYTES: u64 = 64 * 1024;

/// The format, by the first bytes.
fn sniff(path: &Path, bytes: &[u8]) -> Result<Format, RecordingError> {
    if bytes.is_empty() {
        return Err(RecordingError::Empty {
            path: path.to_owned(),
        });
    }
    let head = bytes.get(..SNIFFED_BYTES as usize).unwrap_or(bytes);
    if head.get(8..12) == Some(b".FIT") {
        return Ok(Format::Fit);
    }
    let unknown = |what, way_out| {
        Err(RecordingError::UnknownFormat {
            path: path.to_owned(),
            what,
            way_out,
        })
    };
    if is_packed(head) || head.get(257..262) == Some(b"ustar") {
        return unknown("this is an archive within an archive", "unpack it first");
    }
    let head = &encoding::decode(head).text[..];
    let text = head.trim_ascii_start();
    if head.contains(&0) && looks_like_text(head) {
        return unknown(
            "this is text with bytes of zero in it: it is damaged",
            "export the ride again",
        );
    }
    if head.contains(&0) {
        return unknown(
            "this is no FIT file (bytes 8 to 11 do not read .FIT), TCX or GPX file or delimited \
             text",
            "name a recording in one of these formats",
        );
    }
    if text.starts_with(b"<") {
        if contains(text, b"TrainingCenterDatabase") {
            return Ok(Format::Tcx);
        }
        if contains(text, b"<gpx") || contains(text, b":gpx") {
            return Ok(Format::Gpx);
        }
        return unknown(
            "this is XML or HTML but no TCX or GPX file",
            "export the ride as FIT, TCX, GPX or CSV",
        );
    }
    if is_json(text) {
        return unknown("this is JSON", "export the ride as FIT, TCX or CSV");
    }
    if text.starts_with(b"%PDF") {
        return unknown("this is a PDF", "export the ride as FIT, TCX or CSV");
    }
    if text.is_empty() {
        return unknown("there is nothing but blanks in it", "export the ride again");
    }
    Ok(Format::Delimited)
}

/// Whether `text` begins as JSON does; a column may be headed “[s]”.
fn is_json(text: &[u8]) -> bool {
    let inside = text.strip_prefix(b"[").map(<[u8]>::trim_ascii_start);
    let opens = |byte: &u8| matches!(byte, b'{' | b'[' | b'"' | b'-' | b'0'..=b'9');
    text.starts_with(b"{") || inside.is_some_and(|inside| inside.first().is_some_and(opens))
}

/// Whether all bytes but those of zero are characters of a text.
fn looks_like_text(bytes: &[u8]) -> bool {
    let mut others = bytes.iter().filter(|byte| **byte != 0).peekable();
    others.peek().is_some() && others.all(|byte| *byte >= b' ' || byte.is_ascii_whitespace())
}

fn contains(haystack: &[u8], needle: &[u8]) -> bool {
    haystack
        .windows(needle.len())
        .any(|window| window == needle)
}

/// SHA-256 of `bytes`, lower-case hexadecimal.
fn sha256_hex(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}
