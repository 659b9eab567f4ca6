//! What is impossible about a session, with the place and the way out.

use std::ops::RangeInclusive;
use std::path::Path;

use super::document::{MOST_BYTES, to_text};
use super::files::FILE_NAME;
use super::model::{CONSENSUS, Segment, Session, Stream};
use super::weights::Weights;
use crate::text::clean_text;

/// What is impossible about `session`: the place and the remedy.
///
/// # Errors
/// The place in the file, and what is wrong there with the way out.
pub fn check(session: &Session) -> Result<(), (String, String)> {
    let (claim, allowance) = (session.claim, session.allowance());
    let zero_s = session.zero_unix_s.unwrap_or(0.0);
    within("the top", "zero_unix_s", zero_s, TIMES_S)?;
    without_sign("[claim]", "percent", claim.percent, MOST_PERCENT)?;
    without_sign("[claim]", "watts", claim.watts, MOST_WATTS)?;
    let place = "[allowance]";
    within(place, "percent", allowance.percent, ALLOWANCE_PERCENT)?;
    without_sign(place, "plus_minus", allowance.plus_minus, 50.0)?;
    let common = session.references.claims_correlation;
    within("[references]", "claims_correlation", common, 0.0..=1.0)?;
    if let Some(simulation) = session.simulation {
        let place = "[simulation]";
        within(place, "mass_kg", simulation.mass_kg, MASS_KG)?;
        without_sign(place, "rolling", simulation.rolling, MOST_ROLLING)?;
        without_sign(place, "drag_kg_m", simulation.drag_kg_m, MOST_DRAG)?;
    }
    if let Some(gears) = &session.gears {
        if gears.front.len() + gears.rear.len() > MOST_SPROCKETS {
            let problem = format!("more than {MOST_SPROCKETS} sprockets; list those ridden");
            return Err(("[gears]".to_owned(), problem));
        }
        for teeth in gears.front.iter().chain(&gears.rear) {
            within("[gears]", "a number of teeth", *teeth, TEETH)?;
        }
        if let Some(circumference_m) = gears.circumference_m {
            within("[gears]", "circumference_m", circumference_m, WHEELS_M)?;
        }
    }
    for (key, value, most) in session.limits.stated() {
        without_sign("[limits]", key, value, most)?;
    }
    for (index, stream) in session.streams.iter().enumerate() {
        check_stream(session, index, stream)?;
    }
    if session.segments.len() > MOST_SEGMENTS {
        let problem = format!(
            "there are {}; a session holds at most {MOST_SEGMENTS}: split the session",
            session.segments.len()
        );
        return Err(("[[segment]]".to_owned(), problem));
    }
    for (index, segment) in session.segments.iter().enumerate() {
        let place = format!("[[segment]] number {} ({})", index + 1, segment.kind);
        within(&place, "from_s", segment.from_s, TIMES_S)?;
        within(&place, "to_s", segment.to_s, TIMES_S)?;
        let set_point_w = segment.set_point_w.unwrap_or(0.0);
        within(&place, "set_point_w", set_point_w, 0.0..=MOST_SET_POINT_W)?;
        if segment.to_s <= segment.from_s {
            return Err((place, "to_s must be greater than from_s".to_owned()));
        }
    }
    Ok(())
}

/// What keeps `session` from being saved so that it can be opened again.
///
/// # Errors
/// Those of [`check`], and where the file would be too long.
pub fn check_savable(session: &Session) -> Result<(), (String, String)> {
    check(session)?;
    let of_segment = |segment: &Segment| 100 + segment.note.len() as u64;
    // Writing it takes long where there are many; most are far from the limit.
    let roughly: u64 = session.segments.iter().map(of_segment).sum();
    if roughly > MOST_BYTES / 4 && to_text(session).len() as u64 > MOST_BYTES {
        let problem = "the session file would be over 4 MiB; shorten the notes".to_owned();
        return Err((FILE_NAME.to_owned(), problem));
    }
    Ok(())
}

/// Most segments of a session: one every ten seconds of a long ride.
const MOST_SEGMENTS: usize = 5000;

/// Largest set point, W: twice what the strongest hold for a few seconds.
pub const MOST_SET_POINT_W: f64 = 3000.0;

/// A claim wider than the reading itself is a slip of the pen, %.
const MOST_PERCENT: f64 = 100.0;

/// The same for the floor of a claim, W.
const MOST_WATTS: f64 = 3000.0;

/// Losses and gains between two sites that are no slip of the pen, %.
const ALLOWANCE_PERCENT: RangeInclusive<f64> = -50.0..=50.0;

/// Rider and bike that are no slip of the pen, kg.
const MASS_KG: RangeInclusive<f64> = 20.0..=400.0;

/// The same of a coefficient of rolling resistance, and of ½C_w, N per (m/s)².
const MOST_ROLLING: f64 = 0.1;
const MOST_DRAG: f64 = 2.0;

/// Sprockets on a bike, and their teeth.
const TEETH: RangeInclusive<f64> = 5.0..=100.0;
const MOST_SPROCKETS: usize = 40;

/// Circumferences of wheels, m.
const WHEELS_M: RangeInclusive<f64> = 0.5..=3.0;

/// Most readings with known masses of one meter.
const MOST_READINGS: usize = 1000;

/// Session times and offsets that can be meant, s. A recorder's clock that was never set may be
/// off by decades, so this is wide: some thirty thousand years.
const TIMES_S: RangeInclusive<f64> = -1e12..=1e12;

/// A clock that is 10 % off is no clock; a larger skew in a file is a slip of the pen.
const MOST_SKEW_PPM: f64 = 100_000.0;

fn within(
    place: &str,
    key: &str,
    value: f64,
    range: RangeInclusive<f64>,
) -> Result<(), (String, String)> {
    if range.contains(&value) {
        return Ok(());
    }
    let (low, high) = (range.start(), range.end());
    let problem = format!(
        "{key} is {}; write a number from {} to {}",
        in_brief(value),
        in_brief(*low),
        in_brief(*high)
    );
    Err((place.to_owned(), problem))
}

/// What is ± has no sign: one before it is a slip of its own.
fn without_sign(place: &str, key: &str, value: f64, most: f64) -> Result<(), (String, String)> {
    if value < 0.0 {
        let problem = format!("{key} cannot be negative; drop the sign");
        return Err((place.to_owned(), problem));
    }
    within(place, key, value, 0.0..=most)
}

/// A number without hundreds of digits.
fn in_brief(value: f64) -> String {
    if value.abs() < 1e9 {
        value.to_string()
    } else {
        format!("{value:e}")
    }
}

fn check_stream(session: &Session, index: usize, stream: &Stream) -> Result<(), (String, String)> {
    let place = format!("[[stream]] “{}”", clean_text(&stream.label));
    if clean_text(&stream.label).trim().is_empty() {
        let problem = "a stream needs a label; name the device".to_owned();
        return Err((format!("[[stream]] number {}", index + 1), problem));
    }
    if stream.label == CONSENSUS {
        let problem = format!("“{CONSENSUS}” is the name of the references' mean; choose another");
        return Err((place, problem));
    }
    let shown = clean_text(&stream.label);
    let mut earlier = session.streams.iter().take(index);
    if earlier.any(|other| clean_text(&other.label) == shown) {
        return Err((place, "two streams have this label; rename one".to_owned()));
    }
    if leaves_folder(&stream.file) {
        let problem = format!(
            "file “{}” lies outside the session folder; copy the recording into it and name it relative to the folder",
            clean_text(&stream.file)
        );
        return Err((place, problem));
    }
    within(&place, "offset_s", stream.offset_s, TIMES_S)?;
    let percent = stream.claim_percent.unwrap_or(0.0);
    without_sign(&place, "claim_percent", percent, MOST_PERCENT)?;
    let watts = stream.claim_watts.unwrap_or(0.0);
    without_sign(&place, "claim_watts", watts, MOST_WATTS)?;
    let skews = -MOST_SKEW_PPM..=MOST_SKEW_PPM;
    within(&place, "skew_ppm", stream.skew_ppm, skews)?;
    stream
        .weights
        .as_ref()
        .map_or(Ok(()), |weights| check_weights(&place, weights))
}

/// What no reading can be; whether the readings make a scale is asked where they are used
/// ([`Weights::fit`]).
fn check_weights(place: &str, weights: &Weights) -> Result<(), (String, String)> {
    let place = format!("{place} [stream.weights]");
    if weights.kg.len().max(weights.nm.len()) > MOST_READINGS {
        let problem = format!("more than {MOST_READINGS} readings; leave some out");
        return Err((place, problem));
    }
    match weights.numbers().find(|value| !value.is_finite()) {
        Some(strange) => Err((place, format!("{strange} is no reading; write a number"))),
        None => Ok(()),
    }
}

/// A session is handed on as a folder, so what it refers to must lie inside.
fn leaves_folder(file: &str) -> bool {
    use std::path::Component;
    let path = Path::new(file);
    file.is_empty()
        || path
            .components()
            .any(|part| !matches!(part, Component::Normal(_) | Component::CurDir))
}

#[cfg(test)]
mod tests {
    use crate::session::by_hand::{BY_HAND, refused};

    #[test]
    fn mistakes_are_told_with_place_and_remedy() {
        let typo = refused(&BY_HAND.replace("steady-block", "stedy-block"));
        assert!(typo.starts_with("ride/session.toml: line 33"), "{typo}");
        assert!(typo.contains("`steady-block`"), "{typo}");
        let order = refused(&BY_HAND.replace("to_s = 420.0", "to_s = 20.0"));
        assert!(
            order.contains("number 1 (sprint): to_s must be greater"),
            "{order}"
        );
        let outside = refused(&BY_HAND.replace("recordings/pedals.fit", "../../etc/hosts"));
        assert!(outside.contains("outside the session folder"), "{outside}");
        let absolute = refused(&BY_HAND.replace("recordings/pedals.fit", "/dev/zero"));
        assert!(
            absolute.contains("outside the session folder"),
            "{absolute}"
        );
        let twins = refused(&BY_HAND.replace("\"pedals\"", "\"trainer\""));
        assert!(twins.contains("two streams have this label"), "{twins}");
        let newer = refused(&BY_HAND.replace("format = 1", "format = 2"));
        assert!(newer.contains("newer truing"), "{newer}");
        let infinite = refused(&BY_HAND.replace("from_s = 400.0", "from_s = inf"));
        assert!(infinite.contains("from_s is inf"), "{infinite}");
    }

    #[test]
    fn numbers_that_cannot_be_meant_are_told_in_brief() {
        let reported = |from: &str, to: &str| refused(&BY_HAND.replace(from, to));
        for (from, to, said) in [
            (
                "percent = 2.0",
                "percent = 1e308",
                "percent is 1e308; write a number from 0 to 100",
            ),
            (
                "offset_s = 0 ",
                "offset_s = -1e300 ",
                "offset_s is -1e300; write a number from -1e12",
            ),
            ("to_s = 420.0", "to_s = 1e300", "to_s is 1e300"),
            (
                "to_s = 420.0",
                "to_s = 420.0\nset_point_w = -250",
                "set_point_w is -250; write a",
            ),
            (
                "offset_s = 0 ",
                "skew_ppm = 1e300 ",
                "skew_ppm is 1e300; write a number from -100000",
            ),
            (
                "[[stream]]\nlabel = \"trainer\"",
                "[allowance]\npercent = -100\n\n[[stream]]\nlabel = \"trainer\"",
                "percent is -100; write a number from -50 to 50",
            ),
        ] {
            let reported = reported(from, to);
            assert!(reported.contains(said), "{reported}");
        }
    }
}
