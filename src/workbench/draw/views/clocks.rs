//! Clocks: two streams around the cursor, correlation against lag, and what is left of the offset
//! along the ride.

use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

use super::super::super::state::{Mark, State};
use super::super::super::study::{Answer, clocks::Clocks};
use super::super::super::text;
use super::super::chart::{Axis, Chart, round_ends};
use super::super::page::Page;
use super::super::pen::{Pen, Text};
use super::shared::{first, nothing, rest, stream_name, time_number, wrapped};
use crate::recording::Channel;
use crate::session::MatchedOn;
use crate::timeline::align::{ClockOddity, ClockPlace, LagPeak, StreamClock};
use crate::timeline::{Extent, Span};

/// Rows of the lines below the charts, besides those on places.
const LINES: u16 = 5;

/// Whose clock is compared with whose, and on what.
pub fn subject_line(state: &State) -> Text {
    let Some((other_stream, channel)) = state.other_stream().zip(state.matching_channel()) else {
        return Text::default().with("clocks", state.look.strong());
    };
    let line = Text::default().with("clock of ", Style::new());
    let line = stream_name(state, line, state.stream).with(" against ", Style::new());
    stream_name(state, line, other_stream)
        .with(format!("  on {}", channel.name()), state.look.strong())
}

pub fn page(state: &State, below: Rect) -> Page<'_> {
    let Some((other_stream, channel)) = state.other_stream().zip(state.matching_channel()) else {
        let why = "There are no two streams with heart rate, cadence or power in common: nothing \
                   ties this stream's clock to another.";
        return Page::new(move |pen| nothing(why, below, pen));
    };
    let clocks = match &state.study {
        Some((_, Answer::Clocks(clocks))) => Some(clocks.as_ref()),
        _ => None,
    };
    let places = clocks.map_or(0, |clocks| place_lines(state, &clocks.places).len());
    let text_rows = (LINES + places as u16).min(below.height / 3);
    let charts = first(below, below.height - text_rows);
    let words = rest(below, charts.height);
    let close_rows = charts.height.div_ceil(2);
    let paint = move |pen: &mut Pen<'_>| {
        close_up(state, other_stream, channel, first(charts, close_rows), pen);
        compared(state, clocks, rest(charts, close_rows), pen);
    };
    Page::new(paint).with(words_of(state, clocks, words), words)
}

/// Correlation against lag, and beside it what is left of the offset.
fn compared(state: &State, clocks: Option<&Clocks>, area: Rect, pen: &mut Pen<'_>) {
    let Some(clocks) = clocks else {
        nothing("The correlation is being computed.", area, pen);
        return;
    };
    let half = area.width / 2;
    let left = Rect {
        width: half.saturating_sub(1),
        ..area
    };
    let right = Rect {
        x: area.x + half,
        width: area.width - half,
        ..area
    };
    correlation(state, clocks, left, pen);
    residual(state, clocks, right, pen);
}

/// The two streams around the cursor, sample by sample.
fn close_up(state: &State, other_stream: usize, channel: Channel, area: Rect, pen: &mut Pen<'_>) {
    let shown = Span {
        from_s: state.cursor_s - 0.5 * state.close_up_s,
        to_s: state.cursor_s + 0.5 * state.close_up_s,
    };
    let streams = [other_stream, state.stream];
    let samples = streams.map(|index| samples_in(state, index, channel, shown));
    let values = samples.iter().flatten().map(|(_, value)| *value);
    let least = if channel == Channel::Power {
        20.0
    } else {
        10.0
    };
    let Some((low, high)) = round_ends(values, least) else {
        nothing(
            "Neither stream recorded anything around the cursor.",
            area,
            pen,
        );
        return;
    };
    let number: fn(f64) -> String = match channel {
        Channel::HeartRate => |v| format!("{v:.0} bpm"),
        Channel::Cadence => |v| format!("{v:.0} rpm"),
        _ => |v| format!("{v:.0} W"),
    };
    let cursor = format!(
        "{} {}",
        state.look.glyph('▲', '^'),
        text::time(state.cursor_s, state.long())
    );
    let mut chart = Chart::new(
        area,
        Axis {
            low: shown.from_s,
            high: shown.to_s,
            title: &cursor,
            number: time_number(state),
        },
        Axis {
            low,
            high,
            title: match channel {
                Channel::HeartRate => "heart",
                Channel::Cadence => "cadence",
                _ => "power",
            },
            number,
        },
    );
    for (owner, samples) in samples.iter().enumerate() {
        chart.line(samples, owner as u8);
    }
    let glyph = state.look.glyph('┃', '!');
    let inks = state.look.streams(&state.session().streams);
    let styles = streams.map(|index| inks.get(index).copied().unwrap_or_default());
    chart.paint(pen, &styles);
    chart.upright(state.cursor_s, glyph, state.look.strong(), pen);
    chart.axes(pen);
    letters(state, &chart, &streams, &samples, &styles, pen);
    marks(state, &chart, high, pen);
}

/// The letter of each stream on some of its samples, more where there is room.
fn letters(
    state: &State,
    chart: &Chart<'_>,
    streams: &[usize; 2],
    samples: &[Vec<(f64, f64)>; 2],
    styles: &[Style; 2],
    pen: &mut Pen<'_>,
) {
    for (owner, samples) in samples.iter().enumerate() {
        let letter = state.letters.get(streams[owner]).copied().unwrap_or('*');
        let style = styles[owner].add_modifier(Modifier::BOLD);
        let mut last: Option<u16> = None;
        // The two streams' letters alternate, so that none hides the other.
        let lead = chart.plot().x + 3 + 4 * owner as u16;
        for (t_s, value) in samples {
            let Some((x, y)) = chart.cell(*t_s, *value).filter(|_| value.is_finite()) else {
                continue;
            };
            if last.map_or(x >= lead, |last| x >= last + 8) {
                pen.dot(x, y, letter, style);
                last = Some(x);
            }
        }
    }
}

/// The marked features: 1 on the selected stream, 2 on the other, at the top.
fn marks(state: &State, chart: &Chart<'_>, top: f64, pen: &mut Pen<'_>) {
    for (index, mark) in state.marks.iter().enumerate() {
        let at = mark.and_then(|mark: Mark| {
            let track = state.aligned.tracks.get(mark.stream)?;
            chart.cell(track.clock.to_session(mark.recorder_s), top)
        });
        if let Some((x, y)) = at {
            let digit = if index == 0 { '1' } else { '2' };
            pen.dot(x, y, digit, state.look.selected());
        }
    }
}

/// Recorded samples of a stream in a stretch of session time and one on either side of it; a gap
/// is a missing value between them.
fn samples_in(state: &State, index: usize, channel: Channel, shown: Span) -> Vec<(f64, f64)> {
    let Some(track) = state.aligned.tracks.get(index) else {
        return Vec::new();
    };
    let Some(samples) = track.source().samples() else {
        return Vec::new();
    };
    let rows = track.raw_rows(shown);
    let interval_s = samples.median_interval_s().unwrap_or(1.0);
    let mut out = Vec::with_capacity(rows.len() + 2);
    let mut before_s: Option<f64> = None;
    for row in rows.start.saturating_sub(1)..rows.end + 1 {
        let (Some(time_s), Some(value)) = (samples.time_s().get(row), track.value(channel, row))
        else {
            continue;
        };
        let at_s = track.clock.to_session(*time_s);
        if before_s.is_some_and(|before| at_s - before > 2.5 * interval_s) {
            out.push((at_s, f64::NAN));
        }
        before_s = Some(at_s);
        out.push((at_s, value));
    }
    out
}

/// Correlation against lag, as far out as there are rivals.
fn correlation(state: &State, clocks: &Clocks, area: Rect, pen: &mut Pen<'_>) {
    let Some(curve) = &clocks.curve else {
        nothing("There is too little in common to correlate.", area, pen);
        return;
    };
    let farthest = curve.peaks.iter().map(|peak| peak.late_s.abs());
    let reach_s = farthest.fold(30.0, f64::max) * 1.15;
    let reach_s = round_ends([0.0, reach_s].into_iter(), 1.0).map_or(reach_s, |(_, high)| high);
    let (low, high) = round_ends(curve.r.iter().copied(), 0.2).unwrap_or((0.0, 1.0));
    let mut chart = Chart::new(
        area,
        Axis {
            low: -reach_s,
            high: reach_s,
            title: "late by",
            number: |v| format!("{v:+.0} s"),
        },
        Axis {
            low: low.max(-1.0),
            high: high.min(1.0),
            title: "corr. r",
            number: |v| format!("{v:+.1}"),
        },
    );
    chart.trace(0, |from, to| {
        let first = (from - curve.first_late_s).ceil().max(0.0) as usize;
        let last = (to - curve.first_late_s).ceil().max(0.0) as usize;
        // Between whole seconds the nearest one stands in.
        let near = ((0.5 * (from + to)) - curve.first_late_s).round();
        let rows = if last > first {
            first..last
        } else if near >= 0.0 {
            near as usize..near as usize + 1
        } else {
            return None;
        };
        let end = rows.end.min(curve.r.len());
        extent_of(curve.r.get(rows.start.min(end)..end)?)
    });
    chart.paint(pen, &[state.look.difference()]);
    chart.upright(0.0, state.look.glyph('┊', ':'), state.look.faint(), pen);
    chart.axes(pen);
    for (index, peak) in curve.peaks.iter().enumerate().rev() {
        if let Some((x, y)) = chart.cell(peak.late_s, peak.r) {
            let digit = char::from_digit(index as u32 + 1, 10).unwrap_or('*');
            let style = if index == 0 {
                state.look.selected()
            } else {
                state.look.strong()
            };
            pen.dot(x, y, digit, style);
        }
    }
}

fn extent_of(values: &[f64]) -> Option<Extent> {
    let present = || values.iter().copied().filter(|v| v.is_finite());
    Some(Extent {
        min: present().reduce(f64::min)?,
        max: present().reduce(f64::max)?,
    })
}

/// What is left of the offset along the ride: level at zero where offset and rate are right.
fn residual(state: &State, clocks: &Clocks, area: Rect, pen: &mut Pen<'_>) {
    if clocks.residuals.is_empty() {
        nothing(
            "No stretch of the ride shows what is left of the offset.",
            area,
            pen,
        );
        return;
    }
    let ride = state.ride();
    let mut sizes: Vec<f64> = clocks.residuals.iter().map(|r| r.late_s.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    // A stray window must not flatten the rest; it is drawn at the edge.
    let usual = sizes.get(sizes.len() * 9 / 10).copied().unwrap_or(1.0);
    let reach = crate::picture::ticks::round_step((usual * 1.3).max(0.5));
    let mut chart = Chart::new(
        area,
        Axis {
            low: ride.from_s,
            high: ride.to_s,
            title: "late along the ride",
            number: time_number(state),
        },
        Axis {
            low: -reach,
            high: reach,
            title: "late",
            number: |v| format!("{v:+.1} s"),
        },
    );
    for window in &clocks.residuals {
        let (low, high) = (window.late_s - window.sd_s, window.late_s + window.sd_s);
        chart.bar(window.at_s, low, high, 0);
    }
    chart.paint(pen, &[state.look.difference()]);
    chart.level(0.0, state.look.glyph('─', '-'), state.look.faint(), pen);
    for place in clocks
        .places
        .iter()
        .filter(|place| has_one_place(place.what))
    {
        let glyph = state.look.glyph('┊', ':');
        chart.upright(place.span.from_s, glyph, state.look.warning(), pen);
    }
    chart.axes(pen);
    for window in &clocks.residuals {
        if let Some((x, y)) = chart.cell(window.at_s, window.late_s) {
            let beyond = window.late_s.abs() > reach;
            let (glyph, style) = if beyond {
                let up = window.late_s > 0.0;
                let arrow = if up {
                    state.look.glyph('▲', '^')
                } else {
                    state.look.glyph('▼', 'v')
                };
                (arrow, state.look.warning())
            } else {
                (state.look.glyph('•', 'o'), state.look.difference())
            };
            pen.dot(x, y, glyph, style);
        }
    }
}

/// Offset and skew as they are and as estimated, with their confidence; the peaks.
fn words_of(state: &State, clocks: Option<&Clocks>, area: Rect) -> Vec<Text> {
    let streams = [Some(state.stream), state.other_stream()];
    let mut now = Text::default().with("now       ", state.look.strong());
    for index in streams.into_iter().flatten() {
        now = now_of(state, now, index);
    }
    let mut out = vec![now];
    let Some(clocks) = clocks else {
        return out;
    };
    out.extend(place_lines(state, &clocks.places));
    let mut reason = None;
    for (index, estimate) in streams.into_iter().zip(&clocks.estimates) {
        let (Some(index), Some(estimate)) = (index, estimate) else {
            continue;
        };
        if !estimate.estimated {
            // It defines session time, or nothing ties it to the others.
            let line = Text::default().with("estimate  ", state.look.strong());
            out.push(
                letter(state, line, index).with(format!(" {}", estimate.reason), Style::new()),
            );
            continue;
        }
        out.push(estimate_line(state, index, estimate));
        reason = reason.or(Some(&estimate.reason));
    }
    if let Some(reason) = reason {
        out.extend(wrapped(reason, area.width, state.look.faint()));
    }
    if let Some(curve) = &clocks.curve {
        out.push(peaks_line(state, &curve.peaks, area.width));
    }
    out
}

/// Whether an oddity belongs to a place rather than to the whole recording.
fn has_one_place(what: ClockOddity) -> bool {
    !matches!(what, ClockOddity::OnChange | ClockOddity::SeveralASecond)
}

/// Most oddities of one kind that are told one by one.
const PLACES: usize = 3;

/// Where either recorder did not simply go on: a line for each stream and kind, the places in it.
fn place_lines(state: &State, places: &[ClockPlace]) -> Vec<Text> {
    let mut told: Vec<(usize, ClockOddity)> = Vec::new();
    for place in places {
        let kind = (place.stream, place.what);
        if !told.contains(&kind) {
            told.push(kind);
        }
    }
    let line = |(stream, what): (usize, ClockOddity)| {
        let same = || {
            places
                .iter()
                .filter(|p| (p.stream, p.what) == (stream, what))
        };
        let time = |t_s| text::time(t_s, state.long());
        let spans: Vec<String> = same()
            .take(PLACES)
            .map(|p| format!("{} to {}", time(p.span.from_s), time(p.span.to_s)))
            .collect();
        let more = same().count().saturating_sub(PLACES);
        let more = if more > 0 {
            format!(" and {more} more")
        } else {
            String::new()
        };
        let head = Text::default().with("clock     ", state.look.strong());
        letter(state, head, stream)
            .with(" ", Style::new())
            .with(what.in_words(), state.look.warning())
            .with(format!(": {}{more}", spans.join(", ")), Style::new())
    };
    told.into_iter().map(line).collect()
}

fn letter(state: &State, line: Text, index: usize) -> Text {
    let inks = state.look.streams(&state.session().streams);
    let ink = inks.get(index).copied().unwrap_or_default();
    let letter = state.letters.get(index).copied().unwrap_or('*');
    line.with(letter.to_string(), ink.add_modifier(Modifier::BOLD))
}

fn now_of(state: &State, line: Text, index: usize) -> Text {
    let Some(stream) = state.session().streams.get(index) else {
        return line;
    };
    let from = match stream.matched_on {
        Some(MatchedOn::Given) => "by hand".to_owned(),
        Some(on) if stream.clock_doubt.is_some() => format!("on {on}, not certain"),
        Some(on) => format!("on {on}"),
        None => "not aligned".to_owned(),
    };
    letter(state, line, index).with(
        format!(
            " {:+.2} s {:+.1} ppm {from}   ",
            stream.offset_s, stream.skew_ppm
        ),
        Style::new(),
    )
}

fn estimate_line(state: &State, index: usize, estimate: &StreamClock) -> Text {
    let (word, style) = if estimate.confident {
        ("confident", state.look.strong())
    } else {
        ("! in doubt", state.look.warning())
    };
    let line = Text::default().with("estimate  ", state.look.strong());
    // The word first: a narrow screen cuts the end.
    letter(state, line, index)
        .with(" ", Style::new())
        .with(word, style)
        .with(format!(" {}", estimate.in_words(2)), Style::new())
}

/// As many peaks as have room in whole.
fn peaks_line(state: &State, peaks: &[LagPeak], width: u16) -> Text {
    let mut line = Text::default().with("peaks     ", state.look.strong());
    let mut used = 10;
    for (index, peak) in peaks.iter().enumerate() {
        let late = text::signed(Some(peak.late_s), 0, 1);
        let text = format!(" {late} s r {:.2} over {} s   ", peak.r, peak.pairs);
        used += 1 + text.trim_end().len();
        if used > usize::from(width) {
            break;
        }
        used += 3;
        line = line
            .with((index + 1).to_string(), state.look.strong())
            .with(text, Style::new());
    }
    line
}
