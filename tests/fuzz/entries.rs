// What is fuzzed: one function a kind of input, used by the fuzz targets and by the replay in
// `cargo test`. Each must return, whatever the bytes are.

use std::path::Path;

use truing::recording::{ReadOptions, Recording, read_bytes};
use truing::session::{OpenedSession, Session, Source, journal, parse, to_text};
use truing::timeline::{Aligned, Span};

#[path = "keys.rs"]
pub mod keys;

/// Takes any bytes and returns.
pub type Entry = fn(&[u8]);

/// The entry for a kind of input, by its name.
pub const ENTRIES: &[(&str, Entry)] = &[
    ("recording", recording),
    ("session", session),
    ("plan", plan),
    ("journal", journal_file),
    ("keys", keys::run),
];

/// FIT, delimited text and TCX: the format is found by content, as always.
pub fn recording(bytes: &[u8]) {
    let Ok(recording) = read_bytes(Path::new("fuzzed"), bytes, &ReadOptions::default()) else {
        return;
    };
    for stream in &recording.streams {
        let samples = &stream.samples;
        assert!(samples.time_s().windows(2).all(|pair| pair[0] < pair[1]));
        assert!(
            samples
                .channels()
                .all(|c| samples.column(c).is_some_and(|v| v.len() == samples.len()))
        );
    }
    align_and_judge(recording);
}

/// What a reader returned must also survive the time line and the analysis.
fn align_and_judge(recording: Recording) {
    let part = truing::session::start::Part {
        file: "fuzzed".to_owned(),
        recording: std::sync::Arc::new(recording),
    };
    let parts = [part];
    let Ok(opened) = truing::session::start::sketch(Path::new("."), "fuzzed", &parts, None) else {
        return;
    };
    let samples: usize = opened
        .sources
        .iter()
        .filter_map(Source::samples)
        .map(|s| s.len())
        .sum();
    let aligned = Aligned::new(&opened);
    assert!(
        aligned.grid.len <= 16 * samples + 3601,
        "the grid is bounded by what was recorded"
    );
    let span = Span::new(aligned.grid.start_s, aligned.grid.start_s + 300.0);
    let mut session = opened.session.clone();
    let kinds = truing::session::Kind::ALL.iter();
    session.segments = kinds
        .map(|kind| truing::session::Segment {
            kind: *kind,
            from_s: span.from_s,
            to_s: span.to_s,
            set_point_w: None,
            note: String::new(),
        })
        .collect();
    let table = truing::analysis::table::table(&session, &aligned);
    let json = serde_json::to_string(&table).expect("a table is JSON");
    assert!(
        !json.contains("NaN"),
        "a figure that is no number was stored"
    );
}

/// A session file: what is read can be written and read again as the same.
pub fn session(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    let Ok(session) = parse(Path::new("fuzzed"), text) else {
        return;
    };
    let written = to_text(&session);
    let again = parse(Path::new("written"), &written);
    assert_eq!(again.expect("what we write we can read"), session);
    // No recording is there: binding must say so for each stream, never fail.
    let opened = OpenedSession::bind(Path::new("/nonexistent"), session, Default::default());
    Aligned::new(&opened);
}

/// A test plan.
pub fn plan(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    if let Ok(plan) = truing::plan::Plan::from_toml("fuzzed", text) {
        assert!(plan.duration_s().is_finite());
        truing::plan::sheet(&plan);
    }
}

/// A journal file.
pub fn journal_file(bytes: &[u8]) {
    let leftover = journal::leftover_in(bytes);
    let _: Option<Session> = leftover.map(|left| left.session);
}
