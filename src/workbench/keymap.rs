//! Keys: their names, and which entry of the action table each stands for.

use std::collections::HashMap;
use std::fmt;

use super::action::{Command, Entry, Place, TABLE};

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

/// Which key does what.
#[derive(Clone, Debug, PartialEq)]
pub struct Keymap {
    /// Keys of each entry of [`TABLE`], in its order.
    keys: Vec<Vec<Key>>,
    /// Index into [`TABLE`] by place and key.
    by_key: HashMap<(Place, Key), usize>,
}

impl Default for Keymap {
    /// The keys of the table.
    fn default() -> Self {
        let keys = TABLE
            .iter()
            .map(|entry| {
                entry
                    .keys
                    .iter()
                    .filter_map(|key| Key::parse(key))
                    .collect()
            })
            .collect();
        let mut keymap = Self {
            keys,
            by_key: HashMap::new(),
        };
        keymap.by_key = keymap.index().0;
        keymap
    }
}

impl Keymap {
    /// The keys of the table, with those of some actions (by name) replaced.
    ///
    /// What cannot be used is left as it was and told.
    pub fn rebound(changes: &[(String, Vec<String>)]) -> (Self, Vec<KeymapError>) {
        let mut keymap = Self::default();
        let mut errors = Vec::new();
        for (action, keys) in changes {
            let Some(place) = TABLE.iter().position(|entry| entry.name == action) else {
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
            let leaves = matches!(TABLE[place].command, Command::Close | Command::Quit);
            if leaves && parsed.is_empty() {
                errors.push(KeymapError::NoWayOut(action.clone()));
                continue;
            }
            keymap.keys[place] = parsed.into_iter().flatten().collect();
        }
        let (by_key, conflicts) = keymap.index();
        if conflicts.is_empty() {
            keymap.by_key = by_key;
            return (keymap, errors);
        }
        errors.extend(conflicts);
        (Self::default(), errors)
    }

    fn index(&self) -> (HashMap<(Place, Key), usize>, Vec<KeymapError>) {
        let mut by_key: HashMap<(Place, Key), usize> = HashMap::new();
        let mut conflicts = Vec::new();
        for (index, (entry, keys)) in TABLE.iter().zip(&self.keys).enumerate() {
            for key in keys {
                // A view's own keys may not hide those of every view.
                let rivals: &[Place] = match entry.place {
                    Place::In(_) => &[entry.place, Place::Study, Place::Any],
                    _ => &[entry.place],
                };
                let taken = rivals.iter().find_map(|place| by_key.get(&(*place, *key)));
                match taken {
                    Some(other) => conflicts.push(KeymapError::Conflict {
                        key: key.to_string(),
                        one: TABLE[*other].name.to_owned(),
                        other: entry.name.to_owned(),
                    }),
                    None => {
                        by_key.insert((entry.place, *key), index);
                    }
                }
            }
        }
        (by_key, conflicts)
    }

    /// The entry that `key` stands for where `places` are looked up in turn.
    pub fn look_up(&self, places: &[Place], key: Key) -> Option<&'static Entry> {
        let found = places
            .iter()
            .find_map(|place| self.by_key.get(&(*place, key)))?;
        TABLE.get(*found)
    }

    /// The keys of an entry.
    pub fn keys_of(&self, entry: &Entry) -> &[Key] {
        TABLE
            .iter()
            .position(|other| other.name == entry.name)
            .and_then(|index| self.keys.get(index))
            .map_or(&[], Vec::as_slice)
    }

    /// The table of all keys, as Markdown: what README shows and `truing keys` prints.
    pub fn to_markdown(&self) -> String {
        let mut out = String::new();
        for place in Place::ALL {
            out.push_str(&format!("\n**{}**\n\n", place.title()));
            out.push_str("| keys | does | name for rebinding |\n| --- | --- | --- |\n");
            for (entry, keys) in TABLE.iter().zip(&self.keys) {
                if entry.place != *place {
                    continue;
                }
                let keys: Vec<String> = keys
                    .iter()
                    .map(|key| format!("`{}`", key.to_string().replace('|', "\\|")))
                    .collect();
                out.push_str(&format!(
                    "| {} | {} | `{}` |\n",
                    keys.join(" "),
                    entry.doc,
                    entry.name
                ));
            }
        }
        out.trim_start().to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    #[test]
    fn every_default_key_is_a_key_and_reads_back() {
        for entry in TABLE {
            assert!(!entry.keys.is_empty(), "{} has no key", entry.name);
            for text in entry.keys {
                let key = Key::parse(text).unwrap_or_else(|| panic!("{}: {text}", entry.name));
                assert_eq!(key.to_string(), *text, "{}", entry.name);
            }
        }
    }

    #[test]
    fn no_key_means_two_things_and_no_name_is_used_twice() {
        assert_eq!(Keymap::default().index().1, []);
        let names: HashSet<&str> = TABLE.iter().map(|entry| entry.name).collect();
        assert_eq!(names.len(), TABLE.len());
    }

    #[test]
    fn every_place_has_keys_and_a_way_out() {
        for place in Place::ALL {
            assert!(TABLE.iter().any(|entry| entry.place == *place), "{place:?}");
        }
        for entry in TABLE {
            assert!(Place::ALL.contains(&entry.place), "{}", entry.name);
            assert!(
                !entry.doc.is_empty() && !entry.brief.is_empty(),
                "{}",
                entry.name
            );
        }
    }

    #[test]
    fn rebinding_replaces_reports_and_refuses_conflicts() {
        let change = |name: &str, keys: &[&str]| {
            let keys = keys.iter().map(|key| (*key).to_owned()).collect();
            (name.to_owned(), keys)
        };
        let (keymap, errors) = Keymap::rebound(&[change("undo", &["ctrl-u", "U"])]);
        assert_eq!(errors, []);
        let found = keymap.look_up(&[Place::Any], Key::char('U'));
        assert_eq!(found.map(|entry| entry.name), Some("undo"));
        assert!(keymap.look_up(&[Place::Any], Key::char('u')).is_none());

        let (keymap, errors) = Keymap::rebound(&[change("undo", &["r"])]);
        assert_eq!(
            errors,
            [KeymapError::Conflict {
                key: "r".into(),
                one: "undo".into(),
                other: "redo".into()
            }]
        );
        assert_eq!(keymap, Keymap::default());

        let (_, errors) = Keymap::rebound(&[change("fly", &["f"]), change("undo", &["hyper-u"])]);
        assert_eq!(errors.len(), 2);
    }

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
