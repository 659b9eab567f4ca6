//! Can the references judge at all? E_n of each two over the blocks on which a claim is tested
//! (ISO 13528): beyond 1 they contradict their own claims. Known masses test each on its own, which
//! no agreement of two does.

use super::super::figures::SegmentFigures;
use super::super::verdict::references::{References, no_proof};
use super::super::window::Window;
use super::answer::{Answer, Finding, Limit, Part, Place, Question};
use super::ride::Ride;
use crate::analysis::figure::Figure;
use crate::session::Role;
use crate::stats::NORMAL_95;
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
    caveat: "An error that the references share does not show; known masses show it.",
    ..Figure::PLAIN
};

/// Beyond this two references contradict each other.
const MOST_EN: f64 = 1.0;

pub fn answer(ride: &Ride<'_>) -> Answer {
    let answer = between(ride);
    let remarks = remarks(ride, answer.outcome);
    answer.also(remarks)
}

/// What masses, balances and sites say of the references beside their differences.
fn remarks(ride: &Ride<'_>, outcome: Finding) -> Vec<String> {
    let references: Vec<usize> = ride.aligned.powered(Role::Reference).collect();
    let heads = || references.iter().filter_map(|i| ride.table.streams.get(*i));
    let masses = heads().filter_map(|head| Some(head.weights.as_ref()?.note.clone()));
    let doubled = heads().filter_map(|head| Some(head.one_sided.as_ref()?.sentence(&head.label)));
    let mut out: Vec<String> = masses.chain(doubled).collect();
    let whole = Window::new(
        ride.session,
        ride.aligned,
        ride.found,
        ride.aligned.grid.span(),
    );
    let stated: Vec<_> = references.iter().map(|i| whole.stated(*i, 1.0)).collect();
    let sites: Vec<_> = references.iter().map(|i| whole.site(*i)).collect();
    let untested = stated.iter().filter(|s| s.known.is_none()).count();
    if outcome == Finding::Fine && untested >= 2 {
        out.push(no_proof(&stated, &sites).unwrap_or_else(|| {
            "an error in both would not show here (known masses would show it)".to_owned()
        }));
    }
    out
}

/// The only reference, where known masses test it.
fn tested_alone(ride: &Ride<'_>, limit: Limit) -> Option<Answer> {
    let mut heads = ride.table.streams.iter();
    let head = heads.find(|h| h.role == Role::Reference && h.weights.is_some())?;
    let check = head.weights.as_ref().filter(|check| check.used)?;
    let sentence = format!(
        "{} is the only reference; known masses give its scale to ± {:.2} %",
        head.label,
        NORMAL_95 * check.scale_u_percent?
    );
    let answer = Answer::new(Question::References, "", Finding::Fine, sentence);
    Some(match check.en_number {
        Some(en) => answer.with_value(en.abs(), None, "").against(limit),
        None => answer,
    })
}

/// E_n of one block.
fn part(ride: &Ride<'_>, segment: &SegmentFigures, found: &References) -> Option<Part> {
    let en = found.en_number?.abs();
    let what = match ride.set_point_w(segment) {
        Some(watts) => format!("{watts:.0} W"),
        None => segment.kind.to_string(),
    };
    Some(Part {
        segment: segment.id,
        what,
        value: en,
        interval: [en, en],
        limit: MOST_EN,
        outcome: match found.agree {
            Some(true) => Finding::Fine,
            Some(false) => Finding::Fault,
            None => Finding::CannotTell,
        },
    })
}

/// The references against each other.
fn between(ride: &Ride<'_>) -> Answer {
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
            if let Some(tested) = tested_alone(ride, limit) {
                return tested;
            }
            let why = format!("{one} is the only reference, and nothing tests it");
            let would = "a second reference of another kind, or known masses,";
            return Answer::cannot_tell(question, "", &why, would);
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
        let whole = Window::new(
            ride.session,
            ride.aligned,
            ride.found,
            ride.aligned.grid.span(),
        );
        let unstated = |label: &&String| {
            let index = ride.session.stream_index(label);
            index.is_none_or(|i| !whole.stated(i, 1.0).is_stated())
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
    let parts = under_test
        .iter()
        .filter_map(|(segment, found)| part(ride, segment, found));
    let answer = answer.from_parts(parts.collect());
    answer.against(limit).in_segments(ids).at(Some(place))
}
