//! Blocks that ask the same, over all sessions: the precision of their bias.

use std::collections::BTreeMap;

use serde::Serialize;

use super::model::{Block, Surveyed};
use crate::analysis::across::{AcrossSessions, across};
use crate::session::Kind;

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

/// What blocks have in common: value of the fact, kind, level of set points by its place.
type Key = (Option<String>, Option<usize>, Option<usize>);

/// Set points up to this far above the lowest of them ask the same, share of it: a block at 180 W
/// and one at 181 W on another day are repeats.
const SAME_LEVEL: f64 = 0.05;

/// Values in classes that ask the same, each by rising value.
pub(super) fn levels(values: impl Iterator<Item = f64>, same: f64) -> Vec<Vec<f64>> {
    let mut values: Vec<f64> = values.filter(|v| v.is_finite()).collect();
    values.sort_by(f64::total_cmp);
    let mut levels: Vec<Vec<f64>> = Vec::new();
    for value in values {
        match levels.last_mut() {
            Some(level) if value <= level[0] * (1.0 + same) => level.push(value),
            _ => levels.push(vec![value]),
        }
    }
    levels
}

/// Set points in levels that ask the same.
pub(super) fn set_points(values: impl Iterator<Item = f64>) -> Vec<Vec<f64>> {
    levels(values, SAME_LEVEL)
}

/// The level that holds a value, by its place.
pub(super) fn level_of(levels: &[Vec<f64>], value: f64) -> Option<usize> {
    let holds = |level: &Vec<f64>| level.first() <= Some(&value) && Some(&value) <= level.last();
    levels.iter().position(holds)
}

/// What a level is called: its mean, to a tenth.
pub(super) fn middle(level: &[f64]) -> f64 {
    let mean = level.iter().sum::<f64>() / level.len() as f64;
    (mean * 10.0).round() / 10.0
}

/// Groups the blocks and computes the precision of each group.
pub(super) fn groups(sessions: &[Surveyed]) -> Vec<GroupFigures> {
    let blocks = sessions.iter().flat_map(|session| &session.blocks);
    let levels = set_points(blocks.filter_map(|block| block.set_point_w));
    let mut groups: BTreeMap<Key, Members<'_>> = BTreeMap::new();
    let mut totals: BTreeMap<Key, Members<'_>> = BTreeMap::new();
    for session in sessions {
        for block in &session.blocks {
            let kind = Kind::ALL.iter().position(|kind| *kind == block.kind);
            let set_point = block.set_point_w.and_then(|watts| level_of(&levels, watts));
            let by = || session.by.clone();
            let group = groups.entry((by(), kind, set_point)).or_default();
            add(group, session, block);
            add(
                totals.entry((by(), None, None)).or_default(),
                session,
                block,
            );
        }
    }
    groups
        .iter()
        .chain(&totals)
        .map(|((by, kind, level), members)| GroupFigures {
            by: by.clone(),
            kind: kind.and_then(|index| Kind::ALL.get(index).copied()),
            set_point_w: level.and_then(|index| levels.get(index)).map(|l| middle(l)),
            ..figures(members)
        })
        .collect()
}

/// The blocks of a group, session by session.
type Members<'a> = Vec<(&'a Surveyed, Vec<&'a Block>)>;

fn add<'a>(members: &mut Members<'a>, session: &'a Surveyed, block: &'a Block) {
    match members.last_mut() {
        Some((last, blocks)) if std::ptr::eq(*last, session) => blocks.push(block),
        _ => members.push((session, vec![block])),
    }
}

/// The figures of a group whose name is still to be given.
fn figures(members: &Members<'_>) -> GroupFigures {
    let means = members.iter().map(|(session, blocks)| {
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
    });
    let biases: Vec<Vec<f64>> = members
        .iter()
        .map(|(_, blocks)| blocks.iter().map(|b| b.bias_percent).collect())
        .collect();
    GroupFigures {
        by: None,
        kind: None,
        set_point_w: None,
        precision: across(&biases),
        sessions: means.collect(),
    }
}
