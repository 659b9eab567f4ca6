//! The pictures of a survey: a forest a set point, the questions by unit, the contrasts.

use super::compared;
use crate::analysis::questions::Finding;
use crate::analysis::survey::{Contrast, GroupFigures, Said, SessionMean, Survey, called};
use crate::export::ExportError;
use crate::export::figure::Picture;
use crate::picture::forest::{Entry, rows};
use crate::picture::gauge::look;
use crate::picture::parts::Mark;
use crate::picture::signs;
use crate::picture::survey as forest;
use crate::picture::tone::Tone;
use crate::session::Kind;
use crate::text::{machine_number, one_line, plural};

/// A forest under each set point: a row a unit (a value of the fact grouped by, else a session) with
/// the mean of its blocks and their expanded uncertainty, over what the claim allows.
///
/// # Errors
/// [`ExportError::NothingToDraw`] where no block has a set point.
pub fn set_points(survey: &Survey) -> Result<Picture, ExportError> {
    let groups = forests(survey);
    if groups.is_empty() {
        return Err(ExportError::NothingToDraw {
            kind: "survey",
            reason: match survey.matrix.units.is_empty() {
                true => format!(
                    "{} do not fit side by side; group them by a fact with --by",
                    compared::units(survey)
                ),
                false => "no session has a judged block with a set point".to_owned(),
            },
        });
    }
    let blocks = survey.groups.iter().filter(|g| g.kind.is_some());
    Ok(forest::of(
        "Bias of each unit by set point",
        vec![format!(
            "{}, {}. Net bias with its expanded uncertainty; green: the claim. Set points within 5 % stand together.",
            plural(survey.sessions.len(), "session"),
            plural(blocks.map(|g| g.precision.n).sum(), "block")
        )],
        &groups,
    ))
}

/// What stands under each set point; nothing where the units are too many to stand side by side.
pub(super) fn forests(survey: &Survey) -> Vec<forest::Group> {
    let mut asked: Vec<(Option<Kind>, f64)> = Vec::new();
    if survey.matrix.units.is_empty() {
        return Vec::new();
    }
    for group in &survey.groups {
        if let (Some(kind), Some(watts)) = (group.kind, group.set_point_w) {
            let one = (Some(kind), watts);
            if !asked.contains(&one) {
                asked.push(one);
            }
        }
    }
    asked.sort_by(|a, b| a.1.total_cmp(&b.1));
    let all = asked.into_iter();
    all.map(|(kind, watts)| forest_of(survey, kind, watts))
        .collect()
}

/// The units that were asked this.
fn forest_of(survey: &Survey, kind: Option<Kind>, watts: f64) -> forest::Group {
    let same = |group: &&GroupFigures| group.kind == kind && group.set_point_w == Some(watts);
    let mut units: Vec<(Option<String>, Vec<&SessionMean>)> = Vec::new();
    for group in survey.groups.iter().filter(same) {
        for mean in &group.sessions {
            let key = match &survey.by {
                Some(_) => group.by.clone(),
                None => Some(mean.session.clone()),
            };
            match units.iter_mut().find(|(known, _)| *known == key) {
                Some((_, rides)) => rides.push(mean),
                None => units.push((key, vec![mean])),
            }
        }
    }
    units.sort_by(|(one, _), (other, _)| one.cmp(other));
    let allowed: Vec<f64> = units
        .iter()
        .flat_map(|(_, rides)| rides.iter().filter_map(|ride| ride.limit_percent))
        .collect();
    let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
    forest::Group {
        name: match kind {
            Some(kind) => format!("{} W, {kind}", machine_number(watts)),
            None => format!("{} W", machine_number(watts)),
        },
        margin_percent: (!allowed.is_empty()).then(|| mean(&allowed)),
        units: units
            .into_iter()
            .map(|(key, rides)| {
                let biases: Vec<f64> = rides.iter().map(|ride| ride.bias_percent).collect();
                let mean_percent = mean(&biases);
                let halves: Vec<f64> = rides
                    .iter()
                    .filter_map(|ride| ride.expanded_percent)
                    .collect();
                let known = halves.len() == rides.len();
                forest::Unit {
                    name: match (&survey.by, key) {
                        (Some(by), Some(value)) => called(by, &value),
                        (Some(by), None) => format!("no {}", one_line(by)),
                        (None, name) => one_line(&name.unwrap_or_default()),
                    },
                    limits_percent: known.then(|| {
                        let half = mean(&halves);
                        [mean_percent - half, mean_percent + half]
                    }),
                    biases_percent: biases,
                    mean_percent,
                }
            })
            .collect(),
    }
}

/// The questions by unit: a sign a unit.
///
/// # Errors
/// [`ExportError::NothingToDraw`] where units are too many to stand side by side.
pub fn questions(survey: &Survey) -> Result<Picture, ExportError> {
    let matrix = &survey.matrix;
    if matrix.units.is_empty() {
        return Err(ExportError::NothingToDraw {
            kind: "survey",
            reason: format!(
                "{} do not fit side by side; group them by a fact with --by",
                compared::units(survey)
            ),
        });
    }
    let units: Vec<String> = matrix.units.iter().map(|unit| one_line(unit)).collect();
    let asked: Vec<signs::Asked> = matrix
        .ranked()
        .into_iter()
        .map(|row| signs::Asked {
            name: row.question.key().to_owned(),
            outcomes: row.cells.iter().map(|cell| cell.outcome).collect(),
        })
        .collect();
    Ok(signs::of(
        &format!("{}.", one_line(&survey.headline)),
        vec![format!(
            "Questions of {}. Orange diamond: a fault; ring: cannot tell; green disc: fine; none: not ridden.",
            compared::units(survey)
        )],
        &units,
        &asked,
    ))
}

/// The contrasts over their margins.
///
/// # Errors
/// [`ExportError::NothingToDraw`] where none has a pair.
pub fn contrasts(survey: &Survey) -> Result<Picture, ExportError> {
    let entry = |contrast: &Contrast| {
        Some(Entry {
            name: compared::name(contrast),
            value: contrast.mean_percent?,
            interval: contrast.ci90_percent?,
            limit: contrast.margin_percent?,
            look: contrast_look(contrast.outcome),
            word: compared::said(contrast.outcome),
        })
    };
    let entries: Vec<Entry> = survey.contrasts.iter().filter_map(entry).collect();
    if entries.is_empty() {
        return Err(ExportError::NothingToDraw {
            kind: "survey",
            reason: "no contrast has a pair of blocks; ask for one with --contrast".to_owned(),
        });
    }
    let facts = vec!["Difference with its 90 % limits; green: the margin. Alike lies within it, differ beyond it with 95 % limits.".to_owned()];
    Ok(rows(
        &format!("{}.", one_line(&survey.headline)),
        facts,
        &entries,
        "points",
    ))
}

/// To differ is no fault: ink.
const fn contrast_look(said: Said) -> (Tone, Mark) {
    match said {
        Said::Alike => look(Finding::Fine),
        Said::Differ => (Tone::Open, Mark::Diamond),
        Said::CannotTell => look(Finding::CannotTell),
    }
}
