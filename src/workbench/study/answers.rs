//! Every question of a tester with its answer.

use super::question::Question;
use crate::analysis::questions::Findings;
use crate::analysis::table::table_with;
use crate::suggest::answered;

/// Answers the question of the view, which is always about the whole ride.
pub fn of(question: &Question) -> Result<Findings, String> {
    let session = &question.opened.session;
    let (aligned, found) = (&question.aligned, &question.found);
    let table = table_with(session, aligned, found);
    let findings = answered(session, aligned, found, &table);
    match findings.answers.is_empty() {
        true => Err("There is nothing to answer from: no stream carries power.".to_owned()),
        false => Ok(findings),
    }
}
