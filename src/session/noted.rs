//! What a tester notes of the meters and the bike beside the recordings: zero offsets, the side that a
//! meter measures, the sprockets.

use std::fmt;

use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

/// The side on which a one-sided meter measures; it reports twice what it finds there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Side {
    /// The left crank arm or pedal.
    Left,
    /// The right one.
    Right,
}

impl Side {
    /// The word used in files, commands and screens.
    pub const fn word(self) -> &'static str {
        match self {
            Side::Left => "left",
            Side::Right => "right",
        }
    }

    /// Error of twice this side's power when the left leg makes `left_percent` of it, %: `2b − 100` for
    /// the left side.
    pub fn doubled_error_percent(self, left_percent: f64) -> f64 {
        match self {
            Side::Left => 2.0 * left_percent - 100.0,
            Side::Right => 100.0 - 2.0 * left_percent,
        }
    }
}

/// A zero offset as a meter shows it: `"512 raw"`, `"0.15 N·m"`, or a bare number.
#[derive(Clone, Debug, PartialEq)]
pub struct ZeroReading {
    /// The number.
    pub value: f64,
    /// The unit that the meter shows; empty where none is noted.
    pub unit: String,
}

impl ZeroReading {
    /// From a number with a unit behind it; `None` where no number stands first.
    pub fn parse(text: &str) -> Option<Self> {
        let text = text.trim().replace('−', "-");
        let is_number = |c: char| c.is_ascii_digit() || matches!(c, '+' | '-' | '.');
        let end = text.find(|c| !is_number(c)).unwrap_or(text.len());
        let value: f64 = text[..end].parse().ok().filter(|v: &f64| v.is_finite())?;
        Some(Self {
            value,
            unit: text[end..].trim().to_owned(),
        })
    }
}

impl fmt::Display for ZeroReading {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.value, self.unit)
    }
}

impl Serialize for ZeroReading {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(&self.to_string().trim_end())
    }
}

impl<'de> Deserialize<'de> for ZeroReading {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Visitor;
        impl de::Visitor<'_> for Visitor {
            type Value = ZeroReading;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a number and the unit that the meter shows, such as \"512 raw\"")
            }

            fn visit_str<E: de::Error>(self, text: &str) -> Result<ZeroReading, E> {
                let wrong = || {
                    E::custom(format!(
                        "“{text}” is no zero offset: write a number and the unit that the meter shows, such as \"512 raw\""
                    ))
                };
                ZeroReading::parse(text).ok_or_else(wrong)
            }

            fn visit_i64<E: de::Error>(self, value: i64) -> Result<ZeroReading, E> {
                self.visit_f64(value as f64)
            }

            fn visit_f64<E: de::Error>(self, value: f64) -> Result<ZeroReading, E> {
                self.visit_str(&value.to_string())
            }
        }
        deserializer.deserialize_any(Visitor)
    }
}

/// The sprockets on the bike: `[gears]` of the session file, where no recorder wrote them.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Gears {
    /// Teeth of the front sprockets ridden.
    pub front: Vec<f64>,
    /// Teeth of the rear sprockets.
    pub rear: Vec<f64>,
    /// Circumference of the wheel behind the recorded speed, m; [`Gears::CIRCUMFERENCE_M`] where absent.
    pub circumference_m: Option<f64>,
}

impl Gears {
    /// A road wheel (common practice, no source); sprockets are 4 % apart or more.
    pub const CIRCUMFERENCE_M: f64 = 2.1;
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::by_hand::{BY_HAND, parsed, refused};

    #[test]
    fn a_doubled_side_is_off_by_twice_what_the_balance_is() {
        // 48 % left, doubled: −4 % (questions a tester asks, "one-sided meter").
        assert_eq!(Side::Left.doubled_error_percent(48.0), -4.0);
        assert_eq!(Side::Right.doubled_error_percent(48.0), 4.0);
        assert_eq!(Side::Left.doubled_error_percent(50.0), 0.0);
    }

    #[test]
    fn a_zero_is_read_with_the_unit_that_the_meter_shows() {
        let zero = |written: &str| {
            let line = format!("offset_s = 0\nzero_before = {written}\n");
            parsed(&BY_HAND.replacen("offset_s = 0 ", &line, 1)).streams[0]
                .zero_before
                .clone()
        };
        let of = |value, unit: &str| {
            Some(ZeroReading {
                value,
                unit: unit.to_owned(),
            })
        };
        assert_eq!(zero("\"512 raw\""), of(512.0, "raw"));
        assert_eq!(zero("\"−0.15 N·m\""), of(-0.15, "N·m"));
        assert_eq!(zero("512"), of(512.0, ""));
        assert_eq!(zero("-1.5"), of(-1.5, ""));
        let line = "offset_s = 0\nzero_before = \"fine\"\n";
        let reported = refused(&BY_HAND.replacen("offset_s = 0 ", line, 1));
        assert!(reported.contains("“fine” is no zero offset"), "{reported}");
    }
}
