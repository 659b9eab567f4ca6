//! Keys: their names, and which action each stands for.

use std::collections::HashMap;
use std::fmt;

use super::state::parts::Place;

/// A key with its modifiers, as independent of the terminal as can be: shift is part of a
/// printed character, never beside it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Key {
    /// The key.
    pub code: Code,
    /// With the control key.
    pub ctrl: bool,
    /// With the alternate key.
    pub alt: bool,
    /// With shift; only for keys that print nothing.
    pub shift: bool,
}

/// A key without modifiers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Code {
    /// One that prints a character.
    Char(char),
    /// A function key.
    F(u8),
    /// One of `NAMED`.
    Named(&'static str),
}

/// Keys that print nothing: name, and how they are shown where more than ASCII may be.
const NAMED: &[(&str, &str)] = &[
    ("left", "←"),
    ("right", "→"),
    ("up", "↑"),
    ("down", "↓"),
    ("home", "Home"),
    ("end", "End"),
    ("pageup", "PgUp"),
    ("pagedown", "PgDn"),
    ("enter", "Enter"),
    ("esc", "Esc"),
    ("tab", "Tab"),
    ("backspace", "Backspace"),
    ("delete", "Del"),
    ("insert", "Ins"),
];

impl Key {
    /// A key that prints `c`.
    pub const fn char(c: char) -> Self {
        Self {
            code: Code::Char(c),
            ctrl: false,
            alt: false,
            shift: false,
        }
    }

    /// The key called `name`, one of those that print nothing.
    pub fn named(name: &str) -> Option<Self> {
        let (name, _) = NAMED.iter().find(|(known, _)| *known == name)?;
        Some(Self {
            code: Code::Named(name),
            ..Self::char(' ')
        })
    }

    /// Reads `ctrl-s`, `shift-left`, `?`, `space`, `f1` …
    pub fn parse(text: &str) -> Option<Self> {
        let mut key = Self::char(' ');
        let mut rest = text;
        loop {
            let mut stripped = false;
            for (prefix, flag) in [
                ("ctrl-", &mut key.ctrl),
                ("alt-", &mut key.alt),
                ("shift-", &mut key.shift),
            ] {
                if let Some(tail) = rest.strip_prefix(prefix).filter(|tail| !tail.is_empty()) {
                    *flag = true;
                    rest = tail;
                    stripped = true;
                }
            }
            if !stripped {
                break;
            }
        }
        let mut chars = rest.chars();
        key.code = match (chars.next()?, chars.next()) {
            (c, None) if !c.is_control() => Code::Char(c),
            _ if rest == "space" => Code::Char(' '),
            ('f', _) if rest[1..].parse::<u8>().is_ok_and(|n| (1..=24).contains(&n)) => {
                Code::F(rest[1..].parse().ok()?)
            }
            _ => Self::named(rest)?.code,
        };
        // A shifted character is another character.
        (!(key.shift && matches!(key.code, Code::Char(_)))).then_some(key)
    }

    /// The character typed, where the key types one.
    pub fn typed(self) -> Option<char> {
        match self.code {
            Code::Char(c) if !self.ctrl && !self.alt => Some(c),
            _ => None,
        }
    }

    /// As shown on the screen; arrows as such unless `ascii`.
    pub fn label(self, ascii: bool) -> String {
        let mut out = String::new();
        for (on, word) in [(self.ctrl, "Ctrl-"), (self.alt, "Alt-")] {
            if on {
                out.push_str(word);
            }
        }
        if self.shift {
            out.push_str(if ascii { "Shift-" } else { "⇧" });
        }
        match self.code {
            Code::Char(' ') => out.push_str("Space"),
            Code::Char(c) => out.push(c),
            Code::F(n) => out.push_str(&format!("F{n}")),
            Code::Named(name) => {
                let shown = NAMED.iter().find(|(known, _)| *known == name);
                match shown {
                    Some((_, symbol)) if !ascii || symbol.is_ascii() => out.push_str(symbol),
                    _ => {
                        let mut letters = name.chars();
                        out.extend(letters.next().map(|c| c.to_ascii_uppercase()));
                        out.extend(letters);
                    }
                }
            }
        }
        out
    }
}

impl fmt::Display for Key {
    /// As [`Key::parse`] reads it.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (on, word) in [
            (self.ctrl, "ctrl-"),
            (self.alt, "alt-"),
            (self.shift, "shift-"),
        ] {
            if on {
                f.write_str(word)?;
            }
        }
        match self.code {
            Code::Char(' ') => f.write_str("space"),
            Code::Char(c) => write!(f, "{c}"),
            Code::F(n) => write!(f, "f{n}"),
            Code::Named(name) => f.write_str(name),
        }
    }
}

/// Why a rebinding cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum KeymapError {
    /// No such action.
    #[error("there is no action “{0}”; `truing keys` lists them")]
    UnknownAction(String),
    /// No such key.
    #[error("{action}: there is no key “{key}”; write it like s, S, ctrl-s, shift-left, f5, space")]
    UnknownKey {
        /// The action.
        action: String,
        /// What was written.
        key: String,
    },
    /// Without a key for it nobody could leave.
    #[error("{0}: it needs a key, or there would be no way out; write {0} = \"f10\", say")]
    NoWayOut(String),
    /// Two actions in one place.
    #[error("the key {key} means both {one} and {other}; give one of them another key")]
    Conflict {
        /// The key.
        key: String,
        /// First action.
        one: String,
        /// Second action.
        other: String,
    },
}

/// The keys of one action.
#[derive(Clone, Debug, PartialEq)]
pub struct Bound {
    /// The action.
    pub name: &'static str,
    /// Names it had before.
    pub formerly: &'static [&'static str],
    /// Where it is offered.
    pub place: Place,
    /// Whether nobody could leave that place without it.
    pub leaves: bool,
    /// Its keys.
    pub keys: Vec<Key>,
}

/// Which key does what.
#[derive(Clone, Debug, PartialEq)]
pub struct Keymap {
    bound: Vec<Bound>,
    /// Index into `bound` by place and key.
    by_key: HashMap<(Place, Key), usize>,
    /// Index into `bound` by name: the keys shown are looked up at every frame.
    by_name: HashMap<&'static str, usize>,
}

impl Keymap {
    /// Of these actions. Of two with one key in one place the first has it.
    pub fn new(bound: Vec<Bound>) -> Self {
        let names = bound.iter().enumerate();
        Self {
            by_key: index(&bound).0,
            by_name: names.map(|(at, bound)| (bound.name, at)).collect(),
            bound,
        }
    }

    /// Gives some actions (by name) other keys. What cannot be used is left as it was and
    /// returned; where two actions would share a key, all of it.
    pub fn rebind(&mut self, changes: &[(String, Vec<String>)]) -> Vec<KeymapError> {
        let mut errors = Vec::new();
        let mut bound = self.bound.clone();
        for (action, keys) in changes {
            let is_it =
                |known: &&mut Bound| known.name == action || known.formerly.contains(&&**action);
            let Some(known) = bound.iter_mut().find(is_it) else {
                errors.push(KeymapError::UnknownAction(action.clone()));
                continue;
            };
            let parsed: Vec<Option<Key>> = keys.iter().map(|key| Key::parse(key)).collect();
            let unknown = parsed.iter().zip(keys).find(|(key, _)| key.is_none());
            if let Some((_, key)) = unknown {
                errors.push(KeymapError::UnknownKey {
                    action: action.clone(),
                    key: key.clone(),
                });
                continue;
            }
            if known.leaves && parsed.is_empty() {
                errors.push(KeymapError::NoWayOut(action.clone()));
                continue;
            }
            known.keys = parsed.into_iter().flatten().collect();
        }
        let (by_key, conflicts) = index(&bound);
        if conflicts.is_empty() {
            self.by_key = by_key;
            self.bound = bound;
        }
        errors.extend(conflicts);
        errors
    }

    /// The name of the action that `key` stands for where `places` are looked up in turn.
    pub fn look_up(&self, places: &[Place], key: Key) -> Option<&'static str> {
        let found = places
            .iter()
            .find_map(|place| self.by_key.get(&(*place, key)))?;
        Some(self.bound.get(*found)?.name)
    }

    /// The keys of an action.
    pub fn keys_of(&self, name: &str) -> &[Key] {
        let bound = self.by_name.get(name).and_then(|at| self.bound.get(*at));
        bound.map_or(&[], |bound| bound.keys.as_slice())
    }
}

fn index(all: &[Bound]) -> (HashMap<(Place, Key), usize>, Vec<KeymapError>) {
    let mut by_key: HashMap<(Place, Key), usize> = HashMap::new();
    let mut conflicts = Vec::new();
    for (at, bound) in all.iter().enumerate() {
        for key in &bound.keys {
            // A view's own keys may not hide those of every view.
            let rivals: &[Place] = match bound.place {
                Place::In(_) => &[bound.place, Place::Study, Place::Any],
                _ => &[bound.place],
            };
            let taken = rivals.iter().find_map(|place| by_key.get(&(*place, *key)));
            match taken {
                Some(other) => conflicts.push(KeymapError::Conflict {
                    key: key.to_string(),
                    one: all[*other].name.to_owned(),
                    other: bound.name.to_owned(),
                }),
                None => {
                    by_key.insert((bound.place, *key), at);
                }
            }
        }
    }
    (by_key, conflicts)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_are_ascii_on_demand() {
        let key = Key::parse("shift-left").unwrap();
        assert_eq!(key.label(false), "⇧←");
        assert_eq!(key.label(true), "Shift-Left");
        assert_eq!(Key::parse("ctrl-s").unwrap().label(true), "Ctrl-s");
        assert_eq!(Key::parse("-"), Some(Key::char('-')));
        assert_eq!(Key::parse("shift-a"), None);
    }
}
