//! Response: a sprint or a step, second by second, with the fitted model over it.

use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::super::state::State;
use super::super::super::study::response::Responded;
use super::super::super::text::{self, plain, signed};
use super::super::page::Page;
use super::super::paint;
use super::super::pen::Text;
use super::shared::{beside, interval, named, wrapped};
use crate::analysis::kinds::ramp::Ramp;
use crate::analysis::kinds::sprint::{Explained, ResponseShape, Sprint};
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
    let mut out = Vec::new();
    let width_of_name = usize::from(width).saturating_sub(40).clamp(8, 20);
    for (row, peak) in sprint.peaks.iter().enumerate() {
        let name = if row == 0 { "best" } else { "" };
        let label = both_ends(&look.text(&peak.label), width_of_name, look.cut());
        let line = format!(
            "{label} 1 s {} W  5 s {} W",
            plain(peak.best_1s_w, 5, 0),
            plain(peak.best_5s_w, 5, 0)
        );
        out.push(named(state, name, line));
    }
    if !sprint.note.is_empty() {
        out.extend(wrapped(&sprint.note, width, look.warning()));
    }
    // Without a fit the note says why.
    if sprint.delay_s.is_none() {
        return out;
    }
    let spread = match sprint.averaging_s {
        Some(seconds) => format!("averages over {seconds:.1} s"),
        None => format!("time constant {} s", plain(sprint.time_constant_s, 0, 2)),
    };
    let limits = match sprint.response_shape {
        Some(ResponseShape::MovingMean) => {
            format!(
                "average 95 % CI: {}",
                interval(sprint.averaging_ci95_s, 1, "s")
            )
        }
        Some(ResponseShape::Neither) => "no 95 % CI: the model does not fit".to_owned(),
        _ => format!(
            "time constant 95 % CI: {}",
            interval(sprint.time_constant_ci95_s, 2, "s")
        ),
    };
    // What decides stands first, where rows are short.
    out.insert(0, shortfall(state, sprint));
    out.push(
        Text::default()
            .with(format!("model {}     ", look.glyph('╌', '=')), look.fault())
            .with(
                format!("dead time {} s  {spread}", signed(sprint.delay_s, 0, 2)),
                Style::new(),
            ),
    );
    out.push(named(state, "", limits));
    if sprint.delay_ci95_s.is_some() {
        let limits = interval(sprint.delay_ci95_s, 2, "s");
        out.push(named(state, "", format!("dead time 95 % CI: {limits}")));
    }
    let ceiling = match (sprint.ceiling_w, sprint.ceiling_ci95_w) {
        (None, _) => "no ceiling".to_owned(),
        (Some(w), None) => format!("ceiling {w:.0} W"),
        (Some(w), Some([low, high])) => format!("ceiling {w:.0} ({low:.0} to {high:.0}) W"),
    };
    out.push(named(
        state,
        "",
        format!(
            "gain {}  {ceiling}  residual {} W",
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
