//! What a survey compares: contrasts, questions by unit, the ladder of limits; as grids and as CSV.

use crate::analysis::questions::Finding;
use crate::analysis::survey::{
    Basis, Cell, Contrast, MOST_UNITS, QuestionRow, Said, Survey, called,
};
use crate::export::findings::sign;
use crate::stats::Interval;
use crate::text::{
    Grid, Head, capital, escaped, hanging, inert, listed, machine_number, number, one_line,
    optional, plural, word_of,
};

/// Most units beside each other in the columns of a terminal.
const BESIDE: usize = 5;

/// What a contrast compares.
pub(super) fn name(contrast: &Contrast) -> String {
    let [a, b] = [&contrast.a, &contrast.b].map(|value| called(&contrast.key, value));
    // The key stands before both or neither.
    let key = format!("{} ", one_line(&contrast.key));
    format!("{a} - {}", b.strip_prefix(&key).unwrap_or(&b))
}

/// What it says, as people read it.
pub(super) fn said(said: Said) -> String {
    word_of(&said).replace('-', " ")
}

/// "+0.42", ± half of the limits behind it.
pub(super) fn with_half(value: Option<f64>, limits: Option<Interval>) -> String {
    let (Some(value), Some([low, high])) = (value, limits) else {
        return optional(value, 2, true);
    };
    format!(
        "{} ± {}",
        number(value, 2, true),
        number(0.5 * (high - low), 2, false)
    )
}

/// A row a contrast.
pub(super) fn contrasts(survey: &Survey) -> Grid {
    let mut grid = Grid::new([
        Head::text("contrast"),
        Head::number("D", "points"),
        Head::number("margin", ""),
        Head::text("said"),
        Head::text("from zero"),
        Head::number("more rides", ""),
    ]);
    for contrast in &survey.contrasts {
        let needed = contrast.rides_needed;
        grid.push(vec![
            name(contrast),
            with_half(contrast.mean_percent, contrast.ci95_percent),
            optional(contrast.margin_percent, 2, false),
            said(contrast.outcome),
            from_zero(contrast).to_owned(),
            needed.map_or_else(|| "-".to_owned(), |n| n.to_string()),
        ]);
    }
    grid
}

/// Whether it is told from zero, whatever the margin.
pub(super) const fn from_zero(contrast: &Contrast) -> &'static str {
    match (contrast.mean_percent, contrast.differs_from_zero) {
        (None, _) => "-",
        (_, true) => "differs",
        (_, false) => "not told",
    }
}

/// Its p values.
pub(super) fn tests(survey: &Survey) -> Grid {
    let mut grid = Grid::new([
        Head::text("contrast"),
        Head::number("pairs", ""),
        Head::number("90 % CI", "points"),
        Head::number("p(differs)", ""),
        Head::number("p(beyond)", ""),
        Head::number("p(alike)", ""),
        Head::number("CD", "points"),
    ]);
    for contrast in &survey.contrasts {
        grid.push(vec![
            name(contrast),
            contrast.n.to_string(),
            crate::text::interval(contrast.ci90_percent, 2, true),
            optional(contrast.p_differs_holm, 4, false),
            optional(contrast.p_beyond_holm, 4, false),
            optional(contrast.p_alike_holm, 4, false),
            optional(contrast.critical_difference_percent, 2, false),
        ]);
    }
    grid
}

/// Most contrasts of which each has its sentence; of more the table tells.
const SAID: usize = 3;

/// The sentences of the contrasts; of many what the table does not say, each once.
pub(super) fn sentences(survey: &Survey) -> Vec<String> {
    let contrasts = &survey.contrasts;
    let is_bare = |c: &&Contrast| contrasts.len() <= SAID || c.n == 0;
    let own = contrasts.iter().filter(is_bare);
    let mut said: Vec<String> = own.map(|c| format!("{}.", capital(&c.sentence))).collect();
    if contrasts.len() > SAID {
        said.push(format!(
            "Chance among {} is allowed for (Holm 1979); {}.",
            plural(contrasts.len(), "contrast"),
            rests(survey)
        ));
        let also: Vec<String> = contrasts
            .iter()
            .filter(|c| !c.also_differ.is_empty())
            .map(|c| format!("{} in {}", name(c), listed(&c.also_differ)))
            .collect();
        if !also.is_empty() {
            said.push(format!(
                "They differ in other facts as well, which may be why: {}.",
                also.join("; ")
            ));
        }
    }
    said
}

/// What the limits of many contrasts rest on.
fn rests(survey: &Survey) -> String {
    let of = |wanted: Basis| {
        survey
            .contrasts
            .iter()
            .filter(|c| c.basis == wanted)
            .count()
    };
    let said = [
        (Basis::Rides, "on each side's own rides (Welch)"),
        (Basis::Repeats, "on the spread of all repeated rides"),
        (
            Basis::Pairs,
            "on paired blocks of too few rides to tell the day from what is compared",
        ),
        (Basis::Seconds, "on the seconds of one pair"),
    ];
    let used = said.into_iter().filter(|(basis, _)| of(*basis) > 0);
    let used: Vec<String> = used
        .map(|(basis, words)| format!("{} {words}", of(basis)))
        .collect();
    format!("the limits of {}", listed(&used).replacen(' ', " rest ", 1))
}

/// Why the scale cancels or does not, each reason once.
pub(super) fn reasons(survey: &Survey) -> Vec<String> {
    let mut reasons: Vec<String> = Vec::new();
    for contrast in &survey.contrasts {
        let reason = format!("{}.", capital(&contrast.cancels_because));
        if !contrast.cancels_because.is_empty() && !reasons.contains(&reason) {
            reasons.push(reason);
        }
    }
    reasons
}

/// The number of a cell with its unit; how many rides say so, where there are several.
pub(super) fn value_of(cell: &Cell, unit: &str) -> String {
    let value = match (cell.value, cell.outcome) {
        (_, Finding::NotRidden) | (None, _) => String::new(),
        (Some(value), _) => {
            let signed = matches!(unit, "%" | "points");
            let decimals = if value.abs() < 100.0 { 1 } else { 0 };
            format!("{}{}", number(value, decimals, signed), with_unit(unit))
        }
    };
    let share = match (cell.outcome, cell.of) {
        (Finding::NotRidden, _) => String::new(),
        _ if cell.rides == cell.of => String::new(),
        _ => format!(" ({}/{})", cell.rides, cell.of),
    };
    format!("{value}{share}").trim_start().to_owned()
}

/// A unit behind its number.
fn with_unit(unit: &str) -> String {
    match unit {
        "" => String::new(),
        "1/h" => " /h".to_owned(),
        unit => format!(" {unit}"),
    }
}

/// The limit of a row, with its unit; of an answer without a number none.
pub(super) fn limit_of(row: &QuestionRow) -> String {
    let is_told = row.cells.iter().any(|cell| cell.value.is_some());
    let limit = row.limit.filter(|_| is_told);
    limit.map_or_else(String::new, |limit| {
        format!("{}{}", machine_number(limit), with_unit(row.unit))
    })
}

/// The questions that nobody rode, in a sentence; empty where there is none.
pub(super) fn not_ridden(survey: &Survey) -> String {
    let rows = survey.matrix.rows.iter().filter(|row| !row.is_ridden());
    let keys: Vec<&str> = rows.map(|row| row.question.key()).collect();
    match keys.as_slice() {
        [] => String::new(),
        keys => format!("Not ridden by any: {}.", listed(keys)),
    }
}

/// Questions that any unit rode, as many units beside each other as `most`; of more their number.
pub(super) fn questions(survey: &Survey, most: usize) -> Grid {
    let matrix = &survey.matrix;
    if matrix.units.is_empty() || matrix.units.len() > most {
        let heads =
            ["fault", "cannot tell", "fine", "not ridden"].map(|head| Head::number(head, ""));
        let mut grid = Grid::new(std::iter::once(Head::text("question")).chain(heads));
        for row in matrix.ranked() {
            let counts = row.counts;
            let each = [
                counts.fault,
                counts.cannot_tell,
                counts.fine,
                counts.not_ridden,
            ];
            let cells = each.map(|n| n.to_string());
            grid.push(
                std::iter::once(row.question.key().to_owned())
                    .chain(cells)
                    .collect(),
            );
        }
        return grid;
    }
    let units = matrix.units.iter().map(|unit| Head::text(&one_line(unit)));
    let mut grid = Grid::new([Head::text("question")].into_iter().chain(units));
    for row in matrix.ranked() {
        let cells = row.cells.iter().map(|cell| {
            format!("{} {}", sign(cell.outcome), value_of(cell, row.unit))
                .trim_end()
                .to_owned()
        });
        grid.push(
            std::iter::once(row.question.key().to_owned())
                .chain(cells)
                .collect(),
        );
    }
    grid
}

/// The strictest limit that each unit keeps.
pub(super) fn ladder(survey: &Survey) -> Grid {
    let mut grid = Grid::new([
        Head::text(survey.by.as_deref().unwrap_or("session")),
        Head::number("|b| + U", "%"),
        Head::text("keeps"),
    ]);
    for step in &survey.ladder {
        let keeps = match (step.keeps_percent, step.keeps.as_str()) {
            (Some(percent), "the claim") => format!("the claim, {} %", machine_number(percent)),
            (_, keeps) => keeps.to_owned(),
        };
        grid.push(vec![
            one_line(&step.unit),
            number(step.reach_percent, 2, false),
            keeps,
        ]);
    }
    grid
}

/// What many units are beside each other in short.
pub(super) fn units(survey: &Survey) -> String {
    let noun = survey.by.as_deref().unwrap_or("session");
    match survey.matrix.rows.first() {
        Some(row) => {
            let counts = row.counts;
            let n = counts.fault + counts.cannot_tell + counts.fine + counts.not_ridden;
            plural(n, &one_line(noun))
        }
        None => plural(0, &one_line(noun)),
    }
}

/// For reading.
pub(super) fn text(survey: &Survey, width: usize) -> String {
    let mut out = String::new();
    if !survey.contrasts.is_empty() {
        out.push_str("\nCONTRASTS\n");
        out.push_str(&contrasts(survey).aligned("", width));
        for sentence in sentences(survey).into_iter().chain(reasons(survey)) {
            out.push_str(&hanging("- ", &one_line(&sentence), width));
        }
        out.push('\n');
        out.push_str(&tests(survey).aligned("", width));
    }
    out.push_str(&format!(
        "\nQUESTIONS OF {}\n",
        units(survey).to_uppercase()
    ));
    out.push_str(&questions(survey, BESIDE).aligned("", width));
    let missing = not_ridden(survey);
    if !missing.is_empty() {
        out.push_str(&hanging("", &missing, width));
    }
    if !survey.ladder.is_empty() {
        out.push_str("\nSTRICTEST LIMIT KEPT\n");
        out.push_str(&ladder(survey).aligned("", width));
    }
    out
}

/// For a page.
pub(super) fn markdown(survey: &Survey) -> String {
    let mut out = String::new();
    if !survey.contrasts.is_empty() {
        out.push_str(&format!(
            "## Contrasts\n\n{}\n",
            contrasts(survey).markdown()
        ));
        for sentence in sentences(survey).into_iter().chain(reasons(survey)) {
            out.push_str(&format!("- {}\n", escaped(&sentence)));
        }
        out.push_str(&format!("\n{}\n", tests(survey).markdown()));
    }
    out.push_str(&format!(
        "## Questions of {}\n\n{}\n{}\n\n",
        escaped(&units(survey)),
        questions(survey, MOST_UNITS).markdown(),
        not_ridden(survey)
    ));
    if !survey.ladder.is_empty() {
        out.push_str(&format!(
            "## Strictest limit kept\n\n{}\n",
            ladder(survey).markdown()
        ));
    }
    out
}

/// Columns of the CSV of contrasts.
pub const CONTRAST_COLUMNS: [&str; 25] = [
    "key",
    "a",
    "b",
    "n",
    "rides_a",
    "rides_b",
    "mean_percent",
    "ci95_lower_percent",
    "ci95_upper_percent",
    "ci90_lower_percent",
    "ci90_upper_percent",
    "margin_percent",
    "outcome",
    "rides_needed",
    "cancels",
    "basis",
    "p_differs",
    "p_beyond",
    "p_alike",
    "p_differs_holm",
    "p_beyond_holm",
    "p_alike_holm",
    "critical_difference_percent",
    "sentence",
    "cancels_because",
];

/// The heads, then a row a contrast.
pub fn contrast_lines(survey: &Survey) -> Vec<Vec<String>> {
    let number = |value: Option<f64>| value.map_or_else(String::new, machine_number);
    let mut lines = vec![CONTRAST_COLUMNS.map(str::to_owned).to_vec()];
    for c in &survey.contrasts {
        let ends = |i: Option<Interval>| [number(i.map(|i| i[0])), number(i.map(|i| i[1]))];
        let mut line = vec![inert(&c.key), inert(&c.a), inert(&c.b), c.n.to_string()];
        line.extend(c.rides.map(|n| n.to_string()));
        line.push(number(c.mean_percent));
        line.extend(ends(c.ci95_percent));
        line.extend(ends(c.ci90_percent));
        line.push(number(c.margin_percent));
        line.push(word_of(&c.outcome));
        line.push(c.rides_needed.map_or_else(String::new, |n| n.to_string()));
        line.push(c.cancels.to_string());
        line.push(word_of(&c.basis));
        let p = [
            c.p_differs,
            c.p_beyond,
            c.p_alike,
            c.p_differs_holm,
            c.p_beyond_holm,
            c.p_alike_holm,
        ];
        line.extend(p.map(number));
        line.push(number(c.critical_difference_percent));
        line.extend([&c.sentence, &c.cancels_because].map(|text| inert(text)));
        lines.push(line);
    }
    lines
}

/// Columns of the CSV of questions by unit.
pub const QUESTION_COLUMNS: [&str; 8] = [
    "question",
    "by",
    "outcome",
    "value",
    "value_unit",
    "limit",
    "rides_so",
    "rides",
];

/// The heads, then a row a question and unit.
pub fn question_lines(survey: &Survey) -> Vec<Vec<String>> {
    let number = |value: Option<f64>| value.map_or_else(String::new, machine_number);
    let mut lines = vec![QUESTION_COLUMNS.map(str::to_owned).to_vec()];
    for row in &survey.matrix.rows {
        for (unit, cell) in survey.matrix.units.iter().zip(&row.cells) {
            lines.push(vec![
                row.question.key().to_owned(),
                inert(unit),
                word_of(&cell.outcome),
                number(cell.value),
                row.unit.to_owned(),
                number(cell.limit),
                cell.rides.to_string(),
                cell.of.to_string(),
            ]);
        }
    }
    lines
}
