//! Hands messages to `fitparser` for decoding.
//!
//! `fitparser` gets only what the reader wants and what it can decode safely: every definition is
//! rewritten to hold the wanted fields alone, and every data message is cut accordingly. So it
//! never meets a field whose size does not fit its type (of which it would complain on the
//! terminal), a developer field without description (at which it would stop), or the hundred
//! fields that nobody reads (for which it would allocate). A developer field is presented as an
//! ordinary field with a number that the message does not use otherwise.

use fitparser::Value;
use fitparser::de::{DecodeOption, FitObject, FitStreamProcessor};

use super::framing::{Layout, Slot, base_size};

/// A field to decode: where it stands, and the number under which its value is to be returned.
pub(super) struct Pick<'a> {
    /// The field in the file.
    pub(super) slot: &'a Slot,
    /// Base type to decode it with.
    pub(super) base: u8,
    /// Number under which [`Decoder::decode`] returns the value.
    pub(super) number: u8,
}

/// Decodes the wanted fields of one section's messages.
pub(super) struct Decoder {
    processor: FitStreamProcessor,
    cuts: [Option<Vec<(usize, usize)>>; 16],
    message: Vec<u8>,
}

/// A file header without check sum that promises more than any file holds: where the messages end
/// is decided by the framing.
const HEADER: [u8; 12] = [
    12, 0x20, 0, 0, 0xFF, 0xFF, 0xFF, 0x7F, b'.', b'F', b'I', b'T',
];

impl Decoder {
    /// A decoder for a new section.
    pub(super) fn new() -> Self {
        let mut processor = FitStreamProcessor::new();
        processor.add_option(DecodeOption::SkipHeaderCrcValidation);
        processor.add_option(DecodeOption::SkipDataCrcValidation);
        // Accepted by construction; were it not, no message would decode, and the reader says so.
        let _ = processor.deserialize_next(&HEADER);
        Self {
            processor,
            cuts: Default::default(),
            message: Vec::new(),
        }
    }

    /// Sets the fields to decode from messages with local number `local`. Returns how many picks
    /// were refused because the field's size does not fit its type.
    pub(super) fn define(&mut self, local: usize, layout: &Layout, picks: &[Pick]) -> usize {
        let fits: Vec<&Pick> = picks.iter().filter(|pick| is_decodable(pick)).collect();
        let refused = picks.len() - fits.len();
        self.cuts[local] = None;
        // A definition counts its fields in one byte.
        let fits = fits.get(..255).unwrap_or(&fits);
        if fits.is_empty() {
            return refused;
        }
        let global = if layout.big_endian {
            layout.global.to_be_bytes()
        } else {
            layout.global.to_le_bytes()
        };
        self.message.clear();
        self.message.extend([
            0x40 | local as u8,
            0,
            u8::from(layout.big_endian),
            global[0],
            global[1],
            fits.len() as u8,
        ]);
        for pick in fits {
            self.message
                .extend([pick.number, pick.slot.size as u8, pick.base]);
        }
        if self.processor.deserialize_next(&self.message).is_ok() {
            self.cuts[local] = Some(
                fits.iter()
                    .map(|pick| (pick.slot.at, pick.slot.at + pick.slot.size))
                    .collect(),
            );
        }
        refused
    }

    /// Whether messages with local number `local` have fields to decode.
    pub(super) fn wants(&self, local: usize) -> bool {
        self.cuts[local].is_some()
    }

    /// The valid values of one data message, each with its number, in no particular order.
    pub(super) fn decode(
        &mut self,
        local: usize,
        payload: &[u8],
    ) -> impl Iterator<Item = (u8, Value)> {
        self.message.clear();
        if let Some(cuts) = &self.cuts[local] {
            self.message.push(local as u8);
            for (from, to) in cuts {
                self.message
                    .extend(payload.get(*from..*to).unwrap_or_default());
            }
        }
        let fields = match self.processor.deserialize_next(&self.message) {
            Ok((_, FitObject::DataMessage(message))) if !self.message.is_empty() => message.fields,
            _ => Default::default(),
        };
        fields.into_iter()
    }
}

fn is_decodable(pick: &Pick) -> bool {
    base_size(pick.base).is_some_and(|size| {
        pick.slot.size > 0 && pick.slot.size <= 255 && pick.slot.size.is_multiple_of(size)
    })
}

/// A value as a number: of an array the first valid element; `None` for text.
pub(super) fn number(value: &Value) -> Option<f64> {
    match value {
        Value::Byte(v) | Value::Enum(v) | Value::UInt8(v) | Value::UInt8z(v) => Some(f64::from(*v)),
        Value::SInt8(v) => Some(f64::from(*v)),
        Value::SInt16(v) => Some(f64::from(*v)),
        Value::UInt16(v) | Value::UInt16z(v) => Some(f64::from(*v)),
        Value::SInt32(v) => Some(f64::from(*v)),
        Value::UInt32(v) | Value::UInt32z(v) => Some(f64::from(*v)),
        Value::Float32(v) => Some(f64::from(*v)),
        Value::Float64(v) => Some(*v),
        Value::SInt64(v) => Some(*v as f64),
        Value::UInt64(v) | Value::UInt64z(v) => Some(*v as f64),
        Value::Array(values) => values.iter().find_map(number),
        Value::Timestamp(_) | Value::String(_) | Value::Invalid => None,
    }
    .filter(|number| number.is_finite())
}

/// A value as text.
pub(super) fn text(value: Value) -> Option<String> {
    match value {
        Value::String(text) => Some(text),
        _ => None,
    }
}
