//! A ride in memory and a keyboard, for the tests of the workbench.

use crate::analysis::bench::{Ridden, session_of};
use crate::recording::Channel;
use crate::session::Role;

use super::keymap::{Key, Keymap};
use super::state::State;
use super::theme::{Depth, Ground, Look};
use super::update::{Action, Effect, Report, update};
use super::worker;

/// Half an hour: a steady block at 200 W from 1:00 to 6:00, a sprint at 10:00 for 15 s, a coast,
/// steps. The source under test reads 3 % high; the second reference has a gap of 10 s.
pub fn ride() -> crate::session::OpenedSession {
    let seconds = 1800;
    let rider = |t: usize| -> f64 {
        let wobble = ((t * 7919 % 13) as f64 - 6.0) * 0.5;
        match t {
            60..360 => 200.0 + wobble,
            600..615 => 800.0 - 10.0 * (t - 600) as f64 + wobble,
            700..760 => 0.0,
            900..1500 => 150.0 + 25.0 * ((t - 900) / 100) as f64 + wobble,
            _ => 120.0 + wobble,
        }
    };
    let power = |gain: f64, salt: usize| -> Vec<f64> {
        let noise = |t: usize| ((t * salt % 11) as f64 - 5.0) * 0.4;
        (0..seconds)
            .map(|t| (rider(t) * gain + noise(t)).max(0.0).round())
            .collect()
    };
    let cadence: Vec<f64> = (0..seconds)
        .map(|t| {
            if (700..760).contains(&t) {
                0.0
            } else {
                88.0 + without_period(t) as f64
            }
        })
        .collect();
    let mut crank = power(0.995, 104_729);
    crank[1000..1010].fill(f64::NAN);
    let stream = |label, role, claim_percent, power: Vec<f64>| Ridden {
        label,
        role,
        claim_percent,
        channels: vec![(Channel::Power, power), (Channel::Cadence, cadence.clone())],
    };
    let mut opened = session_of(vec![
        stream("trainer", Role::UnderTest, Some(2.0), power(1.03, 7907)),
        stream("pedals", Role::Reference, Some(1.0), power(1.0, 15_485_863)),
        stream("crank", Role::Reference, Some(1.5), crank),
    ]);
    opened.session.title = "Bench ride".to_owned();
    opened
}

/// 0 to 4 in an order that never repeats: a cadence that did would fit itself at many delays, and
/// no clock could be told by it.
fn without_period(t: usize) -> u64 {
    let mut mixed = (t as u64 + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    for shift in [30, 27, 31] {
        mixed = (mixed ^ (mixed >> shift)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    }
    (mixed >> 32) % 5
}

/// Without colours, in Unicode.
pub const PLAIN: Look = Look {
    depth: Depth::None,
    ground: Ground::Dark,
    ascii: false,
};

/// The workbench over [`ride`].
pub fn state_at(size: (u16, u16), look: Look) -> State {
    searched(State::new(ride(), look, Keymap::default(), size))
}

/// A workbench with its ride searched, as it is soon after opening.
pub fn searched(mut state: State) -> State {
    let (columns, rows) = state.size;
    let effects = update(&mut state, Action::Resize(columns, rows));
    perform(&mut state, effects);
    state
}

/// Journals edits; returns every other effect.
fn journal(state: &mut State, effects: Vec<Effect>) -> Vec<Effect> {
    let mut others = Vec::new();
    for effect in effects {
        if let Effect::Journal { done, .. } = effect {
            let effects = update(state, Action::Report(Report::Journalled { done }));
            others.extend(journal(state, effects));
        } else {
            others.push(effect);
        }
    }
    others
}

/// Computes what is wanted last, until nothing more is; returns every other effect.
fn perform(state: &mut State, effects: Vec<Effect>) -> Vec<Effect> {
    let mut others = Vec::new();
    let mut effects = journal(state, effects);
    loop {
        let mut wanted = None;
        for effect in effects.drain(..) {
            match effect {
                Effect::Study(last) => wanted = Some(last),
                other => others.push(other),
            }
        }
        let Some(wanted) = wanted else {
            return others;
        };
        let computed = Report::Studied(Box::new(worker::compute(*wanted)));
        let next = update(state, Action::Report(computed));
        effects = journal(state, next);
    }
}

/// The workbench over [`ride`] at 80×24 without colours.
pub fn state() -> State {
    state_at((80, 24), PLAIN)
}

/// Types keys, told apart by spaces as the configuration writes them. Edits are journalled, and what
/// is wanted after the last key is computed; every other effect is returned.
pub fn press(state: &mut State, keys: &str) -> Vec<Effect> {
    let mut effects = Vec::new();
    for word in keys.split_whitespace() {
        let key = Key::parse(word).unwrap_or_else(|| panic!("no key {word}"));
        let own = update(state, Action::Key(key));
        effects.extend(journal(state, own));
    }
    perform(state, effects)
}

/// Types text into a prompt.
pub fn type_text(state: &mut State, text: &str) {
    for c in text.chars() {
        update(state, Action::Key(Key::char(c)));
    }
}

/// The message shown.
pub fn message(state: &State) -> &str {
    let text = state
        .message
        .as_ref()
        .map_or("", |(message, _)| &message.text);
    // An edit says what it did by its name.
    text.strip_prefix("done: ").unwrap_or(text)
}
