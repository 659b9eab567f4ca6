//! What frames every view: title, message and the next useful keys.

use ratatui::style::Style;

use super::super::action::{Command, Entry, Place, entry_of};
use super::super::layout::Layout;
use super::super::state::{Edge, Held, Mode, State, View, Walk};
use super::{Pen, Text};

pub fn draw(state: &State, layout: &Layout, pen: &mut Pen<'_>) {
    title(state, layout, pen);
    message(state, layout, pen);
    keys(state, layout, pen);
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
    } else {
        "saved"
    };
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
    let right = status.len() as u16 + 1;
    pen.write(
        area.x,
        area.y,
        area.width.saturating_sub(right + 1),
        &left,
        bar,
    );
    if area.width > right + 10 {
        pen.write(area.right() - right, area.y, right, status, bar);
    }
}

fn message(state: &State, layout: &Layout, pen: &mut Pen<'_>) {
    let area = layout.message;
    if area.height == 0 {
        return;
    }
    if let Mode::Walk(walk) = &state.mode {
        pen.write(
            area.x,
            area.y,
            area.width,
            &proposed(walk),
            state.look.strong(),
        );
        return;
    }
    match &state.message {
        Some((message, _)) if message.warns => {
            let text = format!("! {}", message.text);
            pen.write(area.x, area.y, area.width, &text, state.look.warning());
        }
        Some((message, _)) => {
            pen.write(
                area.x,
                area.y,
                area.width,
                &message.text,
                state.look.strong(),
            );
        }
        None => {
            let text = hint(state);
            pen.write(area.x, area.y, area.width, &text, state.look.faint());
        }
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
        "idea {} of {}: {}{set_point}: {}",
        walk.at + 1,
        walk.proposals.len(),
        proposal.segment.kind,
        proposal.reason
    )
}

/// What could be done next, in a sentence.
fn hint(state: &State) -> String {
    let key = |command| key_label(state, command);
    if state.view == View::Clocks && state.mode == Mode::View {
        return format!(
            "mark one feature on both streams ({} and {}), then match them with {}; or nudge with {}",
            key(Command::Mark(false)),
            key(Command::Mark(true)),
            key(Command::MatchMarks),
            key(Command::AdjustClock)
        );
    }
    let segment = state.selected.and_then(|i| state.session().segments.get(i));
    match (state.brush.window, state.brush.held, segment) {
        (_, Held::Edge { .. }, _) => format!(
            "the figures follow the window; {} sets its end at the cursor",
            key(Command::SetEdge(Edge::End))
        ),
        (_, Held::Whole { .. }, _) => {
            format!(
                "the window follows the cursor; {} lets go",
                key(Command::LetGo)
            )
        }
        (Some(_), _, Some(segment)) if !segment.note.is_empty() => {
            format!("note: {}", segment.note)
        }
        (Some(_), _, Some(segment)) => format!("segment {} selected", segment.kind),
        (Some(_), _, None) => format!("{} keeps the window as a segment", key(Command::AskTag)),
        (None, ..) => format!(
            "go to the start of a stretch, press {}, go to its end, press {}, then {} to tag it",
            key(Command::SetEdge(Edge::Start)),
            key(Command::SetEdge(Edge::End)),
            key(Command::AskTag)
        ),
    }
}

/// The offset of the stream in hand, while its clock is shifted.
pub fn clock_line(state: &State) -> String {
    let Some(stream) = state.session().streams.get(state.stream) else {
        return String::new();
    };
    let matched = match stream.matched_on {
        Some(crate::session::MatchedOn::Given) => "set by hand".to_owned(),
        Some(on) => format!("matched on {on}"),
        None => "not yet aligned".to_owned(),
    };
    format!(
        "clock of {}: offset {:+9.1} s  {matched}",
        stream.label, stream.offset_s
    )
}

fn key_label(state: &State, command: Command) -> String {
    entry_of(Place::In(state.view), command)
        .and_then(|entry| state.keymap.keys_of(entry).first())
        .map_or_else(|| "-".to_owned(), |key| key.label(state.look.ascii))
}

fn keys(state: &State, layout: &Layout, pen: &mut Pen<'_>) {
    let area = layout.keys;
    let (mut x, mut y) = (area.x, area.y);
    for entry in next_useful(state) {
        let labels: Vec<String> = state
            .keymap
            .keys_of(entry)
            .iter()
            .take(1)
            .map(|key| key.label(state.look.ascii))
            .collect();
        let Some(label) = labels.first() else {
            continue;
        };
        let text = state.look.text(entry.brief);
        let width = (label.chars().count() + 1 + text.chars().count()) as u16;
        if x + width > area.right() {
            if y + 1 >= area.bottom() {
                break;
            }
            (x, y) = (area.x, y + 1);
        }
        let line = Text::default()
            .with(label.clone(), state.look.strong())
            .with(format!(" {text}"), Style::new());
        pen.line(x, y, width, &line);
        x += width + 2;
    }
}

/// The keys that help most right now, the most useful first.
fn next_useful(state: &State) -> Vec<&'static Entry> {
    let places = state.places();
    if state.mode != Mode::View {
        return super::super::action::TABLE
            .iter()
            .filter(|entry| places.contains(&entry.place))
            .collect();
    }
    let mut wanted = Vec::new();
    if state.view != View::Ride {
        let own = super::super::action::TABLE
            .iter()
            .filter(|entry| entry.place == Place::In(state.view) || entry.place == Place::Study);
        if state.view == View::Clocks {
            wanted.push(Command::AdjustClock);
        }
        let own = own.map(|entry| entry.command);
        // Clocks and plans are always about the whole ride.
        wanted.extend(own.filter(|own| {
            !matches!(state.view, View::Clocks | View::Plan) || *own != Command::NextScope
        }));
    }
    wanted.extend([Command::Scrub(-1), Command::Scrub(1), Command::Scrub(10)]);
    match (state.brush.window, state.selected) {
        (None, _) => wanted.extend([
            Command::SetEdge(Edge::Start),
            Command::SetEdge(Edge::End),
            Command::Suggest,
            Command::SelectSegment(true),
        ]),
        (Some(_), None) => wanted.extend([
            Command::SetEdge(Edge::Start),
            Command::SetEdge(Edge::End),
            Command::AskTag,
            Command::ZoomWindow,
            Command::HoldEdge,
            Command::Clear,
        ]),
        (Some(_), Some(_)) => wanted.extend([
            Command::AskSetPoint,
            Command::AskNote,
            Command::AskKind,
            Command::Delete,
            Command::HoldEdge,
            Command::MoveSegment,
            Command::ZoomWindow,
        ]),
    }
    if state.history.undo_name().is_some() {
        wanted.push(Command::Undo);
    }
    if state.unsaved() {
        wanted.push(Command::Save);
    }
    wanted.extend([
        Command::Help,
        Command::Zoom(true),
        Command::Zoom(false),
        Command::ZoomAll,
        Command::AskTime,
        Command::SelectSegment(true),
        Command::SelectStream(true),
        Command::AdjustClock,
        Command::AskExport,
        Command::Quit,
    ]);
    if state.view != View::Ride {
        // There its key goes back to the ride view.
        wanted.retain(|command| *command != Command::Clear);
    }
    let mut entries: Vec<&'static Entry> = Vec::new();
    for command in wanted {
        if let Some(entry) = entry_of(Place::In(state.view), command)
            && !entries.iter().any(|known| known.name == entry.name)
        {
            entries.push(entry);
        }
    }
    entries
}
