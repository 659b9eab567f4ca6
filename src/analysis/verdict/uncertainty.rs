//! The uncertainty budget of a bias (JCGM 100:2008, the GUM).

use crate::analysis::agreement::PERCENT_FROM_W;
use crate::analysis::verdict::figures::BudgetLine;
use crate::session::{Allowance, Claim, CommonErrors};
use crate::stats::serial::MeanUncertainty;
use crate::stats::{NORMAL_95, t_quantile};

/// What is known about how a contribution scatters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Distribution {
    /// Estimated from the seconds themselves: Student's t.
    StudentT,
    /// Known to lie within ± a, nothing else: rectangular, a/√3 (JCGM 100, 4.3.7).
    Rectangular,
    /// Several together, stated as a standard uncertainty.
    Normal,
}

impl BudgetLine {
    /// Whether it is the scatter of the seconds.
    pub fn is_scatter(&self) -> bool {
        self.distribution == Distribution::StudentT.word()
    }

    /// Standard uncertainty as if it were known exactly: half-width of its 95 % limits / 1.96, %.
    pub fn as_known_percent(&self) -> Option<f64> {
        let dof = self.degrees_of_freedom.unwrap_or(f64::INFINITY);
        Some(t_quantile(0.975, dof) * self.standard_uncertainty_percent? / NORMAL_95)
    }
}

impl Distribution {
    /// The word used in tables.
    pub const fn word(self) -> &'static str {
        match self {
            Distribution::StudentT => "Student t",
            Distribution::Rectangular => "rectangular",
            Distribution::Normal => "normal",
        }
    }
}

/// Standard uncertainty of what is known to lie within ± `half_width` (JCGM 100, 4.3.7).
pub fn rectangular(half_width: f64) -> f64 {
    half_width.abs() / 3.0_f64.sqrt()
}

/// One independent contribution to the uncertainty of a bias.
#[derive(Clone, Debug, PartialEq)]
pub struct Contribution {
    /// Where it comes from.
    pub source: String,
    /// How it scatters.
    pub distribution: Distribution,
    /// Its standard uncertainty, in the unit of the budget.
    pub standard: f64,
    /// Its degrees of freedom; infinite for a limit taken as known.
    pub dof: f64,
}

impl Contribution {
    /// From the scatter of the seconds.
    pub fn statistical(source: impl Into<String>, uncertainty: MeanUncertainty) -> Self {
        Self {
            source: source.into(),
            distribution: Distribution::StudentT,
            standard: uncertainty.standard,
            dof: uncertainty.dof,
        }
    }

    /// From limits ± `half_width`, entering the result with weight `share`.
    pub fn rectangular(source: impl Into<String>, half_width: f64, share: f64) -> Self {
        Self {
            source: source.into(),
            distribution: Distribution::Rectangular,
            standard: share * rectangular(half_width),
            dof: f64::INFINITY,
        }
    }
}

/// Independent contributions, all in the same unit.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Budget {
    /// The contributions.
    pub contributions: Vec<Contribution>,
}

impl Budget {
    /// Combined standard uncertainty, the root of the sum of squares (JCGM 100, 5.1.2).
    pub fn combined(&self) -> f64 {
        let squares = self.contributions.iter().map(|c| c.standard * c.standard);
        squares.sum::<f64>().sqrt()
    }

    /// Effective degrees of freedom, u⁴/Σ(uᵢ⁴/νᵢ) (Welch–Satterthwaite; JCGM 100, G.4.1);
    /// infinite where no contribution has finite ones.
    pub fn effective_dof(&self) -> f64 {
        let denominator: f64 = self
            .contributions
            .iter()
            .map(|c| c.standard.powi(4) / c.dof)
            .sum();
        if denominator > 0.0 {
            self.combined().powi(4) / denominator
        } else {
            f64::INFINITY
        }
    }

    /// Coverage factor k for 95 %, from Student's t with the effective degrees of freedom
    /// (JCGM 100, G.6.4).
    pub fn coverage_factor(&self) -> f64 {
        t_quantile(0.975, self.effective_dof())
    }

    /// Expanded uncertainty U = k u.
    pub fn expanded(&self) -> f64 {
        self.coverage_factor() * self.combined()
    }

    /// The table, for a budget in % of `level_w` (`percent`) or in W.
    pub fn lines(&self, percent: bool, level_w: f64) -> Vec<BudgetLine> {
        self.contributions
            .iter()
            .map(|c| BudgetLine {
                source: c.source.clone(),
                distribution: c.distribution.word().to_owned(),
                standard_uncertainty_percent: percent.then_some(c.standard),
                standard_uncertainty_w: Some(if percent {
                    c.standard * level_w / 100.0
                } else {
                    c.standard
                }),
                degrees_of_freedom: c.dof.is_finite().then_some(c.dof),
            })
            .collect()
    }
}

/// A reference as it enters the budget.
#[derive(Clone, Debug, PartialEq)]
pub struct StatedReference {
    /// Label.
    pub label: String,
    /// The accuracy its maker states, if the session has it.
    pub claim: Option<Claim>,
    /// What known masses leave open of its scale; it takes the claim's place.
    pub known: Option<KnownMasses>,
    /// Its weight in what the source under test is compared with; all of them together weigh 1.
    pub share: f64,
}

impl StatedReference {
    /// Whether its uncertainty is known: by its claim or by known masses.
    pub fn is_stated(&self) -> bool {
        self.claim.is_some() || self.known.is_some()
    }
}

/// Standard uncertainty of a scale by known masses, % of the power.
#[derive(Clone, Debug, PartialEq)]
pub struct KnownMasses {
    /// The crank on which they hung: meters on one crank share an error.
    pub crank: String,
    /// What they share.
    pub common_percent: f64,
    /// The meter's own.
    pub own_percent: f64,
    /// Degrees of freedom of the meter's own.
    pub own_dof: f64,
}

/// The unit of a budget at a power: percent of it where that says something, else W.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// The power that percentages refer to, W.
    pub level_w: f64,
    /// Whether figures are in % of it.
    pub percent: bool,
}

impl Scale {
    /// Percent from 10 W on.
    pub fn at(level_w: f64) -> Self {
        Self {
            level_w,
            percent: level_w >= PERCENT_FROM_W,
        }
    }

    /// A claim's limit in the unit of this scale.
    pub fn limit(self, claim: Claim) -> f64 {
        self.of_watts(claim.limit_w(self.level_w))
    }

    /// Watts in the unit of this scale.
    pub fn of_watts(self, watts: f64) -> f64 {
        if self.percent {
            100.0 * watts / self.level_w
        } else {
            watts
        }
    }
}

/// What the claim of a reference is called in a budget.
pub fn claim_of_reference(label: &str) -> String {
    format!("claim of {label}")
}

/// What the scale by known masses of a reference is called in a budget.
pub fn masses_of_reference(label: &str) -> String {
    format!("known masses on {label}")
}

/// What the half-width of the expected loss is called in a budget.
pub const ALLOWANCE: &str = "allowance between the sites";

/// The budget of a bias against the mean of `references`: scatter of the seconds, the claim of
/// each reference with its share (independent references average down), and the half-width of
/// the allowance. References without a claim contribute nothing; the caller must say so.
///
/// With errors correlated by ρ (JCGM 100, 5.2; F.1.2) the variance of the claims' part is `Σ g² a²/3 +
/// ρ Σ_{r≠s} g_r g_s a_r a_s/3`, with shares g and limits a. It stands in lines that are independent: each
/// claim's own part, `√(1−ρ) g a/√3`, and what they share, `√ρ Σ g a/√3`.
///
/// Known masses take the place of a claim: what the meters on one crank share adds up with their
/// shares, what is a meter's own stands in a line for itself.
pub fn budget(
    statistical: MeanUncertainty,
    references: &[StatedReference],
    common: CommonErrors,
    allowance: Allowance,
    scale: Scale,
) -> Budget {
    let by_claim = || {
        let unknown = references.iter().filter(|r| r.known.is_none());
        unknown.filter_map(|r| Some((r, scale.limit(r.claim?))))
    };
    let correlation = match by_claim().count() {
        0 | 1 => 0.0,
        _ => common.claims_correlation.clamp(0.0, 1.0),
    };
    let mut contributions = vec![Contribution::statistical(
        "scatter of the seconds (serial correlation allowed for)",
        statistical,
    )];
    let mut shared = 0.0;
    for (reference, limit) in by_claim() {
        shared += reference.share * limit;
        contributions.push(Contribution::rectangular(
            claim_of_reference(&reference.label),
            limit,
            reference.share * (1.0 - correlation).sqrt(),
        ));
    }
    if correlation > 0.0 {
        contributions.push(Contribution::rectangular(
            format!("what the references' errors share (claims_correlation {correlation})"),
            shared,
            correlation.sqrt(),
        ));
    }
    contributions.extend(by_masses(references, scale));
    if allowance.plus_minus != 0.0 {
        let watts = allowance.plus_minus / 100.0 * scale.level_w;
        contributions.push(Contribution::rectangular(
            ALLOWANCE,
            scale.of_watts(watts),
            1.0,
        ));
    }
    Budget { contributions }
}

/// The lines of the references whose scale known masses gave: one a crank, then one a meter.
fn by_masses(references: &[StatedReference], scale: Scale) -> Vec<Contribution> {
    let line = |source, percent: f64, dof| Contribution {
        source,
        distribution: Distribution::Normal,
        standard: scale.of_watts(percent / 100.0 * scale.level_w.abs()),
        dof,
    };
    let mut cranks: Vec<(&str, f64)> = Vec::new();
    let mut own = Vec::new();
    for reference in references {
        let Some(known) = &reference.known else {
            continue;
        };
        let percent = reference.share * known.common_percent;
        match cranks.iter_mut().find(|(crank, _)| *crank == known.crank) {
            Some((_, common)) => *common += percent,
            None => cranks.push((&known.crank, percent)),
        }
        own.push(line(
            masses_of_reference(&reference.label),
            reference.share * known.own_percent,
            known.own_dof,
        ));
    }
    let common = cranks.into_iter().map(|(crank, percent)| {
        let source = format!("known masses, common to the meters on the {crank}");
        line(source, percent, f64::INFINITY)
    });
    common.chain(own).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::vectors::assert_close;

    const LEVEL: Scale = Scale {
        level_w: 250.0,
        percent: true,
    };

    fn stated(label: &str, percent: f64, share: f64) -> StatedReference {
        StatedReference {
            label: label.to_owned(),
            claim: Some(Claim {
                percent,
                watts: 0.0,
            }),
            known: None,
            share,
        }
    }

    fn exact() -> MeanUncertainty {
        known(0.0)
    }

    fn known(standard: f64) -> MeanUncertainty {
        MeanUncertainty {
            standard,
            dof: f64::INFINITY,
        }
    }

    #[test]
    fn the_worked_budget_combines_to_the_recomputed_value() {
        // methods §7: u_stat 0.4, reference ±1 % rectangular 0.57735, together 0.702377.
        let budget = budget(
            known(0.4),
            &[stated("pedals", 1.0, 1.0)],
            CommonErrors::default(),
            Allowance::default(),
            LEVEL,
        );
        assert_close(budget.contributions[1].standard, 0.57735, 1e-5);
        assert_close(budget.combined(), 0.702377, 1e-6);
        assert_close(budget.coverage_factor(), 1.959963984540054, 1e-9);
        assert_eq!(budget.effective_dof(), f64::INFINITY);
    }

    #[test]
    fn independent_references_average_down() {
        let one = budget(
            known(0.0),
            &[stated("a", 1.0, 1.0)],
            CommonErrors::default(),
            Allowance::default(),
            LEVEL,
        );
        let two = [stated("a", 1.0, 0.5), stated("b", 1.0, 0.5)];
        let two = budget(
            known(0.0),
            &two,
            CommonErrors::default(),
            Allowance::default(),
            LEVEL,
        );
        assert_close(two.combined(), one.combined() / 2.0_f64.sqrt(), 1e-12);
    }

    #[test]
    fn errors_that_references_share_do_not_average_down() {
        // error-curve specification, section 1: two ±1 % references leave U = 0.80 % if independent and
        // 1.13 % if common (k = 1.96).
        let two = [stated("a", 1.0, 0.5), stated("b", 1.0, 0.5)];
        let of = |claims_correlation| {
            let common = CommonErrors { claims_correlation };
            budget(known(0.0), &two, common, Allowance::default(), LEVEL)
        };
        assert_close(of(0.0).expanded(), 0.80, 2e-3);
        assert_close(of(1.0).expanded(), 1.13, 2e-3);
        assert_close(
            of(0.5).combined().powi(2),
            (1.0 / 6.0 + 1.0 / 3.0) / 2.0,
            1e-12,
        );
        assert_eq!(of(0.5).contributions.len(), 4);
        // One reference shares its error with nobody.
        let one = budget(
            known(0.0),
            &two[..1],
            CommonErrors {
                claims_correlation: 1.0,
            },
            Allowance::default(),
            LEVEL,
        );
        assert_eq!(one.contributions.len(), 2);
    }

    #[test]
    fn known_masses_take_the_place_of_claims() {
        // Computed beforehand, outside of this program: two meters on one crank leave 0.266 % (0.186 of each
        // is shared), two ±1 % claims 0.408 %.
        let masses = |crank: &str| {
            Some(KnownMasses {
                crank: crank.to_owned(),
                common_percent: 0.18622,
                own_percent: 0.26781,
                own_dof: 1000.0,
            })
        };
        let budget_of = |known: [Option<KnownMasses>; 2]| {
            let [one, other] = known;
            let mut two = [stated("a", 1.0, 0.5), stated("b", 1.0, 0.5)];
            (two[0].known, two[1].known) = (one, other);
            let common = CommonErrors {
                claims_correlation: 1.0,
            };
            budget(exact(), &two, common, Allowance::default(), LEVEL)
        };
        let both = budget_of([masses("crank"), masses("crank")]);
        assert_eq!(format!("{:.3}", both.combined()), "0.266");
        assert_eq!(format!("{:.3}", both.contributions[1].standard), "0.186");
        assert_eq!(both.contributions.len(), 4, "no claim is left: {both:?}");
        assert!(both.contributions[1].source.contains("common"));
        let apart = budget_of([masses("crank"), masses("another")]);
        assert_close(apart.combined(), 0.3262 / 2.0_f64.sqrt(), 1e-4);
        // The claim of the other shares its error with nobody.
        let mixed = budget_of([masses("crank"), None]);
        let claimed = 0.5 / 3.0_f64.sqrt();
        assert_close(mixed.combined(), (0.5 * 0.3262_f64).hypot(claimed), 1e-4);
        let neither = budget_of([None, None]);
        assert_close(neither.combined(), 1.0 / 3.0_f64.sqrt(), 1e-12);
    }

    #[test]
    fn welch_satterthwaite_weighs_the_degrees_of_freedom() {
        // JCGM 100:2008, H.1 (end gauge), the values of table H.1 from memory: components in nm
        // 25 (18), 5.8 (24), 3.9 (5), 6.7 (8), 16.6 (2), 2.9 (50): u = 32, nu_eff = 16 or 17.
        let parts = [
            (25.0, 18.0),
            (5.8, 24.0),
            (3.9, 5.0),
            (6.7, 8.0),
            (16.6, 2.0),
            (2.9, 50.0),
        ];
        let contributions = parts.map(|(standard, dof)| Contribution {
            source: String::new(),
            distribution: Distribution::StudentT,
            standard,
            dof,
        });
        let budget = Budget {
            contributions: contributions.to_vec(),
        };
        assert!(
            (budget.combined() - 32.0).abs() < 0.5,
            "{}",
            budget.combined()
        );
        let dof = budget.effective_dof();
        assert!((16.0..18.0).contains(&dof), "{dof}");
    }

    #[test]
    fn the_watt_floor_rules_at_low_power_and_the_allowance_adds() {
        let claim = Claim {
            percent: 1.0,
            watts: 3.0,
        };
        let reference = StatedReference {
            label: "hub".to_owned(),
            claim: Some(claim),
            known: None,
            share: 1.0,
        };
        let allowance = Allowance {
            percent: 2.0,
            plus_minus: 1.0,
        };
        let budget = budget(
            known(0.0),
            &[reference],
            CommonErrors::default(),
            allowance,
            Scale::at(100.0),
        );
        let standards: Vec<f64> = budget.contributions.iter().map(|c| c.standard).collect();
        assert_close(standards[1], 3.0 / 3.0_f64.sqrt(), 1e-12);
        assert_close(standards[2], 1.0 / 3.0_f64.sqrt(), 1e-12);
        let line = &budget.lines(true, 100.0)[2];
        assert_close(
            line.standard_uncertainty_w.unwrap(),
            1.0 / 3.0_f64.sqrt(),
            1e-12,
        );
        assert_eq!(line.degrees_of_freedom, None);
    }

    #[test]
    fn below_ten_watts_the_budget_is_in_watts() {
        let scale = Scale::at(2.0);
        let claim = Claim {
            percent: 2.0,
            watts: 3.0,
        };
        assert!(!scale.percent);
        assert_eq!(scale.limit(claim), 3.0);
    }
}
