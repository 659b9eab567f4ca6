//! Two values of a fact against each other: whether units, days or firmwares read alike.
//!
//! Blocks that ask the same (kind, set point within 5 % or, without one, power; gear, mode, what they are
//! compared with) are paired. With four rides or more on either side rides are the sample (Welch on
//! their means); with fewer the spread of repeated rides of all values together stands in, where it has
//! two degrees of freedom; else the pairs are the sample, and a single pair has its seconds alone. What
//! the rides share cancels (`cancel`); what they do not share counts in full.

use std::collections::BTreeMap;

use serde::Serialize;

use super::cancel::{Cancels, cancels};
use super::groups::{level_of, levels, middle, set_points};
use super::model::{Block, Surveyed};
use crate::session::Kind;
use crate::stats::compare::{Difference, LEVEL, critical_difference, holm, values_needed};
use crate::stats::{Interval, NORMAL_95};
use crate::text::{listed, number, one_line, plural};

/// What a contrast says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Said {
    /// The 90 % limits lie within the margin.
    Alike,
    /// The 95 % limits lie beyond it.
    Differ,
    /// Neither.
    CannotTell,
}

/// What the limits rest on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// Means of rides, each side with its own spread.
    Rides,
    /// Means of rides, with the spread of all repeated rides.
    Repeats,
    /// Differences of paired blocks.
    Pairs,
    /// The seconds of a single pair.
    Seconds,
    /// Nothing in common.
    Nothing,
}

/// Two values of a fact against each other.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Contrast {
    /// The fact.
    pub key: String,
    /// One value.
    pub a: String,
    /// The other.
    pub b: String,
    /// Paired blocks.
    pub n: usize,
    /// Mean bias of `a` less that of `b`, percentage points.
    pub mean_percent: Option<f64>,
    /// Its 95 % limits.
    pub ci95_percent: Option<Interval>,
    /// Its 90 % limits.
    pub ci90_percent: Option<Interval>,
    /// Up to where they count as alike, ± percentage points.
    pub margin_percent: Option<f64>,
    /// What it says, all contrasts of one survey taken together.
    pub outcome: Said,
    /// Rides of each that are still to be ridden; null where no number decides.
    pub rides_needed: Option<usize>,
    /// Whether the scale of the references and the loss cancel.
    pub cancels: bool,
    /// Why, or why not.
    pub cancels_because: String,
    /// What the limits rest on.
    pub basis: Basis,
    /// Rides with such blocks, of `a` and of `b`.
    pub rides: [usize; 2],
    /// Standard uncertainty of the mean, percentage points.
    pub standard_uncertainty_percent: Option<f64>,
    /// Degrees of freedom of that; null for infinite.
    pub degrees_of_freedom: Option<f64>,
    /// What the seconds of the blocks alone leave open, half-width of 95 % limits, percentage points.
    pub seconds_half95_percent: Option<f64>,
    /// P of a difference this large were there none.
    pub p_differs: Option<f64>,
    /// P of one this far beyond the margin were it at the margin.
    pub p_beyond: Option<f64>,
    /// P of the two one-sided tests.
    pub p_alike: Option<f64>,
    /// The same three, by Holm over all contrasts.
    pub p_differs_holm: Option<f64>,
    /// See there.
    pub p_beyond_holm: Option<f64>,
    /// See there.
    pub p_alike_holm: Option<f64>,
    /// Whether it differs from zero.
    pub differs_from_zero: bool,
    /// Whether it lies beyond the margin.
    pub beyond_margin: bool,
    /// What two rides of one may differ by (ISO 5725-6).
    pub critical_difference_percent: Option<f64>,
    /// Facts in which the two sides differ as well.
    pub also_differ: Vec<String>,
    /// The pairs.
    pub pairs: Vec<Pair>,
    /// The answer in a sentence.
    pub sentence: String,
}

/// Blocks of both that ask the same.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Pair {
    /// Their kind.
    pub kind: Kind,
    /// Their set point, or the power where there is none, W.
    pub set_point_w: f64,
    /// Mean bias of `a`, %.
    pub a_percent: f64,
    /// Mean bias of `b`, %.
    pub b_percent: f64,
    /// The difference, percentage points.
    pub difference_percent: f64,
}

/// What is asked: a fact and, unless every pair of its values, two of them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wanted {
    /// The fact.
    pub key: String,
    /// Two of its values.
    pub values: Option<[String; 2]>,
}

impl std::str::FromStr for Wanted {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        const SHAPE: &str = "write KEY=A,B, as in unit=3,4, or KEY alone for every pair";
        let (key, values) = match text.split_once('=') {
            Some((key, values)) => (key.trim(), Some(values)),
            None => (text.trim(), None),
        };
        if key.is_empty() {
            return Err(format!("no fact is named: {SHAPE}"));
        }
        let values = match values {
            None => None,
            Some(values) => match values.split(',').map(str::trim).collect::<Vec<_>>()[..] {
                [a, b] if a.is_empty() || b.is_empty() => {
                    return Err(format!("a value is missing: {SHAPE}"));
                }
                [a, b] if a == b => {
                    return Err(format!("{a} is compared with itself: {SHAPE}"));
                }
                [a, b] => Some([a.to_owned(), b.to_owned()]),
                _ => return Err(format!("two values are compared: {SHAPE}")),
            },
        };
        Ok(Self {
            key: key.to_owned(),
            values,
        })
    }
}

impl Wanted {
    /// The pairs of values asked for.
    ///
    /// # Errors
    /// Why there are none, with the way out.
    fn pairs(&self, sessions: &[Surveyed]) -> Result<Vec<[String; 2]>, String> {
        let key = &self.key;
        let mut there: Vec<String> = sessions.iter().filter_map(|s| s.fact(key)).collect();
        there.sort_unstable();
        there.dedup();
        if there.is_empty() {
            return Err(format!(
                "no session used states `{key}`: write {key} = \"...\" under [facts] in each session.toml{}",
                others(sessions)
            ));
        }
        match &self.values {
            Some(values) => {
                if let Some(missing) = values.iter().find(|value| !there.contains(value)) {
                    return Err(format!(
                        "no session used has {key} = \"{missing}\"; there is {}",
                        listed(&there)
                    ));
                }
                Ok(vec![values.clone()])
            }
            None if there.len() < 2 => Err(format!(
                "every session used has {key} = \"{}\": a contrast takes two values; add rides of another",
                there[0]
            )),
            None => {
                let pair = |(index, a): (usize, &String)| {
                    let others = there[index + 1..].iter();
                    others.map(|b| [a.clone(), b.clone()]).collect::<Vec<_>>()
                };
                Ok(there.iter().enumerate().flat_map(pair).collect())
            }
        }
    }
}

/// The facts that there are, for who named another.
fn others(sessions: &[Surveyed]) -> String {
    let facts = sessions.iter().flat_map(|session| &session.facts);
    let mut keys: Vec<&str> = facts.map(|fact| fact.key.as_str()).collect();
    keys.sort_unstable();
    keys.dedup();
    match keys.as_slice() {
        [] => String::new(),
        keys => format!("; stated are {}", listed(keys)),
    }
}

/// Every contrast that is asked for; what chance makes of many is held by Holm over all of them.
///
/// # Errors
/// Why there is none, with the way out.
pub fn contrasts(
    wanted: &[Wanted],
    margin_percent: Option<f64>,
    sessions: &[Surveyed],
) -> Result<Vec<Contrast>, String> {
    let mut found = Vec::new();
    for wanted in wanted {
        for [a, b] in wanted.pairs(sessions)? {
            found.push(contrast(&wanted.key, [&a, &b], margin_percent, sessions)?);
        }
    }
    decide(&mut found);
    Ok(found)
}

/// What is the same question of two rides.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Ask {
    /// Kind, by its place.
    kind: usize,
    /// Whether a set point was in force.
    is_held: bool,
    /// Level of the set points or powers, by its place.
    level: usize,
    /// Gear, by its place.
    gear: usize,
    /// The trainer's mode.
    mode: String,
    /// What it is compared with.
    reference: String,
}

/// Mean of a ride's blocks that ask the same.
#[derive(Clone, Copy, Debug)]
struct Cell {
    bias: f64,
    seconds: f64,
    references: f64,
    loss: f64,
    limit: Option<f64>,
}

/// What each ride says to each question.
type Ridden = Vec<BTreeMap<Ask, Cell>>;

/// Gears nearer than this are one, share of the smaller.
const SAME_GEAR: f64 = 0.03;

/// The set point, or the power where there is none.
fn level_w(block: &Block) -> f64 {
    block.set_point_w.unwrap_or(block.power_w)
}

/// The questions that each ride answers, and their powers.
fn ridden(rides: &[&Surveyed]) -> (Ridden, Vec<Vec<f64>>) {
    let first = |ride: &'_ Surveyed| {
        let blocks = ride.blocks.iter();
        blocks
            .filter(|block| block.is_first)
            .cloned()
            .collect::<Vec<_>>()
    };
    let all: Vec<Vec<Block>> = rides.iter().map(|ride| first(ride)).collect();
    let powers = set_points(all.iter().flatten().map(level_w));
    let gears = levels(all.iter().flatten().filter_map(|b| b.gear_m), SAME_GEAR);
    // A gear or mode that nobody recorded is the only one there is; among several it stands for itself.
    let gear = |block: &Block| match (block.gear_m, gears.len()) {
        (_, 0 | 1) => 0,
        (Some(metres), _) => level_of(&gears, metres).map_or(0, |at| at + 1),
        (None, _) => 0,
    };
    let mut modes: Vec<&str> = all.iter().flatten().map(|b| b.mode.as_str()).collect();
    modes.retain(|mode| !mode.is_empty());
    modes.sort_unstable();
    modes.dedup();
    let mode = |block: &Block| match modes.len() {
        0 | 1 => String::new(),
        _ => block.mode.clone(),
    };
    let answers = all.iter().map(|blocks| {
        let mut asks: BTreeMap<Ask, Vec<&Block>> = BTreeMap::new();
        for block in blocks {
            let kind = Kind::ALL.iter().position(|kind| *kind == block.kind);
            let level = level_of(&powers, level_w(block));
            if let (Some(kind), Some(level)) = (kind, level) {
                let ask = Ask {
                    kind,
                    is_held: block.set_point_w.is_some(),
                    level,
                    gear: gear(block),
                    mode: mode(block),
                    reference: block.reference.clone(),
                };
                asks.entry(ask).or_default().push(block);
            }
        }
        let cells = asks
            .into_iter()
            .map(|(ask, blocks)| (ask, Cell::of(&blocks)));
        cells.collect::<BTreeMap<Ask, Cell>>()
    });
    (answers.collect(), powers)
}

impl Cell {
    fn of(blocks: &[&Block]) -> Self {
        let n = blocks.len() as f64;
        let mean = |of: fn(&Block) -> f64| blocks.iter().map(|b| of(b)).sum::<f64>() / n;
        let limits: Option<f64> = blocks.iter().map(|b| b.limit_percent).sum();
        Self {
            bias: mean(|b| b.bias_percent),
            seconds: (mean(|b| b.parts.seconds.powi(2)) / n).sqrt(),
            references: mean(|b| b.parts.references),
            loss: mean(|b| b.parts.loss),
            limit: limits.map(|sum| sum / n),
        }
    }
}

/// The rides of one value that answer one of these questions.
fn of_value(ridden: &Ridden, asks: &[Ask]) -> Vec<usize> {
    let answers = |index: &usize| asks.iter().any(|ask| ridden[*index].contains_key(ask));
    (0..ridden.len()).filter(answers).collect()
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, n) = values.fold((0.0, 0.0), |(sum, n), v| (sum + v, n + 1.0));
    sum / n
}

/// Mean over these rides of what they say to `ask`.
fn mean_of(ridden: &Ridden, rides: &[usize], ask: &Ask, of: fn(&Cell) -> f64) -> f64 {
    mean(
        rides
            .iter()
            .filter_map(|ride| ridden[*ride].get(ask))
            .map(of),
    )
}

/// Mean of each ride over the questions, what `middle` says taken off, so that a ride that lacks one
/// is not judged by the others' level.
fn ride_means(ridden: &Ridden, rides: &[usize], asks: &[(Ask, f64)]) -> Vec<Vec<f64>> {
    let own = |ride: &usize| {
        let cells = asks.iter().filter_map(|(ask, middle)| {
            let cell = ridden[*ride].get(ask)?;
            Some(cell.bias - middle)
        });
        cells.collect::<Vec<f64>>()
    };
    rides.iter().map(own).collect()
}

fn contrast(
    key: &str,
    [a, b]: [&String; 2],
    margin: Option<f64>,
    sessions: &[Surveyed],
) -> Result<Contrast, String> {
    let valued: Vec<(&Surveyed, String)> = sessions
        .iter()
        .filter_map(|session| Some((session, session.fact(key)?)))
        .collect();
    let rides: Vec<&Surveyed> = valued.iter().map(|(ride, _)| *ride).collect();
    let with = |value: &String| {
        let all = valued.iter().enumerate();
        let own = all.filter(|(_, (_, of))| of == value);
        own.map(|(index, _)| index).collect::<Vec<usize>>()
    };
    let (all_a, all_b) = (with(a), with(b));
    let (ridden, powers) = ridden(&rides);
    let asked_of = |of: &[usize]| {
        let asks = of.iter().flat_map(|ride| ridden[*ride].keys().cloned());
        asks.collect::<std::collections::BTreeSet<Ask>>()
    };
    let asks: Vec<Ask> = asked_of(&all_a)
        .intersection(&asked_of(&all_b))
        .cloned()
        .collect();
    let only = |of: &[usize]| {
        let own = of_value(&ridden, &asks);
        own.into_iter()
            .filter(|ride| of.contains(ride))
            .collect::<Vec<usize>>()
    };
    let (in_a, in_b) = (only(&all_a), only(&all_b));
    let bias = |cell: &Cell| cell.bias;
    let pairs: Vec<Pair> = asks
        .iter()
        .map(|ask| {
            let of = |rides: &[usize]| mean_of(&ridden, rides, ask, bias);
            let (a_percent, b_percent) = (of(&in_a), of(&in_b));
            Pair {
                kind: Kind::ALL[ask.kind],
                set_point_w: powers
                    .get(ask.level)
                    .map_or(f64::NAN, |level| middle(level)),
                a_percent,
                b_percent,
                difference_percent: a_percent - b_percent,
            }
        })
        .collect();
    let between: Vec<&Surveyed> = in_a.iter().chain(&in_b).map(|ride| rides[*ride]).collect();
    let cancels = cancels(&between);
    let margin = margin.or_else(|| half_the_claim(&ridden, [&in_a, &in_b], &asks));
    let Some(margin) = margin.filter(|_| !pairs.is_empty()).or(margin) else {
        return match pairs.is_empty() {
            true => Ok(nothing(key, [a, b], None, &[&all_a, &all_b], &rides)),
            false => Err(format!(
                "{} against {}: no claim is stated to take half of; say how far two may differ and still count as alike: --margin PERCENT",
                called(key, a),
                called(key, b)
            )),
        };
    };
    if pairs.is_empty() {
        return Ok(nothing(
            key,
            [a, b],
            Some(margin),
            &[&all_a, &all_b],
            &rides,
        ));
    }
    let centred: Vec<(Ask, f64)> = asks
        .iter()
        .zip(&pairs)
        .map(|(ask, pair)| (ask.clone(), 0.5 * (pair.a_percent + pair.b_percent)))
        .collect();
    let sides = [&in_a, &in_b].map(|side| ride_means(&ridden, side, &centred));
    let means = sides.clone().map(|side| {
        side.iter()
            .map(|own| mean(own.iter().copied()))
            .collect::<Vec<f64>>()
    });
    let repeats = repeats(key, sessions, &rides, &ridden, &asks);
    let seconds = seconds(&ridden, [&in_a, &in_b], &asks);
    let (basis, found) = difference(&means, &pairs, repeats, seconds);
    let sd = spread(basis, &means, repeats, found);
    let (open, found) = with_what_is_open(found, &cancels, |of| {
        let side = |rides: &[usize]| mean(asks.iter().map(|ask| mean_of(&ridden, rides, ask, of)));
        side(&in_a).hypot(side(&in_b))
    });
    let mut contrast = Contrast {
        n: pairs.len(),
        mean_percent: Some(found.estimate),
        ci95_percent: found.limits(LEVEL),
        ci90_percent: found.limits(2.0 * LEVEL),
        cancels: cancels.references && cancels.loss,
        cancels_because: cancels.why,
        basis,
        rides: [in_a.len(), in_b.len()],
        standard_uncertainty_percent: Some(found.standard),
        seconds_half95_percent: Some(NORMAL_95 * seconds),
        degrees_of_freedom: found.dof.is_finite().then_some(found.dof),
        p_differs: found.p_differs(),
        p_beyond: found.p_beyond(margin),
        p_alike: found.p_alike(margin),
        critical_difference_percent: two_rides(&sides),
        also_differ: also_differ(key, [&in_a, &in_b], &rides),
        pairs,
        ..nothing(key, [a, b], Some(margin), &[&all_a, &all_b], &rides)
    };
    let needed = values_needed(found.estimate, sd, open, margin);
    let least = in_a.len().min(in_b.len());
    contrast.rides_needed = needed.map(|n| n.saturating_sub(least).max(1));
    Ok(contrast)
}

/// Standard uncertainty of the mean difference from the seconds of the blocks alone.
fn seconds(ridden: &Ridden, sides: [&[usize]; 2], asks: &[Ask]) -> f64 {
    let of_side = |ask: &Ask, side: &[usize]| {
        let cells = side.iter().filter_map(|ride| ridden[*ride].get(ask));
        let (sum, n) = cells.fold((0.0, 0.0), |(sum, n), cell| {
            (sum + cell.seconds.powi(2), n + 1.0)
        });
        sum / (n * n)
    };
    let each = asks.iter().map(|ask| sides.map(|side| of_side(ask, side)));
    each.flatten().sum::<f64>().sqrt() / asks.len() as f64
}

/// Half of what the claim allows: the smaller of both sides.
fn half_the_claim(ridden: &Ridden, sides: [&[usize]; 2], asks: &[Ask]) -> Option<f64> {
    let side = |rides: &[usize]| {
        let cells = rides
            .iter()
            .flat_map(|ride| asks.iter().filter_map(|ask| ridden[*ride].get(ask)));
        let limits = cells
            .filter_map(|cell| cell.limit)
            .filter(|limit| *limit > 0.0);
        let limits: Vec<f64> = limits.collect();
        (!limits.is_empty()).then(|| mean(limits.into_iter()))
    };
    let [one, other] = sides.map(side);
    // To a millionth: what a claim of 2 % allows at 181 W is 2 %.
    let half = 0.5 * one?.min(other?);
    Some((half * 1e6).round() / 1e6)
}

/// Variance of the means of repeated rides about those of their own value, and its degrees of freedom.
fn repeats(
    key: &str,
    sessions: &[Surveyed],
    rides: &[&Surveyed],
    ridden: &Ridden,
    asks: &[Ask],
) -> (f64, f64) {
    let mut values: Vec<String> = sessions.iter().filter_map(|s| s.fact(key)).collect();
    values.sort_unstable();
    values.dedup();
    let (mut squares, mut dof) = (0.0, 0.0);
    for value in values {
        let mut own = of_value(ridden, asks);
        own.retain(|ride| rides[*ride].fact(key).as_ref() == Some(&value));
        if own.len() < 2 {
            continue;
        }
        let middles: Vec<(Ask, f64)> = asks
            .iter()
            .map(|ask| (ask.clone(), mean_of(ridden, &own, ask, |cell| cell.bias)))
            .collect();
        let means = ride_means(ridden, &own, &middles);
        squares += means
            .iter()
            .map(|own| mean(own.iter().copied()).powi(2))
            .sum::<f64>();
        dof += (own.len() - 1) as f64;
    }
    (squares / dof, dof)
}

/// Rides a side from which each side's own spread says more than that of all repeated rides together: of
/// three each, Welch's limits hold 97 % and are a sixth wider than they need be.
const LEAST_RIDES: usize = 4;

/// Degrees of freedom from which repeated rides say something of the spread: with one the limits are
/// thirteen times the standard uncertainty wide.
const LEAST_REPEATS: f64 = 2.0;

fn difference(
    means: &[Vec<f64>; 2],
    pairs: &[Pair],
    (variance, dof): (f64, f64),
    seconds: f64,
) -> (Basis, Difference) {
    let [a, b] = means;
    let estimate = mean(a.iter().copied()) - mean(b.iter().copied());
    let few = a.len().min(b.len()) < LEAST_RIDES;
    if let Some(welch) = Difference::welch(a, b).filter(|_| !few || dof < LEAST_REPEATS) {
        return (Basis::Rides, welch);
    }
    if dof >= LEAST_REPEATS {
        let each = 1.0 / a.len() as f64 + 1.0 / b.len() as f64;
        let standard = (variance * each).sqrt();
        return (
            Basis::Repeats,
            Difference {
                estimate,
                standard,
                dof,
            },
        );
    }
    let differences: Vec<f64> = pairs.iter().map(|pair| pair.difference_percent).collect();
    if let Some(paired) = Difference::paired(&differences) {
        return (Basis::Pairs, paired);
    }
    (
        Basis::Seconds,
        Difference {
            estimate,
            standard: seconds,
            dof: f64::INFINITY,
        },
    )
}

/// Standard deviation of one ride's mean, as far as it is known.
fn spread(
    basis: Basis,
    [a, b]: &[Vec<f64>; 2],
    (variance, _): (f64, f64),
    found: Difference,
) -> f64 {
    match basis {
        Basis::Repeats => variance.sqrt(),
        Basis::Rides => found.standard / (1.0 / a.len() as f64 + 1.0 / b.len() as f64).sqrt(),
        _ => found.standard / std::f64::consts::SQRT_2,
    }
}

/// With what does not cancel; that alone beside it.
fn with_what_is_open(
    found: Difference,
    cancels: &Cancels,
    both: impl Fn(fn(&Cell) -> f64) -> f64,
) -> (f64, Difference) {
    let references = if cancels.references {
        0.0
    } else {
        both(|cell| cell.references)
    };
    let loss = if cancels.loss {
        0.0
    } else {
        both(|cell| cell.loss)
    };
    let open = references.hypot(loss);
    match open > 0.0 {
        true => (open, found.with(open, f64::INFINITY)),
        false => (0.0, found),
    }
}

/// What two rides of one unit may differ by, from the spread of blocks within rides and of rides of one
/// value.
fn two_rides(sides: &[Vec<Vec<f64>>; 2]) -> Option<f64> {
    let (mut within, mut within_dof, mut between, mut between_dof) = (0.0, 0.0, 0.0, 0.0);
    let (mut blocks, mut rides) = (0.0, 0.0);
    for side in sides {
        let grand = mean(side.iter().map(|own| mean(own.iter().copied())));
        for own in side {
            let (n, middle) = (own.len() as f64, mean(own.iter().copied()));
            within += own.iter().map(|v| (v - middle).powi(2)).sum::<f64>();
            within_dof += n - 1.0;
            between += n * (middle - grand).powi(2);
            blocks += n;
            rides += 1.0;
        }
        between_dof += side.len() as f64 - 1.0;
    }
    if within_dof < 1.0 || between_dof < 1.0 {
        return None;
    }
    let (within, between, n) = (within / within_dof, between / between_dof, blocks / rides);
    let of_rides = ((between - within) / n).max(0.0);
    let n = n.round() as usize;
    critical_difference((within + of_rides).sqrt(), within.sqrt(), [n, n])
}

/// Facts that come from the day and say nothing of what was ridden.
const OF_THE_DAY: [&str; 3] = ["date", "origin", "plan"];

/// Facts in which the sides differ as well, each with its two values.
fn also_differ(key: &str, sides: [&[usize]; 2], rides: &[&Surveyed]) -> Vec<String> {
    let mut keys: Vec<&str> = rides
        .iter()
        .flat_map(|ride| ride.facts.iter().map(|fact| fact.key.as_str()))
        .filter(|other| *other != key && !OF_THE_DAY.contains(other))
        .collect();
    keys.sort_unstable();
    keys.dedup();
    let one = |side: &[usize], key: &str| {
        let mut values: Vec<Option<String>> =
            side.iter().map(|ride| rides[*ride].fact(key)).collect();
        values.dedup();
        match values.as_slice() {
            [value] => value.clone(),
            _ => None,
        }
    };
    let differ = keys.into_iter().filter_map(|key| {
        let [a, b] = sides.map(|side| one(side, key));
        let (a, b) = a.zip(b)?;
        (a != b).then(|| format!("{key} ({a} against {b})"))
    });
    differ.collect()
}

/// A contrast without a pair.
fn nothing(
    key: &str,
    [a, b]: [&String; 2],
    margin_percent: Option<f64>,
    sides: &[&[usize]; 2],
    rides: &[&Surveyed],
) -> Contrast {
    let powers = |side: &[usize]| {
        let blocks = side.iter().flat_map(|ride| rides[*ride].blocks.iter());
        let powers = set_points(blocks.map(level_w));
        let powers: Vec<String> = powers
            .iter()
            .map(|level| number(middle(level), 0, false))
            .collect();
        listed(&powers)
    };
    let [one, other] = sides.map(powers);
    Contrast {
        key: key.to_owned(),
        a: a.clone(),
        b: b.clone(),
        n: 0,
        mean_percent: None,
        ci95_percent: None,
        ci90_percent: None,
        margin_percent,
        outcome: Said::CannotTell,
        rides_needed: None,
        cancels: false,
        cancels_because: String::new(),
        basis: Basis::Nothing,
        rides: sides.map(<[usize]>::len),
        standard_uncertainty_percent: None,
        seconds_half95_percent: None,
        degrees_of_freedom: None,
        p_differs: None,
        p_beyond: None,
        p_alike: None,
        p_differs_holm: None,
        p_beyond_holm: None,
        p_alike_holm: None,
        differs_from_zero: false,
        beyond_margin: false,
        critical_difference_percent: None,
        also_differ: Vec::new(),
        pairs: Vec::new(),
        sentence: format!(
            "{} and {} have no block in common: held were {one} W against {other} W; ride the same plan with both, in the same gear and mode",
            called(key, a),
            called(key, b)
        ),
    }
}

/// Says of each what its p values say once all are counted.
fn decide(contrasts: &mut [Contrast]) {
    let adjusted = |of: fn(&Contrast) -> Option<f64>| {
        let there: Vec<f64> = contrasts.iter().filter_map(of).collect();
        let mut adjusted = holm(&there).into_iter();
        let each = contrasts
            .iter()
            .map(|c| of(c).and_then(|_| adjusted.next()));
        each.collect::<Vec<Option<f64>>>()
    };
    let differs = adjusted(|c| c.p_differs);
    let beyond = adjusted(|c| c.p_beyond);
    let alike = adjusted(|c| c.p_alike);
    let is_small = |p: Option<f64>| p.is_some_and(|p| p < LEVEL);
    let several = differs.iter().flatten().count();
    let all = contrasts.iter_mut().zip(differs).zip(beyond).zip(alike);
    for (((contrast, differs), beyond), alike) in all.filter(|(((c, _), _), _)| c.n > 0) {
        contrast.p_differs_holm = differs;
        contrast.p_beyond_holm = beyond;
        contrast.p_alike_holm = alike;
        contrast.differs_from_zero = is_small(differs);
        contrast.beyond_margin = is_small(beyond);
        contrast.outcome = match (contrast.beyond_margin, is_small(alike)) {
            (true, _) => Said::Differ,
            (_, true) => Said::Alike,
            _ => Said::CannotTell,
        };
        if contrast.outcome != Said::CannotTell {
            contrast.rides_needed = Some(0);
        }
        contrast.sentence = sentence(contrast, several);
    }
}

impl Contrast {
    /// Half-width of what the seconds leave open, where few pairs happen to agree much better than that.
    fn by_luck(&self) -> Option<f64> {
        const MUCH: f64 = 1.5;
        let [low, high] = self.ci95_percent.filter(|_| self.basis == Basis::Pairs)?;
        let half = self.seconds_half95_percent?;
        (half > MUCH * 0.5 * (high - low)).then_some(half)
    }
}

/// What a value of a fact is called: a bare number with its key before it.
pub fn called(key: &str, value: &str) -> String {
    let is_number = value.chars().all(|c| !c.is_alphabetic());
    match is_number {
        true => format!("{} {}", one_line(key), one_line(value)),
        false => one_line(value),
    }
}

/// The answer in a sentence.
fn sentence(contrast: &Contrast, several: usize) -> String {
    let key = one_line(&contrast.key);
    let [a, b] = [&contrast.a, &contrast.b].map(|value| called(&key, value));
    let margin = number(contrast.margin_percent.unwrap_or(f64::NAN), 2, false);
    let mean = contrast.mean_percent.unwrap_or(f64::NAN);
    let [low, high] = contrast.ci95_percent.unwrap_or([f64::NAN; 2]);
    let by = format!(
        "{} ± {} points",
        number(mean.abs(), 2, false),
        number(0.5 * (high - low), 2, false)
    );
    let side = if mean < 0.0 { "lower" } else { "higher" };
    let zero = match contrast.differs_from_zero {
        true => "statistically different from zero",
        false => "not different from zero",
    };
    let head = match contrast.outcome {
        Said::Alike => format!(
            "{a} and {b} read alike within ±{margin} points: {a} reads {by} {side}, {zero} and within the margin"
        ),
        Said::Differ => {
            format!("{a} reads {by} {side} than {b}: {zero} and beyond the margin of ±{margin}")
        }
        Said::CannotTell => format!(
            "whether {a} and {b} read alike within ±{margin} points cannot be told: {a} reads {by} {side}, {zero}, not clear of the margin"
        ),
    };
    let rests = match contrast.basis {
        Basis::Rides => format!(
            "from {} against {} (Welch on their means)",
            plural(contrast.rides[0], "ride"),
            contrast.rides[1]
        ),
        Basis::Repeats => format!(
            "from {} against {}, with the spread of all repeated rides",
            plural(contrast.rides[0], "ride"),
            contrast.rides[1]
        ),
        Basis::Pairs => format!(
            "from {}; too few rides to tell the day from the {key}{}",
            plural(contrast.n, "pair"),
            match contrast.n {
                2 => ", and a third set point in both would narrow it most",
                _ => "",
            }
        ),
        Basis::Seconds | Basis::Nothing => {
            format!("from one pair: its seconds alone, and nothing tells the day from the {key}")
        }
    };
    let mut said = format!("{head}; {rests}");
    if let Some(half) = contrast.by_luck() {
        said.push_str(&format!(
            "; the pairs agree better than their seconds lead one to expect, which is luck: reckon with ±{}",
            number(half, 2, false)
        ));
    }
    if several > 1 {
        said.push_str(&format!(
            "; chance among {several} contrasts allowed for (Holm)"
        ));
    }
    if contrast.outcome == Said::CannotTell {
        said.push_str(&match contrast.rides_needed {
            Some(rides) => format!("; about {} of each would tell", plural(rides, "more ride")),
            None if contrast.cancels => {
                "; it lies so near the margin that no number of rides would tell".to_owned()
            }
            None => "; no number of rides would tell while this much does not cancel".to_owned(),
        });
    }
    if !contrast.also_differ.is_empty() {
        said.push_str(&format!(
            "; they differ in {} as well, which may be why",
            listed(&contrast.also_differ)
        ));
    }
    said
}
