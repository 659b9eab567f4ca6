//! Recordings inside archives, and archives that are none: each is named, and no archive takes more
//! than a recording may.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::{Path, PathBuf};

use rand::{RngExt, SeedableRng};
use truing::recording::{ReadOptions, read, read_bytes, recordings_in};

use crate::fit_fixtures;
use crate::packed::{gz, zip};

const RIDE: &[u8] = b"time_s,power_w\n0,200\n1,201\n2,202\n";
const OTHER: &[u8] = b"time_s,power_w\n0,210\n1,211\n2,212\n";

fn written(folder: &Path, name: &str, bytes: &[u8]) -> PathBuf {
    let path = folder.join(name);
    std::fs::write(&path, bytes).unwrap();
    path
}

fn refused(bytes: &[u8]) -> String {
    let folder = tempfile::tempdir().unwrap();
    let path = written(folder.path(), "rides.zip", bytes);
    let reason = read(&path, &ReadOptions::default()).unwrap_err();
    let reason = reason.to_string();
    assert!(reason.contains("rides.zip"), "{reason}");
    reason
}

#[test]
fn every_recording_in_an_archive_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let bytes = zip(&[
        ("day/trainer.csv", RIDE),
        ("day/pedals.csv.gz", &gz(OTHER)),
        ("day/", b""),
        ("__MACOSX/._trainer.csv", b"\0\0"),
        ("notes.txt", b"windy"),
    ]);
    let path = written(folder.path(), "rides.zip", &bytes);
    let inside = recordings_in(&path).unwrap();
    assert_eq!(
        inside,
        [path.join("day/trainer.csv"), path.join("day/pedals.csv.gz")]
    );
    let labels: Vec<String> = inside
        .iter()
        .map(|path| {
            read(path, &ReadOptions::default()).unwrap().streams[0]
                .label
                .clone()
        })
        .collect();
    assert_eq!(labels, ["trainer", "pedals"]);
    let reason = read(&path, &ReadOptions::default())
        .unwrap_err()
        .to_string();
    for words in [
        "“day/trainer.csv”",
        "“day/pedals.csv.gz”",
        "ARCHIVE.zip/NAME",
    ] {
        assert!(reason.contains(words), "{reason}");
    }
    let gone = read(&path.join("day/hub.csv"), &ReadOptions::default());
    assert!(gone.unwrap_err().to_string().contains("holds no such file"));
    let session = folder.path().join("session");
    let mut truing = assert_cmd::Command::new(env!("CARGO_BIN_EXE_truing"));
    truing.arg("new").args([&session, &path]).assert().success();
    for name in ["trainer.csv", "pedals.csv"] {
        assert!(session.join("recordings").join(name).exists(), "{name}");
    }
}

#[test]
fn names_cannot_lead_out_of_an_archive() {
    let folder = tempfile::tempdir().unwrap();
    let bytes = zip(&[("../../etc/ride.csv", RIDE), ("/tmp/other.csv", OTHER)]);
    let path = written(folder.path(), "rides.zip", &bytes);
    let inside = recordings_in(&path).unwrap();
    assert_eq!(
        inside,
        [path.join("etc/ride.csv"), path.join("tmp/other.csv")]
    );
    let session = folder.path().join("session");
    let mut truing = assert_cmd::Command::new(env!("CARGO_BIN_EXE_truing"));
    truing.arg("new").args([&session, &path]).assert().success();
    assert!(session.join("recordings/ride.csv").exists());
}

#[test]
fn archives_without_a_recording_say_what_they_are() {
    let zeros = vec![b'0'; 200 << 20];
    for (bytes, words) in [
        (
            zip(&[
                ("[Content_Types].xml", b"<x/>"),
                ("xl/workbook.xml", b"<x/>"),
            ]),
            "save the sheet as CSV",
        ),
        (
            zip(&[("a.jpg", b"x"), ("b.jpg", b"y")]),
            "no recording is in this archive, but “a.jpg”, “b.jpg”",
        ),
        (zip(&[]), "no recording is in this archive"),
        (
            zip(&[("a.csv", RIDE), ("a.csv", OTHER)]),
            "two files in this archive are called “a.csv”",
        ),
        (
            zip(&[("in.zip", &zip(&[("a.csv", RIDE)]))]),
            "an archive within an archive",
        ),
        (b"PK\x03\x04....".to_vec(), "damaged or cut off"),
        (gz(&zeros), "unpacks to more than"),
        (
            zip(&[("x", b""), ("ride.csv", &zeros)]),
            "unpacks to more than",
        ),
        (gz(RIDE)[..30].to_vec(), "damaged or cut off"),
        (gz(b""), "the file is empty"),
    ] {
        let reason = refused(&bytes);
        assert!(reason.contains(words), "{words}: {reason}");
    }
    let mut protected = zip(&[("a.csv", RIDE)]);
    let at = protected
        .windows(4)
        .position(|w| w == b"PK\x01\x02")
        .unwrap();
    protected[at + 8] |= 1;
    assert!(refused(&protected).contains("password"));
    let mut other = zip(&[("a.csv", RIDE)]);
    other[at + 10] = 12;
    assert!(refused(&other).contains("another way than deflate"));
    let mut wrong = zip(&[("a.csv", RIDE)]);
    wrong[40] ^= 1;
    assert!(refused(&wrong).contains("damaged or cut off"));
}

/// Seeds of every kind, packed and in other encodings.
fn seeds() -> Vec<Vec<u8>> {
    let rows: String = (0..2000)
        .map(|t| format!("{t};{},5;9{}\n", 150 + t % 97, t % 10))
        .collect();
    let text = format!("Zeit (s);Leistung (W);Kadenz (rpm)\n{rows}");
    let utf16: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
    let (japanese, _, _) =
        encoding_rs::SHIFT_JIS.encode("時間;パワー;ケイデンス\n0;200;90\n1;1.234,5;91\n");
    let mut seeds = vec![
        gz(text.as_bytes()),
        utf16,
        japanese.into_owned(),
        text.into_bytes(),
    ];
    for path in fit_fixtures::files() {
        let bytes = std::fs::read(path).unwrap();
        if bytes.len() < 300_000 {
            seeds.push(gz(&bytes));
            seeds.push(zip(&[("ride.fit", &bytes)]));
            seeds.push(zip(&[("notes", b"x"), ("ride.fit", &bytes)]));
        }
    }
    seeds
}

#[test]
fn two_hundred_damaged_archives_and_texts_are_read_or_refused_and_new_is_never_half_done() {
    let seeds = seeds();
    let mut rng = rand_chacha::ChaCha8Rng::seed_from_u64(2_100_001);
    let folder = tempfile::tempdir().unwrap();
    for round in 0..200 {
        let mut bytes = seeds[round % seeds.len()].clone();
        for _ in 0..rng.random_range(1..6) {
            let at = rng.random_range(0..bytes.len());
            match rng.random_range(0..4) {
                0 => bytes[at] = rng.random(),
                1 => bytes.truncate(at.max(1)),
                2 => bytes.insert(at, rng.random()),
                _ => {
                    let to = (at + rng.random_range(1..64)).min(bytes.len());
                    bytes.drain(at..to);
                    bytes.push(0);
                }
            }
        }
        let path = written(folder.path(), "ride.zip", &bytes);
        let answer = read_bytes(&path, &bytes, &ReadOptions::default());
        if let Err(reason) = &answer {
            assert!(reason.to_string().contains("ride.zip"), "{reason}");
        }
        if round % 5 == 0 {
            let session = folder.path().join("session");
            let mut truing = assert_cmd::Command::new(env!("CARGO_BIN_EXE_truing"));
            let done = truing.arg("new").args([&session, &path]).assert();
            let code = done.get_output().status.code();
            let whole = session.join("session.toml").exists();
            assert!(
                code == Some(if whole { 0 } else { 1 }),
                "round {round}: {code:?}"
            );
            assert_eq!(session.exists(), whole, "round {round}");
            let _ = std::fs::remove_dir_all(session);
        }
    }
}

#[test]
fn the_real_recordings_read_the_same_packed() {
    for path in fit_fixtures::files() {
        let bytes = std::fs::read(&path).unwrap();
        let plain = read_bytes(&path, &bytes, &ReadOptions::default());
        for packed in [gz(&bytes), zip(&[("x", b""), ("ride.fit", &bytes)])] {
            let packed = read_bytes(&path, &packed, &ReadOptions::default());
            match (&plain, packed) {
                (Ok(one), Ok(other)) => {
                    assert_eq!(one.sha256, other.sha256);
                    for (one, other) in one.streams.iter().zip(&other.streams) {
                        assert_eq!(one.samples.len(), other.samples.len());
                    }
                }
                (Err(_), Err(_)) => {}
                (one, other) => panic!("{}: {one:?} {other:?}", path.display()),
            }
        }
    }
}
