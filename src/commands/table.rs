//! `truing table`: the tagged segments with their figures.

use std::path::PathBuf;

use serde::Serialize;

use super::output::Printed;
use super::{Exit, Failure, Format, Output, open_session};
use crate::analysis::table::{Table, table};
use crate::export::table as export;
use crate::timeline::Aligned;

/// Print the tagged segments with their figures.
///
/// JSON carries every digit. CSV and Markdown carry the same figures, one row a segment and pair
/// of streams; in CSV the figures of a segment stand in each of its rows, lists are joined by
/// "; ", and what does not apply is empty.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The session folder.
    #[arg(required_unless_present = "columns")]
    session: Option<PathBuf>,
    /// The shape of the table.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
    /// Print what each CSV column holds instead, as CSV.
    #[arg(long)]
    columns: bool,
}

/// Computes and prints.
///
/// # Errors
/// [`Failure`] where the session cannot be opened.
pub fn run(arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    if arguments.columns {
        output.result(&export::column_guide())?;
        return Ok(Exit::Done);
    }
    let Some(session) = &arguments.session else {
        return Err(Failure::Usage("name a session folder".to_owned()));
    };
    let opened = open_session(session, output)?;
    let table = table(&opened.session, &Aligned::new(&opened));
    output.print(&table, arguments.format)?;
    Ok(Exit::Done)
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
