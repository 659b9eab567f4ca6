//! A survey as text, CSV, Markdown and as a picture.

use super::{GroupFigures, SessionMean, Survey};
use crate::analysis::across::AcrossSessions;
use crate::analysis::questions::Finding;
use crate::export::ExportError;
use crate::export::figure::{Axis, Ink, Layer, Picture, Style, Ticks, range_of};
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

/// Bias of each session against the set point, with the mean of each group and where 95 % of blocks
/// on other days are expected (±2 reproducibility SD). One look a session, or with a fact to group
/// by one a value of it.
///
/// # Errors
/// [`ExportError::NothingToDraw`] where no block has a set point.
pub fn picture(survey: &Survey) -> Result<Picture, ExportError> {
    let drawn: Vec<&GroupFigures> = survey
        .groups
        .iter()
        .filter(|group| group.kind.is_some() && group.set_point_w.is_some())
        .collect();
    if drawn.is_empty() {
        return Err(ExportError::NothingToDraw {
            kind: "survey",
            reason: "no session has a judged block with a set point".to_owned(),
        });
    }
    let levels = range_of(drawn.iter().filter_map(|g| g.set_point_w));
    let room = (levels[1] - levels[0]).max(20.0);
    let across = [levels[0] - 0.05 * room, levels[1] + 0.05 * room];
    let mut layers = vec![Layer::Rule {
        name: String::new(),
        at: 0.0,
        style: Style::ZERO,
    }];
    let columns = columns(&drawn, room);
    layers.extend(means(&columns, 0.004 * room));
    layers.extend(sessions(survey, &columns));
    let heights = layers.iter().flat_map(|layer| match layer {
        Layer::Points { points, .. } | Layer::Line { points, .. } => {
            points.iter().map(|p| p[1]).collect()
        }
        _ => vec![0.0],
    });
    let heights = range_of(heights);
    Ok(Picture {
        title: "Bias of each session by set point".to_owned(),
        facts: vec![format!(
            "{}, {}. Set points within 5 % stand together. No smoothing.",
            plural(survey.sessions.len(), "session"),
            plural(drawn.iter().map(|g| g.precision.n).sum(), "block")
        )],
        x: Axis {
            label: "set point, W".to_owned(),
            range: across,
            ticks: Ticks::Numbers,
        },
        y: Axis {
            label: "net bias, %".to_owned(),
            range: heights,
            ticks: Ticks::Numbers,
        },
        layers,
    })
}

/// Where each group stands: kinds and values of the fact beside each other, not on top.
fn columns<'a>(drawn: &[&'a GroupFigures], room: f64) -> Vec<(f64, &'a GroupFigures)> {
    let what = |group: &GroupFigures| (group.kind.map(Kind::word), group.by.clone());
    let mut all: Vec<_> = drawn.iter().map(|group| what(group)).collect();
    all.sort_unstable();
    all.dedup();
    let placed = drawn.iter().filter_map(|group| {
        let index = all.iter().position(|one| *one == what(group))?;
        let shift = room * 0.01 * (index as f64 - 0.5 * (all.len() as f64 - 1.0));
        Some((group.set_point_w? + shift, *group))
    });
    placed.collect()
}

/// The mean of each group as a dash `half` to either side and ±2 reproducibility SD upright through
/// it; one layer a kind, nothing joined from group to group.
fn means(columns: &[(f64, &GroupFigures)], half: f64) -> Vec<Layer> {
    const BREAK: [f64; 2] = [f64::NAN, f64::NAN];
    let mut kinds: Vec<Kind> = columns.iter().filter_map(|(_, group)| group.kind).collect();
    kinds.sort_unstable_by_key(|kind| kind.word());
    kinds.dedup();
    let several = kinds.len() > 1;
    let looks = [false, true].into_iter().cycle();
    let looks = looks.flat_map(|dashed| [Ink::Black, Ink::Grey].map(|ink| (ink, dashed)));
    let layer = |(kind, (ink, dashed)): (Kind, (Ink, bool))| {
        let own = columns.iter().filter(|(_, group)| group.kind == Some(kind));
        let points = own.flat_map(|(x, group)| {
            let Some(mean) = group.precision.mean else {
                return Vec::new();
            };
            let mut points = vec![[x - half, mean], [x + half, mean], BREAK];
            if let Some(sd) = group.precision.reproducibility_sd {
                points.extend([[*x, mean - 2.0 * sd], [*x, mean + 2.0 * sd], BREAK]);
            }
            points
        });
        let of = if several {
            format!(" of {kind}")
        } else {
            String::new()
        };
        Layer::Line {
            name: format!("mean{of} ± 2 reproducibility SD"),
            points: points.collect(),
            style: Style {
                ink,
                dashed,
                weight: 1.2,
                ..Style::CONSENSUS
            },
        }
    };
    kinds.into_iter().zip(looks).map(layer).collect()
}

/// The sessions' own biases: one layer and one look a value of the fact, else one a session.
fn sessions(survey: &Survey, columns: &[(f64, &GroupFigures)]) -> Vec<Layer> {
    let key = |group: &GroupFigures, mean: &SessionMean| match &survey.by {
        Some(_) => group.by.clone(),
        None => Some(mean.session.clone()),
    };
    let mut layers: Vec<(Option<String>, Vec<[f64; 2]>)> = Vec::new();
    for (x, group) in columns {
        for mean in &group.sessions {
            let own = key(group, mean);
            let point = [*x, mean.bias_percent];
            match layers.iter_mut().find(|(known, _)| *known == own) {
                Some((_, points)) => points.push(point),
                None => layers.push((own, vec![point])),
            }
        }
    }
    layers.sort_by(|(one, _), (other, _)| one.cmp(other));
    let layers = layers.into_iter().enumerate();
    let named = layers.map(|(index, (value, points))| Layer::Points {
        name: match (&survey.by, value) {
            (Some(key), Some(value)) => format!("{} {}", one_line(key), one_line(&value)),
            (Some(key), None) => format!("no {}", one_line(key)),
            (None, value) => one_line(&value.unwrap_or_default()),
        },
        points,
        style: Style::of_stream(index),
    });
    named.collect()
}
