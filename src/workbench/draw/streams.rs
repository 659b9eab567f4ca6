//! The list of what the streams are.

use ratatui::style::{Modifier, Style};

use super::super::action::names;
use super::super::state::State;
use super::pen::Text;
use crate::analysis::weights;
use crate::session::{Role, Side, Site, Stream, ZeroReading};
use crate::stats::NORMAL_95;
use crate::text::{field, fit, wrapped};
use crate::timeline::Member;

/// Columns of a label; longer ones are cut, the cut marked.
const LABEL: usize = 22;

/// The list, at most `rows` streams of it around the selected one; then what concerns them all.
pub fn lines(state: &State, rows: usize) -> Vec<Text> {
    let look = state.look;
    let none = Style::new();
    let mut lines = vec![Text::default().with(
        format!(
            "    {:<LABEL$}  {:<10}  {:<7}  claim",
            "label", "role", "site"
        ),
        look.faint(),
    )];
    let inks = look.streams(&state.session().streams);
    let first = (state.stream + 1).saturating_sub(rows);
    let streams = state.session().streams.iter().enumerate();
    for (index, stream) in streams.skip(first).take(rows) {
        let in_hand = index == state.stream;
        let mark = if in_hand { look.glyph('▸', '>') } else { ' ' };
        let ink = inks.get(index).copied().unwrap_or_default();
        let letter = state.letters.get(index).copied().unwrap_or('*');
        let label = field(&look.text(&stream.label), LABEL, look.cut());
        let site = stream.site.map_or("-", Site::word);
        lines.push(
            Text::default()
                .with(format!("{mark} "), look.strong())
                .with(letter.to_string(), ink.add_modifier(Modifier::BOLD))
                .with(
                    format!(" {label}"),
                    if in_hand { look.selected() } else { ink },
                )
                .with(
                    format!("  {:<10}  {site:<7}  {}", stream.role, claim(stream)),
                    none,
                ),
        );
    }
    let more = state.session().streams.len();
    if more > rows {
        lines.push(Text::default().with(format!("    {more} streams"), look.faint()));
    }
    lines.push(Text::default());
    lines.extend(beside_the_ride(state));
    let session = state.session().claim;
    lines.push(
        Text::default()
            .with("session's claim           ", look.faint())
            .with(
                both(Some(session.percent), Some(session.watts)).unwrap_or_default(),
                none,
            ),
    );
    let loss = match state.session().allowance {
        Some(stated) => format!(
            "{} % ± {} percentage points",
            stated.percent, stated.plus_minus
        ),
        None => "not stated (2 ± 1 % is usual)".to_owned(),
    };
    lines.push(
        Text::default()
            .with("expected drivetrain loss  ", look.faint())
            .with(loss, none),
    );
    let mass = match state.session().simulation {
        Some(stated) => format!("{} kg", stated.mass_kg),
        None => "not stated; tells the share of a gradient".to_owned(),
    };
    lines.push(
        Text::default()
            .with("rider and bike in the app ", look.faint())
            .with(mass, none),
    );
    let compared = match (state.under_test(), state.basis()) {
        (Some(under_test), Some(basis)) => format!(
            "{} with {}",
            state.member_name(Member::Stream(under_test)),
            state.member_name(basis)
        ),
        _ => "nothing: one stream under test and one reference, with power, are needed".to_owned(),
    };
    lines.push(
        Text::default()
            .with("compared                  ", look.faint())
            .with(fit(&look.text(&compared), 49, look.cut()), none),
    );
    lines
}

/// What is noted of the selected stream beside its recording: masses, side, zeros.
fn beside_the_ride(state: &State) -> Vec<Text> {
    const WIDTH: usize = 49;
    let look = state.look;
    let Some(stream) = state.session().streams.get(state.stream) else {
        return Vec::new();
    };
    let masses = match weights::check(state.session(), state.stream) {
        None => "none; they test a reference alone".to_owned(),
        Some(check) => match (check.scale, check.scale_u_percent) {
            (Some(scale), Some(u)) if check.used => {
                format!("scale {scale:.4} ± {:.2} %", NORMAL_95 * u)
            }
            _ => check.note,
        },
    };
    let side = stream.one_sided.map_or("both sides", Side::word);
    let zero = |zero: &Option<ZeroReading>| {
        let zero = zero.as_ref().map(ToString::to_string);
        zero.map_or_else(|| "-".to_owned(), |zero| zero.trim_end().to_owned())
    };
    let zeros = format!(
        "{side}; {} before, {} after",
        zero(&stream.zero_before),
        zero(&stream.zero_after)
    );
    let line = |head: &str, said: &str| {
        Text::default()
            .with(format!("{head:<26}"), look.faint())
            .with(fit(&look.text(said), WIDTH, look.cut()), Style::new())
    };
    vec![
        line("known masses (selected)", &masses),
        line("side, zeros (selected)", &zeros),
    ]
}

/// What reading the recordings met, in at most `room` lines; where they do not do, the last one
/// says where the rest is.
pub fn remarks(state: &State, room: usize) -> Vec<Text> {
    const WIDTH: usize = 72;
    let look = state.look;
    let reported = state.opened.problems.iter().map(ToString::to_string);
    let reported: Vec<String> = reported.chain(state.opened.remarks()).collect();
    if reported.is_empty() || room < 3 {
        return Vec::new();
    }
    let mut lines = vec![
        Text::default(),
        Text::default().with("met in reading the recordings", look.faint()),
    ];
    for remark in &reported {
        for (row, line) in wrapped(&look.text(remark), WIDTH - 2).iter().enumerate() {
            let sign = if row == 0 { "! " } else { "  " };
            lines.push(Text::default().with(format!("{sign}{line}"), look.warning()));
        }
    }
    if lines.len() > room {
        lines.truncate(room - 1);
        let key = state.key(names::MESSAGES);
        let rest = format!("  {key} in a view lists all of it");
        lines.push(Text::default().with(rest, look.faint()));
    }
    lines
}

/// The claim that applies to a stream, in words.
fn claim(stream: &Stream) -> String {
    match both(stream.claim_percent, stream.claim_watts) {
        Some(own) => own,
        None if stream.role == Role::UnderTest => "the session's".to_owned(),
        None => "-".to_owned(),
    }
}

fn both(percent: Option<f64>, watts: Option<f64>) -> Option<String> {
    let percent = percent.map(|percent| format!("± {percent} %"));
    let watts = watts.filter(|watts| *watts > 0.0);
    match (percent, watts) {
        (Some(percent), Some(watts)) => Some(format!("{percent}, ± {watts} W at least")),
        (Some(percent), None) => Some(percent),
        (None, Some(watts)) => Some(format!("± {watts} W at least")),
        (None, None) => None,
    }
}
