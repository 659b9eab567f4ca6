//! Menus, lines of text being typed, and lists, over whatever view is open.

use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::{UnicodeWidthChar as _, UnicodeWidthStr as _};

use super::super::action::entry::{Entry, found};
use super::super::action::names;
use super::super::action::table::TABLE;
use super::super::layout::Scroll;
use super::super::state::{Claimed, Help, Mode, Place, Prompt, Purpose, State, View};
use super::pen::{Pen, Text};
use crate::analysis::catalogue::marks::MARKS;
use crate::analysis::figure::Figure;
use crate::text::wrapped;

pub fn draw(state: &State, area: Rect, pen: &mut Pen<'_>) {
    if state.in_streams {
        let rows = usize::from(area.height.saturating_sub(14)).max(1);
        let mut lines = super::streams::lines(state, rows);
        let room = usize::from(area.height.saturating_sub(6)).saturating_sub(lines.len());
        lines.extend(super::streams::remarks(state, room));
        boxed(Place::Streams.title(), &lines, area, pen);
    }
    match &state.mode {
        Mode::View | Mode::Streams | Mode::Clock | Mode::Walk(_) => {}
        Mode::Menu(place) => boxed(place.title(), &menu_lines(state, *place), area, pen),
        Mode::Prompt(prompt) => typing(state, prompt, area, pen),
        Mode::Help(help) => list(&help_title(state, help), state, area, pen),
        Mode::Log(_) => list("messages, the latest first", state, area, pen),
    }
}

/// How far the open list scrolls.
pub fn scroll(state: &State) -> Option<Scroll> {
    let area = Rect::new(0, 0, state.size.0, state.size.1);
    Some(listed(state, area)?.1)
}

/// The lines of the open list, and how far they scroll.
fn listed(state: &State, area: Rect) -> Option<(Vec<Text>, Scroll)> {
    let width = usize::from(area.width.saturating_sub(4));
    let (lines, first) = match &state.mode {
        Mode::Help(help) => (help_lines(state, help, width), help.first),
        Mode::Log(first) => (log_lines(state, width), *first),
        _ => return None,
    };
    let rows = usize::from(list_place(area).height.saturating_sub(2));
    let scroll = Scroll::at(first, lines.len().saturating_sub(rows));
    Some((lines, scroll))
}

/// The whole screen but for the lines below it.
fn list_place(area: Rect) -> Rect {
    let below = if area.height >= 24 { 3 } else { 1 };
    Rect {
        height: area.height.saturating_sub(below),
        ..area
    }
}

fn keys_text(state: &State, entry: &Entry) -> String {
    let keys = state.keymap.keys_of(entry.name).iter();
    keys.map(|key| key.label(state.look.ascii))
        .collect::<Vec<_>>()
        .join(" ")
}

fn menu_lines(state: &State, place: Place) -> Vec<Text> {
    let mut lines = about(state, place);
    for entry in TABLE.iter().filter(|entry| entry.place == place) {
        lines.push(
            Text::default()
                .with(
                    format!("{:>4}  ", keys_text(state, entry)),
                    state.look.strong(),
                )
                .with(entry.doc, Style::new()),
        );
    }
    lines
}

/// What a question is about.
fn about(state: &State, place: Place) -> Vec<Text> {
    let line = |text: String| Text::default().with(text, Style::new());
    match place {
        Place::RestoreQuestion => {
            let Some(leftover) = &state.leftover else {
                return Vec::new();
            };
            let count = leftover.edits.len();
            let mut lines = vec![line(format!(
                "An earlier run ended without saving {count} edit{}:",
                if count == 1 { "" } else { "s" }
            ))];
            let last = leftover.edits.iter().rev().take(5);
            lines.extend(last.map(|edit| line(format!("  {}", edit.name))));
            if count > 5 {
                lines.push(line(format!("  and {} before", count - 5)));
            }
            if state.leftover_is_older {
                lines.push(line("session.toml was changed since.".to_owned()));
            }
            lines.push(Text::default());
            lines
        }
        Place::ReplaceQuestion => {
            let path = state.replacing.iter().map(|w| state.here.join(&w.path));
            let path = path.map(|path| line(path.display().to_string()));
            path.chain([Text::default()]).collect()
        }
        Place::OverwriteQuestion => vec![
            line("Since this session was opened, its file was changed.".to_owned()),
            Text::default(),
        ],
        _ => Vec::new(),
    }
}

/// A box in the middle of the screen.
fn boxed(title: &str, lines: &[Text], area: Rect, pen: &mut Pen<'_>) {
    let widest = lines
        .iter()
        .map(|line| line.plain().as_str().width())
        .chain([title.chars().count() + 2])
        .max()
        .unwrap_or(0) as u16;
    let width = (widest + 4).min(area.width);
    let height = (lines.len() as u16 + 2).min(area.height);
    let place = Rect {
        x: area.x + (area.width - width) / 2,
        y: area.y + (area.height - height) / 2,
        width,
        height,
    };
    border(title, place, pen);
    for (row, line) in lines.iter().enumerate() {
        let y = place.y + 1 + row as u16;
        if y + 1 < place.bottom() {
            pen.line(place.x + 2, y, place.width.saturating_sub(4), line);
        }
    }
}

fn border(title: &str, place: Rect, pen: &mut Pen<'_>) {
    pen.clear(place);
    if place.width < 2 || place.height < 2 {
        return;
    }
    let look = pen.look;
    let (right, bottom) = (place.right() - 1, place.bottom() - 1);
    for x in place.left()..=right {
        for y in [place.top(), bottom] {
            pen.dot(x, y, look.glyph('─', '-'), Style::new());
        }
    }
    for y in place.top()..=bottom {
        for x in [place.left(), right] {
            pen.dot(x, y, look.glyph('│', '|'), Style::new());
        }
    }
    let corners = [
        (place.left(), place.top(), '┌'),
        (right, place.top(), '┐'),
        (place.left(), bottom, '└'),
        (right, bottom, '┘'),
    ];
    for (x, y, corner) in corners {
        pen.dot(x, y, look.glyph(corner, '+'), Style::new());
    }
    let title = format!(" {title} ");
    pen.write(
        place.x + 2,
        place.y,
        place.width.saturating_sub(4),
        &title,
        look.strong(),
    );
}

fn question(purpose: Purpose) -> String {
    let asked = match purpose {
        Purpose::Write(what) => {
            return format!("write {} to ({})", what.name(), what.endings().join(" "));
        }
        Purpose::Time => "go to (90, 1:30, 1:02:03, +10, -10)",
        Purpose::SetPoint => "set point of the segment, W (empty: none)",
        Purpose::Note => "note to the segment",
        Purpose::Label => "label of the stream",
        Purpose::Claim(Claimed::StreamPercent) => "the stream's own claim, ± % (empty: none)",
        Purpose::Claim(Claimed::StreamWatts) => {
            "the stream's own claim, ± W at least (empty: none)"
        }
        Purpose::Claim(Claimed::Crank) => {
            "length of the crank that masses hung on, mm (empty: none)"
        }
        Purpose::Claim(Claimed::SessionPercent) => "the session's claim, ± % of reading",
        Purpose::Claim(Claimed::SessionWatts) => "the session's claim, ± W at least",
        Purpose::Claim(Claimed::AllowancePercent) => {
            "expected drivetrain loss, references' site to the one under test, %"
        }
        Purpose::Claim(Claimed::AllowancePoints) => "how well that is known, ± percentage points",
        Purpose::Claim(Claimed::Mass) => "rider and bike as entered in the app, kg",
        Purpose::Masses => "kg and N·m of each reading: 0 0.15; 5 8.71; … (empty: none)",
        Purpose::Zero { after: false } => "zero shown before the ride, with its unit (empty: none)",
        Purpose::Zero { after: true } => "zero shown after the ride, with its unit (empty: none)",
        Purpose::Title => "title of the session",
        Purpose::SaveAs => "save as a new session in the folder",
        Purpose::Find => "find an action: type words, pick with up and down",
    };
    asked.to_owned()
}

fn typing(state: &State, prompt: &Prompt, area: Rect, pen: &mut Pen<'_>) {
    let wide = usize::from(area.width.saturating_sub(8)).clamp(10, 70);
    let mut lines = vec![field(state, prompt, wide)];
    if matches!(prompt.purpose, Purpose::Write(_) | Purpose::SaveAs) {
        let full = state.here.join(prompt.text.trim());
        let full = format!("writes {}", full.display());
        let full = wrapped(&state.look.text(&full), wide).into_iter();
        lines.extend(full.map(|line| Text::default().with(line, state.look.faint())));
    }
    if let Some(refused) = &prompt.refused {
        lines.push(Text::default().with(format!("! {refused}"), state.look.warning()));
    }
    if prompt.purpose == Purpose::Find {
        let rows = usize::from(area.height.saturating_sub(8)).clamp(1, 12);
        let entries = found(TABLE, &prompt.text);
        let first = prompt.pick.saturating_sub(rows - 1);
        for (index, entry) in entries.iter().enumerate().skip(first).take(rows) {
            let style = if index == prompt.pick {
                state.look.selected()
            } else {
                Style::new()
            };
            let text = format!("{:>12}  {}", keys_text(state, entry), entry.doc);
            let text = crate::text::field(&text, wide, state.look.cut());
            lines.push(Text::default().with(text, style));
        }
    }
    boxed(&question(prompt.purpose), &lines, area, pen);
}

/// The line being typed, scrolled so that the caret is in it, the caret in reverse video; so is a
/// text that is offered, since the first character typed takes its place.
fn field(state: &State, prompt: &Prompt, wide: usize) -> Text {
    let chars: Vec<char> = prompt.text.chars().collect();
    let caret = prompt.caret.min(chars.len());
    let columns = |c: &char| c.width().unwrap_or(0);
    let at = chars.get(caret).copied().unwrap_or(' ');
    let at_columns = columns(&at).max(1);
    // As many of these characters as fit, and the columns left over.
    let taken = |these: &mut dyn Iterator<Item = &char>, room: usize| -> (usize, usize) {
        let mut left = room;
        let fits = these.take_while(|c| {
            let rest = left.checked_sub(columns(c));
            left = rest.unwrap_or(left);
            rest.is_some()
        });
        (fits.count(), left)
    };
    let room = wide.saturating_sub(at_columns + 1);
    let (count, left) = taken(&mut chars[..caret].iter().rev(), room);
    let before: String = chars[caret - count..caret].iter().collect();
    let rest = chars.get(caret + 1..).unwrap_or_default();
    let (count, left) = taken(&mut rest.iter(), left + 1);
    let after: String = rest.iter().take(count).collect();
    let pad = " ".repeat(left);
    let style = if prompt.offered {
        state.look.selected()
    } else {
        state.look.strong()
    };
    Text::default()
        .with(before, style)
        .with(at.to_string(), state.look.selected())
        .with(format!("{after}{pad}"), state.look.strong())
}

/// What the list of keys is narrowed to, and how.
fn help_title(state: &State, help: &Help) -> String {
    let caret = if help.typing { "_" } else { "" };
    match help.typed.as_str() {
        "" if !help.typing => format!(
            "keys and marks; {} narrows the list",
            state.key(names::LIST_NARROW)
        ),
        typed => format!("keys and marks with: {typed}{caret}"),
    }
}

/// Columns of an action in the short list: its key and a word or two.
const SHORT: usize = 25;

/// The keys of the open view in short, then every place's in full; narrowed, only the lines with
/// every word typed.
fn help_lines(state: &State, help: &Help, width: usize) -> Vec<Text> {
    let own = |place: &Place| match place {
        Place::Streams => state.in_streams,
        _ if state.in_streams => false,
        Place::Answers => state.view == View::Answers,
        Place::Study => state.view != View::Ride,
        Place::In(view) => *view == state.view,
        _ => false,
    };
    let typed = help.typed.to_lowercase();
    let words: Vec<&str> = typed.split_whitespace().collect();
    let mut lines = Vec::new();
    if words.is_empty() {
        let title = if state.in_streams {
            Place::Streams.title()
        } else {
            state.view.title()
        };
        lines.push(Text::default().with(format!("{title}: in short"), state.look.strong()));
        let everywhere = |place: &Place| own(place) || (*place == Place::Any && !state.in_streams);
        let entries: Vec<&Entry> = TABLE.iter().filter(|e| everywhere(&e.place)).collect();
        let across = (width / SHORT).max(1);
        for row in entries.chunks(across) {
            let mut line = Text::default();
            for entry in row {
                let key = state.keymap.keys_of(entry.name).first();
                let key = key.map_or_else(String::new, |key| key.label(state.look.ascii));
                let brief =
                    crate::text::field(&state.look.text(entry.brief), SHORT - 8, state.look.cut());
                line = line
                    .with(format!("{key:>6} "), state.look.strong())
                    .with(format!("{brief} "), Style::new());
            }
            lines.push(line);
        }
        lines.push(Text::default());
    }
    if !words.is_empty() || !state.in_streams {
        lines.extend(marks(state, &words, width));
    }
    let first = Place::ALL.iter().filter(|place| own(place));
    for place in first.chain(Place::ALL.iter().filter(|place| !own(place))) {
        let fits = |entry: &&Entry| entry.place == *place && entry.has(&words);
        let mut entries = TABLE.iter().filter(fits).peekable();
        if entries.peek().is_none() {
            continue;
        }
        lines.push(Text::default().with(place.title(), state.look.strong()));
        for entry in entries {
            lines.extend(beside(state, &keys_text(state, entry), entry.doc, width));
        }
        lines.push(Text::default());
    }
    if lines.is_empty() {
        lines.push(Text::default().with(
            "no key does that, and no mark is called so",
            state.look.faint(),
        ));
    }
    lines
}

/// What the marks mean, those with every word typed.
fn marks(state: &State, words: &[&str], width: usize) -> Vec<Text> {
    let fits = |mark: &&Figure| {
        let text = format!("{} {} {}", mark.id, mark.label, mark.definition).to_lowercase();
        words.iter().all(|word| text.contains(word))
    };
    let mut lines: Vec<Text> = MARKS
        .iter()
        .filter(fits)
        .flat_map(|mark| beside(state, mark.label, mark.definition, width))
        .collect();
    if !lines.is_empty() {
        lines.insert(
            0,
            Text::default().with("what the marks mean", state.look.strong()),
        );
        lines.push(Text::default());
    }
    lines
}

/// A name at the left, and what it is in as many lines as it takes.
fn beside(state: &State, name: &str, text: &str, width: usize) -> Vec<Text> {
    let name = state.look.text(name);
    let text = wrapped(&state.look.text(text), width.saturating_sub(18));
    let line = |(row, text): (usize, String)| {
        let name = if row == 0 { name.as_str() } else { "" };
        Text::default()
            .with(format!("{name:>16}  "), state.look.strong())
            .with(text, Style::new())
    };
    text.into_iter().enumerate().map(line).collect()
}

fn log_lines(state: &State, width: usize) -> Vec<Text> {
    let mut lines = Vec::new();
    for message in state.log.iter().rev() {
        let (sign, style) = if message.warns {
            ("! ", state.look.warning())
        } else {
            ("  ", Style::new())
        };
        let reported = wrapped(&state.look.text(&message.text), width.saturating_sub(2));
        for (row, reported) in reported.into_iter().enumerate() {
            let sign = if row == 0 { sign } else { "  " };
            lines.push(Text::default().with(format!("{sign}{reported}"), style));
        }
    }
    lines
}

fn list(title: &str, state: &State, area: Rect, pen: &mut Pen<'_>) {
    let place = list_place(area);
    border(title, place, pen);
    let Some((lines, Scroll { first, .. })) = listed(state, area) else {
        return;
    };
    let rows = usize::from(place.height.saturating_sub(2));
    for (row, line) in lines.iter().skip(first).take(rows).enumerate() {
        pen.line(
            place.x + 2,
            place.y + 1 + row as u16,
            place.width.saturating_sub(4),
            line,
        );
    }
    if lines.len() > rows && place.width > 30 && place.height > 1 {
        let text = format!(
            " {}-{} of {} ",
            first + 1,
            (first + rows).min(lines.len()),
            lines.len()
        );
        let x = place.right().saturating_sub(text.len() as u16 + 2);
        pen.write(
            x,
            place.bottom() - 1,
            text.len() as u16,
            &text,
            Style::new(),
        );
    }
}
