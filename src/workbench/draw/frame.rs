//! What frames every view: title, message and the next useful keys.

use ratatui::layout::Rect;
use ratatui::style::Style;

use super::super::action::entry::Entry;
use super::super::action::names;
use super::super::action::table::{TABLE, named};
use super::super::layout::Layout;
use super::super::state::{Held, Mode, Place, State, View, Walk};
use super::pen::{Pen, Text};
use crate::text::{fit, wrapped};

/// Rows kept for a suggestion, whose reason is nowhere else; a message takes one.
const SUGGESTION_ROWS: usize = 2;

pub fn draw(state: &State, layout: &Layout, pen: &mut Pen<'_>) {
    title(state, layout, pen);
    message(state, layout, pen);
    // Suggestions keep a row of the keys, short or long, so that nothing moves between them.
    let taken = message_rows(state, layout) as u16 - 1;
    let keys_area = Rect {
        y: layout.keys.y + taken,
        height: layout.keys.height - taken,
        ..layout.keys
    };
    keys(state, keys_area, pen);
}

fn title(state: &State, layout: &Layout, pen: &mut Pen<'_>) {
    let area = layout.title;
    if area.height == 0 {
        return;
    }
    let status = if state.read_only.is_some() {
        "read-only"
    } else if state.unsaved() {
        "not saved"
    } else if state.has_folder {
        "saved"
    } else {
        "no folder yet"
    };
    let flags = flags(state);
    let name = match state.session().title.trim() {
        "" => "untitled session",
        title => title,
    };
    let separator = state.look.glyph('·', '-');
    let left = format!(
        " truing {separator} {name} {separator} {}",
        state.view.title()
    );
    let bar = state
        .look
        .strong()
        .add_modifier(ratatui::style::Modifier::UNDERLINED);
    pen.write(
        area.x,
        area.y,
        area.width,
        &" ".repeat(usize::from(area.width)),
        bar,
    );
    let right = (status.len() + 1) as u16;
    // Where there is not room for all of it, the flags go first, then whether it is saved.
    let columns = flags.chars().count() as u16;
    let (flags, flagged) = match area.width > right + columns + 10 {
        true => (flags, columns),
        false => (String::new(), 0),
    };
    let has_room = area.width > right + flagged + 10;
    let taken = if has_room { right + flagged + 1 } else { 0 };
    let room = area.width.saturating_sub(taken);
    pen.write(area.x, area.y, room, &left, bar);
    if has_room {
        let x = area.right() - right;
        pen.write(x, area.y, right, status, bar);
        pen.write(x - flagged, area.y, flagged, &flags, state.look.warning());
    }
}

/// What the picture must never be taken for, and whether figures are still to come.
fn flags(state: &State) -> String {
    let mut flags = Vec::new();
    if state.view == View::Ride && state.held_scales.is_some() {
        flags.push("scales held".to_owned());
    }
    if state.view == View::Ride && state.smooth_s > 1 {
        flags.push(format!("smoothed {} s", state.smooth_s));
    }
    if state.view == View::Ride && state.size.0 < super::super::layout::PANEL_FROM {
        let columns = super::super::layout::PANEL_FROM;
        flags.push(format!("figures: {columns} columns"));
    }
    if state.is_pending() {
        flags.push("pending".to_owned());
    }
    if flags.is_empty() {
        return String::new();
    }
    format!(
        " {} ",
        flags.join(&format!(" {} ", state.look.glyph('·', '-')))
    )
}

/// Rows kept for the message, one of them its own.
fn message_rows(state: &State, layout: &Layout) -> usize {
    match state.mode {
        Mode::Walk(_) if layout.keys.height > 1 => SUGGESTION_ROWS,
        _ => 1,
    }
}

fn message(state: &State, layout: &Layout, pen: &mut Pen<'_>) {
    let area = layout.message;
    if area.height == 0 {
        return;
    }
    let look = state.look;
    let (text, style) = match (&state.mode, &state.message) {
        (Mode::Walk(walk), _) => (proposed(walk), look.strong()),
        (_, Some((message, _))) if message.warns => (format!("! {}", message.text), look.warning()),
        (_, Some((message, _))) => (message.text.clone(), look.strong()),
        (_, None) => (hint(state), look.faint()),
    };
    let walks = matches!(state.mode, Mode::Walk(_));
    let rows = message_rows(state, layout);
    let mut lines = wrapped(&look.text(&text), usize::from(area.width));
    if lines.len() > rows {
        // Cut where it must be; the list of messages has all of a message.
        let rest = lines.split_off(rows - 1).join(" ");
        let all = if !walks && state.message.is_some() {
            format!(" {}: all", state.key(names::MESSAGES))
        } else {
            String::new()
        };
        let room = usize::from(area.width).saturating_sub(all.chars().count());
        lines.push(fit(&rest, room, look.cut()) + &all);
    }
    for (row, line) in lines.iter().enumerate() {
        pen.write(area.x, area.y + row as u16, area.width, line, style);
    }
}

/// The proposal shown: which, what and why.
fn proposed(walk: &Walk) -> String {
    let Some(proposal) = walk.proposals.get(walk.at) else {
        return String::new();
    };
    let set_point = proposal.segment.set_point_w;
    let set_point = set_point.map_or_else(String::new, |watts| format!(" at {watts:.0} W"));
    format!(
        "suggestion {} of {}: {}{set_point}: {}",
        walk.at + 1,
        walk.proposals.len(),
        proposal.segment.kind,
        proposal.reason
    )
}

/// What could be done next, in a sentence.
fn hint(state: &State) -> String {
    let key = |name| state.key(name);
    if state.view == View::Clocks && state.mode == Mode::View {
        return format!(
            "mark a feature on both streams ({} and {}), match them with {}; or nudge with {}",
            key(names::MARK_SELECTED),
            key(names::MARK_OTHER),
            key(names::MATCH_MARKS),
            key(names::SHIFT_CLOCK)
        );
    }
    if state.view == View::Answers && state.mode == Mode::View {
        return format!(
            "{} shows it in the ride; {} puts it among the words for or against",
            key(names::ANSWER_PLACE),
            key(names::ANSWER_PUBLISH)
        );
    }
    let segment = state.selected.and_then(|i| state.session().segments.get(i));
    match (state.brush.window, state.brush.held, segment) {
        (_, Held::Edge { .. }, _) => format!(
            "the figures follow the window; {} sets its end at the cursor",
            key(names::SET_END)
        ),
        (_, Held::Whole { .. }, _) => {
            format!(
                "the window follows the cursor; {} lets go",
                key(names::LET_GO)
            )
        }
        (Some(_), _, Some(segment)) if !segment.note.is_empty() => {
            format!("note: {}", segment.note)
        }
        (Some(_), _, Some(segment)) => format!("segment {} selected", segment.kind),
        (Some(_), _, None) => format!("{} keeps the window as a segment", key(names::TAG)),
        (None, ..) => format!(
            "go to the start of a stretch, press {}, go to its end, press {}, then {} to tag it",
            key(names::SET_START),
            key(names::SET_END),
            key(names::TAG)
        ),
    }
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
            names::SUGGEST,
            names::SAVE,
            names::HELP,
            names::QUIT,
        ]);
        return wanted.into_iter().filter_map(named).collect();
    }
    wanted.extend([names::BACK_1S, names::FORWARD_1S, names::FORWARD_10S]);
    match (state.brush.window, state.selected) {
        (None, _) => wanted.extend([
            names::SET_START,
            names::SET_END,
            names::SUGGEST,
            names::SEGMENT_AFTER,
        ]),
        (Some(_), None) => wanted.extend([
            names::SET_START,
            names::SET_END,
            names::TAG,
            names::ZOOM_WINDOW,
            names::HOLD_EDGE,
            names::CLEAR_WINDOW,
        ]),
        (Some(_), Some(_)) => wanted.extend([
            names::SET_POINT,
            names::NOTE,
            names::CHANGE_KIND,
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
        names::HELP,
        names::ZOOM_IN,
        names::ZOOM_OUT,
        names::ZOOM_ALL,
        names::GO_TO_TIME,
        names::SEGMENT_AFTER,
        names::STREAM_AFTER,
        names::SHIFT_CLOCK,
        names::EXPORT,
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
