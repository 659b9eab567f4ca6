//! Files that could be read otherwise than they were meant: read rightly, told, or refused with the
//! cause and the way out, never silently taken for something else.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::Path;

use assert_cmd::Command;
use truing::recording::{Channel, ReadOptions, Recording, RecordingError, TimeBase, read};

fn read_bytes(bytes: &[u8]) -> Result<Recording, RecordingError> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("bench.csv");
    std::fs::write(&path, bytes).unwrap();
    read(&path, &ReadOptions::default())
}

/// A head, and 300 rows.
fn file(head: &str, row: impl Fn(u32) -> String) -> Vec<u8> {
    let rows: String = (0..300).map(|i| row(i) + "\n").collect();
    format!("{head}\n{rows}").into_bytes()
}

fn power(recording: &Recording, stream: usize) -> &[f64] {
    let samples = &recording.streams[stream].samples;
    samples.column(Channel::Power).unwrap()
}

/// A refusal that names the file and says all of `words`.
fn assert_refused(bytes: &[u8], words: &[&str]) {
    let told = read_bytes(bytes).unwrap_err().to_string();
    for word in words.iter().chain(&["bench.csv: "]) {
        assert!(told.contains(word), "{word:?} is not in: {told}");
    }
}

fn assert_remarked(recording: &Recording, words: &str) {
    let remarks = &recording.remarks;
    assert!(
        remarks.iter().any(|remark| remark.contains(words)),
        "{words:?} is not in {remarks:?}"
    );
}

#[test]
fn the_decimal_mark_is_that_of_the_whole_file() {
    let whole_for_long = |i: u32| match i {
        0..290 => format!("{i};0"),
        _ => format!("{i};192,5"),
    };
    // Beyond the rows and the bytes at which the head is looked for.
    let rows: String = (0..9000)
        .map(|i| format!("{i};0;some words to fill it\n"))
        .collect();
    let far = format!("time_s;power_w;note\n{rows}9000;192,5;\n");
    for bytes in [file("time_s;power_w", whole_for_long), far.into_bytes()] {
        assert_eq!(power(&read_bytes(&bytes).unwrap(), 0).last(), Some(&192.5));
    }
}

#[test]
fn a_number_that_may_be_grouped_is_refused_unless_another_settles_it() {
    for (separator, mark) in [(";", "."), (";", ","), ("\t", "."), (",", ".")] {
        let sprint = |i: u32| match i {
            100..110 => format!("{i}{separator}1{mark}260"),
            _ => format!("{i}{separator}{}", 200 + i % 7),
        };
        let bytes = file(&format!("time_s{separator}power_w"), sprint);
        let cell = format!("“1{mark}260” may be 1260 or 1.26");
        assert_refused(
            &bytes,
            &["line 102", "“power_w”", &cell, "write thousands without"],
        );
    }
    let settled = |i: u32| {
        format!(
            "{i};{};{}.5",
            if i == 9 { "1.260" } else { "200" },
            80 + i % 3
        )
    };
    let recording = read_bytes(&file("time_s;power_w;cadence", settled)).unwrap();
    assert_eq!(power(&recording, 0)[9], 1.26);
}

#[test]
fn columns_of_one_head_are_told_apart() {
    let row = |i: u32| format!("{i},{},80,{},90", 206 + i % 5, 200 + i % 5);
    let recording = read_bytes(&file("time_s,power,cadence,power,cadence", row)).unwrap();
    let fields: Vec<_> = recording
        .streams
        .iter()
        .map(|s| s.power_field.as_deref())
        .collect();
    assert_eq!(fields, [Some("power"), Some("power 2")]);
    let labels: Vec<_> = recording.streams.iter().map(|s| s.label.as_str()).collect();
    assert_eq!(labels, ["power", "power 2"]);
    let cadence = recording.streams[1]
        .samples
        .column(Channel::Cadence)
        .unwrap();
    assert_eq!(
        cadence[0], 90.0,
        "the second log's cadence belongs to its power"
    );
    assert_remarked(
        &recording,
        "have the same head: the later are called “power 2”, “cadence 2”",
    );
}

/// The whole way: what `new` finds must be what every later command finds.
#[test]
fn a_session_over_columns_of_one_head_uses_both() {
    let folder = tempfile::tempdir().unwrap();
    let row = |i: u32| format!("{i},{},{}", 206 + i * 7 % 50, 200 + i * 7 % 50);
    std::fs::write(
        folder.path().join("joined.csv"),
        file("time_s,power,power", row),
    )
    .unwrap();
    let out = truing(folder.path(), &["new", "s", "joined.csv"]);
    assert!(
        out.contains("“power” is under test, since no name tells of a trainer"),
        "{out}"
    );
    let table = truing(folder.path(), &["table", "s"]);
    assert!(!table.contains("very samples"), "{table}");
}

#[test]
fn two_logs_side_by_side_with_times_of_their_own_are_refused() {
    let row = |i: u32| format!("{i},206,{},200", i + 3);
    assert_refused(
        &file("time,power,time,power", row),
        &["two logs side by side", "save each"],
    );
    let same = |i: u32| format!("{i},206,{i},200");
    assert_eq!(
        read_bytes(&file("time,power,time,power", same))
            .unwrap()
            .streams
            .len(),
        2
    );
}

#[test]
fn what_is_no_recording_is_called_what_it_is() {
    for json in [
        "[{\"time\": 0, \"power\": 200}]",
        "[ [0, 200], [1, 201] ]",
        "{\"a\": 1}",
    ] {
        assert_refused(json.as_bytes(), &["this is JSON", "export the ride as"]);
    }
    assert_eq!(
        read_bytes(&file("[s],[W]", |i| format!("{i},200")))
            .unwrap()
            .streams
            .len(),
        1
    );
    // “時間,パワー (W)” in Shift JIS.
    let mut shift_jis = b"\x8e\x9e\x8a\xd4,\x83p\x83\x8f\x81[ (W)\n".to_vec();
    shift_jis.extend(file("0,200", |i| format!("{i},200")));
    assert_remarked(&read_bytes(&shift_jis).unwrap(), "read as Shift_JIS");
    // A degree sign in Latin 1.
    let mut latin = b"time_s,power_w,Temperature (\xb0C)\n".to_vec();
    latin.extend(file("0,200,21", |i| format!("{i},200,21")));
    assert_remarked(&read_bytes(&latin).unwrap(), "another encoding than UTF-8");
}

#[test]
fn rows_without_any_time_are_told_as_such() {
    let bytes = file("power,cadence", |_| "200,90".to_owned());
    assert_refused(
        &bytes,
        &["no time column", "nothing says when each row was recorded"],
    );
}

#[test]
fn the_power_of_both_legs_is_added_and_that_of_one_is_no_power() {
    for (left, right) in [
        ("left_power", "right_power"),
        ("Leistung links (W)", "Leistung rechts (W)"),
    ] {
        let bytes = file(&format!("time_s,{left},{right}"), |i| match i {
            7 => "7,96,".to_owned(),
            _ => format!("{i},96,104"),
        });
        let ride = read_bytes(&bytes).unwrap();
        assert_eq!(ride.streams.len(), 1);
        let balance = ride.streams[0].samples.column(Channel::Balance).unwrap();
        assert_eq!((power(&ride, 0)[0], balance[0]), (200.0, 48.0));
        assert!(power(&ride, 0)[7].is_nan() && balance[7].is_nan());
        assert_remarked(&ride, "their sum is the power, and their balance is kept");
        let bytes = file(&format!("time_s,{left}"), |i| format!("{i},96"));
        assert_refused(&bytes, &["only that of one", left, "is a guess"]);
        // Beside the power of both, they are part of it.
        let bytes = file(&format!("time_s,{left},power,{right}"), |i| {
            format!("{i},96,201,104")
        });
        let ride = read_bytes(&bytes).unwrap();
        assert_eq!((ride.streams.len(), power(&ride, 0)[0]), (1, 201.0));
        assert_eq!(ride.unused, [left, right]);
    }
    // Beside another device's power, they are a stream of their own.
    let ride = read_bytes(&file(
        "time_s,hub power,pedal power left,pedal power right",
        |i| format!("{i},190,96,104"),
    ));
    let ride = ride.unwrap();
    let labels: Vec<&str> = ride.streams.iter().map(|s| s.label.as_str()).collect();
    assert_eq!(labels, ["hub", "pedal"]);
    assert_eq!(power(&ride, 1)[0], 200.0);
}

#[test]
fn grouped_thousands_are_read_where_the_column_settles_the_mark_and_doubt_is_said() {
    let ride = read_bytes(&file("time_s;power_w", |i| match i {
        5 => "5;1.204,5".to_owned(),
        6 => "6;1.260".to_owned(),
        _ => format!("{i};{},5", 150 + i % 50),
    }));
    let ride = ride.unwrap();
    assert_eq!((power(&ride, 0)[5], power(&ride, 0)[6]), (1204.5, 1260.0));
    assert_remarked(&ride, "line 7: “1.204,5” has its thousands grouped");
    // Only another column tells.
    let ride = read_bytes(&file("time_s;power_w", |i| match i {
        6 => "6,0;1.260".to_owned(),
        _ => format!("{i},0;{}", 150 + i % 50),
    }));
    assert_eq!(power(&ride.unwrap(), 0)[6], 1260.0);
    let ride = read_bytes(&file("time_s;power_w;note", |i| match i {
        6 => "6;1.260;0,5".to_owned(),
        _ => format!("{i};{};", 150 + i % 50),
    }));
    let ride = ride.unwrap();
    assert_eq!(power(&ride, 0)[6], 1260.0);
    assert_remarked(&ride, "“1.260” is read as 1260, by how the other numbers");
}

#[test]
fn stamps_of_whole_minutes_are_refused() {
    let stamps: [fn(u32) -> String; 3] = [
        |i| format!("2024-05-06 12:{:02}", 53 + i / 60),
        |i| format!("12:{:02}", 53 + i / 60),
        |i| format!("2024-05-06T12:{:02}:00Z", 53 + i / 60),
    ];
    for stamp in stamps {
        let bytes = file("time,power", |i| format!("{},{}", stamp(i), 200 + i % 9));
        assert_refused(&bytes, &["“time” tells whole minutes only", "with seconds"]);
    }
    // Minutes and seconds, and one row a minute, are what they say.
    let bytes = file("time,power", |i| format!("{}:{:02},200", i / 60, i % 60));
    assert_eq!(
        read_bytes(&bytes).unwrap().streams[0].samples.time_s()[299],
        299.0
    );
    let bytes = file("time,power", |i| {
        format!("2024-05-06 {:02}:{:02},200", i / 60, i % 60)
    });
    assert_eq!(read_bytes(&bytes).unwrap().streams[0].samples.len(), 300);
}

/// Day 45 418.5 is 2024-05-06 at noon (25 569 is 1970-01-01), 1 714 996 800 s after 1970.
#[test]
fn serial_dates_of_a_spreadsheet_are_moments() {
    let day = |i: u32| 45_418.5 + f64::from(i) / 86_400.0;
    let recording = read_bytes(&file("time,power", |i| format!("{:.9},200", day(i)))).unwrap();
    assert_eq!(recording.time_base, TimeBase::Absolute);
    let time_s = recording.streams[0].samples.time_s();
    assert_eq!((time_s[0], time_s[299]), (1_714_996_800.0, 1_714_997_099.0));
    assert_remarked(&recording, "days since 1899-12-30");
    let comma = |i: u32| format!("{:.9};200", day(i)).replace('.', ",");
    let recording = read_bytes(&file("time;power", comma)).unwrap();
    assert_eq!(recording.streams[0].samples.time_s()[299], 1_714_997_099.0);
    let rounded = read_bytes(&file("time,power", |i| format!("{:.5},200", day(i)))).unwrap();
    assert_remarked(&rounded, "write eight");
    // Minutes since 1970 are no time of a ride.
    let bytes = file("time_min,power", |i| format!("{},200", 28_583_280 + i));
    assert_refused(&bytes, &["“28583280” is not a time"]);
}

#[test]
fn power_in_another_unit_or_with_another_sign_is_told_by_every_command() {
    let folder = tempfile::tempdir().unwrap();
    for (name, row) in [
        (
            "kilo.csv",
            (|i| format!("{i},0.{}", 200 + i % 9)) as fn(u32) -> String,
        ),
        ("minus.csv", |i| format!("{i},-{}", 200 + i % 9)),
        ("sound.csv", |i| format!("{i},{}", 200 + i % 9)),
    ] {
        std::fs::write(folder.path().join(name), file("time_s,power_w", row)).unwrap();
    }
    let probed = truing(
        folder.path(),
        &["probe", "kilo.csv", "minus.csv", "sound.csv"],
    );
    let probed = probed.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        probed.contains("remark the power of “kilo” never exceeds 0.21 W"),
        "{probed}"
    );
    assert!(
        probed.contains("remark the power of “minus” is never above zero"),
        "{probed}"
    );
    assert!(!probed.contains("the power of “sound”"), "{probed}");
    truing(folder.path(), &["new", "s", "kilo.csv", "sound.csv"]);
    for command in [&["table", "s"][..], &["verdict", "s"]] {
        let told = truing(folder.path(), command);
        assert!(told.contains("it may be in kW"), "{command:?}: {told}");
    }
}

/// Columns that hold no meter's power, in the words of several languages.
const NO_METERS: [&str; 12] = [
    "Puissance moyenne (W)",
    "Zielleistung (W)",
    "Durchschnittsleistung (W)",
    "Leistung links (W)",
    "Potencia izquierda (W)",
    "Potenza media (W)",
    "Potência média (W)",
    "Vermogen gemiddeld (W)",
    "NP (W)",
    "FTP (W)",
    "Critical Power (W)",
    "Form [W]",
];

#[test]
fn what_is_in_watts_and_no_meter_does_not_become_one() {
    for extra in NO_METERS {
        let recording = read_bytes(&file(&format!("time_s,Power (W),{extra}"), |i| {
            format!("{i},{},195", 200 + i % 9)
        }))
        .unwrap();
        assert_eq!(recording.streams.len(), 1, "{extra}");
        assert_eq!(
            recording.streams[0].power_field.as_deref(),
            Some("Power (W)"),
            "{extra}"
        );
    }
    let both = file("time_s,Power (W),NP (W),hub_w", |i| {
        format!("{i},200,195,204")
    });
    let recording = read_bytes(&both).unwrap();
    assert_eq!(
        recording.streams.len(),
        2,
        "a name that tells of a meter is enough"
    );
    assert_remarked(
        &recording,
        "a name that tells of no meter, and left out: “NP (W)”;",
    );
    // Alone, the unit has to do; where several have nothing else, that is told.
    let several = file("time_s,A (W),B (W)", |i| format!("{i},200,204"));
    let recording = read_bytes(&several).unwrap();
    assert_eq!(recording.streams.len(), 2);
    assert_remarked(&recording, "by the unit alone: “A (W)”, “B (W)”");
}

#[test]
fn a_column_left_out_is_used_when_it_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("bench.csv");
    std::fs::write(
        &path,
        file("time_s,Power (W),Form (W)", |i| {
            format!("{i},200,{}", 9 + i)
        }),
    )
    .unwrap();
    let mut options = ReadOptions::default();
    options.columns.power = Some("Form (W)".to_owned());
    let recording = read(&path, &options).unwrap();
    assert_eq!(power(&recording, 0)[0], 9.0);
    assert!(recording.remarks.is_empty(), "{:?}", recording.remarks);
}

/// Both streams of a command in `folder`, which must succeed.
fn truing(folder: &Path, arguments: &[&str]) -> String {
    let mut command = Command::cargo_bin("truing").unwrap();
    let output = command
        .current_dir(folder)
        .args(arguments)
        .output()
        .unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    assert!(
        output.status.success(),
        "{arguments:?}: {}",
        text(&output.stderr)
    );
    text(&output.stdout) + &text(&output.stderr)
}
