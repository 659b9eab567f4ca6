//! The session as a whole: the answer in a sentence, and what several blocks say together.

use super::conformity;
use super::figures::{Family, Outcome, SegmentFigures, Verdict};
use crate::session::Claim;

/// Risk of accusing (or acquitting) a block wrongly, one-sided: what remains outside a 95 %
/// interval on one side.
const RISK: f64 = 0.025;

/// All verdicts on one source under test, with their segments.
pub fn verdicts_on<'a>(
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

/// The answer to "is the claim true?" in a sentence: how many of the segments judged say what, and
/// whether that stands when their number is allowed for.
pub fn answer(under_test: &str, claim: Claim, segments: &[SegmentFigures]) -> String {
    let tally = Tally::of(under_test, segments);
    let claim = claim_in_words(claim);
    if tally.judged.is_empty() {
        format!("{under_test}: no segment can be judged against its claim of {claim}")
    } else if tally.conform.is_empty() && tally.do_not_conform.is_empty() {
        let said = tally.sentence(&format!(" whether it meets its claim of {claim}"));
        format!("{under_test}: {said}")
    } else {
        let said = tally.sentence(&format!(" to its claim of {claim}"));
        format!("{under_test} {said}")
    }
}

/// What the judged segments say together of one source under test. `None` for fewer than two.
pub fn family(under_test: &str, segments: &[SegmentFigures]) -> Option<Family> {
    let tally = Tally::of(under_test, segments);
    (tally.judged.len() >= 2).then(|| Family {
        statement: tally.sentence(""),
        under_test: under_test.to_owned(),
        judged: tally.judged,
        conform: tally.conform,
        do_not_conform: tally.do_not_conform,
        do_not_conform_jointly: tally.jointly,
    })
}

/// The segments judged, by `id` and outcome.
struct Tally {
    judged: Vec<usize>,
    conform: Vec<usize>,
    do_not_conform: Vec<usize>,
    /// Those of `do_not_conform` that still do not when the number judged is allowed for.
    jointly: Vec<usize>,
    cannot_tell: usize,
    withheld: usize,
}

impl Tally {
    fn of(under_test: &str, segments: &[SegmentFigures]) -> Self {
        let all: Vec<(usize, &Verdict)> = judged(under_test, segments)
            .map(|(segment, verdict)| (segment.id, verdict))
            .collect();
        let with = |outcome: Outcome| -> Vec<usize> {
            let those = all.iter().filter(|(_, v)| v.outcome == outcome);
            those.map(|(id, _)| *id).collect()
        };
        // A block that accuses nobody on its own does not in company either, and counts as a try.
        let accuses = |v: &&Verdict| v.outcome == Outcome::DoesNotConform;
        let p: Vec<f64> = all
            .iter()
            .map(|(_, v)| Some(*v).filter(accuses).and_then(p_inside).unwrap_or(1.0))
            .collect();
        let fallen = all.iter().zip(conformity::holm(&p, RISK));
        let jointly = fallen.filter(|(_, fell)| *fell).map(|((id, _), _)| *id);
        Self {
            jointly: jointly.collect(),
            conform: with(Outcome::Conforms),
            do_not_conform: with(Outcome::DoesNotConform),
            cannot_tell: with(Outcome::Inconclusive).len(),
            withheld: with(Outcome::ReferencesDisagree).len(),
            judged: all.iter().map(|(id, _)| *id).collect(),
        }
    }

    /// "conforms … in 2 of 4 segments judged; 2 cannot tell"; `what` follows the verb.
    fn sentence(&self, what: &str) -> String {
        let all = self.judged.len();
        let of = |n: usize| match all {
            1 => "the one segment judged".to_owned(),
            _ if n == all => format!("all {all} segments judged"),
            _ => format!("{n} of {all} segments judged"),
        };
        let (good, bad) = (self.conform.len(), self.do_not_conform.len());
        let head = if bad > 0 {
            format!("does not conform{what} in {}{}", of(bad), self.jointly())
        } else if good > 0 {
            format!("conforms{what} in {}", of(good))
        } else if self.cannot_tell > 0 {
            format!("cannot tell{what} in {}", of(self.cannot_tell))
        } else {
            format!("cannot tell{what}")
        };
        let conform = if good == 1 { "conforms" } else { "conform" };
        let rest = [
            (bad > 0 && good > 0).then(|| format!("{good} {conform}")),
            (bad + good > 0 && self.cannot_tell > 0)
                .then(|| format!("{} cannot tell", self.cannot_tell)),
            (self.withheld > 0)
                .then(|| format!("{} withheld because the references disagree", self.withheld)),
        ];
        let rest: Vec<String> = rest.into_iter().flatten().collect();
        match rest.is_empty() {
            true => head,
            false => format!("{head}; {}", rest.join(", ")),
        }
    }

    /// Whether what does not conform may be chance among so many.
    fn jointly(&self) -> String {
        let (bad, fell, all) = (
            self.do_not_conform.len(),
            self.jointly.len(),
            self.judged.len(),
        );
        match fell {
            _ if all < 2 => String::new(),
            0 => format!(", which may be chance among {all} (Holm, joint risk 2.5 %)"),
            _ if fell == bad => {
                ", also when their number is allowed for (Holm, joint risk 2.5 %)".to_owned()
            }
            _ => format!(
                ", {fell} of them also when their number is allowed for (Holm, joint risk 2.5 %)"
            ),
        }
    }
}

/// p-value of "this block's true bias lies within the limit".
fn p_inside(verdict: &Verdict) -> Option<f64> {
    let standard = verdict.expanded_uncertainty_w? / verdict.coverage_factor?;
    let dof = verdict
        .effective_degrees_of_freedom
        .unwrap_or(f64::INFINITY);
    if standard == 0.0 {
        let inside = verdict.bias_w?.abs() <= verdict.limit_w?;
        return Some(f64::from(u8::from(inside)));
    }
    conformity::p_values(verdict.bias_w?, standard, dof, verdict.limit_w?).map(|p| p.inside)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::example::example;

    const TWO_PERCENT: Claim = Claim {
        percent: 2.0,
        watts: 0.0,
    };

    /// Blocks at 250 W with these biases in %, u = 0.4 % and many degrees of freedom.
    fn blocks(biases: &[f64]) -> Vec<SegmentFigures> {
        let template = example().segments.remove(0);
        let of = |(at, bias): (usize, &f64)| {
            let mut segment = template.clone();
            segment.id = at + 1;
            segment.further_verdicts.clear();
            if let Some(verdict) = &mut segment.verdict {
                verdict.bias_w = Some(2.5 * bias);
                verdict.expanded_uncertainty_w = Some(2.5 * 0.8);
                verdict.coverage_factor = Some(2.0);
                verdict.effective_degrees_of_freedom = None;
                verdict.limit_w = Some(5.0);
                verdict.outcome = conformity::decide(*bias, 0.8, 2.0);
            }
            segment
        };
        biases.iter().enumerate().map(of).collect()
    }

    #[test]
    fn one_marginal_block_among_many_may_be_chance_and_a_clear_one_is_not() {
        // p of the marginal one: Φ(−0.82/0.4) = 0.020: falls alone, not as one of four.
        let marginal = family("trainer", &blocks(&[2.82, 0.1, 0.2, 0.0])).unwrap();
        assert_eq!(marginal.do_not_conform, [1]);
        assert!(marginal.do_not_conform_jointly.is_empty());
        assert!(
            marginal.statement.contains("may be chance"),
            "{}",
            marginal.statement
        );
        let clear = family("trainer", &blocks(&[4.0, 0.1, 0.2, 0.0])).unwrap();
        assert_eq!(clear.do_not_conform_jointly, [1]);
        assert_eq!(clear.conform, [2, 3, 4]);
    }

    #[test]
    fn all_conforming_needs_no_correction_and_one_block_is_no_family() {
        let all = family("trainer", &blocks(&[0.1, -0.2])).unwrap();
        assert_eq!(all.statement, "conforms in all 2 segments judged");
        assert_eq!(family("trainer", &blocks(&[0.1])), None);
        assert_eq!(family("somebody else", &blocks(&[0.1, 0.1])), None);
    }

    #[test]
    fn the_answer_comes_in_one_sentence() {
        let say = |biases: &[f64]| answer("trainer", TWO_PERCENT, &blocks(biases));
        assert_eq!(
            say(&[0.1, 3.5, 1.9]),
            "trainer does not conform to its claim of ±2 % in 1 of 3 segments judged, also when \
             their number is allowed for (Holm, joint risk 2.5 %); 1 conforms, 1 cannot tell"
        );
        assert_eq!(
            say(&[0.1, 0.2]),
            "trainer conforms to its claim of ±2 % in all 2 segments judged"
        );
        assert_eq!(
            say(&[0.1]),
            "trainer conforms to its claim of ±2 % in the one segment judged"
        );
        assert_eq!(
            say(&[1.9]),
            "trainer: cannot tell whether it meets its claim of ±2 % in the one segment judged"
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
        let counts =
            "in 2 of 4 segments judged; 1 cannot tell, 1 withheld because the references disagree";
        assert_eq!(
            answer("trainer", TWO_PERCENT, &segments),
            format!("trainer conforms to its claim of ±2 % {counts}")
        );
        let family = family("trainer", &segments).unwrap();
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
