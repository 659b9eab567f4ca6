//! The words that column heads use: English, German, French, Italian, Spanish, Portuguese, Dutch,
//! Polish, Japanese and Chinese.
//!
//! Words are compared in small letters and without accents. An entry that ends in `-` matches what
//! begins so, one that begins with `-` what ends so, and `a+b` needs both. Japanese and Chinese
//! heads, which leave no blanks, are cut at the words known here.
//!
//! The words are those of dictionaries and of common practice, no source; no maker's.

/// Words of one meaning.
pub(super) type Words = &'static [&'static str];

/// What makes a column something else than a value moment by moment, whatever it measures.
#[rustfmt::skip]
pub(super) const OVER_A_TIME: Words = &[
    "average", "avg", "mean", "lap", "max", "maximum", "min", "minimum", "zone", "durchschnitt-",
    "mittel-", "mittler-", "schnitt", "runde-", "hochst-", "ø", "moyen-", "moy", "maxim-", "minim-",
    "medi-", "med", "massim-", "promedi-", "prom", "zona", "gemiddeld-", "gem", "sredni-", "sr",
    "maks-", "stref-", "okrazeni-", "平均", "最大", "最小", "最高", "最低", "ラップ", "ゾーン",
    "单圈", "圈", "区间", "區間",
];

/// What makes a power column something else than power moment by moment.
#[rustfmt::skip]
pub(super) const NOT_MOMENTARY: Words = &[
    "accumulated", "critical", "effectiveness", "functional", "goal", "kg", "motor-", "normalised",
    "normalized", "peak", "phase", "ratio", "smoothed", "smoothness", "sum", "threshold", "total",
    "weighted", "kritisch-", "geglattet-", "gewichtet-", "normalisiert-", "schwelle-", "spitze-",
    "summe", "gesamt-", "nenn-", "dauer-", "critique", "lisse-", "normalise-", "pondere-", "seuil",
    "crete", "critic-", "normalizzat-", "ponderat-", "soglia", "picco", "totale", "normalizad-",
    "ponderad-", "suavizad-", "umbral", "pico", "suma", "limiar", "soma", "drempel-",
    "genormaliseerd-", "gewogen", "afgevlakt-", "piek-", "totaal", "znormalizowan-", "wazon-",
    "progow-", "szczytow-", "wygladzon-", "krytyczn-", "正規化", "標準化", "标准化", "加重", "加权",
    "加權", "閾値", "阈值", "累計", "累计", "合計", "总", "功率体重比", "体重", "公斤", "千克",
];

/// What makes a power column that of the left leg.
#[rustfmt::skip]
pub(super) const LEFT: Words = &[
    "left", "l", "links", "linke-", "gauche", "sinistr-", "izquierd-", "esquerd-", "lew-", "左",
    "左脚", "左腿", "左足",
];

/// What makes a power column that of the right leg.
#[rustfmt::skip]
pub(super) const RIGHT: Words = &[
    "right", "r", "rechts", "rechte-", "droit", "droite", "destr-", "derech-", "direit-", "praw-",
    "右", "右脚", "右腿", "右足",
];

/// What makes a column with a word for a gradient something else: a calibration, a pace.
pub(super) const NO_GRADE: Words = &["adjusted", "calibration", "pace", "torque"];

/// Words for a value that is aimed at, whatever it is.
#[rustfmt::skip]
pub(super) const AIMED_AT: Words = &[
    "demand", "target", "ziel-", "soll-", "vorgabe-", "cible", "consigne", "objectif", "obiettiv-",
    "objetiv-", "alvo", "doel-", "streef-", "docelow-", "zadan-", "目標", "目标", "设定", "設定",
    "ターゲット",
];

/// Words for a power that is asked for, besides those.
pub(super) const ASKED_FOR: Words = &["erg", "set", "setpoint"];

#[rustfmt::skip]
pub(super) const POWER: Words = &[
    "power", "watts", "watt", "pwr", "leistung", "-leistung", "puissance", "potenza", "potencia",
    "vermogen", "-vermogen", "moc", "effekt", "パワー", "出力", "仕事率", "ワット", "功率", "瓦特",
];

#[rustfmt::skip]
pub(super) const CADENCE: Words = &[
    "cadence", "cad", "rpm", "kadenz", "trittfrequenz", "frequen-+pedal-", "frecuen-+pedal-",
    "cadenza", "cadencia", "cadans", "trapfrequentie", "kadencja", "ケイデンス", "回転数", "踏频",
    "踏頻", "踏频率",
];

#[rustfmt::skip]
pub(super) const SPEED: Words = &[
    "speed", "velocity", "kph", "kmh", "mph", "geschwindigkeit", "vitesse", "velocita",
    "velocidad-", "snelheid", "predkosc", "速度", "スピード", "时速", "時速",
];

#[rustfmt::skip]
pub(super) const HEART_RATE: Words = &[
    "heart", "heartrate", "hr", "bpm", "pulse", "herzfrequenz", "puls", "cardia-", "fc", "pulso",
    "pulsaciones", "hartslag", "tetno", "心拍", "心拍数", "心率",
];

#[rustfmt::skip]
pub(super) const TEMPERATURE: Words = &[
    "temperature", "temp", "temperatur", "temperatura", "temperatuur", "温度", "溫度", "気温",
    "气温",
];

#[rustfmt::skip]
pub(super) const BALANCE: Words = &[
    "balance", "equilibre", "bilanciamento", "equilibrio", "balans", "rownowaga", "バランス",
    "平衡",
];

#[rustfmt::skip]
pub(super) const GRADE: Words = &[
    "grade", "gradient", "slope", "incline", "inclination", "steigung", "neigung", "pente",
    "pendenza", "pendiente", "inclinacao", "helling", "hellingspercentage", "nachylenie", "lutning",
    "勾配", "坡度",
];

#[rustfmt::skip]
pub(super) const TORQUE: Words = &[
    "torque", "drehmoment", "couple", "coppia", "momento+torcente", "par+torsion", "par+motor",
    "binario", "koppel", "moment+obrotow-", "vridmoment", "トルク", "扭矩", "转矩", "轉矩",
];

/// What makes a column with a word for torque something else.
#[rustfmt::skip]
pub(super) const NO_TORQUE: Words = &[
    "calibration", "effectiveness", "efficacite", "efficacia", "effektivitat", "frequency", "offset",
    "smoothness", "zero",
];

#[rustfmt::skip]
pub(super) const RESISTANCE: Words = &[
    "resistance", "widerstand", "bremswiderstand", "resistenza", "resistencia", "weerstand", "opor",
    "motstand", "抵抗", "阻力",
];

/// What makes a column with a word for resistance something else than that of the trainer, or tells
/// it in steps that are no share of anything.
#[rustfmt::skip]
pub(super) const NO_RESISTANCE: Words = &[
    "aero", "air", "coefficient", "level", "rolling", "wind", "stufe", "niveau", "livello", "nivel",
    "poziom", "レベル", "级别", "等級",
];

#[rustfmt::skip]
pub(super) const ALTITUDE: Words = &[
    "altitude", "alt", "elevation", "ele", "hohe", "hohenlage", "meereshohe", "quota", "altitudine",
    "altitud", "elevacion", "elevacao", "hoogte", "wysokosc", "標高", "高度", "海拔",
];

/// What makes a column with a word for height something else than a height above sea level.
#[rustfmt::skip]
pub(super) const NO_ALTITUDE: Words = &[
    "ascent", "change", "climbed", "descent", "difference", "gain", "gained", "loss", "lost", "total",
    "gewinn", "gesamt-", "unterschied", "cumule-", "guadagno", "ganancia", "ganho", "totale", "suma",
];

/// Heads, as whole, of columns that say which mode a trainer is in.
#[rustfmt::skip]
const MODE: Words = &[
    "mode", "trainer mode", "control mode", "training mode", "erg mode", "modus", "betriebsart",
    "trainermodus", "mode du trainer", "modalita", "modo", "modo de entrenamiento", "tryb",
    "モード", "トレーナー モード", "模式", "训练 模式",
];

/// Heads of time columns as whole, by rank: 0 date and time, 1 time of day or of the ride, 2 the
/// day alone, 3 elapsed.
#[rustfmt::skip]
const TIMES: [(u8, Words); 4] = [
    (
        0,
        &[
            "timestamp", "datetime", "date time", "time stamp", "utc", "time utc", "utc time",
            "unix", "unix time", "epoch", "unix timestamp", "epoch time", "timestamp utc",
            "zeitstempel", "datum uhrzeit", "datum zeit", "horodatage", "date heure", "data ora",
            "fecha hora", "fecha y hora", "marca de tiempo", "data hora", "data e hora", "tijdstip",
            "datum tijd", "data czas", "data godzina", "data i godzina", "znacznik czasu", "日時",
            "タイムスタンプ", "时间戳", "時間戳", "日期 时间", "日期 時間",
        ],
    ),
    (
        1,
        &[
            "time", "local time", "clock", "zeit", "uhrzeit", "temps", "heure", "tempo", "ora",
            "tiempo", "hora", "tijd", "czas", "godzina", "時間", "時刻", "时间", "时刻",
        ],
    ),
    (2, &["date", "datum", "data", "fecha", "日付", "日期"]),
    (
        3,
        &[
            "elapsed", "elapsed time", "time elapsed", "t", "ride time", "relative time",
            "verstrichene zeit", "dauer", "fahrzeit", "temps ecoule", "duree", "tempo trascorso",
            "durata", "tiempo transcurrido", "duracion", "tempo decorrido", "duracao",
            "verstreken tijd", "duur", "czas trwania", "uplyniety czas", "経過 時間", "经过 时间",
            "經過 時間", "用时",
        ],
    ),
];

/// Parts of Japanese and Chinese heads that mean nothing alone.
const PARTS: Words = &["経過", "经过", "經過"];

#[rustfmt::skip]
const DEVICE: Words = &[
    "device", "device name", "sensor", "sensor name", "source", "meter", "stream", "gerat",
    "appareil", "capteur", "sensore", "dispositivo", "apparaat", "urzadzenie", "czujnik",
    "デバイス", "センサー", "设备", "設備", "传感器",
];

#[rustfmt::skip]
const LAP: Words = &[
    "lap", "lap number", "lap index", "interval", "runde", "tour", "giro", "vuelta", "volta",
    "ronde", "okrazenie", "ラップ", "圈",
];

/// Units of time: seconds each, and their names.
#[rustfmt::skip]
const TIME_UNITS: [(f64, Words); 6] = [
    (
        1.0,
        &[
            "s", "sec", "secs", "second", "seconds", "sek", "sekunden", "secondes", "secondi",
            "segundos", "seconden", "sekundy", "秒",
        ],
    ),
    (
        1e-3,
        &[
            "ms", "msec", "millis", "millisecond", "milliseconds", "millisekunden", "ミリ秒",
            "毫秒",
        ],
    ),
    (1e-6, &["us", "µs", "microseconds"]),
    (1e-9, &["ns", "nanoseconds"]),
    (
        60.0,
        &[
            "min", "mins", "minute", "minutes", "minuten", "minuti", "minutos", "minuty", "分",
        ],
    ),
    (
        3600.0,
        &[
            "h", "hours", "stunden", "heures", "ore", "horas", "uur", "小时", "小時",
        ],
    ),
];

/// Whether `words` say one of the meanings in `list`.
pub(super) fn says(words: &[String], list: Words) -> bool {
    let said = |pattern: &str| words.iter().any(|word| matches(&folded(word), pattern));
    list.iter().any(|entry| entry.split('+').all(said))
}

/// Whether `word` is part of an entry of `list`.
pub(super) fn belongs(word: &str, list: Words) -> bool {
    let word = folded(word);
    let mut patterns = list.iter().flat_map(|entry| entry.split('+'));
    patterns.any(|pattern| !pattern.starts_with('-') && matches(&word, pattern))
}

fn matches(word: &str, pattern: &str) -> bool {
    if let Some(beginning) = pattern.strip_suffix('-') {
        word.starts_with(beginning)
    } else if let Some(end) = pattern.strip_prefix('-') {
        word.ends_with(end)
    } else {
        word == pattern
    }
}

/// A word in small letters without accents.
pub(super) fn folded(word: &str) -> String {
    let mut out = String::with_capacity(word.len());
    for c in word.chars().flat_map(char::to_lowercase) {
        match c {
            'à'..='å' | 'ą' => out.push('a'),
            'ç' | 'ć' => out.push('c'),
            'è'..='ë' | 'ę' => out.push('e'),
            'ì'..='ï' => out.push('i'),
            'ł' => out.push('l'),
            'ñ' | 'ń' => out.push('n'),
            'ò'..='ö' => out.push('o'),
            'ś' => out.push('s'),
            'ß' => out.push_str("ss"),
            'ù'..='ü' => out.push('u'),
            'ź' | 'ż' => out.push('z'),
            // Marks that stand after their letter.
            '\u{300}'..='\u{36F}' => {}
            _ => out.push(c),
        }
    }
    out
}

/// Wide letters and marks, as Japanese and Chinese write them, in their plain form.
pub(super) fn plain(text: &str) -> String {
    let plain = |c: char| match c {
        '\u{FF01}'..='\u{FF5E}' => char::from_u32(c as u32 - 0xFEE0).unwrap_or(c),
        '\u{3000}' => ' ',
        '【' => '[',
        '】' => ']',
        _ => c,
    };
    text.chars().map(plain).collect()
}

/// Lower-case words; a capital after a small letter begins a new one, and Japanese and Chinese are
/// cut at what is known.
pub(super) fn words(name: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut small = false;
    for c in plain(name).chars() {
        let divides = !(c.is_alphanumeric() || matches!(c, '°' | '%' | '\u{300}'..='\u{36F}'));
        if (divides || (small && c.is_uppercase())) && words.last().is_some_and(|w| !w.is_empty()) {
            words.push(String::new());
        }
        small = c.is_lowercase();
        if !divides && let Some(word) = words.last_mut() {
            word.extend(c.to_lowercase());
        }
    }
    words.retain(|word| !word.is_empty());
    if words
        .iter()
        .all(|word| word.chars().all(is_alphabetic_script))
    {
        return words;
    }
    words.iter().flat_map(|word| cut(word)).collect()
}

/// Whether words in the script of `c` are divided by blanks.
fn is_alphabetic_script(c: char) -> bool {
    c < '\u{2E80}'
}

/// `word` cut at the longest words known in it.
fn cut(word: &str) -> Vec<String> {
    let lists = [
        OVER_A_TIME,
        NOT_MOMENTARY,
        LEFT,
        RIGHT,
        AIMED_AT,
        POWER,
        CADENCE,
        SPEED,
        HEART_RATE,
        TEMPERATURE,
        BALANCE,
        GRADE,
        TORQUE,
        RESISTANCE,
        NO_RESISTANCE,
        ALTITUDE,
        MODE,
        PARTS,
        DEVICE,
        LAP,
    ];
    let times = TIMES.iter().map(|(_, list)| *list);
    let units = TIME_UNITS.iter().map(|(_, list)| *list);
    let known: Vec<&str> = lists
        .into_iter()
        .chain(times)
        .chain(units)
        .flatten()
        .copied()
        .filter(|entry| !entry.chars().any(is_alphabetic_script))
        .collect();
    let mut parts: Vec<String> = Vec::new();
    let mut unknown = String::new();
    let mut rest = word;
    while let Some(first) = rest.chars().next() {
        let here = known.iter().filter(|entry| rest.starts_with(**entry));
        let length = match here.max_by_key(|entry| entry.len()) {
            Some(entry) => {
                parts.extend(Some(std::mem::take(&mut unknown)).filter(|part| !part.is_empty()));
                parts.push((*entry).to_owned());
                entry.len()
            }
            None => {
                unknown.push(first);
                first.len_utf8()
            }
        };
        rest = rest.get(length..).unwrap_or_default();
    }
    parts.extend(Some(unknown).filter(|part| !part.is_empty()));
    parts
}

/// The rank of a head of these words among time columns, the lowest the best.
pub(super) fn time_rank(words: &[String]) -> Option<u8> {
    let whole = folded(&words.join(" "));
    let mut ranks = TIMES.iter();
    ranks.find_map(|(rank, list)| list.contains(&whole.as_str()).then_some(*rank))
}

/// Seconds a unit.
pub(super) fn time_unit(unit: &str) -> Option<f64> {
    let unit = folded(&plain(unit));
    let mut units = TIME_UNITS.iter();
    units.find_map(|(unit_s, list)| list.contains(&unit.trim()).then_some(*unit_s))
}

/// Whether a head is that of a column that names devices.
pub(super) fn is_device(name: &str) -> bool {
    DEVICE.contains(&folded(&words(name).join(" ")).as_str())
}

/// Whether a head is that of a column that says which mode a trainer is in.
pub(super) fn is_mode(name: &str) -> bool {
    MODE.contains(&folded(&words(name).join(" ")).as_str())
}

/// Whether a head is that of a column with lap numbers.
pub(super) fn is_lap(name: &str) -> bool {
    LAP.contains(&folded(&words(name).join(" ")).as_str())
}
