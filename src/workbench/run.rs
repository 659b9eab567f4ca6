//! The loop: events become actions, `update` changes the state, effects are performed and report
//! back, and only then the screen is drawn.

use std::collections::VecDeque;
use std::io;
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::thread;
use std::time::{Duration, Instant};

use crossterm::event::{
    self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers, MouseButton, MouseEventKind,
};

use super::draw;
use super::effects::Effects;
use super::keymap::{Code, Key};
use super::state::State;
use super::terminal::{Screen, Signals, TerminalError};
use super::update::{Action, Effect, Mouse, MouseEvent, update};

/// How long to wait for a key before signals are looked at.
const PATIENCE: Duration = Duration::from_millis(100);

/// The same while something is computed aside.
const WHILE_BUSY: Duration = Duration::from_millis(15);

/// The same for events after the first one: those of one burst are drawn once.
const AT_ONCE: Duration = Duration::from_micros(100);

/// How often the session file is looked at.
const LOOKS_EVERY: Duration = Duration::from_secs(2);

/// Most events taken before the screen is drawn.
const MOST_EVENTS: usize = 64;

/// Runs the workbench until it is left.
///
/// # Errors
/// [`TerminalError`]; the terminal is then as it was.
pub fn run(state: &mut State, effects: &mut Effects) -> Result<(), TerminalError> {
    let signals = Signals::listen()?;
    let mut screen = Screen::take()?;
    let keyboard = Keyboard::listen()?;
    let mut looked = Instant::now();
    let mut known = None;
    loop {
        let (columns, rows) = screen.size()?;
        if known != Some((columns, rows)) {
            known = Some((columns, rows));
            let resized = VecDeque::from([Action::Resize(columns, rows)]);
            settle(state, effects, &mut screen, resized)?;
        }
        screen.draw((columns, rows), |area, buffer| {
            draw::draw(state, area, buffer)
        })?;
        let mut actions = VecDeque::new();
        while actions.is_empty() {
            if signals.ended() {
                return Ok(());
            }
            if signals.stopped() {
                screen.suspend()?;
                break;
            }
            let patience = if effects.worker.is_busy() {
                WHILE_BUSY
            } else {
                PATIENCE
            };
            actions.extend(keyboard.actions(patience)?);
            actions.extend(effects.worker.reports().map(Action::Report));
            if looked.elapsed() >= LOOKS_EVERY {
                looked = Instant::now();
                actions.extend(effects.notice_change().map(Action::Report));
            }
        }
        if !settle(state, effects, &mut screen, actions)? {
            return Ok(());
        }
    }
}

/// Takes actions, and the reports of their effects, until there are none left; `false` to leave.
fn settle(
    state: &mut State,
    effects: &mut Effects,
    screen: &mut Screen,
    mut actions: VecDeque<Action>,
) -> io::Result<bool> {
    while let Some(action) = actions.pop_front() {
        for effect in update(state, action) {
            match effect {
                Effect::Quit => return Ok(false),
                Effect::Suspend => screen.suspend()?,
                Effect::Redraw => screen.forget(),
                Effect::CaptureMouse(capture) => screen.capture_mouse(capture)?,
                other => {
                    // A report concerns the edit just made: it is heard before the next action.
                    let report = effects.perform(&other, state).map(Action::Report);
                    if let Some(report) = report {
                        actions.push_front(report);
                    }
                }
            }
        }
    }
    Ok(true)
}

/// Events of the terminal, read by a thread of their own: half of an escape sequence is waited for
/// until the other half comes, and meanwhile the loop must hear a signal that ends it.
struct Keyboard {
    events: Receiver<io::Result<Event>>,
}

impl Keyboard {
    fn listen() -> io::Result<Self> {
        let (send, events) = channel();
        thread::Builder::new()
            .name("keyboard".to_owned())
            .spawn(move || {
                loop {
                    let event = event::read();
                    let last = event.is_err();
                    if send.send(event).is_err() || last {
                        return;
                    }
                }
            })?;
        Ok(Self { events })
    }

    /// The actions of the events that are there, waiting for the first one.
    fn actions(&self, patience: Duration) -> io::Result<Vec<Action>> {
        let mut actions = Vec::new();
        let mut wait = patience;
        while actions.len() < MOST_EVENTS {
            match self.events.recv_timeout(wait) {
                Ok(event) => actions.extend(action_of(event?)),
                Err(RecvTimeoutError::Timeout) => break,
                Err(RecvTimeoutError::Disconnected) => {
                    return Err(io::Error::other("its keys cannot be read any more"));
                }
            }
            wait = AT_ONCE;
        }
        Ok(actions)
    }
}

fn action_of(event: Event) -> Option<Action> {
    match event {
        Event::Key(key) if key.kind != KeyEventKind::Release => key_of(key).map(Action::Key),
        Event::Paste(text) => Some(Action::Paste(text)),
        Event::Resize(columns, rows) => Some(Action::Resize(columns, rows)),
        Event::Mouse(mouse) => {
            let event = match mouse.kind {
                MouseEventKind::Down(MouseButton::Left) => MouseEvent::Press,
                MouseEventKind::Drag(MouseButton::Left) => MouseEvent::Drag,
                MouseEventKind::Up(MouseButton::Left) => MouseEvent::Release,
                MouseEventKind::ScrollUp => MouseEvent::WheelUp,
                MouseEventKind::ScrollDown => MouseEvent::WheelDown,
                _ => return None,
            };
            Some(Action::Mouse(Mouse {
                event,
                column: mouse.column,
                row: mouse.row,
            }))
        }
        _ => None,
    }
}

/// A key press in this program's terms: shift belongs to the character where there is one.
fn key_of(event: KeyEvent) -> Option<Key> {
    let shift = event.modifiers.contains(KeyModifiers::SHIFT);
    let ctrl = event.modifiers.contains(KeyModifiers::CONTROL);
    let alt = event.modifiers.contains(KeyModifiers::ALT);
    let name = match event.code {
        KeyCode::Char(c) => {
            let upper = shift && c.is_ascii_lowercase();
            let c = if upper { c.to_ascii_uppercase() } else { c };
            return Some(Key {
                code: Code::Char(c),
                ctrl,
                alt,
                shift: false,
            });
        }
        KeyCode::F(n) => {
            return Some(Key {
                code: Code::F(n),
                ctrl,
                alt,
                shift,
            });
        }
        KeyCode::Left => "left",
        KeyCode::Right => "right",
        KeyCode::Up => "up",
        KeyCode::Down => "down",
        KeyCode::Home => "home",
        KeyCode::End => "end",
        KeyCode::PageUp => "pageup",
        KeyCode::PageDown => "pagedown",
        KeyCode::Enter => "enter",
        KeyCode::Esc => "esc",
        KeyCode::Tab | KeyCode::BackTab => "tab",
        KeyCode::Backspace => "backspace",
        KeyCode::Delete => "delete",
        KeyCode::Insert => "insert",
        _ => return None,
    };
    let shift = shift || event.code == KeyCode::BackTab;
    Key::named(name).map(|key| Key {
        ctrl,
        alt,
        shift,
        ..key
    })
}
