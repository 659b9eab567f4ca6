//! One self-contained page: the answer first, then questions by unit, where each reads, whether they are
//! alike, and folded away what that rests on.

use std::fmt::Write as _;

use super::compared::{self, limit_of, value_of, with_half};
use super::{LISTED, TOO_MANY, by_session, counted, pictures, precision, remarks, skipped, spread};
use crate::analysis::questions::Finding;
use crate::analysis::questions::answer::by_limits;
use crate::analysis::survey::{Cell, Contrast, QuestionRow, Said, Survey};
use crate::export::page::chart::{empty_gauge, gauge, inline_sign, marked_gauge, tone};
use crate::export::page::html::{document, escaped, folded, list, paragraph, section, set, table};
use crate::picture::gauge::{Gauge, LIMITS};
use crate::picture::survey as forest;
use crate::plan::CAUTIONS;
use crate::text::{capital, machine_number, number, one_line, plural, word_of};

/// Most units that have room for a gauge each, and for a value.
const WITH_GAUGES: usize = 4;
const WITH_VALUES: usize = 8;
/// Characters from which on a headline is set smaller.
const LONG: usize = 110;

/// The page.
pub fn page(survey: &Survey) -> String {
    let title = format!("Survey of {}", plural(survey.used, "session"));
    let body = [
        questions(survey),
        section("alike", &alike_head(survey), &alike(survey)),
        section(
            "where",
            "Where they read, set point by set point",
            &set_points(survey),
        ),
        section("ladder", "The strictest limit each keeps", &ladder(survey)),
        section("method", "How it was judged", &method()),
        rest(survey),
    ];
    document(&title, &title, &head(survey, &title), &body.concat())
}

fn head(survey: &Survey, title: &str) -> String {
    let by = survey
        .by
        .as_deref()
        .map_or_else(String::new, |key| format!(", by {}", one_line(key)));
    let mut origins: Vec<String> = survey
        .sessions
        .iter()
        .filter_map(|s| s.fact("origin"))
        .collect();
    origins.sort_unstable();
    origins.dedup();
    let origin = match origins.as_slice() {
        [] => String::new(),
        [one] => set(one),
        several => set(&format!("{} origins", several.len())),
    };
    let long = match survey.headline.chars().count() > LONG {
        true => " class=\"long\"",
        false => "",
    };
    format!(
        "<p class=\"about\"><span><b>{}</b></span> <span>{origin}</span></p>\n<h1{long}>{}.</h1>\n<p class=\"deck\">{}</p>\n",
        set(&format!("{title}{by}")),
        set(&survey.headline),
        set(&counted(survey)),
    )
}

/// Every question by unit.
fn questions(survey: &Survey) -> String {
    let matrix = &survey.matrix;
    let caption = format!("Questions of {}", compared::units(survey));
    if matrix.units.is_empty() {
        return table(&caption, &compared::questions(survey, 0));
    }
    let n = matrix.units.len();
    let span = 1 + usize::from(n <= WITH_VALUES) + usize::from(n <= WITH_GAUGES);
    let mut out = format!(
        "<div class=\"wide\"><table class=\"matrix\">\n<caption>{} <span class=\"mute\">Each cell: {}.</span></caption>\n<thead><tr><th scope=\"col\" class=\"quiet\">question</th><th scope=\"col\" class=\"quiet limit n\">limit</th>",
        set(&caption),
        match span {
            3 => "sign, value against the limit, figure; green: allowed",
            2 => "sign and figure",
            _ => "sign",
        }
    );
    for unit in &matrix.units {
        let _ = write!(
            out,
            "<th scope=\"col\" colspan=\"{span}\">{}</th>",
            escaped(unit)
        );
    }
    out.push_str("</tr></thead>\n<tbody>\n");
    for row in matrix.ranked() {
        let _ = write!(
            out,
            "<tr><th scope=\"row\"><abbr title=\"{}\">{}</abbr></th><td class=\"limit n\">{}</td>",
            escaped(row.question.asks()),
            row.question.key(),
            set(&limit_of(row))
        );
        for cell in &row.cells {
            out.push_str(&of_cell(row, cell, span));
        }
        out.push_str("</tr>\n");
    }
    out.push_str(
        "</tbody>\n<tfoot><tr><th scope=\"row\">faults, open</th><td class=\"limit\"></td>",
    );
    for index in 0..n {
        let count = |finding: Finding| {
            let cells = matrix.rows.iter().filter_map(|row| row.cells.get(index));
            cells.filter(|cell| cell.outcome == finding).count()
        };
        let faults = count(Finding::Fault);
        let class = if faults > 0 { " fault" } else { "" };
        let _ = write!(
            out,
            "<td colspan=\"{span}\" class=\"n{class}\">{faults}, {}</td>",
            count(Finding::CannotTell)
        );
    }
    out.push_str("</tr></tfoot>\n</table></div>\n");
    let _ = writeln!(
        out,
        "<p class=\"note\">{}</p>",
        set(&compared::not_ridden(survey))
    );
    out
}

fn of_cell(row: &QuestionRow, cell: &Cell, span: usize) -> String {
    let word = word_of(&cell.outcome).replace('-', " ");
    let mut out = format!(
        "<td class=\"s\">{}<span class=\"hide\">{word}</span></td>",
        inline_sign(cell.outcome)
    );
    let held = cell.value.zip(cell.limit).filter(|(_, limit)| *limit > 0.0);
    let shown = held
        .and_then(|(value, limit)| Gauge::sized(value, cell.interval.unwrap_or([value; 2]), limit));
    if span > 2 {
        let drawn = match (shown, cell.outcome) {
            (_, Finding::NotRidden) => String::new(),
            (Some(g), found) => gauge(found, [g.value, g.low, g.high], false),
            (None, _) => empty_gauge(false),
        };
        let _ = write!(out, "<td class=\"g\">{drawn}</td>");
    }
    if span > 1 {
        let class = if cell.outcome == Finding::Fault {
            " fault"
        } else {
            ""
        };
        let _ = write!(
            out,
            "<td class=\"n{class}\">{}</td>",
            set(&value_of(cell, row.unit))
        );
    }
    out
}

fn alike_head(survey: &Survey) -> String {
    let of = |said: Said| {
        survey
            .contrasts
            .iter()
            .filter(|c| c.outcome == said)
            .count()
    };
    match survey.contrasts.as_slice() {
        [one] => match one.outcome {
            Said::Alike => "Alike".to_owned(),
            Said::Differ => "They differ".to_owned(),
            Said::CannotTell => "Whether they are alike cannot be told".to_owned(),
        },
        _ => format!(
            "{} alike, {} differ, of {} it cannot be told",
            of(Said::Alike),
            of(Said::Differ),
            of(Said::CannotTell)
        ),
    }
}

/// The contrasts over their margins.
fn alike(survey: &Survey) -> String {
    if survey.contrasts.is_empty() {
        return String::new();
    }
    let reach = reach(survey);
    let mut out = format!(
        "<p class=\"asked\">Difference with its 90 % limits. Green: the margin.</p>\n<table class=\"forest\">\n<caption class=\"hide\">Differences against the margin</caption>\n<thead><tr><th scope=\"col\"><span class=\"hide\">contrast</span></th>{}<th scope=\"col\" class=\"n\">points</th><th scope=\"col\"><span class=\"hide\">outcome</span></th><th scope=\"col\" class=\"w\">from zero</th><th scope=\"col\" class=\"n w\">rides needed</th></tr></thead>\n<tbody>\n",
        scale(margin_of(survey), reach)
    );
    for contrast in &survey.contrasts {
        let drawn = drawn_contrast(contrast, reach).unwrap_or_default();
        let (class, _) = look(contrast.outcome);
        let _ = writeln!(
            out,
            "<tr><th scope=\"row\">{}</th><td class=\"g\">{drawn}</td><td class=\"n\">{}</td><td class=\"{class}\">{}</td><td class=\"w\">{}</td><td class=\"n w\">{}</td></tr>",
            set(&compared::name(contrast).replace(" - ", " − ")),
            set(&with_half(contrast.mean_percent, contrast.ci90_percent)),
            compared::said(contrast.outcome),
            compared::from_zero(contrast),
            contrast
                .rides_needed
                .map_or_else(|| "–".to_owned(), |n| n.to_string())
        );
    }
    out.push_str("</tbody>\n</table>\n");
    out.push_str(&list(compared::sentences(survey)));
    for reason in compared::reasons(survey) {
        let _ = writeln!(out, "<p class=\"note\">{}</p>", set(&reason));
    }
    out
}

/// The margin, where it is the same for all.
fn margin_of(survey: &Survey) -> Option<f64> {
    let mut margins = survey.contrasts.iter().filter_map(|c| c.margin_percent);
    let first = margins.next()?;
    margins.all(|margin| margin == first).then_some(first)
}

const fn look(said: Said) -> (&'static str, &'static str) {
    match said {
        Said::Alike => ("fine", "<circle class=\"mark-fine\" r=\"4.1\"/>"),
        Said::Differ => (
            "differ",
            "<path class=\"mark-differ\" d=\"M0-5.2L5.2 0 0 5.2-5.2 0z\"/>",
        ),
        Said::CannotTell => ("open", "<circle class=\"mark-open\" r=\"3.9\"/>"),
    }
}

fn drawn_contrast(contrast: &Contrast, reach: f64) -> Option<String> {
    let margin = contrast.margin_percent?;
    let [low, high] = contrast.ci90_percent?;
    let (tone, mark) = look(contrast.outcome);
    let value = [contrast.mean_percent?, low, high].map(|v| v / margin);
    Some(marked_gauge((mark, tone), value, Some(reach)))
}

/// How many margins to either side the contrasts need, 3 to 6.
fn reach(survey: &Survey) -> f64 {
    let sizes = survey.contrasts.iter().filter_map(|contrast| {
        let [low, high] = contrast.ci90_percent?;
        Some(low.abs().max(high.abs()) / contrast.margin_percent?)
    });
    sizes.fold(LIMITS, f64::max).ceil().min(2.0 * LIMITS)
}

/// The head of a two-sided gauge that ends `reach` limits to either side.
fn scale(limit: Option<f64>, reach: f64) -> String {
    let at = |times: f64| {
        let text = match limit {
            Some(limit) => number(times * limit, decimals(limit), true),
            None => format!("{}×", number(times, 0, true)),
        };
        set(&text)
    };
    let place = |times: f64| 50.0 + 50.0 * times / reach;
    let middle: String = [-1.0, 0.0, 1.0]
        .map(|times| {
            format!(
                "<span style=\"left:{:.2}%\">{}</span>",
                place(times),
                at(times)
            )
        })
        .concat();
    format!(
        "<th scope=\"col\" class=\"scale two\"><span class=\"from\">{}</span>{middle}<span class=\"to\">{}</span></th>",
        at(-reach),
        at(reach)
    )
}

fn decimals(limit: f64) -> usize {
    machine_number(limit)
        .split_once('.')
        .map_or(0, |(_, digits)| digits.len().min(2))
}

/// A forest a set point, two beside each other.
fn set_points(survey: &Survey) -> String {
    let groups = pictures::forests(survey);
    if groups.is_empty() {
        return String::new();
    }
    let mut out = "<p class=\"asked\">Net bias with its expanded uncertainty. Green: the claim. Set points within 5 % stand together.</p>\n<div class=\"pair\">\n".to_owned();
    for group in &groups {
        let _ = write!(
            out,
            "<table class=\"forest\">\n<caption>{}</caption>\n<thead><tr><th scope=\"col\"><span class=\"hide\">unit</span></th>{}<th scope=\"col\" class=\"n\">%</th></tr></thead>\n<tbody>\n",
            set(&group.name),
            scale(group.margin_percent, LIMITS)
        );
        for unit in &group.units {
            let (drawn, class) = drawn_unit(unit, group.margin_percent);
            let half = unit.limits_percent.map(|[low, high]| 0.5 * (high - low));
            let half =
                half.map_or_else(String::new, |half| format!(" ± {}", number(half, 1, false)));
            let _ = writeln!(
                out,
                "<tr><th scope=\"row\">{}</th><td class=\"g\">{drawn}</td><td class=\"n {class}\">{}</td></tr>",
                escaped(&unit.name),
                set(&format!("{}{half}", number(unit.mean_percent, 1, true)))
            );
        }
        out.push_str("</tbody>\n</table>\n");
    }
    out.push_str("</div>\n");
    out
}

fn drawn_unit(unit: &forest::Unit, margin: Option<f64>) -> (String, &'static str) {
    let (Some(margin), Some(limits)) = (margin, unit.limits_percent) else {
        return (String::new(), "open");
    };
    let found = by_limits(limits, margin);
    let value = [unit.mean_percent, limits[0], limits[1]].map(|v| v / margin);
    (gauge(found, value, true), tone(found))
}

fn ladder(survey: &Survey) -> String {
    let grid = compared::ladder(survey);
    table("", &grid)
}

fn method() -> String {
    let said = paragraph(
        "Blocks are paired that ask the same: kind, set point within 5 %, gear, mode and reference. Two count as alike where the 90 % limits of their difference lie within the margin (two one-sided tests, Schuirmann 1987), as different where its 95 % limits lie beyond; else it cannot be told. With four rides or more of each, their means are the sample (Welch 1947), with fewer the spread of all repeated rides counts, never seconds alone; chance among many contrasts is held by Holm 1979.",
    );
    format!(
        "<div class=\"pair\">\n<div class=\"half\">\n{said}</div>\n<div class=\"half\">\n<h3 class=\"first\">Cautions</h3>\n{}</div>\n</div>\n",
        list(CAUTIONS)
    )
}

/// What is folded away, and how the page was made.
fn rest(survey: &Survey) -> String {
    let precision = table("Precision", &precision(survey))
        + &table("Its limits", &spread(survey))
        + &paragraph(super::MEANING)
        + &list(remarks(survey));
    let each = match survey.used > LISTED {
        true => paragraph(TOO_MANY),
        false => table("", &by_session(survey)),
    };
    let made = format!(
        "<p class=\"mute\">Made by truing {}. The same version writes this page again from the same session folders: <code>truing survey SESSION... -o FILE.html</code>. What a figure means: <code>truing explain TERM</code>.</p>\n",
        env!("CARGO_PKG_VERSION")
    );
    let tests = match survey.contrasts.is_empty() {
        true => String::new(),
        false => table("", &compared::tests(survey)),
    };
    [
        folded("Tests behind the contrasts", &tests),
        folded("Precision", &precision),
        folded("Bias of each session", &each),
        folded(&capital("left out"), &list(skipped(survey))),
        made,
    ]
    .concat()
}
