//! The first page: the headline, every question with its gauge, the whole ride with what is wrong in it,
//! and the error against power.

use std::fmt::Write as _;

use super::parts::{Material, number};
use crate::analysis::error_curve::ErrorCurve;
use crate::analysis::questions::answer::Part;
use crate::analysis::questions::{Answer, Finding, Question};
use crate::export::page::chart::{
    self, Anchor, CHARACTER, Chart, WIDTH, inline_sign, rounded, tone,
};
use crate::export::page::html::{escaped, list, paragraph, set};
use crate::export::table::{ShortRow, short_rows};
use crate::picture::error_curve::{allowed, powers};
use crate::picture::gauge::Gauge;
use crate::picture::labels::placed;
use crate::session::{Claim, Kind, Role, Session, Words};
use crate::text::{capital, clock_time, listed, machine_number, one_line, word_of};
use crate::timeline::Member;

/// Characters from which on a headline is set smaller.
const LONG: usize = 120;

/// Who was ridden against whom, and when; then the headline, and what it is held against.
pub(super) fn head(material: &Material<'_>, title: &str, date: Option<&str>) -> String {
    let names = |role: Role, class: &str| {
        let streams = material.opened.session.streams.iter();
        let own = streams.filter(|stream| stream.role == role);
        let names: Vec<String> = own
            .map(|stream| format!("<span class=\"{class}\">{}</span>", escaped(&stream.label)))
            .collect();
        listed(&names)
    };
    let (tested, against) = (
        names(Role::UnderTest, "w-src"),
        names(Role::Reference, "w-ref"),
    );
    let against = match against.as_str() {
        "" => "no reference".to_owned(),
        names => names.to_owned(),
    };
    let mut about = vec![format!("<b>{}</b>", escaped(title))];
    about.extend(date.map(escaped));
    let origin = material
        .opened
        .session
        .facts
        .iter()
        .find(|fact| fact.key == "origin");
    let long = match material.answers.headline.chars().count() > LONG {
        true => " class=\"long\"",
        false => "",
    };
    let mut ridden = vec![format!("{tested} against {against}")];
    ridden.extend(origin.map(|fact| set(&fact.value)));
    let mut out = format!(
        "<p class=\"about\"><span>{}</span> <span>{}</span></p>\n<h1{long}>{}.</h1>\n<p class=\"deck\">{}</p>\n",
        about.join(" · "),
        ridden.join(" · "),
        set(&material.answers.headline),
        set(&deck(material))
    );
    for caution in material.opened.session.claim_cautions() {
        out.push_str(&paragraph(&format!("{caution}.")));
    }
    for problem in &material.opened.problems {
        out.push_str(&paragraph(&format!("Left out: {problem}.")));
    }
    out
}

/// What the ride is held against, and what is not tagged.
fn deck(material: &Material<'_>) -> String {
    let claim = material.table.session.claim;
    let percent = (claim.percent > 0.0).then(|| format!("±{} %", machine_number(claim.percent)));
    let watts = (claim.watts > 0.0).then(|| format!("±{} W", machine_number(claim.watts)));
    let claimed = [percent, watts].into_iter().flatten().collect::<Vec<_>>();
    let allowance = material.table.session.allowance;
    let loss = format!(
        "{} ± {} %",
        machine_number(allowance.percent),
        machine_number(allowance.plus_minus)
    );
    let held = match (claimed.join(" or "), allowance.percent == 0.0) {
        (claim, _) if claim.is_empty() => "No claim is stated.".to_owned(),
        (claim, true) => format!("Held against its claim of {claim}."),
        (claim, false) => format!(
            "Held against its claim of {claim}; {loss} is taken off the references for the drivetrain, as the tester states."
        ),
    };
    let parts = [Some(held), material.answers.tagging.in_words()];
    parts.into_iter().flatten().collect::<Vec<_>>().join(" ")
}

/// Every question: sign, gauge, answer; in groups, what is wrong first.
pub(super) fn answers(material: &Material<'_>) -> String {
    let several = material.answers.has_several_sources();
    let ranked = material.answers.ranked();
    let mut out = "<table class=\"answers\">\n<caption class=\"hide\">What a tester asks, and the answers</caption>\n<thead><tr><th scope=\"col\"><span class=\"hide\">outcome</span></th><th scope=\"col\"><span class=\"hide\">question</span></th><th scope=\"col\" class=\"scale\"><span>0</span><span class=\"w-fine\">limit</span><span>2×</span><span>3×</span></th><th scope=\"col\"><span class=\"hide\">answer</span></th></tr></thead>\n<tbody>\n".to_owned();
    let mut last = None;
    for answer in &ranked {
        let count = ranked
            .iter()
            .filter(|a| a.outcome == answer.outcome)
            .count();
        let is_first = last != Some(answer.outcome);
        last = Some(answer.outcome);
        let group = if is_first {
            let word = word_of(&answer.outcome).replace('-', " ");
            let plural = if answer.outcome == Finding::Fault && count > 1 {
                "s"
            } else {
                ""
            };
            format!("{count} {word}{plural}")
        } else {
            String::new()
        };
        let gauge = match (Gauge::of(answer), answer.outcome) {
            (_, Finding::NotRidden) => String::new(),
            (Some(g), found) => chart::gauge(found, [g.value, g.low, g.high], false),
            (None, _) => chart::empty_gauge(false),
        };
        let _ = writeln!(
            out,
            "<tr class=\"{}{}\"><td class=\"group\">{group}</td><th scope=\"row\">{} <span class=\"hide\">{}: </span><abbr title=\"{}\">{}</abbr></th><td class=\"g\">{gauge}</td><td class=\"said\">{}</td></tr>",
            tone(answer.outcome),
            if is_first { " first" } else { "" },
            inline_sign(answer.outcome),
            word_of(&answer.outcome).replace('-', " "),
            escaped(answer.question.asks()),
            answer.question.key(),
            said(answer, several)
        );
    }
    out.push_str("</tbody>\n</table>\n");
    out
}

/// What the list says: a fault in full, all else in brief, with what would tell. The rest of it stands
/// in the section of the question.
fn said(answer: &Answer, several: bool) -> String {
    let name = match several && !answer.source.is_empty() {
        true => format!("{}: ", one_line(&answer.source)),
        false => String::new(),
    };
    match answer.outcome {
        Finding::Fault => set_answer(&name, without_would(answer)),
        found => {
            let would = match (&answer.would_tell, found) {
                (None, _) => String::new(),
                (Some(what), Finding::NotRidden) => format!("It takes {what}."),
                (Some(what), _) => format!("{} would tell.", capital(what)),
            };
            let would = format!(" <span class=\"mute\">{}</span>", set(&would));
            set_answer(&name, &answer.brief) + &would
        }
    }
}

/// The sentence up to what would tell.
pub(super) fn without_would(answer: &Answer) -> &str {
    let sentence = answer.sentence.as_str();
    let Some(what) = &answer.would_tell else {
        return sentence;
    };
    let ends = [format!("; {what} would tell"), format!("; it takes {what}")];
    let mut cut = ends
        .iter()
        .filter_map(|end| sentence.strip_suffix(end.as_str()));
    cut.next().unwrap_or(sentence)
}

/// An answer as a sentence, what it is held against in a quieter tone.
pub(super) fn set_answer(name: &str, sentence: &str) -> String {
    let mut parts: Vec<&str> = sentence.split("; ").collect();
    let limit = parts.pop_if(|part| part.starts_with("limit ") || part.starts_with("claim "));
    let mut out = set(&format!("{name}{}.", capital(&parts.join("; "))));
    if let Some(limit) = limit {
        let _ = write!(
            out,
            " <span class=\"mute\">{}.</span>",
            set(&capital(limit))
        );
    }
    out
}

/// Width of a phone as a share of a printed page.
const PHONE: f64 = 0.45;
/// Rows of labels and signs under the axes of the ride, px.
const UNDER_RIDE: f64 = 62.0;

/// The whole ride: every stream under test over the references, segments with their signs, what is
/// wrong where it is.
pub(super) fn overview(material: &Material<'_>) -> String {
    let aligned = material.aligned;
    let span = aligned.grid.span();
    let line = |member: Member| -> Vec<[f64; 2]> {
        let power = aligned.power(member).unwrap_or_default().iter();
        let rows = power.enumerate();
        rows.map(|(row, watts)| [aligned.grid.time_s(row), *watts])
            .collect()
    };
    let sources: Vec<Vec<[f64; 2]>> = aligned
        .powered(Role::UnderTest)
        .map(|index| line(Member::Stream(index)))
        .collect();
    let reference = aligned.basis().map(line).unwrap_or_default();
    let all = || sources.iter().chain(std::iter::once(&reference)).flatten();
    if all().all(|p| !p[1].is_finite()) {
        return String::new();
    }
    let (y, step) = rounded(all().map(|p| p[1]).chain([0.0]), 4.0);
    let mut chart = Chart::new([span.from_s, span.to_s], y, 106.0, UNDER_RIDE);
    let phantoms = material.table.excursions.iter();
    for excursion in phantoms {
        chart.ground("gap", [excursion.from_s, excursion.to_s]);
    }
    chart.ticks_y(step, false, "W");
    chart.ticks_time(UNDER_RIDE - 6.0, 7.0);
    chart.line("ref", &reference);
    for (index, source) in sources.iter().enumerate().rev() {
        chart.line(if index == 0 { "src" } else { "src2" }, source);
    }
    let rows = short_rows(material.table, material.answers);
    let mut labels = fault_labels(&material.answers.answers);
    labels.extend(error_labels(&rows));
    label_over(&mut chart, &labels, || all().copied());
    let first = rows
        .first()
        .map(|row| row.under_test.clone())
        .unwrap_or_default();
    let rows: Vec<&ShortRow> = rows.iter().filter(|row| row.under_test == first).collect();
    segments_under(&mut chart, &rows);
    dropouts_in(&mut chart, material);
    let alt = overview_alt(material, &rows);
    let against = match aligned.basis() {
        Some(Member::Stream(index)) => {
            let stream = material.session.streams.get(index);
            stream.map_or_else(String::new, |stream| stream.label.clone())
        }
        Some(Member::Consensus) => "the mean of the references".to_owned(),
        None => "nothing: there is no reference".to_owned(),
    };
    format!(
        "<figure>\n<figcaption><b>What was ridden, and what each part says</b> <span class=\"mute\"><span class=\"w-src\">{}</span> over <span class=\"w-ref\">{}</span>; below, the segments with their signs.</span></figcaption>\n{}</figure>\n",
        escaped(if first.is_empty() {
            "the recording"
        } else {
            &first
        }),
        escaped(&against),
        chart.finish(&alt)
    )
}

/// A label over the ride.
struct Label {
    at_s: f64,
    text: String,
    class: &'static str,
}

/// What is wrong at one place of the ride, the most harmful first.
fn fault_labels(answers: &[Answer]) -> Vec<Label> {
    let placed = [
        Question::Phantom,
        Question::Sprint,
        Question::Heat,
        Question::Gradient,
    ];
    let faults = placed.into_iter().flat_map(|question| {
        let own = answers.iter().filter(move |a| a.question == question);
        own.filter(|a| a.outcome == Finding::Fault)
    });
    let label = |answer: &Answer| {
        let (from_s, to_s) = answer.from_s.zip(answer.to_s)?;
        let text = match answer.question {
            Question::Phantom => format!("{} W from nowhere", number(answer.value?, 0, false)),
            _ => answer.headline.clone()?,
        };
        Some(Label {
            at_s: 0.5 * (from_s + to_s),
            text,
            class: "label w-fault",
        })
    };
    faults.filter_map(label).collect()
}

/// The error of each judged block.
fn error_labels(rows: &[ShortRow]) -> Vec<Label> {
    let judged = rows.iter().filter(|row| row.kind == Kind::SteadyBlock);
    let label = |row: &ShortRow| {
        let error = row.error_percent?;
        let class = match row.finding? {
            Finding::Fault => "label w-fault",
            Finding::Fine => "label w-fine w",
            _ => "label w",
        };
        Some(Label {
            at_s: row.from_s + 0.5 * row.length_s,
            text: format!("{} %", number(error, 1, true)),
            class,
        })
    };
    judged.filter_map(label).collect()
}

/// Writes the labels over what is drawn under them, those that have room.
fn label_over<I: Iterator<Item = [f64; 2]>>(
    chart: &mut Chart,
    labels: &[Label],
    points: impl Fn() -> I,
) {
    let wide = |label: &Label| CHARACTER * label.text.chars().count() as f64;
    let mut taken: Vec<[f64; 2]> = Vec::new();
    for label in labels {
        let (at, width) = (chart.px(label.at_s), wide(label));
        // Over its place, else left or right of it.
        let lefts = [at - 0.5 * width, at - width - 8.0, at + 8.0];
        let is_free = |left: &f64| {
            let mut others = taken.iter();
            let inside = *left >= 0.0 && left + width <= WIDTH + 20.0;
            inside && others.all(|[from, to]| *left >= to + 6.0 || left + width + 6.0 <= *from)
        };
        let Some(left) = lefts.into_iter().find(is_free) else {
            continue;
        };
        taken.push([left, left + width]);
        let shown = [left, left + wide(label)];
        let under = points().filter(|p| {
            let x = chart.px(p[0]);
            p[1].is_finite() && x >= shown[0] && x <= shown[1]
        });
        let highest = under.map(|p| p[1]).fold(0.0, f64::max);
        let y = (chart.py(highest) - 7.0).max(9.0);
        let dx = left + 0.5 * wide(label) - chart.px(label.at_s);
        chart.text(
            label.class,
            Anchor::Middle,
            label.at_s,
            [dx, y],
            &label.text,
        );
    }
}

/// A stroke a segment with its sign, number and kind, as far as there is room.
fn segments_under(chart: &mut Chart, rows: &[&ShortRow]) {
    let base = chart.bottom();
    for row in rows {
        let class = match (row.kind, row.finding) {
            (Kind::Open, _) => "seg seg-none",
            (_, Some(Finding::Fault)) => "seg seg-fault",
            (_, Some(Finding::Fine)) => "seg seg-fine",
            _ => "seg seg-open",
        };
        chart.bar(class, [row.from_s, row.from_s + row.length_s], base + 7.0);
    }
    let named: Vec<&&ShortRow> = rows.iter().filter(|row| row.kind != Kind::Open).collect();
    let wanted_at = |scale: f64| {
        let wanted = named.iter().map(|row| {
            let digits = row.id.to_string().len() as f64;
            (scale * chart.px(row.from_s), 14.0 + CHARACTER * digits)
        });
        let wanted: Vec<(f64, f64)> = wanted.collect();
        placed(wanted, [0.0, scale * WIDTH + 20.0], 3.0)
    };
    let places = wanted_at(1.0);
    // On a phone only those that have room there.
    let narrow = wanted_at(PHONE);
    let kinds = named.iter().zip(&places).map(|(row, left)| match left {
        Some(left) => (*left, CHARACTER * what(row).chars().count() as f64),
        None => (f64::INFINITY, 1.0),
    });
    let kinds = placed(kinds.collect::<Vec<_>>(), [0.0, WIDTH + 20.0], 4.0);
    for (((row, left), kind), narrow) in named.iter().zip(places).zip(kinds).zip(narrow) {
        let Some(left) = left else { continue };
        let dx = left - chart.px(row.from_s);
        let wide = if narrow.is_none() { " w" } else { "" };
        let bold = match row.finding {
            Some(Finding::Fault) => format!("label strong{wide}"),
            _ => format!("label{wide}"),
        };
        let id = row.id.to_string();
        let found = row.finding.unwrap_or(Finding::NotRidden);
        chart.sign(found, wide, row.from_s, base + 18.0);
        chart.text(
            &bold,
            Anchor::Start,
            row.from_s,
            [dx + 13.0, base + 22.0],
            &id,
        );
        if let Some(left) = kind {
            let dx = left - chart.px(row.from_s);
            chart.text(
                "tick w",
                Anchor::Start,
                row.from_s,
                [dx, base + 36.0],
                &what(row),
            );
        }
    }
}

/// "240 W", or the kind.
fn what(row: &ShortRow) -> String {
    match (row.kind, row.set_point_w) {
        (Kind::SteadyBlock, Some(watts)) => format!("{} W", number(watts, 0, false)),
        (Kind::SteadyBlock, None) => "held".to_owned(),
        (Kind::GearChange, _) => "gears".to_owned(),
        (Kind::HeatSoak, _) => "soak".to_owned(),
        (kind, _) => kind.word().to_owned(),
    }
}

/// A triangle at each gap.
fn dropouts_in(chart: &mut Chart, material: &Material<'_>) {
    let tested = material
        .table
        .streams
        .iter()
        .filter(|s| s.role == Role::UnderTest);
    for dropout in tested.flat_map(|stream| &stream.dropouts) {
        let y = chart.bottom() - 4.0;
        let at = 0.5 * (dropout.from_s + dropout.to_s);
        chart.text("label strong", Anchor::Middle, at, [0.0, y], "▽");
    }
}

/// What the picture of the ride shows, for who does not see it.
fn overview_alt(material: &Material<'_>, rows: &[&ShortRow]) -> String {
    let parts: Vec<String> = rows
        .iter()
        .filter_map(|row| {
            let found = word_of(&row.finding?).replace('-', " ");
            Some(format!("{} {} {found}", row.id, what(row)))
        })
        .collect();
    let excursions: Vec<String> = material
        .table
        .excursions
        .iter()
        .map(|e| format!("power from nowhere at {}", clock_time(e.from_s)))
        .collect();
    let ride = clock_time(material.table.session.duration_s);
    let all = [parts, excursions].concat();
    format!(
        "Power over the ride of {ride}. Segments: {}.",
        all.join(", ")
    )
}

/// The error of each block of held power over power, on the ground of the claim; one picture a source.
pub(super) fn error_curves(material: &Material<'_>) -> String {
    let curves = material.table.error_curve.iter();
    curves
        .filter_map(|found| {
            let streams = &material.session.streams;
            let index = streams.iter().position(|s| s.label == found.under_test)?;
            let claim = material.session.claim_of(index).unwrap_or_default();
            let answer = material
                .answers
                .answer(Question::Accuracy, &found.under_test)?;
            error_curve(found, claim, answer, material.session, index)
        })
        .collect()
}

fn error_curve(
    found: &ErrorCurve,
    claim: Claim,
    answer: &Answer,
    session: &Session,
    index: usize,
) -> Option<String> {
    let [low, high] = powers(found)?;
    let power = |part: &Part| {
        let block = found.blocks.iter().find(|b| b.segment == part.segment);
        block.map(|block| block.power_w)
    };
    let marks: Vec<(f64, &Part)> = answer
        .parts
        .iter()
        .filter_map(|part| Some((power(part)?, part)))
        .collect();
    if marks.is_empty() {
        return None;
    }
    let limits = marks.iter().flat_map(|(_, part)| part.interval);
    let ground = allowed(claim, [low, high]);
    let edges = |at: usize| ground.iter().map(move |point| [point[0], point[at]]);
    let claimed = edges(1).chain(edges(2)).map(|p| p[1]);
    let (y, step) = rounded(limits.chain(claimed).chain([0.0]), 4.0);
    let room = 0.08 * (high - low).max(40.0);
    let mut chart = Chart::new([low - room, high + room], y, 104.0, 22.0);
    chart.area("allowed", &ground);
    for edge in [1, 2] {
        chart.line("claim", &edges(edge).collect::<Vec<_>>());
    }
    chart.ticks_y(step, true, "%");
    let (_, step_w) = rounded([low, high].into_iter(), 4.0);
    chart.ticks_x(step_w, "W");
    // The largest errors keep their label.
    let mut order: Vec<&(f64, &Part)> = marks.iter().collect();
    order.sort_by(|a, b| b.1.value.abs().total_cmp(&a.1.value.abs()));
    let text = |part: &Part| {
        let half = 0.5 * (part.interval[1] - part.interval[0]);
        format!(
            "{} ± {}",
            number(part.value, 1, true),
            number(half, 1, false)
        )
    };
    let wide = |part: &Part| CHARACTER * text(part).chars().count() as f64;
    let half_width = 0.6;
    // The marks themselves stand first: no label covers one.
    let at = |watts: f64| half_width * chart.px(watts);
    let taken = order.iter().map(|(watts, _)| (at(*watts) - 5.0, 10.0));
    // Right of its mark, left where that is beyond the axis.
    let beside = |watts: f64, wide: f64| match at(watts) + 9.0 + wide {
        end if end > half_width * WIDTH => at(watts) - 9.0 - wide,
        _ => at(watts) + 9.0,
    };
    let wanted = order
        .iter()
        .map(|(watts, part)| (beside(*watts, wide(part)), wide(part)));
    let wanted: Vec<(f64, f64)> = taken.chain(wanted).collect();
    let places = placed(wanted, [-5.0, half_width * WIDTH + 60.0], 2.0);
    for ((watts, part), place) in order.iter().zip(places.into_iter().skip(order.len())) {
        let class = match part.outcome {
            Finding::Fault => "whisker-fault",
            Finding::Fine => "whisker-fine",
            _ => "whisker-open",
        };
        chart.upright(class, *watts, part.interval.map(|v| chart.py(v)));
        let y = chart.py(part.value);
        chart.mark(part.outcome, *watts, y);
        if let Some(left) = place {
            let class = match part.outcome {
                Finding::Fault => "label w-fault",
                Finding::Fine => "label w-fine",
                _ => "label",
            };
            let dx = left - half_width * chart.px(*watts);
            chart.text(class, Anchor::Start, *watts, [dx, y + 4.0], &text(part));
        }
    }
    let blocks: Vec<String> = marks
        .iter()
        .map(|(watts, part)| {
            format!(
                "{} % at {} W, {}",
                text(part),
                number(*watts, 0, false),
                word_of(&part.outcome).replace('-', " ")
            )
        })
        .collect();
    let label = session
        .streams
        .get(index)
        .map_or("", |stream| stream.label.as_str());
    let alt = format!("Error of {label} against power: {}.", blocks.join("; "));
    Some(format!(
        "<figure class=\"half\">\n<figcaption><b>{}: error against power</b> <span class=\"mute\">Each held block with its uncertainty, % of what is delivered. <span class=\"w-claim\">Green: the claim.</span></span></figcaption>\n{}</figure>\n",
        escaped(label),
        chart.finish(&alt)
    ))
}

/// What the marks of the gauges mean.
pub(super) fn key() -> String {
    let line = |finding: Finding, gauge: [f64; 3], text: &str| {
        format!(
            "<tr><td class=\"g\">{}</td><td>{} {text}</td></tr>\n",
            chart::gauge(finding, gauge, false),
            inline_sign(finding)
        )
    };
    format!(
        "<div class=\"key\">\n<h2>How to read the marks</h2>\n<table>\n{}{}{}</table>\n</div>\n",
        line(
            Finding::Fault,
            [2.0, 1.5, 2.5],
            "<b class=\"w-fault\">Fault.</b> Value and uncertainty lie beyond the limit."
        ),
        line(
            Finding::CannotTell,
            [0.9, 0.5, 1.3],
            "<b>Cannot tell.</b> The uncertainty reaches across it."
        ),
        line(
            Finding::Fine,
            [0.5, 0.2, 0.8],
            "<b class=\"w-fine\">Fine.</b> All of it lies inside; green is what is allowed."
        )
    )
}

/// What the tester says, which nothing computes.
pub(super) fn words(material: &Material<'_>) -> String {
    let words = &material.opened.session.words;
    if *words == Words::default() {
        return String::new();
    }
    let mut out =
        "<h2>In the tester's words <span class=\"mute\">(not computed)</span></h2>\n".to_owned();
    for part in words.summary.split("\n\n").filter(|p| !p.trim().is_empty()) {
        out.push_str(&paragraph(part));
    }
    for (title, points) in [("For", &words.for_), ("Against", &words.against)] {
        match points.as_slice() {
            [] => {}
            [one] => out.push_str(&paragraph(&format!("{title}: {one}"))),
            several => {
                let _ = write!(out, "<p>{title}:</p>\n{}", list(several));
            }
        }
    }
    out
}
