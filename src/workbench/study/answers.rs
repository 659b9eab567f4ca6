//! Every question of a tester with its answer, and every figure of every segment.

use super::question::Question;
use crate::analysis::questions::Findings;
use crate::analysis::table::{Table, table_with};
use crate::export::table::{ShortRow, short_rows};
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
}

/// Answers every question; it is always about the whole ride.
pub fn of(question: &Question) -> Answered {
    let session = &question.opened.session;
    let (aligned, found) = (&question.aligned, &question.found);
    let table = table_with(session, aligned, found);
    let findings = answered(session, aligned, found, &table);
    Answered {
        rows: short_rows(&table, &findings),
        findings,
        table,
    }
}
