//! `truing new`: a session folder from recordings.

use std::path::{Path, PathBuf};

use super::{Exit, Failure, Format, Output};
use crate::recording::Channel;
use crate::session::folder::create;
use crate::session::{OpenedSession, files, start};
use crate::text::clean_text;
use crate::text::plural;
use crate::timeline::align::{self, align_session};

/// Start a session: find the streams, guess roles, align the clocks, save.
///
/// The recordings are copied, so that the folder can be handed to anyone as it is. The source
/// under test is the trainer, where a name tells of one, else the first stream with power; say
/// otherwise with --under-test. Roles, sites and the claim can be changed afterwards in the
/// workbench or in session.toml.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// The session folder to create.
    folder: PathBuf,
    /// Recordings (FIT, CSV, TCX), one a recorder.
    #[arg(required = true)]
    recordings: Vec<PathBuf>,
    /// Label of the stream under test.
    #[arg(long, value_name = "LABEL")]
    under_test: Option<String>,
    /// Title of the session [default: the folder's name].
    #[arg(long)]
    title: Option<String>,
}

/// Reads, copies and saves.
///
/// # Errors
/// [`Failure`]; an existing session is never overwritten, and nothing is left of a new one.
pub fn run(arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    let folder = &arguments.folder;
    if files::file_of(folder).exists() {
        return Err(Failure::CouldNot(format!(
            "{}: there is a session already; choose another folder, or open it with `truing {}`",
            folder.display(),
            folder.display()
        )));
    }
    let parts = start::read_parts(&arguments.recordings).map_err(Failure::because)?;
    let title = arguments.title.clone().unwrap_or_else(|| title_of(folder));
    let mut opened = start::sketch(folder, &title, &parts, arguments.under_test.as_deref())
        .map_err(Failure::CouldNot)?;
    let clocks = align_session(&opened, align::Options::default());
    clocks.apply(&mut opened.session, |_| true);
    let names = parts.iter().map(|part| part.file.clone());
    let copies: Vec<_> = arguments.recordings.iter().cloned().zip(names).collect();
    let mut session = opened.session.clone();
    opened.note_in(&mut session);
    create(folder, &copies, &session).map_err(Failure::because)?;
    tell(&opened, output)?;
    let why = start::why_under_test(&opened.session, arguments.under_test.is_some());
    output.result(&why)?;
    output.result("Clocks against session time:")?;
    super::align::print(&clocks, Format::Text, output)?;
    output.result(
        "Claims: ±2 % is assumed for the source under test, and none is known for the references. \
         Set what their makers state (in the workbench, or as [claim] and claim_percent in \
         session.toml): without it no verdict can be given.",
    )?;
    output.result(&format!("Open it with `truing {}`.", folder.display()))?;
    Ok(Exit::Done)
}

fn title_of(folder: &Path) -> String {
    let full = std::path::absolute(folder).unwrap_or_else(|_| folder.to_owned());
    full.file_name()
        .map(|name| clean_text(&name.to_string_lossy()))
        .unwrap_or_default()
}

fn tell(opened: &OpenedSession, output: &mut Output) -> Result<(), Failure> {
    let folder = opened.folder.display();
    output.result(&format!(
        "{folder}: a session with {}",
        plural(opened.session.streams.len(), "stream")
    ))?;
    for (stream, source) in opened.session.streams.iter().zip(&opened.sources) {
        let site = stream.site.map_or("site unknown", |site| site.word());
        let samples = source.samples().map_or(0, |samples| samples.len());
        let has_power = source
            .samples()
            .is_some_and(|s| s.column(Channel::Power).is_some());
        let power = if has_power { "" } else { " without power" };
        output.result(&format!(
            "  {:<12} {:<24} {site}, {samples} samples{power}, {}",
            stream.role.word(),
            stream.label,
            stream.file
        ))?;
    }
    for remark in opened.remarks() {
        output.message(&format!("truing: {remark}"));
    }
    Ok(())
}
