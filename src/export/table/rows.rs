//! What a row is: a segment and a pair of streams.

use crate::analysis::agreement::Agreement;
use crate::analysis::figures::{SegmentFigures, StreamFigures};
use crate::analysis::kinds::cadence::CadenceAgreement;
use crate::analysis::table::Table;
use crate::analysis::verdict::figures::Verdict;
use crate::session::Role;

/// One row of the flat tables.
#[derive(Clone, Copy, Debug)]
pub struct Row<'a> {
    /// The table it is from.
    pub table: &'a Table,
    /// The segment.
    pub segment: &'a SegmentFigures,
    /// Label of the source under test; empty where the session has none with power.
    pub under_test: &'a str,
    /// The comparison; `None` where there is no reference.
    pub pair: Option<&'a Agreement>,
}

impl<'a> Row<'a> {
    /// The source under test's own figures.
    pub fn tested(&self) -> Option<&'a StreamFigures> {
        self.stream(self.under_test)
    }

    /// The reference's own figures; `None` for the consensus.
    pub fn reference(&self) -> Option<&'a StreamFigures> {
        self.stream(&self.pair?.reference)
    }

    fn stream(&self, label: &str) -> Option<&'a StreamFigures> {
        self.segment.streams.iter().find(|s| s.label == label)
    }

    /// The verdict on this row's source under test, whichever reference it rests on.
    pub fn verdict(&self) -> Option<&'a Verdict> {
        self.segment
            .verdict
            .iter()
            .chain(&self.segment.further_verdicts)
            .find(|verdict| verdict.under_test == self.under_test)
    }

    /// Cadence of the same pair.
    pub fn cadence(&self) -> Option<&'a CadenceAgreement> {
        let reference = &self.pair?.reference;
        self.segment
            .cadence
            .iter()
            .find(|c| c.under_test == self.under_test && c.reference == *reference)
    }
}

/// All rows in order: by segment, then by pair. A segment without a pair has one row a source
/// under test, or one row where there is none.
pub fn rows(table: &Table) -> Vec<Row<'_>> {
    table
        .segments
        .iter()
        .flat_map(|segment| rows_of(table, segment))
        .collect()
}

/// The rows of one segment.
pub fn rows_of<'a>(table: &'a Table, segment: &'a SegmentFigures) -> Vec<Row<'a>> {
    let row = |under_test: &'a str, pair: Option<&'a Agreement>| Row {
        table,
        segment,
        under_test,
        pair,
    };
    if !segment.agreement.is_empty() {
        let pairs = segment.agreement.iter();
        return pairs
            .map(|pair| row(&pair.under_test, Some(pair)))
            .collect();
    }
    let tested = table
        .streams
        .iter()
        .filter(|stream| stream.role == Role::UnderTest);
    let mut rows: Vec<Row<'a>> = tested.map(|stream| row(&stream.label, None)).collect();
    if rows.is_empty() {
        rows.push(row("", None));
    }
    rows
}
