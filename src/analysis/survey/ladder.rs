//! The strictest limit that a unit keeps, as a tester calls device classes.

use serde::Serialize;

use super::model::Surveyed;

/// A rung.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Rung {
    percent: f64,
    name: &'static str,
}

/// The limits beside the claim. The standards are about other machines: said by analogy.
const RUNGS: [Rung; 3] = [
    Rung {
        percent: 1.0,
        name: "1 %",
    },
    Rung {
        percent: 5.0,
        name: "5 %, medical ergometers (PTB), by analogy",
    },
    Rung {
        percent: 10.0,
        name: "10 %, EN 957-5 class A (second-hand), by analogy: roller stands are outside its scope",
    },
];

/// Where one unit stands.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Ladder {
    /// The unit: value of the fact grouped by, or the session.
    pub unit: String,
    /// Judged blocks.
    pub blocks: usize,
    /// Largest |b| + U among them, %.
    pub reach_percent: f64,
    /// The strictest limit that every block keeps, ± %; null where none is kept.
    pub keeps_percent: Option<f64>,
    /// What that limit is.
    pub keeps: String,
}

/// Of the blocks of one unit; `None` where none is long enough to be judged.
pub(super) fn ladder(unit: &str, rides: &[&Surveyed]) -> Option<Ladder> {
    let blocks = rides.iter().flat_map(|ride| &ride.blocks);
    let judged: Vec<(f64, Option<f64>)> = blocks
        .filter_map(|block| Some((block.reach_percent?, block.limit_percent)))
        .collect();
    let reach_percent = judged.iter().map(|(reach, _)| *reach).fold(0.0, f64::max);
    // Where a claim has a floor in W it allows more at low power: each block has its own.
    let claim = judged
        .iter()
        .map(|(_, limit)| *limit)
        .collect::<Option<Vec<f64>>>();
    let claim = claim.filter(|limits| limits.iter().all(|limit| *limit > 0.0));
    let keeps_claim = judged
        .iter()
        .all(|(reach, limit)| limit.is_some_and(|limit| *reach <= limit));
    let widest = claim.map(|limits| limits.into_iter().fold(0.0, f64::max));
    let claimed = widest.filter(|_| keeps_claim).map(|percent| Rung {
        percent,
        name: "the claim",
    });
    let kept = RUNGS
        .into_iter()
        .filter(|rung| reach_percent <= rung.percent);
    let strictest = kept
        .chain(claimed)
        .min_by(|a, b| a.percent.total_cmp(&b.percent));
    (!judged.is_empty()).then(|| Ladder {
        unit: unit.to_owned(),
        blocks: judged.len(),
        reach_percent,
        keeps_percent: strictest.map(|rung| rung.percent),
        keeps: strictest
            .map_or("none of them", |rung| rung.name)
            .to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::super::sample::ride;
    use super::*;

    /// By hand: the strictest of 1 %, the claim (2 %), 5 %, 10 % that |b| + U keeps in every block.
    #[test]
    fn the_strictest_limit_that_every_block_keeps() {
        let of = |blocks: &[(f64, f64)]| {
            let ride = ride("one", &[], blocks);
            ladder("one", &[&ride]).unwrap()
        };
        // U is 0.9 in the sample.
        for (bias, percent) in [
            (0.1, Some(1.0)),
            (1.1, Some(2.0)),
            (1.2, Some(5.0)),
            (-4.2, Some(10.0)),
            (9.2, None),
        ] {
            let found = of(&[(150.0, 0.0), (250.0, bias)]);
            assert_eq!(found.keeps_percent, percent, "{bias}: {found:?}");
            assert_eq!(found.keeps.contains("by analogy"), percent >= Some(5.0));
        }
        assert_eq!(ladder("none", &[]), None);
    }
}
