//! Format detection and the entry point of reading.

use std::io::Read;
use std::path::{Path, PathBuf};

use rayon::prelude::*;
use sha2::{Digest, Sha256};

use super::file::UTF8_MARK;
use super::options::ReadOptions;
use super::{Format, Recording, RecordingError, delimited, fit, plausible, tcx};
use crate::text::hex;

/// The largest file that is read, bytes. A day at 200 samples a second in text stays below it.
pub const MAX_FILE_BYTES: u64 = 1 << 29;

/// Reads the recording at `path`, finding its format by content.
///
/// Memory stays below 30 times the file's size plus 16 MiB whatever the file says. Nothing is
/// printed; what had to be repaired or left out stands in [`Recording::damage`] and
/// [`Recording::remarks`].
///
/// # Errors
/// [`RecordingError`] where the file cannot be read, holds no recording, or (with
/// [`ReadOptions::strict`]) is damaged.
pub fn read(path: &Path, options: &ReadOptions) -> Result<Recording, RecordingError> {
    read_bytes(path, &load(path)?, options)
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
    let format = sniff(path, bytes)?;
    let parse = || match format {
        Format::Fit => fit::read(path, bytes, options),
        Format::Delimited => delimited::read(path, bytes, options),
        Format::Tcx => tcx::read(path, bytes, options),
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

/// Reads several recordings at once, one thread a file as far as there are cores. The results
/// stand in the order of `requests`.
pub fn read_all(requests: &[(PathBuf, ReadOptions)]) -> Vec<Result<Recording, RecordingError>> {
    requests
        .par_iter()
        .map(|(path, options)| read(path, options))
        .collect()
}

/// The file's bytes, after it was made sure that it is a file of bearable size and of a known
/// format.
fn load(path: &Path) -> Result<Vec<u8>, RecordingError> {
    let io = |source| RecordingError::Io {
        path: path.to_owned(),
        source,
    };
    // Before opening: opening a pipe or a device may block or have effects of its own.
    let meta = std::fs::metadata(path).map_err(io)?;
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
    let too_large = |bytes| RecordingError::TooLarge {
        path: path.to_owned(),
        bytes,
        limit: MAX_FILE_BYTES,
    };
    if meta.len() > MAX_FILE_BYTES {
        return Err(too_large(meta.len()));
    }
    let mut file = std::fs::File::open(path).map_err(io)?;
    let mut bytes = Vec::new();
    (&mut file)
        .take(SNIFFED_BYTES)
        .read_to_end(&mut bytes)
        .map_err(io)?;
    sniff(path, &bytes)?;
    bytes.reserve_exact((meta.len() as usize).saturating_sub(bytes.len()));
    // The file may have grown since its size was asked for.
    (&mut file)
        .take(MAX_FILE_BYTES + 1 - bytes.len() as u64)
        .read_to_end(&mut bytes)
        .map_err(io)?;
    if bytes.len() as u64 > MAX_FILE_BYTES {
        return Err(too_large(bytes.len() as u64));
    }
    Ok(bytes)
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
    if head.starts_with(&[0x1F, 0x8B]) || head.starts_with(b"PK\x03\x04") {
        return unknown(
            "this is a compressed archive, or a spreadsheet",
            "unpack it first, or save the sheet as CSV",
        );
    }
    if head.starts_with(&[0xFF, 0xFE]) || head.starts_with(&[0xFE, 0xFF]) {
        return unknown("this is text in UTF-16", "save it as UTF-8");
    }
    let text = head
        .strip_prefix(UTF8_MARK)
        .unwrap_or(head)
        .trim_ascii_start();
    if head.contains(&0) && looks_like_text(head) {
        return unknown(
            "this is text with bytes of zero in it: saved in UTF-16, or damaged",
            "save it as UTF-8, or export the ride again",
        );
    }
    if head.contains(&0) {
        return unknown(
            "this is no FIT file (bytes 8 to 11 do not read .FIT), TCX file or delimited text",
            "name a recording in one of these formats",
        );
    }
    if text.starts_with(b"<") {
        if contains(text, b"TrainingCenterDatabase") {
            return Ok(Format::Tcx);
        }
        return unknown(
            "this is XML or HTML but no TCX file",
            "export the ride as FIT, TCX or CSV",
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
