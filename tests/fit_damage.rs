//! Damaged FIT files: every record before the damage is read, and after it where that is safe; what
//! was lost is told.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::Path;

use crate::fit_bytes::*;
use truing::recording::{Channel, ReadOptions, Recording, RecordingError, read, read_bytes};

fn read_ride(bytes: &[u8]) -> Result<Recording, RecordingError> {
    read_with(bytes, &ReadOptions::default())
}

fn read_with(bytes: &[u8], options: &ReadOptions) -> Result<Recording, RecordingError> {
    read_bytes(Path::new("ride.fit"), bytes, options)
}

fn records(recording: &Recording) -> usize {
    recording.streams[0].samples.len()
}

fn messages(recording: &Recording) -> Vec<&str> {
    let messages = recording.damage.iter().map(|d| d.message.as_str());
    messages.collect()
}

/// Never a panic, never fewer records for more bytes, and every cut reports damage.
fn cut_everywhere(bytes: &[u8], step: usize) {
    let mut before = 0;
    for length in (0..bytes.len()).step_by(step) {
        let count = match read_ride(&bytes[..length]) {
            Ok(recording) => {
                assert!(
                    !recording.damage.is_empty(),
                    "cut at {length}: no damage told"
                );
                records(&recording)
            }
            Err(_) => 0,
        };
        assert!(
            count >= before,
            "cut at {length}: {count} records after {before}"
        );
        before = count;
    }
    let whole = read_ride(bytes).unwrap();
    assert!(records(&whole) >= before);
    assert!(whole.damage.is_empty(), "{:?}", whole.damage);
}

#[test]
fn a_ride_cut_at_every_byte() {
    cut_everywhere(&ride(40).file(), 1);
}

#[test]
fn a_ride_with_pauses_jumps_and_compressed_stamps_cut_at_every_byte() {
    let mut section = Section::default();
    define_record(&mut section);
    section.define(1, 20, &[(7, 2, UINT16)]);
    let mut time = T0;
    for i in 0..40_u32 {
        // A pause of two hours, and a clock that is set back by a quarter of an hour.
        time = match i {
            15 => time + 7200,
            30 => time - 900,
            _ => time + 1,
        };
        record(&mut section, time, 100, 80, 120);
        section.compressed(1, ((time + 1) & 31) as u8, &[&101_u16.to_le_bytes()]);
        time += 1;
    }
    cut_everywhere(&section.file(), 1);
}

#[test]
fn the_message_names_records_byte_and_time_lost() {
    let bytes = ride(600).file();
    let cut = &bytes[..bytes.len() - 3 * 60 * 9 - 5];
    let recording = read_ride(cut).unwrap();
    let message = messages(&recording)[0];
    let stump = cut.len() - (cut.len() - (bytes.len() - 2 - 600 * 9)) % 9;
    let expected = format!(
        "{} records read; damaged from byte {} {:03} on: the file is cut off, 1 625 bytes \
         missing; the last 3 min may be missing",
        records(&recording),
        stump / 1000,
        stump % 1000
    );
    assert_eq!(message, expected);
    assert_eq!(recording.damage[0].at, stump as u64);
}

#[test]
fn strict_reading_refuses_with_the_same_words() {
    let bytes = ride(50).file();
    let options = ReadOptions {
        strict: true,
        ..ReadOptions::default()
    };
    assert!(read_with(&bytes, &options).is_ok());
    let error = read_with(&bytes[..300], &options).unwrap_err().to_string();
    assert!(error.contains("the file is cut off"), "{error}");
}

#[test]
fn a_wrong_check_sum_keeps_the_records_and_is_told() {
    let mut bytes = ride(50).file();
    let last = bytes.len() - 1;
    bytes[last] ^= 0x55;
    let recording = read_ride(&bytes).unwrap();
    assert_eq!(records(&recording), 50);
    assert!(messages(&recording)[0].contains("the check sum at byte"));
}

#[test]
fn a_file_never_closed_keeps_its_records() {
    let mut section = ride(50);
    section.raw(&[0, 1, 2]);
    let mut bytes = section.file_claiming(0);
    bytes.truncate(bytes.len() - 2);
    let recording = read_ride(&bytes).unwrap();
    assert_eq!(records(&recording), 50);
    assert!(
        messages(&recording)[0].contains("never closed"),
        "{:?}",
        recording.damage
    );
}

/// A recorder that lays the file out in advance and loses power leaves a tail of one value.
#[test]
fn a_tail_of_zeros_or_ones_is_no_record() {
    for filler in [0x00, 0xFF] {
        let mut section = ride(50);
        section.raw(&[filler; 4000]);
        for claim in [0, section.body.len() as u32] {
            let mut bytes = section.file_claiming(claim);
            let end = bytes.len() - 2;
            bytes[end..].copy_from_slice(&[filler; 2]);
            let recording = read_ride(&bytes).unwrap();
            assert_eq!(records(&recording), 50, "{filler} {claim}");
            assert!(
                messages(&recording)
                    .iter()
                    .any(|m| m.starts_with("50 records read; damaged from byte")),
                "{filler} {claim} {:?}",
                recording.damage
            );
        }
    }
}

#[test]
fn garbage_between_records_is_skipped_and_told() {
    let garbage: Vec<Vec<u8>> = vec![
        vec![0xFF; 37],
        vec![0x00; 23],
        (0..=255).collect(),
        b"lost page \x40\x00\x00\x14\x00\x02\xFD\x04\x86 of something else".to_vec(),
        // A definition that makes no sense, under the records' own number.
        vec![0x40, 0, 0, 20, 0, 2, 253, 4, 0x86, 7, 200, 0x55],
    ];
    for garbage in garbage {
        let mut section = ride(50);
        section.raw(&garbage);
        for i in 60..110 {
            record(&mut section, T0 + i, 300, 80, 120);
        }
        let mut bytes = section.file();
        let end = bytes.len() - 2;
        bytes[end] ^= 0x55;
        let recording = read_ride(&bytes).unwrap();
        let read = records(&recording);
        assert!(
            (99..=101).contains(&read),
            "{read} of 100, {garbage:?} {:?}",
            recording.damage
        );
        let power = recording.streams[0].samples.column(Channel::Power).unwrap();
        assert_eq!(power[read - 1], 300.0);
        let told = messages(&recording).join("; ");
        assert!(told.contains("could not be read"), "{told}");
        assert!(told.contains("50 records read"), "{told}");
    }
}

#[test]
fn a_missing_definition_loses_only_its_messages() {
    let mut section = ride(30);
    section.data(9, &[&[1, 2, 3, 4, 5]]);
    for i in 30..60 {
        record(&mut section, T0 + i, 200, 80, 120);
    }
    // The check sum holds: the recorder wrote it like that.
    let recording = read_ride(&section.file()).unwrap();
    assert_eq!(records(&recording), 60);
    assert_eq!(recording.damage.len(), 1, "{:?}", recording.damage);
}

#[test]
fn bytes_between_chained_files_are_skipped() {
    let mut bytes = ride(10).file();
    bytes.extend([7; 33]);
    let mut second = Section::default();
    define_record(&mut second);
    for i in 100..110 {
        record(&mut second, T0 + i, 300, 90, 150);
    }
    bytes.extend(second.file());
    let recording = read_ride(&bytes).unwrap();
    assert_eq!(records(&recording), 20);
    assert_eq!(recording.damage.len(), 1);
    assert!(messages(&recording)[0].contains("33 bytes from there on could not be read"));
}

#[test]
fn an_unterminated_file_before_another_is_read_with_it() {
    let mut bytes = ride(10).file_claiming(0);
    bytes.truncate(bytes.len() - 2);
    let mut second = Section::default();
    define_record(&mut second);
    for i in 100..110 {
        record(&mut second, T0 + i, 300, 90, 150);
    }
    bytes.extend(second.file());
    let recording = read_ride(&bytes).unwrap();
    assert_eq!(records(&recording), 20);
    assert!(
        messages(&recording)[0].contains("never closed"),
        "{:?}",
        recording.damage
    );
}

/// One wrong byte anywhere: no panic, and at least the damage or the records are there.
#[test]
fn a_wrong_byte_anywhere_is_survived_and_told() {
    let bytes = ride(30).file();
    for at in 0..bytes.len() {
        for flip in [0x01, 0x80, 0xFF] {
            let mut wrong = bytes.clone();
            wrong[at] ^= flip;
            match read_ride(&wrong) {
                Ok(recording) => {
                    // Bytes 1 to 3 hold versions, checked by the header's own check sum.
                    assert!(!recording.damage.is_empty(), "byte {at} ^ {flip}");
                }
                Err(error) => assert!(error.to_string().contains("ride.fit")),
            }
        }
    }
}

#[test]
fn things_that_are_no_recording_are_refused_with_a_way_out() {
    let folder = tempfile::tempdir().unwrap();
    let fails = |path: &Path| read(path, &ReadOptions::default()).unwrap_err().to_string();
    assert!(fails(folder.path()).contains("this is a folder"));
    assert!(fails(&folder.path().join("none.fit")).contains("check the name"));
    let write = |bytes: &[u8]| {
        let path = folder.path().join("x.fit");
        std::fs::write(&path, bytes).unwrap();
        path
    };
    assert!(fails(&write(b"")).contains("the file is empty"));
    assert!(fails(&write(&[0; 500])).contains("no FIT file"));
    assert!(fails(&write(b"PK\x03\x04....")).contains("copy it again"));
    assert!(fails(&write(b"\xFF\xFEt\0i\0")).contains("header line"));
    assert!(fails(&write(b"<html></html>")).contains("no TCX or GPX file"));
    assert!(fails(&write(b"  \n \n")).contains("nothing but blanks"));
}

#[cfg(unix)]
#[test]
fn devices_and_pipes_are_refused_without_being_opened() {
    let fails = |path: &Path| read(path, &ReadOptions::default()).unwrap_err().to_string();
    assert!(fails(Path::new("/dev/zero")).contains("a device, pipe or socket"));
    let folder = tempfile::tempdir().unwrap();
    let pipe = folder.path().join("pipe");
    let made = std::process::Command::new("mkfifo")
        .arg(&pipe)
        .status()
        .unwrap();
    assert!(made.success());
    assert!(fails(&pipe).contains("a device, pipe or socket"));
    let link = folder.path().join("link.fit");
    std::os::unix::fs::symlink("/dev/zero", &link).unwrap();
    assert!(fails(&link).contains("a device, pipe or socket"));
}

#[test]
fn a_huge_sparse_file_is_refused_by_its_size() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("huge.fit");
    let file = std::fs::File::create(&path).unwrap();
    file.set_len(1 << 31).unwrap();
    let error = read(&path, &ReadOptions::default())
        .unwrap_err()
        .to_string();
    assert!(
        error.contains("2 147 483 648 bytes are more than a recording may have"),
        "{error}"
    );
}

/// A file whose every byte asks for a row of many columns.
#[test]
fn a_file_that_would_swell_is_refused() {
    let mut section = Section::default();
    section.define(
        0,
        20,
        &[
            (253, 4, UINT32),
            (7, 2, UINT16),
            (4, 1, UINT8),
            (3, 1, UINT8),
            (13, 1, SINT8),
            (6, 2, UINT16),
        ],
    );
    section.data(0, &[&T0.to_le_bytes(), &[1, 0, 80, 120, 20, 1, 0]]);
    section.define(1, 20, &[]);
    section.raw(&vec![0xA1; 2_000_000]);
    let error = read_ride(&section.file()).unwrap_err();
    assert!(matches!(error, RecordingError::TooSparse { .. }), "{error}");
}
