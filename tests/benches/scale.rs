//! `cargo bench --bench scale`: what opening, brushing and drawing cost, as ratios within one run,
//! and how they grow with the length of the ride and the number of streams.

#![allow(clippy::print_stdout, clippy::unwrap_used)]

mod parts;

use std::hint::black_box;
use std::sync::Arc;
use std::time::Instant;

use parts::is_wanted;
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use ratatui::backend::CrosstermBackend;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::symbols::Marker;
use ratatui::widgets::{Axis, Chart, Dataset, GraphType};
use ratatui::{Terminal, TerminalOptions, Viewport};
use truing::analysis::agreement::Moments;
use truing::analysis::dropout::{Dropout, DropoutKind};
use truing::analysis::pair_noise::{PairNoise, level_pieces};
use truing::analysis::{ride, segment, table};
use truing::export::report::{self, Material};
use truing::export::samples::{Rows, Samples as AlignedRows};
use truing::recording::{Channel, RecordedStream, Recording, Samples, Sampling, TimeBase};
use truing::session::{Kind, OpenedSession, Role, Segment, Session, Source, Stream};
use truing::timeline::align::{Options, align_session};
use truing::timeline::{Aligned, Member, Span};
use truing::workbench::action::{Place, TABLE};
use truing::workbench::draw::draw;
use truing::workbench::keymap::Keymap;
use truing::workbench::state::State;
use truing::workbench::theme::{Depth, Ground, Look};
use truing::workbench::update::{Action, Effect, Report, update};
use truing::workbench::worker;

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
    if is_wanted("window") {
        window_figures();
    }
    if is_wanted("frames") {
        frames();
    }
    if is_wanted("growth") {
        growth();
    }
    if is_wanted("samples") {
        samples();
    }
}

/// What a day of eight streams takes as rows: wanted is less than a second from the time line on.
fn samples() {
    let mut opened = ridden(8, 86_400);
    opened.session.zero_unix_s = Some(1_795_590_000.0);
    println!("samples of 8 streams over 24 h");
    for (name, shape) in [("CSV", Rows::Csv), ("JSON", Rows::Json)] {
        let mut bytes = 0;
        let took_ms = best_ms(3, || {
            bytes = 0;
            let aligned = Aligned::new(&opened);
            let rows = AlignedRows::new(&opened, &aligned);
            let done = rows.write(aligned.grid.span(), shape, &mut |text: &str| {
                bytes += text.len();
                Ok::<(), ()>(())
            });
            done.is_ok()
        });
        println!(
            "  {name:<5} {took_ms:>8.0} ms  {:>6.1} MB",
            bytes as f64 / 1e6
        );
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

/// Runs of what takes a fraction of a millisecond. The least of many is what the work costs; the
/// others are what else the machine did.
const RUNS: usize = 800;

/// The least time so far, ms; for measuring several things in turn.
struct Best {
    ms: f64,
}

impl Best {
    fn new() -> Self {
        Self { ms: f64::INFINITY }
    }

    fn take<T>(&mut self, work: impl FnOnce() -> T) {
        let start = Instant::now();
        black_box(work());
        self.ms = self.ms.min(start.elapsed().as_secs_f64() * 1e3);
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

/// The live panel of 4 streams, without and with dropouts, beside a two-pass computation of the
/// same moments.
fn window_figures() {
    let opened = ridden(4, 6 * 3600);
    let aligned = Aligned::new(&opened);
    let found = ride::findings(&aligned);
    let mut frozen = found.clone();
    for (index, dropouts) in frozen.dropouts.iter_mut().enumerate() {
        let at = |k: usize| 100.0 * k as f64 + 7.0 * index as f64;
        dropouts.extend((0..200).map(|k| Dropout {
            from_s: at(k),
            to_s: at(k) + 6.0,
            kind: DropoutKind::Freeze,
        }));
    }
    println!("live panel, 4 streams (wanted: 0.5 ms at 5 min, 2 ms at 6 h)");
    for (name, to_s) in [("5 min", 300.0), ("1 h", 3600.0), ("6 h", 21_600.0)] {
        let span = Span::new(0.0, to_s);
        let (mut plain, mut with_dropouts, mut two_pass) = (Best::new(), Best::new(), Best::new());
        for _ in 0..200 {
            let live =
                |found| segment::live(&opened.session, &aligned, found, span, Kind::SteadyBlock);
            plain.take(|| live(&found));
            with_dropouts.take(|| live(&frozen));
            two_pass.take(|| moments_in_two_passes(&aligned, span));
        }
        println!(
            "  {name:>6}  {:>7.3} ms, with 800 dropouts {:>7.3} ms; two passes over the pairs alone {:>7.3} ms",
            plain.ms, with_dropouts.ms, two_pass.ms
        );
    }
    println!(
        "  prefix sums against two passes: at most {:.1e} W",
        prefix_error(&aligned)
    );
    noise_models(&aligned);
}

/// The noise of every pair of the ride, fitted one after another.
fn noise_models(aligned: &Aligned) {
    let references: Vec<usize> = aligned.powered(Role::Reference).collect();
    let mut pairs: Vec<[Member; 2]> = aligned
        .comparisons()
        .iter()
        .map(|pair| [Member::Stream(pair.under_test), pair.reference])
        .collect();
    for (at, a) in references.iter().enumerate() {
        let rest = references[at + 1..].iter();
        pairs.extend(rest.map(|b| [*a, *b].map(Member::Stream)));
    }
    let basis = aligned.power(aligned.basis().unwrap()).unwrap();
    let pieces = level_pieces(basis, aligned.grid);
    let levels_ms = best_ms(20, || level_pieces(basis, aligned.grid));
    // Each pair by itself: what lasts longer is interrupted by what else the machine does.
    let pairs_ms: f64 = pairs
        .iter()
        .map(|pair| {
            let [x, y] = pair.map(|member| aligned.power(member).unwrap());
            best_ms(20, || {
                PairNoise::learn(x, y, |_| true, &pieces, aligned.grid)
            })
        })
        .sum();
    println!(
        "noise of {} pairs, 6 h, one core (wanted: 50 ms): {pairs_ms:.1} ms, and {levels_ms:.1} ms for the levels",
        pairs.len(),
    );
}

fn columns(aligned: &Aligned, span: Span) -> Vec<(Member, Member, &[f64], &[f64])> {
    let rows = aligned.grid.rows(span);
    let of = |member| &aligned.power(member).unwrap()[rows.clone()];
    let pairs = aligned.comparisons().iter();
    pairs
        .map(|pair| {
            let x = Member::Stream(pair.under_test);
            (x, pair.reference, of(x), of(pair.reference))
        })
        .collect()
}

fn moments_in_two_passes(aligned: &Aligned, span: Span) -> Vec<Moments> {
    let pairs = columns(aligned, span).into_iter();
    pairs.map(|(_, _, x, y)| Moments::of(x, y)).collect()
}

/// Largest difference between bias and SD by prefix sums and in two passes, over many windows.
fn prefix_error(aligned: &Aligned) -> f64 {
    let mut worst: f64 = 0.0;
    for (from_s, length_s) in [
        (0.0, 21_600.0),
        (7.0, 300.0),
        (9_000.0, 61.0),
        (21_000.0, 500.0),
    ] {
        let span = Span::new(from_s, from_s + length_s);
        for (x, y, column_x, column_y) in columns(aligned, span) {
            let exact = Moments::of(column_x, column_y);
            let quick: Moments = aligned
                .pair_totals(x, y, aligned.grid.rows(span))
                .unwrap()
                .into();
            let bias = quick.bias().unwrap() - exact.bias().unwrap();
            let sd = quick.sd_difference().unwrap() - exact.sd_difference().unwrap();
            worst = worst.max(bias.abs()).max(sd.abs());
        }
    }
    worst
}

/// A terminal that takes what it is sent and shows it to nobody.
fn blind() -> Terminal<CrosstermBackend<std::io::Sink>> {
    let fixed = TerminalOptions {
        viewport: Viewport::Fixed(SCREEN),
    };
    Terminal::with_options(CrosstermBackend::new(std::io::sink()), fixed).unwrap()
}

/// ratatui's own line chart of the same power columns.
fn line_chart(points: &[Vec<(f64, f64)>]) -> Chart<'_> {
    let sets = points
        .iter()
        .map(|p| {
            Dataset::default()
                .marker(Marker::Braille)
                .graph_type(GraphType::Line)
                .data(p)
        })
        .collect();
    let seconds = points.first().map_or(1, Vec::len);
    Chart::new(sets)
        .x_axis(Axis::default().bounds([0.0, seconds as f64]))
        .y_axis(Axis::default().bounds([0.0, 400.0]))
}

/// One frame of 200×60 against an empty one and against ratatui's own line chart of the same
/// power columns: each emptied, drawn, compared with the last one and sent; and drawn only.
fn frames() {
    println!("frame of 200×60 (wanted: 3 and 15 at 4 × 21 600, 8 and 40 at 8 × 86 400)");
    for (streams, seconds) in [(4, 21_600), (8, 86_400)] {
        let opened = ridden(streams, seconds);
        let mut state = State::new(opened.clone(), LOOK, Keymap::default(), (200, 60));
        // As in the program, where every frame follows a change of the state.
        update(&mut state, Action::Resize(200, 60));
        let points: Vec<Vec<(f64, f64)>> = opened
            .sources
            .iter()
            .map(|source| {
                let power = source.samples().unwrap().column(Channel::Power).unwrap();
                let rows = power.iter().enumerate();
                rows.map(|(t, w)| (t as f64, *w)).collect()
            })
            .collect();
        let chart = line_chart(&points);
        let mut terminals = [blind(), blind(), blind()];
        let (mut empty, mut ours, mut theirs) = (Best::new(), Best::new(), Best::new());
        let (mut empty_drawn, mut ours_drawn) = (Best::new(), Best::new());
        let mut buffer = Buffer::empty(SCREEN);
        for run in 0..RUNS {
            let [first, second, third] = &mut terminals;
            empty.take(|| first.draw(|_| ()).map(|_| ()));
            ours.take(|| {
                second
                    .draw(|frame| draw(&state, SCREEN, frame.buffer_mut()))
                    .map(|_| ())
            });
            empty_drawn.take(|| buffer.reset());
            ours_drawn.take(|| {
                buffer.reset();
                draw(&state, SCREEN, &mut buffer);
            });
            if run % (RUNS / 8) == 0 {
                theirs.take(|| {
                    third
                        .draw(|frame| frame.render_widget(&chart, SCREEN))
                        .map(|_| ())
                });
            }
        }
        println!(
            "  {streams} × {seconds}: {:.3} ms; empty frame {:.3} ms, ratio {:.1}; line chart {:.1} ms, ours {:.0} times faster",
            ours.ms,
            empty.ms,
            ours.ms / empty.ms,
            theirs.ms,
            theirs.ms / ours.ms
        );
        println!(
            "    into the buffer alone: {:.3} ms, emptying it {:.3} ms, ratio {:.1}",
            ours_drawn.ms,
            empty_drawn.ms,
            ours_drawn.ms / empty_drawn.ms
        );
        others(&mut state, empty.ms);
    }
}

/// The other pictures, as ratios to an empty frame.
fn others(state: &mut State, empty_ms: f64) {
    let mut terminal = blind();
    let mut told = |name: &str, state: &State| {
        let mut best = Best::new();
        for _ in 0..RUNS / 8 {
            best.take(|| {
                terminal
                    .draw(|frame| draw(state, SCREEN, frame.buffer_mut()))
                    .map(|_| ())
            });
        }
        print!("  {name} {:.1}", best.ms / empty_ms);
    };
    print!("    in empty frames:");
    press(state, "difference-percent");
    told("difference in %", state);
    press(state, "smooth-picture");
    told("smoothed", state);
    let views = TABLE.iter().filter(|entry| entry.place == Place::ViewMenu);
    for name in views
        .map(|entry| entry.name)
        .filter(|name| *name != "view-ride")
    {
        press(state, name);
        told(name, state);
    }
    println!();
}

/// Does what a key would; what is computed aside is there at once.
fn press(state: &mut State, name: &'static str) {
    let mut effects = update(state, Action::Do(name));
    while let Some(effect) = effects.pop() {
        if let Effect::Study(wanted) = effect {
            let computed = Box::new(worker::compute(*wanted));
            effects.extend(update(state, Action::Report(Report::Studied(computed))));
        }
    }
}

const GROWING: [&str; 6] = ["open", "align", "window", "frame", "table", "report"];
const LENGTHS: [(&str, usize); 4] = [
    ("15 min", 900),
    ("1 h", 3600),
    ("6 h", 21_600),
    ("24 h", 86_400),
];

/// Time against length and number of streams. The exponent is that of the length from 6 h to 24 h;
/// n log n has 1.1 there.
fn growth() {
    println!("growth, ms");
    print!("  streams  length");
    GROWING.iter().for_each(|name| print!("  {name:>8}"));
    println!();
    for streams in [2, 4, 8] {
        let mut last = [f64::NAN; 6];
        for (name, seconds) in LENGTHS {
            let took = times(streams, seconds);
            print!("  {streams:>7}  {name:>6}");
            took.iter().for_each(|ms| print!("  {ms:>8.2}"));
            println!();
            if seconds == 86_400 {
                let grew = took
                    .iter()
                    .zip(last)
                    .map(|(now, before)| (now / before).ln() / 4f64.ln());
                print!("         exponent");
                grew.for_each(|exponent| print!("  {exponent:>8.2}"));
                println!();
            }
            last = took;
        }
    }
}

/// What each of [`GROWING`] takes, ms.
fn times(streams: usize, seconds: usize) -> [f64; 6] {
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
    let aligned = Aligned::new(&opened);
    let found = ride::findings(&aligned);
    let whole = aligned.grid.span();
    let state = State::new(opened.clone(), LOOK, Keymap::default(), (200, 60));
    let mut buffer = Buffer::empty(SCREEN);
    let figures = table::table(&opened.session, &aligned);
    let clocks = align_session(&opened, Options::default());
    [
        best_ms(5, || Aligned::new(&opened)),
        best_ms(2, || align_session(&opened, Options::default())),
        best_ms(20, || {
            segment::live(&opened.session, &aligned, &found, whole, Kind::SteadyBlock)
        }),
        best_ms(50, || {
            buffer.reset();
            draw(&state, SCREEN, &mut buffer);
        }),
        best_ms(2, || table::table(&opened.session, &aligned)),
        best_ms(2, || {
            report::report(&Material {
                session: &opened.session,
                full: true,
                opened: &opened,
                aligned: &aligned,
                findings: &found,
                table: &figures,
                answers: &truing::suggest::answered(&opened.session, &aligned, &found, &figures),
                clocks: &clocks,
            })
        }),
    ]
}
