//! `truing survey`: many sessions side by side.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use clap::ValueEnum;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use serde::Serialize;

use super::figure::drawing;
use super::output::Printed;
use super::output_file::{check, write_file};
use super::{Exit, Failure, Format, Output};
use crate::analysis::questions::{Tagging, findings};
use crate::analysis::ride;
use crate::analysis::survey::{Asks, Skipped, Survey, Surveyed, Wanted, survey};
use crate::analysis::table::table_with;
use crate::export::ExportError;
use crate::export::figure::{Look, Picture};
use crate::export::survey as shapes;
use crate::session::{OpenOptions, OpenedSession, Role, files};
use crate::text::csv;
use crate::timeline::Aligned;

/// Compare many sessions: units, days, firmwares; repeatability and reproducibility; questions by unit.
///
/// The answer comes first: whether what was asked for reads alike, and whose faults there are. Blocks are
/// grouped by kind and set point (within 5 %); all blocks together come last. A session that cannot be
/// used is named and left out, and so is a ride that is given twice. The order of the sessions does not
/// matter.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  truing survey rides/* --contrast unit=3,4               do units 3 and 4 read alike?
  truing survey rides/* --contrast firmware --margin 0.5  every pair of firmwares, within ±0.5 points
  truing survey rides/* --contrast unit -o units.html     the same as a page

KEY is a fact under [facts] in session.toml, as unit = \"3\". State `bike` and `references` there as
well: where they are the same in all rides, the references' scale and the drivetrain's loss cancel.")]
pub struct Arguments {
    /// Session folders.
    #[arg(required = true, value_name = "SESSION")]
    sessions: Vec<PathBuf>,
    /// Group by this fact ([facts] in session.toml), say unit or firmware; that of the first contrast
    /// where nothing is said.
    #[arg(long, value_name = "KEY")]
    by: Option<String>,
    /// Do A and B read alike? Without values every pair of the fact's; may be given several times.
    #[arg(long, value_name = "KEY[=A,B]")]
    contrast: Vec<Wanted>,
    /// Up to where two count as alike, ± percentage points; half the claim where nothing is said.
    #[arg(long, value_name = "PERCENT", value_parser = margin)]
    margin: Option<f64>,
    /// The shape of the table.
    #[arg(long, value_enum, default_value_t)]
    format: Format,
    /// What CSV holds: contrasts where one is asked for, else precision.
    #[arg(long, value_enum)]
    table: Option<Held>,
    /// Also write one page with all of it.
    #[arg(short, long, value_name = "FILE.html")]
    output: Option<PathBuf>,
    /// Also draw a picture.
    #[arg(long, value_name = "FILE.svg|png")]
    figure: Option<PathBuf>,
    /// Of what.
    #[arg(long, value_enum, default_value_t)]
    of: Drawn,
    /// Replace existing files.
    #[arg(long)]
    force: bool,
}

/// What the CSV holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Held {
    /// A row a group and session.
    Precision,
    /// A row a question and unit.
    Questions,
    /// A row a contrast.
    Contrasts,
}

/// What the picture is of.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum Drawn {
    /// The bias of each unit under each set point.
    #[default]
    SetPoints,
    /// The questions by unit.
    Questions,
    /// The contrasts over their margins.
    Contrasts,
}

impl Drawn {
    fn picture(self, found: &Survey) -> Result<Picture, ExportError> {
        match self {
            Drawn::SetPoints => shapes::set_points(found),
            Drawn::Questions => shapes::questions_picture(found),
            Drawn::Contrasts => shapes::contrasts_picture(found),
        }
    }
}

fn margin(text: &str) -> Result<f64, String> {
    match text.trim_end_matches('%').trim().parse::<f64>() {
        Ok(margin) if margin > 0.0 && margin <= 100.0 => Ok(margin),
        Ok(_) => Err(
            "say how far two may differ and still count as alike: above 0, up to 100".to_owned(),
        ),
        Err(_) => Err("write a number of percentage points, as in 0.5".to_owned()),
    }
}

/// Width of the picture, pixels.
const WIDTH: u32 = 1200;

/// Computes and prints.
///
/// # Errors
/// [`Failure`] where none of the sessions can be used, a contrast cannot be made, or a file cannot be
/// written.
pub fn run(arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    let drawing = match &arguments.figure {
        Some(path) => {
            check(path)?;
            Some((path, drawing(path)?))
        }
        None => None,
    };
    if let Some(path) = &arguments.output {
        check(path)?;
    }
    let asks = Asks {
        by: arguments.by.clone(),
        contrasts: arguments.contrast.clone(),
        margin_percent: arguments.margin,
    };
    let read = read_all(&arguments.sessions, output.shows_progress());
    let (sessions, skipped) = once(&arguments.sessions, read);
    for Skipped { session, reason } in &skipped {
        output.message(&format!("truing: left out: {session}: {reason}"));
    }
    if sessions.is_empty() {
        return Err(Failure::CouldNot(
            "none of the sessions can be used".to_owned(),
        ));
    }
    let found = survey(&asks, sessions, skipped).map_err(Failure::CouldNot)?;
    let held = arguments.table.unwrap_or(match found.contrasts.is_empty() {
        true => Held::Precision,
        false => Held::Contrasts,
    });
    output.print(
        &Shown {
            found: &found,
            held,
        },
        arguments.format,
    )?;
    if let Some(path) = &arguments.output {
        let page = shapes::page(&found);
        write_file(path, page.as_bytes(), arguments.force, output)?;
    }
    if let Some((path, drawing)) = drawing {
        let picture = arguments.of.picture(&found).map_err(Failure::because)?;
        let bytes = drawing.bytes(&picture, WIDTH, Look::LIGHT);
        let bytes = bytes.map_err(Failure::because)?;
        write_file(path, &bytes, arguments.force, output)?;
    }
    Ok(Exit::Done)
}

/// A survey with what its CSV holds.
struct Shown<'a> {
    found: &'a Survey,
    held: Held,
}

impl Printed for Shown<'_> {
    fn text(&self) -> String {
        shapes::text(self.found)
    }

    fn json(&self) -> impl Serialize {
        self.found
    }

    fn rows(&self) -> Vec<Vec<String>> {
        match self.held {
            Held::Precision => shapes::lines(self.found),
            Held::Questions => shapes::question_lines(self.found),
            Held::Contrasts => shapes::contrast_lines(self.found),
        }
    }

    fn csv(&self) -> String {
        csv(self.rows())
    }

    fn markdown(&self) -> String {
        shapes::markdown(self.found)
    }
}

/// Hashes of a session's recordings under test, and what is kept of it.
type Read = Result<(Vec<String>, Surveyed), String>;

/// Every ride once: of those given twice the one that is named first in the alphabet, whatever the order
/// of the arguments.
fn once(paths: &[PathBuf], read: Vec<Read>) -> (Vec<Surveyed>, Vec<Skipped>) {
    let named = paths.iter().map(|path| path.display().to_string());
    let mut all: Vec<(String, Read)> = named.zip(read).collect();
    all.sort_by(|a, b| a.0.cmp(&b.0));
    let (mut sessions, mut skipped) = (Vec::new(), Vec::new());
    let mut rides: BTreeMap<Vec<String>, String> = BTreeMap::new();
    for (session, read) in all {
        let reason = match read {
            Err(reason) => reason,
            Ok((ride, surveyed)) => match rides.get(&ride).filter(|_| !ride.is_empty()) {
                Some(twin) => format!("the same ride as {twin}; counted once"),
                None => {
                    rides.insert(ride, session);
                    sessions.push(surveyed);
                    continue;
                }
            },
        };
        skipped.push(Skipped { session, reason });
    }
    (sessions, skipped)
}

/// Reads every session, as many at once as there are processors: of each only the figures stay.
fn read_all(paths: &[PathBuf], shows_progress: bool) -> Vec<Read> {
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
                    let read = read_one(path);
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

fn read_one(path: &Path) -> Read {
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
    let surveyed = Surveyed::new(&named, (session, &aligned), (&figures, &answers));
    if surveyed.blocks.is_empty() {
        return Err(
            "no block in it can be judged: tag steady blocks, or take what `truing suggest --write` adds"
                .to_owned(),
        );
    }
    Ok((ride, surveyed))
}
