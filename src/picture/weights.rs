//! Known masses: what the line leaves of each reading, against the torque, up and down.

use super::parts::{Axis, Layer, Mark, Picture, Stroke, Ticks, range_of, zero};
use super::subject::Subject;
use super::tone::Tone;
use crate::session::KnownScale;
use crate::text::number;

/// Residuals against torque of every stream with readings that make a scale.
///
/// # Errors
/// Where no stream has any.
pub fn of(subject: &Subject<'_>) -> Result<Picture, String> {
    let streams = subject.session.streams.iter().enumerate();
    let fitted: Vec<(usize, KnownScale)> = streams
        .filter_map(|(index, stream)| Some((index, stream.weights.as_ref()?.fit().ok()?)))
        .collect();
    if fitted.is_empty() {
        return Err("no stream has readings with known masses that make a scale".to_owned());
    }
    let mut layers = vec![zero()];
    for (place, (index, known)) in fitted.iter().enumerate() {
        let tone = Tone::Reference(place);
        layers.extend(series(subject, *index, (known, tone), true));
        layers.extend(series(subject, *index, (known, tone), false));
    }
    let readings = || fitted.iter().flat_map(|(_, known)| &known.readings);
    Ok(Picture {
        title: "Readings with known masses: what the line leaves".to_owned(),
        facts: fitted
            .iter()
            .map(|(index, known)| fact(&subject.label(*index), known))
            .collect(),
        x: Axis::numbers(
            "torque of the masses",
            "N·m",
            range_of(readings().map(|r| r.torque_nm)),
        ),
        y: Axis {
            ticks: Ticks::Signed,
            ..Axis::numbers(
                "reading − line",
                "N·m",
                range_of(readings().map(|r| r.residual_nm).chain([0.0])),
            )
        },
        layers,
    })
}

/// The readings on the way up, or those on the way down, joined in the order in which they were taken;
/// each has its marker.
fn series(
    subject: &Subject<'_>,
    index: usize,
    (known, tone): (&KnownScale, Tone),
    rising: bool,
) -> [Layer; 2] {
    let (way, mark, stroke) = if rising {
        ("up", Mark::Triangle, Stroke::Solid)
    } else {
        ("down", Mark::Drop, Stroke::Dashed)
    };
    let points = known.readings.iter().filter(|r| r.rising == rising);
    let points: Vec<[f64; 2]> = points.map(|r| [r.torque_nm, r.residual_nm]).collect();
    let line = Layer::Line {
        name: String::new(),
        points: points.clone(),
        tone,
        stroke,
    };
    let readings = Layer::Points {
        name: format!("{}, {way}", subject.label(index)),
        points,
        tone,
        mark,
    };
    [line, readings]
}

fn fact(label: &str, known: &KnownScale) -> String {
    let hysteresis = known.hysteresis_percent.map_or_else(
        || "not tested".to_owned(),
        |percent| format!("{percent:.3} %"),
    );
    format!(
        "{label}: {} readings, scale {} (fit ± {} %), zero {} N·m, SD {} N·m, hysteresis {hysteresis}.",
        known.readings.len(),
        number(known.scale, 4, false),
        number(100.0 * known.scale_se / known.scale, 2, false),
        number(known.zero_nm, 3, true),
        number(known.residual_sd_nm, 3, false)
    )
}
