//! `truing findings`: every question of a tester, one line each.

use std::path::PathBuf;

use serde::Serialize;

use super::output::Printed;
use super::{Exit, Failure, Format, Output, open_session};
use crate::analysis::questions::Findings;
use crate::analysis::{ride, table::table_with};
use crate::export::findings;
use crate::suggest::answered;
use crate::text::csv;
use crate::timeline::Aligned;

/// Answer every question of a tester in one line each.
///
/// The headline names every fault. Each question is fine (✓), a fault (✗), open (?, with what would
/// tell) or not ridden (·, with what to ride). A limit is the claim, or a default that is named with its
/// source, or what `[limits]` in session.toml says, for example `follow_s = 4`. A ride without segments
/// is answered from what `truing suggest` finds, and says so.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The session folder.
    session: PathBuf,
    /// Exit with code 3 where any question has a fault.
    #[arg(long)]
    strict: bool,
    /// How the result is printed.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// Answers and prints.
///
/// # Errors
/// [`Failure`] where the session cannot be used or stdout cannot be written.
pub fn run(arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    let opened = open_session(&arguments.session, output)?;
    let aligned = Aligned::new(&opened);
    let found = ride::findings(&aligned);
    let table = table_with(&opened.session, &aligned, &found);
    let answers = answered(&opened.session, &aligned, &found, &table);
    output.print(&answers, arguments.format)?;
    if arguments.strict && answers.has_fault() {
        return Ok(Exit::DoesNotConform);
    }
    Ok(Exit::Done)
}

impl Printed for Findings {
    fn text(&self) -> String {
        findings::text(self)
    }

    fn json(&self) -> impl Serialize {
        self
    }

    fn rows(&self) -> Vec<Vec<String>> {
        let heads = findings::HEADS.map(str::to_owned);
        let rows = std::iter::once(heads).chain(findings::rows(self));
        rows.map(Vec::from).collect()
    }

    fn csv(&self) -> String {
        csv(self.rows())
    }

    fn markdown(&self) -> String {
        findings::markdown(self)
    }
}
