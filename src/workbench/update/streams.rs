//! The streams: which one is selected, what is compared, and what each of them is.

use super::super::event::Effect;
use super::super::state::{Claimed, Mode, State};
use super::edit;
use super::say::{say, warn};
use crate::session::weights_text::{pairs_in_words, pairs_of};
use crate::session::{Allowance, Role, Session, Side, Site, Stream, ZeroReading, validation};

/// Selects the stream before or after.
pub fn select(state: &mut State, forward: bool) {
    let count = state.session().streams.len();
    if count > 0 {
        let step = if forward { 1 } else { count - 1 };
        state.stream = (state.stream + step) % count;
    }
}

/// Shows or hides it.
pub fn toggle(state: &mut State) {
    if let Some(hidden) = state.hidden.get_mut(state.stream) {
        *hidden = !*hidden;
    }
}

/// Shows it alone, or all again.
pub fn solo(state: &mut State) {
    let count = state.session().streams.len();
    let alone = |index: usize| index == state.stream;
    let is_solo = (0..count).all(|i| state.hidden.get(i) == Some(&!alone(i)));
    state.hidden = (0..count).map(|i| !is_solo && !alone(i)).collect();
}

/// Compares with the next reference, or the consensus.
pub fn next_reference(state: &mut State) {
    let members = state.aligned.references();
    let here = state
        .basis()
        .and_then(|b| members.iter().position(|m| *m == b));
    let next = here.map_or(0, |here| (here + 1) % members.len().max(1));
    match members.get(next) {
        Some(member) => {
            state.reference = Some(*member);
            let name = state.member_name(*member).to_owned();
            say(state, format!("compared with {name}"));
        }
        None => warn(state, "there is no reference with power to compare with"),
    }
}

/// Opens the list of what the streams are.
pub fn open(state: &mut State) {
    if !state.session().streams.is_empty() {
        state.in_streams = true;
        state.mode = Mode::Streams;
    }
}

/// Leaves a menu, a line being typed or a list: back to the list of streams where it lies beneath.
pub fn leave(state: &mut State) {
    // Who leaves the line for the folder does not quit either.
    state.quits_when_saved = false;
    if state.mode == Mode::Streams {
        state.in_streams = false;
    }
    state.mode = if state.in_streams {
        Mode::Streams
    } else {
        Mode::View
    };
}

pub fn next_role(state: &mut State, effects: &mut Vec<Effect>) {
    let Some(stream) = state.session().streams.get(state.stream) else {
        return;
    };
    let next = after(Role::ALL, Some(stream.role)).or_else(|| after(Role::ALL, None));
    let role = next.unwrap_or(stream.role);
    let name = format!("role of {}: {role}", stream.label);
    change(state, &name, effects, |stream| stream.role = role);
}

pub fn next_site(state: &mut State, effects: &mut Vec<Effect>) {
    let Some(stream) = state.session().streams.get(state.stream) else {
        return;
    };
    let site = after(Site::ALL, stream.site);
    let word = site.map_or("none", Site::word);
    let name = format!("site of {}: {word}", stream.label);
    change(state, &name, effects, |stream| stream.site = site);
}

/// The value after `current`: the first after none, none after the last.
fn after<T: Copy + PartialEq>(all: &[T], current: Option<T>) -> Option<T> {
    match current.and_then(|current| all.iter().position(|value| *value == current)) {
        Some(index) => all.get(index + 1).copied(),
        None => all.first().copied(),
    }
}

/// Both sides, the left one, the right one in turn.
pub fn next_side(state: &mut State, effects: &mut Vec<Effect>) {
    let Some(stream) = state.session().streams.get(state.stream) else {
        return;
    };
    let side = after(&[Side::Left, Side::Right], stream.one_sided);
    let word = side.map_or("both", Side::word);
    let name = format!("side of {}: {word}", stream.label);
    change(state, &name, effects, |stream| stream.one_sided = side);
}

fn change(
    state: &mut State,
    name: &str,
    effects: &mut Vec<Effect>,
    change: impl FnOnce(&mut Stream),
) {
    let index = state.stream;
    edit::edit(state, name, effects, |session| {
        if let Some(stream) = session.streams.get_mut(index) {
            change(stream);
        }
    });
}

/// A crank to start typing from, mm (common practice, no source).
const USUAL_CRANK_MM: f64 = 172.5;

/// The masses and readings of the selected stream, as they are typed.
pub fn masses_text(state: &State) -> String {
    let stream = state.session().streams.get(state.stream);
    let weights = stream.and_then(|stream| stream.weights.as_ref());
    weights.map_or_else(String::new, |w| pairs_in_words(&w.kg, &w.nm))
}

/// A zero offset of the selected stream, as it is typed.
pub fn zero_text(state: &State, after: bool) -> String {
    let zero = state
        .session()
        .streams
        .get(state.stream)
        .and_then(|stream| {
            let zero = if after {
                &stream.zero_after
            } else {
                &stream.zero_before
            };
            zero.as_ref()
        });
    zero.map_or_else(String::new, |zero| zero.to_string().trim_end().to_owned())
}

/// What there is to start typing from.
pub fn claim_text(state: &State, claimed: Claimed) -> String {
    let stream = state.session().streams.get(state.stream);
    let claim = state.session().claim;
    let offered = state.session().allowance.unwrap_or(Allowance::USUAL);
    let value = match claimed {
        Claimed::StreamPercent => stream.and_then(|stream| stream.claim_percent),
        Claimed::StreamWatts => stream.and_then(|stream| stream.claim_watts),
        Claimed::Crank => stream.and_then(|s| {
            s.weights
                .as_ref()
                .map_or(Some(USUAL_CRANK_MM), |w| w.crank_mm)
        }),
        Claimed::SessionPercent => Some(claim.percent),
        Claimed::SessionWatts => Some(claim.watts),
        Claimed::AllowancePercent => Some(offered.percent),
        Claimed::AllowancePoints => Some(offered.plus_minus),
        Claimed::Mass => Some(state.session().simulation.unwrap_or_default().mass_kg),
    };
    value.map_or_else(String::new, |value| value.to_string())
}

/// Takes a typed label; returns why not.
pub fn take_label(state: &mut State, typed: &str, effects: &mut Vec<Effect>) -> Option<String> {
    let index = state.stream;
    let before = &state.session().streams.get(index)?.label;
    let name = format!("label {before} as {typed}");
    let typed = typed.to_owned();
    take(state, &name, effects, |session| {
        if let Some(stream) = session.streams.get_mut(index) {
            stream.label = typed;
        }
    })
}

/// Takes a typed title; returns why not.
pub fn take_title(state: &mut State, typed: &str, effects: &mut Vec<Effect>) -> Option<String> {
    let name = format!("title {typed}");
    let typed = typed.to_owned();
    take(state, &name, effects, |session| session.title = typed)
}

/// What a typed number is of, and its unit, as an edit is named.
fn of_what(state: &State, claimed: Claimed) -> (String, &'static str) {
    match claimed {
        Claimed::StreamPercent | Claimed::StreamWatts => {
            let stream = state.session().streams.get(state.stream);
            let label = stream.map_or("", |stream| stream.label.as_str());
            let percent = claimed == Claimed::StreamPercent;
            (format!("claim of {label}"), if percent { "%" } else { "W" })
        }
        Claimed::Crank => {
            let stream = state.session().streams.get(state.stream);
            let label = stream.map_or("", |stream| stream.label.as_str());
            (format!("crank under the masses of {label}"), "mm")
        }
        Claimed::SessionPercent => ("claim of the session".to_owned(), "%"),
        Claimed::SessionWatts => ("claim of the session".to_owned(), "W"),
        Claimed::AllowancePercent => ("expected drivetrain loss".to_owned(), "%"),
        Claimed::AllowancePoints => (
            "expected drivetrain loss known to ±".to_owned(),
            "percentage points",
        ),
        Claimed::Mass => ("rider and bike as entered in the app".to_owned(), "kg"),
    }
}

/// Takes a typed number of a claim or of the allowance; returns why not.
pub fn take_claim(
    state: &mut State,
    claimed: Claimed,
    typed: &str,
    effects: &mut Vec<Effect>,
) -> Option<String> {
    let of_stream = matches!(
        claimed,
        Claimed::StreamPercent | Claimed::StreamWatts | Claimed::Crank
    );
    let number = typed.trim_end_matches(['%', 'W', 'w', 'm', ' ']);
    let value = match (number, of_stream) {
        ("", true) => None,
        ("", false) => return Some("this always has a value; type a number".to_owned()),
        _ => match number.replace(',', ".").parse::<f64>() {
            Ok(value) => Some(value),
            Err(_) => return Some("type a number such as 1.5".to_owned()),
        },
    };
    let index = state.stream;
    let (what, unit) = of_what(state, claimed);
    let name = match value {
        Some(value) => format!("{what}: {value} {unit}"),
        None => format!("{what}: no {unit}"),
    };
    take(state, &name, effects, |session| {
        let stream = session.streams.get_mut(index);
        let place = match claimed {
            Claimed::SessionPercent => &mut session.claim.percent,
            Claimed::SessionWatts => &mut session.claim.watts,
            Claimed::AllowancePercent => {
                &mut session.allowance.get_or_insert(Allowance::USUAL).percent
            }
            Claimed::AllowancePoints => {
                &mut session.allowance.get_or_insert(Allowance::USUAL).plus_minus
            }
            Claimed::Mass => &mut session.simulation.get_or_insert_default().mass_kg,
            Claimed::StreamPercent | Claimed::StreamWatts | Claimed::Crank => {
                if let Some(stream) = stream {
                    match claimed {
                        Claimed::StreamPercent => stream.claim_percent = value,
                        Claimed::Crank => {
                            stream.weights.get_or_insert_default().crank_mm = value;
                        }
                        _ => stream.claim_watts = value,
                    }
                }
                return;
            }
        };
        *place = value.unwrap_or(*place);
    })
}

/// Takes typed masses and readings, and says what scale they give; returns why not.
pub fn take_masses(state: &mut State, typed: &str, effects: &mut Vec<Effect>) -> Option<String> {
    let (kg, nm) = match pairs_of(typed) {
        Ok(pairs) => pairs,
        Err(why) => return Some(why),
    };
    let index = state.stream;
    let mut stream = state.session().streams.get(index)?.clone();
    if kg.is_empty() {
        stream.weights = None;
    } else {
        let weights = stream.weights.get_or_insert_default();
        weights.crank_mm.get_or_insert(USUAL_CRANK_MM);
        (weights.kg, weights.nm) = (kg, nm);
    }
    let said = match (&stream.weights, stream.weights_unused()) {
        (None, _) => "none".to_owned(),
        (_, Some(why)) => format!("not used: {why}"),
        (_, None) => format!("scale {:.4}", stream.power_scale()),
    };
    let name = format!("known masses on {}: {said}", stream.label);
    take(state, &name, effects, |session| {
        if let Some(place) = session.streams.get_mut(index) {
            *place = stream;
        }
    })
}

/// Takes a typed zero offset; returns why not.
pub fn take_zero(
    state: &mut State,
    after: bool,
    typed: &str,
    effects: &mut Vec<Effect>,
) -> Option<String> {
    let zero = match (typed, ZeroReading::parse(typed)) {
        ("", _) => None,
        (_, Some(zero)) => Some(zero),
        (_, None) => {
            return Some("type a number and the unit that the meter shows: 512 raw".to_owned());
        }
    };
    let index = state.stream;
    let label = &state.session().streams.get(index)?.label;
    let when = if after { "after" } else { "before" };
    let shown = zero
        .as_ref()
        .map_or_else(|| "none".to_owned(), ToString::to_string);
    let name = format!("zero of {label} {when} the ride: {}", shown.trim_end());
    take(state, &name, effects, |session| {
        if let Some(stream) = session.streams.get_mut(index) {
            *(if after {
                &mut stream.zero_after
            } else {
                &mut stream.zero_before
            }) = zero;
        }
    })
}

/// Edits the session where the result could be saved, and goes back to the list of streams;
/// otherwise returns what is wrong with it.
fn take(
    state: &mut State,
    name: &str,
    effects: &mut Vec<Effect>,
    change: impl FnOnce(&mut Session),
) -> Option<String> {
    let mut changed = state.session().clone();
    change(&mut changed);
    if let Err((_, problem)) = validation::check(&changed) {
        return Some(problem);
    }
    leave(state);
    if changed == *state.session() {
        say(state, format!("{name}: that is what it was"));
    } else {
        edit::edit(state, name, effects, |session| *session = changed);
    }
    None
}
