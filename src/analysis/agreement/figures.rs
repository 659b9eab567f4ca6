//! Agreement of a source under test with a reference as plain data, and what each figure means.

use serde::Serialize;

use crate::analysis::figure::Figure;
use crate::stats::Interval;

/// Agreement of a source under test with a reference, differences being under test − reference.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Agreement {
    /// Label of the source under test.
    pub under_test: String,
    /// Label of the reference, or `consensus`.
    pub reference: String,
    /// Grid seconds with both values.
    pub n: usize,
    /// Effective number of independent seconds behind the interval of the bias.
    pub n_effective: Option<f64>,
    /// Mean of the reference over the same seconds, W.
    pub reference_mean_w: Option<f64>,
    /// Mean difference, W.
    pub bias_w: Option<f64>,
    /// Mean difference, % of the reference mean.
    pub bias_percent: Option<f64>,
    /// 95 % confidence limits of the bias, W.
    pub bias_ci95_w: Option<Interval>,
    /// 95 % confidence limits of the bias, % of the reference mean.
    pub bias_ci95_percent: Option<Interval>,
    /// Standard deviation of the differences, W.
    pub sd_diff_w: Option<f64>,
    /// 95 % limits of agreement, W.
    pub loa95_w: Option<Interval>,
    /// 95 % confidence limits of the lower limit of agreement, W.
    pub loa95_lower_ci95_w: Option<Interval>,
    /// 95 % confidence limits of the upper limit of agreement, W.
    pub loa95_upper_ci95_w: Option<Interval>,
    /// Root mean square difference, W.
    pub rmse_w: Option<f64>,
    /// Lin's concordance correlation coefficient.
    pub ccc: Option<f64>,
    /// Its 95 % confidence limits.
    pub ccc_ci95: Option<Interval>,
    /// Pearson's correlation coefficient.
    pub pearson_r: Option<f64>,
    /// Second by second as a ratio; null while a window is brushed, and where no second has 10 W on
    /// both sides.
    pub ratio: Option<Ratio>,
}

/// Ratio of a source under test to a reference, second by second.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Ratio {
    /// Grid seconds with 10 W or more on both sides.
    pub n: usize,
    /// Geometric mean of under test / reference.
    pub mean: f64,
    /// 95 % limits of agreement, as ratios.
    pub loa95: Option<Interval>,
    /// 95 % confidence limits of the lower limit.
    pub loa95_lower_ci95: Option<Interval>,
    /// 95 % confidence limits of the upper limit.
    pub loa95_upper_ci95: Option<Interval>,
}

/// How the reading of a source under test follows the level of a reference over the ride:
/// reading = intercept + slope · reference, with errors admitted on both sides.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LevelLine {
    /// Label of the source under test.
    pub under_test: String,
    /// Label of the reference, or `consensus`.
    pub reference: String,
    /// Rows behind the line.
    pub n: usize,
    /// Slope.
    pub slope: Option<f64>,
    /// Its 95 % confidence limits.
    pub slope_ci95: Option<Interval>,
    /// Intercept, W.
    pub intercept_w: Option<f64>,
    /// Its 95 % confidence limits, W.
    pub intercept_ci95_w: Option<Interval>,
}

const BA: &str = "Bland & Altman 1986, Lancet 327:307; 1999, Stat Methods Med Res 8:135";
const SERIAL: &str = "shapes common, variances a stretch's own: Smyth 2004, Stat Appl Genet Mol Biol 3:3; correlation averaged over: O'Hagan 1994, Bayesian Inference, ch. 9 (from memory); the need: Bayley & Hammersley 1946, J R Stat Soc Suppl 8:184; coverage measured by simulation";

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "levels.under_test",
        label: "source",
        definition: "The source under test.",
        ..Figure::PLAIN
    },
    Figure {
        id: "levels.reference",
        label: "reference",
        definition: "What it is compared with.",
        ..Figure::PLAIN
    },
    Figure {
        id: "levels.n",
        label: "seconds",
        definition: "Seconds behind the line: at a level that the reference has kept for 10 s, without dropouts and excursions.",
        source: "counted",
        ..Figure::PLAIN
    },
    Figure {
        id: "levels.slope",
        label: "slope",
        decimals: 4,
        definition: "How the reading follows the level over the ride: 1 is a true scale, 1.02 gains 2 W for every 100 W.",
        formula: "Deming line, errors of both sides equal: (Sxx − Syy + √((Sxx − Syy)² + 4 Sxy²))/(2 Sxy)",
        source: "Deming 1943; check values against orthogonal distance regression",
        caveat: "Seconds within 10 s of a change of power, dropouts and excursions are left out, so that lag or a phantom does not turn the line; sprints are too short to be on it. A ride at one power has no slope to tell.",
        ..Figure::PLAIN
    },
    Figure {
        id: "levels.slope_ci95",
        label: "slope, 95 % CI",
        decimals: 4,
        definition: "95 % confidence interval of the slope.",
        formula: "delete-one-block jackknife over 12 blocks or more, blocks taken as autocorrelated",
        source: "Künsch 1989, Ann Stat 17:1217; methods of the bias's limits",
        ..Figure::PLAIN
    },
    Figure {
        id: "levels.intercept_w",
        label: "intercept",
        unit: "W",
        decimals: 1,
        signed: true,
        definition: "Reading where the reference is zero, by the same line.",
        formula: "x̄ − slope · ȳ",
        source: "Deming 1943",
        caveat: "An extrapolation unless the ride held low powers.",
        ..Figure::PLAIN
    },
    Figure {
        id: "levels.intercept_ci95_w",
        label: "intercept, 95 % CI",
        unit: "W",
        decimals: 1,
        signed: true,
        definition: "95 % confidence interval of the intercept.",
        formula: "delete-one-block jackknife over 12 blocks or more",
        source: "Künsch 1989, Ann Stat 17:1217",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.agreement.under_test",
        label: "under test",
        definition: "The source under test.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.agreement.reference",
        label: "reference",
        definition: "What it is compared with: a reference, or consensus (the mean of the references).",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.agreement.n",
        label: "n",
        unit: "s",
        definition: "Grid seconds in which both have a value; seconds in which a stream froze or read a false zero are left out.",
        source: "counted",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.agreement.n_effective",
        label: "effective n",
        unit: "s",
        definition: "How many independent seconds would fix the bias as well as these dependent ones do.",
        formula: "(SD of the differences / standard uncertainty of the bias)², at most n",
        source: SERIAL,
        caveat: "An estimate with wide scatter of its own; short blocks are judged by their length, not by it.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.agreement.reference_mean_w",
        label: "reference mean",
        unit: "W",
        decimals: 1,
        definition: "Mean of the reference over the seconds in which both have a value: what percentages refer to.",
        formula: "ȳ",
        source: "arithmetic mean",
        csv: Some("paired_reference_mean_w"),
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.agreement.bias_w",
        label: "bias",
        unit: "W",
        decimals: 1,
        signed: true,
        definition: "How far the source under test reads above (+) or below (−) the reference on average: its trueness against it.",
        formula: "mean of d = under test − reference",
        source: "ISO 5725-1 (trueness); Bland & Altman 1986, Lancet 327:307",
        caveat: "The reference's own error is in it, and so is the loss of the drivetrain between the two.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.agreement.bias_ci95_w",
        label: "bias, 95 % CI",
        short: "95 % CI",
        unit: "W",
        decimals: 1,
        signed: true,
        definition: "95 % confidence interval of the bias, allowing for seconds that resemble their neighbours.",
        formula: "noise e = d less the source's scale and lag on the reference, in means of 5 s; shapes of its correlation R (white, or white plus slow noise of 1.5 to 96 s) weighed by how well they explain the level pieces of the whole ride; each gives a Student t of scale² (ν₀ s₀² + S)/(ν₀ + K − 1) · 1'R 1/K²; limits where the weighed sum leaves 2.5 % on either side, widened by what the lag leaves at the window's edges",
        source: SERIAL,
        caveat: "Only the scatter within this block: not the reference's error, nor another day's. What is slower than some minutes counts as this block's own error. On a ride with less than 10 min at levels kept, or none of 3 min, it is the wider of this and what the block alone tells. None under 20 s.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.agreement.bias_percent",
        label: "bias",
        unit: "%",
        decimals: 2,
        signed: true,
        definition: "The bias as % of the reference mean; none where that mean is under 10 W.",
        formula: "100 · (x̄ − ȳ)/ȳ",
        source: "ISO 5725-1 (trueness)",
        caveat: "Before the allowance; the verdict's bias is after it.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.agreement.bias_ci95_percent",
        label: "bias, 95 % CI",
        short: "95 % CI",
        unit: "%",
        decimals: 2,
        signed: true,
        definition: "95 % confidence interval of the bias in %.",
        formula: "the same, over ȳ",
        source: "as for W; a scale error is no scatter (ratio estimator: Cochran 1977, Sampling Techniques, ch. 6)",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.agreement.sd_diff_w",
        label: "SD of differences",
        short: "SD",
        unit: "W",
        decimals: 1,
        definition: "Scatter of the second-by-second differences about the bias.",
        formula: "√(Σ (d − d̄)²/(n − 1))",
        source: BA,
        caveat: "Lag, clock errors and different smoothing are in it, not noise alone.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.agreement.loa95_w",
        label: "limits of agreement",
        short: "LoA 95 %",
        unit: "W",
        decimals: 1,
        signed: true,
        definition: "Between these, 95 % of single seconds are expected to differ, if the differences are normal.",
        formula: "bias ± 1.96 · SD of differences",
        source: BA,
        caveat: "Says nothing of the mean over a block; grows with every step and sprint inside the window.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.agreement.loa95_lower_ci95_w",
        label: "lower limit of agreement, 95 % CI",
        unit: "W",
        decimals: 1,
        signed: true,
        definition: "How well the lower limit of agreement is known.",
        formula: "limit ± t(0.975, nᵥ − 1) · √(u² + 1.96² s²/(2(nᵥ − 1))), u the standard uncertainty of the bias, nᵥ = n/Σρ² the seconds that tell a variance (Bartlett 1946, from memory)",
        source: BA,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.agreement.loa95_upper_ci95_w",
        label: "upper limit of agreement, 95 % CI",
        unit: "W",
        decimals: 1,
        signed: true,
        definition: "How well the upper limit of agreement is known.",
        formula: "as for the lower limit",
        source: BA,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.agreement.rmse_w",
        label: "RMSE",
        unit: "W",
        decimals: 1,
        definition: "Root mean square of the differences: bias and scatter in one.",
        formula: "√(Σ d²/n)",
        source: "textbook",
        caveat: "Cannot tell a steady offset from noise.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.agreement.ccc",
        label: "concordance",
        short: "CCC",
        decimals: 3,
        definition: "How closely the pairs lie to the line of identity; 1 is perfect.",
        formula: "2 Sxy/(Sxx + Syy + n (x̄ − ȳ)²)",
        source: "Lin 1989, Biometrics 45:255",
        caveat: "Rises with the range of powers in the window: never compare it between windows, never judge a claim by it.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.agreement.ccc_ci95",
        label: "concordance, 95 % CI",
        decimals: 3,
        definition: "95 % confidence interval of the concordance.",
        formula: "delete-one-block jackknife on Fisher's z",
        source: "Künsch 1989, Ann Stat 17:1217; for independent pairs Lin 1989, 2000 gives about the same",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.agreement.pearson_r",
        label: "Pearson r",
        short: "r",
        decimals: 3,
        definition: "How linearly the two go together.",
        formula: "Sxy/√(Sxx Syy)",
        source: "Pearson 1896",
        caveat: "Blind to bias and to scale: a source that reads half can have r = 1.",
        ..Figure::PLAIN
    },
];
