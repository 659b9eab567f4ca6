//! The ride held against a test plan.

use super::question::Question;
use crate::analysis::table::table;
use crate::plan::{Plan, PlanCheck, check};

/// Answers the question of the plan view: the plan chosen, else the one that the session names.
pub fn of(question: &Question) -> Result<PlanCheck, String> {
    let session = &question.opened.session;
    let chosen = question
        .about
        .plan
        .and_then(|index| Plan::names().nth(index));
    let named = session.facts.iter().find(|fact| fact.key == "plan");
    let name = chosen
        .or(named.map(|fact| fact.value.as_str()))
        .ok_or_else(|| {
            format!(
                "Which plan was ridden? Choose one, or note it under [facts] in session.toml as \
                 plan = \"NAME\". There are {}.",
                Plan::names().collect::<Vec<_>>().join(", ")
            )
        })?;
    let folder = &question.opened.folder;
    let plan = Plan::find_for_session(folder, name).map_err(|error| error.to_string())?;
    Ok(check(&plan, &table(session, &question.aligned)))
}
