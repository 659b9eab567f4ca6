//! Right of each lane: what its curves are, their values at the cursor, and the figure of the window
//! that belongs to them.

use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

use super::super::layout::Layout;
use super::super::smooth::Series;
use super::super::state::{Lane, State};
use super::super::text::{self, plain, signed};
use super::super::theme::Look;
use super::figures::figure;
use super::pen::{Pen, Text};
use super::picture;
use crate::analysis::figure::Figure;
use crate::analysis::figures::StreamFigures;
use crate::analysis::verdict::overall::claim_in_words;
use crate::picture::claim::net_percent;
use crate::recording::Channel;
use crate::session::Kind;
use crate::text::{both_ends, columns, field};
use crate::timeline::{Member, PERCENT_FROM_W, Track};

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

/// A name and its two numbers, as wide as the area, each with its style.
fn line(look: Look, area: Rect, name: (&str, Style), [at, over]: [&str; 2], style: Style) -> Text {
    let room = usize::from(area.width).saturating_sub(AT + OVER);
    Text::default()
        .with(
            field(&both_ends(&look.text(name.0), room, look.cut()), room, ' '),
            name.1,
        )
        .with(format!("{at:>AT$}{over:>OVER$}"), style)
}

/// The figure of the window that belongs to a channel.
#[derive(Clone, Copy)]
struct Over {
    figure: &'static Figure,
    of: fn(&StreamFigures) -> Option<f64>,
}

impl Over {
    /// `None` of a channel without one.
    fn window(state: &State, channel: Channel) -> Option<Self> {
        let sprints = state.figures_kind() == Kind::Sprint;
        let (id, of): (_, fn(&StreamFigures) -> _) = match channel {
            Channel::Power if sprints => ("segments.streams.best_5s_w", |own| own.best_5s_w),
            Channel::Power => ("segments.streams.mean_w", |own| own.mean_w),
            Channel::Cadence => ("segments.streams.cadence_mean_rpm", |own| {
                own.cadence_mean_rpm
            }),
            _ => return None,
        };
        Some(Self {
            figure: figure(id),
            of,
        })
    }
}

/// A line for each stream that carries the channel.
fn of_channel(state: &State, channel: Channel, area: Rect) -> Vec<Text> {
    let look = state.look;
    let over = Over::window(state, channel);
    let streams: Vec<usize> = (0..state.aligned.tracks.len())
        .filter(|index| state.aligned.tracks[*index].column(channel).is_some())
        .collect();
    let mut lines = Vec::new();
    let is_power = channel == Channel::Power;
    // Without room for a head the unit on the axis says what the numbers are.
    if is_power || usize::from(area.height) > streams.len() {
        let (name, style) = match is_power {
            true => (mode_at_cursor(state), look.strong()),
            false => (channel.name(), look.mute()),
        };
        let clock = text::time(state.cursor_s, state.long());
        let head = match over.filter(|_| is_power) {
            Some(Over { figure, .. }) if figure.short().len() + figure.unit.len() < OVER => {
                format!("{} {}", figure.short(), figure.unit)
            }
            Some(Over { figure, .. }) => figure.short().to_owned(),
            None => "mean".to_owned(),
        };
        lines.push(line(look, area, (name, style), [&clock, &head], style));
    }
    let inks = look.streams(&state.session().streams);
    lines.extend(streams.into_iter().map(|index| {
        let ink = inks.get(index).copied().unwrap_or_default();
        of_stream(state, (index, channel), (over, ink), area)
    }));
    cut_short(lines, area, look.faint())
}

/// The mode that the trainer was in at the cursor, in its recorder's words; empty where no recording
/// says it.
fn mode_at_cursor(state: &State) -> &str {
    let mut tracks = state.aligned.tracks.iter();
    let mode = tracks.find_map(|track: &Track| {
        let at_s = track.clock.to_recorder(state.cursor_s);
        let modes = &track.source().recording()?.modes;
        let begun = modes.partition_point(|span| span.from_s <= at_s);
        let span = modes.get(begun.checked_sub(1)?)?;
        (at_s <= span.to_s).then_some(&*span.mode)
    });
    mode.unwrap_or("")
}

/// What a stream's curve is, its value at the cursor and its figure of the window.
fn of_stream(
    state: &State,
    (index, channel): (usize, Channel),
    (over, ink): (Option<Over>, Style),
    area: Rect,
) -> Text {
    let look = state.look;
    let row = state.aligned.grid.nearest_row(state.cursor_s);
    let decimals = usize::from(picture::tenths_matter(channel));
    let at = picture::value(state, Series::Stream(index, channel), row);
    let label = state.member_name(Member::Stream(index));
    let own = state.figures.streams.iter().find(|f| f.label == label);
    let over = over.and_then(|over| Some(over.figure.print((over.of)(own?)?)));
    let over = over.unwrap_or_default();
    let hidden = state.hidden.get(index) == Some(&true);
    let selected = state.stream == index;
    let is_power = channel == Channel::Power;
    let mark = match selected && is_power {
        true => look.glyph('▸', '>'),
        false => ' ',
    };
    let letter = state.letters.get(index).copied().unwrap_or('*');
    let told = if hidden && is_power { " (hidden)" } else { "" };
    let ink = if hidden { look.faint() } else { ink };
    let ink = match selected {
        true => ink.add_modifier(Modifier::BOLD),
        false => ink,
    };
    let name = format!("{mark}{letter} {label}{told}");
    line(
        look,
        area,
        (&name, ink),
        [&plain(at, 0, decimals), &over],
        Style::new(),
    )
}

/// The difference at the cursor and over the window, its limits and the claim.
fn of_difference(state: &State, area: Rect) -> Vec<Text> {
    let look = state.look;
    let row = state.aligned.grid.nearest_row(state.cursor_s);
    let (watts, percent) = (
        figure("segments.agreement.bias_w"),
        figure("segments.verdict.bias_percent"),
    );
    let pair = state.compared(&state.figures);
    let loss = state.session().allowance().percent;
    let (unit, over) = match state.percent {
        true => (
            percent.unit,
            pair.and_then(|pair| pair.bias_percent)
                .map(|b| net_percent(b, loss)),
        ),
        false => (watts.unit, pair.and_then(|pair| pair.bias_w)),
    };
    let [at, over] = [picture::value(state, Series::Difference, row), over]
        .map(|value| signed(value, 0, watts.decimals));
    let over = format!("{over} {unit}");
    let name = ("difference", look.strong());
    let mut lines = vec![line(look, area, name, [&at, &over], Style::new())];
    if state.percent && loss != 0.0 {
        let loss = format!("{} %", plain(Some(loss), 0, 1));
        lines.push(right(look, area, "loss taken off", &loss));
    }
    let claim = state.under_test();
    let claim = claim.and_then(|index| state.session().claim_of(index));
    let claim = claim.map_or_else(|| "none stated".to_owned(), claim_in_words);
    lines.push(right(
        look,
        area,
        figure("session.claim.percent").short(),
        &claim,
    ));
    // A judged segment has its uncertainty in the head, with that of the references.
    if state.segment_with_figures().is_none() {
        lines.push(scatter(state, area));
    }
    lines.truncate(usize::from(area.height));
    lines
}

/// A faint name and its text at the right end.
fn right(look: Look, area: Rect, name: &str, value: &str) -> Text {
    let value = look.text(value);
    let room = usize::from(area.width).saturating_sub(columns(name));
    Text::default().with(format!("{name}{value:>room$}"), look.mute())
}

/// Limits of the mean difference of the window that its scatter alone sets.
fn scatter(state: &State, area: Rect) -> Text {
    let pair = state.compared(&state.figures);
    let loss = state.session().allowance().percent;
    let limits = figure("segments.agreement.bias_ci95_w");
    let ends = pair.and_then(|pair| {
        let ends_w = pair.bias_ci95_w?;
        if !state.percent {
            return Some(ends_w);
        }
        let level_w = pair.reference_mean_w.filter(|w| *w >= PERCENT_FROM_W)?;
        Some(ends_w.map(|w| net_percent(100.0 * w / level_w, loss)))
    });
    let ends = match ends {
        _ if !state.is_searched() => "pending".to_owned(),
        Some(ends) => {
            let [low, high] = ends.map(|end| signed(Some(end), 0, limits.decimals));
            format!("{low} to {high}")
        }
        None => "-".to_owned(),
    };
    right(state.look, area, "scatter 95 %", &ends)
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
