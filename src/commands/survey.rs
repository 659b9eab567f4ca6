//! `truing survey`: many sessions side by side.

use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use serde::Serialize;

use super::figure::drawing;
use super::output::Printed;
use super::output_file::{check, write_file};
use super::{Exit, Failure, Format, Output};
use crate::analysis::questions::{Tagging, findings};
use crate::analysis::ride;
use crate::analysis::table::table_with;
use crate::export::figure::Look;
use crate::export::survey::{self, Skipped, Survey, Surveyed};
use crate::session::{OpenOptions, OpenedSession, Role, files};
use crate::text::csv;
use crate::timeline::Aligned;

/// Compare many sessions: bias of each, repeatability, reproducibility.
///
/// Blocks are grouped by kind and set point; all blocks together come last. A session that cannot
/// be used is reported and left out, and so is a ride that is given twice.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// Session folders.
    #[arg(required = true, value_name = "SESSION")]
    sessions: Vec<PathBuf>,
    /// Group by this fact ([facts] in session.toml), say unit or firmware.
    #[arg(long, value_name = "KEY")]
    by: Option<String>,
    /// The shape of the table.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
    /// Also draw the bias of each session by set point.
    #[arg(long, value_name = "FILE.svg|png")]
    figure: Option<PathBuf>,
    /// Replace an existing picture.
    #[arg(long)]
    force: bool,
}

/// Width of the picture, pixels.
const WIDTH: u32 = 1200;

/// Computes and prints.
///
/// # Errors
/// [`Failure`] where none of the sessions can be used, or the picture cannot be written.
pub fn run(arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    let drawing = match &arguments.figure {
        Some(path) => {
            check(path)?;
            Some((path, drawing(path)?))
        }
        None => None,
    };
    let read = read_all(arguments, output.shows_progress());
    let (mut sessions, mut skipped, mut rides) = (Vec::new(), Vec::new(), Vec::new());
    for (path, result) in arguments.sessions.iter().zip(read) {
        let result = result.and_then(|(ride, surveyed)| match known(&rides, &ride) {
            Some(twin) => Err(format!("the same ride as {twin}; counted once")),
            None => Ok((ride, surveyed)),
        });
        match result {
            Ok((ride, surveyed)) => {
                rides.push((ride, surveyed.session.clone()));
                sessions.push(surveyed);
            }
            Err(reason) => {
                let session = path.display().to_string();
                output.message(&format!("truing: left out: {session}: {reason}"));
                skipped.push(Skipped { session, reason });
            }
        }
    }
    if sessions.is_empty() {
        return Err(Failure::CouldNot(
            "none of the sessions can be used".to_owned(),
        ));
    }
    let found = survey::survey(arguments.by.as_deref(), sessions, skipped);
    output.print(&found, arguments.format)?;
    if let Some((path, drawing)) = drawing {
        let picture = survey::picture(&found).map_err(Failure::because)?;
        let bytes = drawing.bytes(&picture, WIDTH, Look::LIGHT);
        let bytes = bytes.map_err(Failure::because)?;
        write_file(path, &bytes, arguments.force, output)?;
    }
    Ok(Exit::Done)
}

/// Hashes of a session's recordings under test, and what is kept of it.
impl Printed for Survey {
    fn text(&self) -> String {
        survey::text(self)
    }

    fn json(&self) -> impl Serialize {
        self
    }

    fn rows(&self) -> Vec<Vec<String>> {
        survey::lines(self)
    }

    fn csv(&self) -> String {
        csv(self.rows())
    }

    fn markdown(&self) -> String {
        survey::markdown(self)
    }
}

type Read = Result<(Vec<String>, Surveyed), String>;

fn known<'a>(rides: &'a [(Vec<String>, String)], ride: &[String]) -> Option<&'a str> {
    rides
        .iter()
        .find(|(other, _)| !ride.is_empty() && other == ride)
        .map(|(_, session)| session.as_str())
}

/// Reads every session, as many at once as there are processors: of each only the figures stay.
fn read_all(arguments: &Arguments, shows_progress: bool) -> Vec<Read> {
    let paths = &arguments.sessions;
    let bar = progress(paths.len(), shows_progress);
    let next = AtomicUsize::new(0);
    let results: Mutex<Vec<Option<Read>>> = Mutex::new(vec![None; paths.len()]);
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..workers.min(paths.len()) {
            scope.spawn(|| {
                loop {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    let Some(path) = paths.get(index) else { break };
                    let read = read_one(path, arguments.by.as_deref());
                    if let Ok(mut results) = results.lock()
                        && let Some(slot) = results.get_mut(index)
                    {
                        *slot = Some(read);
                    }
                    bar.inc(1);
                }
            });
        }
    });
    bar.finish_and_clear();
    let results = results
        .into_inner()
        .unwrap_or_else(|poison| poison.into_inner());
    results
        .into_iter()
        .map(|read| read.unwrap_or_else(|| Err("it could not be computed".to_owned())))
        .collect()
}

fn progress(sessions: usize, shown: bool) -> ProgressBar {
    let target = if shown {
        ProgressDrawTarget::stderr()
    } else {
        ProgressDrawTarget::hidden()
    };
    let bar = ProgressBar::with_draw_target(Some(sessions as u64), target);
    if let Ok(style) = ProgressStyle::with_template("{bar:40} {pos} of {len} sessions, {eta} left")
    {
        bar.set_style(style);
    }
    bar
}

fn read_one(path: &Path, by: Option<&str>) -> Read {
    let opened = OpenedSession::open(&files::folder_of(path), OpenOptions::default())
        .map_err(|error| error.to_string())?;
    // Without one of its recordings a session would answer another question than the others.
    if let Some(problem) = opened.problems.first() {
        return Err(problem.to_string());
    }
    let session = &opened.session;
    let mut ride: Vec<String> = session
        .with_role(Role::UnderTest)
        .filter_map(|index| opened.sources.get(index)?.recording())
        .map(|recording| recording.sha256.clone())
        .collect();
    ride.sort_unstable();
    let aligned = Aligned::new(&opened);
    let found = ride::findings(&aligned);
    let figures = table_with(session, &aligned, &found);
    let answers = findings(session, &aligned, &found, &figures, Tagging::default());
    let named = path.display().to_string();
    let surveyed = Surveyed::new(&named, session, (&figures, &answers), by);
    if surveyed.blocks.is_empty() {
        return Err(
            "no block in it can be judged: tag steady blocks, or take what `truing suggest --write` adds"
                .to_owned(),
        );
    }
    Ok((ride, surveyed))
}
