//! Does it report power nobody makes? The stretches in which it leaves the references upwards by more
//! than their spread and its own lag explain ([`super::super::excursions`]), above all while nobody
//! pedals.

use super::answer::{Answer, Finding, Limit, Place, Question};
use super::ride::Source;
use super::words::plain;
use crate::analysis::excursions::UncorroboratedStretch;
use crate::analysis::figure::Figure;
use crate::text::clock_time;
use crate::timeline::Span;

/// What `truing explain` says of it.
pub const FIGURE: Figure = Figure {
    id: "findings.phantom",
    label: "phantom",
    unit: "W",
    decimals: 1,
    definition: "Highest power reported that no reference shows and the source's own lag does not explain, where it lasts.",
    formula: "see excursions; 20 W for 3 s unless [limits] says otherwise",
    source: "common practice, no source",
    caveat: "A flywheel that gives back what it took shows only where somebody pedals.",
    ..Figure::PLAIN
};

/// Power that counts, W, and for how long, s.
const MOST_W: f64 = 20.0;
const LONGEST_S: f64 = 3.0;
/// Seconds without pedalling that have to be there, once a lag has died away.
const ENOUGH_S: f64 = 10.0;
/// Until a usual lag has died away, s.
const DECAY_S: f64 = 5.0;

pub fn answer(source: &Source<'_>) -> Answer {
    let question = Question::Phantom;
    if source.basis.is_none() {
        return Answer::not_ridden(question, source.label, "no reference carries power");
    }
    let limits = &source.ride.session.limits;
    let limit = Limit::stated_or(limits.phantom_w, MOST_W, Limit::PRACTICE);
    let longest_s = limits.phantom_s.unwrap_or(LONGEST_S);
    let all = source.ride.found.excursions.get(source.index);
    let upwards = all.into_iter().flatten().filter(|e| e.peak_w > 0.0);
    let beyond =
        |e: &&UncorroboratedStretch| e.peak_w > limit.value && e.to_s - e.from_s >= longest_s;
    let beyond: Vec<&UncorroboratedStretch> = upwards.filter(beyond).collect();
    let said = limit.said(&format!(
        "{} W for {} s",
        plain(limit.value),
        plain(longest_s)
    ));
    let worst = beyond.iter().max_by(|a, b| a.peak_w.total_cmp(&b.peak_w));
    if let Some(worst) = worst {
        let seconds = worst.to_s - worst.from_s;
        let more = match beyond.len() - 1 {
            0 => String::new(),
            1 => ", and once more".to_owned(),
            n => format!(", and {n} times more"),
        };
        let idle = is_idle(source, worst);
        let when = if idle {
            "while nobody pedals"
        } else {
            "that no reference shows"
        };
        return Answer::new(
            question,
            source.label,
            Finding::Fault,
            format!(
                "reports up to {:.0} W for {seconds:.0} s at {} {when}{more}; {said}",
                worst.peak_w,
                clock_time(worst.from_s)
            ),
        )
        .with_value(worst.peak_w, None, "W")
        .in_brief(format!(
            "{:.0} W for {seconds:.0} s at {}; limit {} W",
            worst.peak_w,
            clock_time(worst.from_s),
            plain(limit.value)
        ))
        .against(limit)
        .at(Some(Place {
            from_s: worst.from_s,
            to_s: worst.to_s,
        }))
        .headed(format!(
            "reports {:.0} W that nobody makes for {seconds:.0} s",
            worst.peak_w
        ));
    }
    let idle_s = idle_s(source);
    if idle_s < ENOUGH_S {
        let why = "nobody stops pedalling for long enough";
        return Answer::not_ridden(question, source.label, why);
    }
    let sentence = format!(
        "nothing in {idle_s:.0} s without pedalling, nor elsewhere, that no reference shows; {said}"
    );
    Answer::new(question, source.label, Finding::Fine, sentence)
        .in_brief(format!("nothing in {idle_s:.0} s without pedalling"))
        .against(limit)
}

/// Whether nobody pedals in most of a stretch.
fn is_idle(source: &Source<'_>, stretch: &UncorroboratedStretch) -> bool {
    let rows = source
        .ride
        .aligned
        .grid
        .rows(Span::new(stretch.from_s, stretch.to_s));
    let cadence = source.ride.cadence.as_deref().unwrap_or_default();
    let turning = cadence.get(rows).unwrap_or_default();
    let idle = turning.iter().filter(|rpm| **rpm == 0.0).count();
    2 * idle > turning.len()
}

/// Seconds without pedalling by the references' cadence, or by their power where they have none, each
/// stretch less what a lag takes to die away.
fn idle_s(source: &Source<'_>) -> f64 {
    let grid = source.ride.aligned.grid;
    let delivered = source.delivered().unwrap_or_default();
    let idle: Vec<bool> = match &source.ride.cadence {
        Some(cadence) => cadence.iter().map(|rpm| *rpm == 0.0).collect(),
        None => delivered.iter().map(|w| *w <= 1.0).collect(),
    };
    let stretches = idle.chunk_by(|a, b| a == b).filter(|run| run[0]);
    let seconds = stretches.map(|run| (run.len() as f64 * grid.step_s - DECAY_S).max(0.0));
    seconds.sum()
}
