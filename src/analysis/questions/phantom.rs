//! Does it report power nobody makes? The stretches in which it leaves the references upwards by more
//! than their spread and its own lag explain ([`super::super::excursions`]), above all while nobody
//! pedals.
//!
//! While nobody pedals the flywheel alone can give power, and no more than it holds: `½m_a(v₁² − v₂²)` from
//! one speed to another, a power P for `½m_a v²/P` until it stands still.

use super::answer::{Answer, Finding, Limit, Place, Question};
use super::ride::Source;
use super::words::plain;
use crate::analysis::excursions::UncorroboratedStretch;
use crate::analysis::figure::Figure;
use crate::analysis::modes::{switch_at, switches};
use crate::analysis::ride::wheel_speed;
use crate::text::{clock_time, one_line};
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
    caveat: "A flywheel that gives back what it took shows only where somebody pedals: while nobody does, it can give ½m_a v²/P seconds of a power P at most.",
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
    let mut beyond: Vec<&UncorroboratedStretch> = upwards.filter(beyond).collect();
    let measured = measured_kg(source).filter(|_| !beyond.is_empty());
    if let Some((kg, delivered)) = measured.zip(source.delivered()) {
        beyond.retain(|e| !is_given_back(source, e, kg, &delivered));
    }
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
        let height = match idle {
            true => format!("reports up to {:.0} W", worst.peak_w),
            false => format!("reads up to {:.0} W more than the references", worst.peak_w),
        };
        let when = if idle { " while nobody pedals" } else { "" };
        let switch = at_switch(source, worst);
        let flywheel = flywheel_words(source, worst).filter(|_| idle);
        let flywheel = flywheel.map_or_else(String::new, |words| format!("; {words}"));
        return Answer::new(
            question,
            source.label,
            Finding::Fault,
            format!(
                "{height} for {seconds:.0} s at {}{when}{switch}{more}{flywheel}; {said}",
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
        .in_segments(segments_of(source, &beyond))
        .headed(match idle {
            true => format!(
                "reports {:.0} W that nobody makes for {seconds:.0} s",
                worst.peak_w
            ),
            false => format!("reads {:.0} W too much for {seconds:.0} s", worst.peak_w),
        });
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

/// The segments in which any of these stretches lies.
fn segments_of(source: &Source<'_>, stretches: &[&UncorroboratedStretch]) -> Vec<usize> {
    let segments = source.ride.table.segments.iter();
    let holds = |from_s: f64, to_s: f64| {
        let mut all = stretches.iter();
        all.any(|stretch| stretch.from_s < to_s && stretch.to_s > from_s)
    };
    let own = segments.filter(|segment| holds(segment.from_s, segment.to_s));
    own.map(|segment| segment.id).collect()
}

/// Speeds of the wheel at the start and at the end of a stretch, m/s.
fn speeds_of(source: &Source<'_>, stretch: &UncorroboratedStretch) -> Option<[f64; 2]> {
    let aligned = source.ride.aligned;
    let (_, speed) = wheel_speed(aligned)?;
    let rows = aligned.grid.rows(Span::new(stretch.from_s, stretch.to_s));
    let inside = speed.get(rows)?.iter().copied();
    let mut inside = inside.filter(|v| v.is_finite());
    let before = inside.next()?;
    Some([before, inside.next_back().unwrap_or(before)])
}

/// The most that the flywheel measured on slopes may weigh, kg.
fn measured_kg(source: &Source<'_>) -> Option<f64> {
    let slope = source.slope().as_ref().ok()?;
    slope.flywheel_ci95_kg.map(|[_, high]| high)
}

/// Whether a flywheel of `kg` gives back what is read beyond `delivered` while somebody pedals: the answers
/// on sprints and slopes tell of it.
fn is_given_back(
    source: &Source<'_>,
    stretch: &UncorroboratedStretch,
    kg: f64,
    delivered: &[f64],
) -> bool {
    let grid = source.ride.aligned.grid;
    let rows = grid.rows(Span::new(stretch.from_s, stretch.to_s));
    let too_much_j = || {
        let read = source.read()?;
        let both = read.get(rows.clone())?.iter().zip(delivered.get(rows)?);
        let excess = both.map(|(x, y)| x - y).filter(|w| w.is_finite());
        Some(excess.sum::<f64>() * grid.step_s)
    };
    let given = speeds_of(source, stretch).map(|[before, after]| energy_j(kg, before, after));
    !is_idle(source, stretch)
        && given
            .zip(too_much_j())
            .is_some_and(|(given, excess)| given >= excess)
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

/// ", at the switch to simulation".
fn at_switch(source: &Source<'_>, stretch: &UncorroboratedStretch) -> String {
    let switches = switches(source.ride.aligned);
    let span = Span::new(stretch.from_s, stretch.to_s);
    let switch = switch_at(&switches, span);
    switch.map_or_else(String::new, |switch| {
        format!(", at the switch to {}", one_line(&switch.to))
    })
}

/// Apparent mass where the ride tells none: more than most have (common practice, no source), kg.
const HEAVY_KG: f64 = 20.0;

/// "the flywheel could give it for 1.5 s": the one measured on slopes, at the most its limits leave, else a
/// heavy one.
fn flywheel_words(source: &Source<'_>, stretch: &UncorroboratedStretch) -> Option<String> {
    let [before_m_s, after_m_s] = speeds_of(source, stretch)?;
    let grid = source.ride.aligned.grid;
    let rows = grid.rows(Span::new(stretch.from_s, stretch.to_s));
    let read = source.read()?;
    let there = read.get(rows)?.iter().filter(|w| w.is_finite());
    let shown_j: f64 = there.sum::<f64>() * grid.step_s;
    let (flywheel, kg) = match measured_kg(source) {
        Some(kg) => (format!("the flywheel ({kg:.0} kg at most)"), kg),
        None => (format!("even a flywheel of {HEAVY_KG:.0} kg"), HEAVY_KG),
    };
    let (most_s, given_j) = (
        longest_s(kg, before_m_s, stretch.peak_w),
        energy_j(kg, before_m_s, after_m_s).max(0.0),
    );
    Some(format!(
        "{flywheel} could give it for {most_s:.1} s, and gave {given_j:.0} of {shown_j:.0} J"
    ))
}

/// Energy that an apparent mass gives from one speed to another, J.
fn energy_j(mass_kg: f64, before_m_s: f64, after_m_s: f64) -> f64 {
    0.5 * mass_kg * (before_m_s * before_m_s - after_m_s * after_m_s)
}

/// Longest that a power can last until the mass stands still, s.
fn longest_s(mass_kg: f64, speed_m_s: f64, watts: f64) -> f64 {
    energy_j(mass_kg, speed_m_s, 0.0) / watts
}

/// Seconds without pedalling by the references' cadence, or by their power where that is silent, each
/// stretch less what a lag takes to die away.
fn idle_s(source: &Source<'_>) -> f64 {
    let grid = source.ride.aligned.grid;
    let delivered = source.delivered().unwrap_or_default();
    let cadence = source.ride.cadence.as_deref().unwrap_or_default();
    let is_idle = |(row, watts): (usize, &f64)| match cadence.get(row) {
        Some(rpm) if rpm.is_finite() => *rpm == 0.0,
        _ => *watts <= 1.0,
    };
    let idle: Vec<bool> = delivered.iter().enumerate().map(is_idle).collect();
    let stretches = idle.chunk_by(|a, b| a == b).filter(|run| run[0]);
    let seconds = stretches.map(|run| (run.len() as f64 * grid.step_s - DECAY_S).max(0.0));
    seconds.sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::vectors::assert_close;

    #[test]
    fn a_flywheel_gives_no_more_than_it_holds() {
        // Worked beforehand: 20 kg from 9 to 13 m/s take 880 J; at 35 km/h they hold 945.2 J, 640 W for 1.477 s.
        assert_close(-energy_j(20.0, 9.0, 13.0), 880.0, 1e-9);
        let speed_m_s = 35.0 / 3.6;
        assert_close(energy_j(20.0, speed_m_s, 0.0), 945.2, 0.05);
        assert_close(longest_s(20.0, speed_m_s, 640.0), 1.477, 5e-4);
    }
}
