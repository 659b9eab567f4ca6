// A person at the keyboard, in bytes: keys, typed text, mouse, paste and resizing against `update`,
// drawn as the program draws. Used by the fuzz target `keys` and by the replay in `cargo test`.

use std::sync::{Arc, OnceLock};

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use truing::recording::{Channel, RecordedStream, Recording, Samples, Sampling, TimeBase};
use truing::session::{OpenedSession, Role, Session, Source, Stream};
use truing::workbench::action::TABLE;
use truing::workbench::draw::draw;
use truing::workbench::keymap::{Key, Keymap};
use truing::workbench::state::State;
use truing::workbench::theme::{Depth, Ground, Look};
use truing::workbench::update::{Action, Effect, Mouse, MouseEvent, Report, update};
use truing::workbench::worker;

/// Most actions of one input: what is longer is a longer day, not another one.
const MOST_ACTIONS: usize = 300;

/// Most pictures of one input; the last one is drawn twice.
const MOST_PICTURES: usize = 12;

/// Most questions of the full-screen views that are answered; the others stay pending.
const MOST_ANSWERS: usize = 2;

/// Every key of the action table once, in its order.
fn keys() -> Vec<Key> {
    let mut keys: Vec<Key> = Vec::new();
    let named = TABLE.iter().flat_map(|entry| entry.keys);
    for key in named.filter_map(|key| Key::parse(key)) {
        if !keys.contains(&key) {
            keys.push(key);
        }
    }
    keys
}

// What a byte stands for; the bytes after it are its arguments.
const TYPED: u8 = 200;
const COMMAND: u8 = 210;
const MOUSE: u8 = 220;
const RESIZE: u8 = 232;
const PASTE: u8 = 236;
const PICTURE: u8 = 240;

/// The bytes of a line of keys, as the configuration writes them; for seeds.
#[allow(dead_code)]
pub fn encode(line: &str) -> Vec<u8> {
    let keys = keys();
    let byte = |word: &str| {
        let key = Key::parse(word).expect("a key");
        let place = keys.iter().position(|known| *known == key);
        match (place, key.typed()) {
            (Some(place), _) if place < usize::from(TYPED) => vec![place as u8],
            (_, Some(c)) if c.is_ascii() => vec![TYPED, c as u8, 0],
            _ => Vec::new(),
        }
    };
    // The first byte is the look and size.
    let mut bytes = vec![0];
    for word in line.split_whitespace() {
        bytes.extend(byte(word));
        bytes.push(PICTURE);
    }
    bytes
}

struct Hand<'a> {
    bytes: std::slice::Iter<'a, u8>,
    keys: Vec<Key>,
}

impl Hand<'_> {
    fn byte(&mut self) -> u8 {
        self.bytes.next().copied().unwrap_or(0)
    }

    /// A character; the awkward ones are near.
    fn character(&mut self) -> char {
        const AWKWARD: [char; 8] = [
            '\u{1b}', '\u{202e}', '\u{200b}', '\u{0301}', '界', '\u{feff}', '\u{9b}', '\0',
        ];
        match (self.byte(), self.byte()) {
            (low, high @ 0..8) => {
                char::from_u32(u32::from(low) + 256 * u32::from(high)).unwrap_or('?')
            }
            (low, _) => AWKWARD[usize::from(low) % AWKWARD.len()],
        }
    }

    /// The next action; `None` at the end. A picture is no action.
    fn next(&mut self) -> Option<Option<Action>> {
        let byte = *self.bytes.next()?;
        let action = match byte {
            0..TYPED => Action::Key(self.keys[usize::from(byte) % self.keys.len()]),
            TYPED..COMMAND => {
                let c = self.character();
                if c.is_control() {
                    Action::Paste(c.to_string())
                } else {
                    Action::Key(Key::char(c))
                }
            }
            COMMAND..MOUSE => Action::Do(TABLE[usize::from(self.byte()) % TABLE.len()].name),
            MOUSE..RESIZE => Action::Mouse(Mouse {
                event: [
                    MouseEvent::Press,
                    MouseEvent::Drag,
                    MouseEvent::Release,
                    MouseEvent::WheelUp,
                    MouseEvent::WheelDown,
                ][usize::from(byte) % 5],
                column: u16::from(self.byte()),
                row: u16::from(self.byte()) % 100,
            }),
            RESIZE..PASTE => Action::Resize(u16::from(self.byte()), u16::from(self.byte()) % 80),
            PASTE..PICTURE => {
                let length = self.byte();
                Action::Paste((0..length).map(|_| self.character()).collect())
            }
            PICTURE.. => return Some(None),
        };
        Some(Some(action))
    }
}

/// Whatever is done, nothing panics, the picture holds no control character and is the same when
/// drawn again, and undoing everything gives the session back.
pub fn run(bytes: &[u8]) {
    let mut hand = Hand {
        bytes: bytes.iter(),
        keys: keys(),
    };
    let first = hand.byte();
    let mut state = start(first);
    let mut desk = Desk {
        fails: first & 0x80 != 0,
        answers: 0,
        replaced: false,
    };
    let before = state.session().clone();
    let (mut actions, mut pictures) = (0, 0);
    while let Some(next) = hand.next() {
        let Some(action) = next else {
            pictures += 1;
            if pictures <= MOST_PICTURES {
                picture(&state);
            }
            continue;
        };
        actions += 1;
        if actions > MOST_ACTIONS {
            break;
        }
        desk.settle(&mut state, action);
        sound(&state);
    }
    assert_eq!(picture(&state), picture(&state), "drawing changes nothing");
    if !desk.replaced {
        while state.history.undo(&mut state.opened.session).is_some() {}
        assert_eq!(*state.session(), before, "undoing everything");
    }
}

fn sound(state: &State) {
    assert!(state.cursor_s.is_finite());
    assert!(state.shown.duration_s() > 0.0, "{:?}", state.shown);
    assert!(
        state.brush.window.is_none_or(|w| w.from_s <= w.to_s),
        "{:?}",
        state.brush
    );
    let segments = state.session().segments.len();
    assert!(state.selected.is_none_or(|index| index < segments));
    assert_eq!(state.lines.len(), segments);
}

fn picture(state: &State) -> Buffer {
    let area = Rect::new(0, 0, state.size.0, state.size.1);
    let mut buffer = Buffer::empty(area);
    draw(state, area, &mut buffer);
    for cell in &buffer.content {
        assert!(
            !cell.symbol().chars().any(harmful),
            "{:?} is on the screen",
            cell.symbol()
        );
    }
    buffer
}

fn harmful(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}')
}

/// Whoever performs the effects: never the disk.
struct Desk {
    fails: bool,
    answers: usize,
    replaced: bool,
}

impl Desk {
    fn settle(&mut self, state: &mut State, action: Action) {
        let mut reports = vec![action];
        while let Some(action) = reports.pop() {
            for effect in update(state, action) {
                reports.extend(self.perform(state, effect).map(Action::Report));
            }
        }
    }

    fn perform(&mut self, state: &State, effect: Effect) -> Option<Report> {
        if self.fails {
            return match effect {
                Effect::Journal { done, .. } => Some(Report::NotJournalled {
                    done,
                    why: "disk full".to_owned(),
                }),
                Effect::Save { over: false } => Some(Report::ChangedOutside),
                Effect::Write {
                    writing,
                    over: false,
                } => Some(Report::FileIsThere(writing)),
                Effect::Save { .. } | Effect::SaveAs(_) | Effect::Write { .. } | Effect::Reload => {
                    Some(Report::Failed("disk full".to_owned()))
                }
                _ => None,
            };
        }
        match effect {
            Effect::Journal { done, .. } => Some(Report::Journalled { done }),
            Effect::Save { .. } => Some(Report::Saved {
                file: "session.toml".into(),
            }),
            Effect::SaveAs(folder) => Some(Report::Saved { file: folder }),
            Effect::Write { writing, .. } => Some(Report::Wrote(writing)),
            Effect::Reload => {
                self.replaced = true;
                Some(Report::Reloaded(Box::new(state.saved.clone())))
            }
            Effect::Study(wanted) if self.answers < MOST_ANSWERS => {
                self.answers += 1;
                Some(Report::Studied(Box::new(worker::compute(*wanted))))
            }
            _ => None,
        }
    }
}

/// The workbench over four minutes with three streams, made once.
fn start(first: u8) -> State {
    static START: OnceLock<State> = OnceLock::new();
    let look = Look {
        depth: Depth::None,
        ground: Ground::Dark,
        ascii: false,
    };
    let mut state = START
        .get_or_init(|| State::new(ride(), look, Keymap::default(), (80, 24)))
        .clone();
    state.look.ascii = first & 1 != 0;
    if first & 2 != 0 {
        state.look.depth = Depth::True;
    }
    if first & 4 != 0 {
        state.has_folder = false;
    }
    if first & 8 != 0 {
        state.read_only = Some("another instance has it open".to_owned());
    }
    state.size = [(80, 24), (120, 40), (200, 60), (20, 5)][usize::from(first >> 4 & 3)];
    state
}

fn ride() -> OpenedSession {
    let mut session = Session {
        title: "Repair bench".to_owned(),
        ..Session::default()
    };
    let mut sources = Vec::new();
    for (index, role) in [Role::UnderTest, Role::Reference, Role::Reference]
        .into_iter()
        .enumerate()
    {
        let seconds = 240usize;
        let mut samples =
            Samples::new((0..seconds).map(|t| t as f64).collect()).expect("rising times");
        let level = |t: usize| match t {
            60..120 => 220.0,
            150..160 => 700.0,
            180..200 => 0.0,
            _ => 140.0,
        };
        let wobble = |t: usize| ((t * (7919 + index) % 13) as f64 - 6.0) * 0.5;
        let mut power: Vec<f64> = (0..seconds).map(|t| level(t) + wobble(t)).collect();
        power[20 * index..20 * index + 5].fill(f64::NAN);
        samples.set_column(Channel::Power, power);
        let cadence = (0..seconds).map(|t| 85.0 + (t * t % 7) as f64).collect();
        samples.set_column(Channel::Cadence, cadence);
        let label = ["trainer", "pedals", "crank"][index].to_owned();
        let recorded = RecordedStream {
            label: label.clone(),
            power_field: Some("power".to_owned()),
            sampling: Sampling::Regular,
            samples,
        };
        let recording = Recording::in_memory(&label, &label, TimeBase::Elapsed, vec![recorded]);
        let mut stream = Stream::new(label.clone(), label);
        stream.role = role;
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
