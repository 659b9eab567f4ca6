//! What a segment can be, and all that is to be known of each kind before anything is computed.

use serde::{Deserialize, Serialize};

/// A kind of segment: what plans, verdicts, reports and screens go by. What is computed of it stands
/// in `analysis/kinds/`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct KindSpec {
    /// The word used in files, commands and screens.
    pub word: &'static str,
    /// The word and what it is, for a menu.
    pub menu: &'static str,
    /// What it is, in a sentence for the vocabulary.
    pub definition: &'static str,
    /// What it is there to answer; `None` for a stretch that asks for nothing.
    pub question: Option<&'static str>,
    /// The question of a tester that it is ridden for, by its key; empty where there is none.
    pub answer: &'static str,
    /// Whether a claim of accuracy is tested with it: it asks for power to be held.
    pub tests_claim: bool,
    /// Whether what is held needs a while to settle, which a careful tester leaves out.
    pub settles: bool,
    /// What a phase of a plan has to ask for.
    pub asks: Asks,
    /// The picture that shows what it asks about, by its word in `truing figure`.
    pub picture: &'static str,
}

/// What a phase of a plan has to ask for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Asks {
    /// A set point.
    SetPoint,
    /// A set point before and after an effort with a peak.
    Effort,
    /// A line from one power to another, or levels.
    Levels,
    /// A set point in several gears.
    Gears,
    /// Gradients.
    Grades,
    /// A set point or a line.
    HoldOrLine,
    /// Nothing: nobody pedals.
    Nothing,
}

macro_rules! kinds {
    ($($kind:ident, $word:literal, $meaning:literal $(, $more:literal)? => $spec:expr;)+) => {
        /// What a segment is.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
        #[serde(rename_all = "kebab-case")]
        pub enum Kind {
            $(#[doc = concat!("It is ", $meaning, ".")] $kind),+
        }

        impl Kind {
            /// Every kind, in the order of the design.
            pub const ALL: &'static [Kind] = &[$(Kind::$kind),+];

            /// All that is to be known of it.
            pub const fn spec(self) -> &'static KindSpec {
                match self {
                    $(Kind::$kind => &KindSpec {
                        word: $word,
                        menu: concat!($word, ": ", $meaning),
                        definition: concat!("A kind of segment: ", $meaning, "." $(, " ", $more)?),
                        ..$spec
                    }),+
                }
            }
        }
    };
}

const PLAIN: KindSpec = KindSpec {
    word: "",
    menu: "",
    definition: "",
    question: None,
    answer: "",
    tests_claim: false,
    settles: false,
    asks: Asks::SetPoint,
    picture: "traces",
};

kinds! {
    SteadyBlock, "steady-block", "constant power at a set point" => KindSpec {
        question: Some("whether the claim holds"),
        answer: "accuracy",
        tests_claim: true,
        settles: true,
        picture: "difference",
        ..PLAIN
    };
    Sprint, "sprint", "a short maximal effort", "Maximal efforts can hurt: warm up, stop when unwell, and ask a physician first if in doubt." => KindSpec {
        question: Some("how late, how blunted and where clipped a sprint is reported"),
        answer: "sprint",
        asks: Asks::Effort,
        picture: "response",
        ..PLAIN
    };
    Ramp, "ramp", "steps, or a steady rise or fall of power" => KindSpec {
        question: Some("how a change of power is followed"),
        answer: "follow",
        asks: Asks::Levels,
        picture: "response",
        ..PLAIN
    };
    GearChange, "gear-change", "shifts at a constant set point" => KindSpec {
        question: Some("whether the bias moves with the gear"),
        answer: "gear",
        settles: true,
        asks: Asks::Gears,
        picture: "gears",
        ..PLAIN
    };
    Coast, "coast", "nobody pedals" => KindSpec {
        question: Some("what is reported while nobody pedals"),
        answer: "phantom",
        asks: Asks::Nothing,
        picture: "coast",
        ..PLAIN
    };
    HeatSoak, "heat-soak", "a long block while the source warms up" => KindSpec {
        question: Some("whether the bias drifts as the unit warms"),
        answer: "heat",
        tests_claim: true,
        settles: true,
        picture: "heat-soak",
        ..PLAIN
    };
    Slope, "slope", "plateaus of a simulated gradient" => KindSpec {
        question: Some("how much of the gradient asked for arrives, and when"),
        answer: "gradient",
        asks: Asks::Grades,
        picture: "gradient",
        ..PLAIN
    };
    Open, "open", "none of the others", "It asks for nothing, so it carries figures and no verdict, and counts in no headline." => KindSpec {
        asks: Asks::HoldOrLine,
        picture: "difference",
        ..PLAIN
    };
}

impl Kind {
    /// The word used in files, commands and screens.
    pub const fn word(self) -> &'static str {
        self.spec().word
    }

    /// Whether bias and noise say something of it: where a claim is tested, and where nothing is
    /// asked. Where power jumps by design, a lag passes for both.
    pub const fn tells_bias(self) -> bool {
        self.spec().tests_claim || self.spec().question.is_none()
    }
}

impl std::fmt::Display for Kind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.pad(self.word())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_word_is_what_stands_in_the_file() {
        for kind in Kind::ALL {
            assert_eq!(serde_json::to_value(kind).unwrap(), kind.word());
        }
    }
}
