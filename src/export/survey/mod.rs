//! Many sessions side by side: bias of each, how far it repeats within a ride and from ride to
//! ride, for each kind and set point, and for each value of a fact (unit, firmware).

mod shapes;

use std::collections::BTreeMap;

use serde::Serialize;

pub use shapes::{COLUMNS, lines, markdown, picture, text};

use crate::analysis::across::AcrossSessions;
use crate::analysis::across::across;
use crate::analysis::questions::{Answer, Finding, Findings, Question};
use crate::analysis::table::Table;
use crate::analysis::verdict::conformity::Outcome;
use crate::session::{Fact, Kind, Session};
use crate::text::one_line;

/// What is kept of a session once its recordings are closed.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Surveyed {
    /// How the session was named.
    pub session: String,
    /// Its title.
    pub title: String,
    /// Its facts.
    #[serde(skip)]
    pub facts: Vec<Fact>,
    /// The value of the fact that the survey groups by.
    pub by: Option<String>,
    /// Every fault of it in one sentence.
    pub headline: String,
    /// Its answers to a tester's questions.
    pub questions: Vec<Asked>,
    /// Its judged blocks.
    pub blocks: Vec<Block>,
}

/// One answer, in short.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Asked {
    /// The question.
    pub question: Question,
    /// Label of the source; empty for a question about the whole ride.
    pub source: String,
    /// The answer.
    pub outcome: Finding,
    /// The number that decides, in `unit`.
    pub value: Option<f64>,
    /// Its unit.
    pub unit: &'static str,
}

/// One judged block.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Block {
    /// The segment, by its number.
    pub segment: usize,
    /// Its kind.
    pub kind: Kind,
    /// Its set point, W.
    pub set_point_w: Option<f64>,
    /// Label of the source under test.
    pub under_test: String,
    /// Label of what it was compared with.
    pub reference: String,
    /// Seconds with both values.
    pub n: usize,
    /// Net bias, %.
    pub bias_percent: f64,
    /// Its expanded uncertainty, %.
    #[serde(skip)]
    pub expanded_percent: Option<f64>,
    /// What the claim allows, ± %.
    #[serde(skip)]
    pub limit_percent: Option<f64>,
    /// Its verdict.
    pub outcome: Outcome,
}

/// A session that could not be used.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Skipped {
    /// How it was named.
    pub session: String,
    /// Why.
    pub reason: String,
}

/// The whole of `truing survey --format json`.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Survey {
    /// The fact grouped by.
    pub by: Option<String>,
    /// The sessions used, in the order given.
    pub sessions: Vec<Surveyed>,
    /// One entry a value of the fact, kind and set point; then one over all blocks of each value.
    pub groups: Vec<GroupFigures>,
    /// The sessions left out.
    pub skipped: Vec<Skipped>,
}

/// Blocks that ask the same.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GroupFigures {
    /// Value of the fact grouped by; null without one.
    pub by: Option<String>,
    /// Kind of the blocks; null for all judged blocks together.
    pub kind: Option<Kind>,
    /// Their set point, W: the mean of those within 5 %; null where they have none or differ more.
    pub set_point_w: Option<f64>,
    /// Precision of the bias, all figures in % (variances in %²).
    pub precision: AcrossSessions,
    /// Mean bias of each session that has such blocks.
    pub sessions: Vec<SessionMean>,
}

/// One session's share in a group.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SessionMean {
    /// How the session was named.
    pub session: String,
    /// Number of blocks.
    pub blocks: usize,
    /// Mean of their biases, %.
    pub bias_percent: f64,
    /// Mean of their expanded uncertainties, %: what the references leave open does not shrink.
    #[serde(skip)]
    pub expanded_percent: Option<f64>,
    /// Mean of what the claim allows them, ± %.
    #[serde(skip)]
    pub limit_percent: Option<f64>,
}

impl Surveyed {
    /// What a survey needs of a session: its judged blocks. An open stretch is none (a warm-up asks
    /// nothing that another day repeats).
    pub fn new(
        named: &str,
        session: &Session,
        (table, findings): (&Table, &Findings),
        by: Option<&str>,
    ) -> Self {
        let value = by.and_then(|key| session.facts.iter().find(|fact| fact.key == key));
        let mut blocks = Vec::new();
        for segment in &table.segments {
            for verdict in segment.verdict.iter().chain(&segment.further_verdicts) {
                let unfit = matches!(
                    verdict.outcome,
                    Outcome::NotApplicable | Outcome::ReferencesDisagree
                );
                if let (Some(bias_percent), false) = (verdict.bias_percent, unfit) {
                    blocks.push(Block {
                        segment: segment.id,
                        kind: segment.kind,
                        set_point_w: segment.set_point_w,
                        under_test: verdict.under_test.clone(),
                        reference: verdict.reference.clone(),
                        n: verdict.n,
                        bias_percent,
                        expanded_percent: verdict.expanded_uncertainty_percent,
                        limit_percent: verdict.limit_percent,
                        outcome: verdict.outcome,
                    });
                }
            }
        }
        Self {
            session: named.to_owned(),
            title: session.title.clone(),
            facts: session.facts.clone(),
            by: value.map(|fact| one_line(&fact.value)),
            headline: findings.headline.clone(),
            questions: findings.answers.iter().map(Asked::of).collect(),
            blocks,
        }
    }
}

impl Asked {
    fn of(answer: &Answer) -> Self {
        Self {
            question: answer.question,
            source: answer.source.clone(),
            outcome: answer.outcome,
            value: answer.value,
            unit: answer.unit,
        }
    }
}

/// What blocks have in common: value of the fact, kind, level of set points by its place.
type Key = (Option<String>, Option<usize>, Option<usize>);

/// Set points up to this far above the lowest of them ask the same, share of it: a block at 180 W
/// and one at 181 W on another day are repeats.
const SAME_LEVEL: f64 = 0.05;

/// The set points of all blocks, sorted, in levels that ask the same.
fn levels(sessions: &[Surveyed]) -> Vec<Vec<f64>> {
    let blocks = sessions.iter().flat_map(|session| &session.blocks);
    let mut set_points: Vec<f64> = blocks.filter_map(|b| b.set_point_w).collect();
    set_points.sort_by(f64::total_cmp);
    let mut levels: Vec<Vec<f64>> = Vec::new();
    for watts in set_points {
        match levels.last_mut() {
            Some(level) if watts <= level[0] * (1.0 + SAME_LEVEL) => level.push(watts),
            _ => levels.push(vec![watts]),
        }
    }
    levels
}

/// Groups the blocks and computes the precision of each group.
pub fn survey(by: Option<&str>, sessions: Vec<Surveyed>, skipped: Vec<Skipped>) -> Survey {
    let levels = levels(&sessions);
    let level_of = |watts: f64| levels.iter().position(|level| level.contains(&watts));
    let level_w = |index: usize| {
        let level = levels.get(index)?;
        let mean = level.iter().sum::<f64>() / level.len() as f64;
        Some((mean * 10.0).round() / 10.0)
    };
    let mut groups: BTreeMap<Key, Vec<(usize, &Block)>> = BTreeMap::new();
    let mut totals: BTreeMap<Key, Vec<(usize, &Block)>> = BTreeMap::new();
    for (index, session) in sessions.iter().enumerate() {
        for block in &session.blocks {
            let kind = Kind::ALL.iter().position(|kind| *kind == block.kind);
            let set_point = block.set_point_w.and_then(level_of);
            let value = (index, block);
            groups
                .entry((session.by.clone(), kind, set_point))
                .or_default()
                .push(value);
            totals
                .entry((session.by.clone(), None, None))
                .or_default()
                .push(value);
        }
    }
    let groups = groups
        .iter()
        .chain(&totals)
        .map(|((by, kind, level), values)| GroupFigures {
            by: by.clone(),
            kind: kind.and_then(|index| Kind::ALL.get(index).copied()),
            set_point_w: level.and_then(level_w),
            ..figures(values, &sessions)
        })
        .collect();
    Survey {
        by: by.map(str::to_owned),
        sessions,
        groups,
        skipped,
    }
}

/// The figures of a group whose name is still to be given.
fn figures(values: &[(usize, &Block)], sessions: &[Surveyed]) -> GroupFigures {
    let per_session: Vec<Vec<&Block>> = (0..sessions.len())
        .map(|index| {
            let own = values.iter().filter(|(of, _)| *of == index);
            own.map(|(_, block)| *block).collect()
        })
        .collect();
    let means = per_session
        .iter()
        .zip(sessions)
        .filter(|(blocks, _)| !blocks.is_empty())
        .map(|(blocks, session)| {
            let mean = |of: fn(&Block) -> Option<f64>| {
                let sum: Option<f64> = blocks.iter().map(|block| of(block)).sum();
                sum.map(|sum| sum / blocks.len() as f64)
            };
            SessionMean {
                session: session.session.clone(),
                blocks: blocks.len(),
                bias_percent: mean(|b| Some(b.bias_percent)).unwrap_or(f64::NAN),
                expanded_percent: mean(|b| b.expanded_percent),
                limit_percent: mean(|b| b.limit_percent),
            }
        })
        .collect();
    let biases: Vec<Vec<f64>> = per_session
        .iter()
        .map(|blocks| blocks.iter().map(|b| b.bias_percent).collect())
        .collect();
    GroupFigures {
        by: None,
        kind: None,
        set_point_w: None,
        precision: across(&biases),
        sessions: means,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::table::table;
    use crate::plan::Plan;
    use crate::rehearse::{Scenario, SessionOptions, ride};
    use crate::timeline::Aligned;

    fn session(named: &str, by: Option<&str>, blocks: &[(f64, f64)]) -> Surveyed {
        let block = |(segment, (set_point, bias)): (usize, &(f64, f64))| Block {
            segment: segment + 1,
            kind: Kind::SteadyBlock,
            set_point_w: Some(*set_point),
            under_test: "trainer".into(),
            reference: "consensus".into(),
            n: 180,
            bias_percent: *bias,
            expanded_percent: Some(0.9),
            limit_percent: Some(2.0),
            outcome: Outcome::Conforms,
        };
        Surveyed {
            session: named.into(),
            title: format!("=ride {named}"),
            facts: Vec::new(),
            by: by.map(str::to_owned),
            headline: String::new(),
            questions: Vec::new(),
            blocks: blocks.iter().enumerate().map(block).collect(),
        }
    }

    fn two_firmwares() -> Survey {
        let sessions = vec![
            session(
                "monday",
                Some("1.0"),
                &[(150.0, 1.0), (150.0, 1.2), (250.0, 2.0)],
            ),
            session(
                "tuesday",
                Some("1.0"),
                &[(150.0, 2.0), (150.0, 2.2), (250.0, 3.0)],
            ),
            session(
                "friday",
                Some("1.1"),
                &[(150.0, 0.1), (150.0, -0.1), (250.0, 0.2)],
            ),
        ];
        let skipped = vec![Skipped {
            session: "sunday".into(),
            reason: "sunday/session.toml: no session here".into(),
        }];
        survey(Some("firmware"), sessions, skipped)
    }

    #[test]
    fn blocks_are_grouped_by_fact_kind_and_set_point() {
        let found = two_firmwares();
        let keys: Vec<(Option<&str>, Option<f64>, usize)> = found
            .groups
            .iter()
            .map(|g| (g.by.as_deref(), g.set_point_w, g.precision.n))
            .collect();
        let expected = [
            (Some("1.0"), Some(150.0), 4),
            (Some("1.0"), Some(250.0), 2),
            (Some("1.1"), Some(150.0), 2),
            (Some("1.1"), Some(250.0), 1),
            (Some("1.0"), None, 6),
            (Some("1.1"), None, 3),
        ];
        assert_eq!(keys, expected);
        // By hand: means 1.1 and 2.1; s_r² = 0.02, MS between = 1.0, s_L² = (1 − 0.02)/2 = 0.49.
        let first = &found.groups[0].precision;
        assert!((first.mean.unwrap() - 1.6).abs() < 1e-12);
        assert!((first.repeatability_sd.unwrap() - 0.02_f64.sqrt()).abs() < 1e-12);
        assert!((first.between_session_sd.unwrap() - 0.7).abs() < 1e-12);
    }

    #[test]
    fn every_shape_is_compared_whole() {
        let found = two_firmwares();
        insta::assert_snapshot!("survey_text", text(&found));
        insta::assert_snapshot!("survey_csv", crate::text::csv(lines(&found)));
        insta::assert_snapshot!("survey_markdown", markdown(&found));
    }

    /// A row a unit under each set point; kinds are not joined, and nothing is.
    #[test]
    fn the_picture_is_a_forest_under_each_set_point() {
        use crate::export::figure::{Backdrop, svg};
        use crate::picture::parts::{Layer, Mark, Ticks};
        let drawn = picture(&two_firmwares()).unwrap();
        let Ticks::Rows(rows) = &drawn.y.ticks else {
            panic!("no rows");
        };
        let names: Vec<&str> = rows.iter().map(|row| row.name.trim()).collect();
        let expected = [
            "150 W, steady-block",
            "firmware 1.0",
            "firmware 1.1",
            "250 W, steady-block",
            "firmware 1.0",
            "firmware 1.1",
        ];
        assert_eq!(names, expected);
        let means = drawn.layers.iter().filter_map(|layer| match layer {
            Layer::Points { points, mark, .. } if *mark != Mark::Dot => Some(points[0]),
            _ => None,
        });
        let means: Vec<[f64; 2]> = means.collect();
        assert_eq!(means.len(), 4, "one a unit and set point");
        // By hand: the sessions' means 1.1 and 2.1.
        assert!((means[0][0] - 1.6).abs() < 1e-12 && means[0][1] == 1.0);
        for layer in &drawn.layers {
            if let Layer::Line { points, .. } = layer {
                assert!(points.len() == 2 && points[0][1] == points[1][1]);
            }
        }
        assert!(!svg(&drawn, 800, Backdrop::Light).unwrap().contains("NaN"));
        assert!(picture(&Survey::default()).is_err());
    }

    #[test]
    fn set_points_that_ask_the_same_meet() {
        let sessions = vec![
            session("monday", None, &[(180.0, 1.0), (250.0, 1.0)]),
            session("tuesday", None, &[(181.0, 2.0), (262.0, 2.0), (263.0, 2.0)]),
        ];
        let found = survey(None, sessions, Vec::new());
        let groups = found.groups.iter().filter(|g| g.kind.is_some());
        let groups: Vec<(Option<f64>, usize)> =
            groups.map(|g| (g.set_point_w, g.precision.n)).collect();
        // 262 W is within 5 % of 250 W, 263 W is not.
        assert_eq!(
            groups,
            [(Some(180.5), 2), (Some(256.0), 2), (Some(263.0), 1)]
        );
        assert_eq!(found.groups[0].precision.sessions, 2);
    }

    /// Forty rides whose trainer's scale is off by a different amount each day.
    #[test]
    fn forty_rides_recover_the_spread_they_were_made_with() {
        use rayon::prelude::*;
        const BETWEEN_PERCENT: f64 = 0.8;
        let plan = Plan::from_toml(
            "three blocks",
            "title = \"Three blocks\"\npurpose = \"A test.\"\ncovers = [\"bias\"]\n\
             [[phase]]\nkind = \"steady-block\"\nduration_s = 150\nset_point_w = 130\n\
             cadence_rpm = 85\ngear = \"50/17\"\n\
             [[phase]]\nkind = \"steady-block\"\nduration_s = 150\nset_point_w = 200\n\
             [[phase]]\nkind = \"steady-block\"\nduration_s = 150\nset_point_w = 270\n",
        )
        .unwrap();
        // Normal quantiles, so that the forty have this standard deviation whatever the seed.
        let offsets: Vec<f64> = (0..40)
            .map(|i| crate::stats::normal_quantile((f64::from(i) + 0.5) / 40.0))
            .collect();
        let sd = (offsets.iter().map(|z| z * z).sum::<f64>() / 39.0).sqrt();
        let sessions: Vec<Surveyed> = offsets
            .par_iter()
            .enumerate()
            .map(|(day, z)| {
                let mut scenario = Scenario::default();
                let trainer = &mut scenario.devices[0];
                trainer.gain_percent = 1.0 + BETWEEN_PERCENT * z / sd;
                let options = SessionOptions {
                    clocks_known: true,
                    tagged: true,
                };
                let opened = ride(&plan, &scenario, 1000 + day as u64)
                    .unwrap()
                    .opened(options);
                let figures = table(&opened.session, &Aligned::new(&opened));
                Surveyed::new(
                    &format!("day {day}"),
                    &opened.session,
                    (&figures, &Findings::default()),
                    None,
                )
            })
            .collect();
        let found = survey(None, sessions, Vec::new());
        let all = found.groups.iter().find(|g| g.kind.is_none()).unwrap();
        let [low, high] = all.precision.between_session_ci95.unwrap();
        assert_eq!((all.precision.sessions, all.precision.n), (40, 120));
        assert!(
            low < BETWEEN_PERCENT && BETWEEN_PERCENT < high,
            "[{low}, {high}]"
        );
        assert!(high - low < BETWEEN_PERCENT, "the interval says something");
        assert!(all.precision.repeatability_sd.unwrap() < 0.5 * BETWEEN_PERCENT);
        // The trainer gets 0.1 % less than the allowance says, and reads 1 % more of it.
        assert!(
            (all.precision.mean.unwrap() - 0.9).abs() < 0.1,
            "{:?}",
            all.precision.mean
        );
    }
}
