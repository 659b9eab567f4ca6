//! Pictures of power itself: traces, response, mean-maximal curves.

use super::picture::{Axis, Layer, Picture, Style, Ticks, range_of};
use super::subject::{Subject, plain, signed};
use crate::analysis::kinds::sprint::ResponseShape;
use crate::analysis::mean_max;
use crate::picture::response;
use crate::recording::Channel;
use crate::text::one_line;
use crate::timeline::Member;

fn power_axis(layers: &[Layer]) -> Axis {
    let values = layers.iter().flat_map(|layer| match layer {
        Layer::Line { points, .. } => points.iter().map(|p| p[1]).collect(),
        Layer::Rule { at, .. } => vec![*at],
        _ => Vec::new(),
    });
    Axis {
        label: "power, W".to_owned(),
        range: range_of(values),
        ticks: Ticks::Numbers,
    }
}

/// One line a stream with power in the window.
fn power_lines(subject: &Subject<'_>) -> Vec<Layer> {
    // References lie over context, the source under test over all.
    let places = (0..subject.aligned.tracks.len()).rev();
    places
        .filter_map(|stream| {
            let power = subject.column(stream, Channel::Power)?;
            power.iter().any(|w| w.is_finite()).then(|| Layer::Line {
                name: subject.label(stream),
                points: subject.against_time(power.iter().copied()),
                style: Style::of_stream(stream),
            })
        })
        .collect()
}

fn set_point(subject: &Subject<'_>) -> Option<Layer> {
    subject.figures.set_point_w.map(|watts| Layer::Rule {
        name: "set point".to_owned(),
        at: watts,
        style: Style::RULE,
    })
}

/// Power of every stream.
pub(super) fn traces(subject: &Subject<'_>) -> Result<Picture, String> {
    let lines = power_lines(subject);
    if lines.is_empty() {
        return Err("no stream has power in this window".to_owned());
    }
    let means: Vec<String> = subject
        .figures
        .streams
        .iter()
        .filter_map(|s| Some(format!("{} {} W", one_line(&s.label), plain(s.mean_w?, 1))))
        .collect();
    let most = subject.figures.streams.iter().map(|s| s.n).max();
    let mut layers: Vec<Layer> = set_point(subject).into_iter().collect();
    layers.extend(lines);
    Ok(Picture {
        title: subject.title("power"),
        facts: vec![
            subject.window_fact(most.unwrap_or(0)),
            format!("Means: {}.", means.join(", ")),
        ],
        x: subject.time_axis(),
        y: power_axis(&layers),
        layers,
    })
}

/// The source under test, what it is compared with, and how the difference is explained: the
/// fitted response of a sprint, the steps of a ramp, the changes of gear.
pub(super) fn response(subject: &Subject<'_>) -> Result<Picture, String> {
    let under_test = subject.under_test()?;
    let basis = subject.basis()?;
    let missing = || "no power in this window".to_owned();
    let own = subject
        .power(Member::Stream(under_test))
        .ok_or_else(missing)?;
    let reference = subject.power(basis).ok_or_else(missing)?;
    let mut layers: Vec<Layer> = set_point(subject).into_iter().collect();
    layers.push(Layer::Line {
        name: subject.name(basis),
        points: subject.against_time(reference.iter().copied()),
        style: match basis {
            Member::Stream(stream) => Style::of_stream(stream),
            Member::Consensus => Style::CONSENSUS,
        },
    });
    layers.push(Layer::Line {
        name: subject.label(under_test),
        points: subject.against_time(own.iter().copied()),
        style: Style::of_stream(under_test),
    });
    let n = own
        .iter()
        .zip(reference)
        .filter(|(a, b)| (*a - *b).is_finite());
    let mut facts = vec![subject.window_fact(n.count())];
    if let Some((model, fact)) = model(subject, basis) {
        layers.push(model);
        facts.push(fact);
    }
    facts.extend(steps(subject, &mut layers));
    facts.extend(gear_changes(subject, &mut layers));
    Ok(Picture {
        title: subject.title("response"),
        facts,
        x: subject.time_axis(),
        y: power_axis(&layers),
        layers,
    })
}

/// The reference as the fitted response would report it.
fn model(subject: &Subject<'_>, basis: Member) -> Option<(Layer, String)> {
    let sprint = subject.figures.of_kind.sprint.as_ref()?;
    let points = response::model(subject.aligned, subject.rows(), basis, sprint)?;
    let clipped = sprint
        .ceiling_w
        .map_or_else(String::new, |w| format!(", ceiling {} W", plain(w, 0)));
    let residual = sprint
        .fit_rms_w
        .map_or_else(String::new, |w| format!(", residual {} W", plain(w, 1)));
    let spread = match sprint.averaging_s {
        Some(seconds) => format!("mean over {} s", plain(seconds, 1)),
        None => format!("time constant {} s", plain(sprint.time_constant_s?, 2)),
    };
    let misfit = match sprint.response_shape {
        Some(ResponseShape::Neither) => " It does not fit well: see the remark.",
        _ => "",
    };
    let fact = format!(
        "Model: dead time {} s, {spread}, gain {}{clipped}{residual}.{misfit}",
        plain(sprint.delay_s?, 2),
        plain(sprint.gain?, 3)
    );
    let layer = Layer::Line {
        name: "model of the response".to_owned(),
        points,
        style: Style::MODEL,
    };
    Some((layer, fact))
}

fn steps(subject: &Subject<'_>, layers: &mut Vec<Layer>) -> Vec<String> {
    let Some(ramp) = &subject.figures.of_kind.ramp else {
        return Vec::new();
    };
    let mut parts = Vec::new();
    for step in &ramp.steps {
        layers.push(Layer::Upright {
            name: "step of the references".to_owned(),
            at: step.at_s,
        });
        if let Some(dead_time) = step.dead_time_s {
            parts.push(plain(dead_time, 1));
        }
    }
    let mut facts = Vec::new();
    if !parts.is_empty() {
        facts.push(format!("Dead time at each step: {} s.", parts.join(", ")));
    }
    if let Some(lag) = ramp.lag_s {
        facts.push(format!("Lag on linear stretches: {} s.", plain(lag, 1)));
    }
    facts
}

fn gear_changes(subject: &Subject<'_>, layers: &mut Vec<Layer>) -> Vec<String> {
    let Some(gears) = &subject.figures.of_kind.gear_change else {
        return Vec::new();
    };
    let mut parts = Vec::new();
    for change in &gears.changes {
        layers.push(Layer::Upright {
            name: "gear change".to_owned(),
            at: change.at_s,
        });
        parts.push(
            change
                .shift_percent
                .map_or_else(|| "—".to_owned(), |s| signed(s, 1)),
        );
    }
    if parts.is_empty() {
        return Vec::new();
    }
    vec![format!(
        "Shift of the bias at each change: {} %.",
        parts.join(", ")
    )]
}

/// Highest mean power over every duration, one curve a stream.
pub(super) fn mean_max(subject: &Subject<'_>) -> Result<Picture, String> {
    let mut layers = Vec::new();
    let mut longest: f64 = 1.0;
    for stream in (0..subject.aligned.tracks.len()).rev() {
        let Some(power) = subject.column(stream, Channel::Power) else {
            continue;
        };
        let curve = mean_max::curve(power, subject.aligned.grid);
        let points: Vec<[f64; 2]> = curve
            .iter()
            .filter(|m| m.duration_s > 0.0)
            .map(|m| [m.duration_s.log10(), m.mean_w])
            .collect();
        longest = curve.iter().map(|m| m.duration_s).fold(longest, f64::max);
        if !points.is_empty() {
            layers.push(Layer::Line {
                name: subject.label(stream),
                points,
                style: Style::of_stream(stream),
            });
        }
    }
    if layers.is_empty() {
        return Err("no stream has a stretch of power without a gap".to_owned());
    }
    let most = subject.figures.streams.iter().map(|s| s.n).max();
    Ok(Picture {
        title: subject.title("mean-maximal power"),
        facts: vec![
            subject.window_fact(most.unwrap_or(0)),
            "Highest mean over each duration, over seconds without a gap.".to_owned(),
        ],
        x: Axis {
            label: "duration (logarithmic)".to_owned(),
            range: [-0.02, longest.log10().max(0.5)],
            ticks: Ticks::Durations,
        },
        y: power_axis(&layers),
        layers,
    })
}
