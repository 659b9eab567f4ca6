//! Right of each lane: what its curves are, their values at the cursor, and the figure of the window
//! that belongs to them.

use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

use super::super::layout::Layout;
use super::super::smooth::Series;
use super::super::state::{Lane, State};
use super::super::text::{self, plain, signed};
use super::super::theme::Look;
use super::pen::{Pen, Text};
use super::picture;
use crate::analysis::verdict::overall::claim_in_words;
use crate::picture::claim::net_percent;
use crate::recording::Channel;
use crate::session::Kind;
use crate::text::both_ends;

/// Columns of a value at the cursor, and of the figure of the window.
const AT: usize = 7;
const OVER: usize = 9;

pub fn draw(state: &State, layout: &Layout, pen: &mut Pen<'_>) {
    if layout.panel.width == 0 {
        return;
    }
    for (lane, area) in &layout.lanes {
        let area = Rect {
            x: layout.panel.x + 1,
            width: layout.panel.width - 2,
            ..*area
        };
        let lines = match lane {
            Lane::Channel(channel) => of_channel(state, *channel, area),
            Lane::Difference => of_difference(state, area),
        };
        pen.lines(&lines, area);
    }
    if layout.axis.height > 0 {
        let shown = segments_shown(state);
        let x = layout.panel.x + 1;
        pen.write(
            x,
            layout.axis.y,
            layout.panel.width - 2,
            &shown,
            state.look.faint(),
        );
    }
}

/// "segments 3 to 5 of 10": those of which something is in view.
fn segments_shown(state: &State) -> String {
    let segments = &state.session().segments;
    let shown = state.shown;
    let seen = |index: &usize| {
        let segment = &segments[*index];
        segment.from_s < shown.to_s && segment.to_s > shown.from_s
    };
    let mut seen = (0..segments.len()).filter(seen);
    match (seen.next(), seen.next_back()) {
        (None, _) => String::new(),
        (Some(one), None) => format!("segment {} of {}", one + 1, segments.len()),
        (Some(first), Some(last)) => {
            format!(
                "segments {} to {} of {}",
                first + 1,
                last + 1,
                segments.len()
            )
        }
    }
}

/// A name and its two numbers, as wide as the area.
fn line(area: Rect, name: &str, [at, over]: [&str; 2], style: Style, look: Look) -> Text {
    let room = usize::from(area.width).saturating_sub(AT + OVER);
    let name = both_ends(&look.text(name), room, look.cut());
    let pad = room.saturating_sub(crate::text::columns(&name));
    Text::default()
        .with(format!("{name}{}", " ".repeat(pad)), style)
        .with(format!("{at:>AT$}{over:>OVER$}"), Style::new())
}

/// A line for each stream that carries the channel and is shown.
fn of_channel(state: &State, channel: Channel, area: Rect) -> Vec<Text> {
    let look = state.look;
    let inks = look.streams(&state.session().streams);
    let row = state.aligned.grid.nearest_row(state.cursor_s);
    let decimals = usize::from(matches!(
        channel,
        Channel::Speed | Channel::Temperature | Channel::Grade
    ));
    let mut lines = Vec::new();
    let is_power = channel == Channel::Power;
    let sprints = is_power && state.figures_kind() == Kind::Sprint;
    let head = match (is_power, sprints) {
        (true, true) => "best 5 s",
        (true, false) => "mean W",
        _ => "mean",
    };
    let streams = state.session().streams.iter().enumerate();
    let carries = |index: usize| {
        let track = state.aligned.tracks.get(index);
        track.is_some_and(|track| track.column(channel).is_some())
    };
    let streams: Vec<_> = streams.filter(|(index, _)| carries(*index)).collect();
    // Without room for a head the unit on the axis says what the numbers are.
    if is_power || usize::from(area.height) > streams.len() {
        let name = if is_power { "" } else { channel.name() };
        let clock = text::time(state.cursor_s, state.long());
        let head = line(area, name, [&clock, head], look.mute(), look);
        let bold = if is_power { look.strong() } else { look.mute() };
        lines.push(Text::default().with(head.plain(), bold));
    }
    for (index, stream) in streams {
        let at = plain(
            picture::value(state, Series::Stream(index, channel), row),
            0,
            decimals,
        );
        let figures = state
            .figures
            .streams
            .iter()
            .find(|f| f.label == stream.label);
        let over = match channel {
            Channel::Power if sprints => figures.and_then(|f| f.best_5s_w),
            Channel::Power => figures.and_then(|f| f.mean_w),
            Channel::Cadence => figures.and_then(|f| f.cadence_mean_rpm),
            _ => None,
        };
        let over = over.map_or_else(String::new, |value| {
            plain(Some(value), 0, usize::from(is_power))
        });
        let hidden = state.hidden.get(index) == Some(&true);
        let ink = match hidden {
            true => look.faint(),
            false => inks.get(index).copied().unwrap_or_default(),
        };
        let mark = match state.stream == index {
            true => look.glyph('▸', '>'),
            false => ' ',
        };
        let letter = state.letters.get(index).copied().unwrap_or('*');
        let name = match (is_power, hidden) {
            (true, true) => format!("{mark}{letter} {} (hidden)", stream.label),
            (true, false) => format!("{mark}{letter} {}", stream.label),
            _ => format!(" {letter} {}", stream.label),
        };
        let ink = match state.stream == index {
            true => ink.add_modifier(Modifier::BOLD),
            false => ink,
        };
        lines.push(line(area, &name, [&at, &over], ink, look));
    }
    cut_short(lines, area, look.faint())
}

/// The difference at the cursor and over the window, its limits and the claim.
fn of_difference(state: &State, area: Rect) -> Vec<Text> {
    let look = state.look;
    let row = state.aligned.grid.nearest_row(state.cursor_s);
    let unit = if state.percent { "%" } else { "W" };
    let at = signed(picture::value(state, Series::Difference, row), 0, 1);
    let pair = state.compared(&state.figures);
    let over = pair.and_then(|pair| match state.percent {
        true => {
            let loss = state.session().allowance().percent;
            pair.bias_percent.map(|percent| net_percent(percent, loss))
        }
        false => pair.bias_w,
    });
    let over = format!("{} {unit}", signed(over, 0, 1));
    let mut lines = vec![line(area, "difference", [&at, &over], look.strong(), look)];
    let both_ends = |low: f64, high: f64| {
        format!(
            "{} to {} W",
            signed(Some(low), 0, 1),
            signed(Some(high), 0, 1)
        )
    };
    let limits = match pair.and_then(|pair| pair.bias_ci95_w) {
        _ if !state.is_searched() => "pending".to_owned(),
        Some([low, high]) => both_ends(low, high),
        None => "-".to_owned(),
    };
    let width = usize::from(area.width);
    let right = |name: &str, value: &str| {
        let room = width.saturating_sub(name.len());
        Text::default()
            .with(name.to_owned(), look.mute())
            .with(format!("{value:>room$}"), look.mute())
    };
    lines.push(right("95 % CI", &limits));
    let claim = state
        .under_test()
        .and_then(|index| state.session().claim_of(index));
    let claim = claim.map_or_else(|| "none stated".to_owned(), claim_in_words);
    lines.push(right("claim", &claim));
    lines.truncate(usize::from(area.height));
    lines
}

/// As many lines as have room; the last one says how many have not.
fn cut_short(mut lines: Vec<Text>, area: Rect, style: Style) -> Vec<Text> {
    let rows = usize::from(area.height);
    if lines.len() > rows && rows > 0 {
        let left = lines.len() + 1 - rows;
        lines.truncate(rows - 1);
        lines.push(Text::default().with(format!("   and {left} more"), style));
    }
    lines
}
