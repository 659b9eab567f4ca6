//! The verdict over one window: evidence in, outcome, budget and reasons out.

use super::agreement::{Comparison, PERCENT_FROM_W};
use super::conformity::{self, GOOD_SECONDS, LengthNeeded, MIN_SECONDS};
use super::figures::{Outcome, References, Verdict};
use super::serial::MeanUncertainty;
use super::stats::finite;
use super::uncertainty::{Budget, Scale, StatedReference, budget};
use crate::session::{Allowance, Claim, Kind, Site};

/// Share of missing seconds from which a reason says so, %.
const MISSING_WORTH_SAYING_PERCENT: f64 = 5.0;

/// Longest block worth proposing, s.
const LONGEST_PROPOSED_S: f64 = 3600.0;

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
    pub twins: Option<[&'a str; 2]>,
    /// The claim under test.
    pub claim: Claim,
    /// The loss expected between the sites.
    pub allowance: Allowance,
}

/// Bias after the allowance with its uncertainty, on one scale.
#[derive(Clone, Debug)]
struct Assessed {
    bias: f64,
    scale: Scale,
    limit: f64,
    statistical: Option<MeanUncertainty>,
    is_copied: bool,
}

/// Whether a claim of accuracy is tested with a segment of this kind: one that asks for power to be
/// held. An open stretch asks for nothing, the others ask about the response.
pub fn applies_to(kind: Kind) -> bool {
    matches!(kind, Kind::SteadyBlock | Kind::HeatSoak)
}

/// Whether bias and noise say something of a segment of this kind: those on which a claim is tested,
/// and open stretches. Where power jumps by design, a lag passes for both.
pub fn tells_bias(kind: Kind) -> bool {
    applies_to(kind) || kind == Kind::Open
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
    if !tells_bias(evidence.kind) {
        out.reasons.push(format!(
            "a {} is judged by its own figures; a claim of accuracy is tested on blocks of held power",
            evidence.kind
        ));
        return out;
    }
    if evidence.claim.percent <= 0.0 && evidence.claim.watts <= 0.0 {
        out.reasons.push(
            "no claim is stated: give `percent` or `watts` under [claim] in session.toml".into(),
        );
        return out;
    }
    let Some(comparison) = evidence.comparison else {
        out.reasons
            .push("no reference carries power, so there is nothing to compare with".into());
        return out;
    };
    // Where nothing can be compared there is nothing to judge.
    let Some(assessed) = assess(evidence, comparison) else {
        out.reasons.push(format!(
            "there is no second in which {} and {} both have a value",
            evidence.under_test, evidence.reference
        ));
        return out;
    };
    // Readings beyond all sense overflow the squares: no uncertainty can then be told.
    let budget = assessed
        .statistical
        .map(|statistical| {
            budget(
                statistical,
                evidence.stated,
                evidence.allowance,
                assessed.scale,
            )
        })
        .filter(|budget| budget.expanded().is_finite());
    fill_figures(&mut out, &assessed, budget.as_ref());
    out.outcome = outcome(evidence, comparison.moments.n, &assessed, budget.as_ref());
    if let Some(budget) = budget.as_ref().filter(|_| applies_to(evidence.kind)) {
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
    out
}

/// The bias against the reference carried to the site under test, y (1 − a).
fn assess(evidence: &Evidence<'_>, comparison: &Comparison) -> Option<Assessed> {
    let moments = &comparison.moments;
    if moments.n == 0 {
        return None;
    }
    let kept = 1.0 - evidence.allowance.percent / 100.0;
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
    if !applies_to(evidence.kind) {
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
) -> Vec<String> {
    let n = comparison.moments.n;
    let mut reasons = Vec::new();
    let judged = applies_to(evidence.kind);
    if !judged {
        reasons.push(format!(
            "an {} stretch asks for nothing to be held: it has a bias and no verdict; to have a \
             claim judged, tag what was held as a steady block",
            evidence.kind
        ));
    }
    if disagree(evidence) {
        reasons.push(disagreement(evidence.references));
    } else {
        reasons.push(evidence_sentence(
            evidence.allowance,
            assessed,
            budget,
            outcome,
        ));
        reasons.extend(small_level_sentence(assessed));
        reasons.extend(constant_sentence(assessed, evidence.reference));
        reasons.extend(unstated_sentence(evidence.stated));
        reasons.extend(twins_sentence(evidence.twins));
        if judged && n < MIN_SECONDS {
            reasons.push(format!(
                "only {n} s with both values: a verdict takes at least {MIN_SECONDS} s, better {GOOD_SECONDS} s"
            ));
        } else if outcome == Outcome::Inconclusive && may_be_decided(evidence, assessed) {
            reasons.extend(length_sentence(evidence.allowance, n, assessed, budget));
        }
    }
    reasons.extend(dropout_sentence(evidence.dropout_rows));
    reasons.extend(missing_sentence(
        evidence.rows - evidence.dropout_rows.min(evidence.rows),
        n,
    ));
    reasons.extend(site_sentence(evidence));
    reasons.extend(untested_sentence(evidence));
    reasons
}

fn disagreement(references: Option<&References>) -> String {
    let pair = references.and_then(|r| r.pair.as_ref());
    let names = pair.map_or_else(
        || "the references".to_owned(),
        |[a, b]| format!("{a} and {b}"),
    );
    let by = references
        .and_then(|r| r.difference_percent)
        .map_or_else(String::new, |d| format!(" by {:.1} %", d.abs()));
    let en = references
        .and_then(|r| r.en_number)
        .map_or_else(String::new, |en| format!(" (|E_n| {:.2})", en.abs()));
    format!(
        "{names} differ{by}, more than their claims allow{en}: find out which one is wrong before judging"
    )
}

/// "bias +1.2 % ± 1.4 % …", in the unit of the decision.
fn evidence_sentence(
    allowance: Allowance,
    assessed: &Assessed,
    budget: Option<&Budget>,
    outcome: Outcome,
) -> String {
    let unit = if assessed.scale.percent { "%" } else { "W" };
    // Not the bias that the rows of agreement show.
    let net = if allowance.percent == 0.0 {
        ""
    } else {
        " after the allowance"
    };
    let (bias, limit) = (assessed.bias, assessed.limit);
    let Some(budget) = budget else {
        return format!(
            "bias{net} {bias:+.2} {unit}, but its uncertainty cannot be told from so few seconds"
        );
    };
    let uncertainty = format!(
        "bias{net} {bias:+.2} {unit} ± {:.2} {unit} (k = {:.2})",
        budget.expanded(),
        budget.coverage_factor()
    );
    let what = match outcome {
        Outcome::NotApplicable => return uncertainty,
        Outcome::Conforms => "lies inside the limit of",
        Outcome::DoesNotConform => "lies outside the limit of",
        _ if conformity::decide(bias, budget.expanded(), limit) == Outcome::Inconclusive => {
            "reaches across the limit of"
        }
        _ if bias.abs() <= limit => "would lie inside the limit of",
        _ => "would lie outside the limit of",
    };
    format!("{uncertainty} {what} ±{limit:.2} {unit}")
}

/// Why there is no percentage.
fn small_level_sentence(assessed: &Assessed) -> Option<String> {
    (!assessed.scale.percent).then(|| {
        format!(
            "the reference reads under {PERCENT_FROM_W:.0} W on average, where a percentage says \
             nothing: this is judged in W"
        )
    })
}

/// Whether more seconds could decide: the references are several meters, or one, with their claims,
/// and the source is another.
fn may_be_decided(evidence: &Evidence<'_>, assessed: &Assessed) -> bool {
    evidence.stated.iter().all(|r| r.claim.is_some())
        && evidence.twins.is_none()
        && !is_copied(assessed)
}

/// Two references that are one meter recorded twice.
fn twins_sentence(twins: Option<[&str; 2]>) -> Option<String> {
    twins.map(|[one, other]| {
        format!(
            "{one} and {other} report the same power second by second: that is one meter recorded \
             twice, no two references, so the uncertainty above is too small and nothing is \
             decided: make one of them a context stream"
        )
    })
}

/// Why the scatter adds nothing.
fn constant_sentence(assessed: &Assessed, reference: &str) -> Option<String> {
    is_copied(assessed).then(|| {
        format!(
            "every second stands to {reference} in the same way: no two meters do, so nothing is \
             decided; look whether one file is a copy of the other, or both read nought throughout"
        )
    })
}

/// Without any scatter these are not the readings of two meters, and no evidence of one's accuracy.
fn is_copied(assessed: &Assessed) -> bool {
    assessed.is_copied
}

/// A reference without a claim has an unknown uncertainty: no decision rests on it.
fn unstated_sentence(stated: &[StatedReference]) -> Option<String> {
    let names: Vec<&str> = stated
        .iter()
        .filter(|r| r.claim.is_none())
        .map(|r| r.label.as_str())
        .collect();
    let each = if names.len() > 1 { "each" } else { "it" };
    (!names.is_empty()).then(|| {
        format!(
            "no claim is stated for {}, so the uncertainty above is too small and nothing can be \
             decided: give claim_percent to {each}, or make {each} a context stream",
            names.join(" and "),
        )
    })
}

fn length_sentence(
    allowance: Allowance,
    n: usize,
    assessed: &Assessed,
    budget: Option<&Budget>,
) -> Option<String> {
    let statistical = assessed.statistical?.standard;
    let squares = budget?.combined().powi(2) - statistical * statistical;
    let other = squares.max(0.0).sqrt();
    let distance = (assessed.limit - assessed.bias.abs()).abs();
    let unit = if assessed.scale.percent { "%" } else { "W" };
    Some(
        match conformity::length_needed(n as f64, statistical, other, distance) {
            LengthNeeded::Seconds(s) if s <= LONGEST_PROPOSED_S => {
                let rounded = (s.max(n as f64 + 1.0) / 30.0).ceil() * 30.0;
                format!("a block of about {rounded:.0} s at this scatter would do, if the bias stays")
            }
            LengthNeeded::Seconds(_) => {
                "it would take more than an hour at this scatter: the bias is too close to the limit"
                    .to_owned()
            }
            LengthNeeded::NoLength(rest) => format!(
                "no longer block would do: {} alone leave ±{rest:.2} {unit}; \
                 references with a tighter claim, or more of them, would",
                if allowance.plus_minus == 0.0 {
                    "the references' claims"
                } else {
                    "the references' claims and the allowance"
                }
            ),
        },
    )
}

fn dropout_sentence(rows: usize) -> Option<String> {
    (rows > 0).then(|| {
        format!(
            "{rows} s in which a stream froze or read zero while the others did not are left out"
        )
    })
}

fn missing_sentence(rows: usize, n: usize) -> Option<String> {
    let missing = 100.0 * rows.saturating_sub(n) as f64 / rows.max(1) as f64;
    (rows > 0 && missing >= MISSING_WORTH_SAYING_PERCENT)
        .then(|| format!("{missing:.0} % of the seconds lack a value on one side and are left out"))
}

/// Different sites without an allowance, or an allowance without different sites.
fn site_sentence(evidence: &Evidence<'_>) -> Option<String> {
    let site = evidence.site?;
    let elsewhere = evidence.sites.iter().flatten().find(|s| **s != site);
    let none = evidence.allowance == Allowance::default();
    match elsewhere {
        Some(other) if none => Some(format!(
            "{} measures at the {site}, a reference at the {other}: without an [allowance] the \
             loss between them counts as bias",
            evidence.under_test
        )),
        None if !none && !evidence.sites.is_empty() => Some(format!(
            "an allowance of {} ± {} % is applied although the references measure at the same site",
            evidence.allowance.percent, evidence.allowance.plus_minus
        )),
        _ => None,
    }
}

/// One reference, or references that could not be tested against each other.
fn untested_sentence(evidence: &Evidence<'_>) -> Option<String> {
    let references = evidence.references?;
    (references.agree.is_none() && evidence.stated.iter().all(|r| r.claim.is_some()))
        .then(|| references.note.clone())
}
