//! Delimited text: the same ride in many dialects reads identically, and what cannot be read is
//! told with row and column.
#![allow(clippy::unwrap_used, clippy::panic)]

use truing::recording::{Channel, ReadOptions, Recording, RecordingError, TimeBase, read};

fn read_text(text: &str) -> Result<Recording, RecordingError> {
    read_with(text.as_bytes(), &ReadOptions::default())
}

fn read_with(bytes: &[u8], options: &ReadOptions) -> Result<Recording, RecordingError> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("bench.csv");
    std::fs::write(&path, bytes).unwrap();
    read(&path, options)
}

fn column(recording: &Recording, stream: usize, channel: Channel) -> Vec<f64> {
    recording.streams[stream]
        .samples
        .column(channel)
        .unwrap_or_else(|| panic!("no {channel:?}"))
        .to_vec()
}

/// Time, power, cadence, speed in km/h.
type Row = (f64, Option<f64>, Option<f64>, Option<f64>);

/// Half a second apart, one value of each kind missing.
const RIDE: [Row; 4] = [
    (0.0, Some(201.5), Some(80.0), Some(36.0)),
    (0.5, None, Some(80.5), Some(36.9)),
    (1.0, Some(0.0), None, Some(37.8)),
    (1.5, Some(199.25), Some(81.0), None),
];

fn dialect(
    head: &str,
    separator: &str,
    mark: &str,
    missing: &str,
    ending: &str,
    time: impl Fn(f64) -> String,
) -> String {
    let number =
        |value: Option<f64>| value.map_or(missing.to_owned(), |v| v.to_string().replace('.', mark));
    let mut text = format!("{head}{ending}");
    for (t, power, cadence, speed) in RIDE {
        let cells = [time(t), number(power), number(cadence), number(speed)];
        text.push_str(&cells.join(separator));
        text.push_str(ending);
    }
    text
}

#[test]
fn the_same_ride_in_many_dialects_reads_identically() {
    let plain = |t: f64| t.to_string();
    let comma = |t: f64| t.to_string().replace('.', ",");
    let ms = |t: f64| format!("{:.0}", t * 1000.0);
    let clock = |t: f64| format!("0:00:{t:04.1}");
    let quoted = |t: f64| format!("\"{}\"", t.to_string().replace('.', ","));
    let dialects = [
        dialect(
            "time_s,power_w,cadence_rpm,speed_kmh",
            ",",
            ".",
            "",
            "\n",
            plain,
        ),
        dialect(
            "time_s,power_w,cadence_rpm,speed_kmh",
            ",",
            ".",
            "NA",
            "\r\n",
            plain,
        ),
        dialect(
            "Time (s);Power (W);Cadence (rpm);Speed (km/h)",
            ";",
            ",",
            "--",
            "\r\n",
            comma,
        ),
        dialect(
            "secs\twatts\tcad\tspeed [km/h]",
            "\t",
            ".",
            "nan",
            "\n",
            plain,
        ),
        dialect("t|pwr|rpm|kph", "|", ".", "null", "\n", plain),
        dialect("Time [ms],Watts,Cadence,kph", ",", ".", "", "\n", ms),
        dialect(
            "\u{feff}time,power,cadence,\"speed, km/h\"",
            ",",
            ".",
            "",
            "\n",
            clock,
        ),
        dialect(
            "# bench of the co-operative\n# second ride\nelapsed_s,Power,Cadence,speed_km_h",
            ",",
            ".",
            "N/A",
            "\n",
            plain,
        ),
        dialect(
            "title;bench\n\nTime;Power;Cadence;Speed\n(s);(W);(rpm);(km/h)",
            ";",
            ",",
            "-",
            "\n",
            comma,
        ),
        dialect(
            "\"time\",\"power\",\"cadence\",\"speed km/h\"",
            ",",
            ".",
            "\"\"",
            "\n",
            clock,
        ),
        dialect(
            "time_s,power_w,cadence_rpm,speed_kmh",
            ",",
            ".",
            "",
            "\n",
            quoted,
        )
        .replace("201.5,", "\"201,5\",")
        .replace("199.25,", "\"199,25\",")
        .replace("80.5,", "\"80,5\",")
        .replace("36.9", "\"36,9\"")
        .replace("37.8", "\"37,8\""),
    ];
    for text in dialects {
        let recording = read_text(&text).unwrap_or_else(|error| panic!("{error}\n{text}"));
        assert_eq!(recording.time_base, TimeBase::Elapsed, "{text}");
        assert_eq!(recording.streams.len(), 1, "{text}");
        assert_eq!(
            recording.streams[0].samples.time_s(),
            [0.0, 0.5, 1.0, 1.5],
            "{text}"
        );
        for (channel, values) in [
            (Channel::Power, RIDE.map(|row| row.1)),
            (Channel::Cadence, RIDE.map(|row| row.2)),
            (
                Channel::Speed,
                RIDE.map(|row| row.3.map(|v| v * (1.0 / 3.6))),
            ),
        ] {
            let read: Vec<Option<f64>> = column(&recording, 0, channel)
                .into_iter()
                .map(|v| (!v.is_nan()).then_some(v))
                .collect();
            assert_eq!(read, values, "{channel:?}\n{text}");
        }
    }
}

#[test]
fn absolute_times() {
    for text in [
        "timestamp,power\n2023-11-14T22:13:20Z,100\n2023-11-14T22:13:21Z,101\n",
        "timestamp,power\n1700000000,100\n1700000001,101\n",
        "unix_time,power\n1700000000000,100\n1700000001000,101\n",
        "date;time;power\n2023-11-14;22:13:20;100\n2023-11-14;22:13:21;101\n",
        "datetime,power\n2023-11-14T23:13:20+01:00,100\n2023-11-14T23:13:21+01:00,101\n",
    ] {
        let recording = read_text(text).unwrap_or_else(|error| panic!("{error}\n{text}"));
        assert_eq!(recording.time_base, TimeBase::Absolute, "{text}");
        assert_eq!(
            recording.streams[0].samples.time_s(),
            [1.7e9, 1.7e9 + 1.0],
            "{text}"
        );
    }
}

#[test]
fn several_power_columns_are_several_streams() {
    let text = "time_s,trainer_power_w,hub_power_w,hub_cadence_rpm,cadence,heart_rate\n\
                0,200,190,81,80,120\n1,201,191,82,79,121\n";
    let recording = read_text(text).unwrap();
    let labels: Vec<&str> = recording.streams.iter().map(|s| s.label.as_str()).collect();
    assert_eq!(labels, ["trainer", "hub"]);
    assert_eq!(
        recording.streams[1].power_field.as_deref(),
        Some("hub_power_w")
    );
    assert_eq!(column(&recording, 1, Channel::Power), [190.0, 191.0]);
    assert_eq!(column(&recording, 1, Channel::Cadence), [81.0, 82.0]);
    assert_eq!(column(&recording, 0, Channel::Cadence), [80.0, 79.0]);
    assert_eq!(column(&recording, 1, Channel::HeartRate), [120.0, 121.0]);

    let mut options = ReadOptions::default();
    options.columns.power = Some("Hub_Power_W".to_owned());
    let recording = read_with(text.as_bytes(), &options).unwrap();
    assert_eq!(recording.streams.len(), 1);
    assert_eq!(column(&recording, 0, Channel::Power), [190.0, 191.0]);
}

#[test]
fn rows_of_several_devices_are_several_streams() {
    let text = "time,device,power,cadence\n0,left bench,100,80\n0.1,hub,95,81\n\
                1,left bench,101,80\n1.1,hub,96,82\n";
    let recording = read_text(text).unwrap();
    assert_eq!(recording.streams.len(), 2);
    assert_eq!(recording.streams[1].label, "hub");
    assert_eq!(
        recording.streams[1].power_field.as_deref(),
        Some("power:hub")
    );
    assert_eq!(recording.streams[1].samples.time_s(), [0.1, 1.1]);
    assert_eq!(column(&recording, 1, Channel::Cadence), [81.0, 82.0]);

    let mut options = ReadOptions::default();
    options.columns.power = Some("power:hub".to_owned());
    let recording = read_with(text.as_bytes(), &options).unwrap();
    assert_eq!(recording.streams.len(), 1);
    assert_eq!(column(&recording, 0, Channel::Power), [95.0, 96.0]);
}

#[test]
fn columns_can_be_told() {
    let mut options = ReadOptions::default();
    options.columns.time = Some("moment".to_owned());
    options.columns.power = Some("p2".to_owned());
    let recording = read_with(b"moment,p1,p2\n0,1,10\n1,2,20\n", &options).unwrap();
    assert_eq!(column(&recording, 0, Channel::Power), [10.0, 20.0]);

    options.columns.device = Some("who".to_owned());
    options.columns.power = Some("p2:hub".to_owned());
    let text = b"moment,who,p1,p2\n0,hub,1,10\n0,bench,2,20\n1,hub,3,30\n1,bench,4,40\n";
    let recording = read_with(text, &options).unwrap();
    assert_eq!(recording.streams.len(), 1);
    assert_eq!(column(&recording, 0, Channel::Power), [10.0, 30.0]);
}

#[test]
fn target_power_and_laps_are_read() {
    let text = "time,power,target_power,lap\n0,98,100,1\n1,99,100,1\n2,150,200,2\n3,199,200,2\n";
    let recording = read_text(text).unwrap();
    assert_eq!(recording.streams.len(), 1);
    let set_points: Vec<(f64, f64, f64)> = recording
        .set_points
        .iter()
        .map(|s| (s.from_s, s.to_s, s.watts))
        .collect();
    assert_eq!(set_points, [(0.0, 2.0, 100.0), (2.0, 3.0, 200.0)]);
    assert_eq!(recording.laps.len(), 2);
}

#[test]
fn text_in_a_number_column_is_an_error_with_row_and_column() {
    let error = read_text("time,power\n0,100\n1,12O\n")
        .unwrap_err()
        .to_string();
    assert!(
        error.contains("line 3, column “power”: “12O” is not a number"),
        "{error}"
    );
    let error = read_text("time,power\n0,100\nnoon,120\n")
        .unwrap_err()
        .to_string();
    assert!(
        error.contains("line 3, column “time”: “noon” is not a time"),
        "{error}"
    );
}

#[test]
fn columns_that_lack_are_named_with_the_way_out() {
    let error = read_text("time,torque\n0,100\n").unwrap_err().to_string();
    assert!(
        error.contains("no power column found among “time”, “torque”"),
        "{error}"
    );
    assert!(error.contains("`channel` in session.toml"), "{error}");
    let error = read_text("power,cadence\n100,80\n")
        .unwrap_err()
        .to_string();
    assert!(error.contains("no time column found among"), "{error}");
    let error = read_text("just some words\nand more\n")
        .unwrap_err()
        .to_string();
    assert!(
        error.contains("no header line with a time and a power column"),
        "{error}"
    );
}

#[test]
fn a_quote_never_closed_is_damage() {
    let text = "time_s,power_w,note\n0,200,\"a \"\"b\"\" c\"\n1,201,\"open\n2,202,\n3,203,\n";
    let recording = read_text(text).unwrap();
    assert_eq!(recording.damage.len(), 1, "{:?}", recording.damage);
    assert_eq!(recording.damage[0].at, 3);
    let message = &recording.damage[0].message;
    assert!(
        message.contains("line 3 is never closed: 2 lines"),
        "{message}"
    );
}

#[test]
fn a_last_row_cut_off_is_damage() {
    let recording = read_text("time,power,cadence\n0,100,80\n1,1").unwrap();
    assert_eq!(recording.damage.len(), 1);
    assert_eq!(recording.damage[0].at, 3);
    let options = ReadOptions {
        strict: true,
        ..ReadOptions::default()
    };
    let error = read_with(b"time,power,cadence\n0,100,80\n1,1", &options)
        .unwrap_err()
        .to_string();
    assert!(error.contains("cut off in line 3"), "{error}");
}

#[test]
fn fast_and_slow_rates_keep_their_times() {
    for rate in [0.1, 1.0, 4.0, 200.0] {
        let mut text = "time_s,power_w\n".to_owned();
        for i in 0..1000 {
            text.push_str(&format!("{},{}\n", f64::from(i) / rate, i));
        }
        let recording = read_text(&text).unwrap();
        let samples = &recording.streams[0].samples;
        assert_eq!(samples.len(), 1000);
        assert_eq!(samples.time_s()[999], 999.0 / rate);
        assert!(recording.remarks.is_empty(), "{:?}", recording.remarks);
    }
}

/// With decimal commas in a file separated by commas, a cell slides under the next head: no value
/// is where it belongs, and none may be used.
#[test]
fn values_beyond_the_heads_are_refused_and_empty_cells_are_not() {
    let shifted = read_text("time,power,cadence\n0,200,85\n1,200,5,85\n").unwrap_err();
    let told = shifted.to_string();
    for part in [
        "line 3",
        "“85” stands beyond the 3 columns of the header line",
        "decimal comma",
    ] {
        assert!(told.contains(part), "{told}");
    }
    let closed = read_text("time,power\n0,200,\n1,201, ,\n").unwrap();
    assert_eq!(column(&closed, 0, Channel::Power), [200.0, 201.0]);
}

#[test]
fn the_mark_for_none_that_some_programs_export_is_no_power() {
    let ride = read_text("time,power,cadence\n0,200,85\n1,65535,85\n2,210,85\n").unwrap();
    let power = column(&ride, 0, Channel::Power);
    assert!(power[1].is_nan(), "{power:?}");
    assert_eq!([power[0], power[2]], [200.0, 210.0]);
    assert!(
        ride.remarks[0].starts_with("1 value of 65535 W"),
        "{:?}",
        ride.remarks
    );
}

#[test]
fn numbers_that_no_meter_and_no_clock_gives_are_refused() {
    for (text, value) in [
        ("time,power\n0,1e300\n1,200\n", "“1e300” is not a number"),
        ("time,power\n0,200\n1e300,200\n", "“1e300” is not a time"),
    ] {
        let told = read_text(text).unwrap_err().to_string();
        assert!(told.contains(value), "{told}");
    }
}

#[test]
fn a_head_alone_is_told_as_such() {
    for text in ["time,power\n", "time,power"] {
        let told = read_text(text).unwrap_err().to_string();
        assert!(told.contains("a header line without rows"), "{told}");
    }
}

#[test]
fn text_with_bytes_of_zero_is_told_as_text() {
    let told = read_with(b"time,power\n0,200\n1,\0\n", &ReadOptions::default());
    let told = told.unwrap_err().to_string();
    assert!(told.contains("text with bytes of zero in it"), "{told}");
}

/// A spreadsheet's time of day: 0.25 is six in the morning.
#[test]
fn a_count_of_days_is_told_by_its_steps() {
    let rows: String = (0..60)
        .map(|i| format!("{:.8},200\n", 0.25 + f64::from(i) / 86_400.0))
        .collect();
    let ride = read_text(&format!("time,power\n{rows}")).unwrap();
    let time_s = ride.streams[0].samples.time_s();
    let length_s = time_s[59] - time_s[0];
    assert!((length_s - 59.0).abs() < 0.01, "{length_s} s");
    assert!(
        ride.remarks[0].contains("taken as days"),
        "{:?}",
        ride.remarks
    );
}

/// Steps between rows out of order are none that a recorder took.
#[test]
fn rows_out_of_order_do_not_pass_for_milliseconds() {
    let rows: String = (0..200)
        .map(|i| format!("{},200\n", i * 77 % 200))
        .collect();
    let ride = read_text(&format!("time,power\n{rows}")).unwrap();
    assert_eq!(ride.streams[0].samples.time_s()[199], 199.0);
}

/// The road's grade belongs to every meter of the file; an empty cell is missing, not level.
#[test]
fn grade_is_read_under_its_usual_names() {
    for head in ["grade", "Gradient (%)", "Steigung [%]", "pente_%"] {
        let text = format!("time,hub power,crank power,{head}\n0,200,204,-1.5\n1,201,205,\n");
        let ride = read_text(&text).unwrap();
        for stream in 0..2 {
            let grade = column(&ride, stream, Channel::Grade);
            assert!(grade[0] == -1.5 && grade[1].is_nan(), "{head}: {grade:?}");
        }
    }
}

#[test]
fn columns_without_a_use_are_named() {
    let text = "time,power,torque,energy,resistance,mode,torque smoothness\n\
                0,200,21,4,auto,erg,20\n1,201,22,5,auto,erg,21\n";
    let ride = read_text(text).unwrap();
    assert_eq!(ride.unused, ["energy", "resistance", "torque smoothness"]);
}

/// Torque and resistance are one device's, and go to the first without telling words; the height is
/// the road's.
#[test]
fn torque_resistance_and_altitude_are_read_in_their_units() {
    let text = "Zeit;Kurbel Leistung;Rolle Leistung;Rolle Drehmoment [Nm];Bremswiderstand (%);Höhe (ft)\n\
                0;200;204;21,5;40;1000\n1;201;205;;40,5;-10\n";
    let ride = read_text(text).unwrap();
    let torque = column(&ride, 1, Channel::Torque);
    assert!(torque[0] == 21.5 && torque[1].is_nan(), "{torque:?}");
    assert_eq!(column(&ride, 0, Channel::Resistance), [40.0, 40.5]);
    for stream in 0..2 {
        let altitude = column(&ride, stream, Channel::Altitude);
        assert!((altitude[0] - 304.8).abs() < 1e-9, "{altitude:?}");
        assert!((altitude[1] + 3.048).abs() < 1e-9, "{altitude:?}");
    }
    assert!(ride.unused.is_empty(), "{:?}", ride.unused);
}

/// A mode holds over empty cells until another is named; numbers will do as words.
#[test]
fn the_mode_of_a_trainer_is_read_in_words() {
    for (head, words) in [
        ("mode", ["erg", "sim"]),
        ("Modus", ["Sollleistung, fest", "=HYPERLINK(\"\")"]),
        ("トレーナーモード", ["1", "2"]),
        ("Trainer Mode", ["1.5", "1,5"]),
    ] {
        let quote = |word: &str| format!("\"{}\"", word.replace('"', "\"\""));
        let [one, two] = words.map(quote);
        let text = format!(
            "time,power,{head}\n0,200.5,\n1,201.5,{one}\n2,202.5,n/a\n3,203.5,{two}\n4,1.5,{one}\n9,1.5,{one}\n"
        );
        let ride = read_text(&text).unwrap();
        let modes: Vec<_> = ride
            .modes
            .iter()
            .map(|m| (m.from_s, m.to_s, &*m.mode))
            .collect();
        let expected = [
            (1.0, 3.0, words[0]),
            (3.0, 4.0, words[1]),
            (4.0, 9.0, words[0]),
        ];
        assert_eq!(modes, expected, "{head}");
        assert!(ride.unused.is_empty(), "{:?}", ride.unused);
    }
}

#[test]
fn a_column_of_many_different_words_is_no_mode() {
    let rows: String = (0..100).map(|i| format!("{i},200,note {i}\n")).collect();
    let ride = read_text(&format!("time,power,mode\n{rows}")).unwrap();
    assert!(ride.modes.is_empty());
    assert_eq!(ride.unused, ["mode"]);
    assert!(
        ride.remarks.iter().any(|r| r.contains("left out")),
        "{:?}",
        ride.remarks
    );
}
