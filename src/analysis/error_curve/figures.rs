//! The error curve as plain data, and what each figure means.

use serde::Serialize;

use super::{Accuracy, Block, CurvePoint, LeftOut, Level};

use crate::analysis::figure::{Figure, OURS};

/// What all blocks of held power say together of one source under test; in JSON an entry of
/// `error_curve`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ErrorCurve {
    /// Label of the source under test.
    pub under_test: String,
    /// The blocks that may be judged, in order of power.
    pub blocks: Vec<Block>,
    /// Blocks that ask for held power and may not be judged, or have no percentage.
    pub left_out: Vec<LeftOut>,
    /// The curve at equal ratios of power; empty for fewer than three blocks.
    pub curve: Vec<CurvePoint>,
    /// Whether it reads within its claim.
    pub accuracy: Accuracy,
    /// Whether the error changes with power.
    pub level: Level,
    /// The decision in a sentence, without the source's name.
    pub accuracy_sentence: String,
    /// The change with power in a sentence.
    pub level_sentence: String,
}

const BETWEEN: &str = "Between the powers ridden nothing was measured; one odd power can stand outside the curve's band, its own limits tell.";
const LIMITS: &str = "quantiles of the mixture of normals over shapes and own departures (Theil & Goldberger 1961; half-Cauchy prior: Gelman 2006)";
const TUBE: &str = "Naiman 1986, Ann Stat 14:896; Sun & Loader 1994, Ann Stat 22:1328";

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "error_curve.under_test",
        label: "source",
        definition: "The source under test.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.blocks.segment",
        label: "block",
        definition: "The segment, by its number.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.blocks.n",
        label: "seconds",
        definition: "Seconds with both values.",
        source: "counted",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.blocks.power_w",
        label: "power",
        unit: "W",
        definition: "Mean power of the reference in the block, carried to the site of the source.",
        formula: "ȳ (1 − allowance)",
        source: "ISO 5725-1 (trueness)",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.blocks.bias_percent",
        label: "net bias",
        unit: "%",
        decimals: 2,
        definition: "The block's own bias.",
        formula: "100 · (x̄/(ȳ (1 − allowance)) − 1)",
        source: "ISO 5725-1 (trueness)",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.blocks.scatter_percent",
        label: "scatter",
        unit: "%",
        decimals: 2,
        definition: "Standard uncertainty of the block's mean from its seconds alone.",
        formula: "half-width of its 95 % limits / 1.96",
        source: "JCGM 100:2008, 4.2",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.blocks.standard_uncertainty_percent",
        label: "standard uncertainty",
        unit: "%",
        decimals: 2,
        definition: "The same with what blocks share: the references' claims and the allowance.",
        formula: "√(s² + u²)",
        source: "JCGM 100:2008, 5.1.2",
        caveat: "What blocks share does not average down, however many there are.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.blocks.limit_percent",
        label: "limit T",
        unit: "%",
        decimals: 2,
        definition: "What the claim allows at this power.",
        formula: "max(claim %, 100 · claim W / level)",
        source: "stated in session.toml",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.blocks.error_percent",
        label: "error in this block",
        unit: "%",
        decimals: 2,
        definition: "The true error in this block, given its neighbours; the bias where there are fewer than three blocks.",
        formula: "mean of the mixture",
        source: "Theil & Goldberger 1961, Int Econ Rev 2:65",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.blocks.ci95_percent",
        label: "error in this block, 95 % CI",
        unit: "%",
        decimals: 2,
        definition: "Limits of the true error in this block, given its neighbours; of the block alone where there are fewer than three.",
        formula: LIMITS,
        source: "JCGM 102 (all quantities with one covariance)",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.blocks.simultaneous95_percent",
        label: "error, 95 % CI for all blocks at once",
        unit: "%",
        decimals: 2,
        definition: "The same, wide enough to hold for all blocks at once.",
        formula: "mixture quantiles at Φ(∓c), (κ/π) e^(−c²/2) + 2Φ(−c) = 0.05",
        source: TUBE,
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.blocks.departure",
        label: "departure",
        decimals: 2,
        definition: "By how many standard deviations the block departs from what the others lead one to expect.",
        formula: "(Qb)_j/√Q_jj, the leave-one-out residual of a wide smooth curve",
        source: "Dubrule 1983, Math Geol 15:687 (from memory)",
        caveat: "From 1 on a block has to conform as if it had no neighbours. That threshold is a choice without a source.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.left_out.segment",
        label: "left out",
        definition: "A block that may not be judged, or has no percentage.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.left_out.outcome",
        label: "outcome",
        definition: "What is said of it alone.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.curve.power_w",
        label: "power",
        unit: "W",
        definition: "Thirteen powers at equal ratios, from the lowest to the highest ridden.",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.curve.error_percent",
        label: "error",
        unit: "%",
        decimals: 2,
        definition: "The error of a smooth curve through the blocks.",
        formula: "mean + slope z + bend (z² − 1/3), z = ln(P/√(Pmin Pmax))/h, over a mixture of slopes, bends and own departures",
        source: "Theil & Goldberger 1961, Int Econ Rev 2:65",
        caveat: BETWEEN,
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.curve.ci95_percent",
        label: "error, 95 % CI",
        unit: "%",
        decimals: 2,
        definition: "Limits of the curve at this power.",
        formula: LIMITS,
        source: "JCGM 102 (all quantities with one covariance)",
        caveat: BETWEEN,
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.curve.simultaneous95_percent",
        label: "error, 95 % band",
        unit: "%",
        decimals: 2,
        definition: "Limits that hold along the whole curve.",
        formula: "mixture quantiles at Φ(∓c), (κ/π) e^(−c²/2) + 2Φ(−c) = 0.05",
        source: TUBE,
        caveat: BETWEEN,
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.curve.limit_percent",
        label: "limit T",
        unit: "%",
        decimals: 2,
        definition: "What the claim allows at this power.",
        formula: "max(claim %, 100 · claim W / level)",
        source: "stated in session.toml",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.accuracy.outcome",
        label: "within the claim",
        definition: "Whether the source reads within its claim at held power, from all blocks together.",
        formula: "fault: a block or the mean beyond T by c u; fine: each block conforms, or the limits of the curve and of every block's error lie within ±T and every block keeps a guard of k u, k = 1.96 min(1, |departure|), at least 1.85 of three blocks",
        source: "Berger 1982, Technometrics 24:295 (the worst power has to pass; from memory)",
        caveat: "One power exactly at the limit passes wrongly in up to 4.1 % of simulated rides (at an end, the others at a third to a half of the limit), a smooth error in up to 2.4 %.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.accuracy.rule",
        label: "rule",
        definition: "What the decision rests on: one-block, each-block, curve, smooth-curve (curve_smooth under [limits] above 1), joint or undecided.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.accuracy.critical_value",
        label: "joint critical value",
        decimals: 3,
        definition: "How many standard uncertainties beyond the claim a block, or the mean of all, has to lie.",
        formula: "E[Π Φ((c u_j − u δ)/s_j)] = 0.975 over blocks and their mean, δ standard normal",
        source: "Slepian 1962, Bell Syst Tech J 41:463 (safe; from memory)",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.accuracy.mean_bias_percent",
        label: "mean bias",
        unit: "%",
        decimals: 2,
        definition: "Mean of all blocks.",
        formula: "Σ b/s² / Σ 1/s²",
        source: "JCGM 100:2008",
        caveat: "It never passes a source: an error that changes sign with power has a mean of nought.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.accuracy.mean_standard_uncertainty_percent",
        label: "its standard uncertainty",
        unit: "%",
        decimals: 2,
        definition: "Of that mean.",
        formula: "√(1/Σ s⁻² + u²)",
        source: "JCGM 100:2008, 5.2",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.accuracy.mean_limit_percent",
        label: "limit of the mean",
        unit: "%",
        decimals: 2,
        definition: "What the claim allows, in the same mean.",
        formula: "Σ T/s² / Σ 1/s²",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.accuracy.beyond",
        label: "beyond the claim",
        definition: "Blocks beyond the claim by the joint critical value.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.accuracy.beyond_on_average",
        label: "beyond on average",
        definition: "Whether the mean of all is.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.accuracy.open.segment",
        label: "open block",
        definition: "A block that keeps the whole from being decided; null between blocks.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.accuracy.open.power_w",
        label: "open power",
        unit: "W",
        definition: "The power that is not decided.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.accuracy.open.why",
        label: "why open",
        definition: "straddles: the limits reach over the claim; departs: it departs from its neighbours and alone does not tell; may-be-chance: beyond on its own, not by the joint critical value; between-blocks.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.accuracy.open.ci95_percent",
        label: "where it lies, 95 % CI",
        unit: "%",
        decimals: 2,
        definition: "Where the error lies there.",
        formula: LIMITS,
        source: "JCGM 102 (all quantities with one covariance)",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.accuracy.open.better_references",
        label: "better references needed",
        definition: "Whether only references of less uncertainty would tell; else a longer block would, or a second one at this power.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.accuracy.turns_on_loss",
        label: "turns on the loss",
        definition: "Whether the answer would be another for another loss of the drivetrain between 0 and 4 %, none being stated.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.level.outcome",
        label: "changes with power",
        definition: "Whether the error changes with power by more than the claim.",
        formula: "the 95 % limits of the change within ±T, beyond, or neither",
        source: "ILAC-G8:09/2019 (three-way)",
        caveat: "Cannot tell where power was ridden in the order of time, or of two blocks: warm-up, gear or cadence may make it.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.level.basis",
        label: "read from",
        definition: "curve (three blocks or more), two-blocks or one-power.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.level.from_w",
        label: "lowest power",
        unit: "W",
        definition: "Lowest power ridden in a judged block.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.level.to_w",
        label: "highest power",
        unit: "W",
        definition: "Highest power ridden in a judged block.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.level.change_percent",
        label: "change with power",
        unit: "points",
        decimals: 2,
        definition: "Error at the highest power less that at the lowest.",
        formula: "twice the slope, slope ~ N(0, 4²) and bend ~ N(0, 1) in %, own departures as in the curve",
        source: "Theil & Goldberger 1961, Int Econ Rev 2:65",
        caveat: "Free of errors of scale of the references and of a loss that is a constant share.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.level.change_ci95_percent",
        label: "change, 95 % CI",
        unit: "points",
        decimals: 2,
        definition: "Its limits; with zero offsets of the references, an uneven loss and a drift that a soak showed.",
        formula: LIMITS,
        source: "JCGM 102 (all quantities with one covariance)",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.level.limit_percent",
        label: "limit of the change",
        unit: "points",
        decimals: 2,
        definition: "What the change is held against: the claim.",
        formula: "Σ T/s² / Σ 1/s²",
        source: OURS,
        caveat: "A claim says nothing of changes; the same size is a convention.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.level.as_zero_offset_w",
        label: "as a zero offset",
        unit: "W",
        decimals: 1,
        definition: "The change as that of a pure zero offset.",
        formula: "change / (100/P₂ − 100/P₁)",
        source: OURS,
        caveat: "Zero offset and growth are not told apart here.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.level.zero_offset_uncertainty_percent",
        label: "zero offsets of the references",
        unit: "points",
        decimals: 2,
        definition: "Standard uncertainty of the change for zero offsets of the references: their claim in W, else ±1 W unless [facts] has zero_offset.",
        formula: "(z/√3) · |100/P₁ − 100/P₂|, z of the references' mean, correlated as their claims are",
        source: "JCGM 100:2008, 4.3.7 (±1 W: judgement)",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.level.loss_uncertainty_percent",
        label: "uneven loss",
        unit: "points",
        decimals: 2,
        definition: "Standard uncertainty of the change for a loss that is not a constant share.",
        formula: "(a/√3) · √(P₁P₂) · |1/P₁ − 1/P₂|, a the half-width of the allowance",
        source: "judgement, after Spicer et al. 2001, J Mech Des 123:598 (from memory)",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.level.drift_uncertainty_percent",
        label: "drift over the ride",
        unit: "points",
        decimals: 2,
        definition: "Standard uncertainty of the change for a drift of the error in time, where a heat soak showed one.",
        formula: "(d/√3) · |t₂ − t₁|/600 s, d the limit of the drift in 10 min, t the middles of the blocks at both ends",
        source: OURS,
        caveat: "A warm-up levels off: it is allowed for, not taken out.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.level.power_with_time",
        label: "power with time",
        decimals: 2,
        definition: "Rank correlation of power with the middle of the blocks; beyond ±0.8 warm-up and power are one.",
        formula: "Pearson's r of the ranks",
        source: "Spearman 1904, Am J Psychol 15:72",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.level.q",
        label: "Q",
        decimals: 2,
        definition: "By how much the blocks differ, in units of their scatter.",
        formula: "Σ (b − b̄)²/s²",
        source: "Cochran 1954, Biometrics 10:101 (from memory)",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.level.q_p_value",
        label: "p of Q",
        decimals: 3,
        definition: "Probability of at least this Q where all blocks have one error.",
        formula: "P(χ² > Q), m − 1 degrees of freedom",
        source: "Cochran 1954, Biometrics 10:101 (from memory)",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.accuracy_sentence",
        label: "decision",
        definition: "The decision in a sentence.",
        ..Figure::PLAIN
    },
    Figure {
        id: "error_curve.level_sentence",
        label: "change with power in words",
        definition: "Whether the error changes with power, in a sentence.",
        ..Figure::PLAIN
    },
];
