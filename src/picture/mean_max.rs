//! Highest mean power over every duration, one curve a stream.

use super::parts::{Axis, Layer, Picture, Ticks, line, power_range};
use super::subject::Subject;
use crate::analysis::mean_max;
use crate::recording::Channel;

/// The picture.
///
/// # Errors
/// Why there is nothing to draw.
pub fn of(subject: &Subject<'_>) -> Result<Picture, String> {
    let mut layers: Vec<Layer> = Vec::new();
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
            layers.push(line(subject.label(stream), points, subject.tone(stream)));
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
            unit: "",
            range: [0.0, longest.log10().max(0.5)],
            ticks: Ticks::Durations,
        },
        y: Axis::numbers("power", "W", power_range(&layers)),
        layers,
    })
}
