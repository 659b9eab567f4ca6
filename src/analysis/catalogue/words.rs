//! The words of the vocabulary.

use crate::analysis::figure::Figure;
use crate::session::Kind;

const VOCABULARY: &str = "this program's vocabulary";
const DECISION: &str = "ILAC-G8:09/2019 (guard band w = U)";
const ISO_5725: &str = "ISO 5725-1";

/// The kinds of segment.
pub const KINDS: [Figure; Kind::ALL.len()] = {
    let mut words = [Figure::PLAIN; Kind::ALL.len()];
    let mut index = 0;
    while index < words.len() {
        let kind = Kind::ALL[index].spec();
        words[index] = Figure {
            id: kind.word,
            label: kind.word,
            definition: kind.definition,
            source: VOCABULARY,
            ..Figure::PLAIN
        };
        index += 1;
    }
    words
};

/// What the short table alone has: a row a segment and source.
pub const ROW: [Figure; 5] = [
    Figure {
        id: "segment_id",
        label: "no.",
        definition: "Number of the segment, in order of time.",
        source: VOCABULARY,
        ..Figure::PLAIN
    },
    Figure {
        id: "source_mean_w",
        label: "source",
        unit: "W",
        definition: "Mean of the source over the seconds that both have.",
        source: VOCABULARY,
        ..Figure::PLAIN
    },
    Figure {
        id: "delivered_mean_w",
        label: "delivered",
        unit: "W",
        definition: "Mean of the reference over the same seconds, less the drivetrain loss expected between the sites.",
        source: VOCABULARY,
        ..Figure::PLAIN
    },
    Figure {
        id: "finding",
        label: "answer",
        definition: "fine, fault or cannot-tell, by the question that the kind is ridden for; empty where the segment has no part in the answer.",
        source: VOCABULARY,
        ..Figure::PLAIN
    },
    Figure {
        id: "result",
        label: "result",
        definition: "What the kind itself is measured by, in words.",
        source: VOCABULARY,
        ..Figure::PLAIN
    },
];

/// Each other word as a tester meets it.
pub const WORDS: &[Figure] = &[
    Figure {
        id: "session",
        label: "session",
        definition: "A folder with session.toml and the recordings it refers to.",
        source: VOCABULARY,
        ..Figure::PLAIN
    },
    Figure {
        id: "recording",
        label: "recording",
        definition: "One file that one recorder wrote.",
        source: VOCABULARY,
        ..Figure::PLAIN
    },
    Figure {
        id: "stream",
        label: "stream",
        definition: "One device's series of samples inside a recording.",
        source: VOCABULARY,
        ..Figure::PLAIN
    },
    Figure {
        id: "site",
        label: "site",
        definition: "Where power is measured, in order along the drivetrain: pedal, crank, hub, trainer.",
        source: VOCABULARY,
        ..Figure::PLAIN
    },
    Figure {
        id: "session time",
        label: "session time",
        definition: "Seconds since the first sample of the first stream.",
        source: VOCABULARY,
        ..Figure::PLAIN
    },
    Figure {
        id: "length",
        label: "length",
        unit: "s",
        definition: "Time from the start of a segment to its end.",
        source: VOCABULARY,
        ..Figure::PLAIN
    },
    Figure {
        id: "against",
        label: "against",
        definition: "What a source under test is compared with: a reference, or the consensus of the references.",
        source: VOCABULARY,
        ..Figure::PLAIN
    },
    Figure {
        id: "window",
        label: "window",
        definition: "What is brushed now.",
        source: VOCABULARY,
        ..Figure::PLAIN
    },
    Figure {
        id: "segment",
        label: "segment",
        definition: "A window kept, with a kind, and where it applies a set point and a note.",
        source: VOCABULARY,
        ..Figure::PLAIN
    },
    Figure {
        id: "claim",
        label: "claim",
        definition: "The accuracy a maker states: ± % of reading or ± W, whichever is larger.",
        source: VOCABULARY,
        ..Figure::PLAIN
    },
    Figure {
        id: "allowance",
        label: "allowance",
        definition: "The drivetrain loss expected between the references' site and the site under test, % ± half-width. The reference is carried over by it, and the half-width enters the uncertainty as a/√3.",
        source: "JCGM 100:2008, 4.3.7",
        ..Figure::PLAIN
    },
    Figure {
        id: "consensus",
        label: "consensus",
        definition: "The mean of the references at each second in which two or more have a value and do not contradict each other outright.",
        source: VOCABULARY,
        ..Figure::PLAIN
    },
    Figure {
        id: "trueness",
        label: "trueness",
        definition: "Closeness of a mean to the reference value; told by the bias.",
        source: ISO_5725,
        ..Figure::PLAIN
    },
    Figure {
        id: "precision",
        label: "precision",
        definition: "Closeness of repeated values to each other; told by standard deviations.",
        source: ISO_5725,
        ..Figure::PLAIN
    },
    Figure {
        id: "repeatability",
        label: "repeatability",
        definition: "Precision under the same conditions within a short time: here, within a session.",
        source: ISO_5725,
        ..Figure::PLAIN
    },
    Figure {
        id: "reproducibility",
        label: "reproducibility",
        definition: "Precision when the day, the rider or the set-up changes: here, from session to session.",
        source: ISO_5725,
        ..Figure::PLAIN
    },
    Figure {
        id: "conforms",
        label: "conforms",
        definition: "Verdict: the bias with its expanded uncertainty lies inside the limit, |b| + U ≤ T.",
        source: DECISION,
        ..Figure::PLAIN
    },
    Figure {
        id: "does-not-conform",
        label: "does-not-conform",
        definition: "Verdict: the bias with its expanded uncertainty lies outside the limit, |b| − U > T.",
        source: DECISION,
        ..Figure::PLAIN
    },
    Figure {
        id: "inconclusive",
        label: "inconclusive",
        definition: "Verdict: the evidence cannot tell; the reasons say what would.",
        source: DECISION,
        ..Figure::PLAIN
    },
    Figure {
        id: "references-disagree",
        label: "references-disagree",
        definition: "Verdict withheld: two references contradict each other, |E_n| > 1.",
        source: "ISO 13528",
        ..Figure::PLAIN
    },
    Figure {
        id: "not-applicable",
        label: "not-applicable",
        definition: "No verdict: a claim of accuracy is not tested by this kind of segment, or there is no claim or reference.",
        source: VOCABULARY,
        ..Figure::PLAIN
    },
    Figure {
        id: "net bias",
        label: "net bias",
        definition: "The bias less the expected drivetrain loss: against what the references let expect at the site under test. The verdict is on it.",
        source: VOCABULARY,
        ..Figure::PLAIN
    },
    Figure {
        id: "effective n",
        label: "effective n",
        definition: "How many independent seconds the seconds of a window are worth for their mean, given how each resembles the one before (n_effective).",
        source: "Bayley & Hammersley 1946",
        ..Figure::PLAIN
    },
    Figure {
        id: "error curve",
        label: "error curve",
        definition: "The error of a source against power over all blocks of held power, with one decision on its claim: it conforms where every block does, or where a smooth curve and every block agree within the claim; it does not where a block or the mean of all is beyond it at a joint risk of 2.5 %. Between the powers ridden nothing was measured.",
        source: VOCABULARY,
        ..Figure::PLAIN
    },
    Figure {
        id: "probability inside",
        label: "probability inside",
        definition: "Conformance probability: how likely the true bias lies inside the limit, given the measured one and its uncertainty.",
        source: "JCGM 106:2012, 7.3",
        ..Figure::PLAIN
    },
    Figure {
        id: "never aligned",
        label: "never aligned",
        definition: "Of a stream: nobody has set its clock against session time, so its figures may compare different seconds.",
        source: VOCABULARY,
        ..Figure::PLAIN
    },
];
