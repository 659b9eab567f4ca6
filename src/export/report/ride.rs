//! What the whole ride shows: the traces, dropouts, excursions, coverage, curves.

use super::parts::{Material, Size, drawn};
use crate::export::ExportError;
use crate::export::figure::{PictureKind, Subject};
use crate::export::page::html::{escaped, list, table};
use crate::export::table::{bands, sections};

pub(super) fn body(material: &Material<'_>, ride: &Subject<'_>) -> Result<String, ExportError> {
    let mut out = drawn(
        PictureKind::Traces,
        ride,
        Size::Whole,
        "Power of every stream.",
    )?;
    out.push_str(&drawn(
        PictureKind::ErrorCurve,
        ride,
        Size::Whole,
        "Error against power, all blocks.",
    )?);
    for (title, notes) in sections(material.table) {
        out.push_str(&format!("<h3>{}</h3>\n{}", escaped(title), list(notes)));
    }
    out.push_str(&table("Bias by band", &bands(material.table)));
    out.push_str(&drawn(
        PictureKind::MeanMax,
        ride,
        Size::Whole,
        "Mean-maximal power.",
    )?);
    Ok(out)
}
