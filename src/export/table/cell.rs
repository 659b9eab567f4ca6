//! A value of the JSON in a cell, for a machine or for a person.

use serde_json::Value;

use crate::analysis::figure::Figure;
use crate::text::{self, NOTHING, inert, machine_number, one_line};

/// Whether `value` is the two ends of one interval, and no list.
pub(super) fn is_interval(figure: &Figure, value: &Value) -> bool {
    let items = value.as_array().map_or(&[][..], Vec::as_slice);
    figure.is_interval() && items.len() == 2 && items.iter().all(Value::is_number)
}

const fn yes_or_no(value: bool) -> &'static str {
    if value { "yes" } else { "no" }
}

/// For a machine: empty where there is nothing, lists joined by `; `.
pub(super) fn machine(value: &Value) -> String {
    match value {
        Value::Bool(value) => yes_or_no(*value).to_owned(),
        Value::Number(number) => number.as_f64().map_or_else(String::new, machine_number),
        Value::String(text) => inert(text),
        Value::Array(items) if items.iter().any(Value::is_string) => {
            let texts = items.iter().filter_map(Value::as_str);
            let texts: Vec<String> = texts.map(|text| text.replace(';', ",")).collect();
            inert(&texts.join("; "))
        }
        Value::Array(items) => {
            let cells: Vec<String> = items.iter().map(machine).collect();
            cells.join("; ")
        }
        Value::Null | Value::Object(_) => String::new(),
    }
}

/// For a person, without the unit; `None` where it does not apply.
pub(crate) fn shown(figure: &Figure, value: &Value) -> Option<String> {
    match value {
        Value::Bool(value) => Some(yes_or_no(*value).to_owned()),
        Value::Number(number) => number.as_f64().map(|number| figure.print(number)),
        Value::String(text) => Some(one_line(text)).filter(|text| !text.is_empty()),
        Value::Array(items) if is_interval(figure, value) => {
            let end = |index: usize| items.get(index).and_then(Value::as_f64);
            let ends = [end(0)?, end(1)?];
            Some(text::interval(Some(ends), figure.decimals, figure.signed))
        }
        Value::Array(items) if !items.is_empty() => {
            let cells = items.iter().map(|item| or_dash(figure, item));
            Some(cells.collect::<Vec<_>>().join("; "))
        }
        Value::Array(_) | Value::Null | Value::Object(_) => None,
    }
}

/// [`shown`], or a dash where it does not apply.
pub(super) fn or_dash(figure: &Figure, value: &Value) -> String {
    shown(figure, value).unwrap_or_else(|| NOTHING.to_owned())
}
