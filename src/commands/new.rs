//! `truing new`: a session folder from recordings.

use std::path::{Path, PathBuf};

use super::{Exit, Failure, Format, Output};
use crate::analysis::loss::Loss;
use crate::recording::Channel;
use crate::session::folder::create;
use crate::session::{
    Allowance, Claim, OpenedSession, Role, Session, Simulation, files, start, validation,
};
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
    /// Recordings (FIT, CSV, TCX, GPX), one a recorder; packed (.gz, .zip) or not. Of a zip archive
    /// every recording in it is taken; ARCHIVE.zip/NAME is one of them.
    #[arg(required = true)]
    recordings: Vec<PathBuf>,
    /// Label of the stream under test.
    #[arg(long, value_name = "LABEL")]
    under_test: Option<String>,
    /// Title of the session [default: the folder's name].
    #[arg(long)]
    title: Option<String>,
    /// What the maker claims of the source under test, ± % of reading, say 2; also "2,5" for the
    /// larger of 2 % and 5 W.
    #[arg(long, value_name = "PERCENT[,WATTS]", value_parser = claim)]
    claim: Option<Claim>,
    /// What the maker of a reference claims, ± %; for each of them, say pedals=1.
    #[arg(long, value_name = "LABEL=PERCENT", value_parser = reference_claim)]
    reference_claim: Vec<(String, f64)>,
    /// What the drivetrain takes between the references and the source, ± how well that is known,
    /// percentage points; 2±1 (or 2,1) is usual for a chain, 0,0 says none.
    #[arg(long, value_name = "PERCENT[,POINTS]", value_parser = loss)]
    loss: Option<Allowance>,
    /// Rider and bike as entered in the app that simulated slopes, kg.
    #[arg(long, value_name = "KG")]
    mass: Option<f64>,
}

/// Two numbers, the second of which may be left out.
fn numbers(text: &str) -> Result<(f64, Option<f64>), String> {
    let number = |text: &str| {
        let text = text.trim().trim_end_matches('%').trim();
        let value = text.parse::<f64>().ok().filter(|v| v.is_finite());
        value.ok_or_else(|| format!("{text:?} is not a number; write it as 2 or 2,1"))
    };
    match text.split_once([',', '±', '/']) {
        Some((first, second)) => Ok((number(first)?, Some(number(second)?))),
        None => Ok((number(text)?, None)),
    }
}

fn claim(text: &str) -> Result<Claim, String> {
    let (percent, watts) = numbers(text)?;
    Ok(Claim {
        percent,
        watts: watts.unwrap_or(0.0),
    })
}

fn loss(text: &str) -> Result<Allowance, String> {
    let (percent, plus_minus) = numbers(text)?;
    Ok(Allowance {
        percent,
        plus_minus: plus_minus.unwrap_or(Allowance::USUAL.plus_minus),
    })
}

fn reference_claim(text: &str) -> Result<(String, f64), String> {
    let (label, percent) = text
        .rsplit_once('=')
        .ok_or("write LABEL=PERCENT, say pedals=1")?;
    Ok((label.trim().to_owned(), numbers(percent)?.0))
}

impl Arguments {
    /// Puts what was told into the session.
    fn tell(&self, session: &mut Session) -> Result<(), Failure> {
        session.claim = self.claim.unwrap_or(session.claim);
        session.allowance = self.loss.or(session.allowance);
        session.simulation = self.mass.map(|mass_kg| Simulation {
            mass_kg,
            ..Simulation::USUAL
        });
        for (label, percent) in &self.reference_claim {
            let index = session.stream_index(label);
            let stream = index.and_then(|index| session.streams.get_mut(index));
            let Some(stream) = stream else {
                let labels: Vec<&str> = session.streams.iter().map(|s| s.label.as_str()).collect();
                return Err(Failure::Usage(format!(
                    "there is no stream {label:?}; there are {}",
                    labels.join(", ")
                )));
            };
            stream.claim_percent = Some(*percent);
        }
        validation::check(session)
            .map_err(|(place, problem)| Failure::Usage(format!("{place}: {problem}")))
    }
}

/// What was left out, each with what it holds open and how to state it.
fn left_out(arguments: &Arguments, session: &Session) -> Vec<String> {
    let mut out = Vec::new();
    if arguments.claim.is_none() {
        out.push(
            "the claim of the source (--claim): ±2 % is assumed; 1 to 5 % are usual".to_owned(),
        );
    }
    let silent: Vec<&str> = session
        .with_role(Role::Reference)
        .filter_map(|index| session.streams.get(index))
        .filter(|stream| stream.claim_percent.is_none() && stream.claim_watts.is_none())
        .map(|stream| stream.label.as_str())
        .collect();
    if !silent.is_empty() {
        out.push(format!(
            "the claims of {} (--reference-claim {}=1): without them nothing can be judged; 1 to 2 % \
             are usual",
            silent.join(" and "),
            silent[0]
        ));
    }
    let site = |index: usize| session.streams.get(index).and_then(|s| s.site);
    let references: Vec<_> = session.with_role(Role::Reference).map(site).collect();
    let sources = session.with_role(Role::UnderTest);
    let is_open = |index| Loss::between(&references, site(index), session.allowance).is_open();
    if sources.into_iter().any(is_open) {
        out.push(
            "what the chain takes between the references and the source (--loss 2,1): it may be 0 to 4 \
             %, and an answer that depends on it stays open; 2 ± 1 % is usual"
                .to_owned(),
        );
    }
    out
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
    arguments.tell(&mut opened.session)?;
    let copies: Vec<_> = parts.iter().map(start::Part::copy).collect();
    let mut session = opened.session.clone();
    opened.note_in(&mut session);
    create(folder, &copies, &session).map_err(Failure::because)?;
    tell(&opened, output)?;
    let why = start::why_under_test(&opened.session, arguments.under_test.is_some());
    output.result(&why)?;
    output.result("Clocks against session time:")?;
    output.print(&clocks, Format::Text)?;
    let left_out = left_out(arguments, &opened.session);
    if !left_out.is_empty() {
        output.result(
            "Answers depend on what is not stated yet (state it in the workbench with E, in \
             session.toml, or here):",
        )?;
    }
    for line in left_out {
        output.result(&format!("  {line}"))?;
    }
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
    for (file, names) in opened.unused() {
        output.message(&format!("truing: {file}: not used: {}", names.join(", ")));
    }
    Ok(())
}
