//! How the source under test answers a change of power, and the reference as the fitted response would
//! report it.

use std::ops::Range;

use super::along;
use super::claim::allowed_w;
use super::parts::{Axis, Layer, Picture, Stroke, power_range};
use super::subject::{Subject, plain};
use super::tone::Tone;
use super::traces;
use crate::analysis::kinds::sprint::{ResponseShape, Sprint};
use crate::timeline::{Aligned, Member};

/// Rows before a window that settle the lag of its model.
const SETTLE_ROWS: usize = 30;

/// The source under test, what it is compared with, and how the difference is explained: the fitted
/// response of a sprint, the steps of a ramp.
///
/// # Errors
/// Why there is nothing to draw.
pub fn of(subject: &Subject<'_>) -> Result<Picture, String> {
    let (under_test, basis) = (subject.under_test()?, subject.basis()?);
    let mut layers: Vec<Layer> = traces::set_point(subject).into_iter().collect();
    layers.extend(apart(subject, under_test, basis));
    let n = both(subject, &mut layers)?;
    let mut facts = vec![subject.window_fact(n)];
    if let Some((model, fact)) = model_of(subject, basis) {
        layers.push(model);
        facts.push(fact);
    }
    let range = power_range(&layers);
    facts.extend(steps(subject, &mut layers, range[1]));
    for member in [basis, Member::Stream(under_test)] {
        layers.extend(summit(subject, member));
    }
    layers.extend(late(subject, under_test, basis));
    Ok(Picture {
        title: subject.title("response"),
        facts,
        x: subject.time_axis(),
        y: Axis::numbers("power", "W", range),
        layers,
    })
}

/// Power of the two as recorded, the source over the reference; the seconds that both have.
///
/// # Errors
/// Where one of them has none.
pub fn both(subject: &Subject<'_>, layers: &mut Vec<Layer>) -> Result<usize, String> {
    let (under_test, basis) = (subject.under_test()?, subject.basis()?);
    let missing = || "no power in this window".to_owned();
    let source = Member::Stream(under_test);
    let own = subject.power(source).ok_or_else(missing)?;
    let reference = subject.power(basis).ok_or_else(missing)?;
    let at = (subject.aligned.grid, subject.rows().start);
    let series = |member: Member, values: &[f64]| {
        let tone = subject.tone_of(member);
        along::series(&subject.name(member), at, values, along::CALM, tone)
    };
    layers.extend(series(basis, reference));
    layers.extend(series(source, own));
    let shared = own.iter().zip(reference);
    Ok(shared.filter(|(a, b)| (*a - *b).is_finite()).count())
}

/// Where the two are further apart than the claim allows, over a sprint: the watts that are missing,
/// and those that come late.
fn apart(subject: &Subject<'_>, under_test: usize, basis: Member) -> Option<Layer> {
    subject.figures.of_kind.sprint.as_ref()?;
    let own = subject.power(Member::Stream(under_test))?;
    let reference = subject.power(basis)?;
    let is_apart = |row: usize| {
        let (a, b) = (own.get(row), reference.get(row));
        let limits = b.and_then(|b| allowed_w(subject.session, under_test, *b));
        let both = a.zip(b).zip(limits);
        both.is_some_and(|((a, b), (middle_w, half_w))| (a - b - middle_w).abs() > half_w)
    };
    let points = own.iter().zip(reference).zip(subject.times()).enumerate();
    let points: Vec<[f64; 3]> = points
        .map(|(row, ((a, b), t_s))| {
            // One second alone has no width.
            let beside = is_apart(row + 1) || row.checked_sub(1).is_some_and(is_apart);
            match is_apart(row) && beside {
                true => [t_s, a.min(*b), a.max(*b)],
                false => [t_s, f64::NAN, f64::NAN],
            }
        })
        .collect();
    points.iter().any(|p| p[1].is_finite()).then(|| Layer::Gap {
        name: "further apart than the claim".to_owned(),
        points,
    })
}

/// How late the source is, in words where it rises through the middle of the effort.
fn late(subject: &Subject<'_>, under_test: usize, basis: Member) -> Option<Layer> {
    let sprint = subject.figures.of_kind.sprint.as_ref()?;
    let late_s = sprint.late_s()?;
    let reference = subject.power(basis)?;
    let present = || reference.iter().copied().filter(|w| w.is_finite());
    let (low, high) = (present().reduce(f64::min)?, present().reduce(f64::max)?);
    let middle_w = 0.5 * (low + high);
    let own = subject.power(Member::Stream(under_test))?;
    let row = own.iter().position(|w| *w >= middle_w)?;
    Some(Layer::Label {
        at: [
            subject.aligned.grid.time_s(subject.rows().start + row),
            middle_w,
        ],
        text: format!("{}\u{a0}s late", plain(late_s, 1)),
        tone: Tone::Mute,
    })
}

/// The highest second of a member, in words beside it; where it is clipped, at what.
fn summit(subject: &Subject<'_>, member: Member) -> Option<Layer> {
    let sprint = subject.figures.of_kind.sprint.as_ref()?;
    let source = Member::Stream(subject.under_test().ok()?);
    let power = subject.power(member)?;
    let (row, highest) = power
        .iter()
        .enumerate()
        .filter(|(_, w)| w.is_finite())
        .max_by(|a, b| a.1.total_cmp(b.1))?;
    Some(Layer::Label {
        at: [
            subject.aligned.grid.time_s(subject.rows().start + row),
            *highest,
        ],
        text: match sprint.ceiling_w.filter(|_| member == source) {
            Some(ceiling_w) => {
                format!(
                    "{} stops at {}\u{a0}W",
                    subject.name(member),
                    plain(ceiling_w, 0)
                )
            }
            None => format!(
                "{}: {}\u{a0}W at most",
                subject.name(member),
                plain(*highest, 0)
            ),
        },
        tone: subject.tone_of(member),
    })
}

/// The reference as the fitted response would report it.
fn model_of(subject: &Subject<'_>, basis: Member) -> Option<(Layer, String)> {
    let sprint = subject.figures.of_kind.sprint.as_ref()?;
    let points = model(subject.aligned, subject.rows(), basis, sprint)?;
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
        tone: Tone::Fault,
        stroke: Stroke::Dashed,
    };
    Some((layer, fact))
}

/// Each step of the reference, its dead time beside it.
fn steps(subject: &Subject<'_>, layers: &mut Vec<Layer>, top: f64) -> Vec<String> {
    let Some(ramp) = &subject.figures.of_kind.ramp else {
        return Vec::new();
    };
    let mut parts = Vec::new();
    for step in &ramp.steps {
        layers.push(Layer::Upright {
            name: "step of the references".to_owned(),
            at: step.at_s,
            tone: Tone::Mute,
        });
        if let Some(dead_time) = step.dead_time_s {
            parts.push(plain(dead_time, 1));
            layers.push(Layer::Label {
                at: [step.at_s, top],
                text: format!("{}\u{a0}s", plain(dead_time, 1)),
                tone: Tone::Mute,
            });
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

/// The power of `basis` through the fitted dead time, lag, averaging, gain and ceiling: session
/// time, s, and W at each of `rows`. `None` without a fit.
///
/// The reference's gaps are gaps of the model; each stretch between them settles by itself.
pub fn model(
    aligned: &Aligned,
    rows: Range<usize>,
    basis: Member,
    sprint: &Sprint,
) -> Option<Vec<[f64; 2]>> {
    let grid = aligned.grid;
    let from = rows.start.saturating_sub(SETTLE_ROWS);
    let input = aligned.power(basis)?.get(from..rows.end)?;
    let answered = stretchwise(input, |stretch| sprint.model(stretch, grid.step_s))?;
    let points = answered.into_iter().enumerate().skip(rows.start - from);
    Some(
        points
            .map(|(row, w)| [grid.time_s(from + row), w])
            .collect(),
    )
}

/// The answer to each stretch without a gap; `NaN` in the gaps.
fn stretchwise(input: &[f64], answer: impl Fn(&[f64]) -> Option<Vec<f64>>) -> Option<Vec<f64>> {
    let mut out = Vec::with_capacity(input.len());
    for stretch in input.chunk_by(|a, b| a.is_finite() == b.is_finite()) {
        if stretch.iter().all(|w| w.is_finite()) {
            out.extend(answer(stretch)?);
        } else {
            out.extend(stretch.iter().map(|_| f64::NAN));
        }
    }
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::first_order::{Answer, Lag, PARTS, answer, refined};

    #[test]
    fn a_gap_costs_itself_and_what_the_dead_time_reaches_into() {
        let fitted = Answer {
            lag: Lag {
                delay_s: 2.0,
                time_constant_s: 1.0,
            },
            clip_w: f64::INFINITY,
            average_s: 0.0,
        };
        let mut input = vec![200.0; 40];
        input[10..13].fill(f64::NAN);
        let out = stretchwise(&input, |w| Some(answer(&refined(w, PARTS), 1.0, fitted))).unwrap();
        assert_eq!(out.len(), input.len());
        for (row, w) in out.iter().enumerate() {
            let known = (2..10).contains(&row) || row >= 15;
            assert_eq!(w.is_finite(), known, "{row}: {w}");
            assert!(!known || (w - 200.0).abs() < 1e-9, "{row}: {w}");
        }
    }
}
