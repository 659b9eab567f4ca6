//! `truing plan`: the test plans, as sheets and as workouts, and a ride held against one.

use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};

use super::output::Shape;
use super::output_file::write_file;
use super::{Exit, Failure, Output, open_session};
use crate::analysis::table::table;
use crate::export::plan_check;
use crate::plan::{self, MASSES_SHEET, MASSES_TITLE, Plan, masses_sheet, sheet, workout};
use crate::session::OpenedSession;
use crate::timeline::Aligned;

/// List the test plans, print one as a sheet to lay beside the bench, write it as a workout that a
/// head unit or app rides, or hold a ride against one.
///
/// A workout (FIT) has one step for each held power, with its target in W. A step that no workout
/// can ask for (an all-out sprint, a coast, a gear change, a grade) is open, and its note says what
/// to do.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// A plan: a name from the list, or a TOML file; a share of its powers may stand behind it
    /// ("full-bench 80 %"). With --check it may be left out where the session's [facts] name it, or
    /// the workout in a recording does. `weights` prints the sheet for known masses.
    name: Option<String>,
    /// Every power at this share of the plan's, for a lighter or a stronger rider: 20 to 200.
    #[arg(long, value_name = "PERCENT", requires = "name")]
    scale: Option<f64>,
    /// Write the plan as a workout by the FIT protocol.
    #[arg(
        short,
        long,
        value_name = "NAME.fit",
        requires = "name",
        conflicts_with = "check"
    )]
    output: Option<PathBuf>,
    /// Replace the file if it exists.
    #[arg(long, requires = "output")]
    force: bool,
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
    match arguments.name.as_deref() {
        // A sheet, and no plan to scale or to write as a workout.
        Some(MASSES_SHEET) if arguments.output.is_none() && arguments.scale.is_none() => {
            output.result(&masses_sheet())?;
        }
        Some(name) => {
            let plan = scaled(Plan::find(name), arguments.scale)?;
            if let Some(path) = &arguments.output {
                write_workout(&plan, path, arguments.force, output)?;
            }
            output.result(&sheet(&plan))?;
        }
        None => {
            for name in Plan::names() {
                let plan = Plan::built_in(name).map_err(Failure::because)?;
                let minutes = (plan.duration_s() / 60.0).round();
                output.result(&format!("{name:<14} {minutes:>3} min  {}", plan.title))?;
            }
            output.result(&format!("{MASSES_SHEET:<14}    -     {MASSES_TITLE}"))?;
            output.result(
                "Print one with `truing plan NAME`; `truing plan NAME --scale 80 -o NAME.fit` writes a \
                 workout.",
            )?;
        }
    }
    Ok(Exit::Done)
}

/// `found` at a share of its powers, where one is named.
fn scaled<E: std::fmt::Display>(
    found: Result<Plan, E>,
    percent: Option<f64>,
) -> Result<Plan, Failure> {
    let plan = found.map_err(Failure::because)?;
    match percent {
        Some(percent) => plan.scaled(percent).map_err(Failure::because),
        None => Ok(plan),
    }
}

fn write_workout(
    plan: &Plan,
    path: &Path,
    force: bool,
    output: &mut Output,
) -> Result<(), Failure> {
    if !path
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("fit"))
    {
        return Err(Failure::Usage(format!(
            "{}: a workout is a FIT file; name it NAME.fit",
            path.display()
        )));
    }
    let now = SystemTime::now().duration_since(UNIX_EPOCH);
    let created_unix_s = now.map_or(0, |now| now.as_secs() as i64);
    let bytes = workout::fit(plan, created_unix_s).map_err(Failure::because)?;
    write_file(path, &bytes, force, output)
}

fn check(arguments: &Arguments, session: &Path, output: &mut Output) -> Result<Exit, Failure> {
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

/// The plan named on the command line, else in the session's facts, else by the workout that a
/// recorder rode.
fn plan_of(arguments: &Arguments, opened: &OpenedSession) -> Result<Plan, Failure> {
    let mut facts = opened.session.facts.iter();
    let found = match (&arguments.name, facts.find(|fact| fact.key == "plan")) {
        (Some(name), _) => return scaled(Plan::find(name), arguments.scale),
        (None, Some(fact)) => Plan::find_for_session(&opened.folder, &fact.value),
        (None, None) => {
            if let Some(plan) = ridden(opened) {
                return Ok(plan);
            }
            return Err(Failure::Usage(
                "which plan? Name one (`truing plan` lists them), or note it under [facts] in session.toml as plan = \"NAME\""
                    .to_owned(),
            ));
        }
    };
    found.map_err(Failure::because)
}

/// The plan whose workout a recorder rode.
fn ridden(opened: &OpenedSession) -> Option<Plan> {
    let recordings = opened
        .sources
        .iter()
        .filter_map(|source| source.recording());
    let mut names = recordings.filter_map(|recording| recording.workout.as_deref());
    names.find_map(|name| Plan::find_for_session(&opened.folder, name).ok())
}
