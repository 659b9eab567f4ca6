//! One recorder that logs two meters: both streams come from one reading of its file.

use std::sync::Arc;

use truing::recording::Channel;
use truing::session::{OpenOptions, OpenedSession};

#[test]
fn two_streams_of_one_file_share_one_reading() {
    let folder = tempfile::tempdir().unwrap();
    let rows: String = (0..60)
        .map(|t| format!("{t},{},{},{}\n", 200 + t, 100 + t, 7 * t))
        .collect();
    let text = format!("time_s,Power pedals (W),power hub (W),torque thing\n{rows}");
    std::fs::write(folder.path().join("both.csv"), text).unwrap();
    let stream = |label: &str, channel: &str| {
        format!(
            "[[stream]]\nlabel = \"{label}\"\nfile = \"both.csv\"\nchannel = \"{channel}\"\nrole = \"reference\"\n"
        )
    };
    let session = format!(
        "format = 1\n{}{}{}",
        stream("pedals", "power pedals (w)"),
        stream("hub", "power hub (W)"),
        stream("other", "torque thing"),
    );
    std::fs::write(folder.path().join("session.toml"), session).unwrap();
    let opened = OpenedSession::open(folder.path(), OpenOptions::default()).unwrap();
    assert!(opened.problems.is_empty(), "{:?}", opened.problems);
    let first = |index: usize| {
        opened.sources[index]
            .samples()
            .unwrap()
            .column(Channel::Power)
            .unwrap()[1]
    };
    assert_eq!([first(0), first(1), first(2)], [201.0, 101.0, 7.0]);
    let recording = |index: usize| opened.sources[index].recording().unwrap();
    assert!(Arc::ptr_eq(recording(0), recording(1)), "read once");
    assert!(
        opened.share_a_clock(0, 2),
        "the column asked for by name has the same clock"
    );
}
