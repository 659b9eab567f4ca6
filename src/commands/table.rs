//! `truing table`: the tagged segments with their figures.

use std::path::PathBuf;

use serde::Serialize;

use super::output::Printed;
use super::{Exit, Failure, Format, Output, open_session};
use crate::analysis::questions::Findings;
use crate::analysis::ride::findings;
use crate::analysis::table::{Table, table_with};
use crate::export::table as export;
use crate::suggest::answered;
use crate::timeline::Aligned;

/// Print the tagged segments: a row a segment and source, with what a tester reads.
///
/// With `--full` every figure: CSV and Markdown then carry the same ones, one row a segment and pair
/// of streams; in CSV the figures of a segment stand in each of its rows, lists are joined by
/// "; ", and what does not apply is empty. JSON always carries every figure with every digit.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The session folder.
    #[arg(required_unless_present = "columns")]
    session: Option<PathBuf>,
    /// The shape of the table.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
    /// Every figure, not only what a tester reads first.
    #[arg(long)]
    full: bool,
    /// Print what each CSV column holds instead, as CSV (with `--full`, those of the full table).
    #[arg(long)]
    columns: bool,
}

/// Computes and prints.
///
/// # Errors
/// [`Failure`] where the session cannot be opened.
pub fn run(arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    if arguments.columns {
        let guide = if arguments.full {
            export::column_guide()
        } else {
            export::short_column_guide()
        };
        output.result(&guide)?;
        return Ok(Exit::Done);
    }
    let Some(session) = &arguments.session else {
        return Err(Failure::Usage("name a session folder".to_owned()));
    };
    let opened = open_session(session, output)?;
    let aligned = Aligned::new(&opened);
    let found = findings(&aligned);
    let table = table_with(&opened.session, &aligned, &found);
    if arguments.full {
        output.print(&table, arguments.format)?;
    } else {
        let answers = answered(&opened.session, &aligned, &found, &table);
        let short = Short {
            table: &table,
            answers: &answers,
        };
        output.print(&short, arguments.format)?;
    }
    Ok(Exit::Done)
}

/// The short table; its JSON is the whole one.
struct Short<'a> {
    table: &'a Table,
    answers: &'a Findings,
}

impl Printed for Short<'_> {
    fn text(&self) -> String {
        export::short_text(self.table, self.answers)
    }

    fn json(&self) -> impl Serialize {
        self.table
    }

    fn rows(&self) -> Vec<Vec<String>> {
        let grid = export::short_grid(self.table, self.answers);
        let heads = grid.heads.iter().map(|head| head.name.clone()).collect();
        std::iter::once(heads).chain(grid.rows).collect()
    }

    fn csv(&self) -> String {
        export::short_csv(self.table, self.answers)
    }

    fn markdown(&self) -> String {
        export::short_markdown(self.table, self.answers)
    }
}

impl Printed for Table {
    fn text(&self) -> String {
        export::text(self)
    }

    fn json(&self) -> impl Serialize {
        self
    }

    fn rows(&self) -> Vec<Vec<String>> {
        export::lines(self)
    }

    fn csv(&self) -> String {
        export::csv(self)
    }

    fn markdown(&self) -> String {
        export::markdown(self)
    }
}
