//! `truing plan`: the test plans.

use super::{Exit, Failure, Output};
use crate::rehearse::{Plan, sheet};

/// List the test plans, or print one as a sheet to lay beside the bench.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// A plan: a name from the list, or a TOML file.
    name: Option<String>,
}

/// Prints the list or the sheet.
///
/// # Errors
/// [`Failure`] where there is no such plan or it cannot be ridden.
pub fn run(arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    match &arguments.name {
        Some(name) => {
            let plan = Plan::find(name).map_err(Failure::because)?;
            output.result(&sheet(&plan))?;
        }
        None => {
            for name in Plan::names() {
                let plan = Plan::built_in(name).map_err(Failure::because)?;
                let minutes = (plan.duration_s() / 60.0).round();
                output.result(&format!("{name:<14} {minutes:>3} min  {}", plan.title))?;
            }
            output.result("Print one with `truing plan NAME`.")?;
        }
    }
    Ok(Exit::Done)
}
