//! The file in which keys are bound anew: `keys.toml` in the user's configuration directory.
//!
//! Each line names an action as `truing keys` lists it, and its keys, which replace those it
//! starts with: `undo = ["u", "ctrl-u"]`, `save = "f2"`, `suspend = []`. A file that cannot be used
//! in whole or in part is reported and never keeps the workbench from opening.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use toml_edit::{DocumentMut, Item, Value};

use super::keymap::{Keymap, KeymapError};
use crate::session::files::regular_file;

/// Largest file read, bytes; the whole table of actions takes a tenth of it.
const MOST_BYTES: u64 = 1 << 17;

/// Why the file, or a line of it, cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum ConfigError {
    /// The file cannot be read.
    #[error("it cannot be read: {0}")]
    Unreadable(#[from] std::io::Error),
    /// It is too long to be what it is for.
    #[error("it is longer than {MOST_BYTES} bytes; it should only hold lines such as undo = \"u\"")]
    TooLong,
    /// It is no TOML.
    #[error("it is no TOML: {0}")]
    Syntax(String),
    /// A line is not a key or a list of keys.
    #[error("{0}: write a key or a list of keys, such as {0} = [\"u\", \"ctrl-u\"]")]
    NotKeys(String),
    /// The keys cannot be bound like that.
    #[error(transparent)]
    Keymap(#[from] KeymapError),
}

/// Where the file is looked for; `None` where the system names no home for the user.
pub fn keys_file() -> Option<PathBuf> {
    let directories = directories::ProjectDirs::from("", "", "truing")?;
    Some(directories.config_dir().join("keys.toml"))
}

/// The keys as the file at `path` binds them (those of the table where there is none), and what
/// could not be used of it.
pub fn keymap_from(path: &Path) -> (Keymap, Vec<ConfigError>) {
    match changes_in(path) {
        Ok((changes, mut errors)) => {
            let (keymap, refused) = Keymap::rebound(&changes);
            errors.extend(refused.into_iter().map(ConfigError::from));
            (keymap, errors)
        }
        Err(error) => (Keymap::default(), vec![error]),
    }
}

/// Names of actions with their new keys.
type Changes = Vec<(String, Vec<String>)>;

fn changes_in(path: &Path) -> Result<(Changes, Vec<ConfigError>), ConfigError> {
    let file = match regular_file(path).and_then(|_| File::open(path)) {
        Ok(file) => file,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Default::default()),
        Err(error) => return Err(error.into()),
    };
    let mut text = String::new();
    file.take(MOST_BYTES + 1).read_to_string(&mut text)?;
    if text.len() as u64 > MOST_BYTES {
        return Err(ConfigError::TooLong);
    }
    let document: DocumentMut = text.parse().map_err(|error: toml_edit::TomlError| {
        let reported = error.message().split_whitespace().collect::<Vec<_>>();
        let before = error.span().and_then(|span| text.get(..span.start));
        let line = before.map_or(1, |before| before.matches('\n').count() + 1);
        ConfigError::Syntax(format!("line {line}: {}", reported.join(" ")))
    })?;
    let mut changes = Changes::new();
    let mut errors = Vec::new();
    for (action, item) in document.iter() {
        match keys_in(item) {
            Some(keys) => changes.push((action.to_owned(), keys)),
            None => errors.push(ConfigError::NotKeys(action.to_owned())),
        }
    }
    Ok((changes, errors))
}

fn keys_in(item: &Item) -> Option<Vec<String>> {
    match item.as_value()? {
        Value::String(key) => Some(vec![key.value().clone()]),
        Value::Array(keys) => {
            let keys = keys.iter().map(|key| key.as_str().map(str::to_owned));
            keys.collect()
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::workbench::action::Place;
    use crate::workbench::keymap::Key;

    /// The name of the action that `key` stands for in every view, and what was told.
    fn bound(text: &[u8], key: &str) -> (Option<&'static str>, Vec<String>) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("keys.toml");
        std::fs::write(&path, text).unwrap();
        let (keymap, errors) = keymap_from(&path);
        let entry = keymap.look_up(&[Place::Any], Key::parse(key).unwrap());
        let errors = errors.iter().map(ToString::to_string).collect();
        (entry, errors)
    }

    #[test]
    fn keys_replace_those_of_the_table_one_or_many() {
        let text = b"# mine\nundo = [\"ctrl-u\", \"f9\"]\nsave = \"f2\"\nsuspend = []\n";
        for (key, action) in [
            ("ctrl-u", Some("undo")),
            ("f9", Some("undo")),
            ("u", None),
            ("f2", Some("save")),
            ("S", None),
            ("ctrl-z", None),
            ("q", Some("quit")),
        ] {
            assert_eq!(bound(text, key), (action, vec![]), "{key}");
        }
    }

    #[test]
    fn no_file_is_the_table() {
        let folder = tempfile::tempdir().unwrap();
        let (keymap, errors) = keymap_from(&folder.path().join("keys.toml"));
        assert_eq!(keymap, Keymap::default());
        assert!(errors.is_empty(), "{errors:?}");
    }

    #[test]
    fn what_cannot_be_used_is_told_and_the_rest_holds() {
        let text = b"fly = \"f\"\nredo = \"hyper-r\"\nquit = 7\nsave = \"f2\"\n";
        let (action, errors) = bound(text, "f2");
        assert_eq!(action, Some("save"));
        let parts = [
            "quit: write a key",
            "no action \u{201c}fly\u{201d}",
            "no key \u{201c}hyper-r",
        ];
        assert_eq!(errors.len(), parts.len(), "{errors:?}");
        for (error, part) in errors.iter().zip(parts) {
            assert!(error.contains(part), "{error}");
        }
        assert_eq!(bound(text, "q").0, Some("quit"));
    }

    #[test]
    fn a_conflict_or_garbage_leaves_the_table_as_it_is() {
        for (text, part) in [
            (
                b"undo = \"r\"".as_slice(),
                "the key r means both undo and redo",
            ),
            (b"quit = []", "quit: it needs a key"),
            (b"prompt-close = []", "prompt-close: it needs a key"),
            (b"\n\nundo = [\"u\"", "line 3"),
            (b"\xff\xfe\x00", "it cannot be read"),
            (&[b'#'; 200_000], "it is longer than"),
        ] {
            let (action, errors) = bound(text, "u");
            assert_eq!(action, Some("undo"));
            assert!(errors[0].contains(part), "{errors:?}");
        }
    }
}
