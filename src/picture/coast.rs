//! What a source reports while nobody pedals.

use super::parts::{Axis, Layer, Picture, power_range};
use super::response::both;
use super::subject::{Subject, plain};
use super::tone::Tone;

/// Power of the reference below which nobody pedals, W.
const IDLE_W: f64 = 20.0;

/// The picture.
///
/// # Errors
/// Why there is nothing to draw.
pub fn of(subject: &Subject<'_>) -> Result<Picture, String> {
    let coast = subject.figures.of_kind.coast.as_ref();
    let coast = coast.ok_or_else(|| "this window is no coast".to_owned())?;
    let mut layers = Vec::new();
    let n = both(subject, &mut layers)?;
    let range = power_range(&layers);
    if let Some(idle) = idle(subject)? {
        layers.insert(0, idle);
    }
    let mut facts = vec![subject.window_fact(n)];
    let mean = coast.phantom_mean_w;
    let mean = mean.map(|w| format!("mean {} W while nobody pedals", plain(w, 0)));
    let most = coast.phantom_max_w;
    let most = most.map(|w| format!("at most {} W", plain(w, 0)));
    let gone = coast.time_to_zero_s;
    let gone = gone.map(|s| format!("gone after {} s", plain(s, 0)));
    let said: Vec<String> = [mean, most, gone].into_iter().flatten().collect();
    if !said.is_empty() {
        let label = subject.label(subject.under_test()?);
        facts.push(format!("{label}: {}.", said.join(", ")));
    }
    Ok(Picture {
        title: subject.title("coast"),
        facts,
        x: subject.time_axis(),
        y: Axis::numbers("power", "W", range),
        layers,
    })
}

/// The longest stretch in which the reference stands still.
fn idle(subject: &Subject<'_>) -> Result<Option<Layer>, String> {
    let Some(power) = subject.power(subject.basis()?) else {
        return Ok(None);
    };
    let mut from = 0;
    let mut longest = 0..0;
    for stretch in power.chunk_by(|a, b| (*a < IDLE_W) == (*b < IDLE_W)) {
        let is_idle = stretch.first().is_some_and(|w| *w < IDLE_W);
        if is_idle && stretch.len() > longest.len() {
            longest = from..from + stretch.len();
        }
        from += stretch.len();
    }
    let at = |row: usize| subject.aligned.grid.time_s(subject.rows().start + row);
    Ok((!longest.is_empty()).then(|| Layer::Ground {
        name: "nobody pedals".to_owned(),
        x: [at(longest.start), at(longest.end - 1)],
        y: [f64::NEG_INFINITY, f64::INFINITY],
        tone: Tone::QuietGround,
    }))
}
