//! Entries for the words of the vocabulary.

use super::entry::{Entry, figure};

const fn word(id: &'static str, text: &'static str, source: &'static str) -> Entry {
    figure(id, id, "", 0, [text, "", source, ""])
}

const OURS: &str = "this program's vocabulary";
const ISO_5725: &str = "ISO 5725-1";
const DECISION: &str = "ILAC-G8:09/2019 (guard band w = U)";

pub(super) const ENTRIES: &[Entry] = &[
    word(
        "session",
        "A folder with session.toml and the recordings it refers to.",
        OURS,
    ),
    word("recording", "One file that one recorder wrote.", OURS),
    word(
        "stream",
        "One device's series of samples inside a recording.",
        OURS,
    ),
    word(
        "site",
        "Where power is measured, in order along the drivetrain: pedal, crank, hub, trainer.",
        OURS,
    ),
    word(
        "session time",
        "Seconds since the first sample of the first stream.",
        OURS,
    ),
    word("window", "What is brushed now.", OURS),
    word(
        "segment",
        "A window kept, with a kind, and where it applies a set point and a note.",
        OURS,
    ),
    word(
        "steady-block",
        "A kind of segment: power held at a set point.",
        OURS,
    ),
    word(
        "sprint",
        "A kind of segment: a short maximal effort. Maximal efforts can hurt: warm up, stop when unwell, and ask a physician first if in doubt.",
        OURS,
    ),
    word(
        "ramp",
        "A kind of segment: steps, or a steady rise or fall of power.",
        OURS,
    ),
    word(
        "gear-change",
        "A kind of segment: shifts at a constant set point.",
        OURS,
    ),
    word("coast", "A kind of segment: nobody pedals.", OURS),
    word(
        "heat-soak",
        "A kind of segment: a long block during which the source warms up.",
        OURS,
    ),
    word(
        "open",
        "A kind of segment: none of the others. It asks for nothing, so it carries figures and no verdict, and counts in no headline.",
        OURS,
    ),
    word(
        "claim",
        "The accuracy a maker states: ± % of reading or ± W, whichever is larger.",
        OURS,
    ),
    word(
        "allowance",
        "The drivetrain loss expected between the references' site and the site under test, % ± half-width. The reference is carried over by it, and the half-width enters the uncertainty as a/√3.",
        "JCGM 100:2008, 4.3.7",
    ),
    word(
        "consensus",
        "The mean of the references at each second in which two or more have a value and do not contradict each other outright.",
        OURS,
    ),
    word(
        "trueness",
        "Closeness of a mean to the reference value; told by the bias.",
        ISO_5725,
    ),
    word(
        "precision",
        "Closeness of repeated values to each other; told by standard deviations.",
        ISO_5725,
    ),
    word(
        "repeatability",
        "Precision under the same conditions within a short time: here, within a session.",
        ISO_5725,
    ),
    word(
        "reproducibility",
        "Precision when the day, the rider or the set-up changes: here, from session to session.",
        ISO_5725,
    ),
    word(
        "conforms",
        "Verdict: the bias with its expanded uncertainty lies inside the limit, |b| + U ≤ T.",
        DECISION,
    ),
    word(
        "does-not-conform",
        "Verdict: the bias with its expanded uncertainty lies outside the limit, |b| − U > T.",
        DECISION,
    ),
    word(
        "inconclusive",
        "Verdict: the evidence cannot tell; the reasons say what would.",
        DECISION,
    ),
    word(
        "references-disagree",
        "Verdict withheld: two references contradict each other, |E_n| > 1.",
        "ISO 13528",
    ),
    word(
        "not-applicable",
        "No verdict: a claim of accuracy is not tested by this kind of segment, or there is no claim or reference.",
        OURS,
    ),
    word(
        "net bias",
        "What is left of the bias after the allowance: against what the references let expect at the site under test. The verdict is on it.",
        OURS,
    ),
    word(
        "effective n",
        "How many independent seconds the seconds of a window are worth for their mean, given how each resembles the one before (n_effective).",
        "Bayley & Hammersley 1946",
    ),
    word(
        "error curve",
        "The error of a source against power over all blocks of held power, with one decision on its claim: it conforms where every block does, or where a smooth curve and every block agree within the claim; it does not where a block or the mean of all is beyond it at a joint risk of 2.5 %. Between the powers ridden nothing was measured.",
        OURS,
    ),
    word(
        "probability inside",
        "Conformance probability: how likely the true bias lies inside the limit, given the measured one and its uncertainty.",
        "JCGM 106:2012, 7.3",
    ),
    word(
        "never aligned",
        "Of a stream: nobody has set its clock against session time, so its figures may compare different seconds.",
        OURS,
    ),
];
