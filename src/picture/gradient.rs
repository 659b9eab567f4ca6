//! The force at the wheel against the force that the gradient asks for.

use super::parts::{Axis, Layer, Mark, Picture, Stroke, range_of};
use super::subject::{Subject, plain, signed};
use super::tone::Tone;
use crate::analysis::ride::{grade_percent, wheel_speed};
use crate::analysis::slope::{Inputs, Missing, Plateau, gradient};
use crate::session::Simulation;

/// Standard gravity, m/s² (ISO 80000-3).
const GRAVITY: f64 = 9.80665;

/// Share of the force within which all of it is said to arrive, where the session states none.
const SHARE: f64 = 0.1;

/// Forces at which that is drawn.
const POINTS: u32 = 40;

/// Always of the whole ride, whatever its window is.
///
/// # Errors
/// Why there is nothing to draw.
pub fn of(subject: &Subject<'_>) -> Result<Picture, String> {
    let (session, aligned) = (subject.session, subject.aligned);
    let basis = subject.basis()?;
    let (Some(grade), Some(speed)) = (grade_percent(aligned), wheel_speed(aligned)) else {
        return Err("no gradient is recorded with the wheel's speed".to_owned());
    };
    let power = subject.findings.readings(aligned, basis);
    let power = power.ok_or_else(|| "no reference carries power".to_owned())?;
    let kept = 1.0 - session.allowance().percent / 100.0;
    let delivered: Vec<f64> = power.iter().map(|w| kept * w).collect();
    let inputs = Inputs {
        wheel_w: &delivered,
        speed_m_s: speed,
        grade_percent: grade,
        grid: aligned.grid,
    };
    let found = gradient(&inputs, session.simulation).map_err(|missing| {
        match missing {
            Missing::Plateaus => "no two gradients are kept for 40 s",
            Missing::Speeds => "the gradients are too few, or none was ridden at two speeds",
        }
        .to_owned()
    })?;
    let given = session.simulation.unwrap_or(Simulation::USUAL);
    let points: Vec<[f64; 2]> = found
        .plateaus
        .iter()
        .map(|plateau| [asked_n(plateau, given), plateau.force_n])
        .collect();
    let across = range_of(points.iter().map(|p| p[0]));
    let up = range_of(points.iter().map(|p| p[1]).chain(across));
    let share = session.limits.gradient_share.unwrap_or(SHARE);
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
        Layer::Points {
            name: "a gradient kept for 40 s or more".to_owned(),
            points: points.clone(),
            tone: Tone::Source(0),
            mark: Mark::Disc,
        },
    ];
    for (plateau, point) in found.plateaus.iter().zip(points) {
        layers.push(Layer::Label {
            at: point,
            text: format!("{}\u{a0}%", signed(plateau.grade_percent, 0)),
            tone: Tone::Mute,
        });
    }
    let mut facts = vec![format!(
        "Force of the reference at the wheel over {} gradients; asked of {} kg, rolling {}, drag {} kg/m{}.",
        found.plateaus.len(),
        plain(given.mass_kg, 0),
        plain(given.rolling, 4),
        plain(given.drag_kg_m, 2),
        match session.simulation {
            Some(_) => "",
            None => ": what apps take where nobody says otherwise",
        }
    )];
    facts.extend(found.delay.map(|(delay_s, [low, high])| {
        format!(
            "A gradient arrives {} s late ({} to {}).",
            plain(delay_s, 1),
            plain(low, 1),
            plain(high, 1)
        )
    }));
    Ok(Picture {
        title: "Force against the force asked for".to_owned(),
        facts,
        x: Axis::numbers("force asked for", "N", across),
        y: Axis::numbers("force at the wheel", "N", up),
        layers,
    })
}

/// What a rider on the road would have to bring (Martin et al. 1998, J Appl Biomech 14:276).
fn asked_n(plateau: &Plateau, given: Simulation) -> f64 {
    let grade = plateau.grade_percent / 100.0;
    let along = grade / grade.hypot(1.0);
    let weight = given.mass_kg * GRAVITY;
    weight * along
        + given.rolling * weight / grade.hypot(1.0)
        + given.drag_kg_m * plateau.speed_m_s.powi(2)
}
