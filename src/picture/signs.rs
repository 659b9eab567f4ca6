//! Answers of many: a row a question, a column a unit, a mark where they meet.

use super::gauge::look;
use super::parts::{Axis, Layer, Picture, Row, Ticks};
use super::tone::Tone;
use crate::analysis::questions::Finding;

/// What all units answer to one question.
#[derive(Clone, Debug, PartialEq)]
pub struct Asked {
    /// The question.
    pub name: String,
    /// One a unit.
    pub outcomes: Vec<Finding>,
}

/// The picture.
pub fn of(title: &str, facts: Vec<String>, units: &[String], asked: &[Asked]) -> Picture {
    let mut layers = Vec::new();
    let mut rows = Vec::new();
    for (y, question) in asked.iter().enumerate() {
        for (x, outcome) in question.outcomes.iter().enumerate() {
            let (tone, mark) = look(*outcome);
            if *outcome != Finding::NotRidden {
                layers.push(Layer::Points {
                    name: String::new(),
                    points: vec![[x as f64, y as f64]],
                    tone,
                    mark,
                });
            }
        }
        let faults = question.outcomes.iter().filter(|o| **o == Finding::Fault);
        let (value, tone) = match (faults.count(), question.outcomes.as_slice()) {
            (0, all) if all.iter().all(|o| *o == Finding::NotRidden) => {
                ("not ridden".to_owned(), Tone::Mute)
            }
            (0, _) => ("no fault".to_owned(), Tone::Mute),
            (1, _) => ("1 fault".to_owned(), Tone::Fault),
            (n, _) => (format!("{n} faults"), Tone::Fault),
        };
        rows.push(Row {
            name: question.name.clone(),
            value,
            tone,
        });
    }
    let column = |name: &String| Row {
        name: name.clone(),
        value: String::new(),
        tone: Tone::Open,
    };
    Picture {
        title: title.to_owned(),
        facts,
        x: Axis {
            ticks: Ticks::Rows(units.iter().map(column).collect()),
            ..Axis::numbers("", "", [-0.5, units.len() as f64 - 0.5])
        },
        y: Axis::rows(rows),
        layers,
    }
}
