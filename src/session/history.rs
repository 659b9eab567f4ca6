//! Undo and redo without limit: every edit keeps the state it replaced, and its name.

/// The past and the undone future of a value that somebody else holds.
#[derive(Clone, Debug, PartialEq)]
pub struct History<T> {
    past: Vec<Edit<T>>,
    future: Vec<Edit<T>>,
}

/// One edit: its name and the state on its other side.
#[derive(Clone, Debug, PartialEq)]
struct Edit<T> {
    name: String,
    other_side: T,
}

impl<T> Default for History<T> {
    fn default() -> Self {
        Self {
            past: Vec::new(),
            future: Vec::new(),
        }
    }
}

impl<T> History<T> {
    /// Records that the edit called `name` replaced `before`. What had been undone is forgotten.
    pub fn record(&mut self, name: impl Into<String>, before: T) {
        self.future.clear();
        self.past.push(Edit {
            name: name.into(),
            other_side: before,
        });
    }

    /// Undoes the last edit of `current`; returns its name, or `None` where there is none.
    pub fn undo(&mut self, current: &mut T) -> Option<&str> {
        Self::step(&mut self.past, &mut self.future, current)
    }

    /// Redoes the last undone edit of `current`; returns its name, or `None` where there is none.
    pub fn redo(&mut self, current: &mut T) -> Option<&str> {
        Self::step(&mut self.future, &mut self.past, current)
    }

    fn step<'a>(
        from: &mut Vec<Edit<T>>,
        onto: &'a mut Vec<Edit<T>>,
        current: &mut T,
    ) -> Option<&'a str> {
        let mut edit = from.pop()?;
        std::mem::swap(&mut edit.other_side, current);
        onto.push(edit);
        onto.last().map(|edit| edit.name.as_str())
    }

    /// Name of the edit that [`History::undo`] would undo.
    pub fn undo_name(&self) -> Option<&str> {
        self.past.last().map(|edit| edit.name.as_str())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_new_edit_forgets_what_was_undone() {
        let (mut history, mut state) = (History::default(), 1);
        history.record("one to two", std::mem::replace(&mut state, 2));
        assert_eq!(history.undo(&mut state), Some("one to two"));
        assert_eq!(state, 1);
        history.record("one to three", std::mem::replace(&mut state, 3));
        assert_eq!(history.redo(&mut state), None);
        assert_eq!(state, 3);
    }

    proptest! {
        #[test]
        fn undoing_all_then_redoing_all_comes_back(edits in prop::collection::vec(0u32..9, 0..40)) {
            let (mut history, mut state) = (History::default(), 0u32);
            let mut states = vec![state];
            for edit in &edits {
                let after = state * 10 % 977 + edit;
                history.record(format!("{edit}"), std::mem::replace(&mut state, after));
                states.push(state);
            }
            for wanted in states.iter().rev().skip(1) {
                prop_assert!(history.undo(&mut state).is_some());
                prop_assert_eq!(state, *wanted);
            }
            prop_assert!(history.undo(&mut state).is_none());
            for wanted in states.iter().skip(1) {
                prop_assert!(history.redo(&mut state).is_some());
                prop_assert_eq!(state, *wanted);
            }
            prop_assert!(history.redo(&mut state).is_none());
        }
    }
}
