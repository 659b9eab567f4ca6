//! What every section of the page is made with.

use std::fmt::Write as _;

use super::chart::{Anchor, Chart, rounded};
use super::html::{escaped, set};
use crate::analysis::questions::Findings;
use crate::analysis::ride::RideFindings;
use crate::analysis::table::Table;
use crate::export::ExportError;
use crate::export::figure::{self, Ink, Layer, Picture, PictureKind, Style, Subject, Ticks};
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
        let tone = match layer {
            Layer::Line { style, .. } | Layer::Points { style, .. } | Layer::Rule { style, .. } => {
                class_of(*style)
            }
            Layer::Band { .. } => "claim",
            _ => "plain",
        };
        let comma = if out.is_empty() { "" } else { ", " };
        let _ = write!(
            out,
            "{comma}<span class=\"w-{tone}\">{}</span>",
            escaped(name)
        );
    }
    out
}

/// The class of a line.
const fn class_of(style: Style) -> &'static str {
    match (style.ink, style.dashed) {
        (Ink::Vermilion, false) => "src",
        (Ink::Black, false) if style.weight < 1.0 => "zero",
        (Ink::Black, true) => "model",
        (Ink::Black | Ink::Blue, false) => "ref",
        (Ink::Blue, true) => "claim",
        (Ink::Green, _) => "ref2",
        (Ink::Sky, _) => "ref3",
        _ => "aside",
    }
}

/// The picture in the page's own drawing, whose text keeps its size.
fn chart(picture: &Picture, size: Size) -> String {
    let (height, most_ticks) = match size {
        Size::Whole => (170.0, 8.0),
        Size::Half => (110.0, 4.0),
    };
    let is_signed = !picture.y.label.starts_with("power");
    // Without the room that the axis has beyond its data.
    let [low, high] = picture.y.range;
    let room = (high - low) * 0.05 / 1.1;
    let (y, step) = rounded([low + room, high - room].into_iter(), 4.0);
    let mut chart = Chart::new(picture.x.range, y, height, 22.0);
    let unit = picture.y.label.rsplit(", ").next().unwrap_or_default();
    for layer in &picture.layers {
        if let Layer::Band { between, .. } = layer {
            chart.band("allowed", *between);
        }
    }
    chart.ticks_y(step, is_signed, unit);
    match picture.x.ticks {
        Ticks::Clock => chart.ticks_time(16.0, most_ticks),
        Ticks::Numbers => {
            let (_, step) = rounded(picture.x.range.into_iter(), 5.0);
            let unit = picture.x.label.rsplit(", ").next().unwrap_or_default();
            chart.ticks_x(step, unit);
        }
        Ticks::Durations => {
            for (seconds, name) in [
                (1.0, "1 s"),
                (10.0, "10 s"),
                (60.0, "1 min"),
                (600.0, "10 min"),
                (3600.0, "1 h"),
            ] {
                let at = f64::log10(seconds);
                if (picture.x.range[0]..=picture.x.range[1]).contains(&at) {
                    let y = chart.bottom() + 16.0;
                    chart.text("tick", Anchor::Middle, at, [0.0, y], name);
                }
            }
        }
    }
    for layer in &picture.layers {
        match layer {
            Layer::Line { points, style, .. } => chart.line(class_of(*style), points),
            Layer::Points { points, style, .. } => {
                for [x, y] in points {
                    chart.dot(class_of(*style), *x, *y);
                }
            }
            Layer::Rule { at, style, .. } => {
                let ends = picture.x.range.map(|x| [x, *at]);
                chart.line(class_of(*style), &ends);
            }
            Layer::Upright { at, .. } => chart.rule("upright", *at),
            Layer::Band { .. } | Layer::Cell { .. } => {}
        }
    }
    let alt = format!("{}. {}", picture.title, picture.facts.join(" "));
    chart.finish(&alt)
}
