//! Why a verdict is what it is, as data: the sentence comes from `Display`, what would settle the
//! verdict from [`Reason::remedy`], so that nobody has to read the one to know the other.

use std::fmt;

use serde::{Serialize, Serializer};

use super::conformity::{self, GOOD_SECONDS, LengthNeeded, MIN_SECONDS, Outcome};
use crate::analysis::agreement::PERCENT_FROM_W;
use crate::analysis::pair_noise::{ENOUGH_S, LONG_ENOUGH_S};
use crate::session::{Allowance, Kind, Site};

/// Longest block to suggest, s.
const LONGEST_PROPOSED_S: f64 = 3600.0;

/// Suggested lengths are multiples of this, s.
const PROPOSED_STEP_S: f64 = 30.0;

/// The unit that a verdict is reached in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Of what the reference reads, carried to the site under test.
    Percent,
    /// Where a percentage says nothing.
    Watts,
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Unit::Percent => "%",
            Unit::Watts => "W",
        })
    }
}

/// An expanded uncertainty and the coverage factor in it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expanded {
    /// U, in the unit of the verdict.
    pub expanded: f64,
    /// k.
    pub factor: f64,
}

/// One reason of a verdict. In JSON it is its sentence.
#[derive(Clone, Debug, PartialEq)]
pub enum Reason {
    /// Segments of this kind do not test a claim of accuracy.
    OtherKind(Kind),
    /// A stretch of this kind asks for nothing to be held.
    NothingHeld(Kind),
    /// The ride holds too little to learn its noise from.
    ShortRide,
    /// There is nothing to hold the bias against.
    NoClaim,
    /// There is nothing to compare with.
    NoReference,
    /// The two have no second in common.
    NothingInCommon {
        /// Label of the source under test.
        under_test: String,
        /// Label of the reference.
        reference: String,
    },
    /// The references differ by more than their claims allow.
    Disagreement {
        /// Which two.
        pair: Option<[String; 2]>,
        /// By how much, % of their mean.
        difference_percent: Option<f64>,
        /// E_n of the two (ISO 13528).
        en_number: Option<f64>,
    },
    /// The bias, its uncertainty and the limit.
    Bias {
        /// Whether an allowance is taken off.
        net: bool,
        /// The bias, in `unit`.
        bias: f64,
        /// The limit, in `unit`.
        limit: f64,
        /// Its uncertainty; `None` where it cannot be told.
        uncertainty: Option<Expanded>,
        /// Unit of the three.
        unit: Unit,
        /// What was decided.
        outcome: Outcome,
    },
    /// The level is too low for a percentage.
    LowLevel,
    /// There is no scatter at all against this reference.
    Copied {
        /// Its label.
        reference: String,
    },
    /// These references state no claim.
    Unstated(Vec<String>),
    /// These two references are one meter.
    OneMeter([String; 2]),
    /// There are too few seconds with both values.
    TooShort {
        /// How many there are.
        n: usize,
        /// What would still stand in the way of a decision.
        beyond: Option<Length>,
    },
    /// What length would do.
    Length(Length),
    /// Seconds left out because a stream froze or read a false zero.
    LeftOut(usize),
    /// Share of the seconds that lack a value on one side, %.
    Missing(f64),
    /// A chain lies between the sites, and nobody has stated what it takes.
    LossUnstated {
        /// Label of the source under test.
        under_test: String,
        /// Where it measures.
        site: Site,
        /// Where a reference measures.
        other: Site,
        /// Whether the answer depends on it.
        turns: bool,
    },
    /// A loss is allowed for between equal sites.
    LossNeedless(Allowance),
    /// The references could not be tested against each other, and why.
    Untested(String),
    /// One of several references stands alone.
    Alone {
        /// Its label.
        label: String,
        /// Whether another one was there and contradicted it.
        contested: bool,
    },
    /// Something that no reference shows is in the bias.
    Excursion {
        /// Label of the source under test.
        under_test: String,
        /// For how long, s.
        seconds: f64,
        /// Up to what, W.
        peak_w: f64,
    },
}

/// Whether more seconds would decide.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Length {
    /// A block of this length would, s.
    Block(f64),
    /// More than an hour would.
    OverAnHour,
    /// No length would: this is left of the uncertainty, and more than the distance to the limit.
    None {
        /// Expanded uncertainty that does not shrink with time.
        rest: f64,
        /// Its unit.
        unit: Unit,
        /// Whether an allowance is part of it.
        allowance: bool,
    },
}

impl Length {
    /// Of what `n` seconds would have to become.
    pub fn of(needed: LengthNeeded, n: usize, unit: Unit, allowance: bool) -> Self {
        match needed {
            LengthNeeded::Seconds(s) if s <= LONGEST_PROPOSED_S => {
                let steps = (s.max(n as f64 + 1.0) / PROPOSED_STEP_S).ceil();
                Length::Block(steps * PROPOSED_STEP_S)
            }
            LengthNeeded::Seconds(_) => Length::OverAnHour,
            LengthNeeded::NoLength(rest) => Length::None {
                rest,
                unit,
                allowance,
            },
        }
    }

    fn remedy(self) -> Remedy {
        match self {
            Length::Block(seconds) => Remedy::Block(seconds),
            Length::OverAnHour => Remedy::Nothing,
            Length::None {
                rest,
                unit,
                allowance,
            } => Remedy::BetterReferences {
                rest,
                unit,
                allowance,
            },
        }
    }
}

/// What would settle an open verdict.
#[derive(Clone, Debug, PartialEq)]
pub enum Remedy {
    /// A block of this length, s.
    Block(f64),
    /// A claim for each of these references, or none of them as a reference.
    Claims(Vec<String>),
    /// Two meters where there is one: the two streams that are one.
    AnotherMeter([String; 2]),
    /// References with tighter claims, or more of them.
    BetterReferences {
        /// What their claims leave of the expanded uncertainty.
        rest: f64,
        /// Its unit.
        unit: Unit,
        /// Whether an allowance is part of it.
        allowance: bool,
    },
    /// A look at which of the references is wrong.
    WrongReference,
    /// What the drivetrain takes, stated.
    StateLoss,
    /// Nothing within an hour: the bias is too near the limit.
    Nothing,
}

impl Reason {
    /// What would take this reason out of the way, where it keeps a verdict from being decided.
    pub fn remedy(&self) -> Option<Remedy> {
        match self {
            Reason::Disagreement { .. } => Some(Remedy::WrongReference),
            Reason::NothingInCommon { .. } => Some(Remedy::Block(GOOD_SECONDS as f64)),
            Reason::Unstated(labels) => Some(Remedy::Claims(labels.clone())),
            Reason::OneMeter(pair) => Some(Remedy::AnotherMeter(pair.clone())),
            Reason::Copied { reference } => Some(Remedy::AnotherMeter([
                "the source under test".to_owned(),
                reference.clone(),
            ])),
            Reason::TooShort { beyond, .. } => Some(match beyond {
                Some(Length::Block(seconds)) => Remedy::Block(seconds.max(GOOD_SECONDS as f64)),
                Some(other) => other.remedy(),
                None => Remedy::Block(GOOD_SECONDS as f64),
            }),
            Reason::Length(length) => Some(length.remedy()),
            Reason::LossUnstated { turns: true, .. } => Some(Remedy::StateLoss),
            _ => None,
        }
    }
}

impl Serialize for Reason {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Reason::OtherKind(kind) => write!(
                f,
                "a {kind} is judged by its own figures; a claim of accuracy is tested on blocks of held power"
            ),
            Reason::NothingHeld(kind) => write!(
                f,
                "an {kind} stretch asks for nothing to be held: it has a bias and no verdict; to have \
                 a claim judged, tag what was held as a steady block"
            ),
            Reason::ShortRide => write!(
                f,
                "the ride holds less than {:.0} min at levels kept, or none of {:.0} min, to learn its \
                 noise from: the interval is on the wide side",
                ENOUGH_S / 60.0,
                LONG_ENOUGH_S / 60.0
            ),
            Reason::NoClaim => f.write_str(
                "no claim is stated: give `percent` or `watts` under [claim] in session.toml",
            ),
            Reason::NoReference => {
                f.write_str("no reference carries power, so there is nothing to compare with")
            }
            Reason::NothingInCommon {
                under_test,
                reference,
            } => write!(
                f,
                "there is no second in which {under_test} and {reference} both have a value"
            ),
            Reason::Disagreement {
                pair,
                difference_percent,
                en_number,
            } => disagreement(f, pair.as_ref(), *difference_percent, *en_number),
            Reason::Bias {
                net,
                bias,
                limit,
                uncertainty,
                unit,
                outcome,
            } => {
                // Not the bias that the rows of agreement show.
                let net = if *net { "net " } else { "" };
                write!(f, "{net}bias {bias:+.2} {unit}")?;
                position(f, *bias, *limit, *uncertainty, *unit, *outcome)
            }
            Reason::LowLevel => write!(
                f,
                "the reference reads under {PERCENT_FROM_W:.0} W on average, where a percentage \
                 says nothing: this is judged in W"
            ),
            Reason::Copied { reference } => write!(
                f,
                "every second stands to {reference} in the same way: no two meters do, so nothing \
                 is decided; look whether one file is a copy of the other, or both read nought \
                 throughout"
            ),
            Reason::Unstated(labels) => {
                let each = if labels.len() > 1 { "each" } else { "it" };
                write!(
                    f,
                    "no claim is stated for {}, so the uncertainty above is too small and nothing \
                     can be decided: give claim_percent to {each}, or make {each} a context stream",
                    labels.join(" and "),
                )
            }
            Reason::OneMeter([one, other]) => write!(
                f,
                "{one} and {other} report the same power second by second: that is one meter \
                 recorded twice, no two references, so the uncertainty above is too small and \
                 nothing is decided: make one of them a context stream"
            ),
            Reason::TooShort { n, .. } => write!(
                f,
                "only {n} s with both values: a verdict takes at least {MIN_SECONDS} s, better \
                 {GOOD_SECONDS} s"
            ),
            Reason::Length(length) => write!(f, "{length}"),
            Reason::LeftOut(rows) => write!(
                f,
                "{rows} s in which a stream froze or read zero while the others did not are left \
                 out"
            ),
            Reason::Missing(percent) => write!(
                f,
                "{percent:.0} % of the seconds lack a value on one side and are left out"
            ),
            Reason::LossUnstated {
                under_test,
                site,
                other,
                turns,
            } => {
                let what = if *turns {
                    "the answer depends on it"
                } else {
                    "the answer is the same for each of them, but the bias above holds it"
                };
                write!(
                    f,
                    "{under_test} measures at the {site}, a reference at the {other}, and the loss \
                     of the chain between them is not stated; it may be 0 to 4 %, and {what}: \
                     state it under [allowance] (2 ± 1 % is usual)"
                )
            }
            Reason::LossNeedless(allowance) => write!(
                f,
                "an allowance of {} ± {} % is applied although the references measure at the same \
                 site",
                allowance.percent, allowance.plus_minus
            ),
            Reason::Untested(why) => f.write_str(why),
            // Where another reference was there all the same, it contradicted this one.
            Reason::Alone {
                label,
                contested: true,
            } => write!(
                f,
                "for most of this stretch the references contradict each other, so {label} alone \
                 is compared: find out which one is wrong before judging"
            ),
            Reason::Alone { label, .. } => write!(
                f,
                "for most of this stretch only {label} has values, so it alone is the reference"
            ),
            Reason::Excursion {
                under_test,
                seconds,
                peak_w,
            } => write!(
                f,
                "{seconds:.0} s in which {under_test} reports what no reference shows (up to \
                 {peak_w:+.0} W) are in the bias"
            ),
        }
    }
}

fn disagreement(
    f: &mut fmt::Formatter<'_>,
    pair: Option<&[String; 2]>,
    difference_percent: Option<f64>,
    en_number: Option<f64>,
) -> fmt::Result {
    match pair {
        Some([one, other]) => write!(f, "{one} and {other} differ")?,
        None => f.write_str("the references differ")?,
    }
    if let Some(percent) = difference_percent {
        write!(f, " by {:.1} %", percent.abs())?;
    }
    f.write_str(", more than their claims allow")?;
    if let Some(en) = en_number {
        write!(f, " (|E_n| {:.2})", en.abs())?;
    }
    f.write_str(": find out which one is wrong before judging")
}

/// Where a bias with this uncertainty lies to a limit.
fn position(
    f: &mut fmt::Formatter<'_>,
    bias: f64,
    limit: f64,
    uncertainty: Option<Expanded>,
    unit: Unit,
    outcome: Outcome,
) -> fmt::Result {
    let Some(Expanded { expanded, factor }) = uncertainty else {
        return f.write_str(", but its uncertainty cannot be told from so few seconds");
    };
    write!(f, " ± {expanded:.2} {unit} (k = {factor:.2})")?;
    let what = match outcome {
        Outcome::NotApplicable => return Ok(()),
        Outcome::Conforms => "lies inside the limit of",
        Outcome::DoesNotConform => "lies outside the limit of",
        _ if conformity::decide(bias, expanded, limit) == Outcome::Inconclusive => {
            "reaches across the limit of"
        }
        _ if bias.abs() <= limit => "would lie inside the limit of",
        _ => "would lie outside the limit of",
    };
    write!(f, " {what} ±{limit:.2} {unit}")
}

impl fmt::Display for Length {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Length::Block(seconds) => write!(
                f,
                "a block of about {seconds:.0} s at this scatter would do, if the bias stays"
            ),
            Length::OverAnHour => f.write_str(
                "it would take more than an hour at this scatter: the bias is too close to the limit",
            ),
            Length::None {
                rest,
                unit,
                allowance,
            } => write!(
                f,
                "no longer block would do: {} alone leave ±{rest:.2} {unit}; references with a \
                 tighter claim or checked with known masses, or more of them, would",
                what_is_left(*allowance)
            ),
        }
    }
}

/// What does not shrink with time, in words.
const fn what_is_left(allowance: bool) -> &'static str {
    if allowance {
        "the references and the allowance"
    } else {
        "the references"
    }
}

impl fmt::Display for Remedy {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Remedy::Block(seconds) => write!(
                f,
                "a block of about {:.0} min would decide, at the same bias and scatter",
                (seconds / 60.0).ceil()
            ),
            Remedy::Claims(labels) => write!(
                f,
                "no length decides while no claim is stated for {}: state one, or make {} a \
                 context stream",
                labels.join(" and "),
                if labels.len() > 1 { "each" } else { "it" }
            ),
            Remedy::AnotherMeter([one, other]) => write!(
                f,
                "no length decides while {one} and {other} are one meter recorded twice: compare \
                 with another meter"
            ),
            Remedy::BetterReferences {
                rest,
                unit,
                allowance,
            } => write!(
                f,
                "no length would decide: {} alone leave ±{rest:.2} {unit}; references with a \
                 tighter claim or checked with known masses, or more of them, would",
                what_is_left(*allowance)
            ),
            Remedy::WrongReference => {
                f.write_str("find out which of the references is wrong first")
            }
            Remedy::StateLoss => f.write_str(
                "no length decides while the drivetrain's loss is not stated: state it under [allowance]",
            ),
            Remedy::Nothing => {
                f.write_str("the bias lies so near the limit that not even an hour would decide")
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_no_length_mends_asks_for_none() {
        let unstated = Reason::Unstated(vec!["crank".to_owned()]);
        assert_eq!(
            unstated.remedy(),
            Some(Remedy::Claims(vec!["crank".to_owned()]))
        );
        assert!(unstated.to_string().contains("give claim_percent to it"));
        assert_eq!(Reason::LeftOut(3).remedy(), None);
        let none = Length::None {
            rest: 1.125,
            unit: Unit::Percent,
            allowance: true,
        };
        let short = Reason::TooShort {
            n: 40,
            beyond: Some(none),
        };
        let reported = short.remedy().unwrap().to_string();
        assert!(
            reported.contains("and the allowance alone leave ±1.12 %"),
            "{reported}"
        );
    }

    #[test]
    fn a_proposed_length_is_longer_than_what_was_ridden_and_round() {
        let length =
            |seconds, n| Length::of(LengthNeeded::Seconds(seconds), n, Unit::Percent, false);
        assert_eq!(length(61.0, 300), Length::Block(330.0));
        assert_eq!(length(610.0, 300), Length::Block(630.0));
        assert_eq!(length(4000.0, 300), Length::OverAnHour);
        let short = Reason::TooShort {
            n: 20,
            beyond: Some(Length::Block(60.0)),
        };
        assert_eq!(short.remedy(), Some(Remedy::Block(120.0)));
    }

    #[test]
    fn a_reason_is_its_sentence_in_json() {
        let json = serde_json::to_string(&[Reason::NoClaim]).unwrap();
        assert_eq!(json, format!("[\"{}\"]", Reason::NoClaim));
    }
}
