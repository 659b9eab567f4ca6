//! TCX with its power extension.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::Path;

use truing::recording::{
    Channel, Format, ReadOptions, Recording, RecordingError, TimeBase, read_bytes,
};

const HEAD: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<TrainingCenterDatabase xmlns="urn:ride" xmlns:ns3="urn:ride-extension">
<Activities><Activity Sport="Biking"><Id>2023-11-14T22:13:20Z</Id>
"#;
const TAIL: &str = r#"<Creator><Name>Bench computer</Name></Creator>
</Activity></Activities></TrainingCenterDatabase>
"#;

fn point(second: u32, inside: &str) -> String {
    format!("<Trackpoint><Time>2023-11-14T22:13:{second}Z</Time>{inside}</Trackpoint>\n")
}

fn extension(watts: &str) -> String {
    format!(
        "<Extensions><ns3:TPX><ns3:Speed>9.5</ns3:Speed><ns3:Watts>{watts}</ns3:Watts></ns3:TPX>\
         </Extensions>"
    )
}

fn ride() -> String {
    let mut text = HEAD.to_owned();
    text += "<Lap StartTime=\"2023-11-14T22:13:20Z\"><TotalTimeSeconds>3</TotalTimeSeconds>\n";
    text += "<AverageHeartRateBpm><Value>200</Value></AverageHeartRateBpm><Track>\n";
    text += &point(
        20,
        &format!(
            "<HeartRateBpm><Value>120</Value></HeartRateBpm><Cadence>80</Cadence>{}",
            extension("200")
        ),
    );
    text += &point(21, &extension("0"));
    text += &point(22, "<Cadence>82</Cadence>");
    text += "</Track></Lap>\n";
    text + TAIL
}

fn read(text: &str) -> Result<Recording, RecordingError> {
    read_bytes(
        Path::new("ride.tcx"),
        text.as_bytes(),
        &ReadOptions::default(),
    )
}

fn column(recording: &Recording, channel: Channel) -> Vec<Option<f64>> {
    let column = recording.streams[0].samples.column(channel).unwrap();
    column.iter().map(|v| (!v.is_nan()).then_some(*v)).collect()
}

#[test]
fn a_ride_with_power() {
    let recording = read(&ride()).unwrap();
    assert_eq!(recording.format, Format::Tcx);
    assert_eq!(recording.time_base, TimeBase::Absolute);
    let stream = &recording.streams[0];
    assert_eq!(stream.label, "Bench computer");
    assert_eq!(stream.samples.time_s(), [1.7e9, 1.7e9 + 1.0, 1.7e9 + 2.0]);
    assert_eq!(
        column(&recording, Channel::Power),
        [Some(200.0), Some(0.0), None]
    );
    assert_eq!(
        column(&recording, Channel::Cadence),
        [Some(80.0), None, Some(82.0)]
    );
    assert_eq!(
        column(&recording, Channel::Speed),
        [Some(9.5), Some(9.5), None]
    );
    // The lap's average is no sample.
    assert_eq!(
        column(&recording, Channel::HeartRate),
        [Some(120.0), None, None]
    );
    assert_eq!(
        (recording.laps[0].from_s, recording.laps[0].to_s),
        (1.7e9, 1.7e9 + 3.0)
    );
    assert!(recording.damage.is_empty() && recording.remarks.is_empty());
}

#[test]
fn cut_at_every_byte() {
    let text = ride();
    let mut before = 0;
    for length in 0..text.len() {
        let Some(cut) = text.get(..length) else {
            continue;
        };
        // The closing line break is no part of the ride.
        let whole = cut.ends_with("</TrainingCenterDatabase>");
        let count = match read(cut) {
            Ok(recording) => {
                assert!(whole || !recording.damage.is_empty(), "cut at {length}");
                recording.streams[0].samples.len()
            }
            Err(_) => 0,
        };
        assert!(count >= before, "cut at {length}");
        before = count;
    }
    assert_eq!(before, 3);
}

#[test]
fn entities_are_not_expanded() {
    let bomb = "<!DOCTYPE x [<!ENTITY a \"1\"><!ENTITY b \"&a;&a;&a;&a;&a;&a;&a;&a;\">]>";
    let text = ride()
        .replacen("\n<Training", &format!("\n{bomb}\n<Training"), 1)
        .replacen("<ns3:Watts>200<", "<ns3:Watts>2&b;0<", 1);
    let recording = read(&text).unwrap();
    assert_eq!(column(&recording, Channel::Power)[0], None);
    assert!(
        recording.remarks[0].contains("1 value not a number"),
        "{:?}",
        recording.remarks
    );
}

#[test]
fn deep_nesting_ends_the_reading_and_is_told() {
    let deep = "<a>".repeat(100_000);
    let text = ride().replacen("</Track>", &format!("{deep}</Track>"), 1);
    let recording = read(&text).unwrap();
    assert_eq!(recording.streams[0].samples.len(), 3);
    assert!(recording.damage[0].message.contains("nested too deeply"));
}

#[test]
fn a_course_without_points_is_refused() {
    let error = read(&format!("{HEAD}{TAIL}")).unwrap_err().to_string();
    assert!(
        error.contains("a TCX file without a timed track point"),
        "{error}"
    );
}

#[test]
fn power_in_a_section_of_plain_text_is_power() {
    let text = ride().replace(
        "<ns3:Watts>200</ns3:Watts>",
        "<ns3:Watts><![CDATA[200]]></ns3:Watts>",
    );
    let power = column(&read(&text).unwrap(), Channel::Power);
    assert_eq!(power, [Some(200.0), Some(0.0), None]);
}
