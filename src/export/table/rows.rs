//! What a row is: a segment and a pair of streams, its figures by their path in the JSON.

use serde::Serialize;
use serde_json::{Value, json};

use crate::analysis::agreement::Agreement;
use crate::analysis::figures::SegmentFigures;
use crate::analysis::table::Table;
use crate::session::Role;

/// One row of the flat tables.
#[derive(Clone, Debug)]
pub struct Row {
    /// The source under test and what it is compared with; `None` where there is no comparison.
    pub pair: Option<[String; 2]>,
    /// As in the JSON, but of each list by pair or by source this row's own entry only; and beside
    /// `session` and `segments` the two streams, `under_test` and `reference`.
    values: Value,
}

impl Row {
    /// What stands at `path`; of a list, what stands there in each of its entries.
    pub fn at(&self, path: &str) -> Value {
        at(&self.values, &path.split('.').collect::<Vec<_>>())
    }
}

/// What stands at `path` of `value`; of a list, what stands there in each of its entries.
pub(crate) fn at(value: &Value, path: &[&str]) -> Value {
    match (value, path) {
        (Value::Array(items), [_, ..]) => items.iter().map(|item| at(item, path)).collect(),
        (value, [first, rest @ ..]) => value.get(first).map_or(Value::Null, |v| at(v, rest)),
        (value, []) => value.clone(),
    }
}

/// As JSON; null where that cannot be.
pub(crate) fn as_json(value: &impl Serialize) -> Value {
    serde_json::to_value(value).unwrap_or_default()
}

/// All rows in order: by segment, then by pair. A segment without a pair has one row a source
/// under test, or one row where there is none.
pub fn rows(table: &Table) -> Vec<Row> {
    let segments = table.segments.iter();
    segments.flat_map(|s| rows_of(table, s)).collect()
}

/// The rows of one segment.
pub fn rows_of(table: &Table, segment: &SegmentFigures) -> Vec<Row> {
    let session = json!({ "title": table.session.title });
    let values = as_json(segment);
    let row = |under_test: &str, compared: Option<&Agreement>| {
        let reference = compared.map(|pair| pair.reference.as_str());
        let entry = |list: &str, wanted: &[(&str, Option<&str>)]| -> Value {
            let fits = |item: &&Value| {
                let mut wanted = wanted.iter();
                wanted.all(|(field, label)| label.is_some() && item[field].as_str() == *label)
            };
            let mut items = values[list].as_array().into_iter().flatten();
            items.find(fits).cloned().unwrap_or_default()
        };
        let under = ("under_test", Some(under_test));
        let mut own = values.clone();
        own["agreement"] = match compared {
            Some(_) => entry("agreement", &[under, ("reference", reference)]),
            None => json!({ "under_test": under_test }),
        };
        own["cadence"] = entry("cadence", &[under, ("reference", reference)]);
        if own["verdict"]["under_test"] != under_test {
            own["verdict"] = entry("further_verdicts", &[under]);
        }
        Row {
            pair: compared.map(|pair| [pair.under_test.clone(), pair.reference.clone()]),
            values: json!({
                "session": session,
                "segments": own,
                "under_test": entry("streams", &[("label", Some(under_test))]),
                "reference": entry("streams", &[("label", reference)]),
            }),
        }
    };
    if !segment.agreement.is_empty() {
        let pairs = segment.agreement.iter();
        return pairs
            .map(|pair| row(&pair.under_test, Some(pair)))
            .collect();
    }
    let streams = table.streams.iter();
    let source = streams.filter(|stream| stream.role == Role::UnderTest);
    let rows: Vec<Row> = source.map(|stream| row(&stream.label, None)).collect();
    if rows.is_empty() {
        return vec![row("", None)];
    }
    rows
}
