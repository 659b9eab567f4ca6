//! The command line: one file a subcommand, each with its arguments and a `run`.
//!
//! Results go to stdout, messages to stderr. A subcommand returns an [`Exit`] or a [`Failure`];
//! [`main`] alone turns those into exit codes. To add a subcommand: a file here, a variant of
//! `Command`, a line in `dispatch`.

mod align;
mod completions;
mod exit;
mod explain;
mod figure;
mod findings;
#[cfg(feature = "workbench")]
mod keys;
mod man;
mod new;
mod output;
mod output_file;
mod plan;
mod probe;
mod rehearse;
mod relink;
mod report;
mod samples;
mod session_arg;
mod suggest;
mod survey;
mod table;
mod verdict;
mod weights;
#[cfg(feature = "workbench")]
mod workbench;

use std::path::PathBuf;

use clap::{CommandFactory as _, Parser, Subcommand};

pub use exit::{Exit, Failure};
pub use output::{Format, Output};
pub use session_arg::open_session;

/// Whether a cycling power source tells the truth.
///
/// Open a session in the workbench with `truing FOLDER`, or a few recordings with
/// `truing FILE...`. Every subcommand works without a terminal.
#[derive(Debug, Parser)]
#[command(name = "truing", version, args_conflicts_with_subcommands = true)]
pub struct Arguments {
    #[command(subcommand)]
    command: Option<Command>,
    /// A session folder, or recordings (FIT, CSV, TCX, GPX; packed or not), to open in the workbench.
    #[arg(value_name = "SESSION-FOLDER | RECORDING")]
    paths: Vec<PathBuf>,
    #[cfg(feature = "workbench")]
    #[command(flatten)]
    appearance: workbench::Appearance,
}

/// The subcommands.
#[derive(Debug, Subcommand)]
enum Command {
    New(new::Arguments),
    Probe(probe::Arguments),
    Align(align::Arguments),
    Suggest(suggest::Arguments),
    Plan(plan::Arguments),
    Rehearse(rehearse::Arguments),
    Relink(relink::Arguments),
    Weights(weights::Arguments),
    Table(table::Arguments),
    Findings(findings::Arguments),
    Figure(figure::Arguments),
    Report(report::Arguments),
    Samples(samples::Arguments),
    Survey(survey::Arguments),
    Verdict(verdict::Arguments),
    Explain(explain::Arguments),
    #[cfg(feature = "workbench")]
    Keys(keys::Arguments),
    Completions(completions::Arguments),
    Man(man::Arguments),
}

/// Runs the command line `arguments` (the program's name first) and returns the exit code.
pub fn main(arguments: impl IntoIterator<Item = std::ffi::OsString>) -> u8 {
    let parsed = match Arguments::try_parse_from(arguments) {
        Ok(parsed) => parsed,
        Err(error) => {
            // `--help` and `--version` are no mistakes: clap knows which stream and code they get.
            let _ = error.print();
            return u8::try_from(error.exit_code()).unwrap_or(2);
        }
    };
    let mut output = Output::stdio();
    match dispatch(parsed, &mut output).and_then(|exit| output.finish().map(|()| exit)) {
        Ok(exit) => exit.code(),
        Err(Failure::NobodyReads) => 0,
        Err(failure) => {
            output.message(&format!("truing: {failure}"));
            if matches!(failure, Failure::Usage(_)) {
                2
            } else {
                1
            }
        }
    }
}

/// Refuses a first word that is neither a file or folder nor looks like one: a subcommand mistyped.
#[cfg(feature = "workbench")]
fn no_command_mistyped(paths: &[PathBuf]) -> Result<(), Failure> {
    let Some(first) = paths.first() else {
        return Ok(());
    };
    let like_a_word = first.components().count() == 1 && first.extension().is_none();
    if like_a_word && std::fs::symlink_metadata(first).is_err() {
        return Err(Failure::CouldNot(format!(
            "{}: neither a subcommand nor a file or folder here; `truing --help` lists the subcommands",
            first.display()
        )));
    }
    Ok(())
}

fn dispatch(arguments: Arguments, output: &mut Output) -> Result<Exit, Failure> {
    match arguments.command {
        Some(Command::New(arguments)) => new::run(&arguments, output),
        Some(Command::Probe(arguments)) => probe::run(&arguments, output),
        Some(Command::Align(arguments)) => align::run(&arguments, output),
        Some(Command::Suggest(arguments)) => suggest::run(&arguments, output),
        Some(Command::Plan(arguments)) => plan::run(&arguments, output),
        Some(Command::Rehearse(arguments)) => rehearse::run(&arguments, output),
        Some(Command::Relink(arguments)) => relink::run(&arguments, output),
        Some(Command::Weights(arguments)) => weights::run(&arguments, output),
        Some(Command::Findings(arguments)) => findings::run(&arguments, output),
        Some(Command::Table(arguments)) => table::run(&arguments, output),
        Some(Command::Figure(arguments)) => figure::run(&arguments, output),
        Some(Command::Report(arguments)) => report::run(&arguments, output),
        Some(Command::Samples(arguments)) => samples::run(&arguments, output),
        Some(Command::Survey(arguments)) => survey::run(&arguments, output),
        Some(Command::Verdict(arguments)) => verdict::run(&arguments, output),
        Some(Command::Explain(arguments)) => explain::run(&arguments, output),
        #[cfg(feature = "workbench")]
        Some(Command::Keys(arguments)) => keys::run(&arguments, output),
        Some(Command::Completions(arguments)) => {
            completions::run(&arguments, Arguments::command(), output)
        }
        Some(Command::Man(arguments)) => man::run(&arguments, Arguments::command(), output),
        None if arguments.paths.is_empty() => {
            output.result(&Arguments::command().render_help().to_string())?;
            Ok(Exit::Done)
        }
        #[cfg(feature = "workbench")]
        None => {
            no_command_mistyped(&arguments.paths)?;
            workbench::run(&arguments.appearance, &arguments.paths)
        }
        #[cfg(not(feature = "workbench"))]
        None => Err(Failure::CouldNot(
            "this truing was built without its workbench; the subcommands are all here".to_owned(),
        )),
    }
}
