//! Who disagrees with whom: the difference of every two judged streams along the ride.

use super::along;
use super::parts::{Axis, Layer, Picture, Ticks, difference_range, heights, zero};
use super::subject::{Subject, plain, signed};
use super::tone::Tone;
use crate::session::Role;
use crate::timeline::Member;

/// Beyond this many pairs only the references' own are drawn.
const MOST_PAIRS: usize = 6;

/// Every two streams with power that are under test or a reference, in order of the session.
pub fn pairs(subject: &Subject<'_>) -> Vec<[usize; 2]> {
    let mut judged: Vec<usize> = subject.aligned.powered(Role::Reference).collect();
    judged.extend(subject.aligned.powered(Role::UnderTest));
    judged.sort_unstable();
    let pairs = judged.iter().enumerate().flat_map(|(index, first)| {
        let others = judged.iter().skip(index + 1);
        others.map(|second| [*first, *second])
    });
    pairs.collect()
}

/// The picture.
///
/// # Errors
/// Why there is nothing to draw.
pub fn of(subject: &Subject<'_>) -> Result<Picture, String> {
    let all = pairs(subject);
    if all.is_empty() {
        return Err("it takes a reference beside another stream with power".to_owned());
    }
    let is_reference = |index: &usize| matches!(subject.tone(*index), Tone::Reference(_));
    let own = |pair: &[usize; 2]| pair.iter().all(is_reference);
    let only_references = all.len() > MOST_PAIRS && all.iter().any(own);
    let at = (subject.aligned.grid, subject.rows().start);
    let (mut spreads, mut lines, mut n) = (Vec::new(), Vec::new(), 0);
    for (index, pair) in all.iter().enumerate() {
        if only_references && !own(pair) {
            continue;
        }
        let [a, b] = *pair;
        let columns = [a, b].map(|stream| subject.readings(Member::Stream(stream)));
        let [Some(x), Some(y)] = columns else {
            continue;
        };
        let difference: Vec<f64> = x.iter().zip(&y).map(|(x, y)| x - y).collect();
        n = n.max(difference.iter().filter(|d| d.is_finite()).count());
        let name = format!("{} − {}", subject.label(a), subject.label(b));
        for layer in along::series(&name, at, &difference, along::NOISY / 3, Tone::Line(index)) {
            match layer {
                Layer::Spread { .. } => spreads.push(layer),
                other => lines.push(other),
            }
        }
    }
    let allowed = allowed(subject);
    let range = difference_range(heights(&lines), allowed.map(|w| [-w, w]));
    let mut layers: Vec<Layer> = allowed.map(|w| ground(subject, w)).into_iter().collect();
    // A spread of each of several lines would be one grey.
    if lines.len() == 1 {
        layers.extend(spreads);
    }
    layers.push(zero());
    layers.extend(lines);
    Ok(Picture {
        title: subject.title("references against each other"),
        facts: facts(subject, n),
        x: subject.time_axis(),
        y: Axis {
            ticks: Ticks::Signed,
            ..Axis::numbers("difference", "W", range)
        },
        layers,
    })
}

fn facts(subject: &Subject<'_>, n: usize) -> Vec<String> {
    let mut facts = vec![subject.window_fact(n)];
    if let Some(found) = &subject.figures.references {
        let difference = found
            .difference_percent
            .map(|d| format!("means differ by {} %", signed(d, 2)));
        let en = found.en_number.map(|en| format!("E_n {}", signed(en, 2)));
        let word = match found.agree {
            Some(true) => "The references agree",
            Some(false) => "The references disagree",
            None => "Whether they agree cannot be told",
        };
        let parts = [Some(word.to_owned()), difference, en];
        let parts: Vec<String> = parts.into_iter().flatten().collect();
        facts.push(format!("{}.", parts.join(", ")));
    }
    facts
}

/// √(a² + b²), W, for two references with claims a and b at their mean level.
fn allowed(subject: &Subject<'_>) -> Option<f64> {
    let references: Vec<usize> = subject.aligned.powered(Role::Reference).collect();
    let [a, b] = references.as_slice() else {
        return None;
    };
    let levels = [a, b].map(|index| {
        let label = subject.session.streams.get(*index).map(|s| &s.label);
        let mut streams = subject.figures.streams.iter();
        let mean = streams.find(|s| Some(&s.label) == label)?.mean_w?;
        let known = subject.session.streams.get(*index)?.known_scale();
        let claim = subject.session.claim_of(*index).filter(|_| known.is_none());
        Some(claim?.limit_w(mean))
    });
    let [Some(one), Some(other)] = levels else {
        return None;
    };
    Some(one.hypot(other)).filter(|w| *w > 0.0)
}

fn ground(subject: &Subject<'_>, both: f64) -> Layer {
    let span = subject.span();
    Layer::Allowed {
        name: format!(
            "what the references' claims allow for their means, ±{} W",
            plain(both, 1)
        ),
        points: [span.from_s, span.to_s]
            .map(|t_s| [t_s, -both, both])
            .to_vec(),
    }
}
