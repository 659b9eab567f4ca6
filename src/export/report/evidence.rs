//! What the answers rest on: the segments in one table, then a section a kind, each with its answer, its
//! pictures and its numbers.

use serde_json::Value;

use super::first::{set_answer, without_would};
use super::parts::{Material, Size, drawn, number, optional};
use super::segments;
use crate::analysis::catalogue;
use crate::analysis::figure::Figure;
use crate::analysis::figures::SegmentFigures;
use crate::analysis::questions::answer::{within, worst};
use crate::analysis::questions::{Answer, Finding, Question};
use crate::analysis::segment::live;
use crate::export::ExportError;
use crate::export::figure::PictureKind;
use crate::export::page::chart::{self, inline_sign, tone};
use crate::export::page::html::{escaped, folded, set, table};
use crate::export::table::{ShortRow, as_json, at, short_rows, shown};
use crate::session::Kind;
use crate::text::{Edge, Grid, Head, NOTHING, capital, clock_time, one_line, word_of};
use crate::timeline::Span;

/// Most pictures of a kind that stand open.
const PICTURES: usize = 4;
/// Most segments of a kind side by side in a table.
const ABREAST: usize = 6;
/// Room on either side of an excursion in its picture, s.
const ROOM_S: f64 = 20.0;

/// A section of the page.
struct Group {
    id: &'static str,
    title: &'static str,
    /// What it answers.
    questions: &'static [Question],
    /// The kind of segment that answers it.
    kind: Kind,
    /// Where its figures stand in the JSON of a segment, with those that are shown.
    root: &'static str,
    fields: &'static [&'static str],
    /// Whether they are a list: a row an entry.
    is_list: bool,
}

const GROUPS: [Group; 7] = [
    Group {
        id: "held",
        title: "Held power",
        questions: &[
            Question::Accuracy,
            Question::Level,
            Question::Hold,
            Question::Steadiness,
        ],
        kind: Kind::SteadyBlock,
        root: "steady",
        fields: &["delivered_within_5w_percent", "drift_w_per_min"],
        is_list: false,
    },
    Group {
        id: "sprints",
        title: "Sprints",
        questions: &[Question::Sprint],
        kind: Kind::Sprint,
        root: "sprint",
        fields: &[
            "ceiling_w",
            "delay_s",
            "time_constant_s",
            "averaging_s",
            "gain",
            "fit_rms_w",
            "shortfall_w",
            "ceiling_loss_w",
            "lag_loss_w",
            "gain_loss_w",
            "unexplained_loss_w",
            "unaccounted_kg",
        ],
        is_list: false,
    },
    Group {
        id: "steps",
        title: "Changes of power",
        questions: &[Question::Follow],
        kind: Kind::Ramp,
        root: "ramp.steps",
        fields: &[
            "at_s",
            "from_w",
            "to_w",
            "settling_band_w",
            "dead_time_s",
            "rise_10_90_s",
            "settling_s",
            "reference_settling_s",
        ],
        is_list: true,
    },
    Group {
        id: "gears",
        title: "Gears",
        questions: &[Question::Gear],
        kind: Kind::GearChange,
        root: "gear_change.changes",
        fields: &[
            "at_s",
            "speed_before_mps",
            "speed_after_mps",
            "shift_percent",
            "peak_deviation_w",
            "recovery_s",
        ],
        is_list: true,
    },
    Group {
        id: "heat",
        title: "Heat",
        questions: &[Question::Heat],
        kind: Kind::HeatSoak,
        root: "heat_soak",
        fields: &[
            "change_percent",
            "drift_percent_per_10min",
            "per_degree_percent",
        ],
        is_list: false,
    },
    Group {
        id: "phantom",
        title: "Power from nowhere",
        questions: &[Question::Phantom],
        kind: Kind::Coast,
        root: "coast",
        fields: &[
            "phantom_max_w",
            "time_to_zero_s",
            "phantom_mean_w",
            "coasted_s",
        ],
        is_list: false,
    },
    Group {
        id: "gradient",
        title: "Gradient",
        questions: &[Question::Gradient],
        kind: Kind::Slope,
        root: "slope",
        fields: &[
            "share",
            "mass_kg",
            "delay_s",
            "flywheel_kg",
            "rolling_n",
            "drag_kg_m",
        ],
        is_list: false,
    },
];

/// Every segment in a row: the short table, with a gauge.
pub(super) fn segments(material: &Material<'_>) -> String {
    let rows = short_rows(material.table, material.answers);
    if rows.is_empty() {
        return String::new();
    }
    let first = rows.first().map(|row| row.under_test.clone());
    let several = rows
        .iter()
        .any(|row| Some(&row.under_test) != first.as_ref());
    let is_set = rows.iter().any(|row| row.set_point_w.is_some());
    let has_claim = rows.iter().any(|row| row.limit_percent.is_some());
    let mut heads = vec![
        ("", ""),
        ("no.", "n"),
        ("segment", ""),
        ("from", "n"),
        ("length<span class=\"unit\">s</span>", "n"),
    ];
    if is_set {
        heads.push(("set point<span class=\"unit\">W</span>", "n"));
    }
    heads.extend([
        ("reads<span class=\"unit\">W</span>", "n"),
        ("delivered<span class=\"unit\">W</span>", "n"),
        ("error<span class=\"unit\">%</span>", "n"),
        (
            "<span class=\"hide\">error against the limit</span>",
            "scale",
        ),
        ("result", ""),
    ]);
    let head: String = heads
        .iter()
        .map(|(name, class)| format!("<th scope=\"col\" class=\"{class}\">{name}</th>"))
        .collect();
    let suggested = if material.answers.tagging.suggested {
        "Suggested, not tagged. "
    } else {
        ""
    };
    let delivered = match material.table.session.allowance.percent {
        0.0 => "what the references read",
        _ => "what the references read less the drivetrain's loss",
    };
    let mut out = format!(
        "<div class=\"wide\"><table class=\"segments\">\n<caption>Every segment <span class=\"mute\">{suggested}Delivered: {delivered}. Green: the claim.</span></caption>\n<thead><tr>{head}</tr></thead>\n<tbody>\n"
    );
    for row in &rows {
        out.push_str(&segment_row(row, [several, is_set, has_claim]));
    }
    out.push_str("</tbody>\n</table></div>\n");
    out
}

fn segment_row(row: &ShortRow, [several, is_set, has_claim]: [bool; 3]) -> String {
    let finding = row.finding.unwrap_or(Finding::NotRidden);
    let word = row
        .finding
        .map_or_else(String::new, |found| word_of(&found).replace('-', " "));
    let name = match several {
        true => format!("{}, {}", row.kind, one_line(&row.under_test)),
        false => row.kind.to_string(),
    };
    let mut cells = vec![
        format!("<td class=\"n\">{}</td>", row.id),
        format!("<th scope=\"row\">{}</th>", set(&name)),
        format!("<td class=\"n\">{}</td>", clock_time(row.from_s)),
        format!("<td class=\"n w\">{}</td>", number(row.length_s, 0, false)),
    ];
    if is_set {
        cells.push(format!(
            "<td class=\"n w\">{}</td>",
            optional(row.set_point_w, 0, false)
        ));
    }
    let expanded = row.expanded_percent;
    let judged = match (row.error_percent, row.limit_percent, expanded) {
        (Some(error), Some(limit), Some(expanded)) if limit > 0.0 && row.kind != Kind::Open => {
            // Of a soak the sign is that of its drift, not of this error.
            let found = match row.kind {
                Kind::SteadyBlock => finding,
                _ => within(error, expanded, limit),
            };
            let ends = [error, error - expanded, error + expanded].map(|v| v / limit);
            Some((found, chart::gauge(found, ends, true)))
        }
        _ => None,
    };
    let error_tone = judged.as_ref().map_or("none", |(found, _)| tone(*found));
    let gauge = match judged {
        Some((_, gauge)) => gauge,
        None if has_claim => chart::empty_gauge(true),
        None => String::new(),
    };
    let note = match row.note.as_str() {
        "" => String::new(),
        note => format!(" <span class=\"note\">{}</span>", set(note)),
    };
    cells.extend([
        format!(
            "<td class=\"n w\">{}</td>",
            optional(row.source_mean_w, 1, false)
        ),
        format!(
            "<td class=\"n w\">{}</td>",
            optional(row.delivered_mean_w, 1, false)
        ),
        format!(
            "<td class=\"n error w-{error_tone}\">{}</td>",
            set(&row.error())
        ),
        format!("<td class=\"g\">{gauge}</td>"),
        format!("<td class=\"result\">{}{note}</td>", set(&row.result)),
    ]);
    let sign = row.finding.map_or_else(String::new, |found| {
        format!("{}<span class=\"hide\">{word}</span>", inline_sign(found))
    });
    format!(
        "<tr class=\"{}\" id=\"segment-{}\"><td>{sign}</td>{}</tr>\n",
        tone(finding),
        row.id,
        cells.concat()
    )
}

/// The sections of the kinds that were ridden.
pub(super) fn kinds(material: &Material<'_>) -> Result<String, ExportError> {
    let mut out = String::new();
    for group in &GROUPS {
        out.push_str(&section(material, group)?);
    }
    out.push_str(&recording(material));
    Ok(out)
}

/// The answers of a group, of every source.
pub(super) fn answers_of<'a>(material: &Material<'a>, questions: &[Question]) -> Vec<&'a Answer> {
    let answers = material.answers.answers.iter();
    answers
        .filter(|a| questions.contains(&a.question) && a.outcome != Finding::NotRidden)
        .collect()
}

fn section(material: &Material<'_>, group: &Group) -> Result<String, ExportError> {
    let answers = answers_of(material, group.questions);
    let own = material.table.segments.iter();
    let own: Vec<&SegmentFigures> = own.filter(|s| s.kind == group.kind).collect();
    if own.is_empty() && answers.iter().all(|a| a.from_s.is_none()) {
        return Ok(String::new());
    }
    let (open, more) = pictures(material, group, &own)?;
    let first = match group.kind {
        Kind::Coast => excursions(material)?,
        _ => String::new(),
    };
    let mut body = pair(&(first + &open));
    body.push_str(&match group.is_list {
        true => listed(group, &own),
        false => abreast(group, &own),
    });
    if group.kind == Kind::SteadyBlock {
        body.push_str(&budget(&own));
    }
    if group.kind == Kind::Slope {
        body.push_str(&pieces(&answers));
    }
    body.push_str(&folded("More pictures", &pair(&more)));
    if body.is_empty() {
        return Ok(String::new());
    }
    Ok(framed(group.id, group.title, &answers, &body))
}

/// A section: its questions in a quiet line, its answer as the heading, and what the list on the first
/// page says in brief in full.
pub(super) fn framed(id: &str, title: &str, answers: &[&Answer], body: &str) -> String {
    let mut asked: Vec<&str> = answers.iter().map(|a| a.question.asks()).collect();
    asked.dedup();
    let finding = worst(answers.iter().map(|a| a.outcome)).unwrap_or(Finding::NotRidden);
    let faults: Vec<&str> = answers
        .iter()
        .filter_map(|a| a.headline.as_deref())
        .collect();
    let word = word_of(&finding).replace('-', " ");
    let heading = match (faults.as_slice(), finding) {
        ([], Finding::NotRidden) => title.to_owned(),
        ([], _) => format!("{title}: {word}"),
        (faults, _) => capital(&crate::text::listed(faults)),
    };
    let in_full = answers
        .iter()
        .filter(|a| a.outcome != Finding::Fault && a.sentence != a.brief);
    let in_full: String = in_full
        .map(|answer| {
            format!(
                "<p>{} {}</p>\n",
                inline_sign(answer.outcome),
                set_answer("", without_would(answer))
            )
        })
        .collect();
    format!(
        "<section id=\"{id}\" aria-labelledby=\"{id}-head\">\n<p class=\"asked\">{}</p>\n<h2 id=\"{id}-head\">{} {}{}</h2>\n{in_full}{body}</section>\n",
        escaped(&asked.join(" ")),
        inline_sign(finding),
        match faults.as_slice() {
            [] => String::new(),
            _ => format!("<span class=\"hide\">{word}: </span>"),
        },
        set(&heading)
    )
}

/// Pictures of the segments of a kind: those that stand open, and the rest.
fn pictures(
    material: &Material<'_>,
    group: &Group,
    own: &[&SegmentFigures],
) -> Result<(String, String), ExportError> {
    let rank = |segment: &SegmentFigures| {
        let answers = material.answers;
        let source = segment
            .agreement
            .first()
            .map_or("", |pair| &pair.under_test);
        match answers.of_segment(segment, source) {
            Some(Finding::Fault) => 0,
            Some(Finding::CannotTell) => 1,
            _ => 2,
        }
    };
    let mut ranked: Vec<&&SegmentFigures> = own.iter().collect();
    ranked.sort_by_key(|segment| rank(segment));
    // Those that tell most stand open, in the order of the ride.
    let open_ones = ranked.len().min(PICTURES);
    if let Some(shown) = ranked.get_mut(..open_ones) {
        shown.sort_by_key(|segment| segment.id);
    }
    let (mut open, mut more) = (String::new(), String::new());
    let size = match ranked.len() {
        1 => Size::Whole,
        _ => Size::Half,
    };
    for (index, segment) in ranked.iter().enumerate() {
        let subject = material.subject((**segment).clone());
        let caption = caption(segment);
        let mut picture = drawn(segments::picture_of(group.kind), &subject, size, &caption)?;
        if picture.is_empty() {
            picture = drawn(PictureKind::Traces, &subject, size, &caption)?;
        }
        if group.kind == Kind::Slope {
            picture.push_str(&drawn(PictureKind::Slope, &subject, size, &caption)?);
        }
        match index < PICTURES {
            true => open.push_str(&picture),
            false => more.push_str(&picture),
        }
    }
    Ok((open, more))
}

/// Pictures beside each other, two a line.
fn pair(pictures: &str) -> String {
    if pictures.is_empty() {
        return String::new();
    }
    format!("<div class=\"pair\">\n{pictures}</div>\n")
}

/// "Segment 3: 240 W at 0:09:09".
fn caption(segment: &SegmentFigures) -> String {
    let what = match segment.set_point_w {
        Some(watts) => format!("{} W", number(watts, 0, false)),
        None => segment.kind.to_string(),
    };
    format!(
        "Segment {}: {what} at {}.",
        segment.id,
        clock_time(segment.from_s)
    )
}

/// Pictures of the places where no reference shows what the source does.
fn excursions(material: &Material<'_>) -> Result<String, ExportError> {
    let mut out = String::new();
    // Those in a coast stand in its own picture.
    let is_coast = |at_s: f64| {
        let mut coasts = material
            .table
            .segments
            .iter()
            .filter(|s| s.kind == Kind::Coast);
        coasts.any(|s| (s.from_s..s.to_s).contains(&at_s))
    };
    let all = material.table.excursions.iter();
    let mut largest: Vec<_> = all.filter(|e| !is_coast(e.from_s)).collect();
    largest.sort_by(|a, b| b.peak_w.abs().total_cmp(&a.peak_w.abs()));
    for excursion in largest.into_iter().take(2) {
        let ride = material.aligned.grid.span();
        let span = Span::new(
            (excursion.from_s - ROOM_S).max(ride.from_s),
            (excursion.to_s + ROOM_S).min(ride.to_s),
        );
        let (session, aligned) = (material.session, material.aligned);
        let figures = live(session, aligned, material.findings, span, Kind::Open);
        let subject = material.subject(figures);
        let caption = format!(
            "Up to {} W from the references at {}, for {} s.",
            number(excursion.peak_w, 0, true),
            clock_time(excursion.from_s),
            number(excursion.to_s - excursion.from_s, 0, false)
        );
        out.push_str(&drawn(PictureKind::Traces, &subject, Size::Half, &caption)?);
    }
    Ok(out)
}

/// The figure of the 95 % limits of `figure`.
fn limits_of(figure: &Figure) -> Option<&'static Figure> {
    let wanted = figure.id;
    catalogue::figures().find(|f| f.is_interval() && f.id.replace("_ci95", "") == wanted)
}

/// A figure with its limits in brackets, as it stands in `segment`; `None` where it does not apply.
fn value_of(segment: &Value, root: &str, figure: &Figure) -> Option<String> {
    let path = |figure: &Figure| -> Vec<String> {
        let id = figure.id.trim_start_matches("segments.");
        let rest = id.strip_prefix(root).unwrap_or(id).trim_start_matches('.');
        rest.split('.').map(str::to_owned).collect()
    };
    let read = |figure: &Figure| {
        let path = path(figure);
        let path: Vec<&str> = path.iter().map(String::as_str).collect();
        shown(figure, &at(segment, &path))
    };
    let value = read(figure)?;
    let limits = limits_of(figure).and_then(read);
    Some(match limits {
        Some(limits) => format!("{value} ({limits})"),
        None => value,
    })
}

fn figures_of(group: &Group) -> Vec<&'static Figure> {
    let fields = group.fields.iter();
    fields
        .filter_map(|field| catalogue::figure(&format!("segments.{}.{field}", group.root)))
        .collect()
}

/// The figures of segments side by side: a row a figure, with its limits.
fn abreast(group: &Group, own: &[&SegmentFigures]) -> String {
    let own = own.get(..own.len().min(ABREAST)).unwrap_or(own);
    let values: Vec<Value> = own
        .iter()
        .map(|segment| at(&as_json(segment), &[group.root]))
        .collect();
    let mut grid = Grid::new(
        std::iter::once(Head::text("95 % limits in brackets")).chain(own.iter().map(|s| Head {
            name: format!("{}: {}", s.id, named(s)),
            unit: "",
            edge: Edge::Right,
        })),
    );
    let mut is_limited = false;
    for figure in figures_of(group) {
        let cells: Vec<Option<String>> = values
            .iter()
            .map(|value| value_of(value, group.root, figure))
            .collect();
        if cells.iter().all(Option::is_none) {
            continue;
        }
        is_limited |= cells.iter().flatten().any(|cell| cell.contains('('));
        let unit = match figure.unit {
            "" => String::new(),
            unit => format!(", {unit}"),
        };
        let cells = cells
            .into_iter()
            .map(|c| c.unwrap_or_else(|| NOTHING.to_owned()));
        grid.push(
            std::iter::once(format!("{}{unit}", figure.label))
                .chain(cells)
                .collect(),
        );
    }
    if !is_limited && let Some(head) = grid.heads.first_mut() {
        head.name.clear();
    }
    table("", &grid)
}

/// "240 W", or the kind.
fn named(segment: &SegmentFigures) -> String {
    match (segment.kind, segment.set_point_w) {
        (Kind::SteadyBlock, Some(watts)) => format!("{} W", number(watts, 0, false)),
        (kind, _) => kind.to_string(),
    }
}

/// The figures of a list, a row an entry: a step, a change of gear.
fn listed(group: &Group, own: &[&SegmentFigures]) -> String {
    let caption = match group.kind {
        Kind::GearChange => "Each change, with 95 % limits in brackets",
        _ => "Each step",
    };
    let figures = figures_of(group);
    let mut rows: Vec<Vec<Option<String>>> = Vec::new();
    for segment in own {
        let path: Vec<&str> = group.root.split('.').collect();
        let entries = at(&as_json(segment), &path);
        for entry in entries.as_array().into_iter().flatten() {
            let cell = |figure: &&'static Figure| match figure.field() {
                "at_s" => entry.get("at_s").and_then(Value::as_f64).map(clock_time),
                _ => value_of(entry, group.root, figure),
            };
            rows.push(figures.iter().map(cell).collect());
        }
    }
    // A column that nothing ever stands in asks a question nobody put.
    let is_told = |column: usize| {
        rows.iter()
            .any(|row| row.get(column).is_some_and(Option::is_some))
    };
    let kept: Vec<usize> = (0..figures.len())
        .filter(|column| is_told(*column))
        .collect();
    let heads = kept
        .iter()
        .filter_map(|column| figures.get(*column))
        .map(|figure| Head {
            name: figure.label.to_owned(),
            unit: if figure.field() == "at_s" {
                ""
            } else {
                figure.unit
            },
            edge: Edge::Right,
        });
    let cells = rows.iter().map(|row| {
        let cell = |column: &usize| row.get(*column).cloned().flatten();
        let cells = kept.iter().map(cell);
        cells
            .map(|cell| cell.unwrap_or_else(|| NOTHING.to_owned()))
            .collect()
    });
    table(caption, &Grid::of(heads, cells.collect()))
}

/// What makes up the uncertainty of each block.
fn budget(own: &[&SegmentFigures]) -> String {
    let judged = own.iter().filter_map(|segment| {
        let verdict = segment.verdict.as_ref()?;
        (!verdict.budget.is_empty()).then_some((*segment, verdict))
    });
    let judged: Vec<_> = judged.take(ABREAST).collect();
    let Some((_, first)) = judged.first() else {
        return String::new();
    };
    let sources: Vec<&str> = first
        .budget
        .iter()
        .map(|line| line.source.as_str())
        .collect();
    let mut grid =
        Grid::new(
            std::iter::once(Head::text("standard uncertainty, %")).chain(judged.iter().map(
                |(segment, _)| Head::number(&format!("{}: {}", segment.id, named(segment)), ""),
            )),
        );
    for source in sources {
        let cells = judged.iter().map(|(_, verdict)| {
            let line = verdict.budget.iter().find(|line| line.source == source);
            optional(line.and_then(|l| l.standard_uncertainty_percent), 2, false)
        });
        grid.push(std::iter::once(source.to_owned()).chain(cells).collect());
    }
    let expanded = judged
        .iter()
        .map(|(_, verdict)| optional(verdict.expanded_uncertainty_percent, 2, false));
    grid.push(
        std::iter::once("U, 95 %".to_owned())
            .chain(expanded)
            .collect(),
    );
    table("What makes up ±U", &grid)
}

/// The evidence of answers piece by piece.
fn pieces(answers: &[&Answer]) -> String {
    let rows = answers.iter().flat_map(|answer| {
        answer.parts.iter().map(|part| {
            let value = number(part.value, 1, false);
            let limits = super::parts::interval(Some(part.interval), 1, false);
            let is_exact = limits == format!("{value} to {value}");
            let value = match is_exact {
                true => value,
                false => format!("{value} ({limits})"),
            };
            vec![part.what.clone(), value]
        })
    });
    let unit = answers
        .iter()
        .find(|a| !a.parts.is_empty())
        .map_or("", |a| a.unit);
    let unit = if unit.is_empty() { "s" } else { unit };
    table(
        "Each step, with 95 % limits in brackets",
        &Grid::of(
            [Head::text("step"), Head::number("late by", unit)],
            rows.collect(),
        ),
    )
}

/// Cadence, completeness and work: what the recording as a whole is worth.
fn recording(material: &Material<'_>) -> String {
    let questions = [Question::Cadence, Question::Dropouts, Question::Work];
    let answers = answers_of(material, &questions);
    let body = segments::cadences(material.table);
    if answers.is_empty() || body.is_empty() {
        return String::new();
    }
    framed(
        "recording",
        "The recording",
        &answers,
        &folded("Cadence by segment", &body),
    )
}
