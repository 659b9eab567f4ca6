//! A survey as text, CSV, Markdown, as a page and as pictures.

mod compared;
mod page;
mod pictures;
#[cfg(test)]
mod tests;

pub use compared::{CONTRAST_COLUMNS, QUESTION_COLUMNS, contrast_lines, question_lines};
pub use page::page;
pub use pictures::{contrasts as contrasts_picture, questions as questions_picture, set_points};

use crate::analysis::across::AcrossSessions;
use crate::analysis::survey::{GroupFigures, Survey};
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

/// Most sessions whose bias is listed one by one for reading.
const LISTED: usize = 200;
const TOO_MANY: &str = "Too many to list: --format csv --table precision has them.";

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

/// How many sessions were used, grouped by what, and left out.
fn counted(survey: &Survey) -> String {
    let by = survey.by.as_ref();
    let by = by.map_or_else(String::new, |key| format!(", by {}", one_line(key)));
    let left_out = match survey.left_out {
        0 => String::new(),
        n => format!("; {n} left out"),
    };
    format!("{} used{by}{left_out}.", plural(survey.used, "session"))
}

/// 80 columns for reading.
pub fn text(survey: &Survey) -> String {
    let mut out = hanging("", &one_line(&format!("{}.", survey.headline)), WIDTH);
    out.push_str(&hanging("", &counted(survey), WIDTH));
    out.push_str(&compared::text(survey, WIDTH));
    out.push_str("\nPRECISION\n");
    out.push_str(&precision(survey).aligned("", WIDTH));
    out.push('\n');
    out.push_str(&spread(survey).aligned("", WIDTH));
    out.push_str(&hanging("", MEANING, WIDTH));
    out.push_str("\nBIAS OF EACH SESSION\n");
    match survey.used > LISTED {
        true => out.push_str(&hanging("", TOO_MANY, WIDTH)),
        false => out.push_str(&by_session(survey).aligned("", WIDTH)),
    }
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
        "# Survey of {}\n\n{}.\n\n{}\n\n{}## Precision\n\n{}\n{}\n{MEANING}\n\n## Bias of each session\n\n{}",
        plural(survey.used, "session"),
        escaped(&survey.headline),
        escaped(&counted(survey)),
        compared::markdown(survey),
        precision(survey).markdown(),
        spread(survey).markdown(),
        match survey.used > LISTED {
            true => format!("{TOO_MANY}\n"),
            false => by_session(survey).markdown(),
        },
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
