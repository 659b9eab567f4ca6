//! What an action is, and what it may change.

use super::super::event::Effect;
use super::super::layout::Scroll;
use super::super::state::State;
use super::super::state::parts::Place;

/// One action: all there is to say about it, and what it does.
#[derive(Clone, Copy, Debug)]
pub struct Entry {
    /// Its name for the configuration file; unique.
    pub name: &'static str,
    /// Names it had before, which configuration files may still use.
    pub formerly: &'static [&'static str],
    /// One or two words for the status line.
    pub brief: &'static str,
    /// One line for the help screen.
    pub doc: &'static str,
    /// The keys it starts with, as [`super::super::keymap::Key`] writes them.
    pub keys: &'static [&'static str],
    /// Where it is offered.
    pub place: Place,
    /// Whether it leaves its place: without a key for it nobody could.
    pub leaves: bool,
    /// What it does.
    pub run: Run,
}

/// Does an action.
pub type Run = for<'a> fn(&mut Context<'a>);

/// What an action works on.
pub struct Context<'a> {
    /// What it changes.
    pub state: &'a mut State,
    /// What it asks the runner for.
    pub effects: &'a mut Vec<Effect>,
    /// Every action, for the list of actions.
    pub table: &'static [Entry],
    /// What there is to scroll.
    pub scroll: fn(&State) -> Option<Scroll>,
}

impl Entry {
    /// Whether its name or description holds every one of these words, in lower case.
    pub fn has(&self, words: &[&str]) -> bool {
        let text = format!("{} {} {}", self.name, self.brief, self.doc).to_lowercase();
        words.iter().all(|word| text.contains(word))
    }
}

/// The actions that can be done from any view, whose name or description holds every typed word.
pub fn found(table: &'static [Entry], typed: &str) -> Vec<&'static Entry> {
    let typed = typed.to_lowercase();
    let words: Vec<&str> = typed.split_whitespace().collect();
    let offered = |entry: &&Entry| match entry.place {
        Place::Any => entry.name != super::names::FIND_ACTION,
        Place::In(_) => true,
        Place::ViewMenu
        | Place::TagMenu
        | Place::LandmarkMenu
        | Place::CopyMenu
        | Place::WriteMenu => !entry.leaves,
        _ => false,
    };
    let fits = |entry: &&Entry| entry.has(&words);
    table.iter().filter(offered).filter(fits).collect()
}
