//! What a column head or a developer field's name and unit say of its contents.
//!
//! Only words in general use and units decide; no maker's naming is known here.

use super::Channel;

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Quantity {
    /// A channel of a stream.
    Channel(Channel),
    /// The power that a workout or a controller asks for, W.
    TargetPower,
}

/// A column's meaning: `value_in_our_unit = value * factor + shift`.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Meaning {
    pub(super) quantity: Quantity,
    pub(super) factor: f64,
    pub(super) shift: f64,
    /// Whether a unit was given.
    pub(super) has_unit: bool,
    /// The words that tell this column from others of the same quantity, lower case.
    pub(super) rest: String,
}

/// Words that make a power column something else than power moment by moment.
const NOT_MOMENTARY: &[&str] = &[
    "accumulated",
    "average",
    "avg",
    "effectiveness",
    "goal",
    "kg",
    "lap",
    "left",
    "max",
    "maximum",
    "mean",
    "min",
    "minimum",
    "motor",
    "normalised",
    "normalized",
    "peak",
    "phase",
    "ratio",
    "right",
    "smoothed",
    "smoothness",
    "sum",
    "threshold",
    "total",
    "zone",
];

/// Words for a power that is asked for.
const ASKED_FOR: &[&str] = &["demand", "erg", "set", "setpoint", "target"];

/// The meaning of a column named `head`, whose unit stands in `unit` or else in the head itself:
/// "Power (W)", "power [W]", "hub_power_w".
pub(super) fn meaning(head: &str, unit: Option<&str>) -> Option<Meaning> {
    let (name, bracketed) = split_unit(head);
    let unit = unit
        .map(str::trim)
        .filter(|unit| !unit.is_empty())
        .map(str::to_owned)
        .or(bracketed);
    let mut words = words(&name);
    let quantity = quantity(&words, unit.as_deref())?;
    let channel = match quantity {
        Quantity::Channel(channel) => channel,
        Quantity::TargetPower => Channel::Power,
    };
    let (factor, shift, has_unit) = match unit {
        Some(unit) => {
            let (factor, shift) = conversion(channel, &unit)?;
            (factor, shift, true)
        }
        None => match trailing_unit(channel, &mut words) {
            Some((factor, shift)) => (factor, shift, true),
            None => (1.0, 0.0, false),
        },
    };
    words.retain(|word| !is_common(word, quantity));
    Some(Meaning {
        quantity,
        factor,
        shift,
        has_unit,
        rest: words.join(" "),
    })
}

/// The name and the unit in its last pair of brackets.
fn split_unit(head: &str) -> (String, Option<String>) {
    let head = head.trim();
    for (open, close) in [('(', ')'), ('[', ']')] {
        if let Some((name, rest)) = head.rsplit_once(open)
            && let Some((unit, after)) = rest.split_once(close)
        {
            let unit = unit.trim();
            let name = format!("{name} {after}");
            return (name, (!unit.is_empty()).then(|| unit.to_owned()));
        }
    }
    (head.to_owned(), None)
}

/// Lower-case words; a capital after a small letter begins a new one.
pub(super) fn words(name: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut small = false;
    for c in name.chars() {
        let divides = !(c.is_alphanumeric() || matches!(c, '°' | '%'));
        if (divides || (small && c.is_uppercase())) && words.last().is_some_and(|w| !w.is_empty()) {
            words.push(String::new());
        }
        small = c.is_lowercase();
        if !divides && let Some(word) = words.last_mut() {
            word.extend(c.to_lowercase());
        }
    }
    words.retain(|word| !word.is_empty());
    words
}

fn quantity(words: &[String], unit: Option<&str>) -> Option<Quantity> {
    let has = |list: &[&str]| words.iter().any(|word| list.contains(&word.as_str()));
    let in_watts = unit
        .or(words.last().map(String::as_str).filter(|_| words.len() > 1))
        .is_some_and(|unit| conversion(Channel::Power, unit).is_some());
    let channel = if has(names(Channel::Balance)) {
        Channel::Balance
    } else if in_watts || has(names(Channel::Power)) {
        if has(ASKED_FOR) {
            return Some(Quantity::TargetPower);
        }
        if has(NOT_MOMENTARY) || words.iter().any(|word| is_span(word)) {
            return None;
        }
        Channel::Power
    } else {
        [
            Channel::Cadence,
            Channel::HeartRate,
            Channel::Temperature,
            Channel::Speed,
        ]
        .into_iter()
        .find(|channel| has(names(*channel)))?
    };
    if channel != Channel::Balance && has(&["average", "avg", "max", "maximum", "lap", "min"]) {
        return None;
    }
    Some(Quantity::Channel(channel))
}

/// "3s", "30sec": a smoothed value.
fn is_span(word: &str) -> bool {
    let unit = word.trim_start_matches(|c: char| c.is_ascii_digit());
    unit.len() < word.len() && matches!(unit, "s" | "sec" | "min")
}

/// Usual names of `channel`, of which one must be there.
fn names(channel: Channel) -> &'static [&'static str] {
    match channel {
        Channel::Power => &["power", "watts", "watt", "pwr"],
        Channel::Cadence => &["cadence", "cad", "rpm"],
        Channel::Speed => &["speed", "velocity", "kph", "kmh", "mph"],
        Channel::HeartRate => &["heart", "heartrate", "hr", "bpm", "pulse"],
        Channel::Temperature => &["temperature", "temp"],
        Channel::Balance => &["balance"],
    }
}

/// Whether `word` belongs to the name of `quantity` rather than telling columns apart.
fn is_common(word: &str, quantity: Quantity) -> bool {
    match quantity {
        Quantity::TargetPower => {
            names(Channel::Power).contains(&word) || ASKED_FOR.contains(&word) || word == "point"
        }
        Quantity::Channel(channel) => {
            names(channel).contains(&word) || (channel == Channel::HeartRate && word == "rate")
        }
    }
}

/// Factor and shift from `unit` to the channel's own unit; `None` where it is no such unit.
fn conversion(channel: Channel, unit: &str) -> Option<(f64, f64)> {
    let unit: String = unit
        .chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '.' | '_'))
        .flat_map(char::to_lowercase)
        .collect();
    let factor = match (channel, unit.as_str()) {
        (Channel::Power, "w" | "watt" | "watts") => 1.0,
        (Channel::Power, "kw") => 1000.0,
        (
            Channel::Cadence,
            "rpm" | "1/min" | "/min" | "min-1" | "rev/min" | "revs/min" | "r/min",
        ) => 1.0,
        (Channel::HeartRate, "bpm" | "1/min" | "/min" | "beats/min" | "min-1") => 1.0,
        (Channel::Speed, "m/s" | "mps" | "ms-1") => 1.0,
        (Channel::Speed, "km/h" | "kmh" | "kph" | "km/hr") => 1.0 / 3.6,
        (Channel::Speed, "mph" | "mi/h") => 0.447_04,
        (Channel::Temperature, "°c" | "c" | "degc" | "celsius" | "ºc") => 1.0,
        (Channel::Temperature, "°f" | "f" | "degf" | "fahrenheit" | "ºf") => {
            return Some((5.0 / 9.0, -160.0 / 9.0));
        }
        (Channel::Balance, "%" | "percent" | "%left") => 1.0,
        (Channel::Balance, "%right") => return Some((-1.0, 100.0)),
        _ => return None,
    };
    Some((factor, 0.0))
}

/// Takes a unit off the end of `words`: "speed km h", "power w", "temp c".
fn trailing_unit(channel: Channel, words: &mut Vec<String>) -> Option<(f64, f64)> {
    for count in [2, 1] {
        if words.len() > count {
            let unit = words[words.len() - count..].join("/");
            if let Some(found) = conversion(channel, &unit) {
                words.truncate(words.len() - count);
                return Some(found);
            }
        }
    }
    // A name that is a unit itself: "watts", "kph".
    words.iter().find_map(|word| conversion(channel, word))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn channel(head: &str) -> Option<Channel> {
        match meaning(head, None)?.quantity {
            Quantity::Channel(channel) => Some(channel),
            Quantity::TargetPower => None,
        }
    }

    #[test]
    fn usual_heads_are_understood() {
        for (head, expected) in [
            ("power", Channel::Power),
            ("Power (W)", Channel::Power),
            ("power_w", Channel::Power),
            ("Watts", Channel::Power),
            ("PWR [W]", Channel::Power),
            ("hub power", Channel::Power),
            ("cadence_rpm", Channel::Cadence),
            ("Cad", Channel::Cadence),
            ("HeartRate", Channel::HeartRate),
            ("heart_rate (bpm)", Channel::HeartRate),
            ("hr", Channel::HeartRate),
            ("speed km/h", Channel::Speed),
            ("Temp (°C)", Channel::Temperature),
            ("left_right_balance", Channel::Balance),
        ] {
            assert_eq!(channel(head), Some(expected), "{head}");
        }
    }

    #[test]
    fn what_is_not_momentary_power_is_no_power() {
        for head in [
            "avg power",
            "power 3s",
            "Power (W/kg)",
            "normalised (W)",
            "left power (W)",
            "distance",
            "energy (kJ)",
            "rate",
            "altitude",
            "power (%)",
            "lap power",
            "set",
            "setpoint",
        ] {
            assert_eq!(channel(head), None, "{head}");
        }
        assert_eq!(
            meaning("target power (W)", None).map(|m| m.quantity),
            Some(Quantity::TargetPower)
        );
        assert_eq!(
            meaning("set_point_w", None).map(|m| m.quantity),
            Some(Quantity::TargetPower)
        );
    }

    #[test]
    fn units_are_converted_and_the_rest_tells_columns_apart() {
        let speed = meaning("Speed (km/h)", None).unwrap();
        assert!((36.0 * speed.factor + speed.shift - 10.0).abs() < 1e-12);
        let speed = meaning("speed_kmh", None).unwrap();
        assert!((36.0 * speed.factor - 10.0).abs() < 1e-12);
        let warm = meaning("temperature", Some("F")).unwrap();
        assert!((212.0 * warm.factor + warm.shift - 100.0).abs() < 1e-12);
        assert_eq!(meaning("hub_power_w", None).unwrap().rest, "hub");
        assert_eq!(meaning("Power Trainer [W]", None).unwrap().rest, "trainer");
        assert_eq!(meaning("power", None).unwrap().rest, "");
        assert!(!meaning("power", None).unwrap().has_unit);
        assert!(meaning("watts", None).unwrap().has_unit);
    }
}
