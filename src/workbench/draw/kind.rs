//! The decisive figures of a segment's kind, for the panel of the ride view: they take a fit, so
//! they come from the answer of [`super::super::study`].

use ratatui::style::Style;

use super::super::layout::panel_columns;
use super::super::state::State;
use super::super::text::{self, plain, signed};
use super::pen::Text;
use crate::analysis::figures::SegmentFigures;
use crate::analysis::kinds::coast::Coast;
use crate::analysis::kinds::gear_change::GearChange;
use crate::analysis::kinds::heat_soak::HeatSoak;
use crate::analysis::kinds::ramp::Ramp;
use crate::analysis::kinds::sprint::{Explained, ResponseShape, Sprint};
use crate::analysis::kinds::steady::Steady;
use crate::session::Role;
use crate::stats::Interval;

/// Most lines that stand before the comparison in a panel that is not roomy.
const TIGHT: usize = 4;

/// The lines of the selected segment's kind, and those that stand after all else where the panel is
/// not roomy; none where its kind has no figures of its own.
pub fn lines(state: &State, roomy: bool) -> (Vec<Text>, Vec<Text>) {
    if state.segment_with_figures().is_none() {
        return Default::default();
    }
    let (faint, none) = (state.look.faint(), Style::new());
    let kind = state.figures_kind();
    let pending = if state.is_pending() { "pending" } else { "" };
    let title = Text::default()
        .with(format!("{:<22}", kind.word()), state.look.strong())
        .with(format!("{pending:>9}"), faint);
    let Some(figures) = state.kind_figures() else {
        return (vec![title], Vec::new());
    };
    let mut rows = of_kind(state, figures);
    // Without room for the title, figures that no longer hold give their place to the word.
    if !roomy && state.is_pending() {
        for (_, value) in &mut rows {
            "pending".clone_into(value);
        }
    }
    let mut lines: Vec<Text> = rows
        .into_iter()
        .map(|(name, value)| Text::default().with(name, faint).with(value, none))
        .collect();
    if roomy {
        lines.splice(0..0, [Text::default(), title]);
        return (lines, Vec::new());
    }
    let mut rest = lines.split_off(TIGHT.min(lines.len()));
    if !rest.is_empty() {
        let head = format!("more of the {}", kind.word());
        rest.insert(0, Text::default().with(head, state.look.strong()));
    }
    (lines, rest)
}

/// A sentence in lines as wide as the panel; none of an empty one.
pub fn wrapped(state: &State, sentence: &str) -> Vec<String> {
    crate::text::wrapped(
        &state.look.text(sentence),
        panel_columns(state).saturating_sub(1),
    )
}

/// A name and its value, in columns that stay where they are.
type Row = (String, String);

fn row(name: &str, value: String) -> Row {
    (format!("{name:<15}"), value)
}

fn of_kind(state: &State, figures: &SegmentFigures) -> Vec<Row> {
    let long = state.long();
    let rows = None
        .or(figures.steady.as_ref().map(steady))
        .or(figures
            .sprint
            .as_ref()
            .map(|sprint| of_sprint(state, sprint)))
        .or(figures.ramp.as_ref().map(|ramp| of_ramp(ramp, long)))
        .or(figures.gear_change.as_ref().map(|g| gear_change(g, long)))
        .or(figures.coast.as_ref().map(coast))
        .or(figures.heat_soak.as_ref().map(heat_soak));
    rows.unwrap_or_else(|| {
        let why = "needs a source under test and a reference";
        vec![(String::new(), why.to_owned())]
    })
}

fn limits(interval: Option<Interval>, decimals: usize, unit: &str) -> Row {
    let [low, high] = interval.map_or([None, None], |[low, high]| [Some(low), Some(high)]);
    let (low, high) = (signed(low, 7, decimals), signed(high, 6, decimals));
    // Whatever the unit, the ends stand before it and the line is as wide as the panel.
    let wide = 13_usize.saturating_sub(unit.len());
    (
        format!("{:<wide$}", "95 % CI"),
        format!("{low} to {high} {unit}"),
    )
}

fn steady(steady: &Steady) -> Vec<Row> {
    let watts = |value| format!("{} W", signed(value, 8, 1));
    let share = |value| format!("{} %", plain(value, 8, 1));
    let mut rows = vec![
        row(
            "drift",
            format!("{} W/min", signed(steady.drift_w_per_min, 8, 2)),
        ),
        limits(steady.drift_ci95_w_per_min, 2, "W/min"),
    ];
    // Without a set point there is nothing to be off.
    if steady.set_point_error_w.is_some() {
        let own = [
            row("off set point", watts(steady.set_point_error_w)),
            row("within 5 W", share(steady.within_5w_percent)),
        ];
        rows.splice(0..0, own);
    }
    if steady.delivered_error_w.is_some() {
        rows.extend([
            row("delivered off", watts(steady.delivered_error_w)),
            row("  within 5 W", share(steady.delivered_within_5w_percent)),
        ]);
    }
    rows
}

/// Best means of the streams that are judged, by their letters.
fn best(state: &State, sprint: &Sprint, name: &str, five: bool) -> Row {
    let mut value = String::new();
    for (index, stream) in state.session().streams.iter().enumerate() {
        let peak = sprint.peaks.iter().find(|p| p.label == stream.label);
        let (Some(peak), true) = (peak, stream.role != Role::Context) else {
            continue;
        };
        let watts = if five { peak.best_5s_w } else { peak.best_1s_w };
        let letter = state.letters.get(index).copied().unwrap_or('*');
        value.push_str(&format!(" {letter}{}", plain(watts, 5, 0)));
    }
    (format!("{name:<4}"), format!("{value} W"))
}

fn of_sprint(state: &State, sprint: &Sprint) -> Vec<Row> {
    let cause = match sprint.explained {
        Some(Explained::Lag) if sprint.averaging_s.is_some() => ": averaging",
        Some(Explained::Lag) => ": lag",
        Some(Explained::Gain) => ": gain",
        Some(Explained::Ceiling) => ": a ceiling",
        Some(Explained::Mixed) => ": several causes",
        None => "",
    };
    let (spread, ends, name) = match sprint.averaging_s {
        Some(seconds) => (
            format!("mean of {seconds:.1} s"),
            sprint.averaging_ci95_s,
            "mean of",
        ),
        None => (
            format!("const. {} s", plain(sprint.time_constant_s, 5, 2)),
            sprint.time_constant_ci95_s,
            "constant",
        ),
    };
    let limits = match sprint.response_shape {
        Some(ResponseShape::Neither) => "none: model does not fit".to_owned(),
        _ => {
            let [low, high] = ends.map_or([None, None], |ends| ends.map(Some));
            format!("{name} {} to {} s", plain(low, 4, 2), plain(high, 4, 2))
        }
    };
    let mut rows = vec![
        best(state, sprint, "1 s", false),
        best(state, sprint, "5 s", true),
        (
            "peak ratio".to_owned(),
            format!("{}{cause}", plain(sprint.peak_ratio, 7, 3)),
        ),
        (
            "dead time".to_owned(),
            format!("{} s, {spread}", plain(sprint.delay_s, 4, 1)),
        ),
        (format!("{:<8}", "95 % CI"), limits),
    ];
    let note = wrapped(state, &sprint.note);
    rows.extend(note.into_iter().map(|line| (line, String::new())));
    rows
}

fn of_ramp(ramp: &Ramp, long: bool) -> Vec<Row> {
    let mut rows = vec![row("lag", format!("{} s", plain(ramp.lag_s, 8, 2)))];
    if !ramp.steps.is_empty() {
        rows.push(("step at   by W  rise  settle s".to_owned(), String::new()));
    }
    rows.extend(ramp.steps.iter().map(|step| {
        let by_w = signed(Some(step.to_w - step.from_w), 6, 0);
        let (rise, settle) = (plain(step.rise_10_90_s, 6, 1), plain(step.settling_s, 6, 1));
        let at = text::time(step.at_s, long);
        (String::new(), format!("{at:<8}{by_w}{rise}  {settle}"))
    }));
    rows
}

fn gear_change(gears: &GearChange, long: bool) -> Vec<Row> {
    if gears.changes.is_empty() {
        return vec![(String::new(), "no gear change found".to_owned())];
    }
    let mut rows = vec![("shift of bias, points, 95 % CI".to_owned(), String::new())];
    rows.extend(gears.changes.iter().map(|change| {
        let [low, high] = change
            .shift_ci95_percent
            .map_or([None, None], |[low, high]| [Some(low), Some(high)]);
        let at = text::time(change.at_s, long);
        let shift = signed(change.shift_percent, 6, 2);
        let (low, high) = (signed(low, 6, 2), signed(high, 5, 2));
        (String::new(), format!("{at:<8}{shift} {low} to {high}"))
    }));
    rows
}

fn coast(coast: &Coast) -> Vec<Row> {
    vec![
        (
            "mean, lag included".to_owned(),
            format!("{} W", plain(coast.phantom_mean_w, 5, 1)),
        ),
        row(
            "time to zero",
            format!("{} s", plain(coast.time_to_zero_s, 8, 1)),
        ),
        row(
            "coasted",
            format!("{} s", plain(Some(coast.coasted_s), 8, 0)),
        ),
    ]
}

fn heat_soak(soak: &HeatSoak) -> Vec<Row> {
    vec![
        row(
            "drift in 10 min",
            format!("{} points", signed(soak.drift_percent_per_10min, 8, 2)),
        ),
        limits(soak.drift_ci95_percent_per_10min, 2, "points"),
        row(
            "bias at start",
            format!("{} %", signed(soak.start_bias_percent, 8, 2)),
        ),
        row(
            "bias at end",
            format!("{} %", signed(soak.end_bias_percent, 8, 2)),
        ),
    ]
}
