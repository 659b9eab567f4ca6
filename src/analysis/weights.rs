//! What is known of a reference from known masses: its scale, the uncertainty of that scale, and
//! whether the meter keeps its own claim.
//!
//! The uncertainty has two parts. What the masses, gravity, the crank's length and its level leave open
//! is the same for every meter on that crank; the scatter of the fit, hysteresis, mounting and the step
//! from standing to riding are the meter's own. Square roots of sums of squares (JCGM 100, 5.1.2).

use serde::Serialize;

use super::figure::{Figure, OURS};
use super::verdict::uncertainty::{KnownMasses, rectangular};
use crate::session::{Claim, KnownScale, Session, Stream};
use crate::stats::finite;

/// Half-width of the masses, % (as class M3 of OIML R 111 and kitchen scales allow some kilograms).
const MASS_PERCENT: f64 = 0.02;

/// A crank levelled by eye or by a bubble lies within this of level, degrees: cos θ is short by at
/// most 1 − cos θ.
const LEVEL_DEGREES: f64 = 3.0;

/// Half-width that a hysteresis that was not tested may have, % (judgement).
const UNTESTED_HYSTERESIS_PERCENT: f64 = 0.2;

/// What mounting a meter anew changes, standard uncertainty, % (judgement).
const MOUNTING_PERCENT: f64 = 0.15;

/// What a meter at rest says of one that turns, standard uncertainty, % (judgement).
const DYNAMIC_PERCENT: f64 = 0.20;

/// One line of the uncertainty of a scale.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ScaleLine {
    /// Where it comes from.
    pub source: &'static str,
    /// Standard uncertainty, %.
    pub standard_uncertainty_percent: f64,
    /// Whether every meter on that crank shares it.
    pub common: bool,
}

/// The uncertainty of a scale by known masses.
#[derive(Clone, Debug, PartialEq)]
pub struct ScaleUncertainty {
    /// Its lines.
    pub lines: Vec<ScaleLine>,
    /// Degrees of freedom of the meter's own part (Welch–Satterthwaite; only the fit has finite ones).
    pub own_dof: f64,
}

impl ScaleUncertainty {
    /// Of a scale.
    pub fn of(known: &KnownScale) -> Self {
        let line = |source, standard_uncertainty_percent, common| ScaleLine {
            source,
            standard_uncertainty_percent,
            common,
        };
        let length = 100.0 * known.crank_plus_minus_mm / known.crank_mm;
        let level = 100.0 * (1.0 - LEVEL_DEGREES.to_radians().cos());
        let fit = 100.0 * known.scale_se / known.scale;
        let hysteresis = known
            .hysteresis_percent
            .map_or(UNTESTED_HYSTERESIS_PERCENT, |percent| 0.5 * percent);
        let lines = vec![
            line("masses", rectangular(MASS_PERCENT), true),
            line(
                "gravity",
                rectangular(known.gravity_plus_minus_percent),
                true,
            ),
            line("crank length", rectangular(length), true),
            line("crank off level", rectangular(level), true),
            line("scatter of the readings", fit, false),
            line("hysteresis", rectangular(hysteresis), false),
            line("mounting (judgement)", MOUNTING_PERCENT, false),
            line("at rest to riding (judgement)", DYNAMIC_PERCENT, false),
        ];
        let mut out = Self {
            lines,
            own_dof: f64::INFINITY,
        };
        if fit > 0.0 {
            out.own_dof = known.dof * (out.own_percent() / fit).powi(4);
        }
        out
    }

    fn part(&self, common: bool) -> f64 {
        let part = self.lines.iter().filter(|line| line.common == common);
        part.map(|line| line.standard_uncertainty_percent.powi(2))
            .sum::<f64>()
            .sqrt()
    }

    /// What every meter on that crank shares, standard uncertainty, %.
    pub fn common_percent(&self) -> f64 {
        self.part(true)
    }

    /// What is the meter's own, standard uncertainty, %.
    pub fn own_percent(&self) -> f64 {
        self.part(false)
    }

    /// Both, %.
    pub fn percent(&self) -> f64 {
        self.common_percent().hypot(self.own_percent())
    }
}

/// What known masses leave open of the reference at `index`; `None` where they are not used.
pub fn known_masses(session: &Session, index: usize) -> Option<KnownMasses> {
    let known = session.streams.get(index)?.known_scale()?;
    let uncertainty = ScaleUncertainty::of(&known);
    Some(KnownMasses {
        crank: format!("{} mm crank", known.crank_mm),
        common_percent: uncertainty.common_percent(),
        own_percent: uncertainty.own_percent(),
        own_dof: uncertainty.own_dof,
    })
}

/// The check of one stream with known masses, as the table holds it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct WeightsCheck {
    /// Slope of the readings against the torque; the stream's power is divided by it.
    pub scale: Option<f64>,
    /// Standard uncertainty of the scale, %.
    pub scale_u_percent: Option<f64>,
    /// Reading without load, N·m.
    pub zero_nm: Option<f64>,
    /// Largest difference of up and down, % of the largest torque.
    pub hysteresis_percent: Option<f64>,
    /// Standard deviation of the residuals, N·m.
    pub residual_sd_nm: Option<f64>,
    /// E_n of the scale against the meter's own claim.
    pub en_number: Option<f64>,
    /// Whether the stream's power is divided by the scale.
    pub used: bool,
    /// What to make of it, in a sentence.
    pub note: String,
    /// The uncertainty of the scale, one line a contribution.
    pub budget: Vec<ScaleLine>,
}

/// The check of the stream at `index`; `None` where no readings are stated.
pub fn check(session: &Session, index: usize) -> Option<WeightsCheck> {
    let stream = session.streams.get(index)?;
    let weights = stream.weights.as_ref()?;
    let unused = stream.weights_unused();
    let Ok(known) = weights.fit() else {
        return Some(WeightsCheck {
            scale: None,
            scale_u_percent: None,
            zero_nm: None,
            hysteresis_percent: None,
            residual_sd_nm: None,
            en_number: None,
            used: false,
            note: not_used(unused.as_deref().unwrap_or_default()),
            budget: Vec::new(),
        });
    };
    let uncertainty = ScaleUncertainty::of(&known);
    let en_number = session
        .claim_of(index)
        .and_then(|claim| en_of_claim(&known, &uncertainty, claim));
    Some(WeightsCheck {
        scale: finite(known.scale),
        scale_u_percent: finite(uncertainty.percent()),
        zero_nm: finite(known.zero_nm),
        hysteresis_percent: known.hysteresis_percent.and_then(finite),
        residual_sd_nm: finite(known.residual_sd_nm),
        en_number,
        used: unused.is_none(),
        note: unused.map_or_else(|| used(stream, &known, en_number), |why| not_used(&why)),
        budget: uncertainty.lines,
    })
}

fn not_used(why: &str) -> String {
    format!("not used: {why}")
}

fn used(stream: &Stream, known: &KnownScale, en_number: Option<f64>) -> String {
    let off = 100.0 * (known.scale - 1.0);
    let direction = if off < 0.0 { "low" } else { "high" };
    let kept = match en_number {
        Some(en) if en.abs() > 1.0 => {
            format!(", more than its claim allows (E_n {en:+.2}, limit 1)")
        }
        Some(en) => format!(", which its claim allows (E_n {en:+.2}, limit 1)"),
        None => String::new(),
    };
    format!(
        "{} reads {:.2} % {direction} by known masses{kept}; its power is divided by {:.4} here: leave \
         the scale in the meter as it is",
        stream.label,
        off.abs(),
        known.scale
    )
}

/// E_n of the scale against what the meter's maker states (ISO 13528): how far it is off over the
/// expanded uncertainties (k = 2) of claim and check. `None` for a claim in W alone.
fn en_of_claim(known: &KnownScale, uncertainty: &ScaleUncertainty, claim: Claim) -> Option<f64> {
    let expanded = 2.0 * rectangular(claim.percent).hypot(uncertainty.percent());
    (claim.percent > 0.0)
        .then(|| 100.0 * (known.scale - 1.0) / expanded)
        .and_then(finite)
}

const STATIC: &str = "Wooles, Robinson & Keen 2005 (static calibration); JCGM 100:2008; OIML R 111";

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "streams.weights.scale",
        label: "scale by known masses",
        short: "scale",
        decimals: 4,
        definition: "Slope of a reference's readings against the torque of masses on its level crank; its power is divided by it in every figure and picture.",
        formula: "reading = a + k T, T = M g l by least squares; each pass has a zero of its own; power shown = power / k",
        source: STATIC,
        caveat: "Found at rest, with the load on the axle. Entered in the meter as well, it would be corrected twice.",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.weights.scale_u_percent",
        label: "standard uncertainty of the scale",
        short: "u of scale",
        unit: "%",
        decimals: 3,
        definition: "Standard uncertainty of the scale; in the budget it takes the place of the meter's claim.",
        formula: "u² = u²(masses) + u²(gravity) + u²(length) + u²(level), common to the meters on one crank, + u²(fit) + u²(hysteresis) + u²(mounting) + u²(at rest to riding), its own",
        source: STATIC,
        caveat: "Mounting and the step from rest to riding are judgement.",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.weights.zero_nm",
        label: "zero by known masses",
        short: "zero",
        unit: "N·m",
        decimals: 3,
        signed: true,
        definition: "Reading without load, by the same line. Nothing is corrected by it: a meter is zeroed before each ride.",
        formula: "a of reading = a + k T",
        source: STATIC,
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.weights.hysteresis_percent",
        label: "hysteresis",
        unit: "%",
        decimals: 3,
        definition: "Largest difference of the readings under one mass on the way up and down, % of the largest torque; empty where no mass hung on both ways.",
        formula: "100 · max |down − up|/max T",
        source: "EURAMET cg-14 (from memory)",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.weights.residual_sd_nm",
        label: "SD of the residuals",
        short: "residual SD",
        unit: "N·m",
        decimals: 4,
        definition: "Standard deviation of what the line leaves of the readings.",
        formula: "√(Σ r²/(n − 2))",
        source: "textbook",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.weights.en_number",
        label: "E_n against its own claim",
        short: "E_n of claim",
        decimals: 2,
        signed: true,
        definition: "How far the scale is off over what claim and check leave open; beyond ±1 the meter does not keep its claim. Its power is corrected all the same.",
        formula: "100 (k − 1)/√(U²(claim) + U²(check)), U = 2a/√3 of a claim ±a and 2u of the check",
        source: "ISO 13528",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.weights.used",
        label: "power divided by the scale",
        short: "used",
        definition: "Whether the readings are used: no where they cannot be meant as they stand, or the stream is no reference.",
        source: OURS,
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.weights.budget.source",
        label: "uncertainty from",
        definition: "Where a contribution to the uncertainty of the scale comes from.",
        source: STATIC,
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.weights.budget.standard_uncertainty_percent",
        label: "standard uncertainty of a scale's contribution",
        short: "u",
        unit: "%",
        decimals: 3,
        definition: "Its standard uncertainty.",
        formula: "half-width/√3 where only limits are known",
        source: "JCGM 100:2008, 4.3.7",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.weights.budget.common",
        label: "common to the meters on one crank",
        short: "common",
        definition: "Whether every meter on that crank has the same error from it.",
        source: "JCGM 100:2008, 5.2",
        ..Figure::PLAIN
    },
    Figure {
        id: "streams.weights.note",
        label: "on the known masses",
        short: "remark",
        definition: "What to make of it, in a sentence.",
        source: OURS,
        ..Figure::PLAIN
    },
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::bench::{ridden, segment, session_of};
    use crate::analysis::segment::figures;
    use crate::analysis::verdict::conformity::Outcome;
    use crate::session::weights::vectors::worked;
    use crate::session::{Kind, Role};
    use crate::stats::vectors::lcg;
    use crate::timeline::Aligned;

    #[test]
    fn the_worked_budget_gives_its_printed_digits() {
        // Computed beforehand, outside of this program, in %.
        let found = ScaleUncertainty::of(&worked().fit().unwrap());
        let said = |common: bool| -> Vec<String> {
            let lines = found.lines.iter().filter(|line| line.common == common);
            lines
                .map(|line| format!("{:.3}", line.standard_uncertainty_percent))
                .collect()
        };
        assert_eq!(said(true), ["0.012", "0.017", "0.167", "0.079"]);
        assert_eq!(said(false), ["0.079", "0.055", "0.150", "0.200"]);
        assert_eq!(format!("{:.3}", found.percent()), "0.326");
        assert_eq!(format!("{:.3}", found.common_percent()), "0.186");
        // The mean of two meters on one crank.
        let mean = found
            .common_percent()
            .hypot(found.own_percent() / 2.0_f64.sqrt());
        assert_eq!(format!("{mean:.3}"), "0.266");
    }

    /// What is said of a source that reads `bias_percent` against two references which both read 1.2161 %
    /// high, and the bias that is shown, %.
    fn judged(bias_percent: f64, checked: bool) -> (Outcome, f64, Vec<String>) {
        let noise = lcg(1800);
        let read = |scale: f64, from: usize| -> Vec<f64> {
            let rows = (0..600).zip(&noise[from..]);
            rows.map(|(_, noise)| 250.0 * scale + 3.0 * (noise - 0.5))
                .collect()
        };
        let high = worked().fit().unwrap().scale;
        let source = read(high * (1.0 + bias_percent / 100.0), 0);
        let mut opened = session_of(vec![
            ridden("trainer", Role::UnderTest, None, source),
            ridden("pedals", Role::Reference, Some(1.0), read(high, 600)),
            ridden("crank", Role::Reference, Some(1.0), read(high, 1200)),
        ]);
        for stream in opened
            .session
            .streams
            .iter_mut()
            .skip(1)
            .filter(|_| checked)
        {
            stream.weights = Some(worked());
        }
        let aligned = Aligned::new(&opened);
        let block = segment(Kind::SteadyBlock, 0.0, 600.0);
        let figures = figures(&opened.session, &aligned, &block, 1);
        assert_eq!(figures.references.unwrap().agree, Some(true));
        let verdict = figures.verdict.unwrap();
        let lines = verdict.budget.into_iter().map(|line| line.source);
        (
            verdict.outcome,
            verdict.bias_percent.unwrap(),
            lines.collect(),
        )
    }

    #[test]
    fn known_masses_turn_answers_over() {
        // Computed beforehand: +1.80 % measured is 1.018 · 1.012161 − 1 = +3.04 %, −1.40 % is −0.20 %,
        // −1.10 % is +0.10 %.
        for (measured, true_bias, outcome) in [
            (1.80, "3.04", Outcome::DoesNotConform),
            (-1.40, "-0.20", Outcome::Conforms),
            (-1.10, "0.10", Outcome::Conforms),
        ] {
            let (before, shown, lines) = judged(measured, false);
            assert!((shown - measured).abs() < 0.05, "{shown}");
            if measured != -1.10 {
                assert_eq!(before, Outcome::Inconclusive, "{measured}");
            }
            assert_eq!(lines[1], "claim of pedals");
            let (after, corrected, lines) = judged(measured, true);
            let expected: f64 = true_bias.parse().unwrap();
            assert!((corrected - expected).abs() < 0.05, "{corrected}");
            assert_eq!(after, outcome, "{measured}");
            assert_eq!(
                lines[1..],
                [
                    "known masses, common to the meters on the 172.5 mm crank",
                    "known masses on pedals",
                    "known masses on crank",
                ]
            );
            let exactly = 100.0 * ((1.0 + measured / 100.0) * 1.012161 - 1.0);
            assert_eq!(format!("{exactly:.2}"), true_bias);
        }
    }

    #[test]
    fn a_scale_is_held_against_the_meters_own_claim() {
        let mut session = Session::default();
        session.streams.push(Stream {
            role: Role::Reference,
            claim_percent: Some(1.0),
            weights: Some(worked()),
            ..Stream::new("crank", "crank.fit")
        });
        let en = |session: &Session| check(session, 0).unwrap().en_number.unwrap();
        // 1.2161/√((2/√3)² + (2 · 0.3262)²).
        assert_eq!(format!("{:.3}", en(&session)), "0.917");
        assert!(check(&session, 0).unwrap().note.contains("1.22 % high"));
        session.streams[0].claim_percent = Some(0.5);
        assert!(en(&session) > 1.0);
        let said = check(&session, 0).unwrap().note;
        assert!(said.contains("more than its claim allows"), "{said}");
    }

    #[test]
    fn readings_that_are_not_used_say_why() {
        let mut session = Session::default();
        session.streams.push(Stream {
            role: Role::UnderTest,
            weights: Some(worked()),
            ..Stream::new("trainer", "trainer.fit")
        });
        let found = check(&session, 0).unwrap();
        assert!(!found.used && found.scale.is_some());
        assert!(found.note.contains("judged as it reads"), "{}", found.note);
        session.streams[0].role = Role::Reference;
        assert!(check(&session, 0).unwrap().used);
        session.streams[0].weights.as_mut().unwrap().crank_mm = Some(17.25);
        let found = check(&session, 0).unwrap();
        assert_eq!((found.used, found.scale), (false, None));
        assert!(found.note.contains("17.25 mm"), "{}", found.note);
        session.streams[0].weights = None;
        assert_eq!(check(&session, 0), None);
    }
}
