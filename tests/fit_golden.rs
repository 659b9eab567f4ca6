//! The FIT files of the fitparser crate against an independent decoder (which, and its version,
//! stands in `golden/fit.json`; `golden/refresh_fit.py` writes it). Files are known by their hash.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::collections::BTreeMap;

use crate::fit_fixtures;
use serde::Deserialize;
use sha2::{Digest, Sha256};
use truing::recording::{Channel, ReadOptions, Recording, RecordingError, read};

#[derive(Deserialize)]
struct Goldens {
    decoder: String,
    files: Vec<Golden>,
}

#[derive(Clone, Deserialize)]
struct Golden {
    sha256: String,
    messages: usize,
    records: usize,
    timed_seconds: usize,
    laps: usize,
    samples: Vec<Sample>,
}

#[derive(Clone, Deserialize)]
struct Sample {
    channel: Channel,
    values: usize,
    time_s: f64,
    value: f64,
    sum: f64,
}

fn check(golden: &Golden, result: Result<Recording, RecordingError>) {
    let hash = &golden.sha256[..8];
    if golden.timed_seconds == 0 {
        match result.unwrap_err() {
            RecordingError::NoSamples { messages, .. } => {
                assert_eq!(messages, golden.messages, "{hash}");
            }
            other => panic!("{hash}: {other}"),
        }
        return;
    }
    let recording = result.unwrap();
    assert!(
        recording.damage.is_empty(),
        "{hash}: {:?}",
        recording.damage
    );
    assert_eq!(recording.sha256, golden.sha256);
    assert_eq!(recording.streams.len(), 1, "{hash}");
    let samples = &recording.streams[0].samples;
    assert_eq!(samples.len(), golden.timed_seconds, "{hash}");
    assert!(golden.records >= golden.timed_seconds);
    assert_eq!(recording.laps.len(), golden.laps, "{hash}");
    for sample in &golden.samples {
        let place = format!("{hash} {:?}", sample.channel);
        let column = samples
            .column(sample.channel)
            .unwrap_or_else(|| panic!("{place}"));
        let values: Vec<f64> = column.iter().copied().filter(|v| !v.is_nan()).collect();
        assert_eq!(values.len(), sample.values, "{place}");
        let row = samples
            .time_s()
            .iter()
            .position(|t| *t == sample.time_s)
            .unwrap();
        assert_eq!(column[row], sample.value, "{place}");
        let sum: f64 = values.iter().sum();
        assert!(
            (sum - sample.sum).abs() < 1e-6,
            "{place}: {sum} {}",
            sample.sum
        );
    }
}

#[test]
fn every_file_of_the_crate_reads_as_the_independent_decoder_reads_it() {
    let text = include_str!("golden/fit.json");
    let goldens: Goldens = serde_json::from_str(text).unwrap();
    assert!(goldens.decoder.starts_with("fitdecode "));
    let mut goldens: BTreeMap<String, Golden> = goldens
        .files
        .into_iter()
        .map(|golden| (golden.sha256.clone(), golden))
        .collect();
    for path in fit_fixtures::files() {
        let bytes = std::fs::read(&path).unwrap();
        let digest = Sha256::digest(&bytes);
        let hash: String = digest.iter().map(|byte| format!("{byte:02x}")).collect();
        let golden = goldens
            .remove(&hash)
            .unwrap_or_else(|| panic!("no golden for {hash}"));
        check(&golden, read(&path, &ReadOptions::default()));
    }
    assert!(goldens.is_empty(), "goldens without a file");
}
