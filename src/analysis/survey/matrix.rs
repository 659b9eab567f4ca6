//! A tester's questions by unit: what each unit answers, and how many answer how.

use serde::Serialize;

use super::model::{Asked, Surveyed};
use crate::analysis::questions::{Finding, Question};
use crate::stats::Interval;

/// Most units that stand side by side; of more only the counts are kept.
pub const MOST_UNITS: usize = 24;

/// Questions by unit.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Matrix {
    /// The units, in order; empty where there are too many to stand side by side.
    pub units: Vec<String>,
    /// A row a question.
    pub rows: Vec<QuestionRow>,
}

/// What all units answer to a question.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct QuestionRow {
    /// The question.
    pub question: Question,
    /// Unit of its values.
    pub unit: &'static str,
    /// What they are held against, where that is the same everywhere.
    pub limit: Option<f64>,
    /// How many units answer how.
    pub counts: Counts,
    /// One a unit.
    pub cells: Vec<Cell>,
}

/// How many units answer how.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Counts {
    /// With a fault.
    pub fault: usize,
    /// Open.
    pub cannot_tell: usize,
    /// Fine.
    pub fine: usize,
    /// Not asked by any ride.
    pub not_ridden: usize,
}

/// What one unit answers: that of its worst ride.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Cell {
    /// The answer.
    pub outcome: Finding,
    /// The number that decides.
    pub value: Option<f64>,
    /// Its 95 % limits.
    #[serde(skip)]
    pub interval: Option<Interval>,
    /// What its size is held against.
    #[serde(skip)]
    pub limit: Option<f64>,
    /// Rides that answer so.
    pub rides: usize,
    /// Rides of the unit.
    pub of: usize,
}

/// One unit with its rides.
pub(super) struct Unit<'a> {
    /// What it is called.
    pub name: String,
    /// Its rides.
    pub rides: Vec<&'a Surveyed>,
}

/// The units of a survey: the values of the fact grouped by, else its sessions.
pub(super) fn units<'a>(by: Option<&str>, sessions: &'a [Surveyed]) -> Vec<Unit<'a>> {
    let mut units: Vec<Unit<'a>> = Vec::new();
    for session in sessions {
        let name = match by {
            None => session.session.clone(),
            Some(key) => match &session.by {
                Some(value) => value.clone(),
                None => format!("no {key}"),
            },
        };
        match units
            .iter_mut()
            .find(|unit| by.is_some() && unit.name == name)
        {
            Some(unit) => unit.rides.push(session),
            None => units.push(Unit {
                name,
                rides: vec![session],
            }),
        }
    }
    units.sort_by(|a, b| a.name.cmp(&b.name));
    units
}

pub(super) fn matrix(units: &[Unit<'_>]) -> Matrix {
    let row = |question: &Question| {
        let cells: Vec<(Cell, &'static str)> =
            units.iter().map(|unit| cell(*question, unit)).collect();
        let mut counts = Counts::default();
        for (cell, _) in &cells {
            *counts.of(cell.outcome) += 1;
        }
        let named = cells
            .iter()
            .map(|(_, unit)| *unit)
            .find(|unit| !unit.is_empty());
        let mut limits = cells.iter().filter_map(|(cell, _)| cell.limit);
        let first = limits.next();
        // What a claim of 2 % allows at 181 W is 2 % but for rounding.
        let is_same = |limit: f64| first.is_some_and(|first| (limit / first - 1.0).abs() < 1e-6);
        let same = limits.all(is_same);
        QuestionRow {
            question: *question,
            unit: named.unwrap_or(""),
            limit: first.filter(|_| same),
            counts,
            cells: match units.len() > MOST_UNITS {
                true => Vec::new(),
                false => cells.into_iter().map(|(cell, _)| cell).collect(),
            },
        }
    };
    Matrix {
        units: match units.len() > MOST_UNITS {
            true => Vec::new(),
            false => units.iter().map(|unit| unit.name.clone()).collect(),
        },
        rows: Question::ALL.iter().map(row).collect(),
    }
}

impl Matrix {
    /// The rows as they are shown: those with a fault first, then those that are open, the order of the
    /// list within each; without what no unit rode.
    pub fn ranked(&self) -> Vec<&QuestionRow> {
        let rank = |row: &&QuestionRow| match row.counts {
            counts if counts.fault > 0 => 0,
            counts if counts.cannot_tell > 0 => 1,
            _ => 2,
        };
        let mut rows: Vec<&QuestionRow> = self.rows.iter().filter(|row| row.is_ridden()).collect();
        rows.sort_by_key(rank);
        rows
    }
}

impl QuestionRow {
    /// Whether any unit rode what the question takes.
    pub const fn is_ridden(&self) -> bool {
        self.counts.fault + self.counts.cannot_tell + self.counts.fine > 0
    }
}

impl Counts {
    fn of(&mut self, outcome: Finding) -> &mut usize {
        match outcome {
            Finding::Fault => &mut self.fault,
            Finding::CannotTell => &mut self.cannot_tell,
            Finding::Fine => &mut self.fine,
            Finding::NotRidden => &mut self.not_ridden,
        }
    }
}

/// How much an answer counts beside others: what nobody rode counts least.
const fn harm(outcome: Finding) -> u8 {
    match outcome {
        Finding::Fault => 3,
        Finding::CannotTell => 2,
        Finding::Fine => 1,
        Finding::NotRidden => 0,
    }
}

fn cell(question: Question, unit: &Unit<'_>) -> (Cell, &'static str) {
    let size = |asked: &Asked| {
        let value = asked.value.map_or(0.0, f64::abs);
        value / asked.limit.filter(|limit| *limit > 0.0).unwrap_or(1.0)
    };
    let worse = |a: &&Asked, b: &&Asked| {
        let by_harm = harm(a.outcome).cmp(&harm(b.outcome));
        by_harm.then(size(a).total_cmp(&size(b)))
    };
    let of_ride = |ride: &'_ &Surveyed| -> Option<Asked> {
        let asked = ride.questions.iter().filter(|a| a.question == question);
        asked.max_by(worse).cloned()
    };
    let answers: Vec<Asked> = unit.rides.iter().filter_map(of_ride).collect();
    let worst = answers.iter().max_by(worse);
    let outcome = worst.map_or(Finding::NotRidden, |asked| asked.outcome);
    let cell = Cell {
        outcome,
        value: worst.and_then(|asked| asked.value),
        interval: worst.and_then(|asked| asked.interval),
        limit: worst.and_then(|asked| asked.limit),
        rides: answers
            .iter()
            .filter(|asked| asked.outcome == outcome)
            .count(),
        of: unit.rides.len(),
    };
    (cell, worst.map_or("", |asked| asked.unit))
}
