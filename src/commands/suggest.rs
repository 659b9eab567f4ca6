//! `truing suggest`: proposed segments, each with the reason.

use std::path::PathBuf;

use serde::Serialize;

use super::output::Printed;
use super::session_arg::unchanged;
use super::{Exit, Failure, Format, Output, open_session};
use crate::session::{Kind, OpenedSession, Segment, store};
use crate::suggest::{Basis, Evidence, Proposal, covers, proposals};
use crate::text::plural;
use crate::timeline::Aligned;

/// Propose segments from laps, workout steps, gear events and changes of power, each with the
/// reason.
///
/// Nothing is saved without --write, which adds the proposals that no tagged segment covers yet.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The session folder.
    session: PathBuf,
    /// Add the proposals to the session.
    #[arg(long)]
    write: bool,
    /// How the result is printed.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// Proposes, prints and, if asked, saves.
///
/// # Errors
/// [`Failure`] where the session cannot be used or saved.
pub fn run(arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    let opened = open_session(&arguments.session, output)?;
    let found = proposals(&Evidence::of(&Aligned::new(&opened)));
    output.print(found.as_slice(), arguments.format)?;
    if arguments.write {
        save(&opened, &found, output)?;
    }
    Ok(Exit::Done)
}

fn save(opened: &OpenedSession, found: &[Proposal], output: &mut Output) -> Result<(), Failure> {
    let stored = unchanged(opened)?;
    let mut session = stored.session.clone();
    let new: Vec<Segment> = found
        .iter()
        .map(|proposal| proposal.segment.clone())
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

/// A proposal as it is printed.
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
    proposals: Vec<Line<'a>>,
}

const HEADS: [&str; 6] = ["kind", "from_s", "to_s", "set_point_w", "basis", "reason"];

impl<'a> Line<'a> {
    fn of(proposal: &'a Proposal) -> Self {
        Self {
            kind: proposal.segment.kind,
            from_s: proposal.segment.from_s,
            to_s: proposal.segment.to_s,
            set_point_w: proposal.segment.set_point_w,
            basis: proposal.basis,
            reason: &proposal.reason,
        }
    }

    fn cells(&self) -> [String; 6] {
        [
            self.kind.word().to_owned(),
            format!("{:.0}", self.from_s),
            format!("{:.0}", self.to_s),
            self.set_point_w
                .map_or(String::new(), |w| format!("{w:.0}")),
            self.basis.word().to_owned(),
            self.reason.to_owned(),
        ]
    }
}

impl Printed for [Proposal] {
    fn text(&self) -> String {
        if self.is_empty() {
            return "Nothing to propose.".to_owned();
        }
        let lines = self.iter().map(|proposal| {
            let [kind, from_s, to_s, set_point, _, reason] = Line::of(proposal).cells();
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
            proposals: self.iter().map(Line::of).collect(),
        }
    }

    fn rows(&self) -> Vec<Vec<String>> {
        let rows = self.iter().map(|proposal| Line::of(proposal).cells());
        let rows = std::iter::once(HEADS.map(str::to_owned)).chain(rows);
        rows.map(Vec::from).collect()
    }
}
