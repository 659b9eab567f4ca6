//! The force at the wheel against the force that the gradient asks for, and both along the ride.

use super::along;
use super::parts::{Axis, Layer, Mark, Picture, Stroke, range_of};
use super::subject::{Subject, plain, signed};
use super::tone::Tone;
use crate::analysis::kinds::slope::{MOST_OFF, Pair, Slope};
use crate::analysis::slope::asked_n;
use crate::session::Simulation;
use crate::stats::Line;
use crate::text::one_line;

/// Forces at which that is drawn.
const POINTS: u32 = 40;

/// Rows that a force along the ride is the mean of: strokes left out.
const CALMED: usize = 5;

/// What the window's slope shows, and of whom.
struct Found<'a> {
    slope: Slope,
    pair: Pair<'a>,
    given: Simulation,
}

fn found<'a>(subject: &Subject<'a>) -> Result<Found<'a>, String> {
    let pair = Pair {
        session: subject.session,
        aligned: subject.aligned,
        found: subject.findings,
        under_test: subject.under_test()?,
        basis: subject.basis()?,
    };
    let slope = pair.slope(subject.span());
    Ok(Found {
        slope: slope.map_err(|untold| untold.in_words().to_owned())?,
        pair,
        given: subject.session.simulation.unwrap_or(Simulation::USUAL),
    })
}

/// One point a plateau of the window.
///
/// # Errors
/// Why there is nothing to draw.
pub fn of(subject: &Subject<'_>) -> Result<Picture, String> {
    let found = found(subject)?;
    let plateaus = &found.slope.plateaus;
    let points: Vec<[f64; 2]> = plateaus
        .iter()
        .map(|p| {
            [
                asked_n(p.grade_percent, p.speed_mps, found.given),
                p.force_n,
            ]
        })
        .collect();
    let bars = points.iter().zip(plateaus).filter_map(|(point, plateau)| {
        let [low, high] = plateau.force_ci95_n?;
        Some([point[0], low, high])
    });
    let bars: Vec<[f64; 3]> = bars.collect();
    let across = range_of(points.iter().map(|p| p[0]));
    let up = range_of(points.iter().map(|p| p[1]).chain(across));
    let share = subject.session.limits.gradient_share.unwrap_or(MOST_OFF);
    let along = (0..=POINTS).map(|i| {
        let n = across[0] + (across[1] - across[0]) * f64::from(i) / f64::from(POINTS);
        [n, n - share * n.abs(), n + share * n.abs()]
    });
    let mut layers = vec![
        Layer::Allowed {
            name: format!("within {} % of it", plain(100.0 * share, 0)),
            points: along.collect(),
        },
        Layer::Line {
            name: "all of the force asked for".to_owned(),
            points: across.map(|n| [n, n]).to_vec(),
            tone: Tone::Mute,
            stroke: Stroke::Hair,
        },
    ];
    layers.extend(through(&points, across));
    layers.push(Layer::Bars {
        name: String::new(),
        bars,
        tone: Tone::Source(0),
    });
    layers.push(Layer::Points {
        name: "a gradient kept for 40 s or more".to_owned(),
        points: points.clone(),
        tone: Tone::Source(0),
        mark: Mark::Disc,
    });
    // Each grade is named once, however often it was ridden.
    let mut named: Vec<String> = Vec::new();
    for (plateau, at) in plateaus.iter().zip(points) {
        let text = format!("{}\u{a0}%", signed(plateau.grade_percent, 0));
        if !named.contains(&text) {
            named.push(text.clone());
            let tone = Tone::Mute;
            layers.push(Layer::Label { at, text, tone });
        }
    }
    Ok(Picture {
        title: subject.title("force against the force asked for"),
        facts: facts(
            subject,
            &found,
            &format!(
                "Mean force of the reference at the wheel on {} plateaus, without their first 15 s.",
                plateaus.len()
            ),
        ),
        x: Axis::numbers("force asked for", "N", across),
        y: Axis::numbers("force at the wheel", "N", up),
        layers,
    })
}

/// The straight line through the points.
fn through(points: &[[f64; 2]], across: [f64; 2]) -> Option<Layer> {
    let (x, y): (Vec<f64>, Vec<f64>) = points.iter().map(|[x, y]| (*x, *y)).unzip();
    let fitted = Line::fit(&x, &y)?;
    Some(Layer::Line {
        name: "through the points".to_owned(),
        points: across.map(|n| [n, fitted.at(n)]).to_vec(),
        tone: Tone::Model,
        stroke: Stroke::Dashed,
    })
}

/// Force asked for and force at the wheel along the window; from each step until it has arrived a ground.
///
/// # Errors
/// Why there is nothing to draw.
pub fn along_ride(subject: &Subject<'_>) -> Result<Picture, String> {
    let found = found(subject)?;
    let flywheel_kg = found.slope.flywheel_kg.unwrap_or(0.0);
    let both = found.pair.forces(flywheel_kg, found.given);
    let [asked, force] = both.ok_or("no gradient is recorded with the wheel's speed")?;
    let inside = |column: Vec<f64>| column.get(subject.rows()).map(<[f64]>::to_vec);
    let asked = inside(asked).unwrap_or_default();
    let force = calmed(&inside(force).unwrap_or_default());
    let range = range_of(asked.iter().chain(&force).copied());
    let mut layers: Vec<Layer> = found
        .slope
        .steps
        .iter()
        .enumerate()
        .map(|(index, step)| Layer::Ground {
            name: match index {
                0 => "on its way: the delay of each step".to_owned(),
                _ => String::new(),
            },
            x: [step.at_s, step.at_s + step.delay_s.max(0.0)],
            y: [f64::NEG_INFINITY, f64::INFINITY],
            tone: Tone::QuietGround,
        })
        .collect();
    let at = (subject.aligned.grid, subject.rows().start);
    let series =
        |name: &str, values: &[f64], tone| along::series(name, at, values, along::CALM, tone);
    layers.extend(series("force asked for", &asked, Tone::Reference(0)));
    layers.extend(series("force at the wheel", &force, Tone::Source(0)));
    Ok(Picture {
        title: subject.title("force along the ride"),
        facts: facts(
            subject,
            &found,
            "Force of the reference at the wheel without what the flywheel takes, means of 5 s.",
        ),
        x: subject.time_axis(),
        y: Axis::numbers("force", "N", range),
        layers,
    })
}

/// Means of neighbouring rows, where most of them are there.
fn calmed(values: &[f64]) -> Vec<f64> {
    let reach = CALMED / 2;
    let near = |row: usize| &values[row.saturating_sub(reach)..(row + reach + 1).min(values.len())];
    let mean = |row: usize| match along::mean(near(row).iter().copied()) {
        Some((mean, n)) if 2 * n > near(row).len() => mean,
        _ => f64::NAN,
    };
    (0..values.len()).map(mean).collect()
}

fn facts(subject: &Subject<'_>, found: &Found<'_>, shown: &str) -> Vec<String> {
    let (slope, given) = (&found.slope, found.given);
    let mut facts = vec![format!(
        "{shown} Asked of {} kg, rolling {}, drag {} kg/m{}.",
        plain(given.mass_kg, 0),
        plain(given.rolling, 4),
        plain(given.drag_kg_m, 2),
        match subject.session.simulation {
            Some(_) => "",
            None => ": what apps take where nobody says otherwise",
        }
    )];
    let share = slope
        .share
        .zip(slope.share_ci95)
        .map(|(share, [low, high])| {
            format!(
                "{} % of the gradient arrives ({} to {})",
                plain(100.0 * share, 0),
                plain(100.0 * low, 0),
                plain(100.0 * high, 0)
            )
        });
    let late = slope
        .delay_s
        .zip(slope.delay_ci95_s)
        .map(|(late_s, [low, high])| {
            format!(
                "{} s late ({} to {})",
                plain(late_s, 1),
                plain(low, 1),
                plain(high, 1)
            )
        });
    let said: Vec<String> = share.into_iter().chain(late).collect();
    if !said.is_empty() {
        let label = one_line(&subject.label(found.pair.under_test));
        facts.push(format!("{label}: {}.", said.join(", ")));
    }
    facts
}
