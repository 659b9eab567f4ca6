//! Developer fields: what the file itself says of fields beyond the standard's own.

use std::collections::HashMap;

use super::fields::Fields;
use super::framing::RECORD;
use crate::recording::Channel;
use crate::recording::names::{Meaning, Quantity, meaning};
use crate::text::clean_text;

/// A developer field as a `field_description` message describes it.
#[derive(Clone, Debug)]
pub(super) struct Description {
    /// Which developer of the file.
    pub(super) developer: u8,
    /// Name, cleaned.
    pub(super) name: String,
    /// Base type.
    pub(super) base: u8,
    /// `value / scale - offset`, as in the FIT profile.
    pub(super) scale: f64,
    pub(super) offset: f64,
    /// What it holds, where name and unit, or the standard field it stands for, tell.
    pub(super) meaning: Option<Meaning>,
}

/// The descriptions seen so far in this section, by developer and field number.
#[derive(Debug, Default)]
pub(super) struct Descriptions {
    known: HashMap<(u8, u8), Description>,
}

impl Descriptions {
    /// Forgets the previous section's descriptions.
    pub(super) fn enter_section(&mut self) {
        self.known.clear();
    }

    /// The description of a field.
    pub(super) fn get(&self, developer: u8, number: u8) -> Option<&Description> {
        self.known.get(&(developer, number))
    }

    /// Takes one `field_description` message.
    pub(super) fn take(&mut self, fields: &mut Fields) {
        let (Some(developer), Some(number), Some(base)) =
            (fields.number(0), fields.number(1), fields.number(2))
        else {
            return;
        };
        let (developer, number) = (developer as u8, number as u8);
        let name = fields.text(3).map(|name| clean_text(name.trim()));
        let name = name
            .filter(|name| !name.is_empty())
            .unwrap_or_else(|| format!("developer field {developer}.{number}"));
        let unit = fields.text(8).map(|unit| clean_text(&unit));
        let stands_for = match (fields.number(14), fields.number(15)) {
            (message, Some(field)) if message.is_none_or(|m| m == f64::from(RECORD)) => {
                standard_channel(field as u8)
            }
            _ => None,
        };
        // One leg's power is no stream: here nothing adds the two.
        let mut meaning = meaning(&name, unit.as_deref())
            .filter(|meaning| !matches!(meaning.quantity, Quantity::OneLeg(_)));
        if let Some(channel) = stands_for {
            meaning = Some(Meaning {
                quantity: Quantity::Channel(channel),
                factor: 1.0,
                shift: 0.0,
                has_unit: true,
                named: true,
                rest: name.clone(),
            });
        }
        let description = Description {
            developer,
            name,
            base: base as u8 & 0x9F,
            scale: fields
                .number(6)
                .filter(|scale| *scale != 0.0)
                .unwrap_or(1.0),
            offset: fields.number(7).unwrap_or(0.0),
            meaning,
        };
        self.known.insert((developer, number), description);
    }
}

/// The channel of a field of the `record` message that a developer field may stand for.
fn standard_channel(field: u8) -> Option<Channel> {
    match field {
        2 | 78 => Some(Channel::Altitude),
        3 => Some(Channel::HeartRate),
        4 => Some(Channel::Cadence),
        6 | 73 => Some(Channel::Speed),
        7 => Some(Channel::Power),
        9 => Some(Channel::Grade),
        13 => Some(Channel::Temperature),
        _ => None,
    }
}
