//! The figures for the window, in columns that stay where they are.

use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

use super::super::layout::{PANEL_LEAST, panel_columns};
use super::super::state::State;

use super::super::{text, theme::Look};
use super::figures::{WIDTH, figure, with_unit, written};
use super::kind::wrapped;
use super::page::Page;
use super::pen::{Pen, Text};
use crate::analysis::agreement::Agreement;
use crate::analysis::agreement::PERCENT_FROM_W;
use crate::analysis::figures::StreamFigures;
use crate::analysis::verdict::conformity::Outcome;
use crate::analysis::verdict::overall;
use crate::picture::labels;
use crate::text::{both_ends, field};
use crate::timeline::Member;

pub fn page(state: &State, area: Rect) -> Page<'_> {
    if area.width < 3 {
        return Page::new(|_| ());
    }
    let text = Rect {
        x: area.x + 1,
        width: area.width - 1,
        ..area
    };
    let (head, rest) = lines(state, usize::from(area.height));
    let above = (head.len() as u16).min(text.height);
    let below = Rect {
        y: text.y + above,
        height: text.height - above,
        ..text
    };
    let paint = move |pen: &mut Pen<'_>| {
        for y in area.top()..area.bottom() {
            pen.dot(area.x, y, state.look.glyph('│', '|'), state.look.faint());
        }
        pen.lines(&head, text);
    };
    Page::new(paint).with(rest, below)
}

/// The panel's lines for `room` rows: those that always stay, and what scrolls below them, the most
/// wanted first.
pub fn lines(state: &State, room: usize) -> (Vec<Text>, Vec<Text>) {
    let mut top = vec![head(state), column_heads(state)];
    let inks = state.look.streams(&state.session().streams);
    for (index, stream) in state.session().streams.iter().enumerate() {
        let figures = state
            .figures
            .streams
            .iter()
            .find(|f| f.label == stream.label);
        let ink = inks.get(index).copied().unwrap_or_default();
        top.push(stream_line(state, index, &stream.label, figures, ink));
    }
    let (mut lines, more_of_kind) = super::kind::lines(state, room >= ROOMY);
    match state.compared(&state.figures) {
        Some(agreement) if agreement.n == 0 => lines.extend(nothing_common(state)),
        Some(agreement) => lines.extend(comparison(state, agreement, room)),
        None => {
            let why = "nothing to compare: give one stream the role under-test and one the role \
                       reference";
            let why = wrapped(state, why).into_iter();
            lines.extend(why.map(|line| Text::default().with(line, state.look.warning())));
        }
    }
    lines.extend(others(state));
    lines.extend(references(state));
    lines.extend(reasons(state));
    if !more_of_kind.is_empty() {
        lines.push(Text::default());
        lines.extend(more_of_kind);
    }
    (top, lines)
}

/// What to do where there is nothing to judge.
fn nothing_common(state: &State) -> Vec<Text> {
    let what = if state.is_brushed() {
        "move the window, or make it longer"
    } else {
        "show more of the ride"
    };
    let why = format!("no second here has both values: {what}");
    let lines = wrapped(state, &why).into_iter();
    lines
        .map(|line| Text::default().with(line, state.look.warning()))
        .collect()
}

/// Bias against whatever else it is compared with.
fn others(state: &State) -> Vec<Text> {
    let shown = state.compared(&state.figures);
    let others: Vec<&Agreement> = state
        .figures
        .agreement
        .iter()
        .filter(|a| shown != Some(*a))
        .collect();
    if others.is_empty() {
        return Vec::new();
    }
    let name_columns = panel_columns(state).saturating_sub(16).clamp(14, 30);
    let (watts, percent) = (
        figure("segments.agreement.bias_w"),
        figure("segments.agreement.bias_percent"),
    );
    let heads = [watts, percent].map(|figure| format!("{} {}", figure.short(), figure.unit));
    let [watts_head, percent_head] = heads;
    let name = "the other pairs";
    let head = format!("{name:<name_columns$}{watts_head:>8}{percent_head:>8}");
    let mut lines = vec![
        Text::default(),
        Text::default().with(head, state.look.faint()),
    ];
    let fits = |other: &&Agreement| pair_name(other).chars().count() <= name_columns;
    let in_full = others.iter().all(fits);
    lines.extend(others.into_iter().map(|other| {
        let name = if in_full {
            field(&state.look.text(&pair_name(other)), name_columns, ' ')
        } else {
            short_pair_name(state, other, name_columns)
        };
        let line = format!(
            "{name} {} {}",
            written(watts, other.bias_w, 7),
            written(percent, other.bias_percent, 7)
        );
        Text::default().with(line, Style::new())
    }));
    lines
}

/// Who is compared with whom, in full.
fn pair_name(pair: &Agreement) -> String {
    format!("{} - {}", pair.under_test, pair.reference)
}

/// The same in `width` columns: by letter, then as much of the other one's label as fits.
fn short_pair_name(state: &State, pair: &Agreement, width: usize) -> String {
    let letter = |label: &str| {
        let mut streams = state.session().streams.iter();
        let index = streams.position(|stream| stream.label == label)?;
        state.letters.get(index).copied()
    };
    let mut name = String::from(letter(&pair.under_test).unwrap_or('?'));
    name.push_str(" - ");
    if let Some(letter) = letter(&pair.reference) {
        name.extend([letter, ' ']);
    }
    let room = width.saturating_sub(name.chars().count());
    name + &both_ends(&state.look.text(&pair.reference), room, state.look.cut())
}

fn head(state: &State) -> Text {
    let span = state.figures_span();
    let long = state.long();
    let brushed = state.is_brushed();
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
    let length = text::duration(span.duration_s());
    let (ends_width, length_width) = (ends.len() as f64, length.len() as f64);
    // The three end where the figures below do, or further right where they have no room.
    let right = (HEAD_WORD + 2.0 + ends_width + length_width).max(PANEL_LEAST as f64);
    let ends_right = (right - length_width - 1.0).min(24.0);
    let wanted = [
        (0.0, HEAD_WORD),
        ((ends_right - ends_width).max(HEAD_WORD + 1.0), ends_width),
        (right - length_width, length_width),
    ];
    let placed = labels::placed(wanted, [0.0, panel_columns(state) as f64], 1.0);
    let mut line = Text::default();
    let mut used = 0;
    let parts = [
        (word, style),
        (&ends, Style::new()),
        (&length, Style::new()),
    ];
    for ((part, style), left) in parts.into_iter().zip(placed) {
        let Some(left) = left else { continue };
        let pad = (left as usize).saturating_sub(used);
        line = line.with(" ".repeat(pad), Style::new()).with(part, style);
        used = left as usize + part.len();
    }
    line
}

/// Columns of the word at the head's beginning.
const HEAD_WORD: f64 = 7.0;

fn column_heads(state: &State) -> Text {
    let label = label_columns(state);
    let [mean, sd, max] = [
        "segments.streams.mean_w",
        "segments.streams.sd_w",
        "segments.streams.max_w",
    ]
    .map(|id| figure(id).short());
    let heads = format!(
        "{:<width$}{mean:>6}{sd:>5}{max:>6} W",
        "power",
        width = label + 3
    );
    Text::default().with(heads, state.look.faint())
}

/// Columns of a stream's label: what the figures leave.
fn label_columns(state: &State) -> usize {
    panel_columns(state).saturating_sub(22).clamp(9, 24)
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
    let label = state.look.text(label);
    let name = both_ends(&label, label_columns(state), state.look.cut());
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
                written(
                    figure("segments.streams.mean_w"),
                    figures.and_then(|f| f.mean_w),
                    6
                ),
                written(
                    figure("segments.streams.sd_w"),
                    figures.and_then(|f| f.sd_w),
                    4
                ),
                written(
                    figure("segments.streams.max_w"),
                    figures.and_then(|f| f.max_w),
                    5
                )
            ),
            Style::new(),
        )
}

/// In the place of what rests on the noise of the whole ride until that is known.
const PENDING: &str = "pending";

/// Rows a roomy panel needs to set its groups apart.
const ROOMY: usize = 18;

fn comparison(state: &State, a: &Agreement, room: usize) -> Vec<Text> {
    let look = state.look;
    let faint = look.faint();
    let mut lines = Vec::new();
    if room >= ROOMY {
        lines.push(Text::default());
    }
    let room = panel_columns(state).saturating_sub(1);
    let title = match pair_name(a) {
        full if full.chars().count() <= room => look.text(&full),
        _ => short_pair_name(state, a, room),
    };
    lines.push(Text::default().with(title, look.strong()));
    let (watts, percent) = (
        figure("segments.agreement.bias_w"),
        figure("segments.agreement.bias_percent"),
    );
    lines.push(
        Text::default()
            .with(format!("{:<8}", watts.short()), faint)
            .with(with_unit(watts, a.bias_w, 8), look.strong())
            .with(with_unit(percent, a.bias_percent, 9), look.strong()),
    );
    lines.push(if state.is_searched() {
        interval(state, "segments.agreement.bias_ci95_w", a.bias_ci95_w)
    } else {
        Text::default()
            .with("95 % CI ", faint)
            .with(PENDING, Style::new())
    });
    lines.extend(claim_lines(state, a));
    lines.push(verdict_line(state));
    lines.push(interval(state, "segments.agreement.loa95_w", a.loa95_w));
    let pairs = [
        [
            ("segments.agreement.sd_diff_w", a.sd_diff_w),
            ("segments.agreement.rmse_w", a.rmse_w),
        ],
        [
            ("segments.agreement.ccc", a.ccc),
            ("segments.agreement.pearson_r", a.pearson_r),
        ],
        [
            ("segments.agreement.n", Some(a.n as f64)),
            ("segments.agreement.n_effective", a.n_effective),
        ],
    ];
    lines.extend(pairs.map(|pair| two(state, pair)));
    lines
}

/// Two figures in a line, their values where those above end.
fn two(state: &State, [(id, value), (beside, other)]: [(&str, Option<f64>); 2]) -> Text {
    let (faint, none) = (state.look.faint(), Style::new());
    let (first, second) = (figure(id), figure(beside));
    let (left, right) = (with_unit(first, value, 0), with_unit(second, other, 6));
    let room = WIDTH.saturating_sub(second.short().len() + right.len());
    let ends = if first.unit.is_empty() { 15 } else { 17 };
    let ends = ends.min(room.saturating_sub(1));
    let name = ends.saturating_sub(left.len());
    let gap = room.saturating_sub(ends);
    Text::default()
        .with(format!("{:<name$}", first.short()), faint)
        .with(left, none)
        .with(format!("{:gap$}{}", "", second.short()), faint)
        .with(right, none)
}

fn interval(state: &State, id: &str, ends: Option<[f64; 2]>) -> Text {
    let figure = figure(id);
    let [low, high] = ends.map_or([None, None], |ends| ends.map(Some));
    let (low, high) = (written(figure, low, 8), written(figure, high, 7));
    Text::default()
        .with(format!("{:<8}", figure.short()), state.look.faint())
        .with(format!("{low} to {high} {}", figure.unit), Style::new())
}

/// A bias beside what is allowed for, and the claim around that.
pub(super) struct NetBias {
    /// The net bias, W, if there is a bias.
    net_w: Option<f64>,
    /// What the allowance lets expect of the bias, W.
    middle_w: f64,
    /// Half-width of the claim, W.
    half_w: f64,
    /// What is to be read where the reference stands, W; none where that is too low for percents.
    expected_w: Option<f64>,
}

impl NetBias {
    /// `None` without a reference mean or a claim.
    pub(super) fn of(state: &State, a: &Agreement) -> Option<Self> {
        let level_w = a.reference_mean_w?;
        let (middle_w, half_w) = state.allowed_w(level_w)?;
        Some(Self {
            net_w: a.bias_w.map(|bias_w| bias_w - middle_w),
            middle_w,
            half_w,
            expected_w: (level_w >= PERCENT_FROM_W).then_some(level_w + middle_w),
        })
    }

    fn in_percent(&self, watts: f64) -> Option<f64> {
        Some(watts / self.expected_w? * 100.0)
    }

    /// What is left of the bias, %.
    pub(super) fn net_percent(&self) -> Option<f64> {
        self.in_percent(self.net_w?)
    }
}

/// The net bias, where there is an allowance; the claim; and by word and sign on which side
/// of it the bias lies.
fn claim_lines(state: &State, a: &Agreement) -> Vec<Text> {
    let faint = state.look.faint();
    let claim = figure("session.claim.percent");
    let line = Text::default().with(format!("{:<8}", claim.short()), faint);
    let Some(bias) = NetBias::of(state, a) else {
        return vec![line.with(format!("{:>8}", "-"), Style::new())];
    };
    let (net_w, half_w) = (bias.net_w, bias.half_w);
    let mut lines = Vec::new();
    let (watts, percent) = (
        figure("segments.verdict.bias_w"),
        figure("segments.verdict.bias_percent"),
    );
    if bias.middle_w != 0.0 {
        lines.push(
            Text::default()
                .with(watts.short(), faint)
                .with(with_unit(watts, net_w, 8), state.look.strong())
                .with(
                    with_unit(percent, bias.net_percent(), 9),
                    state.look.strong(),
                ),
        );
    }
    let limit = match bias.in_percent(half_w) {
        Some(percent) => with_unit(claim, Some(percent), 8),
        None => with_unit(figure("session.claim.watts"), Some(half_w), 8),
    };
    lines.push(held_to_claim(
        state,
        line.with(format!("{limit}  "), Style::new()),
        &bias,
    ));
    lines
}

/// On which side of the claim the bias lies; nothing where no claim is held against it: of what
/// happens to be in view, and of kinds in which power jumps by design.
fn held_to_claim(state: &State, line: Text, bias: &NetBias) -> Text {
    if !state.is_brushed() || !state.figures_kind().tells_bias() {
        return line;
    }
    let (word, style) = beyond(state.look, bias.net_w, bias.half_w);
    line.with(word, style)
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

/// What the blocks say, each on its own: a bias of whatever happens to be in view holds nothing
/// against a claim.
fn blocks_line(state: &State, line: Text) -> Text {
    let under_test = state.under_test().map(Member::Stream);
    let under_test = under_test.map_or("", |member| state.member_name(member));
    let judged = overall::judged(under_test, state.lines.all());
    let outcomes: Vec<Outcome> = judged.map(|(_, verdict)| verdict.outcome).collect();
    let count = |wanted: Outcome| outcomes.iter().filter(|o| **o == wanted).count();
    if outcomes.is_empty() {
        return line.with("tag a block to judge", Style::new());
    }
    let style = if count(Outcome::DoesNotConform) > 0 {
        state.look.warning()
    } else {
        Style::new()
    };
    let words = format!(
        "{} of {} judged conform",
        count(Outcome::Conforms),
        outcomes.len()
    );
    line.with(words, style)
}

fn verdict_line(state: &State) -> Text {
    let line = Text::default().with("verdict   ", state.look.faint());
    if !state.is_searched() {
        return line.with(PENDING, Style::new());
    }
    if !state.is_brushed() {
        return blocks_line(state, line);
    }
    let Some(verdict) = state.judged(&state.figures) else {
        return line.with("-", Style::new());
    };
    let (mark, style) = outcome_mark(state.look, verdict.outcome);
    let word = match verdict.outcome {
        Outcome::NotApplicable if state.selected.is_none() => "tag it to judge it",
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
    let (apart, en) = (
        figure("segments.references.difference_percent"),
        figure("segments.references.en_number"),
    );
    let labels = figure("segments.references.labels");
    vec![
        Text::default(),
        Text::default()
            .with(format!("{} ", labels.short()), state.look.faint())
            .with(word, style),
        Text::default()
            .with(apart.short(), state.look.faint())
            .with(
                with_unit(apart, references.difference_percent, 6),
                Style::new(),
            )
            .with(format!("  {}", en.short()), state.look.faint())
            .with(written(en, references.en_number, 6), Style::new()),
    ]
}

/// Why the verdict is what it is, wrapped.
fn reasons(state: &State) -> Vec<Text> {
    let verdict = state.judged(&state.figures);
    // Those of an outcome that is not shown would pass for one; what keeps all from being judged
    // is shown.
    let verdict = verdict.filter(|verdict| {
        let never = verdict.outcome == Outcome::NotApplicable;
        let compared = state.compared(&state.figures);
        never || (state.is_brushed() && compared.is_some_and(|a| a.n > 0))
    });
    let reasons = verdict.iter().flat_map(|verdict| verdict.sentences());
    let lines = reasons.flat_map(|reason| wrapped(state, &reason));
    let lines: Vec<Text> = lines
        .map(|line| Text::default().with(line, state.look.faint()))
        .collect();
    if lines.is_empty() {
        return lines;
    }
    std::iter::once(Text::default()).chain(lines).collect()
}
