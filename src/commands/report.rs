//! `truing report`: one self-contained page.

use std::path::PathBuf;

use super::output_file::{check, check_beside, write_file};
use super::{Exit, Failure, Output, open_session};
use crate::analysis::ride;
use crate::export::report::page;
use crate::timeline::Aligned;

/// Write one page: the answers first, then what they rest on, method, cautions and hashes.
///
/// The page holds all it needs: no script, nothing fetched. It reads in light and dark, on a phone and
/// by ear, and prints on a few sheets of A4. Where nothing is tagged it shows what is suggested.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The session folder.
    session: PathBuf,
    /// The page to write.
    #[arg(short, long, value_name = "FILE.html")]
    output: PathBuf,
    /// Every figure and picture of every segment as well, with formulas and sources.
    #[arg(long)]
    full: bool,
    /// Replace an existing file.
    #[arg(long)]
    force: bool,
}

/// Computes and writes.
///
/// # Errors
/// [`Failure`] where the session or the file cannot be used.
pub fn run(arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    check(&arguments.output)?;
    let opened = open_session(&arguments.session, output)?;
    check_beside(&arguments.output, &opened)?;
    let aligned = Aligned::new(&opened);
    let findings = ride::findings(&aligned);
    let page = page(&opened, &aligned, &findings, arguments.full).map_err(Failure::because)?;
    write_file(&arguments.output, page.as_bytes(), arguments.force, output)?;
    Ok(Exit::Done)
}
