//! What the heads of a survey mean.

use crate::analysis::figure::{Figure, OURS};

const TOST: &str = "Schuirmann 1987, J Pharmacokinet Biopharm 15:657";
const HOLM: &str = "Holm 1979, Scand J Stat 6:65";

/// What each figure of a survey means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "contrasts.mean_percent",
        label: "difference",
        short: "D",
        unit: "points",
        decimals: 2,
        signed: true,
        definition: "Mean bias of one value of a fact less that of the other, over paired blocks: same kind, set point within 5 %, gear, mode and reference.",
        formula: "D = mean(b_A − b_B); with several rides a side, mean of the rides' means",
        source: OURS,
        caveat: "With one ride a side what differs from day to day counts as a difference.",
        ..Figure::PLAIN
    },
    Figure {
        id: "contrasts.ci95_percent",
        label: "difference, 95 % CI",
        unit: "points",
        decimals: 2,
        signed: true,
        definition: "95 % limits of the difference. Where all rides had the same references on the same bike, their scale and the loss cancel and only scatter and repeatability are in it.",
        formula: "D ± t(0.975, ν) u; u by Welch on means of rides, by repeated rides, or by the scatter of the pairs",
        source: "Welch 1947, Biometrika 34:28; JCGM 100:2008, G.4",
        caveat: "Not adjusted for the number of contrasts; the outcome is.",
        ..Figure::PLAIN
    },
    Figure {
        id: "contrasts.ci90_percent",
        label: "difference, 90 % CI",
        short: "90 % CI",
        unit: "points",
        decimals: 2,
        signed: true,
        definition: "90 % limits of the difference: two count as alike where these lie within the margin.",
        formula: "D ± t(0.95, ν) u",
        source: TOST,
        ..Figure::PLAIN
    },
    Figure {
        id: "contrasts.margin_percent",
        label: "margin",
        unit: "points",
        decimals: 2,
        definition: "Up to where two count as alike, ±: what --margin says, else half the claim.",
        source: "stated, or this program's convention",
        caveat: "It is a choice: make it before the rides.",
        ..Figure::PLAIN
    },
    Figure {
        id: "contrasts.outcome",
        label: "said",
        definition: "alike: the 90 % limits lie within the margin (two one-sided tests). differ: the 95 % limits lie beyond it. cannot-tell: neither. All contrasts of one survey are taken together.",
        formula: "alike if p(alike) < 0.05; differ if p(beyond) < 0.05; both by Holm",
        source: "Schuirmann 1987; Holm 1979",
        caveat: "Different from zero is not beyond the margin, and not shown to differ is not alike.",
        ..Figure::PLAIN
    },
    Figure {
        id: "contrasts.rides_needed",
        label: "rides needed",
        short: "more rides",
        definition: "Rides of each that are still to be ridden until the difference, if it is as found, is decided with 80 % chance; null where no number up to 1000 would.",
        formula: "least n with (t(0.95 or 0.975, 2n − 2) + t(0.80, 2n − 2)) √(2s²/n + u²) ≤ |margin − |D||",
        source: OURS,
        caveat: "As good as the spread it is reckoned from.",
        ..Figure::PLAIN
    },
    Figure {
        id: "contrasts.cancels",
        label: "cancels",
        definition: "Whether the scale of the references and the drivetrain's loss cancel in the difference: same references under the same labels, same `references` and `bike` under [facts], same stated loss. Else they count in full on both sides.",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "contrasts.p_differs",
        label: "p(differs)",
        decimals: 4,
        definition: "Chance of a difference this large were there none.",
        formula: "2 F(−|D|/u), F Student's t",
        source: "Welch 1947, Biometrika 34:28",
        ..Figure::PLAIN
    },
    Figure {
        id: "contrasts.p_beyond",
        label: "p(beyond)",
        decimals: 4,
        definition: "Chance of a difference this far beyond the margin were it at the margin.",
        formula: "2 F((margin − |D|)/u)",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "contrasts.p_alike",
        label: "p(alike)",
        decimals: 4,
        definition: "The larger p of two one-sided tests: that the difference lies below the upper end of the margin, and above the lower.",
        formula: "F((|D| − margin)/u)",
        source: TOST,
        ..Figure::PLAIN
    },
    Figure {
        id: "contrasts.p_differs_holm",
        label: "p(differs), Holm",
        decimals: 4,
        definition: "p(differs) with chance among all contrasts of the survey allowed for; the outcome follows it.",
        formula: "running maximum of (m − rank + 1) p",
        source: HOLM,
        ..Figure::PLAIN
    },
    Figure {
        id: "contrasts.p_beyond_holm",
        label: "p(beyond), Holm",
        decimals: 4,
        definition: "p(beyond) with chance among all contrasts of the survey allowed for; the outcome follows it.",
        formula: "running maximum of (m − rank + 1) p",
        source: HOLM,
        ..Figure::PLAIN
    },
    Figure {
        id: "contrasts.p_alike_holm",
        label: "p(alike), Holm",
        decimals: 4,
        definition: "p(alike) with chance among all contrasts of the survey allowed for; the outcome follows it.",
        formula: "running maximum of (m − rank + 1) p",
        source: HOLM,
        ..Figure::PLAIN
    },
    Figure {
        id: "contrasts.critical_difference_percent",
        label: "critical difference",
        short: "CD",
        unit: "points",
        decimals: 2,
        definition: "What two rides of one unit, each the mean of its blocks, may differ by in 95 % of cases.",
        formula: "√((2.8 s_R)² − (2.8 s_r)² (1 − 1/(2n₁) − 1/(2n₂)))",
        source: "ISO 5725-6:1994, 4.2.2",
        caveat: "Null without repeated rides.",
        ..Figure::PLAIN
    },
    Figure {
        id: "contrasts.differs_from_zero",
        label: "from zero",
        definition: "Whether the difference is told from zero, whatever the margin: statistically significant, all contrasts of the survey taken together.",
        formula: "p(differs), Holm < 0.05",
        source: HOLM,
        caveat: "Not told from zero is not shown to be alike, and a difference from zero may be too small to matter: the margin says.",
        ..Figure::PLAIN
    },
    Figure {
        id: "contrasts.seconds_half95_percent",
        label: "difference, 95 % of the seconds",
        unit: "points",
        decimals: 2,
        definition: "What the scatter of the blocks' seconds alone leaves open of the difference, half-width of 95 % limits. Few pairs may agree better than that by luck: then this is what to reckon with.",
        formula: "1.96 √(Σ(u_A² + u_B²))/n",
        source: "JCGM 100:2008, 5.1.2",
        caveat: "Without repeatability: nothing of other days, other mountings.",
        ..Figure::PLAIN
    },
    Figure {
        id: "contrasts.n",
        label: "pairs",
        definition: "Paired blocks behind a contrast: questions that both sides answer.",
        source: "counted",
        ..Figure::PLAIN
    },
    Figure {
        id: "contrasts.basis",
        label: "rests on",
        definition: "What the limits rest on: rides (means of rides, each side with its own spread), repeats (means of rides, with the spread of repeated rides of any value), pairs (scatter of the pairs, where no side repeats), seconds (of a single pair).",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "ladder.reach_percent",
        label: "|b| + U",
        unit: "%",
        decimals: 2,
        definition: "Largest size that the error of a unit's blocks may have: bias and expanded uncertainty, for whatever loss nobody stated.",
        formula: "max over blocks of |b| + U",
        source: "ILAC-G8:09/2019 (guard band w = U)",
        ..Figure::PLAIN
    },
    Figure {
        id: "ladder.keeps",
        label: "keeps",
        definition: "The strictest of 1 %, the claim, 5 % (medical ergometers, PTB) and 10 % (EN 957-5 class A, second-hand) that every block of the unit keeps. The last two are about other machines (roller stands are outside the scope of EN 957-5): by analogy.",
        formula: "least T with |b| + U ≤ T in every block",
        source: "ILAC-G8:09/2019; the limits: see there",
        caveat: "By the widest of U: known masses on the references or more blocks may lead to a stricter one.",
        ..Figure::PLAIN
    },
    Figure {
        id: "matrix.units",
        label: "questions by unit",
        definition: "What each unit (value of the fact grouped by, else session) answers to a tester's questions: the answer of its worst ride, with the number that decides.",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "groups.precision.repeatability_sd",
        label: "s_r",
        unit: "%",
        decimals: 2,
        definition: "Repeatability: standard deviation of blocks within a ride.",
        formula: "√(mean square within)",
        source: "ISO 5725-2 (one-way random effects)",
        ..Figure::PLAIN
    },
    Figure {
        id: "groups.precision.between_session_sd",
        label: "s_L",
        unit: "%",
        decimals: 2,
        definition: "Standard deviation between rides, scatter within them taken off.",
        formula: "√((mean square between − mean square within)/n̄)",
        source: "ISO 5725-2, 7.4.5",
        ..Figure::PLAIN
    },
    Figure {
        id: "groups.precision.reproducibility_sd",
        label: "s_R",
        unit: "%",
        decimals: 2,
        definition: "Reproducibility: standard deviation of one block on another day.",
        formula: "√(s_r² + s_L²)",
        source: "ISO 5725-2",
        ..Figure::PLAIN
    },
];
