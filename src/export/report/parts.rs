//! What every section of the page is made with.

use super::html::escaped;
use crate::analysis::questions::Findings;
use crate::analysis::ride::RideFindings;
use crate::analysis::table::Table;
use crate::export::ExportError;
use crate::export::figure::{self, Backdrop, PictureKind, Subject};
use crate::session::OpenedSession;
use crate::text;
use crate::timeline::Aligned;
use crate::timeline::align::Alignment;

/// Width at which the pictures inside are drawn, pixels.
const PICTURE_WIDTH: u32 = 1200;

/// Everything a report is made of.
#[derive(Clone, Copy, Debug)]
pub struct Material<'a> {
    /// The session with its recordings.
    pub opened: &'a OpenedSession,
    /// Its ride.
    pub aligned: &'a Aligned,
    /// What the whole ride shows.
    pub findings: &'a RideFindings,
    /// Every figure of it.
    pub table: &'a Table,
    /// Every question with its answer.
    pub answers: &'a Findings,
    /// What an estimate of the clocks says, beside those in use.
    pub clocks: &'a Alignment,
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

/// A picture as it stands in the page; empty where there is nothing to draw.
pub(super) fn drawn(kind: PictureKind, subject: &Subject<'_>) -> Result<String, ExportError> {
    let picture = match figure::picture(kind, subject) {
        Ok(picture) => picture,
        Err(ExportError::NothingToDraw { .. }) => return Ok(String::new()),
        Err(other) => return Err(other),
    };
    let svg = figure::svg(&picture, PICTURE_WIDTH, Backdrop::Light)?;
    // Within a page the drawing scales with it and needs no namespace.
    let body = svg.split_once('>').map_or("", |(_, body)| body);
    let height = figure::size_of(&picture, PICTURE_WIDTH).1;
    let alt = format!("{}. {}", picture.title, picture.facts.join(" "));
    Ok(format!(
        "<figure>\n<svg viewBox=\"0 0 {PICTURE_WIDTH} {height}\" role=\"img\" aria-label=\"{}\">{body}<figcaption>{}</figcaption>\n</figure>\n",
        escaped(&alt),
        escaped(&picture.title)
    ))
}
