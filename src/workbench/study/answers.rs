//! Every question of a tester with its answer, and every figure of every segment.

use super::question::Question as Asked;
use crate::analysis::questions::{Answer, Finding, Findings, Question};
use crate::analysis::table::{Table, table_with};
use crate::export::table::{ShortRow, short_rows};
use crate::picture::parts::Picture;
use crate::picture::proof;
use crate::picture::subject::Subject;
use crate::suggest::answered;

/// What the whole ride says.
#[derive(Clone, Debug, PartialEq)]
pub struct Answered {
    /// The questions of a tester, answered.
    pub findings: Findings,
    /// Every figure.
    pub table: Table,
    /// The short table: a row a segment and source.
    pub rows: Vec<ShortRow>,
    /// What proves the answer on the gradient, where slopes were ridden.
    pub gradient: Option<Picture>,
}

/// Answers every question; it is always about the whole ride.
pub fn of(question: &Asked) -> Answered {
    let session = &question.opened.session;
    let (aligned, found) = (&question.aligned, &question.found);
    let table = table_with(session, aligned, found);
    let findings = answered(session, aligned, found, &table);
    let is_ridden = |answer: &Answer| answer.outcome != Finding::NotRidden;
    let of_gradient = findings
        .answer(Question::Gradient, "")
        .filter(|a| is_ridden(a));
    let ride = || Subject::ride(session, aligned, found);
    Answered {
        gradient: of_gradient.and_then(|answer| proof::of(&ride(), answer).ok()),
        rows: short_rows(&table, &findings),
        findings,
        table,
    }
}
