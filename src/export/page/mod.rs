//! What every page is made with: the document with its styles, tables, drawings that keep their text.

pub(in crate::export) mod chart;
pub(in crate::export) mod html;
