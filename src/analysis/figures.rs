//! The results as plain data. Serialised, they are the JSON of `truing table`; the field names are
//! a promise. `None` (JSON null) means that the figure does not apply or cannot be told; a
//! non-finite number is never stored.

use crate::analysis::figure::{Figure, OURS, TRADE};
use serde::Serialize;

use crate::analysis::agreement::Agreement;
use crate::analysis::grubbs::NoisyOne;
use crate::analysis::kinds::ByKind;
use crate::analysis::kinds::cadence::CadenceAgreement;
use crate::analysis::verdict::figures::Verdict;
use crate::analysis::verdict::references::References;
use crate::session::Kind;

/// All figures of one segment (or of the window, while it is brushed).
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SegmentFigures {
    /// Position among the segments, counted from 1.
    pub id: usize,
    /// Kind.
    pub kind: Kind,
    /// Start, session time, s.
    pub from_s: f64,
    /// End, session time, s.
    pub to_s: f64,
    /// Set point, W.
    pub set_point_w: Option<f64>,
    /// The tester's note.
    pub note: String,
    /// One entry a stream that carries power.
    pub streams: Vec<StreamFigures>,
    /// One entry a pair of under test and reference, then one a source under test against the
    /// consensus (where there are two references or more).
    pub agreement: Vec<Agreement>,
    /// Whether the references agree with each other.
    pub references: Option<References>,
    /// The claim against the evidence; of the first source under test.
    pub verdict: Option<Verdict>,
    /// The same for further sources under test.
    pub further_verdicts: Vec<Verdict>,
    /// Which stream is the noisy one, where there are three or more.
    pub noise: Option<NoisyOne>,
    /// What only its kind has.
    #[serde(flatten)]
    pub of_kind: ByKind,
    /// Cadence of each pair that carries it.
    pub cadence: Vec<CadenceAgreement>,
}

impl SegmentFigures {
    /// A segment without a figure yet.
    pub fn bare(id: usize, kind: Kind, from_s: f64, to_s: f64) -> Self {
        Self {
            id,
            kind,
            from_s,
            to_s,
            set_point_w: None,
            note: String::new(),
            streams: Vec::new(),
            agreement: Vec::new(),
            references: None,
            verdict: None,
            further_verdicts: Vec::new(),
            noise: None,
            of_kind: ByKind::default(),
            cadence: Vec::new(),
        }
    }
}

/// One stream's power in a window.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StreamFigures {
    /// Label.
    pub label: String,
    /// Grid seconds with a value.
    pub n: usize,
    /// Mean power, W.
    pub mean_w: Option<f64>,
    /// Standard deviation (n − 1), W.
    pub sd_w: Option<f64>,
    /// 1 s maximum, W.
    pub max_w: Option<f64>,
    /// Best mean over 5 s, W.
    pub best_5s_w: Option<f64>,
    /// Mean cadence, rpm.
    pub cadence_mean_rpm: Option<f64>,
}

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "segments.id",
        label: "segment",
        short: "#",
        definition: "Number of the segment, in order of time.",
        csv: Some("segment_id"),
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.kind",
        label: "kind",
        definition: "What the segment is, by one of the words for a kind of segment.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.from_s",
        label: "from",
        unit: "s",
        decimals: 1,
        definition: "Start, session time.",
        source: "as tagged",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.to_s",
        label: "to",
        unit: "s",
        decimals: 1,
        definition: "End, session time; the second that begins there is not included.",
        source: "as tagged",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.set_point_w",
        label: "set point",
        short: "set",
        unit: "W",
        definition: "The power that a controlled trainer was told to hold.",
        source: "as tagged",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.note",
        label: "note",
        definition: "The tester's note.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.streams.label",
        label: "stream",
        definition: "Name of the stream.",
        csv: Some(""),
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.streams.n",
        label: "n",
        unit: "s",
        definition: "Grid seconds with a power value.",
        source: "counted",
        caveat: "Missing seconds are left out: never zero, never bridged.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.streams.mean_w",
        label: "mean",
        unit: "W",
        decimals: 1,
        definition: "Mean power over the seconds with a value.",
        formula: "Σ P / n",
        source: "arithmetic mean",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.streams.sd_w",
        label: "SD",
        unit: "W",
        definition: "Standard deviation of the seconds.",
        formula: "√(Σ (P − P̄)²/(n − 1))",
        source: "textbook; checked against NIST StRD",
        caveat: "Scatter of the ride and of the meter together.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.streams.max_w",
        label: "1 s maximum",
        short: "max",
        unit: "W",
        definition: "Highest single second, unsmoothed.",
        formula: "max P",
        source: OURS,
        caveat: "A single spike is enough.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.streams.best_5s_w",
        label: "best 5 s",
        unit: "W",
        definition: "Highest mean over 5 s.",
        formula: "max over windows of the mean",
        source: TRADE,
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.streams.cadence_mean_rpm",
        label: "cadence",
        unit: "rpm",
        decimals: 1,
        definition: "Mean cadence of the stream.",
        formula: "Σ cadence / n",
        source: "arithmetic mean",
        caveat: "Equal means prove little: see the spread of the differences.",
        ..Figure::PLAIN
    },
];
