//! Can the references judge at all? E_n of each two over the blocks on which a claim is tested
//! (ISO 13528): beyond 1 they contradict their own claims.

use super::answer::{Answer, Finding, Limit, Place, Question};
use super::ride::Ride;
use crate::analysis::figure::Figure;
use crate::session::Role;
use crate::text::listed;

/// What `truing explain` says of it.
pub const FIGURE: Figure = Figure {
    id: "findings.references",
    label: "references",
    unit: "",
    decimals: 1,
    definition: "Whether the references can judge at all: the largest E_n of two of them over the blocks on which a claim is tested.",
    formula: "max |x₁ − x₂|/√(U₁² + U₂²), U = 2a/√3 of each claim and the scatter",
    source: "ISO 13528",
    caveat: "An error that the references share does not show.",
    ..Figure::PLAIN
};

/// Beyond this two references contradict each other.
const MOST_EN: f64 = 1.0;

pub fn answer(ride: &Ride<'_>) -> Answer {
    let question = Question::References;
    let labels: Vec<String> = ride
        .aligned
        .powered(Role::Reference)
        .filter_map(|index| Some(ride.session.streams.get(index)?.label.clone()))
        .collect();
    let limit = Limit {
        source: "ISO 13528",
        ..Limit::stated_or(None, MOST_EN, "ISO 13528")
    };
    match labels.as_slice() {
        [] => return Answer::not_ridden(question, "", "no reference carries power"),
        [one] => {
            let why = format!("{one} is the only reference, and nothing tests it");
            return Answer::cannot_tell(question, "", &why, "a second reference of another kind");
        }
        _ => {}
    }
    let under_test = ride
        .table
        .segments
        .iter()
        .filter(|s| s.kind.spec().tests_claim);
    let under_test: Vec<_> = under_test
        .filter_map(|segment| Some((segment, segment.references.as_ref()?)))
        .collect();
    let size = |en: Option<f64>| en.map_or(0.0, f64::abs);
    let worst = under_test
        .iter()
        .max_by(|a, b| size(a.1.en_number).total_cmp(&size(b.1.en_number)));
    let Some((segment, found)) = worst else {
        let why = "no block of held power is there to compare the references on";
        return Answer::not_ridden(question, "", why);
    };
    let pair = found.pair.as_ref().map_or(labels.clone(), |p| p.to_vec());
    let place = Place {
        from_s: segment.from_s,
        to_s: segment.to_s,
    };
    let apart = found.difference_percent.unwrap_or(0.0).abs();
    let en = size(found.en_number);
    let answer = if under_test.iter().any(|(_, r)| r.agree == Some(false)) {
        Answer::new(
            question,
            "",
            Finding::Fault,
            format!(
                "{} differ by {apart:.1} % in segment {}, more than they claim: E_n {en:.2}; {}. Find \
                 out which one is wrong",
                listed(&pair),
                segment.id,
                limit.said("1"),
            ),
        )
        .headed(format!("cannot be judged where {} differ by {apart:.1} %", listed(&pair)))
    } else if under_test.iter().all(|(_, r)| r.agree == Some(true)) {
        let sentence = format!(
            "{} agree within what they claim: E_n at most {en:.2}; {}",
            listed(&labels),
            limit.said("1")
        );
        Answer::new(question, "", Finding::Fine, sentence)
    } else {
        let open = under_test.iter().find(|(_, r)| r.agree.is_none());
        let why = open.map_or("", |(_, r)| r.note.as_str());
        let unstated = |label: &&String| {
            let index = ride.session.stream_index(label);
            index.and_then(|i| ride.session.claim_of(i)).is_none()
        };
        let silent: Vec<String> = labels.iter().filter(unstated).cloned().collect();
        let would = match silent.as_slice() {
            [] => "longer blocks".to_owned(),
            _ => super::ride::claims_would(&silent),
        };
        Answer::cannot_tell(question, "", why, &would)
    };
    let answer = answer.in_brief(format!("E_n at most {en:.2}; limit 1"));
    let answer = match found.en_number {
        Some(_) => answer.with_value(en, None, ""),
        None => answer,
    };
    let ids = under_test.iter().map(|(segment, _)| segment.id);
    answer.against(limit).in_segments(ids).at(Some(place))
}
