//! `cargo bench --bench scale`: what opening, brushing and drawing cost, as ratios within one run,
//! and how they grow with the length of the ride and the number of streams.

#![allow(clippy::print_stdout, clippy::unwrap_used)]

use std::hint::black_box;
use std::sync::Arc;
use std::time::Instant;

use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::symbols::Marker;
use ratatui::widgets::{Axis, Chart, Dataset, GraphType, Paragraph, Widget as _};
use truing::analysis::{ride, segment, table};
use truing::recording::{Channel, RecordedStream, Recording, Samples, Sampling, TimeBase};
use truing::session::{Kind, OpenedSession, Role, Segment, Session, Source, Stream};
use truing::timeline::align::{Options, align_session};
use truing::timeline::{Aligned, Span};
use truing::workbench::draw::draw;
use truing::workbench::keymap::Keymap;
use truing::workbench::state::State;
use truing::workbench::theme::{Depth, Ground, Look};

const SCREEN: Rect = Rect {
    x: 0,
    y: 0,
    width: 200,
    height: 60,
};
const LOOK: Look = Look {
    depth: Depth::True,
    ground: Ground::Dark,
    ascii: false,
};

fn main() {
    // `cargo bench --bench scale -- frames` runs that part alone.
    let parts: [(&str, fn()); 3] = [
        ("window", window_figures),
        ("frames", frames),
        ("growth", growth),
    ];
    let wanted: Vec<String> = std::env::args()
        .skip(1)
        .filter(|argument| !argument.starts_with('-'))
        .collect();
    for (name, part) in parts {
        if wanted.is_empty() || wanted.iter().any(|word| word == name) {
            part();
        }
    }
}

/// `count` streams of `seconds` at 1 Hz: the first under test, the others references.
fn ridden(count: usize, seconds: usize) -> OpenedSession {
    let mut session = Session {
        title: "Bench".to_owned(),
        ..Session::default()
    };
    let mut sources = Vec::new();
    for index in 0..count {
        let mut random = ChaCha8Rng::seed_from_u64(index as u64);
        let mut samples = Samples::new((0..seconds).map(|t| t as f64).collect()).unwrap();
        let level = |t: usize| 180.0 + 80.0 * ((t / 300 * 7919 % 13) as f64 / 13.0 - 0.5);
        let power = (0..seconds)
            .map(|t| level(t) + random.random_range(-15.0..15.0))
            .collect();
        samples.set_column(Channel::Power, power);
        let cadence = (0..seconds).map(|t| 85.0 + (t * 31 % 7) as f64).collect();
        samples.set_column(Channel::Cadence, cadence);
        let label = format!("stream {index}");
        let recorded = RecordedStream {
            label: label.clone(),
            power_field: Some("power".to_owned()),
            sampling: Sampling::Regular,
            samples,
        };
        let recording = Recording::in_memory(&label, &label, TimeBase::Elapsed, vec![recorded]);
        let mut stream = Stream::new(label.clone(), label);
        stream.role = if index == 0 {
            Role::UnderTest
        } else {
            Role::Reference
        };
        stream.claim_percent = Some(1.0);
        session.streams.push(stream);
        sources.push(Source::new(Arc::new(recording), 0));
    }
    OpenedSession {
        folder: ".".into(),
        session,
        sources,
        problems: Vec::new(),
    }
}

/// The best of `runs` runs, ms.
fn best_ms<T>(runs: usize, mut work: impl FnMut() -> T) -> f64 {
    (0..runs)
        .map(|_| {
            let start = Instant::now();
            black_box(work());
            start.elapsed().as_secs_f64() * 1e3
        })
        .fold(f64::INFINITY, f64::min)
}

/// The live panel of 4 streams over 5 min and over 6 h.
fn window_figures() {
    let opened = ridden(4, 6 * 3600);
    let aligned = Aligned::new(&opened);
    let found = ride::findings(&aligned);
    println!("live panel, 4 streams (wanted: 0.5 ms at 5 min, 2 ms at 6 h)");
    for (name, to_s) in [("5 min", 300.0), ("1 h", 3600.0), ("6 h", 21_600.0)] {
        let span = Span::new(0.0, to_s);
        let ms = best_ms(50, || {
            segment::live(&opened.session, &aligned, &found, span, Kind::SteadyBlock)
        });
        println!("  {name:>6}  {ms:>8.3} ms");
    }
}

fn empty_draw(buffer: &mut Buffer) {
    buffer.reset();
    Paragraph::new("").render(SCREEN, buffer);
}

/// One frame of 200×60 against an empty draw and against ratatui's own line chart of the same
/// power columns.
fn frames() {
    println!("frame of 200×60 (wanted: 3 and 15 at 4 × 21 600, 8 and 40 at 8 × 86 400)");
    for (streams, seconds) in [(4, 21_600), (8, 86_400)] {
        let opened = ridden(streams, seconds);
        let state = State::new(opened.clone(), LOOK, Keymap::default(), (200, 60));
        let mut buffer = Buffer::empty(SCREEN);
        let empty = best_ms(200, || empty_draw(&mut buffer));
        let ours = best_ms(800, || {
            buffer.reset();
            draw(&state, SCREEN, &mut buffer);
        });
        let points: Vec<Vec<(f64, f64)>> = opened
            .sources
            .iter()
            .map(|source| {
                let power = source.samples().unwrap().column(Channel::Power).unwrap();
                power
                    .iter()
                    .enumerate()
                    .map(|(t, w)| (t as f64, *w))
                    .collect()
            })
            .collect();
        let chart = best_ms(5, || {
            let sets = points
                .iter()
                .map(|p| {
                    Dataset::default()
                        .marker(Marker::Braille)
                        .graph_type(GraphType::Line)
                        .data(p)
                })
                .collect();
            buffer.reset();
            Chart::new(sets)
                .x_axis(Axis::default().bounds([0.0, seconds as f64]))
                .y_axis(Axis::default().bounds([0.0, 400.0]))
                .render(SCREEN, &mut buffer);
        });
        println!(
            "  {streams} × {seconds}: {ours:.3} ms; empty draw {empty:.3} ms, ratio {:.1}; line chart {chart:.1} ms, ours {:.0} times faster",
            ours / empty,
            chart / ours
        );
    }
}

/// Time against length and number of streams.
fn growth() {
    println!("growth, ms");
    println!("  streams  length     open    align   window    frame    table");
    for streams in [2, 4, 8] {
        for (name, seconds) in [
            ("15 min", 900),
            ("1 h", 3600),
            ("6 h", 21_600),
            ("24 h", 86_400),
        ] {
            let mut opened = ridden(streams, seconds);
            opened.session.segments = (0..4)
                .map(|i| Segment {
                    kind: Kind::SteadyBlock,
                    from_s: 200.0 * f64::from(i),
                    to_s: 200.0 * f64::from(i) + 180.0,
                    set_point_w: None,
                    note: String::new(),
                })
                .collect();
            let open = best_ms(3, || Aligned::new(&opened));
            let align = best_ms(1, || align_session(&opened, Options::default()));
            let aligned = Aligned::new(&opened);
            let found = ride::findings(&aligned);
            let whole = aligned.grid.span();
            let window = best_ms(5, || {
                segment::live(&opened.session, &aligned, &found, whole, Kind::SteadyBlock)
            });
            let state = State::new(opened.clone(), LOOK, Keymap::default(), (200, 60));
            let mut buffer = Buffer::empty(SCREEN);
            let frame = best_ms(5, || draw(&state, SCREEN, &mut buffer));
            let table = best_ms(1, || table::table(&opened.session, &aligned));
            println!(
                "  {streams:>7}  {name:>6}  {open:>7.1}  {align:>7.0}  {window:>7.3}  {frame:>7.3}  {table:>7.0}"
            );
        }
    }
}
