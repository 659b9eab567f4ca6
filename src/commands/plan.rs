//! `truing plan`: the test plans, and a ride held against one.

use std::path::PathBuf;

use super::output::Shape;
use super::{Exit, Failure, Output, open_session};
use crate::analysis::table::table;
use crate::export::plan_check;
use crate::plan::{self, Plan, sheet};
use crate::session::OpenedSession;
use crate::timeline::Aligned;

/// List the test plans, print one as a sheet to lay beside the bench, or hold a ride against one.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// A plan: a name from the list, or a TOML file. With --check, the plan that the session's
    /// [facts] name may be left out.
    name: Option<String>,
    /// Say what this ride did not cover of the plan, and how many minutes at which power would
    /// decide an open verdict.
    #[arg(long, value_name = "SESSION")]
    check: Option<PathBuf>,
    /// With --check: the shape of the result.
    #[arg(long, value_enum, default_value_t, requires = "check")]
    format: Shape,
}

/// Prints the list, the sheet or the check.
///
/// # Errors
/// [`Failure`] where there is no such plan, it cannot be ridden, or the session cannot be used.
pub fn run(arguments: &Arguments, output: &mut Output) -> Result<Exit, Failure> {
    if let Some(session) = &arguments.check {
        return check(arguments, session, output);
    }
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

fn check(
    arguments: &Arguments,
    session: &std::path::Path,
    output: &mut Output,
) -> Result<Exit, Failure> {
    let opened = open_session(session, output)?;
    let plan = plan_of(arguments, &opened)?;
    let figures = table(&opened.session, &Aligned::new(&opened));
    let found = plan::check(&plan, &figures);
    match arguments.format {
        Shape::Json => output.json(&found)?,
        Shape::Text => output.result(&plan_check::text(&found))?,
    }
    Ok(Exit::Done)
}

/// The plan named on the command line, else in the session's facts.
fn plan_of(arguments: &Arguments, opened: &OpenedSession) -> Result<Plan, Failure> {
    let mut facts = opened.session.facts.iter();
    let found = match (&arguments.name, facts.find(|fact| fact.key == "plan")) {
        (Some(name), _) => Plan::find(name),
        (None, Some(fact)) => Plan::find_for_session(&opened.folder, &fact.value),
        (None, None) => {
            return Err(Failure::Usage(
                "which plan? Name one (`truing plan` lists them), or note it under [facts] in session.toml as plan = \"NAME\""
                    .to_owned(),
            ));
        }
    };
    found.map_err(Failure::because)
}
