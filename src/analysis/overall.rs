//! The session as a whole: the answer in a sentence, and what several blocks say together.

use super::conformity::{self, MIN_SECONDS};
use super::figures::{Family, Outcome, SegmentFigures, Verdict};
use crate::session::{Claim, Kind};

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

/// The answer to "is the claim true?" in a sentence.
pub fn answer(under_test: &str, claim: Claim, segments: &[SegmentFigures]) -> String {
    let outcomes: Vec<Outcome> = verdicts_on(under_test, segments)
        .map(|(_, verdict)| verdict.outcome)
        .filter(|outcome| *outcome != Outcome::NotApplicable)
        .collect();
    let count = |wanted: Outcome| outcomes.iter().filter(|o| **o == wanted).count();
    let all = outcomes.len();
    let claim = claim_in_words(claim);
    let (good, bad) = (count(Outcome::Conforms), count(Outcome::DoesNotConform));
    let withheld = count(Outcome::ReferencesDisagree);
    let doubtful = count(Outcome::Inconclusive);
    let mut rest = Vec::new();
    if doubtful > 0 {
        rest.push(format!("{doubtful} cannot tell"));
    }
    if withheld > 0 {
        rest.push(format!(
            "{withheld} withheld because the references disagree"
        ));
    }
    let rest = match rest.is_empty() {
        true => String::new(),
        false => format!("; {}", rest.join(", ")),
    };
    let of = |n: usize| match all {
        1 => "the one segment judged".to_owned(),
        _ if n == all => format!("all {all} segments judged"),
        _ => format!("{n} of {all} segments judged"),
    };
    if all == 0 {
        format!("{under_test}: no segment can be judged against its claim of {claim}")
    } else if bad > 0 {
        format!(
            "{under_test} does not conform to its claim of {claim} in {}{rest}",
            of(bad)
        )
    } else if good > 0 {
        format!(
            "{under_test} conforms to its claim of {claim} in {}{rest}",
            of(good)
        )
    } else {
        format!("{under_test}: cannot tell whether it meets its claim of {claim}{rest}")
    }
}

/// What the judged steady blocks (and heat soaks) say together of one source under test. `None`
/// for fewer than two that could be judged.
pub fn family(under_test: &str, segments: &[SegmentFigures]) -> Option<Family> {
    let judged: Vec<(usize, &Verdict, f64)> = verdicts_on(under_test, segments)
        .filter(|(s, _)| matches!(s.kind, Kind::SteadyBlock | Kind::HeatSoak))
        .map(|(s, v)| (s.id, v))
        .filter(|(_, v)| v.n >= MIN_SECONDS)
        .filter(|(_, v)| {
            matches!(
                v.outcome,
                Outcome::Conforms | Outcome::DoesNotConform | Outcome::Inconclusive
            )
        })
        .filter_map(|(id, v)| Some((id, v, p_inside(v)?)))
        .collect();
    if judged.len() < 2 {
        return None;
    }
    let p: Vec<f64> = judged.iter().map(|(_, _, p)| *p).collect();
    let fallen = conformity::holm(&p, RISK);
    let with = |outcome: Outcome| -> Vec<usize> {
        judged
            .iter()
            .filter(|(_, v, _)| v.outcome == outcome)
            .map(|(id, _, _)| *id)
            .collect()
    };
    let conform = with(Outcome::Conforms);
    let do_not_conform = with(Outcome::DoesNotConform);
    let do_not_conform_jointly: Vec<usize> = judged
        .iter()
        .zip(&fallen)
        // A block whose own verdict is withheld accuses nobody in company either.
        .filter(|((_, v, _), fell)| **fell && v.outcome == Outcome::DoesNotConform)
        .map(|((id, _, _), _)| *id)
        .collect();
    Some(Family {
        statement: statement(
            judged.len(),
            &conform,
            &do_not_conform,
            &do_not_conform_jointly,
        ),
        under_test: under_test.to_owned(),
        judged: judged.iter().map(|(id, _, _)| *id).collect(),
        conform,
        do_not_conform,
        do_not_conform_jointly,
    })
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

fn statement(judged: usize, conform: &[usize], fail: &[usize], jointly: &[usize]) -> String {
    if conform.len() == judged {
        return format!(
            "all {judged} blocks of held power conform; since each had to, no correction for their number is needed"
        );
    }
    if jointly.is_empty() && fail.is_empty() {
        return format!(
            "{} of {judged} blocks of held power conform, the others cannot tell",
            conform.len()
        );
    }
    if jointly.is_empty() {
        return format!(
            "{} of {judged} blocks of held power do not conform on their own, but with {judged} tries one such \
             finding may be chance (Holm, joint risk 2.5 %)",
            fail.len()
        );
    }
    format!(
        "{} of {judged} blocks of held power do not conform, also when their number is allowed for (Holm, joint \
         risk 2.5 %)",
        jointly.len()
    )
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
        assert!(
            all.statement
                .starts_with("all 2 blocks of held power conform")
        );
        assert_eq!(family("trainer", &blocks(&[0.1])), None);
        assert_eq!(family("somebody else", &blocks(&[0.1, 0.1])), None);
    }

    #[test]
    fn the_answer_comes_in_one_sentence() {
        let say = |biases: &[f64]| answer("trainer", TWO_PERCENT, &blocks(biases));
        assert_eq!(
            say(&[0.1, 3.5, 1.9]),
            "trainer does not conform to its claim of ±2 % in 1 of 3 segments judged; 1 cannot tell"
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
            "trainer: cannot tell whether it meets its claim of ±2 %; 1 cannot tell"
        );
        assert!(say(&[]).contains("no segment can be judged"));
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
