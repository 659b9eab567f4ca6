//! References first: whether they agree with each other.

use super::uncertainty::{StatedReference, rectangular};
use crate::analysis::agreement::PERCENT_FROM_W;
use crate::analysis::figure::Figure;
use crate::session::{CommonErrors, Site};
use crate::stats::finite;
use serde::Serialize;

/// The references against each other.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct References {
    /// Their labels.
    pub labels: Vec<String>,
    /// The pair that differs most (by E_n, else by the difference).
    pub pair: Option<[String; 2]>,
    /// Difference of its means, first − second, % of their common mean.
    pub difference_percent: Option<f64>,
    /// E_n number of that pair, with the sign of the difference.
    pub en_number: Option<f64>,
    /// |E_n| ≤ 1 for every pair.
    pub agree: Option<bool>,
    /// What to make of it, in a sentence.
    pub note: String,
}

/// Coverage factor of an expanded uncertainty in E_n (ISO 13528 takes k = 2).
const EXPANSION: f64 = 2.0;

/// E_n number of two results with expanded uncertainties: (x₁ − x₂)/√(U₁² + U₂²) (ISO 13528;
/// |E_n| ≤ 1 is agreement). `None` where both uncertainties are zero.
pub fn en_number(x1: f64, expanded1: f64, x2: f64, expanded2: f64) -> Option<f64> {
    let expanded = expanded1.hypot(expanded2);
    (expanded > 0.0)
        .then(|| (x1 - x2) / expanded)
        .and_then(finite)
}

/// Means of two references over the seconds that both have.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PairMeans {
    /// Position of the first.
    pub first: usize,
    /// Position of the second.
    pub second: usize,
    /// Mean of the first, W.
    pub first_w: f64,
    /// Mean of the second, W.
    pub second_w: f64,
    /// Half-width of the 95 % limits of their mean difference, W: how far scatter alone puts them
    /// apart. `None` where so few seconds do not tell.
    pub scatter_w: Option<f64>,
}

/// Two streams against each other over a window.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Between {
    /// Seconds that both have.
    pub n: usize,
    /// Mean of first − second, W.
    pub difference_w: f64,
    /// The same in % of their common mean.
    pub difference_percent: Option<f64>,
    /// E_n as [`references`] takes it, for two references that both have a claim.
    pub en_number: Option<f64>,
}

/// The references against each other, from the means of their pairs. The claims count as in
/// the budget of a verdict, expanded, and so does the scatter of the seconds behind the difference:
/// with the claims alone, two good meters would seem to contradict each other on a short or restless
/// stretch. The pair reported is the one with the largest |E_n|, or,
/// where no claim is stated, the largest difference. `agree` is `Some(false)` as soon as one pair
/// disagrees, and `None` while no pair does but some cannot be tested, or lie further apart than
/// their claims and no further than their scatter. `None` for no references.
pub fn references(
    stated: &[StatedReference],
    sites: &[Option<Site>],
    common: CommonErrors,
    pairs: &[PairMeans],
) -> Option<References> {
    if stated.is_empty() {
        return None;
    }
    let under_test: Vec<(PairMeans, Option<f64>)> = pairs
        .iter()
        .map(|pair| (*pair, en_of(stated, common, pair)))
        .collect();
    let worst = under_test
        .iter()
        .max_by(|(a, en_a), (b, en_b)| {
            let size = |en: &Option<f64>| en.map_or(-1.0, f64::abs);
            let gap = |p: &PairMeans| (p.first_w - p.second_w).abs();
            size(en_a)
                .total_cmp(&size(en_b))
                .then(gap(a).total_cmp(&gap(b)))
        })
        .copied();
    let expected = stated.len() * (stated.len() - 1) / 2;
    let all_tested = under_test.len() == expected && under_test.iter().all(|(_, en)| en.is_some());
    let apart = under_test
        .iter()
        .any(|(_, en)| en.is_some_and(|en| en.abs() > 1.0));
    let agree = if apart {
        Some(false)
    } else {
        let within_claims = pairs
            .iter()
            .all(|pair| !beyond_claims(stated, common, pair));
        (expected > 0 && all_tested && within_claims).then_some(true)
    };
    let label = |at: usize| stated.get(at).map(|s| s.label.clone());
    Some(References {
        labels: stated.iter().map(|s| s.label.clone()).collect(),
        pair: worst.and_then(|(pair, _)| Some([label(pair.first)?, label(pair.second)?])),
        difference_percent: worst.and_then(|(pair, _)| difference_percent(&pair)),
        en_number: worst.and_then(|(_, en)| en),
        agree,
        note: note(stated, sites, common, &under_test, agree),
    })
}

fn level_w(pair: &PairMeans) -> f64 {
    0.5 * (pair.first_w + pair.second_w)
}

/// Difference, first − second, in % of their common mean; `None` below 10 W.
pub(in crate::analysis) fn difference_percent(pair: &PairMeans) -> Option<f64> {
    let level = level_w(pair);
    (level >= PERCENT_FROM_W)
        .then(|| 100.0 * (pair.first_w - pair.second_w) / level)
        .and_then(finite)
}

/// E_n of a pair: each claim as the budget reads it, a rectangular distribution, expanded with k = 2, and
/// the scatter of their difference; `None` where a claim is not
/// stated.
pub(in crate::analysis) fn en_of(
    stated: &[StatedReference],
    common: CommonErrors,
    pair: &PairMeans,
) -> Option<f64> {
    let level = level_w(pair);
    let (one, other) = (stated.get(pair.first)?, stated.get(pair.second)?);
    let on_one_crank = shares_crank(one, other);
    // While nobody pedals, a claim in percent is a claim of nothing: it tests no meter.
    let expanded = |reference: &StatedReference| match (&reference.known, reference.claim) {
        (Some(known), _) => (level >= PERCENT_FROM_W).then(|| {
            let common = if on_one_crank {
                0.0
            } else {
                known.common_percent
            };
            EXPANSION * known.own_percent.hypot(common) / 100.0 * level
        }),
        (None, Some(claim)) => (level >= PERCENT_FROM_W || claim.watts > 0.0)
            .then(|| EXPANSION * rectangular(claim.limit_w(level))),
        (None, None) => None,
    };
    let (first, second) = (expanded(one)?, expanded(other)?);
    // What both share is not in their difference: U² = U₁² + U₂² − 2ρ U₁ U₂.
    let correlation = match (&one.known, &other.known) {
        (None, None) => common.claims_correlation.clamp(0.0, 1.0),
        _ => 0.0,
    };
    let own = first * first + second * second - 2.0 * correlation * first * second;
    en_number(
        pair.first_w,
        own.max(0.0).sqrt(),
        pair.second_w,
        pair.scatter_w?,
    )
}

/// Whether the scales of both come from masses on one crank: what that leaves open is the same in both.
fn shares_crank(one: &StatedReference, other: &StatedReference) -> bool {
    let crank = |reference: &StatedReference| reference.known.as_ref().map(|k| k.crank.clone());
    crank(one).is_some() && crank(one) == crank(other)
}

/// Why agreement of references at one site is no proof; `None` where each two differ in site or known
/// masses test all but one of them.
pub(in crate::analysis) fn no_proof(
    stated: &[StatedReference],
    sites: &[Option<Site>],
) -> Option<String> {
    let untested = stated.iter().zip(sites).filter(|(s, _)| s.known.is_none());
    let mut seen: Vec<Site> = Vec::new();
    for (_, site) in untested {
        let site = (*site)?;
        if seen.contains(&site) {
            return Some(format!(
                "both measure at the {site}: an error of their kind is in both, so that they agree is no \
                 proof (known masses would be)"
            ));
        }
        seen.push(site);
    }
    None
}

/// Whether a pair lies further apart than its claims alone allow.
fn beyond_claims(stated: &[StatedReference], common: CommonErrors, pair: &PairMeans) -> bool {
    let calm = PairMeans {
        scatter_w: Some(0.0),
        ..*pair
    };
    en_of(stated, common, &calm).is_some_and(|en| en.abs() > 1.0)
}

/// The sentence that goes with the test of the references.
fn note(
    stated: &[StatedReference],
    sites: &[Option<Site>],
    common: CommonErrors,
    under_test: &[(PairMeans, Option<f64>)],
    agree: Option<bool>,
) -> String {
    if stated.len() < 2 {
        let tested = stated.iter().any(|s| s.known.is_some());
        return if tested {
            "one reference only: known masses test its scale, and the verdict rests on them"
        } else {
            "one reference only: nothing tests it, and the verdict rests on its claim"
        }
        .into();
    }
    let unstated: Vec<&str> = stated
        .iter()
        .filter(|s| !s.is_stated())
        .map(|s| s.label.as_str())
        .collect();
    let mut note = match agree {
        Some(true) => "the references agree within their claims".to_owned(),
        Some(false) => "the references differ by more than their claims allow".to_owned(),
        None if !unstated.is_empty() => format!(
            "agreement cannot be tested: no claim stated for {}",
            unstated.join(" and ")
        ),
        None if under_test.is_empty() => {
            "agreement cannot be tested: no two seconds in which two references have a value"
                .to_owned()
        }
        None if under_test
            .iter()
            .all(|(pair, _)| level_w(pair) < PERCENT_FROM_W) =>
        {
            "agreement cannot be tested at so little power: claims in percent say nothing there"
                .to_owned()
        }
        None if under_test.iter().any(|(pair, _)| pair.scatter_w.is_none()) => {
            "too few seconds to tell whether the references agree".to_owned()
        }
        None if under_test
            .iter()
            .any(|(pair, _)| beyond_claims(stated, common, pair)) =>
        {
            "the references lie further apart than they claim, but no further than their scatter \
             explains: whether they agree cannot be told here"
                .to_owned()
        }
        None => "agreement cannot be tested for every pair".to_owned(),
    };
    if let Some(why) = no_proof(stated, sites).filter(|_| agree == Some(true)) {
        note.push_str("; ");
        note.push_str(&why);
    }
    let mut places = sites.iter().flatten();
    if let Some(first) = places.next()
        && places.any(|site| site != first)
    {
        note.push_str(
            "; they measure at different sites, so the loss between those is in the difference",
        );
    }
    note
}

/// What each figure means and how it is printed.
pub const FIGURES: &[Figure] = &[
    Figure {
        id: "segments.references.labels",
        label: "references",
        definition: "The references' names.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.references.pair",
        label: "widest pair",
        definition: "The two references that differ most.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.references.difference_percent",
        label: "references differ by",
        short: "difference",
        unit: "%",
        decimals: 2,
        signed: true,
        definition: "Difference of the means of that pair, first − second, as % of their common mean.",
        formula: "100 · (x̄₁ − x̄₂)/((x̄₁ + x̄₂)/2)",
        source: "ISO 5725-1 (trueness)",
        caveat: "Different sites differ by the drivetrain's loss as well.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.references.en_number",
        label: "E_n",
        decimals: 2,
        signed: true,
        definition: "Difference of two references over their joint expanded uncertainty; beyond ±1 they contradict each other.",
        formula: "(x̄₁ − x̄₂)/√(U₁² + U₂² − 2ρ U₁ U₂ + U_d²), U = 2a/√3 for a claim ±a (as the budget reads it, k = 2) or 2u of known masses, without what meters on one crank share, ρ the stated correlation of the claims and U_d the half-width of the 95 % limits of the mean difference",
        source: "ISO 13528",
        caveat: "Agreement does not prove either true: both may share an error. A short or restless block tests little: its scatter widens what counts as agreement.",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.references.agree",
        label: "references agree",
        short: "agree",
        definition: "Whether every pair lies within its claims; no where |E_n| > 1, and the verdict is withheld. Null where no claim is stated, there is one reference, too few seconds tell, or only scatter brings |E_n| to 1.",
        source: "ISO 13528",
        ..Figure::PLAIN
    },
    Figure {
        id: "segments.references.note",
        label: "on the references",
        short: "remark",
        definition: "What to make of it, in a sentence.",
        ..Figure::PLAIN
    },
];

#[cfg(test)]
mod tests {
    use super::super::uncertainty::KnownMasses;
    use super::*;
    use crate::session::Claim;
    use crate::stats::vectors::assert_close;

    fn stated(label: &str, percent: Option<f64>) -> StatedReference {
        StatedReference {
            label: label.to_owned(),
            claim: percent.map(|percent| Claim {
                percent,
                watts: 0.0,
            }),
            known: None,
            share: 1.0,
        }
    }

    fn pair(first: usize, second: usize, first_w: f64, second_w: f64) -> PairMeans {
        PairMeans {
            first,
            second,
            first_w,
            second_w,
            scatter_w: Some(0.0),
        }
    }

    fn run(claims: &[Option<f64>], means: &[f64]) -> References {
        let names = ["pedals", "hub", "crank"];
        let stated: Vec<_> = claims
            .iter()
            .zip(names)
            .map(|(c, n)| stated(n, *c))
            .collect();
        let mut pairs = Vec::new();
        for first in 0..means.len() {
            for second in first + 1..means.len() {
                pairs.push(pair(first, second, means[first], means[second]));
            }
        }
        references(
            &stated,
            &[None; 3][..claims.len()],
            CommonErrors::default(),
            &pairs,
        )
        .unwrap()
    }

    #[test]
    fn en_is_the_difference_over_the_joint_expanded_uncertainty() {
        // ISO 13528: E_n = (x − X)/√(U_x² + U_X²); the 3-4-5 triangle makes it exact.
        assert_eq!(en_number(110.0, 3.0, 100.0, 4.0), Some(2.0));
        assert_eq!(en_number(97.5, 3.0, 100.0, 4.0), Some(-0.5));
        assert_eq!(en_number(1.0, 0.0, 1.0, 0.0), None);
    }

    #[test]
    fn references_inside_their_claims_agree_and_outside_do_not() {
        let near = run(&[Some(1.0), Some(1.0)], &[252.0, 250.0]);
        assert_eq!(near.agree, Some(true));
        assert_close(near.difference_percent.unwrap(), 100.0 * 2.0 / 251.0, 1e-12);
        assert_close(
            near.en_number.unwrap(),
            2.0 / (2.0 * 2.51 * (2.0_f64 / 3.0).sqrt()),
            1e-12,
        );
        let far = run(&[Some(1.0), Some(1.0)], &[256.0, 250.0]);
        assert_eq!(far.agree, Some(false));
    }

    #[test]
    fn scatter_widens_what_counts_as_agreement() {
        let stated = [stated("pedals", Some(1.0)), stated("hub", Some(1.0))];
        let en = |scatter_w| {
            let pairs = [PairMeans {
                scatter_w,
                ..pair(0, 1, 256.0, 250.0)
            }];
            references(&stated, &[None, None], CommonErrors::default(), &pairs).unwrap()
        };
        // Claims of 2.53 W each, U = 2 · 2.53/√3: 6/√(U² + U²) without scatter, 6/√(U² + U² + 6²) with.
        let claims = 2.0 * (2.0 * 2.53_f64 / 3.0_f64.sqrt()).powi(2);
        assert_close(en(Some(0.0)).en_number.unwrap(), 6.0 / claims.sqrt(), 1e-12);
        let restless = en(Some(6.0));
        let joint = (claims + 36.0).sqrt();
        assert_close(restless.en_number.unwrap(), 6.0 / joint, 1e-12);
        assert_eq!(restless.agree, None);
        assert!(restless.note.contains("scatter"), "{}", restless.note);
        let short = en(None);
        assert_eq!((short.en_number, short.agree), (None, None));
        assert!(short.note.contains("too few seconds"), "{}", short.note);
    }

    #[test]
    fn errors_that_two_references_share_leave_less_room_between_them() {
        let stated = [stated("pedals", Some(1.0)), stated("hub", Some(1.0))];
        let en = |claims_correlation| {
            let common = CommonErrors { claims_correlation };
            let found = references(&stated, &[None, None], common, &[pair(0, 1, 252.0, 250.0)]);
            found.unwrap().en_number
        };
        // U² = 2 U₁² (1 − ρ).
        let free = en(0.0).unwrap();
        assert_close(en(0.75).unwrap(), 2.0 * free, 1e-9);
        // Nothing of their own and no scatter: nothing to be held against.
        assert_eq!(en(1.0), None);
    }

    #[test]
    fn what_meters_on_one_crank_share_is_not_in_their_difference() {
        let with = |crank: &str| StatedReference {
            known: Some(KnownMasses {
                crank: crank.to_owned(),
                common_percent: 0.4,
                own_percent: 0.3,
                own_dof: 50.0,
            }),
            ..stated(crank, Some(1.0))
        };
        let en = |stated: &[StatedReference]| {
            let pairs = [pair(0, 1, 252.0, 248.0)];
            references(stated, &[None, None], CommonErrors::default(), &pairs).unwrap()
        };
        let one = en(&[with("crank"), with("crank")]).en_number.unwrap();
        assert_close(one, 4.0 / (2.0_f64.sqrt() * 2.0 * 0.3 * 2.5), 1e-9);
        let apart = en(&[with("crank"), with("other")]).en_number.unwrap();
        assert_close(apart, 4.0 / (2.0_f64.sqrt() * 2.0 * 0.5 * 2.5), 1e-9);
        // Masses test a meter of which nothing is claimed.
        let silent = StatedReference {
            claim: None,
            ..with("crank")
        };
        assert!(en(&[silent, with("crank")]).agree.is_some());
    }

    #[test]
    fn agreement_of_one_kind_is_no_proof_and_says_so() {
        let mut two = [stated("a", Some(1.0)), stated("b", Some(1.0))];
        let said = |two: &[StatedReference], sites: [Site; 2], second_w: f64| {
            let pairs = [pair(0, 1, 250.0, second_w)];
            let sites = sites.map(Some);
            let found = references(two, &sites, CommonErrors::default(), &pairs);
            found.unwrap().note
        };
        let note = said(&two, [Site::Pedal; 2], 250.5);
        assert!(
            note.contains("both measure at the pedal") && note.contains("no proof"),
            "{note}"
        );
        assert!(!said(&two, [Site::Pedal, Site::Crank], 250.5).contains("no proof"));
        assert!(!said(&two, [Site::Pedal; 2], 290.0).contains("no proof"));
        two[0].known = Some(KnownMasses {
            crank: "crank".to_owned(),
            common_percent: 0.2,
            own_percent: 0.3,
            own_dof: 50.0,
        });
        assert!(!said(&two, [Site::Pedal; 2], 250.5).contains("no proof"));
    }

    #[test]
    fn the_worst_pair_of_three_is_shown() {
        let three = run(&[Some(1.0); 3], &[250.0, 251.0, 258.0]);
        assert_eq!(three.pair, Some(["pedals".to_owned(), "crank".to_owned()]));
        assert_eq!(three.agree, Some(false));
    }

    #[test]
    fn a_reference_without_a_claim_cannot_be_tested_and_is_named() {
        let unknown = run(&[Some(1.0), None], &[250.0, 250.0]);
        assert_eq!((unknown.agree, unknown.en_number), (None, None));
        assert_eq!(unknown.difference_percent, Some(0.0));
        assert!(unknown.note.contains("hub"), "{}", unknown.note);
        let one = run(&[Some(1.0)], &[250.0]);
        assert_eq!((one.agree, one.difference_percent), (None, None));
    }

    #[test]
    fn a_coasting_pair_has_no_percentage() {
        let coast = run(&[Some(1.0), Some(1.0)], &[0.0, 1.5]);
        assert_eq!(
            (coast.difference_percent, coast.en_number, coast.agree),
            (None, None, None)
        );
        assert!(coast.note.contains("so little power"), "{}", coast.note);
    }

    #[test]
    fn different_sites_are_said() {
        let stated = [stated("pedals", Some(1.0)), stated("hub", Some(1.0))];
        let sites = [Some(Site::Pedal), Some(Site::Hub)];
        let pairs = [pair(0, 1, 250.0, 249.0)];
        let found = references(&stated, &sites, CommonErrors::default(), &pairs).unwrap();
        assert!(found.note.contains("different sites"), "{}", found.note);
    }
}
