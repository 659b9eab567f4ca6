//! Writing a session into the text of its file so that what the program does not know stays:
//! comments, unknown keys, the order in which a person wrote things.

use toml_edit::{Array, ArrayOfTables, DocumentMut, Item, Table, TableLike, Value, value};

use super::model::{Fact, Segment, Session, Stream};
use super::noted::{Gears, ZeroReading};
use super::weights::Weights;

/// The only `format` this version reads and writes.
pub(super) const FORMAT: i64 = 1;

/// Longest session file read, bytes: some thousand times a usual one. In memory a file takes some
/// sixty times its length.
pub(super) const MOST_BYTES: u64 = 4 << 20;

/// The text that [`save`](super::store::save) would write for `session` where there is no file yet.
pub fn to_text(session: &Session) -> String {
    merged("", session).unwrap_or_default()
}

/// The text of `old` with everything in `session` brought up to date.
///
/// # Errors
/// A sentence, where `old` is not TOML or uses a known name for something else.
pub(super) fn merged(old: &str, session: &Session) -> Result<String, String> {
    let mut document: DocumentMut = old
        .parse()
        .map_err(|error: toml_edit::TomlError| error.to_string())?;
    let root = document.as_table_mut();
    put(root, "format", FORMAT.into());
    put(root, "title", session.title.as_str().into());
    put_zero(root, session.zero_unix_s);
    let claim = table(root, "claim")?;
    put(claim, "percent", session.claim.percent.into());
    put(claim, "watts", session.claim.watts.into());
    match session.allowance {
        Some(stated) => {
            let allowance = table(root, "allowance")?;
            put(allowance, "percent", stated.percent.into());
            put(allowance, "plus_minus", stated.plus_minus.into());
        }
        None => drop(root.remove("allowance")),
    }
    if let Some(simulation) = session.simulation {
        let table = table(root, "simulation")?;
        put(table, "mass_kg", simulation.mass_kg.into());
        put(table, "rolling", simulation.rolling.into());
        put(table, "drag_kg_m", simulation.drag_kg_m.into());
    }
    write_gears(root, session.gears.as_ref())?;
    let common = session.references.claims_correlation;
    if common != 0.0 || root.contains_key("references") {
        put(
            table(root, "references")?,
            "claims_correlation",
            common.into(),
        );
    }
    merge_array(root, "stream", &session.streams, same_stream, write_stream)?;
    merge_array(
        root,
        "segment",
        &session.segments,
        same_segment,
        write_segment,
    )?;
    write_facts(root, &session.facts)?;
    write_words(root, session)?;
    Ok(document.to_string())
}

/// The `[facts]` of a session file in the order they stand there.
pub(super) fn facts_in_order(document: &DocumentMut) -> Vec<Fact> {
    let Some(facts) = document.get("facts").and_then(Item::as_table_like) else {
        return Vec::new();
    };
    facts
        .iter()
        .filter_map(|(key, item)| {
            let value = item.as_value()?;
            let text = value
                .as_str()
                .map_or_else(|| value.to_string().trim().to_owned(), str::to_owned);
            Some(Fact {
                key: key.to_owned(),
                value: text,
            })
        })
        .collect()
}

/// Sets `key` only where it differs, keeping the comment that stands behind the old value.
fn put(table: &mut dyn TableLike, key: &str, new: Value) {
    match table.get_mut(key).and_then(Item::as_value_mut) {
        Some(old) if same_value(old, &new) => {}
        Some(old) => {
            let decor = old.decor().clone();
            *old = new;
            *old.decor_mut() = decor;
        }
        None => {
            table.insert(key, Item::Value(new));
        }
    }
}

/// A number of ten digits says nothing to a reader: the key is written with its meaning.
fn put_zero(root: &mut Table, zero_unix_s: Option<f64>) {
    let is_new = !root.contains_key("zero_unix_s");
    put_option(root, "zero_unix_s", zero_unix_s.map(Into::into));
    let value = root.get_mut("zero_unix_s").and_then(Item::as_value_mut);
    if let Some(value) = value.filter(|_| is_new) {
        let reported = " # where session time is 0, s since 1970-01-01T00:00:00Z";
        value.decor_mut().set_suffix(reported);
    }
}

fn same_value(old: &Value, new: &Value) -> bool {
    match (old, new) {
        (Value::String(a), Value::String(b)) => a.value() == b.value(),
        (Value::Integer(a), Value::Float(b)) => *a.value() as f64 == *b.value(),
        (Value::Integer(a), Value::Integer(b)) => a.value() == b.value(),
        (Value::Float(a), Value::Float(b)) => a.value() == b.value(),
        (Value::Array(a), Value::Array(b)) => {
            a.len() == b.len() && a.iter().zip(b.iter()).all(|(a, b)| same_value(a, b))
        }
        _ => false,
    }
}

/// Sets `key`, or removes it where there is no value.
fn put_option(table: &mut dyn TableLike, key: &str, new: Option<Value>) {
    match new {
        Some(new) => put(table, key, new),
        None => {
            table.remove(key);
        }
    }
}

/// The table called `key`, as it is written there: in lines of its own, or in one line.
fn table<'a>(root: &'a mut Table, key: &str) -> Result<&'a mut dyn TableLike, String> {
    let item = root.entry(key).or_insert_with(|| Item::Table(Table::new()));
    item.as_table_like_mut()
        .ok_or_else(|| format!("`{key}` must be a table: write [{key}]"))
}

/// Brings an array of tables up to date. Each entry keeps the table that stood for it before, so
/// that its comments and unknown keys move with it.
fn merge_array<T>(
    root: &mut Table,
    key: &str,
    entries: &[T],
    same: impl Fn(&Table, &T) -> Likeness,
    write: impl Fn(&mut Table, &T),
) -> Result<(), String> {
    let mut old: Vec<Option<Table>> = match root.get(key) {
        None => Vec::new(),
        Some(item) => item
            .clone()
            .into_array_of_tables()
            .map_err(|_| format!("`{key}` must be an array of tables: write [[{key}]]"))?
            .into_iter()
            .map(Some)
            .collect(),
    };
    if entries.is_empty() {
        root.remove(key);
        return Ok(());
    }
    let mut kept: Vec<Option<Table>> = entries.iter().map(|_| None).collect();
    for wanted in [Likeness::Same, Likeness::Related] {
        for (entry, slot) in entries
            .iter()
            .zip(&mut kept)
            .filter(|(_, slot)| slot.is_none())
        {
            let found = old.iter_mut().find(|table| {
                table
                    .as_ref()
                    .is_some_and(|table| same(table, entry) == wanted)
            });
            *slot = found.and_then(Option::take);
        }
    }
    let mut array = ArrayOfTables::new();
    for (entry, slot) in entries.iter().zip(kept) {
        let mut table = slot.unwrap_or_default();
        write(&mut table, entry);
        forget_position(&mut table);
        array.push(table);
    }
    root.insert(key, Item::ArrayOfTables(array));
    Ok(())
}

/// Tables are written in the order of their old positions; without one, where they stand now.
fn forget_position(table: &mut Table) {
    table.set_position(None);
    for (_, item) in table.iter_mut() {
        if let Some(inner) = item.as_table_mut() {
            forget_position(inner);
        }
    }
}

/// How an old table relates to an entry.
#[derive(PartialEq, Eq)]
enum Likeness {
    Same,
    Related,
    Other,
}

fn same_stream(table: &Table, stream: &Stream) -> Likeness {
    let holds = |key: &str, text: &str| table.get(key).and_then(Item::as_str) == Some(text);
    if holds("label", &stream.label) {
        Likeness::Same
    } else if holds("file", &stream.file)
        && table.get("channel").and_then(Item::as_str) == stream.channel.as_deref()
    {
        Likeness::Related
    } else {
        Likeness::Other
    }
}

fn same_segment(table: &Table, segment: &Segment) -> Likeness {
    let number = |key: &str| {
        let item = table.get(key)?;
        item.as_float()
            .or_else(|| item.as_integer().map(|i| i as f64))
    };
    let from = number("from_s") == Some(segment.from_s);
    let to = number("to_s") == Some(segment.to_s);
    match (from, to) {
        (true, true) => Likeness::Same,
        (true, false) | (false, true) => Likeness::Related,
        (false, false) => Likeness::Other,
    }
}

fn write_stream(table: &mut Table, stream: &Stream) {
    put(table, "label", stream.label.as_str().into());
    put(table, "file", stream.file.as_str().into());
    put_option(table, "channel", stream.channel.as_deref().map(Into::into));
    put(table, "role", stream.role.word().into());
    put_option(table, "site", stream.site.map(|site| site.word().into()));
    put_option(table, "claim_percent", stream.claim_percent.map(Into::into));
    put_option(table, "claim_watts", stream.claim_watts.map(Into::into));
    put(table, "offset_s", stream.offset_s.into());
    put(table, "skew_ppm", stream.skew_ppm.into());
    put_option(
        table,
        "matched_on",
        stream.matched_on.map(|on| on.word().into()),
    );
    put_option(
        table,
        "clock_doubt",
        stream.clock_doubt.as_deref().map(Into::into),
    );
    put_option(table, "sha256", stream.sha256.as_deref().map(Into::into));
    let side = stream.one_sided.map(|side| side.word().into());
    put_option(table, "one_sided", side);
    put_option(table, "zero_before", stream.zero_before.as_ref().map(zero));
    put_option(table, "zero_after", stream.zero_after.as_ref().map(zero));
    write_columns(table, stream);
    write_weights(table, stream.weights.as_ref());
}

/// As a number where no unit is noted.
fn zero(reading: &ZeroReading) -> Value {
    if reading.unit.is_empty() {
        reading.value.into()
    } else {
        reading.to_string().into()
    }
}

fn numbers(values: &[f64]) -> Value {
    Value::Array(values.iter().copied().collect::<Array>())
}

/// The readings with known masses of a stream, in a table below it.
fn write_weights(stream: &mut Table, weights: Option<&Weights>) {
    let Some(weights) = weights else {
        stream.remove("weights");
        return;
    };
    let Ok(table) = table(stream, "weights") else {
        return;
    };
    let number = |value: Option<f64>| value.map(Value::from);
    put_option(table, "crank_mm", number(weights.crank_mm));
    let plus_minus = number(weights.crank_plus_minus_mm);
    put_option(table, "crank_plus_minus_mm", plus_minus);
    put_option(table, "gravity", number(weights.gravity));
    put_option(table, "latitude", number(weights.latitude));
    put_option(table, "altitude_m", number(weights.altitude_m));
    put(table, "kg", numbers(&weights.kg));
    put(table, "nm", numbers(&weights.nm));
}

fn write_gears(root: &mut Table, gears: Option<&Gears>) -> Result<(), String> {
    let Some(gears) = gears else {
        root.remove("gears");
        return Ok(());
    };
    let table = table(root, "gears")?;
    put(table, "front", numbers(&gears.front));
    put(table, "rear", numbers(&gears.rear));
    let circumference_m = gears.circumference_m.map(Value::from);
    put_option(table, "circumference_m", circumference_m);
    Ok(())
}

fn write_columns(table: &mut Table, stream: &Stream) {
    let names = [
        ("time", &stream.columns.time),
        ("device", &stream.columns.device),
    ];
    if names.iter().all(|(_, name)| name.is_none()) && !table.contains_key("columns") {
        return;
    }
    let item = table
        .entry("columns")
        .or_insert_with(|| value(toml_edit::InlineTable::new()));
    let Some(columns) = item.as_table_like_mut() else {
        return;
    };
    for (key, name) in names {
        match name {
            Some(name) if columns.get(key).and_then(Item::as_str) == Some(name) => {}
            Some(name) => {
                columns.insert(key, value(name.as_str()));
            }
            None => {
                columns.remove(key);
            }
        }
    }
}

fn write_segment(table: &mut Table, segment: &Segment) {
    put(table, "kind", segment.kind.word().into());
    put(table, "from_s", segment.from_s.into());
    put(table, "to_s", segment.to_s.into());
    put_option(table, "set_point_w", segment.set_point_w.map(Into::into));
    let note = Some(segment.note.as_str()).filter(|note| !note.is_empty());
    put_option(table, "note", note.map(Into::into));
}

fn write_facts(root: &mut Table, facts: &[Fact]) -> Result<(), String> {
    if facts.is_empty() && !root.contains_key("facts") {
        return Ok(());
    }
    let table = table(root, "facts")?;
    // A table within is no fact ([`facts_in_order`]): like any unknown key it stays.
    let dropped: Vec<String> = table
        .iter()
        .filter(|(_, item)| item.is_value())
        .map(|(key, _)| key.to_owned())
        .filter(|key| !facts.iter().any(|fact| fact.key == *key))
        .collect();
    for key in dropped {
        table.remove(&key);
    }
    for fact in facts {
        // A fact written as a number stays one while it says the same.
        let unchanged = table
            .get(&fact.key)
            .and_then(Item::as_value)
            .is_some_and(|old| !old.is_str() && old.to_string().trim() == fact.value);
        if !unchanged {
            put(table, &fact.key, fact.value.as_str().into());
        }
    }
    Ok(())
}

fn write_words(root: &mut Table, session: &Session) -> Result<(), String> {
    let words = &session.words;
    if *words == Default::default() && !root.contains_key("words") {
        return Ok(());
    }
    let table = table(root, "words")?;
    put(table, "summary", words.summary.as_str().into());
    put(
        table,
        "for",
        Value::Array(words.for_.iter().map(String::as_str).collect::<Array>()),
    );
    put(
        table,
        "against",
        Value::Array(words.against.iter().map(String::as_str).collect::<Array>()),
    );
    Ok(())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::session::by_hand::{BY_HAND, parsed, refused};
    use crate::session::{Kind, MatchedOn, Side};

    #[test]
    fn saving_an_unchanged_session_changes_little_and_loses_nothing() {
        let text = merged(BY_HAND, &parsed(BY_HAND)).unwrap();
        for kept in [
            "# my ride",
            "# working title",
            "source = \"box\" # not ours to drop",
            "offset_s = 0   # whole number, by hand",
            "serial = 12",
            "# the pedals were zeroed before\n[[stream]]\nlabel = \"pedals\"",
            "# the good one\n[[segment]]\nkind = \"steady-block\"",
            "weather = \"hot\"",
            "unit = 7",
        ] {
            assert!(text.contains(kept), "lost {kept:?} in\n{text}");
        }
        assert_eq!(parsed(&text), parsed(BY_HAND));
        assert_eq!(
            merged(&text, &parsed(&text)).unwrap(),
            text,
            "a second save is still"
        );
    }

    #[test]
    fn readings_with_masses_are_written_below_their_stream_and_comments_stay() {
        let by_hand = BY_HAND.replace(
            "claim_percent = 1.0\n",
            "claim_percent = 1.0\nzero_before = 512 # as shown\n\n# on the stand\n[stream.weights]\n\
             crank_mm = 172.5 # ruler\nkg = [0, 10]\nnm = [0.1, 17] # one way\n",
        );
        let mut session = parsed(&by_hand);
        let weights = session.streams[1].weights.as_mut().unwrap();
        assert_eq!((weights.kg[1], weights.crank_mm), (10.0, Some(172.5)));
        weights.gravity = Some(9.81);
        weights.nm[1] = 17.5;
        session.streams[0].weights = session.streams[1].weights.clone();
        let text = merged(&by_hand, &session).unwrap();
        for kept in [
            "zero_before = 512 # as shown",
            "# on the stand\n[stream.weights]\ncrank_mm = 172.5 # ruler",
            "kg = [0, 10]",
            "nm = [0.1, 17.5] # one way",
        ] {
            assert!(text.contains(kept), "lost {kept:?} in\n{text}");
        }
        assert_eq!(parsed(&text), session);
        session.streams[1].weights = None;
        assert_eq!(parsed(&merged(&text, &session).unwrap()), session);
    }

    #[test]
    fn comments_follow_their_segment_when_it_moves() {
        let mut session = parsed(BY_HAND);
        session.segments[0].to_s = 300.0;
        session.segments.remove(1);
        session.segments.push(Segment {
            kind: Kind::Coast,
            from_s: 10.0,
            to_s: 20.0,
            set_point_w: None,
            note: "easy".into(),
        });
        session.sort_segments();
        let text = merged(BY_HAND, &session).unwrap();
        let (coast, good) = (
            text.find("coast").unwrap(),
            text.find("# the good one").unwrap(),
        );
        assert!(coast < good, "{text}");
        assert!(
            text.contains("to_s = 300.0") && text.contains("weather"),
            "{text}"
        );
        assert!(!text.contains("sprint"));
        assert_eq!(parsed(&text), session);
    }

    #[test]
    fn what_stands_within_the_facts_and_behind_a_table_in_one_line_is_kept() {
        let by_hand = BY_HAND.replace(
            "[claim]\npercent = 2.0\nwatts = 0.0\nsource = \"box\" # not ours to drop\n",
            "claim = { percent = 2.0, watts = 0.0, source = \"box\" } # see the leaflet\n",
        ) + "gear.front = 50\n\n[facts.wheel]\ntyre = 28 # mm\n\n[[facts.rides]]\nn = 1\n";
        let mut session = parsed(&by_hand);
        session.claim.percent = 1.5;
        session.facts[0].value = "1.3".into();
        let text = merged(&by_hand, &session).unwrap();
        for kept in [
            "claim = { percent = 1.5, watts = 0.0, source = \"box\" } # see the leaflet",
            "firmware = \"1.3\"",
            "gear.front = 50",
            "[facts.wheel]\ntyre = 28 # mm",
            "[[facts.rides]]\nn = 1",
        ] {
            assert!(text.contains(kept), "lost {kept:?} in\n{text}");
        }
        assert_eq!(parsed(&text), session);
    }

    #[test]
    fn where_session_time_starts_is_written_with_its_meaning_and_held_to_what_can_be_meant() {
        let mut session = parsed(BY_HAND);
        assert_eq!(session.zero_unix_s, None);
        session.zero_unix_s = Some(1_764_054_000.25);
        let text = merged(BY_HAND, &session).unwrap();
        let line = "zero_unix_s = 1764054000.25 # where session time is 0, s since 1970";
        assert!(text.contains(line), "{text}");
        assert_eq!(parsed(&text), session);
        let reported = refused(&text.replace("1764054000.25", "1e300"));
        assert!(reported.contains("zero_unix_s is 1e300"), "{reported}");
        let reported = refused(&text.replace("1764054000.25", "2025-11-25T07:00:00Z"));
        assert!(
            reported.contains("where a number should stand"),
            "{reported}"
        );
        // A comment of one's own stays.
        let text = text.replace("# where session", "# mine: where session");
        session.zero_unix_s = Some(1.0);
        let text = merged(&text, &session).unwrap();
        assert!(text.contains("zero_unix_s = 1.0 # mine"), "{text}");
    }

    fn any_segment() -> impl Strategy<Value = Segment> {
        let set_point = prop::option::of(0.0..2000.0_f64);
        (
            0usize..7,
            0.0..9e4_f64,
            0.001..9e3_f64,
            set_point,
            "[ -~°é\"\\\\\n]{0,20}",
        )
            .prop_map(|(kind, from_s, length_s, set_point_w, note)| Segment {
                kind: Kind::ALL[kind],
                from_s,
                to_s: from_s + length_s,
                set_point_w,
                note,
            })
    }

    proptest! {
        #[test]
        fn what_is_saved_is_what_is_loaded(
            segments in prop::collection::vec(any_segment(), 0..12),
            offset_s in -1e5..1e5_f64,
            title in "\\PC{0,30}",
            zero_unix_s in prop::option::of(0.0..4e9_f64),
            latitude in prop::option::of(1.0..3.0_f64),
        ) {
            let mut session = parsed(BY_HAND);
            session.title = title;
            session.zero_unix_s = zero_unix_s;
            session.streams[1].offset_s = offset_s;
            session.streams[1].matched_on = Some(MatchedOn::Given);
            session.streams[1].clock_doubt = Some("a “second” peak".to_owned());
            session.streams[1].one_sided = Some(Side::Right);
            session.streams[1].zero_before = ZeroReading::parse("-3 raw");
            session.streams[1].zero_after = ZeroReading::parse("0.25");
            session.streams[1].weights = Some(Weights {
                crank_mm: Some(172.5),
                latitude,
                kg: vec![0.0, offset_s.abs()],
                nm: vec![offset_s],
                ..Weights::default()
            });
            session.gears = latitude.map(|_| Gears {
                front: vec![50.0, 34.0],
                rear: vec![12.0],
                circumference_m: latitude,
            });
            session.segments = segments;
            session.sort_segments();
            let text = merged(BY_HAND, &session).unwrap();
            prop_assert_eq!(&parsed(&text), &session);
            prop_assert_eq!(parsed(&to_text(&session)), session);
        }
    }
}
