//! Values with their limits against what is allowed, a row each: the pieces of one answer, or all
//! answers of a ride in units of their limits.

use super::gauge::{Gauge, LIMITS, look};
use super::parts::{Axis, Layer, Mark, Picture, Row, Stroke, Ticks};
use super::subject::{plain, signed};
use super::tone::Tone;
use crate::analysis::questions::{Answer, Finding, Findings};
use crate::text::one_line;

/// Room beyond the longest interval, and least reach in limits.
const ROOM: f64 = 1.08;
const LEAST: f64 = 1.25;

/// One row.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// What it is of.
    pub name: String,
    /// Its value.
    pub value: f64,
    /// Its limits.
    pub interval: [f64; 2],
    /// What its size is held against; nothing: 0.
    pub limit: f64,
    /// How it looks.
    pub look: (Tone, Mark),
    /// What it says in words, behind its figure.
    pub word: String,
}

/// The pieces of an answer.
///
/// # Errors
/// Where it has none.
pub fn of(answer: &Answer) -> Result<Picture, String> {
    if answer.parts.is_empty() {
        return Err(format!(
            "{} has no pieces to compare",
            answer.question.key()
        ));
    }
    let entries = answer.parts.iter().map(|part| Entry {
        name: match part.segment {
            0 => one_line(&part.what),
            id => format!("{id}  {}", one_line(&part.what)),
        },
        value: part.value,
        interval: part.interval,
        limit: part.limit,
        look: look(part.outcome),
        word: match part.outcome {
            Finding::Fault => "beyond",
            Finding::Fine => "within",
            Finding::CannotTell | Finding::NotRidden => "cannot tell",
        }
        .to_owned(),
    });
    let entries: Vec<Entry> = entries.collect();
    Ok(rows(
        answer.question.asks(),
        vec![answer.sentence.clone()],
        &entries,
        answer.unit,
    ))
}

/// Entries under each other on one scale around zero.
pub fn rows(title: &str, facts: Vec<String>, entries: &[Entry], unit: &'static str) -> Picture {
    let ends = entries.iter().flat_map(|e| {
        let [low, high] = e.interval;
        [low.abs(), high.abs(), e.value.abs(), LEAST * e.limit]
    });
    let reach = ROOM * ends.filter(|v| v.is_finite()).fold(1e-9, f64::max);
    let mut layers = Vec::new();
    for (row, entry) in entries.iter().enumerate() {
        if entry.limit > 0.0 {
            layers.push(ground(row, [-entry.limit, entry.limit]));
        }
    }
    layers.push(Layer::Upright {
        name: String::new(),
        at: 0.0,
        tone: Tone::Edge,
    });
    for (row, entry) in entries.iter().enumerate() {
        layers.extend(marked(row, entry.value, entry.interval, entry.look));
    }
    let row = |entry: &Entry| {
        let half = 0.5 * (entry.interval[1] - entry.interval[0]);
        let half = match half > 0.0 {
            true => format!("\u{a0}±\u{a0}{}", plain(half, 1)),
            false => String::new(),
        };
        Row {
            name: entry.name.clone(),
            value: format!(
                "{}{half}\u{a0}{unit}  {}",
                signed(entry.value, 1),
                entry.word
            ),
            tone: entry.look.0,
        }
    };
    Picture {
        title: title.to_owned(),
        facts,
        x: Axis {
            ticks: Ticks::Signed,
            ..Axis::numbers("", unit, [-reach, reach])
        },
        y: Axis::rows(entries.iter().map(row).collect()),
        layers,
    }
}

/// All answers of a ride: the size of each in units of its limit.
///
/// # Errors
/// Where nothing was asked.
pub fn answers(findings: &Findings) -> Result<Picture, String> {
    let ranked = findings.ranked();
    if ranked.is_empty() {
        return Err("no stream carries power".to_owned());
    }
    let several = findings.has_several_sources();
    let mut layers = Vec::new();
    for (row, answer) in ranked.iter().enumerate() {
        if answer.outcome != Finding::NotRidden {
            layers.push(ground(row, [0.0, 1.0]));
        }
    }
    for (row, answer) in ranked.iter().enumerate() {
        let Some(gauge) = Gauge::of(answer) else {
            continue;
        };
        let y = row as f64;
        let tone = look(answer.outcome).0;
        if gauge.is_off() {
            layers.push(mark([0.985 * LIMITS, y], tone, Mark::Beyond));
        } else {
            let ends = [gauge.low, gauge.high.min(LIMITS)];
            layers.extend(marked(row, gauge.value, ends, look(answer.outcome)));
        }
    }
    let name = |answer: &Answer| match several && !answer.source.is_empty() {
        true => format!("{}, {}", answer.question.key(), one_line(&answer.source)),
        false => answer.question.key().to_owned(),
    };
    let rows = ranked.iter().map(|answer| Row {
        name: name(answer),
        value: one_line(&answer.brief),
        tone: look(answer.outcome).0,
    });
    Ok(Picture {
        title: format!("{}.", one_line(&findings.headline)),
        facts: vec![
            "The size of each value with its 95 % limits, in units of what it is held against; green: allowed."
                .to_owned(),
        ],
        x: Axis::numbers("", "×", [0.0, LIMITS]),
        y: Axis::rows(rows.collect()),
        layers,
    })
}

fn ground(row: usize, x: [f64; 2]) -> Layer {
    let y = row as f64;
    Layer::Ground {
        name: String::new(),
        x,
        y: [y - 0.5, y + 0.5],
        tone: Tone::Fine,
    }
}

fn mark(at: [f64; 2], tone: Tone, mark: Mark) -> Layer {
    Layer::Points {
        name: String::new(),
        points: vec![at],
        tone,
        mark,
    }
}

/// A value over its interval.
fn marked(row: usize, value: f64, interval: [f64; 2], (tone, shape): (Tone, Mark)) -> Vec<Layer> {
    let y = row as f64;
    let line = Layer::Line {
        name: String::new(),
        points: interval.map(|x| [x, y]).to_vec(),
        tone,
        stroke: Stroke::Solid,
    };
    let is_wide = interval[1] > interval[0];
    let line = is_wide.then_some(line);
    line.into_iter()
        .chain([mark([value, y], tone, shape)])
        .collect()
}
