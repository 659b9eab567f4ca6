//! What the columns hold, by their heads.

use crate::recording::names::{Meaning, Quantity, Side, meaning};
use crate::recording::vocabulary::{time_rank, time_unit, words};
use crate::recording::{Channel, ReadOptions};
use crate::text::clean_text;

/// What a row offers as a head.
#[derive(Clone, Debug, Default)]
pub(super) struct Head {
    pub(super) names: Vec<String>,
    pub(super) has_time: bool,
    pub(super) has_power: bool,
    /// Cells whose meaning is known.
    pub(super) recognised: usize,
}

impl Head {
    /// How near the row comes to a head.
    pub(super) fn promise(&self) -> (usize, usize) {
        (self.recognised, self.names.len())
    }
}

/// What the time column's head says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct TimeHead {
    /// Lower is better where several columns are times.
    pub(super) rank: u8,
    /// Seconds a unit, where told.
    pub(super) unit_s: Option<f64>,
}

/// One used column.
#[derive(Clone, Debug)]
pub(super) struct Column {
    /// Place in the row.
    pub(super) index: usize,
    /// Head, cleaned.
    pub(super) name: String,
    pub(super) role: Role,
}

/// What a column is used for.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Role {
    /// A channel or a target.
    Measured(Meaning),
    /// Lap numbers.
    Lap,
    /// The mode a trainer is in, in words.
    Mode,
}

/// Heads of a row, and what is recognised in them.
pub(super) fn looks_like_head(cells: &[Vec<u8>], options: &ReadOptions) -> Head {
    let names = clean(cells);
    // A row with numbers in it is data, unless the heads are told by the tester.
    let numbers = names
        .iter()
        .filter(|name| name.parse::<f64>().is_ok())
        .count();
    let mut head = Head::default();
    if numbers == 0 && names.len() > 1 {
        let mut legs = [false; 2];
        for name in &names {
            let time =
                is_specified(name, options.columns.time.as_deref()) || time_head(name).is_some();
            let meaning = meaning(name, None);
            let power = is_told_power(name, options) || meaning.as_ref().is_some_and(is_power);
            head.has_time |= time;
            head.has_power |= power;
            if let Some(side) = meaning.as_ref().and_then(leg) {
                legs[side as usize] = true;
            }
            head.recognised += usize::from(time || power || meaning.is_some());
        }
        head.has_power |= legs == [true; 2];
    }
    head.names = names;
    head
}

fn clean(cells: &[Vec<u8>]) -> Vec<String> {
    cells
        .iter()
        .map(|cell| clean_text(&String::from_utf8_lossy(cell)).trim().to_owned())
        .collect()
}

/// Whether `name` is the one told.
pub(super) fn is_specified(name: &str, specified: Option<&str>) -> bool {
    specified.is_some_and(|specified| specified.trim().to_lowercase() == name.to_lowercase())
}

/// Whether `name` is the power column told by the tester: the whole of it, or what stands before
/// the device in `column:device`.
fn is_told_power(name: &str, options: &ReadOptions) -> bool {
    let specified = options.columns.power.as_deref();
    let column = specified.and_then(|specified| Some(specified.rsplit_once(':')?.0));
    is_specified(name, specified) || is_specified(name, column)
}

/// The leg whose power a meaning is.
pub(super) fn leg(meaning: &Meaning) -> Option<Side> {
    match meaning.quantity {
        Quantity::OneLeg(side) => Some(side),
        _ => None,
    }
}

/// Whether a meaning is power.
pub(super) fn is_power(meaning: &Meaning) -> bool {
    meaning.quantity == Quantity::Channel(Channel::Power)
}

/// Whether a head is that of a time column.
pub(super) fn time_head(name: &str) -> Option<TimeHead> {
    let words = words(name);
    let (unit_s, rest) = match words.as_slice() {
        [rest @ .., unit] if !rest.is_empty() => match time_unit(unit) {
            Some(unit_s) => (Some(unit_s), rest),
            None => (None, words.as_slice()),
        },
        _ => (None, words.as_slice()),
    };
    if let Some(rank) = time_rank(rest) {
        return Some(TimeHead { rank, unit_s });
    }
    match rest {
        // A lone "m" or "h" is more likely something else.
        [unit] if !matches!(unit.as_str(), "m" | "h") => Some(TimeHead {
            rank: 4,
            unit_s: Some(time_unit(unit)?),
        }),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn time_columns_are_known_by_usual_names_and_units() {
        for (name, unit_s) in [
            ("time", None),
            ("Time (s)", Some(1.0)),
            ("time_ms", Some(1e-3)),
            ("Timestamp", None),
            ("secs", Some(1.0)),
            ("Elapsed [min]", Some(60.0)),
            ("t", None),
            ("unix_time", None),
        ] {
            let head = time_head(name).unwrap_or_else(|| panic!("{name}"));
            assert_eq!(head.unit_s, unit_s, "{name}");
        }
        for name in ["lap time", "power", "temperature", "m", "set", "delta time"] {
            assert_eq!(time_head(name), None, "{name}");
        }
    }
}
