//! What the answers say of one segment: the question that its kind is ridden for.

use super::Findings;
use super::answer::{Answer, Finding, Question};
use crate::analysis::figures::SegmentFigures;
use crate::analysis::verdict::conformity::Outcome;
use crate::session::Kind;

/// The question that a kind is ridden for; `None` for an open stretch, which carries figures only.
pub fn question_of(kind: Kind) -> Option<Question> {
    let key = kind.spec().answer;
    Question::ALL.iter().copied().find(|q| q.key() == key)
}

impl Findings {
    /// The answer to a question about a source; that of the first source where its label is empty.
    pub fn answer(&self, question: Question, source: &str) -> Option<&Answer> {
        let mut answers = self.answers.iter();
        answers.find(|a| a.question == question && (source.is_empty() || a.source == source))
    }

    /// What `segment` says of the source by the question of its kind; `None` where it has no part
    /// in the answer.
    pub fn of_segment(&self, segment: &SegmentFigures, source: &str) -> Option<Finding> {
        let answer = self.answer(question_of(segment.kind)?, source)?;
        let parts = answer.parts.iter().filter(|p| p.segment == segment.id);
        let from_parts = super::answer::worst(parts.map(|part| part.outcome));
        from_parts
            .or_else(|| as_evidence(answer, segment))
            .or_else(|| by_verdict(segment, source))
    }
}

/// Of a block that the joint answer left out, what it says on its own.
fn by_verdict(segment: &SegmentFigures, source: &str) -> Option<Finding> {
    let verdicts = segment.verdict.iter().chain(&segment.further_verdicts);
    let verdict = verdicts.into_iter().find(|v| v.under_test == source)?;
    (verdict.outcome != Outcome::NotApplicable).then(|| verdict.outcome.into())
}

/// Of a segment without a part of its own, what the whole answer says of it.
fn as_evidence(answer: &Answer, segment: &SegmentFigures) -> Option<Finding> {
    let holds = |from_s: f64, to_s: f64| from_s < segment.to_s && to_s > segment.from_s;
    let is_shown_there = answer
        .from_s
        .zip(answer.to_s)
        .is_some_and(|(from_s, to_s)| holds(from_s, to_s));
    let carries = answer.segments.contains(&segment.id);
    match answer.outcome {
        Finding::NotRidden => None,
        Finding::Fault if carries || is_shown_there => Some(Finding::Fault),
        // A fault that lies elsewhere accuses nobody; that of the whole ride was looked for here too.
        Finding::Fault => (answer.question == Question::Phantom).then_some(Finding::Fine),
        found => (carries || answer.segments.is_empty()).then_some(found),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_elsewhere_accuses_no_other_segment() {
        let coast =
            |id: usize, from_s: f64| SegmentFigures::bare(id, Kind::Coast, from_s, from_s + 20.0);
        let of = |question: Question, outcome: Finding, from_s: Option<f64>| {
            let mut answer = Answer::new(question, "trainer", outcome, String::new());
            (answer.from_s, answer.to_s) = (from_s, from_s.map(|s| s + 7.0));
            let found = Findings {
                answers: vec![answer],
                ..Findings::default()
            };
            let answer = &found.answers[0];
            as_evidence(answer, &coast(1, 100.0))
        };
        assert_eq!(of(Question::Heat, Finding::Fault, Some(300.0)), None);
        // Power out of nothing is looked for in the whole ride.
        let phantom = |outcome, from_s| of(Question::Phantom, outcome, from_s);
        assert_eq!(phantom(Finding::Fault, Some(300.0)), Some(Finding::Fine));
        assert_eq!(phantom(Finding::Fault, Some(110.0)), Some(Finding::Fault));
        assert_eq!(phantom(Finding::Fine, None), Some(Finding::Fine));
        assert_eq!(phantom(Finding::NotRidden, None), None);
    }

    #[test]
    fn every_kind_but_an_open_stretch_has_its_question() {
        for kind in Kind::ALL {
            assert_eq!(question_of(*kind).is_none(), *kind == Kind::Open);
        }
    }
}
