//! The decoded fields of one message.

use fitparser::Value;

use super::decode::{number, text};

/// The decoded fields of one message.
pub(super) struct Fields(pub(super) Vec<(u8, Value)>);

impl Fields {
    pub(super) fn number(&self, field: u8) -> Option<f64> {
        let (_, value) = self.0.iter().find(|(number, _)| *number == field)?;
        number(value)
    }

    pub(super) fn text(&mut self, field: u8) -> Option<String> {
        let index = self.0.iter().position(|(number, _)| *number == field)?;
        text(self.0.swap_remove(index).1).filter(|text| !text.trim().is_empty())
    }
}
