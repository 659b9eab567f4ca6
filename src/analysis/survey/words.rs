//! The answer of a survey in a sentence: contrasts first, then whose faults they are.

use super::contrast::{Contrast, Said, called};
use super::matrix::{MOST_UNITS, Matrix};
use crate::analysis::questions::Finding;
use crate::text::{capital, listed, machine_number, number, one_line, plural};

/// The headline, without its dot; `units` are what the survey calls them and how many there are.
pub(super) fn headline(
    contrasts: &[Contrast],
    matrix: &Matrix,
    (noun, units): (&str, usize),
) -> String {
    let parts = [compared(contrasts), faults(matrix, noun, units)];
    let parts: Vec<String> = parts.into_iter().filter(|part| !part.is_empty()).collect();
    parts.join(". ")
}

/// Most pairs that a headline names.
const NAMED: usize = 3;

/// What the contrasts say.
fn compared(contrasts: &[Contrast]) -> String {
    match contrasts {
        [] => String::new(),
        [one] => short(one),
        many => {
            let of = |said: Said| many.iter().filter(move |c| c.outcome == said);
            let named = |said: Said| {
                let names: Vec<String> = of(said)
                    .map(|c| format!("{} and {}", called(&c.key, &c.a), called(&c.key, &c.b)))
                    .collect();
                match names.len() > NAMED {
                    true => format!("{} of {} pairs", names.len(), many.len()),
                    false => names.join(", "),
                }
            };
            let margins: Vec<f64> = many.iter().filter_map(|c| c.margin_percent).collect();
            let within = match margins.split_first() {
                Some((first, rest)) if rest.iter().all(|m| m == first) => {
                    format!(" within ±{} points", machine_number(*first))
                }
                _ => String::new(),
            };
            let parts = [
                (Said::Alike, format!("alike{within}: ")),
                (Said::Differ, "differ: ".to_owned()),
            ];
            let mut said: Vec<String> = parts
                .into_iter()
                .filter(|(said, _)| of(*said).count() > 0)
                .map(|(said, head)| format!("{head}{}", named(said)))
                .collect();
            let open = of(Said::CannotTell).count();
            if open > 0 {
                said.push(format!(
                    "of {open} of {} pairs it cannot be told",
                    many.len()
                ));
            }
            capital(&said.join("; "))
        }
    }
}

/// One contrast, short enough to head a page.
fn short(contrast: &Contrast) -> String {
    let [a, b] = [&contrast.a, &contrast.b].map(|value| called(&contrast.key, value));
    let Some(mean) = contrast.mean_percent else {
        return capital(&format!("{a} and {b} have no block in common"));
    };
    let [low, high] = contrast.ci95_percent.unwrap_or([f64::NAN; 2]);
    let by = format!(
        "{} ± {} points",
        number(mean.abs(), 1, false),
        number(0.5 * (high - low), 1, false)
    );
    let margin = machine_number(contrast.margin_percent.unwrap_or(f64::NAN));
    let side = if mean < 0.0 { "lower" } else { "higher" };
    capital(&match contrast.outcome {
        Said::Alike => format!("{a} and {b} read alike within ±{margin} points"),
        Said::Differ => format!("{a} reads {by} {side} than {b}"),
        Said::CannotTell => {
            format!("whether {a} and {b} read alike cannot be told: {a} reads {by} {side}")
        }
    })
}

/// Whose faults there are.
fn faults(matrix: &Matrix, noun: &str, units: usize) -> String {
    if units > MOST_UNITS || matrix.units.is_empty() {
        let rows = matrix.rows.iter().filter(|row| row.counts.fault > 0);
        let named: Vec<String> = rows
            .map(|row| format!("{} in {}", row.question.key(), row.counts.fault))
            .collect();
        return match named.as_slice() {
            [] => format!("No fault in {}", plural(units, noun)),
            named => format!("Faults of {}: {}", plural(units, noun), listed(named)),
        };
    }
    // Units with the same faults are named together.
    let mut said: Vec<(Vec<&str>, Vec<String>)> = Vec::new();
    for (index, unit) in matrix.units.iter().enumerate() {
        let own = matrix
            .rows
            .iter()
            .filter(|row| row.cells[index].outcome == Finding::Fault);
        let keys: Vec<&str> = own.map(|row| row.question.key()).collect();
        match said.iter_mut().find(|(known, _)| *known == keys) {
            Some((_, names)) => names.push(named(noun, unit)),
            None => said.push((keys, vec![named(noun, unit)])),
        }
    }
    let (none, some): (Vec<_>, Vec<_>) = said.into_iter().partition(|(keys, _)| keys.is_empty());
    let mut parts: Vec<String> = some
        .iter()
        .map(|(keys, names)| format!("{} in {}", listed(keys), listed(names)))
        .collect();
    if let Some((_, names)) = none.first() {
        parts.push(format!("none in {}", listed(names)));
    }
    match some.is_empty() {
        true => format!("No fault in {}", plural(units, noun)),
        false => format!("Faults: {}", parts.join("; ")),
    }
}

/// A unit as the sentence calls it; a session by its path.
fn named(noun: &str, unit: &str) -> String {
    match noun {
        "session" => one_line(unit),
        key => called(key, unit),
    }
}
