//! Writing a session into the text of its file so that what the program does not know stays:
//! comments, unknown keys, the order in which a person wrote things.

use toml_edit::{Array, ArrayOfTables, DocumentMut, Item, Table, TableLike, Value, value};

use super::{Fact, Segment, Session, Stream};
use crate::session::store::FORMAT;

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
    let allowance = table(root, "allowance")?;
    put(allowance, "percent", session.allowance.percent.into());
    put(allowance, "plus_minus", session.allowance.plus_minus.into());
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
pub(super) fn facts_in_order(text: &str) -> Vec<Fact> {
    let Ok(document) = text.parse::<DocumentMut>() else {
        return Vec::new();
    };
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
        let told = " # where session time is 0, s since 1970-01-01T00:00:00Z";
        value.decor_mut().set_suffix(told);
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
fn put_option(table: &mut Table, key: &str, new: Option<Value>) {
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
    write_columns(table, stream);
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
