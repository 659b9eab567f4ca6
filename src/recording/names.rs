//! What a column head or a developer field's name and unit say of its contents.
//!
//! Only words in general use ([`vocabulary`](super::vocabulary)) and units decide; no maker's
//! naming is known here.

use super::Channel;
use super::error::list;
use super::vocabulary::{
    AIMED_AT, ALTITUDE, ASKED_FOR, BALANCE, CADENCE, GRADE, HEART_RATE, LEFT, NO_ALTITUDE,
    NO_GRADE, NO_RESISTANCE, NO_TORQUE, NOT_MOMENTARY, OVER_A_TIME, POWER, RESISTANCE, RIGHT,
    SPEED, TEMPERATURE, TORQUE, Words, belongs, folded, plain, says, words,
};

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Quantity {
    /// A channel of a stream.
    Channel(Channel),
    /// The power that a workout or a controller asks for, W.
    TargetPower,
    /// The power of one leg, W: half of a stream at most.
    OneLeg(Side),
}

/// A leg.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Side {
    Left,
    Right,
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
        Quantity::TargetPower | Quantity::OneLeg(_) => Channel::Power,
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
    let head = plain(head);
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

fn quantity(words: &[String], unit: Option<&str>) -> Option<Quantity> {
    let words = without_per_minute(words);
    let has = |list: Words| says(words, list);
    let channel = if has(BALANCE) {
        return Some(Quantity::Channel(Channel::Balance));
    } else if speaks_of_power(words, unit) {
        if has(NOT_MOMENTARY) || has(OVER_A_TIME) || words.iter().any(|word| is_span(word)) {
            return None;
        }
        if has(AIMED_AT) || has(ASKED_FOR) {
            return Some(Quantity::TargetPower);
        }
        match (has(LEFT), has(RIGHT)) {
            (true, false) => return Some(Quantity::OneLeg(Side::Left)),
            (false, true) => return Some(Quantity::OneLeg(Side::Right)),
            _ => Channel::Power,
        }
    } else {
        [
            Channel::Cadence,
            Channel::HeartRate,
            Channel::Temperature,
            Channel::Speed,
            Channel::Grade,
            Channel::Torque,
            Channel::Resistance,
            Channel::Altitude,
        ]
        .into_iter()
        .find(|channel| has(names(*channel)))?
    };
    // What a trainer is asked for is what these two hold in any case.
    let (or_asked_for, no_channel): (bool, Words) = match channel {
        Channel::Grade => (true, NO_GRADE),
        Channel::Resistance => (true, NO_RESISTANCE),
        Channel::Torque => (false, NO_TORQUE),
        Channel::Altitude => (false, NO_ALTITUDE),
        _ => (false, &[]),
    };
    if has(OVER_A_TIME) || has(no_channel) || (!or_asked_for && has(AIMED_AT)) {
        return None;
    }
    Some(Quantity::Channel(channel))
}

/// `words` without "rev min" and the like at their end, where "min" is no minimum.
fn without_per_minute(words: &[String]) -> &[String] {
    match words {
        [rest @ .., per, min] if min == "min" && !rest.is_empty() => {
            let unit = format!("{per}/{min}");
            let is_unit = |channel| conversion(channel, &unit).is_some();
            if is_unit(Channel::Cadence) || is_unit(Channel::HeartRate) {
                rest
            } else {
                words
            }
        }
        _ => words,
    }
}

/// Whether name or unit is that of power.
fn speaks_of_power(words: &[String], unit: Option<&str>) -> bool {
    unit.or(words.last().map(String::as_str).filter(|_| words.len() > 1))
        .is_some_and(|unit| conversion(Channel::Power, unit).is_some())
        || says(words, POWER)
}

/// "3s", "30sec": a smoothed value.
fn is_span(word: &str) -> bool {
    let unit = word.trim_start_matches(|c: char| c.is_ascii_digit());
    unit.len() < word.len() && matches!(unit, "s" | "sec" | "sek" | "min" | "秒")
}

/// Usual names of `channel`, of which one must be there.
fn names(channel: Channel) -> Words {
    match channel {
        Channel::Power => POWER,
        Channel::Cadence => CADENCE,
        Channel::Speed => SPEED,
        Channel::HeartRate => HEART_RATE,
        Channel::Temperature => TEMPERATURE,
        Channel::Balance => BALANCE,
        Channel::Grade => GRADE,
        Channel::Torque => TORQUE,
        Channel::Resistance => RESISTANCE,
        Channel::Altitude => ALTITUDE,
    }
}

/// Whether `word` belongs to the name of `quantity` rather than telling columns apart.
fn is_common(word: &str, quantity: Quantity) -> bool {
    // "frequency of the heart", in several languages.
    const BETWEEN: Words = &["de", "del", "di", "do", "da", "du", "des", "der"];
    const RATE: Words = &["rate", "frequen-", "frecuen-", "ritmo"];
    let own = match quantity {
        Quantity::TargetPower => {
            belongs(word, POWER)
                || belongs(word, AIMED_AT)
                || belongs(word, ASKED_FOR)
                || word == "point"
        }
        Quantity::OneLeg(Side::Left) => belongs(word, POWER) || belongs(word, LEFT),
        Quantity::OneLeg(Side::Right) => belongs(word, POWER) || belongs(word, RIGHT),
        Quantity::Channel(channel) => {
            belongs(word, names(channel)) || (channel == Channel::HeartRate && belongs(word, RATE))
        }
    };
    own || belongs(word, BETWEEN)
}

/// Factor and shift from `unit` to the channel's own unit; `None` where it is no such unit.
fn conversion(channel: Channel, unit: &str) -> Option<(f64, f64)> {
    let unit: String = folded(&plain(unit))
        .chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '.' | '_'))
        .collect();
    let factor = match (channel, unit.as_str()) {
        (Channel::Power, "w" | "watt" | "watts" | "vatios" | "ワット" | "瓦" | "瓦特") => 1.0,
        (Channel::Power, "kw") => 1000.0,
        (
            Channel::Cadence,
            "rpm" | "1/min" | "/min" | "min-1" | "rev/min" | "revs/min" | "r/min" | "u/min" | "upm"
            | "tr/min" | "tpm" | "giri/min" | "omw/min" | "obr/min" | "回転/分" | "转/分" | "轉/分",
        ) => 1.0,
        (
            Channel::HeartRate,
            "bpm" | "1/min" | "/min" | "beats/min" | "min-1" | "schlage/min" | "bat/min"
            | "batt/min" | "lpm" | "ppm" | "slagen/min" | "ud/min" | "拍/分" | "次/分",
        ) => 1.0,
        (Channel::Speed, "m/s" | "mps" | "ms-1" | "米/秒") => 1.0,
        (
            Channel::Speed,
            "km/h" | "kmh" | "kph" | "km/hr" | "km/u" | "km/godz" | "km/時" | "公里/小时"
            | "公里/时" | "千米/小时" | "公里/小時",
        ) => 1.0 / 3.6,
        (Channel::Speed, "mph" | "mi/h") => 0.447_04,
        (Channel::Temperature, "°c" | "c" | "degc" | "celsius" | "ºc" | "℃") => 1.0,
        (Channel::Temperature, "°f" | "f" | "degf" | "fahrenheit" | "ºf") => {
            return Some((5.0 / 9.0, -160.0 / 9.0));
        }
        (Channel::Balance, "%" | "percent" | "%left") => 1.0,
        (Channel::Grade | Channel::Resistance, "%" | "percent" | "pct") => 1.0,
        (Channel::Grade, "‰" | "permille") => 0.1,
        (Channel::Torque, "nm" | "n·m" | "n⋅m" | "n*m" | "n-m" | "newtonmeter") => 1.0,
        (Channel::Torque, "lbf·in" | "lbfin" | "inlb" | "in-lb" | "inlbf" | "in-lbf") => {
            0.112_984_8
        }
        (Channel::Altitude, "m" | "metre" | "metres" | "meter" | "meters" | "metri" | "米") => 1.0,
        (Channel::Altitude, "ft" | "feet") => 0.304_8,
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
            Quantity::TargetPower | Quantity::OneLeg(_) => None,
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
            ("Torque (N·m)", Channel::Torque),
            ("torque_nm", Channel::Torque),
            ("Drehmoment [Nm]", Channel::Torque),
            ("Couple (N.m)", Channel::Torque),
            ("Coppia", Channel::Torque),
            ("Moment obrotowy (Nm)", Channel::Torque),
            ("扭矩 (N·m)", Channel::Torque),
            ("resistance", Channel::Resistance),
            ("target_resistance (%)", Channel::Resistance),
            ("Widerstand (%)", Channel::Resistance),
            ("Résistance", Channel::Resistance),
            ("opór (%)", Channel::Resistance),
            ("阻力", Channel::Resistance),
            ("altitude", Channel::Altitude),
            ("Elevation (ft)", Channel::Altitude),
            ("altitude_m", Channel::Altitude),
            ("Höhe (m)", Channel::Altitude),
            ("Quota [m]", Channel::Altitude),
            ("Wysokość (m)", Channel::Altitude),
            ("標高", Channel::Altitude),
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
            "power (%)",
            "torque effectiveness (%)",
            "torque zero offset",
            "rolling resistance",
            "resistance level",
            "resistance (N)",
            "elevation gain (m)",
            "total altitude",
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
        let leg = |head: &str| match meaning(head, None)?.quantity {
            Quantity::OneLeg(side) => Some(side),
            _ => None,
        };
        for head in ["left_power", "Leistung links (W)", "left (W)", "power_l"] {
            assert_eq!(leg(head), Some(Side::Left), "{head}");
        }
        for head in ["right power", "Leistung rechts (W)", "右功率"] {
            assert_eq!(leg(head), Some(Side::Right), "{head}");
        }
        for head in [
            "power",
            "left_right_balance",
            "avg left power",
            "left cadence",
            "Power left + right (W)",
        ] {
            assert_eq!(leg(head), None, "{head}");
        }
    }

    /// What one language calls time, power, cadence, speed, heart rate, target, left, right,
    /// average, and what is normalised.
    const LANGUAGES: [(&str, [&str; 9]); 10] = [
        (
            "English",
            [
                "Power",
                "Cadence",
                "Speed",
                "Heart rate",
                "Target power",
                "Left power",
                "Right power",
                "Average power",
                "Power, normalised",
            ],
        ),
        (
            "German",
            [
                "Leistung",
                "Trittfrequenz",
                "Geschwindigkeit",
                "Herzfrequenz",
                "Zielleistung",
                "Leistung links",
                "Rechte Leistung",
                "Durchschnittsleistung",
                "Normalisierte Leistung",
            ],
        ),
        (
            "French",
            [
                "Puissance",
                "Fréquence de pédalage",
                "Vitesse",
                "Fréquence cardiaque",
                "Puissance cible",
                "Puissance gauche",
                "Puissance droite",
                "Puissance moyenne",
                "Puissance normalisée",
            ],
        ),
        (
            "Italian",
            [
                "Potenza",
                "Cadenza",
                "Velocità",
                "Frequenza cardiaca",
                "Potenza obiettivo",
                "Potenza sinistra",
                "Potenza destra",
                "Potenza media",
                "Potenza normalizzata",
            ],
        ),
        (
            "Spanish",
            [
                "Potencia",
                "Cadencia",
                "Velocidad",
                "Frecuencia cardíaca",
                "Potencia objetivo",
                "Potencia izquierda",
                "Potencia derecha",
                "Potencia promedio",
                "Potencia normalizada",
            ],
        ),
        (
            "Portuguese",
            [
                "Potência",
                "Cadência",
                "Velocidade",
                "Frequência cardíaca",
                "Potência alvo",
                "Potência esquerda",
                "Potência direita",
                "Potência média",
                "Potência normalizada",
            ],
        ),
        (
            "Dutch",
            [
                "Vermogen",
                "Cadans",
                "Snelheid",
                "Hartslag",
                "Doelvermogen",
                "Vermogen links",
                "Vermogen rechts",
                "Gemiddeld vermogen",
                "Genormaliseerd vermogen",
            ],
        ),
        (
            "Polish",
            [
                "Moc",
                "Kadencja",
                "Prędkość",
                "Tętno",
                "Moc docelowa",
                "Moc lewa",
                "Moc prawa",
                "Średnia moc",
                "Moc znormalizowana",
            ],
        ),
        (
            "Japanese",
            [
                "パワー",
                "ケイデンス",
                "速度",
                "心拍数",
                "目標パワー",
                "左パワー",
                "右パワー",
                "平均パワー",
                "正規化パワー",
            ],
        ),
        (
            "Chinese",
            [
                "功率",
                "踏频",
                "速度",
                "心率",
                "目标功率",
                "左功率",
                "右功率",
                "平均功率",
                "标准化功率",
            ],
        ),
    ];

    #[test]
    fn columns_are_told_apart_by_meaning_in_every_language() {
        let expected = [
            Some(Quantity::Channel(Channel::Power)),
            Some(Quantity::Channel(Channel::Cadence)),
            Some(Quantity::Channel(Channel::Speed)),
            Some(Quantity::Channel(Channel::HeartRate)),
            Some(Quantity::TargetPower),
            Some(Quantity::OneLeg(Side::Left)),
            Some(Quantity::OneLeg(Side::Right)),
            None,
            None,
        ];
        let units = ["W", "rpm", "km/h", "bpm", "W", "W", "W", "W", "W"];
        for (language, heads) in LANGUAGES {
            for ((head, expected), unit) in heads.into_iter().zip(expected).zip(units) {
                let upper = head.to_uppercase();
                for head in [
                    head.to_owned(),
                    upper,
                    format!("{head} ({unit})"),
                    format!("{head}（{unit}）"),
                    format!("{head} [{unit}]"),
                ] {
                    let found = meaning(&head, None);
                    let quantity = found.as_ref().map(|found| found.quantity);
                    assert_eq!(quantity, expected, "{language}: {head}");
                    let rest = found.map(|found| found.rest).unwrap_or_default();
                    assert_eq!(rest, "", "{language}: {head}");
                }
            }
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
