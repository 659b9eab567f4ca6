//! Response: a sprint or a step, second by second, with the fitted model over it.

use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::super::state::State;
use super::super::super::study::response::Responded;
use super::super::super::text::{self, plain};
use super::super::page::Page;
use super::super::paint;
use super::super::pen::Text;
use super::shared::{beside, interval, named, wrapped};
use crate::analysis::kinds::ramp::Ramp;
use crate::analysis::kinds::sprint::{Explained, ResponseShape, Sprint, SprintPeak};
use crate::stats::Interval;
use crate::text::both_ends;

/// Rows of the words below the picture.
const WORDS: u16 = 7;

pub fn page<'a>(state: &'a State, found: &'a Responded, area: Rect) -> Page<'a> {
    let (picture, words) = beside(area, WORDS);
    let mut out = Vec::new();
    if let Some(sprint) = &found.sprint {
        out.extend(sprint_lines(state, sprint, words.width));
    }
    if let Some(ramp) = &found.ramp {
        out.extend(ramp_lines(state, ramp));
    }
    Page::new(move |pen| paint::picture(&found.picture, picture, true, pen)).with(out, words)
}

fn sprint_lines(state: &State, sprint: &Sprint, width: u16) -> Vec<Text> {
    let look = state.look;
    let mut out = vec![shortfall(state, sprint)];
    // Without a fit the note says why.
    if sprint.delay_s.is_some() {
        out.extend(fitted(state, sprint));
    }
    if !sprint.note.is_empty() {
        out.extend(wrapped(&sprint.note, width, look.warning()));
    }
    for (name, best) in [
        ("best 1 s", (|peak| peak.best_1s_w) as fn(&SprintPeak) -> _),
        ("best 5 s", |peak| peak.best_5s_w),
    ] {
        let all = sprint.peaks.iter();
        let all = all.map(|peak| format!("{} {}", peak.label, plain(best(peak), 0, 0)));
        let all: Vec<String> = all.collect();
        let room = usize::from(width).saturating_sub(14);
        let line = both_ends(&look.text(&all.join("  ")), room, look.cut());
        out.push(named(state, name, format!("{} W", line.trim_end())));
    }
    out
}

/// The fitted model: one number with its limits a line.
fn fitted(state: &State, sprint: &Sprint) -> Vec<Text> {
    let line = |name: &str, value: Option<f64>, limits: Option<Interval>, decimals, unit: &str| {
        let limits =
            limits.map(|limits| format!(" ({})", interval(Some(limits), decimals, "").trim_end()));
        let value = plain(value, 0, decimals);
        named(
            state,
            name,
            format!("{value} {unit}{}", limits.unwrap_or_default()),
        )
    };
    let mut out = vec![line(
        "dead time",
        sprint.delay_s,
        sprint.delay_ci95_s,
        2,
        "s",
    )];
    out.push(match sprint.averaging_s {
        Some(_) => line(
            "mean over",
            sprint.averaging_s,
            sprint.averaging_ci95_s,
            1,
            "s",
        ),
        None => line(
            "lag τ",
            sprint.time_constant_s,
            sprint.time_constant_ci95_s,
            2,
            "s",
        ),
    });
    if sprint.ceiling_w.is_some() {
        out.push(line(
            "ceiling",
            sprint.ceiling_w,
            sprint.ceiling_ci95_w,
            0,
            "W",
        ));
    }
    let fits = match sprint.response_shape {
        Some(ResponseShape::Neither) => "; the model does not fit",
        _ => "",
    };
    out.push(named(
        state,
        "gain",
        format!(
            "{}, residual of the model {} W{fits}",
            plain(sprint.gain, 0, 3),
            plain(sprint.fit_rms_w, 0, 1)
        ),
    ));
    out
}

/// How much the peak lacks, and why.
fn shortfall(state: &State, sprint: &Sprint) -> Text {
    let why = match sprint.explained {
        Some(Explained::Lag) if sprint.averaging_s.is_some() => "explained by averaging",
        Some(Explained::Lag) => "explained by lag",
        Some(Explained::Gain) => "explained by gain",
        Some(Explained::Ceiling) => "explained by a ceiling",
        Some(Explained::Flywheel) => "explained by a flywheel",
        Some(Explained::Mixed) => "several causes",
        None => "no cause named",
    };
    let high = sprint.shortfall_w.filter(|short_w| *short_w < 0.0);
    match high {
        Some(w) => named(state, "peak high", format!("by {:.0} W", -w)),
        None => named(
            state,
            "peak short",
            format!("by {} W: {why}", plain(sprint.shortfall_w, 0, 0)),
        ),
    }
}

fn ramp_lines(state: &State, ramp: &Ramp) -> Vec<Text> {
    let mut out = Vec::new();
    if let Some(lag_s) = ramp.lag_s {
        out.push(named(state, "ramp lag", format!("{lag_s:+.1} s")));
    }
    if ramp.steps.is_empty() {
        return out;
    }
    out.push(Text::default().with(
        "step at   from  to W  dead s  rise s  settle s  over %",
        state.look.faint(),
    ));
    out.extend(ramp.steps.iter().map(|step| {
        Text::default().with(
            format!(
                "{:>8} {} {}  {}  {}    {}  {}",
                text::time(step.at_s, state.long()),
                plain(Some(step.from_w), 5, 0),
                plain(Some(step.to_w), 5, 0),
                plain(step.dead_time_s, 6, 1),
                plain(step.rise_10_90_s, 6, 1),
                plain(step.settling_s, 6, 1),
                plain(step.overshoot_percent, 6, 1)
            ),
            Style::new(),
        )
    }));
    out
}
