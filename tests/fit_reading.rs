//! FIT files, well-formed ones: what a recorder may write comes back as it was written.
#![allow(clippy::unwrap_used, clippy::panic)]

use crate::fit_bytes::*;
use truing::recording::{
    Channel, EventKind, Format, ReadOptions, Recording, RecordingError, TimeBase, read,
};

fn read_bytes(bytes: &[u8]) -> Result<Recording, RecordingError> {
    read_with(bytes, &ReadOptions::default())
}

fn read_with(bytes: &[u8], options: &ReadOptions) -> Result<Recording, RecordingError> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("ride.fit");
    std::fs::write(&path, bytes).unwrap();
    read(&path, options)
}

fn power(recording: &Recording, stream: usize) -> Vec<f64> {
    column(recording, stream, Channel::Power)
}

fn column(recording: &Recording, stream: usize, channel: Channel) -> Vec<f64> {
    recording.streams[stream]
        .samples
        .column(channel)
        .unwrap_or_else(|| panic!("no {channel:?}"))
        .to_vec()
}

#[test]
fn a_plain_ride() {
    let recording = read_bytes(&ride(60).file()).unwrap();
    assert_eq!(recording.format, Format::Fit);
    assert_eq!(recording.time_base, TimeBase::Absolute);
    assert_eq!(recording.streams.len(), 1);
    let stream = &recording.streams[0];
    assert_eq!(stream.label, "ride");
    assert_eq!(stream.power_field.as_deref(), Some("power"));
    assert_eq!(stream.samples.len(), 60);
    assert_eq!(stream.samples.time_s()[0], f64::from(T0) + EPOCH_S);
    assert_eq!(power(&recording, 0)[59], 159.0);
    assert_eq!(column(&recording, 0, Channel::Cadence)[0], 80.0);
    assert_eq!(column(&recording, 0, Channel::HeartRate)[0], 120.0);
    assert!(recording.damage.is_empty(), "{:?}", recording.damage);
    assert!(recording.remarks.is_empty(), "{:?}", recording.remarks);
    assert!(recording.device.unwrap().ends_with("product 7"));
}

#[test]
fn invalid_values_are_missing_and_zero_is_zero() {
    let mut section = Section::default();
    define_record(&mut section);
    record(&mut section, T0, 0, 0, 0xFF);
    record(&mut section, T0 + 1, 0xFFFF, 0xFF, 99);
    let recording = read_bytes(&section.file()).unwrap();
    assert_eq!(power(&recording, 0)[0], 0.0);
    assert!(power(&recording, 0)[1].is_nan());
    assert_eq!(column(&recording, 0, Channel::Cadence)[0], 0.0);
    assert!(column(&recording, 0, Channel::Cadence)[1].is_nan());
    assert!(column(&recording, 0, Channel::HeartRate)[0].is_nan());
}

#[test]
fn scales_and_offsets_of_the_standard_fields() {
    let mut section = Section::default();
    section.define_with(
        0,
        20,
        &[
            (253, 4, UINT32),
            (73, 4, UINT32),
            (6, 2, UINT16),
            (4, 1, UINT8),
            (53, 1, UINT8),
            (13, 1, SINT8),
            (30, 1, UINT8),
            (9, 2, SINT16),
            (2, 2, UINT16),
            (10, 1, UINT8),
            (5, 4, UINT32),
        ],
        &[],
        true,
    );
    section.data(
        0,
        &[
            &T0.to_be_bytes(),
            &10_250_u32.to_be_bytes(),
            &9_000_u16.to_be_bytes(),
            &[85, 64, 0xFE, 0x80 | 47],
            &(-750_i16).to_be_bytes(),
            &2_600_u16.to_be_bytes(),
            &[127],
            &4_200_u32.to_be_bytes(),
        ],
    );
    let recording = read_bytes(&section.file()).unwrap();
    // Enhanced speed before plain speed, 1/1000 m/s; cadence fraction 1/128; right leg 47 %.
    assert_eq!(column(&recording, 0, Channel::Speed), [10.25]);
    assert_eq!(column(&recording, 0, Channel::Cadence), [85.5]);
    assert_eq!(column(&recording, 0, Channel::Temperature), [-2.0]);
    assert_eq!(column(&recording, 0, Channel::Balance), [53.0]);
    assert_eq!(column(&recording, 0, Channel::Grade), [-7.5]);
    // 2600/5 − 500 m; resistance from 0 to 254.
    assert_eq!(column(&recording, 0, Channel::Altitude), [20.0]);
    assert_eq!(column(&recording, 0, Channel::Resistance), [50.0]);
    assert_eq!(recording.unused, ["distance"]);
    assert!(recording.remarks.is_empty());
    assert_eq!(recording.streams[0].power_field, None);
}

/// Offsets worked by hand from the protocol's rollover rule.
#[test]
fn compressed_time_stamps_count_on() {
    let mut section = Section::default();
    define_record(&mut section);
    section.define(1, 20, &[(7, 2, UINT16)]);
    let base = (T0 & !31) + 0x1B;
    record(&mut section, base, 100, 80, 120);
    for (offset, watts) in [(0x1D_u8, 101_u16), (0x02, 102), (0x05, 103), (0x01, 104)] {
        section.compressed(1, offset, &[&watts.to_le_bytes()]);
    }
    let recording = read_bytes(&section.file()).unwrap();
    let start = recording.streams[0].samples.time_s()[0];
    let steps: Vec<f64> = recording.streams[0]
        .samples
        .time_s()
        .iter()
        .map(|t| t - start)
        .collect();
    assert_eq!(steps, [0.0, 2.0, 7.0, 10.0, 38.0]);
    assert_eq!(power(&recording, 0), [100.0, 101.0, 102.0, 103.0, 104.0]);
}

fn describe(section: &mut Section, number: u8, base: u8, name: &str, unit: &str) {
    let padded = |text: &str, size: usize| {
        let mut bytes = text.as_bytes().to_vec();
        bytes.resize(size, 0);
        bytes
    };
    section.define(
        2,
        206,
        &[
            (0, 1, UINT8),
            (1, 1, UINT8),
            (2, 1, UINT8),
            (3, 24, STRING),
            (8, 8, STRING),
        ],
    );
    section.data(
        2,
        &[&[0, number, base], &padded(name, 24), &padded(unit, 8)],
    );
}

/// A developer's field of text that says the mode; torque stands in the developer's fields as well,
/// since the standard has none. The enhanced altitude goes before the plain one.
#[test]
fn a_developers_mode_and_torque_are_read() {
    let mut section = Section::default();
    describe(&mut section, 0, STRING, "Trainer Mode", "");
    describe(&mut section, 1, FLOAT32, "Torque", "N.m");
    describe(&mut section, 2, STRING, "Remark", "");
    section.define_with(
        0,
        20,
        &[
            (253, 4, UINT32),
            (7, 2, UINT16),
            (2, 2, UINT16),
            (78, 4, UINT32),
        ],
        &[(0, 4, 0), (1, 4, 0), (2, 3, 0)],
        false,
    );
    let modes: [&[u8; 4]; 6] = [
        b"\0\0\0\0",
        b"erg\0",
        b"erg\0",
        b"\0\0\0\0",
        b"sim\0",
        b"si\x1b\0",
    ];
    for (i, mode) in modes.into_iter().enumerate() {
        section.data(
            0,
            &[
                &(T0 + i as u32).to_le_bytes(),
                &200_u16.to_le_bytes(),
                &2_500_u16.to_le_bytes(),
                &(2_600 + i as u32).to_le_bytes(),
                mode,
                &(20.5_f32 + i as f32).to_le_bytes(),
                b"ok\0",
            ],
        );
    }
    let recording = read_bytes(&section.file()).unwrap();
    let start = f64::from(T0) + EPOCH_S;
    let modes: Vec<_> = recording
        .modes
        .iter()
        .map(|m| (m.from_s - start, m.to_s - start, &*m.mode))
        .collect();
    assert_eq!(
        modes,
        [(1.0, 4.0, "erg"), (4.0, 5.0, "sim"), (5.0, 5.0, "si")]
    );
    assert_eq!(column(&recording, 0, Channel::Torque)[1], 21.5);
    assert_eq!(column(&recording, 0, Channel::Altitude)[5], 21.0);
    assert_eq!(recording.unused, ["Remark"]);
}

fn two_meters() -> Section {
    beside_power("Second Power")
}

/// A ride with the standard's power and a developer's field called `name`, in watts.
fn beside_power(name: &str) -> Section {
    let mut section = Section::default();
    describe(&mut section, 0, FLOAT32, name, "watts");
    describe(&mut section, 1, UINT8, "Cadence", "rpm");
    describe(&mut section, 2, UINT16, "Target Power", "W");
    section.define_with(
        0,
        20,
        &[
            (253, 4, UINT32),
            (7, 2, UINT16),
            (4, 1, UINT8),
            (3, 1, UINT8),
        ],
        &[(0, 4, 0), (1, 1, 0), (2, 2, 0)],
        false,
    );
    for i in 0..10_u32 {
        section.data(
            0,
            &[
                &(T0 + i).to_le_bytes(),
                &200_u16.to_le_bytes(),
                &[80, 130],
                &(205.5_f32 + i as f32).to_le_bytes(),
                &[81],
                &210_u16.to_le_bytes(),
            ],
        );
    }
    section
}

#[test]
fn a_developer_power_field_is_a_second_stream() {
    let recording = read_bytes(&two_meters().file()).unwrap();
    assert_eq!(recording.streams.len(), 2, "{:?}", recording.remarks);
    assert_eq!(power(&recording, 0)[9], 200.0);
    assert_eq!(power(&recording, 1)[9], 214.5);
    assert_eq!(recording.streams[1].label, "Second Power");
    assert_eq!(
        recording.streams[1].power_field.as_deref(),
        Some("Second Power")
    );
    // Heart rate is the rider's; cadence is each device's own.
    assert_eq!(column(&recording, 1, Channel::HeartRate)[0], 130.0);
    assert_eq!(column(&recording, 0, Channel::Cadence)[0], 80.0);
    assert_eq!(column(&recording, 1, Channel::Cadence)[0], 81.0);
    // The target is no stream but a set point.
    let start = f64::from(T0) + EPOCH_S;
    assert_eq!(recording.set_points.len(), 1);
    let set_point = &recording.set_points[0];
    assert_eq!(
        (set_point.from_s, set_point.to_s, set_point.watts),
        (start, start + 9.0, 210.0)
    );
}

#[test]
fn a_developer_field_in_watts_that_tells_of_no_meter_becomes_none() {
    for name in [
        "NP",
        "Form",
        "Critical Power",
        "Puissance moyenne",
        "Leistung links",
    ] {
        let recording = read_bytes(&beside_power(name).file()).unwrap();
        let fields: Vec<_> = recording
            .streams
            .iter()
            .map(|s| s.power_field.as_deref())
            .collect();
        assert_eq!(fields, [Some("power")], "{name}");
    }
    let recording = read_bytes(&beside_power("NP").file()).unwrap();
    assert!(
        recording.remarks[0].contains("left out: “NP”"),
        "{:?}",
        recording.remarks
    );
    assert_eq!(
        read_bytes(&beside_power("Hub").file())
            .unwrap()
            .streams
            .len(),
        2
    );
    let mut options = ReadOptions::default();
    options.columns.power = Some("NP".to_owned());
    let told = read_with(&beside_power("NP").file(), &options).unwrap();
    assert_eq!(power(&told, 0)[0], 205.5);
    assert!(told.remarks.is_empty(), "{:?}", told.remarks);
}

#[test]
fn the_power_field_can_be_told() {
    let mut options = ReadOptions::default();
    options.columns.power = Some("second power".to_owned());
    let recording = read_with(&two_meters().file(), &options).unwrap();
    assert_eq!(recording.streams.len(), 1);
    assert_eq!(power(&recording, 0)[0], 205.5);
    assert_eq!(column(&recording, 0, Channel::Cadence)[0], 81.0);

    options.columns.power = Some("third power".to_owned());
    let error = read_with(&two_meters().file(), &options)
        .unwrap_err()
        .to_string();
    assert!(
        error.contains("“third power”") && error.contains("“Second Power”"),
        "{error}"
    );
}

#[test]
fn a_developer_field_without_description_is_passed_over() {
    let mut section = Section::default();
    section.define_with(
        0,
        20,
        &[(253, 4, UINT32), (7, 2, UINT16)],
        &[(9, 3, 5)],
        false,
    );
    section.data(0, &[&T0.to_le_bytes(), &222_u16.to_le_bytes(), &[1, 2, 3]]);
    let recording = read_bytes(&section.file()).unwrap();
    assert_eq!(power(&recording, 0), [222.0]);
    assert!(recording.damage.is_empty());
}

/// A field of five bytes as 16-bit numbers makes no sense; the fields beside it do.
#[test]
fn a_field_whose_size_does_not_fit_its_type_is_left_out() {
    let mut section = Section::default();
    section.define(0, 20, &[(253, 4, UINT32), (4, 5, UINT16), (7, 2, UINT16)]);
    section.data(
        0,
        &[&T0.to_le_bytes(), &[1, 2, 3, 4, 5], &222_u16.to_le_bytes()],
    );
    let recording = read_bytes(&section.file()).unwrap();
    assert_eq!(power(&recording, 0), [222.0]);
    assert!(
        recording.streams[0]
            .samples
            .column(Channel::Cadence)
            .is_none()
    );
    assert!(recording.remarks[0].contains("1 field definition left out"));
}

#[test]
fn all_sections_of_a_chained_file_are_read() {
    let mut bytes = ride(10).file();
    let mut second = Section::default();
    define_record(&mut second);
    for i in 0..5 {
        record(&mut second, T0 + 100 + i, 300, 90, 150);
    }
    bytes.extend(second.file());
    let recording = read_bytes(&bytes).unwrap();
    assert_eq!(recording.streams[0].samples.len(), 15);
    assert_eq!(power(&recording, 0)[14], 300.0);
    assert!(recording.damage.is_empty(), "{:?}", recording.damage);
}

#[test]
fn accumulated_power_stands_in_for_power() {
    let mut section = Section::default();
    section.define(0, 20, &[(253, 4, UINT32), (29, 4, UINT32)]);
    for (t, sum) in [(0_u32, u32::MAX - 100), (1, 49), (3, 449)] {
        section.data(0, &[&(T0 + t).to_le_bytes(), &sum.to_le_bytes()]);
    }
    let recording = read_bytes(&section.file()).unwrap();
    let watts = power(&recording, 0);
    assert!(watts[0].is_nan());
    assert_eq!(watts[1..], [150.0, 200.0]);
    assert_eq!(
        recording.streams[0].power_field.as_deref(),
        Some("accumulated_power")
    );
}

#[test]
fn laps_timer_and_gear_events() {
    let mut section = ride(120);
    section.define(
        3,
        21,
        &[(253, 4, UINT32), (0, 1, ENUM), (1, 1, ENUM), (3, 4, UINT32)],
    );
    section.data(3, &[&T0.to_le_bytes(), &[0, 0], &0_u32.to_le_bytes()]);
    // Rear gear number 5 with 19 teeth, front gear number 2 with 50 teeth.
    section.data(3, &[&(T0 + 30).to_le_bytes(), &[43, 3], &[5, 19, 2, 50]]);
    section.data(
        3,
        &[&(T0 + 119).to_le_bytes(), &[0, 4], &0_u32.to_le_bytes()],
    );
    section.define(4, 19, &[(253, 4, UINT32), (2, 4, UINT32), (7, 4, UINT32)]);
    section.data(
        4,
        &[
            &(T0 + 60).to_le_bytes(),
            &T0.to_le_bytes(),
            &59_500_u32.to_le_bytes(),
        ],
    );
    let recording = read_bytes(&section.file()).unwrap();
    let start = f64::from(T0) + EPOCH_S;
    assert_eq!(recording.laps.len(), 1);
    assert_eq!(
        (recording.laps[0].from_s, recording.laps[0].to_s),
        (start, start + 59.5)
    );
    let kinds: Vec<EventKind> = recording.events.iter().map(|event| event.kind).collect();
    assert_eq!(
        kinds,
        [
            EventKind::TimerStart,
            EventKind::GearChange {
                front_teeth: Some(50),
                rear_teeth: Some(19)
            },
            EventKind::TimerStop
        ]
    );
    assert_eq!(recording.events[1].at_s, start + 30.0);
}

fn with_workout(lap_steps: bool) -> Section {
    let mut section = ride(120);
    let step = |section: &mut Section, index: u16, kind: u8, value: u32, rest: [u32; 3]| {
        section.define(
            5,
            27,
            &[
                (254, 2, UINT16),
                (1, 1, ENUM),
                (2, 4, UINT32),
                (3, 1, ENUM),
                (4, 4, UINT32),
                (5, 4, UINT32),
                (6, 4, UINT32),
            ],
        );
        section.data(
            5,
            &[
                &index.to_le_bytes(),
                &[kind],
                &value.to_le_bytes(),
                &[4],
                &rest[0].to_le_bytes(),
                &rest[1].to_le_bytes(),
                &rest[2].to_le_bytes(),
            ],
        );
    };
    // 30 s at 195 to 205 W, 10 s at 100 W, both twice.
    step(&mut section, 0, 0, 30_000, [0, 1195, 1205]);
    step(&mut section, 1, 0, 10_000, [0, 1100, 1100]);
    step(&mut section, 2, 6, 0, [2, u32::MAX, u32::MAX]);
    if lap_steps {
        section.define(4, 19, &[(253, 4, UINT32), (2, 4, UINT32), (71, 2, UINT16)]);
        for (from, to, step) in [(5_u32, 40_u32, 0_u16), (40, 55, 1)] {
            section.data(
                4,
                &[
                    &(T0 + to).to_le_bytes(),
                    &(T0 + from).to_le_bytes(),
                    &step.to_le_bytes(),
                ],
            );
        }
    }
    section
}

#[test]
fn workout_steps_become_set_points_where_laps_tell_when() {
    let recording = read_bytes(&with_workout(true).file()).unwrap();
    let start = f64::from(T0) + EPOCH_S;
    let set_points: Vec<(f64, f64, f64)> = recording
        .set_points
        .iter()
        .map(|s| (s.from_s - start, s.to_s - start, s.watts))
        .collect();
    assert_eq!(set_points, [(5.0, 40.0, 200.0), (40.0, 55.0, 100.0)]);
}

#[test]
fn else_they_are_laid_out_and_the_assumption_is_told() {
    let recording = read_bytes(&with_workout(false).file()).unwrap();
    let start = f64::from(T0) + EPOCH_S;
    let set_points: Vec<(f64, f64, f64)> = recording
        .set_points
        .iter()
        .map(|s| (s.from_s - start, s.to_s - start, s.watts))
        .collect();
    assert_eq!(
        set_points,
        [
            (0.0, 30.0, 200.0),
            (30.0, 40.0, 100.0),
            (40.0, 70.0, 200.0),
            (70.0, 80.0, 100.0)
        ]
    );
    assert!(
        recording
            .remarks
            .iter()
            .any(|r| r.contains("counted from the timer start"))
    );
}

#[test]
fn times_since_power_up_are_elapsed() {
    let mut section = Section::default();
    define_record(&mut section);
    for i in 0..5 {
        record(&mut section, 1000 + i, 100, 80, 120);
    }
    let recording = read_bytes(&section.file()).unwrap();
    assert_eq!(recording.time_base, TimeBase::Elapsed);
    assert_eq!(recording.streams[0].samples.time_s()[0], 1000.0);
}

#[test]
fn a_clock_set_during_the_ride_leaves_outliers_in_words() {
    let mut section = Section::default();
    define_record(&mut section);
    for i in 0..3 {
        record(&mut section, 0x1000_0000 + i, 100, 80, 120);
    }
    for i in 0..50 {
        record(&mut section, T0 + i, 100, 80, 120);
    }
    let recording = read_bytes(&section.file()).unwrap();
    assert_eq!(recording.streams[0].samples.len(), 50);
    assert!(
        recording.remarks[0].starts_with("3 rows up to "),
        "{:?}",
        recording.remarks
    );
}

#[test]
fn a_file_without_records_is_refused_with_its_kind() {
    let mut section = Section::default();
    section.define(1, 0, &[(0, 1, ENUM)]);
    section.data(1, &[&[2]]);
    match read_bytes(&section.file()).unwrap_err() {
        RecordingError::NoSamples { messages, what, .. } => {
            assert_eq!(messages, 1);
            assert!(what.contains("settings"), "{what}");
        }
        other => panic!("{other}"),
    }
}
