//! Entries for the references, the noisy one, and the verdict.

use super::entry::{Entry, fact, figure};

const DECISION: &str = "ILAC-G8:09/2019 (guard band w = U)";
const GUM: &str = "JCGM 100:2008";
const HAT: &str = "Grubbs 1948, JASA 43:243; 1973, Technometrics 15:53 (three-cornered hat)";

macro_rules! verdict_entries {
    ($prefix:literal) => {
        [
            fact(concat!($prefix, ".under_test"), "source", "", "The source under test."),
            fact(concat!($prefix, ".reference"), "reference", "", "What it is judged against: the consensus of the references, or the only one."),
            figure(concat!($prefix, ".outcome"), "verdict", "", 0, [
                "Whether the bias lies inside the claim once its uncertainty is counted: conforms, does-not-conform, inconclusive, references-disagree or not-applicable (an open stretch, a kind judged by its own figures, or nothing to compare).",
                "conforms if |b| + U ≤ T; does-not-conform if |b| − U > T; else inconclusive", DECISION,
                "Evidence from one ride on one unit; it is no calibration certificate, which takes an accredited laboratory. Blocks under 60 s are at most inconclusive.",
            ]),
            figure(concat!($prefix, ".n"), "seconds", "", 0, ["Seconds with both values.", "", "counted", ""]),
            figure(concat!($prefix, ".bias_percent"), "bias after allowance", "%", 2, [
                "The bias once the loss expected between the sites is taken off the reference, as % of the reference so carried over.",
                "100 · (x̄/(ȳ (1 − allowance)) − 1)", "ISO 5725-1 (trueness)",
                "As good as the allowance: its half-width is in the uncertainty.",
            ]),
            figure(concat!($prefix, ".expanded_uncertainty_percent"), "uncertainty U", "%", 2, [
                "Half-width of the interval that holds the true bias with about 95 % probability: scatter, the references' claims and the allowance together.",
                "U = k √(u_stat² + u_ref² + u_allowance²); a claim ±a counts a/√3, k independent references average down", GUM,
                "Blind to errors that all references share.",
            ]),
            figure(concat!($prefix, ".limit_percent"), "limit T", "%", 2, [
                "What the claim allows at this power.", "max(claim %, 100 · claim W / level)", "stated in session.toml", "",
            ]),
            figure(concat!($prefix, ".conformance_probability"), "probability inside", "", 3, [
                "Probability that the true bias lies within the limit, given this evidence.",
                "F((T − b)/u) − F((−T − b)/u), F Student's t with the effective degrees of freedom", "JCGM 106:2012, 7.4 (there: normal)",
                "Null where no verdict applies. Given nothing else is known: it is not the share of such devices that are good.",
            ]),
            figure(concat!($prefix, ".bias_w"), "bias after allowance", "W", 1, ["The same in W.", "x̄ − ȳ (1 − allowance)", "ISO 5725-1 (trueness)", ""]),
            figure(concat!($prefix, ".expanded_uncertainty_w"), "uncertainty U", "W", 1, ["The expanded uncertainty in W.", "U % · level / 100", GUM, ""]),
            figure(concat!($prefix, ".limit_w"), "limit T", "W", 1, ["What the claim allows at this power, W.", "max(claim % · level / 100, claim W)", "stated in session.toml", ""]),
            figure(concat!($prefix, ".coverage_factor"), "coverage factor k", "", 2, [
                "By how much the standard uncertainty is widened for 95 %.",
                "k = t(0.975, ν_eff)", "JCGM 100:2008, G.6.4", "",
            ]),
            figure(concat!($prefix, ".effective_degrees_of_freedom"), "effective degrees of freedom", "", 1, [
                "How well the combined uncertainty itself is known; null for infinite.",
                "ν_eff = u⁴/Σ(uᵢ⁴/νᵢ)", "Welch–Satterthwaite; JCGM 100:2008, G.4.1", "",
            ]),
            fact(concat!($prefix, ".budget.source"), "source of uncertainty", "", "Where a line of the uncertainty budget comes from."),
            figure(concat!($prefix, ".budget.distribution"), "distribution", "", 0, [
                "How the contribution scatters: Student t (estimated from the seconds) or rectangular (somewhere within ± a).",
                "", "JCGM 100:2008, 4.2 and 4.3.7", "",
            ]),
            figure(concat!($prefix, ".budget.standard_uncertainty_percent"), "standard uncertainty", "%", 3, [
                "One contribution as a standard deviation, % of the level.", "a/√3 for limits ± a", "JCGM 100:2008, 4.3.7", "",
            ]),
            figure(concat!($prefix, ".budget.standard_uncertainty_w"), "standard uncertainty", "W", 2, [
                "The same in W.", "a/√3 for limits ± a", "JCGM 100:2008, 4.3.7", "",
            ]),
            figure(concat!($prefix, ".budget.degrees_of_freedom"), "degrees of freedom", "", 1, [
                "How well that contribution is known; null for infinite.", "", "JCGM 100:2008, G.4", "",
            ]),
            fact(concat!($prefix, ".reasons"), "reasons", "", "Why the verdict is what it is, and what would help, in sentences."),
        ]
    };
}

const FIRST: [Entry; 19] = verdict_entries!("segments.verdict");
const FURTHER: [Entry; 19] = verdict_entries!("segments.further_verdicts");

const OTHERS: [Entry; 12] = [
    fact(
        "segments.references.labels",
        "references",
        "",
        "The references' names.",
    ),
    fact(
        "segments.references.pair",
        "pair",
        "",
        "The two references that differ most.",
    ),
    figure(
        "segments.references.difference_percent",
        "references differ by",
        "%",
        2,
        [
            "Difference of the means of that pair, first − second, as % of their common mean.",
            "100 · (x̄₁ − x̄₂)/((x̄₁ + x̄₂)/2)",
            "ISO 5725-1 (trueness)",
            "Different sites differ by the drivetrain's loss as well.",
        ],
    ),
    figure(
        "segments.references.en_number",
        "E_n",
        "",
        2,
        [
            "Difference of two references over their joint expanded uncertainty; beyond ±1 they contradict each other.",
            "(x̄₁ − x̄₂)/√(U₁² + U₂² − 2ρ U₁ U₂ + U_d²), U = 2a/√3 for a claim ±a (as the budget reads it, k = 2), ρ the stated correlation of the claims and U_d the half-width of the 95 % limits of the mean difference",
            "ISO 13528",
            "Agreement does not prove either true: both may share an error. A short or restless block tests little: its scatter widens what counts as agreement.",
        ],
    ),
    figure(
        "segments.references.agree",
        "references agree",
        "",
        0,
        [
            "Whether every pair lies within its claims; no where |E_n| > 1, and the verdict is withheld. Null where no claim is stated, there is one reference, too few seconds tell, or only scatter brings |E_n| to 1.",
            "",
            "ISO 13528",
            "",
        ],
    ),
    fact(
        "segments.references.note",
        "on the references",
        "",
        "What to make of it, in a sentence.",
    ),
    fact(
        "segments.noise.streams.label",
        "stream",
        "",
        "Name of the stream.",
    ),
    figure(
        "segments.noise.streams.error_variance_w2",
        "error variance",
        "W²",
        1,
        [
            "Variance of one stream's own error, told from three or more streams without calling any of them true.",
            "(v_AB + v_AC − v_BC)/2, v the variance of a pair's difference; for more streams by least squares",
            HAT,
            "Assumes independent errors. A negative value is shown as it comes out: the error is too small to tell, or two streams share one. Bias is invisible to it.",
        ],
    ),
    figure(
        "segments.noise.streams.error_variance_ci95_w2",
        "error variance, 95 % limits",
        "W²",
        1,
        [
            "95 % confidence limits of that variance.",
            "delete-one-block jackknife over 12 blocks or more",
            "Künsch 1989, Ann Stat 17:1217",
            "",
        ],
    ),
    figure(
        "segments.noise.streams.error_sd_w",
        "error SD",
        "W",
        1,
        [
            "Its square root; null where the variance comes out negative.",
            "√(error variance)",
            HAT,
            "",
        ],
    ),
    fact(
        "segments.noise.noisiest",
        "noisiest",
        "",
        "The stream whose error is clearly the largest; null where the limits of its lead over the next include zero.",
    ),
    fact(
        "segments.noise.note",
        "on the noise",
        "",
        "What to make of it, in a sentence.",
    ),
];

const COUNT: usize = FIRST.len() + FURTHER.len() + OTHERS.len();

const fn joined() -> [Entry; COUNT] {
    let mut all = [OTHERS[0]; COUNT];
    let mut at = 0;
    while at < COUNT {
        all[at] = if at < OTHERS.len() {
            OTHERS[at]
        } else if at < OTHERS.len() + FIRST.len() {
            FIRST[at - OTHERS.len()]
        } else {
            FURTHER[at - OTHERS.len() - FIRST.len()]
        };
        at += 1;
    }
    all
}

pub(super) const ENTRIES: &[Entry] = &joined();
