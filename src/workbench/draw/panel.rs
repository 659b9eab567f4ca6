//! The figures for the window, in columns that stay where they are.

use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

use super::super::state::State;
use super::super::text::{plain, signed};
use super::super::{text, theme::Look};
use super::{Pen, Text};
use crate::analysis::agreement::PERCENT_FROM_W;
use crate::analysis::figures::{Agreement, Outcome, StreamFigures};

/// Columns of the panel's text at its narrowest.
const INNER: usize = 30;

pub fn draw(state: &State, area: Rect, pen: &mut Pen<'_>) {
    if area.width < 3 {
        return;
    }
    for y in area.top()..area.bottom() {
        pen.dot(area.x, y, state.look.glyph('│', '|'), state.look.faint());
    }
    let lines = lines(state, usize::from(area.height));
    for (row, line) in lines.iter().enumerate().take(usize::from(area.height)) {
        pen.line(area.x + 1, area.y + row as u16, area.width - 1, line);
    }
}

/// The panel's lines, most wanted first, at most `room`.
pub fn lines(state: &State, room: usize) -> Vec<Text> {
    let mut lines = vec![head(state), column_heads(state)];
    let inks = state.look.streams(&state.session().streams);
    for (index, stream) in state.session().streams.iter().enumerate() {
        let figures = state
            .figures
            .streams
            .iter()
            .find(|f| f.label == stream.label);
        let ink = inks.get(index).copied().unwrap_or_default();
        lines.push(stream_line(state, index, &stream.label, figures, ink));
    }
    lines.extend(super::kind::lines(state, room >= ROOMY));
    match state.compared(&state.figures) {
        Some(agreement) => {
            lines.extend(comparison(state, agreement, room));
        }
        None => lines.push(Text::default().with(
            "nothing to compare: give one stream the role under-test and one the role reference",
            state.look.warning(),
        )),
    }
    lines.truncate(room);
    let others: Vec<&Agreement> = state
        .figures
        .agreement
        .iter()
        .filter(|a| state.compared(&state.figures) != Some(*a))
        .collect();
    if lines.len() + 2 < room && !others.is_empty() {
        lines.push(Text::default());
        lines
            .push(Text::default().with("against the others    bias W  bias %", state.look.faint()));
        for other in others {
            let name = text::field(
                &format!("{} - {}", other.under_test, other.reference),
                20,
                state.look.cut(),
            );
            lines.push(Text::default().with(
                format!(
                    "{name} {} {}",
                    signed(other.bias_w, 7, 1),
                    signed(other.bias_percent, 7, 2)
                ),
                Style::new(),
            ));
        }
    }
    if lines.len() + 2 < room {
        lines.extend(references(state));
    }
    if lines.len() + 2 < room {
        lines.extend(reasons(state, room - lines.len()));
    }
    lines.truncate(room);
    lines
}

fn head(state: &State) -> Text {
    let span = state.figures_span();
    let long = state.long();
    let brushed = state.brush.window.is_some_and(|w| w.duration_s() > 0.0);
    let word = if brushed { "window" } else { "in view" };
    let ends = format!(
        "{}-{}",
        text::time(span.from_s, long),
        text::time(span.to_s, long)
    );
    let style = if brushed {
        state.look.selected()
    } else {
        state.look.strong()
    };
    Text::default()
        .with(format!("{word:<7}"), style)
        .with(format!("{ends:>17}"), Style::new())
        .with(
            format!("{:>6}", text::duration(span.duration_s())),
            Style::new(),
        )
}

fn column_heads(state: &State) -> Text {
    Text::default().with("power         mean   sd   max W", state.look.faint())
}

fn stream_line(
    state: &State,
    index: usize,
    label: &str,
    figures: Option<&StreamFigures>,
    ink: Style,
) -> Text {
    let mark = match (
        state.stream == index,
        state.hidden.get(index) == Some(&true),
    ) {
        (true, false) => state.look.glyph('▸', '>'),
        (true, true) => state.look.glyph('▹', '}'),
        (false, true) => state.look.glyph('·', '.'),
        (false, false) => ' ',
    };
    let letter = state.letters.get(index).copied().unwrap_or('*');
    let name = text::field(&state.look.text(label), 9, state.look.cut());
    let ink = if state.hidden.get(index) == Some(&true) {
        state.look.faint()
    } else {
        ink
    };
    Text::default()
        .with(mark.to_string(), state.look.strong())
        .with(letter.to_string(), ink.add_modifier(Modifier::BOLD))
        .with(format!(" {name}"), ink)
        .with(
            format!(
                "{} {} {} W",
                plain(figures.and_then(|f| f.mean_w), 6, 1),
                plain(figures.and_then(|f| f.sd_w), 4, 0),
                plain(figures.and_then(|f| f.max_w), 5, 0)
            ),
            Style::new(),
        )
}

/// Rows a roomy panel needs to set its groups apart.
const ROOMY: usize = 18;

fn comparison(state: &State, a: &Agreement, room: usize) -> Vec<Text> {
    let look = state.look;
    let (faint, none) = (look.faint(), Style::new());
    let mut lines = Vec::new();
    if room >= ROOMY {
        lines.push(Text::default());
    }
    let title = text::fit(
        &format!("{} - {}", look.text(&a.under_test), look.text(&a.reference)),
        INNER,
        look.cut(),
    );
    lines.push(Text::default().with(title, look.strong()));
    lines.push(
        Text::default()
            .with("bias    ", faint)
            .with(format!("{} W", signed(a.bias_w, 8, 1)), look.strong())
            .with(format!("{} %", signed(a.bias_percent, 9, 2)), look.strong()),
    );
    lines.push(interval(state, " 95 % ", a.bias_ci95_w, "W"));
    lines.extend(claim_lines(state, a));
    lines.push(verdict_line(state));
    lines.push(interval(state, "limits", a.loa95_w, "W"));
    lines.push(
        Text::default()
            .with("sd      ", faint)
            .with(format!("{} W", plain(a.sd_diff_w, 8, 1)), none)
            .with("  rmse", faint)
            .with(format!("{} W", plain(a.rmse_w, 5, 1)), none),
    );
    lines.push(
        Text::default()
            .with("ccc     ", faint)
            .with(format!("{}  ", plain(a.ccc, 8, 3)), none)
            .with("     r", faint)
            .with(plain(a.pearson_r, 7, 3), none),
    );
    lines.push(
        Text::default()
            .with("seconds ", faint)
            .with(format!("{:>8}  ", a.n), none)
            .with(" worth", faint)
            .with(plain(a.n_effective, 7, 0), none),
    );
    lines
}

fn interval(state: &State, name: &str, interval: Option<[f64; 2]>, unit: &str) -> Text {
    let [low, high] = interval.map_or([None, None], |[low, high]| [Some(low), Some(high)]);
    Text::default()
        .with(format!("{name:<8}"), state.look.faint())
        .with(
            format!("{} to {} {unit}", signed(low, 8, 1), signed(high, 7, 1)),
            Style::new(),
        )
}

/// The bias after the allowance, where there is one; the claim; and by word and sign on which side
/// of it the bias lies.
fn claim_lines(state: &State, a: &Agreement) -> Vec<Text> {
    let faint = state.look.faint();
    let line = Text::default().with("claim   ", faint);
    let allowed = a
        .reference_mean_w
        .and_then(|level_w| Some((level_w, state.allowed_w(level_w)?)));
    let Some((level_w, (middle_w, half_w))) = allowed else {
        return vec![line.with(format!("{:>8}", "-"), Style::new())];
    };
    let net_w = a.bias_w.map(|bias_w| bias_w - middle_w);
    let expected_w = level_w + middle_w;
    let in_percent = |value: f64| (level_w >= PERCENT_FROM_W).then(|| value / expected_w * 100.0);
    let mut lines = Vec::new();
    if middle_w != 0.0 {
        lines.push(
            Text::default()
                .with("net bias", faint)
                .with(format!("{} W", signed(net_w, 8, 1)), state.look.strong())
                .with(
                    format!("{} %", signed(net_w.and_then(in_percent), 9, 2)),
                    state.look.strong(),
                ),
        );
    }
    let (word, style) = beyond(state.look, net_w, half_w);
    let limit = match in_percent(half_w) {
        Some(percent) => format!("{} %", plain(Some(percent), 8, 1)),
        None => format!("{} W", plain(Some(half_w), 8, 1)),
    };
    lines.push(
        line.with(format!("{limit}  "), Style::new())
            .with(word, style),
    );
    lines
}

/// Whether a bias lies inside a limit: a sign, a word and a style.
pub fn beyond(look: Look, bias_w: Option<f64>, limit_w: f64) -> (String, Style) {
    match bias_w {
        Some(bias_w) if bias_w > limit_w => {
            (format!("{} above", look.glyph('▲', '^')), look.warning())
        }
        Some(bias_w) if bias_w < -limit_w => {
            (format!("{} below", look.glyph('▼', 'v')), look.warning())
        }
        Some(_) => ("inside".to_owned(), Style::new()),
        None => ("-".to_owned(), Style::new()),
    }
}

/// An outcome in words that fit a column of 16.
pub fn outcome_word(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Conforms => "conforms",
        Outcome::DoesNotConform => "does not conform",
        Outcome::Inconclusive => "inconclusive",
        Outcome::ReferencesDisagree => "refs disagree",
        Outcome::NotApplicable => "-",
    }
}

/// How an outcome is shown: a sign beside the word, and a style.
pub fn outcome_mark(look: Look, outcome: Outcome) -> (char, Style) {
    match outcome {
        Outcome::Conforms => (look.glyph('✓', '+'), look.strong()),
        Outcome::DoesNotConform => (look.glyph('✗', '!'), look.warning()),
        Outcome::Inconclusive => ('?', Style::new()),
        Outcome::ReferencesDisagree => (look.glyph('≠', '#'), look.warning()),
        Outcome::NotApplicable => (' ', Style::new()),
    }
}

fn verdict_line(state: &State) -> Text {
    let line = Text::default().with("verdict   ", state.look.faint());
    let Some(verdict) = &state.figures.verdict else {
        return line.with("-", Style::new());
    };
    let (mark, style) = outcome_mark(state.look, verdict.outcome);
    let word = match verdict.outcome {
        Outcome::NotApplicable => "not for this kind",
        outcome => outcome_word(outcome),
    };
    line.with(format!("{mark} {word}"), style)
}

fn references(state: &State) -> Vec<Text> {
    let Some(references) = &state.figures.references else {
        return Vec::new();
    };
    let word = match references.agree {
        Some(true) => "agree",
        Some(false) => "DISAGREE",
        None => "-",
    };
    let style = match references.agree {
        Some(false) => state.look.warning(),
        _ => Style::new(),
    };
    vec![
        Text::default(),
        Text::default()
            .with("references ", state.look.faint())
            .with(word, style)
            .with(
                format!(
                    "  apart {} %  E_n {}",
                    signed(references.difference_percent, 6, 2),
                    signed(references.en_number, 5, 2)
                ),
                Style::new(),
            ),
    ]
}

/// Why the verdict is what it is, wrapped.
fn reasons(state: &State, room: usize) -> Vec<Text> {
    let Some(verdict) = &state.figures.verdict else {
        return Vec::new();
    };
    if verdict.reasons.is_empty() {
        return Vec::new();
    }
    let mut lines = vec![Text::default()];
    for reason in &verdict.reasons {
        let reason = wrapped(state, reason).into_iter();
        lines.extend(reason.map(|line| Text::default().with(line, state.look.faint())));
    }
    lines.truncate(room);
    lines
}

/// A sentence in lines as wide as the panel; none of an empty one.
pub fn wrapped(state: &State, sentence: &str) -> Vec<String> {
    let width = usize::from(super::super::layout::Layout::of(state).panel.width.max(32)) - 2;
    let mut lines: Vec<String> = Vec::new();
    for word in sentence.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + word.chars().count() < width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}
