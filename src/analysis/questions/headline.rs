//! The headline: every fault in plain words, in the order of harm, and what is fine before it.

use super::answer::{Answer, Finding, Question, Tagging};
use crate::text::{capital, listed};

/// Faults in the order in which they harm a reader of the source's numbers.
const HARM: [Question; 15] = [
    Question::References,
    Question::Accuracy,
    Question::Phantom,
    Question::Sprint,
    Question::Gear,
    Question::Level,
    Question::Heat,
    Question::Hold,
    Question::Gradient,
    Question::Follow,
    Question::Steadiness,
    Question::Cadence,
    Question::Dropouts,
    Question::Work,
    Question::Clocks,
];

/// The headline of all answers; `sources` are the labels, in order.
pub fn headline(answers: &[Answer], sources: &[&str]) -> String {
    if sources.is_empty() {
        return "Nothing is under test: give one stream role = \"under-test\" in session.toml"
            .to_owned();
    }
    let shared = |a: &&Answer| a.source.is_empty();
    let common: Vec<String> = faults(&answers.iter().filter(shared).collect::<Vec<_>>());
    let each: Vec<String> = sources
        .iter()
        .map(|label| {
            let own: Vec<&Answer> = answers.iter().filter(|a| a.source == *label).collect();
            let words = of_source(&own, &common);
            match sources {
                [_] => capital(&words),
                _ => format!("{label}: {words}"),
            }
        })
        .collect();
    each.join(". ")
}

fn faults(answers: &[&Answer]) -> Vec<String> {
    let of = |question: &Question| {
        let found = answers.iter().find(|a| a.question == *question)?;
        found.headline.clone()
    };
    HARM.iter().filter_map(of).collect()
}

fn of_source(own: &[&Answer], common: &[String]) -> String {
    // What keeps from judging comes last, as a clause of its own.
    let faults = [faults(own), common.to_vec()].concat();
    let accuracy = own.iter().find(|a| a.question == Question::Accuracy);
    let is = |finding| accuracy.is_some_and(|a| a.outcome == finding);
    let within = "reads within its claim at held power";
    match (faults.as_slice(), is(Finding::Fine)) {
        ([], true) => format!("{within}; nothing found wrong"),
        ([], false) if is(Finding::CannotTell) => {
            "nothing found wrong; whether it reads within its claim cannot be told".to_owned()
        }
        ([], false) => "nothing found wrong; accuracy was not ridden".to_owned(),
        (faults, true) => format!("{within}, but {}", listed(faults)),
        (faults, false) => listed(faults),
    }
}

/// The second line: what is not told, and what is not tagged.
pub fn remark(answers: &[Answer], tagging: Tagging) -> String {
    let keys = |finding: Finding| {
        let of = |question: &Question| of_sources(answers, *question, finding);
        Question::ALL.iter().filter_map(of).collect::<Vec<String>>()
    };
    let mut parts = Vec::new();
    let (open, missing) = (keys(Finding::CannotTell), keys(Finding::NotRidden));
    if !open.is_empty() {
        parts.push(format!("Cannot tell: {}.", listed(&open)));
    }
    if !missing.is_empty() {
        parts.push(format!("Not ridden: {}.", listed(&missing)));
    }
    parts.extend(tagging.in_words());
    parts.join(" ")
}

/// A question that is answered so, with the sources of which it is where it is not of all.
fn of_sources(answers: &[Answer], question: Question, finding: Finding) -> Option<String> {
    let all: Vec<&Answer> = answers.iter().filter(|a| a.question == question).collect();
    let own = all.iter().filter(|a| a.outcome == finding);
    let own: Vec<&str> = own.map(|a| a.source.as_str()).collect();
    match own.len() {
        0 => None,
        n if n == all.len() => Some(question.key().to_owned()),
        _ => Some(format!("{} ({})", question.key(), own.join(", "))),
    }
}
