//! One ride written in every way that is read gives the same figures to 1e-6.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::fmt::Write as _;
use std::path::Path;

use encoding_rs::{Encoding, GB18030, SHIFT_JIS, WINDOWS_1250, WINDOWS_1252};
use serde_json::Value;
use truing::analysis::table::table;
use truing::recording::{Channel, ReadOptions, read};
use truing::session::{OpenOptions, OpenedSession};
use truing::timeline::Aligned;

use crate::fit_bytes::{Section, UINT8, UINT16, UINT32};
use crate::packed::{gz, zip};

/// 2026-11-25T07:00:00Z.
const START: f64 = 1_795_590_000.0;
const SECONDS: usize = 300;

/// A second of the ride, in whole numbers, which every format holds.
struct Second {
    power: u32,
    cadence: u32,
    heart_rate: u32,
    /// 1/1000 m/s, a multiple of 36 m/h.
    speed: u32,
}

fn ride() -> Vec<Second> {
    let second = |t: usize| Second {
        power: 1200 + ((t * 7919) % 41) as u32 - if t > 150 { 900 } else { 0 },
        cadence: 85 + ((t * 31) % 7) as u32,
        heart_rate: 120 + (t / 20) as u32,
        speed: 9_000 + 90 * ((t * 17) % 11) as u32,
    };
    (0..SECONDS).map(second).collect()
}

fn moment(t: usize) -> String {
    let moment = jiff::Timestamp::from_second(START as i64 + t as i64).unwrap();
    moment.to_string()
}

/// Delimited text: a head, and a row a second of time, power, cadence, heart rate and km/h.
fn text(head: &str, row: impl Fn(usize, &Second, f64) -> String) -> String {
    let mut out = format!("{head}\n");
    for (t, second) in ride().iter().enumerate() {
        let _ = writeln!(out, "{}", row(t, second, f64::from(second.speed) * 0.0036));
    }
    out
}

fn plain_csv() -> String {
    text(
        "timestamp,power_w,cadence_rpm,heart_rate_bpm,speed_m_s",
        |t, s, _| {
            let speed = f64::from(s.speed) / 1000.0;
            format!(
                "{},{},{},{},{speed}",
                moment(t),
                s.power,
                s.cadence,
                s.heart_rate
            )
        },
    )
}

fn comma(number: f64, decimals: usize) -> String {
    format!("{number:.decimals$}").replace('.', ",")
}

fn with_semicolons(head: &str) -> String {
    text(head, |t, s, kmh| {
        format!(
            "{t};{};{};{};{}",
            s.power,
            s.cadence,
            s.heart_rate,
            comma(kmh, 7)
        )
    })
}

fn encoded(encoding: &'static Encoding, text: &str) -> Vec<u8> {
    let (bytes, _, lost) = encoding.encode(text);
    assert!(!lost, "{}", encoding.name());
    bytes.into_owned()
}

fn utf16(text: &str, mark: bool) -> Vec<u8> {
    let mark = if mark { "\u{FEFF}" } else { "" };
    let units = format!("{mark}{text}");
    units.encode_utf16().flat_map(u16::to_le_bytes).collect()
}

fn tcx() -> String {
    let mut out =
        "<?xml version=\"1.0\"?><TrainingCenterDatabase><Activities><Activity><Lap><Track>"
            .to_owned();
    for (t, s) in ride().iter().enumerate() {
        let _ = write!(
            out,
            "<Trackpoint><Time>{}</Time><HeartRateBpm><Value>{}</Value></HeartRateBpm><Cadence>{}\
             </Cadence><AltitudeMeters>{}.5</AltitudeMeters><Extensions><x:TPX><x:Speed>{}</x:Speed><x:Watts>{}</x:Watts></x:TPX>\
             </Extensions></Trackpoint>",
            moment(t),
            s.heart_rate,
            s.cadence,
            t as i64 - 9,
            f64::from(s.speed) / 1000.0,
            s.power
        );
    }
    out + "</Track></Lap></Activity></Activities></TrainingCenterDatabase>"
}

fn gpx() -> String {
    let mut out = "<?xml version=\"1.0\"?><gpx version=\"1.1\"><trk><trkseg>".to_owned();
    for (t, s) in ride().iter().enumerate() {
        let _ = write!(
            out,
            "<trkpt lat=\"1\" lon=\"2\"><ele>{}.5</ele><time>{}</time><extensions><power>{}</power>\
             <x:TrackPointExtension><x:hr>{}</x:hr><x:cad>{}</x:cad><x:speed>{}</x:speed>\
             </x:TrackPointExtension></extensions></trkpt>",
            t as i64 - 9,
            moment(t),
            s.power,
            s.heart_rate,
            s.cadence,
            f64::from(s.speed) / 1000.0
        );
    }
    out + "</trkseg></trk></gpx>"
}

fn fit() -> Vec<u8> {
    let mut section = Section::default();
    let fields = [
        (253, 4, UINT32),
        (7, 2, UINT16),
        (4, 1, UINT8),
        (3, 1, UINT8),
        (6, 2, UINT16),
    ];
    section.define(0, 20, &fields);
    for (t, s) in ride().iter().enumerate() {
        section.data(
            0,
            &[
                &(crate::fit_bytes::T0 + t as u32).to_le_bytes(),
                &(s.power as u16).to_le_bytes(),
                &[s.cadence as u8, s.heart_rate as u8],
                &(s.speed as u16).to_le_bytes(),
            ],
        );
    }
    section.file()
}

/// Every way of writing, by the file's name.
fn written() -> Vec<(&'static str, Vec<u8>)> {
    let csv = plain_csv();
    let german = with_semicolons(
        "Zeit (s);Leistung (W);Trittfrequenz (U/min);Herzfrequenz;Geschwindigkeit (km/h);Höhe",
    );
    let polish =
        with_semicolons("Czas (s);Moc (W);Kadencja (obr/min);Tętno;Prędkość (km/h);Wysokość");
    let japanese = with_semicolons(
        "経過時間（秒）;パワー（W）;ケイデンス（rpm）;心拍数（bpm）;速度（km/h）;標高",
    );
    let chinese =
        with_semicolons("时间（秒）;功率（瓦）;踏频（rpm）;心率（bpm）;速度（公里/小时）;海拔");
    let french = text(
        "Horodatage;Puissance (W);Puissance moyenne (W);Fréquence de pédalage (tr/min);\
         Fréquence cardiaque (bpm);Vitesse (km/h)",
        |t, s, kmh| {
            format!(
                "{};{};200;{};{};{}",
                moment(t),
                s.power,
                s.cadence,
                s.heart_rate,
                comma(kmh, 7)
            )
        },
    );
    let grouped = text(
        "Data;Ora;Potenza (W);Cadenza (giri/min);Frequenza cardiaca (bpm);Velocità (km/h)",
        |t, s, kmh| {
            let power = if s.power < 1000 {
                format!("{},0", s.power)
            } else {
                format!("{}.{:03},0", s.power / 1000, s.power % 1000)
            };
            format!(
                "25.11.2026;07:{:02}:{:02};{power};{};{};{}",
                t / 60,
                t % 60,
                s.cadence,
                s.heart_rate,
                comma(kmh, 7)
            )
        },
    );
    let serial = text(
        "Fecha y hora\tPotencia (W)\tCadencia (rpm)\tFrecuencia cardíaca (ppm)\tVelocidad (km/h)",
        |t, s, kmh| {
            let days = 25_569.0 + (START + t as f64) / 86_400.0;
            format!(
                "{days:.9}\t{}\t{}\t{}\t{kmh:.7}",
                s.power, s.cadence, s.heart_rate
            )
        },
    );
    let minutes = text(
        "Tijd,Vermogen (W),Cadans (rpm),Hartslag (bpm),Snelheid (km/u)",
        |t, s, kmh| {
            let minutes = t as f64 / 60.0;
            format!(
                "{minutes:.10},{},{},{},{kmh:.7}",
                s.power, s.cadence, s.heart_rate
            )
        },
    );
    let legs = text(
        "Tempo (s);Potência esquerda (W);Potência direita (W);Cadência (rpm);\
         Frequência cardíaca (bpm);Velocidade (km/h)",
        |t, s, kmh| {
            let left = s.power / 2 + 3;
            format!(
                "{t};{left};{};{};{};{}",
                s.power - left,
                s.cadence,
                s.heart_rate,
                comma(kmh, 7)
            )
        },
    );
    let american = text(
        "Date,Power (W),Cadence (rpm),Heart rate (bpm),Speed (km/h)",
        |t, s, kmh| {
            format!(
                "11/25/2026 7:{:02}:{:02} AM,{},{},{},{kmh:.7}",
                t / 60,
                t % 60,
                s.power,
                s.cadence,
                s.heart_rate
            )
        },
    );
    vec![
        ("ride.csv", csv.clone().into_bytes()),
        ("ride.csv.gz", gz(csv.as_bytes())),
        ("ride.fit", fit()),
        ("ride.fit.gz", gz(&fit())),
        ("stored.zip", zip(&[("ride.fit", &fit())])),
        (
            "deflated.zip",
            zip(&[
                ("notes.md", b"of the day"),
                ("rides/ride.tcx.gz", &gz(tcx().as_bytes())),
            ]),
        ),
        ("ride.tcx", tcx().into_bytes()),
        ("ride.gpx", gpx().into_bytes()),
        ("utf16.csv", utf16(&csv, true)),
        ("utf16-bare.csv", utf16(&csv, false)),
        ("german.csv", encoded(WINDOWS_1252, &german)),
        ("polish.csv", encoded(WINDOWS_1250, &polish)),
        ("japanese.csv", encoded(SHIFT_JIS, &japanese)),
        ("chinese.csv", encoded(GB18030, &chinese)),
        ("french.csv", french.into_bytes()),
        ("italian.csv", encoded(WINDOWS_1252, &grouped)),
        ("spanish.tsv", utf16(&serial, true)),
        ("dutch.csv", minutes.into_bytes()),
        ("portuguese.csv", legs.into_bytes()),
        ("american.csv", american.into_bytes()),
    ]
}

const SESSION: &str = r#"format = 1
title = "One ride"
[claim]
percent = 2.0
[[stream]]
label = "trainer"
file = "trainer.csv"
role = "under-test"
site = "trainer"
[[stream]]
label = "pedals"
file = "FILE"
role = "reference"
site = "pedal"
claim_percent = 1.0
[[segment]]
kind = "steady-block"
from_s = 10.0
to_s = 140.0
set_point_w = 1200.0
[[segment]]
kind = "steady-block"
from_s = 160.0
to_s = 290.0
"#;

/// The whole table of a session whose reference is `file`.
fn figures(file: &str, bytes: &[u8]) -> Value {
    let folder = tempfile::tempdir().unwrap();
    let trainer = text("timestamp,power_w,cadence_rpm", |t, s, _| {
        format!("{},{},{}", moment(t), s.power + 5, s.cadence)
    });
    std::fs::write(folder.path().join("trainer.csv"), trainer).unwrap();
    std::fs::write(folder.path().join(file), bytes).unwrap();
    let session = SESSION.replace("FILE", file);
    std::fs::write(folder.path().join("session.toml"), session).unwrap();
    let opened = OpenedSession::open(folder.path(), OpenOptions::default()).unwrap();
    assert!(opened.problems.is_empty(), "{file}: {:?}", opened.problems);
    let aligned = Aligned::new(&opened);
    serde_json::to_value(table(&opened.session, &aligned)).unwrap()
}

fn assert_same(one: &Value, other: &Value, place: &str) {
    match (one, other) {
        (Value::Number(a), Value::Number(b)) => {
            let (a, b) = (a.as_f64().unwrap(), b.as_f64().unwrap());
            assert!(
                (a - b).abs() <= 1e-6 * a.abs().max(1.0),
                "{place}: {a} and {b}"
            );
        }
        (Value::Array(a), Value::Array(b)) => {
            assert_eq!(a.len(), b.len(), "{place}");
            for (index, (a, b)) in a.iter().zip(b).enumerate() {
                assert_same(a, b, &format!("{place}[{index}]"));
            }
        }
        (Value::Object(a), Value::Object(b)) => {
            assert_eq!(a.len(), b.len(), "{place}");
            for (key, a) in a {
                assert_same(a, &b[key], &format!("{place}.{key}"));
            }
        }
        _ => assert_eq!(one, other, "{place}"),
    }
}

#[test]
fn one_ride_in_every_way_of_writing_gives_the_same_figures() {
    let written = written();
    let (first, bytes) = &written[0];
    let expected = figures(first, bytes);
    let n = expected["segments"][0]["agreement"][0]["n"].as_u64();
    assert!(n > Some(100), "{n:?}");
    for (file, bytes) in &written[1..] {
        assert_same(&expected, &figures(file, bytes), file);
    }
}

#[test]
fn a_session_is_started_from_every_way_of_writing_and_stands_alone() {
    for (file, bytes) in written() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(file);
        std::fs::write(&path, bytes).unwrap();
        let session = folder.path().join("session");
        let truing = || assert_cmd::Command::new(env!("CARGO_BIN_EXE_truing"));
        truing()
            .arg("new")
            .args([&session, &path])
            .assert()
            .success();
        std::fs::remove_file(&path).unwrap();
        let opened = OpenedSession::open(&session, OpenOptions::default()).unwrap();
        assert!(opened.problems.is_empty(), "{file}: {:?}", opened.problems);
        let recorded = &opened.session.streams[0];
        let inside = session.join(&recorded.file);
        let content = std::fs::read(&inside).unwrap();
        assert!(
            !content.starts_with(&[0x1F, 0x8B]) && !content.starts_with(b"PK"),
            "{file}"
        );
        let hash = truing::session::relink::sha256_of(&inside).unwrap();
        assert_eq!(recorded.sha256.as_deref(), Some(hash.as_str()), "{file}");
        assert!(!Path::new(&recorded.file).ends_with("gz"));
    }
}

/// A track's height is read; no gradient is made of it.
#[test]
fn altitude_of_tracks_is_read_and_no_grade_invented() {
    let folder = tempfile::tempdir().unwrap();
    for (name, bytes) in written() {
        if !matches!(name, "ride.tcx" | "ride.gpx") {
            continue;
        }
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        let ride = read(&path, &ReadOptions::default()).unwrap();
        let samples = &ride.streams[0].samples;
        let altitude = samples.column(Channel::Altitude).unwrap();
        assert_eq!((altitude[0], altitude[20]), (-9.5, 11.5), "{name}");
        assert_eq!(samples.column(Channel::Grade), None, "{name}");
    }
}
