//! The decisive figures of a segment's kind, for the panel of the ride view: they take a fit, so
//! they come from the answer of [`super::super::study`].

use ratatui::style::Style;
use serde::Deserialize as _;
use serde_json::Value;

use super::super::layout::panel_columns;
use super::super::state::State;
use super::super::text::{self, signed};
use super::figures::{figure, interval, row, with_unit, written};
use super::pen::Text;
use crate::analysis::figures::SegmentFigures;
use crate::analysis::kinds::gear_change::GearChange;
use crate::analysis::kinds::ramp::Ramp;
use crate::analysis::kinds::sprint::{Explained, ResponseShape, Sprint};
use crate::analysis::kinds::{self, OfKind};
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

/// A name and its value.
type Row = (String, String);

fn of_kind(state: &State, segment: &SegmentFigures) -> Vec<Row> {
    let Some(own) = kinds::ALL.iter().find(|own| own.kind == segment.kind) else {
        return Vec::new();
    };
    let (long, figures) = (state.long(), &segment.of_kind);
    let values = serde_json::to_value(figures).unwrap_or_default();
    let values = &values[own.field()];
    if values.is_null() {
        let why = "needs a source under test and a reference";
        return vec![(String::new(), why.to_owned())];
    }
    let mut rows = listed(own, values);
    rows.extend(figures.sprint.iter().flat_map(|s| of_sprint(state, s)));
    rows.extend(figures.ramp.iter().flat_map(|ramp| steps(ramp, long)));
    let gears = figures.gear_change.iter();
    rows.extend(gears.flat_map(|gears| gear_change(gears, long)));
    rows
}

/// The lines that the kind lists.
fn listed(own: &OfKind, values: &Value) -> Vec<Row> {
    let lines = own.panel.iter().filter_map(|line| {
        let value = &values[line.field];
        if value.is_null() && !line.always {
            return None;
        }
        let id = format!("{}.{}", own.root, line.field);
        Some(match figure(&id).is_interval() {
            true => interval(&id, Interval::deserialize(value).ok()),
            false => row(&id, value.as_f64()),
        })
    });
    lines.collect()
}

/// Best means of the streams that are judged, by their letters.
fn best(state: &State, sprint: &Sprint, id: &str, five: bool) -> Row {
    let (figure, mut value) = (figure(id), String::new());
    for (index, stream) in state.session().streams.iter().enumerate() {
        let peak = sprint.peaks.iter().find(|p| p.label == stream.label);
        let (Some(peak), true) = (peak, stream.role != Role::Context) else {
            continue;
        };
        let watts = if five { peak.best_5s_w } else { peak.best_1s_w };
        let letter = state.letters.get(index).copied().unwrap_or('*');
        value.push_str(&format!(" {letter}{}", written(figure, watts, 5)));
    }
    (
        format!("{:<4}", figure.short()),
        format!("{value} {}", figure.unit),
    )
}

fn of_sprint(state: &State, sprint: &Sprint) -> Vec<Row> {
    let cause = match sprint.explained {
        Some(Explained::Lag) if sprint.averaging_s.is_some() => ": averaging",
        Some(Explained::Lag) => ": lag",
        Some(Explained::Gain) => ": gain",
        Some(Explained::Ceiling) => ": a ceiling",
        Some(Explained::Flywheel) => ": a flywheel",
        Some(Explained::Mixed) => ": several causes",
        None => "",
    };
    let (length, constant) = (
        figure("segments.sprint.averaging_s"),
        figure("segments.sprint.time_constant_s"),
    );
    let (spread, of, ends) = match sprint.averaging_s {
        Some(_) => (
            with_unit(length, sprint.averaging_s, 0),
            length,
            sprint.averaging_ci95_s,
        ),
        None => (
            with_unit(constant, sprint.time_constant_s, 4),
            constant,
            sprint.time_constant_ci95_s,
        ),
    };
    let limits = match sprint.response_shape {
        Some(ResponseShape::Neither) => "none: model does not fit".to_owned(),
        _ => {
            let [low, high] = ends.map_or([None, None], |ends| ends.map(Some));
            let (low, high) = (written(of, low, 4), written(of, high, 4));
            format!("{} {low} to {high} {}", of.short(), of.unit)
        }
    };
    let (ratio, dead_time) = (
        figure("segments.sprint.peak_ratio"),
        figure("segments.sprint.delay_s"),
    );
    let dead = format!(
        "{}, {} {spread}",
        with_unit(dead_time, sprint.delay_s, 5),
        of.short()
    );
    let mut rows = vec![
        best(state, sprint, "segments.sprint.peaks.best_1s_w", false),
        best(state, sprint, "segments.sprint.peaks.best_5s_w", true),
        (
            ratio.short().to_owned(),
            format!("{}{cause}", written(ratio, sprint.peak_ratio, 7)),
        ),
        (dead_time.short().to_owned(), dead),
        (format!("{:<8}", "95 % CI"), limits),
    ];
    let note = wrapped(state, &sprint.note);
    rows.extend(note.into_iter().map(|line| (line, String::new())));
    rows
}

fn steps(ramp: &Ramp, long: bool) -> Vec<Row> {
    let (rise, settling) = (
        figure("segments.ramp.steps.rise_10_90_s"),
        figure("segments.ramp.steps.settling_s"),
    );
    let mut rows = Vec::new();
    if !ramp.steps.is_empty() {
        let head = format!(
            "{:<10}by W{:>6}{:>8} {}",
            figure("segments.ramp.steps.at_s").short(),
            rise.short(),
            settling.short(),
            settling.unit
        );
        rows.push((head, String::new()));
    }
    rows.extend(ramp.steps.iter().map(|step| {
        let by_w = signed(Some(step.to_w - step.from_w), 6, 0);
        let at = text::time(step.at_s, long);
        let (rise, settle) = (
            written(rise, step.rise_10_90_s, 6),
            written(settling, step.settling_s, 8),
        );
        (String::new(), format!("{at:<8}{by_w}{rise}{settle}"))
    }));
    rows
}

fn gear_change(gears: &GearChange, long: bool) -> Vec<Row> {
    if gears.changes.is_empty() {
        return vec![(String::new(), "no gear change found".to_owned())];
    }
    let shift = figure("segments.gear_change.changes.shift_percent");
    let head = format!("{}, {} points, 95 % CI", shift.label, shift.unit);
    let mut rows = vec![(head, String::new())];
    rows.extend(gears.changes.iter().map(|change| {
        let [low, high] = change
            .shift_ci95_percent
            .map_or([None, None], |ends| ends.map(Some));
        let at = text::time(change.at_s, long);
        let by = written(shift, change.shift_percent, 6);
        let (low, high) = (written(shift, low, 6), written(shift, high, 5));
        (String::new(), format!("{at:<8}{by} {low} to {high}"))
    }));
    rows
}
