//! Pictures of the workbench over the sample sessions: `cargo run --example screens` writes
//! `assets/screens`.
//!
//! Keys are pressed as a person would, and what would be on the screen is drawn as SVG: text as
//! text, dots and bars as shapes, so that a picture looks the same whatever fonts there are.

use std::fmt::Write as _;
use std::path::Path;

use ratatui::buffer::{Buffer, Cell};
use ratatui::layout::Rect;
use ratatui::style::{Color, Modifier};
use truing::session::{OpenOptions, OpenedSession};
use truing::workbench::draw::draw;
use truing::workbench::keymap::{Key, Keymap};
use truing::workbench::state::State;
use truing::workbench::theme::{Depth, Ground, Look};
use truing::workbench::update::{Action, Effect, Report, update};
use truing::workbench::worker;

/// A picture: its name, the sample session, the screen, the ground, and the keys. A word in quotes
/// is typed.
type Picture = (&'static str, &'static str, (u16, u16), Ground, &'static str);

const PICTURES: &[Picture] = &[
    ("answers", "bench-ride", (120, 40), Ground::Dark, "i T o o"),
    (
        "ride",
        "bench-ride",
        (120, 40),
        Ground::Dark,
        "i T g '6:00' enter down p enter",
    ),
    (
        "suggestions",
        "bench-ride",
        (80, 24),
        Ground::Dark,
        "i enter space",
    ),
    (
        "agreement",
        "bench-ride",
        (120, 36),
        Ground::Dark,
        "i T g '3:00' enter down o a",
    ),
    (
        "response",
        "bench-ride",
        (120, 36),
        Ground::Light,
        "i T g '17:00' enter down k p o e",
    ),
    (
        "clocks",
        "bench-ride",
        (120, 36),
        Ground::Dark,
        "g '17:35' enter o c",
    ),
    (
        "soak",
        "heat-soak",
        (120, 36),
        Ground::Dark,
        "down down o h d",
    ),
    ("coverage", "bench-ride", (120, 36), Ground::Light, "o v d"),
];

/// Size of a character cell.
const CELL: (f64, f64) = (8.0, 17.0);

fn main() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let into = root.join("assets/screens");
    std::fs::create_dir_all(&into).expect("assets/screens can be made");
    for (name, session, size, ground, keys) in PICTURES {
        let look = Look {
            depth: Depth::True,
            ground: *ground,
            ascii: false,
        };
        let folder = root.join("sample-sessions").join(session);
        let opened = OpenedSession::open(&folder, OpenOptions::default()).expect("a session");
        let mut state = State::new(opened, look, Keymap::default(), *size);
        press(&mut state, keys);
        let area = Rect::new(0, 0, size.0, size.1);
        let mut buffer = Buffer::empty(area);
        draw(&state, area, &mut buffer);
        let file = into.join(format!("{name}.svg"));
        std::fs::write(&file, svg(&buffer, *ground)).expect("the picture can be written");
        println!("{}", file.display());
    }
}

/// Presses the keys; what takes time is waited for.
fn press(state: &mut State, keys: &str) {
    for word in keys.split_whitespace() {
        let typed = word.strip_prefix('\'').and_then(|w| w.strip_suffix('\''));
        let keys: Vec<Key> = match typed {
            Some(typed) => typed.chars().map(Key::char).collect(),
            None => Key::parse(word).into_iter().collect(),
        };
        assert!(!keys.is_empty(), "no key {word}");
        for key in keys {
            let mut effects = update(state, Action::Key(key));
            while let Some(effect) = effects.pop() {
                let report = match effect {
                    Effect::Journal { done, .. } => Report::Journalled { done },
                    Effect::Study(wanted) => Report::Studied(Box::new(worker::compute(*wanted))),
                    _ => continue,
                };
                effects.extend(update(state, Action::Report(report)));
            }
        }
    }
}

/// Foreground and background of a cell.
fn colours(cell: &Cell, ground: Ground) -> (String, Option<String>) {
    let (ink, paper) = match ground {
        Ground::Dark => ("#dcdcdc", "#161616"),
        Ground::Light => ("#202020", "#fbfbf8"),
    };
    let named = |colour: Color, otherwise: &str| match colour {
        Color::Rgb(r, g, b) => format!("#{r:02x}{g:02x}{b:02x}"),
        Color::Indexed(index) => indexed(index),
        _ => otherwise.to_owned(),
    };
    let (mut front, mut back) = (named(cell.fg, ink), named(cell.bg, paper));
    if cell.modifier.contains(Modifier::REVERSED) {
        std::mem::swap(&mut front, &mut back);
    }
    let back = (back != paper).then_some(back);
    (front, back)
}

/// A colour of the palette of 256: the cube of six levels a channel, then greys.
fn indexed(index: u8) -> String {
    let level = |step: u8| if step == 0 { 0 } else { 55 + 40 * step };
    let (r, g, b) = match index {
        232.. => {
            let grey = 8 + 10 * (index - 232);
            (grey, grey, grey)
        }
        16.. => {
            let place = index - 16;
            (level(place / 36), level(place / 6 % 6), level(place % 6))
        }
        _ => (128, 128, 128),
    };
    format!("#{r:02x}{g:02x}{b:02x}")
}

/// The picture of a screen.
fn svg(buffer: &Buffer, ground: Ground) -> String {
    let area = buffer.area;
    let (wide, high) = (
        f64::from(area.width) * CELL.0,
        f64::from(area.height) * CELL.1,
    );
    let paper = match ground {
        Ground::Dark => "#161616",
        Ground::Light => "#fbfbf8",
    };
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"-8 -8 {} {}\" \
         font-family=\"monospace\" font-size=\"13.3\" xml:space=\"preserve\">\n\
         <rect x=\"-8\" y=\"-8\" width=\"100%\" height=\"100%\" fill=\"{paper}\"/>\n",
        wide + 16.0,
        high + 16.0
    );
    for y in 0..area.height {
        row(buffer, y, ground, &mut out);
    }
    out.push_str("</svg>\n");
    out
}

/// Backgrounds, then runs of text of one style, then shapes.
fn row(buffer: &Buffer, y: u16, ground: Ground, out: &mut String) {
    let cells: Vec<&Cell> = (0..buffer.area.width)
        .filter_map(|x| buffer.cell((x, y)))
        .collect();
    let top = f64::from(y) * CELL.1;
    for (from, to) in runs(&cells, |cell| colours(cell, ground).1) {
        if let Some(back) = colours(cells[from], ground).1 {
            let (x, width) = (from as f64 * CELL.0, (to - from) as f64 * CELL.0);
            let _ = writeln!(
                out,
                "<rect x=\"{x}\" y=\"{top}\" width=\"{width}\" height=\"{}\" fill=\"{back}\"/>",
                CELL.1
            );
        }
    }
    let look = |cell: &Cell| {
        let shape = shape(cell, 0.0, 0.0).is_some();
        (
            colours(cell, ground).0,
            cell.modifier,
            shape,
            cell.symbol() == " ",
        )
    };
    for (from, to) in runs(&cells, |cell| look(cell)) {
        let (front, modifier, shapes, blank) = look(cells[from]);
        if modifier.contains(Modifier::UNDERLINED) {
            let (left, right) = (from as f64 * CELL.0, to as f64 * CELL.0);
            let y = top + CELL.1 - 1.5;
            let _ = writeln!(out, "<path d=\"M{left} {y}H{right}\" stroke=\"{front}\"/>");
        }
        if blank {
            continue;
        }
        if shapes {
            let paths: String = (from..to)
                .filter_map(|x| shape(cells[x], x as f64 * CELL.0, top))
                .collect();
            let _ = writeln!(out, "<path d=\"{paths}\" fill=\"{front}\"/>");
            continue;
        }
        let text: String = cells[from..to]
            .iter()
            .map(|cell| escaped(cell.symbol()))
            .collect();
        let weight = if modifier.contains(Modifier::BOLD) {
            " font-weight=\"bold\""
        } else {
            ""
        };
        let _ = writeln!(
            out,
            "<text x=\"{}\" y=\"{}\" textLength=\"{}\" lengthAdjust=\"spacingAndGlyphs\" fill=\"{front}\"{weight}>{text}</text>",
            from as f64 * CELL.0,
            top + 12.5,
            (to - from) as f64 * CELL.0,
        );
    }
}

/// Stretches of cells that have the same `of`.
fn runs<T: PartialEq>(cells: &[&Cell], of: impl Fn(&Cell) -> T) -> Vec<(usize, usize)> {
    let mut out: Vec<(usize, usize)> = Vec::new();
    for place in 0..cells.len() {
        match out.last_mut() {
            Some((from, to)) if of(cells[*from]) == of(cells[place]) => *to = place + 1,
            _ => out.push((place, place + 1)),
        }
    }
    out
}

/// The outline of a cell whose character is a picture: dots, and lines from edge to edge.
fn shape(cell: &Cell, x: f64, y: f64) -> Option<String> {
    let (wide, high) = CELL;
    let c = cell.symbol().chars().next()?;
    let bar = |x: f64, y: f64, w: f64, h: f64| format!("M{x:.1} {y:.1}h{w:.1}v{h:.1}h-{w:.1}z");
    let (middle_x, middle_y) = (x + wide / 2.0, y + high / 2.0);
    let across = |thick: f64| bar(x, middle_y - thick / 2.0, wide, thick);
    let down = |thick: f64| bar(middle_x - thick / 2.0, y, thick, high);
    let half = |left: bool, upper: bool| {
        let from_x = if left { x } else { middle_x - 0.5 };
        let from_y = if upper { y } else { middle_y - 0.5 };
        bar(from_x, middle_y - 0.5, wide / 2.0 + 0.5, 1.0)
            + &bar(middle_x - 0.5, from_y, 1.0, high / 2.0 + 0.5)
    };
    Some(match c {
        '\u{2801}'..='\u{28ff}' => {
            let bits = c as u32 - 0x2800;
            // Dots in the order of their bits: column and row.
            let places = [
                (0, 0),
                (0, 1),
                (0, 2),
                (1, 0),
                (1, 1),
                (1, 2),
                (0, 3),
                (1, 3),
            ];
            let dots = places
                .iter()
                .enumerate()
                .filter(|(bit, _)| bits & (1 << bit) != 0);
            dots.map(|(_, (column, row))| {
                let dot_x = x + wide * (f64::from(*column) * 0.5 + 0.14);
                let dot_y = y + high * (f64::from(*row) * 0.25 + 0.05);
                bar(dot_x, dot_y, wide * 0.27, high * 0.15)
            })
            .collect()
        }
        '─' => across(1.0),
        '━' => across(2.6),
        '═' => bar(x, middle_y - 2.0, wide, 1.2) + &bar(x, middle_y + 1.0, wide, 1.2),
        '╌' => bar(x + 1.0, middle_y - 0.5, 2.4, 1.0) + &bar(x + 5.0, middle_y - 0.5, 2.4, 1.0),
        '│' => down(1.0),
        '┃' => down(2.6),
        '┊' => (0..4)
            .map(|i| bar(middle_x - 0.5, y + 1.0 + 4.25 * f64::from(i), 1.0, 2.0))
            .collect(),
        '┬' => across(1.0) + &bar(middle_x - 0.5, middle_y, 1.0, high / 2.0),
        '┌' => half(false, false),
        '┐' => half(true, false),
        '└' => half(false, true),
        '┘' => half(true, true),
        '▲' => format!("M{:.1} {:.1}h7l-3.5 -9z", x + 0.5, y + 14.0),
        '▼' => format!("M{:.1} {:.1}h7l-3.5 9z", x + 0.5, y + 5.0),
        '▸' => format!("M{:.1} {:.1}v8l5 -4z", x + 1.5, y + 4.5),
        _ => return None,
    })
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}
