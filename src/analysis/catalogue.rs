//! The catalogue of figures: gathers what stands beside the functions that compute them, and the
//! words of the vocabulary, and finds a term among them.
//!
//! The panel, the heads of tables, the method section of the report and `truing explain` all read
//! it. A figure's id is the path of the field in the JSON of `truing table`, lists left out:
//! `segments.agreement.bias_w`.

pub mod marks;
pub mod words;

use strsim::osa_distance;

use super::figure::Figure;
use super::kinds::{self, cadence};
use super::{agreement, coverage, dropout, error_curve, excursions, figures as segment, grubbs};
use super::{mean_max, noted, pooled, questions, ratio, survey, table, verdict, weights};

/// Every slice of figures before those of the kinds, in the order of the JSON.
const FIGURES: &[&[Figure]] = &[
    table::FIGURES,
    weights::FIGURES,
    noted::FIGURES,
    dropout::FIGURES,
    mean_max::FIGURES,
    excursions::FIGURES,
    verdict::overall::FIGURES,
    error_curve::FIGURES,
    coverage::FIGURES,
    pooled::FIGURES,
    segment::FIGURES,
    agreement::FIGURES,
    ratio::FIGURES,
    verdict::references::FIGURES,
    verdict::figures::FIGURES,
    grubbs::FIGURES,
];

/// Where the figures of one place of the JSON stand a second time: the verdicts on further sources.
const AGAIN: (&str, &str) = ("segments.verdict.", "segments.further_verdicts.");

/// Every figure, in the order of the JSON.
pub fn figures() -> impl Iterator<Item = &'static Figure> {
    let of_kinds = kinds::ALL.iter().map(|of| of.figures);
    let slices = FIGURES.iter().copied().chain(of_kinds);
    slices.chain([cadence::FIGURES]).flatten()
}

/// The questions of a tester, the words of the vocabulary, and the marks of the screens.
pub fn words() -> impl Iterator<Item = &'static Figure> {
    let words = words::WORDS.iter().chain(&words::KINDS);
    let words = words.chain(&words::ROW).chain(marks::MARKS);
    let of_many = survey::FIGURES.iter();
    questions::FIGURES.iter().chain(words).chain(of_many)
}

/// The figure with this id; `segments.` may be left out where no field of the ride has the name.
pub fn figure(id: &str) -> Option<&'static Figure> {
    let all = || figures().chain(words());
    all()
        .find(|f| f.id == id)
        .or_else(|| all().find(|f| f.id.strip_prefix("segments.") == Some(id)))
}

/// Every path of the JSON at which `figure` stands; none of a word.
pub fn paths(figure: &Figure) -> Vec<String> {
    let again = figure.id.strip_prefix(AGAIN.0);
    let again = again.map(|field| format!("{}{field}", AGAIN.1));
    let first = figure.id.contains('.').then(|| figure.id.to_owned());
    first.into_iter().chain(again).collect()
}

/// What a search found.
#[derive(Clone, Debug, PartialEq)]
pub enum Found {
    /// Entries that the term names: one, or several that share a last name.
    Named(Vec<&'static Figure>),
    /// None, but these come near.
    Near(Vec<&'static Figure>),
}

/// Most near misses worth showing.
const NEAR_MISSES: usize = 5;

/// Looks a term up, as [`named`] does. Failing that, entries that mention the term or differ from
/// it by a slip of the fingers.
pub fn find(term: &str) -> Found {
    let hits = named(term);
    if !hits.is_empty() {
        return Found::Named(hits);
    }
    let all: Vec<&'static Figure> = words().chain(figures()).collect();
    Found::Near(near(&plain(term), &all))
}

/// The entries called `term`: by id, by the last part of an id or a label; whatever the case, and
/// with spaces, hyphens and underscores alike. Empty where none is.
pub fn named(term: &str) -> Vec<&'static Figure> {
    let wanted = plain(term);
    let last = |e: &Figure| plain(e.id.rsplit('.').next().unwrap_or(e.id));
    let labels = |f: &Figure| {
        let bare = [f.label, f.short()].map(str::to_owned);
        let with_unit = bare.clone().map(|label| format!("{label} {}", f.unit));
        bare.into_iter()
            .chain(with_unit)
            .any(|label| plain(&label) == wanted)
    };
    let attempts: [&dyn Fn(&Figure) -> bool; 3] = [
        &|f| {
            let (id, is_path) = (plain(f.id), f.id.contains('.'));
            is_path && (id == wanted || id.strip_prefix("segments.") == Some(&wanted))
        },
        &|f| last(f) == wanted || labels(f),
        &|f| without_unit(&last(f)) == wanted,
    ];
    let called = |is: &&dyn Fn(&Figure) -> bool| -> Vec<&'static Figure> {
        words().chain(figures()).filter(|e| is(e)).collect()
    };
    let mut found = attempts.iter().map(called);
    found.find(|hits| !hits.is_empty()).unwrap_or_default()
}

fn near(wanted: &str, all: &[&'static Figure]) -> Vec<&'static Figure> {
    let mut scored: Vec<(usize, &'static Figure)> = all
        .iter()
        .filter_map(|entry| Some((closeness(wanted, entry)?, *entry)))
        .collect();
    scored.sort_by_key(|(score, _)| *score);
    let mut seen: Vec<&str> = Vec::new();
    scored.retain(|(_, e)| !seen.contains(&e.label) && (seen.push(e.label), true).1);
    scored
        .into_iter()
        .take(NEAR_MISSES)
        .map(|(_, e)| e)
        .collect()
}

/// How far an entry is from what was asked for, smaller being nearer; `None` for nothing alike.
fn closeness(wanted: &str, entry: &Figure) -> Option<usize> {
    if wanted.is_empty() {
        return None;
    }
    let last = plain(entry.id.rsplit('.').next().unwrap_or(entry.id));
    let label = plain(entry.label);
    let slips = [last.as_str(), &label, without_unit(&last)].map(|name| osa_distance(wanted, name));
    let slips = slips.into_iter().min().unwrap_or(usize::MAX);
    if 3 * slips <= wanted.chars().count() {
        return Some(slips);
    }
    if last.contains(wanted) || label.contains(wanted) {
        return Some(10);
    }
    plain(entry.definition).contains(wanted).then_some(20)
}

/// Lower case, every run of spaces, hyphens and underscores one space.
pub(crate) fn plain(text: &str) -> String {
    let spaced = text.to_lowercase().replace(['-', '_', '‑', '–'], " ");
    spaced.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A field's name without the unit at its end.
fn without_unit(name: &str) -> &str {
    name.rsplit_once(' ')
        .filter(|(_, unit)| ["w", "s", "percent", "rpm", "ppm"].contains(unit))
        .map_or(name, |(name, _)| name)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;
    use std::path::Path;

    use serde_json::{Value, json};

    use super::*;
    use crate::analysis::noted::OneSided;
    use crate::session::weights::vectors::worked;
    use crate::session::{Session, Side, Stream, ZeroReading};

    /// Paths of all fields that hold a value or a list of plain values, lists left out.
    fn paths_in(value: &Value, prefix: &str, found: &mut BTreeSet<String>) {
        match value {
            Value::Object(fields) => {
                for (name, field) in fields {
                    let path = if prefix.is_empty() {
                        name.clone()
                    } else {
                        format!("{prefix}.{name}")
                    };
                    paths_in(field, &path, found);
                }
            }
            Value::Array(items) if items.iter().any(Value::is_object) => {
                items.iter().for_each(|item| paths_in(item, prefix, found));
            }
            _ => {
                found.insert(prefix.to_owned());
            }
        }
    }

    /// What is noted of a meter beside a ride, which no committed session holds.
    fn beside_the_ride() -> Value {
        let mut session = Session::default();
        session.streams.push(Stream {
            weights: Some(worked()),
            ..Stream::new("pedals", "pedals.fit")
        });
        let one_sided = OneSided {
            side: Side::Left,
            balance_of: None,
            balance_percent: None,
            predicted_error_percent: None,
        };
        session.streams[0].zero_before = ZeroReading::parse("512 raw");
        let zero = noted::zero_change(&session.streams[0]);
        let weights = weights::check(&session, 0);
        json!({"streams": [{"weights": weights, "one_sided": one_sided, "zero": zero}]})
    }

    /// No committed ride has these.
    const NOT_IN_THE_OUTPUTS: [&str; 2] = ["error_curve.left_out.", "segments.further_verdicts."];

    #[test]
    fn every_field_of_the_json_has_a_figure_and_every_figure_a_field() {
        let mut fields = BTreeSet::new();
        let outputs = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden/outputs");
        for ride in ["bench-ride", "every-kind", "heat-soak"] {
            let text = std::fs::read_to_string(outputs.join(ride).join("table.json")).unwrap();
            paths_in(&serde_json::from_str(&text).unwrap(), "", &mut fields);
        }
        paths_in(&beside_the_ride(), "", &mut fields);
        let known: BTreeSet<String> = figures().flat_map(super::paths).collect();
        // A list that is empty everywhere, and what does not apply anywhere, hides its fields.
        let within = |path: &String| known.iter().any(|id| id.starts_with(&format!("{path}.")));
        let missing: Vec<_> = fields
            .difference(&known)
            .filter(|path| !within(path))
            .collect();
        assert!(missing.is_empty(), "fields without a figure: {missing:#?}");
        let unseen = |id: &&String| NOT_IN_THE_OUTPUTS.iter().any(|root| id.starts_with(root));
        let stale: Vec<_> = known.difference(&fields).filter(|id| !unseen(id)).collect();
        assert!(stale.is_empty(), "figures without a field: {stale:#?}");
    }

    #[test]
    fn ids_are_unique_and_every_entry_says_something() {
        let all: Vec<&Figure> = figures().chain(words()).collect();
        let ids: BTreeSet<&str> = all.iter().map(|e| e.id).collect();
        assert_eq!(ids.len(), all.len());
        for entry in all {
            assert!(
                !entry.label.is_empty() && !entry.source.is_empty(),
                "{}",
                entry.id
            );
            assert!(entry.definition.ends_with('.'), "{}", entry.id);
            assert!(
                entry.caveat.is_empty() || entry.caveat.ends_with('.'),
                "{}",
                entry.id
            );
        }
    }

    #[test]
    fn a_term_is_found_by_field_label_and_word() {
        let ids = |term: &str| match find(term) {
            Found::Named(entries) => entries.iter().map(|e| e.id).collect::<Vec<_>>(),
            Found::Near(_) => Vec::new(),
        };
        assert!(ids("bias_w").contains(&"segments.agreement.bias_w"));
        assert_eq!(
            ids("agreement.bias_ci95_w"),
            ["segments.agreement.bias_ci95_w"]
        );
        assert_eq!(ids("E_n"), ["segments.references.en_number"]);
        assert_eq!(ids("Steady block"), ["steady-block"]);
        assert!(ids("peak ratio").contains(&"segments.sprint.peak_ratio"));
        assert!(ids("time_constant").contains(&"segments.sprint.time_constant_s"));
    }

    #[test]
    fn a_slip_suggests_and_nonsense_does_not() {
        let Found::Near(near) = find("concordence") else {
            panic!("not a term");
        };
        assert_eq!(near[0].label, "concordance");
        assert_eq!(find("xyzzyxyzzy"), Found::Near(Vec::new()));
        assert_eq!(find(""), Found::Near(Vec::new()));
    }

    #[test]
    fn an_entry_is_found_with_or_without_its_root() {
        let bias = figure("agreement.bias_w").unwrap();
        assert_eq!(bias.id, "segments.agreement.bias_w");
        assert_eq!(figure("streams.offset_s").unwrap().unit, "s");
        assert_eq!(figure("nothing"), None);
    }

    /// What a tester has to know before believing a figure stands with it.
    #[test]
    fn definitions_say_what_they_rest_on() {
        for (id, said) in [
            ("coast.time_to_zero_s", "stays there for 3 s"),
            ("sprint.time_constant_s", "A flywheel passes for a lag"),
            ("sprint.peak_ratio", "carried to the source's site"),
            ("sprint.shortfall_w", "carried to the source's site"),
            ("ramp.steps.settling_band_w", "max(5 W, 5 % of the step"),
            ("levels.n", "without dropouts and excursions"),
        ] {
            let entry = figure(id).unwrap();
            let text = [entry.definition, entry.formula, entry.caveat].concat();
            assert!(text.contains(said), "{id}: {text}");
        }
    }

    #[test]
    fn printing_has_a_sign_but_none_on_zero() {
        let bias = figure("segments.agreement.bias_w").unwrap();
        assert_eq!(bias.print(-3.12), "-3.1");
        assert_eq!(bias.print(-0.01), "0.0");
        assert_eq!(bias.print(12.0), "+12.0");
    }
}
