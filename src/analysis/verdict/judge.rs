//! The verdict over one window: evidence in, outcome, budget and reasons out.

use super::conformity::{self, MIN_SECONDS};
use super::reason::{Expanded, Length, Reason, Unit};
use super::uncertainty::{Budget, Scale, StatedReference, budget};
use crate::analysis::agreement::Comparison;
use crate::analysis::loss::Loss;
use crate::analysis::verdict::conformity::Outcome;
use crate::analysis::verdict::figures::Verdict;
use crate::analysis::verdict::references::References;
use crate::session::{Allowance, Claim, CommonErrors, Kind, Site};
use crate::stats::finite;
use crate::stats::serial::MeanUncertainty;

/// Share of missing seconds from which a reason says so, %.
const MISSING_WORTH_SAYING_PERCENT: f64 = 5.0;

/// Everything that a verdict rests on.
#[derive(Clone, Debug)]
pub struct Evidence<'a> {
    /// What the window is.
    pub kind: Kind,
    /// Grid seconds in the window, with or without values.
    pub rows: usize,
    /// Those left out because a stream froze or read a false zero.
    pub dropout_rows: usize,
    /// Label of the source under test.
    pub under_test: &'a str,
    /// Where it measures.
    pub site: Option<Site>,
    /// Label of what it is compared with: a reference or `consensus`.
    pub reference: &'a str,
    /// The comparison; `None` where there is no reference with power.
    pub comparison: Option<&'a Comparison>,
    /// The references behind it, each with its claim and its share.
    pub stated: &'a [StatedReference],
    /// Where they measure, in the same order.
    pub sites: &'a [Option<Site>],
    /// Whether they agree.
    pub references: Option<&'a References>,
    /// Two of the references that report one meter's values.
    pub duplicate_references: Option<[&'a str; 2]>,
    /// The claim under test.
    pub claim: Claim,
    /// How far the references' errors are common.
    pub common: CommonErrors,
    /// The loss between the sites.
    pub loss: Loss,
}

/// Net bias with its uncertainty, on one scale.
#[derive(Clone, Debug)]
struct Assessed {
    bias: f64,
    scale: Scale,
    limit: f64,
    statistical: Option<MeanUncertainty>,
    is_copied: bool,
}

/// The verdict.
pub fn verdict(evidence: &Evidence<'_>) -> Verdict {
    let mut out = Verdict {
        under_test: evidence.under_test.to_owned(),
        reference: evidence.reference.to_owned(),
        outcome: Outcome::NotApplicable,
        n: evidence.comparison.map_or(0, |c| c.moments.n),
        bias_percent: None,
        expanded_uncertainty_percent: None,
        limit_percent: None,
        conformance_probability: None,
        bias_w: None,
        expanded_uncertainty_w: None,
        limit_w: None,
        coverage_factor: None,
        effective_degrees_of_freedom: None,
        budget: Vec::new(),
        reasons: Vec::new(),
    };
    if !evidence.kind.tells_bias() {
        out.reasons.push(Reason::OtherKind(evidence.kind));
        return out;
    }
    if evidence.claim.percent <= 0.0 && evidence.claim.watts <= 0.0 {
        out.reasons.push(Reason::NoClaim);
        return out;
    }
    let Some(comparison) = evidence.comparison else {
        out.reasons.push(Reason::NoReference);
        return out;
    };
    // Where nothing can be compared there is nothing to judge.
    let allowance = evidence.loss.taken_off();
    let Some(assessed) = assess(evidence, comparison, allowance.percent) else {
        out.reasons.push(Reason::NothingInCommon {
            under_test: evidence.under_test.to_owned(),
            reference: evidence.reference.to_owned(),
        });
        return out;
    };
    // Readings beyond all sense overflow the squares: no uncertainty can then be told.
    let budget = budget_of(evidence, &assessed);
    fill_figures(&mut out, &assessed, budget.as_ref());
    let n = comparison.moments.n;
    let agreed = evidence.loss.agreed(|loss_percent| {
        let assessed = assess(evidence, comparison, loss_percent)?;
        let budget = budget_of(evidence, &assessed);
        Some(outcome(evidence, n, &assessed, budget.as_ref()))
    });
    out.outcome = agreed.flatten().unwrap_or(Outcome::Inconclusive);
    if let Some(budget) = budget.as_ref().filter(|_| evidence.kind.spec().tests_claim) {
        out.conformance_probability = conformity::conformance_probability(
            assessed.bias,
            budget.combined(),
            budget.effective_dof(),
            [-assessed.limit, assessed.limit],
        );
    }
    out.reasons = reasons(
        evidence,
        comparison,
        &assessed,
        budget.as_ref(),
        out.outcome,
    );
    out.reasons.extend(loss(evidence, agreed.is_none()));
    out.reasons.extend(untested(evidence));
    out
}

/// The budget, where one can be told.
fn budget_of(evidence: &Evidence<'_>, assessed: &Assessed) -> Option<Budget> {
    let (stated, common) = (evidence.stated, evidence.common);
    let allowance = evidence.loss.taken_off();
    let of = |u| budget(u, stated, common, allowance, assessed.scale);
    let reported = assessed.statistical.map(of);
    reported.filter(|budget| budget.expanded().is_finite())
}

/// The bias against the reference carried to the site under test, y (1 − a), with a loss of
/// `loss_percent`.
fn assess(evidence: &Evidence<'_>, comparison: &Comparison, loss_percent: f64) -> Option<Assessed> {
    let moments = &comparison.moments;
    if moments.n == 0 {
        return None;
    }
    let kept = 1.0 - loss_percent / 100.0;
    let expected_w = moments.mean_y * kept;
    let scale = Scale::at(expected_w);
    let bias_w = moments.mean_x - expected_w;
    let statistical = if scale.percent {
        // Dividing y by a constant divides the ratio's scatter by it, too.
        comparison.uncertainty_percent().map(|u| MeanUncertainty {
            standard: u.standard / kept,
            ..u
        })
    } else {
        comparison.uncertainty_w()
    };
    Some(Assessed {
        bias: scale.of_watts(bias_w),
        limit: scale.limit(evidence.claim),
        scale,
        statistical,
        is_copied: comparison.is_copied(),
    })
    .filter(|a| a.bias.is_finite() && a.limit.is_finite())
}

fn fill_figures(out: &mut Verdict, assessed: &Assessed, budget: Option<&Budget>) {
    let scale = assessed.scale;
    let percent = |value: f64| scale.percent.then_some(value).and_then(finite);
    let watts = |value: f64| {
        finite(if scale.percent {
            value * scale.level_w / 100.0
        } else {
            value
        })
    };
    out.bias_percent = percent(assessed.bias);
    out.bias_w = watts(assessed.bias);
    out.limit_percent = percent(assessed.limit);
    out.limit_w = watts(assessed.limit);
    let Some(budget) = budget else { return };
    let expanded = budget.expanded();
    out.expanded_uncertainty_percent = percent(expanded);
    out.expanded_uncertainty_w = watts(expanded);
    out.coverage_factor = finite(budget.coverage_factor());
    out.effective_degrees_of_freedom = finite(budget.effective_dof());
    out.budget = budget.lines(scale.percent, scale.level_w);
}

fn disagree(evidence: &Evidence<'_>) -> bool {
    evidence.references.is_some_and(|r| r.agree == Some(false))
}

fn outcome(
    evidence: &Evidence<'_>,
    n: usize,
    assessed: &Assessed,
    budget: Option<&Budget>,
) -> Outcome {
    if !evidence.kind.spec().tests_claim {
        return Outcome::NotApplicable;
    }
    if disagree(evidence) {
        return Outcome::ReferencesDisagree;
    }
    match budget {
        Some(budget) if n >= MIN_SECONDS && may_be_decided(evidence, assessed) => {
            conformity::decide(assessed.bias, budget.expanded(), assessed.limit)
        }
        _ => Outcome::Inconclusive,
    }
}

fn reasons(
    evidence: &Evidence<'_>,
    comparison: &Comparison,
    assessed: &Assessed,
    budget: Option<&Budget>,
    outcome: Outcome,
) -> Vec<Reason> {
    let n = comparison.moments.n;
    let mut reasons = Vec::new();
    let judged = evidence.kind.spec().tests_claim;
    if !judged {
        reasons.push(Reason::NothingHeld(evidence.kind));
    }
    if disagree(evidence) {
        reasons.push(disagreement(evidence.references));
    } else {
        reasons.push(position(
            evidence.loss.taken_off(),
            assessed,
            budget,
            outcome,
        ));
        reasons.extend((!assessed.scale.percent).then_some(Reason::LowLevel));
        reasons.extend(is_copied(assessed).then(|| Reason::Copied {
            reference: evidence.reference.to_owned(),
        }));
        reasons.extend(unstated(evidence.stated));
        reasons.extend(
            evidence
                .duplicate_references
                .map(|pair| Reason::OneMeter(pair.map(str::to_owned))),
        );
        let may_be_decided = may_be_decided(evidence, assessed);
        let length =
            || length(evidence.loss.taken_off(), n, assessed, budget).filter(|_| may_be_decided);
        if judged && n < MIN_SECONDS {
            reasons.push(Reason::TooShort {
                n,
                beyond: length(),
            });
        } else if outcome == Outcome::Inconclusive {
            reasons.extend(length().map(Reason::Length));
        }
    }
    if judged && budget.is_some() && !comparison.noise_is_known() {
        reasons.push(Reason::ShortRide);
    }
    reasons.extend((evidence.dropout_rows > 0).then_some(Reason::LeftOut(evidence.dropout_rows)));
    reasons.extend(missing(
        evidence.rows - evidence.dropout_rows.min(evidence.rows),
        n,
    ));
    reasons
}

fn disagreement(references: Option<&References>) -> Reason {
    Reason::Disagreement {
        pair: references.and_then(|r| r.pair.clone()),
        difference_percent: references.and_then(|r| r.difference_percent),
        en_number: references.and_then(|r| r.en_number),
    }
}

/// The bias and the limit, in the unit of the decision.
fn position(
    allowance: Allowance,
    assessed: &Assessed,
    budget: Option<&Budget>,
    outcome: Outcome,
) -> Reason {
    Reason::Bias {
        net: allowance.percent != 0.0,
        bias: assessed.bias,
        limit: assessed.limit,
        uncertainty: budget.map(|budget| Expanded {
            expanded: budget.expanded(),
            factor: budget.coverage_factor(),
        }),
        unit: unit(assessed),
        outcome,
    }
}

const fn unit(assessed: &Assessed) -> Unit {
    if assessed.scale.percent {
        Unit::Percent
    } else {
        Unit::Watts
    }
}

/// Whether more seconds could decide: the references are several meters, or one, with their claims,
/// and the source is another.
fn may_be_decided(evidence: &Evidence<'_>, assessed: &Assessed) -> bool {
    evidence.stated.iter().all(StatedReference::is_stated)
        && evidence.duplicate_references.is_none()
        && !is_copied(assessed)
}

/// Without any scatter these are not the readings of two meters, and no evidence of one's accuracy.
fn is_copied(assessed: &Assessed) -> bool {
    assessed.is_copied
}

/// A reference without a claim has an unknown uncertainty: no decision rests on it.
fn unstated(stated: &[StatedReference]) -> Option<Reason> {
    let labels: Vec<String> = stated
        .iter()
        .filter(|r| !r.is_stated())
        .map(|r| r.label.clone())
        .collect();
    (!labels.is_empty()).then_some(Reason::Unstated(labels))
}

fn length(
    allowance: Allowance,
    n: usize,
    assessed: &Assessed,
    budget: Option<&Budget>,
) -> Option<Length> {
    let statistical = assessed.statistical?.standard;
    let squares = budget?.combined().powi(2) - statistical * statistical;
    let other = squares.max(0.0).sqrt();
    let distance = (assessed.limit - assessed.bias.abs()).abs();
    let needed = conformity::length_needed(n as f64, statistical, other, distance);
    let allowance = allowance.plus_minus != 0.0;
    Some(Length::of(needed, n, unit(assessed), allowance))
}

fn missing(rows: usize, n: usize) -> Option<Reason> {
    let missing = 100.0 * rows.saturating_sub(n) as f64 / rows.max(1) as f64;
    (rows > 0 && missing >= MISSING_WORTH_SAYING_PERCENT).then_some(Reason::Missing(missing))
}

/// A chain between the sites of which nothing is stated, or an allowance without different sites.
fn loss(evidence: &Evidence<'_>, turns: bool) -> Option<Reason> {
    let site = evidence.site?;
    let elsewhere = evidence.sites.iter().flatten().find(|s| **s != site);
    match (elsewhere, evidence.loss) {
        (Some(other), loss) if loss.is_open() => Some(Reason::LossUnstated {
            under_test: evidence.under_test.to_owned(),
            site,
            other: *other,
            turns,
        }),
        (None, Loss::Known(stated)) if stated != Allowance::default() => {
            (!evidence.sites.is_empty()).then_some(Reason::LossNeedless(stated))
        }
        _ => None,
    }
}

/// One reference, or references that could not be tested against each other.
fn untested(evidence: &Evidence<'_>) -> Option<Reason> {
    let references = evidence.references?;
    (references.agree.is_none() && evidence.stated.iter().all(StatedReference::is_stated))
        .then(|| Reason::Untested(references.note.clone()))
}
