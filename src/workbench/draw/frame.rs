//! What frames every view: its name and the next useful keys.

use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::action::entry::Entry;
use super::super::action::names;
use super::super::action::table::{TABLE, named};
use super::super::layout::{Layout, PANEL_FROM};
use super::super::state::{Mode, Place, State, View};
use super::pen::{Pen, Text};
use super::views;
use crate::session::Role;
use crate::text::{columns, fit};
use crate::timeline::Member;

pub fn draw(state: &State, layout: &Layout, pen: &mut Pen<'_>) {
    title(state, layout.title, pen);
    keys(state, layout.keys, pen);
}

/// The session and what is open of it; at the right end what must not be overlooked, and who is
/// compared with whom.
fn title(state: &State, area: Rect, pen: &mut Pen<'_>) {
    if area.height == 0 || area.width < 3 {
        return;
    }
    let look = state.look;
    let name = match state.session().title.trim() {
        "" => "untitled session",
        title => title,
    };
    let dot = look.glyph('·', '-');
    let width = usize::from(area.width) - 2;
    let flags = flags(state).join(&format!(" {dot} "));
    let view = format!("{name}  {}", state.view.title());
    let selected = state.selected.filter(|_| !state.view.is_of_whole_ride());
    let segment = selected.and_then(|index| Some((index, state.session().segments.get(index)?)));
    // With the kind where there is room for it: the line below names it as well.
    let left = match segment {
        Some((index, segment)) => {
            let number = format!("{view} {dot} {}", index + 1);
            vec![format!("{number} {}", segment.kind), number]
        }
        None => vec![view],
    };
    let left: Vec<String> = left.iter().map(|text| look.text(text)).collect();
    let least = left.last().map_or(0, |text| columns(text));
    let compared = compared(state);
    // Where there is not room for all of it, who is compared goes first, then the flags.
    let room = |taken: usize| width.saturating_sub(least.min(width / 2) + taken);
    let flags = match columns(&flags) {
        taken if room(taken + 2) > 0 => flags,
        _ => String::new(),
    };
    let fits = |text: &String| room(columns(&flags) + columns(text) + 4) > 0;
    let compared = compared.into_iter().map(|text| look.text(&text)).find(fits);
    let compared = compared.unwrap_or_default();
    let gap = usize::from(!flags.is_empty() && !compared.is_empty()) * 2;
    let right = columns(&flags) + gap + columns(&compared);
    let left_room = width.saturating_sub(right + 2 * usize::from(right > 0));
    let fits = |text: &&String| columns(text) <= left_room;
    let left = left.iter().find(fits).or(left.last());
    let left = left.map_or_else(String::new, |text| fit(text, left_room, look.cut()));
    pen.write(area.x + 1, area.y, left_room as u16, &left, look.mute());
    let line = Text::default()
        .with(flags, look.warning())
        .with(" ".repeat(gap), Style::new())
        .with(compared, look.mute());
    let x = area.right() - 1 - right as u16;
    pen.line(x, area.y, right as u16, &line);
}

/// "trainer against pedals, crank", and shorter for where there is less room.
fn compared(state: &State) -> Vec<String> {
    let Some((under_test, basis)) = views::compared(state) else {
        return Vec::new();
    };
    let source = state.member_name(Member::Stream(under_test));
    let (against, short) = match basis {
        Member::Stream(_) => (
            state.member_name(basis).to_owned(),
            "one reference".to_owned(),
        ),
        Member::Consensus => {
            let references = state.aligned.powered(Role::Reference);
            let names: Vec<&str> = references
                .map(|index| state.member_name(Member::Stream(index)))
                .collect();
            (names.join(", "), format!("{} references", names.len()))
        }
    };
    vec![
        format!("{source} against {against}"),
        format!("{source} against {short}"),
        format!("against {short}"),
    ]
}

/// What the picture must never be taken for, what is not certain, and what is not done.
fn flags(state: &State) -> Vec<String> {
    let mut flags = Vec::new();
    let ride = state.view == View::Ride;
    if ride && state.held_scales.is_some() {
        flags.push("scales held".to_owned());
    }
    if ride && state.smooth_s > 1 {
        flags.push(format!("smoothed {} s", state.smooth_s));
    }
    if ride && state.size.0 < PANEL_FROM {
        flags.push(format!("figures: {PANEL_FROM} columns"));
    }
    let doubtful = |stream: &&crate::session::Stream| {
        stream.role != Role::Context && stream.clock_doubt.is_some()
    };
    if state
        .session()
        .streams
        .iter()
        .any(|stream| doubtful(&stream))
    {
        flags.push("! clock in doubt".to_owned());
    }
    if state.is_pending() {
        flags.push("pending".to_owned());
    }
    if state.read_only.is_some() {
        flags.push("read-only".to_owned());
    } else if !state.has_folder {
        flags.push("no folder yet".to_owned());
    } else if state.unsaved() {
        flags.push("not saved".to_owned());
    }
    flags
}

/// A key and what it does, for the rows of keys.
struct Part {
    label: String,
    text: String,
    columns: u16,
    /// Shown whatever else has no room: every key, and the way out.
    must: bool,
}

/// The next useful keys, as far as they have room.
fn keys(state: &State, area: Rect, pen: &mut Pen<'_>) {
    let parts = next_useful(state).into_iter().filter_map(|entry| {
        let label = state
            .keymap
            .keys_of(entry.name)
            .first()?
            .label(state.look.ascii);
        let text = state.look.text(entry.brief);
        Some(Part {
            columns: (label.chars().count() + 1 + text.chars().count()) as u16,
            label,
            text,
            must: [names::HELP, names::STREAMS_HELP].contains(&entry.name)
                || (entry.leaves && entry.place != Place::Any),
        })
    });
    let area = Rect {
        x: area.x + 1,
        width: area.width.saturating_sub(2),
        ..area
    };
    let mut rows: Vec<(u16, Vec<Part>)> = vec![(0, Vec::new())];
    let mut parts: Vec<Part> = parts.collect();
    let mut reserved: u16 = parts.iter().filter(|p| p.must).map(|p| p.columns + 2).sum();
    for part in parts.drain(..) {
        if part.must {
            reserved -= part.columns + 2;
        }
        let fits = |used: u16, last: bool| {
            used + part.columns + if last { reserved } else { 0 } <= area.width
        };
        let last = |rows: &Vec<_>| rows.len() >= usize::from(area.height);
        if !rows.last().is_some_and(|row| fits(row.0, last(&rows))) && !last(&rows) {
            rows.push((0, Vec::new()));
        }
        let is_last = last(&rows);
        if let Some((used, row)) = rows.last_mut().filter(|row| fits(row.0, is_last)) {
            *used += part.columns + 2;
            row.push(part);
        }
    }
    for (y, (_, row)) in (area.y..area.bottom()).zip(rows) {
        let mut x = area.x;
        for part in row {
            let line = Text::default()
                .with(part.label, state.look.strong())
                .with(format!(" {}", part.text), Style::new());
            pen.line(x, y, part.columns, &line);
            x += part.columns + 2;
        }
    }
}

/// The keys that help most right now, the most useful first.
fn next_useful(state: &State) -> Vec<&'static Entry> {
    let places = state.places();
    if state.mode != Mode::View {
        return TABLE
            .iter()
            .filter(|entry| places.contains(&entry.place))
            .collect();
    }
    let mut wanted = Vec::new();
    if state.view != View::Ride {
        let own = TABLE
            .iter()
            .filter(|entry| entry.place != Place::Any && places.contains(&entry.place));
        if state.view == View::Clocks {
            wanted.push(names::SHIFT_CLOCK);
        }
        let own = own.map(|entry| entry.name);
        wanted.extend(own.filter(|own| !state.view.is_of_whole_ride() || *own != names::SCOPE));
    }
    if state.view == View::Answers {
        wanted.extend([
            names::OPEN_VIEW,
            names::EXPORT,
            names::SUGGEST,
            names::SAVE,
            names::HELP,
            names::QUIT,
        ]);
        return wanted.into_iter().filter_map(named).collect();
    }
    wanted.extend([names::BACK_1S, names::FORWARD_1S]);
    match (state.brush.window, state.selected) {
        (None, _) => wanted.extend([
            names::SET_START,
            names::SET_END,
            names::SUGGEST,
            names::SEGMENT_AFTER,
            names::OPEN_VIEW,
        ]),
        (Some(_), None) => wanted.extend([
            names::SET_START,
            names::SET_END,
            names::TAG,
            names::OPEN_VIEW,
            names::ZOOM_WINDOW,
            names::HOLD_EDGE,
            names::CLEAR_WINDOW,
        ]),
        (Some(_), Some(_)) => wanted.extend([
            names::SET_POINT,
            names::NOTE,
            names::CHANGE_KIND,
            names::OPEN_VIEW,
            names::EXPORT,
            names::DELETE_SEGMENT,
            names::HOLD_EDGE,
            names::MOVE_SEGMENT,
            names::ZOOM_WINDOW,
        ]),
    }
    if state.history.undo_name().is_some() {
        wanted.push(names::UNDO);
    }
    if state.unsaved() {
        wanted.push(names::SAVE);
    }
    wanted.extend([
        names::EXPORT,
        names::HELP,
        names::FORWARD_10S,
        names::ZOOM_IN,
        names::ZOOM_OUT,
        names::ZOOM_ALL,
        names::GO_TO_TIME,
        names::SEGMENT_AFTER,
        names::STREAM_AFTER,
        names::SHIFT_CLOCK,
        names::QUIT,
    ]);
    if state.view != View::Ride {
        // There its key goes back to the ride view.
        wanted.retain(|name| *name != names::CLEAR_WINDOW);
    }
    let mut entries: Vec<&'static Entry> = Vec::new();
    for entry in wanted.into_iter().filter_map(named) {
        if !entries.iter().any(|known| known.name == entry.name) {
            entries.push(entry);
        }
    }
    entries
}
