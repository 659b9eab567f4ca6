//! What every section of the page is made with.

use std::fmt::Write as _;

use crate::analysis::figures::SegmentFigures;
use crate::analysis::questions::{Finding, Findings};
use crate::analysis::ride::RideFindings;
use crate::analysis::table::Table;
use crate::export::ExportError;
use crate::export::figure::{self, Picture, PictureKind, Subject};
use crate::export::page::chart::{Anchor, Chart, rounded};
use crate::export::page::html::set;
use crate::picture::parts::{Layer, Mark, Ticks};
use crate::picture::tone::Tone;
use crate::session::{OpenedSession, Session};
use crate::text;
use crate::timeline::Aligned;
use crate::timeline::align::Alignment;

/// Everything a report is made of.
#[derive(Clone, Copy, Debug)]
pub struct Material<'a> {
    /// The session with its recordings.
    pub opened: &'a OpenedSession,
    /// The session whose segments are shown: its own, or with suggestions in their place where none is
    /// tagged.
    pub session: &'a Session,
    /// Its ride.
    pub aligned: &'a Aligned,
    /// What the whole ride shows.
    pub findings: &'a RideFindings,
    /// Every figure of `session`.
    pub table: &'a Table,
    /// Every question with its answer.
    pub answers: &'a Findings,
    /// What an estimate of the clocks says, beside those in use.
    pub clocks: &'a Alignment,
    /// Whether every figure and picture is wanted, not only what answers.
    pub full: bool,
}

impl<'a> Material<'a> {
    /// A window with its figures as a subject of pictures.
    pub(super) fn subject(&self, figures: SegmentFigures) -> Subject<'a> {
        Subject::of(self.session, self.aligned, self.findings, figures)
    }

    /// The whole ride as a subject of pictures.
    pub(super) fn ride(&self) -> Subject<'a> {
        Subject::ride(self.session, self.aligned, self.findings)
    }
}

/// A number for a page, with a real minus.
pub(super) fn number(value: f64, decimals: usize, signed: bool) -> String {
    text::number(value, decimals, signed).replace('-', "−")
}

/// [`number`], or a dash where there is none.
pub(super) fn optional(value: Option<f64>, decimals: usize, signed: bool) -> String {
    text::optional(value, decimals, signed).replace('-', "−")
}

/// Both ends of an interval, or a dash where there is none.
pub(super) fn interval(value: Option<[f64; 2]>, decimals: usize, signed: bool) -> String {
    text::interval(value, decimals, signed).replace('-', "−")
}

/// How large a picture stands in the page: height of its axes, px.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Size {
    /// Over the whole width.
    Whole,
    /// Two beside each other.
    Half,
}

/// A picture with its caption; empty where there is nothing to draw.
pub(super) fn drawn(
    kind: PictureKind,
    subject: &Subject<'_>,
    size: Size,
    caption: &str,
) -> Result<String, ExportError> {
    let picture = match figure::picture(kind, subject) {
        Ok(picture) => picture,
        Err(ExportError::NothingToDraw { .. }) => return Ok(String::new()),
        Err(other) => return Err(other),
    };
    let class = match size {
        Size::Whole => "",
        Size::Half => " class=\"half\"",
    };
    Ok(format!(
        "<figure{class}>\n<figcaption><b>{}</b> <span class=\"mute\">{}</span></figcaption>\n{}</figure>\n",
        set(caption),
        legend(&picture),
        chart(&picture, size)
    ))
}

/// The class of what a line or word stands for.
const fn class_of(tone: Tone) -> &'static str {
    match tone {
        Tone::Source(n) => match n % 2 {
            0 => "src",
            _ => "src2",
        },
        Tone::Reference(n) | Tone::Line(n) => match n % 3 {
            0 => "ref",
            1 => "ref2",
            _ => "ref3",
        },
        Tone::Model => "model",
        Tone::Fault => "fault",
        Tone::Fine => "fine",
        Tone::Open => "open",
        Tone::Edge => "claim",
        Tone::Spread => "spread",
        Tone::Rule | Tone::Grid => "rule",
        _ => "aside",
    }
}

/// The names of what is drawn, each in its tone.
fn legend(picture: &Picture) -> String {
    let mut seen: Vec<&str> = Vec::new();
    let mut out = String::new();
    for layer in picture.layers.iter().rev() {
        let name = layer.name();
        if name.is_empty() || seen.contains(&name) {
            continue;
        }
        seen.push(name);
        let class = match layer {
            Layer::Line { tone, .. }
            | Layer::Points { tone, .. }
            | Layer::Bars { tone, .. }
            | Layer::Rule { tone, .. }
            | Layer::Upright { tone, .. } => class_of(*tone),
            Layer::Ground { tone, .. } => class_of(*tone),
            Layer::Allowed { .. } => "fine",
            Layer::Gap { .. } => "fault",
            _ => "aside",
        };
        let comma = if out.is_empty() { "" } else { ", " };
        let _ = write!(out, "{comma}<span class=\"w-{class}\">{}</span>", set(name));
    }
    out
}

/// The picture in the page's own drawing, whose text keeps its size.
fn chart(picture: &Picture, size: Size) -> String {
    let (height, most_ticks) = match size {
        Size::Whole => (170.0, 8.0),
        Size::Half => (110.0, 4.0),
    };
    let mut chart = Chart::new(picture.x.range, picture.y.range, height, 22.0);
    for layer in &picture.layers {
        ground(&mut chart, layer);
    }
    let (_, step) = rounded(picture.y.range.into_iter(), 4.0);
    chart.ticks_y(step, picture.y.ticks == Ticks::Signed, picture.y.unit);
    match &picture.x.ticks {
        Ticks::Clock => chart.ticks_time(16.0, most_ticks),
        Ticks::Numbers | Ticks::Signed => {
            let (_, step) = rounded(picture.x.range.into_iter(), 5.0);
            chart.ticks_x(step, picture.x.unit);
        }
        Ticks::Durations => durations(&mut chart, picture.x.range),
        Ticks::Rows(_) => {}
    }
    for layer in &picture.layers {
        stroke(&mut chart, layer, picture.x.range);
    }
    let alt = format!("{}. {}", picture.title, picture.facts.join(" "));
    chart.finish(&alt)
}

fn durations(chart: &mut Chart, [from, to]: [f64; 2]) {
    let ticks = [
        (1.0, "1 s"),
        (10.0, "10 s"),
        (60.0, "1 min"),
        (600.0, "10 min"),
        (3600.0, "1 h"),
    ];
    for (seconds, name) in ticks {
        let at = f64::log10(seconds);
        if (from..=to).contains(&at) {
            let y = chart.bottom() + 16.0;
            chart.text("tick", Anchor::Middle, at, [0.0, y], name);
        }
    }
}

/// What lies under the grid.
fn ground(chart: &mut Chart, layer: &Layer) {
    match layer {
        Layer::Allowed { points, .. } => {
            for stretch in stretches(points) {
                chart.area("allowed", stretch);
            }
        }
        Layer::Gap { points, .. } => {
            for stretch in stretches(points) {
                chart.area("gap", stretch);
            }
        }
        Layer::Spread { points, .. } => {
            for stretch in stretches(points) {
                chart.area("spread", stretch);
            }
        }
        Layer::Ground { x, y, tone, .. } => {
            let class = match tone {
                Tone::Fine => "allowed",
                Tone::Fault => "gap",
                _ => "quiet",
            };
            match y.iter().all(|end| end.is_finite()) {
                true => chart.area(class, &[[x[0], y[0], y[1]], [x[1], y[0], y[1]]]),
                false => chart.ground(class, *x),
            }
        }
        _ => {}
    }
}

/// The pieces between breaks.
fn stretches(points: &[[f64; 3]]) -> impl Iterator<Item = &[[f64; 3]]> {
    let is_there = |p: &[f64; 3]| p.iter().all(|v| v.is_finite());
    points.split(move |p| !is_there(p)).filter(|s| s.len() > 1)
}

/// What lies over the grid.
fn stroke(chart: &mut Chart, layer: &Layer, x: [f64; 2]) {
    match layer {
        Layer::Line { points, tone, .. } => chart.line(class_of(*tone), points),
        Layer::Rule { at, tone, .. } => chart.line(class_of(*tone), &x.map(|x| [x, *at])),
        Layer::Upright { at, .. } => chart.rule("upright", *at),
        Layer::Bars { bars, tone, .. } => {
            for [x, low, high] in bars {
                let ends = [*low, *high].map(|v| chart.py(v));
                chart.upright(&format!("whisker-{}", class_of(*tone)), *x, ends);
            }
        }
        Layer::Points {
            points, tone, mark, ..
        } => {
            for [x, y] in points
                .iter()
                .filter(|p| p[0].is_finite() && p[1].is_finite())
            {
                let at = chart.py(*y);
                match mark {
                    Mark::Diamond => chart.mark(Finding::Fault, *x, at),
                    Mark::Ring => chart.mark(Finding::CannotTell, *x, at),
                    Mark::Disc => chart.mark(Finding::Fine, *x, at),
                    _ => chart.dot(class_of(*tone), *x, *y),
                }
            }
        }
        Layer::Label { at, text, tone } => {
            let y = chart.py(at[1]) - 6.0;
            let class = format!("label w-{}", class_of(*tone));
            chart.text(&class, Anchor::Middle, at[0], [0.0, y], text);
        }
        Layer::Allowed { points, .. } => {
            for stretch in stretches(points) {
                for end in [1, 2] {
                    let edge: Vec<[f64; 2]> = stretch.iter().map(|p| [p[0], p[end]]).collect();
                    chart.line("claim", &edge);
                }
            }
        }
        Layer::Gap { .. } | Layer::Spread { .. } | Layer::Ground { .. } | Layer::Cell { .. } => {}
    }
}
