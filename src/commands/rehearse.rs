//! `truing rehearse`: a synthetic session with known faults.

use std::path::PathBuf;

use clap::ValueEnum;

use super::{Exit, Failure, Output};
use crate::plan::Plan;
use crate::rehearse::{
    FAULTS, Fault, Scenario, SessionOptions, random_scenario, ride, write_session,
};

/// Write a synthetic session with known faults, and the truth it was made from.
///
/// A rider who does not exist rides PLAN on a trainer under test (FIT), pedals (FIT) and a crank
/// (CSV) as references, each with its own recorder. The folder then holds the recordings,
/// session.toml, and truth.toml with everything that was put in. The same plan, seed and faults
/// always write the same bytes.
#[derive(Debug, clap::Args)]
#[command(after_long_help = fault_help())]
pub struct Arguments {
    /// A plan: a name that `truing plan` lists, or a TOML file.
    plan: String,
    /// The folder to write; must not exist or be empty.
    #[arg(short, long, value_name = "FOLDER")]
    output: PathBuf,
    /// Seed of every random number.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// A fault to put in, into DEVICE (trainer, pedals or crank) [default device: trainer].
    /// May be given many times.
    #[arg(long = "fault", value_name = "NAME[=VALUE][@DEVICE]")]
    faults: Vec<String>,
    /// Start from devices with random faults, drawn with the seed.
    #[arg(long)]
    random: bool,
    /// What session.toml says of the clocks: nothing, or the truth.
    #[arg(long, value_enum, default_value_t)]
    clocks: Clocks,
    /// Tag the true segments in session.toml.
    #[arg(long)]
    tagged: bool,
}

/// What `session.toml` says of the clocks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
enum Clocks {
    /// Offsets and skews of zero, to be estimated.
    #[default]
    Unknown,
    /// The true offsets and skews.
    Known,
}

/// Rides and writes.
///
/// # Errors
/// [`Failure`]; nothing is overwritten.
pub fn run(arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    let plan = Plan::find(&arguments.plan).map_err(Failure::because)?;
    let mut scenario = if arguments.random {
        random_scenario(&plan, arguments.seed)
    } else {
        Scenario::for_plan(&plan)
    };
    for text in &arguments.faults {
        let fault: Fault = text.parse().map_err(Failure::because)?;
        fault
            .put_into(&mut scenario, &plan)
            .map_err(Failure::because)?;
    }
    let rehearsal = ride(&plan, &scenario, arguments.seed).map_err(Failure::because)?;
    let session = rehearsal.session(SessionOptions {
        clocks_known: arguments.clocks == Clocks::Known,
        tagged: arguments.tagged,
    });
    write_session(&rehearsal, &session, &arguments.output).map_err(Failure::because)?;
    let folder = arguments.output.display();
    output.result(&format!(
        "{folder}: “{}” rehearsed with seed {}, {} recordings. Invented, not measured; the truth is in truth.toml.",
        plan.title,
        arguments.seed,
        rehearsal.streams.len()
    ))?;
    Ok(Exit::Done)
}

fn fault_help() -> String {
    let mut help = String::from("Faults, with the value taken where none is given:\n");
    for fault in FAULTS {
        let value = if fault.unit.is_empty() {
            String::new()
        } else {
            format!("={} {}", fault.usual, fault.unit)
        };
        help.push_str(&format!(
            "  {:<24} {}\n",
            format!("{}{value}", fault.name),
            fault.does
        ));
    }
    help
}
