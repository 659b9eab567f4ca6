//! Many rides: a row a unit under each set point, with its own bias and where 95 % of its blocks on
//! other days are expected.

use super::gauge::look;
use super::parts::{Axis, Layer, Mark, Picture, Row, Stroke, Ticks};
use super::subject::{plain, signed};
use super::tone::Tone;
use crate::analysis::questions::Finding;
use crate::analysis::questions::answer::by_limits;

/// One unit (or ride) under a set point.
#[derive(Clone, Debug, PartialEq)]
pub struct Unit {
    /// What it is called.
    pub name: String,
    /// The biases of its rides, %.
    pub biases_percent: Vec<f64>,
    /// Their mean, %.
    pub mean_percent: f64,
    /// Its limits, %: nothing where one ride tells none.
    pub limits_percent: Option<[f64; 2]>,
}

/// Blocks that ask the same.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// What they ask, as "steady-block 180 W".
    pub name: String,
    /// The units that were asked.
    pub units: Vec<Unit>,
    /// What is allowed, ± %.
    pub margin_percent: Option<f64>,
}

/// The picture.
pub fn of(title: &str, facts: Vec<String>, groups: &[Group]) -> Picture {
    let mut rows: Vec<Row> = Vec::new();
    let mut layers = Vec::new();
    let mut reach: f64 = 0.5;
    let head = |name: &str| Row {
        name: name.to_owned(),
        value: String::new(),
        tone: Tone::Open,
    };
    for group in groups {
        rows.push(head(&group.name));
        let margin_percent = group.margin_percent;
        reach = margin_percent.map_or(reach, |m| reach.max(1.5 * m));
        for unit in &group.units {
            let y = rows.len() as f64;
            let outcome = outcome(unit, margin_percent);
            let (tone, mark) = match margin_percent {
                Some(_) => look(outcome),
                None => (Tone::Open, Mark::Disc),
            };
            if let Some(margin) = margin_percent {
                layers.insert(
                    0,
                    Layer::Ground {
                        name: String::new(),
                        x: [-margin, margin],
                        y: [y - 0.5, y + 0.5],
                        tone: Tone::Fine,
                    },
                );
            }
            let ends = unit.limits_percent.into_iter().flatten();
            let all = ends.chain(unit.biases_percent.iter().copied());
            reach = all.map(|v| 1.08 * v.abs()).fold(reach, f64::max);
            layers.extend(unit.limits_percent.map(|limits| Layer::Line {
                name: String::new(),
                points: limits.map(|x| [x, y]).to_vec(),
                tone,
                stroke: Stroke::Solid,
            }));
            if unit.biases_percent.len() > 1 {
                layers.push(Layer::Points {
                    name: "a ride".to_owned(),
                    points: unit.biases_percent.iter().map(|b| [*b, y]).collect(),
                    tone: Tone::Mute,
                    mark: Mark::Dot,
                });
            }
            layers.push(Layer::Points {
                name: String::new(),
                points: vec![[unit.mean_percent, y]],
                tone,
                mark,
            });
            let half = unit.limits_percent.map(|[low, high]| 0.5 * (high - low));
            let half = half.map_or_else(String::new, |h| format!("\u{a0}±\u{a0}{}", plain(h, 1)));
            rows.push(Row {
                name: format!("  {}", unit.name),
                value: format!("{}{half}\u{a0}%", signed(unit.mean_percent, 1)),
                tone,
            });
        }
    }
    layers.push(Layer::Upright {
        name: String::new(),
        at: 0.0,
        tone: Tone::Edge,
    });
    Picture {
        title: title.to_owned(),
        facts,
        x: Axis {
            ticks: Ticks::Signed,
            ..Axis::numbers("", "%", [-reach, reach])
        },
        y: Axis::rows(rows),
        layers,
    }
}

fn outcome(unit: &Unit, margin_percent: Option<f64>) -> Finding {
    let held = unit.limits_percent.zip(margin_percent);
    held.map_or(Finding::CannotTell, |(limits, margin)| {
        by_limits(limits, margin)
    })
}
