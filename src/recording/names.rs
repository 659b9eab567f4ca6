//! What a column head or a developer field's name and unit say of its contents.
//!
//! Only words in general use and units decide; no maker's naming is known here.

use super::Channel;
use super::error::list;

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
    /// Whether the name says what it is; else the unit alone does.
    pub(super) named: bool,
    /// The words that tell this column from others of the same quantity, lower case.
    pub(super) rest: String,
}

impl Meaning {
    /// Whether only the unit speaks for power, and no word for a device that measures it: beside
    /// a column that is called power, such a one is more likely a mean, a target or one leg's.
    pub(super) fn is_power_by_unit_alone(&self) -> bool {
        let is_meter = || {
            let mut words = self.rest.split(' ');
            words.any(|word| METERS.contains(&word.trim_end_matches('s')))
        };
        self.quantity == Quantity::Channel(Channel::Power) && !self.named && !is_meter()
    }
}

/// The remark on columns for which [`Meaning::is_power_by_unit_alone`] holds, left out.
pub(super) fn left_out(columns: &[String]) -> Option<String> {
    (!columns.is_empty()).then(|| {
        format!(
            "in watts, but with a name that tells of no meter, and left out: {}; a meter's is used \
             once you name it by `channel` in session.toml",
            list(columns)
        )
    })
}

/// Words for what measures power, without the plural's s.
pub(crate) const METERS: &[&str] = &[
    "bench",
    "chainring",
    "crank",
    "erg",
    "hub",
    "meter",
    "pedal",
    "ref",
    "reference",
    "spider",
    "trainer",
    "turbo",
    "wheel",
];

/// Words of a language, whole or (ending in `-`) as they begin.
type Words = &'static [&'static str];

/// What makes a column something else than a value moment by moment, whatever it measures.
const OVER_A_TIME: Words = &[
    "average",
    "avg",
    "lap",
    "max",
    "maximum",
    "min",
    "minimum",
    // German, French, Spanish, Portuguese, Italian, Dutch.
    "durchschnitt-",
    "mittel-",
    "mittler-",
    "moyen-",
    "promedio",
    "media",
    "medio",
    "médi-",
    "gemiddeld-",
    "runde-",
    "máxim-",
    "mínim-",
    "massim-",
    "minim-",
];

/// What makes a power column something else than power moment by moment.
const NOT_MOMENTARY: Words = &[
    "accumulated",
    "critical",
    "effectiveness",
    "functional",
    "goal",
    "kg",
    "mean",
    "motor",
    "normalised",
    "normalized",
    "peak",
    "phase",
    "ratio",
    "smoothed",
    "smoothness",
    "sum",
    "threshold",
    "total",
    "zone",
    "kritisch-",
    "geglättet-",
    "gewichtet-",
    "normalisiert-",
    "schwelle-",
    "spitze-",
    "summe",
    "critique",
    "lissé-",
    "normalisé-",
    "pondéré-",
    "seuil",
    "crític-",
    "critic-",
    "normalizad-",
    "ponderad-",
    "umbral",
    "limiar",
    "normalizzat-",
    "soglia",
    "drempel-",
    "genormaliseerd-",
];

/// What makes a power column that of one leg.
const ONE_LEG: Words = &[
    "left",
    "right",
    "links",
    "linke-",
    "rechts",
    "rechte-",
    "gauche",
    "droit",
    "droite",
    "izquierd-",
    "derech-",
    "esquerd-",
    "direit-",
    "sinistr-",
    "destr-",
];

/// What makes a column with a word for a gradient something else: a calibration, a pace.
const NO_GRADE: Words = &["adjusted", "calibration", "pace", "torque"];

/// Words for a power that is asked for.
const ASKED_FOR: Words = &[
    "demand",
    "erg",
    "set",
    "setpoint",
    "target",
    "ziel-",
    "soll-",
    "vorgabe-",
    "cible",
    "consigne",
    "objetiv-",
    "obiettiv-",
    "doel-",
];

/// Whether one of `words` is in `list`.
fn says(words: &[String], list: Words) -> bool {
    words.iter().any(|word| {
        list.iter().any(|known| match known.strip_suffix('-') {
            Some(beginning) => word.starts_with(beginning),
            None => word == known,
        })
    })
}

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
    // A number at the end tells columns of one name apart; the unit stands before it.
    let number = words.pop_if(|word| word.bytes().all(|b| b.is_ascii_digit()));
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
    let named = says(&words, names(channel));
    words.retain(|word| !is_common(word, quantity));
    words.extend(number);
    Some(Meaning {
        quantity,
        factor,
        shift,
        has_unit,
        named,
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
    let has = |list: Words| says(words, list);
    let channel = if has(names(Channel::Balance)) {
        Channel::Balance
    } else if speaks_of_power(words, unit) {
        if has(ASKED_FOR) {
            return Some(Quantity::TargetPower);
        }
        if has(NOT_MOMENTARY) || has(ONE_LEG) || words.iter().any(|word| is_span(word)) {
            return None;
        }
        Channel::Power
    } else {
        [
            Channel::Cadence,
            Channel::HeartRate,
            Channel::Temperature,
            Channel::Speed,
            Channel::Grade,
        ]
        .into_iter()
        .find(|channel| has(names(*channel)))?
    };
    if (channel != Channel::Balance && has(OVER_A_TIME))
        || (channel == Channel::Grade && has(NO_GRADE))
    {
        return None;
    }
    Some(Quantity::Channel(channel))
}

/// Whether name or unit is that of power.
fn speaks_of_power(words: &[String], unit: Option<&str>) -> bool {
    unit.or(words.last().map(String::as_str).filter(|_| words.len() > 1))
        .is_some_and(|unit| conversion(Channel::Power, unit).is_some())
        || says(words, names(Channel::Power))
}

/// Whether a column named `head` is the power of one leg.
pub(super) fn is_one_leg(head: &str) -> bool {
    let (name, unit) = split_unit(head);
    let words = words(&name);
    speaks_of_power(&words, unit.as_deref())
        && says(&words, ONE_LEG)
        && !says(&words, names(Channel::Balance))
        && !says(&words, NOT_MOMENTARY)
        && !says(&words, OVER_A_TIME)
}

/// "3s", "30sec": a smoothed value.
fn is_span(word: &str) -> bool {
    let unit = word.trim_start_matches(|c: char| c.is_ascii_digit());
    unit.len() < word.len() && matches!(unit, "s" | "sec" | "min")
}

/// Usual names of `channel`, of which one must be there.
fn names(channel: Channel) -> Words {
    match channel {
        // Besides English: German, French, Spanish, Portuguese, Italian, Dutch, Swedish.
        Channel::Power => &[
            "power",
            "watts",
            "watt",
            "pwr",
            "leistung",
            "puissance",
            "potencia",
            "potência",
            "potenza",
            "vermogen",
            "effekt",
        ],
        Channel::Cadence => &["cadence", "cad", "rpm"],
        Channel::Speed => &["speed", "velocity", "kph", "kmh", "mph"],
        Channel::HeartRate => &["heart", "heartrate", "hr", "bpm", "pulse"],
        Channel::Temperature => &["temperature", "temp"],
        Channel::Balance => &["balance"],
        Channel::Grade => &[
            "grade",
            "gradient",
            "slope",
            "incline",
            "inclination",
            "steigung",
            "neigung",
            "pente",
            "pendiente",
            "pendenza",
            "inclinação",
            "helling",
            "hellingspercentage",
            "lutning",
        ],
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
        (Channel::Grade, "%" | "percent" | "pct") => 1.0,
        (Channel::Grade, "‰" | "permille") => 0.1,
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
            ("Grade (%)", Channel::Grade),
            ("gradient_percent", Channel::Grade),
            ("target_grade", Channel::Grade),
            ("Incline", Channel::Grade),
            ("Steigung [%]", Channel::Grade),
            ("Pente (%)", Channel::Grade),
            ("Pendiente", Channel::Grade),
            ("pendenza (%)", Channel::Grade),
            ("Helling", Channel::Grade),
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
            "Critical Power (W)",
            "Puissance moyenne (W)",
            "Durchschnittsleistung (W)",
            "Leistung links (W)",
            "Potencia izquierda (W)",
            "Potenza media",
            "Cadence moyenne (rpm)",
            "avg grade (%)",
            "slope (°)",
            "calibration slope",
            "grade adjusted pace",
            "set",
            "setpoint",
        ] {
            assert_eq!(channel(head), None, "{head}");
        }
        assert_eq!(
            meaning("target power (W)", None).map(|m| m.quantity),
            Some(Quantity::TargetPower)
        );
        for head in ["set_point_w", "Zielleistung (W)", "Puissance cible"] {
            assert_eq!(
                meaning(head, None).map(|m| m.quantity),
                Some(Quantity::TargetPower),
                "{head}"
            );
        }
    }

    #[test]
    fn a_name_without_power_or_a_meter_is_power_by_its_unit_alone() {
        for (head, alone) in [
            ("NP (W)", true),
            ("form_w", true),
            ("Leistung (W)", false),
            ("hub_w", false),
            ("Pedals (W)", false),
            ("watts", false),
        ] {
            let meaning = meaning(head, None).unwrap();
            assert_eq!(meaning.is_power_by_unit_alone(), alone, "{head}");
        }
    }

    #[test]
    fn one_legs_power_is_known_as_such() {
        for head in ["left_power", "Leistung rechts (W)", "right (W)"] {
            assert!(is_one_leg(head), "{head}");
        }
        for head in [
            "power",
            "left_right_balance",
            "avg left power",
            "left cadence",
        ] {
            assert!(!is_one_leg(head), "{head}");
        }
    }

    #[test]
    fn a_number_at_the_end_leaves_the_unit_before_it_in_force() {
        let second = meaning("speed_km_h 2", None).unwrap();
        assert!((36.0 * second.factor - 10.0).abs() < 1e-12);
        assert_eq!(second.rest, "2");
        assert_eq!(meaning("Power (kW) 2", None).unwrap().factor, 1000.0);
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
