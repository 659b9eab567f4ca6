//! A survey as text, CSV, Markdown and as a picture.

use super::{GroupFigures, SessionMean, Survey};
use crate::analysis::across::AcrossSessions;
use crate::analysis::questions::Finding;
use crate::export::ExportError;
use crate::export::figure::Picture;
use crate::picture::survey as forest;
use crate::session::Kind;
use crate::stats::Interval;
use crate::text::{
    Grid, Head, escaped, hanging, inert, interval, machine_number, number, one_line, optional,
    plural,
};

/// Width of the page, columns.
const WIDTH: usize = 80;

/// Columns of the CSV: name and meaning. One row a group and session.
pub const COLUMNS: [(&str, &str); 22] = [
    ("by", "Value of the fact grouped by."),
    ("kind", "Kind of the blocks; empty for all together."),
    ("set_point_w", "Set point of the blocks."),
    ("session", "The session, as named on the command line."),
    ("title", "Its title."),
    ("blocks", "Its blocks in this group."),
    ("bias_percent", "Mean of their biases."),
    ("group_sessions", "Sessions in the group."),
    ("group_blocks", "Blocks in the group."),
    ("group_bias_percent", "Mean of the sessions' means."),
    (
        "group_bias_ci95_lower_percent",
        "Its lower 95 % confidence limit.",
    ),
    (
        "group_bias_ci95_upper_percent",
        "Its upper 95 % confidence limit.",
    ),
    (
        "repeatability_sd_percent",
        "Standard deviation within a session (ISO 5725-2).",
    ),
    (
        "repeatability_ci95_lower_percent",
        "Its lower 95 % confidence limit.",
    ),
    (
        "repeatability_ci95_upper_percent",
        "Its upper 95 % confidence limit.",
    ),
    (
        "between_session_sd_percent",
        "Standard deviation between sessions.",
    ),
    (
        "between_session_ci95_lower_percent",
        "Its lower 95 % confidence limit.",
    ),
    (
        "between_session_ci95_upper_percent",
        "Its upper 95 % confidence limit.",
    ),
    (
        "reproducibility_sd_percent",
        "Standard deviation of one block on another day.",
    ),
    (
        "reproducibility_ci95_lower_percent",
        "Its lower 95 % confidence limit.",
    ),
    (
        "reproducibility_ci95_upper_percent",
        "Its upper 95 % confidence limit.",
    ),
    ("remark", "What to make of the group."),
];

/// The names of [`COLUMNS`], then one row a group and session.
pub fn lines(survey: &Survey) -> Vec<Vec<String>> {
    let number = |value: Option<f64>| {
        let finite = value.filter(|v| v.is_finite());
        finite.map_or_else(String::new, machine_number)
    };
    let mut lines: Vec<Vec<String>> = vec![COLUMNS.map(|(name, _)| name.to_owned()).to_vec()];
    for group in &survey.groups {
        let p = &group.precision;
        let ends = |i: Option<Interval>| [number(i.map(|i| i[0])), number(i.map(|i| i[1]))];
        for mean in &group.sessions {
            let named = survey.sessions.iter().find(|s| s.session == mean.session);
            let mut line = vec![
                group.by.as_deref().map_or_else(String::new, inert),
                group.kind.map_or("", |kind| kind.word()).to_owned(),
                number(group.set_point_w),
                inert(&mean.session),
                named.map_or_else(String::new, |s| inert(&s.title)),
                mean.blocks.to_string(),
                number(Some(mean.bias_percent)),
                p.sessions.to_string(),
                p.n.to_string(),
                number(p.mean),
            ];
            line.extend(ends(p.mean_ci95));
            line.push(number(p.repeatability_sd));
            line.extend(ends(p.repeatability_ci95));
            line.push(number(p.between_session_sd));
            line.extend(ends(p.between_session_ci95));
            line.push(number(p.reproducibility_sd));
            line.extend(ends(p.reproducibility_ci95));
            line.push(inert(&p.note));
            lines.push(line);
        }
    }
    lines
}

/// What the standard deviations are.
const MEANING: &str = "s_r: standard deviation within a ride (repeatability); s_L: between rides; s_R: of one block on another day (reproducibility); ISO 5725-2. The bias is the mean of the rides' means.";

/// What a group is called: value of the fact, kind, set point.
fn name(survey: &Survey, group: &GroupFigures) -> String {
    let by = match (&survey.by, &group.by) {
        (Some(_), Some(value)) => format!("{}, ", one_line(value)),
        (Some(key), None) => format!("no {}, ", one_line(key)),
        (None, _) => String::new(),
    };
    let what = match (group.kind, group.set_point_w) {
        (Some(kind), Some(watts)) => format!("{kind} {} W", machine_number(watts)),
        (Some(kind), None) => kind.word().to_owned(),
        (None, _) => "all blocks".to_owned(),
    };
    format!("{by}{what}")
}

/// A line a group.
fn of_groups(
    survey: &Survey,
    heads: impl IntoIterator<Item = Head>,
    cells: impl Fn(&AcrossSessions) -> Vec<String>,
) -> Grid {
    let mut grid = Grid::new(std::iter::once(Head::text("group")).chain(heads));
    for group in &survey.groups {
        let mut line = vec![name(survey, group)];
        line.extend(cells(&group.precision));
        grid.push(line);
    }
    grid
}

fn precision(survey: &Survey) -> Grid {
    let heads = [
        Head::number("rides", ""),
        Head::number("blocks", ""),
        Head::number("bias", "%"),
        Head::number("95 % CI", "%"),
        Head::number("s_r", "%"),
        Head::number("s_L", "%"),
    ];
    of_groups(survey, heads, |p| {
        vec![
            p.sessions.to_string(),
            p.n.to_string(),
            optional(p.mean, 2, true),
            interval(p.mean_ci95, 2, true),
            optional(p.repeatability_sd, 2, false),
            optional(p.between_session_sd, 2, false),
        ]
    })
}

fn spread(survey: &Survey) -> Grid {
    let heads = [
        Head::number("s_r 95 % CI", "%"),
        Head::number("s_L 95 % CI", "%"),
        Head::number("s_R", "%"),
        Head::number("s_R 95 % CI", "%"),
    ];
    of_groups(survey, heads, |p| {
        vec![
            interval(p.repeatability_ci95, 2, false),
            interval(p.between_session_ci95, 2, false),
            optional(p.reproducibility_sd, 2, false),
            interval(p.reproducibility_ci95, 2, false),
        ]
    })
}

fn by_session(survey: &Survey) -> Grid {
    let mut grid = Grid::new([
        Head::text("group"),
        Head::text("session"),
        Head::number("blocks", ""),
        Head::number("bias", "%"),
    ]);
    for group in &survey.groups {
        for mean in &group.sessions {
            grid.push(vec![
                name(survey, group),
                one_line(&mean.session),
                mean.blocks.to_string(),
                number(mean.bias_percent, 2, true),
            ]);
        }
    }
    grid
}

/// A line a session: its faults, and what it does not tell.
fn questions(survey: &Survey) -> Grid {
    let mut grid = Grid::new(["session", "faults", "cannot tell", "fine"].map(Head::text));
    for session in &survey.sessions {
        let keys = |finding: Finding| {
            let own = session.questions.iter().filter(|q| q.outcome == finding);
            let mut keys: Vec<&str> = own.map(|q| q.question.key()).collect();
            keys.dedup();
            match keys.as_slice() {
                [] => "none".to_owned(),
                keys => keys.join(", "),
            }
        };
        let fine = session
            .questions
            .iter()
            .filter(|q| q.outcome == Finding::Fine);
        grid.push(vec![
            one_line(&session.session),
            keys(Finding::Fault),
            keys(Finding::CannotTell),
            fine.count().to_string(),
        ]);
    }
    grid
}

/// What to make of the groups, each sentence once, with the groups it is said of.
fn remarks(survey: &Survey) -> Vec<String> {
    let mut said: Vec<(String, Vec<String>)> = Vec::new();
    for group in survey
        .groups
        .iter()
        .filter(|g| !g.precision.note.is_empty())
    {
        let note = &group.precision.note;
        match said.iter_mut().find(|(text, _)| text == note) {
            Some((_, groups)) => groups.push(name(survey, group)),
            None => said.push((note.clone(), vec![name(survey, group)])),
        }
    }
    said.into_iter()
        .map(|(note, groups)| format!("{}: {note}.", groups.join("; ")))
        .collect()
}

/// 80 columns for reading.
pub fn text(survey: &Survey) -> String {
    let mut out = format!(
        "{}{}\n",
        plural(survey.sessions.len(), "session"),
        survey
            .by
            .as_ref()
            .map_or_else(String::new, |key| format!(", by {}", one_line(key)))
    );
    out.push_str("\nPRECISION\n");
    out.push_str(&precision(survey).aligned("", WIDTH));
    out.push('\n');
    out.push_str(&spread(survey).aligned("", WIDTH));
    out.push_str(&hanging("", MEANING, WIDTH));
    out.push_str("\nBIAS OF EACH SESSION\n");
    out.push_str(&by_session(survey).aligned("", WIDTH));
    out.push_str("\nQUESTIONS\n");
    out.push_str(&questions(survey).aligned("", WIDTH));
    for (title, notes) in [("REMARKS", remarks(survey)), ("LEFT OUT", skipped(survey))] {
        if !notes.is_empty() {
            out.push_str(&format!("\n{title}\n"));
        }
        for note in notes {
            out.push_str(&hanging("- ", &one_line(&note), WIDTH));
        }
    }
    out
}

fn skipped(survey: &Survey) -> Vec<String> {
    let skipped = survey.skipped.iter();
    skipped
        .map(|s| format!("{}: {}", s.session, s.reason))
        .collect()
}

/// The same tables for a page.
pub fn markdown(survey: &Survey) -> String {
    let mut out = format!(
        "# Survey of {}\n\n## Precision\n\n{}\n{}\n{MEANING}\n\n## Bias of each session\n\n{}\n## Questions\n\n{}",
        plural(survey.sessions.len(), "session"),
        precision(survey).markdown(),
        spread(survey).markdown(),
        by_session(survey).markdown(),
        questions(survey).markdown(),
    );
    for (title, notes) in [("Remarks", remarks(survey)), ("Left out", skipped(survey))] {
        if !notes.is_empty() {
            out.push_str(&format!("\n## {title}\n\n"));
        }
        for note in notes {
            out.push_str(&format!("- {}\n", escaped(&note)));
        }
    }
    out
}

/// A forest under each set point: a row a unit (a value of the fact grouped by, else a session) with
/// the mean of its blocks and their expanded uncertainty, over what the claim allows.
///
/// # Errors
/// [`ExportError::NothingToDraw`] where no block has a set point.
pub fn picture(survey: &Survey) -> Result<Picture, ExportError> {
    let mut asked: Vec<(Option<Kind>, f64)> = Vec::new();
    for group in &survey.groups {
        if let (Some(kind), Some(watts)) = (group.kind, group.set_point_w) {
            let one = (Some(kind), watts);
            if !asked.contains(&one) {
                asked.push(one);
            }
        }
    }
    asked.sort_by(|a, b| a.1.total_cmp(&b.1));
    if asked.is_empty() {
        return Err(ExportError::NothingToDraw {
            kind: "survey",
            reason: "no session has a judged block with a set point".to_owned(),
        });
    }
    let groups: Vec<forest::Group> = asked
        .into_iter()
        .map(|(kind, watts)| forest_of(survey, kind, watts))
        .collect();
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
                        (Some(by), Some(value)) => format!("{} {}", one_line(by), one_line(&value)),
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
