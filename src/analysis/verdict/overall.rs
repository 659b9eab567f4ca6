//! The session as a whole: the answer in a sentence, and what several blocks say together.

use crate::analysis::error_curve::{ErrorCurve, Finding};
use crate::analysis::figure::Figure;
use crate::analysis::figures::SegmentFigures;
use crate::analysis::verdict::conformity::Outcome;
use crate::analysis::verdict::figures::Verdict;
use crate::session::Claim;
use serde::Serialize;

/// What the judged segments say together of one source under test.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Family {
    /// Label of the source under test.
    pub under_test: String,
    /// The segments judged, by `id`: all but those to which no verdict applies.
    pub judged: Vec<usize>,
    /// Those that conform, each on its own.
    pub conform: Vec<usize>,
    /// Those that do not conform, each on its own.
    pub do_not_conform: Vec<usize>,
    /// Those beyond the claim at a joint risk of 2.5 % of accusing any block, or their mean, wrongly.
    pub do_not_conform_jointly: Vec<usize>,
    /// What that means, in a sentence without the source's name.
    pub statement: String,
}

/// All verdicts on one source under test, with their segments.
fn verdicts_on<'a>(
    under_test: &'a str,
    segments: &'a [SegmentFigures],
) -> impl Iterator<Item = (&'a SegmentFigures, &'a Verdict)> {
    segments
        .iter()
        .flat_map(|segment| {
            let verdicts = segment.verdict.iter().chain(&segment.further_verdicts);
            verdicts.map(move |verdict| (segment, verdict))
        })
        .filter(move |(_, verdict)| verdict.under_test == under_test)
}

/// The claim in words: "±2 %", "±3 W", "±2 % or ±3 W, whichever is larger".
pub fn claim_in_words(claim: Claim) -> String {
    match (claim.percent > 0.0, claim.watts > 0.0) {
        (true, true) => format!(
            "±{} % or ±{} W, whichever is larger",
            claim.percent, claim.watts
        ),
        (false, true) => format!("±{} W", claim.watts),
        (true, false) => format!("±{} %", claim.percent),
        (false, false) => "nothing".to_owned(),
    }
}

/// The verdicts on one source under test that count, with their segments: all but those to which no
/// verdict applies. This is what every sentence and table means by "judged".
pub fn judged<'a>(
    under_test: &'a str,
    segments: &'a [SegmentFigures],
) -> impl Iterator<Item = (&'a SegmentFigures, &'a Verdict)> {
    verdicts_on(under_test, segments).filter(|(_, v)| v.outcome != Outcome::NotApplicable)
}

/// The answer to "is the claim true?" in a sentence, from the decision over all blocks.
pub fn answer(claim: Claim, curve: &ErrorCurve) -> String {
    let under_test = &curve.under_test;
    let claim = claim_in_words(claim);
    match curve.accuracy.outcome {
        Finding::NotRidden => {
            format!("{under_test}: no segment can be judged against its claim of {claim}")
        }
        Finding::CannotTell => {
            let what = format!(" whether it meets its claim of {claim}");
            format!("{under_test}: {}", curve.statement(&what))
        }
        Finding::Fine | Finding::Fault => {
            let what = format!(" to its claim of {claim}");
            format!("{under_test} {}", curve.statement(&what))
        }
    }
}

/// The judged segments of one source under test by what each says alone, and what they say together.
/// `None` for fewer than two.
pub fn family(curve: &ErrorCurve, segments: &[SegmentFigures]) -> Option<Family> {
    let all: Vec<(usize, Outcome)> = judged(&curve.under_test, segments)
        .map(|(segment, verdict)| (segment.id, verdict.outcome))
        .collect();
    let with = |outcome: Outcome| -> Vec<usize> {
        let those = all.iter().filter(|(_, alone)| *alone == outcome);
        those.map(|(id, _)| *id).collect()
    };
    (all.len() >= 2).then(|| Family {
        under_test: curve.under_test.clone(),
        conform: with(Outcome::Conforms),
        do_not_conform: with(Outcome::DoesNotConform),
        do_not_conform_jointly: curve.accuracy.beyond.clone(),
        statement: curve.accuracy_sentence.clone(),
        judged: all.iter().map(|(id, _)| *id).collect(),
    })
}

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "families.under_test",
        label: "source",
        definition: "The source under test that the statement is about.",
        ..Figure::PLAIN
    },
    Figure {
        id: "families.judged",
        label: "blocks judged",
        definition: "The segments judged: steady blocks and heat soaks in which the source and a reference both have values. Open stretches and all other kinds carry figures and no verdict.",
        ..Figure::PLAIN
    },
    Figure {
        id: "families.conform",
        label: "conform",
        definition: "Those that conform, each on its own.",
        ..Figure::PLAIN
    },
    Figure {
        id: "families.do_not_conform",
        label: "do not conform",
        definition: "Those that do not conform, each on its own.",
        ..Figure::PLAIN
    },
    Figure {
        id: "families.do_not_conform_jointly",
        label: "do not conform jointly",
        definition: "Blocks beyond the claim by one critical value for all blocks and their mean: the risk of accusing any of them wrongly stays at 2.5 %.",
        formula: "|b_j| − c u_j > T_j, c as under error_curve.accuracy.critical_value",
        source: "Slepian 1962, Bell Syst Tech J 41:463 (that c is safe)",
        caveat: "“Conforms” over all blocks needs no such correction, since each block had to pass.",
        ..Figure::PLAIN
    },
    Figure {
        id: "families.statement",
        label: "statement",
        definition: "What the judged blocks say together, in a sentence.",
        ..Figure::PLAIN
    },
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::error_curve::error_curves;
    use crate::analysis::verdict::conformity;
    use crate::analysis::verdict::figures::BudgetLine;
    use crate::export::table::sample::table;
    use crate::session::{Role, Session, Stream};

    const TWO_PERCENT: Claim = Claim {
        percent: 2.0,
        watts: 0.0,
    };

    fn line(distribution: &str, percent: f64) -> BudgetLine {
        BudgetLine {
            source: distribution.to_owned(),
            distribution: distribution.to_owned(),
            standard_uncertainty_percent: Some(percent),
            standard_uncertainty_w: Some(2.5 * percent),
            degrees_of_freedom: None,
        }
    }

    /// Blocks at 250 W with these biases in %, u = 0.4 % and many degrees of freedom.
    fn blocks(biases: &[f64]) -> Vec<SegmentFigures> {
        let template = table().segments.remove(0);
        let of = |(at, bias): (usize, &f64)| {
            let mut segment = template.clone();
            segment.id = at + 1;
            segment.further_verdicts.clear();
            if let Some(verdict) = &mut segment.verdict {
                verdict.under_test = "trainer".into();
                verdict.n = 300;
                verdict.bias_percent = Some(*bias);
                verdict.bias_w = Some(2.5 * bias);
                verdict.budget = vec![line("Student t", 0.24), line("rectangular", 0.32)];
                verdict.limit_percent = Some(2.0);
                verdict.limit_w = Some(5.0);
                verdict.outcome = conformity::decide(*bias, 0.8, 2.0);
                verdict.reasons.clear();
            }
            segment
        };
        biases.iter().enumerate().map(of).collect()
    }

    fn curve(segments: &[SegmentFigures]) -> ErrorCurve {
        let mut session = Session {
            claim: TWO_PERCENT,
            ..Session::default()
        };
        session.streams.push(Stream {
            role: Role::UnderTest,
            ..Stream::new("trainer", "trainer.csv")
        });
        error_curves(&session, segments).remove(0)
    }

    fn family_of(segments: &[SegmentFigures]) -> Option<Family> {
        family(&curve(segments), segments)
    }

    #[test]
    fn one_marginal_block_among_many_may_be_chance_and_a_clear_one_is_not() {
        let marginal = family_of(&blocks(&[2.82, 0.1, 0.2, 0.0])).unwrap();
        assert_eq!(marginal.do_not_conform, [1]);
        assert!(marginal.do_not_conform_jointly.is_empty());
        let statement = &marginal.statement;
        assert!(statement.contains("may be chance among 4"), "{statement}");
        let clear = family_of(&blocks(&[4.0, 0.1, 0.2, 0.0])).unwrap();
        assert_eq!(clear.do_not_conform_jointly, [1]);
        assert_eq!(clear.conform, [2, 3, 4]);
    }

    #[test]
    fn one_block_is_no_family() {
        let two = family_of(&blocks(&[0.1, -0.2])).unwrap();
        assert_eq!(two.statement, "conforms in all 2 blocks judged, 250 W");
        assert_eq!(family_of(&blocks(&[0.1])), None);
    }

    #[test]
    fn the_answer_comes_in_one_sentence() {
        let say = |biases: &[f64]| answer(TWO_PERCENT, &curve(&blocks(biases)));
        assert_eq!(
            say(&[0.1, 3.5, 1.9]),
            "trainer does not conform to its claim of ±2 %: reads high by 3.5 % at 250 W (joint \
             risk 2.5 %); all 3 blocks judged, 250 W; each on its own: 1 conforms, 1 does not \
             conform, 1 cannot tell"
        );
        assert_eq!(
            say(&[0.1, 0.2]),
            "trainer conforms to its claim of ±2 % in all 2 blocks judged, 250 W"
        );
        assert_eq!(
            say(&[0.1]),
            "trainer conforms to its claim of ±2 % in the one block judged, 250 W"
        );
        assert_eq!(
            say(&[1.9]),
            "trainer: cannot tell whether it meets its claim of ±2 % from the one block judged, \
             250 W: at 250 W the error lies between +1.1 and +2.7 %; only references of less \
             uncertainty would tell"
        );
        assert!(say(&[]).contains("no segment can be judged"));
    }

    /// Of the same ride the answer once counted four segments, and the family two.
    #[test]
    fn answer_and_family_count_the_same_segments() {
        let mut segments = blocks(&[0.1, 0.2, 0.1, 0.3, 0.1]);
        let outcomes = [
            (1, Outcome::Inconclusive, 40),
            (2, Outcome::ReferencesDisagree, 300),
            (4, Outcome::NotApplicable, 300),
        ];
        for (at, outcome, n) in outcomes {
            let verdict = segments[at].verdict.as_mut().unwrap();
            (verdict.outcome, verdict.n) = (outcome, n);
            verdict.expanded_uncertainty_w = None;
        }
        let counts = "in all 2 blocks judged, 250 W; 1 withheld because the references disagree; \
                      1 may not be judged";
        assert_eq!(
            answer(TWO_PERCENT, &curve(&segments)),
            format!("trainer conforms to its claim of ±2 % {counts}")
        );
        let family = family_of(&segments).unwrap();
        assert_eq!(family.statement, format!("conforms {counts}"));
        assert_eq!(
            (family.judged, family.conform),
            (vec![1, 2, 3, 4], vec![1, 4])
        );
    }

    #[test]
    fn a_claim_has_words() {
        let both = Claim {
            percent: 1.5,
            watts: 3.0,
        };
        assert_eq!(claim_in_words(both), "±1.5 % or ±3 W, whichever is larger");
    }
}
