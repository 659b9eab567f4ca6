// The seeds of the fuzz corpora: small files of every kind, made anew each time.

use super::packed;
use truing::plan::Plan;
use truing::rehearse::{Scenario, SessionOptions, ride, write_session};
use truing::session::{files, journal::Journal, store};

/// A seed: which entry takes it, what it is, and its bytes.
pub struct Seed {
    /// Name of the entry.
    pub kind: &'static str,
    /// What it is, for messages and file names.
    pub name: String,
    /// The content.
    pub bytes: Vec<u8>,
}

fn seed(kind: &'static str, name: impl Into<String>, bytes: impl Into<Vec<u8>>) -> Seed {
    Seed {
        kind,
        name: name.into(),
        bytes: bytes.into(),
    }
}

/// Every seed, in a stable order.
pub fn all() -> Vec<Seed> {
    let mut seeds = rehearsed();
    for (name, text) in [
        (
            "semicolons",
            "Zeit (s);Leistung (W);power (W);cadence\n0;1,5;200,5;90\n1;;201;--\n",
        ),
        (
            "clock",
            "time,power_w,speed [km/h]\n0:00:01,200,30.1\n0:00:02,NA,30.2\n",
        ),
        (
            "zoned",
            "timestamp,power\n2026-05-01T10:00:00+02:00,1\n2026-05-01T10:00:01+02:00,2\n",
        ),
        (
            "devices",
            "device,time_ms,power\na,0,1\nb,0,2\na,1000,3\nb,1000,4\n",
        ),
        (
            "slopes",
            "time,power,mode,torque,resistance,altitude\n0,1,erg,2,3,4\n1,2,,3,4,-5\n2,2,sim,,,\n",
        ),
        ("empty rows", "time,power\n\n\n1,2\n\n"),
    ] {
        seeds.push(seed("recording", name, text));
    }
    seeds.push(seed("recording", "tcx", TCX));
    seeds.push(seed("recording", "gpx", GPX));
    let text = "Zeit (s);Leistung links (W);Leistung rechts (W);Höhe\n0;1.204,5;96;3\n1;101;99;4\n";
    let utf16: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
    seeds.push(seed("recording", "utf16", utf16));
    let japanese = "時間,パワー,ケイデンス\n59:59.0,200,90\n00:00.0,201,91\n";
    let (bytes, _, _) = encoding_rs::SHIFT_JIS.encode(japanese);
    seeds.push(seed("recording", "shift_jis", bytes.into_owned()));
    seeds.push(seed("recording", "gz", packed::gz(text.as_bytes())));
    let zip = packed::zip(&[("notes.md", b"windy"), ("day/ride.tcx", TCX.as_bytes())]);
    seeds.push(seed("recording", "zip", zip));
    for name in Plan::names() {
        let path = format!("{}/assets/plans/{name}.toml", env!("CARGO_MANIFEST_DIR"));
        // The fuzz crate sits elsewhere; there the plans come from the corpus on disk.
        if let Ok(text) = std::fs::read(path) {
            seeds.push(seed("plan", name, text));
        }
    }
    for (name, line) in KEYS {
        let bytes = super::entries::keys::encode(line);
        seeds.push(seed("keys", *name, bytes));
    }
    seeds
}

/// Lines of keys; each key is followed by a picture.
const KEYS: &[(&str, &str)] = &[
    (
        "tag",
        "> > > s > > > > e t s p 2 2 0 enter n a enter ctrl-s u r",
    ),
    ("walk", "i enter space enter backspace x u esc i T u"),
    (
        "hold",
        "> > x > > < w > enter j esc up down m | & D u u u r",
    ),
    (
        "clocks",
        "c left right + - > < u enter o c 1 2 f A y h d esc",
    ),
    (
        "views",
        "o a d o e o f o h o v h o p h o r % f f h 1 1 3 4 2 2",
    ),
    (
        "streams",
        "E down o s c 5 enter l x enter w 1 enter C 3 enter u r R esc R v V",
    ),
    (
        "zoom",
        "+ + + + ( ) b B a z - - home end [ ] { } l d ] l x ] g 1 : 0 0 enter",
    ),
    (
        "prompts",
        "X a . c s v enter / t a g down enter esc ? down esc M esc q s",
    ),
    (
        "menus",
        "s > > e t g k p n backspace home end delete esc ctrl-r q d",
    ),
];

/// The recording of a trainer that simulates slopes: with grades, and a developer's field of modes.
fn slopes() -> Vec<u8> {
    let plan = "title = \"t\"\npurpose = \"p\"\ncontrolled = true\n\
                [[phase]]\nkind = \"open\"\nduration_s = 30\nset_point_w = 150\n\
                [[phase]]\nkind = \"coast\"\nduration_s = 12\n\
                [[phase]]\nkind = \"slope\"\nduration_s = 60\ngrades_percent = [0, 4, -2]\n";
    let plan = Plan::from_toml("slopes.toml", plan).expect("a plan");
    let ridden = ride(&plan, &Scenario::for_plan(&plan), 7).expect("a ride");
    let folder = tempfile::tempdir().expect("a temporary folder");
    let session = ridden.session(SessionOptions::default());
    write_session(&ridden, &session, folder.path()).expect("a session");
    std::fs::read(folder.path().join("recordings/trainer.fit")).expect("a recording")
}

/// The files of a short rehearsed session, and the journal of an edit to it.
fn rehearsed() -> Vec<Seed> {
    let mut seeds = Vec::new();
    let folder = tempfile::tempdir().expect("a temporary folder");
    let plan = Plan::built_in("short-check").expect("a built-in plan");
    let ridden = ride(&plan, &Scenario::default(), 7).expect("a ride");
    let tagged = ridden.session(SessionOptions {
        clocks_known: true,
        tagged: true,
    });
    write_session(&ridden, &tagged, folder.path()).expect("a session");
    let recordings = std::fs::read_dir(folder.path().join("recordings")).expect("recordings");
    let mut paths: Vec<_> = recordings.flatten().map(|entry| entry.path()).collect();
    paths.sort();
    for path in paths {
        let name = path
            .file_name()
            .map(|n| n.to_string_lossy().into_owned())
            .unwrap_or_default();
        // A minute is enough of a seed: mutations of it come by quicker.
        let mut bytes = std::fs::read(&path).expect("a recording");
        bytes.truncate(6000);
        seeds.push(seed("recording", name, bytes));
    }
    seeds.push(seed("recording", "slopes.fit", slopes()));
    let text = std::fs::read(folder.path().join(files::FILE_NAME)).expect("a session file");
    seeds.push(seed("session", "session.toml", text));
    let session = store::load(folder.path()).expect("the session").session;
    let data = folder.path().join("data");
    let (mut journal, _) = Journal::open(&data, folder.path(), None).expect("a journal");
    for name in ["tag sprint", "note"] {
        journal.record(name, &session).expect("an entry");
    }
    drop(journal);
    for entry in std::fs::read_dir(&data)
        .expect("the journal's folder")
        .flatten()
    {
        if entry.path().extension().is_some_and(|e| e == "jsonl") {
            seeds.push(seed(
                "journal",
                "journal",
                std::fs::read(entry.path()).expect("it"),
            ));
        }
    }
    seeds
}

const GPX: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" xmlns="urn:exchange" xmlns:x="urn:extension"><trk><trkseg>
 <trkpt lat="1.0" lon="2.0"><ele>3</ele><time>2026-05-01T08:00:00Z</time><extensions>
  <power>200</power><x:TrackPointExtension><x:hr>120</x:hr><x:cad>90</x:cad><x:atemp>20</x:atemp>
  </x:TrackPointExtension></extensions></trkpt>
 <trkpt lat="1.0" lon="2.0"><time>2026-05-01T08:00:01Z</time><extensions><power>201</power>
 </extensions></trkpt>
</trkseg></trk></gpx>
"#;

const TCX: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<TrainingCenterDatabase xmlns="urn:training-center-v2">
 <Activities><Activity Sport="Biking"><Id>2026-05-01T08:00:00Z</Id>
  <Lap StartTime="2026-05-01T08:00:00Z"><TotalTimeSeconds>3</TotalTimeSeconds><Track>
   <Trackpoint><Time>2026-05-01T08:00:00Z</Time><HeartRateBpm><Value>101</Value></HeartRateBpm>
    <Cadence>90</Cadence><Extensions><TPX xmlns="x"><Speed>8.1</Speed><Watts>200</Watts></TPX></Extensions></Trackpoint>
   <Trackpoint><Time>2026-05-01T08:00:01Z</Time><Cadence>90</Cadence></Trackpoint>
   <Trackpoint><Time>2026-05-01T08:00:02Z</Time><Extensions><TPX xmlns="x"><Watts>203</Watts></TPX></Extensions></Trackpoint>
  </Track></Lap></Activity></Activities></TrainingCenterDatabase>
"#;
