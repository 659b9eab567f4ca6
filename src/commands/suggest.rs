//! `truing suggest`: suggested segments, each with its reason.

use std::path::PathBuf;

use serde::Serialize;

use super::output::Printed;
use super::session_arg::unchanged;
use super::{Exit, Failure, Format, Output, open_session};
use crate::session::{Kind, OpenedSession, Segment, store};
use crate::suggest::{Basis, Evidence, Suggestion, covers, suggestions};
use crate::text::{plural, word_of};
use crate::timeline::Aligned;

/// Suggest segments from laps, workout steps, gear events and changes of power, each with the
/// reason.
///
/// Nothing is saved without --write, which adds the suggestions that no tagged segment covers yet.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The session folder.
    session: PathBuf,
    /// Add the suggestions to the session.
    #[arg(long)]
    write: bool,
    /// How the result is printed.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// Suggests, prints and, if asked, saves.
///
/// # Errors
/// [`Failure`] where the session cannot be used or saved.
pub fn run(arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    let opened = open_session(&arguments.session, output)?;
    let found = suggestions(&Evidence::of(&Aligned::new(&opened)));
    output.print(found.as_slice(), arguments.format)?;
    if arguments.write {
        save(&opened, &found, output)?;
    }
    Ok(Exit::Done)
}

fn save(opened: &OpenedSession, found: &[Suggestion], output: &mut Output) -> Result<(), Failure> {
    let stored = unchanged(opened)?;
    let mut session = stored.session.clone();
    let new: Vec<Segment> = found
        .iter()
        .map(|suggestion| suggestion.segment.clone())
        .filter(|segment| {
            !session
                .segments
                .iter()
                .any(|tagged| covers(tagged, segment))
        })
        .collect();
    if new.is_empty() {
        output.message("truing: no new segment; nothing was written");
        return Ok(());
    }
    let count = new.len();
    session.segments.extend(new);
    session.sort_segments();
    opened.note_in(&mut session);
    store::save(&opened.folder, &session, Some(&stored.fingerprint)).map_err(Failure::because)?;
    output.message(&format!("truing: added {}", plural(count, "segment")));
    Ok(())
}

/// A suggestion as it is printed.
#[derive(Serialize)]
struct Line<'a> {
    kind: Kind,
    from_s: f64,
    to_s: f64,
    set_point_w: Option<f64>,
    basis: Basis,
    reason: &'a str,
}

#[derive(Serialize)]
struct Document<'a> {
    #[serde(rename = "proposals")]
    suggestions: Vec<Line<'a>>,
}

const HEADS: [&str; 6] = ["kind", "from_s", "to_s", "set_point_w", "basis", "reason"];

impl<'a> Line<'a> {
    fn of(suggestion: &'a Suggestion) -> Self {
        Self {
            kind: suggestion.segment.kind,
            from_s: suggestion.segment.from_s,
            to_s: suggestion.segment.to_s,
            set_point_w: suggestion.segment.set_point_w,
            basis: suggestion.basis,
            reason: &suggestion.reason,
        }
    }

    fn cells(&self) -> [String; 6] {
        [
            self.kind.word().to_owned(),
            format!("{:.0}", self.from_s),
            format!("{:.0}", self.to_s),
            self.set_point_w
                .map_or(String::new(), |w| format!("{w:.0}")),
            word_of(&self.basis),
            self.reason.to_owned(),
        ]
    }
}

impl Printed for [Suggestion] {
    fn text(&self) -> String {
        if self.is_empty() {
            return "Nothing to suggest.".to_owned();
        }
        let lines = self.iter().map(|suggestion| {
            let [kind, from_s, to_s, set_point, _, reason] = Line::of(suggestion).cells();
            let set_point = if set_point.is_empty() {
                String::new()
            } else {
                format!("{set_point} W")
            };
            format!("{from_s:>6} to {to_s:>6} s  {kind:<12} {set_point:>6}  {reason}\n")
        });
        lines.collect()
    }

    fn json(&self) -> impl Serialize {
        Document {
            suggestions: self.iter().map(Line::of).collect(),
        }
    }

    fn rows(&self) -> Vec<Vec<String>> {
        let rows = self.iter().map(|suggestion| Line::of(suggestion).cells());
        let rows = std::iter::once(HEADS.map(str::to_owned)).chain(rows);
        rows.map(Vec::from).collect()
    }
}
