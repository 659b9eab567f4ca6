//! Whatever is encoded is decoded to the same values, and whatever bytes come, nothing panics.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::Path;

use crate::fit_bytes::*;
use proptest::prelude::*;
use truing::recording::{Channel, ReadOptions, Recording, read_bytes};

#[derive(Clone, Debug)]
struct Row {
    step_s: u32,
    power: Option<u16>,
    cadence: Option<u8>,
    heart_rate: Option<u8>,
    developer: Option<f32>,
}

fn row() -> impl Strategy<Value = Row> {
    (
        1..5_u32,
        proptest::option::of(0..3000_u16),
        proptest::option::of(0..255_u8),
        proptest::option::of(0..255_u8),
        proptest::option::of(-100.0..3000.0_f32),
    )
        .prop_map(|(step_s, power, cadence, heart_rate, developer)| Row {
            step_s,
            power,
            cadence,
            heart_rate,
            developer,
        })
}

fn encode(rows: &[Row], big_endian: bool) -> Vec<u8> {
    let mut section = Section::default();
    section.define(
        2,
        206,
        &[
            (0, 1, UINT8),
            (1, 1, UINT8),
            (2, 1, UINT8),
            (3, 8, STRING),
            (8, 8, STRING),
        ],
    );
    section.data(2, &[&[0, 0, FLOAT32], b"Power\0\0\0", b"watts\0\0\0"]);
    let fields = [
        (253, 4, UINT32),
        (7, 2, UINT16),
        (4, 1, UINT8),
        (3, 1, UINT8),
    ];
    section.define_with(0, 20, &fields, &[(0, 4, 0)], big_endian);
    let mut time = T0;
    for row in rows {
        time += row.step_s;
        let power = row.power.unwrap_or(0xFFFF);
        let developer = row.developer.unwrap_or(f32::from_bits(0xFFFF_FFFF));
        let single = [row.cadence.unwrap_or(0xFF), row.heart_rate.unwrap_or(0xFF)];
        let (time, power, developer) = if big_endian {
            (
                time.to_be_bytes(),
                power.to_be_bytes(),
                developer.to_be_bytes(),
            )
        } else {
            (
                time.to_le_bytes(),
                power.to_le_bytes(),
                developer.to_le_bytes(),
            )
        };
        section.data(0, &[&time, &power, &single, &developer]);
    }
    section.file()
}

fn read(bytes: &[u8], name: &str) -> Recording {
    read_bytes(Path::new(name), bytes, &ReadOptions::default()).unwrap()
}

/// The column of the stream whose power comes from `field`; all missing where there is none.
fn column(recording: &Recording, field: &str, channel: Channel) -> Vec<Option<f64>> {
    let stream = recording
        .streams
        .iter()
        .find(|stream| channel != Channel::Power || stream.power_field.as_deref() == Some(field));
    let Some(column) = stream.and_then(|stream| stream.samples.column(channel)) else {
        return vec![None; recording.streams[0].samples.len()];
    };
    column.iter().map(|v| (!v.is_nan()).then_some(*v)).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn fit_rows_come_back(rows in prop::collection::vec(row(), 1..60), big_endian: bool) {
        let recording = read(&encode(&rows, big_endian), "ride.fit");
        prop_assert!(recording.damage.is_empty());
        let mut time = f64::from(T0) + EPOCH_S;
        let times: Vec<f64> = rows.iter().map(|row| {
            time += f64::from(row.step_s);
            time
        }).collect();
        prop_assert_eq!(recording.streams[0].samples.time_s(), times);
        let expected: Vec<_> = rows.iter().map(|row| row.power.map(f64::from)).collect();
        prop_assert_eq!(column(&recording, "power", Channel::Power), expected);
        let expected: Vec<_> = rows.iter().map(|row| row.developer.map(f64::from)).collect();
        prop_assert_eq!(column(&recording, "Power 2", Channel::Power), expected);
        let expected: Vec<_> = rows.iter().map(|row| row.heart_rate.map(f64::from)).collect();
        prop_assert_eq!(column(&recording, "power", Channel::HeartRate), expected);
    }

    #[test]
    fn text_rows_come_back(
        rows in prop::collection::vec((0.001..10.0_f64, proptest::option::of(-50.0..3000.0_f64)), 1..60),
        separator in prop::sample::select(vec![',', ';', '\t', '|']),
    ) {
        let mut text = format!("time_s{separator}power_w{separator}note\n");
        let (mut time, mut times) = (0.0, Vec::new());
        for (step, power) in &rows {
            time += step;
            times.push(time);
            let power = power.map_or(String::new(), |p| p.to_string());
            text.push_str(&format!("{time}{separator}{power}{separator}-\n"));
        }
        let recording = read(text.as_bytes(), "ride.csv");
        let expected: Vec<_> = rows.iter().map(|row| row.1).collect();
        if expected.iter().all(Option::is_none) {
            // A column without a single value makes no stream.
            prop_assert!(recording.streams.is_empty());
            return Ok(());
        }
        prop_assert_eq!(recording.streams[0].samples.time_s(), times);
        prop_assert_eq!(column(&recording, "power_w", Channel::Power), expected);
    }

    #[test]
    fn a_ride_with_bytes_overwritten_never_panics(
        rows in prop::collection::vec(row(), 5..30),
        at in any::<prop::sample::Index>(),
        junk in prop::collection::vec(any::<u8>(), 1..40),
    ) {
        let mut bytes = encode(&rows, false);
        let start = 14 + at.index(bytes.len() - 14);
        for (byte, junk) in bytes[start..].iter_mut().zip(&junk) {
            *byte = *junk;
        }
        if let Ok(recording) = read_bytes(Path::new("ride.fit"), &bytes, &ReadOptions::default()) {
            prop_assert!(recording.streams.iter().all(|s| s.samples.len() <= rows.len() + 40));
        }
    }

    #[test]
    fn any_bytes_after_a_header_never_panic(body in prop::collection::vec(any::<u8>(), 0..400)) {
        let mut section = ride(3);
        section.raw(&body);
        let recording = read(&section.file_claiming(0), "ride.fit");
        prop_assert!(recording.streams[0].samples.len() >= 3);
        prop_assert!(!recording.damage.is_empty());
    }

    #[test]
    fn any_text_never_panics(text in "[ -~\n;,\t|\"#0-9a-z.]{0,300}", head in any::<bool>()) {
        let text = if head { format!("time,power,device,lap\n{text}") } else { text };
        let read = read_bytes(Path::new("ride.csv"), text.as_bytes(), &ReadOptions::default());
        if let Err(error) = read {
            prop_assert!(error.to_string().starts_with("ride.csv: "));
        }
    }
}
