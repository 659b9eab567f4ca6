//! The columns of the flat tables: name, unit, meaning and where the value comes from.

use super::rows::Row;
use crate::stats::Interval;
use crate::text::machine_number;
use crate::text::{self, inert, one_line, word_of};

/// A value in a flat table.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// Does not apply, or cannot be told.
    Empty,
    /// A number.
    Number(f64),
    /// Text of others: a label, a note, a reason.
    Text(String),
    /// One of a fixed set of words.
    Word(String),
    /// One number a repetition (a step, a gear change), in time order.
    Numbers(Vec<Option<f64>>),
    /// One text a repetition.
    Texts(Vec<String>),
}

/// What a column is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Group {
    /// Which row this is.
    Row,
    /// What each stream read.
    Streams,
    /// How far the pair agrees.
    Agreement,
    /// Whether the references agree with each other.
    References,
    /// The claim against the evidence.
    Verdict,
    /// Which stream is the noisy one.
    Noise,
    /// A steady block.
    Steady,
    /// A sprint.
    Sprint,
    /// A ramp.
    Ramp,
    /// Gear changes.
    GearChange,
    /// A coast.
    Coast,
    /// A heat soak.
    HeatSoak,
    /// Cadence.
    Cadence,
}

impl Group {
    /// The groups after [`Group::Row`], in order.
    pub const AFTER_ROW: [Group; 12] = [
        Group::Verdict,
        Group::Agreement,
        Group::Streams,
        Group::References,
        Group::Noise,
        Group::Steady,
        Group::Sprint,
        Group::Ramp,
        Group::GearChange,
        Group::Coast,
        Group::HeatSoak,
        Group::Cadence,
    ];

    /// Heading.
    pub const fn title(self) -> &'static str {
        match self {
            Group::Row => "Row",
            Group::Streams => "Power of the pair",
            Group::Agreement => "Agreement",
            Group::References => "References",
            Group::Verdict => "Verdict",
            Group::Noise => "Noise of each stream",
            Group::Steady => "Steady block",
            Group::Sprint => "Sprint",
            Group::Ramp => "Ramp",
            Group::GearChange => "Gear change",
            Group::Coast => "Coast",
            Group::HeatSoak => "Heat soak",
            Group::Cadence => "Cadence",
        }
    }

    /// Whether its figures are those of a stream pair; else they are the segment's, the same in
    /// each of its rows.
    pub const fn of_pair(self) -> bool {
        matches!(
            self,
            Group::Row | Group::Streams | Group::Agreement | Group::Cadence
        )
    }
}

/// One column.
#[derive(Clone, Copy)]
pub struct Column {
    /// Name in CSV; ends in the unit.
    pub name: &'static str,
    /// Head for people.
    pub head: &'static str,
    /// Unit as printed after a value; empty for text and plain numbers.
    pub unit: &'static str,
    /// Decimals for people.
    pub decimals: usize,
    /// Whether a plus belongs before a value greater than zero.
    pub signed: bool,
    /// What it is about.
    pub group: Group,
    /// What it says, in a sentence.
    pub about: &'static str,
    /// The value in a row.
    cell: fn(&Row<'_>) -> Cell,
}

impl Column {
    /// The value in a row.
    pub(super) fn cell(&self, row: &Row<'_>) -> Cell {
        (self.cell)(row)
    }

    /// The value for a machine; empty where it does not apply. Lists are joined by `; `.
    pub(super) fn machine(&self, row: &Row<'_>) -> String {
        let joined = |parts: Vec<String>| inert(&parts.join("; "));
        match self.cell(row) {
            Cell::Empty => String::new(),
            Cell::Number(value) => machine_number(value),
            Cell::Word(word) => word,
            Cell::Text(text) => inert(&text),
            Cell::Numbers(values) => values
                .into_iter()
                .map(|value| value.map_or_else(String::new, machine_number))
                .collect::<Vec<_>>()
                .join("; "),
            Cell::Texts(texts) => joined(texts.into_iter().map(|t| t.replace(';', ",")).collect()),
        }
    }

    /// The value for a person; `None` where it does not apply.
    pub(super) fn human(&self, row: &Row<'_>) -> Option<String> {
        let number = |value: f64| text::number(value, self.decimals, self.signed);
        match self.cell(row) {
            Cell::Empty => None,
            Cell::Number(value) => Some(number(value)),
            Cell::Word(word) => Some(word),
            Cell::Text(text) => Some(one_line(&text)).filter(|text| !text.is_empty()),
            Cell::Numbers(values) if values.is_empty() => None,
            Cell::Numbers(values) => Some(
                values
                    .into_iter()
                    .map(|value| value.map_or_else(|| "—".to_owned(), number))
                    .collect::<Vec<_>>()
                    .join("; "),
            ),
            Cell::Texts(texts) if texts.is_empty() => None,
            Cell::Texts(texts) => Some(one_line(&texts.join("; "))),
        }
    }
}

/// The figures of one group in one row, for people.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct View {
    /// Name and value (with its unit) of each figure that applies.
    pub scalars: Vec<(String, String)>,
    /// Heads of the repeated figures: number, then name and unit.
    pub heads: Vec<String>,
    /// One line a repetition (a step, a gear change, a stream).
    pub lists: Vec<Vec<String>>,
}

/// The figures of `group` in `row`. Repeated figures stand in lists where any of them is a number.
pub fn view(row: &Row<'_>, group: Group) -> View {
    let columns: Vec<(&Column, Cell)> = COLUMNS
        .iter()
        .filter(|column| column.group == group)
        .map(|column| (column, column.cell(row)))
        .collect();
    let listed = columns
        .iter()
        .any(|(_, cell)| matches!(cell, Cell::Numbers(_)));
    let mut out = View::default();
    let mut lists: Vec<Vec<String>> = Vec::new();
    for (column, cell) in columns {
        let unit = if column.unit.is_empty() {
            String::new()
        } else {
            format!(" {}", column.unit)
        };
        match (cell, listed) {
            (Cell::Numbers(values), true) => {
                let comma = if column.unit.is_empty() { "" } else { "," };
                out.heads.push(format!("{}{comma}{unit}", column.head));
                let number = |value: f64| text::number(value, column.decimals, column.signed);
                let shown = values.into_iter();
                lists.push(
                    shown
                        .map(|v| v.map_or_else(|| "—".to_owned(), number))
                        .collect(),
                );
            }
            (Cell::Texts(texts), true) => {
                out.heads.push(column.head.to_owned());
                lists.push(texts.iter().map(|text| one_line(text)).collect());
            }
            _ => {
                if let Some(value) = column.human(row) {
                    out.scalars
                        .push((column.head.to_owned(), format!("{value}{unit}")));
                }
            }
        }
    }
    let lines = lists.iter().map(Vec::len).max().unwrap_or(0);
    if lines > 0 {
        out.heads.insert(0, "#".to_owned());
    }
    out.lists = (0..lines)
        .map(|line| {
            let cells = lists.iter().map(|list| list.get(line).cloned());
            std::iter::once((line + 1).to_string())
                .chain(cells.map(Option::unwrap_or_default))
                .collect()
        })
        .collect();
    out
}

fn number(value: Option<f64>) -> Cell {
    // Figures are finite by promise; a table must not break it whatever happens upstream.
    value
        .filter(|value| value.is_finite())
        .map_or(Cell::Empty, Cell::Number)
}

fn count(value: usize) -> Cell {
    Cell::Number(value as f64)
}

fn lower(interval: Option<Interval>) -> Cell {
    number(interval.map(|[lower, _]| lower))
}

fn upper(interval: Option<Interval>) -> Cell {
    number(interval.map(|[_, upper]| upper))
}

fn text(value: &str) -> Cell {
    if value.is_empty() {
        Cell::Empty
    } else {
        Cell::Text(value.to_owned())
    }
}

fn texts<'a>(values: impl Iterator<Item = &'a str>) -> Cell {
    let values: Vec<String> = values.map(str::to_owned).collect();
    if values.is_empty() {
        Cell::Empty
    } else {
        Cell::Texts(values)
    }
}

fn numbers(values: impl Iterator<Item = Option<f64>>) -> Cell {
    let values: Vec<Option<f64>> = values.map(|v| v.filter(|v| v.is_finite())).collect();
    if values.is_empty() {
        Cell::Empty
    } else {
        Cell::Numbers(values)
    }
}

macro_rules! columns {
    ($($name:literal $head:literal $unit:literal $decimals:literal $signed:ident $group:ident $about:literal $cell:expr;)+) => {
        &[$(Column {
            name: $name,
            head: $head,
            unit: $unit,
            decimals: $decimals,
            signed: columns!(@$signed),
            group: Group::$group,
            about: $about,
            cell: $cell,
        }),+]
    };
    (@signed) => { true };
    (@plain) => { false };
}

macro_rules! pair {
    ($r:ident, $value:expr) => {
        |row: &Row<'_>| row.pair.map_or(Cell::Empty, |$r| $value)
    };
}

macro_rules! tested {
    ($r:ident, $value:expr) => {
        |row: &Row<'_>| row.tested().map_or(Cell::Empty, |$r| $value)
    };
}

macro_rules! reference {
    ($r:ident, $value:expr) => {
        |row: &Row<'_>| row.reference().map_or(Cell::Empty, |$r| $value)
    };
}

macro_rules! verdict {
    ($r:ident, $value:expr) => {
        |row: &Row<'_>| row.verdict().map_or(Cell::Empty, |$r| $value)
    };
}

macro_rules! cadence {
    ($r:ident, $value:expr) => {
        |row: &Row<'_>| row.cadence().map_or(Cell::Empty, |$r| $value)
    };
}

macro_rules! part {
    ($part:ident, $r:ident, $value:expr) => {
        |row: &Row<'_>| row.segment.$part.as_ref().map_or(Cell::Empty, |$r| $value)
    };
}

/// Every column of the flat tables, in order. New ones go to the end of their group; names are a
/// promise.
pub const COLUMNS: &[Column] = columns! {
    "session_title" "session" "" 0 plain Row "Title of the session." |row| text(&row.table.session.title);
    "segment_id" "#" "" 0 plain Row "Position among the segments, counted from 1." |row| count(row.segment.id);
    "kind" "kind" "" 0 plain Row "What the segment is." |row| Cell::Word(row.segment.kind.word().to_owned());
    "from_s" "from" "s" 1 plain Row "Start, session time." |row| number(Some(row.segment.from_s));
    "to_s" "to" "s" 1 plain Row "End, session time." |row| number(Some(row.segment.to_s));
    "set_point_w" "set point" "W" 0 plain Row "The power that the source was told to hold." |row| number(row.segment.set_point_w);
    "note" "note" "" 0 plain Row "The tester's note." |row| text(&row.segment.note);
    "under_test" "under test" "" 0 plain Row "Label of the source under test." |row| text(row.under_test);
    "reference" "reference" "" 0 plain Row "Label of the reference, or consensus for the mean of the references." pair!(p, text(&p.reference));

    "n" "n" "s" 0 plain Agreement "Grid seconds in which both have a value." pair!(p, count(p.n));
    "n_effective" "effective n" "s" 1 plain Agreement "Independent seconds that the interval of the bias is worth." pair!(p, number(p.n_effective));
    "paired_reference_mean_w" "reference mean" "W" 1 plain Agreement "Mean of the reference over those seconds." pair!(p, number(p.reference_mean_w));
    "bias_w" "bias" "W" 2 signed Agreement "Mean of under test - reference." pair!(p, number(p.bias_w));
    "bias_ci95_lower_w" "bias 95 % from" "W" 2 signed Agreement "Lower 95 % confidence limit of the bias." pair!(p, lower(p.bias_ci95_w));
    "bias_ci95_upper_w" "bias 95 % to" "W" 2 signed Agreement "Upper 95 % confidence limit of the bias." pair!(p, upper(p.bias_ci95_w));
    "bias_percent" "bias" "%" 2 signed Agreement "Bias in percent of the reference mean." pair!(p, number(p.bias_percent));
    "bias_ci95_lower_percent" "bias 95 % from" "%" 2 signed Agreement "Lower 95 % confidence limit of the bias in percent." pair!(p, lower(p.bias_ci95_percent));
    "bias_ci95_upper_percent" "bias 95 % to" "%" 2 signed Agreement "Upper 95 % confidence limit of the bias in percent." pair!(p, upper(p.bias_ci95_percent));
    "sd_diff_w" "SD of differences" "W" 2 plain Agreement "Standard deviation of the differences." pair!(p, number(p.sd_diff_w));
    "loa95_lower_w" "95 % limits from" "W" 2 signed Agreement "Lower 95 % limit of agreement." pair!(p, lower(p.loa95_w));
    "loa95_upper_w" "95 % limits to" "W" 2 signed Agreement "Upper 95 % limit of agreement." pair!(p, upper(p.loa95_w));
    "loa95_lower_ci95_lower_w" "lower limit 95 % from" "W" 2 signed Agreement "Lower 95 % confidence limit of the lower limit of agreement." pair!(p, lower(p.loa95_lower_ci95_w));
    "loa95_lower_ci95_upper_w" "lower limit 95 % to" "W" 2 signed Agreement "Upper 95 % confidence limit of the lower limit of agreement." pair!(p, upper(p.loa95_lower_ci95_w));
    "loa95_upper_ci95_lower_w" "upper limit 95 % from" "W" 2 signed Agreement "Lower 95 % confidence limit of the upper limit of agreement." pair!(p, lower(p.loa95_upper_ci95_w));
    "loa95_upper_ci95_upper_w" "upper limit 95 % to" "W" 2 signed Agreement "Upper 95 % confidence limit of the upper limit of agreement." pair!(p, upper(p.loa95_upper_ci95_w));
    "rmse_w" "RMSE" "W" 2 plain Agreement "Root mean square difference." pair!(p, number(p.rmse_w));
    "ccc" "concordance" "" 4 plain Agreement "Lin's concordance correlation coefficient." pair!(p, number(p.ccc));
    "ccc_ci95_lower" "concordance 95 % from" "" 4 plain Agreement "Its lower 95 % confidence limit." pair!(p, lower(p.ccc_ci95));
    "ccc_ci95_upper" "concordance 95 % to" "" 4 plain Agreement "Its upper 95 % confidence limit." pair!(p, upper(p.ccc_ci95));
    "pearson_r" "Pearson r" "" 4 plain Agreement "Pearson's correlation coefficient." pair!(p, number(p.pearson_r));
    "ratio_n" "ratio n" "s" 0 plain Agreement "Grid seconds with 10 W or more on both sides." pair!(p, p.ratio.map_or(Cell::Empty, |r| count(r.n)));
    "ratio_mean" "ratio" "" 4 plain Agreement "Geometric mean of under test / reference." pair!(p, number(p.ratio.map(|r| r.mean)));
    "ratio_loa95_lower" "ratio 95 % from" "" 4 plain Agreement "Lower 95 % limit of agreement as a ratio." pair!(p, lower(p.ratio.and_then(|r| r.loa95)));
    "ratio_loa95_upper" "ratio 95 % to" "" 4 plain Agreement "Upper 95 % limit of agreement as a ratio." pair!(p, upper(p.ratio.and_then(|r| r.loa95)));
    "ratio_loa95_lower_ci95_lower" "lower ratio limit 95 % from" "" 4 plain Agreement "Lower 95 % confidence limit of the lower ratio limit." pair!(p, lower(p.ratio.and_then(|r| r.loa95_lower_ci95)));
    "ratio_loa95_lower_ci95_upper" "lower ratio limit 95 % to" "" 4 plain Agreement "Upper 95 % confidence limit of the lower ratio limit." pair!(p, upper(p.ratio.and_then(|r| r.loa95_lower_ci95)));
    "ratio_loa95_upper_ci95_lower" "upper ratio limit 95 % from" "" 4 plain Agreement "Lower 95 % confidence limit of the upper ratio limit." pair!(p, lower(p.ratio.and_then(|r| r.loa95_upper_ci95)));
    "ratio_loa95_upper_ci95_upper" "upper ratio limit 95 % to" "" 4 plain Agreement "Upper 95 % confidence limit of the upper ratio limit." pair!(p, upper(p.ratio.and_then(|r| r.loa95_upper_ci95)));

    "under_test_n" "under test n" "s" 0 plain Streams "Grid seconds in which the source under test has a value." tested!(s, count(s.n));
    "under_test_mean_w" "under test mean" "W" 1 plain Streams "Its mean power." tested!(s, number(s.mean_w));
    "under_test_sd_w" "under test SD" "W" 1 plain Streams "Its standard deviation." tested!(s, number(s.sd_w));
    "under_test_max_w" "under test max" "W" 0 plain Streams "Its highest second." tested!(s, number(s.max_w));
    "under_test_best_5s_w" "under test best 5 s" "W" 0 plain Streams "Its best mean over 5 s." tested!(s, number(s.best_5s_w));
    "under_test_cadence_mean_rpm" "under test cadence" "rpm" 1 plain Streams "Its mean cadence." tested!(s, number(s.cadence_mean_rpm));
    "reference_n" "reference n" "s" 0 plain Streams "Grid seconds in which the reference has a value; empty for the consensus." reference!(s, count(s.n));
    "reference_mean_w" "reference mean" "W" 1 plain Streams "Its mean power." reference!(s, number(s.mean_w));
    "reference_sd_w" "reference SD" "W" 1 plain Streams "Its standard deviation." reference!(s, number(s.sd_w));
    "reference_max_w" "reference max" "W" 0 plain Streams "Its highest second." reference!(s, number(s.max_w));
    "reference_best_5s_w" "reference best 5 s" "W" 0 plain Streams "Its best mean over 5 s." reference!(s, number(s.best_5s_w));
    "reference_cadence_mean_rpm" "reference cadence" "rpm" 1 plain Streams "Its mean cadence." reference!(s, number(s.cadence_mean_rpm));

    "references_labels" "references" "" 0 plain References "The references compared with each other." part!(references, r, texts(r.labels.iter().map(String::as_str)));
    "references_pair" "widest pair" "" 0 plain References "The pair that differs most." part!(references, r, texts(r.pair.iter().flatten().map(String::as_str)));
    "references_difference_percent" "difference" "%" 2 signed References "Difference of that pair, first - second, in percent of their mean." part!(references, r, number(r.difference_percent));
    "references_en_number" "E_n" "" 2 signed References "E_n number of that pair." part!(references, r, number(r.en_number));
    "references_agree" "agree" "" 0 plain References "yes where every pair has |E_n| of 1 or less and lies within its claims." part!(references, r, r.agree.map_or(Cell::Empty, |agree| Cell::Word(if agree { "yes" } else { "no" }.to_owned())));
    "references_note" "remark" "" 0 plain References "What to make of it." part!(references, r, text(&r.note));

    "verdict_outcome" "outcome" "" 0 plain Verdict "The claim against the evidence: conforms, does-not-conform, inconclusive, references-disagree or not-applicable." verdict!(v, Cell::Word(word_of(&v.outcome)));
    "verdict_reference" "judged against" "" 0 plain Verdict "What the verdict rests on." verdict!(v, text(&v.reference));
    "verdict_n" "n" "s" 0 plain Verdict "Grid seconds behind it." verdict!(v, count(v.n));
    "verdict_bias_percent" "bias" "%" 2 signed Verdict "Bias after the allowance." verdict!(v, number(v.bias_percent));
    "verdict_expanded_uncertainty_percent" "± U" "%" 2 plain Verdict "Expanded uncertainty, k u." verdict!(v, number(v.expanded_uncertainty_percent));
    "verdict_limit_percent" "limit ±" "%" 2 plain Verdict "The limit that the claim sets." verdict!(v, number(v.limit_percent));
    "verdict_bias_w" "bias" "W" 2 signed Verdict "Bias after the allowance." verdict!(v, number(v.bias_w));
    "verdict_expanded_uncertainty_w" "± U" "W" 2 plain Verdict "Expanded uncertainty, k u." verdict!(v, number(v.expanded_uncertainty_w));
    "verdict_limit_w" "limit ±" "W" 2 plain Verdict "The limit that the claim sets." verdict!(v, number(v.limit_w));
    "verdict_conformance_probability" "P(inside the limit)" "" 3 plain Verdict "Probability that the true bias lies inside the limit." verdict!(v, number(v.conformance_probability));
    "verdict_coverage_factor" "k" "" 2 plain Verdict "Coverage factor." verdict!(v, number(v.coverage_factor));
    "verdict_effective_degrees_of_freedom" "effective dof" "" 1 plain Verdict "Degrees of freedom behind it; empty for infinite." verdict!(v, number(v.effective_degrees_of_freedom));
    "verdict_budget_sources" "budget" "" 0 plain Verdict "The contributions to the uncertainty." verdict!(v, texts(v.budget.iter().map(|b| b.source.as_str())));
    "verdict_budget_distributions" "distribution of each" "" 0 plain Verdict "How each scatters." verdict!(v, texts(v.budget.iter().map(|b| b.distribution.as_str())));
    "verdict_budget_percent" "u of each" "%" 3 plain Verdict "Standard uncertainty of each, in percent." verdict!(v, numbers(v.budget.iter().map(|b| b.standard_uncertainty_percent)));
    "verdict_budget_w" "u of each" "W" 3 plain Verdict "Standard uncertainty of each." verdict!(v, numbers(v.budget.iter().map(|b| b.standard_uncertainty_w)));
    "verdict_budget_degrees_of_freedom" "dof of each" "" 1 plain Verdict "Degrees of freedom of each; empty for infinite." verdict!(v, numbers(v.budget.iter().map(|b| b.degrees_of_freedom)));
    "verdict_reasons" "reasons" "" 0 plain Verdict "Why." verdict!(v, texts(v.sentences().iter().map(String::as_str)));

    "noise_labels" "streams" "" 0 plain Noise "The streams whose errors are told apart." part!(noise, x, texts(x.streams.iter().map(|s| s.label.as_str())));
    "noise_error_variance_w2" "error variance" "W²" 2 signed Noise "Error variance of each; negative where it is too small to tell or the assumptions fail." part!(noise, x, numbers(x.streams.iter().map(|s| s.error_variance_w2)));
    "noise_error_variance_ci95_lower_w2" "error variance 95 % from" "W²" 2 signed Noise "Its lower 95 % confidence limit." part!(noise, x, numbers(x.streams.iter().map(|s| s.error_variance_ci95_w2.map(|i| i[0]))));
    "noise_error_variance_ci95_upper_w2" "error variance 95 % to" "W²" 2 signed Noise "Its upper 95 % confidence limit." part!(noise, x, numbers(x.streams.iter().map(|s| s.error_variance_ci95_w2.map(|i| i[1]))));
    "noise_error_sd_w" "error SD" "W" 2 plain Noise "Its square root." part!(noise, x, numbers(x.streams.iter().map(|s| s.error_sd_w)));
    "noise_noisiest" "noisiest" "" 0 plain Noise "The noisiest, where it can be told." part!(noise, x, text(x.noisiest.as_deref().unwrap_or("")));
    "noise_note" "remark" "" 0 plain Noise "What to make of it." part!(noise, x, text(&x.note));

    "steady_set_point_error_w" "set-point error" "W" 2 signed Steady "Mean power under test - set point." part!(steady, s, number(s.set_point_error_w));
    "steady_delivered_error_w" "delivered error" "W" 2 signed Steady "Mean power of the references - set point." part!(steady, s, number(s.delivered_error_w));
    "steady_within_5w_percent" "within ±5 W" "%" 1 plain Steady "Share of seconds within 5 W of the set point." part!(steady, s, number(s.within_5w_percent));
    "steady_delivered_within_5w_percent" "delivered within ±5 W" "%" 1 plain Steady "Share of seconds in which the references are within 5 W of the set point." part!(steady, s, number(s.delivered_within_5w_percent));
    "steady_drift_w_per_min" "drift" "W/min" 3 signed Steady "Slope of the difference to the references." part!(steady, s, number(s.drift_w_per_min));
    "steady_drift_ci95_lower_w_per_min" "drift 95 % from" "W/min" 3 signed Steady "Its lower 95 % confidence limit." part!(steady, s, lower(s.drift_ci95_w_per_min));
    "steady_drift_ci95_upper_w_per_min" "drift 95 % to" "W/min" 3 signed Steady "Its upper 95 % confidence limit." part!(steady, s, upper(s.drift_ci95_w_per_min));
    "steady_uncorroborated_from_s" "uncorroborated from" "s" 1 plain Steady "Starts of the excursions that no reference shows." part!(steady, s, numbers(s.uncorroborated.iter().map(|u| Some(u.from_s))));
    "steady_uncorroborated_to_s" "uncorroborated to" "s" 1 plain Steady "Their ends." part!(steady, s, numbers(s.uncorroborated.iter().map(|u| Some(u.to_s))));
    "steady_uncorroborated_peak_w" "uncorroborated peak" "W" 0 signed Steady "Their largest departures." part!(steady, s, numbers(s.uncorroborated.iter().map(|u| Some(u.peak_w))));

    "sprint_labels" "streams" "" 0 plain Sprint "The streams whose best efforts follow." part!(sprint, s, texts(s.peaks.iter().map(|p| p.label.as_str())));
    "sprint_best_1s_w" "best 1 s" "W" 0 plain Sprint "Best second of each." part!(sprint, s, numbers(s.peaks.iter().map(|p| p.best_1s_w)));
    "sprint_best_3s_w" "best 3 s" "W" 0 plain Sprint "Best mean over 3 s of each." part!(sprint, s, numbers(s.peaks.iter().map(|p| p.best_3s_w)));
    "sprint_best_5s_w" "best 5 s" "W" 0 plain Sprint "Best mean over 5 s of each." part!(sprint, s, numbers(s.peaks.iter().map(|p| p.best_5s_w)));
    "sprint_expected_loss_percent" "expected loss" "%" 1 plain Sprint "Drivetrain loss taken off the references in what follows." part!(sprint, s, number(Some(s.expected_loss_percent)));
    "sprint_peak_ratio" "peak ratio" "" 3 plain Sprint "Best second under test / best second of the references, carried to the source's site." part!(sprint, s, number(s.peak_ratio));
    "sprint_delay_s" "delay" "s" 2 plain Sprint "Dead time of the best-fitting response." part!(sprint, s, number(s.delay_s));
    "sprint_delay_ci95_lower_s" "delay 95 % from" "s" 2 plain Sprint "Its lower 95 % confidence limit." part!(sprint, s, lower(s.delay_ci95_s));
    "sprint_delay_ci95_upper_s" "delay 95 % to" "s" 2 plain Sprint "Its upper 95 % confidence limit." part!(sprint, s, upper(s.delay_ci95_s));
    "sprint_sampled_later_s" "sampled later" "s" 2 signed Sprint "How much later within its seconds the source was sampled; in the delay already." part!(sprint, s, number(s.sampled_later_s));
    "sprint_time_constant_s" "time constant" "s" 2 plain Sprint "Time constant of its first-order lag." part!(sprint, s, number(s.time_constant_s));
    "sprint_time_constant_ci95_lower_s" "time constant 95 % from" "s" 2 plain Sprint "Its lower 95 % confidence limit." part!(sprint, s, lower(s.time_constant_ci95_s));
    "sprint_time_constant_ci95_upper_s" "time constant 95 % to" "s" 2 plain Sprint "Its upper 95 % confidence limit." part!(sprint, s, upper(s.time_constant_ci95_s));
    "sprint_response_shape" "response shape" "" 0 plain Sprint "Which shape of response fits: first-order-lag, moving-mean or neither." part!(sprint, s, s.response_shape.map_or(Cell::Empty, |e| Cell::Word(word_of(&e))));
    "sprint_lack_of_fit_f" "lack of fit F" "" 1 plain Sprint "F of a lag with a moving mean against the lag alone; above 10 the lag does not fit." part!(sprint, s, number(s.lack_of_fit_f));
    "sprint_averaging_s" "averages over" "s" 1 plain Sprint "Length of the moving mean that fits in the lag's place." part!(sprint, s, number(s.averaging_s));
    "sprint_averaging_ci95_lower_s" "averages over 95 % from" "s" 1 plain Sprint "Its lower 95 % confidence limit." part!(sprint, s, lower(s.averaging_ci95_s));
    "sprint_averaging_ci95_upper_s" "averages over 95 % to" "s" 1 plain Sprint "Its upper 95 % confidence limit." part!(sprint, s, upper(s.averaging_ci95_s));
    "sprint_gain" "gain" "" 3 plain Sprint "Its gain." part!(sprint, s, number(s.gain));
    "sprint_ceiling_w" "ceiling" "W" 0 plain Sprint "Its ceiling, where one was found: the mean of the clipped seconds." part!(sprint, s, number(s.ceiling_w));
    "sprint_ceiling_ci95_lower_w" "ceiling 95 % from" "W" 0 plain Sprint "Its lower 95 % confidence limit." part!(sprint, s, lower(s.ceiling_ci95_w));
    "sprint_ceiling_ci95_upper_w" "ceiling 95 % to" "W" 0 plain Sprint "Its upper 95 % confidence limit." part!(sprint, s, upper(s.ceiling_ci95_w));
    "sprint_fit_rms_w" "residual" "W" 1 plain Sprint "Root mean square residual of the fit." part!(sprint, s, number(s.fit_rms_w));
    "sprint_shortfall_w" "shortfall" "W" 0 signed Sprint "Best second of the references, carried to the source's site - best second under test." part!(sprint, s, number(s.shortfall_w));
    "sprint_lag_loss_w" "by lag" "W" 0 signed Sprint "What of the shortfall the lag makes; negative where it adds." part!(sprint, s, number(s.lag_loss_w));
    "sprint_gain_loss_w" "by gain" "W" 0 signed Sprint "What the gain makes." part!(sprint, s, number(s.gain_loss_w));
    "sprint_ceiling_loss_w" "by ceiling" "W" 0 signed Sprint "What the ceiling makes." part!(sprint, s, number(s.ceiling_loss_w));
    "sprint_unexplained_loss_w" "unexplained" "W" 0 signed Sprint "What the model leaves." part!(sprint, s, number(s.unexplained_loss_w));
    "sprint_lag_share_percent" "by lag" "%" 0 plain Sprint "Share of the shortfall that the lag explains." part!(sprint, s, number(s.lag_share_percent));
    "sprint_gain_share_percent" "by gain" "%" 0 plain Sprint "Share that the gain explains." part!(sprint, s, number(s.gain_share_percent));
    "sprint_ceiling_share_percent" "by ceiling" "%" 0 plain Sprint "Share that the ceiling explains." part!(sprint, s, number(s.ceiling_share_percent));
    "sprint_unexplained_share_percent" "unexplained" "%" 0 plain Sprint "Share that the model leaves." part!(sprint, s, number(s.unexplained_share_percent));
    "sprint_explained" "explained by" "" 0 plain Sprint "What explains the missing peak: lag, gain, ceiling or mixed." part!(sprint, s, s.explained.map_or(Cell::Empty, |e| Cell::Word(word_of(&e))));
    "sprint_note" "remark" "" 0 plain Sprint "Why the fit's figures are withheld, or what is to be said of them." part!(sprint, s, text(&s.note));

    "ramp_lag_s" "lag" "s" 2 signed Ramp "Lag on linear stretches." part!(ramp, r, number(r.lag_s));
    "ramp_step_at_s" "step at" "s" 1 plain Ramp "When the references step." part!(ramp, r, numbers(r.steps.iter().map(|s| Some(s.at_s))));
    "ramp_step_from_w" "from" "W" 0 plain Ramp "Level before each step." part!(ramp, r, numbers(r.steps.iter().map(|s| Some(s.from_w))));
    "ramp_step_to_w" "to" "W" 0 plain Ramp "Level after each step." part!(ramp, r, numbers(r.steps.iter().map(|s| Some(s.to_w))));
    "ramp_step_dead_time_s" "dead time" "s" 2 signed Ramp "Time to the first response." part!(ramp, r, numbers(r.steps.iter().map(|s| s.dead_time_s)));
    "ramp_step_rise_10_90_s" "10-90 %" "s" 2 plain Ramp "10-90 % transition." part!(ramp, r, numbers(r.steps.iter().map(|s| s.rise_10_90_s)));
    "ramp_step_settling_s" "settling" "s" 2 plain Ramp "Time to stay within the settling band." part!(ramp, r, numbers(r.steps.iter().map(|s| s.settling_s)));
    "ramp_step_overshoot_percent" "overshoot" "%" 1 plain Ramp "Overshoot in percent of the step." part!(ramp, r, numbers(r.steps.iter().map(|s| s.overshoot_percent)));
    "ramp_step_final_error_w" "final error" "W" 1 signed Ramp "Error at the end of the step against the references." part!(ramp, r, numbers(r.steps.iter().map(|s| s.final_error_w)));
    "ramp_step_settling_band_w" "settling band ±" "W" 1 plain Ramp "Half-width of the band that settling is told for." part!(ramp, r, numbers(r.steps.iter().map(|s| Some(s.settling_band_w))));
    "ramp_step_reference_rise_10_90_s" "10-90 % of the references" "s" 2 plain Ramp "10-90 % transition of the references." part!(ramp, r, numbers(r.steps.iter().map(|s| s.reference_rise_10_90_s)));
    "ramp_step_reference_settling_s" "settling of the references" "s" 2 plain Ramp "Time for the references to stay within the band." part!(ramp, r, numbers(r.steps.iter().map(|s| s.reference_settling_s)));
    "ramp_step_reference_overshoot_percent" "overshoot of the references" "%" 1 plain Ramp "Overshoot of the references in percent of the step." part!(ramp, r, numbers(r.steps.iter().map(|s| s.reference_overshoot_percent)));

    "gear_change_at_s" "change at" "s" 1 plain GearChange "When the gear changes." part!(gear_change, g, numbers(g.changes.iter().map(|c| Some(c.at_s))));
    "gear_change_bias_before_percent" "bias before" "%" 2 signed GearChange "Bias before each change." part!(gear_change, g, numbers(g.changes.iter().map(|c| c.bias_before_percent)));
    "gear_change_bias_before_ci95_lower_percent" "bias before 95 % from" "%" 2 signed GearChange "Its lower 95 % confidence limit." part!(gear_change, g, numbers(g.changes.iter().map(|c| c.bias_before_ci95_percent.map(|i| i[0]))));
    "gear_change_bias_before_ci95_upper_percent" "bias before 95 % to" "%" 2 signed GearChange "Its upper 95 % confidence limit." part!(gear_change, g, numbers(g.changes.iter().map(|c| c.bias_before_ci95_percent.map(|i| i[1]))));
    "gear_change_bias_after_percent" "bias after" "%" 2 signed GearChange "Bias after each change." part!(gear_change, g, numbers(g.changes.iter().map(|c| c.bias_after_percent)));
    "gear_change_bias_after_ci95_lower_percent" "bias after 95 % from" "%" 2 signed GearChange "Its lower 95 % confidence limit." part!(gear_change, g, numbers(g.changes.iter().map(|c| c.bias_after_ci95_percent.map(|i| i[0]))));
    "gear_change_bias_after_ci95_upper_percent" "bias after 95 % to" "%" 2 signed GearChange "Its upper 95 % confidence limit." part!(gear_change, g, numbers(g.changes.iter().map(|c| c.bias_after_ci95_percent.map(|i| i[1]))));
    "gear_change_shift_percent" "shift" "%" 2 signed GearChange "After - before, percentage points." part!(gear_change, g, numbers(g.changes.iter().map(|c| c.shift_percent)));
    "gear_change_shift_ci95_lower_percent" "shift 95 % from" "%" 2 signed GearChange "Its lower 95 % confidence limit." part!(gear_change, g, numbers(g.changes.iter().map(|c| c.shift_ci95_percent.map(|i| i[0]))));
    "gear_change_shift_ci95_upper_percent" "shift 95 % to" "%" 2 signed GearChange "Its upper 95 % confidence limit." part!(gear_change, g, numbers(g.changes.iter().map(|c| c.shift_ci95_percent.map(|i| i[1]))));
    "gear_change_peak_deviation_w" "peak deviation" "W" 0 signed GearChange "Largest departure during the transient." part!(gear_change, g, numbers(g.changes.iter().map(|c| c.peak_deviation_w)));
    "gear_change_recovery_s" "recovery" "s" 1 plain GearChange "Time until the difference is back inside its usual band." part!(gear_change, g, numbers(g.changes.iter().map(|c| c.recovery_s)));
    "gear_change_speed_before_mps" "speed before" "m/s" 2 plain GearChange "Median wheel speed before each change." part!(gear_change, g, numbers(g.changes.iter().map(|c| c.speed_before_mps)));
    "gear_change_speed_after_mps" "speed after" "m/s" 2 plain GearChange "Median wheel speed after it." part!(gear_change, g, numbers(g.changes.iter().map(|c| c.speed_after_mps)));

    "coast_phantom_mean_w" "mean coasting, lag included" "W" 1 plain Coast "Mean power reported while nobody pedals, the decay of the source's lag included." part!(coast, c, number(c.phantom_mean_w));
    "coast_phantom_max_w" "highest coasting, lag included" "W" 0 plain Coast "Highest such second: as a rule the first, in which the lag still shows what was ridden." part!(coast, c, number(c.phantom_max_w));
    "coast_time_to_zero_s" "time to zero" "s" 1 plain Coast "Time from the last pedalling to zero." part!(coast, c, number(c.time_to_zero_s));
    "coast_coasted_s" "coasted" "s" 0 plain Coast "How long nobody pedalled." part!(coast, c, number(Some(c.coasted_s)));

    "heat_soak_drift_percent_per_10min" "drift" "% in 10 min" 2 signed HeatSoak "Slope of the bias, percentage points in 10 min." part!(heat_soak, h, number(h.drift_percent_per_10min));
    "heat_soak_drift_ci95_lower_percent_per_10min" "drift 95 % from" "% in 10 min" 2 signed HeatSoak "Its lower 95 % confidence limit." part!(heat_soak, h, lower(h.drift_ci95_percent_per_10min));
    "heat_soak_drift_ci95_upper_percent_per_10min" "drift 95 % to" "% in 10 min" 2 signed HeatSoak "Its upper 95 % confidence limit." part!(heat_soak, h, upper(h.drift_ci95_percent_per_10min));
    "heat_soak_start_bias_percent" "bias at start" "%" 2 signed HeatSoak "Bias at the start." part!(heat_soak, h, number(h.start_bias_percent));
    "heat_soak_end_bias_percent" "bias at end" "%" 2 signed HeatSoak "Bias at the end." part!(heat_soak, h, number(h.end_bias_percent));
    "heat_soak_per_degree_percent" "per degree" "%/°C" 3 signed HeatSoak "Slope of the bias against temperature." part!(heat_soak, h, number(h.per_degree_percent));
    "heat_soak_per_degree_ci95_lower_percent" "per degree 95 % from" "%/°C" 3 signed HeatSoak "Its lower 95 % confidence limit." part!(heat_soak, h, lower(h.per_degree_ci95_percent));
    "heat_soak_per_degree_ci95_upper_percent" "per degree 95 % to" "%/°C" 3 signed HeatSoak "Its upper 95 % confidence limit." part!(heat_soak, h, upper(h.per_degree_ci95_percent));

    "cadence_bias_rpm" "cadence bias" "rpm" 2 signed Cadence "Mean of under test - reference." cadence!(c, number(c.bias_rpm));
    "cadence_sd_diff_rpm" "cadence SD of differences" "rpm" 2 plain Cadence "Standard deviation of the differences." cadence!(c, number(c.sd_diff_rpm));
    "cadence_spike_percent" "cadence spikes" "%" 1 plain Cadence "Share of spikes." cadence!(c, number(c.spike_percent));
};
