//! Where a subcommand writes: results to stdout, messages to stderr.

use std::io::{self, BufWriter, IsTerminal as _, Write};

use clap::ValueEnum;
use serde::Serialize;

use super::Failure;
use crate::text::{Grid, Head, clean_lines, csv, is_unseen};

/// The shape of a printed table.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// Aligned columns for reading.
    #[default]
    Text,
    /// One JSON document.
    Json,
    /// RFC 4180 with a header line.
    Csv,
    /// A table for a page.
    Markdown,
}

/// The shape of a result that is no table.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum Shape {
    /// For reading.
    #[default]
    Text,
    /// One JSON document.
    Json,
}

/// What a subcommand prints, in every shape; those that it does not say follow from the rows.
pub(super) trait Printed {
    /// For reading.
    fn text(&self) -> String;

    /// The JSON document.
    fn json(&self) -> impl Serialize;

    /// Rows of cells, the heads first.
    fn rows(&self) -> Vec<Vec<String>>;

    /// RFC 4180, its lines ending as those of a terminal.
    fn csv(&self) -> String {
        csv(self.rows()).replace("\r\n", "\n")
    }

    /// A table for a page.
    fn markdown(&self) -> String {
        let mut rows = self.rows();
        let heads = rows.drain(..1.min(rows.len())).flatten();
        let heads: Vec<Head> = heads.map(|head| Head::text(&head)).collect();
        Grid::of(heads, rows).markdown()
    }
}

/// The two streams of a subcommand.
pub struct Output {
    results: BufWriter<io::Stdout>,
    messages: io::Stderr,
}

impl Output {
    /// Over the process's own streams.
    pub fn stdio() -> Self {
        Self {
            results: BufWriter::new(io::stdout()),
            messages: io::stderr(),
        }
    }

    /// Writes a result, without characters that would steer the terminal. A newline is added where
    /// the text has none at its end.
    ///
    /// # Errors
    /// [`Failure`] where stdout cannot be written.
    pub fn result(&mut self, text: &str) -> Result<(), Failure> {
        let newline = if text.ends_with('\n') || text.is_empty() {
            ""
        } else {
            "\n"
        };
        write!(self.results, "{}{newline}", clean_lines(text)).map_err(failed)
    }

    /// Writes rows that hold nothing but numbers and clean words, as they are.
    ///
    /// # Errors
    /// [`Failure`] where stdout cannot be written.
    pub fn rows(&mut self, text: &str) -> Result<(), Failure> {
        self.results.write_all(text.as_bytes()).map_err(failed)
    }

    /// Writes `found` in a shape.
    ///
    /// # Errors
    /// [`Failure`] where stdout cannot be written.
    pub(super) fn print(
        &mut self,
        found: &(impl Printed + ?Sized),
        format: Format,
    ) -> Result<(), Failure> {
        match format {
            Format::Text => self.result(&found.text()),
            Format::Json => self.json(&found.json()),
            Format::Csv => self.result(&found.csv()),
            Format::Markdown => self.result(&found.markdown()),
        }
    }

    /// Writes `value` as indented JSON; what a terminal would take for its own is escaped.
    ///
    /// # Errors
    /// [`Failure`] where stdout cannot be written.
    pub fn json(&mut self, value: &impl Serialize) -> Result<(), Failure> {
        let text = serde_json::to_string_pretty(value).map_err(Failure::because)?;
        self.result(&with_unseen_escaped(&text))
    }

    /// Tells the person at the keyboard something that is no result.
    pub fn message(&mut self, text: &str) {
        // Nothing can be told any more where stderr is closed.
        let _ = writeln!(self.messages, "{}", clean_lines(text));
    }

    /// Whether progress can be shown: stderr is a terminal.
    pub fn shows_progress(&self) -> bool {
        self.messages.is_terminal()
    }

    /// Flushes the results.
    ///
    /// # Errors
    /// [`Failure`] where stdout cannot be written.
    pub fn finish(&mut self) -> Result<(), Failure> {
        self.results.flush().map_err(failed)
    }
}

/// JSON with every character that is none to be seen written as `\uXXXX`; outside of strings there
/// is none but the line ends.
fn with_unseen_escaped(json: &str) -> String {
    let mut out = String::with_capacity(json.len());
    for c in json.chars() {
        if c == '\n' || !is_unseen(c) {
            out.push(c);
        } else {
            let mut units = [0; 2];
            for unit in c.encode_utf16(&mut units) {
                out.push_str(&format!("\\u{unit:04x}"));
            }
        }
    }
    out
}

fn failed(error: io::Error) -> Failure {
    match error.kind() {
        io::ErrorKind::BrokenPipe => Failure::NobodyReads,
        _ => Failure::CouldNot(format!("cannot write the result ({error})")),
    }
}
