//! The verdict as plain data, and what each figure means.

use serde::Serialize;

use crate::analysis::figure::Figure;
use crate::analysis::verdict::conformity::Outcome;
use crate::analysis::verdict::reason::Reason;

/// The verdict over a segment.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Verdict {
    /// Label of the source under test.
    pub under_test: String,
    /// Label of the reference, or `consensus`.
    pub reference: String,
    /// The outcome.
    pub outcome: Outcome,
    /// Grid seconds with both values.
    pub n: usize,
    /// Net bias, % of the reference mean carried to the site under test.
    pub bias_percent: Option<f64>,
    /// Expanded uncertainty, %.
    pub expanded_uncertainty_percent: Option<f64>,
    /// The limit, %.
    pub limit_percent: Option<f64>,
    /// Probability that the true bias lies inside the limit (JCGM 106); `None` for an open stretch.
    pub conformance_probability: Option<f64>,
    /// Net bias, W.
    pub bias_w: Option<f64>,
    /// Expanded uncertainty, W.
    pub expanded_uncertainty_w: Option<f64>,
    /// The limit, W.
    pub limit_w: Option<f64>,
    /// Coverage factor k.
    pub coverage_factor: Option<f64>,
    /// Effective degrees of freedom behind it; null for infinite.
    pub effective_degrees_of_freedom: Option<f64>,
    /// The uncertainty budget, one line a contribution.
    pub budget: Vec<BudgetLine>,
    /// Why; in JSON as sentences.
    pub reasons: Vec<Reason>,
}

impl Verdict {
    /// The power that its percentages refer to, W.
    pub fn level_w(&self) -> Option<f64> {
        Some(100.0 * self.limit_w? / self.limit_percent?)
    }

    /// Why, in sentences.
    pub fn sentences(&self) -> Vec<String> {
        self.reasons.iter().map(Reason::to_string).collect()
    }
}

/// One contribution to an uncertainty budget.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BudgetLine {
    /// Where it comes from.
    pub source: String,
    /// How it scatters: `Student t`, `rectangular` or `normal`.
    pub distribution: String,
    /// Standard uncertainty, % of the reference mean.
    pub standard_uncertainty_percent: Option<f64>,
    /// Standard uncertainty, W.
    pub standard_uncertainty_w: Option<f64>,
    /// Degrees of freedom; null for infinite.
    pub degrees_of_freedom: Option<f64>,
}

const DECISION: &str = "ILAC-G8:09/2019 (guard band w = U)";
const GUM: &str = "JCGM 100:2008";

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "segments.verdict.under_test",
        label: "source",
        definition: "The source under test.",
        csv: Some(""),
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.verdict.outcome",
        label: "verdict",
        definition: "Whether the bias lies inside the claim once its uncertainty is counted: conforms, does-not-conform, inconclusive, references-disagree or not-applicable (an open stretch, a kind judged by its own figures, or nothing to compare).",
        formula: "conforms if |b| + U ≤ T; does-not-conform if |b| − U > T; else inconclusive",
        source: DECISION,
        caveat: "Evidence from one ride on one unit; it is no calibration certificate, which takes an accredited laboratory. Blocks under 60 s are at most inconclusive.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.verdict.reference",
        label: "judged against",
        definition: "What it is judged against: the consensus of the references, or the only one.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.verdict.n",
        label: "n",
        unit: "s",
        definition: "Seconds with both values.",
        source: "counted",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.verdict.bias_percent",
        label: "net bias",
        unit: "%",
        decimals: 2,
        signed: true,
        definition: "The bias once the loss expected between the sites is taken off the reference, as % of the reference so carried over.",
        formula: "100 · (x̄/(ȳ (1 − allowance)) − 1)",
        source: "ISO 5725-1 (trueness)",
        caveat: "As good as the allowance: its half-width is in the uncertainty.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.verdict.expanded_uncertainty_percent",
        label: "uncertainty U",
        short: "± U",
        unit: "%",
        decimals: 2,
        definition: "Half-width of the interval that holds the true bias with about 95 % probability: scatter, the references' claims or known masses, and the allowance together.",
        formula: "U = k √(u_stat² + u_ref² + u_allowance²); a claim ±a counts a/√3, k independent references average down",
        source: GUM,
        caveat: "Blind to errors that all references share.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.verdict.limit_percent",
        label: "limit T",
        short: "limit ±",
        unit: "%",
        decimals: 2,
        definition: "What the claim allows at this power.",
        formula: "max(claim %, 100 · claim W / level)",
        source: "stated in session.toml",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.verdict.bias_w",
        label: "net bias",
        unit: "W",
        decimals: 1,
        signed: true,
        definition: "The same in W.",
        formula: "x̄ − ȳ (1 − allowance)",
        source: "ISO 5725-1 (trueness)",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.verdict.expanded_uncertainty_w",
        label: "uncertainty U",
        short: "± U",
        unit: "W",
        decimals: 1,
        definition: "The expanded uncertainty in W.",
        formula: "U % · level / 100",
        source: GUM,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.verdict.limit_w",
        label: "limit T",
        short: "limit ±",
        unit: "W",
        decimals: 1,
        definition: "What the claim allows at this power, W.",
        formula: "max(claim % · level / 100, claim W)",
        source: "stated in session.toml",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.verdict.conformance_probability",
        label: "probability inside the limit",
        short: "P(inside)",
        decimals: 3,
        definition: "Probability that the true bias lies within the limit, given this evidence.",
        formula: "F((T − b)/u) − F((−T − b)/u), F Student's t with the effective degrees of freedom",
        source: "JCGM 106:2012, 7.4 (there: normal)",
        caveat: "Null where no verdict applies. Given nothing else is known: it is not the share of such devices that are good.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.verdict.coverage_factor",
        label: "coverage factor k",
        short: "k",
        decimals: 2,
        definition: "By how much the standard uncertainty is widened for 95 %.",
        formula: "k = t(0.975, ν_eff)",
        source: "JCGM 100:2008, G.6.4",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.verdict.effective_degrees_of_freedom",
        label: "effective degrees of freedom",
        short: "effective dof",
        decimals: 1,
        definition: "How well the combined uncertainty itself is known; null for infinite.",
        formula: "ν_eff = u⁴/Σ(uᵢ⁴/νᵢ)",
        source: "Welch–Satterthwaite; JCGM 100:2008, G.4.1",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.verdict.budget.source",
        label: "source of uncertainty",
        short: "contribution",
        definition: "Where a line of the uncertainty budget comes from.",
        csv: Some("verdict_budget_sources"),
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.verdict.budget.distribution",
        label: "distribution",
        definition: "How the contribution scatters: Student t (estimated from the seconds), rectangular (somewhere within ± a) or normal (several together, stated as a standard uncertainty).",
        source: "JCGM 100:2008, 4.2 and 4.3.7",
        csv: Some("verdict_budget_distributions"),
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.verdict.budget.standard_uncertainty_percent",
        label: "standard uncertainty",
        short: "u",
        unit: "%",
        decimals: 3,
        definition: "One contribution as a standard deviation, % of the level.",
        formula: "a/√3 for limits ± a",
        source: "JCGM 100:2008, 4.3.7",
        csv: Some("verdict_budget_percent"),
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.verdict.budget.standard_uncertainty_w",
        label: "standard uncertainty",
        short: "u",
        unit: "W",
        decimals: 3,
        definition: "The same in W.",
        formula: "a/√3 for limits ± a",
        source: "JCGM 100:2008, 4.3.7",
        csv: Some("verdict_budget_w"),
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.verdict.budget.degrees_of_freedom",
        label: "degrees of freedom",
        decimals: 1,
        definition: "How well that contribution is known; null for infinite.",
        source: "JCGM 100:2008, G.4",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.verdict.reasons",
        label: "reasons",
        definition: "Why the verdict is what it is, and what would help, in sentences.",
        ..Figure::PLAIN
    },
];
